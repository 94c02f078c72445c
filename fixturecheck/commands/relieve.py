"""`fixturecheck relieve`: design the reliefs that let the parts nest."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import FOLDER, Parser, run_into, stated_setup, takes_setup
from fixturecheck.commands.terminal import GO, NO_GO, NOT_COMPUTED, say

RUN = "fixturecheck.runs.relieve:run"
"""What the child process runs."""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    relieve = commands.add_parser(
        "relieve",
        help="design the reliefs that let the parts nest",
        description="Finds the smallest reliefs on faces without function that let every seat close, tries "
        "them on the solids, and writes the changed parts (STEP) and the line of code that makes each.",
        epilog="exit codes: 0 nothing is left in the way, 1 something is, 2 the set-up or the command is "
        "wrong, 3 it could not be computed",
    )
    takes_setup(relieve, "relieved")
    relieve.set_defaults(command=_relieve)


def _relieve(options: argparse.Namespace) -> int:
    setup, overrides = stated_setup(options, [])
    out = options.out or Path(f"{setup.stem}_relieved")
    cured, summary = run_into(options, out, RUN, str(setup), overrides, FOLDER)
    said = say(f"{summary}\n\nwritten to {out}\n")
    return (GO if cured else NO_GO) if said else NOT_COMPUTED
