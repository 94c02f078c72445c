"""Which of many loads is borne least: a quick figure to sort by, before the worst are loaded to collapse.

The limit load credits friction that the load itself would make, and between two jaws it may find no limit.
Here friction is what was pressed before the load came, or less where it takes pressure away. That is neither
an upper nor a lower bound of what a contact carries, so it sorts and never judges.
"""

from __future__ import annotations

from collections.abc import Sequence

import clarabel
import numpy as np
from scipy import sparse

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.equilibrium import Equations, FloatArray

MOST = 1e3


def rank_factors(equations: Equations, rest_n: FloatArray, cutting_n: Sequence[FloatArray]) -> list[float]:
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


def _rows(mu: FloatArray, pressed: FloatArray) -> tuple[sparse.csc_matrix, FloatArray, list[object]]:
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
