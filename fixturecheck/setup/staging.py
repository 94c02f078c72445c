"""How parts are put in place: pushes, order, what is loose, and where a hand presses afterwards."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fixturecheck.errors import SetupError
from fixturecheck.result import Vector
from fixturecheck.shop.nearest import nearest

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Push:
    """How a part is pushed while it is staged.

    Parameters
    ----------
    direction : Vector
        Which way, machine's frame; any length.
    force_n : float or None
        How hard; None is a light hand, a quarter of what seats the part, so that it does not lift it.
    at_mm : Vector or None
        Where, in the body's own frame; None is its centre.
    """

    direction: Vector
    force_n: float | None = None
    at_mm: Vector | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """A hand that presses on a part once everything is at rest.

    Parameters
    ----------
    part : str
        The part that is pressed.
    at_mm : Vector
        Where, in the part's own frame.
    force_n : Vector
        How hard and which way, machine's frame.
    """

    part: str
    at_mm: Vector
    force_n: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class Staging:
    """How parts are put in place.

    Parameters
    ----------
    push : mapping of str to Push
        The hand's push on each part; `*` is every part not named. A part without one only has its weight.
    order : tuple of str
        Parts in the order they are placed and pushed, each staying where it came to rest; empty is all
        together.
    loose : tuple of str
        Bodies that move; empty is every part.
    weight : bool
        Whether weight acts, along -Z.
    pull_n : mapping of str to float
        A trifle of magnet, along -Z, by part; `*` for the rest.
    approach_mm : float
        How far parts start from where they are drawn, against their loads.
    press : tuple of Press
        Where a hand presses once the parts are at rest.
    draws : int
        How many times faces are drawn from their tolerances.
    seed : int
        Where the draws start; the same seed gives the same draws.
    """

    push: Mapping[str, Push] = field(default_factory=dict)
    order: tuple[str, ...] = ()
    loose: tuple[str, ...] = ()
    weight: bool = True
    pull_n: Mapping[str, float] = field(default_factory=dict)
    approach_mm: float = 2.0
    press: tuple[Press, ...] = ()
    draws: int = 10_000
    seed: int = 1


def refuse_bad_staging(setup: Setup) -> None:
    """Raise for the first thing in the staging of a set-up that cannot be done.

    Raises
    ------
    SetupError
        Says what, and what to do.
    """
    staging: object = setup.staging
    if staging is None:
        return
    if not isinstance(staging, Staging):
        message = f"staging must be a Staging; got {type(staging).__name__}"
        raise SetupError(message)
    known = [b.name for b in setup.bodies]
    _known(staging.loose, known, "staging, loose")
    loose = list(staging.loose) or [b.name for b in setup.bodies if b.role == "part"]
    _once(staging.order, "staging, order")
    _known(staging.order, loose, "staging, order")
    _known(staging.push, [*loose, "*"], "staging, push")
    _known(staging.pull_n, [*loose, "*"], "staging, pull_n")
    _known([p.part for p in staging.press], loose, "staging, press")
    for name, push in staging.push.items():
        _refuse_bad_push(name, push)
    for name, pull_n in staging.pull_n.items():
        _number(pull_n, f"staging, pull_n of {name!r}", least=0.0)
    for press in staging.press:
        _point(press.at_mm, f"staging, press on {press.part!r}, at_mm")
        _direction(press.force_n, f"staging, press on {press.part!r}, force_n")
    _number(staging.approach_mm, "staging, approach_mm", least=1e-3)
    for what, value, least in (("draws", staging.draws, 1), ("seed", staging.seed, 0)):
        if not isinstance(value, int) or isinstance(value, bool) or value < least:
            message = f"staging, {what}: must be a whole number of {least} or more; got {value!r}"
            raise SetupError(message)


def _refuse_bad_push(name: str, push: object) -> None:
    if not isinstance(push, Push):
        message = f"staging, push of {name!r}: must be a Push; got {type(push).__name__}"
        raise SetupError(message)
    where = f"staging, push of {name!r}"
    _direction(push.direction, f"{where}, direction")
    if push.force_n is not None:
        _number(push.force_n, f"{where}, force_n", least=1e-9)
    if push.at_mm is not None:
        _point(push.at_mm, f"{where}, at_mm")


def _known(names: Iterable[str], known: list[str], where: str) -> None:
    for name in names:
        if name not in known:
            message = f"{where}: no loose part is named {name!r}; {nearest(str(name), known)}"
            raise SetupError(message)


def _once(names: tuple[str, ...], where: str) -> None:
    for name in names:
        if names.count(name) > 1:
            message = f"{where}: {name!r} is placed {names.count(name)} times; each part is placed once"
            raise SetupError(message)


def _number(value: object, where: str, *, least: float) -> None:
    if not _is_number(value) or float(str(value)) < least:
        message = f"{where}: must be a number of at least {least:g}; got {value!r}"
        raise SetupError(message)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _point(values: object, where: str) -> None:
    if not isinstance(values, tuple | list) or len(values) != 3 or not all(map(_is_number, values)):
        message = f"{where}: must be three finite numbers; got {values!r}"
        raise SetupError(message)


def _direction(values: Vector, where: str) -> None:
    _point(values, where)
    if math.hypot(*values) == 0.0:
        message = f"{where}: (0, 0, 0) has no direction; state which way"
        raise SetupError(message)
