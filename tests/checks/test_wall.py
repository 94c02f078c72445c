"""Walls that clamps bend, by hand: tapered, backed, behind a spare jaw, a plate under a strap."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import engine
from fixturecheck.result.finding import Finding, Kind, Verdict
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.make import equipment, place
from fixturecheck.setup.model import Body, Setup
from fixturecheck.statics.stiffness import bent_mm
from tests.checks.gauged import body
from tests.checks.test_vise import vise_with

STEEL = {"youngs_modulus_mpa": 200e3, "poisson": 0.29}


def walls(setup: Setup) -> list[Finding]:
    """What is told of walls; nothing where all that is pressed is told as solid."""
    found = engine.check(setup, only=["wall"]).findings
    assert all(f.kind is Kind.THIN_WALL for f in found)
    return [f for f in found if f.value]


def slotted(edge_mm: float, foot_mm: float, low_mm: float = 0.0) -> Body:
    """30 long and 20 wide: a base 10 high and two ears 20 high, so thick at their edge and at their foot."""
    slot = [(-10 + foot_mm, 10), (10 - foot_mm, 10), (10 - edge_mm, 30), (-10 + edge_mm, 30)]
    drawn = cq.Workplane().box(30, 20, 30, centered=(True, True, False))
    drawn = drawn.cut(cq.Workplane("YZ").polyline(slot).close().extrude(30, both=True))
    return body("yoke", drawn, at=place(at=(0, -10, low_mm)))


def test_the_ears_of_a_yoke_bend_between_the_jaws():
    """Two thirds of 2000 N press each ear over its 20 mm: the closed form of `tests/statics/test_wall.py`.

    How much of the push bears on it is counted on a grid of 21 steps.
    """
    ears = walls(vise_with(slotted(3.0, 3.0)))
    by_hand = bent_mm(force_n=2000 * 2 / 3, thick_mm=3.0, high_mm=20.0, long_mm=30.0, **STEEL)
    assert [f.value for f in ears] == [pytest.approx(by_hand * 1e3, rel=0.06)] * 2
    assert {f.verdict for f in ears} == {Verdict.NO_GO}


def test_a_yoke_that_is_gripped_by_its_base_bends_no_ear():
    assert walls(vise_with(slotted(3.0, 3.0, low_mm=25.0))) == []


def test_an_ear_that_grows_thicker_to_its_foot_bends_as_a_whole():
    """Closed form, with t = 2 + x / 5 and x from the edge: 6 w / (E b) times the integral of x^3 / t^3.

    That is 625 (4 - 6 ln 3 + 4 - 4 (1/4 - 1/36)) for bending alone; shear over t is 1.2 w / (G b) times
    25 (4 - 2 ln 3), and the foot, 6 thick, turns by 5.31 M / (E t^2 b) + (1 - nu) V / (E t b) and gives.
    """
    w, b, e = 2000 * (2 / 3) / 20, 30.0, 200e3
    bends = 6 * w / (e * b) * 625 * (8 - 6 * math.log(3) - 4 * (1 / 4 - 1 / 36))
    shears = 1.2 * w / (e / 2.58 * b) * 25 * (4 - 2 * math.log(3))
    moment, force = w * 200.0, w * 20.0
    turns = 5.31 * moment / (e * 36 * b) + 0.71 * force / (e * 6 * b)
    ears = walls(vise_with(slotted(2.0, 6.0)))
    by_hand = (bends + shears + 20 * turns + 0.71 * moment / (e * 6 * b)) * 1e3
    assert [f.value for f in ears] == [pytest.approx(by_hand, rel=0.07)] * 2
    # As thick as it is at its edge it would bend five times as far.
    assert by_hand < 0.3 * bent_mm(force_n=force, thick_mm=2.0, high_mm=20.0, long_mm=b, **STEEL) * 1e3


def test_a_block_that_fills_the_room_keeps_the_ears_straight():
    """What the remedy says."""
    fill = Body(name="fill", role="fixture", solid=cq.Solid.makeBox(30, 14, 20, cq.Vector(-15, -17, 10)))
    setup = vise_with(slotted(3.0, 3.0))
    filled = Setup(name="bench", bodies=(*setup.bodies, fill), holding=setup.holding)
    assert walls(filled) == []


def test_a_spare_jaw_presses_the_ears_all_the_same():
    """The jaw presses a plate of 5 mm, and that the yoke."""
    setup = vise_with(slotted(3.0, 3.0))
    moved = Body(name="yoke", solid=setup.bodies[-1].solid, at=place(at=(0, -10, 0)))
    vise = equipment("grinding_vise", name="vise", opening_mm=25.0)
    plate = Body(name="plate", role="fixture", solid=cq.Solid.makeBox(30, 5, 30, cq.Vector(-15, -25, 0)))
    behind = Setup(name="bench", bodies=(*vise, plate, moved), holding=setup.holding)
    found, direct = ([f.value for f in walls(one)] for one in (behind, setup))
    assert found == pytest.approx(direct, rel=0.06)


def test_a_part_with_a_shoulder_over_the_jaws_has_no_wall_between_them():
    """A plate 20 thick between the jaws, with a flange beyond the fixed jaw over it: nothing bends."""
    drawn = cq.Workplane().box(40, 20, 50, centered=(True, False, False))
    drawn = drawn.union(cq.Workplane().box(40, 15, 10, centered=(True, False, False)).translate((0, 20, 40)))
    part = body("tee", drawn, at=place(at=(0, -20, 0)))
    assert walls(vise_with(part)) == []


def test_a_jaw_goes_in_beside_a_thin_tab_no_further_than_the_solid_gives():
    """A block of 30 with a tab 1 mm thick and 10 mm long at its end: F L / (E A) of the block, 30 x 34 high.

    Alone, under its quarter of the push, the tab would bend by half a millimetre."""
    drawn = cq.Workplane().box(40, 20, 34, centered=(True, False, False))
    drawn = drawn.cut(cq.Workplane().box(10, 18.5, 34, centered=(True, False, False)).translate((15, 1.5, 0)))
    part = body("tab", drawn, at=place(at=(0, -20, 0.5)))
    found = max(f.value for f in walls(vise_with(part)))
    assert found == pytest.approx(2000 * 20 / (200e3 * 30 * 34) * 1e3, rel=0.1)


def test_a_bar_that_lies_in_a_v_bears_a_strap_on_its_flanks():
    """A square bar on a corner, its upper corner flat, over two V-blocks 6 mm apart: no wall of 14 mm bends.

    Over the gap it is a beam on two feet: F l^3 / (48 E I) of 1 kN, 6 mm and some 3000 mm4 is 0.01 um.
    """
    bar = cq.Workplane("YZ").polyline([(0, 0), (10, 10), (2, 18), (-2, 18), (-10, 10)]).close().extrude(60)
    vees = [
        piece
        for name, x in (("one", -20), ("other", 26))
        for piece in equipment("magnetic_v_block", name=name, at=(x + 27, 0, 0), length_mm=40.0)
    ]
    strap = Clamp(name="strap", kind="strap", body="bar", at_mm=(5.0, 0.0, 18.0), force_n=1000.0)
    setup = Setup(name="bench", bodies=(*vees, body("bar", bar)), holding=Holding(clamps=(strap,)))
    assert walls(setup) == []


def tube(bore_mm: float, **given) -> Body:
    """10 long and 20 across, its axis along X, its lowest line at the origin."""
    drawn = cq.Workplane("YZ").circle(10.0)
    drawn = (drawn.circle(bore_mm / 2) if bore_mm else drawn).extrude(10.0).translate((-5, 0, 10))
    return body("ring", drawn, **given)


@pytest.mark.parametrize("bore_mm", [18.0, 10.0, 0.0])
@pytest.mark.parametrize("in_vise", [True, False])
def test_a_ring_gives_as_in_roark_a_thick_one_is_unknown_and_a_bar_is_solid(bore_mm, in_vise):
    """0.1488 W R^3 / (E I), R 9.5, wall 1, 10 long, 100 N: circular rings, case 1, from memory."""
    if in_vise:
        setup = vise_with(tube(bore_mm, at=place(at=(0, -10, 5))), force_n=100.0)
    else:
        table = cq.Solid.makeBox(80, 80, 20, cq.Vector(-40, -40, -20))
        top = {"at_mm": (0.0, 0.0, 20.0), "force_n": 200.0, "spread_share": 0.0}
        setup = Setup(
            name="bench",
            bodies=(Body(name="table", role="fixture", solid=table), tube(bore_mm)),
            holding=Holding(clamps=(Clamp(name="strap", kind="strap", body="ring", **top),)),
        )
    (found,) = engine.check(setup, only=["wall"]).findings
    if bore_mm == 18.0:
        by_hand_mm = 0.148779 * 100.0 * 9.5**3 / (200e3 * 10 * 1**3 / 12)
        assert found.value == pytest.approx(by_hand_mm * 1e3, rel=1e-4)
        assert found.verdict is Verdict.NO_GO
    else:
        assert found.verdict is (Verdict.UNKNOWN if bore_mm else Verdict.GO)


def plate_on_parallels(at_x_mm: float, **given) -> Setup:
    """A plate of 100 x 30 x 4 on two parallels 10 wide, 60 apart, with a strap over it."""
    feet = [
        Body(name=f"parallel_{i}", role="fixture", solid=cq.Solid.makeBox(10, 30, 20, cq.Vector(x, 0, 0)))
        for i, x in enumerate((-40, 30))
    ]
    plate = body(
        "plate", cq.Workplane().box(100, 30, 4, centered=(True, False, False)), at=place(at=(0, 0, 20))
    )
    given = {"force_n": 1000.0} | given
    strap = Clamp(
        name="strap", kind="strap", body="plate", at_mm=(at_x_mm, 15, 24), spread_share=0.0, **given
    )
    return Setup(name="bench", bodies=(*feet, plate), holding=Holding(clamps=(strap,)))


def test_a_strap_between_two_parallels_bends_the_plate():
    """The strap takes half of its screw's 1000 N to the plate: P L^3 / (192 E I) and more, its feet give."""
    (found,) = walls(plate_on_parallels(0.0))
    fixed = 500.0 * 60.0**3 / (192 * 200e3 * 30 * 4**3 / 12) * 1e3
    free = 4 * fixed
    assert fixed < found.value < free
    assert found.verdict is Verdict.NO_GO
    assert "press over what bears the part" in found.remedy


def test_a_strap_over_a_parallel_bends_nothing():
    assert walls(plate_on_parallels(-35.0)) == []


def test_a_toe_inside_the_part_leaves_its_own_wall_unknown_and_no_other():
    """The strap is judged as without it, and `vise`, which has no jaw to answer for, says nothing of it."""
    setup = plate_on_parallels(0.0)
    toe = Clamp(name="toe", kind="toe", body="plate", at_mm=(-40, 15, 22), inward=(1, 0, 0), force_n=100.0)
    both = replace(setup, holding=Holding(clamps=(*setup.holding.clamps, toe)))
    unknown, bent = sorted(engine.check(both, only=["wall", "vise"]).findings, key=lambda f: f.value or 0.0)
    assert (unknown.verdict, unknown.named, unknown.about) == (Verdict.UNKNOWN, "toe", ("plate",))
    assert "presses inside plate" in unknown.says
    assert [bent.value] == [f.value for f in walls(setup)]


def test_a_torque_is_named_that_the_wall_bears():
    setup = plate_on_parallels(0.0, force_n=None, torque_nm=5.0)
    (found,) = walls(setup)
    assert "tightened to" in found.remedy


def test_a_low_wall_of_a_long_pocket_is_held_by_its_foot():
    """A plate of 70 x 12 with a pocket 8 deep behind walls of 3 mm, pressed by 1500 N 2 mm above its floor.

    By hand a strip 8 high and no more of it long than its height on either side: a moment of at most 2 F.
    As a beam of 50 mm from end to end it would bend 50 times as far.
    """
    plate = cq.Workplane().box(70, 40, 12, centered=(True, True, False))
    plate = body(
        "plate", plate.cut(cq.Workplane().box(50, 34, 8, centered=(True, True, False)).translate((0, 0, 4)))
    )
    toe = Clamp(
        name="toe",
        kind="toe",
        body="plate",
        at_mm=(0, -20, 6),
        inward=(0, 1, 0),
        force_n=1500.0,
        spread_share=0.0,
    )
    (found,) = walls(Setup(name="bench", bodies=(plate,), holding=Holding(clamps=(toe,))))
    lever = {"force_n": 1500.0, "thick_mm": 3.0, "high_mm": 8.0, **STEEL}
    most = bent_mm(**lever, long_mm=16.0, pressed_mm=(1.9, 2.4)) * 1e3
    assert bent_mm(**lever, long_mm=20.0, pressed_mm=(1.2, 2.0)) * 1e3 < found.value < most
