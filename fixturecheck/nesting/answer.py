"""The results of staging, worked out once for all checks that need them, and their record in a result."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TypeVar

import numpy as np

from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.kernel.place import location_of, placed_at
from fixturecheck.nesting.disturbances import order_of_placing, under_hand
from fixturecheck.nesting.locating import PartLocated, parts_located, targets_of
from fixturecheck.nesting.model import (
    PlaceScatter,
    Probabilities,
    SeatAtRest,
    Settled,
    SettlingModel,
    settling_model_of,
)
from fixturecheck.nesting.settle import AWAY_MM, loose_of, settle_setup, shifted
from fixturecheck.nesting.tolerance import tolerance_probabilities
from fixturecheck.result.rest import (
    Chances,
    OrderOutcome,
    PartLocation,
    PartRest,
    Rest,
    SeatGap,
    SeatTakes,
    TargetMoves,
    TargetSpread,
    UnderHand,
)
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.model import Seat, Setup
from fixturecheck.setup.staging import Press, Staging


def is_flat(model: SettlingModel, seat: Seat) -> bool:
    """Tell whether every piece of both faces of a seat is flat."""
    sides = ((seat.body, seat.face), (seat.on, seat.on_face))
    for name, face in sides:
        index = model.index(name)
        flat = set(model.features[index].plane_faces.tolist())
        if any(i not in flat for i in model.bodies[index].face_indices(face)):
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
    located : tuple of PartLocated
        How the seats of each part locate the work.
    probabilities : Probabilities or None
        What tolerances do to it; None where no face has any, or the parts do not rest.
    missing : tuple of (check, reason)
        What could not be computed.
    """

    model: SettlingModel
    settled: Settled
    order: OrderOutcome | None = None
    hands: tuple[UnderHand, ...] = ()
    located: tuple[PartLocated, ...] = ()
    probabilities: Probabilities | None = None
    missing: tuple[tuple[str, str], ...] = field(default=())


def staging_answer(
    setup: Setup, asked: Collection[str] = ASKED, *, idle: Collection[str] = ()
) -> StagingAnswer | None:
    """Work out everything that the staging of a set-up asks; None where none is stated.

    Parameters
    ----------
    asked : collection of str
        The checks that will look at it; what is for others only is left out.
    idle : collection of str
        Fixtures that stand on nothing: no part can rest against them. One that moves settles like the parts.

    Raises
    ------
    NotComputedError, KernelError
        The settling itself could not be run.
    SetupError
        Tolerances reach through a part.
    """
    staging = setup.staging
    if staging is None:
        return None
    model = settling_model_of(setup)
    moving = set(loose_of(model, staging))
    gone = {i for name in idle if (i := model.index(name)) not in moving}
    model = replace(model, drawn=shifted(model.drawn, dict.fromkeys(sorted(gone), np.full(3, AWAY_MM))))
    settled = settle_setup(setup, staging, model=model)
    if not settled.rests:
        return StagingAnswer(model=model, settled=settled)
    missing: list[tuple[str, str]] = []
    order, hands = None, []
    if "rest" in asked:
        order = _tried(lambda: order_of_placing(setup, staging, model=model), "rest", missing)
        hands = [_tried(partial(_hand, setup, press, model), "rest", missing) for press in staging.press]
    located, probabilities = None, None
    if "location" in asked:
        located = _tried(partial(parts_located, model, settled), "location", missing)
    if "tolerance" in asked and _varies(setup):
        probabilities = _tried(partial(_tolerances, model, staging), "tolerance", missing)
    return StagingAnswer(
        model=model,
        settled=settled,
        order=order,
        hands=tuple(h for h in hands if h is not None),
        located=located or (),
        probabilities=probabilities,
        missing=tuple(missing),
    )


def _varies(setup: Setup) -> bool:
    return any(width > 0 for body in setup.bodies for width in body.tolerance_mm.values())


def _tolerances(model: SettlingModel, staging: Staging) -> Probabilities:
    setup = model.setup
    targets = targets_of(setup)
    return tolerance_probabilities(
        setup, staging, targets=targets, draws=staging.draws, seed=staging.seed, model=model
    )


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


_CLASSES = 41
_STIRS_MM, _STIRS_DEG = 1e-4, 1e-4


def rest_of(answered: StagingAnswer) -> Rest:
    """Return the results of staging as plain values."""
    setup, settled = answered.model.setup, answered.settled
    return Rest(
        ending=str(settled.ending),
        says=settled.says,
        order=setup.staging.order if setup.staging else (),
        residual_um=_finite(settled.residual_um),
        steps=settled.steps,
        error_um=settled.error_um,
        order_outcome=answered.order,
        parts=tuple(
            PartRest(
                body=pose.body,
                shift_mm=pose.shift_mm,
                turn_deg=pose.turn_deg,
                seats=tuple(_seat(s) for s in settled.seats if s.seat.body == pose.body),
                free=tuple(f for f in settled.freedoms if f.body == pose.body),
            )
            for pose in settled.poses.values()
        ),
        carried=settled.carried,
        location=tuple(_location(p) for p in answered.located),
        chances=None if answered.probabilities is None else _chances(setup, answered.probabilities),
    )


def rest_shapes(answered: StagingAnswer) -> tuple[NamedShape, ...]:
    """Return the parts that do not rest where they are drawn, where they rest."""
    if not answered.settled.rests:
        return ()
    found = []
    for name, pose in answered.settled.poses.items():
        moved = np.linalg.norm(pose.shift_mm) > _STIRS_MM or np.linalg.norm(pose.turn_deg) > _STIRS_DEG
        if moved:
            solid = placed_at(answered.model.setup.body(name).solid, location_of(pose.matrix))
            found.append(NamedShape(name=f"rest {name}", role=Role.REST, geometry=solid, bodies=(name,)))
    return tuple(found)


def _finite(number: float) -> float | None:
    """Return a number, or None for infinity, which stands for a number that does not exist."""
    return number if math.isfinite(number) else None


def _seat(found: SeatAtRest) -> SeatGap:
    seat = found.seat
    return SeatGap(
        seat=f"{seat.face} on {seat.on}.{seat.on_face}",
        gap_min_um=_finite(found.gap_min_um),
        gap_max_um=_finite(found.gap_max_um),
        closed=found.closed,
        force_n=found.force_n,
    )


def _location(part: PartLocated) -> PartLocation:
    return PartLocation(
        body=part.body,
        rank=part.located.rank,
        seats=tuple(
            SeatTakes(seat=r.name, rank=seat.rank, takes=r.takes, wants=r.wants, fights=r.fights)
            for r, seat in zip(part.located.roles, part.seats, strict=True)
        ),
        targets=tuple(
            TargetMoves(target=t.target.name, by_seat=tuple(t.by_seat.items()), located=t.free_mm == 0.0)
            for t in part.targets
        ),
    )


def _chances(setup: Setup, probabilities: Probabilities) -> Chances:
    return Chances(
        draws=probabilities.draws,
        seed=probabilities.seed,
        checked_um=probabilities.checked_um,
        unsettled=probabilities.unsettled,
        varied=len(probabilities.faces),
        leaning=probabilities.leaning,
        seats=probabilities.seats,
        wrong=probabilities.wrong,
        targets=tuple(_spread(setup, t) for t in probabilities.targets),
    )


def _spread(setup: Setup, target: PlaceScatter) -> TargetSpread:
    width = setup.body(target.face.body).zone_mm(target.face.face)
    both = np.concatenate((target.draws_um, target.out_um))
    low, high = float(both.min()), float(both.max())
    if high - low < 1e-6:
        low, high = low - 0.5, high + 0.5
    counts, edges = np.histogram(target.draws_um, bins=_CLASSES, range=(low, high))
    corners, _ = np.histogram(target.out_um if target.corners else (), bins=_CLASSES, range=(low, high))
    return TargetSpread(
        target=target.name,
        mean_um=target.mean_um,
        sigma_um=target.sigma_um,
        low_um=target.worst_um[0],
        high_um=target.worst_um[1],
        limit_um=None if width is None else 0.5e3 * width,
        lean_p95_um=target.lean_p95_um,
        lean_worst_um=target.lean_worst_um,
        edges_um=tuple(float(e) for e in edges),
        counts=tuple(int(c) for c in counts),
        corner_counts=tuple(int(c) for c in corners) if target.corners else (),
    )
