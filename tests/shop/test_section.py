"""The sections of wheels: what they turn into, against closed forms of solids of revolution."""

import math

import cadquery as cq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixturecheck.errors import SetupError
from fixturecheck.kernel.measure import box_of, volume_mm3
from fixturecheck.shop.wheel_profile import (
    Section,
    profile,
    rounded_section,
)
from fixturecheck.shop.wheels import Wheel

CUP = {
    "shape": "6",
    "diameter_mm": 100.0,
    "thickness_mm": 50.0,
    "bore_mm": 20.0,
    "rim_mm": 10.0,
    "bore_wall_mm": 13.0,
}
FLARING = {**CUP, "shape": "11", "thickness_mm": 40.0, "bore_wall_mm": 10.0, "small_diameter_mm": 76.0}
DISH = {
    "shape": "12", "diameter_mm": 150.0, "thickness_mm": 16.0, "bore_mm": 20.0, "rim_mm": 8.0,
    "bore_wall_mm": 9.0, "small_diameter_mm": 76.0, "edge_mm": 4.0,
}  # fmt: skip
RECESSED = {"shape": "5", "thickness_mm": 25.0, "recess_diameter_mm": 90.0, "recess_depth_mm": 6.0}


def revolved(segments):
    """The solid of an outline (y, r) turned about the Y axis, by the kernel itself."""
    edges = []
    for kind, *points in segments:
        make = cq.Edge.makeLine if kind == "line" else cq.Edge.makeThreePointArc
        edges.append(make(*[cq.Vector(0, float(y), float(r)) for y, r in points]))
    wire = cq.Wire.assembleEdges(edges)
    return cq.Solid.revolve(wire, [], 360.0, cq.Vector(0, 0, 0), cq.Vector(0, 1, 0))


def disc(radius_mm: float, height_mm: float) -> float:
    return math.pi * radius_mm**2 * height_mm


def frustum(a_mm: float, b_mm: float, height_mm: float) -> float:
    return math.pi * height_mm * (a_mm**2 + a_mm * b_mm + b_mm**2) / 3


def corner_ring(radius_mm: float, corner_mm: float) -> float:
    """Volume that a radius takes off a rim corner, by Pappus: the spandrel's area times its way round.

    The spandrel (square less quarter circle) has its centroid (10 - 3 pi)/(12 - 3 pi) of the radius
    from the corner's sides; handbook value 0.2234 r.
    """
    centroid_mm = (10 - 3 * math.pi) / (12 - 3 * math.pi) * corner_mm
    assert centroid_mm == pytest.approx(0.2234 * corner_mm, rel=1e-3)
    return corner_mm**2 * (1 - math.pi / 4) * 2 * math.pi * (radius_mm - centroid_mm)


def assert_closed(section: Section) -> None:
    for here, following in zip(section.segments, (*section.segments[1:], section.segments[0]), strict=True):
        assert math.dist(here[-1], following[1]) < 1e-9


@pytest.mark.parametrize("corner_mm", [0.0, 0.2, 3.0, 6.5])
def test_a_straight_wheel_has_the_volume_of_its_closed_form(corner_mm: float) -> None:
    section = profile(Wheel(corner_radius_mm=corner_mm))
    assert_closed(section)
    expected = disc(89, 13) - disc(15.875, 13) - 2 * corner_ring(89, corner_mm)
    assert volume_mm3(revolved(section.segments)) == pytest.approx(expected, rel=1e-9)
    assert section.largest_radius_mm == pytest.approx(89, abs=1e-12)
    assert section.y_range_mm == pytest.approx((0, 13), abs=1e-12)


def test_filled_wheel_has_no_bore() -> None:
    solid = revolved(profile(Wheel(corner_radius_mm=0.0), filled=True).segments)
    assert volume_mm3(solid) == pytest.approx(disc(89, 13), rel=1e-9)


def test_a_recessed_wheel_has_the_volume_of_its_closed_form() -> None:
    section = profile(Wheel(**RECESSED, corner_radius_mm=1.0))
    assert_closed(section)
    expected = disc(89, 25) - disc(15.875, 25) - (disc(45, 6) - disc(15.875, 6)) - 2 * corner_ring(89, 1.0)
    assert volume_mm3(revolved(section.segments)) == pytest.approx(expected, rel=1e-9)


def test_a_straight_cup_has_the_volume_of_its_closed_form() -> None:
    section = profile(Wheel(**CUP, corner_radius_mm=0.0))
    assert_closed(section)
    expected = disc(50, 50) - disc(40, 37) - disc(10, 13)
    assert volume_mm3(revolved(section.segments)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("flat_mm", [0.0, 50.0])
def test_a_flaring_cup_has_the_volume_of_its_closed_form(flat_mm: float) -> None:
    section = profile(Wheel(**FLARING, flat_diameter_mm=flat_mm, corner_radius_mm=0.0))
    assert_closed(section)
    # Parallel flanks: the mouth's radius 40 shrinks by 12/40 for each of the 30 mm down to the flat.
    flat_radius_mm = flat_mm / 2 or 40 - 30 * 12 / 40
    expected = frustum(50, 38, 40) - frustum(40, flat_radius_mm, 30) - disc(10, 10)
    assert volume_mm3(revolved(section.segments)) == pytest.approx(expected, rel=1e-9)


def test_a_dish_has_the_volume_of_its_closed_form() -> None:
    section = profile(Wheel(**DISH, flat_diameter_mm=60.0, corner_radius_mm=0.0))
    assert_closed(section)
    expected = disc(75, 4) + frustum(75, 38, 12) - frustum(67, 30, 7) - disc(10, 9)
    assert volume_mm3(revolved(section.segments)) == pytest.approx(expected, rel=1e-9)
    parallel = profile(Wheel(**DISH, corner_radius_mm=0.0))
    expected = disc(75, 4) + frustum(75, 38, 12) - frustum(67, 67 - 7 * 37 / 12, 7) - disc(10, 9)
    assert volume_mm3(revolved(parallel.segments)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("sizes", [{}, RECESSED, CUP, FLARING, DISH])
def test_every_shape_with_a_corner_radius_is_a_sound_solid_of_its_size(sizes: dict[str, float]) -> None:
    section = profile(Wheel(**sizes, corner_radius_mm=0.5))
    solid = revolved(section.segments)
    arcs = [s for s in section.segments if s[0] == "arc"]
    assert len(arcs) == 2
    low, high = section.y_range_mm
    reach = section.largest_radius_mm
    assert box_of(solid) == pytest.approx((-reach, low, -reach, reach, high, reach), abs=1e-6)


def test_dressed_profile_replaces_the_rim() -> None:
    points = ((0.0, 85.0), (5.0, 85.0), (9.0, 89.0), (13.0, 85.0))
    section = profile(Wheel(dressed_profile_mm=points))
    expected = disc(85, 5) + 2 * frustum(85, 89, 4) - disc(15.875, 13)
    assert volume_mm3(revolved(section.segments)) == pytest.approx(expected, rel=1e-9)


def test_moved_section_is_offset_along_the_axis_only() -> None:
    section = profile(Wheel(corner_radius_mm=2.0))
    moved = section.moved(7.5)
    assert moved.y_range_mm == pytest.approx((7.5, 20.5), abs=1e-12)
    assert moved.largest_radius_mm == pytest.approx(section.largest_radius_mm, abs=1e-12)
    assert volume_mm3(revolved(moved.segments)) == pytest.approx(
        volume_mm3(revolved(section.segments)), rel=1e-12
    )


@given(
    angle_deg=st.floats(20, 160),
    turn_deg=st.floats(0, 360),
    share=st.floats(0.05, 0.95),
    away=st.tuples(st.floats(-500, 500), st.floats(-500, 500)),
)
@settings(max_examples=60)
def test_a_rounded_corner_is_a_tangent_arc_of_its_radius(
    angle_deg: float, turn_deg: float, share: float, away: tuple[float, float]
) -> None:
    at = away
    a, b = math.radians(turn_deg), math.radians(turn_deg + angle_deg)
    one, other = [(at[0] + 10 * math.cos(t), at[1] + 10 * math.sin(t)) for t in (a, b)]
    # The tangent length r / tan(angle/2) may not exceed the 10 mm sides.
    radius_mm = share * 10 * math.tan(math.radians(angle_deg / 2))
    section = rounded_section([(one, 0.0), (at, radius_mm), (other, 0.0)], what="a corner")
    (arc,) = [s for s in section.segments if s[0] == "arc"]
    centre_mm = radius_mm / math.sin(math.radians(angle_deg / 2))
    bisector = math.radians(turn_deg + angle_deg / 2)
    centre = (at[0] + centre_mm * math.cos(bisector), at[1] + centre_mm * math.sin(bisector))
    for point in arc[1:]:
        assert math.dist(point, centre) == pytest.approx(radius_mm, rel=1e-6, abs=1e-6)
    assert math.dist(arc[1], at) == pytest.approx(share * 10, rel=1e-9)
    assert math.dist(arc[1], arc[2]) == pytest.approx(math.dist(arc[2], arc[3]), rel=1e-6)


@pytest.mark.parametrize(
    ("sizes", "says"),
    [
        ({"shape": "3"}, "shape '3' is not known"),
        ({"diameter_mm": 0.0}, r"diameter_mm \(D\) must be a positive"),
        ({"thickness_mm": math.nan}, r"thickness_mm \(T\)"),
        ({"bore_mm": 178.0}, "bore H 178 mm must be smaller than D"),
        ({"corner_radius_mm": -0.1}, "corner_radius_mm must be zero or more"),
        ({"corner_radius_mm": 6.51}, "no room for a corner radius of 6.51 mm on a side of 13 mm"),
        ({"rim_mm": 5.0}, r"rim_mm \(W\) does not belong"),
        ({"flat_diameter_mm": 5.0}, r"flat_diameter_mm \(K\) does not belong"),
        ({**RECESSED, "recess_depth_mm": 0.0}, r"recess_depth_mm \(F\) must be a positive"),
        ({**RECESSED, "recess_diameter_mm": 20.0}, "recess P 20 mm must lie between"),
        ({**RECESSED, "recess_depth_mm": 25.0}, "recess depth F 25 mm must be less"),
        ({**CUP, "rim_mm": 40.0}, "mouth .* must be wider than H"),
        ({**CUP, "bore_wall_mm": 50.0}, "back E 50 mm must be thinner"),
        ({**CUP, "corner_radius_mm": 5.1}, "no room for a corner radius"),
        ({**FLARING, "small_diameter_mm": 100.0}, "J 100 mm must lie between"),
        ({**FLARING, "flat_diameter_mm": 82.0}, "K 82 mm breaks through the flank, 82 mm"),
        ({**FLARING, "flat_diameter_mm": 19.0}, "K 19 mm must be larger than H"),
        ({**FLARING, "rim_mm": 20.0, "flat_diameter_mm": 61.0}, "K 61 mm must not be wider than the mouth"),
        ({**FLARING, "rim_mm": 35.0, "small_diameter_mm": 30.0}, "must be larger than H"),
        ({**DISH, "edge_mm": 16.0}, "edge U 16 mm must be thinner"),
        ({"dressed_profile_mm": ((0.0, 89.0), (12.0, 89.0))}, "from y = 0 to y = T = 13 mm, got 0 to 12"),
        ({"dressed_profile_mm": ((0.0, 89.0), (8.0, 85.0), (7.0, 85.0), (13.0, 89.0))}, "turn back in y"),
        ({"dressed_profile_mm": ((0.0, 89.0), (0.0, 89.0), (13.0, 89.0))}, "repeat a point"),
        ({"dressed_profile_mm": ((0.0, 88.0), (13.0, 88.0))}, "must reach D/2 = 89 mm"),
        ({"dressed_profile_mm": ((0.0, 90.0), (13.0, 90.0))}, "no farther, got 90"),
        ({"dressed_profile_mm": ((0.0, 89.0), (13.0, 15.0))}, "above r = 15.875"),
        ({"dressed_profile_mm": ((0.0, 89.0), (13.0, math.inf))}, "finite"),
        ({**CUP, "dressed_profile_mm": ((0.0, 50.0), (50.0, 50.0))}, "shapes 1 and 5 only"),
    ],
)
def test_sizes_that_make_no_wheel(sizes: dict[str, object], says: str) -> None:
    with pytest.raises(SetupError, match=says):
        profile(Wheel(**sizes))
