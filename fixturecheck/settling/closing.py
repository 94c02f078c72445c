"""Which stops only close a part in from the other side: they locate nothing, and are set up last."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from fixturecheck.settling.bench import Bench
from fixturecheck.settling.model import Carried
from fixturecheck.setup.model import Seat

OPPOSED = -0.9
"""Cosine below which two seats hold a part from opposite sides."""
_IDLE = 1e-3
"""Share of what a part is carried with below which a stop counts as not pressed (a light hand: a quarter)."""


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
    moved = set(loose)
    found = []
    for part in dict.fromkeys(seat.body for seat in bench.setup.seats):
        touching = [
            (seat, *acting)
            for seat in bench.setup.seats
            if seat.body == part and (acting := _acting(carried, seat)) is not None
        ]
        most = max((force for _, _, force in touching), default=0.0)
        kept: list[np.ndarray] = []
        # Those that carry most are asked first: of two that face each other one locates.
        for seat, normal, force in sorted(touching, key=lambda one: (one[0].rank == "stop", -one[2])):
            pushed_up = seat.on in moved and bench.setup.body(seat.on).role != "part"
            faced = any(float(normal @ other) < OPPOSED for other in kept)
            if seat.rank == "stop" and faced and (pushed_up or force <= _IDLE * most):
                found.append(seat)
            else:
                kept.append(normal)
    return tuple(found)


def closing_fixtures(bench: Bench, carried: Sequence[Carried], loose: Iterable[str]) -> tuple[int, ...]:
    """Return the fixtures that stay put and touch parts only as stops that close them in."""
    moved = set(loose)
    closing = closing_seats(bench, carried, moved)
    pairs = {frozenset((f"{s.body}.{s.face}", f"{s.on}.{s.on_face}")) for s in closing}
    busy = {n for one in carried if frozenset((one.a, one.b)) not in pairs for n in _bodies(one)}
    closed = {s.on for s in closing} - moved - busy
    return tuple(bench.index(name) for name in sorted(closed))


def _bodies(one: Carried) -> tuple[str, str]:
    """Return the names of the two bodies that touch."""
    return one.a.split(".", 1)[0], one.b.split(".", 1)[0]


def _acting(carried: Sequence[Carried], seat: Seat) -> tuple[np.ndarray, float] | None:
    """Return which way a seat holds its part and how hard; None where it does not touch."""
    mine = f"{seat.body}.{seat.face}"
    pair = frozenset((mine, f"{seat.on}.{seat.on_face}"))
    for one in carried:
        if frozenset((one.a, one.b)) == pair:
            # The normal told is out of b into a.
            return np.array(one.normal) * (1.0 if one.a == mine else -1.0), one.force_n
    return None
