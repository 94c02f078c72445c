"""One check of a set-up that is watched, and what it changes against the last one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from fixturecheck.progress import Progress, Tell, silent
from fixturecheck.runs import check
from fixturecheck.runs.request import CheckAnswer, CheckRequest


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchAnswer:
    """What a check came to, and what it changes against the last one; empty for the first."""

    check: CheckAnswer
    changes: str


def run(
    setup_path: str,
    overrides: Mapping[str, str],
    folder: str,
    request: CheckRequest,
    before: str | None,
    *,
    progress: Progress,
    tell: Tell,
) -> WatchAnswer:
    """Check a set-up as `fixturecheck check` does, and hold the result against an earlier one.

    Parameters
    ----------
    before : str or None
        The folder of the earlier result.

    Raises
    ------
    FixturecheckError
        The set-up is wrong, the kernel failed, or the result could not be written.
    """
    answer = check.run(setup_path, overrides, folder, request, progress=progress, tell=tell)
    if before is None:
        return WatchAnswer(check=answer, changes="")
    from fixturecheck.comparing.whole import compared  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.report.comparison import comparison_text  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.runs.given import given_result  # noqa: PLC0415 -- the painter starts first

    early, late = (
        replace(given_result(one, request, silent).told, path=called)
        for one, called in ((before, "before"), (folder, "now"))
    )
    changes = comparison_text(compared(early, late), width=request.width)
    return WatchAnswer(check=answer, changes=changes)
