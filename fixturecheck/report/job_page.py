"""A job as its page, as data and on a terminal: the part from blank to finished, then each operation."""

from __future__ import annotations

import json
import shutil
import textwrap
from collections.abc import Mapping
from importlib.metadata import version
from typing import Any

from fixturecheck.process.model import BodyOff, BurrEdge, JobResult, OperationFound, PartState
from fixturecheck.report.folder import OPERATIONS, PAGE, RESULT
from fixturecheck.report.json import finding_dict, rounded
from fixturecheck.report.markup import Table, picture_of, render, style, table_of
from fixturecheck.report.pictures.figures import SIGNS, verdict_words
from fixturecheck.report.statements import QUESTIONS
from fixturecheck.report.terminal import painted
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.units import Writing
from fixturecheck.wording.quantity import shown


def state_picture(n: int) -> str:
    """Return the file of the picture of a state, by its place among them."""
    return f"state_{n:02d}.png"


def operation_home(found: OperationFound) -> str:
    """Return the folder of an operation's own report, from the job's; empty where it has none."""
    return "" if found.result is None else f"{OPERATIONS}/{found.operation.number}"


def job_page(result: JobResult, *, pictures: Mapping[str, bytes], why_missing: str | None = None) -> str:
    """Return the page of a job.

    Parameters
    ----------
    pictures : mapping of str to bytes
        PNG files by name; they are put into the page.
    why_missing : str or None
        Why there are no pictures, or not all.
    """
    units = result.job.units
    return render(
        "job.html",
        title=f"{str(result.verdict).upper()}: {result.job.name}",
        style=style(),
        view=None,
        verdict=str(result.verdict),
        sign=SIGNS[result.verdict],
        name=result.job.name,
        counts=counted(result),
        strip=[
            picture_of(pictures[state_picture(n)], _state_words(result, n), _state_words(result, n))
            for n in range(len(result.states))
            if state_picture(n) in pictures
        ],
        why_missing=why_missing,
        route=_route(result),
        findings=[_told(f, units) for f in result.findings if f.verdict is not Verdict.GO],
        operations=[_operation(found, units) for found in result.operations],
        sources=result.job.sources,
        version=version("fixturecheck"),
    )


def counted(result: JobResult) -> str:
    """Return how many operations came to which verdict."""
    verdicts = [o.verdict for o in result.operations]
    told = [f"{verdicts.count(v)} {v}" for v in Verdict if v in verdicts]
    told += [f"{verdicts.count(None)} not asked about"] if None in verdicts else []
    return f"{len(verdicts)} operations: {', '.join(told)}"


def _word(found: OperationFound) -> str:
    """Return the verdict of an operation with its sign."""
    if found.verdict is None:
        return "- NOT ASKED"
    return f"{SIGNS[found.verdict]} {str(found.verdict).upper()}"


def _state_words(result: JobResult, n: int) -> str:
    """Say which state it is, and what was taken to come to it."""
    if n == 0:
        return "Before the first operation."
    operation = result.operations[n - 1].operation
    state = result.states[n]
    took = f" It took {shown(state.taken_mm3, 'mm3', result.job.units)}." if state.taken_mm3 else ""
    return f"After {operation.title}.{took}"


def _route(result: JobResult) -> Table:
    """Return the route: each operation with what it makes and takes."""
    units, rows = result.job.units, []
    for found in result.operations:
        o = found.operation
        taken = shown(found.after.taken_mm3, "mm3", units) if found.after.taken_mm3 else ""
        made = ", ".join(o.makes) or ", ".join(o.measures)
        rows.append((f"{o.number}", o.name, o.kind, made, taken, _word(found)))
    return table_of(("number", "operation", "kind", "makes or measures", "takes", "verdict"), rows, 0, 4)


def _told(f: Finding, units: str) -> dict[str, Any]:
    """Return a finding as the page tells it."""
    return {
        "badge": {"verdict": f.verdict, "words": verdict_words(f)},
        "title": f"{QUESTIONS.get(f.check, f.check)}: {f.subject}",
        "says": f.says,
        "found": "" if f.value is None else shown(f.value, f.unit, units),
        "remedy": f.remedy,
        "source": f.source,
    }


def _operation(found: OperationFound, units: str) -> dict[str, Any]:
    """Return an operation as the page tells it."""
    home = operation_home(found)
    own = found.result.findings if found.result is not None else ()
    bad = [f for f in own if f.verdict is not Verdict.GO]
    return {
        "title": found.operation.title,
        "badge": {"verdict": found.verdict or Verdict.UNKNOWN, "words": _word(found)},
        "page": f"{home}/{PAGE}" if home else "",
        "not_checked": found.not_checked,
        "no_setup": found.operation.setup is None and found.result is None and not found.not_checked,
        "across": [_told(f, units) for f in found.findings if f.verdict is not Verdict.GO],
        "go": [f.says for f in found.findings if f.verdict is Verdict.GO],
        "own": [f"{verdict_words(f)} {f.check} {f.subject}: {f.says}" for f in bad[:_MOST_OWN]],
        "more": max(len(bad) - _MOST_OWN, 0),
        "own_go": len(own) - len(bad),
        "stone": _stone_lines(found, Writing(units=units)),
        "off": [off_words(b) for b in found.comes_off],
    }


_MOST_OWN = 6


def _stone_lines(found: OperationFound, write: Writing) -> list[str]:
    """Say what is stoned in an operation or before it as stated, and what would have to be."""
    stated = [" to ".join(pair) for pair in found.operation.stones]
    lines = [f"Stone before it: {', '.join(stated)}."] if stated else []
    return lines + [f"Not stoned: {burr_edge_words(b, write)}." for b in found.to_stone]


def burr_edge_words(burr: BurrEdge, write: Writing) -> str:
    """Return which edge carries a burr, and how high."""
    other = burr.other or "a face without a name"
    return f"{burr.face} to {other}, {write.length(burr.height_mm, 'g')} from operation {burr.made_in}"


def off_words(off: BodyOff) -> str:
    """Return how a body comes off, with where to pry and what not to slide."""
    told = f"{off.says}."
    if off.pry_at:
        told += f" Pry {off.pry_at}."
    if off.rubs:
        told += f" Do not slide it: {', '.join(off.rubs)} would rub."
    if off.demagnetise:
        told += " Demagnetise it before it is lifted."
    return told


def job_table(result: JobResult, *, width: int | None = None, colour: bool = False) -> str:
    """Return the verdict of a job, then a row for each operation with what is wrong across them.

    Parameters
    ----------
    width : int, optional
        Columns to fold sentences at; None asks the terminal.
    colour : bool
        Whether verdicts are coloured; their words and signs stand either way.
    """
    columns = width or shutil.get_terminal_size((100, 24)).columns
    head = painted(f"{SIGNS[result.verdict]} {str(result.verdict).upper()}", result.verdict, colour)
    lines = [f"{head}  {result.job.name}", f"      {counted(result)}", ""]
    for found in result.operations:
        o = found.operation
        word = painted(f"{_word(found):<11}", found.verdict or Verdict.UNKNOWN, colour)
        home = operation_home(found)
        taken = shown(found.after.taken_mm3, "mm3", result.job.units) if found.after.taken_mm3 else ""
        more = "  ".join(t for t in (taken, f"{home}/{PAGE}" if home else "no set-up") if t)
        lines.append(f"{o.number:>4} {word}  {o.name} ({o.kind})  {more}")
        if found.not_checked:
            lines += _folded(f"not checked: {found.not_checked}", columns)
        own = found.result.findings if found.result is not None else ()
        for f in (*found.findings, *own):
            if f.verdict is not Verdict.GO:
                lines += _folded(f"{verdict_words(f)} {f.check} {f.subject}: {f.says}", columns)
                lines += _folded(f"change: {f.remedy}", columns) if f.remedy else []
    for f in result.findings:
        if f.verdict is not Verdict.GO:
            lines += ["", *_folded(f"{verdict_words(f)} {f.check} {f.subject}: {f.says}", columns)]
            lines += _folded(f"change: {f.remedy}", columns) if f.remedy else []
    return "\n".join(lines).replace("\u202f", " ")


def _folded(text: str, columns: int) -> list[str]:
    return textwrap.wrap(text, max(columns, 40), initial_indent=" " * 6, subsequent_indent=" " * 8)


def job_json(result: JobResult) -> bytes:
    """Return result.json of a job.

    Raises
    ------
    NotComputedError
        A number in it is infinite or not a number.
    """
    text = json.dumps(job_dict(result), indent=1, ensure_ascii=False, allow_nan=False)
    return (text + "\n").encode()


def job_dict(result: JobResult) -> dict[str, Any]:
    """Return a job's result as plain values."""
    job = result.job
    return {
        "verdict": str(result.verdict),
        "tool": {
            "name": "fixturecheck",
            "version": version("fixturecheck"),
            "kernel": f"cadquery-ocp {version('cadquery-ocp')}",
        },
        "job": {
            "name": job.name,
            "part": job.part.name,
            "material": job.part.material,
            "count": job.count,
            "units": job.units,
            "sources": [{"path": s.path, "sha256": s.sha256} for s in job.sources],
        },
        "states": [_state(s) for s in result.states],
        "operations": [_operation_dict(o) for o in result.operations],
        "findings": [finding_dict(f) for f in result.findings],
    }


def _state(state: PartState) -> dict[str, Any]:
    return {
        "after": state.after,
        "volume_mm3": rounded(state.volume_mm3, "mm3"),
        "taken_mm3": rounded(state.taken_mm3, "mm3"),
        "stock_mm": {name: rounded(by, "mm") for name, by in sorted(state.stock_mm.items())},
        "faces": sorted(state.faces),
    }


def _operation_dict(found: OperationFound) -> dict[str, Any]:
    o, home = found.operation, operation_home(found)
    return {
        "number": o.number,
        "name": o.name,
        "kind": str(o.kind),
        "verdict": None if found.verdict is None else str(found.verdict),
        "makes": list(o.makes),
        "stones": [list(pair) for pair in o.stones],
        "result": f"{home}/{RESULT}" if home else None,
        "not_checked": found.not_checked,
        "findings": [finding_dict(f) for f in found.findings],
        "burrs": [_burr(b) for b in found.burrs],
        "to_stone": [_burr(b) for b in found.to_stone],
        "comes_off": [_off(b) for b in found.comes_off],
    }


def _burr(burr: BurrEdge) -> dict[str, Any]:
    return {
        "face": burr.face,
        "other": burr.other,
        "made_in": burr.made_in,
        "height_mm": rounded(burr.height_mm, "mm"),
        "assumed": burr.assumed,
        "length_mm": rounded(burr.length_mm, "mm"),
        "middle_mm": [rounded(v, "mm") for v in burr.middle_mm],
    }


def _off(off: BodyOff) -> dict[str, Any]:
    return {
        "body": off.body,
        "says": off.says,
        "by_hand": off.by_hand,
        "pry_at": off.pry_at,
        "demagnetise": off.demagnetise,
        "not_slid": list(off.rubs),
    }
