"""Works variants out in other processes; one that ends its process is one row, and never the end.

At most as many are handed out as there are processes, so that when one dies it is known which variants it may
have been: those are tried again, each alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from multiprocessing import active_children
from multiprocessing.process import BaseProcess
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")


def work_through(
    things: Sequence[T],
    work: Callable[[T], R],
    *,
    pool: Callable[[int], Executor],
    at_once: int,
    done: Callable[[T, R], None],
    crashed: Callable[[T], R],
    first_alone: bool = False,
) -> None:
    """Do a piece of work for each thing, and hand on what it returns as soon as it is there.

    Parameters
    ----------
    work : callable
        What is done, in another process; it must be picklable.
    pool : callable
        Makes an executor with so many workers.
    at_once : int
        How many are done at once.
    done : callable
        Called here with each thing and what its work returned.
    crashed : callable
        Returns what counts as the answer for a thing whose work ended its process.
    first_alone : bool
        Whether the others wait for the first, which leaves something behind that all need.
    """
    waiting = list(things)
    while waiting:
        suspects = _together(waiting, work, pool, at_once, done, first_alone=first_alone)
        first_alone = False
        _alone(suspects, work, pool, done, crashed)


def _together(
    waiting: list[T],
    work: Callable[[T], R],
    pool: Callable[[int], Executor],
    at_once: int,
    done: Callable[[T, R], None],
    *,
    first_alone: bool,
) -> list[T]:
    """Work through a list until it is empty or a process dies; return what was then being worked out."""
    most = 1 if first_alone else at_once
    others = frozenset(active_children())
    with pool(at_once) as workers:
        running: dict[Future[R], T] = {}
        while waiting or running:
            while waiting and len(running) < most:
                thing = waiting.pop(0)
                try:
                    running[workers.submit(work, thing)] = thing
                # A pool that comes to know of a death while it starts a process closes what that one needs.
                except (BrokenExecutor, OSError, ValueError):
                    waiting.insert(0, thing)
                    _end_started_since(others)
                    return list(running.values())
            ready, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in ready:
                try:
                    answer = future.result()
                except BrokenExecutor:
                    _end_started_since(others)
                    return list(running.values())
                done(running.pop(future), answer)
            most = at_once
    return []


def _end_started_since(others: frozenset[BaseProcess]) -> None:
    """End every process that was started since others were.

    A pool of which a process died ends those that it knows of, and waits for all: one that it was just
    starting then has nobody to end it, and the pool waits for ever.
    """
    for one in active_children():
        if one not in others:
            one.kill()


class LastingWorker:
    """One process that is asked one thing after the other, and started again where it ended.

    Parameters
    ----------
    pool : callable
        Makes an executor with so many workers.
    """

    def __init__(self, pool: Callable[[int], Executor]) -> None:
        self._pool = pool
        self._worker: Executor | None = None
        self._others: frozenset[BaseProcess] = frozenset()

    def ask(self, work: Callable[[T], R], thing: T, crashed: Callable[[T], R]) -> R:
        """Return what a piece of work returns, or what counts as its answer where the process ended."""
        if self._worker is None:
            self._others = frozenset(active_children())
            self._worker = self._pool(1)
        try:
            return self._worker.submit(work, thing).result()
        except BrokenExecutor:
            _end_started_since(self._others)
            self.close()
            return crashed(thing)

    def close(self) -> None:
        """End the process."""
        if self._worker is not None:
            self._worker.shutdown()
            self._worker = None


def _alone(
    things: Sequence[T],
    work: Callable[[T], R],
    pool: Callable[[int], Executor],
    done: Callable[[T, R], None],
    crashed: Callable[[T], R],
) -> None:
    for thing in things:
        others = frozenset(active_children())
        with pool(1) as worker:
            try:
                answer = worker.submit(work, thing).result()
            except BrokenExecutor:
                _end_started_since(others)
                answer = crashed(thing)
        done(thing, answer)
