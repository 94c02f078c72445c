"""What nearly solves with a symmetric matrix in a cycle: sweeps, and what groups of unknowns correct."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from pyamg.aggregation import standard_aggregation
from pyamg.strength import symmetric_strength_of_connection
from scipy import sparse
from scipy.sparse.linalg import splu

from fixturecheck.arrays import Floats
from fixturecheck.magnet.field.sweep_loops import sweep_down, sweep_up

Solve = Callable[[Floats], Floats]

# Unknowns up to which a factor is cheaper than another level.
_DIRECT = 1000
# What couples two unknowns counts from this share of the root of the product of their diagonals.
_STRONG_SHARE = 0.05
# Step of the smoothing, over the row sums that bound how far one may go.
_SMOOTHING = 4.0 / 3.0
# A level that leaves more than this share of the unknowns is not worth its sweeps.
_MOST_LEFT = 0.5


def cycle_of(matrix: sparse.csr_matrix) -> Solve:
    """Return what nearly solves with a matrix: exactly with a small one, else by one cycle of a multigrid.

    Parameters
    ----------
    matrix : sparse matrix, shape (n, n)
        Symmetric and positive definite, its columns sorted.

    Returns
    -------
    callable
        Takes a right-hand side, shape (n,), to a solution. It is symmetric and positive definite itself, as
        conjugate gradients ask of what they are led by.

    References
    ----------
    Vanek, Mandel and Brezina, Algebraic multigrid by smoothed aggregation [@vanek1996], from memory: groups
    of strongly coupled unknowns, whose steps one sweep of Jacobi's method smooths. A cycle is a sweep down,
    the correction from the groups and a sweep up.
    """
    if matrix.shape[0] <= _DIRECT:
        return _factor(matrix)
    from_groups = _from_groups(matrix)
    if from_groups.shape[1] > _MOST_LEFT * matrix.shape[0]:
        return _factor(matrix)
    to_groups = from_groups.T.tocsr()
    coarse = (to_groups @ matrix @ from_groups).tocsr()
    coarse.sort_indices()
    on_groups = cycle_of(coarse)
    lower = sparse.tril(matrix, format="csr")
    half = lower.indptr.astype(np.uint32), lower.indices.astype(np.uint32), lower.data

    def solve(right: Floats) -> Floats:
        found, left, better = np.empty((3, len(right)))
        sweep_down(*half, right, found, left)
        sweep_up(*half, found, from_groups @ on_groups(to_groups @ left), better)
        return np.asarray(better)

    return solve


def _factor(matrix: sparse.csr_matrix) -> Solve:
    options = {"SymmetricMode": True}
    factor = splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
    return lambda right: np.asarray(factor.solve(right))


def _from_groups(matrix: sparse.csr_matrix) -> sparse.csr_matrix:
    """Return what takes a value for each group of unknowns to the unknowns."""
    groups = standard_aggregation(symmetric_strength_of_connection(matrix, _STRONG_SHARE))[0]
    steps = groups.astype(np.float64).tocsr()
    # Row sums need no random start, as an estimate of the greatest eigenvalue does, so that runs repeat.
    share = _SMOOTHING / np.asarray(abs(matrix).sum(axis=1)).ravel()
    return (steps - sparse.diags(share) @ (matrix @ steps)).tocsr()
