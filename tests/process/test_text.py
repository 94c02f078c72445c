"""A job as text: its mistakes come all at once, each with its line, and before the kernel loads."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.process.text import is_job, read_job_text
from tests.meta.source import ROOT

GOOD = """[job]
name = "a block"

[part]
name = "block"
file = "block.step"

[[operation]]
number = 10
name = "top"
kind = "grind"
makes = ["top"]
stock_mm = 0.2
setup = "top.toml"
"""
SETUP = """[setup]
name = "top"

[[equipment]]
kind = "flat_magnetic_chuck"
name = "chuck"

[[body]]
name = "block"

[[seat]]
body = "block"
face = "bottom"
on = "chuck_plate"
on_face = "top"

[[cut]]
name = "top"
parts = ["block"]
floor = "top"
"""


def written(tmp_path: Path, job: str = GOOD, setup: str = SETUP) -> Path:
    (tmp_path / "top.toml").write_text(setup)
    path = tmp_path / "job.toml"
    path.write_text(job)
    return path


def test_a_job_is_told_from_a_set_up(tmp_path) -> None:
    path = written(tmp_path)
    assert is_job(path)
    assert not is_job(tmp_path / "top.toml")


def test_a_set_up_takes_part_and_stock_from_the_job(tmp_path) -> None:
    from fixturecheck.process.text import setup_text

    job = read_job_text(written(tmp_path), {})
    stated = setup_text(job, job.operations[0])
    assert [(b.name, b.state) for b in stated.bodies] == [("block", "after")]
    assert stated.rest["cuts"][0].stock_mm == 0.2


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("[job]", "[job]\ncuont = 3"), "job.toml, line 2: unknown key 'cuont'"),
        (('kind = "grind"', 'kind = "grnd"'), "job.toml, line 11: kind in .* unknown"),
        (("stock_mm = 0.2", "stock_mm = { lid = 0.2 }"), "line 13: stock_mm of 'lid'"),
        (('setup = "top.toml"', 'setup = "tap.toml"'), "line 14: set-up 'tap.toml' is not a file"),
        (("[part]", "[part]\nat = [0, 0, 0]"), "line 5: at is stated in the set-up"),
        (("[part]", "[parts]"), "unknown key 'parts'"),
        (("stock_mm = 0.2", "stones = [1]"), "line 13: stones in .* holds faces"),
        (("stock_mm = 0.2", "growth_share = [0.1, 0.2]"), "line 13: growth_share"),
    ],
)
def test_mistakes_carry_their_lines(tmp_path, change, says: str) -> None:
    with pytest.raises(SetupError, match=says):
        read_job_text(written(tmp_path, GOOD.replace(*change)), {})


def test_a_cut_that_states_another_stock_is_refused(tmp_path) -> None:
    path = written(tmp_path, setup=SETUP.replace('floor = "top"', 'floor = "top"\nstock_mm = 0.3'))
    with pytest.raises(SetupError, match=r"top.toml, line 21: stock_mm of cut 'top' is 0.3, but operation"):
        read_job_text(path, {})


def test_all_mistakes_are_told_at_once(tmp_path) -> None:
    text = GOOD.replace('kind = "grind"', 'kind = "grnd"').replace("[job]", "[job]\ncuont = 3")
    with pytest.raises(SetupError) as told:
        read_job_text(written(tmp_path, text), {})
    assert len(told.value.problems) == 2


def test_state_outside_a_job_is_refused(tmp_path) -> None:
    import cadquery as cq

    from fixturecheck import load

    cq.exporters.export(cq.Workplane().box(10, 10, 10), str(tmp_path / "block.step"))
    text = SETUP.replace('name = "block"\n', 'name = "block"\nfile = "block.step"\nstate = "before"\n', 1)
    path = tmp_path / "alone.toml"
    path.write_text(text)
    with pytest.raises(SetupError, match="state of body 'block' is known in a job only"):
        load(path)


def test_reading_a_job_loads_no_kernel() -> None:
    code = "import fixturecheck.process.text, sys; assert 'OCP' not in sys.modules"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
