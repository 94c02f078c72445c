"""Jobs held together by their folders: put together of small results, as `check` lays them out."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from junitparser import JUnitXml

from fixturecheck.commands.shared import kept_build_results
from fixturecheck.comparing.whole import compared
from fixturecheck.errors import SetupError
from fixturecheck.progress import silent
from fixturecheck.report.build_files import junit_xml
from fixturecheck.report.comparison import comparison_text
from fixturecheck.result.finding import Verdict
from fixturecheck.result.stored import SCHEMA_VERSION
from fixturecheck.runs.compare import given_result
from fixturecheck.runs.request import CheckRequest
from fixturecheck.runs.watch import _changes
from tests.comparing.sides import PAIR, opening, side


def kept(told):
    """Return a result as its file keeps it."""
    return {
        "schema": told.schema, "verdict": str(told.verdict), "not_asked": [], "stated": [],
        "setup": {"name": told.name, "file": told.file, "units": told.units, "sources": []},
        "bodies": [
            {"name": b.name, "role": b.role, "volume_mm3": b.volume_mm3, "centre_mm": b.centre_mm,
             "size_mm": b.size_mm, "at": b.at, "faces": [
                {"name": f.name, "kind": f.kind, "area_mm2": f.area_mm2, "centre_mm": f.centre_mm,
                 "normal": f.normal} for f in b.faces]}
            for b in told.bodies
        ],
        "findings": [
            {"id": f.id, "check": f.check, "verdict": str(f.verdict), "subject": f.subject,
             "kind": str(f.kind), "about": f.about, "cut": f.cut, "value": f.value, "unit": f.unit,
             "limit": f.limit, "margin": f.margin, "says": f.says, "remedy": f.remedy,
             "source": f.source, "location_mm": None,
             "direction": None, "overruled": None}
            for f in told.findings
        ],
    }  # fmt: skip


@pytest.fixture
def job(tmp_path):
    """Write the folder of a job of two operations, with a nest open by so much in each."""

    def write(called, first_mm, second_mm, name="b"):
        home = tmp_path / called
        bodies = (PAIR[0], replace(PAIR[1], name=name))
        sides = [side(opening(name, "a", gap), bodies=bodies) for gap in (first_mm, second_mm)]
        for number, one in zip((10, 20), sides, strict=True):
            place = home / "operations" / str(number)
            place.mkdir(parents=True)
            (place / "result.json").write_text(json.dumps(kept(one)))
        worst = "no-go" if max(first_mm, second_mm) > 0.001 else "go"
        own = {"name": "a pawl", "units": "mm", "sources": [{"path": "job.toml", "sha256": "0"}]}
        (home / "result.json").write_text(json.dumps({"verdict": worst, "job": own, "findings": []}))
        return home

    return write


def held(before, after):
    one, other = (given_result(str(path), CheckRequest(), silent).stored for path in (before, after))
    return compared(one, other)


def test_what_got_worse_says_in_which_operation(job):
    found = held(job("one", 0.0, 0.0), job("other", 0.0, 0.013))
    (worse,) = [c for c in found.findings if c.breaks]
    assert (worse.finding.id, worse.finding.about) == (
        "20: nest/gap/b.left/a.right",
        ("20: b.left", "20: a.right"),
    )
    assert (found.verdict_before, found.verdict_after) == (Verdict.GO, Verdict.NO_GO)
    assert found.breaks
    assert "20: b on a" in comparison_text(found, width=100)


def test_what_changed_in_a_job_that_is_watched_is_told_by_operation(job):
    one, other = job("one", 0.0, 0.0), job("other", 0.0, 0.013)
    told, same = _changes(one, other, 100).rsplit("\n\n", 1)
    assert told.startswith("operation 20: 1 finding got worse than the limit.\n1 worse\n")
    assert "worse: go to no-go  nest" in told
    assert same == "across the operations, operation 10: nothing changed"
    assert _changes(other, other, 100) == "across the operations, operation 10, operation 20: nothing changed"
    # What only the job's own file tells.
    data = json.loads((other / "result.json").read_text())
    (row,) = kept(side(opening("b", "a", 0.2)))["findings"]
    (other / "result.json").write_text(json.dumps(data | {"findings": [row]}))
    assert "across the operations: 1 finding got worse than the limit.\n1 new" in _changes(one, other, 100)


def test_what_has_nothing_of_what_was_watched_before_is_told_as_at_first(job):
    """Another part in the file, while it is watched: nothing can be held against what was there."""
    one, other = job("one", 0.0, 0.0), job("other", 0.0, 0.0)
    for file in other.rglob("operations/*/result.json"):
        data = json.loads(file.read_text())
        for number, body in enumerate(data["bodies"]):
            body.update(name=f"strange_{number}", centre_mm=[900.0, 0.0, 0.0])
        file.write_text(json.dumps(data))
    assert _changes(one, other, 100) == ""


def test_a_job_compared_with_itself_says_nothing_and_a_renamed_body_is_the_same(job):
    one = job("one", 0.0, 0.2)
    for other in (one, job("renamed", 0.0, 0.2, name="c")):
        found = held(one, other)
        assert {c.change for c in found.findings} == {"same"}
        assert not found.breaks


def test_the_operations_of_a_job_are_suites_of_junit_xml(job):
    home = job("one", 0.0, 0.013)
    suites = list(JUnitXml.fromstring(junit_xml(kept_build_results(home, home / "job.toml")).encode()))
    assert [(s.tests, s.failures) for s in suites] == [(1, 0), (1, 1)]


def test_what_was_found_across_the_operations_of_a_job_fails_a_build_too(job):
    """A face that an operation seats by and that is cut later, say: no set-up of its own shows that."""
    home, later = job("one", 0.0, 0.0), job("other", 0.0, 0.0)
    (row,) = kept(side(opening("b", "a", 0.2)))["findings"]
    data = json.loads((home / "result.json").read_text())
    data["operations"] = [{"number": n, "findings": [row | {"id": ""}]} for n in (10, 20)]
    (home / "result.json").write_text(json.dumps(data))
    built = kept_build_results(home, home / "job.toml")
    suites = list(JUnitXml.fromstring(junit_xml(built).encode()))
    assert (suites[0].name, suites[0].tests, suites[0].failures) == ("a pawl", 2, 2)
    assert [f.id for f in built[0].stored.findings] == [f"{n}: nest/gap/b.left/a.right" for n in (10, 20)]
    # The pages of operations show it as well, and it counts once.
    inside = home / "operations" / "10" / "result.json"
    shown = json.loads(inside.read_text())
    inside.write_text(json.dumps(shown | {"findings": [row | {"check": "burr"}]}))
    (_, ten, _) = kept_build_results(home, home / "job.toml")
    assert ten.stored.findings == ()
    assert [f.check for f in given_result(str(home), CheckRequest(), silent).stored.findings] == ["nest"] * 3
    inside.write_text(json.dumps(shown))
    # Mended in one operation, it is gone from that one alone.
    data["operations"][0]["findings"] = []
    (later / "result.json").write_text(json.dumps(data))
    gone = [c.finding.id for c in held(home, later).findings if c.change == "gone"]
    assert gone == ["10: nest/gap/b.left/a.right"]


def test_a_set_up_in_a_folder_of_its_own_is_named_from_the_jobs(job):
    """Its result names files from its own folder; a log line leads to them from outside the job's."""
    home = job("one", 0.0, 0.013)
    data = json.loads((home / "result.json").read_text())
    data["operations"] = [
        {"number": 10, "findings": [], "setup": None},
        {"number": 20, "findings": [], "setup": "ops/under.toml"},
    ]
    (home / "result.json").write_text(json.dumps(data))
    file = home / "operations" / "20" / "result.json"
    told = json.loads(file.read_text())
    told["findings"][0]["origin"] = {"file": "../under_faces.toml", "line": 9}
    file.write_text(json.dumps(told))
    (built,) = [b for b in kept_build_results(home, Path("job/job.toml")) if b.file.endswith("under.toml")]
    (finding,) = built.stored.findings
    assert (built.file, built.path_of(finding), built.line_of(finding)) == (
        "job/ops/under.toml",
        "job/under_faces.toml",
        9,
    )
    given = given_result(str(home), CheckRequest(), silent).stored
    assert [f.origin and f.origin.file for f in given.findings] == [None, "under_faces.toml"]


def test_a_job_of_a_newer_schema_is_refused_in_a_line(job):
    home = job("one", 0.0, 0.0)
    data = json.loads((home / "result.json").read_text())
    (home / "result.json").write_text(json.dumps(data | {"schema": SCHEMA_VERSION + 1}))
    with pytest.raises(
        SetupError, match=f"was written in schema {SCHEMA_VERSION + 1}, and this version reads"
    ):
        given_result(str(home), CheckRequest(), silent)


def test_a_side_from_a_revision_is_told_by_the_file_that_lies_there_now(job, tmp_path, monkeypatch):
    home = job("one", 0.0, 0.013)
    for words in (("init", "-q"), ("add", "."), ("commit", "-q", "-m", "first")):
        who = ("-c", "user.name=x", "-c", "user.email=x@localhost")
        subprocess.run([shutil.which("git"), *who, *words], cwd=tmp_path, check=True, capture_output=True)
    monkeypatch.chdir(home)
    given = given_result("HEAD:one/operations/20/result.json", CheckRequest(), silent)
    assert (given.file, given.stored.verdict) == ("operations/20/result.json", Verdict.NO_GO)


def test_what_is_no_folder_of_a_job_is_refused_in_a_line(tmp_path):
    (tmp_path / "operations" / "10").mkdir(parents=True)
    for place in (tmp_path, tmp_path / "operations" / "10"):
        (place / "result.json").write_text(json.dumps(kept(side(opening("b", "a", 0.0)))))
    with pytest.raises(SetupError, match=r"is a broken result.json of a job"):
        given_result(str(tmp_path), CheckRequest(), silent)
