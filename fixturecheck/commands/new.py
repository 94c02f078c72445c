"""`fixturecheck new`: propose a first set-up for a part, and check it."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from fixturecheck.commands.shared import FOLDER, Parser, refuse_timeout, request_of, run_into, takes_running
from fixturecheck.commands.terminal import EXITS, NOT_COMPUTED, complain_of_pictures, exit_code, say
from fixturecheck.errors import SetupError

RUN, FROM = "fixturecheck.runs.new:run", "fixturecheck.runs.new:run_from"
"""What the child process runs, for a part and for an assembly."""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    new = commands.add_parser(
        "new",
        help="propose a first set-up for a part, and check it",
        description="Looks how a part can stand and which face can then be ground, writes a set-up as TOML "
        "with each guess marked, checks it, and writes the report into a folder beside it.",
        epilog=EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    new.add_argument(
        "drawn", nargs="?", metavar="PART", type=Path, help="the part: a STEP or BREP file of one solid"
    )
    new.add_argument(
        "--from",
        dest="assembly",
        metavar="ASSEMBLY",
        type=Path,
        help="in place of PART: a STEP or BREP file of the whole, part and all that holds it, as it stands",
    )
    new.add_argument(
        "--part", metavar="NAME", help="with --from: the body that is ground (default: found by what touches)"
    )
    new.add_argument(
        "--on",
        choices=("flat_chuck", "v_block", "vise"),
        help="what it stands on (default: the better one of flat_chuck and v_block)",
    )
    new.add_argument("--count", metavar="N", type=int, help="parts in a row (1)")
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


def _at_odds(options: argparse.Namespace) -> Iterator[str]:
    """Yield what is asked for and does not go together."""
    if options.assembly is None:
        if options.part is not None:
            yield "--part goes with --from"
        return
    if options.drawn is not None:
        yield "give a part, or an assembly with --from, not both"
    for name, value in (("--on", options.on), ("--count", options.count)):
        if value is not None:
            yield f"{name} does not go with --from: the assembly shows it"


def _new(options: argparse.Namespace) -> int:
    drawn: Path | None = options.assembly or options.drawn
    if drawn is None:
        raise SetupError("give the STEP file of a part, or --from with that of an assembly")
    out = options.out or Path(f"{drawn.stem}.toml")
    wrong = [f"{drawn} is not a file; give the STEP file of a part"] if not drawn.is_file() else []
    wrong += list(_at_odds(options))
    if out.exists():
        wrong.append(f"{out} exists, and may hold work of yours; give another --out")
    if out.suffix.lower() != ".toml":
        wrong.append(f"--out {out}: a set-up ends in .toml")
    if options.count is not None and options.count < 1:
        wrong.append(f"--count must be at least 1, got {options.count}")
    refuse_timeout(options, wrong)
    if wrong:
        raise SetupError(*wrong)
    folder = out.with_name(f"{out.stem}_check")
    wishes: tuple[object, ...] = (str(drawn), options.on, options.count or 1, options.floor, str(out))
    run = RUN
    if options.assembly is not None:
        wishes, run = (str(drawn), options.part, options.floor, str(out)), FROM
    request = request_of(None, (), pictures=not options.no_pictures)
    answer = run_into(options, folder, run, *wishes, FOLDER, request, hears=True)
    complain_of_pictures(answer.check.trouble)
    table = answer.check.table
    if options.explain:
        table += "\n\n" + "\n".join(f"{choice}: {reason}" for choice, reason in answer.because)
    said = say(f"{table}\n\nset-up written to {out}, report to {folder}\n")
    return exit_code(answer.check.verdict) if said else NOT_COMPUTED
