"""`fixturecheck sheet`: set the sheet that lies at the machine, as a PDF and as a page."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import (
    Parser,
    checks_in,
    run_child,
    stated_setup,
    takes_checks,
    takes_overrides,
    takes_running,
)
from fixturecheck.commands.terminal import EXITS, NOT_COMPUTED, complain, exit_code, say
from fixturecheck.errors import SetupError
from fixturecheck.files import write_whole
from fixturecheck.runs.request import CheckRequest

RUN = "fixturecheck.runs.sheet:run"
"""What the child process runs."""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    sheet = commands.add_parser(
        "sheet",
        help="set the sheet that lies at the machine",
        description="Checks a set-up, or every operation of a job, and sets a page or two for each as one "
        "PDF, and the same as an HTML page beside it: the order of staging on a picture, what to stone, "
        "magnet or torques, wheel and dress, the dials to tick off, what to measure, how parts come off.",
        epilog=EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    sheet.add_argument("setup", metavar="SETUP|JOB", type=Path, help="a .py script or a .toml file")
    sheet.add_argument(
        "--out", metavar="FILE", type=Path, help="the PDF (default: <name>_sheet.pdf in the current folder)"
    )
    sheet.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the paper (a4)")
    sheet.add_argument("--no-pdf", action="store_true", help="write the page alone")
    sheet.add_argument("--no-pictures", action="store_true", help="draw no pictures")
    takes_checks(sheet, only=False)
    takes_overrides(sheet)
    takes_running(sheet)
    sheet.set_defaults(command=_sheet)


def _sheet(options: argparse.Namespace) -> int:
    wrong: list[str] = []
    _, skip = checks_in(None, options.skip, wrong)
    setup, overrides = stated_setup(options, wrong, jobs=True)
    out = options.out or Path(f"{setup.stem}_sheet.pdf")
    if out.suffix.lower() != ".pdf":
        raise SetupError(f"--out {out}: the sheet is a PDF, so name it so; the page goes beside it")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
    except OSError as reason:
        raise SetupError(
            f"--out {out}: the folder {out.parent} cannot be made: {reason.strerror}"
        ) from reason
    if not options.no_pdf:
        from fixturecheck.sheet.pages import refuse_without_typesetter  # noqa: PLC0415 -- light

        refuse_without_typesetter()
    request = CheckRequest(pictures=not options.no_pictures, skip=skip)
    made = run_child(options, RUN, str(setup), overrides, request, options.paper, not options.no_pdf)
    page = out.with_suffix(".html")
    write_whole(page, made.page)
    if made.pdf is not None:
        write_whole(out, made.pdf)
    for trouble in made.troubles:
        complain(f"a picture could not be drawn: {trouble}; the verdict does not depend on it")
    written = f"{out} and {page}" if made.pdf is not None else f"{page}"
    many = f"{made.count} operations" if made.count > 1 else "1 operation"
    said = say(f"{made.verdict.upper()}: {many}\n\nwritten to {written}\n")
    return exit_code(made.verdict) if said else NOT_COMPUTED
