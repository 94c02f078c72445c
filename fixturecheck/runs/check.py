"""A whole check from file to folder, of one set-up or of a job.

Nothing heavy is imported here, so that the drawing process can be started first of all.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.process.text import is_job
from fixturecheck.report.folder import scratch, written
from fixturecheck.report.pictures.painter import Painter, painting

if TYPE_CHECKING:
    from fixturecheck.result import Result
    from fixturecheck.setup.model import Setup

Progress = Callable[[str, float], None]
Tell = Callable[[list[str]], None]

_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
_LOADED, _CHECKED = 0.25, 0.75


def run(
    setup_path: str,
    overrides: Mapping[str, str],
    folder: str,
    pictures: bool,
    only: tuple[str, ...] | None,
    skip: tuple[str, ...],
    width: int,
    colour: bool = False,
    *,
    progress: Progress,
    tell: Tell,
) -> tuple[str, str, str | None]:
    """Load a set-up, check it, write everything.

    Parameters
    ----------
    folder : str
        An empty folder to write into.
    pictures : bool
        Whether to draw.
    only, skip : tuple of str
        Checks to ask, None for all, and checks to leave out.
    width : int
        Columns of the terminal.
    colour : bool
        Whether the table is coloured.
    tell : callable
        Called with lines about what has been found, as soon as it has.

    Returns
    -------
    tuple of str
        The verdict, the table for the terminal, and why pictures are missing (None if none is).

    Raises
    ------
    FixturecheckError
        The set-up is wrong, the kernel failed, or the result could not be written.
    """
    if Path(setup_path).suffix.lower() == ".toml" and is_job(Path(setup_path)):
        # Operations are checked in forks, which a process with threads must not make; arrays start them.
        os.environ.update(_ONE_THREAD)
    with painting(pictures) as painter:
        return check_into(
            setup_path, overrides, folder, painter, only, skip, width, colour, progress=progress, tell=tell
        )


def check_into(
    setup_path: str,
    overrides: Mapping[str, str],
    folder: str,
    painter: Painter | None,
    only: tuple[str, ...] | None,
    skip: tuple[str, ...],
    width: int,
    colour: bool = False,
    *,
    progress: Progress,
    tell: Tell,
) -> tuple[str, str, str | None]:
    """Load a set-up, check it and write everything, as `run` does, with a drawing process that is there.

    Raises
    ------
    FixturecheckError
        As `run`.
    """
    with scratch(Path(folder)):
        progress("load the kernel", 0.02)
        from fixturecheck.process.load import load_any  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.process.model import Job  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.runs.job import Asked, check_job_into  # noqa: PLC0415 -- it builds on this module

        progress(f"read {Path(setup_path).name}", 0.15)
        setup = load_any(setup_path, overrides)
        if isinstance(setup, Job):
            asked = Asked(only=only, skip=skip, width=width, colour=colour)
            rest = part_of(progress, 0.2, 1.0)
            return check_job_into(setup, Path(folder), painter, asked, progress=rest, tell=tell)
        result = _checked(setup, only, skip, progress, tell)
        rest = part_of(progress, _CHECKED, 1.0)
        return answer_of(result, setup, Path(folder), painter, width, colour, progress=rest)


def answer_of(
    result: Result,
    setup: Setup,
    folder: Path,
    painter: Painter | None,
    width: int,
    colour: bool,
    *,
    progress: Progress,
) -> tuple[str, str, str | None]:
    """Write everything into a folder; return the verdict, the table, and why pictures are missing.

    Raises
    ------
    FixturecheckError
        The result could not be written.
    """
    from fixturecheck.report.terminal import table  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.report.write import write_all  # noqa: PLC0415 -- the painter starts first

    with written(folder):
        trouble = write_all(
            folder,
            result,
            setup,
            painter=painter,
            progress=lambda doing, share: progress(f"write {doing}", share),
        )
    return str(result.verdict), table(result, width=width, colour=colour), trouble


def _checked(
    setup: Setup, only: tuple[str, ...] | None, skip: tuple[str, ...], progress: Progress, tell: Tell
) -> Result:
    """Check a set-up, and tell what is found as soon as it is."""
    from fixturecheck.engine import check  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.report.terminal import SoFar  # noqa: PLC0415 -- the painter starts first

    so_far, middle = SoFar(tell), part_of(progress, _LOADED, _CHECKED)

    def step(doing: str, share: float) -> None:
        so_far.end()
        middle(doing, share)

    return check(
        setup,
        only=only,
        skip=skip,
        progress=step,
        found=so_far.found,
    )


def part_of(progress: Progress, low_share: float, high_share: float) -> Progress:
    """Return what tells the progress of a step that takes the whole from one share to another."""
    return lambda doing, share: progress(doing, low_share + (high_share - low_share) * share)
