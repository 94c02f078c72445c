"""Pairs of surfaces without a closed form: the gap sampled at points, with its error said."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.alongside import least_beside
from fixturecheck.contact.raw import Raw
from fixturecheck.contact.spread import spread
from fixturecheck.contact.standing import Array
from fixturecheck.contact.strips import Pair
from fixturecheck.contact.valleys import Height, lines_and_points, opens, touching
from fixturecheck.kernel.brep.probe import Probe
from fixturecheck.kernel.construct import parameter_patch
from fixturecheck.kernel.sample import Grid, face_window, grid_on_face
from fixturecheck.result import ContactKind
from fixturecheck.tolerances import Tolerances

_MOST = 1500
_FINER = 4
"""How much finer the part of a face that is near is sampled, as far as `_MOST` allows."""
_COARSEST = 12
"""That part is sampled at least so often either way."""
_FACING = math.cos(math.radians(60.0))
"""Faces look at each other where both normals lie within 60 degrees of the line between them."""
_DESCENTS, _APART = 6, 3
"""Descents to the least gap, from samples so many cells apart."""
_LEVEL, _MOSTLY = 0.25, 0.9
"""Over an area nine samples in ten lie within a quarter of the touch limit of the middle one."""

Bools = NDArray[np.bool_]


def sampled(pair: Pair, tolerances: Tolerances) -> list[Raw]:
    """Return patches found by sampling one face and measuring each point's distance to the other.

    The less simple face is sampled. Where the gap stays level over an area, and is known to within the touch
    limit, that is an area; where the faces curve apart they touch along the valleys of the gap.
    """
    a, i, b, j = pair
    if _backward(pair):
        return [raw.turned() for raw in sampled((b, j, a, i), tolerances)]
    field = _field(pair, tolerances)
    touch = tolerances.touch_mm
    found = []
    chosen = field.facing & (np.abs(field.gaps) <= touch)
    if _is_area(field, chosen, touch):
        gaps, weights = field.gaps[chosen], field.grid.weights * chosen
        mean = float(field.grid.weights[chosen] @ np.maximum(gaps, 0.0)) / float(weights.sum())
        sizes = max(float(gaps.min()), 0.0), mean, float(np.abs(gaps).max()), field.error_mm(chosen)
        found.append(_patch(ContactKind.AREA, pair, field.grid, weights, sizes))
    else:
        low = field.facing & (field.gaps <= touch + field.grid.reach)
        height = field.height
        places = touching(height, field.grid.cells[low], field.gaps[low], field.grid.parameters[low], touch)
        found += lines_and_points(height, places, (i, j), touch)
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
    """Return what stands open within the near band as one patch."""
    band = tolerances.touch_mm, tolerances.near_mm
    near = field.facing & (field.gaps > band[0]) & (field.gaps <= band[1])
    if not near.any():
        return []
    gap = spread(field.grid, field.gaps, field.slopes, field.facing, band)
    least = min([float(field.gaps[near].min()), *_lowest_gaps(field, near)])
    least = min([least, *least_beside(pair, least, tolerances.touch_mm, opposed_share=_FACING)])
    sizes = max(least, 0.0), gap.mean_mm, gap.max_mm, gap.error_mm
    return [_patch(ContactKind.NEAR, pair, field.grid, gap.weights, sizes)]


def _lowest_gaps(field: _Field, near: Bools) -> Iterator[float]:
    """Yield the gap at the lowest places between the samples, from those that may lead below the lowest."""
    lowest = float(field.gaps[near].min())
    starts = np.flatnonzero(near & (field.gaps <= lowest + field.grid.reach))
    starts = starts[np.argsort(field.gaps[starts])]
    done: list[Array] = []
    for k in starts.tolist():
        at = field.grid.cells[k]
        if len(done) < _DESCENTS and all(np.abs(at - other).max() > _APART for other in done):
            done.append(at)
            low = field.height.least(field.grid.parameters[k])
            if low is not None:
                yield low.gap_mm


def _is_area(field: _Field, chosen: Bools, touch_mm: float) -> bool:
    """Whether the chosen samples are an area: two by two cells at least, level, and known well enough."""
    if not _has_block(field.grid.cells[chosen]):
        return False
    gaps = field.gaps[chosen]
    level = np.abs(gaps - np.median(gaps)) <= _LEVEL * touch_mm
    if level.mean() < _MOSTLY or field.error_mm(chosen) > touch_mm:
        return False
    points = field.grid.points[chosen]
    across = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][:2]
    return not opens((points - points.mean(axis=0)) @ across.T, gaps, touch_mm)


class _Field:
    """The gap from samples of face A to face B.

    Attributes
    ----------
    grid : Grid
    gaps : ndarray, shape (n,)
        Distance of each sample from face B's surface along its normal, mm; negative behind it.
    facing : ndarray of bool, shape (n,)
        Whether the two faces look at each other there, within both outlines.
    drift : ndarray, shape (n, 3)
        Gradient of the gap along face A.
    slopes : ndarray, shape (n, 2)
        Change of the gap across each cell in u and v, mm.
    height : Height
        The same gap at any parameters of the window.
    """

    def __init__(
        self,
        pair: Pair,
        probes: tuple[Probe, Probe],
        window: tuple[Array, Array],
        spacing: tuple[float, float],
        *,
        finer: bool = False,
    ) -> None:
        spacing_mm, slack_mm = spacing
        fewest = _COARSEST if finer else 2
        ours, theirs = probes
        a, i, b, j = pair
        grid = grid_on_face(a.face(i), window, spacing_mm, _MOST, fewest)
        slack = slack_mm + grid.reach[:, None]
        box = np.all((grid.points >= b.lows[j] - slack) & (grid.points <= b.highs[j] + slack), axis=1)
        self.grid = grid.only(box)
        rows = [theirs.gap(p) for p in self.grid.points]
        self.gaps = np.array([r[0] for r in rows])
        other = np.array([r[1] for r in rows]).reshape(-1, 3)
        inside = np.array([r[2] for r in rows], dtype=bool)
        along = -np.einsum("ij,ij->i", other, self.grid.normals)
        self.facing = inside & (along >= _FACING)
        self.slopes = np.einsum("ikj,ij->ik", self.grid.along, other)
        self.drift = other + along[:, None] * self.grid.normals
        self.height = Height(ours, theirs, window, grid.step)

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


def _field(pair: Pair, tolerances: Tolerances) -> _Field:
    """Sample face A, first all of it, then again the part of it that is near."""
    a, i, b, j = pair
    low, high = face_window(a.face(i))
    probes = Probe(a.face(i)), Probe(b.face(j))
    field = _Field(pair, probes, (low, high), (tolerances.sample_mm, tolerances.near_mm))
    near = field.facing & (np.abs(field.gaps) <= tolerances.near_mm)
    if not near.any():
        return field
    margin, spots = 1.5 * field.grid.step, field.grid.parameters[near]
    window = np.maximum(low, spots.min(axis=0) - margin), np.minimum(high, spots.max(axis=0) + margin)
    return _Field(pair, probes, window, (tolerances.sample_mm / _FINER, tolerances.near_mm), finer=True)


def _has_block(cells: NDArray[np.int64]) -> bool:
    """Whether some two by two cells are all there: an area, and not a line or a point."""
    there = {(int(m), int(n)) for m, n in cells}
    return any({(m + 1, n), (m, n + 1), (m + 1, n + 1)} <= there for m, n in there)


def _patch(kind: ContactKind, pair: Pair, grid: Grid, weights: Array, gap_mm: tuple[float, ...]) -> Raw:
    """Return a patch of weighed cells with its least, mean and greatest gap and their error."""
    a, i, _, j = pair
    grid, weights = grid.only(weights > 0.0), weights[weights > 0.0]
    area = float(weights.sum())
    share = weights / area
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
        area_mm2=area,
        gap_min_mm=gap_mm[0],
        gap_mean_mm=gap_mm[1],
        gap_max_mm=gap_mm[2],
        error_mm=gap_mm[3],
        make=partial(parameter_patch, a.face(i), low, high),
    )
