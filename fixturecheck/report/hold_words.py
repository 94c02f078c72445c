"""How the figures of a hold are written: three digits, ranges with one unit, factors with their bounds."""

from __future__ import annotations

from fixturecheck.hold_result import FrictionUsed, HoldFound, HoldInput, PartHeld
from fixturecheck.report.quantity import sized

_DIGITS = 3
_LEAST = 5e-4

_ENDS = {
    "finish and material": ("worst", "best"),
    "error of the pull": ("least", "most that it can be"),
    "clamp force": ("weakest", "strongest"),
    "size of the cutting force": ("sharp", "worn"),
}
"""Inputs that run between two named ends and not over a quantity."""


def digits(value: float) -> str:
    """Return a number to three digits, never in powers of ten; less than half a thousandth is zero."""
    # What is smaller than any scale in a shop shows is nothing.
    return "0" if abs(_rounded(value)) < _LEAST else _plain(_rounded(value))


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def _plain(rounded: float) -> str:
    return f"{rounded:.0f}" if abs(rounded) >= 1000 else f"{rounded:.9f}".rstrip("0").rstrip(".")


def _sized(value: float, unit: str, units: str) -> tuple[str, str]:
    """Return a number and its unit in the report's units; what is nothing in mm or N is nothing in any."""
    number, name = sized(value, unit, units)
    return ("0" if digits(value) == "0" else _plain(_rounded(number))), name


def amount(value: float, unit: str, units: str) -> str:
    """Return one number with its unit, in the report's units."""
    return "\u202f".join(_sized(value, unit, units)).strip()


def span(ends: tuple[float, float], unit: str, units: str) -> str:
    """Return a range with its unit said once; one number where both ends are the same."""
    (low, name), (high, _) = (_sized(v, unit, units) for v in ends)
    text = low if low == high else f"{low} to {high}"
    return f"{text}\u202f{name}".strip()


def times(factor: float, hold: HoldFound) -> str:
    """Return a factor; one at the end of the search is a bound."""
    end = hold.ceiling
    return f"at least {digits(end)}" if factor >= end * (1.0 - 1e-9) else digits(factor)


def factor_words(part: PartHeld, hold: HoldFound) -> str:
    """Return the range of a part's factor."""
    low, high = digits(part.factor_low), times(part.factor_high, hold)
    if part.at_least:
        return f"at least {low}"
    return low if low == high else f"{low} to {high}"


def input_span(found: HoldInput, units: str) -> str:
    """Return between what an input was moved."""
    ends = _ENDS.get(found.name)
    return " to ".join(ends) if ends else span(found.span, found.unit, units)


def friction_words(used: FrictionUsed) -> str:
    """Say what friction the factors are worked out with, and whether it is that of a wet contact."""
    mu, dry = span(used.mu, "", "mm"), span(used.dry_mu, "", "mm")
    if not used.coolant:
        said = f"friction {mu}, dry as stated"
    else:
        said = f"friction {mu} under a film of coolant" + (f" ({dry} dry)" if dry != mu else "")
    lower = [f"{span(own, '', 'mm')} on {name}" for name, own in sorted(used.by_material.items())]
    return f"{said}, but {' and '.join(lower)}" if lower else said


def kept_lines(hold: HoldFound) -> list[str]:
    """Return what was left out since it stands on nothing, and what was never taken away, and why."""
    lines = []
    if hold.left_out:
        lines.append(f"left out of every figure, since it stands on nothing: {', '.join(hold.left_out)}")
    if hold.kept:
        there = "; ".join(f"{body} ({reason})" for body, reason in hold.kept)
        lines.append(f"taken to be there throughout: {there}")
    return lines


_OUTCOMES = {
    "digs in": "digs into the wheel",
    "stays": "stays in the wheel's cut",
    "falls away": "falls away from the wheel",
}

_OF_CUTTER = {
    "digs in": "is taken into the cutter",
    "stopped": "moves into the cutter and is stopped",
    "stays": "passes the cutter",
    "falls away": "moves away from the cutter",
}


def outcome_words(part: PartHeld) -> str:
    """Say what the freed body does to the wheel or the cutter."""
    if any(part.milling_n):
        if part.past:
            return f"{part.past} into the cutter"
        return _OF_CUTTER.get(part.outcome, "whether it goes into the cutter is not known")
    return _OUTCOMES.get(part.outcome, "whether it digs in is not known")


def tools_of(hold: HoldFound) -> str:
    """Return what cuts the parts: `wheel`, `cutter`, or both."""
    mills = [any(p.milling_n) for p in hold.parts]
    return "wheel or cutter" if any(mills) and not all(mills) else "cutter" if any(mills) else "wheel"


def how(says: str) -> str:
    """Return how something lets go, without the factor that stands beside it."""
    _, found, rest = says.partition("load: ")
    return rest if found else says


def sentence(text: str, names: frozenset[str] = frozenset()) -> str:
    """Return words as a sentence; a name at its start stays as it is written."""
    text = text.strip()
    if not text:
        return ""
    first = text.partition(" ")[0].strip(",:;")
    start = text if first in names or not first.isalpha() else text[:1].upper() + text[1:]
    return start if start.endswith((".", "!", "?")) else f"{start}."
