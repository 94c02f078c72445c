"""What the sheet of an operation says of its job, and pictures of the set-up with its bodies numbered."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from fixturecheck.process.model import Job
from fixturecheck.process.records import Operation, OperationKind
from fixturecheck.report.pictures.draw import painted
from fixturecheck.report.pictures.painter import Painter
from fixturecheck.report.pictures.scene import MeshedResult, overview, set_stage
from fixturecheck.report.statements import AT_THE_DRILL, AT_THE_FURNACE, AT_THE_MACHINE, AT_THE_MILL
from fixturecheck.report.write import meshes_of
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Verdict, worst
from fixturecheck.result.shapes import BODIES, Role
from fixturecheck.setup.model import Setup
from fixturecheck.sheet.content import Sheet, SheetLine, StagedBody
from fixturecheck.units import Writing

NOT_CHECKED = "NOT CHECKED"

_DOES = {
    OperationKind.GRIND: "Grind",
    OperationKind.MILL: "Mill",
    OperationKind.DRILL: "Drill",
    OperationKind.TAP: "Tap",
    OperationKind.HARDEN: "Harden and temper",
    OperationKind.DEBURR: "Deburr",
    OperationKind.STONE: "Stone",
    OperationKind.MEASURE: "Measure",
}


_SAFETY = {
    OperationKind.GRIND: AT_THE_MACHINE,
    OperationKind.MILL: AT_THE_MILL,
    OperationKind.DRILL: AT_THE_DRILL,
    OperationKind.TAP: AT_THE_DRILL,
    OperationKind.HARDEN: AT_THE_FURNACE,
}
"""The usual cautions of each kind of operation; those without are done at the bench."""

_AT_THE_BENCH = (
    "Eye protection on; edges are sharp until they are stoned.",
    "Local rules and the people trained for this work decide.",
)
WHOLE, NEAR = "staged.png", "near.png"
_MOST_NAMED = 14
"""Bodies that carry their name beside their number; more carry the number alone."""
_LETTERS_PX = 48
"""Letters of the axes: 11 points high in the picture on paper, as the text beside it."""


def with_operation(sheet: Sheet, job: Job, operation: Operation, setup: Setup) -> Sheet:
    """Return the sheet of a set-up with what its operation makes, leaves and measures, and the job's file.

    Parameters
    ----------
    sheet : Sheet
        Of the set-up alone.
    job : Job
        Whose file the sheet names first.
    operation : Operation
        Tells the usual cautions where the set-up states nothing that cuts or heats.
    setup : Setup
        The set-up of the operation.

    Returns
    -------
    Sheet
        The same with what the operation adds.
    """
    own = [line for line in _made_from(job) if line not in sheet.made_from]
    works = setup.cuts or setup.drills or setup.end_mills or setup.hardening or setup.holding
    return replace(
        sheet,
        does=tuple(_does(operation, job.write)),
        safety=sheet.safety if works else _safety(operation),
        made_from=(*own, *sheet.made_from),
    )


def edges_stoned(operation: Operation) -> tuple[str, ...]:
    """Return the edges that are stoned in an operation or before it.

    Parameters
    ----------
    operation : Operation
        Of any kind.

    Returns
    -------
    tuple of str
        A face for all its edges, or `a to b` for the edge between two.
    """
    return tuple(" to ".join(one) for one in operation.stones)


def _safety(operation: Operation) -> tuple[str, ...]:
    return _SAFETY.get(OperationKind(operation.kind), _AT_THE_BENCH)


def with_whole(sheet: Sheet, findings: Sequence[Finding]) -> Sheet:
    """Return a sheet with what looking across the operations found of the job as a whole.

    Parameters
    ----------
    sheet : Sheet
        The first of the job.
    findings : sequence of Finding
        Those that are about no single operation.

    Returns
    -------
    Sheet
        With the worse verdict of both, and what is not go among its cautions.
    """
    bad = [f for f in findings if f.verdict is not Verdict.GO]
    if not bad:
        return sheet
    own = [] if sheet.verdict == NOT_CHECKED else [Verdict(sheet.verdict.lower())]
    verdict = worst([*own, *(f.verdict for f in bad)])
    return replace(
        sheet, verdict=str(verdict).upper(), cautions=(*(_finding_text(f) for f in bad), *sheet.cautions)
    )


def _made_from(job: Job) -> tuple[str, ...]:
    return tuple(f"{s.path}  sha256 {s.sha256}" for s in job.sources[:1])


def bare_sheet(job: Job, operation: Operation, findings: Sequence[Finding]) -> Sheet:
    """Return the sheet of an operation that has no set-up.

    Parameters
    ----------
    job : Job
        Whose file the sheet names.
    operation : Operation
        What is done.
    findings : sequence of Finding
        What looking across the operations found of it.

    Returns
    -------
    Sheet
        Never go: nobody looked at it where nothing was found.
    """
    bad = [f for f in findings if f.verdict is not Verdict.GO]
    stones = edges_stoned(operation)
    before = "" if operation.kind == OperationKind.STONE else "before it "
    return Sheet(
        number=f"{operation.number}",
        title=operation.name,
        # Nobody looked at it where nothing was found: that is no go.
        verdict=str(worst(f.verdict for f in bad)).upper() if bad else NOT_CHECKED,
        meaning="No set-up is stated for this operation, and none was checked.",
        does=tuple(_does(operation, job.write)),
        seats=(SheetLine(text=f"Stone {before}the edges of {', '.join(stones)}."),) if stones else (),
        cautions=tuple(_finding_text(f) for f in bad),
        safety=_safety(operation),
        made_from=_made_from(job),
    )


def _does(operation: Operation, write: Writing) -> Iterator[str]:
    """Yield what an operation makes, leaves and measures."""
    made = [_made(operation, face, write) for face in operation.makes]
    between = "; " if any("," in text for text in made) else ", "
    yield f"{_DOES[OperationKind(operation.kind)]}{': ' if made else ''}{between.join(made)}."
    left = [
        f"{write.length(by, 'g')} on {'every face' if face == '*' else face}"
        for face, by in operation.leave_mm.items()
        if by > 0
    ]
    if left:
        yield f"Leave {' and '.join(left)} for a later operation."
    if operation.measures:
        source = f" from {', '.join(operation.measured_from)}" if operation.measured_from else ""
        yield f"Measure {', '.join(operation.measures)}{source}."


def _made(operation: Operation, face: str, write: Writing) -> str:
    """Return a face that is made, with the stock that comes off it."""
    by_mm = operation.stock_of(face)
    return face if not by_mm else f"{face}, {write.length(by_mm, 'g')} off"


def _finding_text(finding: Finding) -> str:
    change = f" Change: {finding.remedy}" if finding.remedy else ""
    return f"{str(finding.verdict).upper()}: {finding.says}{change}"


def staged_pictures(
    result: Result, steps: Sequence[StagedBody], painter: Painter
) -> tuple[Mapping[str, bytes], str | None]:
    """Draw the set-up.

    Parameters
    ----------
    result : Result
        Whose bodies are drawn.
    steps : sequence of StagedBody
        The order, each with the body that carries its number.
    painter : Painter
        A drawing process that has drawn nothing yet.

    Returns
    -------
    (mapping of str to bytes, str or None)
        PNG files by name, the whole first, and why some are missing where they could not be drawn.
    """
    meshes = meshes_of(result)
    scenes = staged_scenes(set_stage(result, meshes), steps)
    with tempfile.TemporaryDirectory() as folder:
        drawn = painted(painter, Path(folder), scenes, (result.shapes, meshes))
        found = drawn.read(Path(folder))
    return {s["file"]: found[s["file"]] for s in scenes if s["file"] in found}, drawn.trouble


def staged_scenes(stage: MeshedResult, steps: Sequence[StagedBody]) -> list[dict[str, Any]]:
    """Return the scenes of the set-up without its wheel, each body with its number.

    Parameters
    ----------
    stage : MeshedResult
        The result with its meshes.
    steps : sequence of StagedBody
        The order, each with the body that carries its number.

    Returns
    -------
    list of dict
        The whole, and the parts close where that shows more.
    """
    scene = overview(stage)
    kept = (*BODIES, Role.POLE)
    named = len(steps) <= _MOST_NAMED
    whole = {
        **scene,
        "file": WHOLE,
        "actors": [a for a in scene["actors"] if a["role"] in kept],
        "tags": [s.tag for s in steps],
        "labels": {s.tag: f"{s.number}  {s.name}" if named else f"{s.number}" for s in steps},
        "legend": [],
        "letters_px": _LETTERS_PX,
    }
    near = whole.pop("close")
    if near is None:
        return [whole]
    return [
        whole,
        {**whole, "whole": True, "file": NEAR, "camera": near, "title": f"{scene['title']}, close"},
    ]
