"""Whether the rest stands a hand's push."""

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
from fixturecheck.settling.model import Staging
from fixturecheck.settling.run import loose_of, walk
from fixturecheck.settling.starts import finder_of
from fixturecheck.settling.told import vector
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing, axis_text

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
        return f"{name} rocks by {angle:.3f} deg under the push, about {axis_text(vector(turn / angle))}"
    return f"{name} slides by {write.length(float(np.linalg.norm(shift)), '.3f')} under the push"
