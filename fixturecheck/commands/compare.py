"""`fixturecheck compare`: what got better or worse between two results."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import (
    FOLDER,
    Parser,
    asks_for_build_files,
    checks_in,
    refuse_timeout,
    request_of,
    run_into,
    takes_build_files,
    takes_checks,
    takes_folder,
    takes_running,
    write_build_files,
    wrong_build_files,
)
from fixturecheck.commands.terminal import GO, NO_GO, NOT_COMPUTED, complain_of_pictures, say
from fixturecheck.errors import SetupError
from fixturecheck.files import write_whole

RUN = "fixturecheck.runs.compare:run"
"""What the child process runs."""

_EXITS = """\
exit codes:
  0  nothing got worse than its limit
  1  something got worse and is beyond its limit, and no baseline lets it stand
  2  a result or the command is wrong; nothing is written
  3  something can no longer be computed, or the comparison crashed, ran out of time or was stopped
"""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    compare = commands.add_parser(
        "compare",
        help="tell what got better or worse between two results, and what changed",
        description="Holds two results together: set-ups (.py or .toml, which are checked), folders that "
        "`check` wrote, result.json files, or files of a git revision as REV:path. Writes comparison.html "
        "and comparison.json into one folder.",
        epilog=_EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    compare.add_argument(
        "results",
        metavar="RESULT",
        nargs="+",
        help="before and after; with --baseline or --write-baseline one alone will do",
    )
    compare.add_argument(
        "--baseline", metavar="FILE", type=Path, help="known shortfalls, which are let stand while no worse"
    )
    compare.add_argument(
        "--write-baseline",
        metavar="FILE",
        type=Path,
        help="write what is not go in the last RESULT as known shortfalls",
    )
    takes_folder(compare, "the last RESULT", "compared")
    takes_checks(compare)
    compare.add_argument("--no-pictures", action="store_true", help="draw no pictures")
    compare.add_argument(
        "--json", action="store_true", help="print comparison.json on standard output, in place of the text"
    )
    takes_build_files(compare)
    takes_running(compare)
    compare.set_defaults(command=_compare)


def _compare(options: argparse.Namespace) -> int:
    wrong = _wrong(options)
    only, skip = checks_in(options.only, options.skip, wrong)
    if wrong:
        raise SetupError(*wrong)
    *before, after = options.results
    out = options.out or Path(f"{_stem(after)}_compared")
    request = request_of(only, skip, pictures=not options.no_pictures)
    baseline = None if options.baseline is None else str(options.baseline)
    answer = run_into(options, out, RUN, before[0] if before else None, after, baseline, FOLDER, request)
    complain_of_pictures(answer.trouble, "comparison")
    if asks_for_build_files(options):
        write_build_files(options, [answer.result], answer.text)
    if options.write_baseline is not None:
        write_whole(options.write_baseline, answer.baseline)
    text = f"{answer.text}\n\nwritten to {out}\n"
    if options.write_baseline is not None:
        from fixturecheck.wording.sentences import plural  # noqa: PLC0415 -- loaded when needed

        text += f"{plural(answer.short, 'known shortfall')} written to {options.write_baseline}\n"
    if options.json:
        from fixturecheck.report.folder import COMPARED  # noqa: PLC0415 -- loaded when needed

        text = (out / COMPARED).read_text(encoding="utf-8")
    if not say(text):
        return NOT_COMPUTED
    if answer.breaks and options.write_baseline is None:
        return NO_GO
    return NOT_COMPUTED if answer.unknown and options.write_baseline is None else GO


def _wrong(options: argparse.Namespace) -> list[str]:
    """Return what is wrong with the command itself."""
    wrong = wrong_build_files(options)
    if len(options.results) > 2:
        wrong.append(f"{len(options.results)} results are given; two can be compared")
    if len(options.results) == 1 and options.baseline is None and options.write_baseline is None:
        wrong.append("one result is given; give another one, or --baseline FILE")
    if options.baseline is not None and not options.baseline.is_file():
        wrong.append(f"{options.baseline} is not a file; --write-baseline FILE writes one")
    into = options.write_baseline
    if into is not None and not into.parent.is_dir():
        wrong.append(f"--write-baseline {into}: there is no folder {into.parent}")
    refuse_timeout(options, wrong)
    return wrong


def _stem(result: str) -> str:
    """Return what a result is called, for the folder beside it: `rev_b` of `HEAD:models/rev_b.toml`."""
    path = Path(result.rpartition(":")[2])
    return path.parent.name if path.name == "result.json" and path.parent.name else path.stem or "result"
