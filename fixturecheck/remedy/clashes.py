"""Where bodies are in each other's way when every seat is closed, and on which faces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fixturecheck.contact.candidates import Candidates, Scene
from fixturecheck.contact.find import find_contacts
from fixturecheck.contact.look import find_candidates
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.topology import faces_of, solids_of
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.measure import distance, volume_mm3
from fixturecheck.kernel.place import location_of, world_faces
from fixturecheck.kernel.sample import inside_points
from fixturecheck.kernel.shapes import Face, Placed, Shape
from fixturecheck.physics.rigid import Poses
from fixturecheck.physics.settle import Bounds, Ending, settle
from fixturecheck.remedy.model import Clash
from fixturecheck.settling.bench import Bench, bench_of
from fixturecheck.settling.gaps import gap_um
from fixturecheck.settling.run import loads_of, loose_of
from fixturecheck.settling.starts import backs_of, shifted
from fixturecheck.setup.model import Setup

_ON_MM = 1e-5


def intended(setup: Setup) -> Setup:
    """Return the set-up with its parts where every seat would be closed if nothing else were in the way.

    That is the drawn pose where it closes the seats. Where it does not and staging is stated, the parts
    are settled on the faces of their seats alone.

    Raises
    ------
    NotComputedError
        The seats alone do not stop the parts.
    """
    if setup.staging is None or not setup.seats:
        return setup
    bench = bench_of(setup)
    if all(_closed_as_drawn(bench, k) for k in range(len(setup.seats))):
        return setup
    loose = loose_of(bench, setup.staging)
    loads = loads_of(bench, setup.staging, loose)
    ranks = {body: k for k, body in enumerate(loose)}
    start = shifted(bench.drawn, backs_of(loads, ranks, setup.staging.approach_mm))
    scene = Scene(bench.features, [i in loose for i in range(len(bench.bodies))])
    wanted = _wanted(bench)

    def seats_only(poses: Poses, reach: float, slack: float, deep: float) -> Candidates:
        rows = find_candidates(scene, poses.rotation, poses.origin_mm, reach, slack, deep)
        sides = zip(rows.body_a, rows.face_a, rows.body_b, rows.face_b, strict=True)
        pairs = [frozenset(((int(a), int(i)), (int(b), int(j)))) for a, i, b, j in sides]
        return rows.where(np.flatnonzero([pair in wanted for pair in pairs]))

    raw = settle(loads, start, seats_only, Bounds())
    if raw.ending is not Ending.REST:
        message = f"the seats alone do not hold the parts ({raw.ending}), so there is no pose to relieve for"
        raise NotComputedError(message)
    poses = {bench.bodies[i].name: location_of(raw.poses.matrix(i)) for i in loose}
    bodies = tuple(replace(b, at=poses.get(b.name, b.at)) for b in setup.bodies)
    return replace(setup, bodies=bodies)


def _wanted(bench: Bench) -> set[frozenset[tuple[int, int]]]:
    """Return the pairs of faces that seats state, as body and face numbers."""
    pairs = set()
    for seat in bench.setup.seats:
        for i in bench.setup.body(seat.body).face_indices(seat.face):
            for j in bench.setup.body(seat.on).face_indices(seat.on_face):
                pairs.add(frozenset(((bench.index(seat.body), i), (bench.index(seat.on), j))))
    return pairs


def _closed_as_drawn(bench: Bench, number: int) -> bool:
    """Tell whether a seat touches where it is drawn."""
    seat = bench.setup.seats[number]
    touch = bench.setup.tolerances.touch_um
    gaps = [
        gap_um(bench, bench.drawn, (bench.index(seat.body), i), (bench.index(seat.on), j))
        for i in bench.setup.body(seat.body).face_indices(seat.face)
        for j in bench.setup.body(seat.on).face_indices(seat.on_face)
    ]
    return any(abs(low) <= touch for low, _ in gaps)


def clashes_of(setup: Setup) -> list[Clash]:
    """Return every place where two bodies overlap, each connected piece on its own, the largest first."""
    placed = {b.name: b.placed() for b in setup.bodies}
    found = []
    for overlap in find_contacts(list(placed.values()), setup.tolerances).overlaps:
        a, b = placed[overlap.a], placed[overlap.b]
        faces = world_faces(a), world_faces(b)
        for zone in solids_of(overlap.common):
            volume = volume_mm3(zone)
            if volume <= setup.tolerances.overlap_mm3:
                continue
            faces_a, faces_b = bounding(zone, (a, faces[0]), (b, faces[1]))
            found.append(
                Clash(a=a.name, b=b.name, zone=zone, volume_mm3=volume, faces_a=faces_a, faces_b=faces_b)
            )
    return sorted(found, key=lambda c: (-round(c.volume_mm3, 6), c.a, c.b))


def bounding(
    zone: Shape, one: tuple[Placed, Sequence[Face]], two: tuple[Placed, Sequence[Face]]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the names of the faces of two bodies on which the skin of a zone lies.

    Faces of both that lie in one plane, as the sides of a row of like parts do, bound nothing.
    """
    names: tuple[set[str], set[str]] = (set(), set())
    sides: tuple[set[str], set[str]] = (set(), set())
    for piece in faces_of(zone):
        spot = vertex(inside_points(piece)[0])
        on = [
            {n for n, f in zip(p.face_names, faces, strict=True) if distance(spot, f)[0] <= _ON_MM}
            for p, faces in (one, two)
        ]
        for into, found in zip(sides if all(on) else names, on, strict=True):
            into.update(found)
    first, second = (tuple(sorted(n or s)) for n, s in zip(names, sides, strict=True))
    return first, second
