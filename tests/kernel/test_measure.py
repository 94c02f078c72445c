"""Volumes, areas and centres of shapes against closed forms, whatever their faces are written as."""

from __future__ import annotations

import math

import cadquery as cq
import pytest
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
from OCP.Geom import Geom_CylindricalSurface, Geom_RectangularTrimmedSurface
from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt

from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.measure import area_mm2 as area_mm2_of
from fixturecheck.kernel.measure import (
    centroid_of,
    edge_ends,
    face_frame,
    hollow_rounds,
    is_flat,
    is_straight,
    is_within,
    mass_of,
    normal_in_middle,
    surface_kind,
    volume_mm3,
)
from tests.contact.free_form import freeform

SOLIDS = {
    "ball": (cq.Solid.makeSphere(7, angleDegrees1=-90), 4 / 3 * math.pi * 7**3, (0, 0, 0)),
    "pin": (cq.Solid.makeCylinder(5, 10), math.pi * 250, (0, 0, 5)),
    # A cone's centre lies a quarter of its height above its base.
    "cone": (cq.Solid.makeCone(6, 0, 8), math.pi * 36 * 8 / 3, (0, 0, 2)),
    "ring": (cq.Solid.makeTorus(10, 3), 2 * math.pi**2 * 90, (0, 0, 0)),
}


@pytest.mark.parametrize("name", SOLIDS)
@pytest.mark.parametrize("drawn", [lambda s: s, freeform], ids=["simple", "splines"])
def test_volume_and_centre_of_mass_are_those_of_the_closed_form(name, drawn):
    solid, volume, centre = SOLIDS[name]
    found, at = mass_of(drawn(solid))
    assert found == pytest.approx(volume, rel=1e-6)
    assert at == pytest.approx(centre, abs=1e-5)
    assert volume_mm3(drawn(solid)) == found


def test_nothing_has_no_volume():
    assert volume_mm3(None) == 0.0


@pytest.mark.parametrize(
    ("kind", "count", "area_mm2"),
    # A cone of radii 6 and 2 and height 3 has the side pi (6 + 2) sqrt(3^2 + 4^2).
    [("plane", 2, math.pi * (36 + 4)), ("cone", 1, math.pi * 8 * 5)],
)
def test_faces_have_their_kind_and_area(kind, count, area_mm2):
    faces = [f for f in faces_of(cq.Solid.makeCone(6, 2, 3)) if surface_kind(f) == kind]
    assert len(faces) == count
    assert sum(area_mm2_of(f) for f in faces) == pytest.approx(area_mm2)
    assert all(is_flat(f) == (kind == "plane") for f in faces)


def test_centroids_of_what_has_area_length_or_neither():
    half = cq.Solid.makeCylinder(6, 4, angleDegrees=180)
    (flat, *_) = sorted((f for f in faces_of(half) if is_flat(f)), key=lambda f: centroid_of(f)[2])
    # The centroid of half a disc lies 4 r / (3 pi) from its diameter, that of half a circle 2 r / pi.
    assert math.hypot(*centroid_of(flat)[:2]) == pytest.approx(4 * 6 / (3 * math.pi))
    assert normal_in_middle(flat) == pytest.approx((0, 0, -1))
    (arc,) = (e for e in edges_of(flat) if not is_straight(e))
    assert math.hypot(*centroid_of(arc)[:2]) == pytest.approx(2 * 6 / math.pi)
    radii = [e for e in edges_of(flat) if is_straight(e)]
    assert sorted(end[0] for e in radii for end in edge_ends(e)) == pytest.approx([-6, 0, 0, 6])
    assert centroid_of(cq.Vertex.makeVertex(1, 2, 3)) == (1, 2, 3)


def test_shapes_are_within_a_distance_however_far_their_boxes_are():
    """A ball beside the slanted side of a prism, where the boxes of the two meet and they do not."""
    ball = cq.Solid.makeSphere(1.0)
    slanted = cq.Workplane().polyline([(5, 5), (5, -5), (-5, 5)]).close().extrude(2, both=True).val()
    near, far = ball.moved(cq.Location((-1, -1, 0))), ball.moved(cq.Location((20, 0, 0)))
    gap_mm = math.sqrt(2) - 1.0  # from the line x + y = 0 to (-1, -1), less the radius
    assert not is_within(near, slanted, gap_mm - 1e-6)
    assert is_within(near, slanted, gap_mm + 1e-6)
    assert not is_within(far, slanted, 13.9)
    assert is_within(far, slanted, 14.1)


def test_a_whole_round_has_a_frame_though_its_centre_lies_on_its_axis():
    """A pin along X about the origin: the kernel finds no nearest place of it from its axis."""
    (side,) = [f for f in faces_of(cq.Solid.makeCylinder(5, 30, dir=cq.Vector(1, 0, 0))) if not is_flat(f)]
    centre, normal, flat = face_frame(side)
    assert centre == pytest.approx((15.0, 0.0, 0.0), abs=1e-9)
    assert (math.hypot(*normal), normal[0], flat) == (pytest.approx(1.0), pytest.approx(0.0), False)


def test_a_sliver_of_a_hollow_round_is_found_like_the_whole():
    """14 degrees and 0.05 mm of a bore of 1 mm radius, cut to that as a burr beside a fillet leaves it."""
    along_x = gp_Ax3(gp_Pnt(0, 2, 3), gp_Dir(1, 0, 0))
    surface = Geom_RectangularTrimmedSurface(Geom_CylindricalSurface(along_x, 1.0), 2.70, 2.94, 0.0, 0.05)
    round_out = cq.Face(BRepBuilderAPI_MakeFace(surface, 1e-6).Face())
    assert hollow_rounds(round_out) == []
    (found,) = hollow_rounds(cq.Face(round_out.wrapped.Reversed()))
    assert (found.radius_mm, found.y_mm, found.z_mm) == pytest.approx((1.0, 2.0, 3.0), abs=1e-9)
