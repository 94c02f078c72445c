"""Sections that the page and the terminal share: what is set and read, hardening, and an assembly."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from html import escape

from markupsafe import Markup

from fixturecheck.report.markup import Cell, Table, render, svg, table_of
from fixturecheck.report.order import numbered, stop_of
from fixturecheck.result import Result
from fixturecheck.result.dials import CutDials, PassPlan, Side
from fixturecheck.result.finding import Kind
from fixturecheck.result.hardening import Curve, HardeningFound, SizeChange, SteelTempered
from fixturecheck.result.rest import BodyFree, PairState, Touching
from fixturecheck.units import Writing
from fixturecheck.wording.motion import contact_words, freedoms_words, leaves_words
from fixturecheck.wording.sentences import Together, listed, plural, sentence, shown
from fixturecheck.wording.settings import (
    move_words,
    reading_words,
    shown_on,
    spot_words,
    temperature_words,
    tempered_words,
    time_words,
    turns_words,
)

_WIDE, _HIGH = 640.0, 320.0
_LEFT, _RIGHT, _TOP, _FOOT = 58.0, 58.0, 42.0, 62.0
_INK, _HARD, _TOUGH, _BAND = "#444", "#1f4e79", "#a8641e", "#dfe8f0"
_AIR_C, _AIR_HRC = 25.0, 3.0
Scale = Callable[[float], float]
"""The place of a quantity along an axis."""
Stops = dict[tuple[Kind | None, tuple[str, ...]], str]
"""The stop of the 3-D view for each finding, by its kind and what it is about."""
Folded = Callable[[str], list[str]]
_HEADS: Mapping[Kind, str] = {
    Kind.OVERLAP: "overlap",
    Kind.TOUCH: "touch",
    Kind.CLEAR: "clear, by {within} or less",
    Kind.FREE: "free to move, each body alone, all others held",
}
_MOST_ROWS = 40


def dials_section(result: Result) -> Markup:
    """Return the section of the page that tells what the dials read.

    Parameters
    ----------
    result : Result
        Its dials are told, in the units that it is shown in.

    Returns
    -------
    Markup
        HTML.
    """
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
    """Return one line for each cut, for a terminal: what is touched, and the reading of each target.

    Parameters
    ----------
    result : Result
        Its dials are told, in the units that it is shown in.

    Returns
    -------
    list of str
        Not folded; empty where the result has no dials.
    """
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


def _temper_chart(steel: SteelTempered) -> str:
    """Return the curves of a steel as an SVG: hardness in full, toughness dashed, the chosen temper marked.

    The shaded strip is where the wanted hardness is met.
    """
    frame = _Frame(steel)
    pieces = [
        *frame.allowed(steel),
        *frame.axes(tough=bool(steel.curve_j)),
        frame.line(steel.curve_hrc, frame.y_hrc, _HARD, ""),
        frame.line(steel.curve_j, frame.y_j, _TOUGH, "6 4"),
        *frame.chosen(steel),
        *frame.turns(steel),
    ]
    title = f"{steel.steel}: hardness and toughness over temper"
    head = f'<text x="{_LEFT:.0f}" y="14" text-anchor="start" font-weight="600">{escape(title)}</text>'
    return svg(title, (_WIDE, _HIGH), [head, *pieces])


class _Frame:
    """Places in the chart of temperatures, hardness and impact energy."""

    def __init__(self, steel: SteelTempered) -> None:
        temperatures = [c for c, _ in (*steel.curve_hrc, *steel.curve_j)] + [
            steel.temper_c or steel.curve_hrc[0][0]
        ]
        self._low_c, self._high_c = min(temperatures) - _AIR_C, max(temperatures) + _AIR_C
        hardness = [h for _, h in steel.curve_hrc] + [*steel.wanted_hrc]
        self._low_hrc, self._high_hrc = min(hardness) - _AIR_HRC, max(hardness) + _AIR_HRC
        self._high_j = 1.3 * max((j for _, j in steel.curve_j), default=1.0)
        self._base = _HIGH - _FOOT

    def x(self, temper_c: float) -> float:
        """Return the place of a temper across."""
        return _LEFT + (temper_c - self._low_c) / (self._high_c - self._low_c) * (_WIDE - _LEFT - _RIGHT)

    def y_hrc(self, hardness_hrc: float) -> float:
        """Return the place of a hardness upward."""
        return self._up((hardness_hrc - self._low_hrc) / (self._high_hrc - self._low_hrc))

    def y_j(self, energy_j: float) -> float:
        """Return the place of an impact energy upward."""
        return self._up(energy_j / self._high_j)

    def _up(self, share: float) -> float:
        return self._base - share * (self._base - _TOP)

    def line(self, curve: Curve, y: Scale, colour: str, dashes: str) -> str:
        """Return a curve with its points; empty without one."""
        if not curve:
            return ""
        way = " ".join(f"{self.x(c):.1f},{y(v):.1f}" for c, v in curve)
        dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
        dots = "".join(
            f'<circle cx="{self.x(c):.1f}" cy="{y(v):.1f}" r="2.6" fill="{colour}"/>' for c, v in curve
        )
        return f'<polyline points="{way}" fill="none" stroke="{colour}" stroke-width="2"{dashed}/>{dots}'

    def allowed(self, steel: SteelTempered) -> Iterator[str]:
        """Yield the strips of tempers at which the wanted hardness is met."""
        for low_c, high_c in steel.allowed_c:
            wide, high = max(self.x(high_c) - self.x(low_c), 1.5), self._base - _TOP
            size = f'width="{wide:.1f}" height="{high:.1f}"'
            yield f'<rect x="{self.x(low_c):.1f}" y="{_TOP}" {size} fill="{_BAND}"/>'

    def axes(self, *, tough: bool) -> Iterator[str]:
        """Yield the axes: temper below, hardness at the left, impact energy at the right."""
        right = _WIDE - _RIGHT
        yield f'<path d="M{_LEFT} {_TOP} V{self._base} H{right}" fill="none" stroke="{_INK}"/>'
        for c in range(0, 1000, 100):
            if self._low_c <= c <= self._high_c:
                at, fahrenheit = f"{self.x(c):.1f}", f"{c * 1.8 + 32:.0f} °F"
                yield f'<text x="{at}" y="{self._base + 17}">{c} °C</text>'
                yield f'<text x="{at}" y="{self._base + 31}" fill="#666">{fahrenheit}</text>'
                yield f'<path d="M{at} {self._base} v4" stroke="{_INK}"/>'
        for h in range(0, 80, 5):
            if self._low_hrc <= h <= self._high_hrc:
                yield f'<text x="{_LEFT - 7}" y="{self.y_hrc(h) + 4:.1f}" text-anchor="end">{h}</text>'
        yield f'<text x="{_LEFT - 8}" y="{_TOP - 9}" fill="{_HARD}" text-anchor="middle">HRC</text>'
        step = 20 if self._high_j > 60 else 10
        for j in range(0, int(self._high_j) + 1, step) if tough else ():
            yield f'<text x="{right + 7}" y="{self.y_j(j) + 4:.1f}" text-anchor="start">{j}</text>'
        if tough:
            yield f'<path d="M{right} {_TOP} V{self._base}" stroke="{_INK}"/>'
            yield f'<text x="{right + 12}" y="{_TOP - 9}" fill="{_TOUGH}">J</text>'
        says = "tempering temperature; full line: hardness"
        says += "; dashed: impact energy of a notched bar" if tough else ""
        yield f'<text x="{(_LEFT + right) / 2:.0f}" y="{_HIGH - 8}" fill="#666">{says}</text>'

    def chosen(self, steel: SteelTempered) -> Iterator[str]:
        """Yield the chosen temper with its hardness."""
        if steel.temper_c is None or not steel.hardness_hrc:
            return
        at, hard = self.x(steel.temper_c), sum(steel.hardness_hrc) / 2
        yield f'<path d="M{at:.1f} {_TOP} V{self._base}" stroke="{_INK}" stroke-dasharray="2 3"/>'
        spots = [self.y_hrc(hard)] + ([] if steel.energy_j is None else [self.y_j(steel.energy_j)])
        ring = f'r="6" fill="none" stroke="{_INK}" stroke-width="2"'
        yield from (f'<circle cx="{at:.1f}" cy="{spot:.1f}" {ring}/>' for spot in spots)
        says = escape(f"{temperature_words(steel.temper_c)}: {hard:.3g} HRC")
        held = min(max(at, _LEFT + 80), _WIDE - _RIGHT - 80)
        yield f'<text x="{held:.1f}" y="{_TOP - 9}" font-weight="600">{says}</text>'

    def turns(self, steel: SteelTempered) -> Iterator[str]:
        """Yield the peaks and troughs of toughness by name."""
        for turn, temper_c, energy_j in steel.turns:
            off = -10 if turn == "peak" else 18
            yield (
                f'<text x="{self.x(temper_c):.1f}" y="{self.y_j(energy_j) + off:.1f}" font-size="11" '
                f'fill="{_TOUGH}">{turn}</text>'
            )


def hardening_section(result: Result) -> Markup:
    """Return the section of a result whose set-up states a hardening.

    Parameters
    ----------
    result : Result
        What it found of hardening is told, in the units that it is shown in.

    Returns
    -------
    Markup
        HTML; empty where no hardening is stated.
    """
    found, write = result.hardening, Writing(units=result.shown_in)
    if found is None:
        return Markup("")
    return render(
        "hardening.html",
        steels=[
            {
                "says": sentence(f"{tempered_words(s)}. {s.process}: {s.says}; {s.surface}"),
                "chart": Markup(_temper_chart(s)),  # noqa: S704 -- ours, with its texts escaped
            }
            for s in found.steels
        ],
        sizes=_sizes(found, write) if found.sizes else None,
        spots=[sentence(spot_words(s, write)) for s in found.spots],
        missing=[f"{of}: {why}" for of, why in found.missing],
    )


def _sizes(found: HardeningFound, write: Writing) -> Table:
    """Return the table of sizes with their change and what is left for it."""
    rows = [
        (
            Cell(lines=(size.face,), below=f"to {size.to}"),
            write.length(size.size_mm),
            Cell(
                lines=(_um(size.usual_mm, write),),
                below=f"{_um(size.low_mm, write)} to {_um(size.high_mm, write)}",
            ),
            write.gap(size.limit_mm * 1e3),
            _left(size, write),
        )
        for size in found.sizes
    ]
    return table_of(("face", "size", "change", "may change by", "left to grind off after"), rows, 1, 2, 3, 4)


def _um(change_mm: float, write: Writing) -> str:
    return f"{write.number(change_mm * 1e3, 'um', '+.3g')} {write.name('um')}"


def _left(size: SizeChange, write: Writing) -> Cell:
    need = write.length(size.needed_mm, ".2f", "up")
    if not size.sides:
        return Cell(lines=("none",), below=f"would need {need}")
    return Cell(lines=(write.length(size.left_mm, "g"),), below=f"needs {need}")


def touching_section(result: Result, faces: Markup) -> Markup:
    """Return how the bodies of an assembly stand to each other; empty where no assembly was asked about.

    Parameters
    ----------
    result : Result
        What it found of an assembly is told, in the units that it is shown in.
    faces : Markup
        The list of contacts face by face, which stands folded at its end.

    Returns
    -------
    Markup
        HTML.
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
            *_ways_free(b, write),
        )
        for b in bodies
    ]
    marks = [stops[Kind.FREE, (b.body,)] for b in bodies]
    return table_of(("body", "touches", "on its contacts it", "away from them it"), rows, 1, stops=marks)


def _ways_free(body: BodyFree, write: Writing) -> tuple[str | Cell, str]:
    if body.unknown:
        return Cell(lines=("not known",), below=body.unknown), ""
    if not body.touches:
        return "touches nothing", "goes anywhere"
    return freedoms_words(body, write) or "neither slides nor turns", leaves_words(body)


def touch_lines(result: Result, folded: Folded) -> list[str]:
    """Return the lines about an assembly; none where no assembly was asked about.

    Parameters
    ----------
    result : Result
        What it found of an assembly is told, in the units that it is shown in.
    folded : callable
        Folds a line to the width of the terminal, indented.

    Returns
    -------
    list of str
        An empty line before each head.
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
