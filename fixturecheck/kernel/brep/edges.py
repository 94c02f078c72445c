"""What contact needs to know about a solid's edges."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Curve2d, BRepAdaptor_Surface
from OCP.GCPnts import GCPnts_AbscissaPoint, GCPnts_QuasiUniformDeflection
from OCP.GeomAbs import GeomAbs_CurveType
from OCP.gp import gp_Pnt, gp_Pnt2d, gp_Vec, gp_Vec2d
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedMapOfShape

from fixturecheck.kernel.brep.primitives import CHORD_MM, WIDE_RAD, Array, Circle, Piece
from fixturecheck.kernel.brep.topology import xyz


def edge_vertices(edges: Sequence[Any], vertices: Sequence[Any]) -> NDArray[np.int64]:
    """Indices of the vertices at either end of each edge's own parameter range."""
    lookup = TopTools_IndexedMapOfShape()
    for vertex in vertices:
        lookup.Add(vertex)
    rows = [
        (
            lookup.FindIndex(TopExp.FirstVertex_s(e, False)) - 1,
            lookup.FindIndex(TopExp.LastVertex_s(e, False)) - 1,
        )
        for e in edges
    ]
    return np.array(rows, dtype=np.int64).reshape(-1, 2)


_LENGTH_MM = 1e-9


def edge_row(edge: Any) -> tuple[Array, Array, bool, Array, float]:
    """Read ends, whether straight, points along it, length."""
    if BRep_Tool.Degenerated_s(edge):
        point = xyz(BRep_Tool.Pnt_s(TopExp.FirstVertex_s(edge)))
        return point, point, False, np.tile(point, (9, 1)), 0.0
    curve = BRepAdaptor_Curve(edge)
    first, last = curve.FirstParameter(), curve.LastParameter()
    along = np.array([xyz(curve.Value(t)) for t in np.linspace(first, last, 9)])
    straight = curve.GetType() == GeomAbs_CurveType.GeomAbs_Line
    return along[0], along[-1], straight, along, float(GCPnts_AbscissaPoint.Length_s(curve, _LENGTH_MM))


def circle_of(edge: Any) -> Circle | None:
    """Return the circle of a round edge, or None."""
    if BRep_Tool.Degenerated_s(edge):
        return None
    curve = BRepAdaptor_Curve(edge)
    if curve.GetType() != GeomAbs_CurveType.GeomAbs_Circle:
        return None
    circle = curve.Circle()
    position = circle.Position()
    return Circle(
        centre=xyz(circle.Location()),
        x_axis=xyz(position.XDirection()),
        y_axis=xyz(position.YDirection()),
        radius_mm=circle.Radius(),
        arc_rad=(curve.FirstParameter(), curve.LastParameter()),
    )


_SMOOTH = 1e-5


def inward_of(faces: Sequence[Any], edges: Sequence[Any]) -> tuple[NDArray[np.bool_], Array]:
    """Directions from the middle of each edge into its faces, and whether they make an angle."""
    lookup = TopTools_IndexedMapOfShape()
    for edge in edges:
        lookup.Add(edge)
    inward = np.zeros((len(edges), 2, 3))
    count = [0] * len(edges)
    for face in faces:
        surface = BRepAdaptor_Surface(face, False)
        flip = -1.0 if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0
        explorer = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_EDGE)
        while explorer.More():
            edge = TopoDS.Edge_s(explorer.Current())
            explorer.Next()
            index = lookup.FindIndex(edge) - 1
            if BRep_Tool.Degenerated_s(edge) or count[index] > 1:
                continue
            inward[index, count[index]] = _into(edge, face, surface, flip)
            count[index] += 1
    smooth = np.linalg.norm(inward.sum(axis=1), axis=1) <= _SMOOTH
    return ~smooth & (np.array(count) == 2), inward


def _into(edge: Any, face: Any, surface: BRepAdaptor_Surface, flip: float) -> Array:
    """Direction along a face, away from the middle of one of its edges: normal x tangent, as oriented."""
    curve = BRepAdaptor_Curve2d(edge, face)
    middle = (curve.FirstParameter() + curve.LastParameter()) / 2
    spot, along = gp_Pnt2d(), gp_Vec2d()
    curve.D1(middle, spot, along)
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1(spot.X(), spot.Y(), point, du, dv)
    du_, dv_ = du.Coord(), dv.Coord()
    tangent = [along.X() * p + along.Y() * q for p, q in zip(du_, dv_, strict=True)]
    normal = _cross(du_, dv_)
    if edge.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        flip = -flip
    into = np.array(_cross(normal, tangent)) * flip
    size = math.sqrt(float(into @ into))
    return into / size if size > 0 else into


def _cross(a: Sequence[float], b: Sequence[float]) -> tuple[float, float, float]:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


_HULL_MM = 2e-4
"""Chords that stand for a free curve stay this close to it: well below the touch tolerance."""


def edge_hull(edge: Any) -> Iterator[Piece]:
    """Pieces whose convex hull holds an edge, and which no plane tangent to it at an end cuts."""
    if BRep_Tool.Degenerated_s(edge):
        yield xyz(BRep_Tool.Pnt_s(TopExp.FirstVertex_s(edge))), np.zeros(3), 0.0, 0.0
        return
    curve = BRepAdaptor_Curve(edge)
    first, last = curve.FirstParameter(), curve.LastParameter()
    kind = curve.GetType()
    if kind == GeomAbs_CurveType.GeomAbs_Circle and last - first > WIDE_RAD:
        circle = curve.Circle()
        yield xyz(circle.Location()), xyz(circle.Axis().Direction()), circle.Radius(), 0.0
        return
    yield xyz(curve.Value(first)), np.zeros(3), 0.0, 0.0
    yield xyz(curve.Value(last)), np.zeros(3), 0.0, 0.0
    if kind == GeomAbs_CurveType.GeomAbs_Line:
        return
    if kind == GeomAbs_CurveType.GeomAbs_Circle:
        # Corners of the polygon of tangents.
        centre = xyz(curve.Circle().Location())
        half = (last - first) / 16
        for k in range(8):
            middle = xyz(curve.Value(first + (2 * k + 1) * half)) - centre
            yield centre + middle / math.cos(half), np.zeros(3), 0.0, 0.0
        return
    points = GCPnts_QuasiUniformDeflection(curve, _HULL_MM)
    for k in range(points.NbPoints()):
        yield xyz(points.Value(k + 1)), np.zeros(3), 0.0, _HULL_MM


def chords(edge: Any, curve: BRepAdaptor_Curve) -> Sequence[Array]:
    """Points along a curved edge whose chords stay within the chord tolerance of it."""
    circle = circle_of(edge)
    if circle is None:
        points = GCPnts_QuasiUniformDeflection(curve, CHORD_MM)
        return [xyz(points.Value(i + 1)) for i in range(points.NbPoints())]
    first, last = circle.arc_rad
    step = 2 * math.acos(max(1 - CHORD_MM / circle.radius_mm, 0.0))
    t = np.linspace(first, last, max(2, math.ceil((last - first) / step) + 1))[:, None]
    around = np.cos(t) * circle.x_axis + np.sin(t) * circle.y_axis
    return list(circle.centre + circle.radius_mm * around)
