"""What the sheet of an operation says of the job that it belongs to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from fixturecheck.process.model import Job
from fixturecheck.process.records import Operation, OperationKind
from fixturecheck.report.statements import AT_THE_DRILL, AT_THE_FURNACE, AT_THE_MACHINE, AT_THE_MILL
from fixturecheck.result.finding import Finding, Verdict, worst
from fixturecheck.setup.model import Setup
from fixturecheck.sheet.content import Sheet, SheetLine
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
