"""Collisions and clearances against closed forms of boxes, circles and cylinders; remedies tried again."""

from __future__ import annotations

import dataclasses
import math

import cadquery as cq
import pytest

from fixturecheck.access.clearance import movers_of
from fixturecheck.access.dodge import clears, dodges, least_that, lowered, moved_aside, shorter_travel
from fixturecheck.checks import clear
from fixturecheck.kernel.regions import moved
from fixturecheck.result import Role, Verdict
from fixturecheck.setup.model import Body, Machine, Seat
from fixturecheck.shop.wheels import Flange, Guard, Wheel
from tests.access.scene import block, pawl, stage

SHARP = Wheel(corner_radius_mm=0.0)
R = 89.0
FLOOR_AT = 58.0
OUT = math.sqrt(0.2 * (178 - 0.2))


def run(*bodies, **kwargs):
    staged = stage(bodies, wheel=kwargs.pop("wheel", SHARP), **kwargs)
    return staged, list(clear.check(staged))


def about(found, body):
    (one,) = [f for f in found if f.subject == f"floor_cut/{body}"]
    return one


# The wheel of these tests is 13 thick: it runs from y = -1 to 12 with its lowest point at z = 58.


def test_a_block_under_the_straight_of_the_travel_is_hit_by_a_box():
    _, found = run(pawl(), block("high", (4, 0.5, 61), (-6, -0.8, 0)))
    hit = about(found, "high")
    assert hit.verdict is Verdict.NO_GO
    assert (hit.value, hit.unit, hit.limit) == (pytest.approx(-3.0, abs=1e-9), "mm", 1.0)
    assert hit.margin == pytest.approx(-4.0, abs=1e-9)
    shape, travel = hit.shapes
    assert (shape.name, shape.role) == ("collision wheel floor_cut high", Role.COLLISION)
    assert (travel.name, travel.role) == ("wheel travel floor_cut", Role.TRAVEL)
    assert shape.geometry.Volume() == pytest.approx(4 * 0.5 * 3.0, rel=1e-9)
    assert hit.location_mm == pytest.approx((-4.0, -0.55, 59.5))


def test_a_block_beyond_the_travel_is_hit_by_the_round_of_the_wheel():
    # Past the last place of the axis, xe, the wheel's lower side is a circle of radius 89 about (xe, 147).
    xe = 20 + OUT + 10.0
    x0, x1, top = xe + 5.0, xe + 15.0, 60.0
    _, found = run(pawl(), block("end", (x1 - x0, 5.0, top), (x0, 2.0, 0.0)))

    def under_circle(t: float) -> float:
        return (t * math.sqrt(R * R - t * t) + R * R * math.asin(t / R)) / 2

    t1 = min(15.0, math.sqrt(R * R - (FLOOR_AT + R - top) ** 2))
    area = under_circle(t1) - under_circle(5.0) - (FLOOR_AT + R - top) * (t1 - 5.0)
    region, _ = about(found, "end").shapes
    assert region.geometry.Volume() == pytest.approx(5.0 * area, rel=1e-6)
    lowest = FLOOR_AT + R - math.sqrt(R * R - 5.0**2)
    assert about(found, "end").value == pytest.approx(lowest - top, abs=1e-6)


def test_least_clearance_beside_below_and_off_the_end_of_the_travel():
    machine = Machine(guard=None)
    _, found = run(pawl(), block("low", (200, 50, 5), (-100, -30, 0)), machine=machine)
    assert about(found, "low").value == pytest.approx(FLOOR_AT - 5.0, abs=1e-9)
    _, found = run(pawl(), block("beside", (30, 5, 70), (0, -6.5, 0)), machine=machine)
    beside = about(found, "beside")
    assert beside.value == pytest.approx(0.5, abs=1e-9)
    assert beside.verdict is Verdict.CAUTION
    assert beside.limit == 1.0
    assert beside.margin == pytest.approx(-0.5)
    assert beside.location_mm[1] == pytest.approx(-1.5)
    # A corner at height 70, 20 from the axis' last place: distance from the circle by Pythagoras.
    xe = 20 + OUT + 10.0
    _, found = run(pawl(), block("end", (9, 5, 64.0), (xe + 40.0, 2, 0)), machine=machine)
    gap = math.hypot(40.0, FLOOR_AT + R - 64.0) - R
    assert about(found, "end").value == pytest.approx(gap, rel=1e-6)


def test_a_cylinder_beside_the_end_of_the_travel():
    xe = 20 + OUT + 10.0
    rod = cq.Workplane("XZ").circle(3.0).extrude(-8.0).val()
    pin = Body(name="pin", role="fixture", solid=rod, at=cq.Location(cq.Vector(xe + 60, 2, 70)))
    _, found = run(pawl(), pin, machine=Machine(guard=None))
    gap = math.hypot(60.0, FLOOR_AT + R - 70.0) - R - 3.0
    assert about(found, "pin").value == pytest.approx(gap, rel=1e-6)


def test_touching_is_rubbing_and_far_is_go():
    _, found = run(pawl(), block("flush", (4, 3, 61), (0, -4.0, 0)))
    rubbing = about(found, "flush")
    assert (rubbing.verdict, rubbing.value) == (Verdict.NO_GO, pytest.approx(0.0, abs=1e-9))
    _, found = run(pawl(), block("away", (4, 3, 61), (0, -40.0, 0)))
    assert {f.verdict for f in found} == {Verdict.GO}
    assert any("wheel" in f.says and "away" in f.says for f in found)


def test_the_flange_meets_a_wall_taller_than_its_reach():
    # A wheel of 60 with flanges of 40 reaches 10; the wall stands 12 above the floor, 18 thick, the flange 8.
    small = Wheel(diameter_mm=60.0, corner_radius_mm=0.0, bore_mm=20.0)
    machine = Machine(flange=Flange(diameter_mm=40.0, thickness_mm=8.0), guard=None)
    staged, found = run(pawl(), wheel=small, machine=machine)
    hit = about(found, "pawl_1")
    assert hit.verdict is Verdict.NO_GO
    # The flange's axis lies 30 above the floor, its rim dips 2 mm under the top over the whole length: in a
    # long enough travel that is a box.
    assert hit.shapes[0].geometry.Volume() == pytest.approx(20.0 * 8.0 * 2.0, rel=1e-9)
    assert hit.value == pytest.approx(-2.0, abs=1e-9)
    assert "at most 34.0 mm" in (hit.remedy or "")
    again = Machine(flange=Flange(diameter_mm=34.0, thickness_mm=8.0), guard=None)
    assert about(run(pawl(), wheel=small, machine=again)[1], "pawl_1").value == pytest.approx(1.0)
    assert staged.cuts[0].made.gouge_mm3 == 0.0


def test_a_post_beside_the_wheel_meets_the_guard():
    guard = Guard(opening_deg=150.0, radial_gap_mm=8.0, side_gap_mm=10.0, wall_mm=3.0)
    # The front plate runs y -14 to -11; above the axis (z = 147) it is full of the travel.
    _, found = run(pawl(), block("post", (4, 2, 150), (8, -13.5, 0)), machine=Machine(guard=guard))
    hit = [f for f in found if f.subject == "floor_cut/post" and f.verdict is Verdict.NO_GO]
    assert [f.says.split()[1] for f in hit] == ["guard"]
    # Between the axis and 15 degrees below, the plate's edge falls away from the corner that sweeps with it.
    (one,) = hit
    swept = movers_of(run(pawl(), machine=Machine(guard=guard))[0].cuts[0])["guard"]
    assert one.shapes[0].geometry.Volume() == pytest.approx(
        swept.intersect(cq.Solid.makeBox(4, 2, 150, cq.Vector(8, -13.5, 0))).Volume()
    )


def test_bodies_of_the_cut_meet_no_wheel_but_others_do():
    staged, found = run(pawl(), pawl("pawl_2", at=(25, 0, 51)), parts=("pawl_1",), overtravel_mm=30.0)
    hit = about([f for f in found if "wheel" in f.says], "pawl_2")
    assert hit.verdict is Verdict.NO_GO
    assert hit.shapes[0].geometry.Volume() == pytest.approx(20.0 * 12.0 * 1.0, rel=1e-9)
    assert hit.value == pytest.approx(-1.0, abs=1e-9)
    assert hit.remedy is None
    assert len(staged.cuts[0].parts) == 1


def test_many_far_bodies_cost_next_to_nothing(monkeypatch):
    from fixturecheck.access import clearance

    calls = []
    real = clearance.apart
    monkeypatch.setattr(clearance, "apart", lambda *a, **k: calls.append(1) or real(*a, **k))
    far = [block(f"far_{i}", (5, 5, 5), (300 + 10 * i, 0, 0)) for i in range(60)]
    run(pawl(), *far)
    assert len(calls) <= 6


# Remedies.


def test_the_tallest_block_that_clears_is_found_and_one_step_more_does_not():
    staged, found = run(pawl(), block("high", (4, 0.5, 61), (-6, -0.8, 0)))
    sweeps = list(movers_of(staged.cuts[0]).values())
    way = lowered("high", staged.placed["high"], sweeps, 1.0)
    assert way is not None
    assert way.by_mm == pytest.approx(4.0)  # 3 mm in the way, 1 mm to keep clear
    assert way.to_mm == pytest.approx(57.0)
    lower = cq.Solid.makeBox(4, 0.5, 57.0, cq.Vector(-6, -0.8, 0))
    assert clears(lower, sweeps, 1.0)
    assert not clears(cq.Solid.makeBox(4, 0.5, 57.01, cq.Vector(-6, -0.8, 0)), sweeps, 1.0)
    assert "4.00 mm lower" in (about(found, "high").remedy or "")


def test_a_block_is_moved_the_shorter_way_and_not_into_another_body():
    high = block("high", (4, 3, 61), (-6, -2.0, 0))
    staged, _ = run(pawl(), high, machine=Machine(guard=None))
    sweeps = list(movers_of(staged.cuts[0]).values())
    way = moved_aside("high", staged.placed["high"], sweeps, {}, 1.0)
    assert way is not None
    assert way.direction == (0.0, -1.0, 0.0)
    assert way.by_mm == pytest.approx(3.0)  # its far side from y = 1 to -2, 1 mm short of the wheel
    assert clears(moved(staged.placed["high"], (0, -3.0, 0)), sweeps, 1.0)
    assert not clears(moved(staged.placed["high"], (0, -2.99, 0)), sweeps, 1.0)
    stop = cq.Solid.makeBox(4, 3, 61, cq.Vector(-6, -6, 0))
    other = moved_aside("high", staged.placed["high"], sweeps, {"stop": stop}, 1.0)
    assert other is not None
    assert other.direction == (0.0, 1.0, 0.0)
    assert other.by_mm == pytest.approx(15.0)  # its near side from y = -2 to 13


def test_overtravel_is_cut_to_where_the_wheel_just_clears():
    xe = 20 + OUT + 10.0
    wall_x, top = xe + 20.0, 62.0
    staged, found = run(pawl(), block("end", (9, 5, top), (wall_x, 2, 0)), machine=Machine(guard=None))
    way = shorter_travel(staged.setup, staged.cuts[0], "end", staged.placed["end"], ["wheel"], 1.0)
    assert way is not None
    # The corner (wall_x, 62) must be 90 from the axis at height 147.
    reach = math.sqrt((R + 1.0) ** 2 - (FLOOR_AT + R - top) ** 2)
    assert way.by_mm == pytest.approx(xe - (wall_x - reach), abs=0.011)
    assert way.direction == (-1.0, 0.0, 0.0)
    assert "+X end" in (about(found, "end").remedy or "")


def test_least_that_rounds_to_the_safe_side_and_gives_up_when_nothing_works():
    assert least_that(lambda v: v >= 1.2345, 10.0) == pytest.approx(1.24)
    assert least_that(lambda _v: False, 10.0) is None
    for guess in (0.4, 1.24, 1.2345, 3.0, 50.0):
        assert least_that(lambda v: v >= 1.2345, 10.0, guess) == pytest.approx(1.24)


def test_a_piece_of_equipment_moves_whole_and_what_carries_the_part_stays():
    pieces = [
        dataclasses.replace(block(n, (4, 3, z), at), group="angle")
        for n, z, at in (("plate", 61, (-6, -2, 0)), ("foot", 10, (-6, 1, 0)))
    ]
    machine = Machine(guard=None)
    staged, _ = run(pawl(), *pieces, block("fence", (4, 3, 10), (-6, -6, 0)), machine=machine)
    cut = staged.cuts[0]
    ways = dodges(staged.setup, cut, staged.placed, "plate", movers_of(cut))
    (move,) = [w for w in ways if w.way == "move"]
    # Alone the plate would go 3 mm toward -Y; with the fence there and the foot behind it, 15 mm toward +Y.
    assert (move.by_mm, move.direction) == (pytest.approx(15.0), (0.0, 1.0, 0.0))
    assert "move angle" in move.says
    seat = Seat(body="pawl_1", face="floor", on="foot", on_face="face_1")
    seated = dataclasses.replace(staged.setup, seats=(seat,))
    ways = dodges(seated, cut, staged.placed, "plate", movers_of(cut))
    assert [w.way for w in ways] == ["lower"]
