"""The sheets of a set-up, or of every operation of a job: checked, pictured, set.

Nothing heavy is imported here, so that the drawing process can be started first of all.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.progress import Progress, part_of
from fixturecheck.report.pictures.painter import painting
from fixturecheck.runs.request import CheckRequest

if TYPE_CHECKING:
    from fixturecheck.process.model import Job
    from fixturecheck.result import Result
    from fixturecheck.setup.model import Setup
    from fixturecheck.sheet.content import Sheet


_CHECKED = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSet:
    """What was set.

    Parameters
    ----------
    verdict : str
        The worst of all operations.
    pdf : bytes or None
        The PDF; None where it was not asked for.
    page : str
        The same as HTML.
    count : int
        How many operations it tells.
    troubles : tuple of str
        Why pictures are missing.
    """

    verdict: str
    pdf: bytes | None
    page: str
    count: int
    troubles: tuple[str, ...]


def run(
    setup_path: str,
    overrides: Mapping[str, str],
    request: CheckRequest,
    paper: str,
    pdf: bool,
    *,
    progress: Progress,
) -> SheetSet:
    """Check a set-up or a job and set its sheets.

    Parameters
    ----------
    setup_path : str
        File of a set-up or of a job.
    overrides : mapping of str to str
        Parameters of the set-up that are given another value.
    request : CheckRequest
        How it is checked, and whether to draw.
    paper : str
        `a4` or `letter`.
    pdf : bool
        Whether to set a PDF besides the page.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    SheetSet

    Raises
    ------
    FixturecheckError
        The set-up is wrong, or the sheet could not be set.
    """
    progress("load the kernel", 0.02)
    from fixturecheck.process.load import load_any  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.process.model import Job  # noqa: PLC0415 -- the same
    from fixturecheck.result.finding import Verdict, worst  # noqa: PLC0415 -- the same
    from fixturecheck.sheet.operation import NOT_CHECKED  # noqa: PLC0415 -- the same
    from fixturecheck.sheet.pages import sheet_page, sheet_pdf  # noqa: PLC0415 -- the same

    progress(f"read {Path(setup_path).name}", 0.1)
    loaded = load_any(setup_path, overrides)
    share = part_of(progress, 0.15, _CHECKED)
    made = (
        _of_job(loaded, request, share)
        if isinstance(loaded, Job)
        else iter([_of_setup(loaded, request, share)])
    )
    sheets: list[Sheet] = []
    drawn: dict[str, bytes] = {}
    troubles: list[str] = []
    for sheet, pictures, trouble in made:
        named = {f"{len(sheets) + 1}_{name}": png for name, png in pictures.items()}
        drawn |= named
        if trouble:
            troubles.append(trouble)
        sheets.append(replace(sheet, pictures=tuple(named)))
    progress("set the sheet", _CHECKED)
    return SheetSet(
        verdict=str(worst(Verdict(s.verdict.lower()) for s in sheets if s.verdict != NOT_CHECKED)),
        pdf=sheet_pdf(sheets, drawn, paper=paper) if pdf else None,
        page=sheet_page(sheets, drawn, paper=paper),
        count=len(sheets),
        troubles=tuple(troubles),
    )


Made = tuple["Sheet", Mapping[str, bytes], str | None]
"""A sheet, its pictures by file name, and why they are missing."""


def _of_setup(setup: Setup, request: CheckRequest, progress: Progress) -> Made:
    """Return the sheet of one set-up."""
    from fixturecheck.engine import check  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.sheet.content import sheet_of  # noqa: PLC0415 -- the same
    from fixturecheck.sheet.measured import measured_of  # noqa: PLC0415 -- the same

    with painting(request.pictures) as painter:
        result = check(setup, skip=request.skip, progress=progress)
        return sheet_of(result, setup, list(measured_of(setup))), *_pictures(result, setup, painter)


def _pictures(result: Result, setup: Setup, painter: object) -> tuple[Mapping[str, bytes], str | None]:
    from fixturecheck.report.pictures.painter import Painter  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.sheet.content import staged_steps  # noqa: PLC0415 -- the same
    from fixturecheck.sheet.operation import staged_pictures  # noqa: PLC0415 -- the same

    if not isinstance(painter, Painter):
        return {}, None
    return staged_pictures(result, list(staged_steps(setup)), painter)


def _of_job(job: Job, request: CheckRequest, progress: Progress) -> Iterator[Made]:
    """Yield the sheet of every operation, in their order."""
    from fixturecheck.process.run import (  # noqa: PLC0415 -- the same  # noqa: PLC0415 -- the same
        check_operation,
        checked_setup,
        looked_across,
        staged_job,
        with_across,
    )
    from fixturecheck.sheet.content import sheet_of  # noqa: PLC0415 -- the same
    from fixturecheck.sheet.measured import measured_of  # noqa: PLC0415 -- the same
    from fixturecheck.sheet.operation import bare_sheet, edges_stoned, with_operation, with_whole  # noqa: PLC0415 -- the same

    stage = staged_job(job, part_of(progress, 0.0, 0.2))
    across = looked_across(stage)
    whole = [one.finding for one in across if one.number is None]
    for i, operation in enumerate(job.operations):
        progress(f"operation {operation.title}", 0.2 + 0.8 * i / len(job.operations))
        made = stage.setups[operation.number]
        mine = [one.finding for one in across if one.number == operation.number]
        if made.setup is None:
            bare = bare_sheet(job, operation, mine)
            yield with_whole(bare, [] if i else whole), {}, None
            continue
        with painting(request.pictures) as painter:
            shown = with_across(check_operation(made, skip=request.skip), made, mine, operation)
            setup = checked_setup(shown)
            pictures, trouble = _pictures(shown, setup, painter)
        sheet = sheet_of(
            shown,
            setup,
            list(measured_of(setup)),
            number=f"{operation.number}",
            title=operation.name,
            stones=edges_stoned(operation),
            left_mm={face: operation.leave_of(face) for face in operation.makes},
        )
        page = with_operation(sheet, job, operation, setup)
        yield with_whole(page, [] if i else whole), pictures, trouble
