"""Areas that flat faces with round edges share, without a boolean.

Sources: two circles by the closed form of a lens (plane geometry: twice a segment); all others by the
kernel's own common of the two faces, which the code under test does not use.
"""

import math

import cadquery as cq
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixturecheck.contact.patches.round_outlines import shared_areas
from fixturecheck.contact.placed import place_bodies
from fixturecheck.kernel.shapes import Location, Placed


def plate(radius_mm: float, hole_mm: float, size_mm: float = 10.0) -> cq.Workplane:
    """Return a square plate with round corners and a hole, its top at z = 0."""
    drawn = cq.Workplane().rect(size_mm, size_mm).extrude(-2.0).edges("|Z").fillet(radius_mm)
    return drawn.faces(">Z").workplane().hole(hole_mm) if hole_mm else drawn


def pair_of(lower: cq.Workplane, upper: cq.Workplane):
    """Return the top of the lower body and the bottom of the upper one, as a pair of faces."""
    bodies = []
    for name, drawn in (("a", lower), ("b", upper)):
        solid = drawn.val()
        names = tuple(f"face_{k}" for k in range(len(solid.Faces())))
        bodies.append(Placed(name=name, solid=solid, face_names=names, at=Location()))
    a, b = place_bodies(bodies)
    i = int(np.flatnonzero(np.isclose(a.normals[:, 2], 1.0))[0])
    j = int(np.flatnonzero(np.isclose(b.normals[:, 2], -1.0))[0])
    return a, i, b, j


def by_kernel(pair) -> tuple[float, np.ndarray]:
    """Return area, mm2, and centre of what two faces share, as the kernel's boolean finds it."""
    a, i, b, j = pair
    faces = a.face(i).intersect(b.face(j)).Faces()
    areas = np.array([f.Area() for f in faces])
    centres = np.array([f.Center().toTuple() for f in faces]).reshape(-1, 3)
    return float(areas.sum()), areas @ centres


def by_outlines(pair) -> tuple[float, np.ndarray] | None:
    """Return the same as the code under test finds it; None where it leaves it to the kernel."""
    known = shared_areas(pair)
    if known is None:
        return None
    frame, _ = pair[0].outline(pair[1])
    areas = np.array([area.area_mm2 for area in known[0]])
    centres = np.array([frame.space(area.centre) for area in known[0]]).reshape(-1, 3)
    return float(areas.sum()), areas @ centres


@pytest.mark.parametrize("apart_mm", [0.5, 3.0, 5.9])
def test_two_discs_share_a_lens(apart_mm):
    r = 3.0
    lens_mm2 = 2 * r**2 * math.acos(apart_mm / (2 * r)) - apart_mm / 2 * math.sqrt(4 * r**2 - apart_mm**2)
    lower = cq.Workplane().circle(r).extrude(-2.0)
    upper = cq.Workplane().center(apart_mm, 0).circle(r).extrude(2.0)
    area_mm2, moment = by_outlines(pair_of(lower, upper))
    assert area_mm2 == pytest.approx(lens_mm2, rel=1e-11)
    assert moment / area_mm2 == pytest.approx([apart_mm / 2, 0.0, 0.0], abs=1e-11)


@pytest.mark.parametrize("sag_mm", [1.0, 5e-4])
def test_a_segment_so_flat_that_one_chord_would_do_has_its_area(sag_mm):
    """Plane geometry: r^2 (t - sin t) / 2, of the chord c and the sag s by r = (c^2/4 + s^2) / 2s."""
    chord_mm = 10.0
    drawn = cq.Workplane().moveTo(-chord_mm / 2, 0).lineTo(chord_mm / 2, 0)
    upper = drawn.threePointArc((0, sag_mm), (-chord_mm / 2, 0)).close().extrude(2.0)
    r = (chord_mm**2 / 4 + sag_mm**2) / (2 * sag_mm)
    t = 2 * math.asin(chord_mm / (2 * r))
    area_mm2, _ = by_outlines(pair_of(plate(2.0, 0.0, 30.0), upper))
    assert area_mm2 == pytest.approx(r**2 * (t - math.sin(t)) / 2, rel=1e-4)


def test_outlines_that_are_one_share_all():
    lower, upper = plate(2.0, 3.0), plate(2.0, 3.0).translate((0, 0, 2.0))
    area_mm2, _ = by_outlines(pair_of(lower, upper))
    assert area_mm2 == pytest.approx(100.0 - (4 - math.pi) * 4.0 - math.pi * 2.25, rel=1e-12)


def test_arcs_of_one_circle_and_tangents_beside_them():
    """The larger plate's corner is the smaller one's: their arcs are one, and its sides run on past them."""
    lower = plate(2.0, 0.0)
    upper = plate(2.0, 3.0, 14.0).translate((2.0, 2.0, 2.0))
    pair = pair_of(lower, upper)
    area_mm2, moment = by_outlines(pair)
    wanted_mm2, wanted = by_kernel(pair)
    assert area_mm2 == pytest.approx(wanted_mm2, rel=1e-10)
    assert moment == pytest.approx(wanted, rel=1e-9, abs=1e-8)


def test_a_line_that_barely_crosses_an_arc_is_left_to_the_kernel():
    lower = cq.Workplane().circle(3.0).extrude(-2.0)
    upper = cq.Workplane().rect(4.0, 20.0).extrude(2.0).translate((4.9997, 0, 0))
    assert by_outlines(pair_of(lower, upper)) is None


@settings(max_examples=8)
@given(
    st.floats(-8.0, 8.0), st.floats(-8.0, 8.0), st.floats(0.0, 90.0), st.sampled_from([0.0, 1.5, 4.0]),
    st.sampled_from([0.3, 1.0, 3.0]),
)  # fmt: skip
def test_any_two_plates_share_what_the_kernel_says(x_mm, y_mm, turned_deg, hole_mm, radius_mm):
    upper = plate(radius_mm, hole_mm).rotate((0, 0, 0), (0, 0, 1), turned_deg).translate((x_mm, y_mm, 2.0))
    pair = pair_of(plate(1.0, 3.0), upper)
    found = by_outlines(pair)
    if found is None:
        return
    wanted_mm2, wanted = by_kernel(pair)
    assert found[0] == pytest.approx(wanted_mm2, rel=1e-9, abs=1e-7)
    assert found[1] == pytest.approx(wanted, rel=1e-8, abs=1e-6)


def test_outlines_that_lie_apart_share_nothing():
    upper = plate(2.0, 3.0).translate((20.0, 0, 2.0))
    assert shared_areas(pair_of(plate(2.0, 3.0), upper)) == ([], False)
