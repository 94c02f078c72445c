"""How errors of faces move bodies that rest on them: thousands of draws at once, and the worst corner.

Near the rest the gaps are linear in face errors and moves, so each draw is a linear programme: the load goes
as far as no gap closes past zero. Its answer is fixed by which contacts carry, and a set of carrying contacts
that is right for one draw is right for every draw in which nothing else overlaps. So few sets are solved for,
and each answers all its draws by one matrix product.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.freedom import SAME, null_space
from fixturecheck.physics.rigid import Floats, Ints, Mask

FITS_MM = 1e-8
MOST_CORNERED = 12
"""Faces whose zones are gone through corner by corner; more would take too long."""

TOUCHES_MM = 1e-4
"""Ten times what a settling leaves open where it stops."""


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
class Basis:
    """A set of contacts that carries: rows, their multipliers, and what turns gaps into moves."""

    rows: Ints
    force: Floats
    inverse: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """What draws came to.

    Parameters
    ----------
    move : ndarray, shape (d, m)
        Move of each draw from the nominal rest.
    gap_mm : ndarray, shape (d, n)
        Gap of every row in each draw.
    carries : ndarray of bool, shape (d, n)
        Which rows carry force.
    bases : int
        How many sets of carrying contacts there were.
    """

    move: Floats
    gap_mm: Floats
    carries: Mask
    bases: int


def draw_errors(half_mm: Floats, count: int, seed: int, spread: str = "normal") -> Floats:
    """Return errors of faces (count, k) within plus and minus their half zones.

    Parameters
    ----------
    half_mm : ndarray, shape (k,)
        Half of each face's tolerance zone.
    spread : str
        `normal` takes three standard deviations to the edge of the zone and draws again what falls outside;
        `uniform` is even over the zone.
    """
    random = np.random.default_rng(seed)
    if spread == "uniform":
        return random.uniform(-1.0, 1.0, (count, len(half_mm))) * half_mm
    unit = random.standard_normal((count, len(half_mm)))
    while np.any(outside := np.abs(unit) > 3.0):
        unit[outside] = random.standard_normal(int(outside.sum()))
    return np.asarray(unit / 3.0 * half_mm)


def solve_draws(problem: Linear, errors_mm: Floats, most_bases: int = 400) -> Drawn:
    """Return the rest of every draw.

    Parameters
    ----------
    errors_mm : ndarray, shape (d, k)
        Errors of the faces; positive is outward.
    most_bases : int
        Sets of carrying contacts solved for before giving up.

    Raises
    ------
    NotComputedError
        A draw has no rest, or there are more sets of contacts than allowed.
    """
    rows, columns = problem.slope.shape
    touching = problem.gap_mm <= TOUCHES_MM
    free = null_space(problem.slope[touching])
    room = problem.gap_mm + errors_mm @ problem.growth.T
    move = np.zeros((len(errors_mm), columns))
    carries = np.zeros((len(errors_mm), rows), dtype=bool)
    left = np.arange(len(errors_mm))
    count = 0
    while len(left):
        if count >= most_bases:
            message = (
                f"tolerance draws need more than {most_bases} sets of contacts; {len(left)} draws are open"
            )
            raise NotComputedError(message)
        basis = find_basis(problem, room[left[0]], free)
        count += 1
        trial = -room[left][:, basis.rows] @ basis.inverse.T
        gap = room[left] + trial @ problem.slope.T
        fits = gap.min(axis=1) >= -FITS_MM
        # The draw the set was found for is answered by it even where rounding says it barely is not.
        fits[0] = True
        move[left[fits]] = trial[fits]
        carrying = basis.rows[basis.force > SAME * max(basis.force.max(initial=0.0), 1e-300)]
        carries[np.ix_(left[fits], carrying)] = True
        left = left[~fits]
    return Drawn(move=move, gap_mm=room + move @ problem.slope.T, carries=carries, bases=count)


def find_basis(problem: Linear, room: Floats, free: Floats) -> Basis:
    """Return the contacts that carry for one set of gaps.

    Raises
    ------
    NotComputedError
        The gaps contradict each other or nothing stops the load.
    """
    columns = problem.slope.shape[1]
    answer = linprog(
        -problem.load,
        A_ub=-problem.slope,
        b_ub=room,
        A_eq=free.T if free.shape[1] else None,
        b_eq=np.zeros(free.shape[1]) if free.shape[1] else None,
        bounds=[(None, None)] * columns,
        method="highs-ds",
    )
    if answer.status != 0:
        why = {2: "the seats contradict each other", 3: "nothing stops the parts"}.get(
            answer.status, "the linear programme failed"
        )
        message = f"a draw within tolerance has no rest: {why}"
        raise NotComputedError(message)
    force = -np.asarray(answer.ineqlin.marginals)
    slack = room + problem.slope @ answer.x
    return _completed(problem, force, slack, free)


def _completed(problem: Linear, force: Floats, slack: Floats, free: Floats) -> Basis:
    """Fill the carrying contacts up with closed ones until they fix the move."""
    closed = np.flatnonzero(slack <= 1e-7)
    order = closed[np.argsort(-force[closed], kind="stable")]
    chosen: list[int] = []
    fixed = free.T
    wanted = problem.slope.shape[1]
    carrying = [int(i) for i in order if force[i] > 1e-9]
    for row in [*carrying, *(int(i) for i in order if force[i] <= 1e-9)]:
        trial = np.vstack((fixed, problem.slope[[*chosen, row]]))
        if np.linalg.matrix_rank(trial, tol=1e-7) == len(trial):
            chosen.append(row)
        if len(chosen) + len(fixed) == wanted:
            break
    rows = np.array(chosen, dtype=np.int64)
    # Fewer than enough: the least move that closes the chosen ones.
    inverse = np.linalg.pinv(np.vstack((fixed, problem.slope[rows])), rcond=1e-10)[:, len(fixed) :]
    return Basis(rows=rows, force=force[rows], inverse=inverse)


def corners(half_mm: Floats, limit: int = MOST_CORNERED) -> Floats | None:
    """Return every corner of the box of errors, (2**k, k); None where there are more than 2**limit."""
    count = len(half_mm)
    if count > limit:
        return None
    signs = np.array(np.meshgrid(*[[-1.0, 1.0]] * count, indexing="ij")).reshape(count, -1).T
    return np.asarray(signs * half_mm)


def linear_extremes(problem: Linear, half_mm: Floats, seen: Floats) -> Floats | None:
    """Return how far each seen quantity moves at most over all zones, exactly and for any number of faces.

    While the same contacts carry, the rest is linear in the errors, so the extreme is the sum of each
    face's share, |s| times half its zone, and no corner need be gone through.

    Parameters
    ----------
    half_mm : ndarray, shape (k,)
        Half of each face's zone.
    seen : ndarray, shape (q, m)
        What is seen of the moves, one quantity a row.

    Returns
    -------
    ndarray, shape (q,), or None
        None where somewhere in the zones another set of contacts carries: the sum is then no bound.

    Raises
    ------
    NotComputedError
        The parts as drawn have no rest.
    """
    free = null_space(problem.slope[problem.gap_mm <= TOUCHES_MM])
    basis = find_basis(problem, problem.gap_mm, free)
    moves = -basis.inverse @ problem.growth[basis.rows]
    start = -basis.inverse @ problem.gap_mm[basis.rows]
    gap = problem.gap_mm + problem.slope @ start
    swing = np.abs(problem.growth + problem.slope @ moves) @ half_mm
    if np.any(gap - swing < -FITS_MM):
        return None
    return np.asarray(np.abs(seen @ moves) @ half_mm)
