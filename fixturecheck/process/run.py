"""A job from blank to finished: states, set-ups, what looks across operations, each operation's check."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from importlib import import_module

from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.process.across import MODULES
from fixturecheck.process.across.stage import JobStage, RouteFinding, with_origin
from fixturecheck.process.burrs import BurrsOf, MetBurr, burrs_left, burrs_met, with_burrs
from fixturecheck.process.checked import check_operation, comes_off
from fixturecheck.process.model import Job, JobResult, OperationFound
from fixturecheck.process.setups import OperationSetup, kept_from_marks, setup_of, states_of, used_faces
from fixturecheck.progress import Progress, part_of, silent
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Kind, not_computed, worst
from fixturecheck.result.grouping import identified

Checked = Mapping[int, Result]
"""By the operation's number, what its set-up's check found."""

WAITS = "waits until the faces that it seats by are there"
SILENT = "it states nothing that the checks asked could answer"


def staged_job(job: Job, progress: Progress = silent) -> JobStage:
    """Work out the states of the part and the set-up of every operation.

    Raises
    ------
    SetupError
        Faces cannot be put back, or a set-up cannot be made.
    """
    progress("states of the part", 0.0)
    states = states_of(job)
    made: dict[int, OperationSetup] = {}
    burrs: dict[int, BurrsOf] = {}
    for i, operation in enumerate(job.operations):
        progress(f"set-up of operation {operation.title}", (i + 1) / (len(job.operations) + 1))
        made[operation.number] = setup_of(job, operation, states[i], states[i + 1])
    setups: dict[int, OperationSetup] = {}
    for i, operation in enumerate(job.operations):
        setup = made[operation.number]
        met = tuple(burrs_met(job, operation, states[i], used_faces(operation, setup)))
        later = [face for o in job.operations[i + 1 :] for face in used_faces(o, made[o.number])]
        setups[operation.number] = _on_burrs(kept_from_marks(setup, later), met)
        burrs[operation.number] = BurrsOf(leaves=tuple(burrs_left(operation, states[i + 1])), meets=met)
    return JobStage(job=job, states=states, setups=setups, burrs=burrs)


def _on_burrs(made: OperationSetup, met: tuple[MetBurr, ...]) -> OperationSetup:
    """Return a set-up with the burrs under its parts, or with the reason why they cannot be drawn."""
    try:
        return with_burrs(made, met)
    except KernelError as reason:
        return replace(made, not_burred=str(reason))


def looked_across(stage: JobStage) -> list[RouteFinding]:
    """Return what looking across the operations finds; what cannot be computed is unknown."""
    found: list[RouteFinding] = []
    for name, module in MODULES.items():
        try:
            found += (with_origin(stage.job, one) for one in import_module(module).check(stage))
        except (NotComputedError, KernelError) as reason:
            unknown = RouteFinding(number=None, finding=not_computed(name, stage.job.name, reason))
            found.append(with_origin(stage.job, unknown))
    return found


def answering(checked: Checked) -> Checked:
    """Return the results without those of set-ups that answer none of the checks asked.

    Where none answers any, all of them stay, so that the answer says so.

    Parameters
    ----------
    checked : mapping of int to Result
        By the operation's number, what its set-up's check found.

    Returns
    -------
    mapping of int to Result
        Those that answer.
    """
    return {number: result for number, result in checked.items() if answers(result)} or checked


def answers(result: Result) -> bool:
    """Tell whether a set-up answers any of the checks asked."""
    return any(f.kind is not Kind.NOTHING_TO_ANSWER for f in result.findings)


def job_result(
    stage: JobStage, across: Sequence[RouteFinding], checked: Checked, failed: Mapping[int, str]
) -> JobResult:
    """Put the result of a job together.

    Parameters
    ----------
    failed : mapping of int to str
        By the operation's number, why its check gave no result.
    """
    operations = tuple(_operations_found(stage, across, checked, failed))
    whole = identified(one.finding for one in across if one.number is None)
    verdict = worst([*(o.verdict for o in operations if o.verdict is not None), *(f.verdict for f in whole)])
    return JobResult(
        job=stage.job, verdict=verdict, states=stage.states, operations=operations, findings=whole
    )


def _operations_found(
    stage: JobStage, across: Sequence[RouteFinding], checked: Checked, failed: Mapping[int, str]
) -> Iterator[OperationFound]:
    for operation in stage.job.operations:
        number = operation.number
        result, setup = checked.get(number), stage.setups[number]
        findings = [one.finding for one in across if one.number == number]
        unanswered = setup.setup is not None and result is None
        why = failed.get(number, WAITS if setup.missing else SILENT if unanswered else "")
        if number in failed:
            findings.append(not_computed("operation", operation.title, f"Its check gave no result: {why}."))
        verdicts = [f.verdict for f in findings] + ([result.verdict] if result is not None else [])
        asked = result is not None or setup.missing or findings
        yield OperationFound(
            operation=operation,
            before=stage.before(operation),
            after=stage.after(operation),
            verdict=worst(verdicts) if asked else None,
            result=result,
            not_checked=why,
            findings=identified(findings),
            burrs=stage.burrs[number].leaves,
            to_stone=tuple(m.burr for m in stage.burrs[number].meets),
            comes_off=comes_off(result),
        )


def check_job(
    job: Job, *, progress: Progress = silent, found: Callable[[Finding], None] = lambda _finding: None
) -> JobResult:
    """Check a whole job, one operation after the other.

    Parameters
    ----------
    job : Job
        What `load_any` returned, or a job made in Python with `job_of`.
    progress : callable
        Called with what is being done, and the share done so far, 0 to 1.
    found : callable
        Called with each finding across operations.

    Returns
    -------
    JobResult
        States, verdicts and findings of every operation.

    Raises
    ------
    SetupError
        Faces cannot be put back, or a set-up cannot be made.
    """
    stage = staged_job(job, part_of(progress, 0.0, 0.2))
    return check_staged(stage, progress=part_of(progress, 0.2, 1.0), found=found)


def check_staged(
    stage: JobStage,
    *,
    only: Collection[str] | None = None,
    skip: Collection[str] = (),
    progress: Progress = silent,
    found: Callable[[Finding], None] = lambda _finding: None,
) -> JobResult:
    """Check a job whose states and set-ups are worked out, one operation after the other.

    Parameters
    ----------
    stage : JobStage
        As `staged_job` returns it.
    only, skip : collections of str
        Checks to ask of each operation, and checks to leave out, as `fixturecheck.check` takes them.
    progress : callable
        Called with what is being done, and the share done so far, 0 to 1.
    found : callable
        Called with each finding across operations.

    Returns
    -------
    JobResult
        States, verdicts and findings of every operation.
    """
    across = looked_across(stage)
    for one in across:
        found(one.finding)
    checked: dict[int, Result] = {}
    asked = [o for o in stage.job.operations if stage.setups[o.number].setup is not None]
    for i, operation in enumerate(asked):
        progress(f"operation {operation.title}", i / len(asked))
        checked[operation.number] = check_operation(stage.setups[operation.number], only=only, skip=skip)
    progress("done", 1.0)
    return job_result(stage, across, answering(checked), {})
