"""Several bodies put on their seats, each as soon as what it seats on stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.placing.mates import Mate, SeatFace, misfit
from fixturecheck.placing.pose import Closeness, Extent, Pose, UnmetSeat, seat
from fixturecheck.result.rest import FreedomKind
from fixturecheck.rigid import FreeMotion

_SAME_AXIS = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair:
    """A face of one body that goes on a face of another, each in its own body's frame.

    Parameters
    ----------
    name : str
        What the pair is called.
    body, on : str
        The body that seats, and what it seats on.
    own, other : SeatFace
        Their faces.
    rank : int
        Pairs of a lower rank are met first; of one rank, in the order given.
    gap_mm : float
        How far off the face stands.
    """

    name: str
    body: str
    on: str
    own: SeatFace
    other: SeatFace
    rank: int = 0
    gap_mm: float = 0.0

    def turned_round(self) -> Pair:
        """Return the same pair, seen from what it seats on."""
        return Pair(
            name=self.name,
            body=self.on,
            on=self.body,
            own=self.other,
            other=self.own,
            rank=self.rank,
            gap_mm=self.gap_mm,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Follow:
    """A body of a row that stands a stated distance further than the one before.

    Parameters
    ----------
    before : str
        The one before it.
    pitch_mm : float
        How much further.
    away : Pair or None
        The stop of the first of the row, which the row leads away from; None leads toward +X, +Y or +Z.
    """

    before: str
    pitch_mm: float
    away: Pair | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loose:
    """A body that is placed by its seats.

    Parameters
    ----------
    name : str
    extent : Extent
        Its size.
    start : Pose
        As it is drawn.
    along_mm : tuple of float or None
        Where seats leave slides: how far the middle of its first seat is from the middle of what it lies on,
        along each of them.
    turn_rad : float or None
        Where seats leave a turn: how far it is turned from as it is drawn.
    round_about : (point, direction) or None
        The axis, in its own frame, that it is a body of revolution about: a turn about it changes nothing.
    follow : Follow or None
        Where it stands in a row.
    """

    name: str
    extent: Extent
    start: Pose
    along_mm: tuple[float, ...] | None = None
    turn_rad: float | None = None
    round_about: tuple[Floats, Floats] | None = None
    follow: Follow | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unlocated:
    """A body that its seats leave free.

    Parameters
    ----------
    body : str
    free : tuple of FreeMotion
        The motions that are left and not stated.
    waits_for : tuple of str
        Bodies that it seats on and that do not stand either.
    """

    body: str
    free: tuple[FreeMotion, ...]
    waits_for: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Superfluous:
    """Something stated about a freedom that the seats do not leave.

    Parameters
    ----------
    body : str
    stated : int
        How many distances along slides, or turns.
    left : int
        How many slides, or turns, the seats leave.
    turns : bool
        Whether turns are meant.
    """

    body: str
    stated: int
    left: int
    turns: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatConflict:
    """Seats of a body that cannot all be met.

    Parameters
    ----------
    body : str
    pair : Pair
        The one that is not met.
    against : tuple of Pair
        Those that keep it off.
    off_mm : float
        How far its faces are from touching: above zero apart, below zero one within the other.
    lean_rad : float
        The angle between its faces.
    """

    body: str
    pair: Pair
    against: tuple[Pair, ...]
    off_mm: float
    lean_rad: float


Trouble = Unlocated | Superfluous | SeatConflict


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placement:
    """Where bodies stand, and what keeps the others from being placed."""

    poses: Mapping[str, Pose]
    troubles: tuple[Trouble, ...]


def place_on_seats(
    standing: Mapping[str, Pose], loose: Sequence[Loose], pairs: Sequence[Pair], close: Closeness
) -> Placement:
    """Put bodies on their seats, whatever order they are stated in.

    Parameters
    ----------
    standing : mapping of str to Pose
        What stands where it is stated.
    loose : sequence of Loose
        What is placed.
    pairs : sequence of Pair
        All that seats on something.
    close : Closeness
        When a seat counts as met.

    Returns
    -------
    Placement
        Poses of everything that could be placed, and the troubles with the rest.
    """
    return _Placing(dict(standing), loose, sorted(pairs, key=lambda p: p.rank), close).run()


class _Placing:
    def __init__(
        self, poses: dict[str, Pose], loose: Sequence[Loose], pairs: Sequence[Pair], close: Closeness
    ) -> None:
        self.poses, self.pairs, self.close = poses, pairs, close
        self.own: dict[str, list[Pair]] = {}
        self.sides: dict[str, list[Pair]] = {}
        for pair in pairs:
            self.own.setdefault(pair.body, []).append(pair)
            self.sides.setdefault(pair.body, []).append(pair)
            self.sides.setdefault(pair.on, []).append(pair.turned_round())
        self.used: set[str] = set()
        self.left = {one.name: one for one in loose}
        self.moves = frozenset(self.left)
        self.troubles: list[Trouble] = []

    def run(self) -> Placement:
        while self.left and not self.troubles:
            placed = self._try([one for one in self.left.values() if not self._waits_for(one)])
            # Something may be located without what it still waits for, as a part that a block goes up to.
            if not placed and not self._try(list(self.left.values())):
                break
        if self.left and not self.troubles:
            self.troubles += self._stuck()
        if not self.troubles:
            self._check_all()
        return Placement(poses=self.poses, troubles=tuple(self.troubles))

    def _try(self, bodies: Sequence[Loose]) -> bool:
        """Place the bodies located by now; return whether any was placed or found to be unplaceable."""
        found: dict[str, Pose] = {}
        for one in bodies:
            answer = self._placed(one)
            if isinstance(answer, Pose):
                found[one.name] = answer
            elif isinstance(answer, SeatConflict) or not self._may_be_helped(one):
                self.troubles.append(answer)
        for name in found:
            del self.left[name]
            self.used |= {pair.name for pair in self._seats_of(name)}
        self.poses.update(found)
        return bool(found or self.troubles)

    def _may_be_helped(self, one: Loose) -> bool:
        """Tell whether some pair of a body has yet to count, since its other side does not stand."""
        others = [p.on for p in self.sides.get(one.name, ())] + self._waits_for(one)
        return any(name not in self.poses for name in others)

    def _waits_for(self, one: Loose) -> list[str]:
        names = [p.on for p in self.own.get(one.name, ())]
        if one.follow is not None:
            names.append(one.follow.before)
        return list(dict.fromkeys(n for n in names if n not in self.poses))

    def _stuck(self) -> list[Trouble]:
        """Return why the rest is not placed, without what only waits for something that is not."""
        roots = [one for one in self.left.values() if not self._waits_for(one)]
        found: list[Trouble] = []
        for one in roots or list(self.left.values()):
            answer = self._placed(one)
            if isinstance(answer, Unlocated):
                answer = replace(answer, waits_for=tuple(self._waits_for(one)))
            if not isinstance(answer, Pose):
                found.append(answer)
        return found

    def _seats_of(self, name: str) -> list[Pair]:
        """Return the pairs of a body whose other side stands; also those of others that go up to it."""
        return [side for side in self.sides.get(name, ()) if side.on in self.poses]

    def _mates(self, pairs: Sequence[Pair]) -> list[Mate]:
        found = []
        for pair in pairs:
            at = self.poses[pair.on]
            found.append(
                Mate(
                    name=pair.name,
                    own=pair.own,
                    other=pair.other.moved(at.turn, at.shift),
                    gap_mm=pair.gap_mm,
                )
            )
        return found

    def _placed(self, one: Loose) -> Pose | Trouble:
        pairs = self._seats_of(one.name)
        mates = self._mates(pairs)
        seated = seat(mates, one.start, one.extent, self.close)
        if seated.unmet:
            return _conflict(one.name, pairs, seated.unmet[0])
        pose = seated.pose
        slides = [m for m in seated.free if m.kind == FreedomKind.SLIDES]
        turns = [m for m in seated.free if m.kind != FreedomKind.SLIDES]
        if one.turn_rad is not None:
            if len(turns) != 1:
                return Superfluous(body=one.name, stated=1, left=len(turns), turns=True)
            pose = pose.about(_positive(turns[0].axis), turns[0].point_mm, one.turn_rad)
            turns = []
        elif turns and one.round_about is not None:
            turns = [m for m in turns if not _is_about(m, one.round_about, pose)]
        ways = [_positive(m.axis) for m in slides]
        if one.follow is not None and len(ways) == 1 and one.follow.before in self.poses:
            return self._following(one.follow, pose, ways[0]) if not turns else _unlocated(one, turns)
        if one.along_mm is not None:
            if len(ways) != len(one.along_mm):
                return Superfluous(body=one.name, stated=len(one.along_mm), left=len(ways), turns=False)
            pose = _slid(pose, mates[0], ways, one.along_mm)
            slides = []
        left = (*slides, *turns)
        return _unlocated(one, left) if left else pose

    def _following(self, follow: Follow, pose: Pose, way: Floats) -> Pose:
        before = self.poses[follow.before]
        if follow.away is not None:
            stop = self.poses[follow.away.on]
            if float(stop.turn @ follow.away.other.direction @ way) < 0.0:
                way = -way
        missing = float(way @ (before.shift - pose.shift)) + follow.pitch_mm
        return Pose(turn=pose.turn, shift=pose.shift + missing * way)

    def _check_all(self) -> None:
        """Note every pair that no body was placed by and that is not met where the two stand."""
        for pair in self.pairs:
            if pair.name in self.used or not {pair.body, pair.on} & self.moves:
                continue
            (mate,) = self._mates([pair])
            pose = self.poses[pair.body]
            found = misfit(mate, pose.turn, pose.shift, pose.shift)
            lean = float(np.linalg.norm(found.lean_rad))
            off = float(np.max(found.off_mm, initial=0.0, where=found.off_mm > 0.0) or np.min(found.off_mm))
            if lean > self.close.lean_rad or abs(off) > self.close.off_mm:
                others = tuple(p for p in self._seats_of(pair.body) if p.name != pair.name)
                self.troubles.append(
                    SeatConflict(body=pair.body, pair=pair, against=others, off_mm=off, lean_rad=lean)
                )


def _unlocated(one: Loose, free: Sequence[FreeMotion]) -> Unlocated:
    return Unlocated(body=one.name, free=tuple(free), waits_for=())


def _conflict(body: str, pairs: Sequence[Pair], found: UnmetSeat) -> SeatConflict:
    return SeatConflict(
        body=body,
        pair=pairs[found.mate],
        against=tuple(pairs[i] for i in found.against),
        off_mm=found.off_mm,
        lean_rad=found.lean_rad,
    )


def _positive(axis: Floats) -> Floats:
    """Return an axis in the sense in which its greatest part is above zero."""
    return axis if axis[int(np.argmax(np.abs(np.round(axis, 9))))] > 0.0 else -axis


def _is_about(motion: FreeMotion, axis: tuple[Floats, Floats], pose: Pose) -> bool:
    """Tell whether a turn is about an axis of the body."""
    point, direction = pose.apply(axis[0]), pose.turn @ axis[1]
    apart = motion.point_mm - point
    aside = float(np.linalg.norm(apart - direction * (direction @ apart)))
    parallel = abs(float(direction @ motion.axis)) > 1.0 - _SAME_AXIS
    return parallel and aside < _SAME_AXIS * (1.0 + float(np.linalg.norm(apart)))


def _slid(pose: Pose, first: Mate, ways: Sequence[Floats], along_mm: Sequence[float]) -> Pose:
    """Return the pose after slides that put the middle of the first seat where it is stated."""
    own = first.own.moved(pose.turn, pose.shift)
    wanted = [
        far + first.other.middle_mm(way) - own.middle_mm(way) for far, way in zip(along_mm, ways, strict=True)
    ]
    return Pose(turn=pose.turn, shift=pose.shift + np.array(wanted) @ np.array(ways))
