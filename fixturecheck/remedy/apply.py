"""A set-up with a changed drawing: new solid, faces under their old names, every copy alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.kernel.relieving import same_faces
from fixturecheck.kernel.shapes import Solid, canonical_order, faces_of
from fixturecheck.setup.model import Body, Setup

RELIEF = "relief"
_SAME_MM = 1e-6

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
    return np.array([(faces[i].Area(), *faces[i].Center().toTuple()) for i in order])


def _same(one: Array, two: Array) -> bool:
    return one.shape == two.shape and bool(np.abs(one - two).max() < _SAME_MM)


def redrawn(body: Body, solid: Solid) -> Body:
    """Return a body with a changed solid whose faces keep their names; new ones are called `relief`.

    What was stated of a face that is gone is dropped.
    """
    faces = renamed(body, solid)
    kept = {*faces, "*", *(n for n in body.face_names() if n.startswith("face_"))}
    return replace(
        body,
        solid=solid,
        faces=faces,
        finish={k: v for k, v in body.finish.items() if k in kept},
        tolerance_mm={k: v for k, v in body.tolerance_mm.items() if k in kept},
        no_function=(body.no_function & set(faces)) | {n for n in faces if n not in body.faces},
        source=None,
    )


def renamed(body: Body, solid: Solid) -> Mapping[str, tuple[int, ...]]:
    """Return the named faces of a changed solid: the old names, and a new one for what a cut made."""
    was = {i: name for name, indices in body.faces.items() for i in indices}
    new = next(n for n in (RELIEF, *(f"{RELIEF}_{k}" for k in range(2, 100))) if n not in body.faces)
    faces: dict[str, tuple[int, ...]] = {}
    for i, old in enumerate(same_faces(faces_of(body.solid), faces_of(solid))):
        name = new if old is None else was.get(old)
        if name is not None:
            faces[name] = (*faces.get(name, ()), i)
    return faces


def with_body(setup: Setup, changed: Mapping[str, Body]) -> Setup:
    """Return the set-up with some bodies changed."""
    return replace(setup, bodies=tuple(changed.get(b.name, b) for b in setup.bodies))
