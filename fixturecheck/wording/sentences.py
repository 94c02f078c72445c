"""How numbers and sentences are written for people."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping

from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.units import Writing, in_units, missed_text, signed

SIGNS: Mapping[Verdict, str] = {
    Verdict.GO: "\u2713",
    Verdict.CAUTION: "\u25b2",
    Verdict.NO_GO: "\u2715",
    Verdict.UNKNOWN: "?",
}
"""A verdict is always its word and its sign; colour only helps."""


def verdict_word(verdict: Verdict) -> str:
    """Return a verdict with its sign: `✕ NO-GO`."""
    return f"{SIGNS[verdict]} {str(verdict).upper()}"


def verdict_words(finding: Finding) -> str:
    """Return a finding's verdict with its sign; where it was overruled, its check's own first."""
    if finding.overruled is None:
        return verdict_word(finding.verdict)
    return f"{verdict_word(finding.overruled)}, counted as {str(finding.verdict).upper()}"


def plural(count: int, noun: str) -> str:
    """Return a count with its noun: `1 answer`, `3 answers`."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def first_up(text: str) -> str:
    """Return words with their first letter as a capital, whatever they begin with."""
    return text[:1].upper() + text[1:]


def wide_spaces(text: str) -> str:
    """Return words with plain spaces before units, as a terminal or a log shows them."""
    return text.replace("\u202f", " ")


def capitalised(text: str, names: Collection[str] = ()) -> str:
    """Return words with a capital first letter; a name at the start stays as it is written."""
    first, *_ = text.replace(".", " ").split(maxsplit=1) or [""]
    word = first.strip(",:;")
    return text if word in names or not word.isalpha() else text[:1].upper() + text[1:]


def sentence(text: str, names: Collection[str] = ()) -> str:
    """Return words as a sentence with a full stop; a name at the start stays as it is written."""
    text = text.strip()
    if not text:
        return ""
    start = capitalised(text, names)
    return start if start.endswith((".", "!", "?")) else f"{start}."


_IN_PICTURES = {
    "N/cm²": "N per sq cm",
    "mm²": "sq mm",
    "mm³": "cu mm",
    "in²": "sq in",
    "in³": "cu in",
    "µm": "um",
    "\u202f": " ",
    "\u2013": "-",
}


def picture_text(text: str) -> str:
    """Return words in letters that the pictures' built-in font has."""
    for sign, word in _IN_PICTURES.items():
        text = text.replace(sign, word)
    return text


def shown_plain(value: float | None, unit: str, units: str) -> str:
    """Return a number as `shown` does, in letters that the pictures' built-in font has."""
    if value is not None and unit == "um" and units == "mm":
        value, unit = value * 1e-3, "mm"
    return picture_text(shown(value, unit, units))


def plain_name(unit: str, units: str) -> str:
    """Return the name of a unit in letters that the pictures' built-in font has."""
    return picture_text(sized(0.0, unit, units)[1])


def sized(value: float, unit: str, units: str) -> tuple[float, str]:
    """Return a number in the unit that a report in `units` uses, and that unit's name."""
    if unit == "share":
        return 100.0 * value, "%"
    number, name = in_units(value, unit, units)
    return number, signed(name)


def shown_span(values: Iterable[float], unit: str, units: str) -> str:
    """Return one number where all read the same, else the least and the greatest, their unit said once."""
    ranked = sorted(values)
    return spanned(*(shown(v, unit, units) for v in (ranked[0], ranked[-1])))


def spanned(low: str, high: str) -> str:
    """Return two numbers with their units as a span, the unit said once; one where both read the same.

    Parameters
    ----------
    low, high : str
        As `shown` writes them.

    Returns
    -------
    str
    """
    if low == high:
        return low
    number, _, name = low.partition("\u202f")
    return f"{number} to {high}" if high.endswith(name) else f"{low} to {high}"


def shown(value: float | None, unit: str, units: str) -> str:
    """Return a number with its unit as sentences write it, for a report in `units`; a missing one is a dash.

    Parameters
    ----------
    units : str
        `mm`, `inch`, or `thou` for inches with small lengths in thousandths.
    """
    if value is None:
        return "\u2013"
    text = Writing(units=units).quantity(value, unit)
    number, _, name = text.partition(" ")
    return f"{number}\u202f{name}" if name else number


def number_found(
    finding: Finding, units: str, write: Callable[[float | None, str, str], str] | None = None
) -> str:
    """Return the number of a finding as it stands beside its limit; a missing one is a dash.

    One that misses its limit never reads as that.

    Parameters
    ----------
    finding : Finding
    units : str
        As of `shown`.
    write : callable, optional
        What writes a number of a unit for a report in `units`; `shown` without.

    Returns
    -------
    str
    """
    write = write or shown
    text = write(finding.value, finding.unit, units)
    missed = finding.verdict is not Verdict.GO and finding.margin is not None and finding.margin < 0.0
    if finding.value is None or finding.limit is None or not missed:
        return text
    limit = math.copysign(finding.limit, finding.value)
    return missed_text(text, write(limit, finding.unit, units), finding.value, limit)


def stated(length_mm: float, units: str) -> str:
    """Return a length as the set-up states it, with all its digits."""
    return Writing(units=units).length(length_mm, "g").replace(" ", "\u202f")
