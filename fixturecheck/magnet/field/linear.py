"""How one linear system of the field is solved: conjugate gradients behind two levels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.magnet.field.cycle import Solve, cycle_of
from fixturecheck.magnet.field.sweep_loops import Places, sweep_down, sweep_up, turn_ahead

_MOST_CG = 400
_STALE_CG = 15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SymmetricMatrix:
    """A symmetric matrix by its lower half.

    Parameters
    ----------
    starts, columns : ndarray of uint32, shapes (n + 1,) and (m,)
        Where each row starts, and the column of each entry, in order; the last of a row is its diagonal.
    lower : ndarray, shape (m,)
        The entries.
    """

    starts: Places
    columns: Places
    lower: Floats

    def between(self, down: sparse.csr_matrix, up: sparse.csr_matrix) -> sparse.csr_matrix:
        """Return `down` times this matrix times `up`, where either is the other one's transpose.

        Parameters
        ----------
        down : sparse matrix, shape (k, n)
            From all unknowns to fewer.
        up : sparse matrix, shape (n, k)
            Its transpose.

        Returns
        -------
        sparse matrix, shape (k, k)
            With both halves.
        """
        size = len(self.starts) - 1
        half = self.lower.copy()
        half[self.starts[1:] - 1] *= 0.5
        places = self.columns.view(np.int32), self.starts.view(np.int32)
        part = (down @ sparse.csr_matrix((half, *places), shape=(size, size)) @ up).tocsr()
        return (part + part.T).tocsr()


def inner_product(a: Floats, b: Floats) -> float:
    """Return the inner product.

    Sums are not given to the threads of a BLAS: the vectors are short, idle threads wait in busy
    loops, and the last digits would depend on their number.

    Parameters
    ----------
    a, b : ndarray, shape (n,)
        Of the same length.

    Returns
    -------
    float
        The sum of products.
    """
    return float(np.einsum("i,i->", a, b))


def norm(a: Floats) -> float:
    """Return the length.

    Parameters
    ----------
    a : ndarray, shape (n,)
        Any vector.

    Returns
    -------
    float
        The root of the sum of squares.
    """
    return float(np.sqrt(inner_product(a, a)))


class TwoLevels:
    """Conjugate gradients behind sweeps over all unknowns and a solution on the vertices.

    Sweeps are those of the matrix itself. What solves on the vertices is kept from step to step while it
    still serves.

    Parameters
    ----------
    from_vertices, to_vertices : sparse matrix
        Takes what is known at the vertices to all unknowns; and its transpose.
    """

    def __init__(self, from_vertices: sparse.csr_matrix, to_vertices: sparse.csr_matrix) -> None:
        self._from_vertices, self._to_vertices = from_vertices, to_vertices
        self._on_vertices: Solve | None = None
        self._slow = False

    def solve(self, matrix: SymmetricMatrix, load: Floats, share: float) -> Floats:
        """Solve to a residual of `share` of the load.

        Parameters
        ----------
        matrix : SymmetricMatrix
            Over all unknowns, n of them.
        load : ndarray, shape (n,)
            The right-hand side.
        share : float
            Largest residual as a share of the load.

        Returns
        -------
        ndarray, shape (n,)
            The solution.

        Raises
        ------
        NotComputedError
            It was not reached.
        """
        for fresh in (self._slow, True):
            if fresh or self._on_vertices is None:
                self._on_vertices = cycle_of(matrix.between(self._to_vertices, self._from_vertices))
            x, count = self._conjugate_gradients(matrix, load, self._on_vertices, share)
            self._slow = count > _STALE_CG
            if count < _MOST_CG:
                return x
        raise NotComputedError(f"the linear solver did not reach {share:g} in {_MOST_CG} steps")

    def _conjugate_gradients(
        self, matrix: SymmetricMatrix, load: Floats, on_vertices: Solve, share: float
    ) -> tuple[Floats, int]:
        """Solve to a residual of `share` of the load, and say in how many steps.

        A step is a sweep down, a correction from the vertices and a sweep up, each in one pass over half of
        the matrix. What the matrix makes of a direction follows from the sweeps (Eisenstat's way).
        """
        half = matrix.starts, matrix.columns, matrix.lower
        x, residual = np.zeros_like(load), load.copy()
        found, left, better, direction, ahead = np.zeros((5, len(load)))
        goal, last = share * norm(load), np.inf
        for count in range(_MOST_CG):
            if norm(residual) <= goal:
                return x, count
            sweep_down(*half, residual, found, left)
            more = self._from_vertices @ on_vertices(self._to_vertices @ left)
            sweep_up(*half, found, more, better)
            size = inner_product(residual, better)
            if size <= 0.0:
                # What solves on the vertices is of iron so much stiffer that it overshoots.
                return x, _MOST_CG
            step = size / turn_ahead(*half, found, more, better, size / last, direction, ahead)
            last = size
            x += step * direction
            residual -= step * ahead
        return x, _MOST_CG
