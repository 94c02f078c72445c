"""A set-up whose parts stand on burrs that nobody stoned: each seat with a burr is open by its height.

A burr is drawn as a ridge along its edge, as high as stated; the part stands off until the ridges touch.
Rest, hold and pull are then worked out with that gap. Burrs on round edges are told, and not drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.faceref import BURR_ON, FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import distance, face_frame, is_straight
from fixturecheck.kernel.place import composed, matrix_of, translation
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.stock import Ridge, found_again, with_ridges
from fixturecheck.numeric import to_vector
from fixturecheck.process.burrs import MetBurr
from fixturecheck.process.setups import OperationSetup
from fixturecheck.setup.model import Body, Setup


def with_burrs(made: OperationSetup, met: Iterable[MetBurr]) -> OperationSetup:
    """Return the set-up of an operation with the burrs whose height is stated drawn on its parts.

    Parameters
    ----------
    met : iterable of MetBurr
        Burrs beside the faces that it seats by.

    Raises
    ------
    KernelError
        A ridge cannot be joined to the part.
    """
    setup = made.setup
    drawn = [m for m in met if not m.told.assumed and is_straight(m.edge)]
    if setup is None or not drawn:
        return made
    ridged: dict[Solid, Body] = {}
    bodies: dict[str, Body] = {}
    for name in made.parts:
        body = setup.body(name)
        # Copies share their solid, and so its ridges.
        one = ridged[body.solid] = ridged.get(body.solid) or _ridged(body, drawn)
        bodies[name] = replace(body, solid=one.solid, faces=one.faces)
    seated = {ref.face for seat in setup.seats for ref in (seat.own, seat.other) if ref.body in bodies}
    heights = {
        face: max(m.told.height_mm for m in drawn if m.told.face == face)
        for face in {m.told.face for m in drawn} & seated
    }
    moved = _moved(setup, made.parts, heights)
    for name, by in moved.items():
        body = bodies[name]
        bodies[name] = replace(body, at=composed(translation(to_vector(by)), body.at))
    return replace(made, burred=replace(setup, bodies=tuple(bodies.get(b.name, b) for b in setup.bodies)))


def _ridged(body: Body, drawn: Sequence[MetBurr]) -> Body:
    """Return a body with its burrs as ridges, whose faces are called `burr_on_FACE`."""
    mine = [m for m in drawn if m.told.face in body.faces]
    ridges = [Ridge(edge=m.edge, face=body.faces[m.told.face][0], high_mm=m.told.height_mm) for m in mine]
    solid = with_ridges(body.solid, ridges, f"burrs of {body.name}")
    faces = {name: _there(body, solid, own) for name, own in body.faces.items()}
    old = set(_there(body, solid, range(len(faces_of(body.solid)))))
    for i, face in enumerate(faces_of(solid)):
        if mine and i not in old:
            nearest = min(mine, key=lambda m: distance(face, m.edge)[0]).told.face
            faces[BURR_ON + nearest] = (*faces.get(BURR_ON + nearest, ()), i)
    return replace(body, solid=solid, faces={n: f for n, f in faces.items() if f})


def _there(body: Body, solid: Solid, own: Iterable[int]) -> tuple[int, ...]:
    """Return where faces of a body are found on another solid."""
    found = found_again(body.solid, solid, dict.fromkeys(own, 0.0))
    return tuple(sorted({i for there in found.values() for i in there}))


def _moved(setup: Setup, parts: Sequence[str], heights: Mapping[str, float]) -> dict[str, Floats]:
    """Return how far each part stands off, mm: off each of its seats by the burrs there, along no other.

    Parts that nest push each other on, so that all are worked out together, by least squares.
    """
    place = {name: 3 * i for i, name in enumerate(parts)}
    rows, off = [], []
    for seat in setup.seats:
        ref = seat.own if seat.own.body in place else seat.other
        if ref.body not in place:
            continue
        row = np.zeros(3 * len(parts))
        normal = _normal(setup.body(ref.body), ref.face)
        for one, sign in ((ref, 1.0), (seat.other if ref == seat.own else seat.own, -1.0)):
            if one.body in place:
                row[place[one.body] : place[one.body] + 3] = sign * normal
        rows.append(row)
        off.append(-sum(_height(one, place, heights) for one in (seat.own, seat.other)))
    if not rows:
        return {}
    found = np.linalg.lstsq(np.array(rows), np.array(off), rcond=None)[0]
    return {name: found[i : i + 3] for name, i in place.items()}


def _height(ref: FaceRef, parts: Mapping[str, int], heights: Mapping[str, float]) -> float:
    return heights.get(ref.face, 0.0) if ref.body in parts else 0.0


def _normal(body: Body, face: str) -> Floats:
    """Return the outward normal of a named face where the body stands."""
    _, normal, _ = face_frame(faces_of(body.solid)[body.face_indices(face)[0]])
    return np.asarray(matrix_of(body.at)[:3, :3] @ normal)
