"""Work for other processes, some of which end theirs."""

from __future__ import annotations

import os
import time

from fixturecheck.runs.variant import Task, at_most, refusal
from fixturecheck.study.model import VariantRow


def halved(number: int) -> float:
    """Return half of a number; an odd one ends the process."""
    if number % 2:
        os._exit(9)
    return number / 2


def ends(*_: object, **__: object) -> None:
    """End the process."""
    os._exit(9)


def answers(task: Task, *_: object, **__: object) -> VariantRow:
    """Return a row that says that it was reached."""
    return refusal(task, "answered")


def slept(for_s: float, limit_s: float) -> float:
    """Sleep in a process that may not take longer than a limit."""
    with at_most(limit_s):
        time.sleep(for_s)
    return for_s
