"""The part as ground against closed forms: corner, run-in, gouges, shares, paths and wheel shapes."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import manifold3d
import numpy as np
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.machining import as_ground as ground
from fixturecheck.machining.as_ground import grind
from fixturecheck.machining.wheel_path import (
    rim_of,
    run_out_mm,
)
from fixturecheck.result.contact import Mover, WheelPath
from fixturecheck.result.shapes import Role
from fixturecheck.setup.model import Body, Cut, Machine, Setup
from fixturecheck.shop.wheels import Flange, Wheel
from tests.machining.scene import FLOOR, FLOOR_Z, LENGTH, block, named, pawl, stage, stepped

SQUARE = 1 - math.pi / 4


def ground_of(*bodies, **kwargs):
    return stage(bodies, **kwargs).cuts[0]


@pytest.mark.parametrize("radius", [0.05, 0.2, 0.8])
@pytest.mark.parametrize("stocks", [(1.0, 0.0), (1.0, 0.9)])
def test_leftover_in_a_square_corner(radius, stocks):
    cut = ground_of(pawl(), wheel=Wheel(corner_radius_mm=radius), stock_mm=stocks[0], wall_stock_mm=stocks[1])
    part = cut.parts[0]
    # L r^2 (1 - pi/4): a square less a quarter circle, closed form.
    assert cut.made.leftover_mm3 == pytest.approx(LENGTH * radius**2 * SQUARE, rel=1e-6)
    assert cut.made.gouge_mm3 == 0.0
    assert part.gouge is None
    assert part.missed is None
    assert cut.made.corner_radius_mm == pytest.approx(radius, rel=1e-9)
    floor, wall = cut.made.faces
    assert floor.share_made == pytest.approx(1 - radius / FLOOR, rel=1e-9)
    assert wall.share_made == pytest.approx(1 - radius / 12.0, rel=1e-9)
    assert part.corner_shares == pytest.approx((radius / FLOOR, radius / 12.0), rel=1e-9)


def test_a_corner_deeper_than_the_stock_keeps_only_what_was_there():
    radius, stock = 0.8, 0.3
    cut = ground_of(pawl(), wheel=Wheel(corner_radius_mm=radius), stock_mm=stock)
    # Between wall and arc up to the height of the stock: the integral of r - sqrt(r^2 - (r - z)^2).
    a = radius - stock

    def antiderivative(t: float) -> float:
        return (t * math.sqrt(radius**2 - t**2) + radius**2 * math.asin(t / radius)) / 2

    expected = radius * stock - (antiderivative(radius) - antiderivative(a))
    assert cut.made.leftover_mm3 == pytest.approx(LENGTH * expected, rel=1e-6)
    assert cut.made.corner_radius_mm == pytest.approx(radius, rel=1e-9)


@pytest.mark.parametrize(("drawn", "wheel"), [(0.5, 0.5), (0.5, 0.2), (0.1, 0.2)])
def test_a_drawn_fillet_keeps_or_loses_the_difference_of_two_corners(drawn, wheel):
    cut = ground_of(pawl(fillet=drawn), wheel=Wheel(corner_radius_mm=wheel), stock_mm=0.6, wall_stock_mm=0.6)
    part = cut.parts[0]
    left = LENGTH * SQUARE * max(wheel**2 - drawn**2, 0.0)
    dug = LENGTH * SQUARE * max(drawn**2 - wheel**2, 0.0)
    assert cut.made.leftover_mm3 == pytest.approx(left, rel=1e-6, abs=1e-9)
    assert cut.made.gouge_mm3 == pytest.approx(dug, rel=1e-6, abs=1e-9)
    assert part.dug is None
    assert not any(shape.role is Role.GOUGE for shape in cut.shapes)  # none in a fillet
    assert part.missed is None
    assert part.corner is not None
    assert (part.corner.radius_mm, part.corner.drawn_mm) == pytest.approx((wheel, drawn), rel=1e-9)


def test_a_relieved_corner_is_made_whole():
    cut = ground_of(pawl(relief=0.5), wheel=Wheel(corner_radius_mm=0.2), stock_mm=0.3)
    part = cut.parts[0]
    assert (cut.made.leftover_mm3, cut.made.gouge_mm3) == (0.0, 0.0)
    assert part.corner is not None
    assert part.corner.left is None
    assert [f.share_made for f in part.faces] == [1.0, 1.0]


def test_volumes_add_up_and_removed_is_the_layer_less_the_leftover():
    cut = ground_of(pawl(), wheel=Wheel(corner_radius_mm=0.2), stock_mm=0.3, wall_stock_mm=0.25)
    part = cut.parts[0]
    # Floor slab and wall slab overlap in the corner.
    layer = LENGTH * (FLOOR * 0.3 + 12.0 * 0.25 - 0.3 * 0.25)
    assert part.stock.Volume() == pytest.approx(part.target.Volume() + layer, rel=1e-12)
    assert part.removed_mm3 == pytest.approx(layer - part.leftover_mm3, rel=1e-9)
    assert part.ground.Volume() == pytest.approx(part.target.Volume() + part.leftover_mm3, rel=1e-9)


@pytest.mark.parametrize(("diameter", "depth", "expected"), [(200.0, 5.0, 31.225), (178.0, 0.5, 9.421)])
def test_run_in_near_a_step_on_the_ground_solid(diameter, depth, expected):
    # Half chord sqrt(a (D - a)): the wheel, so deep below the stock's top, stops with its axis over x = 30 of
    # a long bar; its curve must come up through the top that far on.
    solid = cq.Workplane().box(120, 10, 20, centered=False).val()
    top = next(i for i, f in enumerate(faces_of(solid)) if f.normalAt().z > 0.99)
    bar = Body(name="bar", solid=solid, faces={"floor": (top,)})
    z_mm = 20.2 - depth
    path = WheelPath(
        floor_z_mm=z_mm, x_from_mm=-50.0, x_to_mm=30.0, y_from_mm=-5.0, y_to_mm=-5.0, wall_sign=0
    )
    wheel = Wheel(diameter_mm=diameter, thickness_mm=20.0)
    cut = ground_of(bar, wheel=wheel, stock_mm=0.2, wall=None, path=path)
    ground = cut.parts[0].ground
    ends = [v.X - 30.0 for v in ground.Vertices() if v.Z > 20.2 - 1e-6 and v.X < 119.0]
    assert min(ends) == pytest.approx(expected, abs=5e-4)
    assert min(ends) == pytest.approx(math.sqrt(depth * (diameter - depth)), rel=1e-9)
    assert run_out_mm(diameter, depth) == pytest.approx(min(ends), rel=1e-9)


def test_a_floor_wider_than_the_wheel_keeps_a_strip_unless_it_is_traversed():
    wheel = Wheel(thickness_mm=8.0, corner_radius_mm=0.2)
    plunged = ground_of(pawl(), wheel=wheel, stock_mm=0.3)
    strip = LENGTH * 0.3 * (FLOOR - 8.0)  # beyond the wheel's front face, and what its front corner leaves
    corner = LENGTH * 0.2**2 * SQUARE
    assert plunged.made.leftover_mm3 == pytest.approx(strip + 2 * corner, rel=1e-6)
    assert plunged.parts[0].missed is not None
    assert plunged.parts[0].missed.Volume() == pytest.approx(strip + corner, rel=1e-6)
    assert plunged.made.faces[0].share_made == pytest.approx((8.0 - 0.4) / FLOOR, rel=1e-9)
    traversed = ground_of(pawl(), wheel=wheel, stock_mm=0.3, way="traverse", cross_feed_mm=3.0)
    assert traversed.parts[0].missed is None
    assert traversed.made.leftover_mm3 == pytest.approx(corner, rel=1e-6)
    # From the wall by whole steps until the flat has passed the far edge: 12 - (8 - 0.2) = 4.2, two steps.
    assert traversed.path.y_to_mm - traversed.path.y_from_mm == pytest.approx(6.0)


def test_paths_run_out_and_stop_at_the_wall_on_either_side():
    cut = ground_of(pawl(at=(5, 1, 50)), stock_mm=0.2, overtravel_mm=7.0)
    out = math.sqrt(0.2 * (178 - 0.2)) + 7.0
    assert (cut.path.x_from_mm, cut.path.x_to_mm) == pytest.approx((5 - out, 25 + out))
    assert cut.path.y_from_mm + 13.0 == pytest.approx(1 + FLOOR)
    assert cut.path.wall_sign == 1
    turned = ground_of(pawl(at=(20, 30, 50), turn=((0, 0, 1), 180)), stock_mm=0.2)
    assert turned.path.wall_sign == -1
    assert turned.path.y_from_mm == pytest.approx(30 - FLOOR)
    assert turned.made.leftover_mm3 == pytest.approx(LENGTH * 0.04 * SQUARE, rel=1e-6)
    centred = ground_of(pawl(), wall=None, stock_mm=0.2)
    assert centred.path.y_from_mm == pytest.approx(FLOOR / 2 - 6.5)


def test_turning_the_part_round_changes_no_volume():
    a = ground_of(pawl(), stock_mm=0.3, wall_stock_mm=0.2)
    b = ground_of(pawl(at=(20, 30, 50), turn=((0, 0, 1), 180)), stock_mm=0.3, wall_stock_mm=0.2)
    for key in ("removed_mm3", "leftover_mm3", "gouge_mm3", "corner_radius_mm"):
        assert getattr(a.made, key) == pytest.approx(getattr(b.made, key), rel=1e-9, abs=1e-12)


def test_a_part_that_stands_high_is_gouged_by_that_much():
    cut = ground_of(pawl(), pawl("pawl_2", at=(25, 0, 50.05)), stock_mm=0.3)
    low, high = cut.parts
    assert (low.gouge, low.missed) == (None, None)
    # The slab between both floors, less what the wheel's corner of 0.2 spares of it.
    corner = 0.2 * 0.05 - _between_wall_and_arc(0.2, 0.05)
    assert high.gouge_mm3 == pytest.approx(LENGTH * ((FLOOR - 0.2) * 0.05 + corner), rel=1e-6)
    assert high.faces[0].share_made == 0.0


def _between_wall_and_arc(r: float, up_to: float) -> float:
    def antiderivative(t: float) -> float:
        return (t * math.sqrt(r * r - t * t) + r * r * math.asin(t / r)) / 2

    return r * up_to - (antiderivative(r) - antiderivative(r - up_to))


def test_a_slot_narrower_than_the_wheel_is_gouged_on_its_far_side():
    slot = stepped()
    slot = (
        cq.Workplane(slot)
        .union(cq.Workplane().box(LENGTH, 2, 20, centered=False).translate((0, -1, 0)))
        .val()
    )
    faces = named(slot)
    body = Body(name="slotted", solid=slot, faces=faces, at=cq.Location(cq.Vector(0, 0, 50)))
    cut = ground_of(body, wheel=Wheel(thickness_mm=13.0), stock_mm=0.2)
    # The slot runs from y = 1 to 12; the wheel from -1 to 12, so the land of 2 mm goes, bar its corner.
    assert cut.parts[0].dug is not None
    assert cut.made.gouge_mm3 == pytest.approx(LENGTH * (2 * 12.0 - 0.04 * SQUARE), rel=1e-6)
    fits = ground_of(body, wheel=Wheel(thickness_mm=10.9), stock_mm=0.2)
    assert fits.made.gouge_mm3 == 0.0


def test_leftover_and_gouge_against_manifold3d():
    cut = ground_of(pawl(), pawl("pawl_2", at=(25, 0, 50.4)), wheel=Wheel(corner_radius_mm=1.5), stock_mm=1.0)

    def mesh(shape: cq.Shape) -> manifold3d.Manifold:
        points, triangles = shape.tessellate(0.002, 0.05)
        found = manifold3d.Mesh(
            vert_properties=np.array([p.toTuple() for p in points], dtype=np.float32),
            tri_verts=np.array(triangles, dtype=np.uint32),
        )
        found.merge()
        return manifold3d.Manifold(found)

    sweep = mesh(cut.movers[Mover.WHEEL])
    for part in cut.parts:
        stock, target = mesh(part.stock), mesh(part.target)
        assert part.ground.Volume() == pytest.approx((stock - sweep).volume(), rel=1e-5)
        assert part.leftover_mm3 == pytest.approx(((stock - sweep) - target).volume(), rel=5e-3)
        assert part.gouge_mm3 == pytest.approx((target ^ sweep).volume(), rel=2e-3, abs=2e-3)


def test_wheel_shapes_of_iso_525_clamp_where_the_flange_bears():
    def rim(wheel: Wheel, flange: float = 60.0):
        setup = Setup(
            name="x", bodies=(pawl(),), wheel=wheel, machine=Machine(flange=Flange(diameter_mm=flange))
        )
        return rim_of(setup)

    plain = rim(Wheel(corner_radius_mm=0.2))
    assert (plain.clamp_front_mm, plain.clamp_rear_mm) == pytest.approx((0.0, 13.0))
    assert (plain.flat_from_mm, plain.flat_to_mm) == pytest.approx((0.2, 12.8))
    recessed = rim(Wheel(shape="5", recess_diameter_mm=90.0, recess_depth_mm=4.0))
    assert (recessed.clamp_front_mm, recessed.clamp_rear_mm) == pytest.approx((4.0, 13.0))
    cup = rim(Wheel(shape="6", diameter_mm=100, thickness_mm=40, bore_mm=20, rim_mm=8, bore_wall_mm=10), 40.0)
    assert (cup.clamp_front_mm, cup.clamp_rear_mm) == pytest.approx((30.0, 40.0))
    flaring = Wheel(
        shape="11",
        diameter_mm=100,
        thickness_mm=35,
        bore_mm=20,
        rim_mm=8,
        bore_wall_mm=10,
        small_diameter_mm=75,
    )
    assert rim(flaring, 40.0).flat_from_mm == pytest.approx(0.2, abs=0.3)


def test_a_cup_grinds_a_wall_on_its_front_with_its_rim():
    cup = Wheel(shape="6", diameter_mm=100, thickness_mm=40, bore_mm=20, rim_mm=8, bore_wall_mm=10)
    body = pawl(at=(20, 30, 50), turn=((0, 0, 1), 180))
    cut = ground_of(body, wheel=cup, machine=Machine(flange=Flange(diameter_mm=40.0)), wall_stock_mm=0.3)
    assert cut.made.gouge_mm3 == 0.0
    assert cut.made.leftover_mm3 == pytest.approx(LENGTH * 0.04 * SQUARE, rel=1e-6)


def test_a_chamfered_wheel_leaves_its_chamfer():
    wheel = Wheel(dressed_profile_mm=((0.0, 89.0), (12.0, 89.0), (13.0, 88.0)))
    cut = ground_of(pawl(), wheel=wheel, stock_mm=1.5, wall_stock_mm=1.2)
    assert cut.made.leftover_mm3 == pytest.approx(LENGTH * 0.5, rel=1e-9)
    assert cut.made.corner_radius_mm == pytest.approx(1.0, rel=1e-6)


def test_faces_that_look_the_wrong_way_are_refused():
    with pytest.raises(SetupError, match="must look up"):
        ground_of(pawl(turn=((1, 0, 0), 90)), stock_mm=0.2)
    behind = pawl()
    back = tuple(i for i, f in enumerate(faces_of(behind.solid)) if f.normalAt().y > 0.99)
    with pytest.raises(SetupError, match=r"all of floor pawl_1\.floor lies behind wall pawl_1\.back"):
        ground_of(replace(behind, faces={**behind.faces, "back": back}), stock_mm=0.2, wall="back")
    both = (pawl(), pawl("pawl_2", at=(50, 30, 50), turn=((0, 0, 1), 180)))
    with pytest.raises(SetupError, match="look both ways"):
        ground_of(*both, stock_mm=0.2)


def test_a_gang_of_four_is_ground_with_unique_names():
    bodies = [pawl(f"pawl_{i}", at=(21 * i, 0, 50)) for i in range(4)]
    cut = Cut(
        name="floor_cut", parts=tuple(b.name for b in bodies), floor="floor", wall="wall", wall_stock_mm=0.1
    )
    setup = Setup(name="gang", bodies=(*bodies, block("rail", (100, 5, 5), (0, -20, 0))), cuts=(cut,))
    found = grind(setup, cut)
    names = [s.name for s in found.shapes]
    assert len(names) == len(set(names))
    assert {"wheel floor_cut", "ground floor_cut pawl_1", "leftover floor_cut pawl_3"} <= set(names)
    assert not any(n.startswith("gouge") for n in names)
    assert found.made.leftover_mm3 == pytest.approx(4 * LENGTH * 0.04 * SQUARE, rel=1e-6)


def test_the_flat_floor_lies_where_the_drawing_says():
    cut = ground_of(pawl(), stock_mm=0.25)
    assert cut.path.floor_z_mm == pytest.approx(50 + FLOOR_Z)
    assert cut.movers[Mover.WHEEL].BoundingBox().zmin == pytest.approx(50 + FLOOR_Z, abs=1e-6)


def test_copies_that_stand_alike_are_ground_once_and_come_out_as_each_alone(monkeypatch):
    asked = []
    plain = ground.split
    monkeypatch.setattr(ground, "split", lambda *what: asked.append(what) or plain(*what))
    bodies = [pawl(f"pawl_{i}", at=(21 * i, 0, 50)) for i in range(3)]
    # The fourth stands 0.05 mm higher, so that it is gouged, and is not taken for a copy.
    bodies.append(pawl("high", at=(63, 0, 50.05)))
    together = ground_of(*bodies, stock_mm=0.2, wall_stock_mm=0.1)
    few = len(asked)
    assert few == 2 * 4
    for part, body in zip(together.parts, bodies, strict=True):
        alone = ground_of(body, stock_mm=0.2, wall_stock_mm=0.1, path=together.path).parts[0]
        assert part.body == body.name
        assert [f.face for f in part.faces] == [f"{body.name}.floor", f"{body.name}.wall"]
        for mine, theirs in (
            (part.ground, alone.ground), (part.leftover, alone.leftover), (part.stock, alone.stock),
        ):  # fmt: skip
            assert mine.Volume() == pytest.approx(theirs.Volume(), rel=1e-9)
            assert mine.Center().toTuple() == pytest.approx(theirs.Center().toTuple(), abs=1e-6)
        assert part.gouge_mm3 == pytest.approx(alone.gouge_mm3, rel=1e-9)
    assert together.parts[3].gouge_mm3 > 0
