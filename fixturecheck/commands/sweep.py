"""`fixturecheck sweep`: a study of many variants of a set-up or a job."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import (
    Parser,
    refuse_timeout,
    run_child,
    takes_reports,
    takes_running,
    wrong_build_files,
)
from fixturecheck.commands.terminal import GO, NO_GO, NOT_COMPUTED, say
from fixturecheck.errors import SetupError
from fixturecheck.files import append_whole, write_whole
from fixturecheck.runs.request import VARIANT_LIMIT_S, SweepAnswer
from fixturecheck.threads import cores

RUN = "fixturecheck.runs.sweep:run"
"""What the child process runs."""

_EXITS = """\
exit codes:
  0  a variant passes
  1  none does
  2  the study, a set-up or the command is wrong
  3  none passes and some could not be computed, or the study ran out of time or was stopped
"""
_A_DAY_S = 86400.0


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    sweep = commands.add_parser(
        "sweep",
        help="check many variants of a set-up or a job, and tell where it is go",
        description="Works through a study: a TOML file that names set-ups or jobs, and what varies in them. "
        "Writes table.csv, study.html and study.json into one folder, and keeps each row there as soon as it "
        "is known: a study that was stopped goes on where it was.",
        epilog=_EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    sweep.add_argument("study", metavar="STUDY", type=Path, help="the study: a .toml file")
    sweep.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help="folder for rows, table and page (default: <name of STUDY>_sweep in the current folder)",
    )
    sweep.add_argument(
        "--processes",
        metavar="N",
        type=int,
        default=cores(),
        help="variants at once (one for each core); on a cluster, how many are read at once here",
    )
    sweep.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="work the variants out on the cluster of a dask scheduler, as tcp://machine:8786",
    )
    sweep.add_argument("--no-flips", action="store_true", help="do not look how far each parameter can go")
    takes_reports(sweep, "variant")
    sweep.add_argument(
        "--variant-timeout",
        metavar="S",
        type=float,
        default=VARIANT_LIMIT_S,
        help="a variant that takes longer is unknown, and the others go on (default: %(default)g)",
    )
    takes_running(sweep)
    sweep.set_defaults(command=_sweep, timeout=_A_DAY_S)


def _sweep(options: argparse.Namespace) -> int:
    from fixturecheck.study.read import read_study  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.study.store import ROWS  # noqa: PLC0415 -- loaded when needed

    out = options.out or Path(f"{options.study.stem}_sweep")
    wrong = wrong_build_files(options)
    if not options.study.is_file() or options.study.suffix.lower() != ".toml":
        flaw = "no study" if options.study.is_file() else "not a file"
        wrong.append(f"{options.study} is {flaw}; give a study ending in .toml")
    if options.processes < 1:
        wrong.append(f"--processes must be at least 1, got {options.processes}")
    if not options.variant_timeout > 0:
        wrong.append(f"--variant-timeout must be more than 0 s, got {options.variant_timeout:g}")
    refuse_timeout(options, wrong)
    if out.exists() and not out.is_dir():
        wrong.append(f"output folder {out} is a file; name a folder")
    elif out.is_dir() and any(out.iterdir()) and not (out / ROWS).is_file():
        wrong.append(f"output folder {out} holds something else than a study; name another folder")
    if wrong:
        raise SetupError(*wrong)
    # A slip of the pen is answered before anything heavy is loaded.
    read_study(options.study)
    options.written = f"what was worked out is kept in {out}"
    answer: SweepAnswer = run_child(
        options,
        RUN,
        str(options.study.absolute()),
        str(out.absolute()),
        options.processes,
        not options.no_flips,
        options.scheduler,
        options.variant_timeout,
    )
    if options.junit:
        write_whole(options.junit, answer.junit)
    if options.summary:
        append_whole(options.summary, answer.summary)
    known = " (all of it was worked out before)" if answer.all_known else ""
    if not say(f"{answer.text}\n\nwritten to {out}{known}\n"):
        return NOT_COMPUTED
    return {"passes": GO, "fails": NO_GO}.get(answer.came, NOT_COMPUTED)
