"""Round faces: lines, circles, points and areas by elementary geometry."""

from __future__ import annotations

import math

import cadquery as cq
import pytest

from tests.contact.staging import anywhere, ball, block, contacts, found, only, pin, place, plate, put, vee

EXACT = 1e-9


def test_cylinder_on_plate_is_a_line_with_a_strip_beside_it():
    radius, length = 6.0, 50.0
    bodies = put("plate", plate()), put("pin", pin(radius, length, (0, -25, radius), (0, 1, 0)))
    line = only(*bodies)
    assert (line.kind, line.a, line.b) == ("line", "pin.cylinder", "plate.top")
    assert line.length_mm == pytest.approx(length, rel=EXACT)
    assert line.centroid == pytest.approx((0, 0, 0), abs=1e-9)
    strip = only(*bodies, kinds=["near"])
    # The gap at y from the line is R - sqrt(R^2 - y^2); it reaches the near band g at y = sqrt(2 R g - g^2).
    reach = math.sqrt(2 * radius * 0.5 - 0.5**2)
    under_arc = (reach * math.sqrt(radius**2 - reach**2) + radius**2 * math.asin(reach / radius)) / 2
    assert strip.area_mm2 == pytest.approx(2 * reach * length, rel=1e-6)
    assert strip.gap_mean_um == pytest.approx(1e3 * (radius - under_arc / reach), rel=1e-6)
    assert strip.gap_max_um == pytest.approx(500, rel=1e-6)


def test_cylinder_in_a_vee_is_two_lines():
    """Flanks at half angle a touch R cot a up the flank from the root (any metrology handbook)."""
    radius = 6.0
    lines = contacts(
        put("vee", vee(60)),
        put("pin", pin(radius, 50, (0, -25, radius / math.sin(math.radians(45))), (0, 1, 0))),
    )
    assert [c.kind for c in lines] == ["line", "line"]
    for line in lines:
        assert line.length_mm == pytest.approx(50, rel=EXACT)
        flank_mm = radius / math.tan(math.radians(45))
        assert math.hypot(line.centroid[0], line.centroid[2]) == pytest.approx(flank_mm, rel=EXACT)


def test_slot_splits_the_line():
    slotted = plate().faces(">Z").workplane().rect(100, 12).cutBlind(-4)
    lines = contacts(put("plate", slotted), put("pin", pin(6, 50, (0, -25, 6), (0, 1, 0))))
    assert [(c.kind, round(c.length_mm, 9)) for c in lines] == [("line", 19), ("line", 19)]


def test_line_ends_where_the_plate_ends():
    line = only(put("plate", plate()), put("pin", pin(6, 50, (0, 20, 6), (0, 1, 0))))
    assert line.length_mm == pytest.approx(40 - 20, rel=EXACT)


def test_cylinder_over_the_edge_of_a_plate_lies_on_the_edge():
    lean = 0.5
    over = pin(6, 20, (10 + 6 * math.sin(lean), -10, 6 * math.cos(lean)), (0, 1, 0))
    line = only(put("plate", block(20, 20, 10, (0, 0, -10))), put("pin", over))
    assert (line.a, line.b) == ("pin.cylinder", "plate.right+top")
    assert line.length_mm == pytest.approx(20, rel=EXACT)
    assert line.normal == pytest.approx((-math.sin(lean), 0, -math.cos(lean)), abs=1e-9)


@pytest.mark.parametrize("half_deg", [30.0, 45.0, 60.0])
def test_ball_in_a_cone_is_a_circle(half_deg):
    """A ball R in a cone of half angle a touches on a circle of radius R cos a."""
    radius, half = 5.0, math.radians(half_deg)
    mouth, depth = 14.0, 14.0 / math.tan(half)
    cone = cq.Workplane(cq.Solid.makeCone(0, mouth, depth))
    seat = block(40, 40, depth + 5, (0, 0, -5)).cut(cone)
    ring = only(put("seat", seat), put("ball", ball(radius, (0, 0, radius / math.sin(half)))))
    assert (ring.kind, ring.a, ring.b) == ("line", "ball.sphere", "seat.cone")
    assert ring.length_mm == pytest.approx(2 * math.pi * radius * math.cos(half), rel=EXACT)


@pytest.mark.parametrize("moved", [False, True])
def test_ball_on_plate_is_a_point(moved):
    at = anywhere() if moved else place()
    bodies = put("plate", plate(), at), put("ball", ball(5, (3, 4, 5)), at)
    point = only(*bodies)
    assert point.kind == "point"
    spot = (at * place((3, 4, 0))).toTuple()[0]
    assert point.centroid == pytest.approx(spot, abs=1e-9)
    # Archimedes: the cap of height g has area 2 pi R g; sampled, so only near to it.
    cap = only(*bodies, kinds=["near"])
    assert cap.area_mm2 == pytest.approx(2 * math.pi * 5 * 0.5, rel=0.03)
    assert cap.gap_mean_um == pytest.approx(250, abs=cap.error_um)
    assert 0 < cap.error_um < 100


def test_ball_in_a_bore_of_its_size_is_a_circle():
    bored = block(40, 40, 30).faces(">Z").workplane().hole(10)
    ring = only(put("bored", bored), put("ball", ball(5, (0, 0, 12))))
    assert ring.length_mm == pytest.approx(2 * math.pi * 5, rel=EXACT)


def test_ball_on_the_rim_of_a_bore_is_a_circle():
    bored = block(40, 40, 30, (0, 0, -30)).faces(">Z").workplane().hole(10)
    ring = only(put("bored", bored), put("ball", ball(13, (0, 0, 12))))
    assert (ring.kind, ring.b) == ("line", "bored.cylinder+top")
    assert ring.length_mm == pytest.approx(2 * math.pi * 5, rel=EXACT)


def test_two_balls_touch_at_a_point():
    point = only(put("a", ball(5)), put("b", ball(6, (0, 11, 0))))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((0, 5, 0), abs=1e-9)
    assert point.normal == pytest.approx((0, 1, 0), abs=1e-9)


def test_cone_on_its_side_is_a_line():
    big, small, height = 6.0, 2.0, 20.0
    half = math.atan((big - small) / height)
    lying = place((0, 0, big * math.cos(half)), (0, 1, 0), 90 + math.degrees(half))
    line = only(put("plate", plate()), put("cone", cq.Solid.makeCone(big, small, height), lying))
    assert (line.kind, line.a) == ("line", "cone.cone")
    assert line.length_mm == pytest.approx(math.hypot(height, big - small), rel=EXACT)


def test_cone_on_its_rim_is_a_point():
    lying = place((0, 0, 6 * math.cos(0.1)), (0, 1, 0), 90 - math.degrees(0.1))
    point = only(put("plate", plate()), put("cone", cq.Solid.makeCone(6, 2, 20), lying))
    assert (point.kind, point.a) == ("point", "cone.bottom+cone")


@pytest.mark.parametrize("lean_deg", [0.0, 20.0])
def test_tip_of_a_cone_is_a_point(lean_deg):
    tip = cq.Solid.makeCone(0, 6, 10)
    point = only(put("plate", plate()), put("cone", tip, place(axis=(1, 0, 0), angle_deg=lean_deg)))
    assert (point.kind, point.centroid) == ("point", pytest.approx((0, 0, 0), abs=1e-9))


def test_plug_fills_a_conical_seat():
    """Lateral area of a frustum: pi (R + r) slant."""
    plug = cq.Solid.makeCone(3, 6, 6)
    seat = block(30, 30, 6).cut(cq.Workplane(plug))
    area = only(put("seat", seat), put("plug", plug))
    assert area.area_mm2 == pytest.approx(math.pi * (3 + 6) * math.hypot(6, 3), rel=1e-7)


def test_pin_that_fits_its_hole_exactly():
    bored = block(40, 40, 30).faces(">Z").workplane().hole(10)
    area = only(put("bored", bored), put("pin", pin(5, 40, (0, 0, -5))))
    assert (area.kind, area.area_mm2) == ("area", pytest.approx(2 * math.pi * 5 * 30, rel=EXACT))


def test_pin_flush_with_its_blind_hole_touches_wall_and_bottom_and_no_rim():
    bored = block(40, 40, 30).faces(">Z").workplane().hole(10, 20)
    areas = contacts(put("bored", bored), put("pin", pin(5, 20, (0, 0, 10))))
    expected = [math.pi * 5**2, 2 * math.pi * 5 * 20]
    assert [c.kind for c in areas] == ["area", "area"]
    assert sorted(c.area_mm2 for c in areas) == pytest.approx(expected, rel=EXACT)


def test_pin_in_half_a_bore():
    trough = block(20, 10, 5).cut(cq.Workplane(pin(4, 10, (0, -5, 5), (0, 1, 0))))
    area = only(put("trough", trough), put("pin", pin(4, 20, (0, -10, 5), (0, 1, 0))))
    assert area.area_mm2 == pytest.approx(math.pi * 4 * 10, rel=EXACT)
    assert area.normal == pytest.approx((0, 0, -1), abs=1e-9)


@pytest.mark.parametrize("clearance_mm", [0.002, 0.1, 0.45])
def test_radial_clearance_is_reported_as_it_is(clearance_mm):
    bored = block(40, 40, 30).faces(">Z").workplane().hole(10)
    bodies = put("bored", bored), put("pin", pin(5 - clearance_mm, 40, (0, 0, -5)))
    assert not contacts(*bodies)
    near = only(*bodies, kinds=["near"])
    assert near.gap_mean_um == pytest.approx(1e3 * clearance_mm, abs=1e-6)
    assert near.gap_max_um == pytest.approx(1e3 * clearance_mm, abs=1e-6)


def test_pin_off_centre_in_a_larger_hole_is_a_line():
    bored = block(40, 40, 30).faces(">Z").workplane().hole(10)
    bodies = put("bored", bored), put("pin", pin(4, 40, (1, 0, -5)))
    line = only(*bodies)
    assert (line.kind, line.length_mm) == ("line", pytest.approx(30, rel=EXACT))
    assert line.centroid == pytest.approx((5, 0, 15), abs=1e-9)
    # Along the bore's normal at angle t the pin, 1 mm off centre, begins at cos t + sqrt(16 - sin^2 t).
    strip = only(*bodies, kinds=["near"])
    half = strip.area_mm2 / (2 * 5 * 30)
    assert 5 - math.cos(half) - math.sqrt(16 - math.sin(half) ** 2) == pytest.approx(0.5, abs=1e-6)


def test_parallel_pins_are_a_line_with_one_strip():
    bodies = put("a", pin(5, 20)), put("b", pin(3, 30, (8, 0, 5)))
    line = only(*bodies)
    assert (line.kind, line.length_mm) == ("line", pytest.approx(15, rel=EXACT))
    strip = only(*bodies, kinds=["near"])
    # A ray from pin a at angle t meets pin b where it is 8 cos t - sqrt(9 - 64 sin^2 t) from a's axis.
    half = strip.area_mm2 / (2 * 5 * 15)
    assert 8 * math.cos(half) - math.sqrt(9 - 64 * math.sin(half) ** 2) - 5 == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize("cross_deg", [30.0, 90.0, 150.0])
def test_crossed_pins_are_a_point(cross_deg):
    t = math.radians(cross_deg)
    over = pin(3, 40, (-20 * math.cos(t), -20 * math.sin(t), 8), (math.cos(t), math.sin(t), 0))
    point = only(put("a", pin(5, 40, (-20, 0, 0), (1, 0, 0))), put("b", over))
    assert (point.kind, point.centroid) == ("point", pytest.approx((0, 0, 5), abs=1e-9))


def test_torus_on_plate_is_a_circle():
    ring = only(put("plate", plate()), put("torus", cq.Solid.makeTorus(10, 3, cq.Vector(0, 0, 3))))
    assert (ring.kind, ring.length_mm) == ("line", pytest.approx(2 * math.pi * 10, rel=EXACT))


def test_tilted_torus_is_a_point():
    tilt = math.radians(20)
    at = place((0, 0, 3 + 10 * math.sin(tilt)), (0, 1, 0), 20)
    point = only(put("plate", plate()), put("torus", cq.Solid.makeTorus(10, 3), at))
    assert (point.kind, point.centroid) == ("point", pytest.approx((10 * math.cos(tilt), 0, 0), abs=1e-9))


def test_ring_outside_a_boss_is_not_lost_in_the_boss():
    """A foot with a flat boss in the middle and a half-round ring about it rests on both."""
    foot = (
        cq.Workplane(pin(3, 4))
        .union(cq.Workplane(pin(12, 2, (0, 0, 2))))
        .union(cq.Workplane(cq.Solid.makeTorus(9, 2, cq.Vector(0, 0, 2))))
    )
    touching = contacts(put("plate", plate()), put("foot", foot))
    assert sorted(c.kind for c in touching) == ["area", "line"]
    assert sum(c.area_mm2 for c in touching) == pytest.approx(math.pi * 3**2, rel=EXACT)
    assert sum(c.length_mm for c in touching) == pytest.approx(2 * math.pi * 9, rel=EXACT)


@pytest.mark.parametrize(
    "drawn",
    [
        block(20, 10, 5, (0, 0, 0.6)).edges("|Y and <Z").fillet(1),  # ends tangent to a bottom that is away
        block(20, 10, 5, (0, 0, 0.6)).edges("|Y and >Z").fillet(2),  # looks up
    ],
)
def test_fillet_that_does_not_come_down_to_the_plate_touches_nothing(drawn):
    assert not found(put("plate", plate()), put("block", drawn)).patches


def test_fillets_on_other_edges_add_nothing():
    drawn = block(20, 10, 5).edges("|Y and >Z").fillet(2).edges("|Z").fillet(1)
    area = only(put("plate", plate()), put("block", drawn))
    assert area.area_mm2 == pytest.approx(20 * 10 - 4 * (1 - math.pi / 4), rel=EXACT)


def halved(rod: cq.Solid, other: cq.Solid) -> cq.Solid:
    """Two rods end to end as one solid with two round faces."""
    return cq.Workplane(rod).union(cq.Workplane(other), clean=False).val()


@pytest.mark.parametrize("cross_deg", [0.5, 3.0, 4.9, 5.1, 40.0])
@pytest.mark.parametrize("split", [False, True])
def test_rods_that_cross_touch_at_a_point_at_any_angle(cross_deg, split):
    """Their axes' common perpendicular is unique, so two convex cylinders meet on it alone."""
    way = math.radians(cross_deg)
    low = pin(5, 60, (-30, 0, -5), (1, 0, 0))
    if split:
        low = halved(pin(5, 30, (-30, 0, -5), (1, 0, 0)), pin(5, 30, (0, 0, -5), (1, 0, 0)))
    top = pin(4, 60, (-30 * math.cos(way), -30 * math.sin(way), 4), (math.cos(way), math.sin(way), 0))
    point = only(put("low", low), put("top", top))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((0, 0, 0), abs=1e-9)
