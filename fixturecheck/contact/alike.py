"""Pairs of bodies that stand to each other as an earlier pair did: neighbours in a gang touch alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fixturecheck.contact.raw import Raw
from fixturecheck.contact.standing import Array, Standing

_DECIMALS = 9
"""Two relative places are one when no entry differs in this many decimals: a nanometre in a metre."""

Key = tuple[int, int, bytes]


class Alike:
    """What has been found between pairs, by their drawings and how one stands to the other."""

    def __init__(self) -> None:
        self._found: dict[Key, tuple[Standing, list[Raw]]] = {}

    def keep(self, a: Standing, b: Standing, patches: Sequence[Raw]) -> None:
        """Keep what was found between two bodies that do not overlap."""
        self._found[_key(a, b)] = a, list(patches)

    def known(self, a: Standing, b: Standing) -> list[Raw] | None:
        """Return the patches of an earlier pair carried to this one, or None where there was none alike."""
        kept = self._found.get(_key(a, b))
        if kept is None:
            return None
        first, patches = kept
        turn: Array = a.turn @ first.turn.T
        shift: Array = a.shift - turn @ first.shift
        return [raw.moved(turn, shift) for raw in patches]


def _key(a: Standing, b: Standing) -> Key:
    """Drawings, and b's place seen from a; -0.0 is written as 0.0."""
    turn = a.turn.T @ b.turn
    shift = a.turn.T @ (b.shift - a.shift)
    place = np.round(np.append(turn.ravel(), shift), _DECIMALS) + 0.0
    return id(a.table), id(b.table), place.tobytes()
