"""An assembly in the report: its section of the page, and its lines on a terminal."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from markupsafe import Markup

from fixturecheck.report.markup import Cell, Table, render, table_of
from fixturecheck.report.order import numbered, stop_of
from fixturecheck.result import Result
from fixturecheck.result.finding import Kind
from fixturecheck.result.rest import BodyFree, PairState, Touching
from fixturecheck.units import Writing
from fixturecheck.wording.motion import contact_words, freedoms_words, leaves_words
from fixturecheck.wording.sentences import Together, listed, shown

Stops = dict[tuple[Kind | None, tuple[str, ...]], str]
"""The stop of the 3-D view for each finding, by its kind and what it is about."""


def touching_section(result: Result, faces: Markup) -> Markup:
    """Return how the bodies of an assembly stand to each other; empty where no assembly was asked about.

    Parameters
    ----------
    faces : Markup
        The list of contacts face by face, which stands folded at its end.
    """
    found = result.touching
    if found is None:
        return Markup("")
    stops, write = _stops(result), Writing(units=result.shown_in)
    return render(
        "touching.html",
        touches=_touches(found, stops, write),
        clears=_clears(found, stops, result.shown_in),
        within=shown(found.within_mm, "mm", result.shown_in),
        free=_free(found.bodies, stops, write),
        faces=faces,
    )


def _stops(result: Result) -> Stops:
    found: Stops = {}
    for row in numbered(result):
        findings = [*row.together.all, *(f for other in row.follows for f in other.all)]
        for place, f in enumerate(findings):
            found[f.kind, f.about] = stop_of(f"{row.number}", place)
    return found


def _touches(found: Touching, stops: Stops, write: Writing) -> Table:
    pairs = found.in_state(PairState.TOUCH)
    marks = [stops[Kind.TOUCH, (p.a, p.b)] for p in pairs]
    rows = [(p.a, p.b, contact_words(p, write)) for p in pairs]
    return table_of(("body", "touches", "how"), rows, stops=marks)


def _clears(found: Touching, stops: Stops, units: str) -> Table:
    pairs = [p for p in found.in_state(PairState.CLEAR) if p.gap_mm is not None]
    pairs.sort(key=lambda p: p.gap_mm or 0.0)
    marks = [stops[Kind.CLEAR, (p.a, p.b)] for p in pairs]
    rows = [(p.a, p.b, shown(p.gap_mm, "mm", units)) for p in pairs]
    return table_of(("body", "clears", "least gap"), rows, 2, stops=marks)


def _free(bodies: Sequence[BodyFree], stops: Stops, write: Writing) -> Table:
    rows = [
        (
            Cell(lines=(b.body,), below=f"called {b.called}" if b.called not in {"", b.body} else ""),
            f"{b.touches}",
            *_moves(b, write),
        )
        for b in bodies
    ]
    marks = [stops[Kind.FREE, (b.body,)] for b in bodies]
    return table_of(("body", "touches", "on its contacts it", "away from them it"), rows, 1, stops=marks)


def _moves(body: BodyFree, write: Writing) -> tuple[str | Cell, str]:
    if body.unknown:
        return Cell(lines=("not known",), below=body.unknown), ""
    if not body.touches:
        return "touches nothing", "goes anywhere"
    return freedoms_words(body, write) or "neither slides nor turns", leaves_words(body)


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
    groups = [row.together for row in rows] + [other for row in rows for other in row.follows]
    within = Writing(units=result.shown_in).length(found.within_mm)
    lines: list[str] = []
    for kind, head in _HEADS.items():
        here = [one for one in groups if one.finding.kind is kind]
        if here:
            lines += ["", head.format(within=within), *_rows(here, result.shown_in, folded)]
    return lines


def _rows(groups: Sequence[Together], units: str, folded: Folded) -> list[str]:
    lines = []
    for one in groups[:_MOST_ROWS]:
        f = one.finding
        lines += folded(f.says)
        if f.remedy:
            lines += folded(f"change: {f.remedy}")
        if one.like:
            lines += folded(f"and so do {listed([other.subject for other in one.like])}{_span(one, units)}")
    rest = len(groups) - _MOST_ROWS
    return lines + (folded(f"and {rest} more, listed in the report") if rest > 0 else [])


def _span(one: Together, units: str) -> str:
    """Return from how much to how much several are, where that differs."""
    values = [f.value for f in one.all if f.value is not None]
    low, high = (
        (shown(v, one.finding.unit, units) for v in (min(values), max(values))) if values else ("", "")
    )
    return f" ({low} to {high})" if low != high else ""
