"""Which touching places belong to a seat although they lie on the border of another face as well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.measure import distance
from fixturecheck.physics.rigid import Poses
from fixturecheck.settling.bench import Bench
from fixturecheck.settling.model import Carried

_ON_MM = 2e-3


def with_borders(bench: Bench, poses: Poses, carried: Sequence[Carried]) -> tuple[Carried, ...]:
    """Count contacts on the border of a seat as the seat's own.

    Where two seat faces lie on each other, the edges of the faces beside them touch there too. Such a
    place is on both seat faces, so it is no contact that nobody meant.
    """
    seats: dict[frozenset[str], list[Carried]] = {}
    for one in carried:
        if one.intended:
            seats.setdefault(frozenset(one.bodies), []).append(one)

    def on_seat(one: Carried) -> bool:
        return any(_lies_on(bench, poses, one, seat) for seat in seats.get(frozenset(one.bodies), ()))

    return tuple(replace(one, intended=one.intended or on_seat(one)) for one in carried)


def _lies_on(bench: Bench, poses: Poses, one: Carried, seat: Carried) -> bool:
    """Tell whether every place of a contact lies on both faces of a seat."""
    return all(_all_on(bench, poses, one, face) for face in (seat.a, seat.b))


def _all_on(bench: Bench, poses: Poses, one: Carried, face: FaceRef) -> bool:
    index = bench.index(face.body)
    faces = faces_of(bench.bodies[index].solid)
    pieces = [faces[i] for i in bench.bodies[index].face_indices(face.face)]
    local = (np.array(one.points_mm) - poses.origin_mm[index]) @ poses.rotation[index]
    return all(min(distance(vertex(p), f)[0] for f in pieces) <= _ON_MM for p in local)
