"""How the rest near the drawn one follows errors of faces: draw by draw, and the worst over all zones.

Near the rest the gaps are linear in face errors and moves, so each draw is a linear programme: the load goes
as far as no gap closes past zero. The load is the same in all draws, so a set of contacts that carries it in
one carries it in all; only gaps differ. All draws start from what carries the parts as drawn and change one
contact at a time for one that would overlap (the dual simplex method), many draws at once.

The worst is taken over every set of contacts that may carry. While one set of contacts carries, the rest is
linear in the errors, so its worst over the zones is at their vertices. The sets that may carry at all follow
from the one that carries the parts as drawn: a set gives way to another only through a contact that some
errors within the zones would make overlap, and which contact it gives up does not depend on the errors. So
all of them are enumerated. Over the errors for which one set carries, the worst is a linear programme, solved
only where its bound over all the zones exceeds what was found already. The worst is therefore exact, also
where contacts change inside the zones. All of it is a closed form: no physical constant enters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog, nnls

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.errors import NotComputedError
from fixturecheck.rigid import SAME, null_space
from fixturecheck.tolerancing.zones import Box, sides

FITS_MM = 1e-8
TOUCHES_MM = 1e-4
"""Ten times what a settling leaves open where it stops."""
_TIES = 1e-9
"""Share of the load by which ties between contacts are broken, always the same way."""
_BALANCED = 1e-4
_GIVES = 1e-9
"""Share of a move above which a contact gives way to another."""
_CONTRADICT = "a draw within tolerance has no rest: the seats contradict each other"
_AT_ONCE = 4_000_000
_MOST_CHANGES = 30


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Linear:
    """The linearised contact problem at a rest.

    Parameters
    ----------
    gap_mm : ndarray, shape (n,)
        Gaps at rest.
    slope : ndarray, shape (n, m)
        How each gap changes with the moves; lengths scaled so that turns count as mm.
    growth : ndarray, shape (n, k)
        How each gap changes with the errors of the faces.
    load : ndarray, shape (m,)
        Load in the units of the moves.
    """

    gap_mm: Floats
    slope: Floats
    growth: Floats
    load: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReducedProblem:
    """The problem in the moves that contacts stop at all, with a set of contacts that carries.

    Parameters
    ----------
    held : ndarray, shape (m, r)
        Orthonormal moves that what touches at rest can stop; the others stay as they are.
    slope : ndarray, shape (n, r)
        How each gap changes with these.
    rows : ndarray, shape (r,)
        Contacts that carry at rest.
    force : ndarray, shape (r,)
        What each carries, in the units of the load, ties broken.
    """

    held: Floats
    slope: Floats
    rows: Ints
    force: Floats

    def load(self) -> Floats:
        """Return the load that the carrying contacts balance."""
        return np.asarray(-self.force @ self.slope[self.rows])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SampleOutcomes:
    """The results of draws.

    Parameters
    ----------
    move : ndarray, shape (d, m)
        Move of each draw from the nominal rest.
    gap_mm : ndarray, shape (d, n)
        Gap of every row in each draw.
    carries : ndarray of bool, shape (d, n)
        Which rows carry force.
    rows : ndarray, shape (d, r)
        Contacts that fix the rest of each draw, those without force too.
    barred : ndarray, shape (d,)
        The gap that overlaps and to which no contact gives way, where the parts do not fit; -1 where they
        come to rest. The other columns are meaningless for a draw that does not fit.
    """

    move: Floats
    gap_mm: Floats
    carries: Bools
    rows: Ints
    barred: Ints

    def where(self, keep: Bools) -> SampleOutcomes:
        """Return the draws chosen."""
        return SampleOutcomes(
            move=self.move[keep], gap_mm=self.gap_mm[keep], carries=self.carries[keep],
            rows=self.rows[keep], barred=self.barred[keep],
        )  # fmt: skip

    @property
    def bases(self) -> int:
        """How many sets of carrying contacts there were."""
        marks = np.random.default_rng(0).integers(1, 2**40, self.carries.shape[1])
        return len(np.unique(self.carries @ marks))


def reduced_problem(problem: Linear) -> ReducedProblem:
    """Return what carries the parts as drawn.

    Parameters
    ----------
    problem : Linear
        The linearised contact problem.

    Returns
    -------
    ReducedProblem
        The moves that contacts stop, and a set of contacts that carries.

    Raises
    ------
    NotComputedError
        Nothing that touches balances the load.
    """
    touching = np.flatnonzero(problem.gap_mm <= TOUCHES_MM)
    free = null_space(problem.slope[touching])
    held = null_space(free.T) if free.shape[1] else np.eye(len(problem.load))
    slope = problem.slope @ held
    load = problem.load @ held
    size = max(float(np.linalg.norm(problem.load)), 1e-300)
    force, short = nnls(slope[touching].T, -load / size)
    if short > _BALANCED or np.linalg.norm(problem.load - held @ load) > _BALANCED * size:
        raise NotComputedError(
            "under all pushes at once what touches does not stop the parts: no draw has a rest"
        )
    chosen: list[int] = []
    for i in np.argsort(-force, kind="stable"):
        trial = [*chosen, int(touching[i])]
        if np.linalg.matrix_rank(slope[trial], tol=1e-7) == len(trial):
            chosen = trial
        if len(chosen) == slope.shape[1]:
            break
    carried = dict(zip(touching.tolist(), force, strict=True))
    ties = _TIES * np.random.default_rng(0).uniform(1.0, 2.0, len(chosen))
    return ReducedProblem(
        held=held,
        slope=slope,
        rows=np.array(chosen, dtype=np.int64),
        force=np.array([carried[i] for i in chosen]) + ties,
    )


def solve_draws(problem: Linear, errors_mm: Floats, frame: ReducedProblem | None = None) -> SampleOutcomes:
    """Return the rest of every draw.

    Parameters
    ----------
    problem : Linear
        The linearised contact problem.
    errors_mm : ndarray, shape (d, k)
        Errors of the faces; positive is outward.
    frame : ReducedProblem, optional
        What carries the parts as drawn, where it is known.

    Returns
    -------
    SampleOutcomes
        Moves, gaps and contacts that carry, of each draw.

    Raises
    ------
    NotComputedError
        A draw has no rest, or its contacts change more often than allowed.
    """
    drawn = solve_or_bar(problem, errors_mm, frame)
    if np.any(drawn.barred >= 0):
        raise NotComputedError(_CONTRADICT)
    return drawn


def solve_or_bar(problem: Linear, errors_mm: Floats, frame: ReducedProblem | None = None) -> SampleOutcomes:
    """Return the rest of every draw that has one; the others are marked as barred.

    Parameters
    ----------
    problem : Linear
        The linearised contact problem.
    errors_mm : ndarray, shape (d, k)
        Errors of the faces; positive is outward.
    frame : ReducedProblem, optional
        What carries the parts as drawn, where it is known.

    Returns
    -------
    SampleOutcomes
        Moves, gaps and contacts that carry, of each draw that fits.

    Raises
    ------
    NotComputedError
        Contacts change more often than allowed.
    """
    frame = frame or reduced_problem(problem)
    start: Floats = np.asarray(np.linalg.inv(frame.slope[frame.rows]))
    room = problem.gap_mm + errors_mm @ problem.growth.T
    held = -room[:, frame.rows] @ start.T
    gap = room + held @ frame.slope.T
    carries = np.repeat(_carrying(frame.rows[None], frame.force[None], room.shape[1]), len(room), axis=0)
    rows = np.tile(frame.rows, (len(room), 1))
    barred = np.full(len(room), -1)
    open_draws = np.flatnonzero(gap.min(axis=1) < -FITS_MM)
    size = max(1, _AT_ONCE // max(frame.slope.size, 1))
    for first in range(0, len(open_draws), size):
        some = open_draws[first : first + size]
        held[some], carries[some], rows[some], barred[some] = _changed(frame, start, held[some], gap[some])
    gap[open_draws] = room[open_draws] + held[open_draws] @ frame.slope.T
    return SampleOutcomes(move=held @ frame.held.T, gap_mm=gap, carries=carries, rows=rows, barred=barred)


def _carrying(rows: Ints, force: Floats, count: int) -> Bools:
    """Tell which of all contacts carry force in each set (g, r)."""
    out = np.zeros((len(rows), count), dtype=bool)
    np.put_along_axis(out, rows, force > SAME * force.max(axis=1, keepdims=True, initial=0.0), axis=1)
    return out


def _changed(
    frame: ReducedProblem, start: Floats, held: Floats, gap: Floats
) -> tuple[Floats, Bools, Ints, Ints]:
    """Change contacts of draws in which something overlaps until nothing does; moves, what carries, sets.

    Draws that stand on the same set and change it alike are one; `which` says on what set each stands. The
    last answer is the gap that bars a draw, or -1.
    """
    out, carries = held.copy(), np.zeros(gap.shape, dtype=bool)
    fixing, barred = np.tile(frame.rows, (len(held), 1)), np.full(len(held), -1)
    rows, inverse, force = frame.rows[None], start[None], frame.force[None]
    left, which, most = np.arange(len(held)), np.zeros(len(held), dtype=np.int64), gap.shape[1]
    for _ in range(_MOST_CHANGES * (len(start) + 1)):
        new = np.argmin(gap, axis=1)
        step = -gap[np.arange(len(left)), new]
        kinds, which = np.unique(which * most + new, return_inverse=True)
        old, entering = kinds // most, kinds % most
        fits = _gives_way(frame.slope[entering], inverse[old])
        if not np.all(fits):
            stays = fits[which]
            barred[left[~stays]] = new[~stays]
            left, held, gap, step = left[stays], held[stays], gap[stays], step[stays]
            if len(left) == 0:
                return out, carries, fixing, barred
            kinds, which = np.unique(kinds[which[stays]], return_inverse=True)
            old, entering = kinds // most, kinds % most
        leaving, column, inverse, force = _exchange(frame.slope[entering], inverse[old], force[old])
        rows = rows[old]
        rows[np.arange(len(kinds)), leaving] = entering
        held = held + step[:, None] * column[which]
        gap = gap + step[:, None] * (column @ frame.slope.T)[which]
        done = gap.min(axis=1) >= -FITS_MM
        if np.any(done):
            ended, own = left[done], which[done]
            out[ended], fixing[ended] = held[done], rows[own]
            carries[ended] = _carrying(rows, force, most)[own]
            left, held, gap, which = left[~done], held[~done], gap[~done], which[~done]
        if len(left) == 0:
            return out, carries, fixing, barred
    raise NotComputedError(
        f"{len(left)} tolerance draws do not come to rest in {_MOST_CHANGES * (len(start) + 1)} changes"
    )


def _gives_way(entering: Floats, inverse: Floats) -> Bools:
    """Tell of each set of contacts whether one of it gives way to the contact that enters."""
    share = np.einsum("ki,kij->kj", entering, inverse)
    return np.asarray((share > _GIVES).any(axis=1))


def _exchange(entering: Floats, inverse: Floats, force: Floats) -> tuple[Ints, Floats, Floats, Floats]:
    """Return what each draw's set of contacts gives up for one that enters.

    Parameters
    ----------
    entering : ndarray, shape (d, r)
        Slopes of the contact that enters.
    inverse : ndarray, shape (d, r, r)
        Inverse of the slopes of the set, one contact a column.
    force : ndarray, shape (d, r)
        What each contact of the set carries.

    Returns
    -------
    leaving : ndarray, shape (d,)
        Place in the set of the contact that goes, which the one that enters takes.
    column : ndarray, shape (d, r)
        Move that opens the contact that enters by one and no other of the set.
    inverse, force : ndarray, shape (d, r, r) and (d, r)
        The set's inverse, and what each contact carries, afterwards.

    Raises
    ------
    NotComputedError
        No contact can give way: the gaps contradict each other.
    """
    each = np.arange(len(entering))
    share = np.einsum("ki,kij->kj", entering, inverse)
    gives = share > _GIVES
    if not np.all(gives.any(axis=1)):
        raise NotComputedError(_CONTRADICT)
    ratio = np.where(gives, force / np.where(gives, share, 1.0), np.inf)
    leaving = np.argmin(ratio, axis=1)
    taken = ratio[each, leaving]
    after = np.maximum(force - taken[:, None] * share, 0.0)
    after[each, leaving] = taken
    column = inverse[each, :, leaving] / share[each, leaving][:, None]
    share[each, leaving] -= 1.0
    return leaving, column, inverse - column[:, :, None] * share[:, None, :], after


MOST_SETS = 300
MOST_PROGRAMMES = 100
_SAME_MM = 1e-7
_CLIMBS = 8


class NoRestError(NotComputedError):
    """Somewhere in the zones the parts do not fit at all."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CriticalRegion:
    """One set of contacts that may carry, and what errors do while it does.

    Parameters
    ----------
    move_mm, move : ndarray, shape (r,) and (r, k)
        Moves without errors, and with each error.
    gap_mm, gap : ndarray, shape (n,) and (n, k)
        Gaps without errors, and with each error.
    closing : ndarray of int
        Gaps that some errors within the zones would close.
    """

    move_mm: Floats
    move: Floats
    gap_mm: Floats
    gap: Floats
    closing: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CriticalRegions:
    """All sets of contacts that may carry somewhere in the zones."""

    box: Box
    each: tuple[CriticalRegion, ...]


def critical_regions_of(problem: Linear, frame: ReducedProblem, box: Box) -> CriticalRegions:
    """Return every set of contacts that may carry somewhere in the zones.

    These are the critical regions of a multiparametric linear programme.

    Parameters
    ----------
    problem : Linear
        The linearised contact problem.
    frame : ReducedProblem
        What carries the parts as drawn.
    box : Box
        The zones.

    Returns
    -------
    CriticalRegions
        The sets, each with its moves and gaps as linear forms of the errors.

    Raises
    ------
    NoRestError
        Somewhere in the zones the parts have no rest.
    NotComputedError
        There are too many.

    References
    ----------
    Gal and Nedoma, Multiparametric linear programming [@gal1972], from memory: neighbouring regions differ by
    one step of the dual simplex method.
    """
    load = frame.load()
    first = tuple(sorted(frame.rows.tolist()))
    known: dict[tuple[int, ...], CriticalRegion | None] = {first: None}
    waiting = [first]
    while waiting:
        rows = np.array(waiting.pop())
        inverse = np.linalg.inv(frame.slope[rows])
        force = -load @ inverse
        one = _carried(problem, frame, box, rows, inverse)
        known[tuple(rows.tolist())] = one
        for new in one.closing:
            try:
                leaving, *_ = _exchange(frame.slope[[new]], inverse[None], force[None])
            except NotComputedError as reason:
                raise NoRestError("somewhere in the zones the seats contradict each other") from reason
            key = tuple(sorted([*np.delete(rows, leaving[0]).tolist(), int(new)]))
            if key not in known:
                known[key] = None
                waiting.append(key)
        if len(known) > MOST_SETS:
            raise NotComputedError(f"more than {MOST_SETS} sets of contacts may carry")
    return CriticalRegions(box=box, each=tuple(one for one in known.values() if one is not None))


def _carried(problem: Linear, frame: ReducedProblem, box: Box, rows: Ints, inverse: Floats) -> CriticalRegion:
    move_mm, move = -inverse @ problem.gap_mm[rows], -inverse @ problem.growth[rows]
    gap_mm = problem.gap_mm + frame.slope @ move_mm
    gap = problem.growth + frame.slope @ move
    gap_mm[rows], gap[rows] = 0.0, 0.0
    most, _ = box.furthest(-gap)
    return CriticalRegion(
        move_mm=move_mm, move=move, gap_mm=gap_mm, gap=gap, closing=np.flatnonzero(gap_mm - most < -FITS_MM)
    )


def most_of(regions: CriticalRegions, seen: Floats, held: Floats, known_mm: float) -> float:
    """Return the most that any of the quantities seen of the moves comes to, over all zones.

    Parameters
    ----------
    regions : CriticalRegions
        All sets of contacts that may carry.
    seen : ndarray, shape (q, m)
        What is seen of the moves, one quantity a row.
    held : ndarray, shape (m, r)
        The moves that contacts can stop.
    known_mm : float
        What some errors within the zones are known to bring.

    Returns
    -------
    float
        mm, at least `known_mm`.
    """
    rows = seen @ held
    asked = [(one, (row @ one.move_mm)[None], (row @ one.move)[None]) for one in regions.each for row in rows]
    return _most(regions.box, asked, known_mm)


def most_gap_mm(regions: CriticalRegions, members: Ints, known_mm: float) -> float:
    """Return the most that the least of some gaps comes to, over all zones.

    Parameters
    ----------
    regions : CriticalRegions
        All sets of contacts that may carry.
    members : ndarray of int
        The gaps.
    known_mm : float
        What some errors within the zones are known to bring.

    Returns
    -------
    float
        mm, at least `known_mm`.
    """
    return _most(
        regions.box, [(one, one.gap_mm[members], one.gap[members]) for one in regions.each], known_mm
    )


def climbed_mm(problem: Linear, frame: ReducedProblem, box: Box, seen: Floats, errors_mm: Floats) -> float:
    """Return the furthest that is found of anything seen, going from some errors to worse ones.

    Where one set of contacts carries, what is seen is linear in the errors and points to a vertex of the
    zones; what carries there points on. That reaches a height that is attained, if not the greatest.

    Parameters
    ----------
    problem : Linear
        The linearised contact problem.
    frame : ReducedProblem
        What carries the parts as drawn.
    box : Box
        The zones.
    seen : ndarray, shape (q, m)
        What is seen of the moves, one quantity a row.
    errors_mm : ndarray, shape (q, k)
        Where to go from with each.

    Returns
    -------
    float
        mm, attained somewhere in the zones.
    """
    best = -np.inf
    for _ in range(_CLIMBS):
        try:
            drawn = solve_draws(problem, errors_mm, frame)
        except NotComputedError:
            # A vertex at which the parts have no rest is no place to go on from.
            break
        reached = float(np.einsum("qm,qm->q", seen, drawn.move).max())
        if reached <= best + _SAME_MM:
            break
        best = reached
        moves = np.linalg.inv(frame.slope[drawn.rows]) @ problem.growth[drawn.rows]
        _, errors_mm = box.furthest(-np.einsum("qr,qrk->qk", seen @ frame.held, moves))
    return best


Asked = tuple[CriticalRegion, Floats, Floats]


def _most(box: Box, asked: Sequence[Asked], known_mm: float) -> float:
    """Return the most, over all sets, that the least of some linear forms comes to where the set carries."""
    bounds, places = [], []
    for _, start, rows in asked:
        most, where = box.furthest(rows)
        least = int(np.argmin(start + most))
        bounds.append(float((start + most)[least]))
        places.append(where[least])
    programmes = 0
    for i in np.argsort(-np.array(bounds), kind="stable"):
        one, start, rows = asked[i]
        if bounds[i] <= known_mm + _SAME_MM:
            break
        at = places[i]
        if np.all(one.gap_mm[one.closing] + one.gap[one.closing] @ at >= -FITS_MM):
            reached = float((start + rows @ at).min())
            if reached >= bounds[i] - _SAME_MM:
                known_mm = max(known_mm, reached)
                continue
        programmes += 1
        if programmes > MOST_PROGRAMMES:
            raise NotComputedError(
                f"the worst of the zones needs more than {MOST_PROGRAMMES} linear programmes"
            )
        known_mm = max(known_mm, _programme(box, one, start, rows))
    return known_mm


def _programme(box: Box, one: CriticalRegion, start: Floats, rows: Floats) -> float:
    """Return the most that the least of linear forms is while a set carries; -inf where it never can."""
    count = int(box.start[-1])
    parts, limits = [], []
    for i, zone in enumerate(box.zones):
        side, limit = sides(zone)
        wide = np.zeros((len(side), count + 1))
        wide[:, int(box.start[i]) : int(box.start[i + 1])] = side
        parts.append(wide)
        limits.append(limit)
    parts.append(np.hstack((-one.gap[one.closing], np.zeros((len(one.closing), 1)))))
    limits.append(one.gap_mm[one.closing])
    parts.append(np.hstack((-rows, np.ones((len(rows), 1)))))
    limits.append(start)
    cost = np.zeros(count + 1)
    cost[-1] = -1.0
    answer = linprog(
        cost, A_ub=np.vstack(parts), b_ub=np.concatenate(limits), bounds=[(None, None)] * (count + 1)
    )
    if answer.status == 2:
        return -np.inf
    if answer.status != 0:
        raise NotComputedError(f"the worst of the zones could not be found: {answer.message}")
    return -float(answer.fun)
