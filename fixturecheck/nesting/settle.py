"""Where the loose bodies of a set-up come to rest, from poses in which nothing overlaps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.cache import digest
from fixturecheck.contact.proximity.candidates import Candidates, ProximityScene, joined
from fixturecheck.contact.proximity.penetration import penetrations
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.errors import SetupError
from fixturecheck.nesting.model import SettlingModel, settling_model_of
from fixturecheck.nesting.outcome import settled_outcome
from fixturecheck.result.rest import Ending, Settled
from fixturecheck.rigid import Poses, null_space
from fixturecheck.setup.model import Setup
from fixturecheck.setup.staging import Push, Staging, loose_names
from fixturecheck.shop.tables import weight_n
from fixturecheck.statics.contact_step import SteadyLoad, forces_at
from fixturecheck.statics.rest import Bounds, Finder, Settling, settle

DOWN = np.array([0.0, 0.0, -1.0])
TRIES = 4
NEAR_MM = 0.1
"""How far any corner of a part may go from where it is drawn for the rest to count as the one beside it."""
DRAWN_MM = 0.05
"""How deep parts may be drawn in each other, or how far from each other, and still be let go as drawn."""
DEEP_MM = 1.5
SHARES = (0.02, 0.1, 0.3, 0.6, 1.0)
"""Shares of a retreat at which obstacles are looked for."""


def find_rest(
    model: SettlingModel,
    loads: list[SteadyLoad],
    ranks: Mapping[int, int],
    approach_mm: float,
    bounds: Bounds,
    *,
    placed: bool = False,
) -> Settling:
    """Return where bodies come to rest: beside the drawn pose if they can, else from a retreat.

    Parameters
    ----------
    model : SettlingModel
        The bodies as drawn.
    loads : list of SteadyLoad
        Loads on the bodies that move.
    ranks : mapping of int to int
        How many bodies stand in front of each; later ones retreat further.
    approach_mm : float
        How far they retreat where they do not rest as drawn.
    bounds : Bounds
        When the settler stops.
    placed : bool
        The other bodies are there already, so there must be a straight path in.

    Returns
    -------
    Settling

    Notes
    -----
    The stated order, other orders that begin alike, a hand's push and tolerances all start from the same
    rests: each is worked out once for a model.
    """
    asked = digest(model.drawn, loads, ranks, approach_mm, bounds, placed)
    if (model.features, asked) not in model.rests:
        found = _rest_as_drawn(model, loads, bounds)
        if found is None:
            found = rest_from_apart(model, loads, ranks, approach_mm, bounds, placed=placed)
        elif placed:
            found = _reachable(model, loads, found, approach_mm)
        model.rests[model.features, asked] = found
    return model.rests[model.features, asked]


def _rest_as_drawn(model: SettlingModel, loads: list[SteadyLoad], bounds: Bounds) -> Settling | None:
    """Return the rest within `NEAR_MM` that bodies come to from where they are drawn; None without one.

    Bodies that are drawn a little clear of each other close up, and those a little in each other are opened.
    """
    scene = model.scene(one.body for one in loads)
    overlap = _deepest_mm(_shallow(scene, model.drawn))
    if overlap <= DRAWN_MM:
        overlap = max(overlap, _deepest_mm(_deep(model, scene, model.drawn)))
    if overlap > DRAWN_MM:
        return None
    short = replace(bounds, step_mm=DRAWN_MM, approach_mm=DRAWN_MM, travel_mm=NEAR_MM)
    raw = settle(loads, model.drawn, finder_of(scene), short)
    if raw.ending is Ending.JAMMED and overlap <= model.setup.tolerances.touch_mm:
        # What overlaps by less than counts as touching fits its place all the same.
        raw = settle(loads, model.drawn, finder_of(scene), replace(short, slack_mm=overlap))
    if raw.ending is not Ending.REST:
        return None
    far = max(_furthest(model, one.body, raw.poses) for one in loads)
    return raw if far <= NEAR_MM else None


def _furthest(model: SettlingModel, body: int, poses: Poses) -> float:
    """Return how far the furthest corner of a body's box is from where it is drawn, mm."""
    low, high = model.features[body].box_mm
    corners = np.array(
        [[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    )
    apart = poses.apply(body, corners) - model.drawn.apply(body, corners)
    return float(np.linalg.norm(apart, axis=1).max())


def rest_from_apart(
    model: SettlingModel,
    loads: list[SteadyLoad],
    ranks: Mapping[int, int],
    approach_mm: float,
    bounds: Bounds,
    *,
    placed: bool = False,
) -> Settling:
    """Return where bodies come to rest from a retreat.

    They retreat along the first direction without obstacles: against their loads, straight up, or level
    against their pushes. Where they still overlap there, they retreat further. Bodies that are shut in on all
    sides start as drawn, unless they are to be placed now.

    Parameters
    ----------
    model : SettlingModel
        The bodies as drawn.
    loads : list of SteadyLoad
        Loads on the bodies that move.
    ranks : mapping of int to int
        How many bodies stand in front of each; later ones retreat further.
    approach_mm : float
        How far they retreat first; each further try doubles it.
    bounds : Bounds
        When the settler stops; its `approach_mm` is replaced by that of the retreat.
    placed : bool
        The other bodies are there already, so that without a clear retreat there is no room.

    Returns
    -------
    Settling
    """
    for doubled in range(TRIES):
        approach = approach_mm * 2.0**doubled
        start, barred = _start(model, loads, ranks, approach)
        if start is None and placed:
            return _no_room(model.drawn, barred)
        longer = replace(bounds, approach_mm=approach)
        down = None if start is None else _lowered(model, loads, start, longer)
        start = model.drawn if start is None else start
        found = settle_together(model, loads, start if down is None else down.poses, longer)
        if down is not None:
            found = replace(found, visited=down.visited + found.visited[1:])
        if len(barred.gap_mm) or found.ending is not Ending.OVERLAPS:
            break
    return found


def _lowered(model: SettlingModel, loads: list[SteadyLoad], start: Poses, bounds: Bounds) -> Settling | None:
    """Return where bodies that were lifted straight up come to rest before they are pushed; None elsewhere.

    A hand lowers a part beside its stop; pushed on the way down it would slide over a low one.
    """
    gone = start.origin_mm - model.drawn.origin_mm
    lifted = np.abs(gone - (gone @ DOWN)[:, None] * DOWN).max() == 0.0
    if not lifted or not any(one.also for one in loads):
        return None
    down = settle_together(model, [replace(one, also=()) for one in loads], start, bounds)
    return down if down.ending is Ending.REST else None


def settle_together(model: SettlingModel, loads: list[SteadyLoad], start: Poses, bounds: Bounds) -> Settling:
    """Settle all the bodies that have a load together, unless they start deep in each other.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    loads : list of SteadyLoad
        One for each body that moves.
    start : Poses
        Where all bodies stand at first.
    bounds : Bounds
        When the settler stops.

    Returns
    -------
    Settling
        `OVERLAPS` without a step where they start deep in each other.
    """
    scene = model.scene(one.body for one in loads)
    deep = penetrations(model.features, scene.loose.tolist(), start.rotation, start.origin_mm)
    if len(deep.gap_mm) == 0:
        return settle(loads, start, finder_of(scene), bounds)
    return _no_room(start, deep)


def _stands_as_drawn(model: SettlingModel, body: int) -> Settling:
    """Return a body as at rest where it is drawn, or that it overlaps others there."""
    rows = _overlaps(model, model.scene((body,)), model.drawn)
    if float(rows.gap_mm.min(initial=0.0)) < -model.setup.tolerances.touch_mm:
        return _no_room(model.drawn, rows)
    return Settling(
        ending=Ending.REST, poses=model.drawn, rows=rows, force_n=np.zeros(len(rows.gap_mm)),
        residual_mm=0.0, balance=0.0, steps=0,
    )  # fmt: skip


def _no_room(poses: Poses, rows: Candidates) -> Settling:
    return Settling(
        ending=Ending.OVERLAPS, poses=poses, rows=rows, force_n=np.zeros(len(rows.gap_mm)),
        residual_mm=-float(rows.gap_mm.min(initial=0.0)), balance=1.0, steps=0,
    )  # fmt: skip


def finder_of(scene: ProximityScene) -> Finder:
    """Return the function that finds candidates in a scene.

    Parameters
    ----------
    scene : ProximityScene
        The bodies that are looked at.

    Returns
    -------
    callable
        Takes poses, reach in mm, slack in radians and depth in mm, as `find_candidates` does.
    """

    def find(poses: Poses, reach_mm: float, slack_rad: float, deep_mm: float) -> Candidates:
        return find_candidates(scene, poses.rotation, poses.origin_mm, reach_mm, slack_rad, deep_mm)

    return find


def _start(
    model: SettlingModel, loads: Sequence[SteadyLoad], ranks: Mapping[int, int], approach_mm: float
) -> tuple[Poses | None, Candidates]:
    """Return poses after the first clear retreat; None, and the obstacles, where no retreat is clear."""
    obstacles = Obstacles(model, [one.body for one in loads], model.drawn)
    barred = joined([])
    if not any(np.any(one.total_n()) for one in loads):
        return model.drawn, barred
    for up, level in ((True, True), (True, False), (False, True)):
        retreats = retreats_of(loads, ranks, approach_mm, up=up, level=level)
        if not any(np.any(retreat) for retreat in retreats.values()):
            continue
        rows = obstacles.on(retreats)
        if len(rows.gap_mm) == 0:
            return moved_back(model.drawn, retreats), rows
        barred = rows if len(barred.gap_mm) == 0 else barred
    return None, barred


def _reachable(
    model: SettlingModel, loads: list[SteadyLoad], found: Settling, approach_mm: float
) -> Settling:
    """Return a rest if some straight path leads to it, else that there is no room to come in by."""
    loose = [one.body for one in loads]
    barred, obstacles = joined([]), Obstacles(model, loose, found.poses)
    touching = found.rows.gap_mm <= model.setup.tolerances.touch_mm
    for direction in directions_out(loads, found.rows.normal[touching]):
        rows = obstacles.on(dict.fromkeys(loose, approach_mm * direction))
        if len(rows.gap_mm) == 0:
            return found
        barred = rows if len(barred.gap_mm) == 0 else barred
    return _no_room(found.poses, barred)


def directions_out(loads: Sequence[SteadyLoad], normals: Floats) -> Iterator[Floats]:
    """Yield directions in which bodies might be taken out: up, back, sideways, along their guides.

    Parameters
    ----------
    loads : sequence of SteadyLoad
        What presses on them.
    normals : ndarray, shape (n, 3)
        Normals of the places where they touch.

    Yields
    ------
    ndarray, shape (3,)
        Of unit length.
    """
    yield -DOWN
    push = np.sum([np.zeros(3), *(one.total_n() for one in loads)], axis=0)
    if np.linalg.norm(push) > 0:
        yield -push / np.linalg.norm(push)
    for x, y in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        yield np.array([float(x), float(y), 0.0])
    for guide in null_space(normals).T:
        yield guide
        yield -guide


class Obstacles:
    """What bodies run into on straight paths from where they stand.

    Parameters
    ----------
    loose : sequence of int
        The bodies that go.
    poses : Poses
        Where all bodies stand before.
    """

    def __init__(self, model: SettlingModel, loose: Sequence[int], poses: Poses) -> None:
        self._model, self._scene, self._poses = model, model.scene(loose), poses

    @cached_property
    def _depth_mm(self) -> Mapping[tuple[int, int], float]:
        """How deep bodies lie in each other before they go."""
        rows = _overlaps(self._model, self._scene, self._poses)
        return {_pair(rows, i): -rows.gap_mm[i] for i in _order(rows)}

    def on(self, retreats: Mapping[int, Floats]) -> Candidates:
        """Return what is met deeper than before as bodies go, (3,) mm each; empty where all is clear."""
        touch = self._model.setup.tolerances.touch_mm
        for share in SHARES:
            there = moved_back(self._poses, {b: share * retreat for b, retreat in retreats.items()})
            rows = _overlaps(self._model, self._scene, there)
            if len(rows.gap_mm) == 0:
                continue
            allowed = np.array(
                [touch + self._depth_mm.get(_pair(rows, i), 0.0) for i in range(len(rows.gap_mm))]
            )
            met = np.flatnonzero(-rows.gap_mm > allowed)
            if len(met):
                return rows.where(met)
        return joined([])


def _overlaps(model: SettlingModel, scene: ProximityScene, poses: Poses) -> Candidates:
    """Return every place where bodies overlap."""
    return joined([_shallow(scene, poses), _deep(model, scene, poses)])


def _shallow(scene: ProximityScene, poses: Poses) -> Candidates:
    """Return the places where bodies overlap by what candidates see."""
    near = find_candidates(scene, poses.rotation, poses.origin_mm, 0.01, 1e-6, DEEP_MM)
    return near.where(near.gap_mm < 0.0)


def _deep(model: SettlingModel, scene: ProximityScene, poses: Poses) -> Candidates:
    """Return the places where bodies lie in each other deeper than candidates see."""
    return penetrations(model.features, scene.loose.tolist(), poses.rotation, poses.origin_mm)


def _deepest_mm(rows: Candidates) -> float:
    """Return the deepest overlap, mm."""
    return -float(rows.gap_mm.min(initial=0.0))


def _order(rows: Candidates) -> list[int]:
    """Return the numbers of rows, the deepest last."""
    return [int(i) for i in np.argsort(-rows.gap_mm, kind="stable")]


def _pair(rows: Candidates, i: int) -> tuple[int, int]:
    a, b = int(rows.body_a[i]), int(rows.body_b[i])
    return min(a, b), max(a, b)


def moved_back(poses: Poses, retreats: Mapping[int, Floats]) -> Poses:
    """Return poses with some bodies shifted.

    Parameters
    ----------
    poses : Poses
        Where all bodies stand; left as it is.
    retreats : mapping of int to ndarray, shape (3,)
        Shift of each body that moves, machine's frame, mm.

    Returns
    -------
    Poses
    """
    origin = poses.origin_mm.copy()
    for body, retreat in retreats.items():
        origin[body] += retreat
    return Poses(rotation=poses.rotation.copy(), origin_mm=origin)


def retreats_of(
    loads: Sequence[SteadyLoad],
    ranks: Mapping[int, int],
    approach_mm: float,
    *,
    up: bool = True,
    level: bool = True,
) -> dict[int, Floats]:
    """Return how far each body retreats, (3,) mm: up against its seating, and level against its push.

    Parameters
    ----------
    loads : sequence of SteadyLoad
        One for each body that retreats.
    ranks : mapping of int to int
        How many bodies stand in front of each; zero where it names none.
    approach_mm : float
        How far bodies are lifted, and how far those of rank zero retreat level.
    up, level : bool
        Whether bodies are lifted, and whether they retreat level; later ones retreat further.

    Returns
    -------
    dict of int to ndarray, shape (3,)
        By number of the body, in the machine's frame.
    """
    retreats = {}
    for one in loads:
        force = one.total_n()
        down = DOWN * max(0.0, float(force @ DOWN))
        side = force - down
        retreat = np.zeros(3)
        if up and np.linalg.norm(down) > 0:
            retreat -= DOWN * approach_mm
        if level and np.linalg.norm(side) > 0:
            share = ranks.get(one.body, 0) / max(len(ranks), 1)
            retreat -= side / np.linalg.norm(side) * approach_mm * (1.0 + share)
        retreats[one.body] = retreat
    return retreats


LIGHT_HAND = 0.25
AWAY_MM = 1e5
"""How far off parts are that have not come yet."""


def settle_setup(setup: Setup, staging: Staging | None = None, *, bounds: Bounds | None = None) -> Settled:
    """Return where the parts of a set-up come to rest.

    Parameters
    ----------
    setup : Setup
        Bodies and intended seats.
    staging : Staging, optional
        Pushes, order, what is loose; by default every part under its weight alone.
    bounds : Bounds, optional
        When the settler stops.

    Returns
    -------
    Settled

    Raises
    ------
    SetupError
        Staging names a body that is not there, or nothing is loose.
    """
    return settled_and_visited(settling_model_of(setup), staging or Staging(), bounds)[0]


def settled_and_visited(
    model: SettlingModel, staging: Staging, bounds: Bounds | None = None
) -> tuple[Settled, tuple[Poses, ...]]:
    """Return where parts come to rest, and where all bodies stood on the way; those to come are far off.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    staging : Staging
        Pushes, order and what is loose.
    bounds : Bounds, optional
        When the settler stops.

    Returns
    -------
    (settled, visited)
        The answer in the set-up's names, and poses from the start to the rest.

    Raises
    ------
    SetupError
        As `settle_setup`.
    """
    loose = loose_of(model, staging)
    raw, loads = settle_in_order(model, staging, loose, bounds or Bounds())
    raw = _checked(model, raw, loose)
    if raw.ending is Ending.REST and not staging.order:
        touch = model.setup.tolerances.touch_mm
        raw = replace(raw, force_n=forces_at(loads, raw.poses, raw.rows, touch))
    return settled_outcome(model, raw, loads, loose), raw.visited


def _checked(model: SettlingModel, raw: Settling, loose: Sequence[int]) -> Settling:
    """Return a rest, or no convergence where parts overlap something that a long step passed over."""
    if raw.ending is not Ending.REST:
        return raw
    moves = [i in loose for i in range(len(model.bodies))]
    deep = penetrations(model.features, moves, raw.poses.rotation, raw.poses.origin_mm)
    if len(deep.gap_mm) == 0:
        return raw
    return replace(raw, ending=Ending.NOT_CONVERGED, residual_mm=-float(deep.gap_mm.min()))


def loose_of(model: SettlingModel, staging: Staging) -> tuple[int, ...]:
    """Return the numbers of the bodies that move.

    Parameters
    ----------
    model : SettlingModel
        The bodies and the set-up.
    staging : Staging
        What is loose, and the order.

    Returns
    -------
    tuple of int

    Raises
    ------
    SetupError
        Nothing is loose, or the order or what is loose names a body that is not there.
    """
    names = loose_names(model.setup, staging)
    if not names:
        raise SetupError(
            f"set-up {model.setup.name!r} has no loose body to settle; give a body the role 'part'"
        )
    for name in staging.order:
        model.index(name)
    return tuple(model.index(n) for n in names)


def loads_of(model: SettlingModel, staging: Staging, loose: Sequence[int]) -> list[SteadyLoad]:
    """Return the steady load on each loose body: weight, the stated pull of the magnet, and the push.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    staging : Staging
        Pushes, pull, and whether weight acts.
    loose : sequence of int
        Numbers of the bodies that move.

    Returns
    -------
    list of SteadyLoad
        In the order of `loose`.
    """
    return [_load(model, staging, body) for body in loose]


def _load(model: SettlingModel, staging: Staging, body: int) -> SteadyLoad:
    one, features = model.bodies[body], model.features[body]
    seat = DOWN * (weight_n(one.material, features.volume_mm3) if staging.weight else 0.0)
    seat = seat + DOWN * staging.pull_n.get(one.name, staging.pull_n.get("*", 0.0))
    centre = features.centre_mm
    also: tuple[tuple[Floats, Floats], ...] = ()
    push = staging.push.get(one.name, staging.push.get("*"))
    if push is not None:
        at = centre if push.at_mm is None else np.array(push.at_mm, dtype=float)
        also = ((_pushed(push, float(np.linalg.norm(seat)), one.name), at),)
    return SteadyLoad(
        body=body, force_n=seat, at_mm=centre, centre_mm=centre, size_mm=features.size_mm, also=also
    )


def _pushed(push: Push, seat_n: float, name: str) -> Floats:
    direction = np.array(push.direction, dtype=float)
    length = float(np.linalg.norm(direction))
    if not np.isfinite(length) or length == 0.0:
        raise SetupError(f"push on {name!r} has no direction: {push.direction}")
    force = push.force_n if push.force_n is not None else LIGHT_HAND * seat_n or 1.0
    return direction / length * force


def settle_in_order(
    model: SettlingModel, staging: Staging, loose: Sequence[int], bounds: Bounds
) -> tuple[Settling, list[SteadyLoad]]:
    """Settle together or in the order stated: as drawn first, then from where nothing overlaps.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    staging : Staging
        Pushes, order and the first retreat.
    loose : sequence of int
        Numbers of the bodies that move.
    bounds : Bounds
        When the settler stops.

    Returns
    -------
    (settling, loads)
        What came of it, and the load on each loose body.
    """
    loads = loads_of(model, staging, loose)
    ranks = ranks_of(model, staging, loads)
    if staging.order:
        return _in_turn(model, staging, loads, bounds), loads
    return find_rest(model, loads, ranks, staging.approach_mm, bounds), loads


def ranks_of(model: SettlingModel, staging: Staging, loads: Sequence[SteadyLoad]) -> Mapping[int, int]:
    """Return how many parts stand in front of each, so that a gang starts apart and in line.

    Parameters
    ----------
    model : SettlingModel
        The bodies as drawn.
    staging : Staging
        The order; where one is stated, ranks follow it.
    loads : sequence of SteadyLoad
        One for each body that moves. Without an order the body furthest along the level part of their sum is
        first; along the sum itself where that has no level part.

    Returns
    -------
    mapping of int to int
        By number of the body; zero is the first.
    """
    if staging.order:
        return {model.index(name): rank for rank, name in enumerate(staging.order)}
    total = np.sum([one.total_n() for one in loads], axis=0)
    side = total - DOWN * float(total @ DOWN)
    direction = side if float(np.linalg.norm(side)) > 1e-9 else total
    place = {one.body: float(direction @ model.drawn.apply(one.body, one.centre_mm)) for one in loads}
    return {body: rank for rank, body in enumerate(sorted(place, key=lambda b: -place[b]))}


def _in_turn(model: SettlingModel, staging: Staging, loads: list[SteadyLoad], bounds: Bounds) -> Settling:
    """Place and push one part after the other; those placed stay, those to come are not there yet."""
    by_body = {one.body: one for one in loads}
    turn = [model.index(name) for name in staging.order]
    turn += [body for body in by_body if body not in turn]
    poses, last = model.drawn, None
    visited: list[Poses] = []
    for k, body in enumerate(turn):
        raw = settle_part(model, body, by_body.get(body), poses, turn[k + 1 :], staging.approach_mm, bounds)
        if raw.ending is not Ending.REST:
            return replace(raw, body=body)
        poses = raw.poses
        visited += raw.visited
        last = raw if body in by_body or last is None else last
    return replace(_held(model, loads, poses, last or raw, turn), visited=tuple(visited))


def settle_part(
    model: SettlingModel,
    body: int,
    load: SteadyLoad | None,
    poses: Poses,
    waiting: Iterable[int],
    approach_mm: float,
    bounds: Bounds,
) -> Settling:
    """Return where one body comes to rest when it comes to those placed before; those that wait are far off.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    body : int
        Number of the body that comes.
    load : SteadyLoad or None
        What takes the body to its rest; None is a body that is put where it is drawn and stays there.
    poses : Poses
        Where the bodies placed before stand; those to come where they are drawn.
    waiting : iterable of int
        Bodies to come.
    approach_mm : float
        From how far off, at least, a straight way in is looked for.
    bounds : Bounds
        When the settler stops.

    Returns
    -------
    Settling
        Those that wait stand where `poses` has them.
    """
    away = dict.fromkeys(waiting, np.full(3, AWAY_MM))
    there = replace(model, drawn=moved_back(poses, away))
    if load is None:
        raw = _stands_as_drawn(there, body)
    else:
        raw = find_rest(there, [load], {body: 0}, approach_mm, bounds, placed=True)
    back = {body: -far for body, far in away.items()}
    return replace(raw, poses=moved_back(raw.poses, back))


def _held(
    model: SettlingModel, loads: list[SteadyLoad], poses: Poses, last: Settling, turn: Sequence[int]
) -> Settling:
    """Return the end of staging in turn with all contacts at the final poses and the forces of each part.

    A part was held by what was there when it was placed; those that came later press on it, not it on them.
    """
    scene = model.scene(one.body for one in loads)
    rows = find_candidates(scene, poses.rotation, poses.origin_mm, 0.01, 1e-6)
    force, touch = np.zeros(len(rows.gap_mm)), model.setup.tolerances.touch_mm
    for one in loads:
        later = list(turn[turn.index(one.body) + 1 :])
        touches = (rows.body_a == one.body) | (rows.body_b == one.body)
        mine = np.flatnonzero(touches & ~np.isin(rows.body_a, later) & ~np.isin(rows.body_b, later))
        force[mine] = np.maximum(force[mine], forces_at([one], poses, rows.where(mine), touch))
    return Settling(
        ending=last.ending, poses=poses, rows=rows, force_n=force, residual_mm=last.residual_mm,
        balance=last.balance, steps=last.steps, body=last.body,
    )  # fmt: skip
