"""For tests of users' own parts: assert that a set-up or a whole job is go."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.result import Result
from fixturecheck.result.finding import BADNESS, Finding, NotAsked, Verdict
from fixturecheck.result.stored import called_in

if TYPE_CHECKING:
    from fixturecheck.process.model import Job, JobResult
    from fixturecheck.setup.model import Setup

__all__ = ["assert_go"]


def assert_go(
    setup: Setup | Job | Result | JobResult | str | os.PathLike[str],
    *,
    only: Collection[str] | None = None,
    skip: Collection[str] = (),
    allow_caution: bool = False,
    but: Collection[str] = (),
) -> Result | JobResult:
    """Check a set-up or a whole job and fail unless everything that was asked is go.

    An `unknown` always fails, and so does a check named in `only` that the set-up states too little for. What
    the set-up's own `[severity]` makes of a no-go counts as it says there.

    Parameters
    ----------
    setup : Setup, Job, Result, JobResult, str or path
        A set-up or a job, the result of a check that was run already, or the path of a file of either.
    only : collection of str, optional
        The checks to ask; without it, all that the set-up states enough for (`Result.not_asked` lists the
        others). On a result it asks nothing again, but each check named has to have been asked, of a job in
        one operation at least.
    skip : collection of str
        Checks to leave out. Of no effect on a result.
    allow_caution : bool
        Whether a caution passes.
    but : collection of str
        Ids of findings that are known and need not be go, or patterns of ids: `nest/gap/*`. One that names no
        such finding fails, so that the list does not outlive what it lists. In a job the number of the
        operation stands before it: `30: nest/gap/*`.

    Returns
    -------
    Result or JobResult
        What was found, for further assertions.

    Raises
    ------
    AssertionError
        Something is not go; the message lists each such finding with its remedy, the worst first.
    SetupError
        The set-up cannot be read or checked.
    """
    __tracebackhide__ = True
    result = checked(setup, only, skip)
    found = found_in(result)
    passing = {Verdict.GO, Verdict.CAUTION} if allow_caution else {Verdict.GO}
    short = [f for f in found.findings if f.verdict not in passing]
    failed = [f for f in short if not any(fnmatchcase(f.id, one) for one in but)]
    stale = [one for one in but if not any(fnmatchcase(f.id, one) for f in short)]
    silent = [n for n in found.not_asked if n.check in (only or ())]
    if failed or silent or stale or (result.verdict not in passing and not but):
        raise AssertionError(_message(found, failed, silent, stale))
    return result


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
    """

    name: str
    verdict: Verdict
    findings: tuple[Finding, ...]
    not_asked: tuple[NotAsked, ...]


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
            name=result.name, verdict=result.verdict, findings=result.findings, not_asked=result.not_asked
        )
    findings = (*result.findings, *_of_operations(result))
    answered = {f.check for f in findings}
    results = [o.result for o in result.operations if o.result is not None]
    silent = {n.check: n for one in results for n in one.not_asked if n.check not in answered}
    return Found(
        name=result.job.name, verdict=result.verdict, findings=findings, not_asked=tuple(silent.values())
    )


def _of_operations(result: JobResult) -> Iterator[Finding]:
    """Yield what was found of each operation, with its number."""
    for one in result.operations:
        number = one.operation.number
        own = () if one.result is None else one.result.findings
        for finding in (*one.findings, *own):
            subject = called_in(number, finding.subject)
            yield replace(finding, id=called_in(number, finding.id), subject=subject)


def checked(
    setup: Setup | Job | Result | JobResult | str | os.PathLike[str],
    only: Collection[str] | None = None,
    skip: Collection[str] = (),
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
    from fixturecheck.process.checked import check_operation  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.load import load_any  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.model import Job, JobResult  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.run import check_job  # noqa: PLC0415 -- loads the kernel

    if isinstance(setup, JobResult):
        return setup
    stated = load_any(Path(setup), {}) if isinstance(setup, str | os.PathLike) else setup
    if isinstance(stated, Job):
        return check_job(stated, check=lambda _, made: check_operation(made, only=only, skip=skip))
    return check(stated, only=only, skip=skip)


def failure_lines(findings: Iterable[Finding]) -> list[str]:
    """Return a line for each finding, the worst first, each with its remedy.

    Parameters
    ----------
    findings : iterable of Finding
        The findings.

    Returns
    -------
    list of str
        One line each.
    """
    ranked = sorted(findings, key=lambda f: -BADNESS.index(f.verdict))
    return [_line(f) for f in ranked]


def _message(found: Found, failed: list[Finding], silent: list[NotAsked], stale: list[str]) -> str:
    lines = [f"{found.name}: {found.verdict}", *failure_lines(failed)]
    lines += [f"  not asked  {n.check}: {n.reason}{f' ({n.lacks})' if n.lacks else ''}" for n in silent]
    lines += [f"  no longer short  {one}: take it out of `but`" for one in stale]
    return "\n".join(lines)


def _line(finding: Finding) -> str:
    change = f" Change: {finding.remedy}" if finding.remedy else ""
    return f"  {finding.verdict}  {finding.check}: {finding.subject}: {finding.says}{change}"
