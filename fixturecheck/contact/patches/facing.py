"""Which flat faces of two placed bodies look at each other, and which of them lie near enough to tell of."""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import along, compiled, cross, dot, length, row

PlacedPlanes = tuple[Floats, Floats, Floats, Floats]
"""Normals (F, 3), nan where curved, and offsets (F,) of the faces of a placed body, lows and highs of their
boxes (F, 3)."""


@compiled
def facing(
    pairs: Ints,
    a: PlacedPlanes,
    b: PlacedPlanes,
    angles_rad: tuple[float, float],
    range_mm: tuple[float, float],
) -> tuple[Ints, Bools]:
    """Return the pairs of flat faces that look at each other, and which of them are level.

    Parameters
    ----------
    pairs : ndarray of int, shape (n, 2)
        A face of `a` and one of `b`.
    a, b : PlacedPlanes
    angles_rad : tuple of float
        The greatest angle between faces that look at each other, and between level ones.
    range_mm : tuple of float
        Least and greatest gap between level faces; others are left out.

    Returns
    -------
    tuple of ndarray, shapes (k, 2) and (k,)
        In the order given.
    """
    found, level, count = np.empty((len(pairs), 2), dtype=np.int64), np.zeros(len(pairs), dtype=np.bool_), 0
    least_cosine = math.cos(angles_rad[0])
    for n in range(len(pairs)):
        i, j = pairs[n, 0], pairs[n, 1]
        ours, theirs = row(a[0], i), row(b[0], j)
        # nan, from a curved face, compares false.
        if not dot(ours, theirs) < -least_cosine:
            continue
        level[count] = length(cross(ours, theirs)) <= angles_rad[1]
        if level[count] and not range_mm[0] <= _gap_mm(a, i, b, j) <= range_mm[1]:
            continue
        found[count, 0], found[count, 1] = i, j
        count += 1
    return found[:count].copy(), level[:count].copy()


@compiled
def _gap_mm(a: PlacedPlanes, i: int, b: PlacedPlanes, j: int) -> float:
    """Return how far one plane is from the other, along its normal, midway between the boxes of the faces."""
    middle = (
        0.5 * (max(a[2][i, 0], b[2][j, 0]) + min(a[3][i, 0], b[3][j, 0])),
        0.5 * (max(a[2][i, 1], b[2][j, 1]) + min(a[3][i, 1], b[3][j, 1])),
        0.5 * (max(a[2][i, 2], b[2][j, 2]) + min(a[3][i, 2], b[3][j, 2])),
    )
    normal, other = row(a[0], i), row(b[0], j)
    foot = along(middle, a[1][i] - dot(middle, normal), normal)
    gap_mm: float = (b[1][j] - dot(foot, other)) / dot(other, normal)
    return gap_mm
