"""`fixturecheck calibrate` as a user meets it: exit codes, the chuck file, what is said and what is kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from fixturecheck.cli import main
from fixturecheck.setup.text import chuck_file
from tests.holding.test_calibration import HEAD, measurement

GOOD = HEAD + measurement("cube") + measurement("cube", shim=0.3) + measurement("bar")
BAD = HEAD + measurement("cube") + measurement("cube", shim=0.3, more="pull_n = 5000")


@pytest.fixture
def calibrate(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Run the command in a folder of its own, by the circuit that stands in for the field."""
    monkeypatch.setattr("fixturecheck.commands.calibrate.RUN", "tests.acceptance.by_circuit:run")
    monkeypatch.chdir(tmp_path)

    def run(text: str, *more: str) -> int:
        (tmp_path / "pulls.toml").write_text(text, encoding="utf-8")
        return main(["calibrate", "pulls.toml", "--quiet", *more])

    return run


def left(folder: Path) -> set[str]:
    return {p.name for p in folder.iterdir()}


def test_good_readings_give_a_chuck_file_of_the_chuck_they_were_taken_on(calibrate, tmp_path, capsys):
    assert calibrate(GOOD) == 0
    assert left(tmp_path) == {"pulls.toml", "pulls_chuck.toml"}
    chuck = chuck_file(tmp_path / "pulls_chuck.toml")
    # Of a chuck of 120 x 60 with the poles that ship: 20 wide, in a frame of 10, 20 deep.
    assert (chuck.poles, chuck.pole_pitch_mm, chuck.pole_material) == (4, 25.0, "steel_1018")
    assert chuck.pole_size_mm == (20.0, 40.0, 20.0)
    told = capsys.readouterr()
    assert "small chuck: 3 measurements, all of one magnet" in told.out
    assert "written to pulls_chuck.toml" in told.out
    assert told.err == ""
    # A second run takes the place of the first.
    before = (tmp_path / "pulls_chuck.toml").read_text()
    assert calibrate(GOOD) == 0
    assert (tmp_path / "pulls_chuck.toml").read_text() == before


def test_readings_that_contradict_each_other_exit_2_and_write_nothing(calibrate, tmp_path, capsys):
    assert calibrate(BAD) == 2
    assert left(tmp_path) == {"pulls.toml"}
    told = capsys.readouterr()
    assert told.out == ""
    (line,) = told.err.splitlines()
    assert "contradict each other" in line or "check it" in line


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEAD + measurement("cube"), "from 2 to 12 [[measurement]]"),
        (GOOD.replace("flat_magnetic_chuck", "flat_magnet"), "equipment"),
    ],
)
def test_a_slip_of_the_pen_exits_2_before_anything_is_solved(calibrate, tmp_path, capsys, text, says):
    assert calibrate(text) == 2
    assert left(tmp_path) == {"pulls.toml"}
    assert says in capsys.readouterr().err


def test_what_is_no_chuck_file_is_not_written_over(calibrate, tmp_path, capsys):
    (tmp_path / "notes.toml").write_text("mine", encoding="utf-8")
    assert calibrate(GOOD, "--out", "notes.toml") == 2
    assert (tmp_path / "notes.toml").read_text() == "mine"
    assert "is no chuck file" in capsys.readouterr().err
