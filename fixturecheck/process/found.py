"""What a check found, of one set-up or of a whole job alike: its findings, each known by the operation."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.result import Result, Source
from fixturecheck.result.finding import BADNESS, Finding, NotAsked, Verdict
from fixturecheck.result.stored import called_in
from fixturecheck.wording import sentences as words
from fixturecheck.wording.sentences import Together

if TYPE_CHECKING:
    from fixturecheck.process.model import Job, JobResult
    from fixturecheck.setup.model import Setup


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
    from fixturecheck.process.run import check_staged, staged_job  # noqa: PLC0415 -- loads the kernel

    if isinstance(setup, JobResult):
        return setup
    stated = load_any(Path(setup), overrides or {}) if isinstance(setup, str | os.PathLike) else setup
    if isinstance(stated, Job):
        return check_staged(staged_job(stated), only=only, skip=skip)
    return check(stated, only=only, skip=skip)
