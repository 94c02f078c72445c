"""Where does a growing load take the parts: rest under the held loads, then the path to collapse.

The load is driven by the displacement that it works on, so the path stays traceable where the load stops
growing: there the displacement grows on and the load factor stands still. Every point of the path is an
equilibrium with friction inside its cones; the greatest load factor on it is the load at collapse.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.equilibrium import Equations, FloatArray
from fixturecheck.physics.equilibrium_solve import DRAG, State, Step, Task, assemble, solve
from fixturecheck.physics.limit_load import limit_factor

MOST_STEPS = 60
STRIDES = (1.0, 0.5, 0.21, 0.043)
STANDSTILL = 2e-5
# How often the first step is made a tenth as long where no equilibrium is found at its end.
MOST_SHRUNK = 3
# Instead of the usual drag, where that carries a share that shows beside the softest contacts.
LIGHT_DRAG = 0.01 * DRAG
LET_GO = 0.99
STIFF_DRAGS = (1e-6, 1e-4, 1e-2)
NOTHING = 1e-6
BALANCED = 1e-5
STILL, FREE = "stood still", "moves freely"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoadPath:
    """The way to collapse.

    Parameters
    ----------
    steps : tuple of Step
        From rest on; the last two span the motion at collapse.
    ended : str
        `stood still` (the load grew no more), `moves freely` (no contact resists any more), `let go` (it
        fell: what held before holds less once it has moved), `ceiling` (nobody needs to know more), or
        `broke off` (no equilibrium was found beyond the last step, so the factor is the last that was).
    """

    steps: tuple[Step, ...]
    ended: str

    @property
    def factor(self) -> float:
        """Greatest factor for which an equilibrium was found."""
        return max(step.factor for step in self.steps if step.balanced)


def settle_held(equations: Equations) -> tuple[State, bool]:
    """Apply the held loads and find the rest state.

    Parameters
    ----------
    equations : Equations
        The holding.

    Returns
    -------
    state : State
        The rest state; where there is none, the motion that nothing resists.
    rests : bool
        Whether the held loads alone keep every body where it is.

    Raises
    ------
    NotComputedError
        Contacts kept switching, and it is not plain either that nothing could hold.
    """
    start = State(freedoms_mm=np.zeros(equations.held_n.shape), carried_n=np.zeros((len(equations.mu), 3)))
    if not np.any(equations.held_n):
        return start, True
    nothing = np.zeros_like(equations.held_n)
    stride = _stuck_travel(equations, equations.held_n)
    heading = equations.held_n / np.linalg.norm(equations.held_n)
    step, _ = _advance(equations, start, nothing, equations.held_n, stride, heading)
    if step is None:
        return _pushed_off(equations, start, stride, heading), False
    if not _balances(equations, step):
        return step.state, False
    # Contacts without gaps answer in proportion, so one state at any size gives the state at full size.
    grown = 1.0 / step.factor
    return State(freedoms_mm=step.state.freedoms_mm * grown, carried_n=step.state.carried_n * grown), True


def _pushed_off(equations: Equations, start: State, stride: float, heading: FloatArray) -> State:
    """Motion against stiff drag where no rest was found, if no contact forces at all could give one."""
    size = float(np.linalg.norm(equations.held_n))
    alone = replace(equations, held_n=np.zeros_like(equations.held_n), cutting_n=equations.held_n)
    if limit_factor(alone) > NOTHING:
        message = "equilibrium under weight, magnet and clamps: contacts kept switching their state"
        raise NotComputedError(message)
    for drag in STIFF_DRAGS:
        nothing = np.zeros_like(equations.held_n)
        step, _ = _advance(equations, start, nothing, equations.held_n, stride, heading, drag=drag)
        if step is not None:
            return step.state
    unit = equations.held_n / size
    return State(freedoms_mm=stride * unit, carried_n=start.carried_n)


def load_path(equations: Equations, rest: State, *, ceiling: float) -> LoadPath:
    """Follow the growing cutting load from rest until it grows no more or passes the ceiling.

    Parameters
    ----------
    equations : Equations
        The holding.
    rest : State
        State under the held loads.
    ceiling : float
        Factor beyond which nobody needs to know more.

    Returns
    -------
    LoadPath
        The steps and why they ended.

    Raises
    ------
    NotComputedError
        The load still grew after many doublings of the displacement.
    """
    path = [Step(state=rest, factor=0.0)]
    held, cut = equations.held_n, equations.cutting_n
    size = float(np.linalg.norm(cut))
    carried = max(float(np.linalg.norm(held)), float(np.abs(rest.carried_n).max(initial=0.0)))
    stride = 0.05 * _stuck_travel(equations, cut) * min(carried / size if carried else 1.0, ceiling)
    peak, still, shrunk = 0.0, False, 0
    unit = cut / size
    heading = unit
    for _ in range(MOST_STEPS):
        before = path[-1]
        step, stride = _advance(equations, before.state, held, cut, stride, heading)
        if step is None and len(path) == 1 and shrunk < MOST_SHRUNK:
            stride, shrunk = 0.1 * stride, shrunk + 1
            continue
        if step is None and len(path) == 1:
            message = "no equilibrium was found at the first of the cut"
            raise NotComputedError(message)
        if step is None:
            return LoadPath(steps=tuple(path), ended="broke off")
        path.append(step)
        ended = _ended(step, before, peak, ceiling)
        if ended and (ended != STILL or still):
            return LoadPath(steps=tuple(path), ended=ended)
        still = ended == STILL
        peak = max(peak, step.factor)
        travel = step.state.freedoms_mm - before.state.freedoms_mm
        heading = travel / float(travel @ unit)
        stride *= 2.0
    message = f"the load still grew after {MOST_STEPS} steps, at a factor of {peak:.3g}"
    raise NotComputedError(message)


def _ended(step: Step, before: Step, peak: float, ceiling: float) -> str:
    """Say whether and how the path ends with a step; standing still must be seen twice."""
    if not step.balanced:
        return FREE
    if step.factor >= ceiling:
        return "ceiling"
    if step.factor < LET_GO * peak:
        return "let go"
    return STILL if step.factor - before.factor <= STANDSTILL * max(peak, NOTHING) else ""


def _balances(equations: Equations, step: Step) -> bool:
    """Say whether contacts alone carry the held loads: where they cannot, both sides shrink to nothing."""
    contacts = step.state.carried_n.reshape(-1) @ equations.approach.reshape(-1, len(equations.held_n))
    share = step.factor * float(np.linalg.norm(equations.held_n))
    return float(np.linalg.norm(contacts - step.factor * equations.held_n)) < BALANCED * share


def _stuck_travel(equations: Equations, load_n: FloatArray) -> float:
    """Travel along the load, mm, that it would cause if every contact stuck and pulled."""
    stiffness = np.stack([equations.normal_n_mm, equations.shear_n_mm, equations.shear_n_mm], axis=1)
    tangent = assemble(equations, stiffness[:, :, None] * np.eye(3))
    loose = 1e-6 * max(float(np.trace(tangent)) / len(tangent), 1.0)
    moved = np.linalg.solve(tangent + loose * np.eye(len(tangent)), load_n)
    return float(moved @ load_n) / float(np.linalg.norm(load_n))


def _advance(
    equations: Equations,
    before: State,
    held: FloatArray,
    load: FloatArray,
    stride: float,
    heading: FloatArray,
    *,
    drag: float = DRAG,
) -> tuple[Step | None, float]:
    """Move on by `stride` along the load, or by less where the contacts do not settle; say by how much."""
    size = float(np.linalg.norm(load))
    loose: tuple[Step | None, float] = (None, stride)
    for fraction in STRIDES:
        task = Task(
            equations=equations,
            before=before,
            held_n=held,
            unit=load / size,
            load_size_n=size,
            stride_mm=stride * fraction,
            scale_n=float(np.linalg.norm(held)) or size,
            heading=heading,
            drag_n_mm=drag * float(equations.normal_n_mm.max(initial=1.0)),
        )
        found = solve(task)
        if found is not None and not found.balanced and drag == DRAG:
            found = solve(replace(task, drag_n_mm=LIGHT_DRAG / DRAG * task.drag_n_mm)) or found
        if found is not None and found.balanced:
            return found, stride * fraction
        if found is not None and loose[0] is None:
            loose = (found, stride * fraction)
    return loose
