"""The page's section on an assembly: which bodies touch, which clear, and what each is free to do."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from fixturecheck.report.markup import Cell, Table, render, table_of
from fixturecheck.report.order import numbered, stop_of
from fixturecheck.result import Result
from fixturecheck.result.finding import Kind
from fixturecheck.result.touching import BodyFree, PairState, Touching
from fixturecheck.units import Writing
from fixturecheck.wording.quantity import shown
from fixturecheck.wording.touching import contact_words, keeps_words, leaves_words

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
        told = [*row.together.all, *(f for other in row.follows for f in other.all)]
        for place, f in enumerate(told):
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
    return keeps_words(body, write) or "neither slides nor turns", leaves_words(body)
