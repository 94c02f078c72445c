"""The short table of verdicts for a terminal."""

from __future__ import annotations

import shutil
import textwrap

from fixturecheck.report.banner import banner, counted
from fixturecheck.report.colours import SIGNS, verdict_words
from fixturecheck.report.hold_text import hold_lines
from fixturecheck.report.order import numbered
from fixturecheck.report.stated import assumed_line
from fixturecheck.result import Result, Verdict
from fixturecheck.wording import groups as words
from fixturecheck.wording.groups import Together
from fixturecheck.wording.quantity import shown, typeset

_MOST_GO = 12


def table(result: Result, *, width: int | None = None) -> str:
    """Return the verdict, then one row for each finding: sign, verdict, check, subject, number, sentence.

    Parameters
    ----------
    width : int, optional
        Columns to fold the sentences at; None asks the terminal.
    """
    columns = width or shutil.get_terminal_size((100, 24)).columns
    lines = [f"{_word(result.verdict)}  {result.name}"]
    lines += [line for told in banner(result).lines() for line in _folded(told, columns)]
    lines.append("")
    rows = numbered(result)
    wide_check = max((len(words.asked(r.finding)) for r in rows), default=0)
    passed = 0
    for row in rows:
        f, told = row.finding, row.together
        if f.verdict is Verdict.GO and f.overruled is None:
            passed += 1
            if passed > _MOST_GO:
                continue
        number = words.span(told, result.shown_in)
        if number and f.limit is not None:
            number += f" (limit {shown(f.limit, f.unit, result.shown_in)})"
        about = f"{words.asked(f):<{wide_check}}  {words.title(told)}"
        head = f"{row.number:>3} {verdict_words(f):<9}  {about}  {number}"
        lines.append(head.rstrip())
        if f.verdict is not Verdict.GO or f.overruled is not None:
            lines += _told(told, result.shown_in, columns)
            for under in row.follows:
                about = f"{words.asked(under.finding)}: {words.title(under)}"
                lines += _folded(f"follows: {verdict_words(under.finding)} {about}", columns)
                lines += [" " * 4 + line for line in _told(under, result.shown_in, columns - 4)]
    if passed > _MOST_GO:
        lines.append(f"    and {passed - _MOST_GO} more that are go")
    held = hold_lines(result.holding, result.shown_in)
    lines += ["", *(line for told in held for line in _hung(told, columns))] if held else []
    also = assumed_line(result)
    lines += ["", *_folded(also, columns)] if also else []
    lines += ["", counted(rows)]
    return typeset("\n".join(lines)).replace("\u202f", " ")


def _told(told: Together, units: str, columns: int) -> list[str]:
    """Return the sentences of findings told as one, folded: what is so, what to change, of what else."""
    f = told.finding
    several = words.says(told, units)
    lines = _folded(several, columns) if several else []
    lines += _folded(words.instance(told) + f.says, columns)
    lines += _folded(f"change: {f.remedy}", columns) if f.remedy else []
    if told.like:
        lines += _folded(f"these are: {', '.join(one.subject for one in told.all)}", columns)
    return lines


def _word(verdict: Verdict) -> str:
    return f"{SIGNS[verdict]} {str(verdict).upper()}"


def _hung(text: str, columns: int) -> list[str]:
    """Fold a line, what follows indented under its start."""
    return textwrap.wrap(text, max(columns, 40), initial_indent="    ", subsequent_indent=" " * 8)


def _folded(text: str, columns: int) -> list[str]:
    indent = " " * 6
    return textwrap.wrap(text, max(columns, 40), initial_indent=indent, subsequent_indent=indent)
