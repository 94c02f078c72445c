"""What a number is in another unit; the one edge where inches become millimetres and back."""

from __future__ import annotations

from functools import cache
from typing import Any

_PINT = {
    "mm": "mm",
    "um": "micrometer",
    "in": "inch",
    "uin": "microinch",
    "mm2": "mm**2",
    "in2": "inch**2",
    "mm3": "mm**3",
    "in3": "inch**3",
    "m/min": "meter/minute",
    "m/s": "meter/second",
    "ft/min": "foot/minute",
}

_INCH_FOR = {"mm": "in", "um": "uin", "mm2": "in2", "mm3": "in3", "m/min": "ft/min", "m/s": "ft/min"}

INCH_SUFFIX = {"_mm": "_in", "_um": "_uin", "_m_min": "_ft_min", "_m_s": "_ft_min"}
"""End of a key in metric units, and the end that states the same quantity in inch units."""

_UNIT_OF_SUFFIX = {"_mm": "mm", "_um": "um", "_m_min": "m/min", "_m_s": "m/s"}

_DIGITS = 14
"""Digits kept by a conversion: enough for any shop, few enough that 0.008 in is 0.2032 mm and no more."""

UNITS = ("mm", "inch")
"""What a set-up may be stated and shown in."""


def convert(value: float, *, unit: str, to: str) -> float:
    """Convert a number between two units of one kind.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    unit, to : str
        mm, um, in, uin, mm2, in2, mm3, in3, m/min, m/s or ft/min.

    Returns
    -------
    float
        The number in `to`, rounded to 14 digits; unchanged when the units are the same.

    References
    ----------
    .. [1] 1 in = 25.4 mm exactly (ISO 80000-3; NIST SP 811, B.8).
    """
    if unit == to:
        return value
    converted = _registry().Quantity(value, _PINT[unit]).to(_PINT[to]).magnitude
    return float(f"{converted:.{_DIGITS}g}")


def suffix_of(key: str) -> str | None:
    """Return the metric end of a key that has a counterpart in inch units, or None."""
    return next((s for s in INCH_SUFFIX if key.endswith(s)), None)


def inch_key(key: str) -> str | None:
    """Return the key that states the same quantity in inch units: `stock_in` for `stock_mm`."""
    suffix = suffix_of(key)
    return None if suffix is None else key.removesuffix(suffix) + INCH_SUFFIX[suffix]


def from_inch_key(value: float, *, key: str) -> float:
    """Convert a number stated under the inch key into the unit of the metric `key`."""
    suffix = suffix_of(key)
    if suffix is None:
        return value
    return convert(value, unit=_symbol(INCH_SUFFIX[suffix]), to=_UNIT_OF_SUFFIX[suffix])


def shown(value: float, *, unit: str, units: str) -> tuple[float, str]:
    """Return a result's number and unit as the set-up wants to see them.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    unit : str
        Unit of the number as results carry it; units without an inch counterpart are kept.
    units : str
        `mm` or `inch`, from the set-up.
    """
    if units != "inch" or unit not in _INCH_FOR:
        return value, unit
    to = _INCH_FOR[unit]
    return convert(value, unit=unit, to=to), to


def _symbol(suffix: str) -> str:
    """Return the unit that a key's end names: `_ft_min` is ft/min."""
    return suffix.removeprefix("_").replace("_", "/")


@cache
def _registry() -> Any:
    """Make pint's registry on first use; a set-up in millimetres never pays for it."""
    from pint import UnitRegistry  # noqa: PLC0415 - loads in 0.3 s and only inch set-ups need it

    return UnitRegistry()
