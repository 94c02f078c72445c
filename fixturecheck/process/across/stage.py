"""What every check across operations is given: the job, the part's states and the set-ups."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fixturecheck.process.burrs import BurrsOf
from fixturecheck.process.model import Job, PartState
from fixturecheck.process.records import Operation
from fixturecheck.process.setups import OperationSetup
from fixturecheck.result.finding import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteFinding:
    """One finding, and the operation that it is about; None where it is about the job as a whole."""

    number: int | None
    finding: Finding


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
