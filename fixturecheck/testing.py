"""For tests of users' own parts: assert that a set-up is go."""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, NotAsked, Verdict, worst

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup

__all__ = ["assert_go"]


def assert_go(
    setup: Setup | Result | str | os.PathLike[str],
    *,
    only: Collection[str] | None = None,
    skip: Collection[str] = (),
    allow_caution: bool = False,
) -> Result:
    """Check a set-up and fail unless everything that was asked is go.

    An `unknown` always fails, and so does a check named in `only` that the set-up states too little for. What
    the set-up's own `[severity]` makes of a no-go counts as it says there.

    Parameters
    ----------
    setup : Setup, Result, str or path
        A set-up, the result of a check that was run already, or the path of a set-up's file.
    only : collection of str, optional
        The checks to ask; without it, all that the set-up states enough for (`Result.not_asked` lists the
        others). On a result it asks nothing again, but each check named has to have been asked.
    skip : collection of str
        Checks to leave out. Of no effect on a result.
    allow_caution : bool
        Whether a caution passes.

    Returns
    -------
    Result
        What was found, for further assertions.

    Raises
    ------
    AssertionError
        Something is not go; the message lists each such finding with its remedy, the worst first.
    SetupError
        The set-up cannot be read or checked.
    """
    __tracebackhide__ = True
    result = setup if isinstance(setup, Result) else _checked(setup, only, skip)
    passing = {Verdict.GO, Verdict.CAUTION} if allow_caution else {Verdict.GO}
    failed = [f for f in result.findings if f.verdict not in passing]
    silent = [n for n in result.not_asked if n.check in (only or ())]
    if result.verdict not in passing or failed or silent:
        raise AssertionError(_message(result, failed, silent))
    return result


def _checked(
    setup: Setup | str | os.PathLike[str], only: Collection[str] | None, skip: Collection[str]
) -> Result:
    from fixturecheck.engine import check  # noqa: PLC0415 -- importing this module must load no kernel
    from fixturecheck.setup.load import load  # noqa: PLC0415 -- importing this module must load no kernel
    from fixturecheck.setup.model import Setup  # noqa: PLC0415 -- importing this module must load no kernel

    return check(setup if isinstance(setup, Setup) else load(Path(setup)), only=only, skip=skip)


def _message(result: Result, failed: list[Finding], silent: list[NotAsked]) -> str:
    left, lines = list(failed), [f"{result.name}: {result.verdict}"]
    while left:
        worst_left = worst(f.verdict for f in left)
        lines += [_line(f) for f in left if f.verdict is worst_left]
        left = [f for f in left if f.verdict is not worst_left]
    lines += [f"  not asked  {n.check}: {n.reason}{f' ({n.lacks})' if n.lacks else ''}" for n in silent]
    return "\n".join(lines)


def _line(finding: Finding) -> str:
    change = f" Change: {finding.remedy}" if finding.remedy else ""
    return f"  {finding.verdict}  {finding.check}: {finding.subject}: {finding.says}{change}"
