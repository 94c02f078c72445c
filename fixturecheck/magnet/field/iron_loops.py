"""The inner loops of the field in iron, compiled: laws, tetrahedra, and gaps in series with a film."""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import compiled
from fixturecheck.constants import MU0_H_M
from fixturecheck.magnet.field.sweep_loops import Places

EDGES = np.array([[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]])
"""The corners of each edge of a tetrahedron."""

# Shares of the four corners at the points of the rule that is exact to degree two, which is what a squared
# gradient of second-order functions needs: that of the near corner, and of each other one.
_NEAR, _FAR = 0.5854101966249685, 0.1381966011250105
# Of the gradient of a linear function, each point takes the unknown of its corner, those of the edges that
# meet there, and once more that of the edge that leads to the point's own corner; of its own corner itself.
_CORNER, _EDGE, _OWN = 4.0 * _FAR - 1.0, 4.0 * _FAR, 4.0 * (_NEAR - _FAR)
_LEADS = np.array([[0, 4, 5, 6], [4, 1, 7, 8], [5, 7, 2, 9], [6, 8, 9, 3]])

_SAME, _TINY, _MOST = 1e-13, 1e-300, 80
_NO_FIELD_A_M = 1e-30


def _mixing() -> Floats:
    """How much each unknown counts in the four gradients at each point, shape (4, 4, 10)."""
    shares = np.zeros((4, 4, 10))
    for q in range(4):
        for k in range(4):
            shares[q, k, _LEADS[k]] = _EDGE
            shares[q, k, k] = _CORNER
            shares[q, k, _LEADS[k, q]] += _OWN
    return shares


_MIXING = _mixing()


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
        flux, rise = law_at(guess, knees, feet)
        chord = flux / guess if guess > 0.0 else rise
        h = size / (film_m + reluctance * chord)
        flux, rise = law_at(h, knees, feet)
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
            flux, rise = law_at(h, knees, feet)
        out[0, i] = math.copysign(flux, jump_a[i])
        out[1, i] = rise / (reluctance * rise + film_m)
        energy = flux * size - 0.5 * reluctance * flux * flux
        out[2, i] = energy - film_m * (h * flux - coenergy_at(h, knees, feet))


@compiled
def law_at(field_a_m: float, knees: Floats, feet: Floats) -> tuple[float, float]:
    """Return flux density, T, and its slope, H/m, at one field strength.

    Parameters
    ----------
    field_a_m : float
        Field strength, not negative.
    knees, feet : ndarray, shapes (k, 2) and (f, 2)
        The terms of the law, as `through_film` takes them.

    Returns
    -------
    flux, rise : float
    """
    flux, rise, bend = MU0_H_M * field_a_m, MU0_H_M, 0.0
    for k in range(len(knees)):
        j, a = knees[k, 0] * 2.0 / math.pi, knees[k, 1]
        x = field_a_m / a
        flux += j * math.atan(x)
        rise += j / (a * (1.0 + x * x))
    for k in range(len(feet)):
        x = field_a_m / feet[k, 1]
        share = x * x / (1.0 + x * x)
        flux += feet[k, 0] * share
        bend += feet[k, 0] * share * (1.0 - share)
    return flux, (rise + 2.0 * bend / field_a_m if field_a_m > _NO_FIELD_A_M else rise)


@compiled
def coenergy_at(field_a_m: float, knees: Floats, feet: Floats) -> float:
    """Return the integral of the flux density from no field.

    Parameters
    ----------
    field_a_m : float
        Field strength, not negative.
    knees, feet : ndarray, shapes (k, 2) and (f, 2)
        The terms of the law, as `through_film` takes them.

    Returns
    -------
    float
        J/m3.
    """
    whole = 0.5 * MU0_H_M * field_a_m * field_a_m
    for k in range(len(knees)):
        j, a = knees[k, 0] * 2.0 / math.pi, knees[k, 1]
        x = field_a_m / a
        whole += j * a * (x * math.atan(x) - 0.5 * math.log1p(x * x))
    for k in range(len(feet)):
        x = field_a_m / feet[k, 1]
        whole += feet[k, 0] * feet[k, 1] * (x - math.atan(x))
    return whole


@compiled
def iron_state(
    slopes: Floats,
    quarter_m3: Floats,
    cells: Ints,
    potential_a: Floats,
    knees: Floats,
    feet: Floats,
    field_a_m: Floats,
    chord_h_m: Floats,
    extra: Floats,
    residual_wb: Floats,
) -> float:
    """Work out the field in second-order tetrahedra under a potential, and return its coenergy.

    Parameters
    ----------
    slopes, quarter_m3 : ndarray
        As `add_iron` takes them.
    cells : ndarray of int, shape (m, 10)
        The unknowns of each tetrahedron: four corners, then six edges.
    potential_a : ndarray, shape (n,)
        The potential of the body.
    knees, feet : ndarray, shapes (k, 2) and (f, 2)
        The terms of the body's law, as `through_film` takes them.
    field_a_m, chord_h_m, extra : ndarray
        Written: what `add_iron` takes.
    residual_wb : ndarray, shape (n,)
        Added to: the derivative of the coenergy by each unknown.

    Returns
    -------
    float
        J.
    """
    at, shared, local = np.empty(10), np.empty(4), np.empty(10)
    whole = 0.0
    for c in range(len(cells)):
        s, local[:] = slopes[c], 0.0
        for i in range(10):
            at[i] = potential_a[cells[c, i]]
        for k in range(4):
            edges = at[_LEADS[k, 0]] + at[_LEADS[k, 1]] + at[_LEADS[k, 2]] + at[_LEADS[k, 3]] - at[k]
            shared[k] = _CORNER * at[k] + _EDGE * edges
        energy = 0.0
        for q in range(4):
            x, y, z = 0.0, 0.0, 0.0
            for k in range(4):
                share = shared[k] + _OWN * at[_LEADS[k, q]]
                x, y, z = x + share * s[k, 0], y + share * s[k, 1], z + share * s[k, 2]
            field_a_m[c, q, 0], field_a_m[c, q, 1], field_a_m[c, q, 2] = x, y, z
            square = x * x + y * y + z * z
            h = math.sqrt(square)
            flux, rise = law_at(h, knees, feet)
            # Where there is no field the chord is the slope.
            chord = flux / h if h > _NO_FIELD_A_M else rise
            chord_h_m[c, q] = chord
            extra[c, q] = (rise - chord) / square if h > _NO_FIELD_A_M else 0.0
            energy += coenergy_at(h, knees, feet)
            for k in range(4):
                onto = chord * (x * s[k, 0] + y * s[k, 1] + z * s[k, 2])
                local[_LEADS[k, q]] += _OWN * onto
                for j in range(4):
                    local[_LEADS[k, j]] += (_CORNER if j == k else _EDGE) * onto
        whole += energy * quarter_m3[c]
        for i in range(10):
            residual_wb[cells[c, i]] += local[i] * quarter_m3[c]
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
    both, along = np.empty((4, 4)), np.zeros(4)
    turned, local = np.empty((4, 10)), np.empty((10, 10))
    for c in range(len(slopes)):
        s = slopes[c]
        for k in range(4):
            for m in range(4):
                both[k, m] = s[k, 0] * s[m, 0] + s[k, 1] * s[m, 1] + s[k, 2] * s[m, 2]
        local[:] = 0.0
        for q in range(4):
            straight, more = chord_h_m[c, q] * quarter_m3[c], 0.0
            if len(extra) > 0:
                more = extra[c, q] * quarter_m3[c]
                x, y, z = field_a_m[c, q, 0], field_a_m[c, q, 1], field_a_m[c, q, 2]
                for k in range(4):
                    along[k] = s[k, 0] * x + s[k, 1] * y + s[k, 2] * z
            _add_point(q, straight, more, both, along, turned, local)
        entry = 0
        for i in range(10):
            for j in range(i + 1):
                data[slots[c, entry]] += local[i, j]
                entry += 1


@compiled
def _add_point(
    q: int, straight: float, more: float, both: Floats, along: Floats, turned: Floats, local: Floats
) -> None:
    """Add what one point gives to the matrix of a tetrahedron.

    The iron's law couples the gradients of the linear functions there, by their inner products and by how
    far each goes along the field; the unknowns mix those. What is `turned` is overwritten.
    """
    for k in range(4):
        bend = more * along[k]
        c0, c1 = straight * both[k, 0] + bend * along[0], straight * both[k, 1] + bend * along[1]
        c2, c3 = straight * both[k, 2] + bend * along[2], straight * both[k, 3] + bend * along[3]
        for j in range(10):
            turned[k, j] = (
                c0 * _MIXING[q, 0, j] + c1 * _MIXING[q, 1, j] + c2 * _MIXING[q, 2, j] + c3 * _MIXING[q, 3, j]
            )
    # A corner mixes in its own gradient alone, an edge those of its two ends.
    for i in range(4):
        for j in range(10):
            local[i, j] += _MIXING[q, i, i] * turned[i, j]
    for e in range(6):
        one, other = EDGES[e, 0], EDGES[e, 1]
        of_one, of_other = _MIXING[q, one, 4 + e], _MIXING[q, other, 4 + e]
        for j in range(10):
            local[4 + e, j] += of_one * turned[one, j] + of_other * turned[other, j]
