"""The schemas of jobs, of their set-ups and of studies against what reads them, over a change of each key."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable
from dataclasses import MISSING, dataclass
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.fields import own_fields
from fixturecheck.process.records import BlankEntry, JobEntry, Operation
from fixturecheck.process.text import NOT_OF_PART, is_job, read_job_text, stated_job
from fixturecheck.schemas import SCHEMAS, shipped
from fixturecheck.setup.reader import Stated
from fixturecheck.setup.records import BodyEntry
from fixturecheck.study.model import ParameterEntry, StudyEntry
from fixturecheck.study.read import study_of
from tests.docs.fences import PAGES, fences
from tests.setup.values import tried

ROOT = Path(__file__).parents[2]
PAWL = ROOT / "models" / "index_pawl"

JOB = """
[job]
name = "a key"
count = 2
[part]
name = "key"
file = "key.step"
[blank]
size_mm = [10, 20, 30]
low_mm = [0, 0, 0]
[[operation]]
number = 10
name = "top"
kind = "grind"
makes = ["top"]
stock_mm = { top = 0.2 }
[[operation]]
number = 20
name = "oven"
kind = "harden"
"""

STUDY = """
[study]
setups = ["models/key/key.toml"]
take = "sobol"
[[parameter]]
set = "wheel.diameter_mm"
values = [170.0, 180.0]
[[parameter]]
sets = ["cut.top.stock_mm", "cut.top.downfeed_mm"]
values = [[0.1, 0.01]]
[[parameter]]
name = "stock"
set = "cut.top.stock_mm"
range = [0.1, 0.3]
steps = 3
[[parameter]]
name = "spread"
set = "cut.top.stock_mm"
nominal = 0.2
tolerance = 0.1
"""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of file: an example, what reads it, its schema, and the place and class of each table."""

    example: dict[str, Any]
    read: Callable[[Stated], object]
    schema: jsonschema.Draft7Validator
    tables: dict[tuple[str | int, ...], type]


def validator(name: str) -> jsonschema.Draft7Validator:
    return jsonschema.Draft7Validator(SCHEMAS[name]())


KINDS = {
    "job": Kind(
        example=tomllib.loads(JOB),
        read=lambda facts: stated_job(facts, ROOT / "none.toml"),
        schema=validator("job.schema.json"),
        tables={
            ("job",): JobEntry,
            ("part",): BodyEntry,
            ("blank",): BlankEntry,
            ("operation", 0): Operation,
        },
    ),
    "study": Kind(
        example=tomllib.loads(STUDY),
        read=lambda facts: study_of(facts, ROOT / "none.toml"),
        schema=validator("study.schema.json"),
        tables={("study",): StudyEntry, **{("parameter", n): ParameterEntry for n in range(4)}},
    ),
}

READER_KNOWS = re.compile(
    r"is not a file|is not known|does not make that face|more than 0|values of .* must each be|"
    r"spreads within a tolerance|needs operation"
)
"""What no schema knows: what a name names, and which numbers go together."""


def says(kind: Kind, document: dict[str, Any]) -> str:
    """What the reader refuses a document for; empty where it takes it."""
    facts = Stated(what="the file", values=document, path=(), where=lambda path: ".".join(map(str, path)))
    try:
        kind.read(facts)
    except SetupError as reason:
        return "; ".join(reason.problems)
    return ""


def changed(kind: Kind, place: tuple[str | int, ...], key: str, value: Any) -> dict[str, Any]:
    document = copy.deepcopy(kind.example)
    at: Any = document
    for step in place:
        at = at[step]
    at[key] = value
    return document


CASES = [(name, place) for name, kind in KINDS.items() for place in kind.tables]


@pytest.mark.parametrize("name", KINDS)
def test_reader_and_schema_take_the_example_that_is_changed(name: str) -> None:
    kind = KINDS[name]
    assert says(kind, kind.example) == ""
    assert [e.message for e in kind.schema.iter_errors(kind.example)] == []


@pytest.mark.parametrize(("name", "place"), CASES, ids=str)
def test_reader_and_schema_refuse_the_same(name: str, place: tuple[str | int, ...]) -> None:
    """No false alarm in the editor, and no mistake of key, kind, word or range that it lets pass."""
    kind, record = KINDS[name], KINDS[name].tables[place]
    refused = 0
    for field in own_fields(record):
        if record is BodyEntry and field.name in NOT_OF_PART:
            assert says(kind, changed(kind, place, field.name, 1))
            assert not kind.schema.is_valid(changed(kind, place, field.name, 1))
            continue
        for key, value in tried(record, field):
            document = changed(kind, place, key, value)
            told, taken = says(kind, document), kind.schema.is_valid(document)
            refused += bool(told)
            assert taken or told, f"{place} {key} = {value!r}: the schema refuses what the reader takes"
            if taken and told:
                assert READER_KNOWS.search(told), f"{place} {key} = {value!r} passes the schema: {told}"
    assert refused > 5


@pytest.mark.parametrize(("name", "place"), CASES, ids=str)
def test_a_key_that_must_be_stated_is_missed_by_both(name: str, place: tuple[str | int, ...]) -> None:
    kind = KINDS[name]
    for field in own_fields(kind.tables[place]):
        if field.default is not MISSING or field.default_factory is not MISSING:
            continue
        document = copy.deepcopy(kind.example)
        at: Any = document
        for step in place:
            at = at[step]
        del at[field.name]
        assert says(kind, document)
        assert not kind.schema.is_valid(document)


@pytest.mark.parametrize(
    ("name", "place", "keys"),
    [
        ("job", ("blank",), {"file": "bar.step"}),
        ("study", ("parameter", 0), {"sets": ["a.b"]}),
        ("study", ("parameter", 0), {"range": [1, 2]}),
        ("study", ("parameter", 2), {"nominal": 1.0}),
    ],
)
def test_keys_that_do_not_go_together_are_refused_by_both(
    name: str, place: tuple[str | int, ...], keys: dict[str, Any]
) -> None:
    kind = KINDS[name]
    for key, value in keys.items():
        document = changed(kind, place, key, value)
        assert says(kind, document)
        assert not kind.schema.is_valid(document)


@pytest.mark.parametrize("path", sorted(PAWL.glob("job*.toml")), ids=lambda p: p.stem)
def test_every_job_and_its_set_ups_are_taken_and_name_their_schema(path: Path) -> None:
    text = path.read_text()
    name = "job.schema.json" if is_job(path) else "job_setup.schema.json"
    assert [e.message for e in validator(name).iter_errors(tomllib.loads(text))] == []
    stated = text.splitlines()[0].removeprefix("#:schema ")
    assert (path.parent / stated).resolve() == shipped(name)
    if is_job(path):
        assert read_job_text(path, {}).operations


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(f.text, id=f"{page}-{n}")
        for page in PAGES
        for n, f in enumerate(fences(page))
        if f.language == "toml" and {"job", "study"} & set(tomllib.loads(f.text))
    ],
)
def test_every_job_and_study_of_the_pages_is_taken(text: str) -> None:
    stated = tomllib.loads(text)
    name = "study.schema.json" if "study" in stated else "job.schema.json"
    assert [e.message for e in validator(name).iter_errors(stated)] == []
