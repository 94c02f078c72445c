"""Jobs that cannot be as stated, from the command line: one plain line, exit code 2, nothing written."""

from __future__ import annotations

import shutil
from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.process.load import load_any
from fixturecheck.process.run import staged_job
from tests.doors import command

MODELS = Path(__file__).resolve().parents[2] / "models" / "index_pawl"


@pytest.mark.parametrize(
    ("file", "stated", "instead", "says"),
    [
        ("job.toml", "number = 20\n", "number = 20\nneeds = [30]\n", "20 needs 30 needs 20"),
        ("job.toml", 'makes = ["right_seat"]', 'makes = ["right_seat", "top"]', "'top' is made twice"),
        ("job.toml", "tool_steel_a2", "tool_steel_z9", "'tool_steel_z9' is not known; did you mean"),
        ("job.toml", "temper_c = 200.0", "temper_c = 900.0", "must be from 20 to 800; got 900"),
        ("job_angle.toml", "angle_deg = 45", "angle_deg = 89.9", "must be from 0.01 to 75; got 89.9"),
        ("job_hole.toml", "nose_mm = 60.0", "nose_mm = 60.0\ndaylight_mm = 50.0", "take a shorter drill"),
        ("job_pocket.toml", '"step_fillet"]\n', '"step_fillet"]\ndaylight_mm = 50.0\n',
         "cutter and nut are 60 mm long, and the raised spindle leaves 50 mm"),
    ],
)  # fmt: skip
def test_a_job_that_cannot_be_is_refused_in_one_line(tmp_path, file, stated, instead, says) -> None:
    for each in MODELS.glob("*.toml"):
        shutil.copy(each, tmp_path)
    text = (tmp_path / file).read_text(encoding="utf-8")
    assert text.count(stated) == 1
    text = text.replace(stated, instead)
    if "needs" in instead:
        text = text.replace("number = 30\n", "number = 30\nneeds = [20]\n")
    (tmp_path / file).write_text(text, encoding="utf-8")
    answer = command("check", tmp_path / "job.toml", "--out", tmp_path / "out", "--quiet")
    assert answer.returncode == 2
    assert says in answer.stderr
    assert len(answer.stderr.strip().splitlines()) == 1
    assert f"{file}, line " in answer.stderr
    assert not (tmp_path / "out").exists()


JOB = """
[job]
name = "a block"

[part]
name = "block"
file = "block.step"

[part.faces]
top = { select = ">Z" }
bottom = { select = "<Z" }
left = { select = "<X" }
bore = { near = [12, 3, 10] }

[blank]
size_mm = [40, 30, 25]
low_mm = [-20, -15, -1]

[[operation]]
number = 10
name = "first side"
kind = "grind"
makes = ["top"]
stock_mm = 4

[[operation]]
number = 20
name = "second side"
kind = "grind"
makes = ["bottom"]
stock_mm = 1

[[operation]]
number = 30
name = "bore"
kind = "drill"
makes = ["bore"]
"""
"""A block of 40 x 30 x 20 with a bore of 6, out of a blank that holds it with its stock."""


def line_of(text: str, table: str) -> int:
    return text[: text.index(table)].count("\n") + 1


@pytest.mark.parametrize(
    ("stated", "instead", "table", "says"),
    [
        # 1.5 mm short at one end, by 40 x 30 of face, the bore not drilled yet: 1800 mm3.
        ("low_mm = [-20, -15, -1]", "low_mm = [-20, -15, -2.5]", "[blank]",
         "1800 mm³ of it lie outside, 1.5 mm at +Z;"),
        ('makes = ["bottom"]\nstock_mm = 1', 'makes = []', "[part]", "no operation makes bottom of the part"),
        ('makes = ["bore"]', 'makes = ["bore", "left"]', "[[operation]]\nnumber = 30",
         "'30 bore': left cannot be closed: the faces around do not meet"),
    ],
)  # fmt: skip
def test_states_that_cannot_be_are_refused_where_they_are_stated(
    tmp_path, stated, instead, table, says
) -> None:
    whole = cq.Workplane("XY").box(40, 30, 20, centered=(True, True, False))
    whole.cut(cq.Workplane("XY").center(12, 0).circle(3).extrude(20)).val().exportStep(
        str(tmp_path / "block.step")
    )
    assert JOB.count(stated) == 1
    text = JOB.replace(stated, instead)
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    answer = command("check", tmp_path / "job.toml", "--out", tmp_path / "out", "--quiet", "--no-pictures")
    assert answer.returncode == 2, answer.stderr
    assert says in answer.stderr
    (line,) = answer.stderr.strip().splitlines()
    lines = range(line_of(text, table), line_of(text, table) + 4)
    assert any(f"job.toml, line {n}: " in line for n in lines)
    if "closed" in says:
        assert 'solid_before = "FILE.step"' in line
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("kind", "params", "says"),
    [
        ("sine_plate", "angle_deg = 0.1", "makes 0.1 degrees over 127 mm"),
        ("compound_sine_plate", "upper_angle_deg = 0.1", "makes 0.1 degrees over 127 mm"),
    ],
)
def test_an_angle_that_no_stack_makes_is_refused_with_the_nearest(tmp_path, kind, params, says) -> None:
    """A stack of 0.5 mm, the thinnest block, makes asin(0.5 / 127) = 0.22557 deg, 452 seconds more."""
    stated = f"""
[setup]
name = "slope"

[[equipment]]
kind = "{kind}"
name = "sine"
params = {{ {params} }}

[[body]]
name = "block"
file = "block.step"
"""
    cq.Workplane("XY").box(40, 30, 20).val().exportStep(str(tmp_path / "block.step"))
    (tmp_path / "slope.toml").write_text(stated, encoding="utf-8")
    answer = command("check", tmp_path / "slope.toml", "--out", tmp_path / "out", "--quiet")
    assert answer.returncode == 2
    assert says in answer.stderr
    assert "the nearest, 0.5000 mm, makes 0.22557 degrees, off by +452 seconds of arc" in answer.stderr
    assert len(answer.stderr.strip().splitlines()) == 1
    assert f"slope.toml, line {line_of(stated, '[[equipment]]')}" in answer.stderr


def test_a_dial_that_runs_out_is_one_plain_line_and_what_to_do(tmp_path) -> None:
    """By hand: 5 mm of lift and 0.2 mm of stock take 5.2 mm of a feed of 4; lifted by 3.8 mm it is enough.

    What a dial needs is known once the wheel has been swept, so that it is a verdict.
    """
    cq.Workplane("XY").box(40, 30, 20, centered=(True, True, False)).val().exportStep(
        str(tmp_path / "block.step")
    )
    (tmp_path / "block.toml").write_text(ON_CHUCK, encoding="utf-8")
    asked = ("check", tmp_path / "block.toml", "--only", "dials", "--no-pictures", "--quiet")
    answer = command(*asked, "--out", tmp_path / "out")
    assert answer.returncode == 1
    told = " ".join(answer.stdout.replace("\u202f", " ").split())
    assert "The downfeed runs past its travel: the dials of cut flat take 5.2 mm, and it has 4 mm." in told
    assert "change: Lift no more than 3.80 mm (lift_mm)." in told


ON_CHUCK = """
[setup]
name = "block"

[machine.downfeed]
graduation_mm = 0.01
turn_mm = 1.0
counts_up = "down"
travel_mm = 4.0

[[equipment]]
kind = "flat_magnetic_chuck"
name = "chuck"

[[body]]
name = "block"
file = "block.step"
at = [0, 0, 0]
faces = { top = { select = ">Z" }, under = { select = "<Z" } }

[[seat]]
body = "block"
face = "under"
on = "chuck_plate"
on_face = "top"

[[cut]]
name = "flat"
parts = ["block"]
floor = "top"
way = "traverse"
"""


SCRIPT = """
from pathlib import Path
from fixturecheck import Operation, body, job_of
import cadquery as cq

def stand(before, after):
    Path("beside.txt").read_text()
    return before.no_such_thing

part = body("block", cq.Workplane().box(4, 3, 2), faces={"top": (0, 0, 1)})
top = Operation(number=10, name="top", kind="mill", makes=("top",), stock_mm={"*": 1})
job = job_of("block", part, (top,), setups={10: stand})
"""


def test_what_a_function_of_a_script_raises_is_blamed_on_its_line(tmp_path) -> None:
    """It runs in the script's folder, as the script did, whose own files it reads."""
    (tmp_path / "job.py").write_text(SCRIPT, encoding="utf-8")
    (tmp_path / "beside.txt").touch()
    with pytest.raises(SetupError, match=rf"job.py, line {line_of(SCRIPT, 'return before')}: AttributeError"):
        staged_job(load_any(tmp_path / "job.py", {}), lambda _doing, _share: None)
