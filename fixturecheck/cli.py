"""The command line: every command of `commands/`, and what an error in one comes to.

Nothing heavy is imported until it is needed, so that help and mistakes in a command answer at once. A
check runs in a process of its own; whatever happens to it, this one ends with a line and an exit code.
"""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Callable, Sequence

from fixturecheck.commands import (
    cache,
    calibrate,
    check,
    compare,
    completion,
    new,
    reference,
    relieve,
    sheet,
    sweep,
    touch,
    watch,
)
from fixturecheck.commands.shared import Parser
from fixturecheck.commands.terminal import EXITS, NOT_COMPUTED, complain, complain_of, to_stderr
from fixturecheck.errors import FixturecheckError
from fixturecheck.stopping import stoppable

_COMMANDS = (new, check, compare, sweep, sheet, watch, touch, relieve, calibrate, reference, cache)
"""In the order of `--help`."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        The words after the name of the program; None takes those of this process.

    Returns
    -------
    int
        As `EXITS` lists them.
    """
    for stream in (sys.stdout, sys.stderr):
        # A terminal without the signs that verdicts carry must not cost the verdict.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    options = parser().parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = options.command
    try:
        with stoppable():
            return command(options)
    except FixturecheckError as trouble:
        complain_of(trouble)
        if options.trace:
            to_stderr(str(getattr(trouble, "trace", "")))
        return trouble.exit_code
    except KeyboardInterrupt as stop:
        by = f" by {stop}" if str(stop) else ""
        complain(f"stopped{by}; {getattr(options, 'written', 'nothing was written')}")
        return NOT_COMPUTED
    except OSError as trouble:
        complain(f"{trouble.strerror or trouble}{f': {trouble.filename}' if trouble.filename else ''}")
        return NOT_COMPUTED


def parser() -> Parser:
    """Return the parser of all commands.

    Returns
    -------
    Parser
    """
    from fixturecheck import __version__  # noqa: PLC0415 -- keeps this module free of package state

    whole = Parser(
        prog="fixturecheck",
        description="Checks a surface-grinding set-up from its solids, before anything is cut.",
        epilog=EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    whole.add_argument("--version", action="version", version=f"fixturecheck {__version__}")
    whole.add_argument(
        "--trace", action="store_true", help="print the trace of an internal error, and what libraries print"
    )
    commands = whole.add_subparsers(required=True, metavar="COMMAND")
    for module in _COMMANDS:
        module.add(commands)
    completion.add(commands, whole)
    return whole


if __name__ == "__main__":
    sys.exit(main())
