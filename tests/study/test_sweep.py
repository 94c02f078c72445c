"""`fixturecheck sweep` on solids: the pawl's chamfer, a crash, and a study that was stopped."""

from __future__ import annotations

import csv
import json
import math
import os
import shutil
import signal
import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pyarrow.csv
import pytest

from fixturecheck.cache import FOLDER_VARIABLE, default_folder
from fixturecheck.result.finding import Verdict
from fixturecheck.runs.request import SweepAnswer
from fixturecheck.runs.sweep import swept
from fixturecheck.study.read import read_study
from fixturecheck.study.store import ROWS
from tests.doors import command
from tests.processes import command_of, descendants, is_running, wait_until

MODELS = Path(__file__).resolve().parents[2] / "models"

PAWL = """
[study]
name = "chamfer of the heel"
setups = ["{setup}"]
only = ["nest"]

[[parameter]]
set = "heel_mm"
range = [0.75, 0.76]
steps = 2
flip_within = 0.0005

[[parameter]]
set = "count"
values = [2]
"""

TORQUE = """
[study]
setups = ["{setup}"]
only = ["vise"]
strict = true

[[parameter]]
name = "torque"
set = "clamp.screw.torque_nm"
range = [10.0, 200.0]
steps = 2
flip_within = 0.02
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

    One that is s smaller lands 1 - sqrt(1 - s^2) early (the equation of a circle), and holds the nest open
    where that is more than a touch, 1 um.
    """
    path = tmp_path / "study.toml"
    path.write_text(PAWL.format(setup=MODELS / "index_pawl" / "rev_b.py"))
    found, fresh = swept(read_study(path), tmp_path / "out", threads, 1, flips=True, progress=quiet)
    assert [r.verdict for r in found.sampled] == [Verdict.NO_GO, Verdict.CAUTION]
    (down,) = found.flips
    closed_mm = 0.8 - math.sqrt(2 * 1e-3 - 1e-6)
    assert down.fails_at <= closed_mm <= down.passes_at
    assert 0.0 < down.passes_at - down.fails_at <= 0.0005
    assert (down.driver, down.verdict) == ("nest/gap/pawl_2.back/pawl_1.nest", Verdict.NO_GO)
    # Asked again, all of it is known.
    again, more = swept(read_study(path), tmp_path / "out", threads, 1, flips=True, progress=quiet)
    assert (again.flips, again.sampled, more) == (found.flips, found.sampled, 0)
    assert fresh > 2


def test_the_torque_of_the_vise_flips_at_its_closed_form(tmp_path):
    """The pressure of the jaw reaches 50 N/mm2 (`checks/vise`, chosen here, no source).

    The jaws end 35 mm above the floor and the link stands on 16 mm, so 19 mm of its 60 x 24 mm are gripped,
    less two holes of 8 mm and what two rounded corners of 4 mm lack. The greatest force is that of the
    lowest nut factor, 0.15 on a screw of 12 mm, and of the highest efficiency, 0.8: F = 0.8 T / (K d).
    """
    path = tmp_path / "study.toml"
    path.write_text(TORQUE.format(setup=MODELS / "link" / "in_vise_clamped.toml"))
    found, _ = swept(read_study(path), tmp_path / "out", threads, 1, flips=True, progress=quiet)
    (up,) = (f for f in found.flips if f.upward)
    area_mm2 = 60.0 * 19.0 - 2.0 * math.pi * 4.0**2 - 2.0 * (1.0 - math.pi / 4.0) * 4.0**2
    closed_nm = 50.0 * area_mm2 * 0.15 * 12.0 / 0.8 / 1e3
    assert up.passes_at <= closed_nm <= up.fails_at
    assert up.fails_at - up.passes_at <= 0.02
    assert up.driver == "vise/jaw-pressure/vise_jaw"


@pytest.fixture
def pair(tmp_path):
    (tmp_path / "pair.py").write_text(SCRIPT)
    path = tmp_path / "pair.toml"
    path.write_text(
        '[study]\nsetups = ["pair.py"]\nonly = ["nest"]\nstrict = true\n'
        '[[parameter]]\nset = "gap"\nvalues = [0.0, 0.1, 9.0, 0.2]\n'
    )
    return path


class Dying(ThreadPoolExecutor):
    """Threads in place of processes; what is to end its process breaks the pool, as such a process does."""

    def submit(self, work, task, /):
        if task[1].values["gap"] == 9.0:
            broken = Future()
            broken.set_exception(BrokenProcessPool("a process ended"))
            return broken
        return super().submit(work, task)


def test_a_crash_is_one_unknown_row_and_the_rest_is_worked_out(pair, tmp_path, monkeypatch):
    """Processes that really die are in `test_study` and below."""
    monkeypatch.setattr("fixturecheck.runs.sweep.spawned", Dying)
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
    read = pyarrow.csv.read_csv(tmp_path / "out" / "table.csv")
    assert read.column("gap").to_pylist() == [0.0, 0.1, 9.0, 0.2]
    assert read.column("passes").to_pylist() == [True, False, False, False]
    assert read.column("margin").to_pylist()[1] == pytest.approx(0.001 - 0.1, abs=1e-6)
    assert read.column("margin nest/gap mm").to_pylist()[2] is None
    assert "Where it is go" in (tmp_path / "out" / "study.html").read_text()
    # What could not be worked out is tried again: whatever was wrong with it may have been mended.
    kept = (tmp_path / "out" / ROWS).read_text().splitlines()
    command("sweep", pair, "--out", tmp_path / "out", "--processes", "1", "--quiet")
    (more,) = (tmp_path / "out" / ROWS).read_text().splitlines()[len(kept) :]
    assert json.loads(more)["variant"]["values"] == {"gap": 9.0}


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
    # Killed while it wrote the last row, within a sign of two bytes.
    (out / ROWS).write_bytes("".join(lines[:2]).encode() + lines[2][:40].encode() + "µ".encode()[:1])
    second, fresh = swept(study, out, threads, 1, flips=False, progress=quiet)
    assert (fresh, second.sampled) == (1, first.sampled)
    # Moved elsewhere, with its set-up and its rows.
    moved = shutil.copytree(tmp_path, tmp_path / "moved")
    assert str(tmp_path).encode() not in (moved / "out" / ROWS).read_bytes()
    third, fresh = swept(
        read_study(moved / pair.name), moved / "out", threads, 1, flips=False, progress=quiet
    )
    assert (fresh, [r.verdict for r in third.sampled]) == (0, [r.verdict for r in first.sampled])
    assert third.sampled[0].variant.setup == str(moved / "pair.py")
    # A set-up that has changed since is worked out anew.
    script = tmp_path / "pair.py"
    script.write_text(script.read_text() + "\n")
    assert swept(study, out, threads, 1, flips=False, progress=quiet)[1] == 3


WAITS = """
import time
if gap == 0.1 and not os.path.exists("seen"):
    open("seen", "w").close()
    time.sleep(99)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_neither_a_killed_worker_nor_a_killed_command_loses_a_row(pair, tmp_path):
    """A worker is killed while it waits in a script, and then the command; nothing of it is left running."""
    script, out = tmp_path / "pair.py", tmp_path / "out"
    # Whoever reads the second variant first waits: its process is killed, and the next one goes on.
    script.write_text(script.read_text() + WAITS)
    pair.write_text(pair.read_text().replace("[0.0, 0.1, 9.0, 0.2]", "[0.0, 0.1, 0.2]"))
    words = ("sweep", str(pair), "--out", str(out), "--processes", "1", "--quiet", "--no-flips")
    with subprocess.Popen([sys.executable, "-m", "fixturecheck", *words]) as command_run:
        wait_until((tmp_path / "seen").exists)
        started = descendants(command_run.pid)
        (worker,) = workers(started)
        os.kill(worker, signal.SIGKILL)
        wait_until(lambda: rows(out) == 2)
        # It was worked out alone; the pool that the rest needs is started anew.
        wait_until(lambda: len(workers(started | descendants(command_run.pid))) == 1)
        started |= descendants(command_run.pid)
        command_run.kill()
        command_run.wait()
        wait_until(lambda: not any(map(is_running, started)))
    assert len(started) >= 4  # the guarded process, what ends it, and two workers
    kept = (out / ROWS).read_text()
    pair.write_text(pair.read_text().replace(", 0.2]", "]"))
    found, fresh = swept(read_study(pair), out, threads, 1, flips=False, progress=quiet)
    assert fresh == 0, kept
    assert [r.verdict for r in found.sampled] == [Verdict.GO, Verdict.CAUTION]
    assert (out / ROWS).read_text() == kept


def workers(pids):
    """Return those of some processes that work variants out and still run."""
    return [pid for pid in pids if "spawn_main" in command_of(pid)]


def rows(out):
    return (out / ROWS).read_text().count("\n") if (out / ROWS).is_file() else 0


def test_no_cache_computes_anew_and_keeps_nothing(pair, tmp_path, monkeypatch):
    """A run that may keep answers finds the folder that it was told; one that may not finds none."""
    seen = []

    def noted(*_arguments, **_more):
        seen.append(default_folder())
        return SweepAnswer(came="passes", text="", all_known=False, junit="", summary="")

    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "kept"))
    monkeypatch.setattr("fixturecheck.runs.sweep.run", noted)
    for more in ((), ("--no-cache",)):
        assert command("sweep", pair, "--out", tmp_path / "out", "--quiet", *more).returncode == 0
    assert seen == [tmp_path / "kept", None]
    assert default_folder() == tmp_path / "kept"


def test_what_cannot_be_swept_is_refused_in_one_line_each(pair, tmp_path):
    other = tmp_path / "full"
    other.mkdir()
    (other / "mine.txt").write_text("")
    stranger = tmp_path / "stranger.toml"
    stranger.write_text(pair.read_text().replace('"gap"', '"gapp"'))
    twice = tmp_path / "twice.toml"
    twice.write_text(pair.read_text().replace('["pair.py"]', '["pair.py", "./pair.py"]'))
    bare = tmp_path / "bare.toml"
    (tmp_path / "bare.setup.toml").write_text("[setup]\n")
    stated = pair.read_text().replace('"pair.py"', '"bare.setup.toml"')
    bare.write_text(stated.replace('"gap"', '"clamp.screw.torque_nm"'))
    refused = {
        (twice,): "setups names pair.py twice",
        (bare,): "the set-up states no [[clamp]]",
        (tmp_path / "none.toml",): "none.toml is not a file; give a study ending in .toml",
        (tmp_path / "pair.py",): "pair.py is no study; give a study ending in .toml",
        (tmp_path / "bare.setup.toml",): "bare.setup.toml: the study has no [study]; name the set-ups in it",
        (pair, "--variant-timeout", "0"): "--variant-timeout must be more than 0 s, got 0",
        (pair, "--processes", "0"): "--processes must be at least 1, got 0",
        (pair, "--out", other): "holds something else than a study; name another folder",
        (stranger,): "stranger.toml, line 6: pair.py has no parameter 'gapp' to set; did you mean 'gap'?",
        (pair, "--scheduler", "nowhere"): "--scheduler nowhere: no scheduler answers there",
    }
    for words, says in refused.items():
        options = () if "--out" in words else ("--out", tmp_path / "out")
        ran = command("sweep", *words, *options, "--quiet")
        assert ran.returncode == 2, words
        assert says in ran.stderr
        assert ran.stderr.count("\n") == 1
    ran = command("check", pair, "--out", tmp_path / "out", "--quiet")
    assert (ran.returncode, ran.stderr.count("\n")) == (2, 1)
    assert "pair.toml, line 1: this is a study, not a set-up; `fixturecheck sweep` works it out" in ran.stderr
