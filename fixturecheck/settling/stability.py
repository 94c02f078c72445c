"""Whether the rest stands a hand's push, and whether a part rocks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.friction import unbalanced
from fixturecheck.physics.rigid import turn_of
from fixturecheck.physics.settle import Bounds, Ending, Settling, settle
from fixturecheck.physics.step import Load, wrenches
from fixturecheck.result import Vector
from fixturecheck.settling.bench import Bench, bench_of
from fixturecheck.settling.model import FreedomLeft, Staging
from fixturecheck.settling.run import loose_of, walk
from fixturecheck.settling.starts import finder_of
from fixturecheck.settling.told import axis_name, vector
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing

Floats = NDArray[np.float64]
HAND_MU = 0.1
"""Friction that a hand's push meets: the low end of steel on steel with oil, from memory."""
ROCKS_DEG = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UnderHand:
    """What a part does under a hand's push.

    Parameters
    ----------
    stays : bool
        Contacts with friction hold it where it is.
    shift_mm : Vector
        How far the pushed point goes before the part rests again.
    turn_deg : Vector
        Axis times angle of the turn to the new rest.
    ending : Ending
        `REST`, or that it goes over or away.
    """

    body: str
    stays: bool
    shift_mm: Vector
    turn_deg: Vector
    ending: Ending
    says: str


def under_hand(
    setup: Setup, staging: Staging, body: str, *, at_mm: Vector, force_n: Vector,
    mu: float = HAND_MU, bench: Bench | None = None,
) -> UnderHand:  # fmt: skip
    """Return what one part does when a hand pushes it at a point once everything is at rest.

    Parameters
    ----------
    at_mm : Vector
        Point in the body's own frame.
    force_n : Vector
        Push in the machine's frame.
    mu : float
        Friction at the contacts.

    Raises
    ------
    NotComputedError
        The parts do not come to rest before the push.
    """
    bench = bench or bench_of(setup)
    raw, loads = _rest(bench, staging)
    return _pressed(bench, raw, loads, bench.index(body), np.array(at_mm), np.array(force_n), mu)


def rocks(
    setup: Setup, staging: Staging, body: str, *, mu: float = HAND_MU, bench: Bench | None = None
) -> tuple[FreedomLeft, ...]:
    """Return how a part rocks when it is pressed down at its outermost corners as hard as it is seated.

    Each rocking found is an axis with the angles it goes either way; a part that stands firm gives none.

    Raises
    ------
    NotComputedError
        The parts do not come to rest.
    """
    bench = bench or bench_of(setup)
    raw, loads = _rest(bench, staging)
    number = bench.index(body)
    load = next(one for one in loads if one.body == number)
    press = np.asarray(load.force_n)
    found: list[tuple[Floats, Floats]] = []
    for corner in _outermost(bench, raw, number, press):
        told = _pressed(bench, raw, loads, number, corner, press, mu)
        turn = np.array(told.turn_deg)
        if not told.stays and float(np.linalg.norm(turn)) > ROCKS_DEG and told.ending is Ending.REST:
            found.append((turn, raw.poses.apply(number, corner)))
    return _named(bench, raw, number, found)


def _rest(bench: Bench, staging: Staging) -> tuple[Settling, list[Load]]:
    raw, loads = walk(bench, staging, loose_of(bench, staging), Bounds())
    if raw.ending is not Ending.REST:
        message = f"the parts do not come to rest ({raw.ending})"
        raise NotComputedError(message)
    return raw, loads


def _pressed(
    bench: Bench, raw: Settling, loads: Sequence[Load], body: int, at: Floats, force: Floats, mu: float
) -> UnderHand:
    """Add a push to one body at rest: held by friction, or settled again from where it is."""
    name = bench.bodies[body].name
    pushed = [replace(one, also=(*one.also, (force, at))) if one.body == body else one for one in loads]
    bodies = np.array([one.body for one in pushed])
    centres = np.array([raw.poses.apply(one.body, one.centre_mm) for one in pushed])
    sizes = np.array([one.size_mm for one in pushed])
    touch = bench.setup.tolerances.touch_mm
    load = wrenches(pushed, raw.poses)
    rest = unbalanced(raw.rows, bodies, centres, load, sizes, mu=mu, closure_mm=touch)
    nothing = (0.0, 0.0, 0.0)
    if rest <= 1e-5:
        says = f"{name} stays put under the push"
        return UnderHand(
            body=name, stays=True, shift_mm=nothing, turn_deg=nothing, ending=Ending.REST, says=says
        )
    again = settle(
        pushed, raw.poses, finder_of(bench.scene(bodies.tolist())), Bounds(step_mm=0.1, approach_mm=0.05)
    )
    shift = again.poses.apply(body, at) - raw.poses.apply(body, at)
    turn = np.degrees(turn_of(again.poses.rotation[body] @ raw.poses.rotation[body].T))
    return UnderHand(
        body=name,
        stays=False,
        shift_mm=vector(shift),
        turn_deg=vector(turn),
        ending=again.ending,
        says=_push_says(name, again.ending, shift, turn, bench.setup.write),
    )


def _push_says(name: str, ending: Ending, shift: Floats, turn: Floats, write: Writing) -> str:
    """Return one sentence on what a push did."""
    angle = float(np.linalg.norm(turn))
    if ending is not Ending.REST:
        return f"{name} does not come to rest again under the push ({ending})"
    if angle > ROCKS_DEG:
        return f"{name} rocks by {angle:.3f} deg under the push, about {axis_name(vector(turn / angle))}"
    return f"{name} slides by {write.length(float(np.linalg.norm(shift)), '.3f')} under the push"


def _outermost(bench: Bench, raw: Settling, body: int, press: Floats) -> list[Floats]:
    """Return the corners of a body's outline as seen along the press, in its own frame."""
    local = bench.features[body].points_mm
    places = raw.poses.apply(body, local)
    down = press / np.linalg.norm(press)
    helper = np.array([1.0, 0.0, 0.0]) if abs(down[0]) < 0.7 else np.array([0.0, 1.0, 0.0])
    u = np.cross(down, helper)
    v = np.cross(down, u / np.linalg.norm(u))
    chosen = {
        int(np.argmax(places @ (np.cos(angle) * u + np.sin(angle) * v) - 1e-6 * (places @ down)))
        for angle in np.arange(8) * np.pi / 4 + 0.1
    }
    return [local[i] for i in sorted(chosen)]


def _named(
    bench: Bench, raw: Settling, body: int, found: list[tuple[Floats, Floats]]
) -> tuple[FreedomLeft, ...]:
    """Gather turns about the same axis and say how far each goes either way."""
    name = bench.bodies[body].name
    groups: list[list[Floats]] = []
    for turn, _ in found:
        axis = turn / np.linalg.norm(turn)
        mine = next((g for g in groups if abs(g[0] @ axis) / np.linalg.norm(g[0]) > 0.98), None)
        if mine is None:
            groups.append([turn])
        else:
            mine.append(turn)
    out = []
    for group in groups:
        axis = group[0] / np.linalg.norm(group[0])
        axis = axis if axis[int(np.argmax(np.abs(axis)))] > 0 else -axis
        amounts = [float(turn @ axis) for turn in group]
        low, high = min(0.0, *amounts), max(0.0, *amounts)
        line = _line(raw, body, axis, bench.setup.write)
        says = f"{name} rocks about {line} by {low:+.3f} to {high:+.3f} deg"
        point = raw.poses.apply(body, bench.features[body].centre_mm)
        out.append(
            FreedomLeft(
                body=name,
                kind="rocks",
                axis=vector(axis),
                point_mm=vector(point),
                low=low,
                high=high,
                says=says,
            )
        )
    return tuple(out)


def _line(raw: Settling, body: int, axis: Floats, write: Writing) -> str:
    """Return the two carrying points that the rocking is about."""
    rows = raw.rows
    mine = (rows.body_a == body) | (rows.body_b == body)
    places = rows.point_b_mm[mine & (raw.force_n > 1e-6 * raw.force_n.max(initial=0.0))]
    best, pair = 0.0, None
    for i in range(len(places)):
        for j in range(i):
            arm = places[i] - places[j]
            length = float(np.linalg.norm(arm))
            if length > 1e-3 and abs(arm @ axis) / length > max(best, 0.9):
                best, pair = abs(arm @ axis) / length, (places[j], places[i])
    if pair is None:
        return f"an axis along {axis_name(vector(axis))}"
    ends = [", ".join(write.number(v, "mm", ".2f") for v in vector(p)) for p in pair]
    return f"the line from ({ends[0]}) to ({ends[1]})"
