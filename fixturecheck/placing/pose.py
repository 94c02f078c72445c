"""The pose in which a body's faces lie on those they seat on: the seats in order, each in what is left free.

Each seat is met exactly in the freedoms that those before it leave, so that a later seat never shifts an
earlier one; where it cannot be met there, the two contradict. The steps are Newton's on the distances and
angles that miss, solved level by level in the null space of the levels above.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.placing.mates import Mate, Misfit, cross_product, misfit
from fixturecheck.result.rest import FreedomKind
from fixturecheck.rigid import FreeMotion, motions, tidy

_LEAN = 1e-10
"""Parts of a unit normal that are rounding only; what leans more is solved in the general way."""
_NEW = 1e-6


def _flat_pose(mates: Sequence[Mate], turn: Floats, off_mm: float) -> tuple[Floats, Floats] | None:
    """Return the rotation and the shift that put flat faces on flat faces, where these locate the body.

    The first normal takes two turns, the next that is not parallel the third; the offsets along three
    independent normals give the shift, in their order.

    Parameters
    ----------
    mates : sequence of Mate
        The seats, in order.
    turn : ndarray, shape (3, 3)
        The body's rotation as it is drawn.
    off_mm : float
        How far a seat that takes no freedom may miss.

    Returns
    -------
    turn : ndarray, shape (3, 3)
        The rotation.
    shift : ndarray, shape (3,)
        Where the body's origin goes, mm.

    Notes
    -----
    None where a face is not flat, or the seats leave a freedom or contradict.
    """
    if len(mates) < 3 or any(m.own.kind != m.other.kind or m.own.kind != SurfaceKind.PLANE for m in mates):
        return None
    wanted = -np.array([m.other.direction for m in mates])
    own = np.array([m.own.direction for m in mates])
    found = _turned(own, wanted, turn)
    if found is None or np.abs(own @ found.T - wanted).max() > _LEAN:
        return None
    shift = np.zeros(3)
    taken = np.zeros((0, 3))
    for mate in mates:
        normal = mate.other.direction
        missing = float(normal @ (found @ mate.own.point_mm + shift - mate.other.point_mm)) - mate.gap_mm
        new = normal - taken.T @ (taken @ normal)
        size = float(np.linalg.norm(new))
        if size > _NEW:
            shift = shift - new * (missing / size**2)
            taken = np.vstack((taken, new / size))
        elif abs(missing) > off_mm:
            return None
    return (found, shift) if len(taken) == 3 else None


def _turned(own: Floats, wanted: Floats, turn: Floats) -> Floats | None:
    """Return the rotation that takes two normals of a body to where they should look."""
    first = _least_turn(turn @ own[0], wanted[0]) @ turn
    for mine, goal in zip(own[1:], wanted[1:], strict=True):
        axis = wanted[0]
        now = first @ mine
        flat, there = now - axis * (axis @ now), goal - axis * (axis @ goal)
        if min(np.linalg.norm(flat), np.linalg.norm(there)) > _NEW:
            angle = float(np.arctan2(axis @ cross_product(flat, there), flat @ there))
            return np.asarray(Rotation.from_rotvec(axis * angle).as_matrix() @ first)
    return None


def _least_turn(own: Floats, wanted: Floats) -> Floats:
    """Return the rotation, shape (3, 3), that takes one unit direction to another the shortest way.

    Half a turn is about X, or about Y where the direction lies along X.
    """
    axis = cross_product(own, wanted)
    sine, cosine = float(np.linalg.norm(axis)), float(own @ wanted)
    if sine > 1e-9:
        return np.asarray(Rotation.from_rotvec(axis * (np.arctan2(sine, cosine) / sine)).as_matrix())
    return np.eye(3) if cosine > 0.0 else Rotation.from_rotvec(_square_near_x(own) * np.pi).as_matrix()


def _square_near_x(direction: Floats) -> Floats:
    """Return the unit direction square to another that is nearest to X, or to Y where that lies along X."""
    axis = np.eye(3)[0] if abs(direction[0]) < 0.9 else np.eye(3)[1]
    flat = axis - direction * (axis @ direction)
    return np.asarray(flat / np.linalg.norm(flat))


_RANK = 1e-6
"""Singular values below this count as none: rows are of length one at the body's size."""
_STEPS = 40
_DONE = 1e-13
"""Length of a step, as a share of the body's size, that is rounding only."""
_MOST_TURN_RAD = 0.7
_STARTS = 8
_MET = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """Where a body stands: x -> turn x + shift, mm."""

    turn: Floats
    shift: Floats

    @classmethod
    def drawn(cls) -> Pose:
        """Return the pose that leaves the body where its own frame is."""
        return cls(turn=np.eye(3), shift=np.zeros(3))

    def apply(self, point_mm: Floats) -> Floats:
        """Return where a point of the body is, mm."""
        return np.asarray(self.turn @ point_mm + self.shift)

    def after(self, by: Pose) -> Pose:
        """Return the pose followed by another motion of the machine's frame."""
        return Pose(turn=by.turn @ self.turn, shift=by.turn @ self.shift + by.shift)

    def about(self, axis: Floats, point_mm: Floats, angle_rad: float) -> Pose:
        """Return the pose turned about an axis through a point of the machine's frame.

        Parameters
        ----------
        axis : ndarray, shape (3,)
            Unit direction, in the machine's frame.
        point_mm : ndarray, shape (3,)
            A point of the axis.
        angle_rad : float
            Right-handed about the axis.
        """
        turn = Rotation.from_rotvec(axis * angle_rad).as_matrix()
        return self.after(Pose(turn=turn, shift=point_mm - turn @ point_mm))

    def matrix(self) -> Floats:
        """Return the pose as a 4 x 4 matrix."""
        out = np.eye(4)
        out[:3, :3], out[:3, 3] = self.turn, self.shift
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Extent:
    """How large a body is, for turns to be compared with shifts.

    Parameters
    ----------
    middle_mm : ndarray, shape (3,)
        Middle of the body in its own frame.
    size_mm : float
        Its diagonal.
    """

    middle_mm: Floats
    size_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UnmetSeat:
    """A seat that cannot be met where the others put the body.

    Parameters
    ----------
    mate : int
        Which seat, by its number in the order given.
    against : tuple of int
        The seats before it that keep it off; without any one of them it could be met.
    off_mm : float
        How far its faces are from touching: above zero apart, below zero one within the other.
    lean_rad : float
        The angle between its faces.
    """

    mate: int
    against: tuple[int, ...]
    off_mm: float
    lean_rad: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seated:
    """A body put on its seats.

    Parameters
    ----------
    pose : Pose
        Where it stands.
    free : tuple of FreeMotion
        The motions that its seats leave it.
    unmet : tuple of UnmetSeat
        Seats that are not met.
    """

    pose: Pose
    free: tuple[FreeMotion, ...]
    unmet: tuple[UnmetSeat, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Closeness:
    """Below which distance and which angle a seat counts as met."""

    off_mm: float
    lean_rad: float


def seat(mates: Sequence[Mate], start: Pose, extent: Extent, close: Closeness) -> Seated:
    """Put a body on its seats.

    Parameters
    ----------
    mates : sequence of Mate
        Its seats, in order of their rank.
    start : Pose
        As it is drawn; of several poses that meet the seats the one turned least from it is taken.
    extent : Extent
        Size of the body.
    close : Closeness
        When a seat counts as met.

    Returns
    -------
    Seated
        Its pose, what is left free, and which seats contradict.
    """
    flat = _flat_pose(mates, start.turn, close.off_mm)
    if flat is not None:
        return Seated(pose=Pose(turn=flat[0], shift=flat[1]), free=(), unmet=())
    pose = start
    held: list[int] = []
    wrong: list[UnmetSeat] = []
    for number in range(len(mates)):
        levels = [mates[i] for i in (*held, number)]
        found = _met(levels, pose, start, extent, close)
        if found is not None:
            pose = found
            held.append(number)
        else:
            wrong.append(_unmet(mates, held, number, (pose, start), extent, close))
    return Seated(pose=pose, free=_free([mates[i] for i in held], pose, extent), unmet=tuple(wrong))


def _free(mates: Sequence[Mate], pose: Pose, extent: Extent) -> tuple[FreeMotion, ...]:
    """Return the motions that seats leave at a pose."""
    centre = pose.apply(extent.middle_mm)
    rows = [np.zeros((0, 6))]
    for mate in mates:
        found = misfit(mate, pose.turn, pose.shift, centre)
        turns = np.hstack((np.zeros((len(found.turn_rows), 3)), found.turn_rows * extent.size_mm))
        rows += [turns, found.rows]
    return motions(np.vstack(rows), centre, extent.size_mm)


def _met(levels: Sequence[Mate], pose: Pose, start: Pose, extent: Extent, close: Closeness) -> Pose | None:
    """Return the pose that meets all of some seats, turned least from the start; None where there is none."""
    found = _closed_in(levels, _turned_first(levels, pose), extent)
    if _all_met(levels, found, extent, close):
        return found
    best: tuple[float, Pose] | None = None
    for other in _starts(levels, pose, extent):
        found = _closed_in(levels, other, extent)
        if _all_met(levels, found, extent, close):
            turned = float(np.linalg.norm(Rotation.from_matrix(found.turn @ start.turn.T).as_rotvec()))
            if best is None or turned < best[0] - _MET:
                best = turned, found
    return None if best is None else best[1]


def _turned_first(levels: Sequence[Mate], pose: Pose) -> Pose:
    """Turn the body so that its last seat faces the right way, about the seat that is held already."""
    mate = levels[-1]
    own, wanted = pose.turn @ mate.own.direction, _wanted(mate, pose)
    if wanted is None:
        return pose
    held = [m for m in levels[:-1] if m.own.direction.any() and m.other.direction.any()]
    if not held:
        return Pose(turn=_least_turn(own, wanted) @ pose.turn, shift=pose.shift)
    axis = held[0].other.direction if held[0].own.kind == held[0].other.kind else None
    if axis is None:
        return pose
    flat, goal = (v - axis * (axis @ v) for v in (own, wanted))
    if min(np.linalg.norm(flat), np.linalg.norm(goal)) < 1e-6:
        return pose
    angle = float(np.arctan2(axis @ cross_product(flat, goal), flat @ goal))
    return Pose(turn=tidy(Rotation.from_rotvec(axis * angle).as_matrix() @ pose.turn), shift=pose.shift)


def _wanted(mate: Mate, pose: Pose) -> Floats | None:
    """Return where the direction of a seat's own face should point; None where any will do."""
    own, other = pose.turn @ mate.own.direction, mate.other.direction
    if not own.any() or not other.any():
        return None
    kinds = {mate.own.kind, mate.other.kind}
    if SurfaceKind.CONE in kinds and SurfaceKind.PLANE not in kinds:
        # Cones lie in each other one way only; a cone and a bore or a pin either way.
        return other if len(kinds) == 1 or own @ other >= 0.0 else -other
    if mate.own.kind != mate.other.kind:
        flat = own - other * (other @ own)
        length = float(np.linalg.norm(flat))
        # A round face square to where it should lie turns about any axis of the flat one alike.
        return flat / length if length > 1e-6 else _square_near_x(other)
    if mate.own.outward > 0 and mate.other.outward > 0 and mate.own.radius_mm == 0.0:
        return -other
    return other if own @ other >= 0.0 else -other


def _starts(levels: Sequence[Mate], pose: Pose, extent: Extent) -> Iterator[Pose]:
    """Yield the body turned further, where the seats before the last leave it more than one way to lie.

    Flat seats leave turns about one axis, or none. A round one may lie either way along, so that every
    quarter turn is tried.
    """
    centre = pose.apply(extent.middle_mm)
    held = levels[:-1]
    if held and all(m.own.kind == m.other.kind == SurfaceKind.PLANE for m in held):
        free = [m for m in _free(held, pose, extent) if m.kind != FreedomKind.SLIDES]
        for k in range(1, _STARTS if free else 0):
            yield pose.about(free[0].axis, free[0].point_mm, 2.0 * np.pi * k / _STARTS)
        return
    for turn in _QUARTERS:
        yield pose.after(Pose(turn=turn, shift=centre - turn @ centre))


def _quarters() -> list[Floats]:
    """Return the 24 rotations of a cube, least turned first."""
    found = []
    for order in ((0, 1, 2), (1, 2, 0), (2, 0, 1), (0, 2, 1), (2, 1, 0), (1, 0, 2)):
        for signs in np.ndindex(2, 2, 2):
            matrix = np.eye(3)[list(order)] * (1.0 - 2.0 * np.array(signs))
            if np.linalg.det(matrix) > 0.0:
                found.append(matrix)
    return sorted(found, key=lambda m: -round(float(np.trace(m)), 9))


_QUARTERS = _quarters()


def _closed_in(levels: Sequence[Mate], pose: Pose, extent: Extent) -> Pose:
    """Return the pose after steps that meet each seat as well as those before it allow."""
    for _ in range(_STEPS):
        centre = pose.apply(extent.middle_mm)
        step = _step([misfit(m, pose.turn, pose.shift, centre) for m in levels], extent.size_mm)
        turn = float(np.linalg.norm(step[3:]))
        if turn > _MOST_TURN_RAD:
            step = step * (_MOST_TURN_RAD / turn)
        by = Rotation.from_rotvec(step[3:]).as_matrix()
        pose = Pose(turn=tidy(by @ pose.turn), shift=centre + by @ (pose.shift - centre) + step[:3])
        if np.linalg.norm(step[:3]) + turn * extent.size_mm < _DONE * extent.size_mm:
            break
    return pose


def _step(levels: Sequence[Misfit], size_mm: float) -> Floats:
    """Return the shift in mm and the turn in radians that take away what misses, level by level."""
    step = np.zeros(6)
    free = np.eye(6)
    for level in levels:
        missing, rows = level.scaled(size_mm)
        inner = rows @ free
        left, values, right = np.linalg.svd(inner, full_matrices=True)
        rank = int(np.sum(values > _RANK))
        wanted = left[:, :rank].T @ (-missing - rows @ step)
        step = step + free @ (right[:rank].T @ (wanted / values[:rank]))
        free = free @ right[rank:].T
    step[3:] /= size_mm
    return np.asarray(step)


def _all_met(levels: Sequence[Mate], pose: Pose, extent: Extent, close: Closeness) -> bool:
    centre = pose.apply(extent.middle_mm)
    for mate in levels:
        found = misfit(mate, pose.turn, pose.shift, centre)
        if np.abs(found.lean_rad).max(initial=0.0) > close.lean_rad:
            return False
        if np.abs(found.off_mm).max(initial=0.0) > close.off_mm:
            return False
    return True


def _unmet(
    mates: Sequence[Mate],
    held: Sequence[int],
    number: int,
    poses: tuple[Pose, Pose],
    extent: Extent,
    close: Closeness,
) -> UnmetSeat:
    """Say by how much a seat misses, and which of those before it keep it off."""
    pose, start = poses
    levels = [mates[i] for i in (*held, number)]
    near = _closed_in(levels, _turned_first(levels, pose), extent)
    found = misfit(mates[number], near.turn, near.shift, near.apply(extent.middle_mm))
    against = tuple(
        i
        for i in held
        if _met([mates[k] for k in (*held, number) if k != i], pose, start, extent, close) is not None
    )
    off = found.off_mm[np.argmax(np.abs(found.off_mm))] if len(found.off_mm) else 0.0
    return UnmetSeat(
        mate=number,
        against=against or tuple(held),
        off_mm=float(off),
        lean_rad=float(np.linalg.norm(found.lean_rad)),
    )
