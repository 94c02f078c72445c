"""Meshes against trimesh and closed forms."""

from __future__ import annotations

import io
import math

import cadquery as cq
import numpy as np
import pytest
import trimesh

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.mesh.triangles import Mesh, Tessellator, stl_bytes

SOLIDS = {
    "drilled block": lambda: cq.Workplane().box(10, 20, 30).faces(">Z").hole(4).edges("|Z").fillet(1).val(),
    "wheel": lambda: (
        cq.Workplane("XZ").circle(89).circle(15.9).extrude(13).edges("%CIRCLE").fillet(0.2).val()
    ),
    "cone": lambda: cq.Solid.makeCone(5, 0, 9),
    "ball": lambda: cq.Solid.makeSphere(4, angleDegrees1=-90, angleDegrees2=90),
    "ring": lambda: cq.Solid.makeTorus(10, 2),
    "V": lambda: (
        cq.Workplane("XZ").polyline([(0, 0), (20, 0), (20, 20), (10, 9), (0, 20)]).close().extrude(40).val()
    ),
}


def loaded(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.load(io.BytesIO(stl_bytes([mesh])), file_type="stl")


@pytest.mark.parametrize("name", SOLIDS)
def test_solids_close(name: str) -> None:
    solid = SOLIDS[name]().moved(cq.Location((3.1, -4.7, 55.3), (1, 2, 3), 17))
    mesh = loaded(Tessellator(deflection_mm=0.005, angle_deg=5).mesh(solid))
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(solid.Volume(), rel=4e-3)


def test_finer_is_truer() -> None:
    """A ball's mesh is inscribed: its volume grows toward 4/3 pi r^3 as the chords shorten."""
    ball = cq.Solid.makeSphere(4, angleDegrees1=-90, angleDegrees2=90)
    true = 4 / 3 * math.pi * 4**3
    errors = []
    for deflection in (0.2, 0.02, 0.002):
        fresh = ball.copy()
        mesh = loaded(Tessellator(deflection_mm=deflection, angle_deg=90).mesh(fresh))
        errors.append(true - mesh.volume)
    assert errors[0] > errors[1] > errors[2] > 0


def test_faces_are_told_apart() -> None:
    solid = SOLIDS["drilled block"]()
    mesh = Tessellator().mesh(solid)
    corners = mesh.points_mm[mesh.triangles]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    for i, face in enumerate(faces_of(solid)):
        assert areas[mesh.face_of == i].sum() == pytest.approx(face.Area(), rel=3e-3)


def test_identical_parts_are_meshed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    worker = Tessellator()
    runs = []
    once = worker._tessellate
    monkeypatch.setattr(worker, "_tessellate", lambda shape: runs.append(1) or once(shape))
    pawl = SOLIDS["V"]()
    places = [cq.Location((i * 21.0, 0, 0), (0, 0, 1), 10.0 * i) for i in range(8)]
    meshes = [worker.mesh(pawl.moved(place)) for place in places]
    assert len(runs) == 1
    for mesh, place in zip(meshes, places, strict=True):
        box = pawl.moved(place).BoundingBox()
        points = mesh.all_points_mm()
        assert points.min(axis=0) == pytest.approx([box.xmin, box.ymin, box.zmin], abs=1e-6)
        assert points.max(axis=0) == pytest.approx([box.xmax, box.ymax, box.zmax], abs=1e-6)


def test_a_face_a_line_and_a_point_are_meshed_as_they_lie() -> None:
    worker = Tessellator()
    box = cq.Solid.makeBox(2, 3, 4)
    face = worker.mesh(box.faces(">Z"))
    assert (len(face.triangles), len(face.lines_mm)) == (2, 4)
    line = worker.mesh(cq.Edge.makeLine(cq.Vector(0, 0, 0), cq.Vector(0, 0, 5)))
    assert line.lines_mm[0].tolist() == [[0, 0, 0], [0, 0, 5]]
    arc = worker.mesh(cq.Edge.makeCircle(10)).lines_mm[0]
    assert np.linalg.norm(arc, axis=1) == pytest.approx(10.0, abs=1e-9)
    dot = worker.mesh(cq.Vertex.makeVertex(1, 2, 3))
    assert dot.dots_mm.tolist() == [[1, 2, 3]]
    assert not len(worker.mesh(box).dots_mm)


def test_seams_are_not_drawn() -> None:
    """A cylinder has two rims; the seam where its surface closes is an artefact."""
    assert len(Tessellator().mesh(cq.Solid.makeCylinder(5, 10)).lines_mm) == 2


def test_stl_says_the_same_twice_and_holds_several() -> None:
    a, b = cq.Solid.makeBox(1, 1, 1), cq.Solid.makeBox(2, 2, 2, cq.Vector(5, 5, 5))
    meshes = [Tessellator().mesh(s) for s in (a, b)]
    data = stl_bytes(meshes)
    assert data == stl_bytes([Tessellator().mesh(s.copy()) for s in (a, b)])
    both = trimesh.load(io.BytesIO(data), file_type="stl")
    assert both.volume == pytest.approx(9.0, rel=1e-6)
    assert len(data) == 84 + 50 * 24
