"""A whole check from file to folder, as the command line runs it in its own process.

Nothing heavy is imported here, so that the drawing process can be started first of all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.report.folder import scratch, written
from fixturecheck.report.pictures.painter import Painter

if TYPE_CHECKING:
    from fixturecheck.result import Result
    from fixturecheck.setup.model import Setup

Progress = Callable[[str, float], None]
Tell = Callable[[list[str]], None]

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
    # The drawing process loads its own libraries while this one loads the kernel.
    painter = Painter() if pictures else None
    try:
        return check_into(
            setup_path, overrides, folder, painter, only, skip, width, progress=progress, tell=tell
        )
    finally:
        if painter is not None:
            painter.stop()


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
        from fixturecheck.report.terminal import table  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.report.write import write_all  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.setup.load import load  # noqa: PLC0415 -- the painter starts first

        progress(f"read {Path(setup_path).name}", 0.15)
        setup = load(setup_path, overrides)
        result = _checked(setup, only, skip, progress, tell)
        with written(Path(folder)):
            trouble = write_all(
                Path(folder),
                result,
                setup,
                painter=painter,
                progress=lambda doing, share: progress(f"write {doing}", _between(_CHECKED, 1.0, share)),
            )
        return str(result.verdict), table(result, width=width, colour=colour), trouble


def _checked(
    setup: Setup, only: tuple[str, ...] | None, skip: tuple[str, ...], progress: Progress, tell: Tell
) -> Result:
    """Check a set-up, and tell what is found as soon as it is."""
    from fixturecheck.engine import check  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.report.terminal import SoFar  # noqa: PLC0415 -- the painter starts first

    so_far = SoFar(tell)

    def step(doing: str, share: float) -> None:
        so_far.end()
        progress(doing, _between(_LOADED, _CHECKED, share))

    return check(
        setup,
        only=only,
        skip=skip,
        progress=step,
        found=so_far.found,
    )


def _between(low: float, high: float, share: float) -> float:
    return low + (high - low) * share
