"""Which bodies, and which of their faces, are near enough to ask about: boxes, sorted and swept."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.standing import Standing

Indices = NDArray[np.intp]


def near_bodies(bodies: Sequence[Standing], within_mm: float) -> Iterator[tuple[int, int]]:
    """Yield index pairs i < j of bodies whose boxes come within a distance.

    Sorted along the axis in which the set-up is longest, each body looks only at those that start
    before it ends, so a row of parts costs in proportion to its neighbours.
    """
    lows = np.array([b.low for b in bodies]) - within_mm / 2
    highs = np.array([b.high for b in bodies]) + within_mm / 2
    axis = int(np.argmax(highs.max(axis=0) - lows.min(axis=0)))
    order = np.argsort(lows[:, axis], kind="stable")
    starts = lows[order, axis]
    for rank, i in enumerate(order):
        stop = int(np.searchsorted(starts, highs[i, axis], side="right"))
        rest = order[rank + 1 : stop]
        if not rest.size:
            continue
        clear = np.any((lows[rest] > highs[i]) | (highs[rest] < lows[i]), axis=1)
        for j in rest[~clear]:
            yield (int(i), int(j)) if i < j else (int(j), int(i))


def near_faces(a: Standing, b: Standing, within_mm: float) -> tuple[Indices, Indices]:
    """Return index arrays of the faces of `a` and `b` whose boxes come within a distance, pair by pair."""
    ours = np.flatnonzero(np.all((a.lows <= b.high + within_mm) & (a.highs >= b.low - within_mm), axis=1))
    theirs = np.flatnonzero(np.all((b.lows <= a.high + within_mm) & (b.highs >= a.low - within_mm), axis=1))
    meets = np.all(
        (a.lows[ours, None] <= b.highs[None, theirs] + within_mm)
        & (a.highs[ours, None] >= b.lows[None, theirs] - within_mm),
        axis=2,
    )
    rows, columns = np.nonzero(meets)
    return ours[rows], theirs[columns]
