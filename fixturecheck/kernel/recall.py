"""Answers that a process keeps while it lives, by everything that they depend on.

A process that checks one set-up after another, as one is edited, works out again what an edit has not
touched. Solids are compared by what is drawn, so that a script that is run again makes no difference.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

from fixturecheck.kernel.parcel import packed

T = TypeVar("T")

_MOST = 256


class Memory:
    """Answers by what was asked; those that were not asked for longest are forgotten.

    Parameters
    ----------
    most : int
        How many are kept.
    """

    def __init__(self, most: int = _MOST) -> None:
        self._most = most
        self._answers: OrderedDict[str, object] = OrderedDict()

    def __contains__(self, key: str) -> bool:
        return key in self._answers

    def recalled(self, key: str, work: Callable[[], T]) -> T:
        """Return what is kept under a key, or else what the work gives."""
        if key not in self._answers:
            self._answers[key] = work()
            if len(self._answers) > self._most:
                self._answers.popitem(last=False)
        self._answers.move_to_end(key)
        return self._answers[key]  # type: ignore[return-value]  # kept under the key of the same work


_MEMORY: ContextVar[Memory | None] = ContextVar("memory", default=None)


@contextmanager
def remembering(memory: Memory) -> Iterator[None]:
    """Let answers be kept in a memory, and taken from it, meanwhile."""
    token = _MEMORY.set(memory)
    try:
        yield
    finally:
        _MEMORY.reset(token)


def asked_of(what: str, given: object) -> str:
    """Return the key of a piece of work: empty where nothing is kept.

    Parameters
    ----------
    what : str
        Names the work.
    given : object
        All that its answer depends on: plain values and solids. The key is taken before anything works on the
        solids, since the kernel adds to them as it does.
    """
    return "" if _MEMORY.get() is None else f"{what} {key_of(given)}"


def recalled(key: str, work: Callable[[], T]) -> T:
    """Return what a piece of work gives, kept from an earlier time where answers are kept.

    Parameters
    ----------
    key : str
        As `asked_of` gave it.
    work : callable
        Takes nothing; an error that it raises is not kept.
    """
    memory = _MEMORY.get()
    return work() if memory is None or not key else memory.recalled(key, work)


def is_kept(key: str) -> bool:
    """Tell whether an answer is kept under a key.

    Parameters
    ----------
    key : str
        As `asked_of` gave it.

    Returns
    -------
    bool
        False where nothing is kept.
    """
    memory = _MEMORY.get()
    return memory is not None and key in memory


def key_of(given: object) -> str:
    """Return what is the same for two values only if they are equal, their solids as drawn."""
    return hashlib.sha256(packed(given).value).hexdigest()
