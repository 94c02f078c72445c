"""The worst that face errors within their zones can do to a rest, over every set of contacts that may carry.

While one set of contacts carries, the rest is linear in the errors, so its worst over the zones is at their
vertices. The sets that may carry at all follow from the one that carries the parts as drawn: a set gives way
to another only through a contact that some errors within the zones would make overlap, and which contact it
gives up does not depend on the errors. So all of them are enumerated. Over the errors for which one set
carries, the worst is a linear programme, solved only where its bound over all the zones exceeds what was
found already. The worst is therefore exact, also where contacts change inside the zones. All of it is a
closed form: no physical constant enters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from fixturecheck.arrays import Floats, Ints
from fixturecheck.errors import NotComputedError
from fixturecheck.tolerancing.samples import FITS_MM, Linear, ReducedProblem, exchange, solve_draws
from fixturecheck.tolerancing.zones import Box, sides

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
                leaving, *_ = exchange(frame.slope[[new]], inverse[None], force[None])
            except NotComputedError as reason:
                message = "somewhere in the zones the seats contradict each other"
                raise NoRestError(message) from reason
            key = tuple(sorted([*np.delete(rows, leaving[0]).tolist(), int(new)]))
            if key not in known:
                known[key] = None
                waiting.append(key)
        if len(known) > MOST_SETS:
            message = f"more than {MOST_SETS} sets of contacts may carry"
            raise NotComputedError(message)
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
            message = f"the worst of the zones needs more than {MOST_PROGRAMMES} linear programmes"
            raise NotComputedError(message)
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
        message = f"the worst of the zones could not be found: {answer.message}"
        raise NotComputedError(message)
    return -float(answer.fun)
