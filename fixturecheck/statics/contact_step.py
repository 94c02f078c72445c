"""One step of settling as a convex programme, without the contacts that others imply.

Which contacts between two flat faces can be left out of a step because others imply them.
Points of one face over another keep off it as soon as the outermost of them do: every other point lies
between those, so its gap and how it changes are a mean of theirs, whatever the bodies do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

import clarabel
import numpy as np
from scipy import sparse

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import Vector, compiled, cross, dot, length, minus, row, times
from fixturecheck.errors import NotComputedError
from fixturecheck.rigid import CandidateRows, Poses, cross_products, laid_slopes, slopes

SAME = 1e-9
"""Normals that differ by less are one; points no further off a plane or a line, as a share, are on it."""


def outermost(rows: CandidateRows, some: Ints) -> Ints:
    """Return those of some rows that the others do not imply.

    Parameters
    ----------
    rows : CandidateRows
        All rows.
    some : ndarray, shape (m,)
        Numbers of rows, ascending.

    Returns
    -------
    ndarray, shape (k,)
        Ascending; all of them where nothing is implied.
    """
    if len(some) == 0:
        return some
    laid = np.ascontiguousarray  # the loop is compiled for arrays that are laid out so
    names = laid(rows.body_a), laid(rows.face_a), laid(rows.body_b), laid(rows.face_b)
    return _outermost(some, names, (laid(rows.point_a_mm), laid(rows.normal), laid(rows.gap_mm)))


@compiled
def _outermost(
    some: Ints, names: tuple[Ints, Ints, Ints, Ints], where: tuple[Floats, Floats, Floats]
) -> Ints:
    """Return those of some rows that are outermost, by bodies and faces, and places, normals and gaps."""
    points, normals, gaps = where
    count = len(some)
    keys, mixed = np.empty((count, 7), dtype=np.int64), np.zeros(count, dtype=np.int64)
    for i in range(count):
        for k in range(4):
            keys[i, k] = names[k][some[i]]
        for axis in range(3):
            keys[i, 4 + axis] = np.int64(np.rint(normals[some[i], axis] / (1e3 * SAME)))
        for k in range(7):
            mixed[i] = mixed[i] * 1000003 + keys[i, k]
    # Stable, so that the rows of a face stay in order. Two faces that mix to one number only leave more rows.
    order = np.argsort(mixed, kind="mergesort")
    starts, faces = np.zeros(count + 1, dtype=np.int64), 0
    for i in range(count):
        if i == 0 or np.any(keys[order[i]] != keys[order[i - 1]]):
            starts[faces] = i
            faces += 1
    starts[faces] = count
    ranked = some[order]
    kept = outermost_of(starts[: faces + 1], points[ranked], normals[ranked], gaps[ranked])
    return np.sort(ranked[kept])


@compiled
def outermost_of(starts: Ints, points_mm: Floats, normals: Floats, gaps_mm: Floats) -> Bools:
    """Tell which rows of each group, one face over another, are outermost.

    Parameters
    ----------
    starts : ndarray, shape (groups + 1,)
        Where each group starts.
    points_mm, normals, gaps_mm : ndarray, shape (n, 3), (n, 3) and (n,)
        The rows.

    Returns
    -------
    ndarray of bool, shape (n,)
        False for rows that the others of their group imply.
    """
    kept = np.ones(len(gaps_mm), dtype=np.bool_)
    for k in range(len(starts) - 1):
        first, last = starts[k], starts[k + 1]
        if last - first < 4:
            continue
        normal = row(normals, first)
        u = _beside(normal)
        v = cross(normal, u)
        x, y = np.empty(last - first), np.empty(last - first)
        same = True
        for i in range(first, last):
            arm = minus(row(points_mm, i), row(points_mm, first))
            x[i - first], y[i - first] = dot(arm, u), dot(arm, v)
            same = same and length(minus(row(normals, i), normal)) < SAME
        if same and _level(x, y, gaps_mm[first:last]):
            kept[first:last] = _hull(x, y)
    return kept


@compiled
def _beside(normal: Vector) -> Vector:
    """Return a unit direction square to another."""
    x, y, z = abs(normal[0]), abs(normal[1]), abs(normal[2])
    axis = (1.0, 0.0, 0.0) if x <= y and x <= z else ((0.0, 1.0, 0.0) if y <= z else (0.0, 0.0, 1.0))
    out = cross(normal, axis)
    return times(1.0 / length(out), out)


@compiled
def _level(x_mm: Floats, y_mm: Floats, gaps_mm: Floats) -> bool:
    """Tell whether gaps rise evenly over a plane: the points are of one flat face."""
    a = b = 0
    for i in range(len(x_mm)):
        if x_mm[i] ** 2 + y_mm[i] ** 2 > x_mm[a] ** 2 + y_mm[a] ** 2:
            a = i
    for i in range(len(x_mm)):
        if abs(x_mm[a] * y_mm[i] - y_mm[a] * x_mm[i]) > abs(x_mm[a] * y_mm[b] - y_mm[a] * x_mm[b]):
            b = i
    area = x_mm[a] * y_mm[b] - y_mm[a] * x_mm[b]
    size = abs(x_mm[a]) + abs(y_mm[a])
    if abs(area) <= SAME * size * size:
        return False
    rise_a, rise_b = gaps_mm[a] - gaps_mm[0], gaps_mm[b] - gaps_mm[0]
    slope_x = (rise_a * y_mm[b] - rise_b * y_mm[a]) / area
    slope_y = (x_mm[a] * rise_b - x_mm[b] * rise_a) / area
    worst = 0.0
    for i in range(len(x_mm)):
        worst = max(worst, abs(gaps_mm[i] - gaps_mm[0] - slope_x * x_mm[i] - slope_y * y_mm[i]))
    return worst <= SAME


@compiled
def _hull(x_mm: Floats, y_mm: Floats) -> Bools:
    """Tell which points are corners of the convex hull (Andrew's monotone chain)."""
    count = len(x_mm)
    kept, chain, order = np.zeros(count, dtype=np.bool_), np.empty(count, np.int64), np.empty(count, np.int64)
    for i in range(count):
        k = i
        while k > 0:
            j = order[k - 1]
            # The chain loses corners where points one above the other are not in order.
            if x_mm[j] < x_mm[i] or (x_mm[j] == x_mm[i] and y_mm[j] <= y_mm[i]):
                break
            order[k] = j
            k -= 1
        order[k] = i
    for turn in range(2):
        long = 0
        for rank in range(count):
            i = order[rank] if turn == 0 else order[count - 1 - rank]
            while long >= 2:
                p, q = chain[long - 2], chain[long - 1]
                left = (x_mm[q] - x_mm[p]) * (y_mm[i] - y_mm[p]) - (y_mm[q] - y_mm[p]) * (x_mm[i] - x_mm[p])
                if left > 0.0:  # any allowance loses corners where points are all but one above the other
                    break
                long -= 1
            chain[long] = i
            long += 1
        for k in range(long):
            kept[chain[k]] = True
    return kept


FINEST_MM = 1e-3
"""Looks never reach less far than this."""
AT_REST_MM = 1e-6
"""Gaps no wider than this at a rest are taken as closed, so that contacts carry the whole load."""
LIGHTEST, UNLOADED = 1e-6, 0.05
"""Share of the greatest force below which a body counts as having no load, and what its moves cost then."""
IDLE = 1e-9
"""Share of the greatest force below which a contact is taken to carry none."""
FAINT, SAME_STEP = 1e-4, 1e-9
"""Share of the greatest force below which a contact may be left out, and how little that may change."""
ALMOST = 1e-8
"""How far from its conditions an answer is still taken where the solver stopped short of its own aim."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SteadyLoad:
    """Steady load on one loose body.

    Parameters
    ----------
    body : int
        Which body.
    force_n : ndarray, shape (3,)
        Sum of weight, pull and push in the machine's frame; keeps its direction.
    at_mm : ndarray, shape (3,)
        Point of the body it acts at, in the body's own frame.
    centre_mm : ndarray, shape (3,)
        Centre of the body in its own frame, about which turns are measured.
    size_mm : float
        Length that turns a rotation into a displacement; about half the body's diagonal.
    also : tuple of (force_n, at_mm)
        Further steady forces with their own points, such as a hand's push beside the weight.
    """

    body: int
    force_n: Floats
    at_mm: Floats
    centre_mm: Floats
    size_mm: float
    also: tuple[tuple[Floats, Floats], ...] = ()

    def all_forces(self) -> tuple[tuple[Floats, Floats], ...]:
        """Return every force with its point."""
        return ((self.force_n, self.at_mm), *self.also)

    def total_n(self) -> Floats:
        """Return the sum of the forces."""
        return np.asarray(np.sum([force for force, _ in self.all_forces()], axis=0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoadArrays:
    """The loads as arrays."""

    bodies: Ints
    owner: Ints
    force: Floats
    at: Floats
    centre: Floats
    size: Floats
    unit_n: float

    def centres(self, poses: Poses) -> Floats:
        """Return the centres in the machine's frame."""
        return poses.apply(self.bodies, self.centre)

    def wrench(self, poses: Poses) -> Floats:
        """Return force and moment over size about the centres, in units of the greatest force."""
        arm = poses.turn(self.bodies[self.owner], self.at - self.centre[self.owner])
        each = np.hstack((self.force, cross_products(arm, self.force) / self.size[self.owner, None]))
        out = np.zeros((len(self.bodies), 6))
        np.add.at(out, self.owner, each)
        return out / self.unit_n

    def seat(self) -> Floats:
        """Return what seats each body, (n,), in greatest forces: its first force, or all if that is zero."""
        first = np.array([int(np.argmax(self.owner == i)) for i in range(len(self.bodies))])
        size = np.linalg.norm(self.force[first], axis=1)
        every = np.zeros(len(self.bodies))
        np.add.at(every, self.owner, np.linalg.norm(self.force, axis=1))
        return np.asarray(np.where(size > 0.0, size, every) / self.unit_n)

    def places(self, poses: Poses) -> Floats:
        """Return where each force acts, in the machine's frame."""
        return poses.apply(self.bodies[self.owner], self.at)

    def potential(self, poses: Poses, from_mm: Floats) -> float:
        """Return the potential in mm, in greatest forces: zero where the loads act at `from_mm`.

        Parameters
        ----------
        poses : Poses
            Where the bodies are.
        from_mm : ndarray, shape (n, 3)
            A place for each force, in the machine's frame.
        """
        return -float(np.sum(self.force * (self.places(poses) - from_mm))) / self.unit_n


def gentled(load: SteadyLoad, share: float) -> SteadyLoad:
    """Return a load whose further forces are no greater than a share of its first one, each in its direction.

    A load that has no first force, or no further ones that are greater, comes back as it is.

    Parameters
    ----------
    load : SteadyLoad
        Load on one body.
    share : float
        Greatest further force over the first.

    Returns
    -------
    SteadyLoad
        The same, or a gentler one.
    """
    most = share * float(np.linalg.norm(load.force_n))
    sizes = [float(np.linalg.norm(force)) for force, _ in load.also]
    if most == 0.0 or max(sizes, default=0.0) <= most:
        return load
    also = [
        (force * min(1.0, most / max(size, 1e-300)), at)
        for size, (force, at) in zip(sizes, load.also, strict=True)
    ]
    return replace(load, also=tuple(also))


def greatest_force(loads: list[SteadyLoad]) -> float:
    """Return the greatest force on any body.

    Parameters
    ----------
    loads : list of SteadyLoad
        One for each loose body.

    Returns
    -------
    float
        N; zero where there is none.
    """
    forces = [force for one in loads for force, _ in one.all_forces()]
    return max((float(np.linalg.norm(force)) for force in forces), default=0.0)


def load_arrays(loads: list[SteadyLoad], unit_n: float) -> LoadArrays:
    """Return the loads as arrays.

    Parameters
    ----------
    loads : list of SteadyLoad
        One for each loose body.
    unit_n : float
        Force that counts as one.

    Returns
    -------
    LoadArrays
        The loads in that unit.
    """
    each = [(i, force, at) for i, one in enumerate(loads) for force, at in one.all_forces()]
    return LoadArrays(
        bodies=np.array([one.body for one in loads]),
        owner=np.array([i for i, _, _ in each]),
        force=np.array([force for _, force, _ in each], dtype=float),
        at=np.array([at for _, _, at in each], dtype=float),
        centre=np.array([one.centre_mm for one in loads], dtype=float),
        size=np.array([one.size_mm for one in loads], dtype=float),
        unit_n=unit_n,
    )


def wrenches(loads: list[SteadyLoad], poses: Poses) -> Floats:
    """Return the force and moment on each loose body about its centre.

    Parameters
    ----------
    loads : list of SteadyLoad
        One for each loose body.
    poses : Poses
        Where all bodies stand.

    Returns
    -------
    ndarray, shape (n, 6)
        Force (N), and moment over the body's size (N).
    """
    return load_arrays(loads, 1.0).wrench(poses)


def forces_at(loads: list[SteadyLoad], poses: Poses, rows: CandidateRows, touch_mm: float) -> Floats:
    """Return the force that each candidate row carries when bodies rest at these poses under these loads.

    Rows that are open carry nothing. Where more contacts touch than statics needs, forces are the least ones
    that balance, by their squares: equal contacts share equally, and two that face each other across a part
    do not press for nothing.

    Parameters
    ----------
    loads : list of SteadyLoad
        One for each loose body.
    poses : Poses
        Where all bodies stand.
    rows : CandidateRows
        Places where they might touch.
    touch_mm : float
        Overlaps no deeper than this count as touching.

    Returns
    -------
    ndarray, shape (m,)
        N.

    Raises
    ------
    NotComputedError
        The rows overlap so that no move clears them, which no rest has.
    """
    greatest = greatest_force(loads)
    nothing = np.zeros(len(rows.gap_mm))
    if greatest == 0.0 or len(nothing) == 0:
        return nothing
    frame = load_arrays(loads, greatest)
    solved = programme(frame, poses, rows, FINEST_MM, closed_mm=AT_REST_MM, slack_mm=touch_mm)
    if solved is None:
        raise NotComputedError(
            "the contacts at rest contradict each other, so their forces could not be worked out"
        )
    return _least(frame, poses, rows, solved[1])


def _least(frame: LoadArrays, poses: Poses, rows: CandidateRows, force: Floats) -> Floats:
    """Return the forces of least squares that do to the bodies what some forces do."""
    carries = np.flatnonzero(force > IDLE * force.max(initial=0.0))
    if len(carries) == 0:
        return force
    column, slope = slopes(rows, frame.bodies, frame.centres(poses), frame.size)
    acts = _packed(column[carries], slope[carries], len(frame.bodies)).matrix().T.tocsc()
    count = len(carries)
    # Forces are found in units of the greatest, so that the solver's own aims mean the same for all.
    unit = float(force.max())
    solution = clarabel.DefaultSolver(
        sparse.eye(count, format="csc"),
        np.zeros(count),
        sparse.vstack((acts, -sparse.eye(count)), format="csc"),
        np.concatenate((acts @ (force[carries] / unit), np.zeros(count))),
        [clarabel.ZeroConeT(acts.shape[0]), clarabel.NonnegativeConeT(count)],
        _settings(refine=True),
    ).solve()
    if str(solution.status) != "Solved":
        return force
    found = np.zeros(len(force))
    found[carries] = _without_idle(acts.toarray(), np.maximum(np.asarray(solution.x), 0.0)) * unit
    return found


def _without_idle(acts: Floats, force: Floats) -> Floats:
    """Return least forces with those that are all but zero left out, where the others do the same alone.

    The solver ends at sums of squares, so what should be zero is known to the root of its aim only.
    """
    keep = force > FAINT * force.max()
    some = np.linalg.lstsq(acts[:, keep], acts @ force, rcond=1e-12)[0]
    left = float(np.abs(acts[:, keep] @ some - acts @ force).max())
    if left > SAME_STEP or float(some.min()) < 0.0:
        return force
    found = np.zeros(len(force))
    found[keep] = some
    return found


def programme(
    frame: LoadArrays,
    poses: Poses,
    rows: CandidateRows,
    step_mm: float,
    closed_mm: float = 0.0,
    slack_mm: float = 0.0,
) -> tuple[Floats, Floats] | None:
    """Solve one step of settling.

    Parameters
    ----------
    frame : LoadArrays
        The loads.
    poses : Poses
        Where all bodies stand.
    rows : CandidateRows
        Places where they might touch.
    step_mm : float
        Length of a step that is neither short nor long: moves are solved for in units of it.
    closed_mm : float
        Gaps no further from zero than this are taken as zero, so that forces are those at rest.
    slack_mm : float
        Overlaps no deeper than this are taken as touching.

    Returns
    -------
    tuple of ndarray, or None
        Twists (n, 6) of the loose bodies, shift in mm and turn in radians, and the force (m,) of each row in
        N; None where no small move opens every overlap.

    Raises
    ------
    NotComputedError
        The solver found neither a step nor that there is none.
    """
    count = len(frame.bodies)
    wrench = frame.wrench(poses)
    metric = metric_of(wrench)
    laid = np.ascontiguousarray  # the loop is compiled for arrays that are laid out so
    near, room, data, indices, starts = _constraints(
        (laid(rows.body_a), laid(rows.face_a), laid(rows.body_b), laid(rows.face_b)),
        (laid(rows.point_a_mm), laid(rows.point_b_mm), laid(rows.normal), laid(rows.gap_mm)),
        (frame.bodies, laid(frame.centres(poses)), frame.size, metric),
        (float(np.sqrt(np.sum(wrench**2 / metric[:, None]))), step_mm, closed_mm, slack_mm),
    )
    flat = np.repeat(metric, 6)
    kept = Slopes(data, indices, starts, shape=(len(near), 6 * count))
    solved = solve_quadratic(flat, wrench.ravel(), kept, room)
    if solved is None:
        return None
    move, multiplier = solved
    force = np.zeros(len(rows.gap_mm))
    force[near] = multiplier * frame.unit_n
    twists = move.reshape(count, 6) * step_mm
    twists[:, 3:] /= frame.size[:, None]
    return twists, force


def metric_of(wrench: Floats) -> Floats:
    """Return what a move of each body costs: its own load, so that light bodies move as readily as others.

    Parameters
    ----------
    wrench : ndarray, shape (n, 6)
        Load of each body in units of the greatest force.

    Returns
    -------
    ndarray, shape (n,)
        Positive weight of the squares of each body's moves.
    """
    size = np.linalg.norm(wrench, axis=1)
    return np.asarray(np.where(size > LIGHTEST, size, UNLOADED))


class Slopes(NamedTuple):
    """Slopes of several rows as the solver reads a sparse matrix, (m, n), column by column."""

    data: Floats
    indices: Ints
    indptr: Ints
    shape: tuple[int, int]
    has_canonical_format: bool = True

    def matrix(self) -> sparse.csc_matrix:
        """Return the matrix that it is."""
        return sparse.csc_matrix((self.data, self.indices, self.indptr), shape=self.shape)


def _packed(column: Ints, slope: Floats, count: int) -> Slopes:
    """Return slopes (m, 2, 6) of two bodies as those (m, 6 * count) of all of them."""
    return Slopes(*_by_column(column, slope, count), shape=(len(column), 6 * count))


@compiled
def _by_column(column: Ints, slope: Floats, count: int) -> tuple[Floats, Ints, Ints]:
    """Return the slopes that are not zero by column, their rows in order, and where each column starts."""
    starts = np.zeros(6 * count + 1, dtype=np.int64)
    for i in range(len(column)):
        for side in range(2):
            for axis in range(6):
                if column[i, side] >= 0 and slope[i, side, axis] != 0.0:
                    starts[6 * column[i, side] + axis + 1] += 1
    starts = np.cumsum(starts)
    data, rows = np.empty(starts[-1]), np.empty(starts[-1], dtype=np.int64)
    free = starts.copy()
    for i in range(len(column)):
        for side in range(2):
            for axis in range(6):
                if column[i, side] >= 0 and slope[i, side, axis] != 0.0:
                    at = free[6 * column[i, side] + axis]
                    data[at], rows[at] = slope[i, side, axis], i
                    free[6 * column[i, side] + axis] += 1
    return data, rows, starts


@compiled
def _distinct(column: Ints, slope: Floats, room: Floats, near: Ints) -> Ints:
    """Return the rows of which no other says the same; faces that match see each corner from both sides."""
    mixed = np.zeros(len(near))
    for k in range(len(near)):
        i = near[k]
        # Of two bodies the row may start with either, so what is compared does not know which comes first.
        for side in range(2):
            each = 0.0
            for axis in range(6):
                each += slope[i, side, axis] * np.cos(axis * 1.7 + 0.3)
            mixed[k] += each * np.cos(column[i, side] * 2.3 + 0.7)
        mixed[k] = np.rint(1e9 * (mixed[k] + 1.3 * room[i]))
    order = np.argsort(mixed, kind="mergesort")
    kept = np.zeros(len(near), dtype=np.bool_)
    for k in range(len(near)):
        kept[order[k]] = k == 0 or mixed[order[k]] != mixed[order[k - 1]]
    return near[kept]


@compiled
def _constraints(
    names: tuple[Ints, Ints, Ints, Ints],
    places: tuple[Floats, Floats, Floats, Floats],
    loose: tuple[Ints, Floats, Floats, Floats],
    sizes: tuple[float, float, float, float],
) -> tuple[Ints, Floats, Floats, Ints, Ints]:
    """Return which rows may stop a step, their room in steps, and their slopes by column.

    Parameters
    ----------
    names : tuple of ndarray, shape (m,)
        Body and face of a, body and face of b.
    places : tuple of ndarray, shape (m, 3), (m, 3), (m, 3) and (m,)
        Place on a, place on b, normal and gap.
    loose : tuple of ndarray, shape (n,), (n, 3), (n,) and (n,)
        The bodies that move, their centres and sizes, and the metric.
    sizes : tuple of float
        Length of the free move in the metric; then as for `programme`: step, closed gap and slack.
    """
    on_a, on_b, normals, gaps = places
    bodies, centres_mm, sizes_mm, metric = loose
    free, step_mm, closed_mm, slack_mm = sizes
    count = len(gaps)
    column = np.full((count, 2), -1, dtype=np.int64)
    for k in range(len(bodies)):
        for i in range(count):
            if names[0][i] == bodies[k]:
                column[i, 0] = k
            if names[2][i] == bodies[k]:
                column[i, 1] = k
    slope = laid_slopes(column, (on_a, on_b), normals, centres_mm, sizes_mm)
    room, near, reached = np.empty(count), np.empty(count, dtype=np.int64), 0
    for i in range(count):
        touches = abs(gaps[i]) <= closed_mm or (gaps[i] < 0.0 and gaps[i] >= -slack_mm)
        room[i] = 0.0 if touches else gaps[i] / step_mm
        # The furthest that the gap can close, given that staying put is nearly allowed: the step is the
        # projection of the free move on a convex set that (nearly) holds zero, so in the metric it is no
        # longer than twice the free move.
        steep = 0.0
        for side in range(2):
            squares = 0.0
            for axis in range(6):
                squares += slope[i, side, axis] * slope[i, side, axis]
            steep += squares / (metric[column[i, side]] if column[i, side] >= 0 else 1.0)
        if room[i] <= 2.2 * free * math.sqrt(steep) + 1e-9:
            near[reached] = i
            reached += 1
    kept = near[:reached]
    if reached > 0:
        kept = _distinct(column, slope, room, _outermost(kept, names, (on_a, normals, gaps)))
    data, rows, starts = _by_column(column[kept], slope[kept], len(bodies))
    return kept, room[kept], data, rows, starts


def solve_quadratic(
    metric: Floats, load: Floats, slope: Floats | Slopes, room: Floats
) -> tuple[Floats, Floats] | None:
    """Minimise x'diag(metric)x/2 - load'x subject to room + slope x >= 0.

    Parameters
    ----------
    metric, load : ndarray, shape (n,)
        Positive diagonal and linear term.
    slope, room : ndarray or Slopes, shape (m, n), and ndarray, shape (m,)
        The constraints.

    Returns
    -------
    (x, multipliers) or None
        None when it is proved that no x meets the constraints.

    Raises
    ------
    NotComputedError
        The solver stopped at something that is neither a solution nor a proof that there is none.
    """
    if len(room) == 0:
        return load / metric, np.zeros(0)
    # To refine every step of the solver doubles its time and is seldom needed.
    solution = _asked(metric, load, slope, room, refine=False)
    if str(solution.status) != "Solved":
        solution = _asked(metric, load, slope, room, refine=True)
    status = str(solution.status)
    if status == "PrimalInfeasible":
        return None
    move, multiplier = np.asarray(solution.x), np.maximum(np.asarray(solution.z), 0.0)
    if status != "Solved":
        whole = slope.matrix() if isinstance(slope, Slopes) else slope
        left = optimality(metric, load, whole, room, move, multiplier)
        if not left <= ALMOST:
            raise NotComputedError(
                f"the solver of a settling step stopped ({status}) {left:.1e} away from its answer"
            )
    return move, multiplier


def _asked(
    metric: Floats, load: Floats, slope: Floats | Slopes, room: Floats, *, refine: bool
) -> clarabel.DefaultSolution:
    """Return what the solver makes of a programme."""
    size = len(metric)
    kept = slope if isinstance(slope, Slopes) else sparse.csc_matrix(slope)
    solver = clarabel.DefaultSolver(
        Slopes(metric, np.arange(size), np.arange(size + 1), shape=(size, size)),
        -load,
        Slopes(-kept.data, kept.indices, kept.indptr, shape=kept.shape),
        room,
        [clarabel.NonnegativeConeT(len(room))],
        _settings(refine=refine),
    )
    return solver.solve()


@cache
def _settings(*, refine: bool) -> clarabel.DefaultSettings:
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.max_iter = 100
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-11
    settings.presolve_enable = False
    settings.iterative_refinement_enable = refine
    return settings


def optimality(
    metric: Floats,
    load: Floats,
    slope: Floats | sparse.csc_matrix,
    room: Floats,
    move: Floats,
    multiplier: Floats,
) -> float:
    """Return how far an answer of `solve_quadratic` is from the conditions that make it the answer.

    The largest of: load that neither the metric nor the multipliers balance, depth below a constraint, and
    multiplier times room where there is room. Zero of all three is necessary and sufficient in a convex
    programme (Karush, Kuhn and Tucker); the values are in shares of the greatest load and of the step.

    Parameters
    ----------
    metric, load : ndarray, shape (n,)
        As in `solve_quadratic`.
    slope, room : ndarray or sparse matrix, shape (m, n), and ndarray, shape (m,)
        The constraints.
    move, multiplier : ndarray, shape (n,) and (m,)
        The answer.

    Returns
    -------
    float
        Zero at the answer.
    """
    left = room + slope @ move
    balance = np.abs(metric * move - load - slope.T @ multiplier).max(initial=0.0)
    depth = max(0.0, -float(left.min(initial=0.0)))
    return float(max(balance, depth, np.abs(multiplier * np.maximum(left, 0.0)).max(initial=0.0)))
