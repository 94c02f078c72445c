"""Pairs of surfaces without a closed form: the gap sampled at points, its spread over a patch, and its error.

Within a cell the gap follows its value, slope and curvature at the middle of the cell, so cells may be
coarse. A cell through which a limit of the band of gaps runs counts by its share within the band.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np
from numpy.typing import NDArray

from fixturecheck.arrays import Bools, Floats
from fixturecheck.contact.patch import RawPatch
from fixturecheck.contact.patches.valleys import (
    Height,
    least_beside,
    lines_and_points,
    opening_directions,
    touching_places,
)
from fixturecheck.contact.placed import FacePair
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.probes import Probe
from fixturecheck.kernel.construct import parameter_patch
from fixturecheck.kernel.sample import Grid, face_window, grid_on_face
from fixturecheck.result.contact import ContactKind
from fixturecheck.tolerances import Tolerances

_PARTS = 6
"""Each cell is weighed in this many parts either way."""
_STRAY = 0.5
"""Within half a cell a gap strays from its quadratic by at most half of what it strays by a cell away."""
_CUT = 0.25
"""The share of a part on the limit of the band is known to a quarter."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spread:
    """The gap over the part of a face where it lies within a band.

    Parameters
    ----------
    weights : ndarray, shape (n,)
        Area within the band of each cell, mm2.
    mean_mm, max_mm : float
    error_mm : float
        How far the mean, or the greatest gap upwards, may be off.
    """

    weights: Floats
    mean_mm: float
    max_mm: float
    error_mm: float


def _gap_spread(
    grid: Grid, gaps: Floats, slopes: Floats, facing: Bools, band_mm: tuple[float, float]
) -> Spread:
    """Weigh the gap over the cells where two faces look at each other.

    Parameters
    ----------
    grid : Grid
        n cells.
    gaps : ndarray, shape (n,)
        At the middle of each cell, mm.
    slopes : ndarray, shape (n, 2)
        Change of the gap by one cell in u and in v, mm.
    facing : ndarray of bool, shape (n,)
    band_mm : tuple of float
        Least and greatest gap that counts.

    Raises
    ------
    ValueError
        No part of a cell lies within the band.
    """
    field = _Lattice(grid, gaps, slopes, facing)
    low, high = band_mm
    total, cells = 0.0, np.zeros(len(gaps))
    moment, cut, greatest = 0.0, 0.0, 0.0
    parts = (np.arange(_PARTS) + 0.5) / _PARTS - 0.5
    for x, y in product(parts, parts):
        gap, tilt = field.at(x, y)
        weight = field.weight(x, y) / _PARTS**2
        share = np.clip(0.5 + (high - gap) / tilt, 0.0, 1.0) * np.clip(0.5 + (gap - low) / tilt, 0.0, 1.0)
        share = np.where(facing, share, 0.0)
        cells += weight * share
        moment += float((weight * share) @ np.clip(gap, max(low, 0.0), high))
        cut += _CUT * float(weight[(share > 0.0) & (share < 1.0)].sum())
    total = float(cells.sum())
    if total <= 0.0:
        raise ValueError("no part of a cell lies within the band of gaps")
    mean = moment / total
    kept = cells > 0.0
    for x, y in product((-0.5, 0.0, 0.5), repeat=2):
        gap = field.at(x, y)[0][kept & ((x == y == 0.0) | ~field.ragged)]
        greatest = max(greatest, float(np.clip(gap, low, high).max(initial=0.0)))
    ragged = kept & field.ragged
    far = max(high - mean, mean - low)
    off = (cut * far + 0.5 * float(cells[ragged] @ np.abs(gaps[ragged] - mean))) / total
    reach = np.minimum(gaps[ragged] + 0.5 * np.abs(slopes[ragged]).sum(axis=1), high)
    beyond = float(reach.max(initial=0.0)) - greatest
    stray = float(field.stray[kept].max())
    return Spread(weights=cells, mean_mm=mean, max_mm=greatest, error_mm=stray + max(off, beyond, 0.0))


class _Lattice:
    """Gaps on a lattice of cells with their slopes and bends.

    Attributes
    ----------
    ragged : ndarray of bool, shape (n,)
        Cells beside one of the lattice that is not there, so that an outline may run through them.
    stray : ndarray, shape (n,)
        How far the gap may stray from its quadratic within each cell, mm.
    """

    def __init__(self, grid: Grid, gaps: Floats, slopes: Floats, facing: Bools) -> None:
        self._gaps, self._slopes, self._weights = gaps, slopes, grid.weights
        self._at = grid.cells[:, 0], grid.cells[:, 1]
        there = np.zeros(grid.counts, dtype=bool)
        there[self._at] = facing
        rim = np.pad(there, 1, constant_values=True)
        m, n = (k + 1 for k in self._at)
        beside = [rim[m + i, n + j] for i, j in product((-1, 0, 1), repeat=2)]
        self.ragged = ~np.all(beside, axis=0)
        u, v = self._turns(there, slopes[:, 0]), self._turns(there, slopes[:, 1])
        self._bends = u[0], (u[1] + v[0]) / 2, v[1]
        grows = self._turns(there, grid.weights)
        self._grows = grows
        self.stray = self._strays(there)

    def at(self, x: float, y: float) -> tuple[Floats, Floats]:
        """Return the gap at shares of a cell from its middle, and how much it changes across a part there."""
        uu, uv, vv = self._bends
        along_u, along_v = self._slopes[:, 0] + uu * x + uv * y, self._slopes[:, 1] + uv * x + vv * y
        middle = (
            self._gaps + self._slopes @ np.array([x, y]) + 0.5 * (uu * x * x + 2 * uv * x * y + vv * y * y)
        )
        return middle, np.maximum((np.abs(along_u) + np.abs(along_v)) / _PARTS, 1e-12)

    def weight(self, x: float, y: float) -> Floats:
        """Return the area of a cell, extrapolated from a place given in shares of it from its middle."""
        return np.asarray(np.maximum(self._weights + self._grows[0] * x + self._grows[1] * y, 0.0))

    def _turns(self, there: Bools, values: Floats) -> tuple[Floats, Floats]:
        """Return by how much values change from cell to cell in u and in v; zero where nothing is known."""
        table = np.full(there.shape, np.nan)
        table[self._at] = values
        table[~there] = np.nan
        found = []
        for axis in (0, 1):
            wide = np.pad(table, [(1, 1) if k == axis else (0, 0) for k in (0, 1)], constant_values=np.nan)
            before, after = (np.take(wide, range(s, s + table.shape[axis]), axis=axis) for s in (0, 2))
            steps = np.stack([table - before, after - table])
            known = ~np.isnan(steps)
            mean = np.where(known, steps, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
            found.append(mean[self._at])
        return found[0], found[1]

    def _strays(self, there: Bools) -> Floats:
        """Return the greatest miss of each cell's quadratic at the cells beside it, or half its slope."""
        gaps = np.full(there.shape, np.nan)
        gaps[self._at] = self._gaps
        gaps[~there] = np.nan
        wide = np.pad(gaps, 1, constant_values=np.nan)
        m, n = (k + 1 for k in self._at)
        stray = np.zeros(len(self._gaps))
        for axis, bend in ((0, self._bends[0]), (1, self._bends[2])):
            misses = []
            for side in (-1.0, 1.0):
                step = int(side)
                other = wide[m + step, n] if axis == 0 else wide[m, n + step]
                misses.append(np.abs(self._gaps + side * self._slopes[:, axis] + 0.5 * bend - other))
            both = np.array(misses)
            unknown = np.isnan(both).all(axis=0)
            worst = np.where(np.isnan(both), 0.0, both).max(axis=0)
            stray += np.where(unknown, np.abs(self._slopes[:, axis]) / 2, _STRAY * worst)
        return stray


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


def sampled(pair: FacePair, tolerances: Tolerances) -> list[RawPatch]:
    """Return patches found by sampling one face and measuring each point's distance to the other.

    The less simple face is sampled. Where the gap stays level over an area, and is known to within the touch
    limit, that is an area; where the faces curve apart they touch along the valleys of the gap.

    Parameters
    ----------
    pair : FacePair
        The two bodies and a face of each.
    tolerances : Tolerances
        Which gaps are contact and which are near, and how densely faces are sampled.

    Returns
    -------
    list of RawPatch
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
        places = touching_places(
            height, field.grid.cells[low], field.gaps[low], field.grid.parameters[low], touch
        )
        found += lines_and_points(height, places, (i, j), touch)
    return found + _near(pair, field, tolerances)


def near_only(pair: FacePair, tolerances: Tolerances) -> list[RawPatch]:
    """Return the near patch around a line or point of contact that is already known.

    Parameters
    ----------
    pair : FacePair
        The two bodies and a face of each.
    tolerances : Tolerances
        Which gaps are contact and which are near, and how densely faces are sampled.

    Returns
    -------
    list of RawPatch
        Empty where no sample lies in the near band.
    """
    a, i, b, j = pair
    if _backward(pair):
        return [raw.turned() for raw in near_only((b, j, a, i), tolerances)]
    return _near(pair, _field(pair, tolerances), tolerances)


_SIMPLE = (
    SurfaceKind.PLANE, SurfaceKind.CYLINDER, SurfaceKind.SPHERE, SurfaceKind.CONE, SurfaceKind.TORUS,
    SurfaceKind.OTHER,
)  # fmt: skip
"""The kinds of surface, simplest first: of two faces the less simple one is sampled."""


def _backward(pair: FacePair) -> bool:
    """Whether face B is the less simple one."""
    a, i, b, j = pair
    return _SIMPLE.index(a.table.kinds[i]) < _SIMPLE.index(b.table.kinds[j])


def _near(pair: FacePair, field: _Field, tolerances: Tolerances) -> list[RawPatch]:
    """Return the part of two faces within the near band as one patch."""
    band = tolerances.touch_mm, tolerances.near_mm
    near = field.facing & (field.gaps > band[0]) & (field.gaps <= band[1])
    if not near.any():
        return []
    gap = _gap_spread(field.grid, field.gaps, field.slopes, field.facing, band)
    least = min([float(field.gaps[near].min()), *_lowest_gaps(field, near)])
    least = min([least, *least_beside(pair, least, tolerances.touch_mm, opposed_share=_FACING)])
    sizes = max(least, 0.0), gap.mean_mm, gap.max_mm, gap.error_mm
    return [_patch(ContactKind.NEAR, pair, field.grid, gap.weights, sizes)]


def _lowest_gaps(field: _Field, near: Bools) -> Iterator[float]:
    """Yield the gap at the lowest places between the samples, from those that may lead below the lowest."""
    lowest = float(field.gaps[near].min())
    starts = np.flatnonzero(near & (field.gaps <= lowest + field.grid.reach))
    starts = starts[np.argsort(field.gaps[starts])]
    done: list[Floats] = []
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
    return not opening_directions((points - points.mean(axis=0)) @ across.T, gaps, touch_mm)


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
        pair: FacePair,
        probes: tuple[Probe, Probe],
        window: tuple[Floats, Floats],
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


def _field(pair: FacePair, tolerances: Tolerances) -> _Field:
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
    """Whether some block of two by two cells is complete: an area, and not a line or a point."""
    there = {(int(m), int(n)) for m, n in cells}
    return any({(m + 1, n), (m, n + 1), (m + 1, n + 1)} <= there for m, n in there)


def _patch(
    kind: ContactKind, pair: FacePair, grid: Grid, weights: Floats, gap_mm: tuple[float, ...]
) -> RawPatch:
    """Return a patch of weighed cells with its least, mean and greatest gap and their error."""
    a, i, _, j = pair
    grid, weights = grid.only(weights > 0.0), weights[weights > 0.0]
    area = float(weights.sum())
    share = weights / area
    normal = share @ grid.normals
    size = float(np.linalg.norm(normal))
    half = grid.step / 2
    low, high = grid.parameters.min(axis=0) - half, grid.parameters.max(axis=0) + half
    return RawPatch(
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
