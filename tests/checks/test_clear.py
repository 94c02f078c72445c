"""Collisions and clearances against closed forms of boxes, circles and cylinders; remedies tried again."""

from __future__ import annotations

import dataclasses
import math

import cadquery as cq
import pytest

from fixturecheck.checks import clear
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.place import shifted
from fixturecheck.machining import clearance
from fixturecheck.machining.detours import (
    blocking_dodges,
    clears,
    least_that,
    lowered,
    moved_aside,
    passing,
    raised,
    shorter_travel,
)
from fixturecheck.result.finding import Verdict
from fixturecheck.result.remedy import DodgeKind
from fixturecheck.result.shapes import Role
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.model import Body, Machine, Seat
from fixturecheck.shop.wheels import Flange, Guard, Wheel
from fixturecheck.units import METRIC
from fixturecheck.wording.remedies import dodge_words
from tests.machining.scene import block, named, pawl, stage, stepped

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


@pytest.mark.parametrize("height_mm", [62.0, 70.0, 100.0])
def test_a_clearance_exactly_at_its_limit_is_met(height_mm):
    # A rod of radius 3, its axis 89 + 3 + 1 from that of the wheel at its last place: 1 mm, by Pythagoras.
    x = 20 + OUT + 10.0 + math.sqrt((R + 4.0) ** 2 - (FLOOR_AT + R - height_mm) ** 2)
    rod = cq.Workplane("XZ").circle(3.0).extrude(-8.0).val()
    for closer_mm, verdict in ((0.0, Verdict.GO), (1e-4, Verdict.CAUTION)):
        pin = Body(
            name="pin", role="fixture", solid=rod, at=cq.Location(cq.Vector(x - closer_mm, 2, height_mm))
        )
        _, found = run(pawl(), pin, machine=Machine(guard=None))
        assert about(found, "pin").verdict is verdict
    _, found = run(pawl(), block("beside", (4, 0.3, 70), (-6, -2.3, 0)), machine=Machine(guard=None))
    assert about(found, "beside").verdict is Verdict.GO


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
    assert "a wheel of at least 66.0 mm: ground again" in (hit.remedy or "")
    larger = dataclasses.replace(small, diameter_mm=66.0)
    assert about(run(pawl(), wheel=larger, machine=machine)[1], "pawl_1").value == pytest.approx(1.0)
    again = Machine(flange=Flange(diameter_mm=34.0, thickness_mm=8.0), guard=None)
    assert about(run(pawl(), wheel=small, machine=again)[1], "pawl_1").value == pytest.approx(1.0)
    assert staged.cuts[0].made.gouge_mm3 == 0.0


@pytest.mark.parametrize("flange_mm", [40.0, 30.0])
def test_copies_that_are_ground_alike_stand_to_the_flange_as_each_does_by_itself(monkeypatch, flange_mm):
    """One flange dips 2 mm into the walls of copies, the other passes over them; a third stands higher."""
    small = Wheel(diameter_mm=60.0, corner_radius_mm=0.0, bore_mm=20.0)
    machine = Machine(flange=Flange(diameter_mm=flange_mm, thickness_mm=8.0), guard=None)
    bodies = [pawl("one"), pawl("two", at=(21, 0, 50)), pawl("high", at=(42, 0, 50.05))]
    staged = stage(bodies, wheel=small, machine=machine)
    asked, plain = [], clearance.apart
    monkeypatch.setattr(clearance, "apart", lambda *what: asked.append(what) or plain(*what))
    (cut,) = staged.cuts
    each, together = (
        {a.body: a.apart for a in clearance.approaches(cut, staged.placed, 100.0, kept=kept)}
        for kept in (False, True)
    )
    assert len(asked) == 3 + 2
    assert [*together] == [*each]
    assert {*each} == {"one", "two", "high"}
    for body, how in together.items():
        assert how.distance_mm == pytest.approx(each[body].distance_mm, abs=1e-9)
        assert how.common_mm3 == pytest.approx(each[body].common_mm3, rel=1e-9)
        assert (*how.on_a, *how.on_b) == pytest.approx((*each[body].on_a, *each[body].on_b), abs=1e-6)
    assert (together["two"].common_mm3 > 0.0) == (flange_mm == 40.0)


def test_a_post_beside_the_wheel_meets_the_guard():
    guard = Guard(opening_deg=150.0, radial_gap_mm=8.0, side_gap_mm=10.0, wall_mm=3.0)
    # The front plate runs y -14 to -11; above the axis (z = 147) it is full of the travel.
    _, found = run(pawl(), block("post", (4, 2, 150), (8, -13.5, 0)), machine=Machine(guard=guard))
    hit = [f for f in found if f.subject == "floor_cut/post" and f.verdict is Verdict.NO_GO]
    assert [f.kind for f in hit] == ["guard hits"]
    # Between the axis and 15 degrees below, the plate's edge falls away from the corner that sweeps with it.
    (one,) = hit
    swept = run(pawl(), machine=Machine(guard=guard))[0].cuts[0].movers["guard"]
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
    from fixturecheck.machining import clearance

    calls = []
    real = clearance.apart
    monkeypatch.setattr(clearance, "apart", lambda *a, **k: calls.append(1) or real(*a, **k))
    far = [block(f"far_{i}", (5, 5, 5), (300 + 10 * i, 0, 0)) for i in range(60)]
    run(pawl(), *far)
    assert len(calls) <= 6


# Remedies.


def test_the_tallest_block_that_clears_is_found_and_one_step_more_does_not():
    staged, found = run(pawl(), block("high", (4, 0.5, 61), (-6, -0.8, 0)))
    sweeps = list(staged.cuts[0].movers.values())
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
    sweeps = list(staged.cuts[0].movers.values())
    way = moved_aside("high", staged.placed["high"], sweeps, {}, 1.0)
    assert way is not None
    assert way.direction == (0.0, -1.0, 0.0)
    assert way.by_mm == pytest.approx(3.0)  # its far side from y = 1 to -2, 1 mm short of the wheel
    assert clears(shifted(staged.placed["high"], (0, -3.0, 0)), sweeps, 1.0)
    assert not clears(shifted(staged.placed["high"], (0, -2.99, 0)), sweeps, 1.0)
    stop = cq.Solid.makeBox(4, 3, 61, cq.Vector(-6, -6, 0))
    other = moved_aside("high", staged.placed["high"], sweeps, {"stop": stop}, 1.0)
    assert other is not None
    assert other.direction == (0.0, 1.0, 0.0)
    assert other.by_mm == pytest.approx(15.0)  # its near side from y = -2 to 13


def test_overtravel_is_cut_to_where_the_wheel_just_clears():
    xe = 20 + OUT + 10.0
    wall_x, top = xe + 20.0, 62.0
    staged, found = run(pawl(), block("end", (9, 5, top), (wall_x, 2, 0)), machine=Machine(guard=None))
    way = shorter_travel(passing(staged.setup, staged.cuts[0], staged.placed, "end", {"end": {"wheel"}}))
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
    ways = blocking_dodges(staged.setup, cut, staged.placed, "plate")
    (move,) = [w for w in ways if w.kind is DodgeKind.MOVE]
    # Alone the plate would go 3 mm toward -Y; with the fence there and the foot behind it, 15 mm toward +Y.
    assert (move.by_mm, move.direction) == (pytest.approx(15.0), (0.0, 1.0, 0.0))
    assert "move angle" in dodge_words(move, METRIC)
    seat = Seat(body="pawl_1", face="floor", on="foot", on_face="face_1")
    seated = dataclasses.replace(staged.setup, seats=(seat,))
    ways = blocking_dodges(seated, cut, staged.placed, "plate")
    assert [w.kind for w in ways] == [DodgeKind.RAISE]


# What a toolmaker would change first.


def slab(name="slab", length=80.0, width=47.0, at=(0, 0, 48)):
    """A plain plate whose whole top, at z = 58, is the floor."""
    solid = cq.Workplane().box(length, width, 10, centered=False).val()
    top = next(i for i, f in enumerate(faces_of(solid)) if f.normalAt().z > 0.99)
    return Body(name=name, solid=solid, faces={"floor": (top,)}, at=cq.Location(cq.Vector(*at)))


BARE = Machine(guard=None)


def struck(found, body):
    return next(f for f in found if f.subject == f"floor_cut/{body}" and f.verdict is not Verdict.GO)


ROUND_OUT = math.sqrt((R + 1.0) ** 2 - (R - 4.0) ** 2)  # off the axis, a corner 4 mm high is 1 mm clear


def test_a_block_at_either_end_is_passed_by_less_overtravel():
    """Blocks 4 mm over the floor, 45 mm past its ends; the axis may stop a chord short of their corners."""
    blocks = (block("left", (10, 47, 62), (-55, 0, 0)), block("right", (10, 47, 62), (125, 0, 0)))
    given = {"machine": BARE, "wall": None, "way": "traverse", "cross_feed_mm": 2.0, "overtravel_mm": 25.0}
    _, found = run(slab(), *blocks, **given)
    left_over = 45.0 - ROUND_OUT - OUT
    for name, end in (("left", "-X"), ("right", "+X")):
        hit = struck(found, name)
        assert hit.verdict is Verdict.NO_GO
        over = float(hit.remedy.split("(overtravel ")[1].split()[0])
        assert over == pytest.approx(left_over, abs=0.011)
        assert f"at the {end} end" in hit.remedy
        assert "lower" not in hit.remedy
    _, again = run(slab(), *blocks, **{**given, "overtravel_mm": over})
    assert all(f.verdict is Verdict.GO for f in again)


def vee_behind(y):
    """Two halves of a V-block that stand behind the part, 3 mm over its floor."""
    halves = block("half", (80, 20, 61), (0, y, 0)), block("other", (80, 20, 30), (0, y + 20, 0))
    return [dataclasses.replace(b, group="vee", pole=p) for b, p in zip(halves, "ns", strict=True)]


def test_a_cross_feed_that_overruns_is_made_smaller_and_the_v_block_is_left_as_it_is():
    """47 wide, a flat of 13: 34 of feed. Steps of 9 go 36 and run 1 over at either edge, of 4.25 not."""
    given = {"machine": BARE, "wall": None, "way": "traverse", "overtravel_mm": 2.0}
    behind = vee_behind(48.9)
    _, found = run(slab(), *behind, cross_feed_mm=9.0, **given)
    close = struck(found, "half")
    assert close.value == pytest.approx(0.9, abs=1e-6)
    assert close.remedy.startswith("Feed across by 8.5 mm a step instead of 9 mm: the same number of passes")
    assert "lower" not in close.remedy
    _, again = run(slab(), *behind, cross_feed_mm=8.5, **given)
    assert all(f.verdict is Verdict.GO for f in again)


def test_over_a_v_block_that_no_path_clears_the_part_is_set_higher():
    """The V-block carries the part and stands 3 mm over the floor where the wheel must go."""
    given = {"machine": BARE, "wall": None, "way": "traverse", "overtravel_mm": 2.0}
    behind = vee_behind(29.0)
    part = slab(width=29.0)
    face = next(
        n for n, f in zip(part.face_names(), faces_of(part.solid), strict=True) if f.normalAt().y > 0.9
    )
    staged, _ = run(part, *behind, **given)
    seat = Seat(body="slab", face=face, on="half", on_face=behind[0].face_names()[0])
    found = list(
        clear.check(dataclasses.replace(staged, setup=dataclasses.replace(staged.setup, seats=(seat,))))
    )
    hit = struck(found, "half")
    assert hit.remedy.startswith("Set slab 4.00 mm higher over vee, on laminated parallels (")
    assert "check the hold again), or use a lower half" in hit.remedy


def test_a_rail_as_high_as_a_gang_is_told_by_its_own_name_and_the_parts_as_one_list():
    """A rail level with the floor: 1 mm higher is clear. It is the rail that may be lower, not the chuck."""
    rail, wheel = cq.Solid.makeBox(40, 10, 8), cq.Solid.makeBox(40, 10, 20).moved(cq.Location((0, 0, 8)))
    found = raised("chuck", "chuck_rail", rail, [wheel], ["pad1", "pad2", "pad3"], 1.0)
    assert found is not None
    assert found.by_mm == pytest.approx(1.0, abs=0.01)
    says = dodge_words(found, METRIC)
    assert says.startswith("set pad1, pad2 and pad3 1.0")
    assert says.endswith("higher over chuck, on parallels or packing, or use a lower chuck_rail")


def test_packing_under_parts_on_a_magnet_is_told_to_weaken_it():
    rail, wheel = cq.Solid.makeBox(40, 10, 8), cq.Solid.makeBox(40, 10, 20).moved(cq.Location((0, 0, 8)))
    found = raised("chuck", "chuck_rail", rail, [wheel], ["pad"], 1.0, on_magnet=True)
    assert found is not None
    assert "packing of any kind weakens the magnet: check the hold again" in dodge_words(found, METRIC)


def clamped(at_mm, **more):
    """A pawl ground with a wheel 13 thick from y = -1 to 12 at z = 58, and one strap."""
    staged = stage((pawl(),), wheel=SHARP)
    strap = Clamp(
        name="strap", body="pawl_1", force_n=500.0, at_mm=at_mm, **({"kind": "strap", "screw_mm": 8.0} | more)
    )
    setup = dataclasses.replace(staged.setup, holding=Holding(clamps=(strap,)))
    return about(list(clear.check(dataclasses.replace(staged, setup=setup))), "strap")


def test_a_strap_that_presses_on_the_ground_face_is_hit():
    """The wheel's lowest point runs at z = 58 over the floor, where the strap stands 8 mm up."""
    hit = clamped((10.0, 6.0, 58.0))
    assert (hit.verdict, hit.kind) == (Verdict.NO_GO, "wheel hits clamp")
    assert "runs over the place where strap presses" in hit.says


def test_a_strap_behind_the_wall_is_a_caution_since_its_bar_is_not_drawn():
    """The wheel ends at y = 12; the tip, of radius 0.5, at y = 21 is 8.5 mm behind it."""
    near = clamped((10.0, 21.0, 70.0), screw_to_part_mm=20.0, screw_to_heel_mm=20.0)
    assert (near.verdict, near.kind) == (Verdict.CAUTION, "clamp not drawn")
    assert near.value == pytest.approx(8.5, abs=1e-6)
    assert "with the wheel stopped" in near.remedy


def test_a_strap_further_off_than_it_can_reach_clears_whichever_way_it_lies():
    """Bar and screw reach 20 + 20 + 8 = 48 mm round the tip: 100 mm behind the wheel's side leaves 52."""
    far = clamped((10.0, 112.0, 50.0), screw_to_part_mm=20.0, screw_to_heel_mm=20.0)
    assert (far.verdict, far.kind) == (Verdict.GO, "clamp clears")
    assert far.value == pytest.approx(52.0, abs=1e-6)


def test_a_toe_stands_behind_its_tip():
    """Its tip, on the front of the part, stands under the wheel; 5 mm lower than the floor it clears."""
    toe = {"kind": "toe", "inward": (0.0, 1.0, 0.0)}
    assert clamped((10.0, 0.0, 58.2), **toe).verdict is Verdict.NO_GO
    assert clamped((10.0, 0.0, 53.0), **toe).verdict is Verdict.CAUTION


def test_a_wheel_wider_than_a_floor_stands_to_the_side_away_from_a_rail():
    """A floor 6 wide under a flat of 13: 3.5 of overhang either side; a rail 3 mm off wants 1 mm."""
    given = {"machine": BARE, "wall": None, "overtravel_mm": 2.0}
    part, rail = slab(width=6.0), block("rail", (80, 10, 61), (0, 9.0, 0))
    _, found = run(part, rail, **given)
    hit = struck(found, "rail")
    assert (hit.verdict, hit.value) == (Verdict.NO_GO, pytest.approx(-3.0, abs=1e-9))
    assert "1.50 mm further toward -Y" in hit.remedy
    assert "feed_shift_mm = -1.5" in hit.remedy
    _, again = run(part, rail, feed_shift_mm=-1.5, **given)
    assert all(f.verdict is Verdict.GO for f in again)


def test_a_shift_that_would_run_into_another_rail_is_not_named():
    given = {"machine": BARE, "wall": None, "overtravel_mm": 2.0}
    rails = block("rail", (80, 10, 61), (0, 9.0, 0)), block("front", (80, 10, 61), (0, -15.0, 0))
    _, found = run(slab(width=6.0), *rails, **given)
    assert "feed_shift_mm" not in struck(found, "rail").remedy


def test_a_part_that_waits_beside_is_passed_by_the_path_only():
    waits = dataclasses.replace(slab("waits", at=(125, 0, 52)), role="part")
    given = {"machine": BARE, "wall": None, "way": "traverse", "overtravel_mm": 25.0}
    _, found = run(slab(), waits, parts=("slab",), **given)
    assert "stop the table" in struck(found, "waits").remedy.lower()


def test_a_guard_that_meets_a_tall_stop_is_passed_by_less_overtravel_and_not_by_a_shorter_stop():
    """The wheel ends at x = 200, the hood 11 mm further; a stop 150 tall stands between."""
    stop = block("tall", (8, 20, 150), (203, 10, 0))
    given = {"wall": None, "way": "traverse", "overtravel_mm": 25.0}
    _, found = run(slab(), stop, **given)
    hit = struck(found, "tall")
    assert "guard" in hit.says
    assert hit.remedy.startswith("Stop the table")
    over = float(hit.remedy.split("(overtravel ")[1].split()[0])
    _, again = run(slab(), stop, **{**given, "overtravel_mm": over})
    assert all(f.verdict is Verdict.GO for f in again)


def test_a_stop_past_the_end_is_moved_on_along_x_where_that_is_shorter():
    """With no overtravel left the hood ends at x = 186, 100 past the axis: a stop at 180 goes 7 mm on."""
    stop = block("tall", (12, 25, 150), (180, -2, 0))
    _, found = run(slab(), stop, wall=None, way="traverse", overtravel_mm=0.0)
    hit = struck(found, "tall")
    way = float(hit.remedy.split("Move tall ")[1].split()[0])
    assert way == pytest.approx(80 + OUT + 100 + 1 - 180, abs=0.011)
    assert "toward +X" in hit.remedy


def test_a_larger_wheel_is_named_with_the_speed_it_may_turn_at():
    """Flanges of 75 beside a wall of 60 mm over the floor want 197 mm; at 2850 rpm that is 29.4 m/s."""
    tall = dataclasses.replace(
        pawl(),
        solid=cq.Workplane(stepped())
        .union(cq.Workplane().box(20, 18, 60, centered=False).translate((0, 12, 8)))
        .val(),
    )
    tall = dataclasses.replace(tall, faces=named(tall.solid))
    _, found = run(tall, machine=Machine(guard=None))
    hit = struck(found, "pawl_1")
    assert "flanges of at most" not in hit.remedy  # 56 mm would be less than a third of 178
    assert "a wheel of at least 197.0 mm at no more than 2708 rpm" in hit.remedy


@pytest.mark.parametrize(("raised_mm", "off"), [(5.1, True), (4.9, False), (-1.0, False)])
def test_a_part_beside_a_mover_is_left_out_only_where_no_face_comes_nearer(raised_mm, off):
    """Not where the boxes meet: distances say nothing there."""
    mover = cq.Workplane().box(10, 10, 10).translate((0, 0, 5 + raised_mm)).val()
    part = cq.Workplane().box(10, 10, 10).translate((2, 3, -5)).val()
    assert clearance._Sides(mover).stay_off(part, 5.0) is off
