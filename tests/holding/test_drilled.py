"""Parts under a drill, a tap and a plunging end mill, held by straps: factors by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import engine
from fixturecheck.holding.axial import drilling_of, way_in_of, ways_in
from fixturecheck.holding.factor import load_cases
from fixturecheck.kernel.place import placed_at
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.result.hold import AxialStroke, Driver, Tool
from fixturecheck.setup.holding import Holding
from fixturecheck.setup.make import body as make_body
from fixturecheck.setup.model import Setup
from fixturecheck.setup.tools import Drilling, EndMilling, MillMove
from tests.checks.gauged import body
from tests.holding.blocks import fixture, table
from tests.holding.rigs import rigged, strap
from tests.machining.test_end_mill import pocketed, run_of

MU = 0.15
# Of soft steel with a dull drill of 6 mm at 0.1 mm a turn; Kienzle by hand.
_CHIP = 0.05 * math.sin(math.radians(59.0))
TORQUE_NMM = 1.5 * 2100.0 * _CHIP**-0.26 * 36.0 * 0.1 / 8.0
THRUST_N = 4.0 / 6.0 * TORQUE_NMM * math.sin(math.radians(59.0))
GRAB_NMM = TORQUE_NMM * 2.0**0.74
LIFT_N = GRAB_NMM / 3.0 * math.tan(math.radians(30.0))


def plate(at=(0.0, 0.0), *, blind=False, long=80.0):
    """A plate of 40 x 10 with a hole of 6 mm."""
    drawn = cq.Workplane("XY").box(long, 40.0, 10.0, centered=(True, True, False))
    hole = cq.Workplane("XY").circle(3.0).extrude(20.0).translate((*at, 4.0 if blind else -5.0))
    return body("plate", drawn.cut(hole).solids().val(), material="steel_1018", finish={"*": "ground"})


def straps(force_n, *places):
    """Straps that press with half the force in their screws, known exactly."""
    return tuple(strap("plate", (*p, 10.0), 2 * force_n, f"strap_{n}") for n, p in enumerate(places))


def bench(part, under, clamps, **given):
    cross = Drilling(
        name="cross", parts=("plate",), hole="round", flute_mm=60, stick_out_mm=80, feed_mm=0.1, **given
    )
    return Setup(
        name="bench",
        bodies=(part, *under),
        drills=(cross,),
        holding=Holding(magnet="off", coolant=False, mu=(MU, MU), clamps=clamps),
    )


def least(setup, stroke):
    """The factor of one stroke of the drill."""
    placed = {b.name: b.solid for b in setup.bodies}
    job = drilling_of(setup, placed, setup.drills[0], "plate")
    return min(b.low_factor for b in load_cases(rigged(setup), job).borne if b.case.stroke is stroke)


def test_a_wrong_go_by_a_drill_beyond_what_the_part_stands_on(compared):
    """Thrust 25 mm beyond the rail, a strap 40 mm inside it, and the weight: moments about the edge."""
    rail = fixture("rail", (-35, -20, -15), (10, 20, 0))
    setup = bench(plate((35.0, 0.0), blind=True), (rail,), straps(600.0, (-30.0, 0.0)))
    # Of the plate 80 x 40 x 10 less its hole; steel of 7.85 g/cm3.
    weight_n = (80 * 40 * 10 - math.pi * 9 * 6) * 7.85e-6 * 9.81
    by_hand = (600.0 * 40.0 + weight_n * 10.0) / (THRUST_N * 25.0)
    assert by_hand < 1.0
    compared(
        "plate drilled beyond the rail that it stands on",
        expected=by_hand,
        got=least(setup, AxialStroke.DRILLS),
    )
    # Asked alone no cure is looked for.
    (found,) = engine.check(setup, only=["crash"]).findings
    assert (found.verdict, found.kind) == (Verdict.NO_GO, Kind.WAY)
    assert found.value == pytest.approx(by_hand, rel=0.01)
    assert "goes round with the drill" in found.says


def test_a_wrong_go_by_the_torque_of_a_drill_on_a_plate_under_two_straps(compared):
    """It grabs as it breaks through: torque against two strapped feet 60 mm apart, less what it lifts.

    Friction of a foot acts within 1.5 mm of its middle, square feet of 4 mm.
    """
    feet = tuple(fixture(f"foot_{s}", (x - 2, -2, -10), (x + 2, 2, 0)) for s, x in (("l", -30), ("r", 30)))
    setup = bench(plate(), feet, straps(400.0, (-30.0, 0.0), (30.0, 0.0)))
    weight_n = (80 * 40 * 10 - math.pi * 9 * 10) * 7.85e-6 * 9.81
    by_hand = MU * (800.0 + weight_n) * 30.0 / (GRAB_NMM + MU * LIFT_N * 30.0)
    assert 0.3 < by_hand < 3.0
    found = least(setup, AxialStroke.BREAKS_THROUGH)
    compared("plate under two straps, turned as a drill breaks through", expected=by_hand, got=found)
    # In the full hole the thrust presses on the feet by more than the torque needs.
    assert MU * 0.5 * THRUST_N * 30.0 > TORQUE_NMM
    assert least(setup, AxialStroke.DRILLS) == pytest.approx(30.0)


def test_a_tap_turns_the_plate_in_and_out(compared):
    """M6: 0.613 mm of thread in twelve chips; torque by hand, its friction on the feet as above."""
    feet = tuple(fixture(f"foot_{s}", (x - 2, -2, -10), (x + 2, 2, 0)) for s, x in (("l", -30), ("r", 30)))
    setup = bench(plate(), feet, straps(400.0, (-30.0, 0.0), (30.0, 0.0)), drill_mm=5.0, thread="M6")
    torque_nmm = 2.0 * 2100.0 * (0.613 / 12.0) ** -0.26 * 6.0 / 8.0
    pulls_n = 0.2 * torque_nmm / 3.0
    weight_n = (80 * 40 * 10 - math.pi * 9 * 10) * 7.85e-6 * 9.81
    by_hand = MU * (800.0 + weight_n) * 30.0 / (torque_nmm + MU * pulls_n * 30.0)
    compared("the same under a tap", expected=by_hand, got=least(setup, AxialStroke.TAPS))
    assert least(setup, AxialStroke.BACKS_OUT) == pytest.approx(2.0 * by_hand, rel=0.01)
    there = replace(setup.drills[0], drilled=True)
    job = drilling_of(setup, {"plate": setup.bodies[0].solid}, there, "plate")
    assert [f.stroke for f in job.strokes] == [AxialStroke.TAPS, AxialStroke.BACKS_OUT]


DOWN = (MillMove(kind="plunge", at_mm=((35.0, 0.0),), z_mm=5.0),)


def plunged(shape="square", moves=DOWN, **given):
    part = body("plate", cq.Workplane("XY").box(80, 40, 10, centered=(True, True, False)).val(),
                material="steel_1018", finish={"*": "ground"})  # fmt: skip
    run = EndMilling(
        name="entry", parts=("plate",), makes=("top",), shape=shape, diameter_mm=8.0, flute_mm=20.0,
        stick_out_mm=30.0, moves=moves, **given,
    )  # fmt: skip
    rail = fixture("rail", (-35, -20, -15), (10, 20, 0))
    return Setup(
        name="bench",
        bodies=(part, rail),
        end_mills=(run,),
        # Rough enough that it tips before it turns.
        holding=Holding(magnet="off", coolant=False, mu=(1.0, 1.0), clamps=straps(600.0, (-30.0, 0.0))),
    )


def test_a_wrong_go_by_a_plunge_beyond_what_the_part_stands_on(compared):
    """Thrust is 0.8 of the cutting force along both edges; moments about the edge of the rail."""
    setup = plunged(teeth=2, feed_mm_tooth=0.05)
    milled = setup, {b.name: b.solid for b in setup.bodies}, setup.end_mills[0], "plate"
    job = way_in_of(*milled, AxialStroke.PLUNGES, ways_in(*milled)[AxialStroke.PLUNGES])
    thrust_n = 0.8 * 1.5 * 2100.0 * 0.05**-0.26 * 8.0 * 0.1 / 2.0
    weight_n = 80 * 40 * 10 * 7.85e-6 * 9.81
    by_hand = (600.0 * 40.0 + weight_n * 10.0) / (thrust_n * 25.0)
    borne = load_cases(rigged(setup), job).borne[0]
    compared("plate that an end mill plunges into beyond its rail", expected=by_hand, got=borne.low_factor)
    assert job.forces[Driver.THRUST].high == pytest.approx(thrust_n)
    assert job.tool is Tool.CUTTER


def test_a_wrong_go_by_a_ramp_beyond_what_the_part_stands_on(compared):
    """1 mm down over 10 across: sin 5.71 of the feed goes down, and both teeth push sideways as in a slot.

    A tooth in the middle of the slot has its whole chip and the other none: 0.8 of it is square to it. That
    tips the plate about the edge of the rail by its height over it, and so does the thrust 25 mm beyond.
    Pushed across, it turns about the strap long before.
    """
    ramp = MillMove(kind="ramp", face="top", at_mm=((35.0, -5.0), (35.0, 5.0)), z_mm=9.0, from_z_mm=10.0)
    setup = plunged(teeth=2, feed_mm_tooth=0.05, deep_mm=1.0, helix_deg=0.0, moves=(ramp,))
    # Rougher still, so that it neither slides nor turns before it tips.
    setup = replace(setup, holding=replace(setup.holding, mu=(2.0, 2.0)))
    placed = {b.name: b.solid for b in setup.bodies}
    ways = ways_in(setup, placed, setup.end_mills[0], "plate")
    assert [*ways] == [AxialStroke.RAMPS]
    job = way_in_of(setup, placed, setup.end_mills[0], "plate", AxialStroke.RAMPS, ways[AxialStroke.RAMPS])
    down = 0.1 * math.sin(math.atan2(1.0, 10.0))
    thrust_n = 0.8 * 1.5 * 2100.0 * (down / 2) ** -0.26 * 8.0 * down / 2.0
    tooth_n = 1.5 * 2100.0 * 0.05 ** (1 - 0.26) * 1.0
    side_n = tooth_n * math.hypot(1.0, 0.8)
    assert job.forces[Driver.THRUST].high == pytest.approx(thrust_n)
    assert job.strokes[0].side_n == pytest.approx(side_n, rel=0.03)
    weight_n = 80 * 40 * 10 * 7.85e-6 * 9.81
    by_hand = (600.0 * 40.0 + weight_n * 10.0) / (thrust_n * 25.0 + side_n * 9.0)
    borne = load_cases(rigged(setup), job).borne
    got = min(b.low_factor for b in borne if b.case.teeth[0].force_n[0] == job.strokes[0].side_n)
    assert min(b.low_factor for b in borne) < 0.3 * got
    compared("plate that an end mill goes down into on a ramp beyond its rail", expected=by_hand, got=got)


def test_a_pocket_that_nothing_is_stated_to_enter_is_gone_straight_into():
    """Shut in on all sides it is; one that is open at a side is come into from there."""
    shut, opened = pocketed(), pocketed(60.0, 16.0, 0.0)
    run = run_of(teeth=2, feed_mm_tooth=0.03, deep_mm=2.0)
    for part, ways in ((shut, (AxialStroke.ENTERS,)), (opened, ())):
        setup = Setup(name="bench", bodies=(part,), end_mills=(run,), holding=Holding())
        placed = {"block": placed_at(part.solid, part.at)}
        assert tuple(ways_in(setup, placed, run, "block")) == ways
    first = MillMove(kind="plunge", at_mm=((0.0, 0.0),), z_mm=16.0)
    stated = replace(run, moves=(first, *run.moves))
    placed = {"block": placed_at(shut.solid, shut.at)}
    setup = Setup(name="bench", bodies=(shut,), end_mills=(stated,), holding=Holding())
    assert tuple(ways_in(setup, placed, stated, "block")) == (AxialStroke.PLUNGES,)


def test_what_is_not_known_of_a_plunge_is_unknown():
    found = engine.check(plunged(), only=["hold"]).findings
    assert [(f.verdict, "state its teeth, feed_mm_tooth" in f.says) for f in found] == [
        (Verdict.UNKNOWN, True)
    ]


def test_a_countersink_turns_its_part_as_a_drill_as_wide_as_its_rim():
    """By hand: a cone of 90 degrees from 1 mm, 5.5 mm below the top, is 12 mm wide there. Its three lips take
    0.02 sin 45 = 0.01414 mm: kc = 2100 x 0.01414^-0.26, times 1.5 for wear, times 12^2 x 0.06 / 8."""
    solid = cq.Workplane().box(40, 30, 12, centered=(True, True, False))
    sunk = solid.cut(cq.Workplane().circle(3.3).extrude(12)).cut(
        cq.Workplane(obj=cq.Solid.makeCone(3.3, 6.0, 2.7, cq.Vector(0, 0, 9.3)))
    )
    plate = make_body("block", sunk, faces={"sink": (4.65, 0, 10.65)})
    run = run_of(
        makes=("sink",), shape="tapered", taper_deg=45.0, diameter_mm=1.0, teeth=3, feed_mm_tooth=0.02,
        deep_mm=2.7, moves=(MillMove(kind="plunge", at_mm=((0.0, 0.0),), z_mm=6.5),),
    )  # fmt: skip
    setup = Setup(name="bench", bodies=(plate,), end_mills=(run,), holding=Holding())
    milled = setup, {"block": plate.solid}, run, "block"
    process = way_in_of(*milled, AxialStroke.PLUNGES, ways_in(*milled)[AxialStroke.PLUNGES])
    expected = 1.5 * 2.1 * (0.02 * math.sin(math.pi / 4)) ** -0.26 * 12.0**2 * 0.06 / 8.0
    assert process.forces[Driver.TORQUE].high == pytest.approx(expected, rel=1e-6)
    told = engine.check(setup, only=["mill"]).findings
    assert [f for f in told if f.kind is Kind.FLOOR_RADIUS] == []


def test_a_feed_that_is_not_stated_is_all_that_a_hand_may_make_of_it():
    """6 mm: 0.05 to 0.15 mm a turn, Machinery's Handbook, from memory; told as assumed."""
    rail = fixture("rail", (-40, -20, -15), (40, 20, 0))
    setup = bench(plate(blind=True), (rail, table()), ())
    hand = setup.drills[0]
    hand = Drilling(name="cross", parts=hand.parts, hole="round", flute_mm=60, stick_out_mm=80)
    job = drilling_of(setup, {b.name: b.solid for b in setup.bodies}, hand, "plate")
    chip = 0.075 * math.sin(math.radians(59.0))
    assert job.forces[Driver.TORQUE].high == pytest.approx(1.5 * 2.1 * chip**-0.26 * 36.0 * 0.15 / 8.0)
    assert job.feed_mm == 0.15
