"""The report's section on where the parts come to rest: poses, seats, what locates the work, tolerances."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from markupsafe import Markup

from fixturecheck.report.charts import histogram
from fixturecheck.report.markup import Cell, Picture, Table, render, table_of
from fixturecheck.report.order import LOCATION, REST
from fixturecheck.result import Result
from fixturecheck.result.rest import PartLocation, PartRest, Rest, SeatGap, TargetMoves
from fixturecheck.result.tolerance import Chances
from fixturecheck.units import Writing
from fixturecheck.wording.motion import freedom_words
from fixturecheck.wording.quantity import shown
from fixturecheck.wording.sentences import sentence
from fixturecheck.wording.staging import drawn_faces_words, order_words, settled_draws_words

AT_REST = "The parts at rest, and as drawn as ghosts; moves are drawn larger, the number is true."
LOCATES = (
    "What locates the first part that is cut. Blue: where each seat acts and which way it holds, with the "
    "degrees of freedom it takes. Red: each face that is cut, with the {steps} that it moves along the arrow "
    "for each {step} that a seat stands higher."
)
_ARROWS = ("\u25b2", "\u25bc")
_STIRS = 1e-3
_NOTHING_UM = 0.01


def rest_section(result: Result, pictures: Mapping[str, Picture] = MappingProxyType({})) -> Markup:
    """Return the section; where the set-up states no staging, that it was not asked.

    Parameters
    ----------
    pictures : mapping of str to Picture
        The pictures of the parts at rest and of what locates the work, by file name.
    """
    rest = result.rest
    if rest is None:
        return render("rest.html", rest=None)
    write = Writing(units=result.shown_in)
    step, steps = write.steps()
    return render(
        "rest.html",
        rest=rest,
        says=sentence(rest.says, {p.body for p in rest.parts}),
        how=_how(rest, write),
        picture_of_rest=pictures.get(REST),
        parts=_parts(rest, write) if rest.at_rest else None,
        located=[{"body": p.body, "rank": p.rank, "seats": _located(p)} for p in rest.location],
        picture_of_location=pictures.get(LOCATION),
        step=step,
        steps=steps,
        chances=_chances(rest.chances, result) if rest.chances else None,
    )


def _how(rest: Rest, write: Writing) -> str:
    """Say how the parts were staged and how far the answer is sure."""
    names = {p.body for p in rest.parts}
    order = f"Staged one by one: {', '.join(rest.order)}." if rest.order else "Pushed all together."
    left = "" if rest.residual_um is None else f" Overlap left: {write.gap(rest.residual_um, '.2g')}."
    error = write.gap(rest.error_um, ".2g")
    unseen = f" No overlap deeper than {error} stays unseen." if rest.error_um > 0 else ""
    order_says = order_words(rest.order_outcome, write) if rest.order_outcome else ""
    matters = f" {sentence(order_says, names)}" if order_says else ""
    return f"{order}{matters}{left}{unseen}"


def _parts(rest: Rest, write: Writing) -> Table:
    turns = any(math.hypot(*part.turn_deg) > _STIRS for part in rest.parts)
    rows: list[tuple[str | Cell, ...]] = []
    for part in rest.parts:
        shift = math.hypot(*part.shift_mm)
        turn = math.hypot(*part.turn_deg)
        rows.append(
            (
                part.body,
                shown(shift, "mm", write.units) if shift > _STIRS else "as drawn",
                *([shown(turn, "deg") if turn > _STIRS else ""] * turns),
                Cell(lines=tuple(f"{s.seat}: {_seat(s, write)}" for s in part.seats) or ("none stated",)),
                _free(part, write),
            )
        )
    heads = ("part", "off the drawing", *["turned"] * turns, "seats", "left free")
    return table_of(heads, rows, *range(1, 2 + turns))


def _seat(seat: SeatGap, write: Writing) -> str:
    if seat.gap_max_um is None or seat.gap_min_um is None:
        return "no longer faces it"
    if seat.closed and seat.gap_max_um <= 1.0:
        return f"closed, {write.force(seat.force_n, '.2f')}"
    gaps = (g if g > _NOTHING_UM else 0.0 for g in (seat.gap_min_um, seat.gap_max_um))
    low, high = (shown(g, "um", write.units) for g in gaps)
    return f"open by {low}" if low == high else f"open by {low} to {high}"


def _free(part: PartRest, write: Writing) -> Cell:
    return Cell(lines=tuple(freedom_words(f, write) for f in part.free) or ("nothing",))


def _located(part: PartLocation) -> Table:
    """Return what each seat takes and how the cut faces follow it."""
    heads = ("seat", "takes", *(t.target for t in part.targets))
    rows = [
        (
            f"{seat.seat} ({seat.rank})",
            f"{seat.takes} of {seat.wants}",
            *(_follows(target, seat.seat) for target in part.targets),
        )
        for seat in part.seats
    ]
    return table_of(heads, rows, *range(1, len(heads)))


def _follows(target: TargetMoves, seat: str) -> str:
    if not target.located:
        return "not located"
    value = dict(target.by_seat).get(seat, 0.0)
    if abs(value) < 5e-4:
        return "0"
    return f"{_ARROWS[0] if value > 0 else _ARROWS[1]}\u202f{abs(value):.3f}"


def _chances(chances: Chances, result: Result) -> dict[str, Any]:
    """Return how often seats close and how far the work is out."""
    units = result.shown_in
    said = {f.subject: f.says for f in result.findings if f.check == "tolerance"}
    rows: list[Sequence[str]] = [
        (s.seat, shown(s.share_closed, "share"), shown(s.gap_p95_um, "um", units),
         shown(s.gap_worst_um, "um", units))
        for s in chances.seats
    ]  # fmt: skip
    rows += [(f"{w.a} on {w.b}", "lands in " + shown(w.share_lands, "share"), "", "") for w in chances.wrong]
    return {
        "seats": table_of(("seat", "closes in", "open, 1 of 20", "open, most"), rows, 1, 2, 3),
        "targets": [
            {"histogram": histogram(t, units), "says": said.get(t.target, t.target)} for t in chances.targets
        ],
        "draws": chances.draws,
        "seed": chances.seed,
        "checked_say": settled_draws_words(chances.unsettled),
        "checked": Writing(units=units).gap(max(chances.checked_um, 1e-3), ".2g"),
        "faces_say": drawn_faces_words(chances.varied, chances.leaning),
    }
