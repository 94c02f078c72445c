"""The inner loops of the field in iron, compiled: matrices of tetrahedra, and gaps in series with a film."""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.compiled import compiled
from fixturecheck.magnet.field.sweep_loops import Places

NEAR, FAR = 0.5854101966249685, 0.1381966011250105
"""Shares of the four corners at the points of the rule that is exact to degree two."""


MU0_H_M = 4e-7 * math.pi
"""Permeability of free space, henry per metre."""

_SAME, _TINY, _MOST = 1e-13, 1e-300, 80


@compiled
def through_film(
    jump_a: Floats, gap_m: Floats, knees: Floats, feet: Floats, film_m: float, out: Floats
) -> None:
    """Solve gaps, each in series with a film of iron, for the flux.

    Parameters
    ----------
    jump_a, gap_m : ndarray, shape (n,)
        Jump of potential, either sign, and gap.
    knees, feet : ndarray, shapes (k, 2) and (f, 2)
        The terms of the film's law: polarisation in T and field in A/m; see `BHLaw`.
    film_m : float
        Depth of the film, m.
    out : ndarray, shape (3, n)
        Written: flux density with the sign of the jump, its derivative by the jump, and its integral over it.
    """
    for i in range(len(jump_a)):
        size, reluctance = abs(jump_a[i]), gap_m[i] / MU0_H_M
        low, high = 0.0, size / film_m
        guess = 0.01 * high
        chord = _flux(guess, knees, feet)[0] / guess if guess > 0.0 else _flux(0.0, knees, feet)[1]
        h = size / (film_m + reluctance * chord)
        flux, rise = _flux(h, knees, feet)
        for _ in range(_MOST):
            miss = reluctance * flux + film_m * h - size
            if abs(miss) <= _SAME * size + _TINY:
                break
            if miss < 0.0:
                low = h
            else:
                high = h
            step = h - miss / (reluctance * rise + film_m)
            h = step if low < step < high else 0.5 * (low + high)
            flux, rise = _flux(h, knees, feet)
        out[0, i] = math.copysign(flux, jump_a[i])
        out[1, i] = rise / (reluctance * rise + film_m)
        energy = flux * size - 0.5 * reluctance * flux * flux
        out[2, i] = energy - film_m * (h * flux - _coenergy(h, knees, feet))


@compiled
def _flux(h: float, knees: Floats, feet: Floats) -> tuple[float, float]:
    """Return flux density and its slope at a field strength."""
    flux, rise = MU0_H_M * h, MU0_H_M
    for k in range(len(knees)):
        j, a = knees[k, 0] * 2.0 / math.pi, knees[k, 1]
        x = h / a
        flux += j * math.atan(x)
        rise += j / (a * (1.0 + x * x))
    for k in range(len(feet)):
        j, a = feet[k, 0], feet[k, 1]
        x = h / a
        flux += j * x * x / (1.0 + x * x)
        rise += j * 2.0 * x / (a * (1.0 + x * x) ** 2)
    return flux, rise


@compiled
def _coenergy(h: float, knees: Floats, feet: Floats) -> float:
    """Return the integral of the flux density from no field."""
    whole = 0.5 * MU0_H_M * h * h
    for k in range(len(knees)):
        j, a = knees[k, 0] * 2.0 / math.pi, knees[k, 1]
        x = h / a
        whole += j * a * (x * math.atan(x) - 0.5 * math.log1p(x * x))
    for k in range(len(feet)):
        x = h / feet[k, 1]
        whole += feet[k, 0] * feet[k, 1] * (x - math.atan(x))
    return whole


@compiled
def add_iron(
    slopes: Floats,
    quarter_m3: Floats,
    chord_h_m: Floats,
    extra: Floats,
    field_a_m: Floats,
    slots: Places,
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
    slots : ndarray of uint32, shape (m, 55)
        Where each entry of the lower half of the matrix of a tetrahedron goes: four corners, then six edges,
        row by row.
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
        entry = 0
        for i in range(10):
            for j in range(i + 1):
                data[slots[c, entry]] += local[i, j]
                entry += 1


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
