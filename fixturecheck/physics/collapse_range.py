"""How sure is the factor: its range over what is not known well, and which input drives it.

Each input is moved to its low and its high end with the others in the middle (a tornado); the ends that
lower the factor are then put together, and so are the ends that raise it. Where the middle lies beyond the
ceiling no input would show there, so the others stay at a corner that is known to be weak. More friction or a
harder clamp does not always hold better, so a few drawn combinations are tried as well and may widen the
range.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.physics.collapse import CEILING, Collapse, collapse
from fixturecheck.physics.equilibrium import Holding
from fixturecheck.physics.ranges import Range

Build = Callable[[Mapping[str, float]], Holding]


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """What one input does to the factor, the others in the middle, or weak where that is beyond the ceiling.

    Parameters
    ----------
    name : str
        The input.
    input_range : Range
        Its low and high end, in its own unit.
    factor_at_low, factor_at_high : float
        Factor with it at either end.
    """

    name: str
    input_range: Range
    factor_at_low: float
    factor_at_high: float

    @property
    def size(self) -> float:
        """How far it moves the factor."""
        return abs(self.factor_at_high - self.factor_at_low)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FactorRange:
    """The factor over the ranges of all inputs.

    Parameters
    ----------
    factor : Range
        Least and greatest factor found; the low end drives the verdict.
    middle : Collapse
        With every input in the middle.
    worst : Collapse
        Where the least factor was found.
    worst_inputs : mapping of str to float
        The inputs there.
    swings : tuple of Swing
        Largest first.
    runs : int
        Analyses made.
    """

    factor: Range
    middle: Collapse
    worst: Collapse
    worst_inputs: Mapping[str, float]
    swings: tuple[Swing, ...]
    runs: int

    @property
    def driver(self) -> str | None:
        """Name of the input that moves the factor most; None where none does."""
        return self.swings[0].name if self.swings and self.swings[0].size > 0.0 else None


def factor_range(
    build: Build,
    inputs: Mapping[str, Range],
    *,
    known: tuple[Collapse, Mapping[str, float]] | None = None,
    ceiling: float = CEILING,
    draws: int = 4,
    seed: int = 1,
) -> FactorRange:
    """Return the factor over ranges of inputs.

    Parameters
    ----------
    build : callable
        Makes the holding from a value for each input.
    inputs : mapping of str to Range
        What is not known well: friction, pull, clamp force, cutting force.
    known : tuple of (Collapse, mapping of str to float), or None
        A corner that is expected to be weak and what was found there; it counts as tried.
    ceiling : float
        Factor beyond which nobody needs to know more.
    draws : int
        Combinations drawn besides the tornado and its two ends.
    seed : int
        Seed of the draws, so that the same set-up gives the same range.

    Returns
    -------
    FactorRange
        Range, worst case and tornado.

    Raises
    ------
    SetupError
        A holding cannot be computed with.
    NotComputedError
        An analysis gave no answer.
    """
    middle_inputs = {name: span.middle for name, span in inputs.items()}
    middle = collapse(build(middle_inputs), ceiling=ceiling)
    tried: list[tuple[Collapse, Mapping[str, float]]] = [(middle, middle_inputs)]
    around = known[1] if known and middle.at_least else middle_inputs

    def low_end(values: Mapping[str, float]) -> float:
        found = collapse(build(values), ceiling=ceiling)
        tried.append((found, values))
        return found.factor.low

    swings = []
    for name, span in inputs.items():
        if span.low < span.high:
            low, high = (low_end({**around, name: end}) for end in span.ends)
            swings.append(Swing(name=name, input_range=span, factor_at_low=low, factor_at_high=high))
    for values in _together(swings, around) + _drawn(inputs, draws if len(swings) > 1 else 0, seed):
        low_end(values)
    tried += [known] if known else []
    worst, worst_inputs = min(tried, key=lambda pair: pair[0].factor.low)
    return FactorRange(
        factor=Range(low=worst.factor.low, high=max(found.factor.high for found, _ in tried)),
        middle=middle,
        worst=worst,
        worst_inputs=worst_inputs,
        swings=tuple(sorted(swings, key=lambda s: (-s.size, s.name))),
        runs=len(tried),
    )


def _together(swings: list[Swing], around: Mapping[str, float]) -> list[dict[str, float]]:
    """Every input at the end that lowers the factor, then at the end that raises it."""
    if len(swings) < 2:
        return []
    worst, best = dict(around), dict(around)
    for swing in swings:
        low, high = swing.input_range.low, swing.input_range.high
        rises = swing.factor_at_high >= swing.factor_at_low
        worst[swing.name], best[swing.name] = (low, high) if rises else (high, low)
    return [worst, best]


def _drawn(inputs: Mapping[str, Range], draws: int, seed: int) -> list[dict[str, float]]:
    """Combinations of ends, drawn with a fixed seed."""
    picks = np.random.default_rng(seed).integers(0, 2, size=(draws, len(inputs)))
    return [
        {name: (span.low, span.high)[pick] for (name, span), pick in zip(inputs.items(), row, strict=True)}
        for row in picks
    ]


def without(holding: Holding, name: str) -> Holding:
    """Return the holding without a body and what it does, or without the contacts of that label.

    Parameters
    ----------
    holding : Holding
        The set-up as numbers.
    name : str
        A body, or the label of contacts.

    Returns
    -------
    Holding
        What is left.
    """
    return Holding(
        bodies=tuple(b for b in holding.bodies if b.name != name),
        contacts=tuple(c for c in holding.contacts if name not in {c.a, c.b, c.label}),
        held=tuple(load for load in holding.held if name not in {load.body, load.by}),
        cutting=tuple(load for load in holding.cutting if name not in {load.body, load.by}),
    )


def filmed(holding: Holding, film_mu: float) -> Holding:
    """Return the holding with a film on every contact; one that is slicker already stays as it is.

    Parameters
    ----------
    holding : Holding
        The set-up as numbers.
    film_mu : float
        Friction of the film.

    Returns
    -------
    Holding
        The same with the lesser friction at each contact.
    """
    return replace(holding, contacts=tuple(replace(c, mu=min(c.mu, film_mu)) for c in holding.contacts))
