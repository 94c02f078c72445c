"""Pairs of surfaces without a closed form: the gap sampled at points, with its error said."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.raw import Raw
from fixturecheck.contact.standing import Array, Standing
from fixturecheck.contact.strips import Pair
from fixturecheck.errors import KernelError
from fixturecheck.kernel.clip import (
    Grid,
    closest_points,
    distance,
    dot,
    face_window,
    grid_on_face,
    parameter_patch,
)
from fixturecheck.tolerances import Tolerances

_MOST = 1500
_FINER = 4
"""How much finer the part of a face that is near is sampled, as far as `_MOST` allows."""
_APART_MM = 1e-2
_FACING = math.cos(math.radians(60.0))
"""Faces look at each other where both normals lie within 60 degrees of the line between them."""
_OPPOSED = 1.0 - 1e-4
"""Smooth faces touch at a point where their normals oppose this well; else an edge or corner touches."""

Bools = NDArray[np.bool_]


def sampled(pair: Pair, tolerances: Tolerances) -> list[Raw]:
    """Return patches found by sampling one face and measuring each point's exact distance to the other.

    The less simple face is sampled: distances to a plane cost a hundredth of those to a free-form face.
    """
    a, i, b, j = pair
    if _backward(pair):
        return [raw.turned() for raw in sampled((b, j, a, i), tolerances)]
    nearest = closest_points(a.face(i), b.face(j), tolerances.near_mm)
    if not nearest:
        return []
    field = _field(pair, tolerances)
    found = []
    touching = field.facing & (field.gaps <= tolerances.touch_mm)
    if _has_block(field.grid.cells[touching]):
        found.append(_patch("area", pair, field, touching))
    elif nearest[0][0] <= tolerances.touch_mm:
        found += _spots(pair, nearest)
    return found + _near(pair, field, tolerances)


def near_only(pair: Pair, tolerances: Tolerances) -> list[Raw]:
    """Return the near patch around a line or point of contact that is already known."""
    a, i, b, j = pair
    if _backward(pair):
        return [raw.turned() for raw in near_only((b, j, a, i), tolerances)]
    return _near(pair, _field(pair, tolerances), tolerances)


_SIMPLE = ("plane", "cylinder", "sphere", "cone", "torus", "other")


def _backward(pair: Pair) -> bool:
    """Whether face B is the less simple one."""
    a, i, b, j = pair
    return _SIMPLE.index(a.table.kinds[i]) < _SIMPLE.index(b.table.kinds[j])


def _near(pair: Pair, field: _Field, tolerances: Tolerances) -> list[Raw]:
    near = field.facing & (field.gaps > tolerances.touch_mm) & (field.gaps <= tolerances.near_mm)
    return [_patch("near", pair, field, near)] if near.any() else []


class _Field:
    """The gap from samples of face A to face B.

    Attributes
    ----------
    grid : Grid
    gaps : ndarray, shape (n,)
        Exact distance of each sample from face B, mm.
    facing : ndarray of bool, shape (n,)
        Whether the two faces look at each other there.
    drift : ndarray, shape (n, 3)
        Gradient of the gap along face A.
    """

    def __init__(self, grid: Grid, pair: Pair, tolerances: Tolerances) -> None:
        _, _, b, j = pair
        slack = tolerances.near_mm
        box = np.all((grid.points >= b.lows[j] - slack) & (grid.points <= b.highs[j] + slack), axis=1)
        self.grid = grid.only(box)
        theirs = b.face(j)
        rows = [distance(dot(p), theirs) for p in self.grid.points]
        self.gaps = np.array([r[0] for r in rows])
        feet = np.array([r[2] for r in rows]).reshape(-1, 3)
        other = np.zeros_like(feet)
        for k in np.flatnonzero(self.gaps <= slack):
            other[k] = _normal(b, j, feet[k])
        away = (self.grid.points - feet) / np.maximum(self.gaps, 1e-12)[:, None]
        # A sample that touches has no line to its foot; there the gap grows along the other's normal.
        away = np.where((self.gaps > tolerances.touch_mm)[:, None], away, other)
        ours = -np.einsum("ij,ij->i", away, self.grid.normals)
        self.facing = (ours >= _FACING) & (np.einsum("ij,ij->i", away, other) >= _FACING)
        self.drift = away + ours[:, None] * self.grid.normals

    def error_mm(self, chosen: Bools) -> float:
        """Bound how far the gap within a cell strays from that of its sample.

        The gap changes along the face no faster than its gradient, and the gradient within half a cell no
        more than between neighbouring samples.
        """
        cells, drift = self.grid.cells[chosen], self.drift[chosen]
        table = np.full((*(cells.max(axis=0) + 1), 3), np.nan)
        table[cells[:, 0], cells[:, 1]] = drift
        steps = [np.linalg.norm(np.diff(table, axis=k), axis=2).ravel() for k in (0, 1)]
        known = np.concatenate(steps)
        known = known[~np.isnan(known)]
        turn = float(known.max()) if known.size else 1.0
        slope = np.minimum(np.linalg.norm(drift, axis=1) + turn, 1.0)
        return float((self.grid.reach[chosen] * slope).max())


def _normal(b: Standing, j: int, foot: Array) -> Array:
    """Outward normal of face B; zero where it has none, so that nothing faces it there."""
    try:
        return b.normal_near(j, foot)
    except KernelError:
        return np.zeros(3)


def _field(pair: Pair, tolerances: Tolerances) -> _Field:
    """Sample face A, first all of it, then again the part of it that is near."""
    a, i, _, _ = pair
    face = a.face(i)
    low, high = face_window(face)
    field = _Field(grid_on_face(face, (low, high), tolerances.sample_mm, _MOST), pair, tolerances)
    near = field.facing & (field.gaps <= tolerances.near_mm)
    if not near.any():
        return field
    margin, spots = 1.5 * field.grid.step, field.grid.parameters[near]
    window = np.maximum(low, spots.min(axis=0) - margin), np.minimum(high, spots.max(axis=0) + margin)
    return _Field(grid_on_face(face, window, tolerances.sample_mm / _FINER, _MOST), pair, tolerances)


def _has_block(cells: NDArray[np.int64]) -> bool:
    """Whether some two by two cells are all there: an area, and not a line or a point."""
    there = {(int(m), int(n)) for m, n in cells}
    return any({(m + 1, n), (m, n + 1), (m + 1, n + 1)} <= there for m, n in there)


def _patch(kind: str, pair: Pair, field: _Field, chosen: Bools) -> Raw:
    """Weigh the chosen samples."""
    a, i, _, j = pair
    grid, gaps = field.grid.only(chosen), field.gaps[chosen]
    share = grid.weights / grid.weights.sum()
    normal = share @ grid.normals
    size = float(np.linalg.norm(normal))
    half = grid.step / 2
    low, high = grid.parameters.min(axis=0) - half, grid.parameters.max(axis=0) + half
    return Raw(
        kind=kind,
        a_faces=(i,),
        b_faces=(j,),
        # All the way round a pin or a ball the normals cancel; then any one of them has to stand for all.
        normal=normal / size if size > 1e-3 else grid.normals[0],
        centroid=share @ grid.points,
        area_mm2=float(grid.weights.sum()),
        gap_mean_mm=float(share @ gaps),
        gap_max_mm=float(gaps.max()),
        error_mm=field.error_mm(chosen),
        make=partial(parameter_patch, a.face(i), low, high),
    )


def _spots(pair: Pair, nearest: list[tuple[float, Array, Array]]) -> list[Raw]:
    """Distinct points where two smooth faces touch."""
    a, i, b, j = pair
    found: list[Raw] = []
    for _, mine, spot in nearest:
        if any(np.linalg.norm(spot - other.centroid) < _APART_MM for other in found):
            continue
        normal = _normal(b, j, spot)
        if float(normal @ _normal(a, i, mine)) > -_OPPOSED:
            continue
        raw = Raw(
            kind="point", a_faces=(i,), b_faces=(j,), normal=-normal, centroid=spot,
            make=partial(dot, spot), ends=(spot, spot),
        )  # fmt: skip
        found.append(raw)
    return found
