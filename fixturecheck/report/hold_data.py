"""How the hold of the parts becomes a part of result.json."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any

from fixturecheck.errors import NotComputedError
from fixturecheck.hold_result import HoldFound

_DIGITS = 3
"""What a field solution on a mesh and ranges of friction are good for."""

_DRAWN = {"maps", "section"}
"""Thousands of points that only pictures need; what they add up to is in `faces`."""


def hold_dict(hold: HoldFound | None) -> dict[str, Any] | None:
    """Return the hold as plain values, to three digits; None where it was not asked.

    Raises
    ------
    NotComputedError
        A number is infinite or not a number.
    """
    if hold is None:
        return None
    return {f.name: _value(getattr(hold, f.name)) for f in fields(hold) if f.name not in _DRAWN}


def _value(value: Any) -> Any:
    if isinstance(value, float):
        return _rounded(value)
    if isinstance(value, tuple):
        return [_value(v) for v in value]
    if is_dataclass(value):
        return {f.name: _value(getattr(value, f.name)) for f in fields(value)}
    return value


def _rounded(value: float) -> float:
    if not math.isfinite(value):
        message = f"a number of the hold came out as {value}"
        raise NotComputedError(message)
    # What is nothing but rounding is shown as nothing.
    return float(f"{value:.{_DIGITS}g}") if abs(value) > 1e-6 else 0.0
