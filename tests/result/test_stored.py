"""Reading a result.json back: this version, an older one, a newer one, and what is none."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.report.json import result_json
from fixturecheck.result import Result, Source
from fixturecheck.result.finding import Finding, Kind, NotAsked, Origin, Verdict, WhyNotAsked
from fixturecheck.result.stored import SCHEMA_VERSION, read_stored

FOUND = Finding(
    check="nest", verdict=Verdict.NO_GO, subject="b.left on a.right", says="It stays open.",
    kind=Kind.OPEN, about=("b.left", "a.right"), value=0.4, unit="mm", limit=0.001, margin=-0.399,
    remedy="Chamfer it.", location_mm=(1.0, 2.0, 3.0), direction=(0.0, 0.0, 1.0),
    origin=Origin(file="b.toml", line=7),
)  # fmt: skip
RESULT = Result(
    verdict=Verdict.NO_GO, name="two", units="mm", contacts=(), cuts=(), shapes=(),
    sources=(Source(path="b.toml", sha256="0" * 64), Source(path="a.step", sha256="1" * 64)),
    findings=(FOUND, replace(FOUND, kind=Kind.NOT_COMPUTED, asks=Kind.OPEN, margin=None, cut="c")),
    not_asked=(NotAsked(check="hold", reason=WhyNotAsked.NOT_STATED, lacks="[holding]"),),
)  # fmt: skip


def test_what_was_written_is_read_back():
    read = read_stored(result_json(RESULT), "result.json")
    by_id = {f.id: f for f in RESULT.findings}
    assert {f.id: f for f in read.findings} == by_id
    assert (read.schema, read.file, read.not_asked) == (SCHEMA_VERSION, "b.toml", RESULT.not_asked)
    # The set-up's own file comes first, though another sorts before it.
    assert [s.path for s in read.sources] == ["b.toml", "a.step"]


def test_a_result_of_the_first_schema_gets_ids():
    data = json.loads(result_json(RESULT))
    del data["schema"], data["setup"]["file"]
    for row in data["findings"]:
        for key in ("id", "asks", "named", "origin"):
            del row[key]
        row["kind"] = {"not computed": "as stated"}.get(row["kind"], row["kind"])
    read = read_stored(json.dumps(data).encode(), "old.json")
    assert (read.schema, read.file) == (1, "")
    assert {f.id for f in read.findings} == {"nest/gap/b.left/a.right", "nest//b.left/a.right@c"}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"schema": SCHEMA_VERSION + 1}, "was written in schema 3, and this version reads up to 2"),
        ({"schema": "two"}, "states the schema 'two'"),
        ({"schema": True}, "states the schema True"),
        ({"findings": None}, "is no result.json: it holds no verdict with findings"),
        ({"verdict": "fine"}, "is a broken result.json"),
        ({"findings": [{}]}, "is a broken result.json: KeyError 'verdict'"),
    ],
)
def test_what_is_no_result_is_refused_in_one_line(change, says):
    data = json.loads(result_json(RESULT)) | change
    with pytest.raises(SetupError) as refused:
        read_stored(json.dumps(data).encode(), "r.json")
    (line,) = refused.value.problems
    assert line.startswith("r.json ")
    assert says in line
    assert "\n" not in line


def test_broken_text_is_refused():
    with pytest.raises(SetupError, match=r"r\.json is no result\.json"):
        read_stored(b'{"verdict": ', "r.json")
