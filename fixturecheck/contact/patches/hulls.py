"""How far placed bodies and their faces lie in each other along directions, by the hulls that hold them."""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import Vector, compiled, dot, row
from fixturecheck.kernel.brep.supporting import Pieces, span

PlacedHull = tuple[Pieces, Floats, Floats, Floats]
"""What holds the faces of a body in its own frame, turn (3, 3) and shift (3,), mm, to its place, and the
unit normal of each face there (F, 3), nan where it is curved."""


@compiled
def least_overlap_mm(a: PlacedHull, b: PlacedHull, enough_mm: float) -> float:
    """Return the least that the hulls of two bodies overlap along the normal of a flat face of either.

    Parameters
    ----------
    a, b : PlacedHull
    enough_mm : float
        What is no more ends the search.

    Returns
    -------
    float
        Millimetres, negative where a plane stands clear between them; infinite without a flat face.
    """
    least_mm = np.inf
    for f in range(len(a[3])):
        if not math.isnan(a[3][f, 0]) and least_mm > enough_mm:
            out = row(a[3], f)
            least_mm = min(least_mm, reach_mm(a, out) + reach_mm(b, (-out[0], -out[1], -out[2])))
    for f in range(len(b[3])):
        if not math.isnan(b[3][f, 0]) and least_mm > enough_mm:
            out = row(b[3], f)
            least_mm = min(least_mm, reach_mm(b, out) + reach_mm(a, (-out[0], -out[1], -out[2])))
    return least_mm


@compiled
def parted(pairs: Ints, a: PlacedHull, b: PlacedHull, by: Floats, least_mm: float) -> Bools:
    """Tell which faces a plane parts that is square to a flat face of either body or to an axis.

    Parameters
    ----------
    pairs : ndarray of int, shape (n, 2)
        A face of `a` and one of `b`.
    a, b : PlacedHull
    by : ndarray, shape (3,)
        By what `b` is shifted first, mm.
    least_mm : float
        Both are to be further apart than this.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    found = np.zeros(len(pairs), dtype=np.bool_)
    shift = (by[0], by[1], by[2])
    for n in range(len(pairs)):
        i, j = pairs[n, 0], pairs[n, 1]
        for axis in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)):
            found[n] = found[n] or _gap_mm(a, i, b, j, axis, shift) > least_mm
        for normals in (a[3], b[3]):
            for f in range(len(normals)):
                if not found[n] and not math.isnan(normals[f, 0]):
                    found[n] = _gap_mm(a, i, b, j, row(normals, f), shift) > least_mm
    return found


@compiled
def reach_mm(hull: PlacedHull, way: Vector) -> float:
    """Return how far a body reaches along a unit direction d: the greatest x.d, mm.

    Parameters
    ----------
    hull : PlacedHull
        The pieces whose hulls hold the faces of the body, and where it stands.
    way : tuple of float
        The unit direction, in the machine's frame.

    Returns
    -------
    float
    """
    _, high = _span(hull, 0, len(hull[0][4]), way)
    return high


@compiled
def _gap_mm(a: PlacedHull, i: int, b: PlacedHull, j: int, way: Vector, by: Vector) -> float:
    """Return how far a face of `b`, shifted, is from one of `a` along a direction; negative in each other."""
    a_low, a_high = _span(a, *_pieces_of(a, i), way)
    b_low, b_high = _span(b, *_pieces_of(b, j), way)
    off_mm = dot(way, by)
    return max(b_low + off_mm - a_high, a_low - b_high - off_mm)


@compiled
def _pieces_of(hull: PlacedHull, face: int) -> tuple[int, int]:
    """Return the first piece of a face, and the first that is no longer of it."""
    return int(np.searchsorted(hull[0][4], face)), int(np.searchsorted(hull[0][4], face + 1))


@compiled
def _span(hull: PlacedHull, first: int, last: int, way: Vector) -> tuple[float, float]:
    """Return the least and the most that some pieces reach along a direction."""
    (centres, axes, radii, balls, _), turn, shift, _ = hull
    own = (
        way[0] * turn[0, 0] + way[1] * turn[1, 0] + way[2] * turn[2, 0],
        way[0] * turn[0, 1] + way[1] * turn[1, 1] + way[2] * turn[2, 1],
        way[0] * turn[0, 2] + way[1] * turn[1, 2] + way[2] * turn[2, 2],
    )
    low, high = np.inf, -np.inf
    for p in range(first, last):
        middle, half = span(row(centres, p), row(axes, p), radii[p], balls[p], own)
        low, high = min(low, middle - half), max(high, middle + half)
    off_mm = way[0] * shift[0] + way[1] * shift[1] + way[2] * shift[2]
    return low + off_mm, high + off_mm
