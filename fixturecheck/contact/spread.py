"""How a sampled gap is spread over a patch: area, mean and greatest gap, and how exactly they are known.

Within a cell the gap follows its value, slope and bend at the cell's middle, so cells may be coarse. A cell
through which a limit of the band of gaps runs counts by its share within the band.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.standing import Array
from fixturecheck.kernel.sample import Grid

Bools = NDArray[np.bool_]
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

    weights: Array
    mean_mm: float
    max_mm: float
    error_mm: float


def spread(grid: Grid, gaps: Array, slopes: Array, facing: Bools, band_mm: tuple[float, float]) -> Spread:
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
        message = "no part of a cell lies within the band of gaps"
        raise ValueError(message)
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

    def __init__(self, grid: Grid, gaps: Array, slopes: Array, facing: Bools) -> None:
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

    def at(self, x: float, y: float) -> tuple[Array, Array]:
        """Return the gap at shares of a cell from its middle, and how much it changes across a part there."""
        uu, uv, vv = self._bends
        along_u, along_v = self._slopes[:, 0] + uu * x + uv * y, self._slopes[:, 1] + uv * x + vv * y
        middle = (
            self._gaps + self._slopes @ np.array([x, y]) + 0.5 * (uu * x * x + 2 * uv * x * y + vv * y * y)
        )
        return middle, np.maximum((np.abs(along_u) + np.abs(along_v)) / _PARTS, 1e-12)

    def weight(self, x: float, y: float) -> Array:
        """Return the area of a cell as if all of it were as at shares of it from its middle."""
        return np.asarray(np.maximum(self._weights + self._grows[0] * x + self._grows[1] * y, 0.0))

    def _turns(self, there: Bools, values: Array) -> tuple[Array, Array]:
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

    def _strays(self, there: Bools) -> Array:
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
