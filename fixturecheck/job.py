"""A whole check from file to folder, as the command line runs it in its own process."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from fixturecheck.report.folder import scratch, written
from fixturecheck.report.painter import Painter

Progress = Callable[[str, float], None]

_LOADED, _CHECKED = 0.25, 0.75


def run(
    setup_path: str, overrides: Mapping[str, str], folder: str, pictures: bool, *, progress: Progress
) -> tuple[str, str, str | None]:
    """Load a set-up, check it, write everything.

    Parameters
    ----------
    folder : str
        An empty folder to write into.
    pictures : bool
        Whether to draw.

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
        with scratch(Path(folder)):
            return _run(setup_path, overrides, Path(folder), painter, progress)
    finally:
        if painter is not None:
            painter.stop()


def _run(
    setup_path: str, overrides: Mapping[str, str], folder: Path, painter: Painter | None, progress: Progress
) -> tuple[str, str, str | None]:
    progress("load the kernel", 0.02)
    from fixturecheck.engine import check  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.report.text import table  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.report.write import write_all  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.setup.load import load  # noqa: PLC0415 -- loaded when needed

    progress(f"read {Path(setup_path).name}", 0.15)
    setup = load(setup_path, overrides)
    result = check(setup, progress=lambda doing, share: progress(doing, _between(_LOADED, _CHECKED, share)))
    with written(folder):
        trouble = write_all(
            folder,
            result,
            setup,
            painter=painter,
            progress=lambda doing, share: progress(f"write {doing}", _between(_CHECKED, 1.0, share)),
        )
    return str(result.verdict), table(result), trouble


def _between(low: float, high: float, share: float) -> float:
    return low + (high - low) * share
