"""What commands have in common: their options, a guarded child process, and the files for a build server."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

from fixturecheck.checks import MODULES, description_of
from fixturecheck.commands.terminal import (
    NOT_COMPUTED,
    WRONG,
    Display,
    complain,
    complain_of_pictures,
    exit_code,
    say,
    screen,
)
from fixturecheck.errors import SetupError
from fixturecheck.files import SETUP_SUFFIXES, append_whole, no_setup, write_whole
from fixturecheck.names import nearest
from fixturecheck.runs.request import CheckAnswer, CheckRequest

if TYPE_CHECKING:
    from fixturecheck.report.build_files import BuildResult


FOLDER: Final = object()
"""Stands among the arguments of a run for the folder that it writes into."""
_FORMS = ("plain", "workflow")


class Parser(argparse.ArgumentParser):
    """A parser whose mistakes come as one line, with the exit code of a wrong command."""

    def error(self, message: str) -> NoReturn:  # noqa: D102 -- as argparse has it
        complain(f"{message}; see {self.prog} --help")
        sys.exit(WRONG)

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """Refuse a word that is no choice, with the nearest one that is."""
        if action.choices is not None and value not in action.choices:
            message = f"there is no {value!r}; {nearest(str(value), map(str, action.choices))}"
            raise argparse.ArgumentError(action, message)


def takes_setup(command: argparse.ArgumentParser, ending: str) -> None:
    """Add what every command that reads a set-up and writes a folder takes.

    Parameters
    ----------
    command : ArgumentParser
        The command that takes it.
    ending : str
        End of the name of the folder where `--out` is not given.
    """
    command.add_argument("setup", metavar="SETUP", type=Path, help="the set-up: a .py or a .toml file")
    takes_folder(command, "SETUP", ending)
    takes_overrides(command)
    takes_running(command)


def takes_overrides(command: argparse.ArgumentParser) -> None:
    """Add what gives a set-up other values for one run.

    Parameters
    ----------
    command : ArgumentParser
        The command that takes it.
    """
    command.add_argument(
        "--set",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        dest="overrides",
        help="give a parameter of the script, or a key of the TOML file, another value; may be repeated",
    )


def takes_checks(command: argparse.ArgumentParser, *, only: bool = True) -> None:
    """Add which checks are asked; `only` is whether a few of them may be named.

    Parameters
    ----------
    command : ArgumentParser
        The command that takes it.
    only : bool
        Whether `--only` is offered.
    """
    if only:
        command.add_argument(
            "--only",
            metavar="CHECKS",
            action="append",
            help="ask these checks alone, named with commas between them; nothing else is computed",
        )
    command.add_argument(
        "--skip",
        metavar="CHECKS",
        action="append",
        help="leave these checks out, named with commas between them",
    )


def takes_folder(command: argparse.ArgumentParser, of: str, ending: str) -> None:
    """Add where the folder goes.

    Parameters
    ----------
    command : ArgumentParser
        The command that takes it.
    of : str
        The argument after whose file the folder is named where `--out` is not given.
    ending : str
        End of that name.
    """
    command.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help="folder for what is written; an earlier result in it is replaced "
        f"(default: <name of {of}>_{ending} in the current folder)",
    )


def takes_json(command: argparse.ArgumentParser) -> None:
    """Add what has a program read the answer.

    Parameters
    ----------
    command : ArgumentParser
        The command that takes it.
    """
    command.add_argument(
        "--json", action="store_true", help="print result.json on standard output, in place of the table"
    )


def takes_running(command: argparse.ArgumentParser) -> None:
    """Add what every command takes that runs for a while.

    Parameters
    ----------
    command : ArgumentParser
        The command that takes it.
    """
    command.add_argument(
        "--timeout", metavar="S", type=float, default=1800.0, help="give up after so many seconds (1800)"
    )
    command.add_argument(
        "--quiet",
        action="store_true",
        help="say nothing while it runs: neither progress nor what is found so far",
    )
    command.add_argument(
        "--no-cache", action="store_true", help="compute everything anew, and keep nothing for the next run"
    )


def checks_in(
    only: Sequence[str] | None, skip: Sequence[str] | None, wrong: list[str]
) -> tuple[tuple[str, ...] | None, tuple[str, ...]]:
    """Return the checks to ask, None for all, and those to leave out; what is wrong is added to a list.

    Parameters
    ----------
    only, skip : sequence of str or None
        As `--only` and `--skip` were given: names with commas between them.
    wrong : list of str
        What is wrong so far; it is added to.

    Returns
    -------
    tuple of (tuple of str or None, tuple of str)
        The names as they were given, wrong ones too.
    """
    from fixturecheck.checks import chosen  # noqa: PLC0415 -- names only, nothing heavy

    asked, left_out = _names_in(only), _names_in(skip) or ()
    try:
        chosen(asked, left_out)
    except SetupError as unknown:
        wrong += unknown.problems
    return asked, left_out


def _names_in(stated: Sequence[str] | None) -> tuple[str, ...] | None:
    if not stated:
        return None
    return tuple(name.strip() for text in stated for name in text.split(",") if name.strip())


def refuse_timeout(options: argparse.Namespace, wrong: list[str]) -> None:
    """Add to a list what is wrong with `--timeout`.

    Parameters
    ----------
    options : Namespace
        Its `timeout` is looked at, s.
    wrong : list of str
        What is wrong so far; it is added to.
    """
    if not options.timeout > 0:
        wrong.append(f"--timeout must be more than 0 s, got {options.timeout:g}")


def stated_setup(
    options: argparse.Namespace, wrong: list[str], *, jobs: bool = False
) -> tuple[Path, dict[str, str]]:
    """Return the file of a set-up, or of a job where `jobs` says so, and the values to override.

    Parameters
    ----------
    options : Namespace
        Its `setup`, `overrides` and `timeout` are read.
    wrong : list of str
        What was found wrong before; it is added to.
    jobs : bool
        Whether the file may state a whole job.

    Returns
    -------
    tuple of (Path, dict of str to str)
        The file as given, and the new values by name.

    Raises
    ------
    SetupError
        Something in them is wrong; all of it is told, with what was found wrong before.
    """
    setup: Path = options.setup
    if not setup.is_file() or setup.suffix.lower() not in SETUP_SUFFIXES:
        wrong.append(no_setup(setup))
    overrides = overrides_in(options.overrides, wrong)
    refuse_timeout(options, wrong)
    if wrong:
        raise SetupError(*wrong)
    if setup.suffix.lower() == ".toml":
        # A slip of the pen is answered before anything heavy is loaded.
        from fixturecheck.process.text import is_job, read_job_text  # noqa: PLC0415 -- for text only
        from fixturecheck.setup.text import read_setup_text  # noqa: PLC0415 -- for text only

        if jobs and is_job(setup):
            read_job_text(setup.absolute(), overrides)
        else:
            read_setup_text(setup.absolute(), overrides)
    return setup, overrides


def overrides_in(stated: Sequence[str], wrong: list[str]) -> dict[str, str]:
    """Read NAME=VALUE pairs; what is wrong with them is added to a list.

    Parameters
    ----------
    stated : sequence of str
        What `--set` was given.
    wrong : list of str
        What is wrong so far; it is added to.

    Returns
    -------
    dict of str to str
        Values by name; the first of one that is given twice.
    """
    read: dict[str, str] = {}
    for pair in stated:
        name, equals, value = (part.strip() for part in pair.partition("="))
        if not equals or not name:
            wrong.append(f"--set {pair}: state it as NAME=VALUE")
        elif name in read:
            wrong.append(f"--set {name} is given twice")
        else:
            read[name] = value
    return read


def request_of(only: tuple[str, ...] | None, skip: tuple[str, ...], *, pictures: bool) -> CheckRequest:
    """Return what is asked of a check, its answer shown as this terminal takes it.

    Parameters
    ----------
    only : tuple of str or None
        The checks to ask; None asks all.
    skip : tuple of str
        Checks to leave out.
    pictures : bool
        Whether to draw.

    Returns
    -------
    CheckRequest
    """
    width, colour = screen()
    return CheckRequest(pictures=pictures, only=only, skip=skip, width=width, colour=colour)


def run_into(options: argparse.Namespace, out: Path, run: str, *arguments: Any, hears: bool = False) -> Any:
    """Run `module:function` in a guarded process and move the folder that it writes into place.

    Parameters
    ----------
    options : Namespace
        As for `run_child`; its `written` is set to a sentence that says where the folder is.
    out : Path
        Where the folder goes.
    run : str
        The function, as `module:function`.
    *arguments
        Those of the function; for `FOLDER` it is given the folder to write into.
    hears : bool
        Whether it also tells what it finds as it goes.

    Returns
    -------
    object
        What the function returns.
    """
    from fixturecheck.report.folder import staged  # noqa: PLC0415 -- loaded when needed

    with staged(out) as folder:
        given = [str(folder) if one is FOLDER else one for one in arguments]
        answer = run_child(options, run, *given, hears=hears)
    options.written = f"the result is in {out}"
    return answer


def run_child(options: argparse.Namespace, run: str, *arguments: Any, hears: bool = False) -> Any:
    """Run `module:function` in a guarded process while its progress is shown.

    Parameters
    ----------
    options : Namespace
        Its `no_cache`, `quiet`, `timeout` (s) and `trace` say how it runs.
    run : str
        The function, as `module:function`.
    *arguments
        Those of the function.
    hears : bool
        Whether it also tells what it finds as it goes.

    Returns
    -------
    object
        What the function returns.
    """
    from fixturecheck.kernel.worker import run_guarded  # noqa: PLC0415 -- loaded when needed

    with caching(kept=not options.no_cache), Display(sys.stderr, quiet=options.quiet) as display:
        return run_guarded(
            run,
            *arguments,
            timeout_s=options.timeout,
            progress=display.show,
            hear=display.tell if hears else None,
            prints=display.write,
            noise=sys.stderr if options.trace else None,
        )


@contextlib.contextmanager
def caching(*, kept: bool) -> Iterator[None]:
    """Have a child process that is started meanwhile keep no answers, unless they are to be kept.

    Parameters
    ----------
    kept : bool
        Whether answers are to be kept.

    Yields
    ------
    None
        While the block runs.
    """
    if kept:
        yield
        return
    from fixturecheck.cache import FOLDER_VARIABLE, OFF  # noqa: PLC0415 -- loads NumPy

    before = os.environ.get(FOLDER_VARIABLE)
    os.environ[FOLDER_VARIABLE] = OFF
    try:
        yield
    finally:
        del os.environ[FOLDER_VARIABLE]
        if before is not None:
            os.environ[FOLDER_VARIABLE] = before


def report_answer(options: argparse.Namespace, out: Path, answer: CheckAnswer) -> int:
    """Say what a check came to, and return its exit code.

    Parameters
    ----------
    options : Namespace
        With `json` the result itself is printed; `strict`, where it has that, fails cautions too.
    out : Path
        The folder that was written.
    answer : CheckAnswer
        What the check came to.

    Returns
    -------
    int
        The exit code; `NOT_COMPUTED` where the answer could not be printed.
    """
    complain_of_pictures(answer.trouble)
    from fixturecheck.report.folder import RESULT  # noqa: PLC0415 -- loaded when needed

    text = (
        (out / RESULT).read_text(encoding="utf-8")
        if options.json
        else f"{answer.table}\n\nwritten to {out}\n"
    )
    said = say(text)
    return exit_code(answer.verdict, strict=getattr(options, "strict", False)) if said else NOT_COMPUTED


def takes_build_files(command: argparse.ArgumentParser) -> None:
    """Add what writes a result for a build server.

    Parameters
    ----------
    command : ArgumentParser
        The command that takes it.
    """
    takes_reports(command, "finding")
    command.add_argument("--sarif", metavar="FILE", type=Path, help="write SARIF of what is not go")
    command.add_argument(
        "--annotate",
        metavar="FORM",
        choices=_FORMS,
        help="print a line with file and line for each finding that is not go: plain "
        "(file:line: error: ...) or workflow (::error file=...,line=...::...)",
    )


def takes_reports(command: argparse.ArgumentParser, case: str) -> None:
    """Add the files of a build server that a study has too; `case` is what a case of them stands for.

    Parameters
    ----------
    command : ArgumentParser
        The command that takes it.
    case : str
        What a case of JUnit XML stands for, such as a finding.
    """
    command.add_argument(
        "--junit", metavar="FILE", type=Path, help=f"write JUnit XML, a case for each {case}"
    )
    command.add_argument(
        "--summary",
        metavar="FILE",
        type=Path,
        help="add a summary in Markdown to the end of a file, so that several commands share a job's page",
    )


def wrong_build_files(options: argparse.Namespace) -> list[str]:
    """Return what is wrong with where the files are to go.

    Parameters
    ----------
    options : Namespace
        Its `junit`, `sarif` and `summary` are read where it has them.

    Returns
    -------
    list of str
        A sentence for each file whose folder is not there.
    """
    wanted = ((f"--{name}", getattr(options, name, None)) for name in ("junit", "sarif", "summary"))
    return [
        f"{option} {path}: there is no folder {path.parent}"
        for option, path in wanted
        if path and not path.parent.is_dir()
    ]


def asks_for_build_files(options: argparse.Namespace) -> bool:
    """Tell whether anything is to be written or printed for a build server.

    Parameters
    ----------
    options : Namespace
        Its `junit`, `sarif`, `summary` and `annotate` are read.

    Returns
    -------
    bool
    """
    return bool(options.junit or options.sarif or options.summary or options.annotate)


def write_build_files(options: argparse.Namespace, results: Sequence[BuildResult], changes: str = "") -> None:
    """Write the files that were asked for, and print the lines.

    Parameters
    ----------
    options : Namespace
        Its `junit`, `sarif`, `summary` and `annotate` say what is asked.
    results : sequence of BuildResult
        What is told.
    changes : str
        Of a comparison: what got better or worse, which goes into the summary as a block of text.

    Raises
    ------
    FixturecheckError
        A file cannot be written.
    """
    from fixturecheck.report import build_files as files  # noqa: PLC0415 -- most commands write none

    if options.junit:
        write_whole(options.junit, files.junit_xml(results))
    if options.sarif:
        titles = {name: description_of(name).title for name in MODULES}
        write_whole(options.sarif, files.sarif_text(results, titles))
    if options.summary:
        told = f"\n```text\n{changes}\n```\n" if changes else ""
        append_whole(options.summary, files.summary_markdown(results) + told)
    if options.annotate:
        lines = files.annotation_lines(results, options.annotate)
        say("".join(f"{line}\n" for line in lines))


def kept_build_results(out: Path, setup: Path) -> list[BuildResult]:
    """Return what a folder tells a build: one result, or that of a job and those of its operations.

    Parameters
    ----------
    out : Path
        The folder that `check` wrote.
    setup : Path
        The set-up's file, or that of the job, as it was given.

    Returns
    -------
    list of BuildResult
        Of a job its own result, where that has findings, comes first.
    """
    from fixturecheck.process.across import MODULES as ACROSS  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.report.build_files import BuildResult  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.report.folder import RESULT, operation_results  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.result.stored import (  # noqa: PLC0415 -- loaded when needed
        read_job,
        read_stored,
        without_checks,
    )

    several = operation_results(out)
    if not several:
        file = out / RESULT
        return [BuildResult(stored=read_stored(file.read_bytes(), str(file)), file=str(setup))]
    whole = read_job((out / RESULT).read_bytes(), str(out / RESULT))
    found = [BuildResult(stored=whole, file=str(setup))] if whole.findings else []
    for number, file in several.items():
        # What was found across operations stands in the job's own result.
        kept = without_checks(read_stored(file.read_bytes(), str(file)), ACROSS)
        stated_in = whole.setups.get(number) or kept.file
        found.append(BuildResult(stored=kept, file=str(setup.parent / stated_in if stated_in else setup)))
    return found
