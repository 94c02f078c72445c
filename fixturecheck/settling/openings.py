"""Whether a seat is between flat faces, where its widest gap means something."""

from __future__ import annotations

from fixturecheck.settling.bench import Bench
from fixturecheck.setup.model import Seat


def is_flat(bench: Bench, seat: Seat) -> bool:
    """Tell whether every piece of both faces of a seat is flat."""
    sides = ((seat.body, seat.face), (seat.on, seat.on_face))
    for name, face in sides:
        index = bench.index(name)
        flat = set(bench.features[index].plane_faces.tolist())
        if any(i not in flat for i in bench.bodies[index].face_indices(face)):
            return False
    return True
