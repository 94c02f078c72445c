"""What seats and nests both ask of the contact map."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from fixturecheck.checks.stage import Stage
from fixturecheck.contact.model import Patch
from fixturecheck.contact.parting import toward
from fixturecheck.contact.sharing import Pair
from fixturecheck.contact.standing import Array, Frame, Standing, stand
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef, on
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2
from fixturecheck.result import ContactKind, Finding, Vector, Verdict
from fixturecheck.setup.model import Seat
from fixturecheck.units import Writing, percent

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


def seating(stage: Stage, seat: Seat) -> Seating:
    """Return what is found between the two faces of a seat."""
    between = list(stage.contacts.between(seat.body, seat.on))
    patches = tuple(p for p in between if _is_on(p, seat) or _goes_on(stage, p, seat))
    touching = [sides_from(p, seat.body) for p in patches if p.contact.kind == ContactKind.AREA]
    faces = _first(seat.face, (mine.face for mine, _ in touching))
    on_faces = _first(seat.on_face, (theirs.face for _, theirs in touching))
    area = sum(p.contact.area_mm2 for p in patches if p.contact.kind == ContactKind.AREA)
    least = min(_areas_mm2(stage, seat.body, faces), _areas_mm2(stage, seat.on, on_faces))
    return Seating(patches=patches, faces=faces, on_faces=on_faces, area_mm2=area, least_area_mm2=least)


def _first(face: str, others: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((face, *sorted(set(others)))))


def _goes_on(stage: Stage, patch: Patch, seat: Seat) -> bool:
    """Tell whether an area lies in the plane of a seat's face though no seat names its two faces."""
    if patch.contact.kind != ContactKind.AREA or any(_is_on(patch, s) for s in stage.setup.seats):
        return False
    try:
        centre, normal = stage.face_place(seat.body, seat.face)
        on_centre, on_normal = stage.face_place(seat.on, seat.on_face)
    except NotComputedError:
        # Only a flat face goes on in its plane.
        return False
    out, spot, touch = outward(patch, seat.body), patch.contact.centroid, stage.setup.tolerances.touch_mm
    mine = float(np.dot(out, normal)) > _ONE_WAY and abs(float(np.subtract(spot, centre) @ normal)) <= touch
    return (
        mine
        and float(np.dot(out, on_normal)) < -_ONE_WAY
        and abs(float(np.subtract(spot, on_centre) @ on_normal)) <= touch
    )


SHARE = (
    "least share as stated in the set-up, half by default (common practice, no source): of the smaller face, "
    "or of the area of two flat faces that can meet"
)


def by_share(check: str, stage: Stage, seat: Seat, found: Seating, verb: str) -> Finding:
    """Judge a seat or nest that touches somewhere by the share that does.

    The share is that of the smaller face. Where it falls short, two flat faces are held to what they can
    share at all: a low rail behind a tall part covers a small part of it and can cover no more.
    """
    write = stage.setup.write
    pair = _outlines(stage, seat, found) if found.share < seat.min_share else None
    most_mm2, best = pair.most_shared() if pair is not None else (found.least_area_mm2, np.zeros(2))
    most_mm2 = max(most_mm2, found.area_mm2)
    share = found.area_mm2 / most_mm2
    good = share >= seat.min_share
    largest = max(found.of_kind(ContactKind.AREA), key=lambda p: p.contact.area_mm2)
    on = "+".join((f"{seat.on}.{found.on_faces[0]}", *found.on_faces[1:]))
    says = f"{seat.body}.{'+'.join(found.faces)} {verb} {on} over {write.area(found.area_mm2)}, "
    says += f"{percent(found.share)} of the smaller face"
    if pair is not None and share > 1.0 - 1e-6:
        says += ", which is all of the two faces that can meet"
    elif pair is not None:
        says += f" and {percent(share)} of the {write.area(most_mm2)} that can meet"
    return Finding(
        check=check,
        verdict=Verdict.GO if good else Verdict.CAUTION,
        subject=subject_of(seat),
        kind="closed",
        about=sides_of(seat),
        value=share,
        unit="share",
        limit=seat.min_share,
        margin=share - seat.min_share,
        says=f"{says}.",
        remedy=None
        if good
        else _more_area(stage, seat, pair, seat.min_share * most_mm2 - found.area_mm2, best),
        source=SHARE,
        shapes=tuple(p.shape for p in found.patches),
        location_mm=largest.contact.centroid,
        direction=outward(largest, seat.body),
    )


def _more_area(stage: Stage, seat: Seat, pair: Pair | None, missing_mm2: float, best: Array) -> str:
    """Say how to bring more of two faces together: the shortest slide, where they are flat."""
    more = f"they share {stage.setup.write.area(missing_mm2)} more"
    if pair is None:
        return f"Move or widen the faces so that {more}."
    by = pair.least_slide(pair.shared_mm2(np.zeros(2)) + missing_mm2, best)
    if by is None:
        return f"Widen the faces so that {more}."
    way = pair.frame.space(by[None])[0] - pair.frame.space(np.zeros((1, 2)))[0]
    far = stage.setup.write.length(float(np.linalg.norm(by)), ".2f", "up")
    return f"Slide {seat.body} {far} {toward(way)} on {seat.on}, so that {more}."


def _outlines(stage: Stage, seat: Seat, found: Seating) -> Pair | None:
    """Return the outlines of both sides of a seat in the plane of its face; None where a face is curved."""
    one, other = stand([stage.setup.body(n).placed() for n in (seat.body, seat.on)])
    ours, theirs = _flat_faces(one, found.faces), _flat_faces(other, found.on_faces)
    if ours is None or theirs is None:
        return None
    frame = Frame(one.normals[ours[0]] * one.offsets[ours[0]], one.normals[ours[0]])
    moving, still = (
        shapely.union_all([frame.polygon(body.rings(f)) for f in faces])
        for body, faces in ((one, ours), (other, theirs))
    )
    return Pair(frame=frame, moving=moving, still=still)


def _flat_faces(body: Standing, names: tuple[str, ...]) -> list[int] | None:
    faces = [f for f, name in enumerate(body.face_names) if name in names]
    return None if any(body.table.kinds[f] != "plane" for f in faces) else faces


def subject_of(seat: Seat) -> str:
    """Name a seat by its two faces."""
    return on(seat.own, seat.other)


def sides_of(seat: Seat) -> tuple[FaceRef, FaceRef]:
    """Return the two faces of a seat, the part's own first."""
    return seat.own, seat.other


def sides_from(patch: Patch, body: str) -> tuple[FaceRef, FaceRef]:
    """Return the two sides of a patch, that of one of its bodies first."""
    a, b = patch.contact.a, patch.contact.b
    return (a, b) if a.body == body else (b, a)


def _areas_mm2(stage: Stage, body: str, names: tuple[str, ...]) -> float:
    """Return the area of named faces of a body, all their pieces together."""
    found = stage.setup.body(body)
    faces = faces_of(found.solid)
    return float(sum(area_mm2(faces[i]) for name in names for i in found.face_indices(name)))


def _is_on(patch: Patch, seat: Seat) -> bool:
    """Whether a patch lies between the two faces of a seat, or on an edge or corner of either."""
    if set(patch.bodies) != {seat.body, seat.on}:
        return False
    mine, theirs = sides_from(patch, seat.body)
    return seat.face in mine.faces and seat.on_face in theirs.faces


def unmeant(stage: Stage, body: str, other: str) -> Iterator[Patch]:
    """Yield what touches between two bodies where no seat is stated."""
    for patch in stage.contacts.between(body, other):
        meant = (_is_on(patch, s) or _goes_on(stage, patch, s) for s in _between(stage, body, other))
        if patch.contact.kind != ContactKind.NEAR and not any(meant):
            yield patch


def _between(stage: Stage, body: str, other: str) -> Iterator[Seat]:
    return (s for s in stage.setup.seats if {s.body, s.on} == {body, other})


def said(patch: Patch, write: Writing) -> str:
    """Name what touches, with its size: `a on b (line, 12.0 mm)`."""
    contact = patch.contact
    size = {
        ContactKind.AREA: f"area, {write.area(contact.area_mm2)}",
        ContactKind.LINE: f"line, {write.length(contact.length_mm)}",
        ContactKind.POINT: ContactKind.POINT,
    }[contact.kind]
    return f"{contact.a} on {contact.b} ({size})"


def along_round(patch: Patch) -> bool:
    """Whether a round face bears along a line between its edges, as a bar does in a V."""
    sides = (patch.contact.a, patch.contact.b)
    return patch.contact.kind == ContactKind.LINE and all(len(side.faces) == 1 for side in sides)


def outward(patch: Patch, body: str) -> Vector:
    """Return the normal of a patch out of one of its two bodies."""
    x, y, z = patch.contact.normal
    return (x, y, z) if patch.contact.a.body == body else (-x, -y, -z)
