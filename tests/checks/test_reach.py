"""Verdicts on floor, wall and corner, with remedies that are ground again."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck.checks import reach
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.result.finding import Verdict
from fixturecheck.result.shapes import Role
from fixturecheck.setup.model import Body, Machine
from fixturecheck.shop.wheels import Flange, Wheel
from tests.machining.scene import LENGTH, named, pawl, stage, stepped


def run(*bodies, **kwargs):
    return list(reach.check(stage(bodies or (pawl(),), **kwargs)))


def one(found, word):
    return next(f for f in found if word in f.says)


def test_a_square_corner_keeps_the_radius_and_only_cautions():
    found = run(wheel=Wheel(corner_radius_mm=0.25), stock_mm=0.3)
    corner = one(found, "corner of pawl_1")
    assert corner.verdict is Verdict.CAUTION
    assert corner.value == pytest.approx(0.25, rel=1e-9)
    assert "0.25 mm into the floor" in (corner.remedy or "")
    assert [s.role for s in corner.shapes] == [Role.LEFTOVER]
    assert {f.verdict for f in found if f is not corner} == {Verdict.GO}
    made = one(found, "pawl_1.floor")
    assert made.value == pytest.approx(1.0)


def test_a_tolerance_takes_up_the_radius_when_the_fillet_lies_in_it():
    # A fillet stands r (sqrt 2 - 1) off the sharp edge; the zone reaches half its width to either side.
    for tolerance, verdict in ((0.18, Verdict.GO), (0.16, Verdict.CAUTION)):
        body = pawl(tolerance={"*": tolerance})
        corner = one(run(body, wheel=Wheel(corner_radius_mm=0.2), stock_mm=0.3), "corner of")
        assert corner.verdict is verdict
        assert corner.limit == pytest.approx(tolerance / 2 / (math.sqrt(2) - 1))


def test_a_relief_or_a_large_enough_fillet_is_go():
    relieved = run(pawl(relief=0.5), wheel=Wheel(corner_radius_mm=0.2), stock_mm=0.3)
    assert {f.verdict for f in relieved} == {Verdict.GO}
    for wheel in (0.5, 0.2):
        found = run(pawl(fillet=0.5), wheel=Wheel(corner_radius_mm=wheel), stock_mm=0.6)
        assert {f.verdict for f in found} == {Verdict.GO}
    assert "Dress the wheel to R 0.5 mm" in one(found, "corner of").says
    assert "in the fillet" in one(found, "below the drawing").says


def test_a_smaller_drawn_fillet_is_no_go_until_the_wheel_is_dressed_to_it():
    found = run(pawl(fillet=0.1), wheel=Wheel(corner_radius_mm=0.2), stock_mm=0.6)
    corner = one(found, "corner of")
    assert (corner.verdict, corner.limit) == (Verdict.NO_GO, pytest.approx(0.1))
    assert corner.remedy == "Dress the wheel's corner to 0.1 mm or less."
    again = run(pawl(fillet=0.1), wheel=Wheel(corner_radius_mm=0.1), stock_mm=0.6)
    assert one(again, "corner of").verdict is Verdict.GO


def test_a_floor_wider_than_the_wheel_is_no_go_and_both_remedies_work():
    wheel = Wheel(thickness_mm=8.0, corner_radius_mm=0.2)
    found = run(wheel=wheel, stock_mm=0.3)
    missed = one(found, "leaves")
    assert missed.verdict is Verdict.NO_GO
    assert missed.value == pytest.approx(0.3, rel=1e-6)
    assert missed.remedy is not None
    assert "raverse instead of plunging" in missed.remedy
    thick = float(missed.remedy.split("at least ")[1].split()[0])
    assert thick == pytest.approx(12.4)
    for again in (
        run(wheel=wheel, stock_mm=0.3, way="traverse"),
        run(wheel=Wheel(thickness_mm=thick, corner_radius_mm=0.2), stock_mm=0.3),
    ):
        assert one(again, "all the stock").verdict is Verdict.GO
    assert one(found, "pawl_1.floor").verdict is Verdict.NO_GO


def test_a_wheel_thicker_than_the_slot_gouges_and_a_thinner_one_is_named():
    land = cq.Workplane().box(LENGTH, 1, 20, centered=False)
    solid = cq.Workplane(stepped()).union(land).val()
    body = Body(name="slotted", solid=solid, faces=named(solid), at=cq.Location(cq.Vector(0, 0, 50)))
    found = run(body, stock_mm=0.2)
    gouge = one(found, "gouges")
    assert gouge.verdict is Verdict.NO_GO
    assert gouge.remedy is not None
    assert [s.name for s in gouge.shapes] == ["gouge floor_cut slotted"]
    thick = float(gouge.remedy.split("at most ")[1].split()[0])
    again = run(body, stock_mm=0.2, wheel=Wheel(thickness_mm=thick))
    assert one(again, "does not gouge").verdict is Verdict.GO


def channel(fillet_mm: float = 0.0) -> Body:
    """The stepped part with a land 1 mm wide along the front: its floor ends at y = 1 and at the wall."""
    land = cq.Workplane().box(LENGTH, 1, 20, centered=False)
    work = cq.Workplane(stepped(fillet=fillet_mm)).union(land)
    if fillet_mm:
        work = work.edges(cq.selectors.NearestToPointSelector((LENGTH / 2, 1, 8))).fillet(fillet_mm)
    solid = work.val()
    return Body(name="channel", solid=solid, faces=named(solid), at=cq.Location(cq.Vector(0, 0, 50)))


TRAVERSED = {"wheel": Wheel(thickness_mm=6.0, corner_radius_mm=0.3), "stock_mm": 0.2, "way": "traverse"}


def test_a_traverse_between_two_walls_ends_where_the_floor_does():
    """Of R 0.5 in both corners the flat is 10 mm wide: 6 - 0.3 cover it after 4.8 more, 3 steps of 1.6."""
    found = run(channel(fillet_mm=0.5), cross_feed_mm=2.0, **TRAVERSED)
    gouge = one(found, "gouges")
    assert gouge.verdict is Verdict.NO_GO
    assert gouge.remedy.startswith("Feed across by 1.6 mm a pass instead of 2 mm")
    again = run(channel(fillet_mm=0.5), cross_feed_mm=1.6, **TRAVERSED)
    assert {f.verdict for f in again} == {Verdict.GO}


def test_a_traverse_into_a_square_corner_needs_room_for_the_corner_of_the_wheel():
    found = run(channel(), cross_feed_mm=2.0, **TRAVERSED)
    remedy = one(found, "gouges").remedy
    # 11 mm less a wheel of 6 leave 5 mm, 3 steps of 1.66 and 0.02; the corner of R 0.3 needs those, too.
    assert remedy.startswith("Feed across by 1.66 mm a pass instead of 2 mm")
    assert "draw a fillet of at least 0.32 mm, or an undercut" in remedy
    again = run(channel(fillet_mm=0.32), cross_feed_mm=1.66, **TRAVERSED)
    assert {f.verdict for f in again} == {Verdict.GO}


def test_a_wheel_with_no_room_to_feed_across_is_named_thinner_by_a_step():
    traversed = TRAVERSED | {"wheel": Wheel(thickness_mm=12.0, corner_radius_mm=0.3)}
    # 11 mm less a step of 2.
    remedy = one(run(channel(), cross_feed_mm=2.0, **traversed), "gouges").remedy
    assert remedy.startswith("Use a wheel at most 9.0 mm thick, and draw a fillet of at least 0.3 mm")


@pytest.mark.parametrize(
    ("way", "thick"), [("plunge", "10.0 mm thick: ground again"), ("traverse", "8.0 mm thick, and draw")]
)
def test_a_wheel_wider_than_a_slot_between_two_lands_is_named_thinner(way, thick):
    """A slot of 10 mm and a wheel of 13: 1.5 mm too much on either side; a traverse needs 2 mm more."""
    slot = cq.Workplane().box(LENGTH, 10, 5, centered=False).translate((0, 5, 15))
    solid = cq.Workplane().box(LENGTH, 20, 20, centered=False).cut(slot).val()
    faces = {"floor": named(solid, z=15.0)["floor"]}
    body = Body(name="slotted", solid=solid, faces=faces, at=cq.Location(cq.Vector(0, 0, 50)))
    gouge = one(
        run(body, stock_mm=0.2, wall=None, way=way, wheel=Wheel(thickness_mm=13.0, corner_radius_mm=0.2)),
        "gouges",
    )
    assert gouge.value == pytest.approx(1.5)
    assert f"a wheel at most {thick}" in gouge.remedy


def test_flange_depth_is_half_of_what_the_wheel_stands_out():
    small = Wheel(diameter_mm=60.0, bore_mm=20.0)
    deep = one(run(wheel=small, machine=Machine(flange=Flange(diameter_mm=40.0))), "past its flanges")
    assert (deep.verdict, deep.value, deep.limit) == (Verdict.NO_GO, 10.0, pytest.approx(12.0))
    # 12 mm deep and 1 mm to keep clear: 40 + 2 x 13, and 60 - 2 x 13.
    assert "at least 66.0 mm" in (deep.remedy or "")
    assert "at most 34.0 mm" in (deep.remedy or "")
    good = one(run(wheel=small, machine=Machine(flange=Flange(diameter_mm=36.0))), "past its flanges")
    assert (good.verdict, good.margin) == (Verdict.GO, pytest.approx(0.0))


def test_a_step_wider_than_the_flat_leaves_ridges_of_a_circle_segment():
    wheel = Wheel(thickness_mm=3.0, corner_radius_mm=1.0)
    found = run(wheel=wheel, stock_mm=0.3, way="traverse", cross_feed_mm=1.2)
    ridge = one(found, "ridges")
    assert ridge.value == pytest.approx((1 - math.sqrt(1 - 0.1**2)) * 1e3)
    assert ridge.verdict is Verdict.NO_GO
    fine = run(wheel=wheel, stock_mm=0.3, way="traverse", cross_feed_mm=1.0)
    assert not [f for f in fine if "ridges" in f.says]


def test_a_part_that_stands_high_is_gouged_and_a_low_one_keeps_stock():
    found = run(pawl(), pawl("high", at=(25, 0, 50.02)), pawl("low", at=(50, 0, 49.98)), stock_mm=0.3)
    assert one(found, "gouges high").value == pytest.approx(0.02, rel=1e-4)
    assert one(found, "stock on low").verdict is Verdict.NO_GO
    assert one(found, "all the stock of pawl_1").verdict is Verdict.GO
    tolerant = run(pawl(), pawl("high", at=(25, 0, 50.02), tolerance={"floor": 0.05}), stock_mm=0.3)
    assert not [f for f in tolerant if "gouges" in f.says]


def undercut_pawl(wide, deep, into_wall=0.0):
    """The pawl with an undercut `wide` in the floor before the wall, and `into_wall` behind it."""
    solid = stepped()
    if wide:
        tool = cq.Solid.makeBox(20, wide, deep, cq.Vector(0, 12 - wide, 8 - deep))
        solid = solid.cut(tool)
    if into_wall:
        solid = solid.cut(cq.Solid.makeBox(20, into_wall + 1, deep, cq.Vector(0, 11, 8)))
    return Body(name="pawl_1", solid=solid, at=cq.Location(cq.Vector(0, 0, 50)), faces=named(solid))


def test_an_undercut_in_the_floor_relieves_the_corner_of_a_ground_floor():
    """Form E of DIN 509, from memory: the face that is ground has the undercut."""
    (cut,) = stage([undercut_pawl(1.0, 1.0)], wheel=Wheel(corner_radius_mm=0.5)).cuts
    (part,) = cut.parts
    assert part.corner.undercut_mm == pytest.approx((1.0, 0.0), abs=1e-9)
    found = list(reach.check(stage([undercut_pawl(1.0, 1.0)], wheel=Wheel(corner_radius_mm=0.5))))
    corner = next(f for f in found if "undercut" in f.says)
    assert (corner.verdict, corner.value) == (Verdict.GO, 0.0)


def test_a_wall_that_goes_on_into_the_undercut_has_stock_above_the_floor_only():
    """Of the 0.1 of stock on the wall only a sliver beside the wheel's corner stays, above the floor."""
    staged = stage([undercut_pawl(1.0, 1.0)], wheel=Wheel(corner_radius_mm=0.2), wall_stock_mm=0.1)
    (part,) = staged.cuts[0].parts
    sliver = 20 * corner_sliver(0.2, 0.1)
    assert part.leftover_mm3 == pytest.approx(sliver, rel=1e-6)
    found = {f.subject: f for f in reach.check(staged) if f.unit != "mm"}
    assert found["floor_cut/pawl_1.wall"].verdict is Verdict.GO
    corner = next(f for f in reach.check(staged) if "undercut" in f.says)
    assert (corner.verdict, corner.value, corner.limit) == (Verdict.CAUTION, pytest.approx(0.2), 0.0)
    assert corner.remedy == "Carry the undercut at least 0.2 mm into the wall."


def corner_sliver(radius, thick):
    """Area beside a round corner within `thick` of the wall: where the circle is further off than the wall's
    stock all of it stays, up to the height of the radius (circle equation)."""
    low = radius - math.sqrt(radius**2 - (radius - thick) ** 2)
    steps = [low + (radius - low) * (k + 0.5) / 20000 for k in range(20000)]
    off = [radius - math.sqrt(radius**2 - (radius - z) ** 2) for z in steps]
    return thick * low + sum(off) * (radius - low) / 20000


def test_an_undercut_narrower_than_the_corner_of_the_wheel_asks_for_a_sharper_wheel():
    staged = stage([undercut_pawl(1.0, 1.0)], wheel=Wheel(corner_radius_mm=1.5, thickness_mm=16.0))
    corner = next(f for f in reach.check(staged) if "undercut" in f.says)
    assert (corner.value, corner.limit) == (pytest.approx(1.5), pytest.approx(1.0))
    assert corner.remedy.startswith("Dress the wheel's corner to 1 mm or less, or carry the undercut")
    again = stage([undercut_pawl(1.0, 1.0)], wheel=Wheel(corner_radius_mm=1.0, thickness_mm=16.0))
    assert next(f for f in reach.check(again) if "undercut" in f.says).verdict is Verdict.GO


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_riser_across_the_travel_is_turned_along_it(side):
    """The wheel runs through a riser 12 mm high at one end; turned by a quarter it passes beside it."""
    work = cq.Workplane().box(40, 20, 8, centered=(True, True, False))
    riser = cq.Workplane().box(20, 20, 12, centered=(True, True, False)).translate((side * 10, 0, 8))
    solid = work.union(riser, clean=True).val()
    faces = list(enumerate(faces_of(solid)))
    flat = {
        "floor": tuple(i for i, f in faces if f.normalAt().z > 0.99 and f.Center().z < 9),
        "riser": tuple(i for i, f in faces if f.normalAt().x * side < -0.99 and f.Center().z > 9),
    }
    body = Body(name="step", solid=solid, faces=flat, at=cq.Location(cq.Vector(0, 0, 50)))
    path = {"way": "traverse", "cross_feed_mm": 2.0, "stock_mm": 0.2}
    gouge = one(run(body, wall=None, **path), "gouges")
    assert gouge.value == pytest.approx(12.0)
    assert gouge.remedy.startswith("Turn step by 90° about Z")
    assert "so that step.riser lies along the travel" in gouge.remedy
    turned = replace(body, at=cq.Location(cq.Vector(0, 0, 50), cq.Vector(0, 0, 1), 90))
    again = run(turned, wall="riser", **path)
    assert one(again, "does not gouge").verdict is Verdict.GO
    assert one(again, "all the stock").verdict is Verdict.GO
