"""What a command writes to the terminal, and the code it exits with."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys

from fixturecheck.errors import FixturecheckError, SetupError

GO, NO_GO, WRONG, NOT_COMPUTED = 0, 1, 2, 3

EXITS = """\
exit codes:
  0  go (cautions included, unless --strict)
  1  no-go, or a caution with --strict
  2  the set-up or the command is wrong; nothing is written
  3  something could not be computed, crashed, ran out of time or was stopped
"""


def exit_code(verdict: str, *, strict: bool = False) -> int:
    """Return the exit code of a verdict."""
    return {"go": GO, "caution": NO_GO if strict else GO, "no-go": NO_GO}.get(verdict, NOT_COMPUTED)


def screen() -> tuple[int, bool]:
    """Return the columns of a table, and whether it is coloured: on a terminal, unless NO_COLOR is set."""
    colour = sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return shutil.get_terminal_size((100, 24)).columns, colour


def say(text: str) -> bool:
    """Write to standard output; tell whether that went well.

    A reader that has left, as `head` does, has had enough: that is well.
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
    """Write one line to standard error."""
    to_stderr(f"fixturecheck: {' '.join(message.split())}\n")


def complain_of(trouble: FixturecheckError) -> None:
    """Write each problem of an error on a line of its own to standard error."""
    for problem in trouble.problems if isinstance(trouble, SetupError) else (str(trouble),):
        complain(problem)


def complain_of_pictures(trouble: str | None, what: str = "verdict") -> None:
    """Say why pictures are missing that were asked for, and that `what` does not depend on them."""
    if trouble:
        complain(f"pictures could not all be drawn: {trouble}; the {what} does not depend on them")


def to_stderr(text: str) -> None:
    """Write to standard error, which may be a terminal that has closed."""
    with contextlib.suppress(OSError):
        sys.stderr.write(text)
        sys.stderr.flush()
