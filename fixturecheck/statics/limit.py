"""What contacts carry with forces inside their friction cones: the limit load, and which of many is worst.

A load is held without any motion where some forces balance it, by pushing alone or with Coulomb friction.

The limit load, with friction that dilates (associated flow), is the greatest factor for which some set of
contact forces inside the friction cones balances the loads. By the static theorem of limit analysis it is
never below what a real, non-dilating contact carries, so it bounds the factor from above; it credits wedging
that no load has produced and is therefore no verdict.

Many loads are sorted by a quick estimate, before the worst are loaded to collapse. The limit load credits
friction that the load itself would make, and between two jaws it may find no limit. Here friction is what was
pressed before the load came, or less where it takes pressure away. That is neither an upper nor a lower bound
of what a contact carries, so it sorts and never judges.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import clarabel
import numpy as np
from scipy import sparse

from fixturecheck.arrays import Floats, Ints
from fixturecheck.errors import NotComputedError
from fixturecheck.rigid import CandidateRows, by_body, columns_of, laid_slopes
from fixturecheck.statics.contact_step import outermost
from fixturecheck.statics.equilibrium import Equations, contact_frames


def solve_conic(
    cost: Floats,
    matrix: Any,
    right: Floats,
    cones: Sequence[object],
    *,
    quadratic: Any = None,
    accuracy_share: float | None = None,
) -> clarabel.DefaultSolution:
    """Minimise x P x / 2 + cost x where right - matrix x lies in the cones.

    Parameters
    ----------
    cost : ndarray, shape (n,)
        Linear cost.
    matrix : ndarray or sparse matrix, shape (m, n)
        Left side of the constraints.
    right : ndarray, shape (m,)
        Right side.
    cones : sequence
        The solver's cones, over the rows in their order.
    quadratic : sparse matrix, shape (n, n), optional
        P; none where the cost is linear.
    accuracy_share : float, optional
        Gap and feasibility, as shares, at which the solver stops, in place of its own.

    Returns
    -------
    clarabel.DefaultSolution
        `x`, the multipliers `z`, and the `status` at which it stopped.
    """
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    if accuracy_share is not None:
        settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = accuracy_share
    none = sparse.csc_matrix((len(cost), len(cost)))
    whole = none if quadratic is None else quadratic
    return clarabel.DefaultSolver(whole, cost, sparse.csc_matrix(matrix), right, cones, settings).solve()


# A factor beyond this is reported as unbounded: the friction cones lock, whatever the load.
LOCKED = 1e6


def limit_factor(equations: Equations) -> float:
    """Return the upper bound of the factor on the cutting load.

    Parameters
    ----------
    equations : Equations
        The holding.

    Returns
    -------
    float
        Upper bound; zero when no contact forces balance even the held loads with any share of the cut,
        infinity when the contacts lock at any load.

    Raises
    ------
    NotComputedError
        The conic solver gave up.

    References
    ----------
    Drucker, Coulomb friction, plasticity and limit loads [@drucker1954], from memory.
    """
    # The outermost points of a face carry all that the face can.
    equations = replace(
        equations, approach=equations.approach[equations.outer], mu=equations.mu[equations.outer]
    )
    points = len(equations.mu)
    if points == 0:
        return 0.0
    # Forces in units of the loads keep the solver's tolerances meaningful for 1 N and for 100 kN.
    unit_n = float(np.linalg.norm(equations.held_n)) or float(np.linalg.norm(equations.cutting_n))
    balance, target = _balance(equations, unit_n)
    cones, cone_rows = _cones(equations.mu)
    matrix = sparse.vstack([balance, cone_rows], format="csc")
    right = np.concatenate([target, np.zeros(cone_rows.shape[0])])
    cost = np.zeros(3 * points + 1)
    cost[-1] = -1.0
    answer = solve_conic(cost, matrix, right, [clarabel.ZeroConeT(balance.shape[0]), *cones])
    scale = unit_n / float(np.linalg.norm(equations.cutting_n))
    return _read(str(answer.status), float(answer.x[-1]) * scale)


def unpushed_share(equations: Equations) -> float:
    """Return the least share of the held loads that contacts cannot balance by pushing alone.

    Parameters
    ----------
    equations : Equations
        The holding; its friction and its cutting load are not looked at.

    Returns
    -------
    float
        0 where pushing alone may hold, 1 where it takes nothing off.

    References
    ----------
    Closed form: the balance of forces and moments, any text on statics.
    """
    size_n = float(np.linalg.norm(equations.held_n))
    pushes = equations.approach[equations.outer, 0, :].T
    if size_n == 0.0 or pushes.shape[1] == 0:
        return float(size_n > 0.0)
    return _least_rest(-pushes, equations.held_n / size_n, pushes.shape[1], 0.0)


def _balance(equations: Equations, unit_n: float) -> tuple[Any, Any]:
    """Equilibrium rows: contact forces minus factor times cutting equals held, all in `unit_n`."""
    contacts = equations.approach.reshape(-1, equations.approach.shape[2]).T
    cutting = equations.cutting_n / np.linalg.norm(equations.cutting_n)
    rows = np.hstack([contacts, -cutting[:, None]])
    return sparse.csc_matrix(rows), equations.held_n / unit_n


def _cones(mu: Any) -> tuple[list[Any], Any]:
    """Friction cones (mu N, slip, slip), and the factor not below zero, as rows of Ax + s = b."""
    points = len(mu)
    scale = np.tile([0.0, -1.0, -1.0], points)
    scale[::3] = np.where(mu > 0.0, -mu, -1.0)
    cones: list[Any] = []
    for friction in mu:
        if friction > 0.0:
            cones.append(clarabel.SecondOrderConeT(3))
        else:
            cones.extend([clarabel.NonnegativeConeT(1), clarabel.ZeroConeT(2)])
    cones.append(clarabel.NonnegativeConeT(1))
    return cones, sparse.diags(np.append(scale, -1.0), format="csc")


def _read(status: str, factor: float) -> float:
    """Turn the solver's answer into a factor."""
    if "DualInfeasible" in status:
        return math.inf
    if "PrimalInfeasible" in status:
        return 0.0
    if status not in {"Solved", "AlmostSolved"}:
        raise NotComputedError(f"limit load: the conic solver stopped with {status}")
    return math.inf if factor > LOCKED else max(factor, 0.0)


MOST = 1e3
_SORTED_TO = 1e-5
"""How well a figure that sorts is known, as a share; what is close to the least is loaded anyway."""


def rank_factors(equations: Equations, rest_n: Floats, cutting_n: Sequence[Floats]) -> list[float]:
    """Return an estimate of the factor for each of several loads on the same holding: the least is the worst.

    Parameters
    ----------
    equations : Equations
        The holding; its own cutting load is not looked at.
    rest_n : ndarray, shape (contacts, 3)
        Contact forces before the cut.
    cutting_n : sequence of ndarray, shape (freedoms,)
        The loads.

    Returns
    -------
    list of float
        Times the load, `MOST` at most.

    Raises
    ------
    NotComputedError
        The conic solver gave up.
    """
    unit_n = float(np.linalg.norm(equations.held_n)) or 1.0
    grip = equations.mu * np.maximum(rest_n[:, 0], 0.0) / unit_n
    # What grips nothing only pushes, and of a flat face the outermost points push for all.
    grips = np.flatnonzero(grip > 0.0)
    slick = np.setdiff1d(equations.outer, grips)
    width = equations.approach.shape[2]
    forces = equations.approach[grips].reshape(-1, width).T
    rows, right, cones = _rows(equations.mu[grips], grip[grips], len(slick))
    cost = np.zeros(rows.shape[1])
    cost[-1] = -1.0
    # All but the load is the same for each: its column is the last, and full.
    none = np.zeros((width, len(grips)))
    balance = np.hstack([forces, none, equations.approach[slick, 0].T, np.ones((width, 1))])
    matrix = sparse.vstack([sparse.csc_matrix(balance), rows], format="csc")
    first = matrix.indptr[-2]
    every = [clarabel.ZeroConeT(width), *cones]
    found = []
    for load in cutting_n:
        size = float(np.linalg.norm(load))
        matrix.data[first : first + width] = -load / size
        target = np.concatenate([equations.held_n / unit_n, right, [MOST * size / unit_n]])
        answer = solve_conic(cost, matrix, target, every, accuracy_share=_SORTED_TO)
        found.append(_read(str(answer.status), float(answer.x[-1]) * unit_n / size))
    return found


def _rows(mu: Floats, grip: Floats, slick: int) -> tuple[sparse.csc_matrix, Floats, list[object]]:
    """Return rows, right sides and cones that bound the forces at each contact.

    The friction of a contact is at most mu times the force under the load, and at most its grip: mu times the
    force before the load. No contact pulls. The columns are the normal force and two shear forces of each
    point that grips, then its grip under the load, then the normal force of each slick point, then the
    factor. The factor's row is the last: it is not below zero, and at most what the caller adds.

    Parameters
    ----------
    mu, grip : ndarray, shape (n,)
        Friction of the points that grip, and the most that it may carry.
    slick : int
        How many points only push.
    """
    points, pushes = len(mu), slick + 1
    eye = sparse.identity(points, format="csc")
    normal = sparse.kron(eye, sparse.csc_matrix([[1.0, 0.0, 0.0]]))
    shears = sparse.diags(np.tile([0.0, -1.0, -1.0], points))
    grips = sparse.kron(eye, sparse.csc_matrix([[-1.0], [0.0], [0.0]]))
    rows = sparse.bmat(
        [
            [shears, grips, sparse.csc_matrix((3 * points, pushes))],
            [-sparse.diags(mu) @ normal, eye, None],
            [None, eye, None],
            [None, None, -sparse.identity(pushes)],
            [None, None, sparse.csc_matrix(([1.0], ([0], [slick])), shape=(1, pushes))],
        ],
        format="csc",
    )
    right = np.concatenate([np.zeros(4 * points), grip, np.zeros(pushes)])
    cones = [clarabel.SecondOrderConeT(3)] * points
    return rows, right, [*cones, clarabel.NonnegativeConeT(2 * points + pushes + 1)]


HOLDS = 1e-7
"""Share of the load that is rounding where `unbalanced` leaves it."""
_LEAST_SHARE = 1e-6
"""Of what all bodies bear: a load below that is rounding."""


def unbalanced(
    rows: CandidateRows,
    bodies: Ints,
    centres_mm: Floats,
    load: Floats,
    size_mm: Floats,
    *,
    mu: float,
    closure_mm: float,
) -> float:
    """Return the least part of the load that the contacts cannot balance.

    The rest on each body counts by that body's own load, so that a light one beside a heavy one is seen; a
    body that bears next to nothing counts by a share of what all bear. It is a second-order cone programme
    over the forces at the contacts. Between two flat faces only the outermost contacts are asked: forces at
    the others are means of forces there.

    Parameters
    ----------
    rows : CandidateRows
        Places where bodies might touch.
    bodies : ndarray of int, shape (n,)
        The loose bodies.
    centres_mm : ndarray, shape (n, 3)
        Points that moments are taken about.
    load : ndarray, shape (n, 6)
        Force and moment over size of each loose body about its centre.
    size_mm : ndarray, shape (n,)
        Each body's length.
    mu : float
        Coulomb coefficient.
    closure_mm : float
        Contacts with a larger gap carry nothing.

    Returns
    -------
    float
        What is left over the load, of each body, as the root of the sum of squares; 0 where all balance.

    References
    ----------
    Closed form: Coulomb's law and the balance of forces and moments, any text on statics.
    """
    laid = np.ascontiguousarray  # the loop is compiled for arrays that are laid out so
    closed = outermost(rows, np.flatnonzero(rows.gap_mm <= closure_mm))
    total = float(np.linalg.norm(load))
    if total == 0.0:
        return 0.0
    if len(closed) == 0:
        return 1.0
    frames = contact_frames(rows.normal[closed])[:, : 3 if mu > 0 else 1]
    column = columns_of(rows, bodies)[closed]
    points, one = (rows.point_a_mm[closed], rows.point_b_mm[closed]), np.ones(len(bodies))
    scale = np.ones((len(bodies), 6))
    scale[:, 3:] = 1.0 / size_mm[:, None]
    slopes = (laid_slopes(column, points, laid(way), laid(centres_mm), one) for way in frames.swapaxes(0, 1))
    forces = np.stack([(by_body(column, s, len(bodies)) * scale.ravel()).T for s in slopes], axis=-1)
    flat = forces.reshape(forces.shape[0], -1)
    own = np.repeat(np.maximum(np.linalg.norm(load, axis=1), _LEAST_SHARE * total), 6)
    return _least_rest(flat / own[:, None], load.ravel() / own, len(closed), mu)


def _least_rest(forces: Floats, load: Floats, count: int, mu: float) -> float:
    """Minimise |load + forces x| with each contact's x in its friction cone."""
    rows, columns = forces.shape
    variables = columns + 1
    objective = np.zeros(variables)
    objective[-1] = 1.0
    # Cone 1: (t, load + forces x); then (mu n, t1, t2) of each contact, or n >= 0 without friction.
    top = np.zeros((1 + rows, variables))
    top[0, -1] = -1.0
    top[1:, :columns] = -forces
    cones = [clarabel.SecondOrderConeT(1 + rows)]
    weights = np.ones(columns)
    if mu > 0:
        weights[::3] = mu
        cones += [clarabel.SecondOrderConeT(3)] * count
    else:
        cones += [clarabel.NonnegativeConeT(count)]
    lower = sparse.hstack((sparse.diags(-weights), sparse.csc_matrix((columns, 1))))
    right = np.concatenate(([0.0], load, np.zeros(columns)))
    solution = solve_conic(
        objective, sparse.vstack((sparse.csc_matrix(top), lower)), right, cones, accuracy_share=1e-10
    )
    return max(0.0, float(solution.x[-1]))
