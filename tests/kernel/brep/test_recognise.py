"""B-spline twins of known solids: recognised, they have the faces, edges and volume of their originals.

`BRepBuilderAPI_NurbsConvert` writes a plane, cylinder, cone, sphere or torus as the B-spline that is exactly
that surface, so every twin has a closed form.
"""

from __future__ import annotations

import math
from collections import Counter

import cadquery as cq
import pytest
from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

from fixturecheck.kernel.brep.recognise import SAME_MM, recognised
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.setup.make import body
from tests.contact.staging import anywhere, contacts, plate, put


def twin(drawn: cq.Workplane | cq.Solid) -> cq.Solid:
    """The same solid with every surface and edge a B-spline."""
    shape = drawn.findSolid() if isinstance(drawn, cq.Workplane) else drawn
    return cq.Shape.cast(BRepBuilderAPI_NurbsConvert(shape.wrapped, True).Shape()).Solids()[0]


def kinds(shapes: list[cq.Shape]) -> Counter[str]:
    return Counter(s.geomType() for s in shapes)


def block() -> cq.Workplane:
    return cq.Workplane().box(40, 20, 10)


DRAWN = {
    "block": block,
    "pin on the slant": lambda: cq.Workplane(cq.Solid.makeCylinder(5, 20).moved(anywhere())),
    "ball": lambda: cq.Workplane().sphere(7),
    "cone": lambda: cq.Workplane(cq.Solid.makeCone(5, 2, 10)),
    "pointed cone": lambda: cq.Workplane(cq.Solid.makeCone(5, 0, 10)),
    "ring": lambda: cq.Workplane(cq.Solid.makeTorus(20, 5)),
    "elbow": lambda: cq.Workplane().circle(3).revolve(90, (10, 0, 0), (10, 1, 0)),
    "counterbore": lambda: block().faces(">Z").workplane().cboreHole(4, 8, 3),
    "countersink": lambda: block().faces(">Z").workplane().cskHole(4, 8, 82),
    "slot": lambda: block().faces(">Z").workplane().slot2D(20, 6).cutBlind(-3),
    "fillets": lambda: block().edges("|Z").fillet(3).faces(">Z").edges().fillet(1),
    "cross hole": lambda: (
        cq.Workplane().circle(5).extrude(20).cut(
            cq.Workplane("XZ").circle(2).extrude(20, both=True).translate((0, 0, 10))
        )
    ),
    "ball foot": lambda: (
        cq.Workplane().box(20, 20, 10, centered=(True, True, False)).intersect(
            cq.Workplane().sphere(3000).translate((0, 0, 3000))
        )
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", DRAWN)
def test_twin_is_read_as_what_it_is(name):
    drawn = DRAWN[name]()
    solid = drawn.findSolid()
    spline = twin(drawn)
    assert kinds(faces_of(spline)) == {"BSPLINE": len(faces_of(solid))}
    found = recognised(spline)
    assert [f.geomType() for f in faces_of(found)] == [f.geomType() for f in faces_of(solid)]
    assert kinds(found.Edges()) == kinds(solid.Edges())
    assert found.isValid()
    assert found.Volume() == pytest.approx(solid.Volume(), rel=1e-6)
    for face, was in zip(faces_of(found), faces_of(solid), strict=True):
        assert face.Area() == pytest.approx(was.Area(), rel=1e-6)
        assert face.Center().toTuple() == pytest.approx(was.Center().toTuple(), abs=1e-5)
        assert face.normalAt().toTuple() == pytest.approx(was.normalAt().toTuple(), abs=1e-6)


def wavy(height_mm: float) -> cq.Solid:
    """A block whose top is a spline plane that one pole lifts; a cubic pole lifts by its weight at most."""
    grid = [
        [cq.Vector(10 * i, 10 * j, 5 + (height_mm if (i, j) == (1, 1) else 0.0)) for j in range(4)]
        for i in range(4)
    ]
    top = cq.Face.makeSplineApprox(grid, tol=1e-9, smoothing=None, minDeg=3, maxDeg=3)
    side = top.outerWire()
    down = cq.Vector(0, 0, -20)
    body = cq.Solid.extrudeLinear(side, [], down) if height_mm == 0 else None
    shell = [top, *[cq.Face.makeRuledSurface(e, e.moved(cq.Location(down))) for e in top.Edges()]]
    floor = cq.Face.makeFromWires(cq.Wire.assembleEdges([e.moved(cq.Location(down)) for e in top.Edges()]))
    return body or cq.Solid.makeSolid(cq.Shell.makeShell([*shell, floor]))


@pytest.mark.parametrize(("height_mm", "plane"), [(0.2 * SAME_MM, True), (20 * SAME_MM, False)])
def test_a_wave_below_the_tolerance_is_a_plane_and_a_higher_one_is_not(height_mm, plane):
    found = recognised(wavy(height_mm))
    top = max(faces_of(found), key=lambda f: f.Center().z)
    assert top.geomType() == ("PLANE" if plane else "BSPLINE")


def test_simple_solids_are_left_alone():
    solid = block().edges("|Z").fillet(3).val()
    assert recognised(solid) is solid


def test_copies_share_what_was_recognised():
    one, other = (recognised(twin(block())) for _ in range(2))
    assert one.wrapped.IsPartner(other.wrapped)


def test_place_is_kept():
    stood = twin(block()).moved(anywhere())
    assert recognised(stood).Center().toTuple() == pytest.approx(stood.Center().toTuple(), abs=1e-6)


def test_names_stay_on_their_faces():
    drawn = cq.Workplane(twin(block().faces(">Z").workplane().hole(6)))
    bore_face = drawn.faces("%BSPLINE").faces(cq.NearestToPointSelector((3, 0, 0)))
    named = body("lug", drawn, faces={"bore": bore_face, "top": ">Z", "end": (20, 0, 0)})
    faces = faces_of(named.solid)
    (bore,), (top,), (end,) = (named.faces[n] for n in ("bore", "top", "end"))
    assert (faces[bore].geomType(), faces[top].geomType()) == ("CYLINDER", "PLANE")
    assert faces[bore].Area() == pytest.approx(math.tau * 3 * 10)
    assert faces[top].normalAt().toTuple() == pytest.approx((0, 0, 1))
    assert faces[end].normalAt().toTuple() == pytest.approx((1, 0, 0))


def test_block_on_a_spline_ball_foot_stands_on_a_point():
    stated = body("foot", twin(DRAWN["ball foot"]()))
    (point,) = contacts(put("plate", plate()), put("foot", stated.solid))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((0, 0, 0), abs=1e-5)
