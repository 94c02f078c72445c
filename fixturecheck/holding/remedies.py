"""What would bring a factor back: a lighter cut, another way of cutting, clamps, blocks, pull, a vise.

Every remedy is solved for on the set-up itself. It is offered only after the changed set-up went through the
full analysis and reached the least factor. How large a change is compares what is needed with what there is.
Work slid along the magnet counts as 1.1, a cut taken another way as 1.25, a block fastened as 1.5, one added
and a better finish as 2, dry contacts as 2.5, another way of holding as 10 (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

from fixturecheck.effort import SpentError
from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.holding.blocking import between_jaws, fastened, stopped
from fixturecheck.holding.clamping import friction_of, pressed
from fixturecheck.holding.more_pull import finer_seat, larger_seat, more_magnet
from fixturecheck.holding.over_poles import over_poles
from fixturecheck.holding.process import Lighter
from fixturecheck.holding.remedy_search import Changed, TrialHold
from fixturecheck.result.remedy import Amount, Remedy, RemedyKind, RemedySearch, RemedyUnknown
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.model import Setup

Change = Callable[[TrialHold], Iterator[Remedy]]

MOST_CLAMP_RATIO, CLAMP_STEP = 4.0, 0.05
"""How far a clamp may be tightened beyond what is stated; its screw is not judged."""
_TURNED, _DRY = 1.25, 2.5


def remedies_of(trial: TrialHold) -> tuple[tuple[Remedy, ...], tuple[RemedyUnknown, ...]]:
    """Return every change that brings the factor back, the smallest first.

    Another way of holding is looked for only where no change is enough.

    Returns
    -------
    remedies : tuple of Remedy
    untried : tuple of RemedyUnknown
        What could not be computed, and why.
    """
    changes: Mapping[RemedySearch, Change] = {
        RemedySearch.LIGHTER_CUT: lighter_cut,
        RemedySearch.CLAMPS: tighter_clamps,
        RemedySearch.ANOTHER_WAY: cut_another_way,
        RemedySearch.FASTENED: fastened,
        RemedySearch.STOP: stopped,
        RemedySearch.PLACE: partial(over_poles, lighter=lighter_cut),
        RemedySearch.SEAT: larger_seat,
        RemedySearch.MAGNET: more_magnet,
        RemedySearch.FINISH: finer_seat,
        RemedySearch.DRY: dried,
    }
    untried: list[RemedyUnknown] = []
    found: list[Remedy] = []
    try:
        for search, change in changes.items():
            found += _tried(search, change, trial, untried)
        if not found:
            found = _tried(RemedySearch.VISE, between_jaws, trial, untried)
    except SpentError as reason:
        untried.append(RemedyUnknown(part=trial.part.part, cut=trial.part.cut, reason=str(reason)))
    return tuple(sorted(found, key=lambda r: (r.change_ratio, r.kind))), tuple(untried)


def _tried(
    search: RemedySearch, change: Change, trial: TrialHold, untried: list[RemedyUnknown]
) -> list[Remedy]:
    """Return what a change gives; one that cannot be computed cures nothing and says why."""
    try:
        return list(change(trial))
    except SpentError:
        raise
    except (NotComputedError, KernelError, SetupError) as reason:
        part = trial.part
        untried.append(RemedyUnknown(part=part.part, cut=part.cut, reason=str(reason), search=search))
        return []


def lighter_cut(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the heaviest cut that is held, by each of its numbers alone, on whole steps."""
    for one in trial.process.lighter():
        found = trial.least(
            _cut_at(trial, one),
            now=one.step_mm * -(-one.now_mm // one.step_mm),
            most=one.least_mm,
            step=one.step_mm,
        )
        if found is not None:
            to_mm, factor = found
            amount = Amount(now=one.now_mm, to=to_mm, unit="mm")
            yield trial.remedy(one.kind, factor, one.now_mm / to_mm, amounts=(amount,))


def _cut_at(trial: TrialHold, lighter: Lighter) -> Callable[[float], Changed]:
    return lambda value: trial.changed(process=lighter.at(value))


def cut_another_way(trial: TrialHold) -> Iterator[Remedy]:
    """Look at the cut fed or milled another way: the first of each that is held."""
    done: set[RemedyKind] = set()
    for kind, names, process in trial.process.turned():
        factor = trial.changed(process=process).factor(trial.least_factor) if kind not in done else 0.0
        if factor >= trial.least_factor:
            done.add(kind)
            yield trial.remedy(kind, factor, _TURNED, names=names)


def tighter_clamps(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the factor by which all clamps together must press harder."""
    setup = trial.setup
    if not setup.clamps:
        return

    def at(ratio: float) -> Changed:
        harder = pressed(tightened(setup, ratio), trial.process.placed)
        return trial.changed(rig=replace(trial.rig, clamps=harder))

    found = trial.least(at, now=1.0, most=MOST_CLAMP_RATIO, step=CLAMP_STEP)
    if found is not None:
        ratio, factor = found
        amounts = tightened_amounts(setup.clamps, ratio)
        yield trial.remedy(RemedyKind.CLAMPS, factor, ratio, amounts=amounts)


def tightened(setup: Setup, ratio: float) -> Setup:
    """Return a set-up with the press of every clamp multiplied by a factor."""
    holding = setup.holding or Holding()
    return replace(
        setup, holding=replace(holding, clamps=tuple(_times_as_hard(c, ratio) for c in holding.clamps))
    )


def _times_as_hard(clamp: Clamp, ratio: float) -> Clamp:
    if clamp.force_n is not None:
        return replace(clamp, force_n=ratio * clamp.force_n)
    return replace(clamp, torque_nm=ratio * (clamp.torque_nm or 0.0))


def tightened_amounts(clamps: Sequence[Clamp], ratio: float) -> tuple[Amount, ...]:
    """Return the stated press of each clamp, and that press multiplied by a factor."""
    stated = (
        (c.name, c.torque_nm or 0.0, "N m") if c.force_n is None else (c.name, c.force_n, "N") for c in clamps
    )
    return tuple(Amount(name=name, now=now, to=ratio * now, unit=unit) for name, now, unit in stated)


def dried(trial: TrialHold) -> Iterator[Remedy]:
    """Look at what the contacts hold without their film of coolant."""
    setup = trial.setup
    if setup.holding is None or not trial.rig.wet:
        return
    wet, dry = trial.rig.friction, friction_of(replace(setup, holding=replace(setup.holding, coolant=False)))
    if dry.general == wet.general:
        return
    factor = trial.changed(rig=replace(trial.rig, friction=dry, wet=False)).factor(trial.least_factor)
    if factor >= trial.least_factor:
        ends = zip((wet.general.low, wet.general.high), (dry.general.low, dry.general.high), strict=True)
        amounts = tuple(Amount(now=now, to=to, unit="") for now, to in ends)
        yield trial.remedy(RemedyKind.DRY, factor, _DRY, amounts=amounts)
