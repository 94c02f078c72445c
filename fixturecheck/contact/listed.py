"""Lists the pairs of features that are near enough to matter for a while, so that looks are short.

Pairs are listed with the least distance they can be apart, nearest first, so that a look takes as many from
the front as its reach and the moves since then ask for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Scene, World
from fixturecheck.contact.fits import TURNS_RAD, Pairs
from fixturecheck.contact.rounds import Balls

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
CHUNK = 200_000
ALIKE_MM = 1e-3
"""Pairs of bodies this much alike in place are measured once; what they are apart is taken less for it."""
Apart = Callable[[Ints, Ints], Floats]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranked:
    """Pairs of features, nearest first, with the least distance they can be apart."""

    first: Ints
    second: Ints
    apart_mm: Floats

    def within(self, reach_mm: float) -> Pairs:
        """Return the pairs that may be nearer than a distance."""
        count = int(np.searchsorted(self.apart_mm, reach_mm, side="right"))
        return self.first[:count], self.second[:count]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listed:
    """Pairs of features that were near when last listed, and the poses they were listed at."""

    rotation: Floats
    origin: Floats
    reach_mm: float
    pairs: Ints
    corner_face: Ranked
    edge_edge: Ranked
    corner_edge: Ranked
    corner_corner: Ranked
    others: dict[str, Ranked] = field(default_factory=dict)

    def gone_mm(self, scene: Scene, rotation: Floats, origin: Floats) -> float:
        """Return how far any feature has gone since; infinite where bodies turned too far for the list."""
        if len(self.origin) != len(origin):
            return np.inf
        # A move is affine, so no feature goes further than the corner of its box that goes furthest.
        turn = rotation - self.rotation
        if float(np.square(turn).sum(axis=(1, 2)).max(initial=0.0)) > 2.0 * TURNS_RAD**2:
            return np.inf
        middle = np.einsum("nij,nj->ni", turn, scene.box_middle) + origin - self.origin
        spread = np.einsum("nij,nj->ni", np.abs(turn), scene.box_half)
        return float(np.linalg.norm(np.abs(middle) + spread, axis=1).max(initial=0.0))


def listed(scene: Scene, world: World, rotation: Floats, origin: Floats, reach_mm: float) -> Listed:
    """Return every pair of features of near bodies that are within reach of each other."""
    pairs = scene.pairs(rotation, origin, reach_mm)
    alike = _Alike(scene, rotation, origin, pairs)
    make = _Maker(scene, world, reach_mm)
    point, plane, edge = scene.point_from, scene.plane_from, scene.edge_from

    def ranked(kinds: tuple[str, str], starts: tuple[Ints, Ints], apart: Apart) -> Ranked:
        """Rank what fits one way round and, turned, the other."""
        forward = alike.ranked(make, kinds[0], starts, apart)
        if not kinds[1]:
            return forward
        backward = alike.ranked(make, kinds[1], starts[::-1], lambda j, i: apart(i, j))
        return _merged(forward, _turned(backward))

    return Listed(
        rotation=rotation,
        origin=origin,
        reach_mm=reach_mm,
        pairs=pairs,
        corner_face=ranked(("corner_face", "face_corner"), (point, plane), make.from_face),
        edge_edge=ranked(("edge_edge", ""), (edge, edge), make.between_edges),
        corner_edge=ranked(("corner_edge", "edge_corner"), (point, edge), make.from_edge),
        corner_corner=ranked(("corner_corner", ""), (point, point), make.between_corners),
    )


def relisted(
    scene: Scene, world: World, old: Listed, pose: tuple[Floats, Floats], reach_mm: float, gone_mm: float
) -> Listed:
    """Return a shorter list out of a longer one that still holds everything within reach."""
    make = _Maker(scene, world, reach_mm)
    asked = reach_mm + 2.0 * gone_mm
    return Listed(
        rotation=pose[0],
        origin=pose[1],
        reach_mm=reach_mm,
        pairs=old.pairs,
        corner_face=make.ranked(old.corner_face.within(asked), make.from_face),
        edge_edge=make.ranked(old.edge_edge.within(asked), make.between_edges),
        corner_edge=make.ranked(old.corner_edge.within(asked), make.from_edge),
        corner_corner=make.ranked(old.corner_corner.within(asked), make.between_corners),
    )


def others(scene: Scene, world: World, kept: Listed, first: Balls, second: Balls) -> Ranked:
    """Return every pair of features of near bodies, by balls round them, within reach of each other."""
    both = np.concatenate((kept.pairs, kept.pairs[:, ::-1]))
    pairs = _all_pairs(both, first.start, second.start)
    centre = [_placed(kept, one) for one in (first, second)]

    def apart(i: Ints, j: Ints) -> Floats:
        away = np.linalg.norm(centre[0][i] - centre[1][j], axis=1)
        return np.asarray(away - first.radius[i] - second.radius[j])

    found = _Maker(scene, world, kept.reach_mm).ranked(pairs, apart)
    return replace(found, first=first.which[found.first], second=second.which[found.second])


def _placed(kept: Listed, balls: Balls) -> Floats:
    """Return the middles of balls where they were when the list was made."""
    turned = np.einsum("nij,nj->ni", kept.rotation[balls.body], balls.centre)
    return np.asarray(turned + kept.origin[balls.body])


class _Alike:
    """Pairs of bodies that are alike in solid, turn and place to each other, measured once for all."""

    def __init__(self, scene: Scene, rotation: Floats, origin: Floats, pairs: Ints) -> None:
        self.scene, self.pairs = scene, pairs
        back = np.swapaxes(rotation[pairs[:, 0]], 1, 2)
        turns = back @ rotation[pairs[:, 1]]
        shifts = np.einsum("nij,nj->ni", back, origin[pairs[:, 1]] - origin[pairs[:, 0]])
        kinds = scene.kind[pairs]
        rounded = np.round(turns, 6).reshape(-1, 9), np.round(shifts / ALIKE_MM)
        key = np.hstack((kinds, *rounded)) + 0.0
        _, self.chosen, member = np.unique(key, axis=0, return_index=True, return_inverse=True)
        order = np.argsort(member.ravel(), kind="stable")
        self.members, self.many = order, np.bincount(member.ravel(), minlength=len(self.chosen))
        self.first = np.cumsum(self.many) - self.many
        some = pairs[self.chosen].tolist()
        self.fits = [
            scene.store.of(scene.features[a], scene.features[b], turns[k])
            for (a, b), k in zip(some, self.chosen.tolist(), strict=True)
        ]

    def ranked(self, make: _Maker, kind: str, starts: tuple[Ints, Ints], apart: Apart) -> Ranked:
        """Rank one kind of pairs of features."""
        own = [getattr(one, kind) for one in self.fits]
        none = np.zeros(0, dtype=np.int64)
        owner = np.repeat(np.arange(len(own)), [len(i) for i, _ in own])
        one = self.pairs[self.chosen][owner]
        from_a, from_b = starts
        i = np.concatenate([none, *(i for i, _ in own)])
        j = np.concatenate([none, *(j for _, j in own)])
        found, which = make.near((i + from_a[one[:, 0]], j + from_b[one[:, 1]]), apart)
        # Every pair of features near one pair of bodies is as near at every other pair alike.
        owner = owner[which]
        many = self.many[owner]
        row = np.repeat(np.arange(len(owner)), many)
        rank = np.arange(len(row)) - np.repeat(np.cumsum(many) - many, many)
        pair = self.pairs[self.members[self.first[owner[row]] + rank]]
        return _sorted(
            i[which][row] + from_a[pair[:, 0]],
            j[which][row] + from_b[pair[:, 1]],
            np.maximum(found[row] - 2.0 * ALIKE_MM, 0.0),
        )


def _sorted(first: Ints, second: Ints, apart_mm: Floats) -> Ranked:
    order = np.argsort(apart_mm, kind="stable")
    return Ranked(first=first[order], second=second[order], apart_mm=apart_mm[order])


def _turned(one: Ranked) -> Ranked:
    return replace(one, first=one.second, second=one.first)


def _merged(one: Ranked, other: Ranked) -> Ranked:
    return _sorted(
        np.concatenate((one.first, other.first)),
        np.concatenate((one.second, other.second)),
        np.concatenate((one.apart_mm, other.apart_mm)),
    )


def _all_pairs(pairs: Ints, from_a: Ints, from_b: Ints) -> Pairs:
    """Return every pair of features out of pairs of bodies, all at once."""
    first, second = from_a[pairs[:, 0]], from_b[pairs[:, 1]]
    many_a, many_b = from_a[pairs[:, 0] + 1] - first, from_b[pairs[:, 1] + 1] - second
    total = many_a * many_b
    owner = np.repeat(np.arange(len(total)), total)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(total) - total, total)
    wide = many_b[owner]
    return first[owner] + rank // wide, second[owner] + rank % wide


class _Maker:
    """Ranks pairs by the least distance they can be apart at one pose."""

    def __init__(self, scene: Scene, world: World, reach_mm: float) -> None:
        self.scene, self.world, self.reach = scene, world, reach_mm
        self.low, self.high = world.edges.min(axis=1), world.edges.max(axis=1)

    def near(self, pairs: Pairs, apart: Apart) -> tuple[Floats, Ints]:
        """Return how far apart pairs within reach are, and which they are; asked in pieces, to stay small."""
        away, which = [np.zeros(0)], [np.zeros(0, dtype=np.int64)]
        for k in range(0, len(pairs[0]), CHUNK):
            piece = apart(pairs[0][k : k + CHUNK], pairs[1][k : k + CHUNK])
            kept = np.flatnonzero(piece <= self.reach)
            away.append(piece[kept])
            which.append(kept + k)
        return np.concatenate(away), np.concatenate(which)

    def ranked(self, pairs: Pairs, apart: Apart) -> Ranked:
        """Return the pairs within reach, nearest first."""
        away, which = self.near(pairs, apart)
        return _sorted(pairs[0][which], pairs[1][which], away)

    def from_face(self, point: Ints, plane: Ints) -> Floats:
        """Corner to flat face: off its plane, and beside the box of its border."""
        arm = self.world.points[point] - self.world.planes[plane, 0]
        local = np.einsum("nkj,nj->nk", self.world.planes[plane, 1:], arm)
        beside = np.maximum(self.scene.outline_low[plane] - local[:, 1:], 0.0)
        beside += np.maximum(local[:, 1:] - self.scene.outline_high[plane], 0.0)
        return np.asarray(np.sqrt(np.square(beside).sum(axis=1) + np.square(local[:, 0])))

    def between_edges(self, a: Ints, b: Ints) -> Floats:
        """Edge to edge, by the boxes round them."""
        beside = np.maximum(self.low[a] - self.high[b], 0.0) + np.maximum(self.low[b] - self.high[a], 0.0)
        return np.asarray(np.sqrt(np.square(beside).sum(axis=1)))

    def from_edge(self, point: Ints, edge: Ints) -> Floats:
        """Corner to edge."""
        world = self.world
        arm = world.points[point] - world.edges[edge, 0]
        share = np.clip(np.einsum("ni,ni->n", arm, world.along[edge]), 0.0, world.length[edge])
        return np.asarray(np.linalg.norm(arm - share[:, None] * world.along[edge], axis=1))

    def between_corners(self, a: Ints, b: Ints) -> Floats:
        """Corner to corner."""
        return np.asarray(np.linalg.norm(self.world.points[a] - self.world.points[b], axis=1))
