"""A look at an assembly from file to folder.

Nothing heavy is imported here, so that the drawing process can be started first of all.
"""

from __future__ import annotations

from pathlib import Path

from fixturecheck.progress import Progress, part_of
from fixturecheck.report.folder import scratch
from fixturecheck.report.pictures.painter import painting
from fixturecheck.runs.check import answer_of
from fixturecheck.runs.request import CheckAnswer, CheckRequest

_READ, _LOOKED = 0.3, 0.7


def run(
    path: str, within_mm: float, units: str, folder: str, request: CheckRequest, *, progress: Progress
) -> CheckAnswer:
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

    Raises
    ------
    FixturecheckError
        The file cannot be used, the kernel failed, or the result could not be written.
    """
    with painting(request.pictures) as painter, scratch(Path(folder)):
        progress("load the kernel", 0.02)
        from fixturecheck.touching import assembled, surveyed  # noqa: PLC0415 -- the painter starts first

        progress(f"read {Path(path).name}", 0.15)
        whole = assembled(path, within_mm=within_mm, units=units)
        result = surveyed(whole, progress=part_of(progress, _READ, _LOOKED))
        rest = part_of(progress, _LOOKED, 1.0)
        return answer_of(result, whole.setup, Path(folder), request, painter, progress=rest)
