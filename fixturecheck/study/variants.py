"""The variants of a study: all, a sample, or those that find a limit; worked out in other processes.

At most as many are handed out as there are processes, so that when one dies it is known which variants it may
have been: those are tried again, each alone.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from dataclasses import replace
from multiprocessing import active_children
from multiprocessing.process import BaseProcess
from typing import TypeVar

import numpy as np
from scipy.stats import norm, qmc

from fixturecheck.arrays import Floats
from fixturecheck.errors import SetupError
from fixturecheck.study.model import (
    MOST_VARIANTS,
    Flip,
    ParameterValue,
    Study,
    StudyParameter,
    Take,
    Variant,
    VariantRow,
)

T = TypeVar("T")
R = TypeVar("R")
_SIGMAS = 6.0
"""How many standard deviations the whole width of a zone is."""
_DIGITS = 12
Chosen = tuple[ParameterValue, ...]
Evaluate = Callable[[Variant], VariantRow]
_OF_THE_RANGE = 1e-3
Spot = tuple[float, Chosen]
"""A value of a parameter as a number, and all that is set there."""


def work_through(
    things: Sequence[T],
    work: Callable[[T], R],
    *,
    pool: Callable[[int], Executor],
    at_once: int,
    done: Callable[[T, R], None],
    crashed: Callable[[T], R],
    first_alone: bool = False,
) -> None:
    """Do a piece of work for each thing, and hand on what it returns as soon as it is there.

    Parameters
    ----------
    things : sequence
        What there is to work on.
    work : callable
        What is done, in another process; it must be picklable.
    pool : callable
        Makes an executor with so many workers.
    at_once : int
        How many are done at once.
    done : callable
        Called here with each thing and what its work returned.
    crashed : callable
        Returns what counts as the answer for a thing whose work ended its process.
    first_alone : bool
        Whether the others wait for the first, which leaves something behind that all need.
    """
    waiting = list(things)
    while waiting:
        suspects = _together(waiting, work, pool, at_once, done, first_alone=first_alone)
        first_alone = False
        _alone(suspects, work, pool, done, crashed)


def _together(
    waiting: list[T],
    work: Callable[[T], R],
    pool: Callable[[int], Executor],
    at_once: int,
    done: Callable[[T, R], None],
    *,
    first_alone: bool,
) -> list[T]:
    """Work through a list until it is empty or a process dies; return what was then being worked out."""
    most = 1 if first_alone else at_once
    others = frozenset(active_children())
    with pool(at_once) as workers:
        running: dict[Future[R], T] = {}
        while waiting or running:
            while waiting and len(running) < most:
                thing = waiting.pop(0)
                try:
                    running[workers.submit(work, thing)] = thing
                # A pool that comes to know of a death while it starts a process closes what that one needs.
                except (BrokenExecutor, OSError, ValueError):
                    waiting.insert(0, thing)
                    _end_started_since(others)
                    return list(running.values())
            ready, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in ready:
                try:
                    answer = future.result()
                except BrokenExecutor:
                    _end_started_since(others)
                    return list(running.values())
                done(running.pop(future), answer)
            most = at_once
    return []


def _end_started_since(others: frozenset[BaseProcess]) -> None:
    """End every process that was started since others were.

    A pool of which a process died ends those that it knows of, and waits for all: one that it was just
    starting then has nobody to end it, and the pool waits for ever.
    """
    for one in active_children():
        if one not in others:
            one.kill()


class LastingWorker:
    """One process that is asked one thing after the other, and started again where it ended.

    Parameters
    ----------
    pool : callable
        Makes an executor with so many workers.
    """

    def __init__(self, pool: Callable[[int], Executor]) -> None:
        self._pool = pool
        self._worker: Executor | None = None
        self._others: frozenset[BaseProcess] = frozenset()

    def ask(self, work: Callable[[T], R], thing: T, crashed: Callable[[T], R]) -> R:
        """Return what a piece of work returns, or what counts as its answer where the process ended.

        Parameters
        ----------
        work : callable
            Called with the thing, in the process.
        thing : object
            What is asked about.
        crashed : callable
            Called with the thing, here, where the process ended.
        """
        if self._worker is None:
            self._others = frozenset(active_children())
            self._worker = self._pool(1)
        try:
            return self._worker.submit(work, thing).result()
        except BrokenExecutor:
            _end_started_since(self._others)
            self.close()
            return crashed(thing)

    def close(self) -> None:
        """End the process."""
        if self._worker is not None:
            self._worker.shutdown()
            self._worker = None


def _alone(
    things: Sequence[T],
    work: Callable[[T], R],
    pool: Callable[[int], Executor],
    done: Callable[[T, R], None],
    crashed: Callable[[T], R],
) -> None:
    for thing in things:
        others = frozenset(active_children())
        with pool(1) as worker:
            try:
                answer = worker.submit(work, thing).result()
            except BrokenExecutor:
                _end_started_since(others)
                answer = crashed(thing)
        done(thing, answer)


def variants_of(study: Study) -> tuple[Variant, ...]:
    """Return the variants of a study: the same for the same study, whatever was worked out before.

    Parameters
    ----------
    study : Study
        Its `take` says whether all or a sample.

    Returns
    -------
    tuple of Variant
        Set-up by set-up, each with the same choices.

    Raises
    ------
    SetupError
        There are too many.
    """
    rows = _all(study) if study.take is Take.ALL else _sampled(study)
    return tuple(_variant(setup, study.parameters, row) for setup in study.setups for row in rows)


def _variant(setup: str, parameters: Sequence[StudyParameter], row: Sequence[Chosen]) -> Variant:
    """Return the variant with one choice for each parameter."""
    pairs = list(zip(parameters, row, strict=True))
    overrides = {
        name: variant_text(value) for p, values in pairs for name, value in zip(p.sets, values, strict=True)
    }
    return Variant(setup=setup, values={p.name: values[0] for p, values in pairs}, overrides=overrides)


def variant_text(value: ParameterValue) -> str:
    """Return a value as `--set` takes it.

    Parameters
    ----------
    value : bool, int, float or str
        A value of a parameter.

    Returns
    -------
    str
    """
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.{_DIGITS}g}" if isinstance(value, float) else str(value)


def _all(study: Study) -> list[tuple[Chosen, ...]]:
    choices = [p.choices or _steps(p) for p in study.parameters]
    many = math.prod(len(c) for c in choices) * len(study.setups)
    if many > MOST_VARIANTS:
        raise SetupError(
            f"{study.name} has {many} variants; at most {MOST_VARIANTS} are worked out: take a sample"
        )
    return list(itertools.product(*choices))


def _steps(parameter: StudyParameter) -> tuple[Chosen, ...]:
    low, high = parameter.ends
    return tuple((float(f"{v:.{_DIGITS}g}"),) for v in np.linspace(low, high, parameter.steps))


def _sampled(study: Study) -> list[tuple[Chosen, ...]]:
    if not study.parameters:
        return [()]
    return [
        tuple(_at(p, float(u)) for p, u in zip(study.parameters, row, strict=True))
        for row in _unit_points(study)
    ]


def _unit_points(study: Study) -> Floats:
    """Return points (count, parameters) that fill the unit cube evenly; the same for the same seed."""
    width = len(study.parameters)
    generator = np.random.default_rng(study.seed)
    if study.take is Take.LATIN:
        return np.asarray(qmc.LatinHypercube(width, rng=generator).random(study.count))
    # A power of two keeps the sequence balanced; the first of them are taken.
    power = math.ceil(math.log2(study.count)) if study.count > 1 else 0
    return np.asarray(qmc.Sobol(width, rng=generator).random_base2(power)[: study.count])


def _at(parameter: StudyParameter, share: float) -> Chosen:
    """Return the value at a share of a parameter's choices, range or distribution."""
    if parameter.choices:
        return parameter.choices[min(int(share * len(parameter.choices)), len(parameter.choices) - 1)]
    if parameter.ends:
        low, high = parameter.ends
        return (float(f"{low + share * (high - low):.{_DIGITS}g}"),)
    nominal, width = parameter.nominal or 0.0, parameter.tolerance or 0.0
    # Cut off at the ends of the zone: a part beyond it is scrap.
    tail = float(norm.cdf(-_SIGMAS / 2))
    out = float(norm.ppf(tail + share * (1.0 - 2.0 * tail)))
    return (float(f"{nominal + out * width / _SIGMAS:.{_DIGITS}g}"),)


def flips_of(
    study: Study, base: VariantRow, sampled: Sequence[VariantRow], evaluate: Evaluate
) -> Iterator[Flip]:
    """Yield for each parameter of numbers how far it can go either way from a variant that passes.

    Within a range or a zone the flip is found by halving; of a list, the last value that passes.

    Parameters
    ----------
    study : Study
        Its parameters are gone through in their order.
    base : VariantRow
        The variant to start from; all other parameters stay as they are in it.
    sampled : sequence of VariantRow
        What is known: where the verdict turns twice, the flip nearest to the start is found.
    evaluate : callable
        Checks a variant.

    Yields
    ------
    Flip
    """
    for parameter in study.parameters:
        start = base.variant.values[parameter.name]
        if isinstance(start, bool | str):
            continue
        spots = _spots(parameter, base, sampled)
        below = [s for s in reversed(spots) if s[0] < start - _within(parameter)]
        above = [s for s in spots if s[0] > start + _within(parameter)]
        for upward, ahead in ((False, below), (True, above)):
            if ahead:
                yield _flip(study, base, parameter, upward, ahead, evaluate)


def _spots(parameter: StudyParameter, base: VariantRow, sampled: Sequence[VariantRow]) -> list[Spot]:
    """Return the values to look at in their order: those of a list, else those known and the two ends."""
    if parameter.choices:
        numbers = {row[0]: row for row in parameter.choices if not isinstance(row[0], bool | str)}
        # Values that go with one number, or that are words, have no order.
        ordered = len(numbers) == len(parameter.choices)
        return sorted((float(first), row) for first, row in numbers.items()) if ordered else []
    known = (row.variant.values[parameter.name] for row in sampled if _beside(row, base, parameter))
    values = sorted({*map(float, known), *_ends(parameter)})
    return [(value, (value,)) for value in values]


def _beside(row: VariantRow, base: VariantRow, parameter: StudyParameter) -> bool:
    """Tell whether a row differs from another in one parameter alone."""

    def others(one: VariantRow) -> dict[str, str]:
        return {key: value for key, value in one.variant.overrides.items() if key not in parameter.sets}

    return row.variant.setup == base.variant.setup and others(row) == others(base)


def _ends(parameter: StudyParameter) -> tuple[float, float]:
    """Return the ends of a range, or of a zone of tolerance."""
    if parameter.ends:
        return parameter.ends[0], parameter.ends[1]
    nominal, half = parameter.nominal or 0.0, (parameter.tolerance or 0.0) / 2
    return float(variant_text(nominal - half)), float(variant_text(nominal + half))


def _within(parameter: StudyParameter) -> float:
    if parameter.choices:
        return 0.0
    low, high = _ends(parameter)
    return parameter.flip_within or _OF_THE_RANGE * (high - low)


def _flip(
    study: Study,
    base: VariantRow,
    parameter: StudyParameter,
    upward: bool,
    ahead: Sequence[Spot],
    evaluate: Evaluate,
) -> Flip:
    """Go on to the first value that does not pass, and halve the way to it until the two are close."""

    def at(chosen: Chosen) -> VariantRow:
        values = {**base.variant.values, parameter.name: chosen[0]}
        texts = dict(zip(parameter.sets, map(variant_text, chosen), strict=True))
        return evaluate(replace(base.variant, values=values, overrides={**base.variant.overrides, **texts}))

    good, last, bad = float(base.variant.values[parameter.name]), base, None
    passes_as = base.verdict
    for value, chosen in ahead:
        last = at(chosen)
        if not study.passes(last.verdict):
            bad = value
            break
        good, passes_as = value, last.verdict
    found = Flip(
        setup=base.variant.setup,
        parameter=parameter.name,
        upward=upward,
        passes_at=good,
        fails_at=None,
        verdict=last.verdict,
        passes_as=passes_as,
    )
    if bad is None:
        return found
    while not parameter.choices and abs(bad - good) > _within(parameter):
        # Rounded as it is set, so that what is reported is what was checked.
        middle = float(variant_text(0.5 * (good + bad)))
        row = at((middle,))
        if study.passes(row.verdict):
            good, passes_as = middle, row.verdict
        else:
            bad, last = middle, row
    return replace(
        found,
        passes_at=good,
        fails_at=bad,
        verdict=last.verdict,
        passes_as=passes_as,
        driver=last.driver,
        says=last.says,
        operation=last.operation,
    )
