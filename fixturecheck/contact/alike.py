"""Pairs of bodies that stand to each other as an earlier pair did: neighbours in a gang touch alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fixturecheck.contact.raw import Raw
from fixturecheck.contact.standing import Array, Standing
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.shapes import Shape

_DECIMALS = 9
"""Two relative places are one when no entry differs in this many decimals: a nanometre in a metre."""

Key = tuple[int, int, bytes]
Shared = tuple[Shape, float]
"""The common solid of two bodies and its volume, mm3."""


class Alike:
    """What has been found between pairs, by their drawings and how one stands to the other."""

    def __init__(self) -> None:
        self._found: dict[Key, tuple[Standing, list[Raw], Shared | None]] = {}

    def keep(self, a: Standing, b: Standing, patches: Sequence[Raw], shared: Shared | None) -> None:
        """Keep what was found between two bodies."""
        self._found[stands_to(a, b)] = a, list(patches), shared

    def known(self, a: Standing, b: Standing) -> tuple[list[Raw], Shared | None] | None:
        """Return what was found of an earlier pair, carried to this one; None where there was none alike."""
        kept = self._found.get(stands_to(a, b))
        if kept is None:
            return None
        first, patches, shared = kept
        turn, shift = carries(first, a)
        if shared is not None:
            shared = transformed(shared[0], turn, shift), shared[1]
        return [raw.moved(turn, shift) for raw in patches], shared


def stands_to(a: Standing, b: Standing) -> Key:
    """Return the drawings of two bodies, and b's place seen from a; -0.0 is written as 0.0."""
    turn = a.turn.T @ b.turn
    shift = a.turn.T @ (b.shift - a.shift)
    place = np.round(np.append(turn.ravel(), shift), _DECIMALS) + 0.0
    return id(a.table), id(b.table), place.tobytes()


def carries(first: Standing, copy: Standing) -> tuple[Array, Array]:
    """Return the turn (3, 3) and the shift (3,), mm, that carry one body to where a copy of it stands."""
    turn: Array = copy.turn @ first.turn.T
    return turn, copy.shift - turn @ first.shift
