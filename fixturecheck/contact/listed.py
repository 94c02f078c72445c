"""Lists the pairs of features that are near enough to matter for a while, so that looks are short."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Listed, Scene, World

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
CHUNK = 400_000
SMALL = 400
"""Pairs of bodies with fewer pairs of features than this are not sieved by boxes first."""


def listed(scene: Scene, world: World, rotation: Floats, origin: Floats, reach_mm: float) -> Listed:
    """Return every pair of features of near bodies that are within reach of each other."""
    pairs = scene.pairs(rotation, origin, reach_mm)
    low, high = scene.boxes(rotation, origin)
    near = _Near(scene, world, low - reach_mm, high + reach_mm)
    corner_face = near.combos(pairs, "point", "plane", both_ways=True)
    edge_edge = near.combos(pairs, "edge", "edge", both_ways=False)
    corner_edge = near.combos(pairs, "point", "edge", both_ways=True)
    corner_corner = near.combos(pairs, "point", "point", both_ways=False)
    return Listed(
        rotation=rotation,
        origin=origin,
        reach_mm=reach_mm,
        pairs=pairs,
        corner_face=_kept(corner_face, lambda i, j: _faces_near(scene, world, i, j, reach_mm)),
        edge_edge=_kept(edge_edge, lambda i, j: _edges_near(world, i, j, reach_mm)),
        corner_edge=_kept(corner_edge, lambda i, j: _edge_near(world, i, j, reach_mm)),
        corner_corner=_kept(
            corner_corner, lambda i, j: np.asarray(_square(world.points[i] - world.points[j]) <= reach_mm**2)
        ),
    )


class _Near:
    """Features of one body within a box round another."""

    def __init__(self, scene: Scene, world: World, low: Floats, high: Floats) -> None:
        self.low, self.high = low, high
        self.known: dict[tuple[str, int, int], Ints] = {}
        self.start = {"point": scene.point_from, "edge": scene.edge_from, "plane": scene.plane_from}
        edges = world.edges
        self.span = {
            "point": (world.points, world.points),
            "edge": (edges.min(axis=1), edges.max(axis=1)),
        }

    def of(self, kind: str, own: int, other: int) -> Ints:
        """Return the features of a kind of one body within reach of the box of another."""
        first, last = int(self.start[kind][own]), int(self.start[kind][own + 1])
        if kind == "plane":
            return np.arange(first, last)
        key = kind, own, other
        if key in self.known:
            return self.known[key]
        low, high = self.span[kind]
        inside = (high[first:last] >= self.low[other]) & (low[first:last] <= self.high[other])
        self.known[key] = np.flatnonzero(inside.all(axis=1)) + first
        return self.known[key]

    def combos(
        self, pairs: list[tuple[int, int]], first: str, second: str, *, both_ways: bool
    ) -> tuple[Ints, Ints]:
        """Return all pairs of near features of two kinds."""
        ordered = [*pairs, *((b, a) for a, b in pairs)] if both_ways else pairs
        both = np.array(ordered, dtype=np.int64).reshape(-1, 2)
        from_a, from_b = self.start[first][both[:, 0]], self.start[second][both[:, 1]]
        many_a, many_b = (
            self.start[first][both[:, 0] + 1] - from_a,
            self.start[second][both[:, 1] + 1] - from_b,
        )
        small = many_a * many_b <= SMALL
        i, j = _every(from_a[small], many_a[small], from_b[small], many_b[small])
        out_a, out_b = [i], [j]
        for p, q in both[~small].tolist():
            i, j = self.of(first, p, q), self.of(second, q, p)
            out_a.append(np.repeat(i, len(j)))
            out_b.append(np.tile(j, len(i)))
        return np.concatenate(out_a), np.concatenate(out_b)


def _every(from_a: Ints, many_a: Ints, from_b: Ints, many_b: Ints) -> tuple[Ints, Ints]:
    """Return every pair of numbers out of pairs of ranges, all ranges at once."""
    total = many_a * many_b
    owner = np.repeat(np.arange(len(total)), total)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(total) - total, total)
    wide = many_b[owner]
    return from_a[owner] + rank // wide, from_b[owner] + rank % wide


def _kept(pair: tuple[Ints, Ints], near: Callable[[Ints, Ints], Mask]) -> tuple[Ints, Ints]:
    """Return the pairs a test keeps, tested in pieces that stay small in memory."""
    i, j = pair
    keep = [
        np.flatnonzero(near(i[k : k + CHUNK], j[k : k + CHUNK])) + k for k in range(0, max(len(i), 1), CHUNK)
    ]
    every = np.concatenate(keep)
    return i[every], j[every]


def _faces_near(scene: Scene, world: World, point: Ints, plane: Ints, reach: float) -> Mask:
    """Tell which corners are within reach of the box of a flat face."""
    arm = world.points[point] - world.planes[plane, 0]
    near = np.abs(np.einsum("ni,ni->n", arm, world.planes[plane, 1])) <= reach
    flat = np.einsum("nkj,nj->nk", world.planes[plane, 2:4], arm)
    low, high = scene.outline_low[plane] - reach, scene.outline_high[plane] + reach
    return np.asarray(near & ((flat >= low) & (flat <= high)).all(axis=1))


def _edges_near(world: World, a: Ints, b: Ints, reach: float) -> Mask:
    """Tell which edges come within reach by the boxes and balls round them."""
    low, high = world.edges.min(axis=1), world.edges.max(axis=1)
    near = ((low[a] <= high[b] + reach) & (low[b] <= high[a] + reach)).all(axis=1)
    middle = 0.5 * (world.edges[:, 0] + world.edges[:, 1])
    limit = 0.5 * (world.length[a] + world.length[b]) + reach
    return np.asarray(near & (_square(middle[a] - middle[b]) <= limit**2))


def _edge_near(world: World, point: Ints, edge: Ints, reach: float) -> Mask:
    """Tell which corners are within reach of an edge."""
    arm = world.points[point] - world.edges[edge, 0]
    share = np.clip(np.einsum("ni,ni->n", arm, world.along[edge]), 0.0, world.length[edge])
    return np.asarray(_square(arm - share[:, None] * world.along[edge]) <= reach**2)


def _square(vectors: Floats) -> Floats:
    """Return squared lengths of rows."""
    return np.asarray(np.einsum("ni,ni->n", vectors, vectors))
