"""How a command is stopped from outside: by Ctrl-C, a request to end, or a terminal that closes.

The first signal raises `StoppedError` in the main thread, so that every `finally` cleans up; those that
follow are ignored, so that nothing interrupts the cleaning. What must not be cut in two runs in `unbroken`.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


class StoppedError(KeyboardInterrupt):
    """A signal asked the command to stop.

    Parameters
    ----------
    number : int
        The signal.
    """

    def __init__(self, number: int) -> None:
        super().__init__(signal.Signals(number).name)
        self.number = number


def cause_of_end(number: int) -> str:
    """Return what ended a process that works with the geometry kernel, as a signal tells it.

    Parameters
    ----------
    number : int
        The signal that ended it.

    Returns
    -------
    str
        Ends with the name of the signal. SIGKILL never comes from the kernel: the system sends it where
        memory is short.
    """
    name = signal.Signals(number).name
    if name == "SIGKILL":
        return f"memory ran out, or the process was ended from outside ({name})"
    if name in _NAMES:
        return f"the process was ended from outside ({name})"
    return f"the geometry kernel crashed ({name})"


class _Stop:
    """What is known of a stop: whether one was raised, one that waits, and how many blocks hold it back."""

    def __init__(self) -> None:
        self.raised = False
        self.waiting: int | None = None
        self.held_back = 0

    def handle(self, number: int, _frame: FrameType | None) -> None:
        if self.raised:
            return
        if self.held_back:
            self.waiting = number
            return
        self.raised = True
        raise StoppedError(number)


_stop = _Stop()


@contextmanager
def stoppable() -> Iterator[None]:
    """Let signals raise `StoppedError` while the block runs; a signal that is ignored stays ignored.

    Outside the main thread signals cannot be handled, and the block runs as it is.

    Yields
    ------
    None
        Nothing; signals are handled while the block runs.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    _stop.raised, _stop.waiting = False, None
    before = {}
    try:
        for name in _NAMES:
            number = getattr(signal, name, None)
            # `nohup` and background jobs of a script have some ignored, on purpose.
            if number is not None and signal.getsignal(number) not in {signal.SIG_IGN, None}:
                before[number] = signal.signal(number, _stop.handle)
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def unbroken() -> Iterator[None]:
    """Hold signals back while the block runs; one that came meanwhile stops the command at its end.

    Yields
    ------
    None
        Nothing; signals are held back while the block runs.
    """
    _stop.held_back += 1
    try:
        yield
    finally:
        _stop.held_back -= 1
        if not _stop.held_back and _stop.waiting is not None:
            number, _stop.waiting = _stop.waiting, None
            _stop.handle(number, None)
