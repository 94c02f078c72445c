"""How much could the contacts carry at best: the limit load with friction that dilates (associated flow).

The greatest factor for which some set of contact forces inside the friction cones balances the loads. By
the static theorem of limit analysis it is never below what a real, non-dilating contact carries, so it
bounds the factor from above; it credits wedging that no load has produced and is therefore no verdict.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import clarabel
import numpy as np
from scipy import sparse

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.equilibrium import Equations

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
