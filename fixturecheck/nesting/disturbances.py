"""Whether the rest depends on the order of staging, and whether a part at rest withstands a hand's push."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.contact.proximity.penetration import penetrations
from fixturecheck.errors import NotComputedError
from fixturecheck.nesting.model import SettlingModel, settling_model_of
from fixturecheck.nesting.outcome import candidates
from fixturecheck.nesting.settle import (
    Obstacles,
    finder_of,
    loads_of,
    loose_of,
    ranks_of,
    rest_from_apart,
    retreats_of,
    settle_in_order,
    settle_part,
)
from fixturecheck.numeric import to_vector
from fixturecheck.result.rest import Ending, NoPlace, OrderOutcome, UnderHand
from fixturecheck.result.shapes import Vector
from fixturecheck.rigid import Poses, jacobian, null_space
from fixturecheck.setup.model import Setup
from fixturecheck.setup.staging import Staging
from fixturecheck.statics.contact_step import SteadyLoad, wrenches
from fixturecheck.statics.limit import unbalanced
from fixturecheck.statics.rest import Bounds, Settling, settle

STATED = ("together", "in order", "together from further away")
CANNOT_BE = (Ending.OVERLAPS, Ending.JAMMED)
"""Endings of stagings in which parts have no room; they do not count against the set-up."""
MOST_TURNS = 64
"""Single parts that are settled to try orders; orders that would take more are counted and not tried."""


def order_of_placing(setup: Setup, staging: Staging, *, model: SettlingModel | None = None) -> OrderOutcome:
    """Compare the rests of parts pushed all together, in the order stated, and in others that could matter.

    Those are the reverse of the stated order and, for every part that touches one after it, the order in
    which it comes last. An order in which a part takes the place of one to come, or does not come to rest
    without it, is impossible; the answer names it with the reason, and it does not count.

    Parameters
    ----------
    setup : Setup
        Bodies and intended seats.
    staging : Staging
        Pushes, the order stated and what is loose.
    model : SettlingModel, optional
        That of the set-up, where it is made already.

    Returns
    -------
    OrderOutcome
        Its spread is infinite where the parts do not rest in all that were stated.

    Raises
    ------
    SetupError
        Staging names a body that is not there, or nothing is loose.
    KernelError
        A solid could not be triangulated.
    """
    model = model or settling_model_of(setup)
    loose = loose_of(model, staging)
    order = (*staging.order, *(n for i in loose if (n := model.bodies[i].name) not in staging.order))
    rests: dict[str, Settling] = {}
    barred: dict[str, NoPlace] = {}
    for name, raw in _stated(model, staging, loose, order).items():
        if raw.ending is Ending.REST:
            rests[name] = raw
        elif name != "together" and not (name == "in order" and staging.order) and raw.ending in CANNOT_BE:
            barred[name] = NoPlace(part=model.bodies[raw.body].name if raw.body >= 0 else "")
        else:
            unrested = name, raw.ending
            return OrderOutcome(spread_um=np.inf, tried=STATED, fits=False, unrested=unrested)
    first = rests["together"]
    turns = _Turns(model=model, staging=staging, loose=loose, rest=first.poses)
    tried = {name: raw.poses for name, raw in rests.items()}
    others = _others(model, first, order)
    most = len(others) + len(tried) + len(barred)
    for name, bodies in others.items():
        try:
            tried[name] = turns.placed(bodies)
        except _CannotBeError as reason:
            barred[name] = reason.why
        except _TooManyError:
            continue
    apart_um = {name: _apart(model, first, poses, loose) * 1e3 for name, poses in tried.items()}
    furthest = max(apart_um, key=apart_um.__getitem__)
    return OrderOutcome(
        spread_um=apart_um[furthest],
        tried=tuple(tried),
        fits=apart_um[furthest] <= setup.tolerances.touch_um,
        furthest=furthest,
        barred=tuple(barred.items()),
        untried=most - len(barred) - len(tried),
    )


def _stated(
    model: SettlingModel, staging: Staging, loose: Sequence[int], order: tuple[str, ...]
) -> dict[str, Settling]:
    """Return the rests of parts pushed together, in order, and together from further away.

    The last only where nothing stands behind them: lifted over it, they would be let go in the air.
    """
    loads, further = loads_of(model, staging, loose), 2.5 * staging.approach_mm
    ranks = ranks_of(model, replace(staging, order=()), loads)
    together, in_order, away = STATED
    found = {
        together: settle_in_order(model, replace(staging, order=()), loose, Bounds())[0],
        in_order: settle_in_order(model, replace(staging, order=order), loose, Bounds())[0],
    }
    if not len(Obstacles(model, loose, model.drawn).on(retreats_of(loads, ranks, further)).gap_mm):
        found[away] = rest_from_apart(model, loads, ranks, further, Bounds())
    return found


def _others(model: SettlingModel, rest: Settling, order: Sequence[str]) -> dict[str, tuple[int, ...]]:
    """Return the orders that could matter besides the stated one, each once, by name."""
    stated = tuple(model.index(name) for name in order)
    touch = model.setup.tolerances.touch_mm
    matter = [b for k, b in enumerate(stated) if _touches(rest, b, stated[k + 1 :], touch)]
    last = {f"with {model.bodies[b].name} last": (*(o for o in stated if o != b), b) for b in matter}
    # The same order under two names is tried under the first.
    found: dict[tuple[int, ...], str] = {stated: ""}
    for name, one in {"in reverse order": stated[::-1], **last}.items():
        found.setdefault(one, name)
    return {name: one for one, name in found.items() if name}


def _touches(rest: Settling, body: int, others: Sequence[int], touch_mm: float) -> bool:
    """Tell whether a body touches any of some others at rest."""
    rows = rest.rows
    mine = (rows.body_a == body) & np.isin(rows.body_b, others)
    mine |= (rows.body_b == body) & np.isin(rows.body_a, others)
    return bool(np.any(mine & (rows.gap_mm <= touch_mm)))


class _CannotBeError(Exception):
    """An order in which some part has no place of its own, and why."""

    def __init__(self, why: NoPlace) -> None:
        super().__init__(why.part)
        self.why = why


class _TooManyError(Exception):
    """The limit of single parts to be settled was reached."""


@dataclass(slots=True, kw_only=True, eq=False)
class _Turns:
    """Places parts one after the other; orders that begin alike are settled once as far as they do."""

    model: SettlingModel
    staging: Staging
    loose: tuple[int, ...]
    rest: Poses
    known: dict[tuple[int, ...], Poses | NoPlace] = field(default_factory=dict)

    def placed(self, order: tuple[int, ...]) -> Poses:
        """Return the poses after bodies are placed in an order.

        Raises
        ------
        _CannotBeError
            Why they cannot come so.
        _TooManyError
            It would take more settling than is allowed.
        """
        start = self.model.drawn
        for count in range(1, len(order) + 1):
            begun = order[:count]
            if begun not in self.known:
                if len(self.known) >= MOST_TURNS:
                    raise _TooManyError
                self.known[begun] = self._came(begun[-1], start, order[count:])
            found = self.known[begun]
            if isinstance(found, NoPlace):
                raise _CannotBeError(found)
            start = found
        return start

    def _came(self, body: int, start: Poses, waiting: tuple[int, ...]) -> Poses | NoPlace:
        """Return where bodies are once one more has come, or why it cannot come before those that wait."""
        model, name = self.model, self.model.bodies[body].name
        loads = loads_of(model, self.staging, (body,) if body in self.loose else ())
        load = loads[0] if loads else None
        raw = settle_part(model, body, load, start, waiting, self.staging.approach_mm, Bounds())
        if raw.ending is not Ending.REST:
            return NoPlace(part=name, ending=raw.ending, early=bool(waiting))
        for other in waiting:
            if self._taken(raw.poses, body, other):
                return NoPlace(part=name, taken=model.bodies[other].name)
        return raw.poses

    def _taken(self, poses: Poses, body: int, other: int) -> bool:
        """Tell whether a body deeply overlaps the place where another rests."""
        rotation = np.stack((poses.rotation[body], self.rest.rotation[other]))
        origin = np.stack((poses.origin_mm[body], self.rest.origin_mm[other]))
        pair = [self.model.features[i] for i in (body, other)]
        return len(penetrations(pair, [True, True], rotation, origin, any_place=True).gap_mm) > 0


def _apart(model: SettlingModel, one: Settling, poses: Poses, loose: Sequence[int]) -> float:
    """Return how far poses are from a rest in mm at any corner, along what contacts hold."""
    worst = 0.0
    for body in loose:
        mine = np.flatnonzero(
            ((one.rows.body_a == body) | (one.rows.body_b == body))
            & (one.rows.gap_mm <= model.setup.tolerances.touch_mm)
        )
        centre = one.poses.apply(body, model.features[body].centre_mm)
        size = model.features[body].size_mm
        slopes = jacobian(candidates(one).where(mine), np.array([body]), centre[None])
        slopes[:, 3:] /= size
        free = null_space(slopes)
        shift = poses.apply(body, model.features[body].centre_mm) - centre
        turn = Rotation.from_matrix(poses.rotation[body] @ one.poses.rotation[body].T).as_rotvec() * size
        twist = np.concatenate((shift, turn))
        held = twist - free @ (free.T @ twist)
        worst = max(worst, float(np.linalg.norm(held)))
    return worst


HAND_MU = 0.1
"""Friction that a hand's push meets: the low end of steel on steel with oil, from memory."""


def under_hand(
    setup: Setup, staging: Staging, body: str, *, at_mm: Vector, force_n: Vector,
    mu: float = HAND_MU, model: SettlingModel | None = None,
) -> UnderHand:  # fmt: skip
    """Return what one part does when a hand pushes it at a point once everything is at rest.

    Parameters
    ----------
    setup : Setup
        Bodies and intended seats.
    staging : Staging
        What brings the parts to rest before.
    body : str
        Name of the part.
    at_mm : Vector
        Point in the body's own frame.
    force_n : Vector
        Push in the machine's frame.
    mu : float
        Friction at the contacts.
    model : SettlingModel, optional
        That of the set-up, where it is made already.

    Returns
    -------
    UnderHand

    Raises
    ------
    NotComputedError
        The parts do not come to rest before the push.
    """
    model = model or settling_model_of(setup)
    raw, loads = _rest(model, staging)
    return _pressed(model, raw, loads, model.index(body), np.array(at_mm), np.array(force_n), mu)


def _rest(model: SettlingModel, staging: Staging) -> tuple[Settling, list[SteadyLoad]]:
    raw, loads = settle_in_order(model, staging, loose_of(model, staging), Bounds())
    if raw.ending is not Ending.REST:
        raise NotComputedError(f"the parts do not come to rest ({raw.ending})")
    return raw, loads


def _pressed(
    model: SettlingModel,
    raw: Settling,
    loads: Sequence[SteadyLoad],
    body: int,
    at: Floats,
    force: Floats,
    mu: float,
) -> UnderHand:
    """Add a push to one body at rest: held by friction, or settled again from where it is."""
    name = model.bodies[body].name
    pushed = [replace(one, also=(*one.also, (force, at))) if one.body == body else one for one in loads]
    bodies = np.array([one.body for one in pushed])
    centres = np.array([raw.poses.apply(one.body, one.centre_mm) for one in pushed])
    sizes = np.array([one.size_mm for one in pushed])
    touch = model.setup.tolerances.touch_mm
    load = wrenches(pushed, raw.poses)
    rest = unbalanced(raw.rows, bodies, centres, load, sizes, mu=mu, closure_mm=touch)
    if rest <= 1e-5:
        return UnderHand(body=name, stays=True)
    again = settle(
        pushed, raw.poses, finder_of(model.scene(bodies.tolist())), Bounds(step_mm=0.1, approach_mm=0.05)
    )
    shift = again.poses.apply(body, at) - raw.poses.apply(body, at)
    turn = np.degrees(
        Rotation.from_matrix(again.poses.rotation[body] @ raw.poses.rotation[body].T).as_rotvec()
    )
    return UnderHand(
        body=name, stays=False, shift_mm=to_vector(shift), turn_deg=to_vector(turn), ending=again.ending
    )
