"""The report's section on where the parts come to rest: poses, seats, what locates the work, tolerances."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from types import MappingProxyType

from fixturecheck.report.charts import histogram
from fixturecheck.report.order import LOCATION, REST
from fixturecheck.result import Result
from fixturecheck.result.rest import PartLocation, PartRest, Rest, TargetMoves
from fixturecheck.result.tolerance import Chances
from fixturecheck.units import Writing
from fixturecheck.wording.motion import freedom_words
from fixturecheck.wording.quantity import shown
from fixturecheck.wording.sentences import sentence

AT_REST = "The parts at rest, and as drawn as ghosts; moves are drawn larger, the number is true."
LOCATES = (
    "What locates the first part that is cut. Blue: where each seat acts and which way it holds, with the "
    "degrees of freedom it takes. Red: each face that is cut, with the {steps} that it moves along the arrow "
    "for each {step} that a seat stands higher."
)
_ARROWS = ("\u25b2", "\u25bc")
_STIRS = 1e-3
_NOTHING_UM = 0.01


def rest_section(result: Result, pictures: Mapping[str, str] = MappingProxyType({})) -> str:
    """Return the section; where the set-up states no staging, that it was not asked.

    Parameters
    ----------
    pictures : mapping of str to str
        The pictures of the parts at rest and of what locates the work, by file name, ready for the page.
    """
    if result.rest is None:
        return (
            "<section><h2>Where the parts come to rest</h2>\n<p>Not asked: the set-up states no staging. "
            "State how the parts are pushed, and each is let go and followed to its rest.</p></section>"
        )
    rest, units = result.rest, result.shown_in
    write = Writing(units=units)
    names = {p.body for p in rest.parts}
    pieces = [
        "<section><h2>Where the parts come to rest</h2>",
        f"<p>{escape(sentence(rest.says, names))} {escape(_how(rest, write))}</p>",
        pictures.get(REST, ""),
        _parts(rest, units) if rest.at_rest else "",
        _located(rest.location, pictures.get(LOCATION, ""), write.steps()),
        _chances(rest.chances, result) if rest.chances else "",
        "</section>",
    ]
    return "\n".join(p for p in pieces if p)


def _how(rest: Rest, write: Writing) -> str:
    """Say how the parts were staged and how far the answer is sure."""
    names = {p.body for p in rest.parts}
    order = f"Staged one by one: {', '.join(rest.order)}." if rest.order else "Pushed all together."
    left = "" if rest.residual_um is None else f" Overlap left: {write.gap(rest.residual_um, '.2g')}."
    error = write.gap(rest.error_um, ".2g")
    unseen = f" No overlap deeper than {error} stays unseen." if rest.error_um > 0 else ""
    matters = f" {sentence(rest.order_says, names)}" if rest.order_says else ""
    return f"{order}{matters}{left}{unseen}"


def _parts(rest: Rest, units: str) -> str:
    rows, write = [], Writing(units=units)
    for part in rest.parts:
        shift = math.hypot(*part.shift_mm)
        turn = math.hypot(*part.turn_deg)
        off = shown(shift, "mm", units) if shift > _STIRS else "as drawn"
        turned = shown(turn, "deg") if turn > _STIRS else ""
        rows.append((escape(part.body), escape(off), escape(turned), _seats(part, units), _free(part, write)))
    heads = ("part", "off the drawing", "turned", "seats", "left free")
    return _table(heads, rows, frozenset({1, 2}))


def _seats(part: PartRest, units: str) -> str:
    lines = []
    for seat in part.seats:
        if seat.gap_max_um is None or seat.gap_min_um is None:
            told = "no longer faces it"
        elif seat.closed and seat.gap_max_um <= 1.0:
            told = f"closed, {Writing(units=units).force(seat.force_n, '.2f')}"
        else:
            gaps = (g if g > _NOTHING_UM else 0.0 for g in (seat.gap_min_um, seat.gap_max_um))
            low, high = (shown(g, "um", units) for g in gaps)
            told = f"open by {low}" if low == high else f"open by {low} to {high}"
        lines.append(f"{escape(seat.seat)}: {escape(told)}")
    return "<br>".join(lines) or "none stated"


def _free(part: PartRest, write: Writing) -> str:
    return "<br>".join(escape(freedom_words(f, write)) for f in part.free) or "nothing"


def _located(parts: Sequence[PartLocation], picture: str, steps: tuple[str, str]) -> str:
    """Return what each seat takes and how the cut faces follow it: a picture, a small table for each part."""
    tables = []
    for part in parts:
        heads = ("seat", "takes", *(t.target for t in part.targets))
        rows = [
            (
                escape(f"{seat.seat} ({seat.rank})"),
                f"{seat.takes} of {seat.wants}",
                *(_follows(target, seat.seat) for target in part.targets),
            )
            for seat in part.seats
        ]
        columns = frozenset(range(1, len(heads)))
        tables.append(
            f"<h4>{escape(part.body)}: {part.rank} of 6 degrees of freedom taken</h4>"
            + _table(heads, rows, columns)
        )
    if not tables:
        return ""
    note = (
        f'<p class="small">Below each face that is cut: {steps[1]} that it moves along its normal, '
        f"out of the part (\u25b2) or into it (\u25bc), for each {steps[0]} that the seat stands higher.</p>"
    )
    return "<h3>What locates the work</h3>" + picture + "".join(tables) + note


def _follows(target: TargetMoves, seat: str) -> str:
    if not target.located:
        return "not located"
    value = dict(target.by_seat).get(seat, 0.0)
    if abs(value) < 5e-4:
        return "0"
    return f"{_ARROWS[0] if value > 0 else _ARROWS[1]}\u202f{abs(value):.3f}"


def _chances(chances: Chances, result: Result) -> str:
    """Return how often seats close and how far the work is out."""
    units = result.shown_in
    said = {f.subject: f.says for f in result.findings if f.check == "tolerance"}
    seats = [
        (escape(s.seat), shown(s.share_closed, "share"), shown(s.gap_p95_um, "um", units),
         shown(s.gap_worst_um, "um", units))
        for s in chances.seats
    ]  # fmt: skip
    wrong = [
        (escape(f"{w.a} on {w.b}"), "lands in " + shown(w.share_lands, "share"), "", "")
        for w in chances.wrong
    ]
    heads = ("seat", "closes in", "open, 1 of 20", "open, most")
    figures = "".join(
        f"<figure>{histogram(t, units)}"
        f"<figcaption>{escape(said.get(t.target, t.target))}</figcaption></figure>"
        for t in chances.targets
    )
    checked = Writing(units=units).gap(max(chances.checked_um, 1e-3), ".2g")
    note = (
        f'<p class="small">{chances.draws} draws, seed {chances.seed}; {escape(chances.checked_say)} settled '
        f"again exactly, which differs by {checked} at most. Here {escape(chances.faces_say)}.</p>"
    )
    return (
        "<h3>Within tolerances</h3>" + _table(heads, [*seats, *wrong], frozenset({1, 2, 3})) + figures + note
    )


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], numbers: frozenset[int]) -> str:
    """Return a table whose cells are HTML already; the columns in `numbers` are set to the right."""

    def row(cells: Sequence[str], tag: str) -> str:
        return "".join(
            f"<{tag}{' class=n' if i in numbers else ''}>{cell}</{tag}>" for i, cell in enumerate(cells)
        )

    body = "\n".join(f"<tr>{row(cells, 'td')}</tr>" for cells in rows)
    head = row([escape(h) for h in heads], "th")
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>\n{body}\n</tbody></table></div>'
