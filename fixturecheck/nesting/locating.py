"""How the seats of each part locate the work, and which stops only close a part in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.faceref import on
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2, face_frame
from fixturecheck.kernel.place import placed_at
from fixturecheck.nesting.model import SettlingModel
from fixturecheck.numeric import to_vector
from fixturecheck.result.rest import LoadedContact, PartLocation, RestPose, SeatTakes, Settled, TargetMoves
from fixturecheck.result.tolerance import CriticalPlace
from fixturecheck.rigid import SeatPoints, located, null_space, seat_rows, sensitivity
from fixturecheck.setup.model import Seat, Setup
from fixturecheck.setup.records import BodyRole, Rank

OPPOSED = -0.9
"""Cosine below which two seats hold a part from opposite sides."""
_IDLE = 1e-3
"""Share of what a part is carried with below which a stop counts as not pressed (a light hand: a quarter)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _TouchingSeat:
    """A seat of a part that touches: the unit normal into the part, what it carries, and what it faces.

    `faced` are the seats that hold the part from the other side; only a seat that closes it in has some.
    """

    seat: Seat
    normal: np.ndarray
    faced: tuple[Seat, ...] = ()


def _closing_seats(
    model: SettlingModel, carried: Sequence[LoadedContact], loose: Iterable[str]
) -> tuple[Seat, ...]:
    """Return the seats of rank `stop` opposite a seat of their part that its pushes press it on.

    A seat that carries nothing under the pushes, or that lies on a fixture that is pushed up against the
    part, holds the part in its place and does not say where that is.

    Parameters
    ----------
    carried : sequence of LoadedContact
        Faces that touch at rest, with what they carry.
    loose : iterable of str
        Bodies that moved to their rest.
    """
    return tuple(held.seat for held in _held(model, carried, set(loose)) if held.faced)


def closing_fixtures(
    model: SettlingModel, carried: Sequence[LoadedContact], loose: Iterable[str]
) -> tuple[int, ...]:
    """Return the fixtures that stay put and touch parts only as stops that close them in.

    A fastened one is not among them where the parts are pressed on another fastened one: the gap between
    the two does not follow the parts.

    Parameters
    ----------
    model : SettlingModel
        The bodies and their seats.
    carried : sequence of LoadedContact
        What touches at rest.
    loose : iterable of str
        Names of the bodies that move.

    Returns
    -------
    tuple of int
        Numbers of bodies in the model, sorted by name.
    """
    moved = set(loose)
    held = _held(model, carried, moved)
    closing = [one for one in held if one.faced]
    pairs = {frozenset((one.seat.own, one.seat.other)) for one in closing}
    busy = {n for one in carried if frozenset((one.a, one.b)) not in pairs for n in one.bodies}
    stays = {
        one.seat.on
        for one in closing
        if _fastened(model, one.seat.on) and any(_leads_to_fastened(model, held, s) for s in one.faced)
    }
    closed = {one.seat.on for one in closing} - moved - busy - stays
    return tuple(model.index(name) for name in sorted(closed))


def _held(model: SettlingModel, carried: Sequence[LoadedContact], moved: set[str]) -> list[_TouchingSeat]:
    """Return every seat that touches, with what it faces if it only closes its part in."""
    found: list[_TouchingSeat] = []
    for part in dict.fromkeys(seat.body for seat in model.setup.seats):
        touching = [
            (seat, acting[1], acting[0].force_n)
            for seat in model.setup.seats
            if seat.body == part and (acting := _acting(carried, seat)) is not None
        ]
        most = max((force for _, _, force in touching), default=0.0)
        kept: list[_TouchingSeat] = []
        # Those that carry most are asked first: of two that face each other one locates.
        for seat, normal, force in sorted(touching, key=lambda one: (one[0].rank == Rank.STOP, -one[2])):
            pushed_up = seat.on in moved and model.setup.body(seat.on).role != BodyRole.PART
            faced = tuple(other.seat for other in kept if float(normal @ other.normal) < OPPOSED)
            if seat.rank == Rank.STOP and faced and (pushed_up or force <= _IDLE * most):
                found.append(_TouchingSeat(seat=seat, normal=normal, faced=faced))
            else:
                kept.append(_TouchingSeat(seat=seat, normal=normal))
        found += kept
    return found


def _leads_to_fastened(model: SettlingModel, held: Sequence[_TouchingSeat], seat: Seat) -> bool:
    """Tell whether a seat is on a fastened fixture, or on a part that is itself seated on one."""
    asked: set[str] = set()
    waiting = [seat]
    normals = {one.seat.other: one.normal for one in held}
    while waiting:
        one = waiting.pop()
        if _fastened(model, one.on):
            return True
        if one.on in asked:
            continue
        asked.add(one.on)
        normal = normals[one.other]
        waiting += [
            other.seat
            for other in held
            if other.seat.body == one.on and float(other.normal @ normal) > -OPPOSED
        ]
    return False


def _fastened(model: SettlingModel, name: str) -> bool:
    """Tell whether a fixture is stated as fastened or belongs to a magnet, as a chuck's rail does."""
    body = model.setup.body(name)
    fellows = [b for b in model.bodies if b is body or (body.group and b.group == body.group)]
    return body.role == BodyRole.FIXTURE and (body.fastened or any(b.pole or b.poles for b in fellows))


def _acting(carried: Sequence[LoadedContact], seat: Seat) -> tuple[LoadedContact, Floats] | None:
    """Return the contact of a seat and the normal out of the support; None where the seat does not touch."""
    pair = frozenset((seat.own, seat.other))
    contact = next((one for one in carried if frozenset((one.a, one.b)) == pair), None)
    if contact is None:
        return None
    # The normal of a contact points out of b into a.
    return contact, np.array(contact.normal) * (1.0 if contact.a == seat.own else -1.0)


_MOVES = 1e-6


def critical_places(setup: Setup) -> tuple[CriticalPlace, ...]:
    """Return the floors and walls of all cuts as places with directions, where they are drawn.

    Parameters
    ----------
    setup : Setup
        Bodies and cuts.

    Returns
    -------
    tuple of CriticalPlace
        By cut, then by part, the floor before the wall.
    """
    return tuple(
        _target(setup, cut.name, part, face)
        for cut in setup.cuts
        for part in cut.parts
        for face in (cut.floor, cut.wall)
        if face is not None
    )


def _target(setup: Setup, cut: str, part: str, face: str) -> CriticalPlace:
    """Return the middle of a target face and the normal there."""
    body = setup.body(part)
    solid = placed_at(body.solid, body.at)
    faces = faces_of(solid)
    pieces = [faces[i] for i in body.face_indices(face)]
    frames = [face_frame(p) for p in pieces]
    middle = np.average([f[0] for f in frames], axis=0, weights=[area_mm2(p) for p in pieces])
    return CriticalPlace(
        name=f"{cut}/{part}.{face}", body=part, at_mm=to_vector(middle), direction=to_vector(frames[0][1]),
        cut=cut, face=face,
    )  # fmt: skip


def parts_located(model: SettlingModel, settled: Settled) -> tuple[PartLocation, ...]:
    """Return how each loose part that has seats is located by those that are closed.

    Parameters
    ----------
    model : SettlingModel
        The bodies and their seats.
    settled : Settled
        Where the parts rest.

    Returns
    -------
    tuple of PartLocation
        One for each loose body with a seat that carries and does not only close it in.
    """
    targets = critical_places(model.setup)
    closing = _closing_seats(model, settled.carried, settled.poses)
    out = []
    for name in settled.poses:
        mine = [s for s in model.setup.seats if s.body == name]
        seats = [(s, p) for s in mine if s not in closing and (p := _points(settled, s))]
        if seats:
            part = _part(model, settled, name, seats, [t for t in targets if t.body == name])
            out.append(replace(part, closing=tuple((s.own, s.other) for s in mine if s in closing)))
    return tuple(out)


def _points(settled: Settled, seat: Seat) -> SeatPoints | None:
    """Return where a seat carries, with normals out of the support into the part."""
    acting = _acting(settled.carried, seat)
    if acting is None:
        return None
    contact, normal = acting
    return SeatPoints(
        name=on(seat.face, seat.other),
        points_mm=np.array(contact.points_mm),
        normal=np.tile(normal, (len(contact.points_mm), 1)),
    )


def _part(
    model: SettlingModel,
    settled: Settled,
    name: str,
    seats: list[tuple[Seat, SeatPoints]],
    targets: list[CriticalPlace],
) -> PartLocation:
    size = model.features[model.index(name)].size_mm
    points = [p for _, p in seats]
    about = np.mean(np.concatenate([p.points_mm for p in points]), axis=0)
    rows = np.concatenate([seat_rows(p.points_mm, p.normal, about) for p in points])
    # Turns count as mm at the part's size, so that small and large parts are judged alike.
    scaled = rows.copy()
    scaled[:, 3:] /= size
    free = null_space(scaled)
    moved = [_moved(model, settled, t, points, (rows, about, free, size)) for t in targets]
    together = located(points, size)
    return PartLocation(
        body=name,
        rank=together.rank,
        seats=tuple(
            SeatTakes(own=seat.own, other=seat.other, rank=seat.rank, role=role)
            for (seat, _), role in zip(seats, together.roles, strict=True)
        ),
        targets=tuple(moved),
    )


def way_to_rest(model: SettlingModel, pose: RestPose) -> Floats:
    """Return what takes points of a body, machine's frame, from where it is drawn to its rest, (4, 4).

    Parameters
    ----------
    model : SettlingModel
        The bodies as drawn.
    pose : RestPose
        Where one of them rests.

    Returns
    -------
    ndarray, shape (4, 4)
        Homogeneous; its shift is in mm.
    """
    return np.asarray(pose.matrix @ np.linalg.inv(model.drawn.matrix(model.index(pose.body))))


def _moved(
    model: SettlingModel,
    settled: Settled,
    target: CriticalPlace,
    points: list[SeatPoints],
    known: tuple[Floats, Floats, Floats, float],
) -> TargetMoves:
    """Return how one target moves, at its place at rest."""
    rows, about, free, size = known
    to_rest = way_to_rest(model, settled.poses[target.body])
    place = to_rest[:3, :3] @ target.at_mm + to_rest[:3, 3]
    direction = to_rest[:3, :3] @ target.direction
    each = sensitivity(rows, about, place, direction)
    ends = np.cumsum([len(p.points_mm) for p in points])[:-1]
    by_seat = tuple((p.name, float(part.sum())) for p, part in zip(points, np.split(each, ends), strict=True))
    seen = np.concatenate((direction, np.cross(place - about, direction) / size))
    loose = float(np.linalg.norm(seen @ free)) if free.shape[1] else 0.0
    # Where a part lies askew, a slide along what it lies on moves its faces by that much.
    askew = float(np.linalg.norm(direction - target.direction))
    return TargetMoves(place=target, by_seat=by_seat, free_mm=loose if loose > _MOVES + askew else 0.0)
