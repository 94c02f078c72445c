"""`fixturecheck touch`: what touches in an assembly, with no set-up."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import (
    FOLDER,
    Parser,
    refuse_timeout,
    report_answer,
    request_of,
    run_into,
    takes_folder,
    takes_json,
    takes_running,
)
from fixturecheck.errors import SetupError
from fixturecheck.tolerances import NEAR_MM
from fixturecheck.units import UNITS

RUN = "fixturecheck.runs.check:survey"
"""What the child process runs."""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    touch = commands.add_parser(
        "touch",
        help="look what touches, clears and overlaps in an assembly, with no set-up",
        description="Tells of an assembly (STEP or BREP) which bodies touch and over what, which clear and "
        "by how much, which overlap and how deep, and what each is free to do. Writes result.json, "
        "setup.step, stl/, pictures/ and report.html into one folder.",
        epilog="exit codes: 0 nothing overlaps, 1 bodies overlap, 2 the file or the command is wrong, 3 "
        "something could not be computed",
    )
    touch.add_argument(
        "assembly", metavar="ASSEMBLY", type=Path, help="a STEP or BREP file of several solids"
    )
    touch.add_argument(
        "--within",
        metavar="MM",
        type=float,
        default=0.5,
        help="tell the gap of bodies that are no further apart than this (0.5; at most 5)",
    )
    touch.add_argument("--units", choices=UNITS, default="mm", help="what the report is written in (mm)")
    takes_folder(touch, "ASSEMBLY", "touch")
    touch.add_argument("--no-pictures", action="store_true", help="draw no pictures")
    takes_json(touch)
    takes_running(touch)
    touch.set_defaults(command=_touch)


def _touch(options: argparse.Namespace) -> int:
    path: Path = options.assembly
    wrong = [] if path.is_file() else [f"{path} is not a file; give a STEP or BREP file of an assembly"]
    if not NEAR_MM[0] <= options.within <= NEAR_MM[1]:
        wrong.append(f"--within must be {NEAR_MM[0]:g} to {NEAR_MM[1]:g} mm, got {options.within:g}")
    refuse_timeout(options, wrong)
    if wrong:
        raise SetupError(*wrong)
    out = options.out or Path(f"{path.stem}_touch")
    request = request_of(None, (), pictures=not options.no_pictures)
    asked = (str(path.absolute()), options.within, options.units)
    return report_answer(options, out, run_into(options, out, RUN, *asked, FOLDER, request))
