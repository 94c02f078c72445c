"""The inner loop of equilibrium, compiled: what contacts answer, and Newton's method on one step.

A contact point answers to the twelve freedoms of two bodies at most, so all is summed over those alone.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import compiled

NEWTON_MOVES, DESCENT_MOVES = 14, 15
SHORTENED = (0.5, 0.25, 0.1)
"""Shares of a move that are tried one after the other where the whole move does not bring less residual."""
RESIDUAL = 1e-7
_TINY = 1e-300


class StepArrays(NamedTuple):
    """One step as the loops take it: n contacts between bodies of m freedoms, and loads.

    Parameters
    ----------
    freedom, parts : ndarray, shapes (n, k) and (n, 3, k)
        As in `Equations`.
    mu, normal_n_mm, shear_n_mm : ndarray, shape (n,)
        Friction and stiffnesses.
    before_mm, before_n : ndarray, shapes (m,) and (n, 3)
        Freedoms and contact forces at the start of the step.
    held_n, unit : ndarray, shape (m,)
        Held loads, and the direction of the load that is followed; zero where there is none.
    drag_n_mm : float
        Stiffness of springs on every freedom.
    scale_n : float
        Size of the loads, against which a residual counts as nothing.
    """

    freedom: Ints
    parts: Floats
    mu: Floats
    normal_n_mm: Floats
    shear_n_mm: Floats
    before_mm: Floats
    before_n: Floats
    held_n: Floats
    unit: Floats
    drag_n_mm: float
    scale_n: float


@compiled
def answer(step: StepArrays, freedoms_mm: Floats, bound_n: Floats, carried: Floats, local: Floats) -> None:
    """Write what contacts carry, and its derivative, for given freedoms.

    Parameters
    ----------
    step : StepArrays
        The contacts, and where the step starts.
    freedoms_mm : ndarray, shape (m,)
        Where the freedoms stand.
    bound_n : ndarray, shape (n,) or (0,)
        Friction that each contact has at most; empty where it is friction times its normal force.
    carried : ndarray, shape (n, 3)
        Written: normal, slip, slip, N.
    local : ndarray, shape (n, 3, 3)
        Written: derivative of it by approach and slips, N/mm.
    """
    freedom, parts, mu = step.freedom, step.parts, step.mu
    normal_n_mm, shear_n_mm = step.normal_n_mm, step.shear_n_mm
    before_mm, before_n = step.before_mm, step.before_n
    fixed = len(bound_n) > 0
    for i in range(len(mu)):
        normal, first, second = 0.0, before_n[i, 1], before_n[i, 2]
        for k in range(freedom.shape[1]):
            j = freedom[i, k]
            if j < 0:
                break
            slip = shear_n_mm[i] * (freedoms_mm[j] - before_mm[j])
            normal += parts[i, 0, k] * freedoms_mm[j]
            first += parts[i, 1, k] * slip
            second += parts[i, 2, k] * slip
        normal = max(normal_n_mm[i] * normal, 0.0)
        most = bound_n[i] if fixed else mu[i] * normal
        long = math.sqrt(first * first + second * second)
        slides = long > most
        share = most / max(long, _TINY) if slides else 1.0
        turn = share * shear_n_mm[i]
        carried[i, 0], carried[i, 1], carried[i, 2] = normal, share * first, share * second
        local[i] = 0.0
        local[i, 0, 0] = normal_n_mm[i] if normal > 0.0 else 0.0
        local[i, 1, 1] = local[i, 2, 2] = turn
        if slides:
            first, second = first / max(long, _TINY), second / max(long, _TINY)
            local[i, 1, 1] -= first * first * turn
            local[i, 2, 2] -= second * second * turn
            local[i, 1, 2] = local[i, 2, 1] = -first * second * turn
            if not fixed:
                local[i, 1, 0] = mu[i] * local[i, 0, 0] * first
                local[i, 2, 0] = mu[i] * local[i, 0, 0] * second


@compiled
def summed_forces(freedom: Ints, parts: Floats, carried: Floats, total: Floats) -> None:
    """Add contact forces to the forces on each freedom.

    Parameters
    ----------
    freedom, parts : ndarray, shapes (n, k) and (n, 3, k)
        As in `Equations`.
    carried : ndarray, shape (n, 3)
        Contact forces, N.
    total : ndarray, shape (m,)
        Added to, N.
    """
    for i in range(len(carried)):
        for k in range(freedom.shape[1]):
            j = freedom[i, k]
            if j < 0:
                break
            for r in range(3):
                total[j] += parts[i, r, k] * carried[i, r]


@compiled
def summed_stiffness(freedom: Ints, parts: Floats, local: Floats, total: Floats) -> None:
    """Add contact stiffnesses to the stiffness of the freedoms.

    Parameters
    ----------
    freedom, parts : ndarray, shapes (n, k) and (n, 3, k)
        As in `Equations`.
    local : ndarray, shape (n, 3, 3)
        Stiffness of each contact in its own frame, N/mm.
    total : ndarray, shape (m or more, m or more)
        Its first rows and columns are added to, N/mm.
    """
    for i in range(len(local)):
        if local[i, 0, 0] == 0.0 and local[i, 1, 1] == 0.0 and local[i, 2, 2] == 0.0:
            continue
        for k in range(freedom.shape[1]):
            column = freedom[i, k]
            if column < 0:
                break
            a, b, c = parts[i, 0, k], parts[i, 1, k], parts[i, 2, k]
            normal = local[i, 0, 0] * a + local[i, 0, 1] * b + local[i, 0, 2] * c
            first = local[i, 1, 0] * a + local[i, 1, 1] * b + local[i, 1, 2] * c
            second = local[i, 2, 0] * a + local[i, 2, 1] * b + local[i, 2, 2] * c
            for q in range(freedom.shape[1]):
                j = freedom[i, q]
                if j < 0:
                    break
                total[j, column] += parts[i, 0, q] * normal + parts[i, 1, q] * first + parts[i, 2, q] * second


@compiled
def across(residual: Floats, unit: Floats) -> float:
    """Return the size of the part of a residual that lies across a direction.

    Parameters
    ----------
    residual, unit : ndarray, shape (m,)
        The residual, N, and a unit direction.

    Returns
    -------
    float
        N.
    """
    along = 0.0
    for j in range(len(unit)):
        along += residual[j] * unit[j]
    size = 0.0
    for j in range(len(unit)):
        size += (residual[j] - along * unit[j]) ** 2
    return math.sqrt(size)


@compiled
def newton(step: StepArrays, bound_n: Floats, freedoms_mm: Floats, carried: Floats) -> bool:
    """Find the equilibrium of one step by Newton's method, each move as far as it brings it nearer.

    Friction that grows with the normal force has no energy: a move is shortened until the residual falls. At
    fixed friction bounds the equilibrium has the least energy, and a move goes to the least along it.

    Parameters
    ----------
    step : StepArrays
        Contacts, loads, and where the step starts.
    bound_n : ndarray, shape (n,) or (0,)
        As in `answer`.
    freedoms_mm : ndarray, shape (m,)
        Where it starts; where it ends is written into it.
    carried : ndarray, shape (n, 3)
        Written: what contacts carry there.

    Returns
    -------
    bool
        Whether it was found.

    Raises
    ------
    numpy.linalg.LinAlgError
        The stiffness is singular.
    """
    fixed, width = len(bound_n) > 0, len(step.unit)
    local, residual, trial = np.empty((len(step.mu), 3, 3)), np.empty(width), np.empty(width)
    answer(step, freedoms_mm, bound_n, carried, local)
    _residual(step, freedoms_mm, carried, residual)
    off = across(residual, step.unit)
    for made in range(DESCENT_MOVES if fixed else NEWTON_MOVES):
        if off <= RESIDUAL * (step.scale_n if fixed else _largest(step.scale_n, carried)):
            return True
        move = _move(step, local, residual)[:width]
        now, share, slope_first = off, 1.0, min(_slope(move, residual, step.unit), -_TINY)
        for tried in range(8 if fixed else 4):
            trial[:] = freedoms_mm + share * move
            answer(step, trial, bound_n, carried, local)
            _residual(step, trial, carried, residual)
            now = across(residual, step.unit)
            if fixed:
                slope = _slope(move, residual, step.unit)
                if slope <= 0.1 * abs(slope_first):
                    break
                share *= max(0.1, -slope_first / (slope - slope_first))
            else:
                # The first guess has the wrong contacts shut: its residual says nothing yet.
                if now < 0.95 * off or made < 2:
                    break
                share = SHORTENED[min(tried, 2)]
        freedoms_mm[:] = trial
        off = now
    return off <= RESIDUAL * (step.scale_n if fixed else _largest(step.scale_n, carried))


@compiled
def _slope(move: Floats, residual: Floats, unit: Floats) -> float:
    """Return how fast the energy grows along a move, as far as the load that is followed does no work."""
    return float((move * (residual - (residual * unit).sum() * unit)).sum())


@compiled
def _largest(scale_n: float, carried: Floats) -> float:
    """Return the size of the loads or the largest contact force."""
    largest = scale_n
    for i in range(len(carried)):
        for r in range(3):
            largest = max(largest, abs(carried[i, r]))
    return largest


@compiled
def _move(step: StepArrays, local: Floats, residual: Floats) -> Floats:
    """Return Newton's move of the freedoms, square to the load; what follows them is the load's own share."""
    unit = step.unit
    width = len(unit)
    bordered, right = np.zeros((width + 1, width + 1)), np.zeros(width + 1)
    summed_stiffness(step.freedom, step.parts, local, bordered)
    for j in range(width):
        bordered[j, j] += step.drag_n_mm
        bordered[j, width], bordered[width, j] = -unit[j], unit[j]
        right[j] = -residual[j]
    if not unit.any():
        # No load is followed: its share stays zero.
        bordered[width, width] = 1.0
    move = np.empty(width + 1)
    move[:] = np.linalg.solve(bordered, right)
    return move


@compiled
def _residual(step: StepArrays, freedoms_mm: Floats, carried: Floats, residual: Floats) -> None:
    """Write contact forces and drag less held loads, on each freedom, N."""
    for j in range(len(residual)):
        residual[j] = step.drag_n_mm * (freedoms_mm[j] - step.before_mm[j]) - step.held_n[j]
    summed_forces(step.freedom, step.parts, carried, residual)
