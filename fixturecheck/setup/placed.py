"""Bodies put where their seats say: from what was stated to faces and poses, and why it cannot be."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import Mistakes, NotComputedError, SetupError
from fixturecheck.faceref import FaceRef, on
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.place import location_of, matrix_of
from fixturecheck.names import nearest
from fixturecheck.numeric import to_vector
from fixturecheck.placing.bodies import (
    Follow,
    Loose,
    Pair,
    SeatConflict,
    Superfluous,
    Trouble,
    Unlocated,
    place_on_seats,
)
from fixturecheck.placing.mates import SeatFace, SeatFaces, fits
from fixturecheck.placing.pose import Closeness, Extent, Pose
from fixturecheck.result.rest import FreedomKind
from fixturecheck.rigid import FreeMotion
from fixturecheck.setup.gangs import RANK_ORDER, Placing, StatedPlacing
from fixturecheck.setup.model import Body
from fixturecheck.setup.records import BodyRole, Seat
from fixturecheck.setup.validate import face_of
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import METRIC, Writing, axis_text

_NOTHING: Mapping[str, float] = {}


def placed_as_stated(
    bodies: Sequence[Body],
    seats: Sequence[Seat],
    placings: Sequence[StatedPlacing],
    tolerances: Tolerances,
    write: Writing,
) -> tuple[Body, ...]:
    """Return the bodies of a file, with those that their seats place where these put them.

    Parameters
    ----------
    bodies : sequence of Body
        All bodies; those that seats place are not yet where they go.
    seats : sequence of Seat
        All seats that are stated.
    placings : sequence of StatedPlacing
        What is placed by its seats; where it is empty, the bodies stay as they are.
    tolerances : Tolerances
        When faces count as touching and as parallel.
    write : Writing
        The units of messages.

    Returns
    -------
    tuple of Body
        In the order given.

    Raises
    ------
    SetupError
        One is not located, or its seats contradict; each with its line.
    """
    if not placings:
        return tuple(bodies)
    entries = {p.name: p.entry for p in placings}
    problems = _Problems()
    found = _ToPlace(bodies, seats, placings, tolerances, write).placed(problems)
    wrong = Mistakes()
    for name, key, message in problems.found:
        with wrong.noted():
            entries[name].fail(message, key)
    wrong.raise_any()
    before = {b.name: b.at for b in bodies}
    return tuple(b if b.at is before.get(b.name) else replace(b, by_seats=True) for b in found)


def place_by_seats(
    bodies: Sequence[Body],
    seats: Sequence[Seat],
    *,
    names: Iterable[str] | None = None,
    along_mm: Mapping[str, float | Sequence[float]] = _NOTHING,
    turn_deg: Mapping[str, float] = _NOTHING,
    tolerances: Tolerances | None = None,
) -> tuple[Body, ...]:
    """Return bodies with some of them put where their seats say, face on face, those of the first rank first.

    Parameters
    ----------
    bodies : sequence of Body
        Everything that is there; what is not placed stands where it is.
    seats : sequence of Seat
        The seats, also of blocking that is placed.
    names : iterable of str, optional
        What is placed: bodies, or pieces of equipment; every part that has a seat where it is left out.
    along_mm : mapping of str to float or sequence of float
        For what its seats let slide: how far the middle of its first seat is from the middle of the face that
        it lies on, toward +X, +Y or +Z; one number for each slide.
    turn_deg : mapping of str to float
        For what its seats let turn: how far it is turned from the way it is drawn.
    tolerances : Tolerances, optional
        When faces touch.

    Returns
    -------
    tuple of Body
        All bodies, in their order.

    Raises
    ------
    SetupError
        A body is left free, or two of its seats contradict; the message says which and by how much.
    """
    has_seat = {seat.body for seat in seats}
    chosen = (
        [b.name for b in bodies if b.role == BodyRole.PART and b.name in has_seat] if names is None else names
    )
    placings = [
        Placing(name=name, along_mm=_several(along_mm.get(name)), turn_deg=turn_deg.get(name))
        for name in chosen
    ]
    known = {b.name for b in bodies} | {b.group for b in bodies}
    problems = _Problems()
    for name in (*(p.name for p in placings), *along_mm, *turn_deg):
        if name not in known:
            near = nearest(name, [n for n in known if n is not None])
            problems.add(name, f"place_by_seats: no body is named {name!r}; {near}")
    found: tuple[Body, ...] = ()
    if not problems.found:
        found = _ToPlace(bodies, seats, placings, tolerances or Tolerances(), METRIC).placed(problems)
    wrong = Mistakes()
    for _, _, message in problems.found:
        wrong.add(message)
    wrong.raise_any()
    return found


def _several(along_mm: float | Sequence[float] | None) -> tuple[float, ...] | None:
    if along_mm is None:
        return None
    return tuple(along_mm) if isinstance(along_mm, Sequence) else (along_mm,)


class _Problems:
    """What is wrong so far: which body, the key that it hangs on, and the sentence."""

    def __init__(self) -> None:
        self.found: list[tuple[str, str | None, str]] = []

    def add(self, name: str, message: str, key: str | None = None) -> None:
        self.found.append((name, key, message))


@dataclass(frozen=True, slots=True, kw_only=True)
class _NamedPair:
    """A seat with the names of both its faces."""

    body: str
    face: str
    on: str
    on_face: str
    rank: str
    min_share: float
    gap_mm: float = 0.0

    @property
    def name(self) -> str:
        return on(FaceRef.of(self.body, self.face), FaceRef.of(self.on, self.on_face))


class _ToPlace:
    """The bodies of one set-up with what is known of their places."""

    def __init__(
        self,
        bodies: Sequence[Body],
        seats: Sequence[Seat],
        placings: Sequence[Placing],
        tolerances: Tolerances,
        write: Writing,
    ) -> None:
        self.bodies = {b.name: b for b in bodies}
        self.seats, self.write, self.faces = seats, write, SeatFaces()
        self.placings = {p.name: p for p in placings}
        self.unit_of = {b.name: b.group if b.group in self.placings else b.name for b in bodies}
        self.close = Closeness(off_mm=tolerances.touch_mm, lean_rad=math.radians(tolerances.parallel_deg))

    @cached_property
    def units(self) -> Mapping[str, list[Body]]:
        """The bodies of each unit that moves as one, by its name."""
        found: dict[str, list[Body]] = {}
        for body in self.bodies.values():
            found.setdefault(self.unit_of[body.name] or body.name, []).append(body)
        return found

    def placed(self, problems: _Problems) -> tuple[Body, ...]:
        pairs, named = self._pairs(problems)
        if problems.found:
            return ()
        standing = {name: _pose(unit[0]) for name, unit in self.units.items() if name not in self.placings}
        loose = [self._loose(p, pairs) for p in self.placings.values()]
        answer = place_on_seats(standing, loose, pairs, self.close)
        for trouble in answer.troubles:
            problems.add(trouble.body, self._says(trouble))
        if problems.found:
            return ()
        self._check_rows(answer.poses, pairs, named, problems)
        at = {name: location_of(answer.poses[name].matrix()) for name in self.placings}
        return tuple(
            replace(b, at=at[unit]) if (unit := self.unit_of[b.name] or b.name) in at else b
            for b in self.bodies.values()
        )

    def _pairs(self, problems: _Problems) -> tuple[list[Pair], dict[str, _NamedPair]]:
        """Return every seat that something is placed by, those of the lowest rank first."""
        found: list[Pair] = []
        named: dict[str, _NamedPair] = {}
        paired: set[tuple[str, str, str]] = set()
        for one in self._named_pairs(problems):
            owner = one.body if one.body in self.placings else one.on
            try:
                pair = self._pair(one)
            except SetupError as reason:
                # The seats of a gang are stated once, so that what is wrong with one is reported once.
                row = self.placings[owner].row if owner in self.placings else None
                stated = (row.gang if row else owner, one.face, one.on_face)
                if stated not in paired:
                    problems.add(self.unit_of.get(owner) or owner, str(reason))
                paired.add(stated)
                continue
            found.append(pair)
            named[pair.name] = one
        return found, named

    def _named_pairs(self, problems: _Problems) -> Iterator[_NamedPair]:
        for seat in self.seats:
            if {self.unit_of.get(seat.body), self.unit_of.get(seat.on)} & set(self.placings):
                yield _NamedPair(
                    body=seat.body,
                    face=seat.face,
                    on=seat.on,
                    on_face=seat.on_face,
                    rank=seat.rank,
                    min_share=seat.min_share,
                )
        for placing in self.placings.values():
            for only in placing.only:
                try:
                    body, face = self._own(placing.name, only.face)
                except SetupError as reason:
                    problems.add(placing.name, str(reason))
                    continue
                yield _NamedPair(
                    body=body,
                    face=face,
                    on=only.on or "",
                    on_face=only.on_face,
                    rank=only.rank or "primary",
                    min_share=only.min_share,
                    gap_mm=only.gap_mm,
                )

    def _own(self, unit: str, face: str) -> tuple[str, str]:
        """Return the body and the face that the seat of a unit names."""
        bodies = self.units.get(unit, [])
        if len(bodies) == 1:
            return bodies[0].name, face
        ref = FaceRef(face)
        if ref.face and any(b.name == ref.body for b in bodies):
            return ref.body, ref.face
        names = ", ".join(b.name for b in bodies)
        raise SetupError(
            f"seats of {unit!r}: {face!r} must name a body of it and its face, like BODY.FACE; it has {names}"
        )

    def _pair(self, one: _NamedPair) -> Pair:
        where = f"seat of {one.body!r} on {one.on!r}"
        if self.unit_of.get(one.body) == self.unit_of.get(one.on):
            raise SetupError(f"{where}: a body cannot seat on itself; name the body that it lies on")
        own = self._face(one.body, one.face, where)
        other = self._face(one.on, one.on_face, where)
        if not fits(own, other):
            raise SetupError(
                f"{where}: {one.face} ({_shape(own)}) cannot lie on {one.on_face} ({_shape(other)})"
            )
        return Pair(
            name=one.name,
            body=self.unit_of[one.body] or one.body,
            on=self.unit_of[one.on] or one.on,
            own=own,
            other=other,
            rank=RANK_ORDER[one.rank],
            gap_mm=one.gap_mm,
        )

    def _face(self, name: str, face: str, where: str) -> SeatFace:
        body = self.bodies.get(name)
        if body is None:
            raise SetupError(f"{where}: no body is named {name!r}; {nearest(name, self.bodies)}")
        numbers = face_of(body, face, where)
        try:
            return self.faces.read(body.solid, numbers, f"{name}.{face}")
        except NotComputedError as reason:
            raise SetupError(f"{where}: {reason}, which no part is placed by; state at") from reason

    def _loose(self, placing: Placing, pairs: Sequence[Pair]) -> Loose:
        unit = self.units[placing.name]
        shapes = [self.faces.shape(b.solid) for b in unit]
        middle = np.mean([s.middle_mm for s in shapes], axis=0)
        return Loose(
            name=placing.name,
            extent=Extent(middle_mm=middle, size_mm=max(s.size_mm for s in shapes)),
            start=_pose(unit[0]),
            along_mm=placing.along_mm,
            turn_rad=None if placing.turn_deg is None else math.radians(placing.turn_deg),
            round_about=shapes[0].axis if len(unit) == 1 else None,
            follow=_follow(placing, pairs),
        )

    def _says(self, trouble: Trouble) -> str:
        if isinstance(trouble, SeatConflict):
            others = " and ".join(p.name for p in trouble.against) or "the others"
            return f"{trouble.pair.name} contradicts {others}: {self._miss(trouble)}"
        if isinstance(trouble, Superfluous):
            key, what = ("turn_deg", "turn") if trouble.turns else ("along_mm", "slide")
            if not trouble.left:
                return f"{trouble.body!r}: its seats leave no {what}; leave {key} out"
            left = f"{trouble.left} {what}{'s' * (trouble.left > 1)}"
            return f"{trouble.body!r}: its seats leave {left}, and {key} states {trouble.stated}"
        return _says_unlocated(trouble)

    def _miss(self, conflict: SeatConflict) -> str:
        """Say by how much the faces of a seat miss each other."""
        phrases = []
        if conflict.lean_rad > self.close.lean_rad:
            phrases.append(f"the faces stand {math.degrees(conflict.lean_rad):.3g} deg to each other")
        if abs(conflict.off_mm) > self.close.off_mm or not phrases:
            gap = self.write.length(abs(conflict.off_mm), ".3g")
            phrases.append(f"the faces are {gap} {'apart' if conflict.off_mm > 0 else 'into each other'}")
        return ", ".join(phrases)

    def _check_rows(
        self,
        poses: Mapping[str, Pose],
        pairs: Sequence[Pair],
        named: Mapping[str, _NamedPair],
        problems: _Problems,
    ) -> None:
        """Refuse a gang that is longer than what it stands on."""
        rows: dict[str, list[Placing]] = {}
        for placing in self.placings.values():
            if placing.row is not None:
                rows.setdefault(placing.row.gang, []).append(placing)
        for gang, row in rows.items():
            for before, after in pairwise(row):
                way = poses[after.name].shift - poses[before.name].shift
                length = float(np.linalg.norm(way))
                first = next((p for p in pairs if p.body == after.name and p.name in named), None)
                if length == 0.0 or first is None:
                    continue
                share = _share_on(first, poses, way / length)
                if share < named[first.name].min_share:
                    number = row.index(after)
                    under = FaceRef.of(named[first.name].on, named[first.name].on_face)
                    problems.add(
                        after.name,
                        f"{gang!r}: {len(row)} do not fit on {under}: {after.name} reaches over its end with "
                        f"{1.0 - share:.0%} of its seat; at most {number} fit",
                        "count",
                    )
                    break


def _share_on(pair: Pair, poses: Mapping[str, Pose], way: Floats) -> float:
    """Return the share of the length of a seat, along a direction, that lies over what it seats on."""
    own = pair.own.moved(poses[pair.body].turn, poses[pair.body].shift).extent_mm(way)
    other = pair.other.moved(poses[pair.on].turn, poses[pair.on].shift).extent_mm(way)
    shared = min(own[1], other[1]) - max(own[0], other[0])
    return max(0.0, shared) / max(min(own[1] - own[0], other[1] - other[0]), 1e-9)


def _pose(body: Body) -> Pose:
    matrix = matrix_of(body.at)
    return Pose(turn=matrix[:3, :3], shift=matrix[:3, 3])


def _follow(placing: Placing, pairs: Iterable[Pair]) -> Follow | None:
    row = placing.row
    if row is None or row.before is None or row.pitch_mm is None:
        return None
    first = f"{row.gang}_1"
    stops = (p for p in pairs if p.body == first and p.rank == RANK_ORDER["stop"])
    return Follow(before=row.before, pitch_mm=row.pitch_mm, away=next(stops, None))


def _says_unlocated(trouble: Unlocated) -> str:
    """Say what its seats leave a body free to do."""
    if trouble.waits_for:
        waits = " and ".join(map(repr, trouble.waits_for))
        return f"{trouble.body!r} waits for {waits}, which waits for a place itself; state at of one of them"
    motions = " and ".join(map(_motion, trouble.free))
    slides = sum(m.kind is FreedomKind.SLIDES for m in trouble.free)
    keys = [key for key, has in (("along_mm", slides), ("turn_deg", slides < len(trouble.free))) if has]
    return (
        f"{trouble.body!r} is not located by its seats: it {motions}; state one more seat, "
        f"{' and '.join(keys)}, or at"
    )


def _motion(motion: FreeMotion) -> str:
    word = "along" if motion.kind is FreedomKind.SLIDES else "about"
    return f"{motion.kind} {word} {axis_text(to_vector(motion.axis))}"


def _shape(face: SeatFace) -> str:
    if face.kind == SurfaceKind.CONE:
        kind = "countersink" if face.outward < 0 else "cone"
        return f"a {kind} of {2 * math.degrees(face.half_angle_rad):g} degrees"
    return f"a bore of {2 * face.radius_mm:g} mm" if face.outward < 0 else f"a {face.kind}"
