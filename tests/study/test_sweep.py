"""`fixturecheck sweep` on solids: the pawl's chamfer, a crash, and a study that was stopped."""

from __future__ import annotations

import csv
import math
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from fixturecheck.result.finding import Verdict
from fixturecheck.runs.sweep import swept
from fixturecheck.study.read import read_study
from fixturecheck.study.store import ROWS
from tests.doors import command

MODELS = Path(__file__).resolve().parents[2] / "models"

PAWL = """
[study]
name = "chamfer of the heel"
setups = ["{setup}"]
only = ["nest"]
strict = true

[[parameter]]
set = "heel_mm"
range = [0.796, 0.801]
steps = 2
flip_within = 0.0002

[[parameter]]
set = "count"
values = [2]
"""

SCRIPT = """
import os
import cadquery as cq
import fixturecheck as fc

gap = 0.0
if gap > 5.0:
    os._exit(9)
block = cq.Workplane().box(20, 12, 8, centered=False)
faces = {"left": "<X", "right": ">X"}
bodies = [fc.body("a", block, faces=faces), fc.body("b", block, at=(20 + gap, 0, 0), faces=faces)]
seats = [fc.Seat(body="b", face="left", on="a", on_face="right", rank="nest")]
setup = fc.Setup(name="two", bodies=bodies, seats=seats)
"""


def threads(_workers):
    """An executor of this process, in which the kernel is loaded already."""
    return ThreadPoolExecutor(1)


def quiet(_doing, _share):
    pass


@pytest.mark.slow
def test_the_chamfer_of_the_pawl_flips_at_its_closed_form(tmp_path):
    """The fillet of 1.0 stands 0.8 up the wall from the heel's edge: a chamfer of 0.8 lands beside it.

    One that is s smaller has its edge s^2 / 2 deep in the fillet, and touches it besides the nest. Two
    nanometres, twice the kernel's own precision, are not told from the flat of the wall.
    """
    path = tmp_path / "study.toml"
    path.write_text(PAWL.format(setup=MODELS / "index_pawl" / "rev_b.py"))
    found, fresh = swept(read_study(path), tmp_path / "out", threads, 1, flips=True, progress=quiet)
    assert [r.verdict for r in found.sampled] == [Verdict.CAUTION, Verdict.GO]
    (down,) = found.flips
    closed_mm = 0.8 - math.sqrt(2 * 2e-6)
    assert down.fails_at <= closed_mm <= down.passes_at
    assert 0.0 < down.passes_at - down.fails_at <= 0.0002
    assert down.driver.startswith("nest/beside-the-nest/")
    # Asked again, all of it is known.
    again, more = swept(read_study(path), tmp_path / "out", threads, 1, flips=True, progress=quiet)
    assert (again.flips, again.sampled, more) == (found.flips, found.sampled, 0)
    assert fresh > 2


@pytest.fixture
def pair(tmp_path):
    (tmp_path / "pair.py").write_text(SCRIPT)
    path = tmp_path / "pair.toml"
    path.write_text(
        '[study]\nsetups = ["pair.py"]\nonly = ["nest"]\nstrict = true\n'
        '[[parameter]]\nset = "gap"\nvalues = [0.0, 0.1, 9.0, 0.2]\n'
    )
    return path


@pytest.mark.slow
def test_a_crash_is_one_unknown_row_and_the_rest_is_worked_out(pair, tmp_path):
    ran = command("sweep", pair, "--out", tmp_path / "out", "--processes", "1", "--quiet")
    assert ran.returncode == 0, ran.stderr
    assert "4 variants: 1 go, 2 caution, 1 unknown" in ran.stdout
    assert "unknown at gap = 9: The process that worked it out ended" in ran.stdout
    with (tmp_path / "out" / "table.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [(r["gap"], r["verdict"], r["passes"]) for r in rows] == [
        ("0.0", "go", "True"), ("0.1", "caution", "False"), ("9.0", "unknown", "False"),
        ("0.2", "caution", "False"),
    ]  # fmt: skip
    assert rows[1]["driver"] == "nest/gap/b.left/a.right"
    assert float(rows[1]["margin nest/gap mm"]) == pytest.approx(0.001 - 0.1, abs=1e-6)
    assert "Where it is go" in (tmp_path / "out" / "study.html").read_text()
    again = command("sweep", pair, "--out", tmp_path / "out", "--quiet")
    assert "all of it was worked out before" in again.stdout


def test_a_gap_flips_where_faces_no_longer_touch(pair, tmp_path):
    """Faces touch within 1 um, the touch tolerance of a set-up that states none."""
    spread = "range = [0.0, 0.01]\nsteps = 2\nflip_within = 1e-5"
    pair.write_text(pair.read_text().replace("values = [0.0, 0.1, 9.0, 0.2]", spread))
    found, _ = swept(read_study(pair), tmp_path / "out", threads, 1, flips=True, progress=quiet)
    (up,) = found.flips
    assert up.passes_at <= 0.001 <= up.fails_at
    assert up.fails_at - up.passes_at <= 1e-5


def test_a_study_that_was_stopped_goes_on_where_it_was(pair, tmp_path):
    pair.write_text(pair.read_text().replace("9.0, ", ""))
    study, out = read_study(pair), tmp_path / "out"
    first, fresh = swept(study, out, threads, 1, flips=False, progress=quiet)
    assert fresh == 3
    lines = (out / ROWS).read_text().splitlines(keepends=True)
    # Killed while it wrote the last row.
    (out / ROWS).write_text("".join(lines[:2]) + lines[2][:40])
    second, fresh = swept(study, out, threads, 1, flips=False, progress=quiet)
    assert (fresh, second.sampled) == (1, first.sampled)
    # A set-up that has changed since is worked out anew.
    script = tmp_path / "pair.py"
    script.write_text(script.read_text() + "\n")
    assert swept(study, out, threads, 1, flips=False, progress=quiet)[1] == 3


def test_what_cannot_be_swept_is_refused_in_one_line_each(pair, tmp_path):
    other = tmp_path / "full"
    other.mkdir()
    (other / "mine.txt").write_text("")
    stranger = tmp_path / "stranger.toml"
    stranger.write_text(pair.read_text().replace('"gap"', '"gapp"'))
    refused = {
        (tmp_path / "none.toml",): "is not a file; give a study ending in .toml",
        (pair, "--processes", "0"): "--processes must be at least 1, got 0",
        (pair, "--out", other): "holds something else than a study; name another folder",
        (stranger,): "gapp",
    }
    for words, says in refused.items():
        options = () if "--out" in words else ("--out", tmp_path / "out")
        ran = command("sweep", *words, *options, "--quiet")
        assert ran.returncode == 2, words
        assert says in ran.stderr
        assert ran.stderr.count("\n") == 1
