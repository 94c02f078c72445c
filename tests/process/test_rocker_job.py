"""A bored lever of O1, in inches: states and burrs by hand, and three faults of its route that are told."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import Cut, Machine, Operation, Seat, Setup, body, equipment, job_of
from fixturecheck.process.run import looked_across, staged_job
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.tools import Drilling

IN = 25.4
LONG, WIDE, HIGH, FINGER = 2.5, 0.625, 0.75, 0.45
"""The lever over all, and the height of its thin end, in."""
STEP, BORE_D, CROSS_D = 1.0, 0.25, 0.159
LEFT = 0.005
"""What is left on top and under side for the furnace, in."""
PLAN = math.pi * (WIDE / 2) ** 2 / 2 + (LONG - WIDE / 2) * WIDE
"""The outline seen from above: half a disc and a rectangle, in2."""
BORE = math.pi * BORE_D**2 / 4
FACES = {
    "top": (1.0, 0.0, HIGH),
    "under": (1.5, 0.0, 0.0),
    "finger": (2.0, 0.0, FINGER),
    "riser": (1.5, 0.0, 0.6),
    "front": (1.2, -WIDE / 2, 0.2),
    "rear": (1.2, WIDE / 2, 0.2),
    "tip": (LONG, 0.0, 0.2),
    "boss": (0.0, 0.0, 0.3),
    "bore": (WIDE / 2 + BORE_D / 2, 0.0, 0.3),
    "cross": (1.0 + CROSS_D / 2, 0.0, 0.375),
}


def lever() -> cq.Workplane:
    """The finished lever, in mm."""
    half = WIDE / 2 * IN
    bar = cq.Workplane("XY").box((LONG - WIDE / 2) * IN, WIDE * IN, HIGH * IN, centered=(False, True, False))
    whole = bar.translate((half, 0, 0)).union(
        cq.Workplane("XY").center(half, 0).circle(half).extrude(HIGH * IN)
    )
    step = cq.Workplane("XY").box(STEP * IN, 2 * WIDE * IN, IN, centered=(False, True, False))
    bore = cq.Workplane("XY").center(half, 0).circle(BORE_D / 2 * IN).extrude(HIGH * IN)
    cross = cq.Workplane("XZ").center(IN, 0.375 * IN).circle(CROSS_D / 2 * IN).extrude(2 * IN)
    cut = whole.cut(step.translate(((LONG - STEP) * IN, 0, FINGER * IN))).cut(bore)
    return cut.cut(cross.translate((0, IN, 0)))


def ground(number: int, face: str, off: float, **more) -> Operation:
    """A face that is ground, its stock in inches."""
    return Operation(number=number, name=face, kind="grind", makes=(face,), stock_mm={"*": off * IN}, **more)


ROUTE = (
    ground(10, "top", 0.012, leave_mm={"*": LEFT * IN}),
    ground(20, "under", 0.010, leave_mm={"*": LEFT * IN}, measured_from=("top",), stones=(("top",),)),
    Operation(number=30, name="step", kind="mill", makes=("finger", "riser"), burr_mm=0.003 * IN),
    Operation(number=40, name="bore", kind="drill", makes=("bore",)),
    Operation(number=50, name="cross", kind="drill", makes=("cross",)),
    Operation(number=55, name="thread", kind="tap", makes=("cross",)),
    Operation(number=60, name="harden", kind="harden", temper_c=205.0),
    ground(70, "under", LEFT, stones=(("top",), ("tip",))),
    ground(80, "top", LEFT, measured_from=("under",), stones=(("under",),)),
)


def threaded(_before, after) -> Setup:
    """Operations 50 and 55: one drills the cross hole, the other taps it."""
    cross = Drilling(
        name="cross", parts=("lever",), hole="cross", flute_mm=40, stick_out_mm=50, thread="M5", spot_deg=120
    )
    return Setup(name="cross", bodies=(after,), drills=(cross,))


def up_to_the_tip(_before, after) -> Setup:
    """Operation 70: on its top, its tip against a block."""
    chuck = equipment("flat_magnetic_chuck", name="chuck")
    block = equipment("blocking_block", name="stop")
    return Setup(
        name="under",
        bodies=(*chuck, *block, after),
        seats=(
            Seat(body="lever", face="top", on="chuck_plate", on_face="top"),
            Seat(body="lever", face="tip", on="stop", on_face="minus_x", rank="stop"),
        ),
        cuts=(Cut(name="flat", parts=("lever",), floor="under", stock_mm=LEFT * IN, way="traverse"),),
        machine=Machine(table_z_mm=-20.0),
    )


def route(*changed: Operation, setups=None, **more):
    """The job with some operations changed."""
    by = {o.number: o for o in changed}
    faces = {name: tuple(v * IN for v in at) for name, at in FACES.items()}
    part = body("lever", lever(), material="tool_steel_o1", finish="ground", faces=faces, **more)
    operations = tuple(by.get(o.number, o) for o in ROUTE)
    return staged_job(job_of("lever", part, operations, setups=setups, units="inch"), lambda _d, _s: None)


@pytest.fixture(scope="module")
def sound():
    return route(setups={50: threaded, 55: threaded})


def test_each_state_has_the_volume_worked_out_by_hand(sound) -> None:
    """Slabs of the outline, the step as it stands under the stock, cylinders; a tap takes nothing."""
    rough = HIGH + 2 * LEFT
    taken = [
        0.012 * PLAN,
        0.010 * PLAN,
        STEP * WIDE * (HIGH + LEFT - FINGER),
        BORE * rough,
        math.pi * CROSS_D**2 / 4 * WIDE,
        0.0,
        0.0,
        LEFT * (PLAN - BORE),
        LEFT * (PLAN - STEP * WIDE - BORE),
    ]
    assert [s.taken_mm3 / IN**3 for s in sound.states[1:]] == pytest.approx(taken, rel=1e-6, abs=1e-9)
    assert sound.states[0].volume_mm3 / IN**3 == pytest.approx(PLAN * (rough + 0.022), rel=1e-6)


def test_the_burrs_of_step_and_bore_are_those_of_their_outer_corners(sound) -> None:
    """Finger: its two sides and its end; riser: its top and its two sides; the bore: both rims."""
    found = {
        n: {tuple(sorted((b.face, b.other))): round(b.length_mm / IN, 6) for b in one.leaves}
        for n, one in sound.burrs.items()
    }
    step, rise = STEP, round(HIGH + LEFT - FINGER, 6)
    assert found[30] == {
        ("finger", "front"): step, ("finger", "rear"): step, ("finger", "tip"): WIDE,
        ("front", "riser"): rise, ("rear", "riser"): rise, ("riser", "top"): WIDE,
    }  # fmt: skip
    rim = round(math.pi * BORE_D, 6)
    assert found[40] == {("bore", "top"): rim, ("bore", "under"): rim}


def across(stage, check: str):
    """What is not go of one check across operations: by the operation, what it is about and its number."""
    found = [one for one in looked_across(stage) if one.finding.check == check]
    return [(f.number, f.finding.about, f.finding.value) for f in found if f.finding.verdict is Verdict.NO_GO]


def test_a_sound_route_has_no_fault_across_it(sound) -> None:
    assert [f for f in looked_across(sound) if f.finding.verdict is Verdict.NO_GO] == []


def test_a_face_finished_too_early_and_a_stone_left_out_are_told() -> None:
    """The under side brought to size from a top with 0.005 in on it; the burr of the step, 0.003 in."""
    early = replace(ROUTE[7], measured_from=("top",), stones=(("top",),))
    stage = route(early, replace(ROUTE[8], measured_from=()), setups={70: up_to_the_tip})
    assert across(stage, "datum") == [(70, ("top",), pytest.approx(LEFT * IN))]
    assert across(stage, "burr") == [(70, ("tip",), pytest.approx(0.003 * IN * 1e3))]


def test_a_hole_that_an_operation_before_has_drilled_is_only_tapped(sound) -> None:
    drills = [sound.setups[n].setup.drills[0] for n in (50, 55)]
    assert [(d.drilled, d.spot_deg) for d in drills] == [(False, 120), (True, None)]


def test_a_face_with_stock_on_it_has_no_zone_yet() -> None:
    """After operation 70 the under side is at its size, and 0.005 in stand on the top."""
    stage = route(setups={70: up_to_the_tip}, tolerance_mm=0.0127)
    (part,) = stage.setups[70].setup.parts()
    assert [part.zone_mm(face) for face in ("under", "finger", "top")] == [0.0127, 0.0127, None]
