"""One check of a set-up that is watched, and what it changes against the last one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from fixturecheck.runs import check

Progress = Callable[[str, float], None]
Tell = Callable[[list[str]], None]


def run(
    setup_path: str,
    overrides: Mapping[str, str],
    folder: str,
    pictures: bool,
    only: tuple[str, ...] | None,
    skip: tuple[str, ...],
    before: str | None,
    width: int,
    colour: bool = False,
    *,
    progress: Progress,
    tell: Tell,
) -> tuple[str, str, str | None, str]:
    """Check a set-up as `fixturecheck check` does, and hold the result against an earlier one.

    Parameters
    ----------
    before : str or None
        The folder of the earlier result.

    Returns
    -------
    tuple of str
        The verdict, the table for the terminal, why pictures are missing (None if none is), and what changed.

    Raises
    ------
    FixturecheckError
        The set-up is wrong, the kernel failed, or the result could not be written.
    """
    verdict, table, trouble = check.run(
        setup_path, overrides, folder, pictures, only, skip, width, colour, progress=progress, tell=tell
    )
    if before is None:
        return verdict, table, trouble, ""
    from fixturecheck.comparing.whole import compared  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.report.comparison_text import comparison_text  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.runs.given import given_result  # noqa: PLC0415 -- the painter starts first

    silent: Progress = lambda _doing, _share: None  # noqa: E731 -- reading two files is no step
    early, late = (
        replace(given_result(one, only, skip, silent, 1.0).side, called=called)
        for one, called in ((before, "before"), (folder, "now"))
    )
    return verdict, table, trouble, comparison_text(compared(early, late), width=width)
