"""Edges and corners that bear: where they are, how long, and what does not count as one."""

from __future__ import annotations

import math

import cadquery as cq
import pytest

from tests.contact.staging import (
    anywhere,
    ball,
    block,
    contacts,
    corner_with_fillet,
    found,
    only,
    pin,
    place,
    plate,
    put,
)

EXACT = 1e-9
CUBE = block(10, 10, 10, (0, 0, -5))
SLANT = math.sqrt(2) / 2


def test_a_bar_on_its_edge_touches_along_its_length():
    on_edge = place((0, 0, 10 * SLANT), (0, 1, 0), 45)
    line = only(put("plate", plate()), put("bar", CUBE, on_edge))
    assert (line.kind, line.length_mm) == ("line", pytest.approx(10, rel=EXACT))
    assert line.normal == pytest.approx((0, 0, -1), abs=1e-9)


def test_bar_on_its_edge_over_a_slot_is_two_lines():
    slotted = plate().faces(">Z").workplane().rect(100, 4).cutBlind(-2)
    on_edge = place((0, 0, 10 * SLANT), (0, 1, 0), 45)
    lines = contacts(put("plate", slotted), put("bar", CUBE, on_edge))
    assert [(c.kind, round(c.length_mm, 9)) for c in lines] == [("line", 3), ("line", 3)]


def test_a_cube_on_its_corner_touches_at_one_point():
    up = place((0, 0, 5 * math.sqrt(3))) * place(
        axis=(1, -1, 0), angle_deg=math.degrees(math.acos(1 / math.sqrt(3)))
    )
    point = only(put("plate", plate()), put("cube", CUBE, up))
    assert (point.kind, point.centroid) == ("point", pytest.approx((0, 0, 0), abs=1e-9))
    assert point.a.count("+") == 2, "three faces meet in the corner"


@pytest.mark.parametrize("turn_deg", [90.0, 40.0])
def test_edge_across_edge(turn_deg):
    below = place(axis=(0, 1, 0), angle_deg=45)
    above = place((0, 0, 20 * SLANT)) * place(angle_deg=turn_deg) * place(axis=(0, 1, 0), angle_deg=45)
    point = only(put("a", CUBE, below), put("b", CUBE, above))
    assert (point.kind, point.centroid) == ("point", pytest.approx((0, 0, 10 * SLANT), abs=1e-9))
    assert point.normal == pytest.approx((0, 0, 1), abs=1e-9)
    assert "+" in point.a
    assert "+" in point.b


def test_edge_along_edge():
    below = place(axis=(0, 1, 0), angle_deg=45)
    above = place((0, 3, 20 * SLANT), (0, 1, 0), 45)
    line = only(put("a", CUBE, below), put("b", CUBE, above))
    assert (line.kind, line.length_mm) == ("line", pytest.approx(10 - 3, rel=EXACT))
    # Either edge could roll over the other: any direction between the faces beside them separates the two.
    assert line.normal[2] >= SLANT - 1e-9


@pytest.mark.parametrize(
    ("at", "kind", "length_mm"),
    [((20, 0, 5), "line", 10), ((20, 10, 0), "line", 5), ((20, 10, 5), "point", 0)],
    ids=["edge to edge across", "edge to edge upright", "corner to corner"],
)
def test_blocks_that_meet_diagonally(at, kind, length_mm):
    contact = only(put("a", block(20, 10, 5)), put("b", block(20, 10, 5, at)))
    assert (contact.kind, contact.length_mm) == (kind, pytest.approx(length_mm, abs=1e-9))


@pytest.mark.parametrize(("radius_mm", "height_mm"), [(3.0, 1.0), (4.0, 0.5), (2.0, 1.5)])
@pytest.mark.parametrize("moved", [False, True])
def test_straight_edge_in_a_fillet_of_larger_radius(radius_mm, height_mm, moved):
    """At height h the fillet is r - sqrt(r^2 - (r - h)^2) off the wall (circle equation)."""
    off = radius_mm - math.sqrt(radius_mm**2 - (radius_mm - height_mm) ** 2)
    at = anywhere() if moved else place()
    part = block(20, 12, 5, (10 + off, 0, height_mm))
    line = only(put("corner", corner_with_fillet(radius_mm), at), put("part", part, at))
    assert (line.kind, line.a, line.b) == ("line", "corner.cylinder", "part.bottom+left")
    assert line.length_mm == pytest.approx(12, rel=1e-7)


def test_square_edge_clear_of_a_fillet_touches_the_floor_alone():
    area = only(put("corner", corner_with_fillet(3)), put("part", block(20, 10, 5, (14, 0, 0))))
    assert area.kind == "area"


def test_square_edge_drawn_into_a_fillet_overlaps():
    """Between a square corner and its fillet lies r^2 (1 - pi/4) per length."""
    overlaps = found(put("corner", corner_with_fillet(3)), put("part", block(20, 10, 5, (10, 0, 0)))).overlaps
    assert overlaps[0].volume_mm3 == pytest.approx(10 * 9 * (1 - math.pi / 4), rel=1e-9)


def test_two_edges_in_half_a_bore():
    trough = block(20, 10, 8).cut(cq.Workplane(pin(4, 10, (0, -5, 8), (0, 1, 0))))
    bar = block(4, 20, 4, (0, 0, 8 - math.sqrt(4**2 - 2**2)))
    lines = contacts(put("trough", trough), put("bar", bar))
    assert [(c.kind, round(c.length_mm, 7)) for c in lines] == [("line", 10), ("line", 10)]


def test_edge_across_a_pin_is_a_point():
    ridge = place((0, 0, -10 * SLANT), (0, 1, 0), 45)
    point = only(put("ridge", CUBE, ridge), put("pin", pin(6, 40, (-20, 0, 6), (1, 0, 0))))
    assert (point.kind, point.centroid) == ("point", pytest.approx((0, 0, 0), abs=1e-6))


def test_ball_on_an_edge_and_on_a_corner():
    edge = only(
        put("ridge", CUBE, place((0, 0, -10 * SLANT), (0, 1, 0), 45)), put("ball", ball(6, (0, 0, 6)))
    )
    assert (edge.kind, edge.centroid) == ("point", pytest.approx((0, 0, 0), abs=1e-6))
    out = 6 / math.sqrt(3)
    corner = only(put("block", block(10, 10, 10, (5, 5, -10))), put("ball", ball(6, (-out, -out, out))))
    assert (corner.kind, corner.centroid) == ("point", pytest.approx((0, 0, 0), abs=1e-6))


def test_a_leaning_pin_touches_a_plate_at_one_point_of_its_rim():
    lean = 0.3
    point = only(
        put("plate", plate()),
        put("pin", pin(6, 20), place((0, 0, 6 * math.sin(lean)), (0, 1, 0), math.degrees(lean))),
    )
    assert (point.kind, point.a) == ("point", "pin.bottom+cylinder")
    assert point.centroid == pytest.approx((6 * math.cos(lean), 0, 0), abs=1e-9)


def test_rim_of_a_disc_across_the_edge_of_a_plate():
    """The rim passes through the origin along a direction that is neither along nor square to the edge."""
    at = place(axis=(0, 1, 0), angle_deg=-45) * place(axis=(1, 0, 0), angle_deg=60) * place((0, 6, 0))
    point = only(put("plate", block(20, 20, 5, (10, 0, -5))), put("disc", pin(6, 2), at))
    assert (point.kind, point.centroid) == ("point", pytest.approx((0, 0, 0), abs=1e-6))


def test_plug_on_the_rim_of_a_hole_of_its_size():
    ring = only(
        put("plate", block(20, 20, 5, (0, 0, -5)).faces(">Z").workplane().hole(8)), put("plug", pin(4, 4))
    )
    assert (ring.kind, ring.length_mm) == ("line", pytest.approx(2 * math.pi * 4, rel=EXACT))
