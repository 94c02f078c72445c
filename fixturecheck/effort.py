"""How much work is spent on looking for cures, counted in tries, so that the same set-up is answered alike.

A verdict never depends on it: what is found wrong stays wrong, and the finding says that cures were left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Lock

from fixturecheck.errors import NotComputedError

BOOLEAN, COLLAPSE, CONTACTS, FIELD = 3, 2, 20, 40
"""What one try costs: two solids compared, one load to collapse, a part cut and its contacts found again, a
magnetic field for each thousand points of its meshes. The unit is about a hundredth of a second on a common
machine; only the counts are used."""

SEAT, NEST, CLEAR, HOLD = 3_000, 3_000, 3_000, 9_000
"""What is spent in one check on moves out of overlaps, on cures of nests, of the clearances of one cut, and
of holds."""

SPENT = "the work that is spent on cures in one check is used up"


class SpentError(NotComputedError):
    """What may be spent on cures has been."""


class Budget:
    """What is left to spend; several searches may share one. `spent` tells whether one was turned away."""

    def __init__(self, tries: int) -> None:
        self.left = tries
        self.spent = False
        self._lock = Lock()

    def take(self, cost: int) -> None:
        """Take the cost of one try.

        Raises
        ------
        SpentError
            Nothing is left.
        """
        # Fields that are solved at once take from one budget.
        with self._lock:
            if self.left <= 0:
                self.spent = True
                raise SpentError(SPENT)
            self.left -= cost


_budget: ContextVar[Budget | None] = ContextVar("budget", default=None)


@contextmanager
def spending(budget: Budget) -> Iterator[None]:
    """Let every try in the block be taken from a budget.

    Parameters
    ----------
    budget : Budget
        What the tries in the block may cost.

    Yields
    ------
    None
        Nothing; the budget is in force while the block runs.
    """
    token = _budget.set(budget)
    try:
        yield
    finally:
        _budget.reset(token)


def spend(cost: int) -> None:
    """Take the cost of one try from the budget of the search that runs; free where none does.

    Parameters
    ----------
    cost : int
        What the try costs, in the units of the budget.

    Raises
    ------
    SpentError
        Nothing is left.
    """
    budget = _budget.get()
    if budget is not None:
        budget.take(cost)
