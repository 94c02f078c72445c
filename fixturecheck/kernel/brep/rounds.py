"""Reads curved faces by type, and covers those of no known type with points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRepTools import BRepTools
from OCP.GeomAbs import GeomAbs_SurfaceType

from fixturecheck.kernel.brep.feature_edges import Heap, normal_at, xyz
from fixturecheck.kernel.brep.free_form import Smooth

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """A curved face: an axis, radii at its two ends, and the part of the turn it covers.

    Parameters
    ----------
    kind : str
        `rod` or `bore` (cylinder from outside or inside), `cone` or `funnel`, `ball` or `cup`, `ring` or
        `gutter` (a torus).
    a_mm, b_mm : ndarray, shape (3,)
        Ends of the axis; equal for ball and ring.
    axis, zero : ndarray, shape (3,)
        Unit axis and the direction of angle zero.
    radius_a_mm, radius_b_mm : float
        Radii at the ends; for a ring its centre circle, for a ball zero.
    skin_mm : float
        Radius of the ball that is swept: ball and ring; zero otherwise.
    turn : tuple of float
        First and last angle about the axis, radians.
    tilt : tuple of float
        First and last latitude of ball and ring, radians.
    """

    kind: str
    a_mm: Floats
    b_mm: Floats
    axis: Floats
    zero: Floats
    radius_a_mm: float
    radius_b_mm: float
    skin_mm: float
    turn: tuple[float, float]
    tilt: tuple[float, float]
    face: int


def round_of(face: cq.Face, surface: Any, number: int) -> Round | None:
    """Return a curved face by its type; None when it has none of the types known."""
    u0, u1, v0, v1 = BRepTools.UVBounds_s(face.wrapped)
    outward = normal_at(surface, face, (0.5 * (u0 + u1), 0.5 * (v0 + v1)))
    middle = xyz(surface.Value(0.5 * (u0 + u1), 0.5 * (v0 + v1)))
    kinds = GeomAbs_SurfaceType
    kind = surface.GetType()
    if kind == kinds.GeomAbs_Cylinder:
        shape = surface.Cylinder()
        names, radii, skin = ("rod", "bore"), (shape.Radius(), shape.Radius()), 0.0
    elif kind == kinds.GeomAbs_Cone:
        shape = surface.Cone()
        slope, rise = np.sin(shape.SemiAngle()), np.cos(shape.SemiAngle())
        names, skin = ("cone", "funnel"), 0.0
        radii = (shape.RefRadius() + v0 * slope, shape.RefRadius() + v1 * slope)
        v0, v1 = v0 * rise, v1 * rise
    elif kind == kinds.GeomAbs_Sphere:
        shape = surface.Sphere()
        names, radii, skin = ("ball", "cup"), (0.0, 0.0), shape.Radius()
    elif kind == kinds.GeomAbs_Torus:
        shape = surface.Torus()
        names, skin = ("ring", "gutter"), shape.MinorRadius()
        radii = (shape.MajorRadius(), shape.MajorRadius())
    else:
        return None
    place, axis = xyz(shape.Location()), xyz(shape.Position().Direction())
    solid_of_revolution = skin > 0
    a = place if solid_of_revolution else place + v0 * axis
    b = place if solid_of_revolution else place + v1 * axis
    inner = _skeleton(middle, place, axis, radii[0] if skin > 0 else 0.0, skin)
    convex = float((middle - inner) @ outward) > 0
    return Round(
        kind=names[0] if convex else names[1],
        a_mm=a,
        b_mm=b,
        axis=axis,
        zero=xyz(shape.Position().XDirection()),
        radius_a_mm=radii[0],
        radius_b_mm=radii[1],
        skin_mm=skin,
        turn=(u0, u1),
        tilt=(v0, v1) if skin > 0 else (-np.pi, np.pi),
        face=number,
    )


def _skeleton(point: Floats, place: Floats, axis: Floats, ring: float, skin: float) -> Floats:
    """Return the nearest point of the axis, the ball's centre or the ring's centre circle."""
    arm = point - place
    along = axis * float(arm @ axis)
    if skin == 0:
        return np.asarray(place + along)
    radial = arm - along
    length = float(np.linalg.norm(radial))
    return place + (radial / length * ring if length > 1e-12 else 0.0 * radial)


def sample(heap: Heap, one: Smooth) -> None:
    """Cover a face with points of it."""
    for i, j in np.argwhere(one.inside):
        point = heap.point(one.points[i, j])
        heap.leaving[point].append(-one.normals[i, j])
        heap.meeting[point].setdefault(one.face, one.normals[i, j])
