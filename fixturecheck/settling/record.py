"""What staging came to, as the values that a result carries and reports show."""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.kernel.place import location_of, placed_at
from fixturecheck.result import (
    Carrying,
    Chances,
    NamedShape,
    PartLocation,
    PartRest,
    Rest,
    Role,
    SeatChance,
    SeatGap,
    SeatTakes,
    TargetMoves,
    TargetSpread,
    WrongChance,
)
from fixturecheck.settling.answer import Answered
from fixturecheck.settling.locating import PartLocated
from fixturecheck.settling.model import SeatAtRest
from fixturecheck.settling.odds import Odds, TargetOdds
from fixturecheck.setup.model import Setup

_CLASSES = 41
_STIRS_MM, _STIRS_DEG = 1e-4, 1e-4


def rest_of(answered: Answered) -> Rest:
    """Return what staging came to as plain values."""
    setup, settled = answered.bench.setup, answered.settled
    return Rest(
        ending=str(settled.ending),
        says=settled.says,
        order=setup.staging.order if setup.staging else (),
        residual_um=_finite(settled.residual_um),
        steps=settled.steps,
        error_um=settled.error_um,
        order_says=answered.order.says if answered.order else "",
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
        carried=tuple(
            Carrying(a=c.a, b=c.b, kind=c.kind, force_n=c.force_n, intended=c.intended)
            for c in settled.carried
        ),
        location=tuple(_location(p) for p in answered.located),
        chances=None if answered.odds is None else _chances(setup, answered.odds),
    )


def rest_shapes(answered: Answered) -> tuple[NamedShape, ...]:
    """Return the parts that do not rest where they are drawn, where they rest."""
    if not answered.settled.rests:
        return ()
    found = []
    for name, pose in answered.settled.poses.items():
        moved = np.linalg.norm(pose.shift_mm) > _STIRS_MM or np.linalg.norm(pose.turn_deg) > _STIRS_DEG
        if moved:
            solid = placed_at(answered.bench.setup.body(name).solid, location_of(pose.matrix))
            found.append(NamedShape(name=f"rest {name}", role=Role.REST, geometry=solid, bodies=(name,)))
    return tuple(found)


def _finite(number: float) -> float | None:
    """Return a number, or None where there is none, which infinity stands for."""
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


def _chances(setup: Setup, odds: Odds) -> Chances:
    return Chances(
        draws=odds.draws,
        seed=odds.seed,
        checked_um=odds.checked_um,
        checked_say=odds.checked_say(),
        faces_say=odds.faces_say(),
        seats=tuple(
            SeatChance(
                seat=f"{s.body}.{s.face} on {s.on}.{s.on_face}",
                share_closed=s.share_closed,
                gap_p95_um=_finite(s.gap_p95_um),
                gap_worst_um=_finite(s.gap_worst_um),
            )
            for s in odds.seats
        ),
        wrong=tuple(WrongChance(a=w.a, b=w.b, share_lands=w.share_lands) for w in odds.wrong),
        targets=tuple(_spread(setup, t) for t in odds.targets),
    )


def _spread(setup: Setup, target: TargetOdds) -> TargetSpread:
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
