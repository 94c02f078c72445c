"""A job from blank to finished: what looks across operations, and each one's check, also on its burrs."""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from importlib import import_module
from typing import cast

import numpy as np

from fixturecheck.checks import MODULES as OF_A_SETUP
from fixturecheck.checks import chosen
from fixturecheck.engine import check
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.kernel.shapes import Shape
from fixturecheck.numeric import to_vector
from fixturecheck.process.across import MODULES
from fixturecheck.process.across.stage import AcrossCheck, JobStage, RouteFinding, with_origin
from fixturecheck.process.burrs import BurrsOf, MetBurr, burrs_left, burrs_met, with_burrs
from fixturecheck.process.model import BodyOff, Job, JobResult, OperationFound
from fixturecheck.process.records import Operation
from fixturecheck.process.setups import OperationSetup, kept_from_marks, setup_of, states_of, used_faces
from fixturecheck.progress import Progress, part_of, silent
from fixturecheck.release.sequence import HAND_N
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Kind, not_computed, worst
from fixturecheck.result.grouping import grouped, identified
from fixturecheck.result.release import BodyLeaves
from fixturecheck.setup.model import Body, Setup, drawings_of
from fixturecheck.units import Writing
from fixturecheck.wording.hold import pry_words, step_words

Checked = Mapping[int, Result]
"""By the operation's number, what its set-up's check found."""

WAITS = "waits until the faces that it seats by are there"
SILENT = "it states nothing that the checks asked could answer"
ON_BURRS = frozenset({"seat", "nest", "rest", "location", "hold", "crash", "release"})
"""Checks whose answer changes where a part stands on burrs; what the wheel makes is asked without them."""


def staged_job(job: Job, progress: Progress = silent) -> JobStage:
    """Work out the states of the part and the set-up of every operation.

    Parameters
    ----------
    job : Job
        A job as it was read.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    JobStage

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
    """Return what looking across the operations finds; what cannot be computed is unknown.

    Parameters
    ----------
    stage : JobStage
        The job with its states and set-ups.

    Returns
    -------
    list of RouteFinding
        In the order of the checks.
    """
    found: list[RouteFinding] = []
    for name, module in MODULES.items():
        try:
            asked = cast("AcrossCheck", import_module(module))
            found += (with_origin(stage.job, name, *one) for one in asked.check(stage))
        except (NotComputedError, KernelError) as reason:
            found.append(with_origin(stage.job, name, None, not_computed(stage.job.name, reason)))
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
    """Tell whether a set-up answers any of the checks asked.

    Parameters
    ----------
    result : Result
        What the set-up's check found.

    Returns
    -------
    bool
    """
    return any(f.kind is not Kind.NOTHING_TO_ANSWER for f in result.findings)


def job_result(
    stage: JobStage, across: Sequence[RouteFinding], checked: Checked, failed: Mapping[int, str]
) -> JobResult:
    """Put the result of a job together.

    Parameters
    ----------
    stage : JobStage
        The job with its states and set-ups.
    across : sequence of RouteFinding
        What looking across the operations found.
    checked : mapping of int to Result
        By the operation's number, what its set-up's check found.
    failed : mapping of int to str
        By the operation's number, why its check gave no result.

    Returns
    -------
    JobResult
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
            findings.append(
                not_computed(operation.title, f"Its check gave no result: {why}.", check="operation")
            )
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


def check_operation(
    made: OperationSetup, *, only: Collection[str] | None = None, skip: Collection[str] = ()
) -> Result:
    """Check the set-up of an operation.

    Parameters
    ----------
    made : OperationSetup
        The operation's set-up, with and without burrs.
    only, skip : collections of str
        Checks to ask, and checks to leave out, as `fixturecheck.check` takes them.

    Returns
    -------
    Result
        Where there are burrs, the checks of `ON_BURRS` are asked with the parts on them, the others without.

    Raises
    ------
    SetupError
        `only` or `skip` names no check, or nothing is left to ask.
    NotComputedError
        The operation has no set-up.
    """
    setup, burred = made.setup, made.burred
    if setup is None:
        raise NotComputedError("an operation without a set-up has nothing to check")
    asked = chosen(only, skip)
    if burred is None or not asked & ON_BURRS:
        return check(setup, only=only, skip=skip)
    standing = check(burred, only=asked & ON_BURRS)
    if not asked - ON_BURRS:
        return standing
    cutting = check(setup, only=asked - ON_BURRS)
    order = [*OF_A_SETUP]
    findings = [f for f in standing.findings if f.check in ON_BURRS]
    findings += [f for f in cutting.findings if f.check not in ON_BURRS]
    findings.sort(key=lambda f: order.index(f.check) if f.check in order else -1)
    known = {s.name for s in standing.shapes}
    answered = {f.check for f in findings}
    return replace(
        standing,
        verdict=worst(f.verdict for f in findings),
        findings=tuple(findings),
        cuts=cutting.cuts,
        dials=cutting.dials,
        offsets=cutting.offsets,
        hardening=cutting.hardening,
        shapes=(*standing.shapes, *(s for s in cutting.shapes if s.name not in known)),
        groups=grouped(findings, drawings_of(burred)),
        not_asked=tuple(
            n for n in (*standing.not_asked, *cutting.not_asked) if n.check not in answered and n.lacks
        ),
    )


def checked_setup(result: Result) -> Setup:
    """Return the set-up that a result is of, with its parts on burrs where that was asked.

    Parameters
    ----------
    result : Result
        What a check of an operation's set-up found.

    Returns
    -------
    Setup

    Raises
    ------
    NotComputedError
        No check has made the result.
    """
    if not isinstance(result.setup, Setup):
        raise NotComputedError(f"the result of {result.name} does not hold its set-up")
    return result.setup


def with_across(
    result: Result, made: OperationSetup, findings: Sequence[Finding], operation: Operation
) -> Result:
    """Return a result with findings across operations first, shown on the first of the job's parts.

    Parameters
    ----------
    result : Result
        What the check of its set-up found.
    made : OperationSetup
        That set-up.
    findings : sequence of Finding
        Their shapes and places are in the frame of the part, and their files are told from the job's folder.
    operation : Operation
        Whose result it is: files are told from the folder of its set-up.

    Returns
    -------
    Result
        Its verdict is the worst of all.
    """
    setup = checked_setup(result)
    if not findings:
        return result
    parts = [setup.body(name) for name in made.parts]
    told = [_from_setup(f, operation.setup or "") for f in findings]
    moved = [_on_part(f, parts[0]) if parts else f for f in told]
    everything = (*moved, *result.findings)
    known = {s.name for s in result.shapes}
    shapes = [s for f in moved for s in f.shapes if s.name not in known]
    return replace(
        result,
        verdict=worst(f.verdict for f in everything),
        findings=everything,
        shapes=(*result.shapes, *shapes),
        groups=grouped(everything, drawings_of(setup)),
    )


def _from_setup(finding: Finding, setup: str) -> Finding:
    """Return a finding that names its file from the folder of a set-up, in place of the job's."""
    origin = finding.origin
    if origin is None:
        return finding
    file = posixpath.relpath(origin.file, posixpath.dirname(setup) or ".")
    return replace(finding, origin=replace(origin, file=file))


def _on_part(finding: Finding, body: Body) -> Finding:
    """Return a finding with its shapes and its place on a body that is the job's part."""
    shapes = tuple(
        replace(s, geometry=placed_at(cast("Shape", s.geometry), body.at), bodies=(body.name,))
        for s in finding.shapes
    )
    place = None
    if finding.location_mm is not None:
        matrix = matrix_of(body.at)
        place = to_vector(matrix[:3, :3] @ np.array(finding.location_mm) + matrix[:3, 3])
    about = tuple(FaceRef.of(body.name, face) for face in finding.about)
    return replace(finding, shapes=shapes, location_mm=place, about=about)


def comes_off(result: Result | None) -> tuple[BodyOff, ...]:
    """Return how each body comes off, the first one first; empty where no holding was stated.

    Parameters
    ----------
    result : Result or None
        What the set-up's check found; None where it was not checked.

    Returns
    -------
    tuple of BodyOff
    """
    if result is None or result.holding is None:
        return ()
    write = Writing(units=result.shown_in)
    return tuple(_body(leaves, write) for leaves in result.holding.leaving)


def _body(leaves: BodyLeaves, write: Writing) -> BodyOff:
    best = leaves.ways[0] if leaves.ways else None
    force_n = None if best is None else best.force_n
    by_hand = force_n is not None and force_n[1] <= HAND_N
    rubs = () if best is None else tuple(str(own) for own, _ in best.rubs)
    return BodyOff(
        body=leaves.body,
        says=step_words(leaves.body, best, hand_n=HAND_N, keeps=leaves.demagnetise, write=write),
        by_hand=by_hand,
        pry_at="" if leaves.pry is None or by_hand else pry_words(leaves.pry, write),
        demagnetise=leaves.demagnetise,
        not_slid=tuple(str(own) for own in leaves.not_slid),
        rubs=rubs,
    )
