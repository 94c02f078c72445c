"""Every page does what it says: commands run, code runs, files are accepted, outputs are as shown."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

import pytest

from fixturecheck.fields import allowed_in, own_fields
from fixturecheck.names import CHECKS, SEVERITIES
from fixturecheck.process.records import BlankEntry, JobEntry, Operation
from fixturecheck.setup.reader import ALL, RECORDS
from fixturecheck.setup.records import BodyEntry
from fixturecheck.units import inch_key
from tests.docs.fences import BENCH, OUTPUT, PAGES, Fence, Reader, fences, stand_in
from tests.doors import run_here

pytestmark = pytest.mark.slow

LANGUAGES = {"sh", "text", "toml", "python", "yaml"}


@pytest.mark.parametrize("page", [p for p in PAGES if any(fences(p))])
def test_page_does_what_it_says(page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stand_in(tmp_path, monkeypatch)
    monkeypatch.setattr("fixturecheck.kernel.worker.run_guarded", run_here)
    reader = Reader()
    for fence in fences(page):
        assert fence.language in LANGUAGES, f"{page}: no test reads a block in {fence.language!r}"
        assert fence.language != "text" or fence.title in {OUTPUT, BENCH}, (
            f"{page}: say that a text block is output"
        )
        if fence.title != BENCH:
            reader.does(fence)


FRAGMENTS = [
    pytest.param(f, id=f"{p}-{n}")
    for p in PAGES
    for n, f in enumerate(fences(p))
    if f.language == "toml" and not f.title
]


@pytest.mark.parametrize("fence", FRAGMENTS)
def test_fragment_states_keys_and_values_that_a_set_up_takes(fence: Fence) -> None:
    document = tomllib.loads(fence.text)
    records = JOB if "job" in document else RECORDS
    assert set(document) <= (set(JOB) if records is JOB else set(ALL))
    for name, stated in document.items():
        for table in stated if isinstance(stated, list) else [stated]:
            _accepted(name, table, records)


JOB = {"job": JobEntry, "part": BodyEntry, "blank": BlankEntry, "operation": Operation}
"""The tables of a job, by name."""


def _accepted(name: str, table: dict[str, object], records: Mapping[str, type]) -> None:
    """Check the keys of a table and the values whose range is stated; `name` is its dotted name."""
    if name == "severity":
        assert set(table) <= set(CHECKS)
        assert set(table.values()) <= set(SEVERITIES)
        return
    fields = {f.name: f for f in own_fields(records[name])}
    inches = {inch_key(n): n for n in fields}
    for key, value in table.items():
        if f"{name}.{key}" in records and isinstance(value, dict):
            entries = value.values() if all(isinstance(v, dict) for v in value.values()) else [value]
            for entry in entries:
                _accepted(f"{name}.{key}", entry, records)
            continue
        assert key in fields or key in inches, f"{name} has no key {key}"
        rule = allowed_in(fields[inches.get(key, key)])
        if rule is not None and key in fields and not isinstance(value, dict):
            assert rule.flaw_of(value) is None
