"""Proofs for many pairs of faces at once that they come no nearer than a distance.

Faces are seen as flat sheets, and these by the chords of their borders. Two sheets are as far apart as
their chords are, unless a chord of one comes to lie over the inside of the other. Other faces are held by
their boxes.
"""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import Vector, along, compiled, cross, dot, length, minus, row

PlacedSheets = tuple[Floats, Floats, Ints, Floats, Floats, Floats, Ints, Floats, Ints, Floats]
"""Faces of a placed body, as `Standing.sheets` makes them: lows and highs of their boxes, where the sheets
of each begin; normals, offsets and bulges of sheets, where the chords of each begin; nodes, chords, slack."""

_LEVEL = 1e-4
"""Sine between two chords below which they count as level."""
_ROOM = 1e-6
"""Share of a chord's length by which it counts as longer where two cross."""
_SPAN_ROUNDING = 1e-15


@compiled
def near_pairs(a_lows: Floats, a_highs: Floats, b_lows: Floats, b_highs: Floats, within_mm: float) -> Ints:
    """Return the pairs of boxes that come within a distance along every axis.

    Parameters
    ----------
    a_lows, a_highs, b_lows, b_highs : ndarray, shapes (m, 3) and (n, 3)
        Least and greatest corners of the boxes, mm.
    within_mm : float
        Greatest gap along an axis.

    Returns
    -------
    ndarray of int, shape (k, 2)
        Numbers of the boxes, in order.
    """
    found = np.empty((len(a_lows) * len(b_lows), 2), dtype=np.int64)
    count = 0
    for i in range(len(a_lows)):
        for j in range(len(b_lows)):
            meets = True
            for k in range(3):
                if not (
                    a_lows[i, k] <= b_highs[j, k] + within_mm and a_highs[i, k] >= b_lows[j, k] - within_mm
                ):
                    meets = False
                    break
            if meets:
                found[count, 0], found[count, 1] = i, j
                count += 1
    return found[:count].copy()


@compiled
def proven_apart(pairs: Ints, a: PlacedSheets, b: PlacedSheets, by: Floats, least_mm: float) -> Bools:
    """Tell for pairs of faces (n, 2) whether they are proven to be further apart than a distance.

    Parameters
    ----------
    pairs : ndarray of int, shape (n, 2)
        A face of `a` and one of `b`.
    a, b : tuple of ndarray
        The faces of two placed bodies.
    by : ndarray, shape (3,)
        By what `b` is shifted first, mm.
    least_mm : float

    Returns
    -------
    ndarray of bool, shape (n,)
        False where that is not proven.
    """
    found = np.zeros(len(pairs), dtype=np.bool_)
    shift, back = (by[0], by[1], by[2]), (-by[0], -by[1], -by[2])
    for n in range(len(pairs)):
        i, j = pairs[n, 0], pairs[n, 1]
        ours, theirs = (a[2][i], a[2][i + 1]), (b[2][j], b[2][j + 1])
        if ours[0] < ours[1] and theirs[0] < theirs[1]:
            apart = True
            for s in range(ours[0], ours[1]):
                for t in range(theirs[0], theirs[1]):
                    apart = apart and _sheets_apart(a, s, b, t, shift, least_mm)
        elif ours[0] < ours[1]:
            apart = True
            for s in range(ours[0], ours[1]):
                apart = apart and _box_apart(a, s, row(b[0], j), row(b[1], j), shift, least_mm)
        else:
            apart = theirs[0] < theirs[1]
            for t in range(theirs[0], theirs[1]):
                apart = apart and _box_apart(b, t, row(a[0], i), row(a[1], i), back, least_mm)
        found[n] = apart
    return found


@compiled
def _sheets_apart(a: PlacedSheets, s: int, b: PlacedSheets, t: int, by: Vector, least_mm: float) -> bool:
    """Whether what a sheet stands for is further than a distance from what another does that is shifted."""
    need_mm, back = least_mm + a[5][s] + b[5][t], (-by[0], -by[1], -by[2])
    if _beyond(a, s, b, t, by, need_mm) or _beyond(b, t, a, s, back, need_mm):
        return True
    return (
        _chords_apart(a, s, b, t, by, need_mm)
        and _none_over(a, s, b, t, by, need_mm)
        and _none_over(b, t, a, s, back, need_mm)
    )


@compiled
def _beyond(a: PlacedSheets, s: int, b: PlacedSheets, t: int, by: Vector, least_mm: float) -> bool:
    """Whether a sheet, shifted, lies further than a distance to one side of the plane of another."""
    normal, offset = row(a[3], s), a[4][s] - dot(row(a[3], s), by)
    before = behind = True
    for n in range(b[6][t], b[6][t + 1]):
        need_mm = least_mm + b[9][n]
        for end in range(2):
            off_mm = dot(normal, row(b[7], b[8][n, end])) - offset
            before, behind = before and off_mm > need_mm, behind and off_mm < -need_mm
        if not (before or behind):
            return False
    return True


@compiled
def _chords_apart(a: PlacedSheets, s: int, b: PlacedSheets, t: int, by: Vector, least_mm: float) -> bool:
    """Whether every chord of a sheet is further than a distance from every one of a sheet that is shifted."""
    for m in range(a[6][s], a[6][s + 1]):
        p = row(a[7], a[8][m, 0])
        u = minus(row(a[7], a[8][m, 1]), p)
        for n in range(b[6][t], b[6][t + 1]):
            start = along(row(b[7], b[8][n, 0]), 1.0, by)
            v = minus(along(row(b[7], b[8][n, 1]), 1.0, by), start)
            need_mm = least_mm + a[9][m] + b[9][n]
            if not _boxes_apart(p, u, start, v, need_mm) and _segments_mm(p, u, start, v) <= need_mm:
                return False
    return True


@compiled
def _boxes_apart(p: Vector, u: Vector, q: Vector, v: Vector, need_mm: float) -> bool:
    """Whether the boxes of two segments, each a start and a run, are apart along some axis."""
    for k in range(3):
        if (
            min(q[k], q[k] + v[k]) - max(p[k], p[k] + u[k]) > need_mm
            or min(p[k], p[k] + u[k]) - max(q[k], q[k] + v[k]) > need_mm
        ):
            return True
    return False


@compiled
def _segments_mm(p: Vector, u: Vector, q: Vector, v: Vector) -> float:
    """Return what two segments, each a start and a run, are apart at least."""
    ends = min(
        _point_mm(p, q, v), _point_mm(along(p, 1.0, u), q, v),
        _point_mm(q, p, u), _point_mm(along(q, 1.0, v), p, u),
    )  # fmt: skip
    long_u, long_v = length(u), length(v)
    if long_u == 0.0 or long_v == 0.0:
        return ends
    normal = cross(u, v)
    sine = length(normal) / (long_u * long_v)
    if sine <= _LEVEL:
        # From where they cross to the next end, they part no faster than they turn away from each other.
        return ends - 1.001 * (sine + _SPAN_ROUNDING) * min(long_u, long_v)
    between, square = minus(q, p), dot(normal, normal)
    s, t = dot(cross(between, v), normal) / square, dot(cross(between, u), normal) / square
    if -_ROOM <= s <= 1.0 + _ROOM and -_ROOM <= t <= 1.0 + _ROOM:
        return min(ends, abs(dot(between, normal)) / math.sqrt(square))
    return ends


@compiled
def _point_mm(point: Vector, q: Vector, v: Vector) -> float:
    """Return the distance of a point from a segment, a start and a run."""
    arm, square = minus(point, q), dot(v, v)
    share = 0.0 if square == 0.0 else min(max(dot(arm, v) / square, 0.0), 1.0)
    return length(along(arm, -share, v))


@compiled
def _none_over(a: PlacedSheets, s: int, b: PlacedSheets, t: int, by: Vector, least_mm: float) -> bool:
    """Whether no chord of a face, shifted, comes within a distance of the inside of another.

    It has been proven before to keep that distance from all chords of the other: what of it is that near to
    the plane lies over the inside with all or nothing, and one place of it tells.
    """
    normal, offset = row(a[3], s), a[4][s]
    for n in range(b[6][t], b[6][t + 1]):
        start = along(row(b[7], b[8][n, 0]), 1.0, by)
        end = along(row(b[7], b[8][n, 1]), 1.0, by)
        need_mm = least_mm + b[9][n]
        first, last = dot(normal, start) - offset, dot(normal, end) - offset
        if (first > need_mm and last > need_mm) or (first < -need_mm and last < -need_mm):
            continue
        share = 0.0
        if abs(first) > need_mm:
            share = 1.0 if abs(last) <= need_mm else first / (first - last)
        if _inside(a, s, along(start, share, minus(end, start))):
            return False
    return True


@compiled
def _box_apart(a: PlacedSheets, s: int, low: Vector, high: Vector, by: Vector, least_mm: float) -> bool:
    """Whether a box, shifted, is further than a distance from a flat face."""
    room = (least_mm + a[5][s], least_mm + a[5][s], least_mm + a[5][s])
    low, high = minus(along(low, 1.0, by), room), along(along(high, 1.0, by), 1.0, room)
    normal = row(a[3], s)
    # The corners that lie furthest behind the plane and before it.
    behind = (
        low[0] if normal[0] > 0.0 else high[0],
        low[1] if normal[1] > 0.0 else high[1],
        low[2] if normal[2] > 0.0 else high[2],
    )
    before = (low[0] + high[0] - behind[0], low[1] + high[1] - behind[1], low[2] + high[2] - behind[2])
    first, last = dot(normal, behind) - a[4][s], dot(normal, before) - a[4][s]
    if first > 0.0 or last < 0.0:
        return True
    for m in range(a[6][s], a[6][s + 1]):
        p, q, slack_mm = row(a[7], a[8][m, 0]), row(a[7], a[8][m, 1]), a[9][m]
        clear = False
        for k in range(3):
            if min(p[k], q[k]) - slack_mm > high[k] or max(p[k], q[k]) + slack_mm < low[k]:
                clear = True
        if not clear:
            return False
    # The border keeps clear of the box, so all that the box cuts of the plane is inside or nothing is.
    share = first / (first - last) if last > first else 0.0
    return not _inside(a, s, along(behind, share, minus(before, behind)))


@compiled
def _inside(a: PlacedSheets, s: int, point: Vector) -> bool:
    """Whether a place off the border of a flat face, seen along its normal, is inside.

    The chords of the border are crossed oddly often on the way out; corners that chords share are one node.
    """
    normal = row(a[3], s)
    point = along(point, a[4][s] - dot(normal, point), normal)
    x, y = 1, 2
    if abs(normal[1]) > max(abs(normal[0]), abs(normal[2])):
        x, y = 2, 0
    elif abs(normal[2]) > abs(normal[0]):
        x, y = 0, 1
    odd = False
    for m in range(a[6][s], a[6][s + 1]):
        p, q = row(a[7], a[8][m, 0]), row(a[7], a[8][m, 1])
        if (p[y] > point[y]) != (q[y] > point[y]):
            at = p[x] + (point[y] - p[y]) / (q[y] - p[y]) * (q[x] - p[x])
            if at > point[x]:
                odd = not odd
    return odd
