"""A guide shoe in inches, from rough to finished in four operations: volumes, burrs and dials by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import Cut, Machine, Operation, Seat, Setup, Wheel, body, equipment, job_of, place
from fixturecheck.checks import dials as check_dials
from fixturecheck.kernel.mesh.triangles import Tessellator
from fixturecheck.process.run import check_operation, staged_job
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.dials import Dials, Handwheel
from tests.worked_out import stage_of

IN = 25.4
LONG, WIDE, HIGH = 2.0, 1.0, 0.75
WALL, FLOOR = 0.4, 0.5
"""The step: floor and wall, from the front and from below, in."""
NOSE, HOLE_D, HOLE = 0.125, 0.25, (0.5, 0.7)
LEFT = 0.002
FACES = {
    "top": (1.0, 0.3, HIGH),
    "nose": (1.0, NOSE * (1 - math.sqrt(0.5)), HIGH - NOSE * (1 - math.sqrt(0.5))),
    "floor": (1.5, 0.8, FLOOR),
    "wall": (1.0, WALL, 0.6),
    "under": (1.0, 0.3, 0.0),
    "front": (1.0, 0.0, 0.3),
    "rear": (1.0, WIDE, 0.3),
    "left": (0.0, 0.3, 0.3),
    "right": (LONG, 0.3, 0.3),
    "bore": (HOLE[0] + HOLE_D / 2, HOLE[1], 0.2),
}
OPERATIONS = (
    Operation(number=10, name="top", kind="grind", makes=("top",), stock_mm={"*": 0.010 * IN}),
    Operation(
        number=20,
        name="step",
        kind="grind",
        makes=("floor", "wall"),
        stock_mm={"floor": 0.012 * IN, "wall": 0.006 * IN},
        leave_mm={"*": LEFT * IN},
    ),
    Operation(number=30, name="bore", kind="drill", makes=("bore",)),
    Operation(
        number=40,
        name="finish",
        kind="grind",
        makes=("floor", "wall"),
        stock_mm={"*": LEFT * IN},
        stones=(("under",),),
    ),
)


def shoe() -> cq.Workplane:
    """The finished shoe, in mm, its corner at the origin."""
    size = [v * IN for v in (LONG, WIDE, HIGH)]
    whole = cq.Workplane("XY").box(*size, centered=False)
    rounded = whole.edges("|X and <Y and >Z").fillet(NOSE * IN)
    step = cq.Workplane("XY").box(*size, centered=False).translate((0, WALL * IN, FLOOR * IN))
    bore = cq.Workplane("XY").center(*(v * IN for v in HOLE)).circle(HOLE_D / 2 * IN).extrude(HIGH * IN)
    return rounded.cut(step).cut(bore)


def finish(dials: Dials):
    """The set-up of the last operation: on the chuck, a dial down, a read-out across."""

    def make(_before, after) -> Setup:
        down = Handwheel(graduation_mm=0.0005 * IN, turn_mm=0.05 * IN, counts_up="down")
        across = Handwheel(graduation_mm=0.0001 * IN, counts_up="in", reads="readout")
        return Setup(
            name="finish",
            units="inch",
            bodies=(
                *equipment("flat_magnetic_chuck", name="chuck"),
                replace(after, at=place(at=(-25, 5, 0))),
            ),
            seats=(Seat(body="shoe", face="under", on="chuck_plate", on_face="top"),),
            cuts=(
                Cut(
                    name="step",
                    parts=("shoe",),
                    floor="floor",
                    wall="wall",
                    stock_mm=LEFT * IN,
                    wall_stock_mm=LEFT * IN,
                    wall_feed_mm=0.0002 * IN,
                    downfeed_mm=0.0005 * IN,
                    way="traverse",
                    cross_feed_mm=2.0,
                ),
            ),
            machine=Machine(table_z_mm=-20.0, downfeed=down, cross_feed=across),
            wheel=Wheel(thickness_mm=0.5 * IN, corner_radius_mm=0.005 * IN),
            dials=dials,
        )

    return make


def staged(dials: Dials | None = None):
    """The job, staged."""
    faces = {name: tuple(v * IN for v in at) for name, at in FACES.items()}
    whole = body("shoe", shoe(), material="tool_steel_o1", finish="ground", faces=faces)
    job = job_of("guide shoe", whole, OPERATIONS, setups={40: finish(dials or Dials())})
    return staged_job(job, lambda _doing, _share: None)


@pytest.fixture(scope="module")
def plain():
    return staged()


def test_volumes_are_those_worked_out_by_hand(plain) -> None:
    """Cubic inches: a slab, bands beside the step, a cylinder, the corner that the nose rounds."""

    def open_in2(left: float) -> float:
        return (WIDE - WALL - left) * (HIGH - FLOOR - left)

    bore = math.pi * HOLE_D**2 / 4
    corner = (1 - math.pi / 4) * NOSE**2
    taken = [
        # The nose runs smoothly into the top and is ground with it.
        LONG * (0.010 * (WALL + LEFT + 0.006) + corner),
        # Floor and wall carry stocks of their own.
        LONG * (open_in2(LEFT) - (WIDE - WALL - LEFT - 0.006) * (HIGH - FLOOR - LEFT - 0.012)),
        bore * (FLOOR + LEFT),
        LONG * (open_in2(0.0) - open_in2(LEFT)) - bore * LEFT,
    ]
    assert [s.taken_mm3 / IN**3 for s in plain.states[1:]] == pytest.approx(taken, rel=1e-6)
    whole = LONG * (WIDE * HIGH - open_in2(0.0) - corner) - bore * FLOOR
    assert plain.states[-1].volume_mm3 / IN**3 == pytest.approx(whole, rel=1e-6)


def test_burrs_are_the_outer_corners_of_the_step(plain) -> None:
    """By hand: floor and wall at both ends, the floor's rear edge, the wall's upper one; the bore's rims."""
    found = {
        n: sorted((*sorted((b.face, b.other)), round(b.length_mm / IN, 6)) for b in one.leaves)
        for n, one in plain.burrs.items()
    }
    floor, wall = WIDE - WALL - LEFT, HIGH - FLOOR - LEFT
    ends = [(*sorted((face, end)), round(long, 6)) for end in ("left", "right") for face, long in
            (("floor", floor), ("wall", wall))]  # fmt: skip
    assert found[20] == sorted([*ends, ("floor", "rear", LONG), ("top", "wall", LONG)])
    rim = round(math.pi * HOLE_D, 6)
    assert found[30] == [("bore", "floor", rim), ("bore", "under", rim)]
    assert ("bore", "floor", rim) in found[40]


def _dialled(stage):
    worked, missing = stage_of(stage.setups[40].setup)
    assert missing == []
    return worked, list(check_dials.check(worked))


def test_dials_read_what_a_hand_works_out(plain) -> None:
    """0.002 in down are 4 lines of 0.0005, in 4 passes; across it reads itself, in 10."""
    worked, found = _dialled(plain)
    assert {f.verdict for f in found} == {Verdict.GO}
    (dials,) = worked.dialled
    floor, wall = dials.found.targets
    assert (floor.reading.turns, floor.reading.lines, floor.reading.toward) == (0, 4, "down")
    assert wall.reading.shows_mm == pytest.approx(-LEFT * IN, abs=1e-9)
    assert wall.reading.toward == "out"
    assert (dials.found.passes.rough, dials.found.passes.wall) == (4, 10)
    # The second route: meshes of the part with its stock and as ground, away from the corner of the wheel.
    part = worked.cuts[0].parts[0]
    before, after = (Tessellator().mesh(solid).points_mm for solid in (part.stock, part.ground))
    for axis, in_step in (
        (2, lambda p: p[:, 1] > 5.0 + (WALL + 0.1) * IN),
        (1, lambda p: (p[:, 2] > (FLOOR + 0.1) * IN) & (p[:, 1] > 5.0 + (WALL - 0.05) * IN)),
    ):
        moved_mm = before[in_step(before), axis].max() - after[in_step(after), axis].max()
        reading = (wall if axis == 1 else floor).reading
        assert moved_mm == pytest.approx(reading.set_mm, abs=1e-6)


def test_from_the_top_it_is_a_quarter_of_an_inch_of_whole_turns() -> None:
    """0.75 to 0.5 in: 5 turns of 0.05 in, the dial back at zero."""
    worked, _ = _dialled(staged(Dials(touch_top="shoe.top", may_mark=("shoe.top",))))
    reading = worked.dialled[0].found.targets[0].reading
    assert (reading.turns, reading.lines, reading.shows_mm) == (5, 0, pytest.approx(0.0))


def test_a_touch_on_the_nose_is_refused_where_it_is_round() -> None:
    """The nose lies round an axis at Y 0.125, Z 0.625 in, as drawn; the shoe stands 5 mm in."""
    stage = staged(Dials(touch_top="shoe.nose"))
    told = [f for f in check_operation(stage.setups[40], only={"dials"}).findings if f.verdict != Verdict.GO]
    (one,) = told
    assert (one.kind, one.verdict, one.about) == (Kind.TOUCH_FACE, Verdict.NO_GO, ("shoe.nose",))
    y_in, z_in = (one.location_mm[1] - 5.0) / IN, one.location_mm[2] / IN
    assert math.hypot(y_in - NOSE, z_in - (HIGH - NOSE)) == pytest.approx(NOSE, abs=1e-6)
    assert one.remedy.startswith("Touch off on shoe.floor: tried")
