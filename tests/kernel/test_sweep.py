"""Swept solids against closed forms, shapely's dilation and manifold3d on meshes."""

from __future__ import annotations

import math
from itertools import pairwise

import cadquery as cq
import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from shapely import affinity
from shapely.geometry import Point, Polygon
from shapely.ops import unary_union

from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.boolean import apart, shared_area_mm2, split, united
from fixturecheck.kernel.construct import pulled
from fixturecheck.kernel.sweep import (
    Hood,
    Travel,
    circle_through,
    swept_disc,
    swept_hood,
    swept_outline,
    widened,
)

R, T = 89.0, 13.0


def rim(r: float = 0.2):
    c = r * (1 - math.sqrt(0.5))
    return [
        ("arc", (0.0, R - r), (c, R - c), (r, R)),
        ("line", (r, R), (T - r, R)),
        ("arc", (T - r, R), (T - c, R - c), (T, R - r)),
    ]


def travel(length: float, feed: float = 0.0, z: float = 100.0) -> Travel:
    return Travel(x_from_mm=-40.0, x_to_mm=-40.0 + length, y_from_mm=3.0, y_to_mm=3.0 + feed, axis_z_mm=z)


def stadium_volume(radius_at, y0: float, y1: float, length: float, breaks=()) -> float:
    """Closed form: at each y a stadium of area pi R^2 + 2 R L, summed over y."""
    marks = [y0, *breaks, y1]
    return sum(
        quad(lambda y: math.pi * radius_at(y) ** 2 + 2 * radius_at(y) * length, a, b, epsabs=1e-9)[0]
        for a, b in pairwise(marks)
    )


@pytest.mark.parametrize(("length", "feed"), [(0.0, 0.0), (100.0, 0.0), (0.0, 7.0), (100.0, 30.0)])
def test_sweep_of_a_straight_wheel_has_the_closed_form_volume(length, feed):
    r = 0.2

    def radius_at(y: float) -> float:
        edge = min(y, T + feed - y)
        return R if edge >= r else R - r + math.sqrt(r * r - (r - edge) ** 2)

    solid = swept_outline(rim(r), travel(length, feed))
    assert solid.isValid()
    expected = stadium_volume(radius_at, 0, T + feed, length, (r, T + feed - r))
    assert solid.Volume() == pytest.approx(expected, rel=1e-9)


ZIGZAG = [(0.0, 50.0), (3.0, 60.0), (5.0, 52.0), (9.0, 58.0), (13.0, 55.0)]


@pytest.mark.parametrize("feed", [0.5, 1.7, 3.0, 6.0, 20.0])
def test_cross_feed_of_a_wheel_with_two_ridges_is_shapelys_dilation(feed):
    # The area under the outline, dilated along y: the union of its copies; between vertices of a
    # polygon and its shifted copy the swept area is the union of the edges' parallelograms.
    below = Polygon([*ZIGZAG, (13.0, 0.0), (0.0, 0.0)])
    ring = list(below.exterior.coords)
    swept = [below, affinity.translate(below, feed)]
    swept += [
        Polygon([p, q, (q[0] + feed, q[1]), (p[0] + feed, p[1])]) for p, q in pairwise(ring) if p[1] != q[1]
    ]
    expected = unary_union(swept)
    outline = [("line", p, q) for p, q in pairwise(ZIGZAG)]
    wide = widened(outline, feed)
    got = Polygon([wide[0][1], *(s[-1] for s in wide), (13.0 + feed, 0.0), (0.0, 0.0)])
    assert got.symmetric_difference(expected).area < 1e-7 * expected.area
    solid = swept_outline(outline, travel(50.0, feed))
    assert solid.isValid()
    xs, ys = zip(*[wide[0][1], *(s[-1] for s in wide)], strict=True)
    volume = stadium_volume(lambda y: float(np.interp(y, xs, ys)), 0, 13 + feed, 50.0, xs[1:-1])
    assert solid.Volume() == pytest.approx(volume, rel=1e-8)


def test_a_round_crest_is_held_where_it_crests():
    crowned = [("arc", (0.0, 59.0), (6.5, 60.0), (13.0, 59.0))]
    cy, cr, radius = circle_through((0.0, 59.0), (6.5, 60.0), (13.0, 59.0))
    assert (cy, cr + radius) == pytest.approx((6.5, 60.0))

    def radius_at(y: float) -> float:
        at = y if y < 6.5 else max(6.5, y - 4.0)
        return cr + math.sqrt(radius**2 - (at - cy) ** 2)

    solid = swept_outline(crowned, travel(30.0, 4.0))
    assert solid.isValid()
    assert solid.Volume() == pytest.approx(stadium_volume(radius_at, 0, 17, 30.0, (6.5, 10.5)), rel=1e-9)


@settings(max_examples=25)
@given(
    rs=st.lists(st.floats(40, 60), min_size=3, max_size=6),
    feed=st.floats(0.1, 15),
    at=st.floats(0, 1),
)
def test_widened_outline_is_the_supremum(rs, feed, at):
    rs = [round(r, 2) for r in rs]
    ys = [float(i * 2) for i in range(len(rs))]
    outline = [("line", p, q) for p, q in pairwise(zip(ys, rs, strict=True))]
    wide = widened(outline, feed)
    pts = [wide[0][1], *(s[-1] for s in wide)]
    y = at * (ys[-1] + feed)
    got = float(np.interp(y, [p[0] for p in pts], [p[1] for p in pts]))
    low, high = max(0.0, y - feed), min(ys[-1], y)
    inside = [float(np.interp(v, ys, rs)) for v in (low, high, *[k for k in ys if low <= k <= high])]
    # Next to an upright jump, interpolation may take either side.
    assert got == pytest.approx(max(inside), abs=1e-6) or any(abs(y - p[0]) < 1e-6 for p in pts)


def test_flange_sweep_is_a_stadium():
    solid = swept_disc(37.5, -8.0, 0.0, travel(100.0, 5.0))
    assert solid.isValid()
    assert solid.Volume() == pytest.approx((math.pi * 37.5**2 + 2 * 37.5 * 100) * 13.0, rel=1e-12)
    assert solid.BoundingBox().ymin == pytest.approx(-5.0, abs=1e-6)


def sector(inner: float, outer: float, opening_deg: float, n: int = 800) -> Polygon:
    """A sector of a ring open below, as a fine polygon."""
    half = math.radians(opening_deg / 2)
    angles = np.linspace(half, 2 * math.pi - half, n)
    out = [(outer * math.sin(a), -outer * math.cos(a)) for a in angles]
    back = [(inner * math.sin(a), -inner * math.cos(a)) for a in angles[::-1]] if inner > 0 else [(0.0, 0.0)]
    return Polygon(out + back)


def dilated_area(shape: Polygon, length: float) -> float:
    """Area of a polygon swept along x."""
    ring = list(shape.exterior.coords)
    quads = [
        Polygon([p, q, (q[0] + length, q[1]), (p[0] + length, p[1])])
        for p, q in pairwise(ring)
        if abs(p[1] - q[1]) > 1e-12
    ]
    return float(unary_union([shape, affinity.translate(shape, length), *quads]).area)


@pytest.mark.parametrize("opening", [90.0, 150.0, 180.0, 210.0])
@pytest.mark.parametrize("length", [0.0, 60.0, 250.0])
def test_guard_sweep_against_shapely(opening, length):
    hood = Hood(opening_deg=opening, inner_mm=97.0, outer_mm=100.0, y0_mm=-10.0, y1_mm=23.0, wall_mm=3.0)
    solid = swept_hood(hood, travel(length, 5.0))
    assert solid.isValid()
    plate, band = sector(0, 100, opening), sector(97, 100, opening)
    expected = 2 * (3 + 5) * dilated_area(plate, length) + (33 - 5) * dilated_area(band, length)
    assert solid.Volume() == pytest.approx(expected, rel=5e-5)  # the arcs are chords in the polygon
    assert len(solid.Solids()) == 1


def test_guard_that_does_not_travel_is_exact():
    hood = Hood(opening_deg=150.0, inner_mm=97.0, outer_mm=100.0, y0_mm=-10.0, y1_mm=23.0, wall_mm=3.0)
    share = 210 / 360
    expected = share * math.pi * (100**2 * 6 + (100**2 - 97**2) * 33)
    assert swept_hood(hood, travel(0.0)).Volume() == pytest.approx(expected, rel=1e-9)


def test_sweep_contains_the_wheel_anywhere_on_its_way_and_touches_its_envelope():
    t = travel(100.0, 6.0)
    swept = swept_outline(rim(), t)
    rng = np.random.default_rng(3)
    for x, y in rng.uniform((t.x_from_mm, t.y_from_mm), (t.x_to_mm, t.y_to_mm), (5, 2)):
        still = Travel(x_from_mm=x, x_to_mm=x, y_from_mm=y, y_to_mm=y, axis_z_mm=t.axis_z_mm)
        wheel = swept_outline(rim(), still)
        found = split(wheel, swept, "a wheel by its sweep")
        assert found.kept is None
        assert found.taken_mm3 == pytest.approx(wheel.Volume(), rel=1e-9)


def as_manifold(shape: cq.Shape, deflection: float = 0.01) -> manifold3d.Manifold:
    points, triangles = shape.tessellate(deflection, 0.05)
    mesh = manifold3d.Mesh(
        vert_properties=np.array([p.toTuple() for p in points], dtype=np.float32),
        tri_verts=np.array(triangles, dtype=np.uint32),
    )
    mesh.merge()
    return manifold3d.Manifold(mesh)


def test_what_a_sweep_takes_against_manifold3d():
    block = cq.Workplane().box(120, 10, 20).translate((0, 8, 20)).val()
    swept = swept_outline(rim(2.0), travel(30.0, 2.0))
    found = split(block, swept, "a block by the wheel")
    assert found.taken is not None
    mesh = as_manifold(block) ^ as_manifold(swept)
    assert found.taken_mm3 == pytest.approx(mesh.volume(), rel=1e-3)
    assert found.kept_mm3 + found.taken_mm3 == pytest.approx(block.Volume(), rel=1e-7)  # tori are integrated


def test_split_adds_up_or_says_so():
    block = cq.Solid.makeBox(10, 10, 10)
    assert split(block, cq.Solid.makeBox(1, 1, 1, cq.Vector(20, 0, 0)), "far").taken is None
    touching = split(block, cq.Solid.makeBox(5, 5, 5, cq.Vector(10, 0, 0)), "touching")
    assert (touching.taken, touching.taken_mm3) == (None, 0.0)
    inside = split(block, cq.Solid.makeBox(2, 2, 2, cq.Vector(4, 4, 4)), "inside")
    assert (inside.kept_mm3, inside.taken_mm3) == pytest.approx((992.0, 8.0))
    inside_out = cq.Solid(block.wrapped.Reversed())
    with pytest.raises(NotComputedError, match="a box inside out"):
        split(inside_out, cq.Solid.makeBox(2, 2, 2), "a box inside out")


def test_apart_believes_the_common_volume_before_the_distance():
    ball = cq.Solid.makeSphere(5, angleDegrees1=-90)
    box = cq.Solid.makeBox(4, 4, 4, cq.Vector(4, -2, -2))
    how = apart(ball, box, "ball and box")
    assert how is not None
    assert how.distance_mm == 0.0
    expected = quad(lambda x: _square_in_disc(math.sqrt(25 - x * x)), 4, 5, epsabs=1e-10)[0]
    assert how.common_mm3 == pytest.approx(expected, rel=1e-6)
    inside = apart(cq.Solid.makeBox(10, 10, 10), cq.Solid.makeBox(1, 1, 1, cq.Vector(4, 4, 4)), "nested")
    assert inside is not None
    assert (inside.distance_mm, inside.common_mm3) == (0.0, pytest.approx(1.0))
    clear = apart(ball, cq.Solid.makeBox(1, 20, 20, cq.Vector(5.25, -10, -10)), "ball and plate")
    assert clear is not None
    assert clear.distance_mm == pytest.approx(0.25, abs=1e-9)
    assert clear.on_a == pytest.approx((5, 0, 0), abs=1e-6)
    assert apart(ball, cq.Solid.makeBox(1, 1, 1, cq.Vector(50, 0, 0)), "far", within_mm=10) is None


def _square_in_disc(radius: float) -> float:
    square = Polygon([(-2, -2), (2, -2), (2, 2), (-2, 2)])
    return float(square.intersection(Point(0, 0).buffer(radius, quad_segs=2000)).area)


def test_shared_area_sees_parallel_faces_within_reach_only():
    top = cq.Face.makePlane(10, 10, cq.Vector(5, 5, 10), cq.Vector(0, 0, 1))
    block = cq.Solid.makeBox(10, 4, 10.0005)
    assert shared_area_mm2(top, block, within_mm=1e-3) == pytest.approx(40.0)
    assert shared_area_mm2(top, block, within_mm=1e-4) == 0.0
    above = cq.Solid.makeBox(3, 3, 3, cq.Vector(0, 0, 10))
    assert shared_area_mm2(top, above, within_mm=1e-6) == 0.0
    assert shared_area_mm2(top, above, within_mm=1e-6, facing=-1) == pytest.approx(9.0)
    # A face that leans by 1e-6 over 10 mm is the same one within a micron, and is not within a nanometre.
    leaning = cq.Solid.makeBox(10, 4, 10).rotate((0, 0, 10), (0, 1, 10), math.degrees(1e-6))
    assert shared_area_mm2(top, leaning, within_mm=1e-3) == pytest.approx(40.0, rel=1e-4)
    assert shared_area_mm2(top, leaning, within_mm=1e-6) == 0.0


def test_what_is_put_on_a_plate_with_holes_and_pockets_fills_none_of_them(tmp_path):
    drawn = cq.Workplane().box(50, 40, 14, centered=(False, False, False)).edges("|Z").fillet(2)
    drawn = drawn.faces(">Z").workplane(origin=(0, 0, 14))
    drawn = drawn.pushPoints([(x, y) for x in (4.5, 45.5) for y in (3.5, 20, 36.5)]).cskHole(2.5, 3.4, 90)
    pocket = cq.Workplane().box(36, 7, 6).edges("|Z").fillet(2.5).faces("<Z").edges().fillet(1)
    for y in (12, 28):
        drawn = drawn.cut(pocket.translate((25, y, 14)))
    cq.exporters.export(drawn, str(tmp_path / "plate.step"))
    plate = cq.importers.importStep(str(tmp_path / "plate.step")).val()
    (top,) = cq.Workplane(plate).faces(">Z").vals()
    layer = pulled(top, (0.0, 0.0, 0.2))
    # A prism's volume, closed form; the two share no space.
    assert layer.Volume() == pytest.approx(0.2 * top.Area(), rel=1e-9)
    whole = united([plate.Solids()[0], layer], "a plate and its stock")
    assert whole.Volume() == pytest.approx(plate.Volume() + layer.Volume(), rel=1e-9)


def test_joined_solids_that_touch_become_one():
    whole = united([cq.Solid.makeBox(1, 1, 1), cq.Solid.makeBox(1, 1, 1, cq.Vector(1, 0, 0))], "two cubes")
    assert len(whole.Solids()) == 1
    assert whole.Volume() == pytest.approx(2.0)
