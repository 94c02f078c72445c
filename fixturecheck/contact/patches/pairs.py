"""Which bodies and faces are near enough to ask about, and pairs that stand as an earlier one did."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import Raw
from fixturecheck.contact.placed import Standing
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.shapes import Shape

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


_DECIMALS = 9
"""Two relative places are one when no entry differs in this many decimals: a nanometre in a metre."""

Key = tuple[int, int, bytes]
Shared = tuple[Shape, float]
"""The common solid of two bodies and its volume, mm3."""


class PairCache:
    """What has been found between pairs, by their drawings and how one stands to the other."""

    def __init__(self) -> None:
        self._found: dict[Key, tuple[Standing, list[Raw], Shared | None]] = {}

    def keep(self, a: Standing, b: Standing, patches: Sequence[Raw], shared: Shared | None) -> None:
        """Keep what was found between two bodies."""
        self._found[relative_place(a, b)] = a, list(patches), shared

    def known(self, a: Standing, b: Standing) -> tuple[list[Raw], Shared | None] | None:
        """Return what was found of an earlier pair, carried to this one; None where there was none alike."""
        kept = self._found.get(relative_place(a, b))
        if kept is None:
            return None
        first, patches, shared = kept
        turn, shift = motion_between(first, a)
        if shared is not None:
            shared = transformed(shared[0], turn, shift), shared[1]
        return [raw.moved(turn, shift) for raw in patches], shared


def relative_place(a: Standing, b: Standing) -> Key:
    """Return the drawings of two bodies, and b's place seen from a; -0.0 is written as 0.0."""
    turn = a.turn.T @ b.turn
    shift = a.turn.T @ (b.shift - a.shift)
    place = np.round(np.append(turn.ravel(), shift), _DECIMALS) + 0.0
    return id(a.table), id(b.table), place.tobytes()


def motion_between(first: Standing, copy: Standing) -> tuple[Floats, Floats]:
    """Return the turn (3, 3) and the shift (3,), mm, that carry one body to where a copy of it stands."""
    turn: Floats = copy.turn @ first.turn.T
    return turn, copy.shift - turn @ first.shift
