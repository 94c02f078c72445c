"""A whole check from file to folder, of one set-up or of a job, and a look at an assembly with no set-up.

Nothing heavy is imported here, so that the drawing process can be started first of all.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.process.text import is_job
from fixturecheck.progress import Progress, Tell, part_of
from fixturecheck.report.folder import scratch, written
from fixturecheck.report.pictures.painter import Painter, painting
from fixturecheck.runs.request import CheckAnswer, CheckRequest

if TYPE_CHECKING:
    from fixturecheck.process.model import Job
    from fixturecheck.result import Result
    from fixturecheck.setup.model import Setup


ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
"""What a check states of its environment: operations of a job are checked in forks, and arrays start threads.

Nor do these threads gain anything: with two of them a held gib takes a third more CPU time and as long.
"""
_CHECKED = 0.7
_READ_UNTIL, _LOOKED = 0.3, 0.7


def run(
    setup_path: str,
    overrides: Mapping[str, str],
    folder: str,
    request: CheckRequest,
    *,
    progress: Progress,
    tell: Tell,
) -> CheckAnswer:
    """Load a set-up, check it, write everything.

    Parameters
    ----------
    setup_path : str
        File of a set-up or of a job.
    overrides : mapping of str to str
        Parameters of the set-up that are given another value.
    folder : str
        An empty folder to write into.
    request : CheckRequest
        How it is checked, and how the answer is shown.
    progress : callable
        Told what is being done, and the share done so far.
    tell : callable
        Told lines about what was found, as soon as it was.

    Returns
    -------
    CheckAnswer

    Raises
    ------
    FixturecheckError
        The set-up is wrong, the kernel failed, or the result could not be written.
    """
    with painting_of(Path(setup_path), request) as painter:
        return check_into(setup_path, overrides, folder, request, painter, progress=progress, tell=tell)


@contextmanager
def painting_of(setup: Path, request: CheckRequest) -> Iterator[Painter | None]:
    """Yield the drawing process of a set-up and end it with the block; operations of a job have their own.

    What a check needs of the environment is stated here, before anything heavy loads. Of a script it is not
    known yet whether it states a job.

    Parameters
    ----------
    setup : Path
        File of a set-up or of a job.
    request : CheckRequest
        Says whether to draw.

    Yields
    ------
    Painter or None
        None where nothing is drawn, and for a job stated in TOML.
    """
    # A process with threads must not be forked.
    os.environ.update(ONE_THREAD)
    job = setup.suffix.lower() == ".toml" and is_job(setup)
    with painting(request.pictures and not job) as painter:
        yield painter


def check_into(
    setup_path: str,
    overrides: Mapping[str, str],
    folder: str,
    request: CheckRequest,
    painter: Painter | None,
    *,
    progress: Progress,
    tell: Tell,
) -> CheckAnswer:
    """Load a set-up, check it and write everything, as `run` does, with a drawing process that is there.

    Parameters
    ----------
    setup_path : str
        File of a set-up or of a job.
    overrides : mapping of str to str
        Parameters of the set-up that are given another value.
    folder : str
        An empty folder to write into.
    request : CheckRequest
        How it is checked, and how the answer is shown.
    painter : Painter or None
        The drawing process; None draws nothing.
    progress : callable
        Told what is being done, and the share done so far.
    tell : callable
        Told lines about what was found, as soon as it was.

    Returns
    -------
    CheckAnswer

    Raises
    ------
    FixturecheckError
        As `run`.
    """
    with scratch(Path(folder)):
        progress("load the kernel", 0.02)
        from fixturecheck.compiled import loops_kept  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.process.load import load_any  # noqa: PLC0415 -- the painter starts first

        progress(f"read {Path(setup_path).name}", 0.15)
        given = load_any(setup_path, overrides)
        if not loops_kept():
            # Nothing else would be said for as long as that takes.
            tell(["The inner loops are compiled first, once on this machine: about half a minute."])
        rest = part_of(progress, 0.2, 1.0)
        return checked_into(given, Path(folder), request, painter, progress=rest, tell=tell)


def checked_into(
    given: Setup | Job,
    folder: Path,
    request: CheckRequest,
    painter: Painter | None,
    *,
    progress: Progress,
    tell: Tell,
) -> CheckAnswer:
    """Check a set-up or a job that was read, and write everything into a folder.

    Parameters
    ----------
    given : Setup or Job
        As it was read.
    folder : Path
        Where to write.
    request : CheckRequest
        How it is checked, and how the answer is shown.
    painter : Painter or None
        The drawing process; None draws nothing. For a job it is stopped.
    progress : callable
        Told what is being done, and the share done so far.
    tell : callable
        Told lines about what was found, as soon as it was.

    Returns
    -------
    CheckAnswer

    Raises
    ------
    FixturecheckError
        The kernel failed, or the result could not be written.
    """
    from fixturecheck.process.model import Job  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.runs.job import check_job_into  # noqa: PLC0415 -- it builds on this module

    if isinstance(given, Job):
        if painter is not None:
            painter.stop()
        return check_job_into(given, folder, request, progress=progress, tell=tell)
    result = _checked(given, request, progress, tell)
    return answer_of(result, given, folder, request, painter, progress=part_of(progress, _CHECKED, 1.0))


def answer_of(
    result: Result,
    setup: Setup,
    folder: Path,
    request: CheckRequest,
    painter: Painter | None,
    *,
    progress: Progress,
) -> CheckAnswer:
    """Write everything into a folder, and return what it came to.

    Parameters
    ----------
    result : Result
        What was found.
    setup : Setup
        The set-up that was checked.
    folder : Path
        Where to write.
    request : CheckRequest
        Width and colour of the table.
    painter : Painter or None
        The drawing process; None draws nothing.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    CheckAnswer

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
    shown = table(result, width=request.width, colour=request.colour)
    return CheckAnswer(verdict=str(result.verdict), table=shown, trouble=trouble)


def _checked(setup: Setup, request: CheckRequest, progress: Progress, tell: Tell) -> Result:
    """Check a set-up, and tell what is found as soon as it is."""
    from fixturecheck.engine import check  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.report.terminal import SoFar  # noqa: PLC0415 -- the painter starts first

    so_far, middle = SoFar(tell), part_of(progress, 0.0, _CHECKED)

    def step(doing: str, share: float) -> None:
        so_far.end()
        middle(doing, share)

    return check(setup, only=request.only, skip=request.skip, progress=step, found=so_far.found, copied=True)


def survey(
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
    request : CheckRequest
        Whether to draw, and how the answer is shown.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    CheckAnswer

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
        result = surveyed(whole, progress=part_of(progress, _READ_UNTIL, _LOOKED))
        rest = part_of(progress, _LOOKED, 1.0)
        return answer_of(result, whole.setup, Path(folder), request, painter, progress=rest)
