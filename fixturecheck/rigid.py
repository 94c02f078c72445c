"""Rigid bodies in pure numbers: poses, exact small motions, what contacts leave free, and how seats locate.

Each seat point is a row [n, (p - o) x n]: how far the body would leave it for a unit shift or turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from scipy.optimize import linprog
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import compiled, cross, minus, row, times
from fixturecheck.result.rest import FreedomKind, SeatRole

SAME = 1e-6
"""Singular values below this share of the greatest are zero; lengths are scaled by the body's size."""
_SLIDE_SIZES = 1000.0
_LEAST_OPENING = 1e-4


class CandidateRows(Protocol):
    """Places where two bodies might touch: one row each, bodies by index.

    `gap_mm` (n,), `normal` (n, 3) out of body b into body a, `point_a_mm` and `point_b_mm` (n, 3) in the
    machine's frame, `body_a` and `body_b` (n,), and `face_a` and `face_b` (n,) by their bodies' own index.
    """

    @property
    def gap_mm(self) -> Floats: ...  # noqa: D102 - described on the class
    @property
    def normal(self) -> Floats: ...  # noqa: D102 - described on the class
    @property
    def point_a_mm(self) -> Floats: ...  # noqa: D102 - described on the class
    @property
    def point_b_mm(self) -> Floats: ...  # noqa: D102 - described on the class
    @property
    def body_a(self) -> Ints: ...  # noqa: D102 - described on the class
    @property
    def body_b(self) -> Ints: ...  # noqa: D102 - described on the class
    @property
    def face_a(self) -> Ints: ...  # noqa: D102 - described on the class
    @property
    def face_b(self) -> Ints: ...  # noqa: D102 - described on the class


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Poses:
    """Where bodies stand: `rotation` (n, 3, 3) and `origin_mm` (n, 3); x = rotation @ local + origin."""

    rotation: Floats
    origin_mm: Floats

    @classmethod
    def drawn(cls, count: int) -> Poses:
        """Return poses that leave every body where its own frame is."""
        return cls(rotation=np.tile(np.eye(3), (count, 1, 1)), origin_mm=np.zeros((count, 3)))

    def apply(self, body: Any, local_mm: Floats) -> Floats:
        """Return points of bodies `body` (n,) or int, given in their own frames (n, 3), in the machine's.

        Parameters
        ----------
        body : int or ndarray of int, shape (n,)
            One body for all, or one for each row.
        local_mm : ndarray, shape (n, 3) or (3,)
            Points in the bodies' own frames.
        """
        turned = np.einsum("...ij,...j->...i", self.rotation[body], local_mm)
        return np.asarray(turned + self.origin_mm[body])

    def turn(self, body: Any, local: Floats) -> Floats:
        """Return directions of bodies in the machine's frame.

        Parameters
        ----------
        body : int or ndarray of int, shape (n,)
            One body for all, or one for each row.
        local : ndarray, shape (n, 3) or (3,)
            Directions in the bodies' own frames.
        """
        return np.asarray(np.einsum("...ij,...j->...i", self.rotation[body], local))

    def matrix(self, body: int) -> Floats:
        """Return one pose as a 4 x 4 matrix."""
        out = np.eye(4)
        out[:3, :3] = self.rotation[body]
        out[:3, 3] = self.origin_mm[body]
        return out


def moved(poses: Poses, bodies: Ints, centres_mm: Floats, twists: Floats) -> Poses:
    """Return the poses after each of some bodies turns exactly about its centre and shifts.

    Parameters
    ----------
    poses : Poses
        Where all bodies stand.
    bodies : ndarray of int, shape (n,)
        Those that move.
    centres_mm : ndarray, shape (n, 3)
        Where each turn is about, in the machine's frame.
    twists : ndarray, shape (n, 6)
        Shift in mm, then turn in radians.

    Returns
    -------
    Poses
        Where all bodies stand then.
    """
    turns = Rotation.from_rotvec(twists[:, 3:]).as_matrix()
    rotation, origin = poses.rotation.copy(), poses.origin_mm.copy()
    rotation[bodies] = tidy(turns @ rotation[bodies])
    arm = origin[bodies] - centres_mm
    origin[bodies] = centres_mm + np.einsum("nij,nj->ni", turns, arm) + twists[:, :3]
    return Poses(rotation=rotation, origin_mm=origin)


def tidy(rotation: Floats) -> Floats:
    """Return rotations brought back to orthogonal after many products, by one Newton step.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)
        Rotations with rounding errors.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        The same, orthogonal to rounding.
    """
    gram = np.swapaxes(rotation, -1, -2) @ rotation
    return np.asarray(rotation @ (1.5 * np.eye(3) - 0.5 * gram))


def columns_of(rows: CandidateRows, bodies: Ints) -> Ints:
    """Return which of the loose bodies each side of a row is.

    Parameters
    ----------
    rows : CandidateRows
        Places where bodies might touch.
    bodies : ndarray of int, shape (n,)
        The loose bodies.

    Returns
    -------
    ndarray of int, shape (m, 2)
        Their numbers among `bodies`; -1 where that side does not move.
    """
    where = np.full(int(max(rows.body_a.max(initial=0), rows.body_b.max(initial=0), bodies.max())) + 1, -1)
    where[bodies] = np.arange(len(bodies))
    return np.stack((where[rows.body_a], where[rows.body_b]), axis=1)


def slopes(
    rows: CandidateRows, bodies: Ints, centres_mm: Floats, sizes_mm: Floats | None = None
) -> tuple[Ints, Floats]:
    """Return how each gap changes with the twists of its two bodies.

    Parameters
    ----------
    rows : CandidateRows
        Places where bodies might touch.
    bodies : ndarray of int, shape (n,)
        The loose bodies.
    centres_mm : ndarray, shape (n, 3)
        Their centres, in the machine's frame.
    sizes_mm : ndarray, shape (n,), optional
        Lengths at which turns are measured as mm; without them they are radians.

    Returns
    -------
    column : ndarray, shape (m, 2)
        Which of `bodies` each side is; -1 where that side does not move.
    slope : ndarray, shape (m, 2, 6)
        Normal, then (point - centre) x normal, for a; the same with the other sign for b; zero where it
        does not move.
    """
    column = columns_of(rows, bodies)
    laid = np.ascontiguousarray  # the loop is compiled for arrays that are laid out so
    points = laid(rows.point_a_mm), laid(rows.point_b_mm)
    sizes = np.ones(len(bodies)) if sizes_mm is None else sizes_mm
    return column, laid_slopes(column, points, laid(rows.normal), laid(centres_mm), sizes)


@compiled
def laid_slopes(
    column: Ints, points_mm: tuple[Floats, Floats], normals: Floats, centres_mm: Floats, sizes_mm: Floats
) -> Floats:
    """Return how each gap changes with the twists of its two bodies, of arrays that are laid out for a loop.

    Parameters
    ----------
    column : ndarray of int, shape (m, 2)
        Which of the loose bodies each side is; -1 where that side does not move.
    points_mm : tuple of ndarray, shape (m, 3)
        The places on a, and those on b.
    normals : ndarray, shape (m, 3)
        Unit normals out of b into a.
    centres_mm : ndarray, shape (n, 3)
        Centres of the loose bodies, in the machine's frame.
    sizes_mm : ndarray, shape (n,)
        Lengths at which turns are measured as mm.

    Returns
    -------
    ndarray, shape (m, 2, 6)
        As `slopes` gives it.
    """
    slope = np.zeros((len(column), 2, 6))
    for i in range(len(column)):
        for side in range(2):
            body = column[i, side]
            if body < 0:
                continue
            normal = times(1.0 - 2.0 * side, row(normals, i))
            turn = cross(minus(row(points_mm[side], i), row(centres_mm, body)), normal)
            for axis in range(3):
                slope[i, side, axis] = normal[axis]
                slope[i, side, 3 + axis] = turn[axis] / sizes_mm[body]
    return slope


def jacobian(rows: CandidateRows, bodies: Ints, centres_mm: Floats) -> Floats:
    """Return how each gap changes with the twists of the loose bodies.

    Parameters
    ----------
    rows : CandidateRows
        Places where bodies might touch.
    bodies : ndarray of int, shape (n,)
        The loose bodies.
    centres_mm : ndarray, shape (n, 3)
        Their centres, in the machine's frame.

    Returns
    -------
    ndarray, shape (m, 6 n)
        Columns per body: normal, then (point - centre) x normal.
    """
    return by_body(*slopes(rows, bodies, centres_mm), len(bodies))


def by_body(column: Ints, slope: Floats, count: int) -> Floats:
    """Return slopes with six columns for each loose body.

    Parameters
    ----------
    column : ndarray of int, shape (m, 2)
        Which body each side is; -1 where it does not move.
    slope : ndarray, shape (m, 2, 6)
        As `slopes` gives it.
    count : int
        How many bodies are loose.

    Returns
    -------
    ndarray, shape (m, 6 count)
        Zero where a body has no part in a row.
    """
    out = np.zeros((len(column), count, 6))
    for side in (0, 1):
        loose = np.flatnonzero(column[:, side] >= 0)
        out[loose, column[loose, side]] += slope[loose, side]
    return out.reshape(len(column), 6 * count)


def cross_products(a: Floats, b: Floats) -> Floats:
    """Return the cross products of rows; several times faster than numpy's on small arrays.

    Parameters
    ----------
    a, b : ndarray, shape (..., 3)
        Vectors.

    Returns
    -------
    ndarray, shape (..., 3)
        a x b.
    """
    return np.stack(
        (
            a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1],
            a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2],
            a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0],
        ),
        axis=-1,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FreeMotion:
    """A motion that contacts leave.

    Parameters
    ----------
    kind : FreedomKind
        How the body moves.
    axis : ndarray, shape (3,)
        Unit direction of the slide or of the axis.
    point_mm : ndarray, shape (3,)
        A point of the axis; the body's centre for a slide.
    twist : ndarray, shape (6,)
        Shift in mm and turn in radians about the centre, for one mm of slide or one radian of turn.
    """

    kind: FreedomKind
    axis: Floats
    point_mm: Floats
    twist: Floats


def rank_of(rows: Floats) -> int:
    """Return the rank of constraint rows.

    Parameters
    ----------
    rows : ndarray, shape (n, 6)
        Rows whose lengths are already scaled by the body's size.

    Returns
    -------
    int
        Independent rows, 0 to 6.
    """
    if len(rows) == 0:
        return 0
    values = np.linalg.svd(rows, compute_uv=False)
    return int(np.sum(values > SAME * values[0])) if values[0] > 0 else 0


def null_space(rows: Floats) -> Floats:
    """Return the motions that leave every row's gap as it is.

    Parameters
    ----------
    rows : ndarray, shape (n, d)
        How each gap changes with d motions.

    Returns
    -------
    ndarray, shape (d, k)
        An orthonormal basis, one motion a column.
    """
    columns = rows.shape[1]
    if len(rows) == 0:
        return np.eye(columns)
    _, values, vectors = np.linalg.svd(rows, full_matrices=len(rows) < columns)
    rank = int(np.sum(values > SAME * max(values[0], 1e-300)))
    return np.asarray(vectors[rank:].T)


def motions(rows: Floats, centre_mm: Floats, size_mm: float) -> tuple[FreeMotion, ...]:
    """Name the two-way motions left by contacts that all stay closed.

    Parameters
    ----------
    rows : ndarray, shape (n, 6)
        How each gap changes with shift (mm) and turn (rad) about the centre.
    centre_mm : ndarray, shape (3,)
        Centre the turns are about.
    size_mm : float
        Length that makes turns comparable to shifts.

    Returns
    -------
    tuple of FreeMotion
        One for each freedom left, slides first. A turn about an axis that lies a thousand sizes away is a
        slide: over its own size the body turns by less than a thousandth.
    """
    scaled = rows.copy()
    scaled[:, 3:] /= size_mm
    free = null_space(scaled)
    slides = _slides(free)
    free[3:] /= size_mm
    found = [
        FreeMotion(
            kind=FreedomKind.SLIDES, axis=v, point_mm=centre_mm, twist=np.concatenate((v, np.zeros(3)))
        )
        for v in slides
    ]
    for twist in _turns(free, slides, size_mm):
        turn = twist[3:]
        point = centre_mm + np.cross(turn, twist[:3])
        if (shift_mm := float(np.linalg.norm(twist[:3]))) > _SLIDE_SIZES * size_mm:
            slide = twist / shift_mm
            found.append(FreeMotion(kind=FreedomKind.SLIDES, axis=slide[:3], point_mm=centre_mm, twist=slide))
            continue
        pitch = float(turn @ twist[:3])
        kind = FreedomKind.TURNS if abs(pitch) < 1e-6 * size_mm else FreedomKind.SCREWS
        found.append(FreeMotion(kind=kind, axis=turn, point_mm=point, twist=twist))
    return tuple(sorted(found, key=lambda motion: motion.kind is not FreedomKind.SLIDES))


def opening_motion(rows: Floats) -> Floats | None:
    """Return a motion that opens some contact and closes none; None where no motion does.

    Parameters
    ----------
    rows : ndarray, shape (n, 6)
        How each closed gap changes with shift and turn, lengths scaled by the body's size.

    Returns
    -------
    ndarray, shape (6,), or None
        Of the motions with no part above one, the one that opens most in all.

    References
    ----------
    First-order immobility among frictionless contacts, after Reuleaux and Lakshminarayana, from memory:
    nothing solves rows @ t >= 0 but rows @ t = 0. A linear program decides it.
    """
    if len(rows) == 0:
        return None
    found = linprog(-rows.sum(axis=0), A_ub=-rows, b_ub=np.zeros(len(rows)), bounds=(-1.0, 1.0))
    opens = found.x is not None and float((rows @ found.x).max()) > _LEAST_OPENING
    return np.asarray(found.x) if opens else None


def _slides(free: Floats) -> list[Floats]:
    """Return a basis of the pure shifts in an orthonormal basis of motions, machine's axes first."""
    if free.shape[1] == 0:
        return []
    _, values, vectors = np.linalg.svd(free[3:], full_matrices=True)
    turning = int(np.sum(values > SAME))
    return _along_axes(free[:3] @ vectors[turning:].T)


def _turns(free: Floats, slides: list[Floats], size_mm: float) -> list[Floats]:
    """Return one twist of unit turn for each independent direction of turning, freed of slides."""
    out = []
    for axis in _along_axes(free[3:] * size_mm):
        amounts, *_ = np.linalg.lstsq(free[3:] * size_mm, axis * size_mm, rcond=SAME)
        twist = free @ amounts
        for slide in slides:
            twist[:3] -= slide * float(slide @ twist[:3])
        out.append(twist)
    return out


def _along_axes(block: Floats) -> list[Floats]:
    """Return an orthonormal basis of a column space in three dimensions, machine's axes first.

    Columns are of size one or zero up to rounding, so what is small is nothing.
    """
    if block.shape[1] == 0:
        return []
    vectors, values, _ = np.linalg.svd(block, full_matrices=False)
    space = vectors[:, values > SAME]
    found: list[Floats] = []
    while len(found) < space.shape[1]:
        rest = space @ space.T - sum((np.outer(v, v) for v in found), np.zeros((3, 3)))
        best = int(np.argmax(np.round(np.diag(rest), 9)))
        found.append(rest[:, best] / np.linalg.norm(rest[:, best]))
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatPoints:
    """One seat as points that support the body.

    Parameters
    ----------
    name : str
        What it is called.
    points_mm : ndarray, shape (n, 3)
        Points of contact.
    normal : ndarray, shape (n, 3)
        Unit directions from the support into the body.
    """

    name: str
    points_mm: Floats
    normal: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """How the seats together locate the body: `rank` of 6, and what each adds in the order stated."""

    rank: int
    roles: tuple[SeatRole, ...]


def seat_rows(points_mm: Floats, normal: Floats, about_mm: Floats) -> Floats:
    """Return the locating rows of points with normals: normal, then (point - about) x normal.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Seat points.
    normal : ndarray, shape (n, 3)
        Unit directions from the support into the body.
    about_mm : ndarray, shape (3,)
        Point that turns are taken about.

    Returns
    -------
    ndarray, shape (n, 6)
        How far the body leaves each point for a unit shift (mm) or turn (rad).

    References
    ----------
    Asada and By, Kinematic analysis of workpart fixturing [@asada1985], from memory.
    """
    return np.hstack((normal, cross_products(points_mm - about_mm, normal)))


def located(seats: Sequence[SeatPoints], size_mm: float) -> Located:
    """Return the rank of the seats together and what each adds, in the order stated.

    Parameters
    ----------
    seats : sequence of SeatPoints
        Primary first.
    size_mm : float
        Length that makes turns comparable to shifts.

    Returns
    -------
    Located
        Rank of 6, and the role of each seat.

    References
    ----------
    Ranks of the rows of Asada and By [@asada1985], from memory.
    """
    about = np.mean(np.concatenate([s.points_mm for s in seats]), axis=0) if seats else np.zeros(3)
    before: list[tuple[str, Floats]] = []
    roles = []
    for seat in seats:
        rows = seat_rows(seat.points_mm, seat.normal, about)
        rows[:, 3:] /= size_mm
        held = np.concatenate([r for _, r in before]) if before else np.zeros((0, 6))
        takes = rank_of(np.concatenate((held, rows))) - rank_of(held)
        wants = rank_of(rows)
        fights = _fights(before, rows) if takes < wants else ()
        roles.append(SeatRole(name=seat.name, takes=takes, wants=wants, fights=fights))
        before.append((seat.name, rows))
    every = np.concatenate([r for _, r in before]) if before else np.zeros((0, 6))
    return Located(rank=rank_of(every), roles=tuple(roles))


def _fights(before: list[tuple[str, Floats]], rows: Floats) -> tuple[str, ...]:
    """Return the seats without which the new one would take all it wants, or all of them if none alone."""
    guilty = []
    for name, own in before:
        others = [r for n, r in before if n != name]
        rest = np.concatenate(others) if others else np.zeros((0, 6))
        everything = np.concatenate((rest, own))
        without = rank_of(np.concatenate((rest, rows))) - rank_of(rest)
        with_it = rank_of(np.concatenate((everything, rows))) - rank_of(everything)
        if without > with_it:
            guilty.append(name)
    return tuple(guilty) or tuple(name for name, _ in before)


def sensitivity(rows: Floats, about_mm: Floats, target_mm: Floats, direction: Floats) -> Floats:
    """Return how a point of the work moves along a direction per unit error of each seat point.

    Parameters
    ----------
    rows : ndarray, shape (n, 6)
        Locating rows; more than six, or fewer, give the least-squares move.
    about_mm, target_mm : ndarray, shape (3,)
        The point turns are taken about, and the point of the work.
    direction : ndarray, shape (3,)
        Unit direction in which the work is measured.

    Returns
    -------
    ndarray, shape (n,)
        um per um.

    References
    ----------
    Cai, Hu and Yuan, A variational method of robust fixture configuration design [@cai1997], from memory: the
    linear relation rows @ twist = error, solved by least squares.
    """
    seen = np.concatenate((direction, np.cross(target_mm - about_mm, direction)))
    return np.asarray(seen @ np.linalg.pinv(rows, rcond=1e-9))
