"""What seats and nests both ask of the contact map."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fixturecheck.checks.stage import Stage
from fixturecheck.contact.model import Patch
from fixturecheck.kernel.shapes import faces_of
from fixturecheck.result import Finding, Vector, Verdict
from fixturecheck.setup.model import Seat
from fixturecheck.units import Writing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seating:
    """What is found between the two faces of a seat.

    Parameters
    ----------
    patches : tuple of Patch
        Every patch between the two faces, near ones included.
    area_mm2, least_area_mm2 : float
        What touches, and the area of the smaller face.
    """

    patches: tuple[Patch, ...]
    area_mm2: float
    least_area_mm2: float

    @property
    def share(self) -> float:
        """Share of the smaller face that touches, 0 to 1."""
        return self.area_mm2 / self.least_area_mm2

    def of_kind(self, *kinds: str) -> list[Patch]:
        """Return the patches of some kinds."""
        return [p for p in self.patches if p.contact.kind in kinds]

    @property
    def gap_um(self) -> tuple[float, float] | None:
        """Mean and greatest gap over what nearly touches; None where nothing is near."""
        near = self.of_kind("near")
        area = sum(p.contact.area_mm2 for p in near)
        if not area:
            return None
        mean = sum(p.contact.area_mm2 * p.contact.gap_mean_um for p in near) / area
        return mean, max(p.contact.gap_max_um for p in near)


def seating(stage: Stage, seat: Seat) -> Seating:
    """Return what is found between the two faces of a seat."""
    patches = tuple(p for p in stage.contacts.between(seat.body, seat.on) if _is_on(p, seat))
    area = sum(p.contact.area_mm2 for p in patches if p.contact.kind == "area")
    least = min(face_area_mm2(stage, seat.body, seat.face), face_area_mm2(stage, seat.on, seat.on_face))
    return Seating(patches=patches, area_mm2=area, least_area_mm2=least)


SHARE = "least share stated in the set-up, half of the face by default (common practice, no source)"


def by_share(check: str, seat: Seat, found: Seating, verb: str, write: Writing) -> Finding:
    """Judge a seat or nest that touches somewhere by the share of the smaller face that does."""
    good = found.share >= seat.min_share
    largest = max(found.of_kind("area"), key=lambda p: p.contact.area_mm2)
    missing_mm2 = seat.min_share * found.least_area_mm2 - found.area_mm2
    return Finding(
        check=check,
        verdict=Verdict.GO if good else Verdict.CAUTION,
        subject=subject_of(seat),
        value=found.share,
        unit="share",
        limit=seat.min_share,
        margin=found.share - seat.min_share,
        says=f"{seat.body}.{seat.face} {verb} {seat.on}.{seat.on_face} with {write.area(found.area_mm2)}, "
        f"{found.share:.0%} of the smaller face.",
        remedy=None
        if good
        else f"Move or widen the faces so that {write.area(missing_mm2)} more of them touches.",
        source=SHARE,
        shapes=tuple(p.shape for p in found.patches),
        location_mm=largest.contact.centroid,
        direction=outward(largest, seat.body),
    )


def subject_of(seat: Seat) -> str:
    """Name a seat by its two faces."""
    return f"{seat.body}.{seat.face} on {seat.on}.{seat.on_face}"


def face_area_mm2(stage: Stage, body: str, face: str) -> float:
    """Return the area of a named face, all its pieces together."""
    found = stage.setup.body(body)
    faces = faces_of(found.solid)
    return float(sum(faces[i].Area() for i in found.face_indices(face)))


def _is_on(patch: Patch, seat: Seat) -> bool:
    """Whether a patch lies between the two faces of a seat, or on an edge or corner of either."""
    for one, other in ((patch.contact.a, patch.contact.b), (patch.contact.b, patch.contact.a)):
        (body, faces), (on, on_faces) = one.split(".", 1), other.split(".", 1)
        if (body, on) == (seat.body, seat.on):
            return seat.face in faces.split("+") and seat.on_face in on_faces.split("+")
    return False


def unmeant(stage: Stage, body: str, other: str) -> Iterator[Patch]:
    """Yield what touches between two bodies where no seat is stated."""
    for patch in stage.contacts.between(body, other):
        if patch.contact.kind != "near" and not any(_is_on(patch, s) for s in stage.setup.seats):
            yield patch


def said(patch: Patch, write: Writing) -> str:
    """Name what touches, with its size: `a on b (line, 12.0 mm)`."""
    contact = patch.contact
    size = {
        "area": f"area, {write.area(contact.area_mm2)}",
        "line": f"line, {write.length(contact.length_mm)}",
        "point": "point",
    }[contact.kind]
    return f"{contact.a} on {contact.b} ({size})"


def along_round(patch: Patch) -> bool:
    """Whether a round face bears along a line between its edges, as a bar does in a V."""
    sides = (patch.contact.a, patch.contact.b)
    return patch.contact.kind == "line" and not any("+" in side.split(".", 1)[1] for side in sides)


def outward(patch: Patch, body: str) -> Vector:
    """Return the normal of a patch out of one of its two bodies."""
    x, y, z = patch.contact.normal
    return (x, y, z) if patch.contact.a.split(".", 1)[0] == body else (-x, -y, -z)
