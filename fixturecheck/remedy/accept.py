"""Whether a relief may be made: what it touches, how much of each seat it leaves, how thick a wall."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from fixturecheck.checks.stage import Stage
from fixturecheck.checks.touching import seating
from fixturecheck.contact.find import find_contacts
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.select import same_faces
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.thickness import wall_mm
from fixturecheck.setup.model import Body, Setup

_LOST_MM2 = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """What a relief does to a part: the faces it makes smaller, the wall it leaves, and why it may not.

    `unmarked` are the faces that it takes from though they are not marked without function.
    """

    faces: tuple[str, ...]
    unmarked: tuple[str, ...]
    wall_mm: float
    against: tuple[str, ...]


def touched(setup: Setup, body: Body, solid: Solid, ends: Collection[int]) -> Touched:
    """Return what a relief takes from a body, and every reason against it.

    Parameters
    ----------
    ends : collection of int
        Faces in which the relief ends; they become smaller by its section, which takes no function.
    """
    before, after = faces_of(body.solid), faces_of(solid)
    origin = same_faces(before, after)
    left = np.zeros(len(before))
    for face, old in zip(after, origin, strict=True):
        if old is not None:
            left[old] += area_mm2(face)
    names = body.face_names()
    faces, against, unmarked = [], [], []
    for i, face in enumerate(before):
        lost = area_mm2(face) - left[i]
        if lost <= _LOST_MM2 * max(area_mm2(face), 1.0):
            continue
        faces.append(names[i])
        objection = _objection(setup, body, names[i], gone=left[i] <= 0.0, ends=i in ends)
        if objection is not None:
            against.append(objection[0])
            unmarked += [names[i]] if objection[1] else []
    new = [f for f, old in zip(after, origin, strict=True) if old is None]
    wall = wall_mm(solid, new)
    least = setup.relief.min_wall_mm
    if wall < least:
        thin, stated = setup.write.length(wall, ".2f"), setup.write.length(least, "g")
        against.append(f"it leaves a wall of {thin}, thinner than the {stated} stated")
    return Touched(
        faces=tuple(dict.fromkeys(faces)), unmarked=tuple(dict.fromkeys(unmarked)), wall_mm=wall,
        against=tuple(dict.fromkeys(against)),
    )  # fmt: skip


def _objection(setup: Setup, body: Body, face: str, *, gone: bool, ends: bool) -> tuple[str, bool] | None:
    """Return why a face may not become smaller, and whether to mark it without function would allow it."""
    for cut in setup.cuts:
        if body.name in cut.parts and face in (cut.floor, cut.wall):
            return f"it takes from {face}, which cut {cut.name} grinds", False
    if face in body.no_function:
        return None
    if is_seat(setup, body.name, face):
        return (f"nothing is left of {face}, which is a seat", False) if gone else None
    if ends and not gone:
        return None
    return f"it takes from {face}, which is not marked without function", True


def is_seat(setup: Setup, body: str, face: str) -> bool:
    """Tell whether a face of a body takes part in a seat."""
    return any((body, face) in ((s.body, s.face), (s.on, s.on_face)) for s in setup.seats)


def worn_seats(before: Setup, after: Setup) -> tuple[str, ...]:
    """Return the seats that a change leaves with too small a share, in words; both at the same pose."""
    found = []
    now = _stage(after)
    was: Stage | None = None
    for seat in after.seats:
        share = seating(now, seat).share
        if share >= seat.min_share:
            continue
        was = was or _stage(before)
        if share < seating(was, seat).share - 1e-9:
            where = f"{seat.body}.{seat.face} on {seat.on}.{seat.on_face}"
            found.append(f"it leaves {where} with {share:.0%} of the face, below {seat.min_share:.0%}")
    return tuple(found)


def _stage(setup: Setup) -> Stage:
    """Return a stage with the contacts only."""
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
    return Stage(setup=setup, placed=placed, contacts=contacts, cuts=())
