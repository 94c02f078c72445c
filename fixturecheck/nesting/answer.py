"""The results of staging, worked out once for all checks that need them: rests, ways in, their record."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TypeVar

import numpy as np
from scipy.optimize import nnls

from fixturecheck.arrays import Bools, Floats
from fixturecheck.contact.proximity.candidates import Candidates
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.kernel.place import location_of, placed_at
from fixturecheck.nesting.disturbances import order_of_placing, under_hand
from fixturecheck.nesting.locating import critical_places, parts_located, way_to_rest
from fixturecheck.nesting.model import SampledRest, SettlingModel, settling_model_of
from fixturecheck.nesting.outcome import rest_pose
from fixturecheck.nesting.settle import (
    AWAY_MM,
    Obstacles,
    directions_out,
    loads_of,
    loose_of,
    moved_back,
    ranks_of,
    settled_and_visited,
)
from fixturecheck.nesting.tolerance import corners_mm, sampled_rest
from fixturecheck.numeric import to_vector
from fixturecheck.result.rest import (
    OrderOutcome,
    PartLocation,
    Rest,
    SeatGap,
    Settled,
    UnderHand,
    VisitedPose,
    WayIn,
)
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.result.tolerance import Chances, CriticalPlace
from fixturecheck.rigid import Poses, jacobian
from fixturecheck.setup.model import Seat, Setup, among_its_own
from fixturecheck.setup.staging import Press, Staging
from fixturecheck.statics.contact_step import SteadyLoad, wrenches


def is_flat_seat(model: SettlingModel, seat: SeatGap) -> bool:
    """Tell whether every piece of both faces of a seat is flat.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    seat : SeatGap
        The seat, with both its faces.

    Returns
    -------
    bool
    """
    for side in (seat.own, seat.other):
        index = model.index(side.body)
        flat = set(model.features[index].plane_faces.tolist())
        if any(i not in flat for i in model.bodies[index].face_indices(side.face)):
            return False
    return True


T = TypeVar("T")

ASKED = ("rest", "location", "tolerance")
"""The checks that need the results of staging."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StagingAnswer:
    """The results of staging.

    Parameters
    ----------
    settled : Settled
        Where the parts rest, or why they do not.
    order : OrderOutcome or None
        Whether the order of staging matters; None where the parts do not rest.
    hands : tuple of UnderHand
        One for each press that is stated.
    located : tuple of PartLocation
        How the seats of each part locate the work.
    sampled : SampledRest or None
        What tolerances do to it; None where no face has any, or the parts do not rest.
    ways_in : tuple of WayIn
        How the first parts came to their rest.
    tipping : frozenset of str
        Of the parts whose seats do not all close, those that the seats do not carry where they are drawn.
    missing : tuple of (check, reason)
        What could not be computed.
    """

    model: SettlingModel
    settled: Settled
    order: OrderOutcome | None = None
    hands: tuple[UnderHand, ...] = ()
    located: tuple[PartLocation, ...] = ()
    sampled: SampledRest | None = None
    ways_in: tuple[WayIn, ...] = ()
    tipping: frozenset[str] = frozenset()
    missing: tuple[tuple[str, str], ...] = field(default=())

    @property
    def chances(self) -> Chances | None:
        """What tolerances do to the rest, without the draws."""
        return None if self.sampled is None else self.sampled.chances


def staging_answer(
    setup: Setup, asked: Collection[str] = ASKED, *, idle: Collection[str] = ()
) -> StagingAnswer | None:
    """Work out everything that the staging of a set-up asks; None where none is stated.

    Parameters
    ----------
    setup : Setup
        Bodies, seats and staging.
    asked : collection of str
        The checks that will look at it; what is for others only is left out.
    idle : collection of str
        Fixtures that stand on nothing: no part can rest against them. One that moves settles like the parts.

    Returns
    -------
    StagingAnswer or None

    Raises
    ------
    NotComputedError, KernelError
        The settling itself could not be run.
    SetupError
        Tolerances reach through a part.
    """
    return None if setup.staging is None else staged(standing_model(setup, idle), asked)


def standing_model(setup: Setup, idle: Collection[str] = ()) -> SettlingModel:
    """Return what settling works on, with fixtures that stand on nothing far off.

    Parameters
    ----------
    setup : Setup
        Bodies and staging.
    idle : collection of str
        As for `staging_answer`.

    Returns
    -------
    SettlingModel
        For `staged`.

    Raises
    ------
    SetupError
        Staging names a body that is not there, or nothing is loose.
    """
    model = settling_model_of(setup)
    moving = set(loose_of(model, setup.staging or Staging()))
    gone = {i for name in idle if (i := model.index(name)) not in moving}
    return replace(model, drawn=moved_back(model.drawn, dict.fromkeys(sorted(gone), np.full(3, AWAY_MM))))


def staged(model: SettlingModel, asked: Collection[str]) -> StagingAnswer:
    """Work out everything that the staging of a set-up asks, of what settling works on.

    Parameters
    ----------
    model : SettlingModel
        As `standing_model` gave it.
    asked : collection of str
        As for `staging_answer`.

    Returns
    -------
    StagingAnswer
        The results of staging.

    Raises
    ------
    NotComputedError, KernelError, SetupError
        As `staging_answer`.
    """
    setup = model.setup
    staging = setup.staging or Staging()
    settled, visited = settled_and_visited(model, staging)
    if not settled.rests:
        return StagingAnswer(model=model, settled=settled)
    missing: list[tuple[str, str]] = []
    order, hands = None, []
    if "rest" in asked:
        order = _tried(lambda: order_of_placing(setup, staging, model=model), "rest", missing)
        hands = [_tried(partial(_hand, setup, press, model), "rest", missing) for press in staging.press]
    located, sampled = None, None
    if "location" in asked:
        located = _tried(partial(parts_located, model, settled), "location", missing)
    if "tolerance" in asked and _varies(setup):
        sampled = _tried(partial(_tolerances, model, staging), "tolerance", missing)
    return StagingAnswer(
        model=model,
        settled=settled,
        order=order,
        hands=tuple(h for h in hands if h is not None),
        located=located or (),
        sampled=sampled,
        ways_in=ways_in(model, staging, visited) if "rest" in asked else (),
        tipping=_tipping(model, settled) if "rest" in asked else frozenset(),
        missing=tuple(missing),
    )


@among_its_own
def staged_apart(setup: Setup, asked: Collection[str]) -> tuple[StagingAnswer, tuple[SettlingModel, ...]]:
    """Work out everything that staging asks in a process that has the set-up alone.

    Parameters
    ----------
    setup, asked
        As for `staging_answer`.

    Returns
    -------
    answer : StagingAnswer
        As `staged` gave it.
    models : tuple of SettlingModel
        What settling worked on, which whoever asks makes of the same set-up.

    Raises
    ------
    NotComputedError, KernelError, SetupError
        As `staging_answer`.
    """
    model = standing_model(setup)
    return staged(model, asked), (model,)


def _varies(setup: Setup) -> bool:
    return any(width > 0 for body in setup.bodies for width in body.tolerance_mm.values())


def _tolerances(model: SettlingModel, staging: Staging) -> SampledRest:
    setup = model.setup
    targets = critical_places(setup)
    return sampled_rest(setup, staging, targets=targets, draws=staging.draws, seed=staging.seed, model=model)


def _hand(setup: Setup, press: Press, model: SettlingModel) -> UnderHand:
    staging = setup.staging or Staging()
    found = under_hand(setup, staging, press.part, at_mm=press.at_mm, force_n=press.force_n, model=model)
    return replace(found, at_mm=press.at_mm)


def _tried(work: Callable[[], T], check: str, missing: list[tuple[str, str]]) -> T | None:
    """Return what the work gives; None, with the reason noted, where it could not be computed."""
    try:
        return work()
    except (NotComputedError, KernelError) as reason:
        missing.append((check, str(reason)))
        return None


def targets_off(found: StagingAnswer) -> Iterator[tuple[CriticalPlace, float]]:
    """Yield each floor and wall of the cuts with how far it rests off where it is drawn, mm.

    That is along its normal, at its middle or at the corner that is off most. A pin laid over two V-blocks of
    unequal height closes on both, and lies askew.

    Parameters
    ----------
    found : StagingAnswer
        What the staging of a set-up gave.

    Yields
    ------
    (CriticalPlace, float)
        The floor or wall as drawn, and the distance, never below zero.
    """
    model, poses = found.model, found.settled.poses
    for target in critical_places(model.setup):
        if target.body not in poses or target.face is None:
            continue
        corners = corners_mm(model, model.index(target.body), target.face)
        drawn = np.vstack((target.at_mm, corners))
        to_rest = way_to_rest(model, poses[target.body])
        moved = drawn @ to_rest[:3, :3].T + to_rest[:3, 3] - drawn
        yield target, float(np.abs(moved @ target.direction).max())


_LEAVES_SHARE = 0.01
"""Share of its load that seats may leave uncarried, for rounding, before a part leaves them."""


def _tipping(model: SettlingModel, settled: Settled) -> frozenset[str]:
    """Return those parts of an open seat whose own loads their seats do not carry where they are drawn."""
    touch_um = model.setup.tolerances.touch_um
    open_of = {s.own.body for s in settled.seats if max(s.gap_min_um, s.gap_max_um) > touch_um}
    return frozenset(part for part in sorted(open_of) if not stays_on_its_seats(model, part))


def stays_on_its_seats(model: SettlingModel, part: str) -> bool:
    """Tell whether the seats of a part that touch as drawn carry its own load there, without friction.

    One whose weight lies beyond its foot leaves its seats by itself: what it then lands on is not to blame.

    Parameters
    ----------
    model : SettlingModel
        What settling works on.
    part : str
        Which part.

    Returns
    -------
    bool
        False, too, where no seat of it touches as drawn.
    """
    body, touch_mm = model.index(part), model.setup.tolerances.touch_mm
    loads = loads_of(model, model.setup.staging or Staging(), [body])
    wrench = wrenches(loads, model.drawn)[0]
    poses = model.drawn
    rows = find_candidates(model.scene([body]), poses.rotation, poses.origin_mm, 10.0 * touch_mm, 1e-6)
    meant = np.zeros(len(rows.gap_mm), dtype=bool)
    for seat in model.setup.seats:
        if part in {seat.body, seat.on}:
            meant |= _between(model, rows, seat)
    touching = rows.where(meant & (np.abs(rows.gap_mm) <= touch_mm))
    if len(touching.gap_mm) == 0:
        return False
    slope = jacobian(touching, np.array([body]), poses.apply(body, loads[0].centre_mm)[None])
    slope[:, 3:] /= loads[0].size_mm
    _, short = nnls(slope.T, -wrench)
    return bool(short <= _LEAVES_SHARE * np.linalg.norm(wrench))


def _between(model: SettlingModel, rows: Candidates, seat: Seat) -> Bools:
    """Return which rows lie between the two faces of a seat, the one way or the other."""
    one, other = (
        (model.index(ref.body), model.setup.body(ref.body).face_indices(ref.face))
        for ref in (seat.own, seat.other)
    )
    sides = [(rows.body_a, rows.face_a), (rows.body_b, rows.face_b)]
    mine, theirs = (
        [(bodies == body) & np.isin(faces, numbers) for bodies, faces in sides]
        for body, numbers in (one, other)
    )
    return np.asarray((mine[0] & theirs[1]) | (mine[1] & theirs[0]))


_STIRS_MM, _STIRS_DEG = 1e-4, 1e-4


def rest_of(answered: StagingAnswer) -> Rest:
    """Return the results of staging as plain values.

    Parameters
    ----------
    answered : StagingAnswer
        What the staging of a set-up gave.

    Returns
    -------
    Rest
    """
    setup = answered.model.setup
    return Rest(
        settled=answered.settled,
        order=setup.staging.order if setup.staging else (),
        order_outcome=answered.order,
        location=answered.located,
        chances=answered.chances,
        ways_in=answered.ways_in,
    )


def rest_shapes(answered: StagingAnswer) -> tuple[NamedShape, ...]:
    """Return the parts that do not rest where they are drawn, where they rest.

    Parameters
    ----------
    answered : StagingAnswer
        What the staging of a set-up gave.

    Returns
    -------
    tuple of NamedShape
        In the machine's frame; empty where the parts do not come to rest.
    """
    if not answered.settled.rests:
        return ()
    found = []
    for name, pose in answered.settled.poses.items():
        moved = np.linalg.norm(pose.shift_mm) > _STIRS_MM or np.linalg.norm(pose.turn_deg) > _STIRS_DEG
        if moved:
            solid = placed_at(answered.model.setup.body(name).solid, location_of(pose.matrix))
            found.append(NamedShape(name=f"rest {name}", role=Role.REST, geometry=solid, bodies=(name,)))
    return tuple(found)


MOST_PARTS = 16
"""Parts of which the way in is looked for: more are not followed by an eye (chosen here)."""

MOST_POSES = 24
"""Poses kept of one way; of more, evenly spread ones (chosen here)."""

_OFF_SHARE, _OF_LONGEST = 1.1, 0.3
"""How far off a hand lets go: in middle extents of the part, or at least in longest ones (chosen here)."""

_STIRS = 1e-9
"""What a pose differs by, mm or as a cosine, to count as another."""


def ways_in(model: SettlingModel, staging: Staging, visited: Sequence[Poses]) -> tuple[WayIn, ...]:
    """Return how the first parts come to their rest, in the order in which they come.

    Where parts are let go together, each is brought to where settling starts while those that come later are
    not there yet.

    Parameters
    ----------
    model : SettlingModel
        The bodies as drawn.
    staging : Staging
        Pushes, order, what is loose.
    visited : sequence of Poses
        Where all bodies stood, from the start to the rest; bodies still to come are far off.

    Returns
    -------
    tuple of WayIn
        For the first `MOST_PARTS` parts; none for a part that never came.
    """
    loose = loose_of(model, staging)
    loads = {one.body: one for one in loads_of(model, staging, loose)}
    ranks = ranks_of(model, staging, list(loads.values()))
    turn = sorted(loose, key=lambda body: ranks.get(body, len(ranks)))
    found = []
    for k, body in enumerate(turn[:MOST_PARTS]):
        steps = _steps_of(visited, body)
        if not steps:
            continue
        there = moved_back(visited[steps[0]], dict.fromkeys(turn[k + 1 :], np.full(3, AWAY_MM)))
        one = WayIn(
            body=model.bodies[body].name,
            from_mm=_from_mm(model, loads.get(body), body, there),
            visited=tuple(_visited(model, visited, body, _spread(steps))),
        )
        found.append(one)
    return tuple(found)


def _steps_of(visited: Sequence[Poses], body: int) -> list[int]:
    """Return the numbers of the poses before and after each move of a body, once it has come.

    A body that does not move has the one pose in which it comes.
    """
    come = [n for n, poses in enumerate(visited) if np.abs(poses.origin_mm[body]).max() < 0.5 * AWAY_MM]
    steps: list[int] = []
    for n in come[:-1]:
        before, poses = visited[n], visited[n + 1]
        gone = np.abs(poses.origin_mm[body] - before.origin_mm[body]).max()
        turned = np.abs(poses.rotation[body] - before.rotation[body]).max()
        if max(gone, turned) > _STIRS:
            steps += [n, n + 1] if not steps or steps[-1] != n else [n + 1]
    return steps or come[:1]


def _spread(steps: Sequence[int]) -> Sequence[int]:
    if len(steps) <= MOST_POSES:
        return steps
    return [steps[round(i)] for i in np.linspace(0, len(steps) - 1, MOST_POSES)]


def _visited(
    model: SettlingModel, visited: Sequence[Poses], body: int, steps: Sequence[int]
) -> Iterator[VisitedPose]:
    for n in steps:
        pose = rest_pose(model, visited[n], body)
        yield VisitedPose(step=n, shift_mm=pose.shift_mm, turn_deg=pose.turn_deg)


def _from_mm(
    model: SettlingModel, load: SteadyLoad | None, body: int, there: Poses
) -> tuple[float, float, float] | None:
    """Return from how far off a part can be brought straight to a pose; None where all ways are barred."""
    extents = np.sort(np.ptp(np.array(model.features[body].box_mm), axis=0))
    far = _OFF_SHARE * max(float(extents[1]), _OF_LONGEST * float(extents[2]))
    nothing: Floats = np.zeros((0, 3))
    obstacles = Obstacles(model, [body], there)
    for direction in directions_out([] if load is None else [load], nothing):
        if not len(obstacles.on({body: far * direction}).gap_mm):
            return to_vector(far * direction)
    return None
