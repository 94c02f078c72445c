"""A gang of any length: index pawls nested end to end in a magnetic V-block against a stop."""

from __future__ import annotations

import itertools
import sys
from collections.abc import Sequence
from pathlib import Path

from fixturecheck import Body, body, equipment, place
from fixturecheck.kernel.shapes import Location, Placed

PAWL = Path(__file__).resolve().parents[2] / "models" / "index_pawl"
HEEL_MM = 1.0
LONGEST_MM, FURTHEST_MM = 1600.0, 9000.0


def gang(parts: int) -> list[Body]:
    """Return pawls and fixtures as a script would state them; the pawls share one drawing."""
    sys.path.insert(0, str(PAWL))
    from pawl import FACES, PITCH, pawl

    sys.path.remove(str(PAWL))
    drawn = pawl(HEEL_MM)
    # A set-up reaches ten metres either way, so a longer gang starts further back.
    start_mm = -max(0.0, PITCH * parts - FURTHEST_MM)
    pawls = [
        body(f"pawl_{i + 1:03d}", drawn, at=place(at=(start_mm + i * PITCH, 0, 0)), faces=FACES)
        for i in range(parts)
    ]
    # Blocks stand end to end, since no maker has one of sixteen metres.
    count = -(-(PITCH * parts + 40) // LONGEST_MM)
    length_mm = (PITCH * parts + 40) / count
    blocks = [
        equipment(
            "magnetic_v_block",
            name=f"vee_{i}",
            length_mm=length_mm,
            width_mm=50.0,
            land_mm=16.0,
            height_mm=40.0,
            at=(start_mm + length_mm * (i + 0.5) - 30, 0, 0),
        )
        for i in range(int(count))
    ]
    stop = equipment(
        "blocking_block",
        name="stop",
        length_mm=20.0,
        width_mm=18.0,
        height_mm=5.0,
        at=(start_mm - 10, -12, 9),
    )
    return [*pawls, *itertools.chain(*blocks), *stop]


def unlike_gang(parts: int) -> list[Body]:
    """Return the bodies of a gang in which each pawl has a chamfer and a gap to the next of its own."""
    sys.path.insert(0, str(PAWL))
    from pawl import FACES, pawl

    sys.path.remove(str(PAWL))
    bodies = gang(parts)
    for i in range(parts):
        # Gaps of 0 to 0.04 mm, no two neighbours' alike; every fifth pair touches.
        open_mm = sum(0.01 * (2 * k % 5) for k in range(i))
        at = place(at=(bodies[i].at.toTuple()[0][0] + open_mm, 0, 0))
        drawn = pawl(HEEL_MM + 0.01 * i)
        bodies[i] = body(bodies[i].name, drawn, at=at, faces=FACES)
    return bodies


def copied(bodies: Sequence[Body]) -> list[Placed]:
    """Return the bodies with a solid of its own each, as if every one came from its own file.

    Nothing that was worked out for one, such as its triangles, is there for another.
    """
    return [
        Placed(name=b.name, solid=b.solid.copy(), face_names=tuple(b.face_names()), at=b.at) for b in bodies
    ]


def drawn_anew(bodies: Sequence[Body]) -> list[Placed]:
    """Return the bodies with a fresh copy of each drawing, which those that shared one still share.

    Nothing that was kept from a drawing read before is there.
    """
    fresh = {id(b.solid): b.solid.copy() for b in bodies}
    return [
        Placed(name=b.name, solid=fresh[id(b.solid)], face_names=tuple(b.face_names()), at=b.at)
        for b in bodies
    ]


def standing(bodies: Sequence[Body]) -> list[Placed]:
    """Return copies of the bodies moved to where they stand."""
    return [
        Placed(
            name=b.name,
            solid=b.solid.moved(b.at).copy(),
            face_names=tuple(b.face_names()),
            at=Location(),
        )
        for b in bodies
    ]
