"""A spread drawn as bars for the middle of a face and a line for its corners, part of the page."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from decimal import Decimal
from html import escape

from fixturecheck.result import TargetSpread
from fixturecheck.wording.quantity import shown, sized

_WIDE, _HIGH = 640.0, 260.0
_LEFT, _RIGHT, _TOP, _FOOT = 58.0, 20.0, 40.0, 58.0
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
        return _LEFT + (value_um - low) / (high - low) * (_WIDE - _LEFT - _RIGHT)

    def y(count: float) -> float:
        return _HIGH - _FOOT - count / top * (_HIGH - _FOOT - _TOP)

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
        f'<svg viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" role="img" aria-label="{title}" class="histogram" '
        f'style="width:100%;max-width:{_WIDE:.0f}px;height:auto" font-size="12" text-anchor="middle">'
        f'<text x="{_LEFT:.0f}" y="13" text-anchor="start" font-weight="600">{escape(spread.target)}</text>'
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
        f'<text x="{_WIDE - _RIGHT:.0f}" y="13" text-anchor="end" font-size="11" fill="#666">'
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
    base = _HIGH - _FOOT
    yield f'<line x1="{_LEFT}" y1="{base}" x2="{_WIDE - _RIGHT}" y2="{base}" stroke="{_INK}"/>'
    per_unit, unit = sized(1.0, "um", units)
    step = _step((ends_um[1] - ends_um[0]) * per_unit / _TICKS)
    first = math.ceil(ends_um[0] * per_unit / step)
    for k in range(first, math.floor(ends_um[1] * per_unit / step) + 1):
        at = x(k * step / per_unit)
        yield f'<line x1="{at:.1f}" y1="{base}" x2="{at:.1f}" y2="{base + 5}" stroke="{_INK}"/>'
        yield f'<text x="{at:.1f}" y="{base + 18}">{_signed(k * step)}</text>'
    middle = (_LEFT + _WIDE - _RIGHT) / 2
    says = escape(f"{unit} out along its normal; 0 is where it is drawn")
    yield f'<text x="{middle:.0f}" y="{_HIGH - 6}" fill="#666">{says}</text>'


def _signed(number: float) -> str:
    """Return a number on the axis, never in powers of ten; zero has no sign."""
    return f"{Decimal(f'{number:+.6g}'):+f}" if number else "0"


def _upward(y: Scale, top: int, total: int) -> Iterator[str]:
    """Yield the axis of how many draws a class holds, in per cent of all."""
    base = _HIGH - _FOOT
    yield f'<line x1="{_LEFT}" y1="{_TOP}" x2="{_LEFT}" y2="{base}" stroke="{_INK}"/>'
    step = _step(100.0 * top / total / 3)
    for k in range(1, math.floor(100.0 * top / total / step) + 1):
        at = y(k * step * total / 100.0)
        yield f'<line x1="{_LEFT - 5}" y1="{at:.1f}" x2="{_LEFT}" y2="{at:.1f}" stroke="{_INK}"/>'
        yield f'<text x="{_LEFT - 8}" y="{at + 4:.1f}" text-anchor="end">{k * step:.4g} %</text>'
    yield (
        f'<text x="14" y="{(_TOP + base) / 2:.0f}" fill="#666" '
        f'transform="rotate(-90 14 {(_TOP + base) / 2:.0f})">of draws</text>'
    )


def _furthest(spread: TargetSpread, x: Scale, units: str) -> Iterator[str]:
    """Yield a mark on the axis at the furthest either way, with its words below."""
    base = _HIGH - _FOOT
    spots = [(x(v), v) for v in (spread.low_um, spread.high_um)]
    if spots[1][0] - spots[0][0] < 4 * _NEAR:
        spots = [max(spots, key=lambda s: abs(s[1]))]
    for at, value in spots:
        text = escape(f"furthest {shown(value, 'um', units)}")
        held = min(max(at, _LEFT + 46), _WIDE - _RIGHT - 46)
        yield f'<path d="M{at:.1f} {base - 1} l-5 -9 h10 z" fill="{_INK}"/>'
        yield f'<text x="{held:.1f}" y="{base + 33}" font-size="11" fill="{_INK}">{text}</text>'


def _limits(spread: TargetSpread, x: Scale, units: str) -> Iterator[str]:
    """Yield the limits that the face's own zone sets, where it states one."""
    if spread.limit_um is None:
        return
    base = _HIGH - _FOOT
    for value in (-spread.limit_um, spread.limit_um):
        text = escape(f"limit {shown(value, 'um', units)}")
        yield (
            f'<line x1="{x(value):.1f}" y1="{_TOP - 6}" x2="{x(value):.1f}" y2="{base}" stroke="{_RED}" '
            'stroke-width="1.5" stroke-dasharray="5 3"/>'
        )
        # Two limits close together keep their words apart.
        anchor = "end" if value < 0 else "start"
        held = min(x(value) + (4 if value < 0 else -4), _WIDE - _RIGHT - _NEAR)
        yield (
            f'<text x="{held:.1f}" y="{_TOP - 11}" font-size="11" fill="{_RED}" text-anchor="{anchor}">'
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
