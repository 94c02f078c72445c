"""How a number is held against its limit, which makes a finding with its verdict and margin."""

from __future__ import annotations

import math
from typing import Required, TypedDict, Unpack

from fixturecheck.errors import NotComputedError
from fixturecheck.result import Finding, Kind, NamedShape, Vector, Verdict


class FindingText(TypedDict, total=False):
    """What a finding tells beside its number and verdict; each field is that of `Finding`."""

    check: Required[str]
    subject: Required[str]
    kind: Required[Kind]
    says: Required[str]
    remedy: str | None
    source: str
    shapes: tuple[NamedShape, ...]
    location_mm: Vector | None
    direction: Vector | None
    about: tuple[str, ...]
    cut: str


def judge(
    value: float | None,
    *,
    unit: str = "",
    at_least: float | None = None,
    at_most: float | None = None,
    within: float | None = None,
    rounding: float = 0.0,
    short: Verdict = Verdict.NO_GO,
    verdict: Verdict | None = None,
    **told: Unpack[FindingText],
) -> Finding:
    """Hold a number against its limit, and return the finding with verdict, limit and margin.

    Parameters
    ----------
    value : float or None
        The number found, in `unit`; None where it is not known, which never passes.
    at_least, at_most, within : float or None
        The limit, one of the three: from below, from above, or on the size of a number that may have either
        sign. None of them where nothing limits it; `verdict` then has to be given.
    rounding : float
        How far rounding alone may put the number beyond the limit.
    short : Verdict
        What it is where the limit is not met.
    verdict : Verdict or None
        What it is whether or not the limit is met, where more than the number decides.
    **told
        What the finding tells; a remedy is left out where it is go.

    Raises
    ------
    NotComputedError
        The number or its limit is infinite or not a number.
    ValueError
        More than one limit is given, or neither a limit nor a verdict.
    """
    margin = margin_of(value, at_least=at_least, at_most=at_most, within=within)
    limit = next((v for v in (at_least, at_most, within) if v is not None), None)
    if verdict is None and limit is None:
        message = f"nothing says what {told['check']} of {told['subject']} is held against"
        raise ValueError(message)
    if verdict is None:
        verdict = short if margin is not None and margin < -rounding else Verdict.GO
    if verdict is Verdict.GO:
        told["remedy"] = None
        if margin is None and limit is not None:
            verdict = Verdict.UNKNOWN
    return Finding(verdict=verdict, value=value, unit=unit, limit=limit, margin=margin, **told)


def meets(
    value: float | None,
    *,
    at_least: float | None = None,
    at_most: float | None = None,
    within: float | None = None,
    rounding: float = 0.0,
) -> bool:
    """Tell whether a number meets its limit, as `judge` does; one that is not known does not."""
    margin = margin_of(value, at_least=at_least, at_most=at_most, within=within)
    return margin is not None and margin >= -rounding


def margin_of(
    value: float | None,
    *,
    at_least: float | None = None,
    at_most: float | None = None,
    within: float | None = None,
) -> float | None:
    """Return how far a number is on the good side of its limit; None where either is not known.

    Raises
    ------
    NotComputedError
        The number or its limit is infinite or not a number.
    ValueError
        More than one limit is given.
    """
    if sum(limit is not None for limit in (at_least, at_most, within)) > 1:
        message = f"{value} is held against more than one limit"
        raise ValueError(message)
    if value is None:
        return None
    for number in (value, at_least, at_most, within):
        if number is not None and not math.isfinite(number):
            message = f"a number or its limit came out as {number}"
            raise NotComputedError(message)
    if at_least is not None:
        return value - at_least
    if at_most is not None:
        return at_most - value
    return None if within is None else within - abs(value)
