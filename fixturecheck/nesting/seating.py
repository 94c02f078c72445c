"""What touches between the two faces of a seat at the drawn pose, and where a named flat face stands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fixturecheck.contact.patch import ContactMap, Patch
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2, face_frame
from fixturecheck.kernel.shapes import Solid
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Seat, Setup

_ONE_WAY = 1.0 - 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seating:
    """What is found between the two faces of a seat.

    Faces of the same body that go on in the plane of a seat's face beyond a slot belong to the seat, unless
    another seat states them.

    Parameters
    ----------
    patches : tuple of Patch
        Every patch between the two faces, near ones included.
    faces, on_faces : tuple of str
        The face of the seat on either side, and after it the pieces beyond a slot that touch.
    area_mm2, least_area_mm2 : float
        What touches, and the area of the smaller side.
    """

    patches: tuple[Patch, ...]
    faces: tuple[str, ...]
    on_faces: tuple[str, ...]
    area_mm2: float
    least_area_mm2: float

    @property
    def share(self) -> float:
        """Share of the smaller face that touches, 0 to 1."""
        return self.area_mm2 / self.least_area_mm2

    def of_kind(self, *kinds: ContactKind) -> list[Patch]:
        """Return the patches of some kinds."""
        return [p for p in self.patches if p.contact.kind in kinds]


def seating(setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap, seat: Seat) -> Seating:
    """Return what is found between the two faces of a seat.

    Parameters
    ----------
    placed : mapping of str to Solid
        Every body's solid in the machine's frame.
    contacts : ContactMap
        What touches at the drawn pose.
    """
    between = list(contacts.between(seat.body, seat.on))
    patches = tuple(p for p in between if is_on(p, seat) or continues_seat(setup, placed, p, seat))
    touching = [p.sides_from(seat.body) for p in patches if p.contact.kind == ContactKind.AREA]
    faces = _first(seat.face, (mine.face for mine, _ in touching))
    on_faces = _first(seat.on_face, (theirs.face for _, theirs in touching))
    area = sum(p.contact.area_mm2 for p in patches if p.contact.kind == ContactKind.AREA)
    least = min(_areas_mm2(setup, seat.body, faces), _areas_mm2(setup, seat.on, on_faces))
    return Seating(patches=patches, faces=faces, on_faces=on_faces, area_mm2=area, least_area_mm2=least)


def _first(face: str, others: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((face, *sorted(set(others)))))


def continues_seat(setup: Setup, placed: Mapping[str, Solid], patch: Patch, seat: Seat) -> bool:
    """Tell whether an area lies in the plane of a seat's face though no seat names its two faces."""
    if patch.contact.kind != ContactKind.AREA or any(is_on(patch, s) for s in setup.seats):
        return False
    try:
        centre, normal = face_place(setup, placed, seat.body, seat.face)
        on_centre, on_normal = face_place(setup, placed, seat.on, seat.on_face)
    except NotComputedError:
        # Only a flat face goes on in its plane.
        return False
    out, spot, touch = patch.outward(seat.body), patch.contact.centroid, setup.tolerances.touch_mm
    mine = float(np.dot(out, normal)) > _ONE_WAY and abs(float(np.subtract(spot, centre) @ normal)) <= touch
    return (
        mine
        and float(np.dot(out, on_normal)) < -_ONE_WAY
        and abs(float(np.subtract(spot, on_centre) @ on_normal)) <= touch
    )


def _areas_mm2(setup: Setup, body: str, names: tuple[str, ...]) -> float:
    """Return the area of named faces of a body, all their pieces together."""
    found = setup.body(body)
    faces = faces_of(found.solid)
    return float(sum(area_mm2(faces[i]) for name in names for i in found.face_indices(name)))


def is_on(patch: Patch, seat: Seat) -> bool:
    """Whether a patch lies between the two faces of a seat, or on an edge or corner of either."""
    if set(patch.bodies) != {seat.body, seat.on}:
        return False
    mine, theirs = patch.sides_from(seat.body)
    return seat.face in mine.faces and seat.on_face in theirs.faces


def face_place(setup: Setup, placed: Mapping[str, Solid], body: str, face: str) -> tuple[Vector, Vector]:
    """Return the centre and the outward normal of a named flat face where it stands.

    Raises
    ------
    NotComputedError
        The face is not flat, or its pieces do not lie in one plane.
    """
    faces = faces_of(placed[body])
    pieces = [faces[i] for i in setup.body(body).face_indices(face)]
    frames = [face_frame(p) for p in pieces]
    first = frames[0][1]
    if not all(flat and float(normal @ first) > 1 - 1e-9 for _, normal, flat in frames):
        message = f"{body}.{face} is not one flat face"
        raise NotComputedError(message)
    if float(np.ptp([c @ first for c, _, _ in frames])) > setup.tolerances.touch_mm:
        message = f"{body}.{face} names faces in several planes; name the one that is meant"
        raise NotComputedError(message)
    areas = [area_mm2(p) for p in pieces]
    centre = np.average([c for c, _, _ in frames], axis=0, weights=areas)
    return to_vector(centre), to_vector(first)
