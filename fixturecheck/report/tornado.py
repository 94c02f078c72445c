"""What drives a factor of safety, drawn as bars in a picture that is part of the page."""

from __future__ import annotations

import math
from html import escape

from fixturecheck.hold_result import HoldFound, PartHeld
from fixturecheck.wording.hold import digits, input_span

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
