"""How parts are put in place: pushes, order, what is loose, and where a hand presses afterwards."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fixturecheck.errors import SetupError
from fixturecheck.fields import HIDDEN, Allowed, allowed, recorded
from fixturecheck.names import nearest
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.records import BodyRole

PULL_N = Allowed(least=0.0, most=1e5)
"""A trifle of magnet on one part."""

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup


@recorded
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

    direction: Vector = field(metadata=allowed(-1e6, 1e6, items=3))
    force_n: float | None = field(
        default=None, metadata=allowed(1e-6, 1e5, matters="where the parts come to rest")
    )
    at_mm: Vector | None = field(
        default=None, metadata=allowed(-10000.0, 10000.0, items=3, matters="where the parts come to rest")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
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
    at_mm: Vector = field(metadata=allowed(-10000.0, 10000.0, items=3))
    force_n: Vector = field(metadata=allowed(-1e5, 1e5, items=3))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Staging:
    """How parts are put in place.

    Parameters
    ----------
    push : mapping of str to Push
        The hand's push on each part; `*` is every part not named. A part without one only has its weight.
    order : tuple of str
        Bodies in the order they are placed and pushed, each staying where it came to rest; empty is all
        together. A fixture that is named here, as a block that goes on last, comes at its turn: where it is
        drawn, or, if `push` names it, to where its push takes it.
    loose : tuple of str
        Bodies that move; empty is every part. Fixtures that are in `order` and in `push` move besides.
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
    pull_n: Mapping[str, float] = field(default_factory=dict, metadata=allowed(PULL_N.least, PULL_N.most))
    approach_mm: float = field(
        default=2.0, metadata=allowed(0.001, 100.0, matters="from where the parts are settled")
    )
    press: tuple[Press, ...] = ()
    draws: int = field(
        default=10_000,
        metadata=allowed(1, 1_000_000, matters="how closely chances within tolerances are known"),
    )
    seed: int = field(default=1, metadata=allowed(0, 2**31 - 1))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


def loose_names(setup: Setup, staging: Staging) -> tuple[str, ...]:
    """Return the names of the bodies that move: those stated, or every part; and fixtures pushed in turn.

    Parameters
    ----------
    setup : Setup
        The bodies with their roles.
    staging : Staging
        What is loose, the order and the pushes.

    Returns
    -------
    tuple of str
        Fixtures that are pushed in turn come last.
    """
    names = staging.loose or tuple(b.name for b in setup.bodies if b.role == BodyRole.PART)
    return (*names, *(n for n in staging.order if n in staging.push and n not in names))


def refuse_bad_staging(setup: Setup) -> None:
    """Raise for the first thing in the staging of a set-up that cannot be done.

    Parameters
    ----------
    setup : Setup
        With bodies that are sound and named once.

    Raises
    ------
    SetupError
        Says what, and what to do.
    """
    staging: object = setup.staging
    if staging is None:
        return
    if not isinstance(staging, Staging):
        raise SetupError(f"staging must be a Staging; got {type(staging).__name__}")
    known = [b.name for b in setup.bodies]
    _known(staging.loose, known, "staging, loose")
    _once(staging.order)
    _known(staging.order, known, "staging, order")
    loose = list(loose_names(setup, staging))
    _known(staging.push, [*loose, "*"], "staging, push")
    _known(staging.pull_n, [*loose, "*"], "staging, pull_n")
    _known([p.part for p in staging.press], loose, "staging, press")
    for name, push in staging.push.items():
        _refuse_bad_push(name, push)
    for press in staging.press:
        _point(press.at_mm, f"staging, press on {press.part!r}, at_mm")
        _direction(press.force_n, f"staging, press on {press.part!r}, force_n")


def _refuse_bad_push(name: str, push: object) -> None:
    if not isinstance(push, Push):
        raise SetupError(f"staging, push of {name!r}: must be a Push; got {type(push).__name__}")
    where = f"staging, push of {name!r}"
    _direction(push.direction, f"{where}, direction")
    if push.at_mm is not None:
        _point(push.at_mm, f"{where}, at_mm")


def _known(names: Iterable[str], known: list[str], where: str) -> None:
    for name in names:
        if name not in known:
            raise SetupError(f"{where}: no loose part is named {name!r}; {nearest(str(name), known)}")


def _once(names: tuple[str, ...]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise SetupError(
                f"staging, order: {name!r} is placed {names.count(name)} times; each part is placed once"
            )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _point(values: object, where: str) -> None:
    if not isinstance(values, tuple | list) or len(values) != 3 or not all(map(_is_number, values)):
        raise SetupError(f"{where}: must be three finite numbers; got {values!r}")


def _direction(values: Vector, where: str) -> None:
    _point(values, where)
    if math.hypot(*values) == 0.0:
        raise SetupError(f"{where}: (0, 0, 0) has no direction; state which way")
