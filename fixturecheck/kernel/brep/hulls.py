"""Circles swept by balls whose convex hull holds the faces of a solid, and the flat faces that support it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from OCP.GCPnts import GCPnts_QuasiUniformDeflection

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import CurveKind, Surface, SurfaceKind
from fixturecheck.kernel.brep.table import BrepTable, EdgeRow, FaceRow
from fixturecheck.kernel.brep.topology import xyz
from fixturecheck.kernel.measure import box_of

Piece = tuple[Floats, Floats, float, float]
"""A circle swept by a ball: centre, axis, radius of the circle, radius of the ball."""

_WIDE_RAD = 1.2 * math.pi
"""Arcs wider than this are held by their whole circle, narrower ones by their tangents."""
_HULL_MM = 2e-4
"""Chords that stand for a free curve stay this close to it: well below the touch tolerance."""
_TANGENTS = 8
_NOWHERE = np.zeros(3)
_BEHIND_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hull:
    """Circles swept by balls whose convex hull holds each face of a solid; P pieces.

    Parameters
    ----------
    centres, axes : ndarray, shape (P, 3)
        Centre and unit axis of each circle; a point has no axis.
    radii, balls : ndarray, shape (P,)
        Radius of the circle, and of the ball.
    faces : ndarray of int, shape (P,)
        The face that each helps to hold.
    """

    centres: Floats
    axes: Floats
    radii: Floats
    balls: Floats
    faces: NDArray[np.int64]

    def reach(self, normals: Floats) -> Floats:
        """Return how far each piece reaches along each of some unit directions (n, 3), shape (P, n)."""
        tilt = np.sqrt(np.clip(1.0 - (self.axes @ normals.T) ** 2, 0.0, 1.0))
        return self.centres @ normals.T + self.radii[:, None] * tilt + self.balls[:, None]


def hull_of(table: BrepTable, surfaces: Sequence[Surface | None]) -> Hull:
    """Return pieces whose convex hull holds each face.

    A flat face is held by its outline, and so is a ruled one: every point of it lies on a ruling between
    two points of the outline, however it is trimmed.
    """
    outlines = [list(_of_edge(e)) for e in table.edges]
    pieces: list[tuple[Floats, Floats, float, float, int]] = []
    for row, surface in zip(table.faces, surfaces, strict=True):
        if surface is None or surface.kind in {SurfaceKind.CYLINDER, SurfaceKind.CONE}:
            pieces += [(*piece, row.number) for e in table.face_edges[row.number] for piece in outlines[e]]
        else:
            pieces += [(*piece, row.number) for piece in _of_face(row, surface)]
    centres, axes, radii, balls, faces = zip(*pieces, strict=True)
    return Hull(
        centres=np.array(centres), axes=np.array(axes), radii=np.array(radii), balls=np.array(balls),
        faces=np.array(faces),
    )  # fmt: skip


def _of_edge(row: EdgeRow) -> Iterator[Piece]:
    """Pieces whose convex hull holds an edge, and which no plane tangent to it at an end cuts."""
    if row.degenerate:
        yield row.place, _NOWHERE, 0.0, 0.0
        return
    first, last = row.span
    circle = row.circle
    if circle is not None and last - first > _WIDE_RAD:
        yield circle.centre, circle.axis, circle.radius_mm, 0.0
        return
    yield xyz(row.curve.Value(first)), _NOWHERE, 0.0, 0.0
    yield xyz(row.curve.Value(last)), _NOWHERE, 0.0, 0.0
    if row.kind == CurveKind.LINE:
        return
    if circle is not None:
        # Corners of the polygon of tangents.
        half = (last - first) / (2 * _TANGENTS)
        for k in range(_TANGENTS):
            middle = xyz(row.curve.Value(first + (2 * k + 1) * half)) - circle.centre
            yield circle.centre + middle / math.cos(half), _NOWHERE, 0.0, 0.0
        return
    points = GCPnts_QuasiUniformDeflection(row.curve, _HULL_MM)
    for k in range(points.NbPoints()):
        yield xyz(points.Value(k + 1)), _NOWHERE, 0.0, _HULL_MM


def _of_face(row: FaceRow, surface: Surface) -> Iterator[Piece]:
    """Pieces whose convex hull holds a face that is not ruled."""
    if surface.kind == SurfaceKind.SPHERE:
        yield surface.origin, _NOWHERE, 0.0, surface.radius_mm
    elif surface.kind == SurfaceKind.TORUS:
        yield surface.origin, surface.axis, surface.radius_mm, surface.minor_radius_mm
    else:
        x0, y0, z0, x1, y1, z1 = box_of(row.face)
        for x in (x0, x1):
            for y in (y0, y1):
                for z in (z0, z1):
                    yield np.array([x, y, z]), _NOWHERE, 0.0, 0.0


def supporting(
    table: BrepTable, hull: Hull, normals: Floats, offsets: Floats, edge_faces: Sequence[tuple[int, ...]]
) -> NDArray[np.bool_]:
    """Tell the flat faces that support the solid: all else lies behind the plane, and only they reach it.

    Parameters
    ----------
    normals, offsets : ndarray, shapes (F, 3) and (F,)
        Outward unit normal n and n.x of each plane, mm; nan where the face is curved.

    Returns
    -------
    ndarray of bool, shape (F,)
        Faces beside a supporting one may touch its plane at its edges.
    """
    # nan, from a curved face, compares false and makes no supporting face.
    over = hull.reach(normals) - offsets
    corners = table.vertices @ normals.T - offsets
    found = ~np.isnan(offsets)
    for face in np.flatnonzero(found).tolist():
        others = np.ones(len(table.vertices), dtype=bool)
        others[table.face_vertices[face]] = False
        beside = {f for e in table.face_edges[face] for f in edge_faces[e]}
        allowed = np.where(np.isin(hull.faces, list(beside)), 1e-7 + 2 * hull.balls, -_BEHIND_MM)
        behind = corners[others, face].max(initial=-np.inf) <= -_BEHIND_MM
        found[face] = behind and np.all(over[:, face] <= allowed)
    return found
