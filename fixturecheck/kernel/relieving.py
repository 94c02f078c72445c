"""Cuts that relieve a solid, which faces they leave under which name, and how thick a wall they leave."""

from __future__ import annotations

from collections.abc import Sequence

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector
from OCP.Standard import Standard_Failure
from OCP.StdFail import StdFail_NotDone

from fixturecheck.errors import KernelError
from fixturecheck.kernel.clip import chamfered, distance, normal_at
from fixturecheck.kernel.shapes import Edge, Face, Shape, Solid, edges_of

Array = NDArray[np.float64]
_ON_MM = 1e-5
_FINE_MM, _FINE_RAD = 1e-3, 0.05
_FAR_MM = 1e4

__all__ = [
    "chamfered", "edge_line", "filleted", "inside_points", "nearest_edge", "same_faces", "skin_points",
    "stepped", "wall_mm",
]  # fmt: skip


def filleted(solid: Solid, edge: int, radius_mm: float) -> Solid:
    """Return a solid with one of its edges rounded, by its index in `edges_of`.

    Raises
    ------
    KernelError
        The kernel cannot round the edge, whose faces are then too small.
    """
    try:
        return _whole(solid.fillet(radius_mm, [edges_of(solid)[edge]]))
    except (StdFail_NotDone, Standard_Failure, ValueError) as failure:
        message = f"a fillet of {radius_mm:g} mm does not fit on edge {edge}"
        raise KernelError(message) from failure


def stepped(solid: Solid, corner: Array, axes: Array, sizes_mm: Sequence[float]) -> Solid:
    """Return a solid from which a box is milled.

    Parameters
    ----------
    corner : ndarray, shape (3,)
        Where the box starts, in the solid's frame.
    axes : ndarray, shape (3, 3)
        Unit directions of its three sides as rows, the first two square to each other.
    sizes_mm : sequence of float, length 3
        Along each side.

    Raises
    ------
    KernelError
        Nothing, or more than one piece, is left.
    """
    plane = cq.Plane(
        origin=tuple(corner.tolist()),
        xDir=tuple(axes[0].tolist()),
        normal=tuple(np.cross(axes[0], axes[1]).tolist()),
    )
    x, y, z = (float(v) for v in sizes_mm)
    sign = float(np.sign(np.cross(axes[0], axes[1]) @ axes[2]))
    tool = cq.Workplane(plane).box(x, y, z, centered=False)
    tool = tool if sign > 0 else tool.translate(tuple((axes[2] * z).tolist()))
    try:
        return _whole(solid.cut(*tool.solids().vals()).clean())
    except (StdFail_NotDone, Standard_Failure, ValueError) as failure:
        message = f"a step of {x:g} x {y:g} x {z:g} mm cannot be milled"
        raise KernelError(message) from failure


def _whole(shape: Shape) -> Solid:
    solids = shape.Solids()
    if len(solids) != 1 or not shape.isValid():
        message = "the solid falls apart"
        raise ValueError(message)
    return solids[0]


def skin_points(shape: Shape, within_mm: float = _FINE_MM) -> Array:
    """Return points of a shape's faces, (n, 3): its corners, and closely spaced ones where it is round."""
    vertices, _ = shape.tessellate(within_mm, _FINE_RAD)
    return np.array([v.toTuple() for v in vertices]).reshape(-1, 3)


def inside_points(face: Face) -> Array:
    """Return points well inside a face, (n, 3), the one of the largest piece first."""
    vertices, triangles = face.tessellate(0.01, 0.2)
    places = np.array([v.toTuple() for v in vertices]).reshape(-1, 3)
    corners = places[np.array(triangles, dtype=np.int64).reshape(-1, 3)]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    middles = corners[np.argsort(-area, kind="stable")].mean(axis=1)
    if face.geomType() == "PLANE":
        return np.asarray(middles)
    return np.array([distance(cq.Vertex.makeVertex(*m.tolist()), face)[2] for m in middles])


def same_faces(before: Sequence[Face], after: Sequence[Face]) -> list[int | None]:
    """Return for each face of a changed solid the old face that it is a piece of; None for a new one."""
    found: list[int | None] = []
    for face in after:
        point = inside_points(face)[0]
        spot = cq.Vertex.makeVertex(*point.tolist())
        normal = normal_at(face, point)
        near = [
            i
            for i, old in enumerate(before)
            if old.geomType() == face.geomType()
            and distance(spot, old)[0] <= _ON_MM
            and float(normal_at(old, point) @ normal) > 1 - 1e-6
        ]
        found.append(near[0] if near else None)
    return found


def wall_mm(solid: Solid, faces: Sequence[Face]) -> float:
    """Return the thinnest wall behind some faces of a solid, looking straight in from points on them."""
    look = IntCurvesFace_ShapeIntersector()
    look.Load(solid.wrapped, 1e-7)
    thinnest = np.inf
    for face in faces:
        for point in inside_points(face)[:64]:
            into = -normal_at(face, point)
            look.Perform(gp_Lin(gp_Pnt(*point.tolist()), gp_Dir(*into.tolist())), 1e-4, _FAR_MM)
            ways = [look.WParameter(i + 1) for i in range(look.NbPnt())]
            thinnest = min([thinnest, *ways])
    return float(thinnest)


def edge_line(edge: Edge) -> tuple[Array, Array]:
    """Return the two ends of an edge."""
    return np.array(edge.startPoint().toTuple()), np.array(edge.endPoint().toTuple())


def nearest_edge(solid: Solid, point: Sequence[float]) -> int:
    """Return the edge whose middle is nearest to a point, which is the one CadQuery's selector picks."""
    middles = np.array([e.Center().toTuple() for e in edges_of(solid)])
    return int(np.argmin(np.linalg.norm(middles - np.array(point), axis=1)))
