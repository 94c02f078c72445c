"""Jobs that cannot be as stated, from the command line: one plain line, exit code 2, nothing written."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

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
    ],
)
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
