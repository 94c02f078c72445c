"""A job from blank to finished, each operation checked, and what was found, of a set-up or a job alike."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.process.across import MODULES
from fixturecheck.process.across.stage import JobStage, RouteFinding, with_origin
from fixturecheck.process.burrs import BurrsOf, MetBurr, burrs_left, burrs_met, with_burrs
from fixturecheck.process.checked import check_operation, comes_off
from fixturecheck.process.model import Job, JobResult, OperationFound
from fixturecheck.process.setups import OperationSetup, kept_from_marks, setup_of, states_of, used_faces
from fixturecheck.progress import Progress, part_of, silent
from fixturecheck.result import Result, Source
from fixturecheck.result.finding import BADNESS, Finding, Kind, NotAsked, Verdict, not_computed, worst
from fixturecheck.result.grouping import identified
from fixturecheck.result.stored import called_in
from fixturecheck.wording import groups as words
from fixturecheck.wording.groups import Together

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup


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
    own = {
        number: result
        for number, result in checked.items()
        if any(f.kind is not Kind.NOTHING_TO_ANSWER for f in result.findings)
    }
    return own or checked


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a check found of a set-up or of a whole job.

    Parameters
    ----------
    name : str
        What it is called.
    verdict : Verdict
        The worst of all.
    findings : tuple of Finding
        All of them; those of an operation have its number before their ids and subjects.
    not_asked : tuple of NotAsked
        The questions that were asked nowhere.
    sources : tuple of Source
        The files that it was read from.
    operations : mapping of str to str
        Of a job, by the id of a finding: the title of the operation that it is about.
    alike : tuple of tuple of str
        Ids of findings that are reported as one, the one furthest from its limit first.
    units : str
        What lengths are written in.
    """

    name: str
    verdict: Verdict
    findings: tuple[Finding, ...]
    not_asked: tuple[NotAsked, ...]
    sources: tuple[Source, ...] = ()
    operations: Mapping[str, str] = field(default_factory=dict)
    alike: tuple[tuple[str, ...], ...] = ()
    units: str = "mm"


def found_in(result: Result | JobResult) -> Found:
    """Return what a check found of a set-up or of a whole job.

    Parameters
    ----------
    result : Result or JobResult

    Returns
    -------
    Found
        The same of both.
    """
    if isinstance(result, Result):
        return Found(
            name=result.name,
            verdict=result.verdict,
            findings=result.findings,
            not_asked=result.not_asked,
            sources=result.sources,
            alike=tuple(_alike(result)),
            units=result.shown_in,
        )
    of_operations = list(_of_operations(result))
    findings = (*result.findings, *(finding for finding, _ in of_operations))
    answered = {f.check for f in findings}
    results = [o.result for o in result.operations if o.result is not None]
    silent = {n.check: n for one in results for n in one.not_asked if n.check not in answered}
    return Found(
        name=result.job.name,
        verdict=result.verdict,
        findings=findings,
        not_asked=tuple(silent.values()),
        sources=result.job.sources,
        operations={finding.id: title for finding, title in of_operations},
        alike=tuple(
            tuple(called_in(one.operation.number, name) for name in ids)
            for one in result.operations
            if one.result is not None
            for ids in _alike(one.result)
        ),
        units=result.job.units,
    )


def _alike(result: Result) -> Iterator[tuple[str, ...]]:
    """Yield the ids of findings that are reported as one, the one furthest from its limit first."""
    groups = list(result.groups)
    while groups:
        group = groups.pop(0)
        groups += group.follows
        yield tuple(result.findings[i].id for i in group.members())


def failure_lines(found: Found, failed: Collection[Finding]) -> list[str]:
    """Return a line for each finding with those like it, the worst first, each with its remedy.

    Parameters
    ----------
    found : Found
        What the check found.
    failed : collection of Finding
        Those of its findings that are told.

    Returns
    -------
    list of str
        One line each.
    """
    by_id = {f.id: f for f in failed}
    grouped = [[by_id.pop(name) for name in ids if name in by_id] for ids in found.alike]
    every = [*filter(None, grouped), *([one] for one in by_id.values())]
    every.sort(key=lambda group: -BADNESS.index(group[0].verdict))
    return [_line(found, Together(finding=lead, like=tuple(like))) for lead, *like in every]


def _line(found: Found, together: Together) -> str:
    finding = together.finding
    change = f" Change: {finding.remedy}" if finding.remedy else ""
    operation = found.operations.get(finding.id)
    of = f"{operation}: " if operation and together.differ else ""
    says = words.says(together, found.units) or finding.says
    return f"  {finding.verdict}  {finding.check}: {of}{words.title(together)}: {says}{change}"


def _of_operations(result: JobResult) -> Iterator[tuple[Finding, str]]:
    """Yield what was found of each operation, with its number, and the operation's title."""
    for one in result.operations:
        number = one.operation.number
        own = () if one.result is None else one.result.findings
        for finding in (*one.findings, *own):
            subject = called_in(number, finding.subject)
            yield (
                replace(finding, id=called_in(number, finding.id), subject=subject),
                one.operation.title,
            )


def checked(
    setup: Setup | Job | Result | JobResult | str | os.PathLike[str],
    only: Collection[str] | None = None,
    skip: Collection[str] = (),
    overrides: Mapping[str, str] | None = None,
) -> Result | JobResult:
    """Return what a check of a set-up or a job, or of its file, finds.

    Parameters
    ----------
    setup : Setup, Job, Result, JobResult, str or path
        A set-up or a job, the path of its file, or what was found already.
    only : Collection[str] or None
        The checks that are asked; None asks all.
    skip : collection of str
        The checks that are left out.
    overrides : mapping of str to str
        Of a file: values for its parameters or keys, as `--set` takes them.

    Returns
    -------
    Result or JobResult
        What was found.

    Raises
    ------
    SetupError
        The set-up cannot be read or checked.
    """
    if isinstance(setup, Result):
        return setup
    from fixturecheck.engine import check  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.load import load_any  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.model import Job, JobResult  # noqa: PLC0415 -- loads the kernel

    if isinstance(setup, JobResult):
        return setup
    stated = load_any(Path(setup), overrides or {}) if isinstance(setup, str | os.PathLike) else setup
    if isinstance(stated, Job):
        return check_staged(staged_job(stated), only=only, skip=skip)
    return check(stated, only=only, skip=skip)
