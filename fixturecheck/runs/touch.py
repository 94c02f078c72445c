"""A look at an assembly from file to folder.

Nothing heavy is imported here, so that the drawing process can be started first of all.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from fixturecheck.report.folder import scratch
from fixturecheck.report.pictures.painter import painting
from fixturecheck.runs.check import answer_of, part_of

Progress = Callable[[str, float], None]

_READ, _LOOKED = 0.3, 0.7


def run(
    path: str,
    within_mm: float,
    units: str,
    folder: str,
    pictures: bool,
    width: int,
    colour: bool = False,
    *,
    progress: Progress,
) -> tuple[str, str, str | None]:
    """Read an assembly, look what touches, write everything.

    Parameters
    ----------
    path : str
        A STEP or BREP file.
    within_mm : float
        How far bodies may be apart to be told.
    units : str
        `mm` or `inch`.
    folder : str
        An empty folder to write into.
    pictures : bool
        Whether to draw.
    width : int
        Columns of the terminal.
    colour : bool
        Whether the table is coloured.

    Returns
    -------
    tuple of str
        The verdict, the table for the terminal, and why pictures are missing (None if none is).

    Raises
    ------
    FixturecheckError
        The file cannot be used, the kernel failed, or the result could not be written.
    """
    with painting(pictures) as painter, scratch(Path(folder)):
        progress("load the kernel", 0.02)
        from fixturecheck.touching.bodies import assembled  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.touching.survey import surveyed  # noqa: PLC0415 -- the painter starts first

        progress(f"read {Path(path).name}", 0.15)
        whole = assembled(path, within_mm=within_mm, units=units)
        result = surveyed(whole, progress=part_of(progress, _READ, _LOOKED))
        rest = part_of(progress, _LOOKED, 1.0)
        return answer_of(result, whole.setup, Path(folder), painter, width, colour, progress=rest)
