"""Charts that are part of the page: a spread as bars, and what drives a factor."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from decimal import Decimal
from html import escape

from fixturecheck.result.hold import HoldFound, PartHeld
from fixturecheck.result.tolerance import TargetSpread
from fixturecheck.wording.hold import digits, input_span
from fixturecheck.wording.quantity import shown, sized

_PLOT_WIDE, _HIGH = 640.0, 260.0
_PLOT_LEFT, _PLOT_RIGHT, _PLOT_TOP, _PLOT_FOOT = 58.0, 20.0, 40.0, 58.0
_INSIDE, _BEYOND, _RED, _INK = "#4080a8", "#c8404e", "#b0182c", "#444"
_TICKS = 8
_NEAR = 30.0

Scale = Callable[[float], float]


def histogram(spread: TargetSpread, units: str) -> str:
    """Return the draws of one target as an SVG: bars, those beyond the limit red, and axes with units.

    The bars are those of the middle; a line in steps is that of the corner that is furthest out.
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
    title = escape(f"Spread of {spread.target}: {sum(spread.counts)} draws")
    return (
        f'<svg viewBox="0 0 {_PLOT_WIDE:.0f} {_HIGH:.0f}" role="img" aria-label="{title}" class="histogram" '
        f'style="width:100%;max-width:{_PLOT_WIDE:.0f}px;height:auto" font-size="12" text-anchor="middle">'
        f'<text x="{_PLOT_LEFT:.0f}" y="13" text-anchor="start" font-weight="600">'
        f"{escape(spread.target)}</text>"
        f"{''.join(pieces)}</svg>"
    )


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
    step = _step((ends_um[1] - ends_um[0]) * per_unit / _TICKS)
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
    step = _step(100.0 * top / total / 3)
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


def _step(least: float) -> float:
    """Return the next of 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(max(least, 1e-12)))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= least * (1 - 1e-9))


def _range_um(spread: TargetSpread) -> tuple[float, float]:
    """Return the ends of the axis: everything shown, with a little air."""
    shown_um = [spread.low_um, spread.high_um, spread.edges_um[0], spread.edges_um[-1]]
    if spread.limit_um is not None:
        shown_um += [-spread.limit_um, spread.limit_um]
    air = 0.03 * max(max(shown_um) - min(shown_um), 1e-3)
    return min(shown_um) - air, max(shown_um) + air


_WIDE, _NAMES, _LEFT, _RIGHT = 800.0, 230.0, 290.0, 66.0
_ROW, _TOP, _FOOT = 46.0, 54.0, 40.0
_ALL, _AT_LOW, _AT_HIGH = "#3c4650", "#c8913a", "#2f6f9f"
"""Input at its low end, at its high end: apart in lightness too, for eyes that do not tell the hues."""
_CLEAR = ' stroke="#fff" stroke-width="4" paint-order="stroke"'
"""Keeps a number readable where it stands on a line."""


def tornado(part: PartHeld, hold: HoldFound, units: str) -> str:
    """Return what each input does to a part's factor as an SVG; empty where nothing was varied.

    One row for each input, the strongest first: a bar from the factor at its low end to that at its high end,
    the others in the middle, or weak where that is beyond the search. Bars that reach the end of the search
    are cut there with a jagged end.
    """
    if not part.inputs:
        return ""
    scale = _Scale(part, hold)
    bars = [_bar(scale, hold, _TOP, [(part.factor_low, _ALL), (part.factor_high, _ALL)])]
    names = [_name("all of them", "all bad ends to all good ends", _TOP)]
    for i, found in enumerate(part.inputs, start=1):
        ends = [(found.factor_at_low, _AT_LOW), (found.factor_at_high, _AT_HIGH)]
        top = _TOP + _ROW * i
        names.append(_name(found.name, input_span(found, units), top))
        bars.append(_bar(scale, hold, top, sorted(ends)))
    foot = _TOP + _ROW * len(names)
    drawn, labels = (" ".join(layer) for layer in zip(*bars, strict=True))
    title = escape(f"What drives the factor of {part.part} in {part.cut}")
    return (
        f'<svg viewBox="0 0 {_WIDE:.0f} {foot + _FOOT:.0f}" role="img" aria-label="{title}" class="tornado" '
        'style="width:100%;min-width:600px;max-width:800px;height:auto" font-size="14">'
        f"{_key()}{_axis(scale, foot)}{''.join(names)}{drawn}{_least(scale, hold, foot)}{labels}</svg>"
    )


class _Scale:
    """The axis of the factor: from zero to beyond all single inputs and what was asked."""

    def __init__(self, part: PartHeld, hold: HoldFound) -> None:
        values = [part.factor_low]
        values += [f for i in part.inputs for f in (i.factor_at_low, i.factor_at_high)]
        self.high = min(1.02 * hold.ceiling, 1.15 * max(*values, hold.least_factor))
        self.step = _round_step(self.high / 6)

    def x(self, factor: float) -> float:
        """Return where a factor lies, at most the end of the axis."""
        return _LEFT + min(factor, self.high) / self.high * (_WIDE - _LEFT - _RIGHT)

    def ends_before(self, factor: float) -> bool:
        """Tell whether a factor lies beyond the axis."""
        return factor > self.high


def _round_step(step: float) -> float:
    power = 10.0 ** math.floor(math.log10(step))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= step)


def _name(text: str, below: str, top: float) -> str:
    """Write a row's name, and between what it was moved."""
    x, y = f"{_NAMES:.0f}", top + 17.0
    return (
        f'<text x="{x}" y="{y}" text-anchor="end" font-weight="600">{escape(text)}</text>'
        f'<text x="{x}" y="{y + 15}" text-anchor="end" font-size="11.5" fill="#555">{escape(below)}</text>'
    )


def _bar(scale: _Scale, hold: HoldFound, top: float, ends: list[tuple[float, str]]) -> tuple[str, str]:
    """Draw a bar between two factors, each half in its end's colour, and the numbers to go over all bars."""
    (near, first), (far, second) = ends
    x0, x1, y = scale.x(near), scale.x(far), top + 23.0
    open_end = far >= hold.ceiling * (1.0 - 1e-9)
    clipped = open_end or scale.ends_before(far)
    if x1 - x0 < 1.0:
        says = f"no change below {digits(hold.ceiling)}" if open_end else f"{digits(near)}, no change"
        mark = f'<path d="M{x1:.1f} {top + 6}v24" stroke="#333" stroke-width="3"/>'
        return mark, f'<text x="{x1 - 8:.1f}" y="{y}" text-anchor="end"{_CLEAR}>{escape(says)}</text>'
    half = (x0 + x1) / 2
    bars = (
        f'<rect x="{x0:.1f}" y="{top + 6}" width="{half - x0:.1f}" height="24" fill="{first}"/>'
        f'<rect x="{half:.1f}" y="{top + 6}" width="{x1 - half:.1f}" height="24" fill="{second}"/>'
    )
    labels = (
        f'<text x="{x0 - 5:.1f}" y="{y}" text-anchor="end"{_CLEAR}>{digits(near)}</text>'
        f'<text x="{x1 + (9 if clipped else 5):.1f}" y="{y}">{digits(far)}{"+" if open_end else ""}</text>'
    )
    return bars + (_jagged(x1, top + 6) if clipped else ""), labels


def _jagged(x: float, top: float) -> str:
    """Cut a bar's end to teeth: it goes on beyond what was looked at."""
    teeth = " ".join(f"{x + (5.0 if i % 2 else 0.0):.1f},{top + 4 * i:.1f}" for i in range(7))
    return f'<polyline points="{teeth}" fill="none" stroke="#fff" stroke-width="4"/>'


def _axis(scale: _Scale, foot: float) -> str:
    marks = []
    at = 0.0
    while at <= scale.high:
        x = scale.x(at)
        marks.append(
            f'<line x1="{x:.1f}" y1="{_TOP}" x2="{x:.1f}" y2="{foot}" stroke="#dde1e5"/>'
            f'<text x="{x:.1f}" y="{foot + 16}" text-anchor="middle" font-size="12">{digits(at)}</text>'
        )
        at = round(at + scale.step, 9)
    says = "factor: times the cutting load at which it lets go"
    middle = (_LEFT + _WIDE - _RIGHT) / 2
    place = f'x="{middle:.0f}" y="{foot + 34}" text-anchor="middle"'
    return "".join(marks) + f'<text {place} font-size="12" fill="#555">{says}</text>'


def _least(scale: _Scale, hold: HoldFound, foot: float) -> str:
    x = scale.x(hold.least_factor)
    return (
        f'<line x1="{x:.1f}" y1="{_TOP - 6}" x2="{x:.1f}" y2="{foot}" stroke="#b0182c" stroke-width="2" '
        f'stroke-dasharray="6 4"/><text x="{x:.1f}" y="{_TOP - 10}" text-anchor="middle" font-size="12" '
        f'fill="#b0182c">asked: {digits(hold.least_factor)}</text>'
    )


def _key() -> str:
    return "".join(
        f'<rect x="{x}" y="6" width="14" height="14" fill="{colour}"/>'
        f'<text x="{x + 20}" y="18" font-size="12">{says}</text>'
        for x, colour, says in ((500, _AT_LOW, "input at its low end"), (660, _AT_HIGH, "at its high end"))
    )
