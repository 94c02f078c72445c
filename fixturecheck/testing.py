"""For tests of users' own parts: assert that a set-up or a whole job is go."""

from __future__ import annotations

import os
from collections.abc import Collection
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

from fixturecheck.process.found import Found, checked, failure_lines, found_in
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, NotAsked, Verdict

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
        Something is not go; the message lists such findings with their remedies, the worst first, and like
        ones of a gang as one.
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


def _message(found: Found, failed: list[Finding], silent: list[NotAsked], stale: list[str]) -> str:
    lines = [f"{found.name}: {found.verdict}", *failure_lines(found, failed)]
    lines += [f"  not asked  {n.check}: {n.reason}{f' ({n.lacks})' if n.lacks else ''}" for n in silent]
    lines += [f"  no longer short  {one}: take it out of `but`" for one in stale]
    return "\n".join(lines)
