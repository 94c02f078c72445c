"""The dials of each cut: the steps with their readings, for the page and a terminal."""

from __future__ import annotations

from markupsafe import Markup

from fixturecheck.report.markup import Cell, Table, render, table_of
from fixturecheck.result import Result
from fixturecheck.result.dials import CutDials, PassPlan, Side
from fixturecheck.units import Writing
from fixturecheck.wording.sentences import plural
from fixturecheck.wording.settings import move_words, reading_words, shown_on, time_words, turns_words


def dials_section(result: Result) -> Markup:
    """Return the section of the page that tells what the dials read."""
    write = Writing(units=result.shown_in)
    cuts = [
        {"name": d.cut, "moves": _moves(d, write), "says": f"{_passes(d.passes, write)}."}
        for d in result.dials
    ]
    return render("dials.html", cuts=cuts)


def _moves(dials: CutDials, write: Writing) -> Table:
    rows: list[tuple[str | Cell, ...]] = []
    for number, move in enumerate(dials.moves, start=1):
        read, shows = "", ""
        if move.reading is not None:
            read = turns_words(move.reading, write)
            shows = shown_on(move.reading)
        rows.append((f"{number}", move_words(move, write), read, shows))
    return table_of(("step", "what to do", "from zero", "dial shows"), rows, 0, 3)


def dial_lines(result: Result) -> list[str]:
    """Return one line for each cut, for a terminal: what is touched, and the reading of each target."""
    write = Writing(units=result.shown_in)
    lines = []
    for dials in result.dials:
        touches = ", then ".join(
            f"{t.face} with the wheel's {'side' if t.side is Side.SIDE else 'rim'}" for t in dials.touches
        )
        read = "; ".join(f"{t.face} at {reading_words(t.reading, write)}" for t in dials.targets)
        lines.append(f"dials of {dials.cut}: touch {touches}; {read}; {_passes(dials.passes, write)}")
    return lines


def _passes(passes: PassPlan, write: Writing) -> str:
    kinds = (
        (passes.rough, "rough"),
        (passes.finish, "finishing"),
        (passes.wall, "into the wall"),
        (passes.spark_out, "to spark out"),
    )
    counted = ", ".join(f"{count} {what}" for count, what in kinds if count) or "none"
    strokes = plural(passes.strokes, "stroke")
    return (
        f"passes: {counted}, of {strokes} of {write.length(passes.stroke_mm)}; "
        f"about {time_words(passes.batch_min)} a batch"
    )
