"""The report as one page that needs nothing but itself: verdict first, then what is wrong, then the rest."""

from __future__ import annotations

import base64
import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from html import escape
from importlib.metadata import version
from importlib.resources import files

from fixturecheck.report import statements as facts
from fixturecheck.report.hold_page import hold_captions, hold_section
from fixturecheck.report.order import LOCATION, MOST_PICTURES, OVERVIEW, REST, Numbered, numbered
from fixturecheck.report.pictures.figures import SIGNS, verdict_words
from fixturecheck.report.rest_page import AT_REST, LOCATES, rest_section
from fixturecheck.report.statements import assumed_section, banner, counted, questions, setup_section
from fixturecheck.report.viewer.view import ViewerMarkup
from fixturecheck.result import Result
from fixturecheck.result.contact import Contact, ContactKind, CutMade
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing
from fixturecheck.wording import groups as words
from fixturecheck.wording.groups import Together
from fixturecheck.wording.quantity import shown, shown_span, typeset_page

_MOST_ROWS = 300


def page(
    result: Result,
    setup: Setup,
    *,
    pictures: Mapping[str, bytes],
    why_missing: str | None = None,
    view: ViewerMarkup | None = None,
) -> str:
    """Return the report of a result.

    Parameters
    ----------
    pictures : mapping of str to bytes
        PNG files by name; they are put into the page.
    why_missing : str or None
        Why there are no pictures, or not all.
    view : ViewerMarkup or None
        The set-up in three dimensions; None leaves it out.
    """
    rows = numbered(result)
    findings = _Findings(result.shown_in, pictures)
    extra = (
        (result.holding is not None, hold_section(result, _hold_figures(result, pictures))),
        (result.rest is not None, rest_section(result, _rest_figures(pictures, result.shown_in))),
    )
    parts = [
        _banner(result, rows),
        '<div class="page">' if view else "",
        view.place if view else "",
        "<main>",
        _overview(result, pictures, why_missing),
        _group("No-go: what to change", [r for r in rows if r.finding.verdict is Verdict.NO_GO], findings),
        _group(
            "What could not be computed", [r for r in rows if r.finding.verdict is Verdict.UNKNOWN], findings
        ),
        _group("No-go, overruled by the set-up", [r for r in rows if r.finding.overruled], findings),
        _group("Cautions: what to watch", [r for r in rows if _plainly(r, Verdict.CAUTION)], findings),
        _too_many(rows),
        _not_asked(result),
        assumed_section(result),
        *(section for asked, section in extra if asked),
        facts.at_the_machine(setup),
        _passed(result, [r for r in rows if _plainly(r, Verdict.GO)]),
        *(section for asked, section in extra if not asked),
        _cuts(result),
        _contacts(result),
        setup_section(setup),
        _sources(result),
        _foot(),
        "</main>",
        "</div>" if view else "",
    ]
    style = files("fixturecheck.report").joinpath("report.css").read_text(encoding="utf-8")
    title = escape(f"{str(result.verdict).upper()}: {result.name}")
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>\n{style}{view.style if view else ''}</style>\n</head>\n<body>\n"
        + typeset_page("\n".join(part for part in parts if part))
        + (f"\n{view.script}" if view else "")
        + "\n</body>\n</html>\n"
    )


def _plainly(row: Numbered, verdict: Verdict) -> bool:
    """Tell whether a finding has a verdict that is its check's own."""
    return row.finding.verdict is verdict and row.finding.overruled is None


def _banner(result: Result, rows: Sequence[Numbered]) -> str:
    listed = counted(rows) or "nothing was checked"
    told = "".join(f"<p>{escape(line)}</p>" for line in banner(result).lines())
    return (
        f'<div class="banner is-{result.verdict}"><div>'
        f'<div class="word">{SIGNS[result.verdict]} {str(result.verdict).upper()}</div>'
        f'<h1>{escape(result.name)}</h1>{told}<p class="counts">{listed}</p></div></div>'
    )


def _not_asked(result: Result) -> str:
    """List the questions that the verdict does not cover, and what would ask them."""
    if not result.not_asked:
        return ""
    items = "".join(
        f"<li>{escape(asked[:1].upper() + asked[1:])}? {escape(how)}.</li>"
        for asked, how in questions(result.not_asked)
    )
    return f"<section><h2>What was not asked</h2>\n<ul>{items}</ul></section>"


def _overview(result: Result, pictures: Mapping[str, bytes], why_missing: str | None) -> str:
    notice = f'<p class="small">Pictures: {escape(why_missing)}.</p>' if why_missing else ""
    if OVERVIEW not in pictures:
        return notice
    drawn = _picture(pictures[OVERVIEW], f"The set-up {result.name}", "The set-up as drawn.")
    return f'<div class="whole-picture">{drawn}</div>{notice}'


def _picture(png: bytes, alternative: str, caption: str) -> str:
    data = base64.b64encode(png).decode("ascii")
    return (
        f'<figure><img src="data:image/png;base64,{data}" width="1200" height="900" '
        f'alt="{escape(alternative)}"><figcaption>{escape(caption)}</figcaption></figure>'
    )


def _rest_figures(pictures: Mapping[str, bytes], units: str) -> dict[str, str]:
    """Return the pictures of the rest and of what locates the work, ready for the page, by file name."""
    step, steps = Writing(units=units).steps()
    said = {REST: AT_REST, LOCATION: LOCATES.format(step=step, steps=steps)}
    return {name: _picture(pictures[name], says, says) for name, says in said.items() if name in pictures}


def _hold_figures(result: Result, pictures: Mapping[str, bytes]) -> dict[str, str]:
    """Return the pictures of the hold, ready for the page, by file name."""
    captions = hold_captions(result.holding, result.shown_in)
    return {name: _picture(pictures[name], says, says) for name, says in captions.items() if name in pictures}


class _Findings:
    """Writes findings one by one, in the units of the set-up and with their pictures."""

    def __init__(self, units: str, pictures: Mapping[str, bytes]) -> None:
        self._units = units
        self._pictures = pictures

    def write(self, row: Numbered) -> str:
        """Return what is told under one number.

        Subject, sentence, figures, change, picture, the others like it, what follows, where it comes from.
        """
        f, told = row.finding, row.together
        several = words.says(told, self._units)
        pieces = [
            f'<article class="{f.verdict}" id="finding-{row.number}" data-stop="{row.number}">',
            f'<header>{_badge(f)}<span class="number">{row.number}</span>'
            f"<h3>{escape(words.asked(f))}: {escape(words.title(told))}</h3></header>",
            f"<p>{escape(several)}</p>" if several else "",
            f"<p>{escape(words.instance(told))}{escape(f.says)}</p>",
            self._figures(row),
            self._change(row),
            self._drawn(row),
            self._like(told, f"{row.number}", 0),
            self._follows(row),
            f'<p class="small">{self._origin(row)}</p>',
            "</article>",
        ]
        return "\n".join(piece for piece in pieces if piece)

    def _figures(self, row: Numbered) -> str:
        f = row.finding
        found = words.span(row.together, self._units)
        limits, margins = (
            tuple(v for v in values if v is not None)
            for values in ((one.limit for one in row.together.all), (one.margin for one in row.together.all))
        )
        named = (
            ("found", found),
            ("limit", shown_span(limits, f.unit, self._units) if limits else ""),
            ("margin", shown_span(margins, f.unit, self._units) if margins else ""),
        )
        cells = [f"<div><dt>{name}</dt><dd>{escape(text)}</dd></div>" for name, text in named if text]
        return f'<dl class="figures">{"".join(cells)}</dl>' if cells else ""

    @staticmethod
    def _change(row: Numbered) -> str:
        f = row.finding
        if f.remedy:
            return f'<p class="change"><strong>What to change:</strong> {escape(f.remedy)}</p>'
        if f.verdict is Verdict.NO_GO:
            return '<p class="small">No change was worked out for this one.</p>'
        return ""

    def _like(self, told: Together, number: str, before: int) -> str:
        """List every finding that is told here, each with its own sentence and change.

        Parameters
        ----------
        number : str
            The number that they are told under.
        before : int
            How many others are told under it before these.
        """
        if not told.like:
            return ""
        rows = []
        for one in told.all:
            found = "" if one.value is None else shown(one.value, one.unit, self._units)
            change = f" Change: {one.remedy}" if one.remedy else ""
            rows.append(((one.subject, one.says + change), found))
        stops = [stop_of(number, before + i) for i in range(len(rows))]
        listed = _table(("each of them", "found"), rows, frozenset({1}), stops)
        return f"<details><summary>All {len(rows)}, one by one</summary>{listed}</details>"

    def _follows(self, row: Numbered) -> str:
        """List what follows from a finding; it is not counted beside it."""
        if not row.follows:
            return ""
        items = []
        before = len(row.together.all)
        for told in row.follows:
            f = told.finding
            text = words.says(told, self._units)
            said = f"{text} {words.instance(told)}{f.says}" if text else words.instance(told) + f.says
            head = f"<strong>{escape(words.asked(f))}: {escape(words.title(told))}</strong>"
            listed = self._like(told, f"{row.number}", before)
            stop = stop_of(f"{row.number}", before)
            items.append(f'<li data-stop="{stop}">{_badge(f)} {head}<br>{escape(said)}{listed}</li>')
            before += len(told.all)
        return (
            '<div class="follows"><p>What follows from it, and is looked at again once it is cured:</p>'
            f"<ul>{''.join(items)}</ul></div>"
        )

    def _drawn(self, row: Numbered) -> str:
        if row.picture is None or row.picture not in self._pictures:
            return ""
        f = row.finding
        alternative = f"{f.check}: {f.subject}. {f.says}"
        return _picture(self._pictures[row.picture], alternative, f"Finding {row.number}, up close.")

    @staticmethod
    def _origin(row: Numbered) -> str:
        f = row.finding
        names = ", ".join(sorted({s.name for s in f.shapes}))
        seen = f" In setup.step: {escape(names)}." if names else ""
        return f"From: {escape(f.source)}.{seen}"


def _badge(finding: Finding) -> str:
    return f'<span class="badge is-{finding.verdict}">{verdict_words(finding)}</span>'


def _group(title: str, rows: Sequence[Numbered], findings: _Findings) -> str:
    if not rows:
        return ""
    return f"<section><h2>{title}</h2>\n" + "\n".join(findings.write(r) for r in rows) + "\n</section>"


def _too_many(rows: Sequence[Numbered]) -> str:
    """Say when there are more findings to draw than pictures."""
    undrawn = [
        r for r in rows if r.finding.verdict is Verdict.NO_GO and r.picture is None and r.finding.shapes
    ]
    if not undrawn:
        return ""
    rest = f"{len(undrawn)} more no-go are in the list only"
    return f'<p class="small">The first {MOST_PICTURES} are drawn; {rest}.</p>'


Cell = str | tuple[str, str]
"""A cell of a table: its text, or its text and what stands small below it."""


def stop_of(number: str, place: int) -> str:
    """Return the stop of the 3-D view that shows the finding at a place among those told under a number."""
    return number if place == 0 else f"{number}.{place}"


def _table(
    heads: Sequence[str],
    rows: Iterable[Sequence[Cell]],
    numbers: frozenset[int],
    stops: Sequence[str] = (),
) -> str:
    """Return a table; the columns in `numbers` are set to the right. Cells are escaped here.

    Parameters
    ----------
    stops : sequence of str
        Stop of the 3-D view for each row; empty where rows are no stops.
    """

    def filled(cell: Cell) -> str:
        if isinstance(cell, str):
            return escape(cell)
        below = f'<div class="small">{escape(cell[1])}</div>' if cell[1] else ""
        return escape(cell[0]) + below

    def row(cells: Sequence[Cell], tag: str) -> str:
        return "".join(
            f"<{tag}{' class=n' if i in numbers else ''}>{filled(cell)}</{tag}>"
            for i, cell in enumerate(cells)
        )

    marks = [f' data-stop="{stop}"' for stop in stops] if stops else itertools.repeat("")
    body = "\n".join(f"<tr{mark}>{row(cells, 'td')}</tr>" for mark, cells in zip(marks, rows, strict=False))
    return (
        f'<div class="wide"><table><thead><tr>{row(heads, "th")}</tr></thead>'
        f"<tbody>\n{body}\n</tbody></table></div>"
    )


def _passed(result: Result, rows: Sequence[Numbered]) -> str:
    """List what is go: check, subject with its sentence, number with its limit."""
    if not rows:
        return ""

    def figure(value: float | None, unit: str, word: str = "") -> str:
        return "" if value is None else word + shown(value, unit, result.shown_in)

    cells: list[Sequence[Cell]] = []
    for told in (r.together for r in rows):
        f = told.finding
        found = words.span(told, result.shown_in), figure(f.limit, f.unit, "limit ")
        about = ", ".join(one.subject for one in told.all)
        cells.append(((f.check, f.kind or ""), (about, words.instance(told) + f.says), found))
    stops = [str(r.number) for r in rows]
    table = _limited(cells, lambda kept: _table(("check", "about", "found"), kept, frozenset({2}), stops))
    return f"<section><h2>Checked, and go</h2>\n{table}</section>"


def _limited(rows: Sequence[Sequence[Cell]], write: Callable[[Sequence[Sequence[Cell]]], str]) -> str:
    """Keep a page readable: long tables are cut, and say so."""
    rest = len(rows) - _MOST_ROWS
    note = f'<p class="small">{rest} more rows are in result.json.</p>' if rest > 0 else ""
    return write(rows[:_MOST_ROWS]) + note


def _cuts(result: Result) -> str:
    if not result.cuts:
        return ""

    def volume(value: float) -> str:
        return shown(value, "mm3", result.shown_in)

    def cells(cut: CutMade) -> Sequence[Cell]:
        made = ", ".join(f"{f.face} {shown(f.share_made, 'share')}" for f in cut.faces)
        radius = "" if cut.corner_radius_mm is None else shown(cut.corner_radius_mm, "mm", result.shown_in)
        corner = f"corner {radius}" if radius else ""
        return (
            (cut.name, f"made: {made}"),
            (volume(cut.removed_mm3), corner),
            volume(cut.leftover_mm3),
            volume(cut.gouge_mm3),
        )

    heads = ("cut", "removed", "left over", "gouged")
    table = _table(heads, [cells(c) for c in result.cuts], frozenset({1, 2, 3}))
    return f"<section><h2>As ground</h2>\n{table}</section>"


def _contacts(result: Result) -> str:
    """List what touches first, then the small gaps."""
    order = {ContactKind.AREA: 0, ContactKind.LINE: 1, ContactKind.POINT: 2, ContactKind.NEAR: 3}
    ranked = sorted(result.contacts, key=lambda c: (order.get(c.kind, 9), c.a, c.b, c.centroid))
    if not ranked:
        return "<section><h2>What touches</h2>\n<p>Nothing touches anything.</p></section>"

    def size(c: Contact) -> str:
        if c.kind in {ContactKind.AREA, ContactKind.NEAR}:
            return shown(c.area_mm2, "mm2", result.shown_in)
        return shown(c.length_mm, "mm", result.shown_in) if c.kind == ContactKind.LINE else ""

    def gap(c: Contact) -> Cell:
        mean, widest = (shown(v, "um", result.shown_in) for v in (c.gap_mean_um, c.gap_max_um))
        return mean, f"to {widest}" if widest != mean else ""

    cells: list[Sequence[Cell]] = [((c.a, f"on {c.b}"), c.kind, size(c), gap(c)) for c in ranked]
    heads = ("where", "kind", "size", "mean gap")
    table = _limited(cells, lambda kept: _table(heads, kept, frozenset({2, 3})))
    return f"<section><h2>What touches</h2>\n{table}</section>"


def _sources(result: Result) -> str:
    if not result.sources:
        return ""
    items = "\n".join(
        f'<li>{escape(s.path)}<br><span class="hash">sha256 {escape(s.sha256)}</span></li>'
        for s in result.sources
    )
    return f"<section><h2>Read from</h2>\n<ul>\n{items}\n</ul></section>"


def _foot() -> str:
    return (
        f"<footer>fixturecheck {escape(version('fixturecheck'))}. Numbers come from the solids as drawn and "
        "the set-up as stated; what was not stated was not checked. The same in full: result.json; the "
        "shapes by name and colour: setup.step.</footer>"
    )
