"""How deep two faces, or an edge and a face, may reach into each other at most: a proven bound.

Both are rational Bezier pieces, which lie within the hulls of their control points. Where two smooth surfaces
are nearest, or deepest in each other, their normals oppose and the places lie behind each other along them.
Pairs of pieces are dropped where cones of normals or hulls rule that out. Pairs that a plane parts are done;
the others are halved and asked again. Hulls are nearer to each other than surfaces by their sagitta, which
falls to a quarter with each halving.

References
----------
Floater, M. S. (1992): derivatives of rational Bezier curves lie in the cone of their polygon's edges.
Sederberg, T. W., Meyers, R. J. (1988): cone of the normals from two cones of tangents. Both from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.kernel.brep.free_form import Pieces
from fixturecheck.numeric import all_rows

_LEVELS = 48
_MOST_PAIRS = 60_000
_FLAT_SHARE = 0.05
"""A hull's own thickness no longer matters where it is this share of how deep the pair is."""
_NARROW_RAD = 0.02
"""Cones of normals this narrow tell well enough whether two pieces look at each other."""
_ROUNDING_MM = 1e-9
_WHOLE = math.pi / 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cells:
    """Pieces of a face or edge: control points, and cones that hold its outward normals or its tangents."""

    points: Floats
    nets: Floats
    axis: Floats
    spread_rad: Floats
    middle: Floats
    reach_mm: Floats
    long_mm: Floats
    run: Floats


class PlacedPieces:
    """A face or an edge in its body's frame, seen in another frame."""

    def __init__(self, pieces: Pieces, turn: Floats, shift: Floats) -> None:
        self.pieces, self._turn, self._shift = pieces, turn, shift
        nets = pieces.nets.copy()
        nets[..., :3] = pieces.nets[..., :3] @ turn.T + pieces.nets[..., 3:] * shift
        self.nets = nets.reshape(-1, *pieces.nets.shape[1:])
        self.is_face = pieces.probe is not None
        self._tree = cKDTree(pieces.border @ turn.T + shift) if len(pieces.border) else None
        self._off: dict[int, bool] = {}

    def cells(self, nets: Floats) -> _Cells:
        """Return pieces with what is asked of them."""
        points = nets[..., :3] / nets[..., 3:]
        axis, spread = _normals(points, self.pieces) if self.is_face else _tangents(points)
        flat = points.reshape(len(points), -1, 3)
        middle = (flat.min(axis=1) + flat.max(axis=1)) / 2
        reach = np.linalg.norm(flat - middle[:, None], axis=2).max(axis=1)
        lengths = [
            np.linalg.norm(np.diff(points, axis=k), axis=3).sum(axis=k).max(axis=1, initial=0.0)
            for k in (1, 2)
        ]
        far = np.where((lengths[0] >= lengths[1])[:, None], points[:, -1, 0], points[:, 0, -1])
        return _Cells(
            points=flat, nets=nets, axis=axis, spread_rad=spread, middle=middle, reach_mm=reach,
            long_mm=np.stack(lengths, axis=1),
            run=far - points[:, 0, 0],
        )  # fmt: skip

    def off(self, place: Floats, within_mm: float) -> bool:
        """Whether the face's surface near a place lies outside its outline, all of it within a distance.

        Parameters
        ----------
        place : ndarray, shape (3,)
            In the frame that the face is seen in, mm.
        within_mm : float
            How far round the place.

        Returns
        -------
        bool
            False also for an edge.
        """
        if self._tree is None or self.pieces.probe is None:
            return False
        if float(self._tree.query(place)[0]) <= within_mm + self.pieces.border_step_mm:
            return False
        return not self.pieces.probe.gap(self._turn.T @ (place - self._shift))[2]


def deepest_mm(one: PlacedPieces, other: PlacedPieces, *, fine_mm: float, deep_mm: float) -> float:
    """Return how deep one face or edge may reach into the other face at most, never below zero.

    Parameters
    ----------
    one, other : PlacedPieces
        In one frame; `other` is a face.
    fine_mm : float
        Depths that differ by less count as equal.
    deep_mm : float
        What lies deeper than this belongs to the far side of a thin body.

    Returns
    -------
    float
        A bound from above.
    """
    stores = [one.cells(one.nets), other.cells(other.nets)]
    sides = (one, other)
    pairs = np.stack(np.meshgrid(*(np.arange(len(s.nets)) for s in stores), indexing="ij"), axis=-1).reshape(
        -1, 2
    )
    worst = 0.0
    for _ in range(_LEVELS):
        low, thick, keep = _parted(stores, pairs, one.is_face, deep_mm)
        pairs, low, thick = pairs[keep], low[keep], thick[keep]
        fine, flat = low >= -fine_mm, thick.sum(axis=1) <= _FLAT_SHARE * -low
        spread = np.stack([stores[k].spread_rad[pairs[:, k]] for k in (0, 1)], axis=1)
        reach = np.stack([stores[k].reach_mm[pairs[:, k]] for k in (0, 1)], axis=1)
        wide = (spread > _NARROW_RAD) & (reach > _FLAT_SHARE * -low[:, None])
        level = flat & ~wide.any(axis=1)
        # Flat enough, but its normals still look all ways: halved until they tell whether the pair counts.
        long = np.concatenate([stores[k].long_mm[pairs[:, k]] * wide[:, k : k + 1] for k in (0, 1)], axis=1)
        thick = np.where(flat[:, None], long, thick)
        for k in np.flatnonzero(level & ~fine & (low < -worst)):
            if not _beyond(sides, stores, pairs[k], float(-low[k])):
                worst = max(worst, float(-low[k]))
        worst = max(worst, float(-low[fine].min(initial=0.0)))
        ends = fine | level
        # Where a pair is known to be as deep as that, pairs that cannot be deeper need no further look.
        left = ~ends & (low < -worst)
        pairs, low, thick = pairs[left], low[left], thick[left]
        if not len(pairs):
            return worst
        if len(pairs) > _MOST_PAIRS:
            break
        stores, pairs = _halved(sides, stores, pairs, thick)
    return max(worst, float(-low.min()))


def _beyond(
    sides: tuple[PlacedPieces, PlacedPieces], stores: list[_Cells], pair: Ints, deep_mm: float
) -> bool:
    """Whether the places where two pieces are deepest lie outside the outline of either face.

    Those lie within the smaller piece's reach, and one behind the other by no more than the depth.
    """
    small = int(np.argmin([store.reach_mm[k] for store, k in zip(stores, pair, strict=True)]))
    middle, reach = stores[small].middle[pair[small]], float(stores[small].reach_mm[pair[small]])
    return any(side.off(middle, reach + deep_mm) for side in sides)


def _parted(stores: list[_Cells], pairs: Ints, is_face: bool, deep_mm: float) -> tuple[Floats, Floats, Bools]:
    """Return how far a plane parts each pair, how thick its pieces are, and which pairs may be nearest."""
    a, b = stores
    i, j = pairs.T
    normal, spread = b.axis[j].copy(), b.spread_rad[j].copy()
    if is_face:
        turned = a.spread_rad[i] < b.spread_rad[j]
        normal[turned], spread[turned] = -a.axis[i][turned], a.spread_rad[i][turned]
        cosine = -np.einsum("ij,ij->i", a.axis[i], b.axis[j])
        opposed = np.arccos(np.clip(cosine, -1.0, 1.0)) <= a.spread_rad[i] + b.spread_rad[j] + _ROUNDING_MM
    else:
        sine = np.abs(np.einsum("ij,ij->i", a.axis[i], b.axis[j]))
        opposed = np.arcsin(np.clip(sine, 0.0, 1.0)) <= a.spread_rad[i] + b.spread_rad[j] + _ROUNDING_MM
    opposed |= (a.spread_rad[i] >= _WHOLE) | (b.spread_rad[j] >= _WHOLE)
    high_a = np.einsum("kpj,kj->kp", a.points[i], normal)
    high_b = np.einsum("kpj,kj->kp", b.points[j], normal)
    low = high_a.min(axis=1) - high_b.max(axis=1)
    top = high_a.max(axis=1) - high_b.min(axis=1)
    # Slivers lie askew in any other box than one along the longer of the two.
    longer = a.reach_mm[i] > b.reach_mm[j]
    across = _across(normal, np.where(longer[:, None], a.run[i], b.run[j]))
    beside = np.zeros(len(pairs))
    for k in (0, 1):
        x_a = np.einsum("kpj,kj->kp", a.points[i], across[k])
        x_b = np.einsum("kpj,kj->kp", b.points[j], across[k])
        apart = np.maximum(x_a.min(axis=1) - x_b.max(axis=1), x_b.min(axis=1) - x_a.max(axis=1))
        beside = np.maximum(beside, apart)
    far = np.linalg.norm(a.middle[i] - b.middle[j], axis=1) + a.reach_mm[i] + b.reach_mm[j]
    behind = beside <= np.sin(np.minimum(spread, _WHOLE)) * far + _ROUNDING_MM
    keep = opposed & behind & (top >= -deep_mm) & (low < 0.0)
    thick = np.concatenate([_rise(high_a, a.nets.shape[1:3]), _rise(high_b, b.nets.shape[1:3])], axis=1)
    return low, thick, keep


def _rise(heights: Floats, shape: tuple[int, ...]) -> Floats:
    """Return how much heights (k, p * q) differ along the first and along the second parameter, (k, 2)."""
    table = heights.reshape(-1, *shape)
    return np.stack([np.ptp(table, axis=1).max(axis=1), np.ptp(table, axis=2).max(axis=1)], axis=1)


def _across(normal: Floats, along: Floats) -> tuple[Floats, Floats]:
    """Return two unit vectors square to each of the normals (k, 3), the first close to `along`."""
    first = along - np.einsum("ij,ij->i", along, normal)[:, None] * normal
    size = np.linalg.norm(first, axis=1)
    rough = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal), axis=1)])
    steep = size < _STEEP * np.maximum(np.linalg.norm(along, axis=1), 1e-300)
    first = np.where(steep[:, None], rough, first)
    first /= np.linalg.norm(first, axis=1)[:, None]
    return first, np.cross(normal, first)


_STEEP = 0.1


def _halved(
    sides: tuple[PlacedPieces, PlacedPieces], stores: list[_Cells], pairs: Ints, thick: Floats
) -> tuple[list[_Cells], Ints]:
    """Halve one piece of each pair along the parameter in which it is thickest."""
    way = np.argmax(thick, axis=1)
    stores, found = list(stores), []
    for k in range(4):
        side, axis = divmod(k, 2)
        mine = pairs[way == k]
        if not len(mine):
            continue
        numbers, rank = np.unique(mine[:, side], return_inverse=True)
        store = stores[side]
        halves = np.concatenate(_split(store.nets[numbers], axis + 1))
        stores[side] = all_rows([store, sides[side].cells(halves)])
        for half in (0, 1):
            row = mine.copy()
            row[:, side] = len(store.nets) + half * len(numbers) + rank
            found.append(row)
    return stores, np.concatenate(found)


def _split(nets: Floats, axis: int) -> tuple[Floats, Floats]:
    """Halve nets (m, p + 1, q + 1, 4) along one parameter, by de Casteljau's rule."""
    work = np.moveaxis(nets, axis, 1)
    low, high = np.empty_like(work), np.empty_like(work)
    last = work.shape[1] - 1
    for k in range(last, -1, -1):
        low[:, last - k], high[:, k] = work[:, 0], work[:, -1]
        work = 0.5 * (work[:, :-1] + work[:, 1:])
    return np.moveaxis(low, 1, axis), np.moveaxis(high, 1, axis)


def _tangents(points: Floats) -> tuple[Floats, Floats]:
    """Return axes and half angles of cones that hold the directions of curves (m, p + 1, 1, 3)."""
    return _cone(np.diff(points, axis=1).reshape(len(points), -1, 3))


def _normals(points: Floats, pieces: Pieces) -> tuple[Floats, Floats]:
    """Return axes and half angles of cones that hold the outward normals of surfaces (m, p + 1, q + 1, 3)."""
    along_u, wide_u = _cone(np.diff(points, axis=1).reshape(len(points), -1, 3))
    along_v, wide_v = _cone(np.diff(points, axis=2).reshape(len(points), -1, 3))
    across = np.cross(along_u, along_v)
    sine = np.linalg.norm(across, axis=1)
    axis = (-1.0 if pieces.is_reversed else 1.0) * across / np.maximum(sine, 1e-300)[:, None]
    if not pieces.turns:
        return axis, np.full(len(points), _WHOLE)
    cosine = np.abs(np.einsum("ij,ij->i", along_u, along_v))
    a, b = np.sin(np.minimum(wide_u, _WHOLE)), np.sin(np.minimum(wide_v, _WHOLE))
    spread = np.sqrt(a * a + 2 * a * b * cosine + b * b) / np.maximum(sine, 1e-12)
    known = (spread < 1.0) & (wide_u + wide_v < np.arcsin(np.clip(sine, 0.0, 1.0)))
    return axis, np.where(known, np.arcsin(np.minimum(spread, 1.0)), _WHOLE)


def _cone(vectors: Floats) -> tuple[Floats, Floats]:
    """Return axes and half angles of cones that hold vectors (m, k, 3); those of no length count as held."""
    long = np.linalg.norm(vectors, axis=2)
    units = vectors / np.maximum(long, 1e-300)[..., None]
    there = long > 1e-12
    axis = np.where(there[..., None], units, 0.0).sum(axis=1)
    size = np.linalg.norm(axis, axis=1)
    axis = np.where((size > 1e-9)[:, None], axis / np.maximum(size, 1e-300)[:, None], [1.0, 0.0, 0.0])
    cosine = np.where(there, np.einsum("mkj,mj->mk", units, axis), 1.0).min(axis=1)
    return axis, np.where(size > 1e-9, np.arccos(np.clip(cosine, -1.0, 1.0)), math.pi)
