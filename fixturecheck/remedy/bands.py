"""How much nearer tolerances may bring two bodies, and whether they reach through a wall."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import face_frame
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.thickness import wall_mm
from fixturecheck.remedy.model import Clash
from fixturecheck.setup.model import Body, Seat, Setup

Array = NDArray[np.float64]


def band_mm(setup: Setup, clash: Clash) -> float:
    """Return how much nearer tolerances may bring two clashing faces at worst.

    Half of the zones of the faces themselves, and the longest shift of a part whose seats are all out by
    half of their zones: for seats square to each other the root of the sum of their squares. Faces are
    taken to shift parallel to themselves.
    """
    total = sum(
        max((half_mm(setup.body(name), f) for f in faces), default=0.0)
        for name, faces in ((clash.a, clash.faces_a), (clash.b, clash.faces_b))
    )
    return total + sum(_shift_mm(setup, name) for name in (clash.a, clash.b))


def _shift_mm(setup: Setup, body: str) -> float:
    """Return the longest shift of one body that its own seats allow; zero where it has none."""
    shifts = [
        out * _normal(setup.body(body), seat.face)
        for seat in setup.seats
        if seat.body == body and (out := _seat_mm(setup, seat)) > 0
    ]
    if not shifts:
        return 0.0
    signs = product((-1.0, 1.0), repeat=len(shifts) - 1)
    sums = (
        shifts[0] + sum((s * v for s, v in zip(one, shifts[1:], strict=True)), np.zeros(3)) for one in signs
    )
    return max(float(np.linalg.norm(v)) for v in sums)


def _seat_mm(setup: Setup, seat: Seat) -> float:
    return half_mm(setup.body(seat.body), seat.face) + half_mm(setup.body(seat.on), seat.on_face)


def _normal(body: Body, face: str) -> Array:
    faces = faces_of(placed_at(body.solid, body.at))
    return face_frame(faces[body.face_indices(face)[0]])[1]


def half_mm(body: Body, face: str) -> float:
    """Return half of the zone of a face: how far it may be out either way."""
    return 0.5 * (body.zone_mm(face) or 0.0)


def refuse_crossing(setup: Setup) -> None:
    """Raise where a face and the widest zone of its body could meet inside a wall.

    Raises
    ------
    SetupError
        Names the face, the wall behind it and the zones.
    """
    for body in setup.bodies:
        widest = max((0.5 * w for w in body.tolerance_mm.values()), default=0.0)
        if widest <= 0.0:
            continue
        for face, name in zip(faces_of(body.solid), body.face_names(), strict=True):
            mine = half_mm(body, name)
            wall = wall_mm(body.solid, [face]) if mine > 0 else np.inf
            if mine + widest >= wall:
                write = setup.write
                message = (
                    f"tolerances of {body.name} reach through the wall of {write.length(wall, '.3g')} behind "
                    f"{name}: half zones of {write.number(mine, 'mm', '.3g')} and "
                    f"{write.length(widest, '.3g')} meet inside it; state narrower ones"
                )
                raise SetupError(message)
