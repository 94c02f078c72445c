"""What a sheet says besides, of an operation of a job."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from fixturecheck.process.model import Job
from fixturecheck.process.records import Operation, OperationKind
from fixturecheck.result.finding import Finding, Verdict, worst
from fixturecheck.sheet.content import Sheet

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


def with_operation(sheet: Sheet, job: Job, operation: Operation) -> Sheet:
    """Return the sheet of a set-up with what its operation makes, stones and measures, and the job's file."""
    own = [line for line in _made_from(job) if line not in sheet.made_from]
    return replace(
        sheet,
        does=tuple(_does(operation)),
        seats=(*_stones(operation), *sheet.seats),
        made_from=(*own, *sheet.made_from),
    )


def with_whole(sheet: Sheet, findings: Sequence[Finding]) -> Sheet:
    """Return a sheet with what looking across the operations found of the job as a whole."""
    bad = [f for f in findings if f.verdict is not Verdict.GO]
    if not bad:
        return sheet
    own = [] if sheet.verdict == NOT_CHECKED else [Verdict(sheet.verdict.lower())]
    verdict = worst([*own, *(f.verdict for f in bad)])
    return replace(sheet, verdict=str(verdict).upper(), cautions=(*(_said(f) for f in bad), *sheet.cautions))


def _made_from(job: Job) -> tuple[str, ...]:
    return tuple(f"{s.path}  sha256 {s.sha256}" for s in job.sources[:1])


def bare_sheet(job: Job, operation: Operation, findings: Sequence[Finding]) -> Sheet:
    """Return the sheet of an operation that has no set-up.

    Parameters
    ----------
    findings : sequence of Finding
        What looking across the operations found of it.
    """
    bad = [f for f in findings if f.verdict is not Verdict.GO]
    return Sheet(
        number=f"{operation.number}",
        title=operation.name,
        # Nobody looked at it where nothing was found: that is no go.
        verdict=str(worst(f.verdict for f in bad)).upper() if bad else NOT_CHECKED,
        meaning="No set-up is stated for this operation, and none was checked.",
        not_asked="",
        does=tuple(_does(operation)),
        steps=(),
        special=(),
        seats=tuple(_stones(operation)),
        hold=(),
        datums=(),
        wheel=(),
        cuts=(),
        measures=(),
        off=(),
        cautions=tuple(_said(f) for f in bad),
        safety=("Local rules and the people trained for this work decide.",),
        made_from=_made_from(job),
    )


def _does(operation: Operation) -> Iterator[str]:
    """Yield what an operation makes, leaves and measures."""
    if operation.makes:
        yield f"{_DOES[OperationKind(operation.kind)]}: {', '.join(operation.makes)}."
    else:
        yield f"{_DOES[OperationKind(operation.kind)]}."
    for face, left_mm in operation.leave_mm.items():
        if left_mm > 0:
            yield f"Leave {left_mm:g} mm on {'every face' if face == '*' else face} for a later operation."
    if operation.measures:
        source = f" from {', '.join(operation.measured_from)}" if operation.measured_from else ""
        yield f"Measure {', '.join(operation.measures)}{source}."


def _stones(operation: Operation) -> Iterator[str]:
    """Yield the edges that are stoned, in an operation or before it."""
    if operation.stones:
        edges = ", ".join("+".join(one) for one in operation.stones)
        before = "" if operation.kind == OperationKind.STONE else "Before seating, "
        yield f"{before}{'stone' if before else 'Stone'} these edges: {edges}."


def _said(finding: Finding) -> str:
    change = f" Change: {finding.remedy}" if finding.remedy else ""
    return f"{str(finding.verdict).upper()}: {finding.says}{change}"
