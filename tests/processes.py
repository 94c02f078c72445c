"""Processes as tests see them: which one has started, which still run, and waiting until something holds.

A process that was ended is gone only when the system gets to it, on a busy machine seconds later; one that
ended but whose parent did not ask how stays in the table as a zombie. Neither counts against a program.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from fixturecheck.kernel.side_by_side import received, sent

# Far more than any of it takes, so that a busy machine fails no test.
PATIENCE_S = 120.0


def children(pid: int) -> set[int]:
    """Return the processes that a process started; none of one that has ended."""
    found: set[int] = set()
    for path in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            found |= {int(child) for child in path.read_text().split()}
        except OSError:  # its thread ended since
            continue
    return found


def descendants(pid: int) -> set[int]:
    """Return all that a process has started, and what that has."""
    found, todo = set[int](), [pid]
    while todo:
        new = children(todo.pop()) - found
        found |= new
        todo += new
    return found


def is_running(pid: int) -> bool:
    """Return whether a process has not ended; a zombie has."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False
    return stat.rsplit(")", 1)[1].split()[0] not in "ZX"


def command_of(pid: int) -> str:
    """Return the words that a process was started with; none of one that has ended."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().decode().replace("\0", " ")
    except OSError:
        return ""


def wait_until(holds: Callable[[], object], *, told: Callable[[], object] = lambda: "") -> None:
    """Return as soon as something holds.

    Parameters
    ----------
    holds : callable
        Asked every 50 ms.
    told : callable
        What is shown when it does not.

    Raises
    ------
    AssertionError
        When it does not hold in `PATIENCE_S`.
    """
    start = time.monotonic()
    while not holds():
        assert time.monotonic() - start < PATIENCE_S, told()
        time.sleep(0.05)


class SentBack:
    """Work that is done here, whose answer goes the way from a copy of the process."""

    begun = 0

    def __init__(self, work, shared):
        SentBack.begun += 1
        self.value, self.end = lambda: received(sent(work(), shared), shared), lambda: None
