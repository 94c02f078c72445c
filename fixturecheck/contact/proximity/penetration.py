"""Where bodies penetrate each other deeply, whatever their faces are, by triangulations of their surfaces.

Where two surfaces cross, an edge of one runs through a triangle of the other. Of a body that lies wholly in
another, the first corner lies within. Only then is the depth worked out: how far corners of one surface,
pieces of its edges between two crossings, and places behind its triangles lie behind the other surface.
Overlaps no deeper than `DEEP_MM` are left to the candidates, which lead out of them; triangles lie off curved
faces by far less.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import Vector, along, compiled, cross, dot, length, minus, row
from fixturecheck.contact.proximity.candidates import Candidates, boxes_at, joined, near_boxes, seen_from_a
from fixturecheck.kernel.brep.features import Features
from fixturecheck.kernel.mesh.triangles import CHORD_MM

DEEP_MM = 1.0
THIN = 0.3
"""Of a body thinner than that is deep, what share of its least extent is."""
THROUGH = 0.4
"""Of an edge that runs right through something thin, the middle is no nearer to any other way out than this
share of its length inside; beside the border of a thick face it would be."""
SHALLOW_MM = 2.0 * CHORD_MM
"""Triangulations of bodies that only touch may cross by less."""
BORDER = 1e-9
"""Edges count as through a triangle this far past its border, as a share, so that no seam is missed."""
LOOK = (0.5377, 0.4129, 0.7353)
"""A direction in which no face and no edge is likely to lie; up along every axis."""
LOOSE_MM = 1e-6
"""By how much a line or a place must pass by a box to be past it."""

Box = tuple[Vector, Vector]


BLOCK = 16
"""Triangles that share a box; those of a face lie one after the other, so that most boxes are small."""


class FaceTriangles(NamedTuple):
    """A body's surface where it stands: `triangles` (t, 3) and `edges` (e, 2) number `points` (n, 3), mm.

    `boxes` (t, 2, 3) are the lowest and the highest corner of each triangle, `blocks` (b, 2, 3) those of each
    `BLOCK` triangles, by which most are passed over.
    """

    points: Floats
    triangles: Ints
    edges: Ints
    boxes: Floats
    blocks: Floats


Place = tuple[float, Vector, Vector]
"""How deep, where, and the nearest place outside."""


def penetrations(
    features: Sequence[Features], loose: Sequence[bool], rotation: Floats, origin_mm: Floats,
    *, any_place: bool = False,
) -> Candidates:  # fmt: skip
    """Return the deepest place of each pair of bodies that stand in each other, of pairs with one loose.

    Parameters
    ----------
    features : sequence of Features
        One for each body.
    loose : sequence of bool
        Which bodies move.
    rotation, origin_mm : ndarray, shape (n, 3, 3) and (n, 3)
        Poses of all bodies.
    any_place : bool
        The first place found will do, where only whether bodies stand in each other is asked.

    Returns
    -------
    Candidates
        Gaps are negative: how far a place of body a lies behind the surface of body b, mm.

    Raises
    ------
    KernelError
        A solid could not be triangulated.
    """
    enough = 0.0 if any_place else np.inf
    near = _near(features, loose, rotation, origin_mm)
    standing: dict[int, FaceTriangles] = {}
    for body in {body for pair in near for body in pair}:
        surface = features[body].triangulation()
        points = surface.points_mm @ rotation[body].T + origin_mm[body]
        standing[body] = with_boxes(points, surface.triangles, surface.edges)

    found = []
    for i, j in near:
        one, other = standing[i], standing[j]
        if not (_cross(one, other) or _cross(other, one) or _holds(one, other)):
            continue
        places = []
        for a, b in ((i, j), (j, i)):
            places.append((*_deepest(standing[a], standing[b], enough), a, b))
            if places[-1][0] > enough:
                break
        deep, place, out, a, b = max(places, key=lambda one: one[0])
        if deep > 0.0:
            face_a, face_b = (_face(features[k], standing[k], place) for k in (a, b))
            found.append(_row(deep, (np.array(place), np.array(out)), (a, face_a), (b, face_b)))
    return joined(found)


@compiled
def with_boxes(points: Floats, triangles: Ints, edges: Ints) -> FaceTriangles:
    """Return a surface with the boxes of its triangles.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Where the points of the surface stand, mm.
    triangles : ndarray of int, shape (t, 3)
        By number of their points.
    edges : ndarray of int, shape (e, 2)
        Kept as they are, by number of their points.

    Returns
    -------
    FaceTriangles
    """
    count = len(triangles)
    boxes, blocks = np.empty((count, 2, 3)), np.empty(((count + BLOCK - 1) // BLOCK, 2, 3))
    for j in range(count):
        m = j // BLOCK
        for axis in range(3):
            low, high = np.inf, -np.inf
            for k in range(3):
                at = points[triangles[j, k], axis]
                low, high = min(low, at), max(high, at)
            boxes[j, 0, axis], boxes[j, 1, axis] = low, high
            if j % BLOCK > 0:
                low, high = min(low, blocks[m, 0, axis]), max(high, blocks[m, 1, axis])
            blocks[m, 0, axis], blocks[m, 1, axis] = low, high
    return FaceTriangles(points, triangles, edges, boxes, blocks)


def _near(
    features: Sequence[Features], loose: Sequence[bool], rotation: Floats, origin_mm: Floats
) -> list[tuple[int, int]]:
    """Return the pairs of bodies whose boxes share more than is shallow, at least one of them loose."""
    own = np.array([f.box_mm for f in features])
    middle, half = 0.5 * (own[:, 0] + own[:, 1]), 0.5 * (own[:, 1] - own[:, 0])
    low, high = boxes_at(middle, half, rotation, origin_mm)
    return [(i, j) for i, j in near_boxes(low, high, np.array(loose, dtype=bool), -SHALLOW_MM).tolist()]


def _face(features: Features, surface: FaceTriangles, place: Vector) -> int:
    """Return the face whose triangle is nearest to a place."""
    return int(features.triangulation().triangle_face[_nearest(surface, place, 0.0)[2]])


def _row(deep_mm: float, places: tuple[Floats, Floats], a: tuple[int, int], b: tuple[int, int]) -> Candidates:
    place, out = places
    normal = (out - place) / max(float(np.linalg.norm(out - place)), 1e-12)
    return seen_from_a(np.array([-deep_mm]), normal[None], place[None], np.array([[*a, *b]]))


@compiled
def _cross(a: FaceTriangles, b: FaceTriangles) -> bool:
    """Tell whether an edge of one surface runs through a triangle of another."""
    box = _box(b.points)
    for k in range(len(a.edges)):
        start, end = row(a.points, a.edges[k, 0]), row(a.points, a.edges[k, 1])
        if not _apart(start, end, box):
            for m in range(len(b.blocks)):
                if _misses(start, end, b.blocks, m):
                    continue
                for j in range(m * BLOCK, min((m + 1) * BLOCK, len(b.triangles))):
                    if _share(start, end, b, j) >= 0.0:
                        return True
    return False


@compiled
def _misses(start: Vector, end: Vector, boxes: Floats, k: int) -> bool:
    """Tell whether the box round an edge lies apart from one of several boxes (n, 2, 3)."""
    for axis in range(3):
        if max(start[axis], end[axis]) < boxes[k, 0, axis] or min(start[axis], end[axis]) > boxes[k, 1, axis]:
            return True
    return False


@compiled
def _holds(a: FaceTriangles, b: FaceTriangles) -> bool:
    """Tell whether one of two surfaces that do not cross is within the other; faces may lie in one plane."""
    return _within(_inner(a, 0, SHALLOW_MM), b) or _within(_inner(b, 0, SHALLOW_MM), a)


@compiled
def _inner(surface: FaceTriangles, triangle: int, deep_mm: float) -> Vector:
    """Return the place behind the middle of a triangle."""
    corners = surface.triangles[triangle]
    p, q, r = (
        row(surface.points, corners[0]),
        row(surface.points, corners[1]),
        row(surface.points, corners[2]),
    )
    u, v = minus(q, p), minus(r, p)
    out = cross(u, v)
    middle = along(along(p, 1.0 / 3.0, u), 1.0 / 3.0, v)
    return along(middle, -deep_mm / length(out), out)


@compiled
def _box(points: Floats) -> Box:
    """Return the box round points."""
    low, high = row(points, 0), row(points, 0)
    for k in range(1, len(points)):
        x, y, z = row(points, k)
        low = min(low[0], x), min(low[1], y), min(low[2], z)
        high = max(high[0], x), max(high[1], y), max(high[2], z)
    return low, high


@compiled
def _apart(start: Vector, end: Vector, box: Box) -> bool:
    """Tell whether the box round an edge lies apart from another box."""
    return _passes(start, end, box, 0) or _passes(start, end, box, 1) or _passes(start, end, box, 2)


@compiled
def _passes(start: Vector, end: Vector, box: Box, axis: int) -> bool:
    low, high = box
    return max(start[axis], end[axis]) < low[axis] or min(start[axis], end[axis]) > high[axis]


@compiled
def _share(start: Vector, end: Vector, surface: FaceTriangles, triangle: int) -> float:
    """Return at which share of its way an edge runs through a triangle; less than zero where it does not."""
    if _misses(start, end, surface.boxes, triangle):
        return -1.0
    p, q, r = (
        row(surface.points, surface.triangles[triangle, 0]),
        row(surface.points, surface.triangles[triangle, 1]),
        row(surface.points, surface.triangles[triangle, 2]),
    )
    way, u, v = minus(end, start), minus(q, p), minus(r, p)
    share, s, t = _through(start, way, p, u, v)
    inside = min(s, t, 1.0 - s - t) >= -BORDER and -BORDER <= share <= 1.0 + BORDER
    return min(max(share, 0.0), 1.0) if inside else -1.0


@compiled
def _through(start: Vector, way: Vector, p: Vector, u: Vector, v: Vector) -> Vector:
    """Return where a line meets a plane: its share of the way, and the shares of the plane's two directions.

    All are -1 where the line lies along the plane.
    """
    across = cross(way, v)
    square = dot(u, across)
    if abs(square) <= 1e-12 * length(way) * length(u) * length(v):
        return -1.0, -1.0, -1.0
    arm = minus(start, p)
    turned = cross(arm, u)
    return dot(v, turned) / square, dot(arm, across) / square, dot(way, turned) / square


@compiled
def _within(place: Vector, surface: FaceTriangles) -> bool:
    """Tell whether a place lies within a surface: a line out of it crosses an odd number of triangles."""
    odd = False
    for m in range(len(surface.blocks)):
        if _beside_look(place, surface.blocks, m):
            continue
        for j in range(m * BLOCK, min((m + 1) * BLOCK, len(surface.triangles))):
            if _beside_look(place, surface.boxes, j):
                continue
            p = row(surface.points, surface.triangles[j, 0])
            u = minus(row(surface.points, surface.triangles[j, 1]), p)
            v = minus(row(surface.points, surface.triangles[j, 2]), p)
            share, s, t = _through(place, LOOK, p, u, v)
            if share >= 0.0 and s >= 0.0 and t >= 0.0 and s + t <= 1.0:
                odd = not odd
    return odd


@compiled
def _beside_look(place: Vector, boxes: Floats, k: int) -> bool:
    """Tell whether the line from a place along `LOOK` passes by one of several boxes (n, 2, 3) for sure.

    It does where, seen along any axis, all corners of the box lie on one side of it.
    """
    for axis in range(3):
        if boxes[k, 1, axis] < place[axis] - LOOSE_MM:  # it looks up along every axis
            return True
    for one, two in ((0, 1), (1, 2), (2, 0)):
        low_1, high_1 = boxes[k, 0, one] - place[one], boxes[k, 1, one] - place[one]
        low_2, high_2 = boxes[k, 0, two] - place[two], boxes[k, 1, two] - place[two]
        if low_1 * LOOK[two] - high_2 * LOOK[one] > LOOSE_MM:
            return True
        if high_1 * LOOK[two] - low_2 * LOOK[one] < -LOOSE_MM:
            return True
    return False


@compiled
def _nearest(surface: FaceTriangles, place: Vector, enough_mm: float) -> tuple[float, Vector, int]:
    """Return how far a place is from a surface, the nearest place of it, and the triangle that has it.

    Once something is found nearer than enough, that is the answer.
    """
    least, best, which = np.inf, place, 0
    for m in range(len(surface.blocks)):
        if _off_box_mm(place, surface.blocks, m) >= least:
            continue
        for j in range(m * BLOCK, min((m + 1) * BLOCK, len(surface.triangles))):
            if _off_box_mm(place, surface.boxes, j) >= least:
                continue
            spot = _on_triangle(surface, j, place)
            away = length(minus(spot, place))
            if away < least:
                least, best, which = away, spot, j
                if least <= enough_mm:
                    return least, best, which
    return least, best, which


@compiled
def _off_box_mm(place: Vector, boxes: Floats, k: int) -> float:
    """Return how far a place is from one of several boxes (n, 2, 3); zero inside."""
    beyond = 0.0
    for axis in range(3):
        past = max(boxes[k, 0, axis] - place[axis], place[axis] - boxes[k, 1, axis], 0.0)
        beyond += past * past
    return math.sqrt(beyond)


@compiled
def _on_triangle(surface: FaceTriangles, triangle: int, place: Vector) -> Vector:
    """Return the place of a triangle that is nearest to another."""
    corners = surface.triangles[triangle]
    p, q, r = (
        row(surface.points, corners[0]),
        row(surface.points, corners[1]),
        row(surface.points, corners[2]),
    )
    u, v = minus(q, p), minus(r, p)
    share, s, t = _through(place, cross(u, v), p, u, v)
    if s >= 0.0 and t >= 0.0 and s + t <= 1.0:
        return along(place, share, cross(u, v))
    best, least = p, np.inf
    for start, end in ((p, q), (q, r), (r, p)):
        way = minus(end, start)
        part = min(max(dot(minus(place, start), way) / dot(way, way), 0.0), 1.0)
        spot = along(start, part, way)
        away = length(minus(spot, place))
        if away < least:
            best, least = spot, away
    return best


@compiled
def _deepest(a: FaceTriangles, b: FaceTriangles, enough_mm: float) -> Place:
    """Return the place of one surface that lies deepest in another; no deeper than zero where none is deep.

    Once a place is found that is deeper than enough, that is the answer.
    """
    box = _box(b.points)
    inner = _shrunk(box, DEEP_MM)
    best = (0.0, row(a.points, 0), row(a.points, 0))
    for i in range(len(a.points)):
        place = row(a.points, i)
        if not _apart(place, place, inner):
            best = _deeper(place, b, max(DEEP_MM, best[0]), best)
            if best[0] > enough_mm:
                return best
    # Bodies that lie face in face have no corner in each other.
    best = _deepest_behind(a, b, best, enough_mm)
    for k in range(len(a.edges)):
        if best[0] > enough_mm:
            return best
        start, end = row(a.points, a.edges[k, 0]), row(a.points, a.edges[k, 1])
        if not _apart(start, end, box):
            best = _deepest_of_edge(start, end, b, box, best)
    return best


@compiled
def _deeper(place: Vector, b: FaceTriangles, least_mm: float, best: Place) -> Place:
    """Return a place with its depth in a surface, if that is more than some depth; else the best so far."""
    away, out, _ = _nearest(b, place, least_mm)
    if away > least_mm and _within(place, b):
        return away, place, out
    return best


@compiled
def _deepest_behind(a: FaceTriangles, b: FaceTriangles, best: Place, enough_mm: float) -> Place:
    """Return the deeper of a place and those behind the triangles, for bodies that lie face in face."""
    deep = min(DEEP_MM, THIN * min(_least(_box(a.points)), _least(_box(b.points))))
    inner = _shrunk(_box(b.points), deep)
    for i in range(len(a.triangles)):
        place = _inner(a, i, deep + SHALLOW_MM)
        if _apart(place, place, inner):
            continue
        found = _deeper(place, b, max(deep, best[0]), best)
        # Nearly every such place lies within its own body, so that is asked last.
        if found[0] > best[0] and _within(place, a):
            best = found
            if best[0] > enough_mm:
                return best
    return best


@compiled
def _shrunk(box: Box, by_mm: float) -> Box:
    """Return a box shrunk by a depth: what is that deep in a body is that deep in its box."""
    low, high, by = box[0], box[1], by_mm - LOOSE_MM
    return (low[0] + by, low[1] + by, low[2] + by), (high[0] - by, high[1] - by, high[2] - by)


@compiled
def _least(box: Box) -> float:
    """Return the least side of a box."""
    low, high = box
    return min(high[0] - low[0], high[1] - low[1], high[2] - low[2])


@compiled
def _deepest_of_edge(start: Vector, end: Vector, b: FaceTriangles, box: Box, best: Place) -> Place:
    """Return the deeper of a place and the middles of an edge's pieces within a surface."""
    shares = _crossings(start, end, b)
    way = minus(end, start)
    long = length(way)
    for k in range(1, len(shares)):
        inside = (shares[k] - shares[k - 1]) * long
        place = along(start, 0.5 * (shares[k] + shares[k - 1]), way)
        if inside <= SHALLOW_MM or _apart(place, place, box) or not _within(place, b):
            continue
        # What is no deeper than this counts in neither way.
        away, out, _ = _nearest(b, place, max(SHALLOW_MM, best[0]))
        if away <= max(SHALLOW_MM, best[0]):
            continue
        beyond = min(shares[k - 1], 1.0 - shares[k]) * long
        through = beyond > DEEP_MM and away > max(SHALLOW_MM, THROUGH * inside)
        if (away > DEEP_MM or through) and away > best[0]:
            best = away, place, out
    return best


@compiled
def _crossings(start: Vector, end: Vector, b: FaceTriangles) -> Floats:
    """Return the shares at which an edge starts, runs through a surface, and ends, in order."""
    shares = [0.0, 1.0]
    for m in range(len(b.blocks)):
        if _misses(start, end, b.blocks, m):
            continue
        for j in range(m * BLOCK, min((m + 1) * BLOCK, len(b.triangles))):
            share = _share(start, end, b, j)
            if share >= 0.0:
                shares.append(share)
    return np.sort(np.array(shares))
