"""What a command writes to the terminal while it runs and when it ends, and the code it exits with."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import TextIO

from fixturecheck.errors import FixturecheckError, SetupError

GO, NO_GO, WRONG, NOT_COMPUTED = 0, 1, 2, 3
EXITS = """\
exit codes:
  0  go, cautions included
  1  no-go
  2  the set-up or the command is wrong; nothing is written
  3  something could not be computed, crashed, ran out of time or was stopped
"""
_WIDTH = 24
LEAST_PAUSE_S = 1.0
"""Between two lines of progress."""
_EARLY_S, _EARLY_SHARE = 5.0, 0.1
"""Before this nothing is said of the time left: the first steps say little of the others."""


def exit_code(verdict: str, *, strict: bool = False) -> int:
    """Return the exit code of a verdict.

    Parameters
    ----------
    verdict : str
        `go`, `caution` or `no-go`; anything else could not be computed.
    strict : bool
        Whether a caution counts as no-go.

    Returns
    -------
    int
        As `EXITS` lists them.
    """
    return {"go": GO, "caution": NO_GO if strict else GO, "no-go": NO_GO}.get(verdict, NOT_COMPUTED)


def screen() -> tuple[int, bool]:
    """Return the columns of a table, and whether it is coloured: on a terminal, unless NO_COLOR is set.

    Returns
    -------
    tuple of (int, bool)
    """
    colour = sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return shutil.get_terminal_size((100, 24)).columns, colour


def say(text: str) -> bool:
    """Write to standard output; tell whether that went well.

    A reader that has left, as `head` does, has had enough: that is well.

    Parameters
    ----------
    text : str
        Written as it is, without an end of line of its own.

    Returns
    -------
    bool
    """
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        taken = True
    except OSError as trouble:
        complain(f"standard output could not be written: {trouble.strerror}")
        taken = False
    else:
        return True
    # What is left in the buffer would fail once more when the interpreter ends.
    with open(os.devnull, "w") as nowhere, contextlib.suppress(OSError, ValueError):  # noqa: PTH123 -- no path
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
    return taken


def complain(message: str) -> None:
    """Write one line to standard error.

    Parameters
    ----------
    message : str
        Runs of white space in it, ends of lines too, become single spaces.
    """
    to_stderr(f"fixturecheck: {' '.join(message.split())}\n")


def complain_of(trouble: FixturecheckError) -> None:
    """Write each problem of an error on a line of its own to standard error.

    Parameters
    ----------
    trouble : FixturecheckError
        A `SetupError` may have several problems; any other is one.
    """
    for problem in trouble.problems if isinstance(trouble, SetupError) else (str(trouble),):
        complain(problem)


def complain_of_pictures(trouble: str | None, what: str = "verdict") -> None:
    """Say why pictures are missing that were asked for, and that `what` does not depend on them.

    Parameters
    ----------
    trouble : str or None
        Why; without a reason nothing is said.
    what : str
        What the pictures belong to.
    """
    if trouble:
        complain(f"pictures could not all be drawn: {trouble}; the {what} does not depend on them")


def to_stderr(text: str) -> None:
    """Write to standard error, which may be a terminal that has closed.

    Parameters
    ----------
    text : str
        Written as it is.
    """
    with contextlib.suppress(OSError):
        sys.stderr.write(text)
        sys.stderr.flush()


def time_left(passed_s: float, share: float) -> str:
    """Return about how long is left, if the rest goes as what is done did; empty where that says nothing.

    Parameters
    ----------
    passed_s : float
        Time so far.
    share : float
        Share of the work that is done, 0 to 1.

    Returns
    -------
    str
    """
    if passed_s < _EARLY_S or not _EARLY_SHARE <= share < 1.0:
        return ""
    left_s = passed_s * (1.0 - share) / share
    if left_s < 10.0:
        return "some seconds left"
    if left_s < 90.0:
        return f"about {10 * round(left_s / 10)} s left"
    return f"about {round(left_s / 60)} min left"


class Display:
    """Progress on one stream: a line that is written over on a terminal, else a line for each stage.

    Parameters
    ----------
    stream : text stream
        Where it goes; one that has closed is no trouble.
    quiet : bool
        Show nothing.
    clock : callable
        Seconds from any start.
    """

    def __init__(
        self, stream: TextIO, *, quiet: bool = False, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._stream, self._quiet, self._clock = stream, quiet, clock
        self._watched = stream.isatty()
        self._started = clock()
        self._bar = ""
        self._told: str | None = None
        self._last_s: float | None = None
        self._waiting: threading.Timer | None = None
        self._lock = threading.RLock()

    def __enter__(self) -> Display:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._lock:
            self._drop_waiting()
            self._wipe()

    def show(self, doing: str, share: float) -> None:
        """Show what is being done, and the share done so far, 0 to 1.

        Parameters
        ----------
        doing : str
            What is being done.
        share : float
            Share done so far, clipped to 0 to 1.
        """
        if self._quiet:
            return
        share = min(max(share, 0.0), 1.0)
        with self._lock:
            if self._watched:
                self._draw(doing, share)
            else:
                self._line(doing, share)

    def tell(self, lines: list[str]) -> None:
        """Show what has been found so far, each on a line of its own."""
        if not self._quiet:
            self.write("".join(f"so far: {line}\n" for line in lines))

    def write(self, text: str) -> None:
        """Write text above the bar."""
        with self._lock:
            bar = self._bar
            self._wipe()
            self._put(text + bar)
            self._bar = bar

    def _draw(self, doing: str, share: float) -> None:
        full = round(_WIDTH * share)
        left = time_left(self._clock() - self._started, share)
        line = f"[{'=' * full}{' ' * (_WIDTH - full)}] {share:4.0%}  {doing}{f', {left}' if left else ''}"
        columns = shutil.get_terminal_size((80, 24)).columns
        self._bar = f"\r\x1b[K{line[: columns - 1]}"
        self._put(self._bar)

    def _wipe(self) -> None:
        if self._bar:
            self._put("\r\x1b[K")
            self._bar = ""

    def _line(self, doing: str, share: float) -> None:
        """Write a stage that is new; one that comes too soon after the last waits, unless it is overtaken."""
        if doing == self._told:
            return
        self._drop_waiting()
        self._told = doing
        now_s = self._clock()
        text = f"{now_s - self._started:6.1f} s  {share:4.0%}  {doing}\n"
        wait_s = 0.0 if self._last_s is None else self._last_s + LEAST_PAUSE_S - now_s
        if wait_s <= 0.0:
            self._put_line(text)
            return
        self._waiting = threading.Timer(wait_s, self._put_line, [text])
        self._waiting.daemon = True
        self._waiting.start()

    def _put_line(self, text: str) -> None:
        with self._lock:
            self._last_s = self._clock()
            self._put(text)

    def _drop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _put(self, text: str) -> None:
        try:
            self._stream.write(text)
            self._stream.flush()
        except OSError:
            # Nobody watches any more; the check goes on.
            self._quiet = True
