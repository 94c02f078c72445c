"""All that staging asks, worked out once: the rest, its order, hands that press, location, tolerance."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TypeVar

import numpy as np

from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.settling.bench import Bench, bench_of
from fixturecheck.settling.locating import PartLocated, parts_located, targets_of
from fixturecheck.settling.model import OrderTold, Settled
from fixturecheck.settling.odds import Odds
from fixturecheck.settling.orders import order_told
from fixturecheck.settling.run import AWAY_MM, loose_of, settle_setup
from fixturecheck.settling.stability import UnderHand, under_hand
from fixturecheck.settling.starts import shifted
from fixturecheck.settling.tolerance import odds_of
from fixturecheck.setup.model import Setup
from fixturecheck.setup.staging import Press, Staging

T = TypeVar("T")

ASKED = ("rest", "location", "tolerance")
"""The checks that look at what staging came to."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answered:
    """What staging came to.

    Parameters
    ----------
    settled : Settled
        Where the parts rest, or why they do not.
    order : OrderTold or None
        Whether the order of staging matters; None where the parts do not rest.
    hands : tuple of UnderHand
        One for each press that is stated.
    located : tuple of PartLocated
        How the seats of each part locate the work.
    odds : Odds or None
        What tolerances do to it; None where no face has any, or the parts do not rest.
    missing : tuple of (check, reason)
        What could not be computed.
    """

    bench: Bench
    settled: Settled
    order: OrderTold | None = None
    hands: tuple[UnderHand, ...] = ()
    located: tuple[PartLocated, ...] = ()
    odds: Odds | None = None
    missing: tuple[tuple[str, str], ...] = field(default=())


def answered(setup: Setup, asked: Collection[str] = ASKED, *, idle: Collection[str] = ()) -> Answered | None:
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
    bench = bench_of(setup)
    moving = set(loose_of(bench, staging))
    gone = {i for name in idle if (i := bench.index(name)) not in moving}
    bench = replace(bench, drawn=shifted(bench.drawn, dict.fromkeys(sorted(gone), np.full(3, AWAY_MM))))
    settled = settle_setup(setup, staging, bench=bench)
    if not settled.rests:
        return Answered(bench=bench, settled=settled)
    missing: list[tuple[str, str]] = []
    order, hands = None, []
    if "rest" in asked:
        order = _tried(lambda: order_told(setup, staging, bench=bench), "rest", missing)
        hands = [_tried(partial(_hand, setup, press, bench), "rest", missing) for press in staging.press]
    located, odds = None, None
    if "location" in asked:
        located = _tried(partial(parts_located, bench, settled), "location", missing)
    if "tolerance" in asked and _varies(setup):
        odds = _tried(partial(_odds, bench, staging), "tolerance", missing)
    return Answered(
        bench=bench,
        settled=settled,
        order=order,
        hands=tuple(h for h in hands if h is not None),
        located=located or (),
        odds=odds,
        missing=tuple(missing),
    )


def _varies(setup: Setup) -> bool:
    return any(width > 0 for body in setup.bodies for width in body.tolerance_mm.values())


def _odds(bench: Bench, staging: Staging) -> Odds:
    setup = bench.setup
    targets = targets_of(setup)
    return odds_of(setup, staging, targets=targets, draws=staging.draws, seed=staging.seed, bench=bench)


def _hand(setup: Setup, press: Press, bench: Bench) -> UnderHand:
    staging = setup.staging or Staging()
    return under_hand(setup, staging, press.part, at_mm=press.at_mm, force_n=press.force_n, bench=bench)


def _tried(work: Callable[[], T], check: str, missing: list[tuple[str, str]]) -> T | None:
    """Return what the work gives; None, with the reason noted, where it could not be computed."""
    try:
        return work()
    except (NotComputedError, KernelError) as reason:
        missing.append((check, str(reason)))
        return None
