"""Which stops only close a part in from the other side: they locate nothing, and are set up last."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.settling.bench import Bench
from fixturecheck.settling.model import Carried
from fixturecheck.setup.model import Seat

OPPOSED = -0.9
"""Cosine below which two seats hold a part from opposite sides."""
_IDLE = 1e-3
"""Share of what a part is carried with below which a stop counts as not pressed (a light hand: a quarter)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Held:
    """A seat of a part that touches: the unit normal into the part, what it carries, and what it faces.

    `faced` are the seats that hold the part from the other side; only a seat that closes it in has some.
    """

    seat: Seat
    normal: np.ndarray
    faced: tuple[Seat, ...] = ()


def closing_seats(bench: Bench, carried: Sequence[Carried], loose: Iterable[str]) -> tuple[Seat, ...]:
    """Return the seats of rank `stop` that face another seat of their part, which its pushes press it on.

    A seat that carries nothing under the pushes, or that lies on a fixture that is pushed up against the
    part, holds the part in its place and does not say where that is.

    Parameters
    ----------
    carried : sequence of Carried
        Faces that touch at rest, with what they carry.
    loose : iterable of str
        Bodies that moved to their rest.
    """
    return tuple(held.seat for held in _held(bench, carried, set(loose)) if held.faced)


def closing_fixtures(bench: Bench, carried: Sequence[Carried], loose: Iterable[str]) -> tuple[int, ...]:
    """Return the fixtures that stay put and touch parts only as stops that close them in.

    A fastened one is none of them where the parts are pressed on another that is fastened: the gap between
    the two does not follow the parts.
    """
    moved = set(loose)
    held = _held(bench, carried, moved)
    closing = [one for one in held if one.faced]
    pairs = {frozenset((one.seat.own, one.seat.other)) for one in closing}
    busy = {n for one in carried if frozenset((one.a, one.b)) not in pairs for n in one.bodies}
    stays = {
        one.seat.on
        for one in closing
        if _fastened(bench, one.seat.on) and any(_leads_to_fastened(bench, held, s) for s in one.faced)
    }
    closed = {one.seat.on for one in closing} - moved - busy - stays
    return tuple(bench.index(name) for name in sorted(closed))


def _held(bench: Bench, carried: Sequence[Carried], moved: set[str]) -> list[_Held]:
    """Return every seat that touches, with what it faces if it only closes its part in."""
    found: list[_Held] = []
    for part in dict.fromkeys(seat.body for seat in bench.setup.seats):
        touching = [
            (seat, *acting)
            for seat in bench.setup.seats
            if seat.body == part and (acting := _acting(carried, seat)) is not None
        ]
        most = max((force for _, _, force in touching), default=0.0)
        kept: list[_Held] = []
        # Those that carry most are asked first: of two that face each other one locates.
        for seat, normal, force in sorted(touching, key=lambda one: (one[0].rank == "stop", -one[2])):
            pushed_up = seat.on in moved and bench.setup.body(seat.on).role != "part"
            faced = tuple(other.seat for other in kept if float(normal @ other.normal) < OPPOSED)
            if seat.rank == "stop" and faced and (pushed_up or force <= _IDLE * most):
                found.append(_Held(seat=seat, normal=normal, faced=faced))
            else:
                kept.append(_Held(seat=seat, normal=normal))
        found += kept
    return found


def _leads_to_fastened(bench: Bench, held: Sequence[_Held], seat: Seat) -> bool:
    """Tell whether a seat is on a fastened fixture, or on a part that is seated on one the same way."""
    asked: set[str] = set()
    waiting = [seat]
    normals = {one.seat.other: one.normal for one in held}
    while waiting:
        one = waiting.pop()
        if _fastened(bench, one.on):
            return True
        if one.on in asked:
            continue
        asked.add(one.on)
        way = normals[one.other]
        waiting += [
            other.seat for other in held if other.seat.body == one.on and float(other.normal @ way) > -OPPOSED
        ]
    return False


def _fastened(bench: Bench, name: str) -> bool:
    """Tell whether a fixture is stated as fastened or belongs to a magnet, as a chuck's rail does."""
    body = bench.setup.body(name)
    fellows = [b for b in bench.bodies if b is body or (body.group and b.group == body.group)]
    return body.role == "fixture" and (body.fastened or any(b.pole or b.poles for b in fellows))


def _acting(carried: Sequence[Carried], seat: Seat) -> tuple[np.ndarray, float] | None:
    """Return which way a seat holds its part and how hard; None where it does not touch."""
    mine, pair = seat.own, frozenset((seat.own, seat.other))
    for one in carried:
        if frozenset((one.a, one.b)) == pair:
            # The normal told is out of b into a.
            return np.array(one.normal) * (1.0 if one.a == mine else -1.0), one.force_n
    return None
