"""How pieces of work that do not need each other are done at once: in forked copies of this process.

A copy shares all that is loaded and read already, and may crash without harm to the rest.
"""

from __future__ import annotations

import contextlib
import gc
import io
import os
import pickle
import signal
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection, Pipe, wait
from pathlib import Path
from typing import Any, Generic, TypeVar

from fixturecheck.errors import FixturecheckError
from fixturecheck.stopping import cause_of_end
from fixturecheck.threads import cores

K = TypeVar("K")
T = TypeVar("T")

_THREADS = Path("/proc/self/task")
_JOINED_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What a piece of work came to.

    Parameters
    ----------
    value : object
        What it returned; None where it failed.
    failed : str
        Why it failed; empty where it did not.
    """

    value: Any = None
    failed: str = ""


def can_fork() -> bool:
    """Tell whether this process may be forked: the system can, and no other thread of it holds a lock.

    A copy has the thread that forked alone; a lock that another one held is then held for ever. Threads of
    libraries are counted as the system lists them, since Python does not know them.

    Returns
    -------
    bool
    """
    if not hasattr(os, "fork"):
        return False
    if "OCP" in sys.modules:
        _end_threads_of_kernel()
    # The system lists a thread for a moment after Python has joined it.
    until = time.monotonic() + _JOINED_S
    try:
        while len(list(_THREADS.iterdir())) > 1:
            if time.monotonic() > until:
                return False
            time.sleep(_JOINED_S / 20)
    except OSError:
        return False
    return True


def _end_threads_of_kernel() -> None:
    """End the threads that a boolean of a script may have started; later ones run on the calling thread."""
    from OCP.OSD import OSD_ThreadPool  # noqa: PLC0415 -- the kernel is loaded, or has no threads

    OSD_ThreadPool.DefaultPool_s(1).Init(1)


def run_side_by_side(
    works: Mapping[K, Callable[[], Any]],
    *,
    done: Callable[[K, Done], None] = lambda _key, _done: None,
) -> dict[K, Done]:
    """Do several pieces of work, one on each core, and return what each came to, in their order.

    On one core, or where this process cannot be forked, all is done here, one after the other.

    Parameters
    ----------
    works : mapping of key to callable
        What they return must be picklable.
    done : callable
        Called here with each key as soon as its work is done.

    Returns
    -------
    dict of key to Done
    """
    copies = min(cores(), len(works))
    found: dict[K, Done] = {}
    if copies <= 1 or not can_fork():
        for key, work in works.items():
            found[key] = _done(work)
            done(key, found[key])
        return found
    waiting = list(works)
    running: dict[Connection, tuple[K, int]] = {}
    try:
        while waiting or running:
            while waiting and len(running) < copies:
                key = waiting.pop(0)
                pipe, pid = _forked(works[key])
                running[pipe] = key, pid
            ready = set(wait(list(running)))
            for pipe in [p for p in running if p in ready]:
                key, pid = running.pop(pipe)
                found[key] = _answer(pipe, pid)
                done(key, found[key])
    finally:
        for pipe, (_, pid) in running.items():
            end_copy(pipe, pid)
    return {key: found[key] for key in works}


def end_copy(pipe: Connection, pid: int) -> None:
    """End a copy of this process, whatever it is at.

    Parameters
    ----------
    pipe : Connection
        Our end of the pipe between us; it is closed.
    pid : int
        The copy's, which nobody has waited for yet.
    """
    pipe.close()
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)


def _done(work: Callable[[], Any]) -> Done:
    """Do a piece of work here."""
    try:
        return Done(value=work())
    except FixturecheckError as reason:
        return Done(failed=str(reason))
    except Exception as reason:  # noqa: BLE001 -- whatever it is, the other pieces go on
        return Done(failed=f"internal error: {type(reason).__name__}: {reason}")


def _forked(work: Callable[[], Any]) -> tuple[Connection, int]:
    """Start a copy of this process that does a piece of work and ends."""
    here, there = Pipe(duplex=False)
    pid = os.fork()
    if pid:
        there.close()
        return here, pid
    try:
        here.close()
        done = _done(work)
        try:
            there.send_bytes(pickle.dumps(done))
        except (pickle.PicklingError, TypeError, AttributeError) as reason:
            there.send_bytes(pickle.dumps(Done(failed=f"its answer cannot be handed over: {reason}")))
    finally:
        os._exit(0)


def _answer(pipe: Connection, pid: int) -> Done:
    """Read what a copy came to, and see it end."""
    try:
        found: Done = pickle.loads(pipe.recv_bytes())  # noqa: S301 -- from our own copy
    except EOFError:
        found = Done()
    pipe.close()
    _, status = os.waitpid(pid, 0)
    if os.WIFSIGNALED(status):
        return Done(failed=cause_of_end(os.WTERMSIG(status)))
    return found


class Begun(Generic[T]):
    """A piece of work that a copy of this process does while this one goes on with another.

    Parameters
    ----------
    work : callable
        Takes nothing.
    shared : sequence
        What both processes have: where the answer holds one of these, that is not sent.

    Notes
    -----
    Where there is one core only, or this process cannot be copied, the work is done when its value is asked
    for. So it is where the copy came to no value: what went wrong there goes wrong here, as without a copy.
    """

    def __init__(self, work: Callable[[], T], shared: Sequence[object] = ()) -> None:
        self._work, self._shared = work, shared
        self._copy = self._begun() if cores() > 1 and can_fork() else None

    def _begun(self) -> tuple[Connection, int]:
        here, there = Pipe(duplex=False)
        pid = os.fork()
        if pid:
            there.close()
            return here, pid
        try:
            gc.disable()
            here.close()
            there.send_bytes(sent(self._work(), self._shared))
        finally:
            # Whatever went wrong is told where the work is done again.
            os._exit(0)

    def value(self) -> T:
        """Return what the work gives, once it is done; it raises what the work raises.

        Returns
        -------
        object
            The value of the work, from the copy where it came to one.
        """
        found: list[T] = []
        if self._copy is not None:
            # A copy that ended without an answer closed its pipe, perhaps within one.
            with contextlib.suppress(EOFError, OSError):
                found.append(received(self._copy[0].recv_bytes(), self._shared))
            self.end()
        return found[0] if found else self._work()

    def end(self) -> None:
        """End the copy, if it still runs."""
        copy, self._copy = self._copy, None
        if copy is not None:
            end_copy(*copy)


def sent(value: object, shared: Sequence[object]) -> bytes:
    """Return a picklable value as bytes, in which what is shared is named by its number.

    Parameters
    ----------
    value : object
        Picklable but for what is shared.
    shared : sequence
        What the receiver has, too.

    Returns
    -------
    bytes
        For `received`.
    """
    numbers = {id(thing): number for number, thing in enumerate(shared)}

    class Sender(pickle.Pickler):
        def persistent_id(self, thing: object) -> int | None:
            return numbers.get(id(thing))

    stream = io.BytesIO()
    Sender(stream, pickle.HIGHEST_PROTOCOL).dump(value)
    return stream.getvalue()


def received(value: bytes, shared: Sequence[object]) -> Any:
    """Return the value that was sent, with the things of this process where they are named.

    Parameters
    ----------
    value : bytes
        As `sent` made it in a copy of this process.
    shared : sequence
        The same things in the same order.

    Returns
    -------
    object
        The value.
    """

    class Receiver(pickle.Unpickler):
        def persistent_load(self, number: Any) -> object:
            return shared[number]

    return Receiver(io.BytesIO(value)).load()
