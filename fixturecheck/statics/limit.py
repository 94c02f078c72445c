"""Limit analysis: what contacts could carry at best, and which of many loads is borne least.

The limit load, with friction that dilates (associated flow), is the greatest factor for which some set of
contact forces inside the friction cones balances the loads. By the static theorem of limit analysis it is
never below what a real, non-dilating contact carries, so it bounds the factor from above; it credits wedging
that no load has produced and is therefore no verdict.

Many loads are sorted by a quick figure, before the worst are loaded to collapse. The limit load credits
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

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.statics.equilibrium import Equations

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
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    kinds = [clarabel.ZeroConeT(balance.shape[0]), *cones]
    quadratic = sparse.csc_matrix((len(cost), len(cost)))
    answer = clarabel.DefaultSolver(quadratic, cost, matrix, right, kinds, settings).solve()
    scale = unit_n / float(np.linalg.norm(equations.cutting_n))
    return _read(str(answer.status), float(answer.x[-1]) * scale)


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
        message = f"limit load: the conic solver stopped with {status}"
        raise NotComputedError(message)
    return math.inf if factor > LOCKED else max(factor, 0.0)


MOST = 1e3


def rank_factors(equations: Equations, rest_n: Floats, cutting_n: Sequence[Floats]) -> list[float]:
    """Return a figure for each of several loads on the same holding, the lower the worse it is borne.

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
    points = len(equations.mu)
    unit_n = float(np.linalg.norm(equations.held_n)) or 1.0
    pressed = np.maximum(rest_n[:, 0], 0.0) / unit_n
    contacts = equations.approach.reshape(-1, equations.approach.shape[2]).T
    rows, right, cones = _rows(equations.mu, pressed)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    cost = np.zeros(4 * points + 1)
    cost[-1] = -1.0
    nothing = sparse.csc_matrix((len(cost), len(cost)))
    found = []
    for load in cutting_n:
        size = float(np.linalg.norm(load))
        balance = np.hstack([contacts, np.zeros((len(load), points)), -load[:, None] / size])
        matrix = sparse.vstack([sparse.csc_matrix(balance), rows], format="csc")
        target = np.concatenate([equations.held_n / unit_n, right, [MOST * size / unit_n]])
        kinds = [clarabel.ZeroConeT(len(load)), *cones]
        answer = clarabel.DefaultSolver(nothing, cost, matrix, target, kinds, settings).solve()
        status = str(answer.status)
        if "PrimalInfeasible" in status:
            found.append(0.0)
        elif status in {"Solved", "AlmostSolved"}:
            found.append(max(0.0, float(answer.x[-1])) * unit_n / size)
        else:
            message = f"ranking loads: the conic solver stopped with {status}"
            raise NotComputedError(message)
    return found


def _rows(mu: Floats, pressed: Floats) -> tuple[sparse.csc_matrix, Floats, list[object]]:
    """Return rows, right sides and cones for: grip up to mu of either pressure, slip within grip, no pull.

    The columns are normal force and two slips of each point, then its grip, then the factor, which comes last
    in the rows too: not below zero, and at most what the caller adds.
    """
    points = len(mu)
    eye = sparse.identity(points, format="csc")
    normal = sparse.kron(eye, sparse.csc_matrix([[1.0, 0.0, 0.0]]))
    none = sparse.csc_matrix((points, 1))
    slips = sparse.csc_matrix((3 * points, 4 * points + 1))
    slips = slips.tolil()
    for i in range(points):
        slips[3 * i, 3 * points + i] = -1.0
        slips[3 * i + 1, 3 * i + 1] = -1.0
        slips[3 * i + 2, 3 * i + 2] = -1.0
    last = sparse.csc_matrix(([-1.0, 1.0], ([0, 1], [4 * points, 4 * points])), shape=(2, 4 * points + 1))
    rows = sparse.vstack(
        [
            sparse.hstack([-normal, sparse.csc_matrix((points, points)), none]),
            sparse.hstack([-sparse.diags(mu) @ normal, eye, none]),
            sparse.hstack([sparse.csc_matrix((points, 3 * points)), eye, none]),
            slips.tocsc(),
            last,
        ],
        format="csc",
    )
    right = np.concatenate([np.zeros(2 * points), mu * pressed, np.zeros(3 * points), [0.0]])
    cones = [
        clarabel.NonnegativeConeT(3 * points),
        *(clarabel.SecondOrderConeT(3) for _ in range(points)),
        clarabel.NonnegativeConeT(2),
    ]
    return rows, right, cones
