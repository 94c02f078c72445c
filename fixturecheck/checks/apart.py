"""Which of two bodies that share space moves, how far and which way."""

from __future__ import annotations

from collections.abc import Sequence

from fixturecheck.checks.stage import Stage
from fixturecheck.contact.model import Overlap
from fixturecheck.contact.parting import Parting, shortest_parting, toward
from fixturecheck.effort import Budget, SpentError, spending
from fixturecheck.setup.loose import is_loose, together
from fixturecheck.setup.model import Setup

_MUCH_LESS = 0.5


def way_apart(stage: Stage, overlap: Overlap, cures: Budget) -> tuple[Parting | None, str]:
    """Return the move that parts two bodies, tried on the solids, and what to do in words.

    The move is None where no straight one was found, or where no more may be spent on looking.

    A loose block moves before a part, a part before equipment of several pieces. What would have to go more
    than twice as far as the other stays: a parallel is not drawn out from under a part that is drawn too low.
    """
    order = sorted((overlap.a, overlap.b), key=lambda name: _staying(stage.setup, name))
    try:
        with spending(cures):
            first, second = (_parting(stage, overlap, name) for name in order)
    except SpentError as reason:
        return None, f"Move {order[0]} until the two only touch. How far was not looked for: {reason}."
    if first is None or (second is not None and second.by_mm < _MUCH_LESS * first.by_mm):
        first = second
    return first, _said(stage, overlap, first)


def _staying(setup: Setup, name: str) -> tuple[int, int, int]:
    """Return what sorts the body that moves first: blocks, parts, then equipment; later stated before."""
    place = [b.name for b in setup.bodies].index(name)
    if is_loose(setup, name):
        return 0, 1, -place
    if setup.body(name).role == "part":
        return 1, 1, -place
    return 2, len(together(setup, name)), -place


def _parting(stage: Stage, overlap: Overlap, name: str) -> Parting | None:
    setup = stage.setup
    pieces, other = together(setup, name), overlap.b if name == overlap.a else overlap.a
    if other in pieces:
        return None
    placed = {b.name: b.placed() for b in setup.bodies}
    around = [placed[n] for n in placed if n not in pieces and n != other]
    moving = [placed[n] for n in pieces]
    return shortest_parting(moving, placed[other], around, overlap.common, setup.tolerances)


def _said(stage: Stage, overlap: Overlap, way: Parting | None) -> str:
    """Say the move in words."""
    if way is None:
        return f"No straight move parts {overlap.a} and {overlap.b}: place them anew."
    far = stage.setup.write.length(way.by_mm, ".4g", "up")
    who = called(stage.setup, way.bodies)
    return f"Move {who} {far} {toward(way.direction)}: tried, the two then only touch."


def called(setup: Setup, bodies: Sequence[str]) -> str:
    """Return what bodies that move together are called."""
    return bodies[0] if len(bodies) == 1 else setup.body(bodies[0]).group or bodies[0]
