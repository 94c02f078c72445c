"""One form of a solid that depends on its shape only, not on the file or script that it came from.

A mesher walks corners, edges and faces in the order and direction in which a solid lists them, so two files
of one part give two meshes. Built anew with everything ordered by place, on the one curve under each edge and
the one surface under each face, the same shape gives the same bytes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_Transform
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.Geom import (
    Geom_BSplineCurve,
    Geom_BSplineSurface,
    Geom_Circle,
    Geom_ConicalSurface,
    Geom_CylindricalSurface,
    Geom_Ellipse,
    Geom_Line,
    Geom_Plane,
    Geom_SphericalSurface,
    Geom_ToroidalSurface,
)
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_SurfaceType
from OCP.gp import gp_Ax2, gp_Ax3, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec
from OCP.ShapeAnalysis import ShapeAnalysis_Surface
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Shell, TopoDS_Solid, TopoDS_Vertex, TopoDS_Wire
from OCP.TopTools import TopTools_IndexedMapOfShape

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.recognise import mended, parts_of, poles_of, zero_direction
from fixturecheck.kernel.brep.topology import (
    edges_of,
    faces_of,
    mapped,
    middle_of,
    once_per_drawing,
    order_by_place,
    window_of,
    xyz,
)
from fixturecheck.kernel.shapes import Face, Location, Solid, cq_shape

# What a file's last digits moved is rounded away; a nanometre is far below any tolerance of ours.
_ROUND_MM = 1e-6
_ROUND_DIRECTION = 1e-9
_ROUND_RAD = 1e-12
_KERNEL_MM = 1e-7
_GRID = 4


def _to_nanometre(point: Floats) -> Floats:
    """Return a point, or any lengths, to a whole number of nanometres."""
    return np.asarray(np.round(np.asarray(point) / _ROUND_MM) * _ROUND_MM + 0.0)


def _rounded_direction(direction: Floats) -> Floats:
    """Return a unit direction without what its last digits say."""
    found = np.round(direction / np.linalg.norm(direction) / _ROUND_DIRECTION) * _ROUND_DIRECTION + 0.0
    return np.asarray(found / np.linalg.norm(found))


def _upright(direction: Floats) -> bool:
    """Whether the first component of a direction that is not zero is positive."""
    return bool(direction[np.flatnonzero(np.abs(direction) > 10 * _ROUND_DIRECTION)[0]] > 0)


def _raised(direction: Floats) -> Floats:
    """Return a direction or its opposite, whichever is upright; without a negative zero in it."""
    return direction if _upright(direction) else 0.0 - direction


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrimmedCurve:
    """A curve, its first and last parameter, and whether it runs against the drawn edge."""

    curve: Any
    between: tuple[float, float]
    against: bool


def _curve_of(edge: Any, start: Floats, end: Floats) -> TrimmedCurve:
    """Return the curve of an edge between its rounded corners.

    A line runs from the lesser corner, a circle about the upright one of its two axes from its own corner,
    anything else from the lesser corner, or upright where it is closed.

    Parameters
    ----------
    edge : TopoDS_Edge
    start, end : ndarray, shape (3,)
        Rounded corners at the edge's first and last parameter.
    """
    adaptor = BRepAdaptor_Curve(edge)
    kind = adaptor.GetType()
    if kind == GeomAbs_CurveType.GeomAbs_Line:
        against = tuple(start) > tuple(end)
        a, b = (end, start) if against else (start, end)
        long = float(np.linalg.norm(b - a))
        return TrimmedCurve(
            curve=Geom_Line(gp_Pnt(*a), gp_Dir(*(b - a))), between=(0.0, long), against=against
        )
    if kind == GeomAbs_CurveType.GeomAbs_Circle:
        return _circle(adaptor.Circle(), start, end)
    if kind == GeomAbs_CurveType.GeomAbs_Ellipse:
        return _ellipse(adaptor.Ellipse(), start, end)
    return _other(edge, adaptor, start, end)


def _circle(circle: Any, start: Floats, end: Floats) -> TrimmedCurve:
    """Return a circle about the upright axis, its angle zero at the corner where the edge then starts."""
    normal, against, start, end = _about(circle, start, end)
    centre = _to_nanometre(xyz(circle.Location()))
    zero = start - centre - ((start - centre) @ normal) * normal
    place = gp_Ax2(gp_Pnt(*centre), gp_Dir(*normal), gp_Dir(*zero))
    curve = Geom_Circle(place, _length(circle.Radius()))
    return TrimmedCurve(curve=curve, between=(0.0, _turn(curve, start, end)), against=against)


def _ellipse(ellipse: Any, start: Floats, end: Floats) -> TrimmedCurve:
    """Return an ellipse about the upright axis, its angle zero at the upright end of its long axis."""
    normal, against, start, end = _about(ellipse, start, end)
    long = _rounded_direction(xyz(ellipse.XAxis().Direction()))
    long = _raised(long)
    place = gp_Ax2(gp_Pnt(*_to_nanometre(xyz(ellipse.Location()))), gp_Dir(*normal), gp_Dir(*long))
    curve = Geom_Ellipse(place, _length(ellipse.MajorRadius()), _length(ellipse.MinorRadius()))
    first = _angle(curve, start)
    return TrimmedCurve(curve=curve, between=(first, first + _turn(curve, start, end)), against=against)


def _about(conic: Any, start: Floats, end: Floats) -> tuple[Floats, bool, Floats, Floats]:
    """Return the upright axis of a conic, whether it is not the drawn one, and its ends in that sense."""
    normal = _rounded_direction(xyz(conic.Axis().Direction()))
    return (normal, False, start, end) if _upright(normal) else (_raised(normal), True, end, start)


def _turn(curve: Any, start: Floats, end: Floats) -> float:
    """Return how far a closed conic's parameter runs from one corner on to another."""
    if np.array_equal(start, end):
        return 2 * math.pi
    return (_angle(curve, end) - _angle(curve, start)) % (2 * math.pi)


def _angle(curve: Any, point: Floats) -> float:
    place = curve.Position()
    arm = point - xyz(place.Location())
    radii = (
        (curve.Radius(),) * 2
        if isinstance(curve, Geom_Circle)
        else (curve.MajorRadius(), curve.MinorRadius())
    )
    x, y = (float(arm @ xyz(direction)) for direction in (place.XDirection(), place.YDirection()))
    return math.atan2(y / radii[1], x / radii[0])


def _other(edge: Any, adaptor: Any, start: Floats, end: Floats) -> TrimmedCurve:
    """Return a curve with no simple form; of a spline, with rounded poles and knots."""
    curve = BRep_Tool.Curve_s(edge, 0.0, 1.0).Copy()
    first, last = adaptor.FirstParameter(), adaptor.LastParameter()
    against = tuple(start) > tuple(end)
    if np.array_equal(start, end):
        early, late = (xyz(adaptor.Value(first + share * (last - first))) for share in (0.25, 0.75))
        against = bool(np.any(_to_nanometre(early) != _to_nanometre(late))) and not _upright(early - late)
    if isinstance(curve, Geom_BSplineCurve):
        if curve.IsPeriodic():  # a STEP file may close what was drawn open
            curve.SetNotPeriodic()
            curve.Segment(first, last)
        for i in range(1, curve.NbPoles() + 1):
            curve.SetPole(i, gp_Pnt(*_to_nanometre(xyz(curve.Pole(i)))))
        for i in range(1, curve.NbKnots() + 1):
            curve.SetKnot(i, round(curve.Knot(i), 9))
        first, last = (
            min(max(round(t, 9), curve.FirstParameter()), curve.LastParameter()) for t in (first, last)
        )
    if against:
        first, last = curve.ReversedParameter(last), curve.ReversedParameter(first)
        curve = curve.Reversed()
    return TrimmedCurve(curve=curve, between=(first, last), against=against)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """A surface, and whether its normal points out of the body."""

    surface: Any
    outward: bool


def _laid_surface(face: Any) -> Laid:
    """Return the surface of a face, laid by place: a plane's normal points outward, an axis upright.

    Parameters
    ----------
    face : TopoDS_Face
        As it is oriented in its body.
    """
    adaptor = BRepAdaptor_Surface(face, True)
    window = window_of(adaptor)
    u, v = (np.linspace(low, high, _GRID + 1) for low, high in (window[:2], window[2:]))
    points = np.array([[xyz(adaptor.Value(float(s), float(t))) for t in v] for s in u]).reshape(-1, 3)
    out = _normal_out(face, adaptor, window)
    if adaptor.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane:
        normal = _rounded_direction(out[1])
        corners = [
            tuple(_to_nanometre(xyz(BRep_Tool.Pnt_s(TopoDS.Vertex_s(c)))))
            for c in mapped(face, TopAbs_ShapeEnum.TopAbs_VERTEX)
        ]
        return Laid(surface=Geom_Plane(gp_Pnt(*min(corners)), gp_Dir(*normal)), outward=True)
    surface = _round(face, adaptor, points)
    at = ShapeAnalysis_Surface(surface).ValueOfUV(gp_Pnt(*out[0]), _KERNEL_MM)
    spot, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1(at.X(), at.Y(), spot, du, dv)
    return Laid(surface=surface, outward=float(np.cross(xyz(du), xyz(dv)) @ out[1]) > 0)


def _normal_out(face: Any, adaptor: Any, window: tuple[float, float, float, float]) -> tuple[Floats, Floats]:
    """Return a point of the surface in the middle of a face and the direction out of the body there."""
    spot, normal = middle_of(adaptor, window)
    if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        normal = -normal
    return xyz(spot), normal / np.linalg.norm(normal)


def _round(face: Any, adaptor: Any, points: Floats) -> Any:
    """Return a surface that is no plane, laid by place; one that is not simple with rounded poles."""
    kinds = GeomAbs_SurfaceType
    kind = adaptor.GetType()
    if kind == kinds.GeomAbs_Cylinder:
        found = adaptor.Cylinder()
        return Geom_CylindricalSurface(_ax3(face, found.Axis(), points), _length(found.Radius()))
    if kind == kinds.GeomAbs_Cone:
        return _cone(face, adaptor.Cone(), points)
    if kind == kinds.GeomAbs_Sphere:
        return _ball(face, adaptor.Sphere(), points)
    if kind == kinds.GeomAbs_Torus:
        found = adaptor.Torus()
        place = _ax3(face, found.Axis(), points, at=xyz(found.Location()))
        return Geom_ToroidalSurface(place, _length(found.MajorRadius()), _length(found.MinorRadius()))
    surface = BRep_Tool.Surface_s(face).Copy()
    if isinstance(surface, Geom_BSplineSurface):
        if surface.IsUPeriodic():
            surface.SetUNotPeriodic()
        if surface.IsVPeriodic():
            surface.SetVNotPeriodic()
        for i in range(1, surface.NbUPoles() + 1):
            for j in range(1, surface.NbVPoles() + 1):
                surface.SetPole(i, j, gp_Pnt(*_to_nanometre(xyz(surface.Pole(i, j)))))
    return surface


def _length(value: float) -> float:
    return float(_to_nanometre(np.array(value)))


def _ax3(face: Any, axis: Any, points: Floats, *, at: Floats | None = None) -> Any:
    """Return a frame about an axis: upright, at the point nearest the origin or the one given."""
    direction = _rounded_direction(xyz(axis.Direction()))
    direction = _raised(direction)
    spot = xyz(axis.Location())
    spot = _to_nanometre(spot - (spot @ direction) * direction if at is None else at)
    zero = _rounded_direction(zero_direction(face, points, spot, direction))
    return gp_Ax3(gp_Pnt(*spot), gp_Dir(*direction), gp_Dir(*zero))


def _cone(face: Any, cone: Any, points: Floats) -> Any:
    """Return a cone laid from its apex, opening along its axis."""
    angle = round(abs(cone.SemiAngle()) / _ROUND_RAD) * _ROUND_RAD
    apex = _to_nanometre(xyz(cone.Apex()))
    direction = _rounded_direction(xyz(cone.Axis().Direction()))
    if float((points.mean(axis=0) - apex) @ direction) < 0:
        direction = 0.0 - direction
    zero = _rounded_direction(zero_direction(face, points, apex, direction))
    return Geom_ConicalSurface(gp_Ax3(gp_Pnt(*apex), gp_Dir(*direction), gp_Dir(*zero)), angle, 0.0)


def _ball(face: Any, ball: Any, points: Floats) -> Any:
    """Return a sphere whose poles are those of the drawn one, so that a face keeps its seam."""
    poles = poles_of(face)
    centre = _to_nanometre(xyz(ball.Location()))
    direction = _rounded_direction(poles[0] - centre if poles else xyz(ball.Position().Direction()))
    direction = _raised(direction)
    zero = _rounded_direction(zero_direction(face, points, centre, direction))
    return Geom_SphericalSurface(
        gp_Ax3(gp_Pnt(*centre), gp_Dir(*direction), gp_Dir(*zero)), _length(ball.Radius())
    )


_CLOSE_MM = 1e-5
"""How far rounded corners, curves and surfaces may lie off each other."""
_LAID = 10.0
"""How many times that far an outline may lie off where it was drawn."""
_FORWARD, _REVERSED = TopAbs_Orientation.TopAbs_FORWARD, TopAbs_Orientation.TopAbs_REVERSED

Step = tuple[int, bool]
"""An edge by number as a ring runs along it, and whether it runs against the edge."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Form:
    """A solid in its canonical form.

    Parameters
    ----------
    solid : Solid
        Its least corner along each axis at zero.
    at : Location
        From there to where the drawn solid stands.
    drawn_faces : tuple of int
        For each face, which face of the drawn solid it is, both in the order of `faces_of`.
    """

    solid: Solid
    at: Location
    drawn_faces: tuple[int, ...]


def canonical_form(solid: Solid) -> Form:
    """Return a solid built anew with everything in it ordered and directed by place.

    Corners are rounded to a nanometre and sorted. Lines and circles run between them in one direction.
    Planes, cylinders, cones, spheres and tori are laid anew; other curves and surfaces stay as drawn, but for
    the rounding of splines. Copies that are moved without a turn have one form. A solid that could not be
    built anew, valid and alike, is returned as drawn.

    Parameters
    ----------
    solid : Solid
        Closed and valid.

    Returns
    -------
    Form
    """
    low = _low_mm(solid)
    # What was turned may be a compound around its solid.
    (drawn,) = cq_shape(BRepBuilderAPI_Transform(solid.wrapped, _shift(-low), False).Shape()).Solids()
    found = _form(drawn)
    if found is None:
        return Form(solid=solid, at=Location(), drawn_faces=tuple(range(len(faces_of(solid)))))
    return Form(
        solid=found[0], at=Location(TopLoc_Location(_shift(_to_nanometre(low)))), drawn_faces=found[1]
    )


def _low_mm(solid: Solid) -> Floats:
    """Return the least coordinates of the corners of a solid."""
    corners = mapped(solid.wrapped, TopAbs_ShapeEnum.TopAbs_VERTEX)
    return np.asarray(np.min([xyz(BRep_Tool.Pnt_s(TopoDS.Vertex_s(v))) for v in corners], axis=0))


def _shift(by: Floats) -> Any:
    shift = gp_Trsf()
    shift.SetTranslation(gp_Vec(*by))
    return shift


class _NoFormError(Exception):
    """Something in the solid has no place of its own."""


@once_per_drawing(128)
def _form(drawn: Solid) -> tuple[Solid, tuple[int, ...]] | None:
    faces = faces_of(drawn)
    try:
        made, order = _built(drawn, faces)
    except (Standard_Failure, _NoFormError):
        return None
    new = faces_of(made)
    if len(new) != len(faces) or not BRepCheck_Analyzer(made.wrapped).IsValid():
        return None
    alike = all(_alike(faces[i], face) for i, face in zip(order, new, strict=True))
    return (made, order) if alike else None


def _alike(drawn: Face, made: Face) -> bool:
    """Whether two faces have one area and centre, as well as their outlines are laid."""
    apart = np.abs(np.subtract(drawn.Center().toTuple(), made.Center().toTuple()))
    round_mm = sum(edge.Length() for edge in edges_of(drawn))
    most_mm = _LAID * _CLOSE_MM
    return bool(abs(made.Area() - drawn.Area()) <= most_mm * round_mm and apart.max() <= most_mm)


def _built(drawn: Solid, faces: Sequence[Face]) -> tuple[Solid, tuple[int, ...]]:
    """Build a solid anew; return it with the number of the drawn face that each of its faces is."""
    edges = _MadeEdges(drawn.wrapped)
    index = TopTools_IndexedMapOfShape()
    for face in faces:
        index.Add(face.wrapped)
    rank = {face: i for i, face in enumerate(order_by_place(faces))}
    numbers = [
        sorted((index.FindIndex(f) - 1 for f in parts_of(shell)), key=rank.__getitem__)
        for shell in parts_of(drawn.wrapped)
    ]
    numbers.sort(key=lambda of_shell: rank[of_shell[0]])
    builder, made = BRep_Builder(), TopoDS_Solid()
    builder.MakeSolid(made)
    for of_shell in numbers:
        shell = TopoDS_Shell()
        builder.MakeShell(shell)
        for number in of_shell:
            builder.Add(shell, _laid_out(TopoDS.Face_s(faces[number].wrapped), edges))
        shell.Closed(True)
        builder.Add(made, shell)
    return Solid(made), tuple(number for of_shell in numbers for number in of_shell)


class _MadeEdges:
    """The corners and edges of a solid made anew, by what they were drawn as."""

    def __init__(self, drawn: Any) -> None:
        self._corner, places = _made_corners(mapped(drawn, TopAbs_ShapeEnum.TopAbs_VERTEX))
        rows = []
        for shape in mapped(drawn, TopAbs_ShapeEnum.TopAbs_EDGE):
            edge = TopoDS.Edge_s(shape)
            if not BRep_Tool.Degenerated_s(edge):
                rows.append((_place_of(edge, places), edge))
        rows.sort(key=lambda row: row[0])
        if any(a == b for (a, _), (b, _) in pairwise(rows)):
            raise _NoFormError
        self._index = TopTools_IndexedMapOfShape()
        self._made: list[tuple[Any, bool]] = []
        for _, edge in rows:
            self._index.Add(edge)
            self._made.append(self._new(edge))

    def _new(self, edge: Any) -> tuple[Any, bool]:
        ends = [
            self._corner(v) for v in (TopExp.FirstVertex_s(edge, False), TopExp.LastVertex_s(edge, False))
        ]
        curve = _curve_of(edge, *(xyz(BRep_Tool.Pnt_s(v)) for v in ends))
        start, end = ends[::-1] if curve.against else ends
        maker = BRepBuilderAPI_MakeEdge(curve.curve, start, end, *curve.between)
        if not maker.IsDone():
            raise _NoFormError
        return maker.Edge().Oriented(_FORWARD), curve.against

    def step(self, edge: Any) -> Step | None:
        """Return a drawn, oriented edge as a step along a new one; None where it is degenerate."""
        number = self._index.FindIndex(edge) - 1
        if number < 0:
            return None
        if edge.Orientation() not in (_FORWARD, _REVERSED):
            raise _NoFormError
        return number, (edge.Orientation() == _REVERSED) != self._made[number][1]

    def along(self, step: Step) -> Any:
        """Return the new edge of a step, oriented."""
        return self._made[step[0]][0].Oriented(_REVERSED if step[1] else _FORWARD)


def _made_corners(drawn: Sequence[Any]) -> tuple[Any, Any]:
    """Make the corners of a solid anew.

    Returns
    -------
    made : callable
        From a drawn corner to the new one.
    number : callable
        From a drawn corner to its number in the order of place.
    """
    places = [tuple(_to_nanometre(xyz(BRep_Tool.Pnt_s(TopoDS.Vertex_s(v)))).tolist()) for v in drawn]
    if len(set(places)) < len(places):
        raise _NoFormError
    rank = {place: i for i, place in enumerate(sorted(places))}
    builder, index = BRep_Builder(), TopTools_IndexedMapOfShape()
    made = []
    for vertex, place in zip(drawn, places, strict=True):
        index.Add(vertex)
        new = TopoDS_Vertex()
        builder.MakeVertex(new, gp_Pnt(*place), _CLOSE_MM)
        made.append(TopoDS.Vertex_s(new.Oriented(_FORWARD)))
    return (
        lambda vertex: made[index.FindIndex(vertex) - 1],
        lambda vertex: rank[places[index.FindIndex(vertex) - 1]],
    )


def _place_of(edge: Any, number: Any) -> tuple[Any, ...]:
    """Return what sorts an edge: its corners by number, and its middle."""
    ends = sorted(number(v) for v in (TopExp.FirstVertex_s(edge, False), TopExp.LastVertex_s(edge, False)))
    curve = BRepAdaptor_Curve(edge)
    middle = _to_nanometre(xyz(curve.Value((curve.FirstParameter() + curve.LastParameter()) / 2)))
    return (*ends, *middle.tolist())


def _laid_out(face: Any, edges: _MadeEdges) -> Any:
    """Return a face on its new surface, bounded by the new edges, as it is oriented in the new solid."""
    laid = _laid_surface(face)
    builder, new = BRep_Builder(), TopoDS_Face()
    builder.MakeFace(new, laid.surface, _CLOSE_MM)
    # Rings run about the surface's own normal, whichever way that points.
    turn = (face.Orientation() == _REVERSED) == laid.outward
    outer = BRepTools.OuterWire_s(TopoDS.Face_s(face))
    rings = []
    for wire in parts_of(face.Oriented(_FORWARD)):
        if wire.ShapeType() != TopAbs_ShapeEnum.TopAbs_WIRE:
            raise _NoFormError
        rings.append((not wire.IsSame(outer), _ring(wire, face.Oriented(_FORWARD), edges, turn)))
    for _, steps in sorted(rings):
        ring = TopoDS_Wire()
        builder.MakeWire(ring)
        for step in steps:
            builder.Add(ring, edges.along(step))
        ring.Closed(True)
        builder.Add(new, ring)
    return mended(new, _CLOSE_MM, 10 * _CLOSE_MM).Oriented(_FORWARD if laid.outward else _REVERSED)


def _ring(wire: Any, face: Any, edges: _MadeEdges, turn: bool) -> list[Step]:
    """Return the steps round a wire, from the one of the least edge on."""
    steps = [s for edge in _walk(wire, face) if (s := edges.step(edge)) is not None]
    if turn:
        steps = [(number, not against) for number, against in reversed(steps)]
    first = steps.index(min(steps))
    return steps[first:] + steps[:first]


def _walk(wire: Any, face: Any) -> Iterator[Any]:
    explorer = BRepTools_WireExplorer(TopoDS.Wire_s(wire), TopoDS.Face_s(face))
    count = 0
    while explorer.More():
        yield explorer.Current()
        count += 1
        explorer.Next()
    if count != sum(1 for _ in parts_of(wire)):
        raise _NoFormError
