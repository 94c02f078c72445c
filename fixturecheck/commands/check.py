"""`fixturecheck check`: check a set-up, or a whole job, and write the report."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import (
    FOLDER,
    Parser,
    asks_for_build_files,
    checks_in,
    kept_build_results,
    report_answer,
    request_of,
    run_into,
    stated_setup,
    takes_build_files,
    takes_checks,
    takes_json,
    takes_setup,
    write_build_files,
    wrong_build_files,
)

RUN = "fixturecheck.runs.check:run"
"""What the child process runs."""


_EXITS = """\
exit codes:
  0  go (cautions included, unless --strict)
  1  no-go, or a caution with --strict
  2  the set-up or the command is wrong; nothing is written
  3  something could not be computed, crashed, ran out of time or was stopped
"""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    check = commands.add_parser(
        "check",
        help="check a set-up, or a whole job, and write the report",
        description="Checks a set-up (a .py script or a .toml file) and writes result.json, setup.step, "
        "stl/, pictures/ and report.html into one folder. Of a job (a table [job], or a script that leaves "
        "`job`) every operation is checked, each with a folder of its own in operations/.",
        epilog=_EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    takes_setup(check, "check")
    check.add_argument("--strict", action="store_true", help="cautions fail too")
    takes_checks(check)
    check.add_argument("--no-pictures", action="store_true", help="draw no pictures")
    takes_json(check)
    takes_build_files(check)
    check.set_defaults(command=_check)


def _check(options: argparse.Namespace) -> int:
    wrong = wrong_build_files(options)
    only, skip = checks_in(options.only, options.skip, wrong)
    setup, overrides = stated_setup(options, wrong, jobs=True)
    out = options.out or Path(f"{setup.stem}_check")
    request = request_of(only, skip, pictures=not options.no_pictures)
    answer = run_into(options, out, RUN, str(setup), overrides, FOLDER, request, hears=True)
    code = report_answer(options, out, answer)
    if asks_for_build_files(options):
        write_build_files(options, kept_build_results(out, setup))
    return code
