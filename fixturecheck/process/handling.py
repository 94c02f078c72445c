"""How the bodies of an operation come off: how each is lifted, where to pry, what must not be slid."""

from __future__ import annotations

from fixturecheck.process.model import BodyOff
from fixturecheck.release.sequence import HAND_N
from fixturecheck.result import Result
from fixturecheck.result.release import BodyLeaves
from fixturecheck.units import Writing
from fixturecheck.wording.hold import pry_words, step_words


def comes_off(result: Result | None) -> tuple[BodyOff, ...]:
    """Return how each body comes off, the first one first; empty where no holding was stated."""
    if result is None or result.holding is None:
        return ()
    write = Writing(units=result.shown_in)
    return tuple(_body(leaves, write) for leaves in result.holding.leaving)


def _body(leaves: BodyLeaves, write: Writing) -> BodyOff:
    best = leaves.ways[0] if leaves.ways else None
    force_n = None if best is None else best.force_n
    by_hand = force_n is not None and force_n[1] <= HAND_N
    rubs = () if best is None else tuple(str(own) for own, _ in best.rubs)
    return BodyOff(
        body=leaves.body,
        says=step_words(leaves.body, best, hand_n=HAND_N, keeps=leaves.demagnetise, write=write),
        by_hand=by_hand,
        pry_at="" if leaves.pry is None or by_hand else pry_words(leaves.pry, write),
        demagnetise=leaves.demagnetise,
        not_slid=tuple(str(own) for own in leaves.not_slid),
        rubs=rubs,
    )
