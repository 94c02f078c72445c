"""How the contacts answer one step of displacement: springs, one-sided, with friction by return mapping.

Newton on the coupled problem converges in a few steps nearly always. A body that almost nothing presses on,
beside others that are clamped hard, may be thrown far off on the way, where its friction has no slope that
leads back; then it is held by stiff springs that are let go by and by. Near tipping and where friction
chatters between sticking and sliding Newton may cycle; then friction bounds are held fixed, which makes the
problem convex and solvable by descent, and the bounds are brought up to date from outside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.physics.equilibrium import Equations, FloatArray
from fixturecheck.physics.equilibrium_loops import (
    RESIDUAL,
    answer,
    newton,
    summed_forces,
    summed_stiffness,
)

# Springs to a frame that moves with the last state: they take the freedoms that nothing resists.
DRAG = 1e-10
# A step in which they carry more than this share of the loads is no equilibrium of the contacts.
LOOSE = 1e-5
DESCENT_ITERATIONS = 15
BOUND_UPDATES = 16
# How much stiffer than at last the springs are, one solution after the other.
EASED = tuple(10.0**n for n in range(10, -1, -1))
_TINY = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Where the freedoms stand (mm), what the contacts carry, shape (n, 3) as normal, slip, slip (N)."""

    freedoms_mm: FloatArray
    carried_n: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """A state on the path, the factor on the load that it balances, and whether contacts alone do so."""

    state: State
    factor: float
    balanced: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """One step: from `before`, under `held_n`, by `stride_mm` along the load of direction `unit`.

    Parameters
    ----------
    scale_n : float
        Size of the loads, against which a residual counts as nothing.
    heading : ndarray, shape (m,)
        First guess of the freedoms' travel per mm along the load: that of the last step.
    drag_n_mm : float
        Stiffness of the springs that hold free motions in place during the solve.
    """

    equations: Equations
    before: State
    held_n: FloatArray
    unit: FloatArray
    load_size_n: float
    stride_mm: float
    scale_n: float
    heading: FloatArray
    drag_n_mm: float

    def start(self) -> FloatArray:
        """Return the freedoms moved on by the stride the way they went."""
        return self.before.freedoms_mm + self.stride_mm * self.heading

    def across(self, residual: FloatArray) -> FloatArray:
        """Return the part of a residual that the load cannot balance."""
        return residual - (residual @ self.unit) * self.unit

    def residual(self, freedoms: FloatArray, carried: FloatArray) -> FloatArray:
        """Contact forces less held loads, on each freedom, N."""
        total = self.drag_n_mm * (freedoms - self.before.freedoms_mm) - self.held_n
        summed_forces(self.equations.freedom, self.equations.parts, carried, total)
        return total

    def step(self, freedoms: FloatArray, carried: FloatArray) -> Step:
        """Return the step that ends at an equilibrium."""
        state = State(freedoms_mm=freedoms, carried_n=carried)
        largest = max(self.scale_n, float(np.abs(carried).max(initial=0.0)))
        # The drag takes no part in what holds: with nothing else to resist, it would grow with the stride.
        dragged = self.drag_n_mm * (freedoms - self.before.freedoms_mm)
        return Step(
            state=state,
            factor=float((self.residual(freedoms, carried) - dragged) @ self.unit) / self.load_size_n,
            balanced=float(np.linalg.norm(self.across(dragged))) <= LOOSE * largest,
        )

    def direction(self, freedoms: FloatArray, carried: FloatArray, local: FloatArray) -> FloatArray:
        """Newton's move of the freedoms, square to the load."""
        width = len(freedoms)
        bordered = np.zeros((width + 1, width + 1))
        bordered[:width, :width] = assemble(self.equations, local) + self.drag_n_mm * np.eye(width)
        bordered[:width, width], bordered[width, :width] = -self.unit, self.unit
        move = np.linalg.solve(bordered, np.append(-self.residual(freedoms, carried), 0.0))
        return np.asarray(move[:width])


def assemble(equations: Equations, local: FloatArray) -> FloatArray:
    """Sum contact stiffnesses into the freedoms.

    Parameters
    ----------
    equations : Equations
        The holding written out.
    local : ndarray, shape (n, 3, 3)
        Stiffness of each contact in its own frame.

    Returns
    -------
    ndarray, shape (m, m)
        Stiffness of the whole.
    """
    width = equations.approach.shape[2]
    total = np.zeros((width, width))
    summed_stiffness(equations.freedom, equations.parts, local, total)
    return total


def solve(task: Task) -> Step | None:
    """Return the equilibrium at the end of a step.

    Parameters
    ----------
    task : Task
        Where the step starts, and its loads.

    Returns
    -------
    Step or None
        None where no equilibrium was found.
    """
    freedoms = task.start()
    try:
        step, freedoms = _newton(task, freedoms)
        return step or _ease(task) or _update_bounds(task, freedoms)
    except np.linalg.LinAlgError:
        return None


def _newton(task: Task, freedoms: FloatArray) -> tuple[Step | None, FloatArray]:
    """Newton on the coupled problem, with backtracking on the residual."""
    equations, found = task.equations, freedoms.copy()
    carried = np.empty((len(equations.mu), 3))
    balances = newton(
        *(equations.freedom, equations.parts, equations.mu, equations.normal_n_mm, equations.shear_n_mm),
        *(task.before.freedoms_mm, task.before.carried_n, task.held_n, task.unit),
        *(task.drag_n_mm, task.scale_n, found, carried),
    )
    return (task.step(found, carried) if balances else None), found


def _ease(task: Task) -> Step | None:
    """Solve with stiff springs on every freedom first, then from there with ever softer ones."""
    freedoms, step = task.start(), None
    for times in EASED:
        step, found = _newton(replace(task, drag_n_mm=times * task.drag_n_mm), freedoms)
        if step is not None:
            freedoms = found
    return step


def _update_bounds(task: Task, freedoms: FloatArray) -> Step | None:
    """Alternate descent at fixed friction bounds with bringing the bounds up to date."""
    freedoms = task.start()
    carried, _ = _answer(task, freedoms, None)
    bound = task.equations.mu * carried[:, 0]
    for update in range(BOUND_UPDATES):
        freedoms, carried = _descend(task, freedoms, bound)
        if update % 4 == 3:
            step, _ = _newton(task, freedoms)
            if step is not None:
                return step
        bound = task.equations.mu * carried[:, 0]
    return None


def _descend(task: Task, freedoms: FloatArray, bound: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Minimise the energy at fixed friction bounds: Newton's direction with a search for its least."""
    carried, local = _answer(task, freedoms, bound)
    for _ in range(DESCENT_ITERATIONS):
        off = task.across(task.residual(freedoms, carried))
        if np.linalg.norm(off) <= RESIDUAL * task.scale_n:
            break
        move = task.direction(freedoms, carried, local)
        high, slope_low = 1.0, min(float(move @ off), -_TINY)
        for _ in range(8):
            trial = freedoms + high * move
            carried, local = _answer(task, trial, bound)
            slope = float(move @ task.across(task.residual(trial, carried)))
            if slope <= 0.1 * abs(slope_low):
                break
            high *= max(0.1, -slope_low / (slope - slope_low))
        freedoms = trial
    return freedoms, carried


def _answer(task: Task, freedoms: FloatArray, fixed: FloatArray | None) -> tuple[FloatArray, FloatArray]:
    """What the contacts carry, and its derivative, shape (n, 3, 3); friction bounds may be held fixed."""
    equations = task.equations
    count = len(equations.mu)
    carried, local = np.empty((count, 3)), np.empty((count, 3, 3))
    answer(
        *(equations.freedom, equations.parts, equations.mu, equations.normal_n_mm, equations.shear_n_mm),
        *(task.before.freedoms_mm, task.before.carried_n),
        *(freedoms, np.empty(0) if fixed is None else fixed, carried, local),
    )
    return carried, local
