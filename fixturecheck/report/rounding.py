"""How a number is rounded for result.json, so that the same input gives the same bytes."""

from __future__ import annotations

import math

from fixturecheck.errors import NotComputedError

_DIGITS = 9
_DECIMALS = {"mm": 6, "um": 3, "mm2": 4, "mm3": 6, "deg": 6, "m/s": 6, "share": 6}


def rounded(value: float, unit: str, where: str = "the result") -> float:
    """Round a number so that the kernel's last digits do not show; never returns -0.0.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
        One of the units of a finding; others are rounded to six decimals.
    where : str
        What the number belongs to, for the message.

    Raises
    ------
    NotComputedError
        The value is infinite or not a number.
    """
    if not math.isfinite(value):
        message = f"a number in {where} came out as {value}"
        raise NotComputedError(message)
    if value == 0.0:
        return 0.0
    by_digits = _DIGITS - 1 - math.floor(math.log10(abs(value)))
    return round(float(value), min(_DECIMALS.get(unit, 6), by_digits)) + 0.0
