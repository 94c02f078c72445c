"""The surface of a face in numbers, and what sweeps it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import CurveKind, Surface, SurfaceKind, SweptPrimitive
from fixturecheck.kernel.brep.table import BrepTable, FaceRow
from fixturecheck.kernel.brep.topology import xyz

_PARALLEL = 1e-9


def plane_of(row: FaceRow) -> tuple[Floats, float]:
    """Return the outward unit normal n of a flat face, and n.x of its plane, mm."""
    plane = row.quadric
    normal = xyz(plane.Axis().Direction())
    if not plane.Direct():
        normal = -normal
    normal = normal * row.flip
    return normal, float(normal @ xyz(plane.Location()))


def surface_of(table: BrepTable, row: FaceRow) -> Surface | None:
    """Return the surface of a curved face with the side that the material lies on; None for a plane."""
    if row.kind == SurfaceKind.PLANE:
        return None
    if row.kind == SurfaceKind.OTHER:
        return Surface(kind=row.kind, origin=np.zeros(3), axis=np.zeros(3))
    quadric = row.quadric
    position = quadric.Position()
    origin, axis = xyz(position.Location()), xyz(position.Direction())
    radius_mm = minor_radius_mm = half_angle_rad = 0.0
    if row.kind == SurfaceKind.CONE:
        angle = quadric.SemiAngle()
        # The kernel's half angle is negative where the cone narrows along its axis.
        origin, axis, half_angle_rad = xyz(quadric.Apex()), axis if angle > 0 else -axis, abs(angle)
    elif row.kind == SurfaceKind.TORUS:
        radius_mm, minor_radius_mm = quadric.MajorRadius(), quadric.MinorRadius()
    else:
        radius_mm = quadric.Radius()
    u0, u1, v0, v1 = row.window
    ends = [row.adaptor.Value(row.middle[0], v) for v in (v0, v1)]
    heights = [float((xyz(p) - origin) @ axis) for p in ends]
    surface = Surface(
        kind=row.kind, origin=origin, axis=axis, radius_mm=radius_mm, minor_radius_mm=minor_radius_mm,
        half_angle_rad=half_angle_rad, x_axis=xyz(position.XDirection()), y_axis=xyz(position.YDirection()),
        arc_rad=(u0, u1), heights_mm=(min(heights), max(heights)), iso=_iso(table, row, axis),
    )  # fmt: skip
    return replace(surface, outward=_outward(row, surface))


def _outward(row: FaceRow, surface: Surface) -> int:
    """Return +1 where the normal in the middle of a face looks away from axis, centre or centre circle."""
    point, normal = row.probe.at(row.middle)
    x = point - surface.origin
    radial = x - (x @ surface.axis) * surface.axis
    if surface.kind == SurfaceKind.SPHERE:
        radial = x
    elif surface.kind == SurfaceKind.TORUS:
        radial = x - surface.radius_mm * radial / np.linalg.norm(radial)
    return 1 if normal @ radial > 0 else -1


def _iso(table: BrepTable, row: FaceRow, axis: Floats) -> bool:
    """Whether a face of revolution is bounded by circles about its axis and straight lines alone."""
    wires, count = TopExp_Explorer(row.face.wrapped, TopAbs_ShapeEnum.TopAbs_WIRE), 0
    while wires.More():
        count += 1
        wires.Next()
    for number in table.face_edges[row.number]:
        edge = table.edges[number]
        if edge.degenerate or edge.kind == CurveKind.LINE:
            continue
        if edge.circle is None or np.linalg.norm(np.cross(edge.circle.axis, axis)) > _PARALLEL:
            return False
    return count == 1


def swept_primitive(row: FaceRow, surface: Surface) -> SweptPrimitive | None:
    """Return a curved face as what sweeps it; None where its surface is of no known kind."""
    if surface.kind == SurfaceKind.OTHER:
        return None
    quadric = row.quadric
    u0, u1, v0, v1 = row.window
    radii, tube_mm, tilt = (surface.radius_mm, surface.radius_mm), 0.0, (-math.pi, math.pi)
    if surface.kind == SurfaceKind.CONE:
        slope, rise = np.sin(quadric.SemiAngle()), np.cos(quadric.SemiAngle())
        radii = (quadric.RefRadius() + v0 * slope, quadric.RefRadius() + v1 * slope)
        v0, v1 = v0 * rise, v1 * rise
    elif surface.kind == SurfaceKind.SPHERE:
        radii, tube_mm, tilt = (0.0, 0.0), surface.radius_mm, (v0, v1)
    elif surface.kind == SurfaceKind.TORUS:
        tube_mm, tilt = surface.minor_radius_mm, (v0, v1)
    place, axis = xyz(quadric.Location()), xyz(quadric.Position().Direction())
    low, high = (0.0, 0.0) if tube_mm > 0 else (v0, v1)
    return SweptPrimitive(
        kind=surface.kind,
        sign=surface.outward,
        a_mm=place + low * axis,
        b_mm=place + high * axis,
        axis=axis,
        zero=surface.x_axis,
        radius_a_mm=radii[0],
        radius_b_mm=radii[1],
        tube_mm=tube_mm,
        turn=(u0, u1),
        tilt=tilt,
        face=row.number,
    )
