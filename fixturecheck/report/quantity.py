"""How a number is written for people: few digits, its unit, and inches where the set-up asks for them."""

from __future__ import annotations

import math
from collections.abc import Iterable

from fixturecheck.units import IN_INCHES

_INCH_DECIMALS = {"mm": 4, "um": 5, "mm2": 4, "mm3": 6, "m/s": 0, "m/min": 1, "N": 1, "N m": 1, "N/cm2": 1}
_IN_INCHES = {
    **{
        unit: (IN_INCHES[unit][0].replace("in2", "in²").replace("in3", "in³"), IN_INCHES[unit][1], decimals)
        for unit, decimals in _INCH_DECIMALS.items()
    },
    "um/um": ("in/in", 1.0, 4),
}
_METRIC = {
    "mm": ("mm", 1.0, 3),
    "um": ("µm", 1.0, 1),
    "mm2": ("mm²", 1.0, 2),
    "mm3": ("mm³", 1.0, 3),
    "m/s": ("m/s", 1.0, 1),
    "N": ("N", 1.0, 1),
    "N/cm2": ("N/cm²", 1.0, 1),
}
_ANYWHERE = {"deg": ("°", 1.0, 3), "share": ("%", 0.01, 1), "x load": ("x load", 1.0, 2)}


_IN_PICTURES = {"N/cm²": "N per sq cm", "mm²": "sq mm", "mm³": "cu mm", "in²": "sq in", "in³": "cu in"}


def shown_plain(value: float, unit: str, units: str = "mm") -> str:
    """Return a number as `shown` does, in letters that the pictures' built-in font has."""
    if unit == "um" and units != "inch":
        value, unit = value * 1e-3, "mm"
    return _plain(shown(value, unit, units).replace("\u202f", " "))


def plain_name(unit: str, units: str) -> str:
    """Return the name of a unit in letters that the pictures' built-in font has."""
    return _plain(_row(unit, units)[0])


def _plain(text: str) -> str:
    for sign, word in _IN_PICTURES.items():
        text = text.replace(sign, word)
    return text


def sized(value: float, unit: str, units: str = "mm") -> tuple[float, str]:
    """Return a number in the unit that a report in `units` uses, and that unit's name."""
    name, size, _ = _row(unit, units)
    return value / size, name


def _row(unit: str, units: str) -> tuple[str, float, int]:
    table = {**(_IN_INCHES if units == "inch" else _METRIC), **_ANYWHERE}
    return table.get(unit, (unit, 1.0, 4))


def shown_span(values: Iterable[float], unit: str, units: str = "mm") -> str:
    """Return one number where all read the same, else the least and the greatest, their unit said once."""
    ranked = sorted(values)
    ends = [shown(v, unit, units) for v in (ranked[0], ranked[-1])]
    if ends[0] == ends[1]:
        return ends[0]
    name = _row(unit, units)[0]
    return f"{ends[0].removesuffix(name).rstrip()} to {ends[1]}"


def shown(value: float | None, unit: str, units: str = "mm") -> str:
    """Return a number with its unit, for a report in `units` (`mm` or `inch`).

    Small numbers keep two significant digits rather than vanish; a missing one is a dash.
    """
    if value is None:
        return "\u2013"
    name, size, decimals = _row(unit, units)
    number = value / size
    if number and abs(number) < 10.0**-decimals:
        decimals = 1 - math.floor(math.log10(abs(number)))
    if unit == "x load":
        # A factor has three digits at most, and none beyond a hundredth.
        decimals = min(2, max(0, 2 - math.floor(math.log10(max(abs(number), 1.0)))))
    text = f"{number:.{min(decimals, 9)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    text = "0" if text in {"-0", ""} else text
    joint = "" if name == "°" else "\u202f"
    return f"{text}{joint}{name}".strip()
