"""A job in the report: as its page, as data and on a terminal, and what is written of it."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any, cast

import numpy as np

from fixturecheck.kernel.mesh.triangles import Mesh, Tessellator
from fixturecheck.kernel.shapes import Shape
from fixturecheck.process.model import BodyOff, BurrEdge, JobResult, OperationFound, PartState
from fixturecheck.process.records import CUTTING
from fixturecheck.report.folder import OPERATIONS, PAGE, PICTURES, RESULT
from fixturecheck.report.json import as_plain, finding_dict, json_number, json_text, made_by
from fixturecheck.report.markup import Table, picture_of, render_page, table_of
from fixturecheck.report.pictures.draw import painted
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.painter import NOTHING_DRAWN, Painter
from fixturecheck.report.pictures.scene import actor, fitted, legend_of, scene_base
from fixturecheck.report.statements import QUESTIONS
from fixturecheck.report.terminal import coloured, folded
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.result.stored import SCHEMA_VERSION
from fixturecheck.units import Writing
from fixturecheck.wording.sentences import (
    SIGNS,
    number_found,
    shown,
    verdict_word,
    verdict_words,
    wide_spaces,
)


def _state_picture(n: int) -> str:
    """Return the file of the picture of a state, by its place among them."""
    return f"state_{n:02d}.png"


def _operation_home(found: OperationFound) -> str:
    """Return the folder of an operation's own report, from the job's; empty where it has none."""
    return "" if found.result is None else f"{OPERATIONS}/{found.operation.number}"


def _job_page(result: JobResult, *, pictures: Mapping[str, bytes], why_missing: str | None) -> str:
    """Return the page of a job.

    Parameters
    ----------
    pictures : mapping of str to bytes
        PNG files by name; they are put into the page.
    why_missing : str or None
        Why there are no pictures, or not all.
    """
    units = result.job.units
    return render_page(
        "job.html",
        title=f"{str(result.verdict).upper()}: {result.job.name}",
        verdict=str(result.verdict),
        sign=SIGNS[result.verdict],
        name=result.job.name,
        counts=_verdict_counts(result),
        not_asked=_not_asked_words(result),
        strip=[
            picture_of(pictures[_state_picture(n)], _state_words(result, n), _state_words(result, n))
            for n in range(len(result.states))
            if _state_picture(n) in pictures
        ],
        why_missing=why_missing,
        route=_route(result),
        findings=[_finding_row(f, units) for f in result.findings if f.verdict is not Verdict.GO],
        operations=[_operation(found, units) for found in result.operations],
        sources=result.job.sources,
        version=version("fixturecheck"),
    )


def _verdict_counts(result: JobResult) -> str:
    """Return how many operations came to which verdict."""
    verdicts = [o.verdict for o in result.operations]
    counts = [f"{verdicts.count(v)} {v}" for v in Verdict if v in verdicts]
    counts += [f"{verdicts.count(None)} not asked about"] if None in verdicts else []
    return f"{len(verdicts)} operations: {', '.join(counts)}"


_TELLING = frozenset({"rest", "hold", "release"})
"""What a go of a cut means little without."""


def _not_asked_words(result: JobResult) -> str:
    """Say of which cutting operations rest, hold and release were not asked; empty where all were."""
    lacking: dict[str, list[str]] = {}
    for found in result.operations:
        if found.result is None or found.operation.kind not in CUTTING:
            continue
        for one in found.result.not_asked:
            if one.check in _TELLING:
                lacking.setdefault(one.check, []).append(f"{found.operation.number}")
    if not lacking:
        return ""
    questions = "; ".join(f"{QUESTIONS.get(check, check)}: {', '.join(of)}" for check, of in lacking.items())
    return f"NOT ASKED in operations: {questions}"


def _word(found: OperationFound) -> str:
    """Return the verdict of an operation with its sign."""
    if found.verdict is None:
        return "- NOT ASKED"
    return verdict_word(found.verdict)


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


def _finding_row(f: Finding, units: str) -> dict[str, Any]:
    """Return a finding as the page tells it."""
    return {
        "badge": {"verdict": f.verdict, "words": verdict_words(f)},
        "title": f"{QUESTIONS.get(f.check, f.check)}: {f.subject}",
        "says": f.says,
        "found": "" if f.value is None else number_found(f, units),
        "remedy": f.remedy,
        "source": f.source,
    }


def _operation(found: OperationFound, units: str) -> dict[str, Any]:
    """Return an operation as the page tells it."""
    home = _operation_home(found)
    own = found.result.findings if found.result is not None else ()
    bad = [f for f in own if f.verdict is not Verdict.GO]
    across = [_finding_row(f, units) for f in found.findings if f.verdict is not Verdict.GO]
    return {
        "number": found.operation.number,
        "is_wrong": bool(bad or across or found.not_checked),
        "title": found.operation.title,
        "badge": {"verdict": found.verdict or Verdict.UNKNOWN, "words": _word(found)},
        "page": f"{home}/{PAGE}" if home else "",
        "not_checked": found.not_checked,
        "no_setup": found.operation.setup is None and found.result is None and not found.not_checked,
        "across": across,
        "go": [f.says for f in found.findings if f.verdict is Verdict.GO],
        "own": [_short(f) for f in bad[:_MOST_OWN]],
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
    return lines + [f"Not stoned: {_burr_edge_words(b, write)}." for b in found.to_stone]


def _burr_edge_words(burr: BurrEdge, write: Writing) -> str:
    """Return which edge carries a burr, and how high."""
    other = burr.other or "a face without a name"
    return f"{burr.face} to {other}, {write.length(burr.height_mm, 'g')} from operation {burr.made_in}"


def off_words(off: BodyOff) -> str:
    """Return how a body comes off, with where to pry and what not to slide.

    Parameters
    ----------
    off : BodyOff
        A body with its way off.

    Returns
    -------
    str
        Sentences in one line.
    """
    text = f"{off.says}."
    if off.pry_at:
        text += f" Pry {off.pry_at}."
    if off.not_slid:
        text += f" Do not slide it: {' and '.join(off.not_slid)} would rub."
    if off.rubs:
        text += f" Every way off rubs: wipe {' and '.join(off.rubs)} clean first."
    if off.demagnetise:
        text += " Demagnetise it before it is lifted."
    return text


def job_table(result: JobResult, *, width: int | None, colour: bool) -> str:
    """Return the verdict of a job, then a row for each operation with what is wrong across them.

    Parameters
    ----------
    result : JobResult
        The job as found.
    width : int or None
        Columns to fold sentences at; None asks the terminal.
    colour : bool
        Whether verdicts are coloured; their words and signs stand either way.

    Returns
    -------
    str
        Lines.
    """
    columns = width or shutil.get_terminal_size((100, 24)).columns
    head = coloured(verdict_word(result.verdict), result.verdict, colour=colour)
    lines = [f"{head}  {result.job.name}", f"      {_verdict_counts(result)}"]
    lines += [*folded(_not_asked_words(result), columns), ""] if _not_asked_words(result) else [""]
    for found in result.operations:
        o = found.operation
        word = coloured(f"{_word(found):<11}", found.verdict or Verdict.UNKNOWN, colour=colour)
        home = _operation_home(found)
        taken = shown(found.after.taken_mm3, "mm3", result.job.units) if found.after.taken_mm3 else ""
        page = f"{home}/{PAGE}" if home else "" if found.not_checked else "no set-up"
        more = "  ".join(t for t in (taken, page) if t)
        lines.append(f"{o.number:>4} {word}  {o.name} ({o.kind})  {more}")
        if found.not_checked:
            lines += folded(f"not checked: {found.not_checked}", columns, first=6, rest=8)
        own = found.result.findings if found.result is not None else ()
        for f in (*found.findings, *own):
            lines += _finding_lines(f, columns)
    for f in result.findings:
        lines_of = _finding_lines(f, columns)
        lines += ["", *lines_of] if lines_of else []
    return wide_spaces("\n".join(lines))


def _finding_lines(f: Finding, columns: int) -> list[str]:
    """Return the lines of a finding that is not go, with the change that would cure it; none for a go."""
    if f.verdict is Verdict.GO:
        return []
    lines = folded(_short(f), columns, first=6, rest=8)
    return lines + (folded(f"change: {f.remedy}", columns, first=6, rest=8) if f.remedy else [])


def _short(f: Finding) -> str:
    """Return a finding in one line."""
    return f"{verdict_words(f)} {f.check} {f.subject}: {f.says}"


def _job_json(result: JobResult) -> bytes:
    """Return result.json of a job.

    Raises
    ------
    NotComputedError
        A number in it is infinite or not a number.
    """
    return json_text(_job_dict(result)).encode()


def _job_dict(result: JobResult) -> dict[str, Any]:
    """Return a job's result as plain values."""
    job = result.job
    return {
        "schema": SCHEMA_VERSION,
        "verdict": str(result.verdict),
        "tool": made_by(),
        "job": {
            "name": job.name,
            "part": job.part.name,
            "material": job.part.material,
            "count": job.count,
            "units": job.units,
            "sources": [as_plain(s) for s in job.sources],
        },
        "states": [_state(s) for s in result.states],
        "operations": [_operation_dict(o) for o in result.operations],
        "findings": [finding_dict(f) for f in result.findings],
    }


def _state(state: PartState) -> dict[str, Any]:
    return {
        "after": state.after,
        "volume_mm3": json_number(state.volume_mm3, "mm3"),
        "taken_mm3": json_number(state.taken_mm3, "mm3"),
        "stock_mm": {name: json_number(by, "mm") for name, by in sorted(state.stock_mm.items())},
        "faces": sorted(state.faces),
    }


def _operation_dict(found: OperationFound) -> dict[str, Any]:
    o, home = found.operation, _operation_home(found)
    return {
        "number": o.number,
        "name": o.name,
        "kind": str(o.kind),
        "verdict": None if found.verdict is None else str(found.verdict),
        "makes": list(o.makes),
        "stones": [list(pair) for pair in o.stones],
        "setup": o.setup,
        "result": f"{home}/{RESULT}" if home else None,
        "not_checked": found.not_checked,
        "findings": [finding_dict(f) for f in found.findings],
        "burrs": [as_plain(b) for b in found.burrs],
        "to_stone": [as_plain(b) for b in found.to_stone],
        "comes_off": [as_plain(b) for b in found.comes_off],
    }


_GHOST = 0.35


def write_job_report(folder: Path, result: JobResult, *, painter: Painter | None) -> str | None:
    """Write the page, result.json and the pictures of a job.

    Parameters
    ----------
    folder : Path
        Holds the folders of the operations already.
    result : JobResult
        The job as found.
    painter : Painter or None
        The drawing process; None draws no pictures.

    Returns
    -------
    str or None
        Why pictures are missing, when some are that were asked for.

    Raises
    ------
    KernelError
        A solid could not be meshed.
    """
    (folder / RESULT).write_bytes(_job_json(result))
    drawn = NOTHING_DRAWN
    if painter is not None:
        shapes, scenes = _scenes(result)
        meshes = _meshes(shapes)
        filled = [_filled(scene, shapes, meshes) for scene in scenes]
        drawn = painted(painter, folder / PICTURES, filled, (shapes, meshes))
    pictures = drawn.read(folder / PICTURES)
    missing = "not asked for" if painter is None else drawn.trouble
    (folder / PAGE).write_text(_job_page(result, pictures=pictures, why_missing=missing), encoding="utf-8")
    return drawn.trouble


def _scenes(result: JobResult) -> tuple[tuple[NamedShape, ...], list[dict[str, Any]]]:
    """Return the shapes of the states, and which of them each picture shows."""
    shapes: list[NamedShape] = []
    scenes: list[dict[str, Any]] = []
    for n, state in enumerate(result.states):
        named = [NamedShape(name=f"state {n}", role=Role.PART, geometry=state.solid)]
        if state.taken is not None:
            named.append(NamedShape(name=f"taken {n}", role=Role.TAKEN, geometry=state.taken))
        met = [] if n == len(result.operations) else result.operations[n].findings
        named += [s for f in met for s in f.shapes]
        shapes += named
        title = (
            "before the first operation" if n == 0 else f"after {result.operations[n - 1].operation.title}"
        )
        scenes.append({"file": _state_picture(n), "shows": [s.name for s in named], "title": title})
    return tuple({s.name: s for s in shapes}.values()), scenes


def _meshes(shapes: tuple[NamedShape, ...]) -> dict[str, Mesh]:
    worker = Tessellator()
    return {s.name: worker.mesh(cast("Shape", s.geometry)) for s in shapes}


def _filled(scene: dict[str, Any], shapes: tuple[NamedShape, ...], meshes: dict[str, Mesh]) -> dict[str, Any]:
    """Return a scene as the drawing process takes it; every picture is of one size."""
    colours = body_colours(tuple(s for s in shapes if s.role is not Role.PART))
    first = next(s for s in shapes if s.role is Role.PART)
    colours |= {s.name: body_colours((first,))[first.name] for s in shapes if s.role is Role.PART}
    points = np.vstack([meshes[s.name].all_points_mm() for s in shapes])
    actors = [
        actor(s, colours, opacity_share=_GHOST if s.role is Role.TAKEN else 1.0)
        for s in shapes
        if s.name in scene["shows"]
    ]
    return {
        **scene_base(scene["file"], scene["title"]),
        "actors": actors,
        "camera": fitted(points),
        "legend": legend_of(a["role"] for a in actors if a["role"] != Role.PART),
        "whole": True,
    }
