"""A whole job from file to folder: every operation's check and report, and the job's own.

Operations are checked side by side: their states are worked out from the finished part, so that none waits
for another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.errors import NotComputedError
from fixturecheck.progress import Progress, Tell, part_of, silent
from fixturecheck.report.folder import OPERATIONS, scratch, written
from fixturecheck.report.pictures.painter import load_for_copies, painting
from fixturecheck.runs.check import answer_of
from fixturecheck.runs.request import CheckAnswer, CheckRequest

if TYPE_CHECKING:
    from fixturecheck.process.across.stage import JobStage, RouteFinding
    from fixturecheck.process.model import Job
    from fixturecheck.process.records import Operation
    from fixturecheck.result import Result


_STAGED, _CHECKED = 0.2, 0.95


def check_job_into(
    job: Job,
    folder: Path,
    request: CheckRequest,
    *,
    progress: Progress,
    tell: Tell,
) -> CheckAnswer:
    """Check a job and write everything into a folder.

    Parameters
    ----------
    job : Job
        As it was read.
    folder : Path
        An empty folder to write into.
    request : CheckRequest
        How it is checked, and how the answer is shown.
    progress : callable
        Told what is being done, and the share done so far.
    tell : callable
        Told lines about what was found, as soon as it was.

    Returns
    -------
    CheckAnswer

    Raises
    ------
    FixturecheckError
        The job cannot be done as stated, or the result could not be written.
    """
    from fixturecheck.kernel.side_by_side import Done, run_side_by_side  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.run import (  # noqa: PLC0415 -- the same
        answering,
        answers,
        job_result,
        looked_across,
        staged_job,
    )
    from fixturecheck.report.job import job_table, write_job_report  # noqa: PLC0415 -- the same

    stage = staged_job(job, part_of(progress, 0.0, _STAGED))
    across = looked_across(stage)
    _tell_across(across, tell)

    def works(*, silent_too: bool) -> Mapping[int, Callable[[], tuple[Result, str | None]]]:
        return {
            o.number: partial(_check_one, stage, across, o, folder, request, silent_too=silent_too)
            for o in job.operations
            if stage.setups[o.number].setup is not None
        }

    if request.pictures:
        load_for_copies()
    titles = {o.number: o.title for o in job.operations}
    share = part_of(progress, _STAGED, _CHECKED)
    share("check the operations", 0.0)
    seen: list[int] = []

    def done(number: int, came_to: Done) -> None:
        seen.append(number)
        share(f"operation {titles[number]} is checked", min(len(seen) / len(stage.setups), 1.0))
        if came_to.failed or answers(came_to.value[0]):
            verdict = "not computed" if came_to.failed else came_to.value[0].verdict
            tell([f"operation {titles[number]}: {verdict}"])

    found = run_side_by_side(works(silent_too=False), done=done)
    came = [one.value[0] for one in found.values() if not one.failed]
    if came and not any(map(answers, came)):
        # Each is then shown, to say what it would have to state.
        found = run_side_by_side(works(silent_too=True), done=done)
    checked = answering({number: one.value[0] for number, one in found.items() if not one.failed})
    failed = {number: one.failed for number, one in found.items() if one.failed}
    result = job_result(stage, across, checked, failed)
    progress("write the job", _CHECKED)
    with painting(request.pictures, copied=True) as painter, written(folder):
        trouble = write_job_report(folder, result, painter=painter)
    troubles = [trouble, *(one.value[1] for one in found.values() if not one.failed)]
    why = "; ".join(t for t in troubles if t)
    shown = job_table(result, width=request.width, colour=request.colour)
    return CheckAnswer(verdict=str(result.verdict), table=shown, trouble=why or None)


def _tell_across(across: list[RouteFinding], tell: Tell) -> None:
    """Tell what looking across the operations found, before the first of them is checked."""
    from fixturecheck.report.terminal import SoFar  # noqa: PLC0415 -- loads the kernel

    so_far = SoFar(tell)
    for one in across:
        so_far.found(one.finding)
    so_far.end()


def _check_one(
    stage: JobStage,
    across: list[RouteFinding],
    operation: Operation,
    folder: Path,
    request: CheckRequest,
    *,
    silent_too: bool,
) -> tuple[Result, str | None]:
    """Check the set-up of one operation and write its report; this runs in a copy of the process.

    Parameters
    ----------
    silent_too : bool
        Whether a report is written, and drawn, also where the set-up answers none of the checks asked.

    Returns
    -------
    tuple
        What the check found, without its shapes, and why pictures are missing.
    """
    from fixturecheck.process.run import (  # noqa: PLC0415 -- loads the kernel
        answers,
        check_operation,
        checked_setup,
        with_across,
    )

    made = stage.setups[operation.number]
    if made.setup is None:
        raise NotComputedError(f"operation {operation.title} has no set-up")
    home = folder / OPERATIONS / f"{operation.number}"
    with painting(request.pictures, copied=True) as painter, scratch(folder):
        result = check_operation(made, only=request.only, skip=request.skip)
        if not (silent_too or answers(result)):
            return replace(result, shapes=()), None
        home.mkdir(parents=True)
        mine = [one.finding for one in across if one.number == operation.number]
        shown = with_across(result, made, mine, operation)
        answer = answer_of(shown, checked_setup(shown), home, request, painter, progress=silent)
    return replace(result, shapes=()), answer.trouble
