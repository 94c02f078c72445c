"""Bodies in one place: common volumes in closed form, and where touching ends and overlap begins."""

from __future__ import annotations

import math

import cadquery as cq
import manifold3d
import numpy as np
import pytest

from fixturecheck.tolerances import Tolerances
from tests.contact.staging import anywhere, ball, block, contacts, found, pin, place, plate, put

EXACT = 1e-9


def volume_mm3(*bodies):
    """Common volume of the one overlap."""
    (overlap,) = found(*bodies).overlaps
    assert overlap.common.Volume() == pytest.approx(overlap.volume_mm3, rel=1e-12)
    return overlap.volume_mm3


@pytest.mark.parametrize("moved", [False, True])
@pytest.mark.parametrize("depth_mm", [1.0, 0.01, 0.0015])
def test_block_sunk_into_a_plate(depth_mm, moved):
    at = anywhere() if moved else place()
    sunk = put("block", block(10, 10, 10, (0, 0, -depth_mm)), at)
    assert volume_mm3(put("plate", plate(), at), sunk) == pytest.approx(100 * depth_mm, rel=1e-6)


@pytest.mark.parametrize("depth_mm", [0.0, 0.0005, 0.00099])
def test_what_is_thinner_than_the_touch_tolerance_is_contact(depth_mm):
    bodies = put("plate", plate()), put("block", block(10, 10, 10, (0, 0, -depth_mm)))
    assert not found(*bodies).overlaps
    assert [(c.kind, round(c.area_mm2, 9)) for c in contacts(*bodies)] == [("area", 100)]


@pytest.mark.parametrize(
    ("drawn", "expected_mm3"),
    [
        (block(2, 2, 2, (0, 0, -5)), 2**3),  # shut in on all sides
        (block(2, 2, 2, (0, 0, -2)), 2**3),  # flush with the top
        (block(200, 2, 2, (0, 0, -5)), 100 * 2 * 2),  # right through
        (pin(3, 40, (0, 0, -20)), math.pi * 3**2 * 10),
        (ball(5, (0, 0, 4)), math.pi * 1**2 * (3 * 5 - 1) / 3),  # cap of height h: pi h^2 (3 R - h) / 3
        (ball(4, (0, 0, -5)), 4 / 3 * math.pi * 4**3),
        (cq.Solid.makeCone(0, 6, 6, cq.Vector(0, 0, -3)), math.pi * 3**2 * 3 / 3),
    ],
    ids=["inside", "inside flush", "through", "pin through", "ball sunk", "ball inside", "tip sunk"],
)
def test_common_volume_with_a_plate(drawn, expected_mm3):
    assert volume_mm3(put("plate", plate()), put("other", drawn)) == pytest.approx(expected_mm3, rel=1e-9)


def test_containment_is_told_whichever_body_is_named_first():
    for inner, outer in (("a", "b"), ("b", "a")):
        (overlap,) = found(put(outer, plate()), put(inner, block(2, 2, 2, (0, 0, -5)))).overlaps
        assert (overlap.a, overlap.b) == ("a", "b")


def test_a_solid_drawn_twice_overlaps_with_its_whole_volume():
    same = found(put("a", plate()), put("b", plate()))
    assert same.overlaps[0].volume_mm3 == pytest.approx(100 * 80 * 10, rel=EXACT)
    assert not same.patches, "edges that coincide inside an overlap bear on nothing"


def test_pin_too_big_for_its_hole():
    bored = block(40, 40, 30).faces(">Z").workplane().hole(10)
    expected = math.pi * (5.1**2 - 5**2) * 30
    assert volume_mm3(put("bored", bored), put("pin", pin(5.1, 40, (0, 0, -5)))) == pytest.approx(
        expected, rel=EXACT
    )


def test_block_in_a_pocket_is_no_overlap_though_the_boxes_are():
    frame = block(40, 40, 20).cut(block(20, 20, 20))
    assert not found(put("frame", frame), put("core", block(18, 18, 20))).overlaps
    snug = found(put("frame", frame), put("core", block(20, 20, 20)))
    assert not snug.overlaps
    assert sum(p.contact.area_mm2 for p in snug.patches) == pytest.approx(4 * 20 * 20, rel=EXACT)


def test_two_bars_crossed_in_one_place_against_manifold():
    """manifold3d, an independent mesh library, on the same boxes turned the same way."""
    turn = place((1, 2, 0.5), (1, 1, 0), 35)
    mine = volume_mm3(put("a", block(30, 6, 6, (0, 0, -3))), put("b", block(30, 6, 6, (0, 0, -3)), turn))
    box = manifold3d.Manifold.cube([30, 6, 6], True)
    matrix = turn.wrapped.Transformation()
    rows = np.array([[matrix.Value(i, j) for j in range(1, 5)] for i in range(1, 4)])
    assert mine == pytest.approx((box ^ box.transform(rows)).volume(), rel=1e-5)


def test_the_volume_below_which_nothing_is_said_is_the_tolerance():
    bodies = put("plate", plate()), put("block", block(1, 1, 1, (0, 0, -0.01)))
    assert found(*bodies, tolerances=Tolerances(overlap_mm3=0.009)).overlaps
    assert not found(*bodies, tolerances=Tolerances(overlap_mm3=0.011)).overlaps


@pytest.mark.parametrize(("deep_um", "overlaps"), [(0.9, False), (1.1, True), (8.0, True)])
def test_the_tip_of_a_corner_overlaps_by_its_depth_whatever_its_volume(deep_um, overlaps):
    """A cube stands on its corner: sqrt(3) / 2 d^3 is 4.4e-7 mm3 at 8 um, less than what counts otherwise."""
    edge_mm, deep_mm = 10.0, 1e-3 * deep_um
    up = cq.Vector(1, 1, 1).normalized()
    axis, turn_deg = up.cross(cq.Vector(0, 0, 1)), math.degrees(math.acos(up.z))
    cube = cq.Solid.makeBox(edge_mm, edge_mm, edge_mm)
    bodies = put("plate", plate()), put("cube", cube, place((0, 0, -deep_mm), axis.toTuple(), turn_deg))
    assert bool(found(*bodies).overlaps) is overlaps
    assert not found(*bodies, tolerances=Tolerances(overlap_mm3=1.1e-6)).overlaps


@pytest.mark.parametrize(("deep_um", "overlaps"), [(0.95, False), (1.05, True)])
def test_an_edge_overlaps_by_its_depth_whatever_its_thickness(deep_um, overlaps):
    """A bar's edge of 90 degrees in the side of a groove: half as thick on average as it is deep."""
    bar = cq.Workplane("XZ").polyline([(0, 0), (5, 5), (0, 10), (-5, 5)]).close().extrude(5, both=True)
    grooved = plate().cut(block(4, 80, 4, (20, 0, -2)))
    bodies = put("plate", grooved), put("bar", bar, place((0, 0, -1e-3 * deep_um)))
    assert bool(found(*bodies).overlaps) is overlaps
