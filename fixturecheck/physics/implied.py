"""Which contacts between two flat faces can be left out of a step because others imply them.

Points of one face over another keep off it as soon as the outermost of them do: every other point lies
between those, so its gap and how it changes are a mean of theirs, whatever the bodies do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.compiled import Vector, compiled, cross, dot, length, minus, row, times
from fixturecheck.physics.rigid import CandidateRows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

SAME = 1e-9
"""Normals that differ by less are one; points no further off a plane or a line, as a share, are on it."""


def outermost(rows: CandidateRows, some: Ints) -> Ints:
    """Return those of some rows that the others do not imply.

    Parameters
    ----------
    rows : CandidateRows
        All rows.
    some : ndarray, shape (m,)
        Numbers of rows, ascending.

    Returns
    -------
    ndarray, shape (k,)
        Ascending; all of them where nothing is implied.
    """
    if len(some) == 0:
        return some
    faces = [rows.body_a[some], rows.face_a[some], rows.body_b[some], rows.face_b[some]]
    sides = np.round(rows.normal[some] / (1e3 * SAME)).astype(np.int64)
    order = np.lexsort((*faces, *sides.T))
    changes = np.zeros(len(some), dtype=bool)
    for key in (*faces, *sides.T):
        changes[1:] |= np.diff(key[order]) != 0
    starts = np.append(np.flatnonzero(changes | (np.arange(len(some)) == 0)), len(some))
    ranked = some[order]
    kept = outermost_of(starts, rows.point_a_mm[ranked], rows.normal[ranked], rows.gap_mm[ranked])
    return np.sort(ranked[kept])


@compiled
def outermost_of(starts: Ints, points_mm: Floats, normals: Floats, gaps_mm: Floats) -> Mask:
    """Tell which rows of each group, one face over another, are outermost.

    Parameters
    ----------
    starts : ndarray, shape (groups + 1,)
        Where each group starts.
    points_mm, normals, gaps_mm : ndarray, shape (n, 3), (n, 3) and (n,)
        The rows.

    Returns
    -------
    ndarray of bool, shape (n,)
        False for rows that the others of their group imply.
    """
    kept = np.ones(len(gaps_mm), dtype=np.bool_)
    for k in range(len(starts) - 1):
        first, last = starts[k], starts[k + 1]
        if last - first < 4:
            continue
        normal = row(normals, first)
        u = _beside(normal)
        v = cross(normal, u)
        x, y = np.empty(last - first), np.empty(last - first)
        same = True
        for i in range(first, last):
            arm = minus(row(points_mm, i), row(points_mm, first))
            x[i - first], y[i - first] = dot(arm, u), dot(arm, v)
            same = same and length(minus(row(normals, i), normal)) < SAME
        if same and _level(x, y, gaps_mm[first:last]):
            kept[first:last] = _hull(x, y)
    return kept


@compiled
def _beside(normal: Vector) -> Vector:
    """Return a unit direction square to another."""
    x, y, z = abs(normal[0]), abs(normal[1]), abs(normal[2])
    axis = (1.0, 0.0, 0.0) if x <= y and x <= z else ((0.0, 1.0, 0.0) if y <= z else (0.0, 0.0, 1.0))
    out = cross(normal, axis)
    return times(1.0 / length(out), out)


@compiled
def _level(x_mm: Floats, y_mm: Floats, gaps_mm: Floats) -> bool:
    """Tell whether gaps rise evenly over a plane: the points are of one flat face."""
    a = b = 0
    for i in range(len(x_mm)):
        if x_mm[i] ** 2 + y_mm[i] ** 2 > x_mm[a] ** 2 + y_mm[a] ** 2:
            a = i
    for i in range(len(x_mm)):
        if abs(x_mm[a] * y_mm[i] - y_mm[a] * x_mm[i]) > abs(x_mm[a] * y_mm[b] - y_mm[a] * x_mm[b]):
            b = i
    area = x_mm[a] * y_mm[b] - y_mm[a] * x_mm[b]
    size = abs(x_mm[a]) + abs(y_mm[a])
    if abs(area) <= SAME * size * size:
        return False
    rise_a, rise_b = gaps_mm[a] - gaps_mm[0], gaps_mm[b] - gaps_mm[0]
    slope_x = (rise_a * y_mm[b] - rise_b * y_mm[a]) / area
    slope_y = (x_mm[a] * rise_b - x_mm[b] * rise_a) / area
    worst = 0.0
    for i in range(len(x_mm)):
        worst = max(worst, abs(gaps_mm[i] - gaps_mm[0] - slope_x * x_mm[i] - slope_y * y_mm[i]))
    return worst <= SAME


@compiled
def _hull(x_mm: Floats, y_mm: Floats) -> Mask:
    """Tell which points are corners of the convex hull (Andrew's monotone chain)."""
    count = len(x_mm)
    kept, chain, order = np.zeros(count, dtype=np.bool_), np.empty(count, np.int64), np.empty(count, np.int64)
    for i in range(count):
        k = i
        while k > 0:
            j = order[k - 1]
            # The chain loses corners where points one above the other are not in order.
            if x_mm[j] < x_mm[i] or (x_mm[j] == x_mm[i] and y_mm[j] <= y_mm[i]):
                break
            order[k] = j
            k -= 1
        order[k] = i
    for turn in range(2):
        long = 0
        for rank in range(count):
            i = order[rank] if turn == 0 else order[count - 1 - rank]
            while long >= 2:
                p, q = chain[long - 2], chain[long - 1]
                left = (x_mm[q] - x_mm[p]) * (y_mm[i] - y_mm[p]) - (y_mm[q] - y_mm[p]) * (x_mm[i] - x_mm[p])
                if left > 0.0:  # any allowance loses corners where points are all but one above the other
                    break
                long -= 1
            chain[long] = i
            long += 1
        for k in range(long):
            kept[chain[k]] = True
    return kept
