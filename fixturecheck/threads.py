"""How pieces of numerical work that do not need each other are done at once: in threads of this process.

Compiled loops and libraries for arrays let other threads run meanwhile; the kernel does not.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from typing import TypeVar

T = TypeVar("T")
U = TypeVar("U")


def cores() -> int:
    """Return how many cores this process may use.

    Returns
    -------
    int
        At least one.
    """
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def at_once(one: Callable[[], T], other: Callable[[], U]) -> tuple[T, U]:
    """Do two pieces of work at once, the second in a thread that has ended when this returns.

    On one core they are done one after the other.

    Parameters
    ----------
    one, other : callable
        Neither needs what the other does. What the second finds of the caller's context is a copy.

    Returns
    -------
    tuple
        What either returned. An error of either is raised once both have ended, that of the first first.
    """
    if cores() == 1:
        return one(), other()
    # A process is forked only while it has one thread: none is kept.
    with ThreadPoolExecutor(max_workers=1) as pool:
        waiting = pool.submit(copy_context().run, other)
        done = one()
    return done, waiting.result()
