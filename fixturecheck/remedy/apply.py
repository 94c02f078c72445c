"""A set-up with a changed drawing: new solid, faces under their old names, every copy alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.kernel.brep.topology import canonical_order, faces_of
from fixturecheck.kernel.measure import area_mm2, centroid_of, face_frame, is_flat
from fixturecheck.kernel.select import same_faces
from fixturecheck.kernel.shapes import Face, Solid
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.words import BY_PLACE

RELIEF = "relief"
_SAME_MM = 1e-6
_SAME_WAY = 1e-9
_MOST_BACK_MM = 1.0

Array = NDArray[np.float64]


def copies_of(setup: Setup, name: str) -> tuple[str, ...]:
    """Return the bodies that are made to the same drawing as one of them, itself included."""
    mine = setup.body(name)
    drawing = _drawing(mine.solid)
    same = (b for b in setup.bodies if b.role == mine.role and _same(drawing, _drawing(b.solid)))
    return tuple(b.name for b in same)


def _drawing(solid: Solid) -> Array:
    """Return area and centre of every face, in order: what tells one drawing from another."""
    faces = faces_of(solid)
    order = canonical_order(solid)
    return np.array([(area_mm2(faces[i]), *centroid_of(faces[i])) for i in order])


def _same(one: Array, two: Array) -> bool:
    return one.shape == two.shape and bool(np.abs(one - two).max() < _SAME_MM)


def redrawn(body: Body, solid: Solid) -> Body:
    """Return a body with a changed solid whose faces keep their names; new ones are called `relief`.

    What was stated of a face that is gone is dropped.
    """
    faces = renamed(body, solid)
    kept = {*faces, "*", *(n for n in body.face_names() if BY_PLACE.fullmatch(n))}
    return replace(
        body,
        solid=solid,
        faces=faces,
        finish={k: v for k, v in body.finish.items() if k in kept},
        tolerance_mm={k: v for k, v in body.tolerance_mm.items() if k in kept},
        orientation_mm={k: v for k, v in body.orientation_mm.items() if k in kept},
        no_function=(body.no_function & set(faces)) | {n for n in faces if n not in body.faces},
        source=None,
    )


def renamed(body: Body, solid: Solid) -> Mapping[str, tuple[int, ...]]:
    """Return the named faces of a changed solid: the old names, and a new one for what a cut made.

    A flat face that is gone while a new one looks the same way a little behind it was set back: it keeps
    its name, and with it its tolerance and what else was stated of it.
    """
    was = {i: name for name, indices in body.faces.items() for i in indices}
    old, now = faces_of(body.solid), faces_of(solid)
    origin = same_faces(old, now)
    gone = [(i, f) for i, f in enumerate(old) if i not in origin and is_flat(f)]
    new = next(n for n in (RELIEF, *(f"{RELIEF}_{k}" for k in range(2, 100))) if n not in body.faces)
    faces: dict[str, tuple[int, ...]] = {}
    for i, (face, known) in enumerate(zip(now, origin, strict=True)):
        back = _set_back(face, gone) if known is None else known
        name = new if back is None else was.get(back)
        if name is not None:
            faces[name] = (*faces.get(name, ()), i)
    return faces


def _set_back(face: Face, gone: Sequence[tuple[int, Face]]) -> int | None:
    """Return which of the faces that are gone lies a little before a new one and looks the same way."""
    if not is_flat(face):
        return None
    centre, normal, _ = face_frame(face)
    for i, old in gone:
        place, out, _ = face_frame(old)
        step = float((place - centre) @ out)
        size = float(np.linalg.norm(place - centre))
        if float(normal @ out) > 1 - _SAME_WAY and 0.0 < step < _MOST_BACK_MM and size < area_mm2(old) ** 0.5:
            return i
    return None


def with_body(setup: Setup, changed: Mapping[str, Body]) -> Setup:
    """Return the set-up with some bodies changed."""
    return replace(setup, bodies=tuple(changed.get(b.name, b) for b in setup.bodies))
