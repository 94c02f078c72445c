"""What `check` and `compare` write for a build server, and the known shortfalls that they let stand."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.commands.terminal import say
from fixturecheck.files import write_whole

if TYPE_CHECKING:
    from fixturecheck.report.build_files import BuildResult

_FORMS = ("plain", "workflow")


def takes_build_files(command: argparse.ArgumentParser) -> None:
    """Add what writes a result for a build server."""
    command.add_argument(
        "--junit", metavar="FILE", type=Path, help="write JUnit XML, a case for each finding"
    )
    command.add_argument("--sarif", metavar="FILE", type=Path, help="write SARIF of what is not go")
    command.add_argument("--summary", metavar="FILE", type=Path, help="write a summary in Markdown")
    command.add_argument(
        "--annotate",
        metavar="FORM",
        choices=_FORMS,
        help="print a line with file and line for each finding that is not go: plain "
        "(file:line: error: ...) or workflow (::error file=...,line=...::...)",
    )


def wrong_build_files(options: argparse.Namespace) -> list[str]:
    """Return what is wrong with where the files are to go."""
    wanted = (("--junit", options.junit), ("--sarif", options.sarif), ("--summary", options.summary))
    return [
        f"{name} {path}: there is no folder {path.parent}"
        for name, path in wanted
        if path and not path.parent.is_dir()
    ]


def asks_for_build_files(options: argparse.Namespace) -> bool:
    """Tell whether anything is to be written or printed for a build server."""
    return bool(options.junit or options.sarif or options.summary or options.annotate)


def write_build_files(options: argparse.Namespace, results: Sequence[BuildResult]) -> None:
    """Write the files that were asked for, and print the lines.

    Raises
    ------
    FixturecheckError
        A file cannot be written.
    """
    # Loaded when needed: most commands write none of these.
    from fixturecheck.checks import MODULES  # noqa: PLC0415 -- as above
    from fixturecheck.checks.told import told_of  # noqa: PLC0415 -- as above
    from fixturecheck.report import build_files as files  # noqa: PLC0415 -- as above

    if options.junit:
        write_whole(options.junit, files.junit_xml(results))
    if options.sarif:
        titles = {name: told_of(name).title for name in MODULES}
        write_whole(options.sarif, files.sarif_text(results, titles))
    if options.summary:
        write_whole(options.summary, files.summary_markdown(results))
    if options.annotate:
        lines = files.annotation_lines(results, options.annotate)
        say("".join(f"{line}\n" for line in lines))


def kept_build_results(out: Path, setup: Path) -> list[BuildResult]:
    """Return what a folder tells a build: one result, or those of a job's operations.

    Parameters
    ----------
    out : Path
        The folder that `check` wrote.
    setup : Path
        The set-up's file, or that of the job, as it was given.
    """
    from fixturecheck.report.build_files import BuildResult  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.report.folder import OPERATIONS, RESULT  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.result.stored import read_stored  # noqa: PLC0415 -- loaded when needed

    several = sorted((out / OPERATIONS).glob(f"*/{RESULT}"), key=lambda file: (len(file.parent.name), file))
    found = []
    for file in several or [out / RESULT]:
        kept = read_stored(file.read_bytes(), str(file))
        stated_in = setup.parent / kept.file if several and kept.file else setup
        found.append(BuildResult(told=kept, file=str(stated_in)))
    return found
