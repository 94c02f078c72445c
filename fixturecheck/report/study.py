"""A study in the report: in words, as maps of where it is go, and as its page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from markupsafe import Markup
from shapely.geometry.base import BaseGeometry

from fixturecheck.arrays import Floats
from fixturecheck.report.build_files import markdown_cell, markdown_table, xml_document, xml_text
from fixturecheck.report.markup import Cell, Table, render_page, svg, table_of
from fixturecheck.result.finding import Verdict
from fixturecheck.study.model import (
    Flip,
    ParameterValue,
    QuestionMargin,
    Study,
    StudyFound,
    StudyParameter,
    Take,
    VariantRow,
    all_best_of,
)
from fixturecheck.wording.sentences import SIGNS, plural, shown, verdict_word, wide_spaces

WIDE, HIGH = 640.0, 460.0
_LEFT, _RIGHT, _TOP, _FOOT = 78.0, 24.0, 28.0, 62.0
_PAINT = {
    Verdict.GO: "#7fb9a2",
    Verdict.CAUTION: "#e2b866",
    Verdict.NO_GO: "#d98a93",
    Verdict.UNKNOWN: "#b4b4c2",
}
_MOST_SIGNS = 400
_MOST_MAPS = 6
_MOST_TICKS = 8
_NAME_PX = 8.5
"""Room for one letter of an axis's name."""


def _numeric(study: Study) -> list[StudyParameter]:
    """Return the parameters whose values are numbers, which have a place on an axis."""
    return [p for p in study.parameters if all(_is_number(row[0]) for row in p.choices)]


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def region_map(study: Study, rows: Sequence[VariantRow], best: VariantRow | None) -> str:
    """Return the map of the first two numeric parameters, or the strip of one, as SVG; empty without one.

    Each variant stands for what is nearest to it; the line is where the verdict turns to passing.

    Parameters
    ----------
    study : Study
        As stated.
    rows : sequence of VariantRow
        Variants to show.
    best : VariantRow or None
        The best variant; None where there is none.

    Returns
    -------
    str
        SVG.
    """
    axes = _numeric(study)[:2]
    if not axes or not rows:
        return ""
    points = np.array([[_number(row, p) for p in axes] + [0.0] * (2 - len(axes)) for row in rows])
    low, high = points.min(axis=0), points.max(axis=0)
    span = np.where(high > low, high - low, 1.0)
    unit = (points - low) / span
    cells = _cells(unit)
    pieces = [_cell(cells[i], rows[i].verdict) for i in range(len(rows))]
    pieces += _boundary(cells, [study.passes(r.verdict) for r in rows])
    if len(rows) <= _MOST_SIGNS:
        pieces += [_sign(unit[i], rows[i], best) for i in range(len(rows))]
    names = [p.name for p in axes]
    pieces += _axis_across(names[0], _ticks(points[:, 0]))
    pieces += _axis_up(names[1], _ticks(points[:, 1])) if len(axes) > 1 else []
    title = f"Where {study.name} is go, over {' and '.join(names)}"
    return svg(title, (WIDE, HIGH), pieces, font_px=13)


def _number(row: VariantRow, parameter: StudyParameter) -> float:
    value = row.variant.values[parameter.name]
    return float(value) if isinstance(value, int | float) else 0.0


def _cells(unit: Floats) -> list[BaseGeometry]:
    """Return for each point (n, 2) of the unit square what of the square is nearest to it."""
    square = shapely.box(-0.05, -0.05, 1.05, 1.05)
    spots, which = np.unique(np.round(unit, 9), axis=0, return_inverse=True)
    if len(spots) == 1:
        return [square] * len(unit)
    drawn = shapely.voronoi_polygons(shapely.multipoints(spots), extend_to=square, ordered=True)
    parts = [part.intersection(square) for part in drawn.geoms]
    return [parts[i] for i in which.ravel()]


def _cell(cell: BaseGeometry, verdict: Verdict) -> str:
    return f'<path d="{_path(cell)}" fill="{_PAINT[verdict]}" stroke="#fff" stroke-width="0.6"/>'


def _boundary(cells: Sequence[BaseGeometry], passes: Sequence[bool]) -> list[str]:
    """Return the line between what passes and what does not."""
    good = shapely.union_all([c for c, ok in zip(cells, passes, strict=True) if ok])
    bad = shapely.union_all([c for c, ok in zip(cells, passes, strict=True) if not ok])
    between = shapely.intersection(good, bad, grid_size=1e-9)
    lines = [line for line in shapely.get_parts(between) if line.geom_type == "LineString"]
    return [
        f'<path d="{_line(line.coords)}" fill="none" stroke="#1c222a" stroke-width="2.4"/>' for line in lines
    ]


def _path(cell: BaseGeometry) -> str:
    rings = [p.exterior.coords for p in shapely.get_parts(cell) if p.geom_type == "Polygon"]
    return " ".join(f"{_line(ring)} Z" for ring in rings)


def _line(coords: Sequence[Sequence[float]]) -> str:
    return "M" + " L".join(f"{_x(c[0]):.1f} {_y(c[1]):.1f}" for c in coords)


def _x(share: float) -> float:
    return _LEFT + (share + 0.05) / 1.1 * (WIDE - _LEFT - _RIGHT)


def _y(share: float) -> float:
    return HIGH - _FOOT - (share + 0.05) / 1.1 * (HIGH - _FOOT - _TOP)


def _sign(at: Floats, row: VariantRow, best: VariantRow | None) -> str:
    x, y = _x(float(at[0])), _y(float(at[1]))
    ring = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="11" fill="none" stroke="#1c222a" stroke-width="2"/>'
    text = f'<text x="{x:.1f}" y="{y + 4.5:.1f}" fill="#1c222a">{SIGNS[row.verdict]}</text>'
    return text + (ring if best is not None and row.key == best.key else "")


def _ticks(values: Floats) -> list[tuple[float, float]]:
    """Return the values that are written on an axis, each with its share of it: all, or the two ends."""
    marked = np.unique(values)
    low, high = float(marked[0]), float(marked[-1])
    written = marked.tolist() if len(marked) <= _MOST_TICKS else [low, high]
    return [(value, (value - low) / (high - low) if high > low else 0.0) for value in written]


def _axis_across(name: str, ticks: Sequence[tuple[float, float]]) -> list[str]:
    foot = HIGH - _FOOT + 18
    return [
        *(f'<text x="{_x(share):.1f}" y="{foot:.1f}">{value:.4g}</text>' for value, share in ticks),
        f'<text x="{(_x(0) + _x(1)) / 2:.1f}" y="{foot + 24:.1f}" font-weight="600">{escape(name)}</text>',
    ]


def _axis_up(name: str, ticks: Sequence[tuple[float, float]]) -> list[str]:
    middle = (_y(0) + _y(1)) / 2
    return [
        *(
            f'<text x="{_LEFT - 8:.1f}" y="{_y(share) + 4:.1f}" text-anchor="end">{value:.4g}</text>'
            for value, share in ticks
        ),
        f'<text x="18" y="{middle:.1f}" font-weight="600" transform="rotate(-90 18 {middle:.1f})">'
        f"{escape(name)}</text>",
    ]


def parallel_plot(study: Study, rows: Sequence[VariantRow]) -> str:
    """Return a line for each variant across an axis for each numeric parameter, as SVG; empty for two.

    Parameters
    ----------
    study : Study
        As stated.
    rows : sequence of VariantRow
        Variants to show.

    Returns
    -------
    str
        SVG; empty where fewer than three parameters are numbers.
    """
    axes = _numeric(study)
    if len(axes) < 3 or not rows:
        return ""
    points = np.array([[_number(row, p) for p in axes] for row in rows])
    low, high = points.min(axis=0), points.max(axis=0)
    unit = (points - low) / np.where(high > low, high - low, 1.0)
    # What passes is drawn last, over what does not.
    order = sorted(range(len(rows)), key=lambda i: study.passes(rows[i].verdict))
    pieces = [_across(unit[i], rows[i].verdict, len(axes)) for i in order]
    for k, parameter in enumerate(axes):
        pieces += _upright(k, len(axes), parameter.name, float(low[k]), float(high[k]))
    title = f"Every variant of {study.name} across its parameters"
    return svg(title, (WIDE, HIGH), pieces, font_px=13)


def _across(unit: Floats, verdict: Verdict, axes: int) -> str:
    spots = [(k / (axes - 1), float(v)) for k, v in enumerate(unit)]
    return f'<path d="{_line(spots)}" fill="none" stroke="{_PAINT[verdict]}" stroke-width="1.4"/>'


def _upright(k: int, axes: int, name: str, low: float, high: float) -> Iterator[str]:
    x = _x(k / (axes - 1))
    yield f'<path d="M{x:.1f} {_y(0):.1f} L{x:.1f} {_y(1):.1f}" stroke="#1c222a" stroke-width="1.2"/>'
    yield f'<text x="{x:.1f}" y="{_y(0) + 18:.1f}">{low:.4g}</text>'
    yield f'<text x="{x:.1f}" y="{_y(1) - 8:.1f}">{high:.4g}</text>'
    half = _NAME_PX / 2 * len(name)
    at = max(min(x, WIDE - half), half)  # a long name at either end stays in the picture
    yield f'<text x="{at:.1f}" y="{_y(0) + 40 + 14 * (k % 2):.1f}" font-weight="600">{escape(name)}</text>'


_MOST_UNKNOWN = 5


def study_text(found: StudyFound) -> str:
    """Return what a study found, for the terminal.

    Parameters
    ----------
    found : StudyFound
        The study and its rows.

    Returns
    -------
    str
        Lines, not folded.
    """
    lines = [found.study.name, _counts_words(found), "", best_words(found)]
    lines += _flips_words(found)
    unknown = [r for r in found.sampled if r.verdict is Verdict.UNKNOWN and r.says]
    lines += [
        f"unknown at {_told_words(found.study, r)}: {_decided_words(r)}" for r in unknown[:_MOST_UNKNOWN]
    ]
    lines += [f"and {len(unknown) - _MOST_UNKNOWN} more unknown"] if len(unknown) > _MOST_UNKNOWN else []
    return wide_spaces("\n".join(lines))


def study_junit(found: StudyFound) -> str:
    """Return JUnit XML: a case for each variant, which fails where it does not pass.

    Parameters
    ----------
    found : StudyFound
        The study and its rows; those looked at for flips are left out.

    Returns
    -------
    str
        The text of the file.
    """
    root = ET.Element("testsuites")
    suite = ET.SubElement(root, "testsuite", name=xml_text(found.study.name))
    came = []
    for row in found.sampled:
        case = ET.SubElement(
            suite,
            "testcase",
            name=xml_text(_values_words(row)),
            classname=xml_text(found.study.named(row.variant.setup)),
            time="0",
        )
        if not found.study.passes(row.verdict):
            came.append("error" if row.verdict is Verdict.UNKNOWN else "failure")
            kind, says = str(row.verdict), xml_text(_decided_words(row))
            ET.SubElement(case, came[-1], type=kind, message=says).text = xml_text(row.driver)
    counts = {"tests": len(found.sampled), "failures": came.count("failure"), "errors": came.count("error")}
    for key, count in counts.items():
        suite.set(key, str(count))
    return xml_document(root)


def study_markdown(found: StudyFound) -> str:
    """Return a study in Markdown for the page of a job: what it came to, and its variants in a table.

    Parameters
    ----------
    found : StudyFound
        The study and its rows.

    Returns
    -------
    str
        Lines of Markdown.
    """
    heads, rows = _columns(found)
    lines = [
        f"## {verdict_word(found.verdict)}: {markdown_cell(found.study.name)}",
        "",
        f"{_counts_words(found)}.",
        "",
        *(f"- {markdown_cell(says)}" for says in (best_words(found), *_flips_words(found))),
        "",
        *markdown_table(heads, rows),
        "",
    ]
    return wide_spaces("\n".join(lines))


def _flips_words(found: StudyFound) -> list[str]:
    """Return how far each parameter can go."""
    return [flip_words(found.study, f) for f in found.flips]


def _counts_words(found: StudyFound) -> str:
    """Return how many variants there are, and what they came to."""
    verdicts = [r.verdict for r in found.sampled]
    counts = ", ".join(f"{verdicts.count(v)} {v}" for v in Verdict if v in verdicts)
    return f"{plural(len(verdicts), 'variant')}: {counts}"


def best_words(found: StudyFound) -> str:
    """Return the variant with the greatest least margin, and how many are as good.

    Parameters
    ----------
    found : StudyFound
        The study and its rows.

    Returns
    -------
    str
        One or two sentences.
    """
    best, *others = all_best_of(found.study, found.sampled) or (None,)
    if best is None:
        return "No variant passes."
    least = best.least(found.telling)
    margin = (
        ""
        if least is None
        else f": its least margin is {_margin_words(least, best.units)}, of {least.question}"
    )
    as_good = f"{len(others)} others are" if len(others) > 1 else "Another is"
    tied = f" {as_good} as good; it is the first of them in the study's order." if others else ""
    return f"Best: {_told_words(found.study, best)}{margin}.{tied}"


def _told_words(study: Study, row: VariantRow) -> str:
    """Return the values of a variant, and of which set-up it is where a study has several."""
    several = len(study.setups) > 1 and bool(row.variant.values)
    return f"{study.named(row.variant.setup)} with {_values_words(row)}" if several else _values_words(row)


def _values_words(row: VariantRow) -> str:
    """Return the values of a variant."""
    return (
        ", ".join(f"{name} = {_value_text(value)}" for name, value in row.variant.values.items())
        or row.variant.setup
    )


def _value_text(value: ParameterValue) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _decided_words(one: VariantRow | Flip) -> str:
    """Return what the finding says that decides, and of a job in which operation."""
    return f"operation {one.operation}: {one.says}" if one.operation else one.says


def flip_words(study: Study, flip: Flip) -> str:
    """Return how far a parameter can go, and in which set-up where a study has several.

    Parameters
    ----------
    study : Study
        As stated.
    flip : Flip
        How far one parameter goes one way.

    Returns
    -------
    str
        A sentence.
    """
    name = f"{study.named(flip.setup)}: {flip.parameter}" if len(study.setups) > 1 else flip.parameter
    way = "up" if flip.upward else "down"
    there = "" if flip.passes_as is Verdict.GO else f", where it is {flip.passes_as}"
    if flip.fails_at is None:
        return f"{name} can go {way} to {flip.passes_at:.6g}, the end of its range{there}."
    says = f": {_decided_words(flip)}" if flip.says else "."
    fails = f"at {flip.fails_at:.6g} it is {flip.verdict}{says}"
    return f"{name} can go {way} to {flip.passes_at:.6g}{there}; {fails}"


def study_page(found: StudyFound) -> str:
    """Return the page of a study.

    Parameters
    ----------
    found : StudyFound
        The study and its rows.

    Returns
    -------
    str
        HTML.
    """
    return render_page(
        "study.html",
        title=found.study.name,
        counts=_counts_words(found),
        best=best_words(found),
        verdict=str(found.verdict),
        flips=_flips_words(found),
        maps=list(_maps(found)),
        table=_table(found),
        apart="All rows, and those that were looked at for flips, are in table.csv.",
    )


def _maps(found: StudyFound) -> Iterator[tuple[str, Markup]]:
    """Yield for each set-up its maps and the plot of all, each with what it is of."""
    for setup in found.study.setups:
        rows = [r for r in found.sampled if r.variant.setup == setup]
        name = found.study.named(setup)
        for others, some in slices(found.study, rows, found.best):
            told = ", ".join((name, *(f"{key} = {_value_text(value)}" for key, value in others.items())))
            if drawn := region_map(found.study, some, found.best):
                yield told, Markup(drawn)  # noqa: S704 -- names in it are escaped where it is drawn
        if drawn := parallel_plot(found.study, rows):
            yield name, Markup(drawn)  # noqa: S704 -- as above


def slices(
    study: Study, rows: Sequence[VariantRow], best: VariantRow | None
) -> list[tuple[Mapping[str, ParameterValue], list[VariantRow]]]:
    """Return the variants that go into one map each, with what else is the same in all of them.

    Where all combinations are taken, several lie at each place of a map: there is one for each combination
    of what has no axis in it, that of the best variant first. A sample has no two at a place.

    Parameters
    ----------
    study : Study
        As stated.
    rows : sequence of VariantRow
        Variants to share out.
    best : VariantRow or None
        The variant whose map comes first; None where there is none.

    Returns
    -------
    list of (mapping of str to value, list of VariantRow)
        What is the same in a map, by parameter, and its variants; `_MOST_MAPS` at most.
    """
    across = {p.name for p in _numeric(study)[:2]}
    groups: dict[tuple[tuple[str, ParameterValue], ...], list[VariantRow]] = {}
    for row in rows:
        others = {n: v for n, v in row.variant.values.items() if n not in across}
        groups.setdefault(tuple(others.items()) if study.take is Take.ALL else (), []).append(row)
    ordered = sorted(groups.items(), key=lambda group: best not in group[1])
    return [(dict(others), some) for others, some in ordered[:_MOST_MAPS]]


_AFTER_VERDICT = ("decides", "found", "limit", "least margin")


def _margin_words(margin: QuestionMargin, units: str) -> str:
    """Return a margin in its unit and as a share of what it is held against."""
    amount = shown(margin.least, margin.unit, units)
    return amount if margin.share is None else f"{amount} ({100 * margin.share:.3g} %)"


def _decided_cells(row: VariantRow, least: QuestionMargin | None) -> tuple[str, str, str, str]:
    """Return what decides a variant, its number and limit, and its least margin.

    Nothing decides a variant that is go; what has the least to spare is told of it.
    """
    margin = "" if least is None else _margin_words(least, row.units)
    if row.verdict is Verdict.GO:
        return ("" if least is None else f"least to spare: {least.question}", "", "", margin)
    found, limit = ("" if v is None else shown(v, row.unit, row.units) for v in (row.value, row.limit))
    return _decided_words(row), found, limit, margin


def _columns(found: StudyFound) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return the heads of the table of variants, and a row of texts for each variant of the sample."""
    names = [p.name for p in found.study.parameters]
    telling = found.telling
    several = ("set-up",) if len(found.study.setups) > 1 else ()
    rows = [
        (
            *(found.study.named(row.variant.setup) for _ in several),
            *(_value_text(row.variant.values[n]) for n in names),
            str(row.verdict),
            *_decided_cells(row, row.least(telling)),
        )
        for row in found.sampled
    ]
    return (*several, *names, "verdict", *_AFTER_VERDICT), rows


def _table(found: StudyFound) -> Table:
    """Return the table of the page: what does not pass stands out."""
    heads, rows = _columns(found)
    at = len(heads) - len(_AFTER_VERDICT) - 1
    cells: list[tuple[str | Cell, ...]] = []
    for texts, row in zip(rows, found.sampled, strict=True):
        verdict = Cell(lines=(texts[at],), strong=not found.study.passes(row.verdict))
        cells.append((*texts[:at], verdict, *texts[at + 1 :]))
    return table_of(heads, cells)
