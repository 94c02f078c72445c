"""The cycle that leads the linear solver, against a general sparse factor and its own symmetry."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from fixturecheck.magnet.field.cycle import cycle_of


def _grid(side: int, jump: float) -> sparse.csr_matrix:
    """Seven points in space, with a wall about it, of which one half conducts better by a factor."""
    one = sparse.identity(side)
    step = sparse.diags([np.ones(side), -np.ones(side)], [0, -1], shape=(side + 1, side))
    whole = sparse.csr_matrix((side**3, side**3))
    for place in range(3):
        across = sparse.kron(
            sparse.kron(*(step if p == place else one for p in (0, 1))), step if place == 2 else one
        )
        better = np.arange(across.shape[0]) < across.shape[0] // 2
        whole = whole + across.T @ sparse.diags(np.where(better, jump, 1.0)) @ across
    return whole.tocsr()


@pytest.mark.parametrize("jump", [1.0, 1e4])
def test_a_cycle_is_symmetric_and_takes_most_of_the_error_away(jump):
    matrix = _grid(13, jump)
    cycle = cycle_of(matrix)
    right, other = np.random.default_rng(3).standard_normal((2, matrix.shape[0]))
    assert cycle(right) @ other == pytest.approx(right @ cycle(other), rel=1e-9)
    assert right @ cycle(right) > 0.0
    exact, found = spsolve(matrix.tocsc(), right), np.zeros_like(right)
    for _ in range(8):
        found = found + cycle(right - matrix @ found)
    off = found - exact
    assert off @ (matrix @ off) < 1e-4 * (exact @ (matrix @ exact))


def test_a_small_matrix_is_solved_as_it_is():
    matrix = _grid(6, 1.0)
    right = np.random.default_rng(4).standard_normal(matrix.shape[0])
    assert matrix @ cycle_of(matrix)(right) == pytest.approx(right, abs=1e-10)
