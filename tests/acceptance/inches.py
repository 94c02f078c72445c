"""Reads sentences of a metric set-up and of its inch twin side by side, with its own table of units.

1 in = 25.4 mm and 1 lbf = 4.4482216152605 N exactly: NIST SP 811, appendix B.8.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass

from fixturecheck.result.shapes import StatedFact

_IN = 25.4
_LBF = 4.4482216152605

TWINS = {
    "mm": ("in", _IN),
    "um": ("in", _IN * 1000.0),
    "µm": ("in", _IN * 1000.0),
    "mm2": ("in2", _IN * _IN),
    "mm²": ("in²", _IN * _IN),
    "mm3": ("in3", _IN * _IN * _IN),
    "mm³": ("in³", _IN * _IN * _IN),
    "m/s": ("sfpm", 12.0 * _IN / 1000.0 / 60.0),
    "m/min": ("ft/min", 12.0 * _IN / 1000.0),
    "N": ("lbf", _LBF),
    "N m": ("lbf in", _LBF * _IN / 1000.0),
    "N/cm2": ("psi", _LBF / (_IN / 10.0) ** 2),
    "N/cm²": ("psi", _LBF / (_IN / 10.0) ** 2),
}
"""Unit of a metric sentence, that of its twin, and how many of the first make one of the second."""

METRIC_WORD = re.compile(
    r"(?<![\w./-])(mm[23²³]?|[uµ]m|cm[2²]?|m/s|m/min|mm/min|k?N|k?N m|N/cm[2²]|N/mm|[MG]Pa|kg|hundredths)"
    r"(?![\w/²³])"
)
"""A unit that no sentence of an inch set-up has; the letters stand alone, as no name of a face does."""

_NUMBER = re.compile(r"(?<![A-Za-z_\d.])[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?![\w]*_)")
_UNIT = re.compile(
    r"(?: (?:to|and) [-+.\d]+)?[\s\u202f]+(N m|N/cm[2²]|m/s|m/min|[uµ]m|mm[23²³]?|N)(?![\w/²³])"
)

_UNIT_AFTER = re.compile(r"(?: (?:to|and) [-+.\d]+)?[\s\u202f]+")
_ON_AXIS = re.compile(r"\b[XYZ] $")
"""A number on an axis is a place, in mm or inches, whether its unit is said or not."""

_RATE = re.compile(r" (mm|[uµ]m) (?:\w+ )?for each \1")
"""So much of a unit for each of the same one, which is the same number in any; in inches of a thousandth."""


def sentences(value: object, where: str = "") -> Iterator[tuple[str, str]]:
    """Yield every string in a nest of dataclasses and tuples, with the path to it; geometry is passed by."""
    if isinstance(value, str):
        yield where, value
    elif isinstance(value, (tuple, list)):
        for i, item in enumerate(value):
            yield from sentences(item, f"{where}[{i}]")
    elif isinstance(value, StatedFact) and value.key == "units":
        return
    elif is_dataclass(value):
        for field in fields(value):
            if field.name not in {"unit", "units", "geometry", "setup", "sources", "poles"}:
                yield from sentences(getattr(value, field.name), f"{where}.{field.name}")


def differences(metric: str, inch: str) -> list[str]:
    """Return where an inch sentence does not say what the metric one says; empty where it does.

    Numbers are read in order. One with a metric unit behind it, or behind the other end of its range, must be
    the same quantity in the inch unit, within what is rounded off either; one on an axis is a length;
    one whose unit is said elsewhere in the sentence may be of any unit that the sentence has, or of none;
    every other word must be the same.
    """
    theirs, ours = list(_NUMBER.finditer(metric)), list(_NUMBER.finditer(inch))
    if len(theirs) != len(ours):
        return [f"{len(theirs)} numbers became {len(ours)}: {metric!r} | {inch!r}"]
    there = {u.group(1) for u in _UNIT.finditer(metric)}
    wrong = []
    for one, two in zip(theirs, ours, strict=True):
        unit = None if _RATE.match(metric, one.end()) else _UNIT.match(metric, one.end())
        sizes = [TWINS[unit.group(1)][1]] if unit else [1.0, *(TWINS[u][1] for u in sorted(there))]
        if _ON_AXIS.search(metric, 0, one.start()):
            sizes = [_IN]
        named = _UNIT_AFTER.match(inch, two.end())
        if unit and not (named and inch.startswith(TWINS[unit.group(1)][0], named.end())):
            wrong.append(f"{one.group()} {unit.group(1)} became {inch[two.start() : two.end() + 8]!r}")
        if not any(_same(one.group(), two.group(), size) for size in sizes):
            wrong.append(f"{one.group()} became {two.group()}: {metric!r} | {inch!r}")
    if _words(metric) != _words(inch):
        wrong.append(f"other words: {metric!r} | {inch!r}")
    return wrong


def _same(metric: str, inch: str, size: float) -> bool:
    slack = _half_digit(metric) + 2.0 * _half_digit(inch) * size
    return abs(float(metric) - float(inch) * size) <= slack * (1.0 + 1e-9)


def _half_digit(number: str) -> float:
    """Return half of the last digit that is written; of a whole number half of one."""
    mantissa, _, power = number.lower().partition("e")
    return 0.5 * 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))


def _words(text: str) -> str:
    """Return a sentence without its numbers and units."""
    text = _NUMBER.sub("#", text)
    names = {u for pair in TWINS.items() for u in (pair[0], pair[1][0])} | {"thousandths", "thousandth"}
    names = sorted(names | {"tenths of a thousandth", "hundredths"}, key=len, reverse=True)
    return re.sub(rf"(?<![\w])({'|'.join(map(re.escape, names))})(?![\w/²³])", "~", text)
