"""Outlines whose round sides stand as chords: corners where two of them meet, and the area beyond the chords.

Only arcs get corners more, so that where two outlines meet no chord is cut.
"""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import compiled

Outline = tuple[Floats, Ints, Ints, Floats]
"""Rings of a flat face, k sides: where each side begins, (k, 2), the number of the side after it, (k,), where
each ring begins and the last ends, and centre and radius of the arc that each side stands for, (k, 3); nan
where it is straight."""
_Arcs = tuple[Ints, Floats, Floats, int]
"""Which arc each side stands for, `_STRAIGHT` or `_FAR`; each arc, (n, 3); the sine that another outline has
to cross it at, (n,); and n."""
_Sorted = tuple[Ints, Floats]
"""Numbers of places by their first coordinate, and these coordinates."""

_STRAIGHT, _FAR = -1, -2
"""Stand for the arc of a side without one, and of one whose circle keeps clear of the other outline."""
_CLEAR_MM = 0.01
"""More than chords lie off their arcs."""

_SAME_MM = 1e-9
_SNAP_MM = 1e-8
_CUT_MM = 1e-6
"""A piece of a chord that is shorter is rounding."""
_TANGENT = 1e-5
"""Sine between two outlines below which they touch where they meet."""


@compiled
def with_corners(ours: Outline, theirs: Outline) -> tuple[bool, Outline, Outline]:
    """Return two outlines with corners more on their arcs, where they meet.

    Parameters
    ----------
    ours, theirs : Outline
        In one plane, mm.

    Returns
    -------
    tuple
        Whether they cross steeply enough for their chords to stand for the arcs, and both outlines; corners
        of the second that are the same but for rounding lie on those of the first.
    """
    our_arcs, their_arcs = _arcs_of(ours, theirs), _arcs_of(theirs, ours)
    spots, count = np.empty((64, 2)), 0
    for outline, arcs in ((ours, our_arcs), (theirs, their_arcs)):
        points, after = outline[0], outline[1]
        for k in range(len(points)):
            if arcs[0][k] >= 0:
                spots, count = _kept(spots, count, points[k, 0], points[k, 1])
                spots, count = _kept(spots, count, points[after[k], 0], points[after[k], 1])
    for n in range(our_arcs[3]):
        steep, spots, count = _on_lines(our_arcs, n, theirs, their_arcs, spots, count)
        if not steep:
            return False, ours, theirs
        for m in range(their_arcs[3]):
            steep, spots, count = _on_arcs(our_arcs, n, their_arcs, m, spots, count)
            if not steep:
                return False, ours, theirs
    for m in range(their_arcs[3]):
        steep, spots, count = _on_lines(their_arcs, m, ours, our_arcs, spots, count)
        if not steep:
            return False, ours, theirs
    found = _cornered(theirs, their_arcs, spots, count)
    base = _cornered(ours, our_arcs, spots, count)
    _snap(found[0], base[0])
    return True, base, found


@compiled
def following(first: Ints) -> Ints:
    """Return the number of the side after each side, by where each ring begins and the last ends.

    Parameters
    ----------
    first : ndarray of int, shape (r + 1,)
        The number of the first side of each ring, then how many sides there are.

    Returns
    -------
    ndarray of int, shape (first[-1],)
        The last side of a ring is followed by the first of the same ring.
    """
    found = np.arange(1, first[-1] + 1)
    for r in range(len(first) - 1):
        found[first[r + 1] - 1] = first[r]
    return found


@compiled
def _turned(ax: float, ay: float, bx: float, by: float) -> float:
    """Return the angle from one arm to another, radians within half a turn."""
    return math.atan2(ax * by - ay * bx, ax * bx + ay * by)


@compiled
def _turn(outline: Outline, k: int) -> float:
    """Return how far the arc of a side turns from its start to its end, radians."""
    points, after, _, rounds = outline
    end = after[k]
    x, y = rounds[k, 0], rounds[k, 1]
    return _turned(points[k, 0] - x, points[k, 1] - y, points[end, 0] - x, points[end, 1] - y)


@compiled
def _arcs_of(outline: Outline, other: Outline) -> _Arcs:
    """Return the arcs of an outline whose circles come near another one."""
    rounds = outline[3]
    of = np.full(len(rounds), _STRAIGHT)
    arcs, steep, count = np.empty((len(rounds), 3)), np.zeros(len(rounds)), 0
    low, high = _box(other[0])
    for k in range(len(rounds)):
        if math.isnan(rounds[k, 0]):
            continue
        of[k] = _FAR
        reach = rounds[k, 2] + _CLEAR_MM
        if (
            rounds[k, 0] + reach < low[0] or rounds[k, 0] - reach > high[0]
            or rounds[k, 1] + reach < low[1] or rounds[k, 1] - reach > high[1]
        ):  # fmt: skip
            continue
        n = count
        # Sides of one arc follow one another.
        for m in range(count - 1, -1, -1):
            if arcs[m, 0] == rounds[k, 0] and arcs[m, 1] == rounds[k, 1] and arcs[m, 2] == rounds[k, 2]:
                n = m
                break
        if n == count:
            arcs[n, 0], arcs[n, 1], arcs[n, 2] = rounds[k, 0], rounds[k, 1], rounds[k, 2]
            count += 1
        of[k] = n
        # Twice what its longest chord turns.
        steep[n] = min(max(steep[n], 2.0 * abs(_turn(outline, k))), 1.0)
    return of, arcs, steep, count


@compiled
def _box(points: Floats) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the least and the greatest coordinates of places."""
    x = y = math.inf
    to_x = to_y = -math.inf
    for k in range(len(points)):
        x, y = min(x, points[k, 0]), min(y, points[k, 1])
        to_x, to_y = max(to_x, points[k, 0]), max(to_y, points[k, 1])
    return (x, y), (to_x, to_y)


@compiled
def _sorted(points: Floats, chosen: Ints) -> _Sorted:
    """Return some of many places by their first coordinate."""
    at = np.empty(len(chosen))
    for n in range(len(chosen)):
        at[n] = points[chosen[n], 0]
    order = np.argsort(at)
    return chosen[order], at[order]


@compiled
def _kept(spots: Floats, count: int, x: float, y: float) -> tuple[Floats, int]:
    """Return places with one more, in a longer array where they fill theirs, and how many there are."""
    if count == len(spots):
        longer = np.empty((2 * count, 2))
        longer[:count] = spots
        spots = longer
    spots[count, 0], spots[count, 1] = x, y
    return spots, count + 1


@compiled
def _on_lines(
    arcs: _Arcs, n: int, outline: Outline, others: _Arcs, spots: Floats, count: int
) -> tuple[bool, Floats, int]:
    """Keep where a circle meets the straight sides of an outline, and tell whether it does so steeply."""
    x, y, radius = arcs[1][n, 0], arcs[1][n, 1], arcs[1][n, 2]
    points, after = outline[0], outline[1]
    for k in range(len(points)):
        if others[0][k] != _STRAIGHT:
            continue
        end = after[k]
        ux, uy = points[end, 0] - points[k, 0], points[end, 1] - points[k, 1]
        long_mm = math.sqrt(ux * ux + uy * uy)
        if long_mm <= _SAME_MM:
            continue
        ux, uy = ux / long_mm, uy / long_mm
        ax, ay = x - points[k, 0], y - points[k, 1]
        along, aside = ax * ux + ay * uy, ax * uy - ay * ux
        if abs(aside) > radius:
            continue
        half = math.sqrt(max(radius * radius - aside * aside, 0.0))
        # Between tangent and line the sine is half the chord over the radius.
        sine = half / radius
        for at in (along - half, along + half):
            if -_SAME_MM <= at <= long_mm + _SAME_MM:
                if _TANGENT < sine < arcs[2][n]:
                    return False, spots, count
                spots, count = _kept(spots, count, points[k, 0] + at * ux, points[k, 1] + at * uy)
    return True, spots, count


@compiled
def _on_arcs(
    ours: _Arcs, n: int, theirs: _Arcs, m: int, spots: Floats, count: int
) -> tuple[bool, Floats, int]:
    """Keep where two circles meet, not where both are one, and tell whether they do so steeply."""
    x, y, r = ours[1][n, 0], ours[1][n, 1], ours[1][n, 2]
    wx, wy, other = theirs[1][m, 0] - x, theirs[1][m, 1] - y, theirs[1][m, 2]
    apart = math.sqrt(wx * wx + wy * wy)
    if apart <= _SAME_MM or not abs(r - other) <= apart <= r + other:
        return True, spots, count
    along = (apart * apart + r * r - other * other) / (2.0 * apart)
    half = math.sqrt(max(r * r - along * along, 0.0))
    if _TANGENT < half * apart / (r * other) < max(ours[2][n], theirs[2][m]):
        return False, spots, count
    ux, uy = wx / apart, wy / apart
    for side in (half, -half):
        spots, count = _kept(spots, count, x + along * ux - side * uy, y + along * uy + side * ux)
    return True, spots, count


@compiled
def _cornered(outline: Outline, arcs: _Arcs, spots: Floats, count: int) -> Outline:
    """Return an outline with corners more where places lie on its arcs between two corners."""
    points, _, first, rounds = outline
    on, begins = _on_circles(arcs, spots, count)
    made, corners = np.empty((len(points) + 16, 5)), 0
    starts, ring = first.copy(), 0
    more, at = np.empty(count, dtype=np.int64), np.empty(count)
    for k in range(len(points)):
        while first[ring] <= k:
            starts[ring] = corners
            ring += 1
        made, corners = _made(made, corners, points[k, 0], points[k, 1], rounds, k)
        n = arcs[0][k]
        if n < 0:
            continue
        room, last = _SAME_MM / rounds[k, 2], -math.inf
        for p in range(_within_side(outline, k, spots, on[begins[n] : begins[n + 1]], more, at)):
            if at[p] - last > room:
                made, corners = _made(made, corners, spots[more[p], 0], spots[more[p], 1], rounds, k)
                last = at[p]
    starts[len(first) - 1] = corners
    return made[:corners, :2].copy(), following(starts), starts, made[:corners, 2:].copy()


@compiled
def _on_circles(arcs: _Arcs, spots: Floats, count: int) -> tuple[Ints, Ints]:
    """Return the places that lie on the circle of each arc, arc by arc, and where those of each begin."""
    order, across = _sorted(spots, np.arange(count))
    found, begins = np.empty(count, dtype=np.int64), np.zeros(arcs[3] + 1, dtype=np.int64)
    total = 0
    for n in range(arcs[3]):
        x, y, radius = arcs[1][n, 0], arcs[1][n, 1], arcs[1][n, 2]
        place = np.searchsorted(across, x - radius - 2.0 * _SNAP_MM)
        while place < count and across[place] <= x + radius + 2.0 * _SNAP_MM:
            s = order[place]
            place += 1
            if abs(math.hypot(spots[s, 0] - x, spots[s, 1] - y) - radius) <= _SNAP_MM:
                if total == len(found):
                    longer = np.empty(2 * total, dtype=np.int64)
                    longer[:total] = found
                    found = longer
                found[total] = s
                total += 1
        begins[n + 1] = total
        # Of places that are the same but for rounding the first counts.
        found[begins[n] : total] = np.sort(found[begins[n] : total])
    return found, begins


@compiled
def _within_side(outline: Outline, k: int, spots: Floats, on: Ints, found: Ints, at: Floats) -> int:
    """Find which places on a side's circle lie between its ends, in order, and how far along, radians.

    Returns
    -------
    int
        How many there are.
    """
    x, y, radius = outline[3][k, 0], outline[3][k, 1], outline[3][k, 2]
    ax, ay = outline[0][k, 0] - x, outline[0][k, 1] - y
    turn, room, count = _turn(outline, k), _SAME_MM / radius, 0
    # A chord spans no more than half a turn, so its arc lies in the circle about it.
    end = outline[1][k]
    mx, my = 0.5 * (outline[0][k, 0] + outline[0][end, 0]), 0.5 * (outline[0][k, 1] + outline[0][end, 1])
    near = ((outline[0][k, 0] - mx) ** 2 + (outline[0][k, 1] - my) ** 2) * 1.001 + _SNAP_MM
    for s in on:
        if (spots[s, 0] - mx) ** 2 + (spots[s, 1] - my) ** 2 > near:
            continue
        turned = _turned(ax, ay, spots[s, 0] - x, spots[s, 1] - y)
        if turned * turn > 0.0 and room < abs(turned) < abs(turn) - room:
            place = count
            while place > 0 and at[place - 1] > abs(turned):
                at[place], found[place] = at[place - 1], found[place - 1]
                place -= 1
            at[place], found[place] = abs(turned), s
            count += 1
    return count


@compiled
def _made(made: Floats, count: int, x: float, y: float, rounds: Floats, k: int) -> tuple[Floats, int]:
    """Return corners with one more, and how many there are."""
    if count == len(made):
        longer = np.empty((2 * count, 5))
        longer[:count] = made
        made = longer
    made[count, 0], made[count, 1] = x, y
    made[count, 2], made[count, 3], made[count, 4] = rounds[k, 0], rounds[k, 1], rounds[k, 2]
    return made, count + 1


@compiled
def _snap(points: Floats, corners: Floats) -> None:
    """Move places onto others that are the same but for rounding."""
    order, across = _sorted(corners, np.arange(len(corners)))
    for k in range(len(points)):
        nearest, off = -1, _SNAP_MM
        place = np.searchsorted(across, points[k, 0] - 2.0 * _SNAP_MM)
        while place < len(across) and across[place] <= points[k, 0] + 2.0 * _SNAP_MM:
            n = order[place]
            place += 1
            away = max(abs(points[k, 0] - corners[n, 0]), abs(points[k, 1] - corners[n, 1]))
            if away < off or (away <= off and (nearest < 0 or n < nearest)):
                nearest, off = n, away
        if nearest >= 0:
            points[k, 0], points[k, 1] = corners[nearest, 0], corners[nearest, 1]


@compiled
def beyond_chords(
    corners: Floats, first: Ints, ours: Outline, theirs: Outline
) -> tuple[bool, float, float, float]:
    """Return what lies between the arcs and the chords of a polygon.

    Parameters
    ----------
    corners : ndarray, shape (n, 2)
        The polygon ring by ring, outer first; each ring ends where it begins.
    first : ndarray of int, shape (r + 1,)
        Where each ring begins, and where the last ends.
    ours, theirs : Outline
        The outlines whose sides it is made of.

    Returns
    -------
    tuple
        Whether no chord is cut; the area that is added to that of the polygon, mm2; and what is added to
        its first moment, mm3, by both coordinates.
    """
    area = x_mm3 = y_mm3 = 0.0
    our_sides, their_sides = _round_sides(ours, corners), _round_sides(theirs, corners)
    for r in range(len(first) - 1):
        twice = 0.0
        for k in range(first[r], first[r + 1] - 1):
            twice += (corners[k, 0] - corners[first[r], 0]) * (corners[k + 1, 1] - corners[first[r], 1])
            twice -= (corners[k + 1, 0] - corners[first[r], 0]) * (corners[k, 1] - corners[first[r], 1])
        way = 1.0 if (twice > 0.0) == (r == 0) else -1.0
        for k in range(first[r], first[r + 1] - 1):
            turn, x, y, radius = _chord_of(corners, k, theirs, their_sides)
            if radius == 0.0:
                turn, x, y, radius = _chord_of(corners, k, ours, our_sides)
            if radius == 0.0:
                if _cuts(corners, k, ours) or _cuts(corners, k, theirs):
                    return False, 0.0, 0.0, 0.0
                continue
            turn *= way
            more = 0.5 * radius**2 * (turn - math.sin(turn))
            mx = 0.5 * (corners[k, 0] + corners[k + 1, 0]) - x
            my = 0.5 * (corners[k, 1] + corners[k + 1, 1]) - y
            # First moment of a segment of a circle about its middle, from there toward the chord.
            out_mm3 = 2.0 / 3.0 * (radius * math.sin(0.5 * turn)) ** 3 / math.sqrt(mx * mx + my * my)
            area += more
            x_mm3 += more * x + out_mm3 * mx
            y_mm3 += more * y + out_mm3 * my
    return True, area, x_mm3, y_mm3


@compiled
def _round_sides(outline: Outline, corners: Floats) -> _Sorted:
    """Return the sides on arcs that begin where corners may be, by the first coordinate of their starts."""
    points, rounds = outline[0], outline[3]
    chosen, count = np.empty(len(points), dtype=np.int64), 0
    low, high = _box(corners)
    for s in range(len(points)):
        if not math.isnan(rounds[s, 0]) and (
            low[0] - _CLEAR_MM <= points[s, 0] <= high[0] + _CLEAR_MM
            and low[1] - _CLEAR_MM <= points[s, 1] <= high[1] + _CLEAR_MM
        ):
            chosen[count] = s
            count += 1
    return _sorted(points, chosen[:count])


@compiled
def _chord_of(corners: Floats, k: int, outline: Outline, sides: _Sorted) -> tuple[float, float, float, float]:
    """Return how a side of a polygon turns, and centre and radius of its arc; no radius where it has none."""
    points, after, _, rounds = outline
    order, across = sides
    found, turn = -1, 0.0
    for start, stop, sign in ((k, k + 1, 1.0), (k + 1, k, -1.0)):
        place = np.searchsorted(across, corners[start, 0] - 2.0 * _SNAP_MM)
        while place < len(across) and across[place] <= corners[start, 0] + 2.0 * _SNAP_MM:
            s = order[place]
            place += 1
            end = after[s]
            if (
                (found < 0 or s < found)
                and abs(corners[start, 0] - points[s, 0]) <= _SNAP_MM
                and abs(corners[start, 1] - points[s, 1]) <= _SNAP_MM
                and abs(corners[stop, 0] - points[end, 0]) <= _SNAP_MM
                and abs(corners[stop, 1] - points[end, 1]) <= _SNAP_MM
            ):
                found, turn = s, sign * _turn(outline, s)
    if found < 0:
        return 0.0, 0.0, 0.0, 0.0
    return turn, rounds[found, 0], rounds[found, 1], rounds[found, 2]


@compiled
def _cuts(corners: Floats, k: int, outline: Outline) -> bool:
    """Whether a side of a polygon lies on a chord without being all of it."""
    points, after, _, rounds = outline
    ux, uy = corners[k + 1, 0] - corners[k, 0], corners[k + 1, 1] - corners[k, 1]
    if math.sqrt(ux * ux + uy * uy) <= _CUT_MM:
        return False
    x, y = corners[k, 0] + 0.5 * ux, corners[k, 1] + 0.5 * uy
    for s in range(len(points)):
        if math.isnan(rounds[s, 0]):
            continue
        end = after[s]
        vx, vy = points[end, 0] - points[s, 0], points[end, 1] - points[s, 1]
        if abs(x - points[s, 0]) > abs(vx) + _SNAP_MM or abs(y - points[s, 1]) > abs(vy) + _SNAP_MM:
            continue
        square = vx * vx + vy * vy
        share = 0.0 if square == 0.0 else ((x - points[s, 0]) * vx + (y - points[s, 1]) * vy) / square
        share = min(max(share, 0.0), 1.0)
        if math.hypot(x - points[s, 0] - share * vx, y - points[s, 1] - share * vy) <= _SAME_MM:
            return True
    return False
