"""The command line: `fixturecheck new`, `check`, `touch`, `relieve`, `calibrate`, `shop` and `keys`.

Nothing heavy is imported until it is needed, so that help and mistakes in a command answer at once. A
check runs in a process of its own; whatever happens to it, this one ends with a line and an exit code.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import shutil
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NoReturn

from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.stopping import stoppable
from fixturecheck.tolerances import NEAR_MM
from fixturecheck.units import UNITS

GO, NO_GO, WRONG, NOT_COMPUTED = 0, 1, 2, 3

CHECK, RELIEVE = "fixturecheck.job:run", "fixturecheck.relief_job:run"
CALIBRATE, NEW = "fixturecheck.calibrate_job:run", "fixturecheck.start_job:run"
TOUCH = "fixturecheck.touch_job:run"
"""What the child process runs."""

_EXITS = """\
exit codes:
  0  go (cautions included, unless --strict)
  1  no-go, or a caution with --strict
  2  the set-up or the command is wrong; nothing is written
  3  something could not be computed, crashed, ran out of time or was stopped
"""
SHELLS = ("bash", "zsh", "fish", "tcsh")
_SHELVES = ("equipment", "materials", "finishes", "wheels")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal without the signs that verdicts carry must not cost the verdict.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    options = _parser().parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = options.command
    try:
        with stoppable():
            return command(options)
    except FixturecheckError as trouble:
        for problem in trouble.problems if isinstance(trouble, SetupError) else (str(trouble),):
            _complain(problem)
        if options.trace:
            _to_stderr(str(getattr(trouble, "trace", "")))
        return trouble.exit_code
    except KeyboardInterrupt as stop:
        by = f" by {stop}" if str(stop) else ""
        _complain(f"stopped{by}; {getattr(options, 'written', 'nothing was written')}")
        return NOT_COMPUTED
    except OSError as trouble:
        _complain(f"{trouble.strerror or trouble}{f': {trouble.filename}' if trouble.filename else ''}")
        return NOT_COMPUTED


class _Parser(argparse.ArgumentParser):
    """A parser whose mistakes come as one line, with the exit code of a wrong command."""

    def error(self, message: str) -> NoReturn:
        _complain(f"{message}; see {self.prog} --help")
        sys.exit(WRONG)


def _parser() -> argparse.ArgumentParser:
    from fixturecheck import __version__  # noqa: PLC0415 -- keeps this module free of package state

    parser = _Parser(
        prog="fixturecheck",
        description="Checks a surface-grinding set-up from its solids, before anything is cut.",
        epilog=_EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"fixturecheck {__version__}")
    parser.add_argument(
        "--trace", action="store_true", help="print the trace of an internal error, and what libraries print"
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_new(commands)
    _add_check(commands)
    _add_touch(commands)
    _add_relieve(commands)
    _add_calibrate(commands)
    shop = commands.add_parser("shop", help="list the shop's equipment, materials, finishes and wheels")
    shop.add_argument("shelf", nargs="?", choices=_SHELVES, help="one list only")
    shop.add_argument("name", nargs="?", help="one kind of equipment: its sizes, bodies, faces and places")
    shop.set_defaults(command=_shop)
    keys = commands.add_parser("keys", help="list what may be stated in a set-up, with defaults and ranges")
    keys.add_argument("table", nargs="?", metavar="TABLE", help="one table only, like cut or machine.guard")
    keys.set_defaults(command=_keys)
    completion = commands.add_parser(
        "completion", help="print what completes these commands in your shell; its --help says how to use it",
        description="Prints a script for your shell. bash: fixturecheck completion bash > "
        "~/.local/share/bash-completion/completions/fixturecheck; zsh: into a file _fixturecheck on the "
        "fpath; fish: into ~/.config/fish/completions/fixturecheck.fish.",
    )  # fmt: skip
    completion.add_argument("shell", choices=SHELLS)
    completion.set_defaults(command=lambda options: _completion(parser, options.shell))
    return parser


def _add_new(commands: argparse._SubParsersAction[_Parser]) -> None:
    new = commands.add_parser(
        "new",
        help="propose a first set-up for a part, and check it",
        description="Looks how a part can stand and which face can then be ground, writes a set-up as TOML "
        "with each guess marked, checks it, and writes the report into a folder beside it.",
        epilog=_EXITS,
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
    _add_running(new)
    new.set_defaults(command=_new)


def _add_check(commands: argparse._SubParsersAction[_Parser]) -> None:
    check = commands.add_parser(
        "check",
        help="check a set-up and write the report",
        description="Checks a set-up (a .py script or a .toml file) and writes result.json, setup.step, "
        "stl/, pictures/ and report.html into one folder.",
        epilog=_EXITS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _add_common(check, "check")
    check.add_argument("--strict", action="store_true", help="cautions fail too")
    check.add_argument(
        "--only",
        metavar="CHECKS",
        action="append",
        help="ask these checks alone, named with commas between them; nothing else is computed",
    )
    check.add_argument(
        "--skip", metavar="CHECKS", action="append", help="leave these checks out, named alike"
    )
    check.add_argument("--no-pictures", action="store_true", help="draw no pictures")
    _add_json(check)
    check.set_defaults(command=_check)


def _add_touch(commands: argparse._SubParsersAction[_Parser]) -> None:
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
    _add_folder(touch, "ASSEMBLY", "touch")
    touch.add_argument("--no-pictures", action="store_true", help="draw no pictures")
    _add_json(touch)
    _add_running(touch)
    touch.set_defaults(command=_touch)


def _add_relieve(commands: argparse._SubParsersAction[_Parser]) -> None:
    relieve = commands.add_parser(
        "relieve",
        help="design the reliefs that let the parts nest",
        description="Finds the smallest reliefs on faces without function that let every seat close, tries "
        "them on the solids, and writes the changed parts (STEP) and the line of code that makes each.",
        epilog="exit codes: 0 nothing is left in the way, 1 something is, 2 the set-up or the command is "
        "wrong, 3 it could not be computed",
    )
    _add_common(relieve, "relieved")
    relieve.set_defaults(command=_relieve)


def _add_calibrate(commands: argparse._SubParsersAction[_Parser]) -> None:
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
    _add_running(calibrate)
    calibrate.set_defaults(command=_calibrate)


def _add_common(command: argparse.ArgumentParser, ending: str) -> None:
    """Add what every command that reads a set-up and writes a folder takes."""
    command.add_argument("setup", metavar="SETUP", type=Path, help="the set-up: a .py or a .toml file")
    _add_folder(command, "SETUP", ending)
    command.add_argument(
        "--set",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        dest="overrides",
        help="give a parameter of the set-up another value; may be repeated",
    )
    _add_running(command)


def _add_folder(command: argparse.ArgumentParser, of: str, ending: str) -> None:
    """Add where the folder goes."""
    command.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help="folder for what is written; an earlier result in it is replaced "
        f"(default: <name of {of}>_{ending} in the current folder)",
    )


def _add_json(command: argparse.ArgumentParser) -> None:
    """Add what has a program read the answer."""
    command.add_argument(
        "--json", action="store_true", help="print result.json on standard output, in place of the table"
    )


def _add_running(command: argparse.ArgumentParser) -> None:
    """Add what every command takes that runs for a while."""
    command.add_argument(
        "--timeout", metavar="S", type=float, default=1800.0, help="give up after so many seconds (1800)"
    )
    command.add_argument(
        "--quiet",
        action="store_true",
        help="say nothing while it runs: neither progress nor what is found so far",
    )


def _check(options: argparse.Namespace) -> int:
    from fixturecheck.checks import chosen  # noqa: PLC0415 -- names only, nothing heavy

    wrong: list[str] = []
    only, skip = _names(options.only), _names(options.skip) or ()
    try:
        chosen(only, skip)
    except SetupError as unknown:
        wrong += unknown.problems
    setup, overrides = _stated(options, wrong)
    out = options.out or Path(f"{setup.stem}_check")
    asked = (not options.no_pictures, only, skip, *_screen())
    return _tell(options, out, _run(options, out, CHECK, (str(setup), overrides), asked, hears=True))


def _touch(options: argparse.Namespace) -> int:
    path: Path = options.assembly
    wrong = [] if path.is_file() else [f"{path} is not a file; give a STEP or BREP file of an assembly"]
    if not NEAR_MM[0] <= options.within <= NEAR_MM[1]:
        wrong.append(f"--within must be {NEAR_MM[0]:g} to {NEAR_MM[1]:g} mm, got {options.within:g}")
    if not options.timeout > 0:
        wrong.append(f"--timeout must be more than 0 s, got {options.timeout:g}")
    if wrong:
        raise SetupError(*wrong)
    out = options.out or Path(f"{path.stem}_touch")
    asked = (not options.no_pictures, *_screen())
    before = (str(path.absolute()), options.within, options.units)
    return _tell(options, out, _run(options, out, TOUCH, before, asked))


def _tell(options: argparse.Namespace, out: Path, answer: tuple[str, str, str | None]) -> int:
    """Say what a check came to, and return its exit code."""
    verdict, table, trouble = answer
    if trouble:
        _complain(f"pictures could not all be drawn: {trouble}; the verdict does not depend on them")
    from fixturecheck.report.folder import RESULT  # noqa: PLC0415 -- loaded when needed

    text = (out / RESULT).read_text(encoding="utf-8") if options.json else f"{table}\n\nwritten to {out}\n"
    said = _say(text)
    strict = getattr(options, "strict", False)
    code = {"go": GO, "caution": NO_GO if strict else GO, "no-go": NO_GO}.get(verdict, NOT_COMPUTED)
    return code if said else NOT_COMPUTED


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
    asked = (not options.no_pictures, *_screen())
    verdict, table, trouble, because = _run(options, folder, NEW, wishes, asked, hears=True)
    if trouble:
        _complain(f"pictures could not all be drawn: {trouble}; the verdict does not depend on them")
    if options.explain:
        table += "\n\n" + "\n".join(f"{choice}: {reason}" for choice, reason in because)
    said = _say(f"{table}\n\nset-up written to {out}, report to {folder}\n")
    code = {"go": GO, "caution": GO, "no-go": NO_GO}.get(verdict, NOT_COMPUTED)
    return code if said else NOT_COMPUTED


def _screen() -> tuple[int, bool]:
    """Return the columns of a table, and whether it is coloured: on a terminal, unless NO_COLOR is set."""
    colour = sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return shutil.get_terminal_size((100, 24)).columns, colour


def _names(stated: Sequence[str] | None) -> tuple[str, ...] | None:
    """Read names with commas between them; None where none are stated."""
    if not stated:
        return None
    return tuple(name.strip() for text in stated for name in text.split(",") if name.strip())


def _relieve(options: argparse.Namespace) -> int:
    setup, overrides = _stated(options, [])
    out = options.out or Path(f"{setup.stem}_relieved")
    cured, told = _run(options, out, RELIEVE, (str(setup), overrides))
    said = _say(f"{told}\n\nwritten to {out}\n")
    return (GO if cured else NO_GO) if said else NOT_COMPUTED


def _calibrate(options: argparse.Namespace) -> int:
    from fixturecheck.kernel.worker import run_guarded  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.progress import Display  # noqa: PLC0415 -- only what runs a while needs it
    from fixturecheck.setup.measurement import measured_in_file  # noqa: PLC0415 -- loaded when needed

    path: Path = options.measurements
    out = options.out or Path(f"{path.stem}_chuck.toml")
    _refuse_to_overwrite(out)
    # A slip of the pen is answered before anything heavy is loaded.
    measured_in_file(path.absolute())
    with Display(sys.stderr, quiet=options.quiet) as display:
        text, told = run_guarded(
            CALIBRATE,
            str(path.absolute()),
            timeout_s=options.timeout,
            progress=display.show,
            prints=display.write,
            noise=sys.stderr if options.trace else None,
        )
    kept = out.with_name(f".{out.name}.{os.getpid()}")
    kept.write_text(text, encoding="utf-8")
    kept.replace(out)
    options.written = f"the chuck file is {out}"
    return GO if _say(f"{told}\n\nwritten to {out}\n") else NOT_COMPUTED


def _refuse_to_overwrite(out: Path) -> None:
    """Refuse to write a chuck file over anything but another."""
    if not out.exists():
        return
    if not out.is_file() or "[chuck]" not in out.read_text(encoding="utf-8", errors="replace"):
        message = f"{out} exists and is no chuck file; give another --out"
        raise SetupError(message)


def _run(
    options: argparse.Namespace,
    out: Path,
    job: str,
    before: tuple[Any, ...],
    after: tuple[Any, ...] = (),
    *,
    hears: bool = False,
) -> Any:
    """Run a job in a guarded process, with a folder between its arguments, and move the folder into place."""
    from fixturecheck.kernel.worker import run_guarded  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.progress import Display  # noqa: PLC0415 -- only what runs a while needs it
    from fixturecheck.report.folder import staged  # noqa: PLC0415 -- loaded when needed

    with staged(out) as folder, Display(sys.stderr, quiet=options.quiet) as display:
        answer = run_guarded(
            job,
            *before,
            str(folder),
            *after,
            timeout_s=options.timeout,
            progress=display.show,
            hear=display.tell if hears else None,
            prints=display.write,
            noise=sys.stderr if options.trace else None,
        )
    options.written = f"the result is in {out}"
    return answer


def _say(text: str) -> bool:
    """Write to standard output; tell whether that went well.

    A reader that has left, as `head` does, has had enough: that is well.
    """
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        taken = True
    except OSError as trouble:
        _complain(f"standard output could not be written: {trouble.strerror}")
        taken = False
    else:
        return True
    # What is left in the buffer would fail once more when the interpreter ends.
    with open(os.devnull, "w") as nowhere, contextlib.suppress(OSError, ValueError):  # noqa: PTH123 -- no path
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
    return taken


def _stated(options: argparse.Namespace, wrong: list[str]) -> tuple[Path, dict[str, str]]:
    """Return the set-up's file and the values to override; refuse them with all else that is wrong."""
    setup: Path = options.setup
    if not setup.is_file():
        wrong.append(f"{setup} is not a file; give a set-up ending in .py or .toml")
    overrides = _overrides(options.overrides, wrong)
    if not options.timeout > 0:
        wrong.append(f"--timeout must be more than 0 s, got {options.timeout:g}")
    if wrong:
        raise SetupError(*wrong)
    if setup.suffix.lower() == ".toml":
        # A slip of the pen is answered before anything heavy is loaded.
        from fixturecheck.setup.text import read_setup_text  # noqa: PLC0415 -- only a set-up as text needs it

        read_setup_text(setup.absolute(), overrides)
    return setup, overrides


def _overrides(stated: Sequence[str], wrong: list[str]) -> dict[str, str]:
    """Read NAME=VALUE pairs; what is wrong with them is added to a list."""
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


def _shop(options: argparse.Namespace) -> int:
    from fixturecheck.report.lists import SHELVES, equipment_told  # noqa: PLC0415 -- reads the tables

    if options.name is not None:
        if options.shelf != "equipment":
            message = f"only equipment is listed by name; {options.shelf} are one list"
            raise SetupError(message)
        return GO if _say(equipment_told(options.name)) else NOT_COMPUTED
    chosen = [options.shelf] if options.shelf else list(_SHELVES)
    return GO if _say("\n".join(SHELVES[name]() for name in chosen)) else NOT_COMPUTED


def _keys(options: argparse.Namespace) -> int:
    from fixturecheck.report.lists import keys_told  # noqa: PLC0415 -- reads the records of a set-up

    return GO if _say(keys_told(options.table)) else NOT_COMPUTED


def _completion(parser: argparse.ArgumentParser, shell: str) -> int:
    """Print the script that completes the commands; files are completed where a file is asked for."""
    import shtab  # noqa: PLC0415 -- only this command needs it

    _complete_files(parser, shtab.FILE)
    return GO if _say(f"{shtab.complete(parser, shell=shell)}\n") else NOT_COMPUTED


def _complete_files(parser: argparse.ArgumentParser, files: Mapping[str, object]) -> None:
    for action in parser._actions:  # noqa: SLF001 -- argparse has no public way to list them
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001 -- its parsers likewise
            for inner in action.choices.values():
                _complete_files(inner, files)
        elif action.type is Path:
            action.complete = files  # type: ignore[attr-defined]  # read by shtab


def _complain(message: str) -> None:
    """Write one line to standard error."""
    _to_stderr(f"fixturecheck: {' '.join(message.split())}\n")


def _to_stderr(text: str) -> None:
    """Write to standard error, which may be a terminal that has closed."""
    with contextlib.suppress(OSError):
        sys.stderr.write(text)
        sys.stderr.flush()


if __name__ == "__main__":
    sys.exit(main())
