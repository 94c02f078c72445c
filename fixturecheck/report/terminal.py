"""What a terminal shows: findings as they come, the table of verdicts, the hold in a few lines."""

from __future__ import annotations

import shutil
import textwrap

from fixturecheck.progress import Tell
from fixturecheck.report.order import numbered
from fixturecheck.report.shared_sections import dial_lines, touch_lines
from fixturecheck.report.statements import assumed_line, banner, counted_words
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.result.hold import HoldFound, MagnetState, PartHeld, Tool
from fixturecheck.units import Writing
from fixturecheck.wording import sentences as words
from fixturecheck.wording.hold import (
    amount,
    bounded_factor,
    burr_words,
    case_words,
    digits,
    factor_words,
    first_words,
    friction_words,
    kept_lines,
    loss_words,
    magnet_words,
    outcome_words,
    range_words,
    tools_of,
    way_words,
)
from fixturecheck.wording.sentences import Together, shown, verdict_word, verdict_words, wide_spaces

MOST_EACH = 3
"""Findings of one check that are listed one by one; a gang fails the same way many times."""
_LONGEST = 300


class SoFar:
    """Tells findings as they come; those of one check follow each other.

    Parameters
    ----------
    tell : callable
        Called with lines.
    """

    def __init__(self, tell: Tell) -> None:
        self._tell = tell
        self._check = ""
        self._counts: dict[Verdict, int] = {}
        self._shown = 0

    def found(self, finding: Finding) -> None:
        """Take one finding."""
        if finding.check != self._check:
            self.end()
            self._check = finding.check
        verdict = finding.verdict
        if verdict is not Verdict.GO and self._shown < MOST_EACH:
            self._shown += 1
            line = f"{verdict_word(verdict)} {finding.check} {finding.subject}: {finding.says}"
            self._tell([line if len(line) <= _LONGEST else f"{line[: _LONGEST - 1]}…"])
        else:
            self._counts[verdict] = self._counts.get(verdict, 0) + 1

    def end(self) -> None:
        """Tell how many more there were of the check that is done."""
        more = "more " if self._shown else ""
        counts = [
            f"{self._counts[v]} {more if v is not Verdict.GO else ''}{v}"
            for v in Verdict
            if v in self._counts
        ]
        if counts:
            self._tell([f"{self._check}: {', '.join(counts)}"])
        self._counts, self._shown = {}, 0


_MOST_BURRS = 4
_MOST_STEPS = 6

_CAUTION = (
    "at the machine: worked out, not measured; {magnet}tug every part before the {tools} turns, guard shut, "
    "eye protection on{clear}; local rules and trained people decide"
)


def hold_lines(hold: HoldFound | None, units: str) -> list[str]:
    """Return the lines of a hold, one item each, to be folded by the caller; none where it was not asked.

    Parameters
    ----------
    hold : HoldFound or None
        None where it was not asked.
    units : str
        Units of the report: `mm`, `inch` or `thou`.

    Returns
    -------
    list of str
        Not folded; the last one is the caution.
    """
    if hold is None:
        return []
    asked = f"asked {digits(hold.least_factor)} times the load"
    magnet = magnet_words(hold.magnet, Writing(units=units))
    lines = [f"hold: magnet {magnet}; {asked}; {friction_words(hold.friction)}"]
    lines += [f"not known, {about}: {why}" for about, why in hold.missing]
    for part in hold.parts:
        lines += _part(part, hold, units)
    lines += kept_lines(hold)
    tools = tools_of(hold)
    turning = [t for t, turns in ((Tool.CUTTER, hold.mills), (Tool.DRILL, hold.drills)) if turns]
    clear = f", hands off a turning {' or '.join(turning)}" if turning else ""
    warns = "" if hold.magnet.state is MagnetState.OFF else "never trust a magnet alone, "
    lines += _leaving(hold, Writing(units=units)) + _burrs(hold)
    return [*lines, _CAUTION.format(tools=tools, clear=clear, magnet=warns)]


def _leaving(hold: HoldFound, write: Writing) -> list[str]:
    """Return how it comes apart: each body's way where they are few, else the order alone."""
    if not hold.leaving:
        return []
    keeps = [b.body for b in hold.leaving if b.demagnetise]
    again = "demagnetise before lifting, and again before the next seating"
    lines = [f"to take it apart: {first_words(hold.before)}"] if hold.before else []
    if len(hold.leaving) > _MOST_STEPS:
        lines.append(f"comes off in this order: {', '.join(b.body for b in hold.leaving)}")
    else:
        lines += [
            f"{number}. {b.body}: {way_words(b.ways[0], write) if b.ways else 'no way off was found'}"
            for number, b in enumerate(hold.leaving, start=1)
        ]
    return lines + ([f"{again}: {', '.join(keeps)}"] if keeps else [])


def _burrs(hold: HoldFound) -> list[str]:
    """Return the burrs to stone, the first few by name."""
    if not hold.burrs:
        return []
    rest = len(hold.burrs) - _MOST_BURRS
    more = f"; and {rest} more, listed in the report" if rest > 0 else ""
    listed = "; ".join(burr_words(b) for b in hold.burrs[:_MOST_BURRS])
    return [f"stone these edges before the next seating: {listed}{more}"]


def _part(part: PartHeld, hold: HoldFound, units: str) -> list[str]:
    pull = range_words(part.pull_n, "N", units) if any(part.pull_n) else "none"
    lines = [
        f"{part.part} in {part.cut}: holds {factor_words(part, hold)} times its load; pull onto its seats "
        f"{pull}, "
        f"{_cutting(part, units)}"
    ]
    if part.goes:
        hits = f", then runs into {part.hits}" if part.hits else ""
        case = case_words(part.case, Writing(units=units))
        lines.append(f"least at: {case}; {part.goes} goes first, {outcome_words(part)}{hits}")
    if part.losses:
        left = (f"{_left(loss.factor, hold)} {loss_words(loss.lost)}" for loss in part.losses)
        lines.append(f"what is left: {', '.join(left)}")
    return lines


def _cutting(part: PartHeld, units: str) -> str:
    if part.down_its_axis:
        thrust, torque = range_words(part.thrust_n, "N", units), range_words(part.torque_nm, "N m", units)
        return f"thrust {thrust}, torque {torque}"
    if part.tool is Tool.CUTTER:
        return f"cutting force along the teeth {range_words(part.milling_n, 'N', units)}"
    wall = f", push on the wall {range_words(part.wall_n, 'N', units)}" if any(part.wall_n) else ""
    across = f", across up to {amount(part.cross_n[1], 'N', units)} either way" if any(part.cross_n) else ""
    drag, push = (range_words(force, "N", units) for force in (part.drag_n, part.press_n))
    return f"drag {drag}, push {push}{wall}{across}"


def _left(factor: float | None, hold: HoldFound) -> str:
    return "not known" if factor is None else bounded_factor(factor, hold)


_MOST_GO = 12


def table(result: Result, *, width: int | None = None, colour: bool = False) -> str:
    """Return the verdict, then one row for each finding: sign, verdict, check, subject, number, sentence.

    Parameters
    ----------
    result : Result
        What was found.
    width : int, optional
        Columns to fold the sentences at; None asks the terminal.
    colour : bool
        Whether verdicts are coloured; their words and signs stand either way.

    Returns
    -------
    str
        Lines.
    """
    columns = width or shutil.get_terminal_size((100, 24)).columns
    lines = [f"{coloured(verdict_word(result.verdict), result.verdict, colour=colour)}  {result.name}"]
    lines += [line for together in banner(result).lines() for line in folded(together, columns)]
    if result.touching is not None:
        lines += touch_lines(result, lambda text: folded(text, columns))
        return wide_spaces("\n".join(lines))
    lines.append("")
    rows = numbered(result)
    wide_check = max((len(words.checks_words(r.together)) for r in rows), default=0)
    passed = 0
    for row in rows:
        f, together = row.finding, row.together
        if f.verdict is Verdict.GO and f.overruled is None:
            passed += 1
            if passed > _MOST_GO:
                continue
        number = words.values_span(together, result.shown_in)
        if number and f.limit is not None:
            number += f" (limit {shown(f.limit, f.unit, result.shown_in)})"
        about = f"{words.checks_words(together):<{wide_check}}  {words.title(together)}"
        word = coloured(f"{verdict_words(f):<9}", f.verdict, colour=colour)
        head = f"{row.number:>3} {word}  {about}  {number}"
        lines.append(head.rstrip())
        if f.verdict is not Verdict.GO or f.overruled is not None:
            lines += _lines(together, result.shown_in, columns)
            for under in row.follows:
                about = f"{words.checks_words(under)}: {words.title(under)}"
                lines += folded(f"follows: {verdict_words(under.finding)} {about}", columns)
                lines += [" " * 4 + line for line in _lines(under, result.shown_in, columns - 4)]
    if passed > _MOST_GO:
        lines.append(f"    and {passed - _MOST_GO} more that are go")
    held = hold_lines(result.holding, result.shown_in)
    lines += (
        ["", *(line for together in held for line in folded(together, columns, first=4, rest=8))]
        if held
        else []
    )
    dials = dial_lines(result)
    lines += (
        ["", *(line for together in dials for line in folded(together, columns, first=4, rest=8))]
        if dials
        else []
    )
    also = assumed_line(result)
    lines += ["", *folded(also, columns)] if also else []
    lines += ["", counted_words(rows)]
    return wide_spaces("\n".join(lines))


_PAINT = {Verdict.GO: "32", Verdict.CAUTION: "33", Verdict.NO_GO: "1;31", Verdict.UNKNOWN: "35"}
"""Colours of a terminal's own palette, which its user has made readable."""


def coloured(text: str, verdict: Verdict, *, colour: bool) -> str:
    """Return a text in the colour of a verdict, where `colour` is true; else as it is.

    Parameters
    ----------
    text : str
        Words to colour.
    verdict : Verdict
        Decides the colour.
    colour : bool
        Whether escape codes are put round the text.

    Returns
    -------
    str
        With escape codes or as it was.
    """
    return f"\x1b[{_PAINT[verdict]}m{text}\x1b[0m" if colour else text


def _lines(together: Together, units: str, columns: int) -> list[str]:
    """Return the sentences of findings reported as one, folded: what is so, what to change, of what else."""
    f = together.finding
    several = words.says(together, units)
    lines = folded(several, columns) if several else []
    lines += folded(words.instance(together) + f.says, columns)
    lines += folded(f"change: {f.remedy}", columns) if f.remedy else []
    if together.differ:
        lines += folded(f"these are: {', '.join(one.subject for one in together.all)}", columns)
    return lines


def folded(text: str, columns: int, *, first: int = 6, rest: int = 6) -> list[str]:
    """Return a text in lines of at most so many columns.

    Parameters
    ----------
    text : str
        Words, without line breaks that matter.
    columns : int
        Fewer than 40 count as 40.
    first, rest : int
        How far the first line is indented, and those that follow.

    Returns
    -------
    list of str
        Lines without their breaks; none where the text is empty.
    """
    return textwrap.wrap(text, max(columns, 40), initial_indent=" " * first, subsequent_indent=" " * rest)
