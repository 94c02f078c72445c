"""Which edges and corners of a body may touch flat faces of another, as far as planes and boxes tell."""

from __future__ import annotations

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import Vector, compiled, dot, row
from fixturecheck.contact.patches.facing import PlacedPlanes

LEVEL = -1e-6
"""A direction counts as rising from a plane down to this cosine."""

PlacedEdges = tuple[Floats, Floats, Bools, Floats, Ints, Floats]
"""Edges of a placed body: points along each (E, 9, 3), directions into both its faces (E, 2, 3), which are
straight (E,), how far curved ones may bulge past their points (E,), the vertices at both ends (E, 2), and
where these are (V, 3)."""


@compiled
def on_planes(
    edges: Ints, a: PlacedEdges, flat: Ints, b: PlacedPlanes, covered: Bools, by_mm: tuple[float, float]
) -> tuple[Ints, Ints, Ints]:
    """Return edges and corners of A that may touch flat faces of B.

    Parameters
    ----------
    edges : ndarray of int, shape (n,)
        Of A.
    a : PlacedEdges
    flat : ndarray of int, shape (m,)
        Flat faces of B.
    b : PlacedPlanes
    covered : ndarray of bool, shape (n, m)
        What touches anyway, as the border of an area that the two bodies share.
    by_mm : tuple of float
        How far off a plane what touches it may be, and how far off the box of its face.

    Returns
    -------
    tuple of ndarray of int, shapes (p, 2), (q, 2) and (r, 2)
        Edges that lie in a plane; curved ones that may come down to one between their ends; vertices that
        stand on one, where all edges beside them rise. Each with the face, in order.
    """
    touch_mm, slack_mm = by_mm
    vertices = a[5]
    lowest, taken = (
        np.full((len(vertices), len(flat)), np.inf),
        np.zeros((len(vertices), len(flat)), np.bool_),
    )
    lying = np.zeros((len(edges), len(flat)), dtype=np.bool_)
    reaching = np.zeros((len(edges), len(flat)), dtype=np.bool_)
    for m in range(len(edges)):
        for n in range(len(flat)):
            lies, reaches = _stands_to(a, edges[m], b, flat[n], touch_mm)
            near = _near(a, edges[m], b, flat[n], slack_mm)
            lies = lies and not covered[m, n]
            lying[m, n], reaching[m, n] = lies and near, reaches and near and not (lies or covered[m, n])
            for side, sample in ((0, 1), (1, 7)):
                v = a[4][edges[m], side]
                if v >= 0:
                    away = _above(row(a[0][edges[m]], sample), b, flat[n])
                    lowest[v, n] = min(lowest[v, n], away)
                    taken[v, n] = taken[v, n] or lies or covered[m, n]
    standing = np.zeros((len(vertices), len(flat)), dtype=np.bool_)
    for v in range(len(vertices)):
        spot = row(vertices, v)
        for n in range(len(flat)):
            # No edge was asked about that ends there where it is still infinite.
            if taken[v, n] or not -touch_mm <= lowest[v, n] < np.inf:
                continue
            if abs(_above(spot, b, flat[n])) <= touch_mm:
                standing[v, n] = _box_near(spot, spot, b, flat[n], slack_mm)
    found_lying, found_reaching, found_standing = (
        np.argwhere(lying),
        np.argwhere(reaching),
        np.argwhere(standing),
    )
    return (
        np.column_stack((edges[found_lying[:, 0]], flat[found_lying[:, 1]])),
        np.column_stack((edges[found_reaching[:, 0]], flat[found_reaching[:, 1]])),
        np.column_stack((found_standing[:, 0], flat[found_standing[:, 1]])),
    )


@compiled
def _above(point: Vector, b: PlacedPlanes, face: int) -> float:
    """Return how far a point is above the plane of a face."""
    above_mm: float = dot(point, row(b[0], face)) - b[1][face]
    return above_mm


@compiled
def _stands_to(a: PlacedEdges, edge: int, b: PlacedPlanes, face: int, touch_mm: float) -> tuple[bool, bool]:
    """Whether an edge lies in the plane of a face and rises from it, and whether a curved one comes near it.

    A curved edge lies in a plane whichever way the faces beside it run.
    """
    samples, inward, straight, bulges_mm = a[0][edge], a[1][edge], a[2][edge], a[3][edge]
    least, most = np.inf, 0.0
    for k in range(len(samples)):
        off_mm = abs(_above(row(samples, k), b, face))
        least, most = min(least, off_mm), max(most, off_mm)
    normal = row(b[0], face)
    rises = dot(row(inward, 0), normal) >= LEVEL and dot(row(inward, 1), normal) >= LEVEL
    return most <= touch_mm and (rises or not straight), not straight and least <= touch_mm + bulges_mm


@compiled
def _near(a: PlacedEdges, edge: int, b: PlacedPlanes, face: int, slack_mm: float) -> bool:
    """Whether the box of an edge comes near that of a face."""
    samples, more_mm = a[0][edge], slack_mm + a[3][edge]
    low = high = row(samples, 0)
    for k in range(1, len(samples)):
        x, y, z = row(samples, k)
        low = (min(low[0], x), min(low[1], y), min(low[2], z))
        high = (max(high[0], x), max(high[1], y), max(high[2], z))
    return _box_near(low, high, b, face, more_mm)


@compiled
def _box_near(
    low: Vector,
    high: Vector,
    b: PlacedPlanes,
    face: int,
    by_mm: float,
) -> bool:
    """Whether a box comes as near as that to the box of a face along every axis."""
    near = True
    for k in range(3):
        near = near and low[k] <= b[3][face, k] + by_mm and high[k] >= b[2][face, k] - by_mm
    return near
