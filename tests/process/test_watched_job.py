"""A job that is watched: a change of one operation is checked again and told as that one's."""

from __future__ import annotations

import cadquery as cq

from fixturecheck.comparing.whole import compared
from fixturecheck.progress import silent
from fixturecheck.runs.compare import given_result
from fixturecheck.runs.request import CheckRequest
from fixturecheck.runs.watch import run

JOB = """
[job]
name = "a block"

[part]
name = "block"
file = "block.step"
finish = "ground"
faces = { top = { select = ">Z" }, under = { select = "<Z" } }

[blank]
file = "bar.step"

[[operation]]
number = 10
name = "top"
kind = "grind"
makes = ["top"]
stock_mm = 0.3
setup = "top.toml"

[[operation]]
number = 20
name = "under side"
kind = "grind"
makes = ["under"]
stock_mm = 0.2
stones = ["top"]
setup = "under.toml"
"""

SETUP = """
[setup]
name = "flat"

[[equipment]]
kind = "flat_magnetic_chuck"
name = "chuck"

[[body]]
name = "block"
state = "after"
at = [0, 0, 0]
rotate = [["x", {turn}]]

[[seat]]
body = "block"
face = "{down}"
on = "chuck_plate"
on_face = "top"

[[cut]]
name = "flat"
parts = ["block"]
floor = "{up}"
way = "traverse"
"""


def test_a_change_of_one_operation_is_told_of_that_one_alone(tmp_path) -> None:
    """The block is drawn 20 high on Z = 0: turned over it stands 20 mm too low, lifted by that it seats."""
    block = cq.Workplane("XY").box(40, 30, 20, centered=(True, True, False))
    block.val().exportStep(str(tmp_path / "block.step"))
    bar = cq.Workplane("XY").box(40, 30, 20.5, centered=(True, True, False)).translate((0, 0, -0.2))
    bar.val().exportStep(str(tmp_path / "bar.step"))
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    over = SETUP.format(turn=180, down="top", up="under")
    (tmp_path / "top.toml").write_text(
        SETUP.format(turn=0, down="under", up="top").replace("at = [0, 0, 0]", "at = [0, 0, 0.2]"), "utf-8"
    )
    (tmp_path / "under.toml").write_text(over, encoding="utf-8")
    request = CheckRequest(only=("seat",), skip=(), pictures=False)

    def watched(name: str, before: str | None):
        (tmp_path / name).mkdir()
        told = run(
            str(tmp_path / "job.toml"), {}, str(tmp_path / name), request,
            None if before is None else str(tmp_path / before),
            progress=lambda _doing, _share: None, tell=lambda _lines: None,
        )  # fmt: skip
        return told.check.verdict, told.changes, {s.path for s in told.sources}

    verdict, changes, files = watched("first", None)
    assert (verdict, changes) == ("no-go", "")
    assert files == {"job.toml", "block.step", "bar.step", "top.toml", "under.toml"}
    (tmp_path / "under.toml").write_text(over.replace("at = [0, 0, 0]", "at = [0, 0, 20]"), encoding="utf-8")
    verdict, changes, _ = watched("second", "first")
    assert verdict == "go"
    told, same = changes.rsplit("\n\n", 1)
    assert told.startswith("operation 20: Nothing got worse")
    assert "better: no-go to go  seat" in told
    assert same == "across the operations, operation 10: nothing changed"
    assert (tmp_path / "second" / "operations" / "20" / "report.html").is_file()
    # Nothing changed since: the last answer again.
    verdict, changes, _ = watched("third", "second")
    assert (verdict, changes) == (
        "go", "across the operations, operation 10, operation 20: nothing changed"
    )  # fmt: skip
    # Compared, it is checked as a set-up is, and comes to what its folder holds.
    sides = [given_result(str(tmp_path / name), request, silent).stored for name in ("third", "job.toml")]
    assert compared(*sides).unchanged
    assert sides[1].findings
    pages = [(tmp_path / name / "report.html").read_bytes() for name in ("second", "third")]
    assert pages[0] == pages[1]
