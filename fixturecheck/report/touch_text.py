"""What a terminal shows of an assembly: what overlaps, touches, clears and is free, like ones in one line."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fixturecheck.report.order import numbered
from fixturecheck.result import Result
from fixturecheck.result.finding import Kind
from fixturecheck.units import Writing
from fixturecheck.wording.groups import Together, listed
from fixturecheck.wording.quantity import shown

Folded = Callable[[str], list[str]]

_HEADS: Mapping[Kind, str] = {
    Kind.OVERLAP: "overlap",
    Kind.TOUCH: "touch",
    Kind.CLEAR: "clear, by {within} or less",
    Kind.FREE: "free to move, each body alone, all others held",
}
_MOST_ROWS = 40


def touch_lines(result: Result, folded: Folded) -> list[str]:
    """Return the lines about an assembly; none where no assembly was asked about.

    Parameters
    ----------
    folded : callable
        Folds a line to the width of the terminal, indented.
    """
    found = result.touching
    if found is None:
        return []
    rows = numbered(result)
    told = [row.together for row in rows] + [other for row in rows for other in row.follows]
    within = Writing(units=result.shown_in).length(found.within_mm)
    lines: list[str] = []
    for kind, head in _HEADS.items():
        here = [one for one in told if one.finding.kind is kind]
        if here:
            lines += ["", head.format(within=within), *_rows(here, result.shown_in, folded)]
    return lines


def _rows(told: Sequence[Together], units: str, folded: Folded) -> list[str]:
    lines = []
    for one in told[:_MOST_ROWS]:
        f = one.finding
        lines += folded(f.says)
        if f.remedy:
            lines += folded(f"change: {f.remedy}")
        if one.like:
            lines += folded(f"and so do {listed([other.subject for other in one.like])}{_span(one, units)}")
    rest = len(told) - _MOST_ROWS
    return lines + (folded(f"and {rest} more, listed in the report") if rest > 0 else [])


def _span(one: Together, units: str) -> str:
    """Return from how much to how much several are, where that differs."""
    values = [f.value for f in one.all if f.value is not None]
    low, high = (
        (shown(v, one.finding.unit, units) for v in (min(values), max(values))) if values else ("", "")
    )
    return f" ({low} to {high})" if low != high else ""
