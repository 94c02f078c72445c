"""Small set-ups whose seats and nests can be worked out by hand, put to one check."""

from __future__ import annotations

from collections.abc import Iterable

import cadquery as cq

from fixturecheck.checks.stage import Stage
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.result.finding import Finding, Kind
from fixturecheck.setup.model import Body, Seat, Setup
from tests.contact.staging import AXES


def body(name: str, drawn: cq.Workplane | cq.Solid, at: cq.Location | None = None, **given) -> Body:
    """A body whose flat faces are called by the way they look as drawn, and curved ones `round`.

    Of several planes that look one way the one with the most area has the plain name, the next `<way>_2`.
    """
    solid = drawn.val() if isinstance(drawn, cq.Workplane) else drawn
    planes: dict[str, dict[float, list[int]]] = {}
    faces = list(faces_of(solid))
    for index, face in enumerate(faces):
        called, level = "round", 0.0
        if face.geomType() == "PLANE":
            normal = face.normalAt()
            called = max(AXES, key=lambda look, n=normal: n.dot(cq.Vector(*AXES[look])))
            level = round(normal.dot(face.Center()), 6)
        planes.setdefault(called, {}).setdefault(level, []).append(index)
    named = {}
    for called, levels in planes.items():
        ranked = sorted(levels.values(), key=lambda group: -sum(faces[i].Area() for i in group))
        for rank, group in enumerate(ranked, start=1):
            named[called if rank == 1 else f"{called}_{rank}"] = tuple(group)
    return Body(name=name, solid=solid, at=at or cq.Location(), faces=named, **given)


def on(part: str, face: str, other: str, other_face: str, **given) -> Seat:
    return Seat(body=part, face=face, on=other, on_face=other_face, **given)


def gauged(check, bodies: Iterable[Body], *seats: Seat) -> list[Finding]:
    """What a check says of bodies as drawn, but for the gaps of seats that close."""
    return [f for f in all_gauged(check, bodies, *seats) if f.kind is not Kind.MEETS]


def all_gauged(check, bodies: Iterable[Body], *seats: Seat) -> list[Finding]:
    """All that a check says of bodies as drawn."""
    setup = Setup(name="bench", bodies=tuple(bodies), seats=seats)
    placed = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    return list(check(Stage(setup=setup, placed=placed, contacts=contacts, cuts=())))
