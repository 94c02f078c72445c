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
from fixturecheck.kernel.clip import chamfered, distance, normal_at, polygon_face
from fixturecheck.kernel.shapes import Edge, Face, Shape, Solid, edges_of
from fixturecheck.units import METRIC, Writing

Array = NDArray[np.float64]
_ON_MM = 1e-5
_FINE_MM, _FINE_RAD = 1e-3, 0.05
_FAR_MM = 1e4

__all__ = [
    "box_at", "chamfered", "edge_line", "edge_way", "filleted", "inside_points", "is_inside", "nearest_edge",
    "prism", "same_faces", "skin_points", "stepped", "thickened", "wall_mm",
]  # fmt: skip


def filleted(solid: Solid, edge: int, radius_mm: float, write: Writing = METRIC) -> Solid:
    """Return a solid with one of its edges rounded, by its index in `edges_of`.

    Raises
    ------
    KernelError
        The kernel cannot round the edge, whose faces are then too small.
    """
    try:
        return _whole(solid.fillet(radius_mm, [edges_of(solid)[edge]]))
    except (StdFail_NotDone, Standard_Failure, ValueError) as failure:
        message = f"a fillet of {write.length(radius_mm, 'g')} does not fit on edge {edge}"
        raise KernelError(message) from failure


def stepped(
    solid: Solid, corner: Array, axes: Array, sizes_mm: Sequence[float], write: Writing = METRIC
) -> Solid:
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
    try:
        return _whole(solid.cut(box_at(corner, axes, sizes_mm)).clean())
    except (StdFail_NotDone, Standard_Failure, ValueError) as failure:
        sizes = " x ".join(write.number(float(v), "mm", "g") for v in sizes_mm)
        message = f"a step of {sizes} {write.name('mm')} cannot be milled"
        raise KernelError(message) from failure


def box_at(corner: Array, axes: Array, sizes_mm: Sequence[float]) -> Solid:
    """Return a box that starts at a corner (3,) and runs along the rows of `axes` (3, 3), mm."""
    plane = cq.Plane(
        origin=tuple(corner.tolist()),
        xDir=tuple(axes[0].tolist()),
        normal=tuple(np.cross(axes[0], axes[1]).tolist()),
    )
    x, y, z = (float(v) for v in sizes_mm)
    sign = float(np.sign(np.cross(axes[0], axes[1]) @ axes[2]))
    tool = cq.Workplane(plane).box(x, y, z, centered=False)
    tool = tool if sign > 0 else tool.translate(tuple((axes[2] * z).tolist()))
    box: Solid = tool.solids().vals()[0]
    return box


def prism(ring: Array, way: Array) -> Solid:
    """Return what a flat polygon (n, 3) sweeps along a vector (3,), mm."""
    return cq.Solid.extrudeLinear(polygon_face([ring]), cq.Vector(*way.tolist()))


def is_inside(solid: Solid, point: Array) -> bool:
    """Tell whether a point lies within a solid."""
    return bool(solid.isInside(cq.Vector(*point.tolist()), 1e-9))


def thickened(face: Face, by_mm: float) -> Shape:
    """Return what a face sweeps when it moves along its outward normal; inward where `by_mm` is negative.

    Raises
    ------
    KernelError
        The kernel cannot offset the face so far.
    """
    try:
        if face.geomType() == "PLANE":
            way = face.normalAt() * by_mm
            return cq.Solid.extrudeLinear(face, way)
        swept = face.thicken(by_mm)
    except (StdFail_NotDone, Standard_Failure, ValueError) as failure:
        message = f"a curved face cannot be offset by {by_mm:g} mm"
        raise KernelError(message) from failure
    return swept


def _whole(shape: Shape) -> Solid:
    solids = shape.Solids()
    if len(solids) != 1 or not shape.isValid():
        message = "the solid falls apart"
        raise ValueError(message)
    return solids[0]


def skin_points(shape: Shape, between: int = 0) -> Array:
    """Return points of a shape's faces, (n, 3): its corners, and closely spaced ones where it is round.

    Parameters
    ----------
    between : int
        How many more to set along every straight edge, where a flat or ruled face has no points else.
    """
    vertices, _ = shape.tessellate(_FINE_MM, _FINE_RAD)
    places = [np.array([v.toTuple() for v in vertices]).reshape(-1, 3)]
    share = np.linspace(0.0, 1.0, between + 2)[1:-1, None]
    for edge in shape.Edges() if between else ():
        if edge.geomType() == "LINE":
            start, end = edge_line(edge)
            places.append((1.0 - share) * start + share * end)
    return np.concatenate(places)


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
    """Return for each face of a changed solid the old face that it goes on from; None for a new one.

    It is a piece of the old face, or the old face is a piece of it where the change made it larger.
    """
    old_points = [inside_points(face)[0] for face in before]
    found: list[int | None] = []
    for face in after:
        point = inside_points(face)[0]
        near = [
            i
            for i, old in enumerate(before)
            if old.geomType() == face.geomType()
            and (_goes_on(point, face, old) or _goes_on(old_points[i], old, face))
        ]
        found.append(near[0] if near else None)
    return found


def _goes_on(point: Array, face: Face, other: Face) -> bool:
    """Tell whether a point of a face lies on another one that looks the same way there."""
    spot = cq.Vertex.makeVertex(*point.tolist())
    if distance(spot, other)[0] > _ON_MM:
        return False
    return float(normal_at(other, point) @ normal_at(face, point)) > 1 - 1e-6


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


def edge_way(edge: Edge) -> Array:
    """Return the unit direction of an edge at its middle."""
    return np.array(edge.tangentAt(0.5).toTuple())


def nearest_edge(solid: Solid, point: Sequence[float]) -> int:
    """Return the edge whose middle is nearest to a point, which is the one CadQuery's selector picks."""
    middles = np.array([e.Center().toTuple() for e in edges_of(solid)])
    return int(np.argmin(np.linalg.norm(middles - np.array(point), axis=1)))
