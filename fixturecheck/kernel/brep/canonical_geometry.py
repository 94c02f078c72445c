"""The one curve under an edge and the one surface under a face, whatever file they were drawn in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
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
from OCP.gp import gp_Ax2, gp_Ax3, gp_Dir, gp_Pnt, gp_Vec
from OCP.ShapeAnalysis import ShapeAnalysis_Surface
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.recognise import zero_direction
from fixturecheck.kernel.brep.topology import mapped, xyz

# What a file's last digits moved is rounded away; a nanometre is far below any tolerance of ours.
_ROUND_MM = 1e-6
_ROUND_WAY = 1e-9
_ROUND_RAD = 1e-12
_KERNEL_MM = 1e-7
_GRID = 4


def rounded(point: Floats) -> Floats:
    """Return a point, or any lengths, to a whole number of nanometres."""
    return np.asarray(np.round(np.asarray(point) / _ROUND_MM) * _ROUND_MM + 0.0)


def rounded_way(way: Floats) -> Floats:
    """Return a unit direction without what its last digits say."""
    found = np.round(way / np.linalg.norm(way) / _ROUND_WAY) * _ROUND_WAY + 0.0
    return np.asarray(found / np.linalg.norm(found))


def _upright(way: Floats) -> bool:
    """Whether the first component of a direction that is not zero is positive."""
    return bool(way[np.flatnonzero(np.abs(way) > 10 * _ROUND_WAY)[0]] > 0)


def _raised(way: Floats) -> Floats:
    """Return a direction or its opposite, whichever is upright; without a negative zero in it."""
    return way if _upright(way) else 0.0 - way


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrimmedCurve:
    """A curve, its first and last parameter, and whether it runs against the drawn edge."""

    curve: Any
    between: tuple[float, float]
    against: bool


def curve_of(edge: Any, start: Floats, end: Floats) -> TrimmedCurve:
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
            curve=Geom_Line(gp_Pnt(*a), gp_Dir(*(b - a))),
            between=(0.0, long),
            against=against,
        )
    if kind == GeomAbs_CurveType.GeomAbs_Circle:
        return _circle(adaptor.Circle(), start, end)
    if kind == GeomAbs_CurveType.GeomAbs_Ellipse:
        return _ellipse(adaptor.Ellipse(), start, end)
    return _other(edge, adaptor, start, end)


def _circle(circle: Any, start: Floats, end: Floats) -> TrimmedCurve:
    """Return a circle about the upright axis, its angle zero at the corner where the edge then starts."""
    normal, against, start, end = _about(circle, start, end)
    centre = rounded(xyz(circle.Location()))
    zero = start - centre - ((start - centre) @ normal) * normal
    place = gp_Ax2(gp_Pnt(*centre), gp_Dir(*normal), gp_Dir(*zero))
    curve = Geom_Circle(place, _length(circle.Radius()))
    return TrimmedCurve(curve=curve, between=(0.0, _turn(curve, start, end)), against=against)


def _ellipse(ellipse: Any, start: Floats, end: Floats) -> TrimmedCurve:
    """Return an ellipse about the upright axis, its angle zero at the upright end of its long axis."""
    normal, against, start, end = _about(ellipse, start, end)
    long = rounded_way(xyz(ellipse.XAxis().Direction()))
    long = _raised(long)
    place = gp_Ax2(gp_Pnt(*rounded(xyz(ellipse.Location()))), gp_Dir(*normal), gp_Dir(*long))
    curve = Geom_Ellipse(place, _length(ellipse.MajorRadius()), _length(ellipse.MinorRadius()))
    first = _angle(curve, start)
    return TrimmedCurve(curve=curve, between=(first, first + _turn(curve, start, end)), against=against)


def _about(conic: Any, start: Floats, end: Floats) -> tuple[Floats, bool, Floats, Floats]:
    """Return the upright axis of a conic, whether it is not the drawn one, and its ends in that sense."""
    normal = rounded_way(xyz(conic.Axis().Direction()))
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
    x, y = (float(arm @ xyz(way)) for way in (place.XDirection(), place.YDirection()))
    return math.atan2(y / radii[1], x / radii[0])


def _other(edge: Any, adaptor: Any, start: Floats, end: Floats) -> TrimmedCurve:
    """Return a curve with no simple form; of a spline, with rounded poles and knots."""
    curve = BRep_Tool.Curve_s(edge, 0.0, 1.0).Copy()
    first, last = adaptor.FirstParameter(), adaptor.LastParameter()
    against = tuple(start) > tuple(end)
    if np.array_equal(start, end):
        early, late = (xyz(adaptor.Value(first + share * (last - first))) for share in (0.25, 0.75))
        against = bool(np.any(rounded(early) != rounded(late))) and not _upright(early - late)
    if isinstance(curve, Geom_BSplineCurve):
        if curve.IsPeriodic():  # a STEP file may close what was drawn open
            curve.SetNotPeriodic()
            curve.Segment(first, last)
        for i in range(1, curve.NbPoles() + 1):
            curve.SetPole(i, gp_Pnt(*rounded(xyz(curve.Pole(i)))))
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


def surface_of(face: Any) -> Laid:
    """Return the surface of a face, laid by place: a plane's normal points outward, an axis upright.

    Parameters
    ----------
    face : TopoDS_Face
        As it is oriented in its body.
    """
    adaptor = BRepAdaptor_Surface(face, True)
    window = (
        adaptor.FirstUParameter(), adaptor.LastUParameter(),
        adaptor.FirstVParameter(), adaptor.LastVParameter(),
    )  # fmt: skip
    u, v = (np.linspace(low, high, _GRID + 1) for low, high in (window[:2], window[2:]))
    points = np.array([[xyz(adaptor.Value(float(s), float(t))) for t in v] for s in u]).reshape(-1, 3)
    out = _normal_out(face, adaptor, window)
    if adaptor.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane:
        normal = rounded_way(out[1])
        corners = [
            tuple(rounded(xyz(BRep_Tool.Pnt_s(TopoDS.Vertex_s(c)))))
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
    spot, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    adaptor.D1((window[0] + window[1]) / 2, (window[2] + window[3]) / 2, spot, du, dv)
    normal = np.cross(xyz(du), xyz(dv))
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
                surface.SetPole(i, j, gp_Pnt(*rounded(xyz(surface.Pole(i, j)))))
    return surface


def _length(value: float) -> float:
    return float(rounded(np.array(value)))


def _ax3(face: Any, axis: Any, points: Floats, *, at: Floats | None = None) -> Any:
    """Return a frame about an axis: upright, at the point nearest the origin or the one given."""
    way = rounded_way(xyz(axis.Direction()))
    way = _raised(way)
    spot = xyz(axis.Location())
    spot = rounded(spot - (spot @ way) * way if at is None else at)
    zero = rounded_way(zero_direction(face, points, spot, way))
    return gp_Ax3(gp_Pnt(*spot), gp_Dir(*way), gp_Dir(*zero))


def _cone(face: Any, cone: Any, points: Floats) -> Any:
    """Return a cone laid from its apex, opening along its axis."""
    angle = round(abs(cone.SemiAngle()) / _ROUND_RAD) * _ROUND_RAD
    apex = rounded(xyz(cone.Apex()))
    way = rounded_way(xyz(cone.Axis().Direction()))
    if float((points.mean(axis=0) - apex) @ way) < 0:
        way = 0.0 - way
    zero = rounded_way(zero_direction(face, points, apex, way))
    return Geom_ConicalSurface(gp_Ax3(gp_Pnt(*apex), gp_Dir(*way), gp_Dir(*zero)), angle, 0.0)


def _ball(face: Any, ball: Any, points: Floats) -> Any:
    """Return a sphere whose poles are those of the drawn one, so that a face keeps its seam."""
    poles = [
        xyz(BRep_Tool.Pnt_s(TopExp.FirstVertex_s(TopoDS.Edge_s(e))))
        for e in mapped(face, TopAbs_ShapeEnum.TopAbs_EDGE)
        if BRep_Tool.Degenerated_s(TopoDS.Edge_s(e))
    ]
    centre = rounded(xyz(ball.Location()))
    way = rounded_way(poles[0] - centre if poles else xyz(ball.Position().Direction()))
    way = _raised(way)
    zero = rounded_way(zero_direction(face, points, centre, way))
    return Geom_SphericalSurface(gp_Ax3(gp_Pnt(*centre), gp_Dir(*way), gp_Dir(*zero)), _length(ball.Radius()))
