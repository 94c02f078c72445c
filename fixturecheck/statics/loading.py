"""Contacts under a growing load: their answer to a step by return mapping, and the path to collapse.

Contacts are one-sided springs with friction by return mapping. Newton on the coupled problem converges in a
few steps nearly always. A body that almost nothing presses on, beside others that are clamped hard, may be
thrown far off on the way, where its friction has no slope that leads back; then it is held by stiff springs
that are let go by and by. Near tipping and where friction chatters between sticking and sliding Newton may
cycle; then friction bounds are held fixed, which makes the problem convex and solvable by descent, and the
bounds are brought up to date from outside.

Parts rest under the held loads first, and then the load grows. Contacts without any load resist no sliding. A
step that prescribes the travel along the held loads can therefore end in a motion of the unloaded contacts,
with next to no load on it, although a rest exists: an upright bar in a V-block rolls about the line where the
normals of its two edges meet. The held loads are then applied at their full size and the motion follows from
them. The load is driven by the displacement that it works on, so the path stays traceable where the load
stops growing: there the displacement grows on and the load factor stands still. Every point of the path is an
equilibrium with friction inside its cones; the greatest load factor on it is the load at collapse.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import clarabel
import numpy as np
from scipy import sparse

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.statics.equilibrium import Equations
from fixturecheck.statics.limit import limit_factor, solve_conic
from fixturecheck.statics.loading_loops import StepArrays, answer, newton, summed_forces, summed_stiffness

# Springs to a frame that moves with the last state: they take the freedoms that nothing resists.
DRAG = 1e-10
# A step in which they carry more than this share of the loads is no equilibrium of the contacts.
LOOSE = 1e-5
BOUND_UPDATES = 16
# How much stiffer than at last the springs are, one solution after the other.
EASED = tuple(10.0**n for n in range(10, -1, -1))
UNBOUNDED = np.empty(0)
"""Friction that grows with the normal force."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Where the freedoms stand (mm), what the contacts carry, shape (n, 3) as normal, slip, slip (N)."""

    freedoms_mm: Floats
    carried_n: Floats


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
    unit : ndarray, shape (m,)
        Direction of the load whose size the step finds; zero where there is none beside `held_n`.
    scale_n : float
        Size of the loads, against which a residual counts as nothing.
    heading : ndarray, shape (m,)
        First guess of the freedoms' travel per mm along the load: that of the last step.
    drag_n_mm : float
        Stiffness of the springs that hold free motions in place during the solve.
    """

    equations: Equations
    before: State
    held_n: Floats
    unit: Floats
    load_size_n: float
    stride_mm: float
    scale_n: float
    heading: Floats
    drag_n_mm: float

    def arrays(self) -> StepArrays:
        """Return what the loops take."""
        e, before = self.equations, self.before
        contacts = e.freedom, e.parts, e.mu, e.normal_n_mm, e.shear_n_mm
        loads = self.held_n, self.unit, self.drag_n_mm, self.scale_n
        return StepArrays(*contacts, before.freedoms_mm, before.carried_n, *loads)

    def start(self) -> Floats:
        """Return the freedoms moved on by the stride the way they went."""
        return self.before.freedoms_mm + self.stride_mm * self.heading

    def across(self, residual: Floats) -> Floats:
        """Return the part of a residual that the load cannot balance."""
        return residual - (residual @ self.unit) * self.unit

    def _residual(self, freedoms: Floats, carried: Floats) -> Floats:
        """Contact forces less held loads, on each freedom, N."""
        total = self.drag_n_mm * (freedoms - self.before.freedoms_mm) - self.held_n
        summed_forces(self.equations.freedom, self.equations.parts, carried, total)
        return total

    def step(self, freedoms: Floats, carried: Floats) -> Step:
        """Return the step that ends at an equilibrium.

        Parameters
        ----------
        freedoms : ndarray, shape (m,)
            Where the freedoms stand at the end, mm.
        carried : ndarray, shape (n, 3)
            What the contacts carry there as normal, slip, slip, N.
        """
        state = State(freedoms_mm=freedoms, carried_n=carried)
        largest = max(self.scale_n, float(np.abs(carried).max(initial=0.0)))
        # The drag takes no part in what holds: with nothing else to resist, it would grow with the stride.
        dragged = self.drag_n_mm * (freedoms - self.before.freedoms_mm)
        return Step(
            state=state,
            factor=float((self._residual(freedoms, carried) - dragged) @ self.unit) / self.load_size_n,
            balanced=float(np.linalg.norm(self.across(dragged))) <= LOOSE * largest,
        )


def assemble(equations: Equations, local: Floats) -> Floats:
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
    try:
        step, *_ = _newton(task, task.start())
        return step or _ease(task) or _update_bounds(task)
    except np.linalg.LinAlgError:
        return None


def _newton(task: Task, freedoms: Floats, bound_n: Floats = UNBOUNDED) -> tuple[Step | None, Floats, Floats]:
    """Newton from some freedoms: the step if it balances, where it ended, and what contacts carry there."""
    found, carried = freedoms.copy(), np.empty((len(task.equations.mu), 3))
    balances = newton(task.arrays(), bound_n, found, carried)
    return (task.step(found, carried) if balances else None), found, carried


def _ease(task: Task) -> Step | None:
    """Solve with stiff springs on every freedom first, then from there with ever softer ones."""
    freedoms, step = task.start(), None
    for times in EASED:
        step, found, _ = _newton(replace(task, drag_n_mm=times * task.drag_n_mm), freedoms)
        if step is not None:
            freedoms = found
    return step


def _update_bounds(task: Task) -> Step | None:
    """Alternate descent at fixed friction bounds with bringing the bounds up to date."""
    mu, freedoms = task.equations.mu, task.start()
    carried = np.empty((len(mu), 3))
    answer(task.arrays(), freedoms, UNBOUNDED, carried, np.empty((len(mu), 3, 3)))
    for update in range(BOUND_UPDATES):
        _, freedoms, carried = _newton(task, freedoms, mu * carried[:, 0])
        if update % 4 == 3:
            step, *_ = _newton(task, freedoms)
            if step is not None:
                return step
    return None


MOST_STEPS = 60
STRIDES = (1.0, 0.5, 0.21, 0.043)
STANDSTILL = 2e-5
# How often the first step is made a tenth as long where no equilibrium is found at its end.
MOST_SHRUNK = 3
# Instead of the usual drag, where that carries a share that shows beside the softest contacts.
LIGHT_DRAG = 0.01 * DRAG
LET_GO = 0.99
STIFF_DRAGS = (1e-6, 1e-4, 1e-2)
# Stiffer than the usual drag: where all contacts slip, it alone keeps the search from running off.
FULL_LOAD_DRAG = 1e-8
FRICTION_UPDATES = 20
NOTHING = 1e-6
BALANCED = 1e-5
# Contacts take up a load within some micrometres. A part that has gone this far along it has let go where a
# travel so many times as long brought next to nothing more: contacts that all slip go on trading shares.
GONE_MM, GONE_TIMES, GONE_RISE = 1.0, 10.0, 1e-3


class PathEnd(StrEnum):
    """How the way to collapse ends.

    `STANDSTILL`: the load grew no more, or next to no more while the part went on and on. `FREE`: no contact
    resists any more. `FALLING`: the load fell, as what held before holds less once it has moved. `CEILING`:
    nobody needs to know more. `BROKE_OFF`: no equilibrium was found beyond the last step, so the factor is
    the last that was.
    """

    STANDSTILL = "standstill"
    FREE = "free"
    FALLING = "falling"
    CEILING = "ceiling"
    BROKE_OFF = "broke off"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoadPath:
    """The way to collapse.

    Parameters
    ----------
    steps : tuple of Step
        From rest on; the last two span the motion at collapse.
    ended : PathEnd
        How it ends.
    """

    steps: tuple[Step, ...]
    ended: PathEnd

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
    if step is not None and _balances(equations, step):
        # Contacts without gaps answer in proportion, so one state at any size gives the state at full size.
        grown = 1.0 / step.factor
        return State(freedoms_mm=step.state.freedoms_mm * grown, carried_n=step.state.carried_n * grown), True
    loaded = _under_full_load(equations, start)
    if loaded is not None:
        return loaded, True
    if step is not None:
        return step.state, False
    return _pushed_off(equations, start, stride, heading), False


def _under_full_load(equations: Equations, start: State) -> State | None:
    """Rest under the held loads at their full size; None where contacts alone were not found to carry them.

    Newton starts where the loads would take the bodies if every contact stuck. Where it throws them off,
    because all contacts slip at once, it starts from rests with given friction bounds, updated in turn.
    """
    held = equations.held_n
    size = float(np.linalg.norm(held))
    task = Task(
        equations=equations,
        before=start,
        held_n=held,
        unit=np.zeros_like(held),
        load_size_n=size,
        stride_mm=1.0,
        scale_n=size,
        heading=_stuck_motion(equations, held),
        drag_n_mm=FULL_LOAD_DRAG * float(equations.normal_n_mm.max(initial=1.0)),
    )
    try:
        step, *_ = _newton(task, task.start())
        rest = rest_at_bounds(equations, None)
        for _ in range(FRICTION_UPDATES):
            if step is not None or rest is None:
                break
            step, *_ = _newton(task, rest.freedoms_mm)
            rest = rest_at_bounds(equations, equations.mu * rest.carried_n[:, 0])
    except np.linalg.LinAlgError:
        return None
    if step is None or not _balances(equations, replace(step, factor=1.0)):
        return None
    return step.state


def rest_at_bounds(equations: Equations, bound_n: Floats | None) -> State | None:
    """Return the rest under the held loads where friction has given bounds: the forces of least energy.

    Parameters
    ----------
    equations : Equations
        The holding.
    bound_n : ndarray, shape (n,), or None
        Greatest friction of each contact, N; None lets it grow with the normal force, as if slip dilated.

    Returns
    -------
    State or None
        None where no forces within the bounds balance the loads, or the solver gave up.

    References
    ----------
    Least complementary energy of contact with given friction bounds [@panagiotopoulos1975], from memory.
    """
    count, width = len(equations.mu), len(equations.held_n)
    if count == 0:
        return None
    size, stiff = float(np.linalg.norm(equations.held_n)), float(equations.normal_n_mm.max())
    stiffness = np.stack([equations.normal_n_mm, equations.shear_n_mm, equations.shear_n_mm], axis=1).ravel()
    rows = np.arange(3 * count)
    # Rows are the normal force, then for each contact its bound and its two slips, all in units of the loads.
    shut = sparse.csc_matrix((-np.ones(count), (np.arange(count), rows[::3])), shape=(count, 3 * count))
    weights = np.tile([0.0, -1.0, -1.0], count)
    right = np.zeros(3 * count)
    if bound_n is None:
        weights[::3] = -equations.mu
    else:
        right[::3] = bound_n / size
    balance = sparse.csc_matrix(equations.approach.reshape(-1, width).T)
    answer = solve_conic(
        np.zeros(3 * count),
        sparse.vstack([balance, shut, sparse.diags(weights)]),
        np.concatenate([equations.held_n / size, np.zeros(count), right]),
        [
            clarabel.ZeroConeT(width),
            clarabel.NonnegativeConeT(count),
            *[clarabel.SecondOrderConeT(3)] * count,
        ],
        quadratic=sparse.diags(stiff / stiffness, format="csc"),
    )
    if str(answer.status) not in {"Solved", "AlmostSolved"}:
        return None
    # The multipliers of the balance are the motion that the contact springs answer to.
    return State(
        freedoms_mm=-np.asarray(answer.z)[:width] * size / stiff,
        carried_n=np.asarray(answer.x).reshape(count, 3) * size,
    )


def _pushed_off(equations: Equations, start: State, stride: float, heading: Floats) -> State:
    """Motion against stiff drag where no rest was found, if no contact forces at all could give one."""
    size = float(np.linalg.norm(equations.held_n))
    alone = replace(equations, held_n=np.zeros_like(equations.held_n), cutting_n=equations.held_n)
    if limit_factor(alone) > NOTHING:
        raise NotComputedError(
            "equilibrium under weight, magnet and clamps: contacts kept switching their state"
        )
    for drag in STIFF_DRAGS:
        nothing = np.zeros_like(equations.held_n)
        step, _ = _advance(equations, start, nothing, equations.held_n, stride, heading, drag=drag)
        if step is not None:
            return step.state
    unit = equations.held_n / size
    return State(freedoms_mm=stride * unit, carried_n=start.carried_n)


def load_path(equations: Equations, rest: State, *, ceiling: float, enough: float = math.inf) -> LoadPath:
    """Follow the growing cutting load from rest until it grows no more or passes the ceiling.

    Parameters
    ----------
    equations : Equations
        The holding.
    rest : State
        State under the held loads.
    ceiling : float
        Factor beyond which nobody needs to know more; no step goes far beyond it.
    enough : float
        Factor at which the path may end as at the ceiling. It changes no step before.

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
    heading, gone_mm = unit, [0.0]
    for _ in range(MOST_STEPS):
        before = path[-1]
        step, stride = _advance(equations, before.state, held, cut, stride, heading)
        if step is None and len(path) == 1 and shrunk < MOST_SHRUNK:
            stride, shrunk = 0.1 * stride, shrunk + 1
            continue
        if step is None and len(path) == 1:
            raise NotComputedError("no equilibrium was found at the first of the cut")
        if step is None:
            return LoadPath(steps=tuple(path), ended=PathEnd.BROKE_OFF)
        path.append(step)
        ended = _ended(step, before, peak, min(ceiling, enough))
        if ended is not None and (ended is not PathEnd.STANDSTILL or still):
            return LoadPath(steps=tuple(path), ended=ended)
        still = ended is PathEnd.STANDSTILL
        peak = max(peak, step.factor)
        gone_mm.append(float((step.state.freedoms_mm - rest.freedoms_mm) @ unit))
        if _gone(path, gone_mm, peak):
            return LoadPath(steps=tuple(path), ended=PathEnd.STANDSTILL)
        travel = step.state.freedoms_mm - before.state.freedoms_mm
        heading = travel / float(travel @ unit)
        stride *= 2.0
    raise NotComputedError(f"the load still grew after {MOST_STEPS} steps, at a factor of {peak:.3g}")


def _ended(step: Step, before: Step, peak: float, ceiling: float) -> PathEnd | None:
    """Return how the path ends with a step, None where it goes on; a standstill must be seen twice."""
    if not step.balanced:
        return PathEnd.FREE
    if step.factor >= ceiling:
        return PathEnd.CEILING
    if step.factor < LET_GO * peak:
        return PathEnd.FALLING
    still = step.factor - before.factor <= STANDSTILL * max(peak, NOTHING)
    return PathEnd.STANDSTILL if still else None


def _gone(path: Sequence[Step], gone_mm: Sequence[float], peak: float) -> bool:
    """Tell whether a part has gone far along the load, and the last of its way brought next to nothing."""
    if gone_mm[-1] < GONE_MM:
        return False
    early = [s.factor for s, mm in zip(path, gone_mm, strict=True) if GONE_TIMES * mm <= gone_mm[-1]]
    return peak - max(early) <= GONE_RISE * peak


def _balances(equations: Equations, step: Step) -> bool:
    """Say whether contacts alone carry the held loads: where they cannot, both sides shrink to nothing."""
    contacts = step.state.carried_n.reshape(-1) @ equations.approach.reshape(-1, len(equations.held_n))
    share = step.factor * float(np.linalg.norm(equations.held_n))
    return float(np.linalg.norm(contacts - step.factor * equations.held_n)) < BALANCED * share


def _stuck_travel(equations: Equations, load_n: Floats) -> float:
    """Travel along the load, mm, that it would cause if every contact stuck and pulled."""
    return float(_stuck_motion(equations, load_n) @ load_n) / float(np.linalg.norm(load_n))


def _stuck_motion(equations: Equations, load_n: Floats) -> Floats:
    """Motion of the freedoms, mm, that the load would cause if every contact stuck and pulled."""
    stiffness = np.stack([equations.normal_n_mm, equations.shear_n_mm, equations.shear_n_mm], axis=1)
    tangent = assemble(equations, stiffness[:, :, None] * np.eye(3))
    loose = 1e-6 * max(float(np.trace(tangent)) / len(tangent), 1.0)
    return np.asarray(np.linalg.solve(tangent + loose * np.eye(len(tangent)), load_n))


def _advance(
    equations: Equations,
    before: State,
    held: Floats,
    load: Floats,
    stride: float,
    heading: Floats,
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
