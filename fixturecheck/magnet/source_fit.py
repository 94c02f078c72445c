"""Which magnets pull as was read off a scale: every source behind the poles that fits, not the best alone."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.arrays import Floats
from fixturecheck.constants import MU0_H_M

Pulls = Callable[[Floats, Floats, Floats], Floats]
"""Pull in N of every piece, shape (n, k), by force in A, source gap in mm and seat gap in um, each (n,)."""

# Sources along each way of the search, and how often it closes in on those that fit.
_GAPS, _SEATS, _SHARES = 25, 13, 81
_ZOOMS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What a piece was pulled by.

    Parameters
    ----------
    name : str
    low_n, high_n : float
        Ends between which the pull lies.
    """

    name: str
    low_n: float
    high_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """Which sources are tried.

    Parameters
    ----------
    gap_mm : tuple of float
        Least and greatest source gap.
    seat_um : tuple of float
        Least and greatest seat gap.
    share : tuple of float
        Least and greatest magnetomotive force, as shares of `reference_a`.
    flux_t, seat_flux_t, iron_a : float
        The reference: what it takes to send a flux density through the source gap and another through the
        seat, and the iron besides.
    """

    gap_mm: tuple[float, float]
    seat_um: tuple[float, float]
    share: tuple[float, float]
    flux_t: float = 0.8
    seat_flux_t: float = 0.8
    iron_a: float = 50.0

    def reference_a(self, gap_mm: Floats, seat_um: Floats) -> Floats:
        """Return a magnetomotive force that goes with a source gap and a seat gap.

        Parameters
        ----------
        gap_mm : ndarray
            Source gaps.
        seat_um : ndarray
            Seat gaps; its shape goes with that of `gap_mm` by the rules of numpy.

        Returns
        -------
        ndarray
            A.
        """
        gaps = self.flux_t * gap_mm * 1e-3 + self.seat_flux_t * seat_um * 1e-6
        return np.asarray(self.iron_a + gaps / MU0_H_M)


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedSource:
    """One source that fits.

    Parameters
    ----------
    mmf_a : float
        Magnetomotive force behind each pole.
    gap_mm : float
        Air gap of the same conductance as the magnet, per area of a pole's back.
    seat_um : float
        Gap between the pieces and the poles.
    """

    mmf_a: float
    gap_mm: float
    seat_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Every source that fits, by its ends.

    Parameters
    ----------
    gap_mm, mmf_a, seat_um : tuple of float
        Least and greatest of what fits.
    gap_bounded : tuple of bool
        Whether the readings, and not the space that was searched, set the least and the greatest source gap.
    end_low_a, end_high_a : tuple of float
        Least and greatest magnetomotive force that fits with the least source gap, and with the greatest.
    middle : FittedSource
        The one that stays furthest inside the readings.
    """

    gap_mm: tuple[float, float]
    mmf_a: tuple[float, float]
    seat_um: tuple[float, float]
    gap_bounded: tuple[bool, bool]
    end_low_a: tuple[float, float]
    end_high_a: tuple[float, float]
    middle: FittedSource


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """Readings that no source gives together; without any one of them some source fits.

    Parameters
    ----------
    readings : tuple of int
        Which they are.
    low_n, high_n : float
        Between which the last one would lie with the others as read.
    """

    readings: tuple[int, ...]
    low_n: float
    high_n: float


def fit_sources(readings: Sequence[Reading], pulls: Pulls, space: Space) -> Fit | Contradiction:
    """Find every source that gives all readings.

    Parameters
    ----------
    readings : sequence of Reading
    pulls : callable
        Grows with the magnetomotive force.
    space : Space

    Returns
    -------
    Fit or Contradiction
        The sources that fit, or the fewest readings that no source gives together.

    Notes
    -----
    For each source gap and seat gap the magnetomotive forces that give one reading are an interval, since a
    pull grows with it. What all intervals share fits. The search closes in on the gaps that fit.
    """
    everything = tuple(range(len(readings)))
    found = _search(readings, pulls, space, everything)
    if not found.fits.any():
        return _contradiction(readings, pulls, space)
    return _fit(found, space)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Found:
    """The forces that fit over a net of gaps, in log shares of the reference; none where left > right."""

    gap_mm: Floats
    seat_um: Floats
    left: Floats
    right: Floats
    edges: tuple[bool, bool]

    @property
    def fits(self) -> NDArray[np.bool_]:
        return self.left <= self.right


def _search(readings: Sequence[Reading], pulls: Pulls, space: Space, chosen: Sequence[int]) -> _Found:
    """Look for the forces that give the chosen readings, closing in on the gaps where there are some."""
    box = np.log([space.gap_mm, space.seat_um])
    whole = box.copy()
    for _ in range(_ZOOMS):
        found = _net(readings, pulls, space, chosen, box)
        good = (
            found.fits if found.fits.any() else found.left - found.right == (found.left - found.right).min()
        )
        if not good.any():
            break
        at = np.log([found.gap_mm[good], found.seat_um[good]])
        step = (box[:, 1] - box[:, 0]) / (np.array([_GAPS, _SEATS]) - 1)
        closer = np.stack([at.min(axis=1) - step, at.max(axis=1) + step], axis=1)
        box = np.clip(closer, whole[:, :1], whole[:, 1:])
    found = _net(readings, pulls, space, chosen, box)
    ends = np.log(found.gap_mm[found.fits]) if found.fits.any() else whole[0]
    edges = bool(ends.min() <= whole[0, 0] + 1e-9), bool(ends.max() >= whole[0, 1] - 1e-9)
    return replace(found, edges=edges)


def _net(
    readings: Sequence[Reading], pulls: Pulls, space: Space, chosen: Sequence[int], box: Floats
) -> _Found:
    gap, seat = (
        np.exp(np.linspace(low, high, n))
        for (low, high), n in zip(box.tolist(), (_GAPS, _SEATS), strict=True)
    )
    gap, seat = (a.ravel() for a in np.meshgrid(gap, seat, indexing="ij"))
    share = np.linspace(math.log(space.share[0]), math.log(space.share[1]), _SHARES)
    mmf = space.reference_a(gap, seat)[:, None] * np.exp(share)
    every = [np.broadcast_to(a[:, None], mmf.shape).ravel() for a in (gap, seat)]
    found = pulls(mmf.ravel(), *every).reshape(len(gap), _SHARES, -1)
    left, right = np.full(len(gap), -np.inf), np.full(len(gap), np.inf)
    for i in chosen:
        grown = np.maximum.accumulate(found[:, :, i], axis=1)
        left = np.maximum(left, _crossing(share, grown, readings[i].low_n, beyond=(share[0], np.inf)))
        right = np.minimum(right, _crossing(share, grown, readings[i].high_n, beyond=(-np.inf, share[-1])))
    return _Found(gap_mm=gap, seat_um=seat, left=left, right=right, edges=(False, False))


def _crossing(share: Floats, grown: Floats, at_n: float, *, beyond: tuple[float, float]) -> Floats:
    """Return the log share at which each row (n, m) of growing pulls comes to a pull.

    `beyond` stands for rows that lie above it from the start, and for rows that never come to it.
    """
    above = grown >= at_n
    first = np.argmax(above, axis=1)
    row = np.arange(len(grown))
    before = np.maximum(first - 1, 0)
    low, high = np.log(grown[row, before]), np.log(grown[row, first])
    part = np.clip((np.log(at_n) - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
    at = share[before] + part * (share[first] - share[before])
    return np.where(~above.any(axis=1), beyond[1], np.where(above[:, 0], beyond[0], at))


def _fit(found: _Found, space: Space) -> Fit:
    good = found.fits
    gap, seat, left, right = (a[good] for a in (found.gap_mm, found.seat_um, found.left, found.right))
    reference = space.reference_a(gap, seat)
    low, high = reference * np.exp(left), reference * np.exp(right)
    ends = float(gap.min()), float(gap.max())
    stiff, soft = (np.isclose(gap, end, rtol=1e-9) for end in ends)
    best = int(np.argmax(right - left))
    return Fit(
        gap_mm=ends,
        mmf_a=(float(low.min()), float(high.max())),
        seat_um=(float(seat.min()), float(seat.max())),
        gap_bounded=(not found.edges[0], not found.edges[1]),
        end_low_a=(float(low[stiff].min()), float(low[soft].min())),
        end_high_a=(float(high[stiff].max()), float(high[soft].max())),
        middle=FittedSource(
            mmf_a=float(np.sqrt(low[best] * high[best])), gap_mm=float(gap[best]), seat_um=float(seat[best])
        ),
    )


def _contradiction(readings: Sequence[Reading], pulls: Pulls, space: Space) -> Contradiction:
    """Find the fewest readings that no source gives together."""
    for chosen in _subsets(len(readings)):
        if not _search(readings, pulls, space, chosen).fits.any():
            *others, last = chosen
            low, high = _would_lie(readings, pulls, space, others, last)
            return Contradiction(readings=chosen, low_n=low, high_n=high)
    everything = tuple(range(len(readings)))
    low, high = _would_lie(readings, pulls, space, everything[:-1], everything[-1])
    return Contradiction(readings=everything, low_n=low, high_n=high)


def _subsets(count: int) -> Iterator[tuple[int, ...]]:
    for size in range(1, count + 1):
        yield from combinations(range(count), size)


def _would_lie(
    readings: Sequence[Reading], pulls: Pulls, space: Space, others: Sequence[int], last: int
) -> tuple[float, float]:
    """Return the least and the greatest pull of one piece with the others as read."""
    found = _search(readings, pulls, space, others)
    good = found.fits
    gap, seat = found.gap_mm[good], found.seat_um[good]
    reference = space.reference_a(gap, seat)
    ends = np.log(space.share)
    mmf = [reference * np.exp(np.clip(a[good], *ends)) for a in (found.left, found.right)]
    every = np.concatenate([pulls(m, gap, seat)[:, last] for m in mmf])
    return float(every.min()), float(every.max())
