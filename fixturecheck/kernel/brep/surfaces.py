"""What contact needs to know about a solid's curved faces."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.GeomAbs import GeomAbs_CurveType
from OCP.gp import gp_Pnt, gp_Vec
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from fixturecheck.kernel.brep.primitives import Array, Piece, Surface
from fixturecheck.kernel.brep.topology import mapped, xyz
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import cq_shape


def surface_of(face: Any, adaptor: BRepAdaptor_Surface, kind: str) -> Surface:
    """Return the surface of a curved face, with the side the material lies on."""
    zero = np.zeros(3)
    if kind == "other":
        return Surface(kind=kind, origin=zero, axis=zero)
    quadric = getattr(adaptor, kind.capitalize())()
    position = quadric.Position()
    axis = xyz(position.Direction())
    if kind == "cone":
        angle = quadric.SemiAngle()
        apex = xyz(quadric.Apex())
        axis = axis if angle > 0 else -axis
        surface = Surface(kind=kind, origin=apex, axis=axis, half_angle_rad=abs(angle))
    elif kind == "torus":
        surface = Surface(
            kind=kind,
            origin=xyz(position.Location()),
            axis=axis,
            radius_mm=quadric.MajorRadius(),
            minor_radius_mm=quadric.MinorRadius(),
        )
    else:
        surface = Surface(kind=kind, origin=xyz(position.Location()), axis=axis, radius_mm=quadric.Radius())
    return _with_outward(face, adaptor, surface)


def _with_outward(face: Any, adaptor: BRepAdaptor_Surface, surface: Surface) -> Surface:
    """Find on which side of the surface the material lies, at the middle of the face's parameters."""
    u = (adaptor.FirstUParameter() + adaptor.LastUParameter()) / 2
    v = (adaptor.FirstVParameter() + adaptor.LastVParameter()) / 2
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    adaptor.D1(u, v, point, du, dv)
    normal = np.cross(xyz(du), xyz(dv))
    if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        normal = -normal
    x = xyz(point) - surface.origin
    radial = x - (x @ surface.axis) * surface.axis
    if surface.kind == "sphere":
        radial = x
    elif surface.kind == "torus":
        radial = x - surface.radius_mm * radial / np.linalg.norm(radial)
    position = getattr(adaptor, surface.kind.capitalize())().Position()
    ends = [adaptor.Value(u, t) for t in (adaptor.FirstVParameter(), adaptor.LastVParameter())]
    heights = [float((xyz(p) - surface.origin) @ surface.axis) for p in ends]
    return replace(
        surface,
        outward=1 if normal @ radial > 0 else -1,
        x_axis=xyz(position.XDirection()),
        y_axis=xyz(position.YDirection()),
        arc_rad=(adaptor.FirstUParameter(), adaptor.LastUParameter()),
        heights_mm=(min(heights), max(heights)),
        iso=_iso(face, surface.axis),
    )


def _iso(face: Any, axis: Array) -> bool:
    """Whether a face of revolution is bounded by circles about its axis and straight lines alone."""
    wires = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_WIRE)
    count = 0
    while wires.More():
        count += 1
        wires.Next()
    for edge in mapped(face, TopAbs_ShapeEnum.TopAbs_EDGE):
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(edge))
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
            continue
        if curve.GetType() != GeomAbs_CurveType.GeomAbs_Circle:
            return False
        if np.linalg.norm(np.cross(xyz(curve.Circle().Axis().Direction()), axis)) > 1e-9:
            return False
    return count == 1


def face_hull(face: Any, surface: Surface) -> Iterator[Piece]:
    """Circles swept by balls whose convex hull holds a face that is not ruled."""
    if surface.kind == "sphere":
        yield surface.origin, np.zeros(3), 0.0, surface.radius_mm
    elif surface.kind == "torus":
        yield surface.origin, surface.axis, surface.radius_mm, surface.minor_radius_mm
    else:
        x0, y0, z0, x1, y1, z1 = box_of(cq_shape(face))
        for x in (x0, x1):
            for y in (y0, y1):
                for z in (z0, z1):
                    yield np.array([x, y, z]), np.zeros(3), 0.0, 0.0
