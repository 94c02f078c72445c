"""Lets the loose bodies of a set-up go and says where they rest, on what, and what is left open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.look import find_candidates
from fixturecheck.contact.sunk import sunk
from fixturecheck.errors import SetupError
from fixturecheck.physics.rigid import Poses
from fixturecheck.physics.settle import Bounds, Ending, Settling
from fixturecheck.physics.step import Load, forces_at
from fixturecheck.settling.bench import Bench, bench_of
from fixturecheck.settling.model import Push, Settled, Staging
from fixturecheck.settling.starts import DOWN, rest_by, shifted, stands_as_drawn
from fixturecheck.settling.told import told
from fixturecheck.setup.model import Setup
from fixturecheck.setup.staging import loose_names
from fixturecheck.shop.weight import weight_n

Floats = NDArray[np.float64]
LIGHT_HAND = 0.25
AWAY_MM = 1e5
"""How far off parts are that have not come yet."""


def settle_setup(
    setup: Setup, staging: Staging | None = None, *, bench: Bench | None = None, bounds: Bounds | None = None
) -> Settled:
    """Return where the parts of a set-up come to rest.

    Parameters
    ----------
    setup : Setup
        Bodies and intended seats.
    staging : Staging, optional
        Pushes, order, what is loose; by default every part under its weight alone.
    bench : Bench, optional
        Features read before, to save reading them again.
    bounds : Bounds, optional
        When the settler stops.

    Raises
    ------
    SetupError
        Staging names a body that is not there, or nothing is loose.
    """
    staging = staging or Staging()
    bench = bench or bench_of(setup)
    loose = loose_of(bench, staging)
    raw, loads = walk(bench, staging, loose, bounds or Bounds())
    raw = _believed(bench, raw, loose)
    if raw.ending is Ending.REST and not staging.order:
        touch = bench.setup.tolerances.touch_mm
        raw = replace(raw, force_n=forces_at(loads, raw.poses, raw.rows, touch))
    return told(bench, raw, loads, loose)


def _believed(bench: Bench, raw: Settling, loose: Sequence[int]) -> Settling:
    """Return a rest as it is, unless parts stand in something that a long step must have passed over."""
    if raw.ending is not Ending.REST:
        return raw
    moves = [i in loose for i in range(len(bench.bodies))]
    deep = sunk(bench.features, moves, raw.poses.rotation, raw.poses.origin_mm)
    if len(deep.gap_mm) == 0:
        return raw
    return replace(raw, ending=Ending.NOT_CONVERGED, residual_mm=-float(deep.gap_mm.min()))


def loose_of(bench: Bench, staging: Staging) -> tuple[int, ...]:
    """Return the numbers of the bodies that move."""
    names = loose_names(bench.setup, staging)
    if not names:
        message = f"set-up {bench.setup.name!r} has no loose body to settle; give a body the role 'part'"
        raise SetupError(message)
    for name in staging.order:
        bench.index(name)
    return tuple(bench.index(n) for n in names)


def loads_of(bench: Bench, staging: Staging, loose: Sequence[int]) -> list[Load]:
    """Return the steady load on each loose body: weight, a trifle of magnet and the push."""
    return [_load(bench, staging, body) for body in loose]


def _load(bench: Bench, staging: Staging, body: int) -> Load:
    one, features = bench.bodies[body], bench.features[body]
    seat = DOWN * (weight_n(one.material, features.volume_mm3) if staging.weight else 0.0)
    seat = seat + DOWN * staging.pull_n.get(one.name, staging.pull_n.get("*", 0.0))
    centre = features.centre_mm
    also: tuple[tuple[Floats, Floats], ...] = ()
    push = staging.push.get(one.name, staging.push.get("*"))
    if push is not None:
        at = centre if push.at_mm is None else np.array(push.at_mm, dtype=float)
        also = ((_pushed(push, float(np.linalg.norm(seat)), one.name), at),)
    return Load(body=body, force_n=seat, at_mm=centre, centre_mm=centre, size_mm=features.size_mm, also=also)


def _pushed(push: Push, seat_n: float, name: str) -> Floats:
    direction = np.array(push.direction, dtype=float)
    length = float(np.linalg.norm(direction))
    if not np.isfinite(length) or length == 0.0:
        message = f"push on {name!r} has no direction: {push.direction}"
        raise SetupError(message)
    force = push.force_n if push.force_n is not None else LIGHT_HAND * seat_n or 1.0
    return direction / length * force


def walk(bench: Bench, staging: Staging, loose: Sequence[int], bounds: Bounds) -> tuple[Settling, list[Load]]:
    """Settle together or in the order stated: as drawn first, then from where nothing overlaps."""
    loads = loads_of(bench, staging, loose)
    ranks = ranks_of(bench, staging, loads)
    if staging.order:
        return _in_turn(bench, staging, loads, bounds), loads
    return rest_by(bench, loads, ranks, staging.approach_mm, bounds), loads


def ranks_of(bench: Bench, staging: Staging, loads: Sequence[Load]) -> Mapping[int, int]:
    """Return how many parts stand in front of each, so that a gang starts apart and in line."""
    if staging.order:
        return {bench.index(name): rank for rank, name in enumerate(staging.order)}
    total = np.sum([one.total_n() for one in loads], axis=0)
    side = total - DOWN * float(total @ DOWN)
    way = side if float(np.linalg.norm(side)) > 1e-9 else total
    place = {one.body: float(way @ bench.drawn.apply(one.body, one.centre_mm)) for one in loads}
    return {body: rank for rank, body in enumerate(sorted(place, key=lambda b: -place[b]))}


def _in_turn(bench: Bench, staging: Staging, loads: list[Load], bounds: Bounds) -> Settling:
    """Place and push one part after the other; those placed stay, those to come are not there yet."""
    by_body = {one.body: one for one in loads}
    turn = [bench.index(name) for name in staging.order]
    turn += [body for body in by_body if body not in turn]
    poses, last = bench.drawn, None
    for k, body in enumerate(turn):
        raw = placed(bench, body, by_body.get(body), poses, turn[k + 1 :], staging.approach_mm, bounds)
        if raw.ending is not Ending.REST:
            return replace(raw, body=body)
        poses = raw.poses
        last = raw if body in by_body or last is None else last
    return _held(bench, loads, poses, last or raw, turn)


def placed(
    bench: Bench, body: int, load: Load | None, poses: Poses, waiting: Iterable[int], approach_mm: float,
    bounds: Bounds,
) -> Settling:  # fmt: skip
    """Return where one body comes to rest when it comes to those placed before; those that wait are far off.

    Parameters
    ----------
    load : Load or None
        What takes the body to its rest; None is a body that is put where it is drawn and stays there.
    poses : Poses
        Where the bodies placed before stand; those to come where they are drawn.
    waiting : iterable of int
        Bodies to come.
    """
    away = dict.fromkeys(waiting, np.full(3, AWAY_MM))
    there = replace(bench, drawn=shifted(poses, away))
    if load is None:
        raw = stands_as_drawn(there, body)
    else:
        raw = rest_by(there, [load], {body: 0}, approach_mm, bounds, placed=True)
    back = {body: -far for body, far in away.items()}
    return replace(raw, poses=shifted(raw.poses, back))


def _held(bench: Bench, loads: list[Load], poses: Poses, last: Settling, turn: Sequence[int]) -> Settling:
    """Return the end of staging in turn with all contacts at the final poses and the forces of each part.

    A part was held by what was there when it was placed; those that came later press on it, not it on them.
    """
    scene = bench.scene(one.body for one in loads)
    rows = find_candidates(scene, poses.rotation, poses.origin_mm, 0.01, 1e-6)
    force, touch = np.zeros(len(rows.gap_mm)), bench.setup.tolerances.touch_mm
    for one in loads:
        later = list(turn[turn.index(one.body) + 1 :])
        touches = (rows.body_a == one.body) | (rows.body_b == one.body)
        mine = np.flatnonzero(touches & ~np.isin(rows.body_a, later) & ~np.isin(rows.body_b, later))
        force[mine] = np.maximum(force[mine], forces_at([one], poses, rows.where(mine), touch))
    return Settling(
        ending=last.ending, poses=poses, rows=rows, force_n=force, residual_mm=last.residual_mm,
        balance=last.balance, steps=last.steps, body=last.body,
    )  # fmt: skip
