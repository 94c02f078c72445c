"""What every check across operations is given: the job, the part's states and the set-ups."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Protocol

from fixturecheck.process.burrs import BurrsOf
from fixturecheck.process.model import Job, PartState
from fixturecheck.process.records import Operation
from fixturecheck.process.setups import OperationSetup
from fixturecheck.result.finding import Finding, Origin
from fixturecheck.setup.reader import TextSpot


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteFinding:
    """One finding, and the operation that it is about; None where it is about the job as a whole."""

    number: int | None
    finding: Finding


Across = tuple[Operation | None, Finding]
"""What a check across operations finds, and of which operation; None for the job itself."""

_KEYS: Mapping[str, tuple[str, ...]] = {
    "made": ("setup",),
    "datum": ("measured_from",),
    "stock": ("stock_mm", "makes"),
    "burr": ("stones",),
    "growth": ("growth_share", "temper_c"),
    "hard": ("carbide", "kind"),
    "magnetism": ("demagnetises",),
}
"""By check, the keys of an operation that state what it asks about, the nearest first."""


def with_origin(job: Job, check: str, operation: Operation | None, finding: Finding) -> RouteFinding:
    """Return a finding of a check with the check's name and where the job's files state what it is about.

    That is a key of its operation, else the operation; the part's table where it is about the whole.

    Parameters
    ----------
    job : Job
        The job.
    check : str
        One of those across operations.
    operation : Operation or None
        The one that it is of; None for the job itself.
    finding : Finding
        What the check found.

    Returns
    -------
    RouteFinding
        Without a place where no file states it.
    """
    number = None if operation is None else operation.number
    names = ["blank", "part"] if number is None else [f"{number}.{key}" for key in _KEYS[check]]
    names += ["job"] if number is None else [f"{number}", "job"]
    spot = next((job.where[name] for name in names if name in job.where), None)
    origin = Origin(file=spot.file, line=spot.line) if isinstance(spot, TextSpot) else None
    return RouteFinding(number=number, finding=replace(finding, check=check, origin=origin))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JobStage:
    """A job with its states and set-ups; checks read it and change nothing.

    Parameters
    ----------
    states : tuple of PartState
        The part before the first operation and after each.
    setups : mapping of int to OperationSetup
        By the operation's number.
    burrs : mapping of int to BurrsOf
        By the operation's number, the burrs that it leaves and those that it meets.
    """

    job: Job
    states: tuple[PartState, ...]
    setups: Mapping[int, OperationSetup]
    burrs: Mapping[int, BurrsOf]

    def before(self, operation: Operation) -> PartState:
        """Return the part before an operation."""
        return self.states[self.job.operations.index(operation)]

    def after(self, operation: Operation) -> PartState:
        """Return the part after an operation."""
        return self.states[self.job.operations.index(operation) + 1]


class AcrossCheck(Protocol):
    """What every module that asks across operations is: one question."""

    def check(self, stage: JobStage) -> Iterator[Across]:
        """Yield the findings of one question, each with its operation.

        Parameters
        ----------
        stage : JobStage
            The job with its states and set-ups.

        Yields
        ------
        Across
        """
        ...
