"""A copy of this process that stays, and does what a warm process is asked again and again.

Copying a process costs little by itself. What either then writes is copied page by page, though, which took
a tenth of a check of half a second. A copy that stays pays that once, and keeps what it has read.
"""

from __future__ import annotations

import contextlib
import gc
import os
import pickle
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import Context, ContextVar, copy_context
from multiprocessing.connection import Connection, Pipe
from typing import Generic, TypeVar

from fixturecheck.kernel.recall import Parcel, packed, unpacked
from fixturecheck.kernel.side_by_side import can_fork, end_copy, received, sent
from fixturecheck.threads import cores

T = TypeVar("T")
Shared = Sequence[object]

_NOT_SENT = (OSError, pickle.PicklingError, TypeError, AttributeError)
_FIRST_FILE = 3
_MOST_FILES = 65536


class Standby:
    """A copy of this process that does one piece of work after another, while this one goes on.

    It is made when it is first needed, ends with this process, and is made anew after it has failed.

    Attributes
    ----------
    context : contextvars.Context
        In which it works: what is set only where it is made is not there for what it is asked later.
    """

    def __init__(self) -> None:
        self._copy: tuple[Connection, int] | None = None
        self.context = copy_context()

    def begun(self, work: Callable[[], tuple[T, Shared]], shared: Callable[[], Shared]) -> Posted[T]:
        """Let the copy do a piece of work.

        Parameters
        ----------
        work : callable
            Takes nothing, and returns a value with what of it this process has as well. It is picklable, but
            for the solids that it holds.
        shared : callable
            Returns what this process has of the value, in the same order.

        Returns
        -------
        Posted
            The work as far as it has come.
        """
        if self._copy is None and cores() > 1 and can_fork():
            self._copy = _made(self.context)
        if self._copy is not None:
            try:
                self._copy[0].send(packed(work))
            except _NOT_SENT:
                self.end()
        return Posted(self, work, shared)

    def answer(self) -> bytes:
        """Return what the copy has come to; nothing where it came to no value."""
        if self._copy is None:
            return b""
        with contextlib.suppress(EOFError, OSError):
            return self._copy[0].recv_bytes()
        self.end()
        return b""

    def end(self) -> None:
        """End the copy, if it still runs."""
        copy, self._copy = self._copy, None
        if copy is not None:
            end_copy(*copy)


class Posted(Generic[T]):
    """A piece of work that a copy which stays has been given; it is done here where the copy fails.

    Parameters
    ----------
    standby : Standby
        Whose copy it is.
    work, shared : callable
        As for `Standby.begun`.
    """

    def __init__(
        self, standby: Standby, work: Callable[[], tuple[T, Shared]], shared: Callable[[], Shared]
    ) -> None:
        self._standby, self._work, self._shared = standby, work, shared
        self._waits = True

    def value(self) -> T:
        """Return what the work gives, once it is done; it raises what the work raises.

        Returns
        -------
        object
            The value of the work, from the copy where it came to one.
        """
        self._waits = False
        answer = self._standby.answer()
        found: T = received(answer, self._shared()) if answer else self._work()[0]
        return found

    def end(self) -> None:
        """End the copy if nobody has asked what it came to: it may be at it for long."""
        if self._waits:
            self._waits = False
            self._standby.end()


_STANDBY: ContextVar[Standby | None] = ContextVar("standby", default=None)


@contextmanager
def standing_by(standby: Standby) -> Iterator[None]:
    """Let a copy that stays take work meanwhile, in the context in which this is said.

    Parameters
    ----------
    standby : Standby

    Yields
    ------
    None
    """
    standby.context = copy_context()
    token = _STANDBY.set(standby)
    try:
        yield
    finally:
        _STANDBY.reset(token)


def standby_here() -> Standby | None:
    """Return the copy that may take work; None where none stays.

    Returns
    -------
    Standby or None
    """
    return _STANDBY.get()


def _made(context: Context) -> tuple[Connection, int]:
    """Make a copy that serves until this process ends."""
    here, there = Pipe()
    pid = os.fork()
    if pid:
        there.close()
        return here, pid
    try:
        _leave_only(there.fileno())
        # What is there stays: looking for garbage among it would copy it.
        gc.freeze()
        while True:
            there.send_bytes(context.run(_answered, there.recv()))
    finally:
        os._exit(0)


def _leave_only(file: int) -> None:
    """Close every file but one: an open end of another pipe would hide from its reader that we have ended."""
    sys.stdout = sys.stderr
    os.closerange(_FIRST_FILE, file)
    os.closerange(file + 1, min(os.sysconf("SC_OPEN_MAX"), _MOST_FILES))


def _answered(work: Parcel) -> bytes:
    """Do a piece of work; nothing where it goes wrong, which is told where it is done again."""
    try:
        return sent(*unpacked(work)())
    except Exception:  # noqa: BLE001 -- as above
        return b""
