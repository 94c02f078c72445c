"""The potential that makes a flux problem's energy least: Newton's method, with multigrid of two levels."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pyamg
from numpy.typing import NDArray
from pyamg.relaxation.relaxation import gauss_seidel
from scipy import sparse
from scipy.sparse.linalg import splu

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.fluxsystem import FluxState, FluxSystem

Array = NDArray[np.float64]

# Field strength whose chords of the laws are taken as straight: about the knee of mild steel.
_START_LEVEL_A_M = 1.5e3
_MOST_ITERATIONS = 40
_ARMIJO = 1e-4
_MOST_CG = 400
_STALE_CG = 40
# Vertices up to which a direct factor is cheaper than a multigrid of its own.
_DIRECT_VERTICES = 12_000

Solve = Callable[[Array], Array]


def least_energy(
    system: FluxSystem, residual_share: float, start_a: Array | None = None
) -> tuple[FluxState, float, int]:
    """Find the least energy by Newton's method with halving steps.

    Parameters
    ----------
    system : FluxSystem
    residual_share : float
        Stop when the gradient of the energy is this share of the load.
    start_a : ndarray, optional
        A potential near the solution, such as that of a magnet of nearly the same strength.

    Returns
    -------
    state : FluxState
    residual : float
        Size of the gradient over the size of the load.
    iterations : int
        Number of steps.

    Raises
    ------
    NotComputedError
        It did not converge.

    Notes
    -----
    A step that had to be halved, or that left a larger residual, is followed by one along the chords
    of the laws: it gets less far where they are nearly straight, but does not swing past the knee,
    where Newton's steps go to and fro.
    """
    load = system.load_wb()
    if load == 0:
        return system.at(np.zeros(system.unknowns)), 0.0, 0
    solver = _TwoLevels(system.from_corners)
    state = system.at(start_a) if start_a is not None else _linear_start(system, solver)
    last_share, last_residual = 1.0, np.inf
    for count in range(_MOST_ITERATIONS + 1):
        gradient = state.gradient_wb
        residual = _norm(gradient) / load
        if residual < residual_share:
            return state, residual, count
        # A rough step is enough far from the solution; near it the step must be as sharp as the goal.
        goal = min(1e-2, max(0.1 * residual, 0.1 * residual_share / residual, 1e-12))
        chord = last_share < 1.0 or residual > last_residual
        step = solver.solve(state.matrix(chord=chord), -gradient, goal)
        state, share = _descend(system, state, step)
        last_share, last_residual = (1.0, np.inf) if chord else (share, residual)
    message = f"flux not converged: residual {residual:.1e} after {_MOST_ITERATIONS} iterations"
    raise NotComputedError(message)


def _linear_start(system: FluxSystem, solver: _TwoLevels) -> FluxState:
    """Solve with straight laws; the energy is convex, so that where it starts costs steps only."""
    matrix, right = system.start(_START_LEVEL_A_M)
    return system.at(solver.solve(matrix, right, 1e-2))


def _solver(matrix: sparse.csr_matrix) -> Solve:
    """Return what solves with a matrix of the vertices, exactly or, for many, by a cycle of a multigrid."""
    if matrix.shape[0] <= _DIRECT_VERTICES:
        options = {"SymmetricMode": True}
        factor = splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
        return lambda right: np.asarray(factor.solve(right))
    # Row-wise weights need no random start, so that runs repeat exactly.
    cycle = pyamg.smoothed_aggregation_solver(
        matrix,
        strength=("symmetric", {"theta": 0.05}),
        smooth=("jacobi", {"omega": 4 / 3, "weighting": "local"}),
        presmoother=("gauss_seidel", {"sweep": "forward"}),
        postsmoother=("gauss_seidel", {"sweep": "backward"}),
    ).aspreconditioner()
    return lambda right: np.asarray(cycle @ right)


def _conjugate_gradients(
    matrix: sparse.csr_matrix, load: Array, inverse: Solve, share: float
) -> tuple[Array, int]:
    """Solve to a residual of `share` of the load, and say in how many steps.

    Sums are not given to the threads of a BLAS: the vectors are short, idle threads wait in busy
    loops, and the last digits would depend on their number.
    """
    x, residual = np.zeros_like(load), load.copy()
    goal = share * _norm(load)
    direction, last = np.zeros_like(load), 1.0
    for count in range(_MOST_CG):
        if _norm(residual) <= goal:
            return x, count
        better = inverse(residual)
        size = _dot(residual, better)
        direction = better + (size / last) * direction
        last = size
        ahead = matrix @ direction
        step = size / _dot(direction, ahead)
        x += step * direction
        residual -= step * ahead
    return x, _MOST_CG


def _dot(a: Array, b: Array) -> float:
    return float(np.einsum("i,i->", a, b))


def _norm(a: Array) -> float:
    return float(np.sqrt(_dot(a, a)))


class _TwoLevels:
    """Conjugate gradients behind sweeps over all unknowns and a solution on the vertices.

    The preconditioner is kept from step to step while it still serves.
    """

    def __init__(self, up: sparse.csr_matrix) -> None:
        self._up = up
        self._down = up.T.tocsr()
        self._inverse: Solve | None = None
        self._slow = False

    def solve(self, matrix: sparse.csr_matrix, load: Array, share: float) -> Array:
        """Solve to a residual of `share` of the load."""
        for fresh in (self._slow, True):
            if fresh or self._inverse is None:
                self._inverse = self._preconditioner(matrix)
            x, count = _conjugate_gradients(matrix, load, self._inverse, share)
            self._slow = count > _STALE_CG
            if count < _MOST_CG:
                return x
        message = f"the linear solver did not reach {share:g} in {_MOST_CG} steps"
        raise NotComputedError(message)

    def _preconditioner(self, matrix: sparse.csr_matrix) -> Solve:
        on_vertices = _solver((self._down @ matrix @ self._up).tocsr())

        def apply(residual: Array) -> Array:
            x = np.zeros_like(residual)
            gauss_seidel(matrix, x, residual, iterations=1, sweep="forward")
            x += self._up @ on_vertices(self._down @ (residual - matrix @ x))
            gauss_seidel(matrix, x, residual, iterations=1, sweep="backward")
            return x

        return apply


def _descend(system: FluxSystem, state: FluxState, step: Array) -> tuple[FluxState, float]:
    """Halve the step until the energy falls as a convex function must."""
    slope = _dot(state.gradient_wb, step)
    share = 1.0
    # Rounding of the energy hides true descent near the solution.
    noise = 1e-13 * abs(state.energy_j)
    while share > 1e-6:
        trial = system.at(state.potential_a + share * step)
        if trial.energy_j <= state.energy_j + _ARMIJO * share * slope + noise:
            return trial, share
        share /= 2
    message = "flux not converged: no step lowers the energy"
    raise NotComputedError(message)
