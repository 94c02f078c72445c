"""Bench row of placing by seats: a gang put face on face, against settling it from 2 mm away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from bench_settle import pawl_gang, settler
from bench_timing import interleaved_s, ratio_of, shown_s

from fixturecheck.kernel.place import matrix_of, translation
from fixturecheck.setup.model import Body, Seat
from fixturecheck.setup.placed import place_by_seats
from tests.nesting.pawl_gang import gang

COUNT = 16
ROUNDS = 7


def seat_place_16() -> dict[str, object]:
    """Place 16 index pawls in their V-block by three seats each, and settle the same gang.

    Both work on shapes that were read before.
    """
    there = gang(COUNT)
    pawls = [b.name for b in there if b.role == "part"]
    lost = [replace(b, at=translation()) if b.role == "part" else b for b in there]
    seats = _seats(pawls)
    off_mm = max(
        float(np.abs(matrix_of(one.at) - matrix_of(other.at)).max())
        for one, other in zip(place_by_seats(lost, seats), there, strict=True)
    )
    if off_mm > 1e-9:
        raise RuntimeError(f"the pawls are placed {off_mm:.1e} mm from where they nest")
    settled = settler(pawl_gang(COUNT))
    settled()
    placed_s, settled_s = interleaved_s(ROUNDS, _always(lambda: _place(lost, seats)), _always(settled))
    return {
        "figure": ratio_of(placed_s, settled_s),
        "goal": 0.2,
        "says": (
            f"{COUNT} index pawls in a V-block by {len(seats)} seats: placed in {shown_s(placed_s)}, "
            f"{off_mm:.0e} mm at most from where they nest; settled from 2 mm away in {shown_s(settled_s)}."
        ),
    }


def _place(bodies: list[Body], seats: list[Seat]) -> None:
    place_by_seats(bodies, seats)


def _always(work: Callable[[], object]) -> Callable[[], Callable[[], object]]:
    return lambda: work


def _seats(pawls: list[str]) -> list[Seat]:
    found = []
    for before, pawl in zip([None, *pawls[:-1]], pawls, strict=True):
        found += [
            Seat(body=pawl, face="left_seat", on="vee_0_left", on_face="left_flank"),
            Seat(body=pawl, face="right_seat", on="vee_0_right", on_face="right_flank", rank="secondary"),
            Seat(body=pawl, face="back", on="stop", on_face="plus_x", rank="stop")
            if before is None
            else Seat(body=pawl, face="back", on=before, on_face="nest", rank="nest"),
        ]
    return found
