"""A spread drawn as bars, in a picture that is part of the page."""

from __future__ import annotations

from html import escape

from fixturecheck.report.quantity import shown
from fixturecheck.result import TargetSpread

_WIDE, _HIGH, _FOOT, _SIDE = 600.0, 200.0, 34.0, 40.0


def histogram(spread: TargetSpread, units: str) -> str:
    """Return the draws of one target as an SVG: bars, zero, the limits where stated, the worst as ticks."""
    low, high = _range_um(spread)
    top = max(spread.counts, default=1) or 1

    def x(value_um: float) -> float:
        return _SIDE + (value_um - low) / (high - low) * (_WIDE - 2 * _SIDE)

    base = _HIGH - _FOOT
    bars = []
    for left, right, count in zip(spread.edges_um[:-1], spread.edges_um[1:], spread.counts, strict=True):
        tall = count / top * (base - 24.0)
        bars.append(
            f'<rect x="{x(left):.1f}" y="{base - tall:.1f}" width="{max(x(right) - x(left) - 0.6, 0.4):.1f}" '
            f'height="{tall:.1f}"/>'
        )
    marks = [_mark(x(v), base, shown(v, "um", units), "worst") for v in (spread.low_um, spread.high_um)]
    if low < 0.0 < high:
        marks.append(_mark(x(0.0), base, "0", "nominal"))
    if spread.limit_um is not None:
        marks += [_limit(x(v), base) for v in (-spread.limit_um, spread.limit_um)]
    title = escape(f"Spread of {spread.target}: {sum(spread.counts)} draws")
    return (
        f'<svg viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" role="img" aria-label="{title}" class="histogram" '
        'style="width:100%;max-width:600px;height:auto" font-size="12" text-anchor="middle">'
        f'<g fill="#4080a8">{"".join(bars)}</g>'
        f'<line x1="{_SIDE}" y1="{base}" x2="{_WIDE - _SIDE}" y2="{base}" stroke="#444"/>'
        f"{''.join(marks)}</svg>"
    )


def _range_um(spread: TargetSpread) -> tuple[float, float]:
    """Return the ends of the axis: everything shown, with a little air."""
    shown_um = [spread.low_um, spread.high_um, spread.edges_um[0], spread.edges_um[-1]]
    if spread.limit_um is not None:
        shown_um += [-spread.limit_um, spread.limit_um]
    air = 0.03 * max(max(shown_um) - min(shown_um), 1e-3)
    return min(shown_um) - air, max(shown_um) + air


def _mark(at: float, base: float, label: str, what: str) -> str:
    return (
        f'<line x1="{at:.1f}" y1="{base}" x2="{at:.1f}" y2="{base + 5}" stroke="#444"/>'
        f'<text x="{at:.1f}" y="{base + 18}">{escape(label)}</text>'
        f'<text x="{at:.1f}" y="{base + 31}" font-size="10" fill="#666">{what}</text>'
    )


def _limit(at: float, base: float) -> str:
    return (
        f'<line x1="{at:.1f}" y1="16" x2="{at:.1f}" y2="{base}" stroke="#b0182c" stroke-dasharray="4 3"/>'
        f'<text x="{at:.1f}" y="12" font-size="10" fill="#b0182c">limit</text>'
    )
