"""`fixturecheck new`: propose a first set-up for a part, and check it."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import (
    Parser,
    run_into,
    takes_running,
)
from fixturecheck.commands.terminal import EXITS, NOT_COMPUTED, complain, exit_code, say, screen
from fixturecheck.errors import SetupError

RUN = "fixturecheck.runs.new:run"
"""What the child process runs."""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options."""
    new = commands.add_parser(
        "new",
        help="propose a first set-up for a part, and check it",
        description="Looks how a part can stand and which face can then be ground, writes a set-up as TOML "
        "with each guess marked, checks it, and writes the report into a folder beside it.",
        epilog=EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    new.add_argument("part", metavar="PART", type=Path, help="the part: a STEP or BREP file of one solid")
    new.add_argument(
        "--on", choices=("flat_chuck", "v_block"), help="what it stands on (default: the better one)"
    )
    new.add_argument("--count", metavar="N", type=int, default=1, help="parts in a row (1)")
    new.add_argument("--floor", metavar="FACE", help="the face to grind, by its name (default: the best one)")
    new.add_argument("--explain", action="store_true", help="say why for each choice")
    new.add_argument(
        "--out",
        metavar="FILE",
        type=Path,
        help="the set-up (default: <name of PART>.toml in the current folder)",
    )
    new.add_argument("--no-pictures", action="store_true", help="draw no pictures")
    takes_running(new)
    new.set_defaults(command=_new)


def _new(options: argparse.Namespace) -> int:
    out = options.out or Path(f"{options.part.stem}.toml")
    wrong = (
        [f"{options.part} is not a file; give the STEP file of a part"] if not options.part.is_file() else []
    )
    if out.exists():
        wrong.append(f"{out} exists, and may hold work of yours; give another --out")
    if out.suffix.lower() != ".toml":
        wrong.append(f"--out {out}: a set-up ends in .toml")
    if options.count < 1:
        wrong.append(f"--count must be at least 1, got {options.count}")
    if not options.timeout > 0:
        wrong.append(f"--timeout must be more than 0 s, got {options.timeout:g}")
    if wrong:
        raise SetupError(*wrong)
    folder = out.with_name(f"{out.stem}_check")
    wishes = (str(options.part), options.on, options.count, options.floor, str(out))
    asked = (not options.no_pictures, *screen())
    verdict, table, trouble, because = run_into(options, folder, RUN, wishes, asked, hears=True)
    if trouble:
        complain(f"pictures could not all be drawn: {trouble}; the verdict does not depend on them")
    if options.explain:
        table += "\n\n" + "\n".join(f"{choice}: {reason}" for choice, reason in because)
    said = say(f"{table}\n\nset-up written to {out}, report to {folder}\n")
    return exit_code(verdict) if said else NOT_COMPUTED
