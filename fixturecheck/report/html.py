"""The report as one page that needs nothing but itself.

The verdict comes first, then what to change, what to watch, the answers in the order of the job, and last in
short what is go.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from importlib.metadata import version
from typing import Any

from markupsafe import Markup

from fixturecheck.report import statements as facts
from fixturecheck.report.hold_page import apart_section, hold_captions, hold_section
from fixturecheck.report.markup import (
    MOST_OPEN,
    Cell,
    Picture,
    Table,
    picture_of,
    render,
    render_page,
    table_of,
)
from fixturecheck.report.order import (
    LOCATION,
    MOST_PICTURES,
    OVERVIEW,
    REST,
    Numbered,
    numbered,
    ranked_contacts,
    stop_of,
    stop_of_contact,
)
from fixturecheck.report.rest_page import AT_REST, LOCATES, rest_section
from fixturecheck.report.shared_sections import dials_section, hardening_section, touching_section
from fixturecheck.report.viewer.things import ViewerMarkup
from fixturecheck.result import Result
from fixturecheck.result.contact import Contact, ContactKind, CutMade
from fixturecheck.result.finding import Finding, Verdict, worst
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing
from fixturecheck.wording import sentences as words
from fixturecheck.wording.sentences import (
    SIGNS,
    Together,
    first_up,
    shown,
    shown_span,
    verdict_word,
    verdict_words,
)


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
    result : Result
        What was found, of a set-up or of an assembly.
    setup : Setup
        The set-up that was checked; nothing is told of it where the result is of an assembly.
    pictures : mapping of str to bytes
        PNG files by name; they are put into the page.
    why_missing : str or None
        Why there are no pictures, or not all.
    view : ViewerMarkup or None
        The set-up in three dimensions; None leaves it out.

    Returns
    -------
    str
        HTML.
    """
    rows = numbered(result)
    findings = _Findings(result.shown_in, pictures)
    return render_page(
        "report.html",
        title=f"{str(result.verdict).upper()}: {result.name}",
        view=view,
        verdict=str(result.verdict),
        sign=SIGNS[result.verdict],
        name=result.name,
        banner=facts.banner(result).lines(),
        overview=_overview(result, pictures),
        why_missing=why_missing,
        told=[(title, [findings.told(r) for r in rows if asked(r)]) for title, asked in _TOLD],
        undrawn=_undrawn(rows),
        most_pictures=MOST_PICTURES,
        sources=result.sources,
        version=version("fixturecheck"),
        **(_of_an_assembly(result) if result.touching else _of_a_setup(result, setup, rows, pictures)),
    )


Values = dict[str, Any]
"""What a template, or a part of one, is filled with."""


def _of_a_setup(
    result: Result, setup: Setup, rows: Sequence[Numbered], pictures: Mapping[str, bytes]
) -> Values:
    """Return what the page tells of a set-up that was checked."""
    sections = (
        _touches(result),
        rest_section(result, _rest_pictures(pictures, result.shown_in)),
        hold_section(result, _hold_pictures(result, pictures)),
        _as_ground(result) if result.cuts else None,
        dials_section(result) if result.dials else None,
        apart_section(result),
        hardening_section(result) if result.hardening is not None else None,
    )
    return {
        "counts": facts.counted_words(rows) or "nothing was checked",
        "answers": _answers(result, rows),
        "answered": [section for section in sections if section],
        "at_the_machine": facts.at_the_machine(setup),
        "go": _go(result, [r for r in rows if _plainly(r, Verdict.GO)]),
        "guessed": facts.assumed_table(result, guessed=True),
        "assumed": facts.assumed_table(result, guessed=False),
        "stated": facts.stated_table(setup),
        "by_seats": facts.by_seats_table(setup),
        "rests_on": "the solids as drawn and the set-up as stated; what was not stated was not checked",
    }


def _of_an_assembly(result: Result) -> Values:
    """Return what the page tells of an assembly, about which nothing was stated."""
    nothing: Values = dict.fromkeys(("answers", "at_the_machine"), ())
    return nothing | {
        "counts": "",
        "answered": [touching_section(result, _touches(result))],
        "go": None,
        "guessed": None,
        "assumed": None,
        "stated": None,
        "by_seats": None,
        "rests_on": "the solids as drawn; no set-up was stated, so nothing was asked about grinding",
    }


def _plainly(row: Numbered, verdict: Verdict) -> bool:
    """Tell whether a finding has a verdict that is its check's own."""
    return row.finding.verdict is verdict and row.finding.overruled is None


_TOLD: tuple[tuple[str, Callable[[Numbered], bool]], ...] = (
    ("No-go: what to change", lambda r: r.finding.verdict is Verdict.NO_GO),
    ("What could not be computed", lambda r: r.finding.verdict is Verdict.UNKNOWN),
    ("No-go, overruled by the set-up", lambda r: r.finding.overruled is not None),
    ("Cautions: what to watch", lambda r: _plainly(r, Verdict.CAUTION)),
)
"""What is reported at length, each under its title."""


def _overview(result: Result, pictures: Mapping[str, bytes]) -> Picture | None:
    if OVERVIEW not in pictures:
        return None
    what = "assembly" if result.touching else "set-up"
    return picture_of(pictures[OVERVIEW], f"The {what} {result.name}", f"The {what} as drawn.")


def _rest_pictures(pictures: Mapping[str, bytes], units: str) -> dict[str, Picture]:
    """Return the pictures of the rest and of what locates the work, by file name."""
    step, steps = Writing(units=units).steps()
    said = {REST: AT_REST, LOCATION: LOCATES.format(step=step, steps=steps)}
    return {name: picture_of(pictures[name], says, says) for name, says in said.items() if name in pictures}


def _hold_pictures(result: Result, pictures: Mapping[str, bytes]) -> dict[str, Picture]:
    """Return the pictures of the hold, by file name."""
    said = hold_captions(result.holding, result.shown_in)
    return {name: picture_of(pictures[name], says, says) for name, says in said.items() if name in pictures}


def _badge(finding: Finding) -> Values:
    """Return a verdict as a label: its colour, and the word with its sign."""
    return {"verdict": finding.verdict, "words": verdict_words(finding)}


class _Findings:
    """Puts findings into words one by one, in the units of the set-up and with their pictures."""

    def __init__(self, units: str, pictures: Mapping[str, bytes]) -> None:
        self._units = units
        self._pictures = pictures

    def told(self, row: Numbered) -> Values:
        """Return what is reported under one number."""
        f, together = row.finding, row.together
        return {
            "number": row.number,
            "badge": _badge(f),
            "title": f"{words.checks_words(together)}: {words.title(together)}",
            "several": words.says(together, self._units),
            "says": words.instance(together) + f.says,
            "figures": self._figures(together),
            "remedy": f.remedy,
            "no_remedy": f.verdict is Verdict.NO_GO,
            "picture": self._drawn(row),
            "each": self._each(together, f"{row.number}", 0),
            "follows": tuple(self._follows(row)),
            "source": f.source,
            "shapes": ", ".join(sorted({s.name for s in f.shapes})),
        }

    def _figures(self, together: Together) -> tuple[tuple[str, str], ...]:
        unit = together.finding.unit
        limits, margins = (
            tuple(v for v in values if v is not None)
            for values in ((one.limit for one in together.all), (one.margin for one in together.all))
        )
        named = (
            ("found", words.values_span(together, self._units)),
            ("limit", shown_span(limits, unit, self._units) if limits else ""),
            ("margin", shown_span(margins, unit, self._units) if margins else ""),
        )
        return tuple((name, text) for name, text in named if text)

    def _each(self, together: Together, number: str, before: int) -> Table | None:
        """List every finding that is reported here, each with its own sentence and change.

        Parameters
        ----------
        number : str
            The number that they are reported under.
        before : int
            How many others are reported under it before these.
        """
        if not together.differ:
            return None
        rows = []
        for one in together.all:
            found = "" if one.value is None else shown(one.value, one.unit, self._units)
            change = f" Change: {one.remedy}" if one.remedy else ""
            rows.append((Cell(lines=(one.subject,), below=one.says + change), found))
        stops = [stop_of(number, before + i) for i in range(len(rows))]
        return Table(
            heads=("each of them", "found"), rows=tuple(rows), numbers=frozenset({1}), stops=tuple(stops)
        )

    def _follows(self, row: Numbered) -> list[Values]:
        """Return what follows from a finding; it is not counted beside it."""
        found, before = [], len(row.together.all)
        for together in row.follows:
            text = words.says(together, self._units)
            said = words.instance(together) + together.finding.says
            found.append(
                {
                    "stop": stop_of(f"{row.number}", before),
                    "badge": _badge(together.finding),
                    "title": f"{words.checks_words(together)}: {words.title(together)}",
                    "says": f"{text} {said}" if text else said,
                    "each": self._each(together, f"{row.number}", before),
                }
            )
            before += len(together.all)
        return found

    def _drawn(self, row: Numbered) -> Picture | None:
        if row.picture is None or row.picture not in self._pictures:
            return None
        f = row.finding
        alternative = f"{f.check}: {f.subject}. {f.says}"
        return picture_of(self._pictures[row.picture], alternative, f"Finding {row.number}, up close.")


def _undrawn(rows: Sequence[Numbered]) -> int:
    """Count the no-go that could be drawn but have no picture."""
    return sum(
        r.finding.verdict is Verdict.NO_GO and r.picture is None and bool(r.finding.shapes) for r in rows
    )


def _answers(result: Result, rows: Sequence[Numbered]) -> list[Values]:
    """Return the answer to each question that was asked or could be, in the order of the job."""
    why = {n.check: f"not asked: {facts.reason(n)}" for n in result.not_asked}
    found = []
    for check, question in facts.QUESTIONS.items():
        mine = [f for f in result.findings if f.check == check]
        if mine or check in why:
            answer = _answer(check, mine, rows, result.shown_in) if mine else (None, why[check], ())
            badge, short, numbers = answer
            asked = f"{first_up(question)}?"
            found.append({"question": asked, "badge": badge, "short": short, "numbers": numbers})
    return found


def _answer(
    check: str, mine: Sequence[Finding], rows: Sequence[Numbered], units: str
) -> tuple[Values, str, tuple[int, ...]]:
    """Return the worst that a check found, what of it is go, and the numbers of what is not."""
    verdict = worst(f.verdict for f in mine)
    go = [r.together for r in rows if r.finding.check == check and _plainly(r, Verdict.GO)]
    numbers = tuple(
        row.number
        for row in rows
        if any(f.check == check for f in _under(row) if f.verdict is not Verdict.GO or f.overruled)
    )
    count = sum(len(together.all) for together in go)
    short = words.short(go[0], units) if len(go) == 1 and not numbers else f"{count} go" * bool(count)
    return {"verdict": verdict, "words": verdict_word(verdict)}, short, numbers


def _under(row: Numbered) -> Sequence[Finding]:
    """Return what is reported under a number, with what follows from it."""
    return [f for together in (row.together, *row.follows) for f in together.all]


def _go(result: Result, rows: Sequence[Numbered]) -> Values | None:
    """Return what is go: one line for like findings, and all with sentence, number and limit."""
    if not rows:
        return None
    units = result.shown_in

    def figure(value: float | None, unit: str, word: str = "") -> str:
        return "" if value is None else word + shown(value, unit, units)

    cells = []
    for together in (r.together for r in rows):
        f = together.finding
        about = ", ".join(one.subject for one in together.all)
        cells.append(
            (
                Cell(lines=(f.check,), below=f.kind or ""),
                Cell(lines=(about,), below=words.instance(together) + f.says),
                Cell(lines=(words.values_span(together, units),), below=figure(f.limit, f.unit, "limit ")),
            )
        )
    return {
        "lines": tuple(
            {
                "stop": f"{r.number}",
                "asked": words.checks_words(r.together),
                "says": words.short(r.together, units),
            }
            for r in rows
        ),
        "count": sum(len(r.together.all) for r in rows),
        "table": table_of(("check", "about", "found"), cells, 2),
    }


def _as_ground(result: Result) -> Markup:
    units = result.shown_in

    def cells(cut: CutMade) -> Sequence[str | Cell]:
        made = ", ".join(f"{f.face} {shown(f.share_made, 'share', units)}" for f in cut.faces)
        radius = "" if cut.corner_radius_mm is None else f"corner {shown(cut.corner_radius_mm, 'mm', units)}"
        removed, left, below = (
            shown(v, "mm3", units) for v in (cut.removed_mm3, cut.leftover_mm3, cut.gouge_mm3)
        )
        return (
            Cell(lines=(cut.name,), below=f"made: {made}"),
            Cell(lines=(removed,), below=radius),
            left,
            below,
        )

    heads = ("cut", "removed", "left over", "below the drawing")
    title = "As milled" if all(c.milled for c in result.cuts) else "As ground"
    return render(
        "as_ground.html", title=title, cuts=table_of(heads, [cells(c) for c in result.cuts], 1, 2, 3)
    )


def _touches(result: Result) -> Markup:
    """List what touches first, then the small gaps."""
    ranked = ranked_contacts(result)

    def size(c: Contact) -> str:
        if c.kind in {ContactKind.AREA, ContactKind.NEAR}:
            return shown(c.area_mm2, "mm2", result.shown_in)
        return shown(c.length_mm, "mm", result.shown_in) if c.kind == ContactKind.LINE else ""

    def gap(c: Contact) -> Cell:
        mean, widest = (shown(v, "um", result.shown_in) for v in (c.gap_mean_um, c.gap_max_um))
        return Cell(lines=(mean,), below=f"to {widest}" if widest != mean else "")

    rows = [(Cell(lines=(c.a,), below=f"on {c.b}"), c.kind, size(c), gap(c)) for c in ranked]
    stops = [stop_of_contact(n) for n in range(len(ranked))]
    return render(
        "touches.html",
        most_open=MOST_OPEN,
        contacts=table_of(("where", "kind", "size", "mean gap"), rows, 2, 3, stops=stops),
    )
