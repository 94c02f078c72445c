"""The variants of a study: all, a sample, or those that find how far a parameter goes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

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

_SIGMAS = 6.0
"""How many standard deviations the whole width of a zone is."""
_DIGITS = 12

Chosen = tuple[ParameterValue, ...]


def variants_of(study: Study) -> tuple[Variant, ...]:
    """Return the variants of a study: the same for the same study, whatever was worked out before.

    Raises
    ------
    SetupError
        There are too many.
    """
    rows = _all(study) if study.take is Take.ALL else _sampled(study)
    return tuple(variant(setup, study.parameters, row) for setup in study.setups for row in rows)


def variant(setup: str, parameters: Sequence[StudyParameter], row: Sequence[Chosen]) -> Variant:
    """Return the variant with one choice for each parameter."""
    pairs = list(zip(parameters, row, strict=True))
    overrides = {
        name: variant_text(value) for p, values in pairs for name, value in zip(p.sets, values, strict=True)
    }
    return Variant(setup=setup, values={p.name: values[0] for p, values in pairs}, overrides=overrides)


def variant_text(value: ParameterValue) -> str:
    """Return a value as `--set` takes it."""
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.{_DIGITS}g}" if isinstance(value, float) else str(value)


def _all(study: Study) -> list[tuple[Chosen, ...]]:
    choices = [p.choices or _steps(p) for p in study.parameters]
    many = math.prod(len(c) for c in choices) * len(study.setups)
    if many > MOST_VARIANTS:
        message = f"{study.name} has {many} variants; at most {MOST_VARIANTS} are worked out: take a sample"
        raise SetupError(message)
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


Evaluate = Callable[[Variant], VariantRow]

_OF_THE_RANGE = 1e-3


def flips_of(study: Study, base: VariantRow, evaluate: Evaluate) -> Iterator[Flip]:
    """Yield for each parameter with a range how far it can go either way from a variant that passes.

    Parameters
    ----------
    base : VariantRow
        The variant to start from; all other parameters stay as they are in it.
    evaluate : callable
        Checks a variant.
    """
    for parameter in study.parameters:
        if not parameter.ends:
            continue
        start = base.variant.values[parameter.name]
        for end in parameter.ends:
            if isinstance(start, int | float) and abs(end - start) > _within(parameter):
                yield _flip(study, base, parameter, (float(start), end), evaluate)


def _within(parameter: StudyParameter) -> float:
    low, high = parameter.ends
    return parameter.flip_within or _OF_THE_RANGE * (high - low)


def _flip(
    study: Study,
    base: VariantRow,
    parameter: StudyParameter,
    span: tuple[float, float],
    evaluate: Evaluate,
) -> Flip:
    """Halve the way between a value that passes and one that does not, until the two are close."""

    def at(value: float) -> VariantRow:
        values = {**base.variant.values, parameter.name: value}
        overrides = {**base.variant.overrides, parameter.sets[0]: variant_text(value)}
        return evaluate(replace(base.variant, values=values, overrides=overrides))

    good, bad = span
    last = at(bad)
    found = Flip(
        setup=base.variant.setup,
        parameter=parameter.name,
        upward=bad > good,
        passes_at=bad,
        fails_at=None,
        verdict=last.verdict,
    )
    if study.passes(last.verdict):
        return found
    while abs(bad - good) > _within(parameter):
        # Rounded as it is set, so that what is reported is what was checked.
        middle = float(variant_text(0.5 * (good + bad)))
        row = at(middle)
        if study.passes(row.verdict):
            good = middle
        else:
            bad, last = middle, row
    return replace(
        found, passes_at=good, fails_at=bad, verdict=last.verdict, driver=last.driver, says=last.says
    )
