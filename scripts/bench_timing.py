"""How two ways of doing the same work are timed against each other on a machine that others use too."""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable, Sequence


class MissingError(Exception):
    """A row cannot be measured here; the message says what is missing."""


def timed_s(work: Callable[[], object]) -> float:
    """Return the seconds that a piece of work takes, with what stood before out of the collector's way."""
    gc.collect()
    gc.freeze()
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def interleaved_s(rounds: int, *makers: Callable[[], Callable[[], object]]) -> list[list[float]]:
    """Time several pieces of work turn by turn, so that a busy machine slows all of them.

    Parameters
    ----------
    rounds : int
        How often each is timed.
    *makers : callable
        Each makes its work anew for every round, untimed: what a round leaves in a shape is not there in
        the next.

    Returns
    -------
    list of list of float
        Seconds by piece of work and round.
    """
    taken: list[list[float]] = [[] for _ in makers]
    for _ in range(rounds):
        for times, make in zip(taken, makers, strict=True):
            times.append(timed_s(make()))
    return taken


def ratio_of(above_s: Sequence[float], below_s: Sequence[float]) -> float:
    """Return the median over the rounds of how many times longer one took than the other."""
    return statistics.median(a / b for a, b in zip(above_s, below_s, strict=True))


def shown_s(times_s: Sequence[float]) -> str:
    """Return the median of some times with its unit."""
    median = statistics.median(times_s)
    return f"{median:.3g} s" if median >= 1 else f"{1e3 * median:.3g} ms"
