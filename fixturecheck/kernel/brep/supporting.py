"""Which flat faces of a solid support it: all else lies behind their plane, and only they reach it."""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import Vector, compiled, dot, row

_BEHIND_MM = 0.01
_ROUNDING_MM = 1e-7

Rows = tuple[Ints, Ints]
"""Numbers row by row, one after another, and where each row begins; its end is the last."""
Pieces = tuple[Floats, Floats, Floats, Floats, Ints]
"""What holds the faces of a solid, as the fields of a `Hull` stand."""


@compiled
def supporting(
    normals: Floats, offsets: Floats, vertices: Floats, face_vertices: Rows, face_edges: Rows, pieces: Pieces
) -> Bools:
    """Tell the flat faces that support the solid.

    Parameters
    ----------
    normals, offsets : ndarray, shapes (F, 3) and (F,)
        Outward unit normal n and n.x of each plane, mm; nan where the face is curved.
    vertices : ndarray, shape (V, 3)
    face_vertices, face_edges : Rows
        The vertices and edges of each face.
    pieces : Pieces
        What holds each face.

    Returns
    -------
    ndarray of bool, shape (F,)
        Faces beside a supporting one may touch its plane at its edges.
    """
    count = len(offsets)
    found = np.zeros(count, dtype=np.bool_)
    for f in range(count):
        if not math.isnan(offsets[f]) and _behind(row(normals, f), offsets[f], vertices, face_vertices, f):
            beside = np.zeros(count, dtype=np.bool_)
            for g in range(count):
                beside[g] = f == g or _share(face_edges, f, g)
            found[f] = _held_behind(row(normals, f), offsets[f], pieces, beside)
    return found


@compiled
def _behind(normal: Vector, offset: float, vertices: Floats, face_vertices: Rows, f: int) -> bool:
    """Whether all corners but a face's own lie behind its plane."""
    numbers, first = face_vertices
    for v in range(len(vertices)):
        if dot(normal, row(vertices, v)) - offset > -_BEHIND_MM:
            own = False
            for k in range(first[f], first[f + 1]):
                own = own or numbers[k] == v
            if not own:
                return False
    return True


@compiled
def _share(face_edges: Rows, f: int, g: int) -> bool:
    """Whether two faces meet in an edge."""
    numbers, first = face_edges
    for k in range(first[f], first[f + 1]):
        for n in range(first[g], first[g + 1]):
            if numbers[k] == numbers[n]:
                return True
    return False


@compiled
def _held_behind(normal: Vector, offset: float, pieces: Pieces, beside: Bools) -> bool:
    """Whether what holds the faces lies behind a plane, those beside its face up to the plane."""
    centres, axes, radii, balls, faces = pieces
    for p in range(len(radii)):
        middle_mm, half_mm = span(row(centres, p), row(axes, p), radii[p], balls[p], normal)
        allowed_mm = _ROUNDING_MM + 2.0 * balls[p] if beside[faces[p]] else -_BEHIND_MM
        if middle_mm + half_mm - offset > allowed_mm:
            return False
    return True


@compiled
def span(centre: Vector, axis: Vector, radius_mm: float, ball_mm: float, way: Vector) -> tuple[float, float]:
    """Return the middle of what a circle swept by a ball takes of a direction, and half of it.

    Parameters
    ----------
    centre, axis : tuple of float
        Of the circle, mm; the axis of a point is zero.
    radius_mm, ball_mm : float
        Of the circle and of the ball.
    way : tuple of float
        The unit direction.

    Returns
    -------
    tuple of float
        Millimetres.
    """
    half_mm = ball_mm
    if radius_mm > 0.0:
        lean = dot(axis, way)
        half_mm += radius_mm * math.sqrt(max(1.0 - lean * lean, 0.0))
    return dot(centre, way), half_mm
