"""The inner loops of linear systems, compiled: sweeps over half of a symmetric matrix.

A matrix is given by its lower half, row by row in order of columns, so that the last entry of a row is its
diagonal. Half a matrix is half the memory to read, and what a sweep down leaves of its load is the other half
times what it found: each loop passes over the entries once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.arrays import Floats
from fixturecheck.compiled import compiled

Places = NDArray[np.uint32]
"""Columns of entries and starts of rows; without a sign, so that no index is asked whether it is negative."""


@compiled
def sweep_down(
    starts: Places, columns: Places, lower: Floats, load: Floats, found: Floats, left: Floats
) -> None:
    """Solve with the lower half and its diagonal, and say what that leaves of the load.

    Parameters
    ----------
    starts, columns, lower : ndarray
        The lower half: starts of rows, shape (n + 1,), and columns and values of its entries.
    load : ndarray, shape (n,)
        Right-hand side.
    found, left : ndarray, shape (n,)
        Written: the solution, and the load less the whole matrix times it.
    """
    for i in range(len(load)):
        left[i] = 0.0
        first, last = starts[i], starts[i + 1] - 1
        # Two sums wait for each other half as long as one.
        here, there = load[i], 0.0
        k = first
        while k + 1 < last:
            here -= lower[k] * found[columns[k]]
            there -= lower[k + 1] * found[columns[k + 1]]
            k += 2
        if k < last:
            here -= lower[k] * found[columns[k]]
        value = (here + there) / lower[last]
        found[i] = value
        for k in range(first, last):
            left[columns[k]] -= lower[k] * value


@compiled
def sweep_up(
    starts: Places, columns: Places, lower: Floats, found: Floats, more: Floats, out: Floats
) -> None:
    """Solve with the upper half and its diagonal after a sweep down and a correction of what it found.

    Parameters
    ----------
    starts, columns, lower : ndarray
        As `sweep_down` takes them.
    found : ndarray, shape (n,)
        What the sweep down found.
    more : ndarray, shape (n,)
        What was added to it since.
    out : ndarray, shape (n,)
        Written: the solution.
    """
    out[:] = 0.0
    for i in range(len(found) - 1, -1, -1):
        first, last = starts[i], starts[i + 1] - 1
        here, there = out[i], 0.0
        k = first
        while k + 1 < last:
            here -= lower[k] * more[columns[k]]
            there -= lower[k + 1] * more[columns[k + 1]]
            k += 2
        if k < last:
            here -= lower[k] * more[columns[k]]
        value = found[i] + (here + there) / lower[last]
        out[i] = value
        for k in range(first, last):
            out[columns[k]] -= lower[k] * value


@compiled
def turn_ahead(
    starts: Places,
    columns: Places,
    lower: Floats,
    found: Floats,
    more: Floats,
    better: Floats,
    share: float,
    direction: Floats,
    ahead: Floats,
) -> float:
    """Turn the direction of conjugate gradients, and carry along the matrix times it.

    Of what the sweep up solved, the matrix times it needs the lower half alone.

    Parameters
    ----------
    starts, columns, lower, found, more : ndarray
        As `sweep_up` takes them.
    better : ndarray, shape (n,)
        What it found.
    share : float
        How much of the last direction stays.
    direction, ahead : ndarray, shape (n,)
        Written: the direction, and the matrix times it.

    Returns
    -------
    float
        The inner product of both.
    """
    size = 0.0
    for i in range(len(better)):
        first, last = starts[i], starts[i + 1] - 1
        here, there = lower[last] * found[i], 0.0
        k = first
        while k + 1 < last:
            a, b = columns[k], columns[k + 1]
            here += lower[k] * (better[a] - more[a])
            there += lower[k + 1] * (better[b] - more[b])
            k += 2
        if k < last:
            a = columns[k]
            here += lower[k] * (better[a] - more[a])
        direction[i] = better[i] + share * direction[i]
        ahead[i] = here + there + share * ahead[i]
        size += direction[i] * ahead[i]
    return size
