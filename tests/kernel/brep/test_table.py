"""A solid is read once for all who ask about its faces; curved faces have the radii they were drawn with."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.kernel.brep import table
from fixturecheck.kernel.brep.face_table import face_tables
from fixturecheck.kernel.brep.features import features_of
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.mesh.triangles import surface_triangulation

DEEP = cq.Vector(0, 0, -20)
BLOCK = cq.Workplane().box(60, 60, 60)


def holed(tool):
    """Return a block with the shape of a tool in it, which comes out at its top."""
    return BLOCK.translate((0, 0, -30)).val().cut(tool)


ROUND = {
    "pin": (cq.Solid.makeCylinder(5, 20), SurfaceKind.CYLINDER, 1, (5, 5), 0, 20),
    "bore": (holed(cq.Solid.makeCylinder(5, 20, DEEP)), SurfaceKind.CYLINDER, -1, (5, 5), 0, 20),
    "taper": (cq.Solid.makeCone(5, 2, 10), SurfaceKind.CONE, 1, (5, 2), 0, 10),
    "sink": (holed(cq.Solid.makeCone(2, 5, 20, DEEP)), SurfaceKind.CONE, -1, (2, 5), 0, 20),
    "ball": (cq.Workplane().sphere(7).val(), SurfaceKind.SPHERE, 1, (0, 0), 7, 0),
    "cup": (holed(cq.Workplane().sphere(7).val()), SurfaceKind.SPHERE, -1, (0, 0), 7, 0),
    "ring": (cq.Solid.makeTorus(10, 3), SurfaceKind.TORUS, 1, (10, 10), 3, 0),
    "groove": (holed(cq.Solid.makeTorus(10, 3)), SurfaceKind.TORUS, -1, (10, 10), 3, 0),
}  # fmt: skip
"""By name: solid, kind, sign of the material, radii at the ends of the axis, of the tube, its length, mm."""


@pytest.fixture
def reads(monkeypatch):
    read, plain = [], table.read_table
    monkeypatch.setattr(table, "read_table", lambda solid: read.append(solid) or plain(solid))
    return read


def test_contact_map_and_proximity_query_read_a_solid_once_between_them(reads):
    solid = cq.Solid.makeBox(11, 12, 13)
    face_tables([solid, solid.copy()])
    features_of(solid)
    assert len(reads) == 1


def test_a_solid_that_is_moved_itself_has_its_features_where_it_is_and_its_face_table_where_it_is_drawn():
    solid = cq.Workplane().box(10, 10, 10).val()
    moved = solid.moved(cq.Location((100, 0, 0)))
    assert features_of(moved).points_mm.mean(axis=0) == pytest.approx([100, 0, 0])
    drawn, same = face_tables([solid, moved])
    assert drawn is same
    assert drawn.vertices.mean(axis=0) == pytest.approx([0, 0, 0])


@pytest.mark.parametrize("name", ROUND)
def test_a_curved_face_has_the_sign_the_radii_and_the_length_that_it_was_drawn_with(name):
    solid, kind, sign, radii, tube_mm, long_mm = ROUND[name]
    (one,) = features_of(solid).swept
    assert (one.kind, one.sign) == (kind, sign)
    assert sorted((one.radius_a_mm, one.radius_b_mm)) == pytest.approx(sorted(radii))
    assert one.tube_mm == pytest.approx(tube_mm)
    assert np.linalg.norm(one.b_mm - one.a_mm) == pytest.approx(long_mm)
    (faces,) = face_tables([solid])
    (surface,) = (s for s in faces.surfaces if s is not None)
    assert (surface.kind, surface.outward) == (kind, sign)


@pytest.mark.parametrize("name", ROUND)
def test_each_face_lies_within_its_hull(name):
    """No triangle of a face reaches further in any direction than what is said to hold the face."""
    solid = ROUND[name][0]
    (faces,) = face_tables([solid])
    mesh = surface_triangulation(solid)
    turns = np.linspace(0.0, 2 * math.pi, 12, endpoint=False)
    rises = [(math.cos(rise), math.sin(rise)) for rise in (0.0, 0.9, -0.6)]
    ways = np.array([(math.cos(t) * flat, math.sin(t) * flat, up) for t in turns for flat, up in rises])
    reach = faces.hull.reach(ways)
    for face in range(len(faces.kinds)):
        corners = mesh.points_mm[mesh.triangles[mesh.triangle_face == face]].reshape(-1, 3)
        assert np.all((corners @ ways.T).max(axis=0) <= reach[faces.hull.faces == face].max(axis=0) + 1e-6)


def test_a_cone_that_ends_in_a_tip_is_bounded_by_its_circle_alone():
    (faces,) = face_tables([cq.Solid.makeCone(5, 0, 10)])
    (cone,) = (s for s in faces.surfaces if s is not None)
    assert cone.iso
    assert cone.half_angle_rad == pytest.approx(math.atan2(5, 10))


def test_the_faces_that_support_a_stepped_block_are_those_that_all_else_lies_behind():
    step = cq.Workplane().box(20, 20, 20).cut(cq.Workplane().box(20, 20, 20).translate((10, 0, 10))).val()
    (faces,) = face_tables([step])
    up = faces.supporting & (faces.normals[:, 2] > 0.9)
    # Of the two faces that look up, at 0 and at 10, only the higher one has everything behind it.
    assert faces.offsets[up] == pytest.approx([10.0])
    assert faces.supporting.sum() == 6


def filleted():
    """A step with fillets in it and on its edges: rounds, hollows, balls and tori."""
    drawn = cq.Workplane().box(20, 10, 5).cut(cq.Workplane().box(10, 10, 5).translate((8, 0, 3)))
    return drawn.edges("not |Z").edges("|Y").fillet(0.4).edges(">Z").fillet(0.3).val()


@pytest.mark.parametrize("across", [None, "XY", "YZ"])
@pytest.mark.parametrize("drawn", [*(solid for solid, *_ in ROUND.values()), filleted()])
def test_the_turn_of_a_round_face_covers_it_in_left_handed_frames_too(drawn, across):
    """A mirrored face, and many a fillet, has an angle against the right-hand rule round its axis."""
    solid = drawn.Solids()[0] if across is None else drawn.mirror(across).Solids()[0]
    faces = solid.Faces()
    for one in features_of(solid).swept:
        face = faces[one.face]
        for u in (0.1, 0.5, 0.9):
            arm = np.array(face.positionAt(u, 0.45).toTuple()) - one.a_mm
            angle = math.atan2(float(arm @ np.cross(one.axis, one.zero)), float(arm @ one.zero))
            first, last = one.turn
            assert (angle - first + 1e-9) % (2 * math.pi) <= last - first + 2e-9
