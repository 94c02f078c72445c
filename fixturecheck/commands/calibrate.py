"""`fixturecheck calibrate`: the magnet of your own chuck from pulls on a scale."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import Parser, run_child, takes_running
from fixturecheck.commands.terminal import GO, NOT_COMPUTED, say
from fixturecheck.errors import SetupError
from fixturecheck.files import write_whole

RUN = "fixturecheck.runs.calibrate:run"
"""What the child process runs."""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    calibrate = commands.add_parser(
        "calibrate",
        help="find the magnet of your own chuck from pulls on a scale",
        description="Reads what pieces on a magnetic chuck were pulled off or slid with, finds every magnet "
        "that gives all readings, and writes a chuck file that set-ups name.",
        epilog="exit codes: 0 written, 2 the measurements are wrong or contradict each other, 3 it could not "
        "be computed",
    )
    calibrate.add_argument("measurements", metavar="MEASUREMENTS", type=Path, help="a .toml file")
    calibrate.add_argument(
        "--out",
        metavar="FILE",
        type=Path,
        help="the chuck file (default: <name of MEASUREMENTS>_chuck.toml in the current folder)",
    )
    takes_running(calibrate)
    calibrate.set_defaults(command=_calibrate)


def _calibrate(options: argparse.Namespace) -> int:
    from fixturecheck.setup.measurement import measured_in_file  # noqa: PLC0415 -- loaded when needed

    path: Path = options.measurements
    out = options.out or Path(f"{path.stem}_chuck.toml")
    _refuse_to_overwrite(out)
    # A slip of the pen is answered before anything heavy is loaded.
    measured_in_file(path.absolute())
    text, summary = run_child(options, RUN, str(path.absolute()))
    write_whole(out, text)
    options.written = f"the chuck file is {out}"
    return GO if say(f"{summary}\n\nwritten to {out}\n") else NOT_COMPUTED


def _refuse_to_overwrite(out: Path) -> None:
    """Refuse to write a chuck file over anything but another."""
    if not out.exists():
        return
    if not out.is_file() or "[chuck]" not in out.read_text(encoding="utf-8", errors="replace"):
        raise SetupError(f"{out} exists and is no chuck file; give another --out")
