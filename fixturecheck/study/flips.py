"""How far a parameter can go before the verdict flips: bisection, with a check on either side."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from fixturecheck.study.model import Flip, Study, StudyParameter, Variant, VariantRow
from fixturecheck.study.sample import variant_text

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
