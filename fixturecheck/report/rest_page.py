"""The report's section on where the parts come to rest: poses, seats, what locates the work, tolerances."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Decimal
from html import escape
from types import MappingProxyType
from typing import Any

from markupsafe import Markup

from fixturecheck.report.markup import Cell, Picture, Table, render, round_step, svg, table_of
from fixturecheck.report.order import LOCATION, REST
from fixturecheck.result import Result
from fixturecheck.result.rest import PartLocation, Rest, RestPose, SeatGap, TargetMoves
from fixturecheck.result.tolerance import Chances, TargetSpread
from fixturecheck.units import Writing
from fixturecheck.wording.motion import (
    drawn_faces_words,
    freedom_words,
    order_words,
    settled_draws_words,
    settled_words,
)
from fixturecheck.wording.sentences import sentence, shown, sized

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
    """Return the section; empty where the set-up states no staging, as the answers say.

    Parameters
    ----------
    result : Result
        Its rest and tolerances are told, in the units that it is shown in.
    pictures : mapping of str to Picture
        The pictures of the parts at rest and of what locates the work, by file name.

    Returns
    -------
    Markup
        HTML.
    """
    rest = result.rest
    if rest is None:
        return Markup()
    write = Writing(units=result.shown_in)
    step, steps = write.steps()
    return render(
        "rest.html",
        says=sentence(settled_words(rest.settled, write), set(rest.settled.poses)),
        how=_how(rest, write),
        picture_of_rest=pictures.get(REST),
        parts=_parts(rest, write) if rest.settled.rests else None,
        located=[{"body": p.body, "rank": p.rank, "seats": _located(p)} for p in rest.location],
        picture_of_location=pictures.get(LOCATION),
        step=step,
        steps=steps,
        chances=_chances(rest.chances, result) if rest.chances else None,
    )


def _how(rest: Rest, write: Writing) -> str:
    """Say how the parts were staged and how far the answer is sure."""
    names, settled = set(rest.settled.poses), rest.settled
    order = f"Staged one by one: {', '.join(rest.order)}." if rest.order else "Pushed all together."
    known = math.isfinite(settled.residual_um)
    left = f" Overlap left: {write.gap(settled.residual_um, '.2g')}." if known else ""
    error = write.gap(settled.error_um, ".2g")
    unseen = f" No overlap deeper than {error} stays unseen." if settled.error_um > 0 else ""
    order_says = order_words(rest.order_outcome, write) if rest.order_outcome else ""
    matters = f" {sentence(order_says, names)}" if order_says else ""
    return f"{order}{matters}{left}{unseen}"


def _parts(rest: Rest, write: Writing) -> Table:
    turns = any(math.hypot(*part.turn_deg) > _STIRS for part in rest.poses)
    rows: list[tuple[str | Cell, ...]] = []
    for part in rest.poses:
        shift = math.hypot(*part.shift_mm)
        turn = math.hypot(*part.turn_deg)
        rows.append(
            (
                part.body,
                shown(shift, "mm", write.units) if shift > _STIRS else "as drawn",
                *([shown(turn, "deg", write.units) if turn > _STIRS else ""] * turns),
                _seats(rest, part, write),
                _free(rest, part, write),
            )
        )
    heads = ("part", "off the drawing", *["turned"] * turns, "seats", "left free")
    return table_of(heads, rows, *range(1, 2 + turns))


def _seat(seat: SeatGap, write: Writing) -> str:
    if not (math.isfinite(seat.gap_max_um) and math.isfinite(seat.gap_min_um)):
        return "no longer faces it"
    if seat.closed and seat.gap_max_um <= 1.0:
        return f"closed, {write.force(seat.force_n, '.2f')}"
    gaps = (g if g > _NOTHING_UM else 0.0 for g in (seat.gap_min_um, seat.gap_max_um))
    low, high = (shown(g, "um", write.units) for g in gaps)
    return f"open by {low}" if low == high else f"open by {low} to {high}"


def _seats(rest: Rest, part: RestPose, write: Writing) -> Cell:
    lines = tuple(f"{s.name}: {_seat(s, write)}" for s in rest.seats_of(part.body))
    return Cell(lines=lines or ("none stated",))


def _free(rest: Rest, part: RestPose, write: Writing) -> Cell:
    return Cell(lines=tuple(freedom_words(f, write) for f in rest.freedoms_of(part.body)) or ("nothing",))


def _located(part: PartLocation) -> Table:
    """Return what each seat takes and how the cut faces follow it."""
    heads = ("seat", "takes", *(t.place.name for t in part.targets))
    rows = [
        (
            f"{seat.role.name} ({seat.rank})",
            f"{seat.role.takes} of {seat.role.wants}",
            *(_follows(target, seat.role.name) for target in part.targets),
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


def _gap(gap_um: float, units: str) -> str:
    """Return a gap; that of faces which are nowhere near each other is infinite."""
    return shown(gap_um, "um", units) if math.isfinite(gap_um) else "not near"


def _chances(chances: Chances, result: Result) -> dict[str, Any]:
    """Return how often seats close and how far the work is out."""
    units = result.shown_in
    said = {f.subject: f.says for f in result.findings if f.check == "tolerance"}
    rows: list[Sequence[str]] = [
        (
            s.seat,
            shown(s.share_closed, "share", units),
            *(_gap(g, units) for g in (s.gap_p95_um, s.gap_worst_um)),
        )
        for s in chances.seats
    ]
    rows += [
        (f"{w.a} on {w.b}", "lands in " + shown(w.share_lands, "share", units), "", "") for w in chances.wrong
    ]
    return {
        "seats": table_of(("seat", "closes in", "open, 1 of 20", "open, most"), rows, 1, 2, 3),
        "targets": [
            {"histogram": histogram(t, units), "says": said.get(t.place.name, t.place.name)}
            for t in chances.targets
        ],
        "draws": chances.draws,
        "seed": chances.seed,
        "checked_say": settled_draws_words(chances.unsettled),
        "checked": Writing(units=units).gap(max(chances.checked_um, 1e-3), ".2g"),
        "faces_say": drawn_faces_words(len(chances.faces), chances.leaning),
    }


_PLOT_WIDE, _HIGH = 640.0, 260.0
_PLOT_LEFT, _PLOT_RIGHT, _PLOT_TOP, _PLOT_FOOT = 58.0, 20.0, 40.0, 58.0
_INSIDE, _BEYOND, _RED, _INK = "#4080a8", "#c8404e", "#b0182c", "#444"
_TICKS = 8
_NEAR = 30.0

Scale = Callable[[float], float]


def histogram(spread: TargetSpread, units: str) -> str:
    """Return the draws of one target as an SVG: bars, those beyond the limit red, and axes with units.

    The bars are those of the middle; a line in steps is that of the corner that is furthest out.

    Parameters
    ----------
    spread : TargetSpread
        The draws, counted in bins.
    units : str
        Units of the report: `mm`, `inch` or `thou`.

    Returns
    -------
    str
        SVG, with its texts escaped.
    """
    low, high = _range_um(spread)
    total = max(sum(spread.counts), 1)
    top = max((*spread.counts, *spread.corner_counts), default=1) or 1

    def x(value_um: float) -> float:
        return _PLOT_LEFT + (value_um - low) / (high - low) * (_PLOT_WIDE - _PLOT_LEFT - _PLOT_RIGHT)

    def y(count: float) -> float:
        return _HIGH - _PLOT_FOOT - count / top * (_HIGH - _PLOT_FOOT - _PLOT_TOP)

    pieces = [
        *_bars(spread, x, y),
        *_steps(spread, x, y),
        *_across(x, (low, high), units),
        *_upward(y, top, total),
        *_furthest(spread, x, units),
        *_limits(spread, x, units),
    ]
    place = f'x="{_PLOT_LEFT:.0f}" y="13" text-anchor="start" font-weight="600"'
    head = f"<text {place}>{escape(spread.place.name)}</text>"
    title = f"Spread of {spread.place.name}: {sum(spread.counts)} draws"
    return svg(title, (_PLOT_WIDE, _HIGH), [head, *pieces], name="histogram")


def _bars(spread: TargetSpread, x: Scale, y: Scale) -> Iterator[str]:
    """Yield a bar for each class, parted where the limit runs through it."""
    base = y(0.0)
    for left, right, count in zip(spread.edges_um[:-1], spread.edges_um[1:], spread.counts, strict=True):
        for start, end in _parted(left, right, spread.limit_um):
            beyond = spread.limit_um is not None and abs(start + end) / 2 > spread.limit_um
            wide = max(x(end) - x(start) - 0.5, 0.3)
            yield (
                f'<rect x="{x(start):.1f}" y="{y(count):.1f}" width="{wide:.1f}" '
                f'height="{base - y(count):.1f}" fill="{_BEYOND if beyond else _INSIDE}"/>'
            )


def _steps(spread: TargetSpread, x: Scale, y: Scale) -> Iterator[str]:
    """Yield the line of the corner furthest out, red beyond the limit, and what line and bars are."""
    if not spread.corner_counts:
        return
    ways: list[tuple[bool, str]] = [(False, f"M{x(spread.edges_um[0]):.1f} {y(0.0):.1f}")]
    for left, right, count in zip(
        spread.edges_um[:-1], spread.edges_um[1:], spread.corner_counts, strict=True
    ):
        for start, end in _parted(left, right, spread.limit_um):
            beyond = spread.limit_um is not None and abs(start + end) / 2 > spread.limit_um
            if beyond != ways[-1][0]:
                ways.append((beyond, f"M{x(start):.1f} {y(count):.1f}"))
            ways[-1] = beyond, f"{ways[-1][1]} V{y(count):.1f} H{x(end):.1f}"
    for beyond, way in ways:
        if "H" not in way:
            continue
        yield f'<path d="{way}" fill="none" stroke="{_RED if beyond else _INK}" stroke-width="1.4"/>'
    yield (
        f'<text x="{_PLOT_WIDE - _PLOT_RIGHT:.0f}" y="13" text-anchor="end" font-size="11" fill="#666">'
        "bars: its middle; line: the corner furthest out</text>"
    )


def _parted(left: float, right: float, limit: float | None) -> list[tuple[float, float]]:
    """Return a class as it is, or in two where a limit runs through it."""
    for at in () if limit is None else (-limit, limit):
        if left < at < right:
            return [(left, at), (at, right)]
    return [(left, right)]


def _across(x: Scale, ends_um: tuple[float, float], units: str) -> Iterator[str]:
    """Yield the axis of how far the face is out, with round numbers and its unit."""
    base = _HIGH - _PLOT_FOOT
    yield f'<line x1="{_PLOT_LEFT}" y1="{base}" x2="{_PLOT_WIDE - _PLOT_RIGHT}" y2="{base}" stroke="{_INK}"/>'
    per_unit, unit = sized(1.0, "um", units)
    step = round_step((ends_um[1] - ends_um[0]) * per_unit / _TICKS)
    first = math.ceil(ends_um[0] * per_unit / step)
    for k in range(first, math.floor(ends_um[1] * per_unit / step) + 1):
        at = x(k * step / per_unit)
        yield f'<line x1="{at:.1f}" y1="{base}" x2="{at:.1f}" y2="{base + 5}" stroke="{_INK}"/>'
        yield f'<text x="{at:.1f}" y="{base + 18}">{_signed(k * step)}</text>'
    middle = (_PLOT_LEFT + _PLOT_WIDE - _PLOT_RIGHT) / 2
    says = escape(f"{unit} out along its normal; 0 is where it is drawn")
    yield f'<text x="{middle:.0f}" y="{_HIGH - 6}" fill="#666">{says}</text>'


def _signed(number: float) -> str:
    """Return a number on the axis, never in powers of ten; zero has no sign."""
    return f"{Decimal(f'{number:+.6g}'):+f}" if number else "0"


def _upward(y: Scale, top: int, total: int) -> Iterator[str]:
    """Yield the axis of how many draws a class holds, in per cent of all."""
    base = _HIGH - _PLOT_FOOT
    yield f'<line x1="{_PLOT_LEFT}" y1="{_PLOT_TOP}" x2="{_PLOT_LEFT}" y2="{base}" stroke="{_INK}"/>'
    step = round_step(100.0 * top / total / 3)
    for k in range(1, math.floor(100.0 * top / total / step) + 1):
        at = y(k * step * total / 100.0)
        yield f'<line x1="{_PLOT_LEFT - 5}" y1="{at:.1f}" x2="{_PLOT_LEFT}" y2="{at:.1f}" stroke="{_INK}"/>'
        yield f'<text x="{_PLOT_LEFT - 8}" y="{at + 4:.1f}" text-anchor="end">{k * step:.4g} %</text>'
    yield (
        f'<text x="14" y="{(_PLOT_TOP + base) / 2:.0f}" fill="#666" '
        f'transform="rotate(-90 14 {(_PLOT_TOP + base) / 2:.0f})">of draws</text>'
    )


def _furthest(spread: TargetSpread, x: Scale, units: str) -> Iterator[str]:
    """Yield a mark on the axis at the furthest either way, with its words below."""
    base = _HIGH - _PLOT_FOOT
    spots = [(x(v), v) for v in (spread.low_um, spread.high_um)]
    if spots[1][0] - spots[0][0] < 4 * _NEAR:
        spots = [max(spots, key=lambda s: abs(s[1]))]
    for at, value in spots:
        text = escape(f"furthest {shown(value, 'um', units)}")
        held = min(max(at, _PLOT_LEFT + 46), _PLOT_WIDE - _PLOT_RIGHT - 46)
        yield f'<path d="M{at:.1f} {base - 1} l-5 -9 h10 z" fill="{_INK}"/>'
        yield f'<text x="{held:.1f}" y="{base + 33}" font-size="11" fill="{_INK}">{text}</text>'


def _limits(spread: TargetSpread, x: Scale, units: str) -> Iterator[str]:
    """Yield the limits that the face's own zone sets, where it states one."""
    if spread.limit_um is None:
        return
    base = _HIGH - _PLOT_FOOT
    for value in (-spread.limit_um, spread.limit_um):
        text = escape(f"limit {shown(value, 'um', units)}")
        yield (
            f'<line x1="{x(value):.1f}" y1="{_PLOT_TOP - 6}" x2="{x(value):.1f}" y2="{base}" stroke="{_RED}" '
            'stroke-width="1.5" stroke-dasharray="5 3"/>'
        )
        # Two limits close together keep their words apart.
        anchor = "end" if value < 0 else "start"
        held = min(x(value) + (4 if value < 0 else -4), _PLOT_WIDE - _PLOT_RIGHT - _NEAR)
        yield (
            f'<text x="{held:.1f}" y="{_PLOT_TOP - 11}" font-size="11" fill="{_RED}" text-anchor="{anchor}">'
            f"{text}</text>"
        )


def _range_um(spread: TargetSpread) -> tuple[float, float]:
    """Return the ends of the axis: everything shown, with a little air."""
    shown_um = [spread.low_um, spread.high_um, spread.edges_um[0], spread.edges_um[-1]]
    if spread.limit_um is not None:
        shown_um += [-spread.limit_um, spread.limit_um]
    air = 0.03 * max(max(shown_um) - min(shown_um), 1e-3)
    return min(shown_um) - air, max(shown_um) + air
