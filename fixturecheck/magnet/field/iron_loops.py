"""The inner loop of the field in iron, compiled: the matrices of all tetrahedra summed into one."""

from __future__ import annotations

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import compiled

NEAR, FAR = 0.5854101966249685, 0.1381966011250105
"""Shares of the four corners at the points of the rule that is exact to degree two."""


@compiled
def add_iron(
    slopes: Floats,
    quarter_m3: Floats,
    chord_h_m: Floats,
    extra: Floats,
    field_a_m: Floats,
    slots: Ints,
    data: Floats,
) -> None:
    """Add the second derivative of the coenergy of second-order tetrahedra to a sparse matrix.

    Parameters
    ----------
    slopes : ndarray, shape (m, 4, 3)
        Gradients of the four linear functions of each tetrahedron, 1/m.
    quarter_m3 : ndarray, shape (m,)
        A quarter of each volume.
    chord_h_m : ndarray, shape (m, 4)
        B/H at the four points.
    extra : ndarray, shape (m, 4) or (0, 0)
        What dB/dH has beyond B/H, over the square of the field; empty for the law along its chord.
    field_a_m : ndarray, shape (m, 4, 3)
        Field strength at the points; not read where `extra` is empty.
    slots : ndarray of int, shape (m, 100)
        Where each entry of the matrix of a tetrahedron goes: four corners, then six edges, row by row.
    data : ndarray
        The entries of the whole matrix, which are added to.
    """
    grad, along, local = np.empty((10, 3)), np.zeros(10), np.empty((10, 10))
    for c in range(len(slopes)):
        local[:] = 0.0
        for q in range(4):
            _gradients(slopes[c], q, grad)
            more = 0.0
            if len(extra) > 0:
                more = extra[c, q] * quarter_m3[c]
                for i in range(10):
                    along[i] = _dot(grad[i], field_a_m[c, q])
            for i in range(10):
                for j in range(i + 1):
                    dot = _dot(grad[i], grad[j])
                    local[i, j] += chord_h_m[c, q] * quarter_m3[c] * dot + more * along[i] * along[j]
        for i in range(10):
            for j in range(i):
                data[slots[c, 10 * i + j]] += local[i, j]
                data[slots[c, 10 * j + i]] += local[i, j]
            data[slots[c, 11 * i]] += local[i, i]


@compiled
def _dot(a: Floats, b: Floats) -> float:
    return float(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


@compiled
def _gradients(slopes: Floats, q: int, grad: Floats) -> None:
    """Write the gradients of the ten functions of a tetrahedron at a point: four corners, then six edges."""
    edge = 4
    for i in range(4):
        at_i = NEAR if i == q else FAR
        for x in range(3):
            grad[i, x] = (4.0 * at_i - 1.0) * slopes[i, x]
        for j in range(i + 1, 4):
            at_j = NEAR if j == q else FAR
            for x in range(3):
                grad[edge, x] = 4.0 * (at_i * slopes[j, x] + at_j * slopes[i, x])
            edge += 1
