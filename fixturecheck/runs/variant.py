"""One variant of a study, checked in a process of its own."""

from __future__ import annotations

import faulthandler
import multiprocessing
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.errors import FixturecheckError
from fixturecheck.kernel.worker import Worker
from fixturecheck.process.found import Found, checked, found_in
from fixturecheck.progress import Progress
from fixturecheck.result import Source
from fixturecheck.study.model import Variant, VariantRow, outcome_row, unknown_row

if TYPE_CHECKING:
    from fixturecheck.kernel.recall import Parcel

Task = tuple[str, Variant, tuple[str, ...] | None, tuple[str, ...], float]
"""A key, a variant, the checks to ask, those to leave out, and how many seconds it may take."""


def crashed(task: Task) -> VariantRow:
    """Return the row of a variant whose process ended.

    Parameters
    ----------
    task : Task
        What was being worked out.

    Returns
    -------
    VariantRow
        It is unknown; the sentence says why.
    """
    why = f"the geometry kernel crashed, memory ran out, or it took more than {task[4]:g} s"
    return refusal(task, f"The process that worked it out ended: {why}.")


@contextmanager
def at_most(limit_s: float) -> Iterator[None]:
    """End this process where the block takes longer, whatever holds it up; only if another started it.

    The kernel may run for ever and lets nothing else of this process run meanwhile.

    Parameters
    ----------
    limit_s : float
        How many seconds the block may take.

    Yields
    ------
    None
        While the block runs.
    """
    if multiprocessing.parent_process() is None:
        yield
        return
    with Path(os.devnull).open("w") as nowhere:
        faulthandler.dump_traceback_later(limit_s, exit=True, file=nowhere)
        try:
            yield
        finally:
            faulthandler.cancel_dump_traceback_later()


_CHECK = "fixturecheck.runs.variant:check_parcel"
_own = threading.local()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A set-up, or a job with its states and set-ups, that travels to another machine.

    Parameters
    ----------
    setup : Parcel
    sources : tuple of Source
        The files that it was read from, which stay where they are.
    """

    setup: Parcel
    sources: tuple[Source, ...]


def prepare() -> None:
    """Load in a new process what every variant needs."""
    import fixturecheck.process.load  # noqa: PLC0415 -- loads the kernel
    import fixturecheck.process.run  # noqa: F401, PLC0415 -- as above


def check_variant(task: Task) -> VariantRow:
    """Return what a variant comes to; one that cannot be checked is unknown, with the reason.

    Parameters
    ----------
    task : Task
        The variant, and what is asked of it.

    Returns
    -------
    VariantRow
    """
    key, variant, only, skip, limit_s = task
    try:
        with at_most(limit_s):
            found = found_in(checked(variant.setup, only, skip, variant.overrides))
        return _row(key, variant, found)
    except FixturecheckError as trouble:
        return refusal(task, trouble)


def _row(key: str, variant: Variant, found: Found) -> VariantRow:
    return outcome_row(
        key,
        variant,
        found.verdict,
        found.findings,
        sources=found.sources,
        operations=found.operations,
        units=found.units,
    )


def refusal(task: Task, why: object) -> VariantRow:
    """Return the row of a variant that could not be checked.

    Parameters
    ----------
    task : Task
        The variant, and what is asked of it.
    why : object
        The reason, or an error whose text is the reason.

    Returns
    -------
    VariantRow
        It is unknown.
    """
    return unknown_row(task[0], task[1], str(why))


def read_to_send(task: Task, *, progress: Progress) -> Sent:
    """Read the set-up of a variant, to be checked elsewhere.

    Parameters
    ----------
    task : Task
        The variant, and what is asked of it.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    Sent

    Raises
    ------
    SetupError
        It cannot be read.
    """
    from fixturecheck.kernel.recall import packed  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.load import load_any  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.model import Job  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.run import staged_job  # noqa: PLC0415 -- loads the kernel

    variant = task[1]
    progress(f"read {variant.setup}", 0.0)
    given = load_any(variant.setup, variant.overrides)
    if not isinstance(given, Job):
        return Sent(setup=packed(given), sources=given.sources)
    stage = staged_job(given)
    # What makes its set-ups stays here: functions of a script do not travel, and each set-up is made.
    return Sent(setup=packed(replace(stage, job=replace(given, makers={}))), sources=given.sources)


def check_sent(task: Task, sent: Sent) -> VariantRow:
    """Check a variant whose set-up came from another machine, in a guarded process of this thread's own.

    A worker of a cluster may be a daemonic process, which multiprocessing allows no children; the guarded
    process is none of its kind. A crash of the kernel ends it and leaves the worker as it was, and the
    death of the worker ends it.

    Parameters
    ----------
    task : Task
        The variant, and what is asked of it.
    sent : Sent
        What was read of it.

    Returns
    -------
    VariantRow
        Unknown with the reason where it could not be checked.
    """
    if not hasattr(_own, "guarded"):
        _own.guarded = Worker()
    try:
        row: VariantRow = _own.guarded.call(_CHECK, task, sent, timeout_s=task[4])
    except FixturecheckError as trouble:
        return refusal(task, trouble)
    return row


def check_parcel(task: Task, sent: Sent, *, progress: Progress) -> VariantRow:
    """Return what the variant of a parcel comes to.

    Parameters
    ----------
    task : Task
        The variant, and what is asked of it.
    sent : Sent
        What was read of it.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    VariantRow

    Raises
    ------
    FixturecheckError
        It cannot be checked.
    """
    from fixturecheck.engine import check  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.kernel.recall import unpacked  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.across.stage import JobStage  # noqa: PLC0415 -- loads the kernel
    from fixturecheck.process.run import check_staged  # noqa: PLC0415 -- loads the kernel

    key, variant, only, skip, _ = task
    given = unpacked(sent.setup)
    whole = isinstance(given, JobStage)
    found = (check_staged if whole else check)(given, only=only, skip=skip, progress=progress)
    return _row(key, variant, found_in(found))
