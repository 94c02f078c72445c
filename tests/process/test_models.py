"""The pawl as a job, as a script and as TOML with STEP: one verdict, one report."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fixturecheck.machining.as_milled import mill
from fixturecheck.process import across
from fixturecheck.process.across import stage
from fixturecheck.process.load import load_any
from fixturecheck.process.run import check_operation, looked_across, staged_job
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.result.shapes import Role
from tests.doors import command

MODELS = Path(__file__).resolve().parents[2] / "models" / "index_pawl"


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    """The whole job without its holds, which are asked of single operations below."""
    out = tmp_path_factory.mktemp("job") / "out"
    skipped = ("--skip", "hold,crash,release")
    return command("check", MODELS / "job.toml", "--out", out, "--no-pictures", "--quiet", *skipped), out


@pytest.mark.slow
def test_the_job_is_go_and_every_operation_has_its_report(checked) -> None:
    run, out = checked
    assert run.returncode == 0, run.stdout + run.stderr
    result = json.loads((out / "result.json").read_text())
    told = {o["number"]: o["verdict"] for o in result["operations"]}
    assert told == dict.fromkeys((10, 20, 30, 40, 50, 60, 70), "go")
    page = (out / "report.html").read_text()
    for number in (10, 20, 30, 40, 50, 60, 70):
        assert f'href="operations/{number}/report.html"' in page
    assert [s["after"] for s in result["states"]] == [None, 10, 20, 30, 40, 50, 60, 70]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("number", "asked"),
    [(10, "hold crash release"), (20, "hold"), (30, "hold"), (40, "hold crash release"), (50, "hold wall")],
)
def test_an_operation_holds_its_parts(sound, number, asked) -> None:
    """A magnet and a stop, toes toward a block on the sine plate, the wall, a vise, straps over two V-blocks.

    Cautions are of what happens if one let go. The gang holds by what holds the wall, and takes longer.
    """
    found = check_operation(sound["toml"][number], only={*asked.split()}).findings
    factors = [f for f in found if f.check == "hold" and f.kind is Kind.FACTOR]
    assert factors
    assert all(f.verdict is Verdict.GO and f.value >= f.limit == 3.0 for f in factors)
    assert any(f.kind is Kind.COMES_OFF for f in found) is ("release" in asked)
    assert {f.verdict for f in found} <= {Verdict.GO, Verdict.CAUTION}


@pytest.mark.slow
def test_the_folder_of_a_job_is_replaced_by_the_next_check_and_guarded(checked) -> None:
    _, out = checked
    (out / "operations" / "10" / "notes.txt").write_text("mine")
    run = command("check", MODELS / "job.toml", "--out", out, "--no-pictures", "--quiet")
    assert run.returncode == 2
    assert "operations/10/notes.txt" in run.stderr


def _staged(name: str):
    return staged_job(load_any(MODELS / name, {}), lambda _doing, _share: None)


@pytest.fixture(scope="module")
def faulty():
    return {kind: _staged(f"job_faults.{kind}") for kind in ("py", "toml")}


def test_script_and_toml_come_to_the_same_states(faulty) -> None:
    script, text = (faulty[kind].states for kind in ("py", "toml"))
    assert [s.volume_mm3 for s in script] == pytest.approx([s.volume_mm3 for s in text], rel=1e-9)
    assert [set(s.faces) for s in script] == [set(s.faces) for s in text]


@pytest.mark.parametrize("kind", ["py", "toml"])
def test_faults_across_operations_are_told(faulty, kind) -> None:
    """A stop on the saw cut, milled off before; and the burr of the pocket under the nest, 0.05 mm."""
    told = {
        one.finding.check: (one.number, one.finding.about, one.finding)
        for one in looked_across(faulty[kind])
        if one.finding.verdict is not Verdict.GO
    }
    assert {name: found[:2] for name, found in told.items()} == {
        "made": (30, ("saw_cut",)),
        "burr": (70, ("nest",)),
    }
    burr = told["burr"][2]
    assert (burr.value, burr.unit, burr.verdict) == (pytest.approx(50.0), "um", Verdict.NO_GO)
    assert "Stone nest" in burr.remedy
    assert told["made"][2].verdict is Verdict.NO_GO
    assert told["made"][2].remedy
    # Each names the key that states it.
    for check, key in (("made", "setup"), ("burr", "stones")):
        origin = told[check][2].origin
        line = (MODELS / origin.file).read_text().splitlines()[origin.line - 1]
        number = told[check][0]
        assert line.strip().startswith(f"{key} =" if kind == "toml" else (f"{key}=", f"number={number}"))
    # Each pawl of the gang stands off by one burr more than the one before.
    burred = faulty[kind].setups[70].burred
    assert burred is not None
    places = [b.at.toTuple()[0][0] for b in burred.parts()]
    assert places == pytest.approx([0.0, 16.05, 32.1, 48.15], abs=1e-9)


@pytest.mark.parametrize("kind", ["py", "toml"])
def test_a_drill_on_a_slope_without_a_seat_is_told(faulty, kind) -> None:
    """The slope is drawn at 45 degrees, so that a flat of 2 mm goes 2 tan(45) = 2 mm below its high side."""
    result = check_operation(faulty[kind].setups[50], only={"drill"})
    (told,) = [f for f in result.findings if f.verdict is not Verdict.GO]
    assert (told.kind, told.verdict, told.about) == (Kind.DRILL_START, Verdict.NO_GO, ("pawl.hole",))
    assert (told.value, told.limit) == (pytest.approx(45.0, abs=1e-6), 3.0)
    assert "at least 2 mm wide, with an end mill 2.00 mm below" in told.remedy.replace("\u202f", " ")


def test_pawls_on_a_burr_are_shown_and_told_as_that(faulty) -> None:
    """What lies on the burr is no contact like others in the pictures, and the remedy is a stone."""
    result = check_operation(faulty["py"].setups[70], only={"nest"})
    told = [f for f in result.findings if f.verdict is not Verdict.GO]
    assert [f.kind for f in told] == [Kind.OPEN] * 3
    for finding in told:
        assert {s.role for s in finding.shapes} == {Role.BURR}
        assert finding.remedy.startswith("Stone the burr off")
    opened = [f.value for f in told if f.kind is Kind.OPEN]
    assert opened == pytest.approx([0.05] * 3, abs=1e-4)


@pytest.mark.parametrize("kind", ["py", "toml"])
def test_a_touch_off_on_a_round_is_told(faulty, kind) -> None:
    result = check_operation(faulty[kind].setups[70], only={"dials"})
    (told,) = result.findings
    assert (told.kind, told.verdict) == (Kind.TOUCH_FACE, Verdict.NO_GO)
    assert told.about == ("pawl_1.corner_fillet",)
    assert "is not flat" in told.says
    # On the round of 0.5 mm in the corner, whose axis lies at y = -0.5, z = 11.5.
    assert math.hypot(told.location_mm[1] + 0.5, told.location_mm[2] - 11.5) == pytest.approx(0.5, abs=1e-6)
    assert told.remedy.startswith("Touch off on pawl_1.floor: tried")


@pytest.fixture(scope="module")
def sound():
    return {kind: _staged(f"job.{kind}").setups for kind in ("py", "toml")}


def test_the_sound_job_states_seat_and_touch_as_script_and_as_text(sound) -> None:
    script, text = (sound[kind] for kind in ("py", "toml"))
    assert script[50].setup.drills == text[50].setup.drills
    assert script[70].setup.dials == text[70].setup.dials
    assert script[70].setup.machine == text[70].setup.machine
    found = check_operation(text[50], only={"seat", "drill"}).findings
    assert {f.verdict for f in found} == {Verdict.GO}
    (start,) = [f for f in found if f.kind is Kind.DRILL_START]
    assert (start.value, start.limit) == (2.5, 2.0)


def test_step_and_heel_are_milled_whole_as_script_and_as_text(sound) -> None:
    """By hand, in a V that is 2 z wide: under the tail z < 6.2 on 4.3 mm; the chamfer of 1 mm on it."""
    script, text = (sound[kind][40].setup for kind in ("py", "toml"))
    assert script.end_mills == text.end_mills
    cuts = {run.name: mill(text, run).parts[0] for run in text.end_mills}
    assert cuts["tail"].removed_mm3 == pytest.approx(6.2**2 * 4.3, rel=1e-6)
    assert cuts["heel"].removed_mm3 == pytest.approx(2.0 * (6.2 / 2.0 + 1.0 / 6.0), rel=1e-6)
    assert all(part.leftover_mm3 == part.gouge_mm3 == 0.0 for part in cuts.values())


def test_what_holds_is_stated_alike_as_script_and_as_text(sound) -> None:
    """The V-block with its magnet on, two toes toward a block on the sine plate, the vise by its torque."""
    held = (10, 20, 30, 40, 50, 70)
    script, text = ({n: sound[kind][n].setup for n in held} for kind in ("py", "toml"))
    for number in held:
        assert script[number].holding == text[number].holding
        feeds = [[(c.downfeed_mm, c.wall_feed_mm) for c in one[number].cuts] for one in (script, text)]
        assert feeds[0] == feeds[1]
        assert script[number].machine.sparks == text[number].machine.sparks
        assert {s.own: s.other for s in script[number].seats} == {s.own: s.other for s in text[number].seats}


def test_hardness_is_not_tested_where_the_last_pass_seats(sound) -> None:
    """A mark raises a rim: once they are hard the pawls seat on both flanks, back, nest and the rail."""
    seats = {"left_seat", "right_seat", "back", "nest", "left_side"}
    for kind in ("py", "toml"):
        assert set(sound[kind][60].setup.hardening.not_marked) == seats
    (spot,) = check_operation(sound["toml"][60], only={"hardening"}).hardening.spots
    assert spot.good
    assert spot.face not in seats


def test_every_operation_stands_in_equipment_as_script_and_as_text(sound) -> None:
    """Sine of 45 degrees times 127 mm is 89.8025 mm; the vise opens 20 / sqrt 2."""
    for kind in ("py", "toml"):
        setups = sound[kind]
        assert all(one.setup is not None and one.parts for one in setups.values())
        plate = setups[20].setup.body("sine_plate").inclines[0]
        assert sum(plate.stack.blocks_mm) == pytest.approx(127 * math.sqrt(0.5), abs=3e-4)
        result = check_operation(setups[20], only={"seat", "reach", "align"})
        assert result.verdict is Verdict.GO
        jaw, pawl = setups[40].setup.body("vise_jaw"), setups[40].setup.body("pawl_1")
        assert _across_y(jaw, "moving_jaw") == pytest.approx(_across_y(pawl, "slope"), abs=1e-9)
        hardening = setups[60].setup.hardening
        assert (hardening.temper_c, dict(hardening.leave_mm)) == (200.0, {"floor": 0.1, "wall": 0.05})


def _across_y(body, name: str) -> float:
    """Where a face across Y lies, in world coordinates."""
    face = body.solid.moved(body.at).Faces()[body.face_indices(name)[0]]
    return face.Center().y


def test_work_side_by_side_comes_back_in_order_and_a_crash_is_one_failure() -> None:
    """In a process of its own, which has no threads yet."""
    code = (
        "import os, signal\n"
        "from fixturecheck.kernel.side_by_side import can_fork, run_side_by_side\n"
        "works = {1: lambda: 'one', 2: lambda: os.kill(os.getpid(), signal.SIGSEGV), 3: lambda: 1 / 0}\n"
        "found = run_side_by_side(works)\n"
        "print(can_fork(), found[1].value, 'SIGSEGV' in found[2].failed, 'ZeroDivision' in found[3].failed)\n"
    )
    lean = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=MODELS.parents[1],
        env=lean,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == ["True", "one", "True", "True"]


def test_every_check_across_operations_names_a_key_of_the_job() -> None:
    assert set(stage._KEYS) == set(across.MODULES)
