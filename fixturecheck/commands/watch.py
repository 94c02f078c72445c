"""`fixturecheck watch`: check a set-up again whenever a file that it is read from changes."""

from __future__ import annotations

import argparse
import sys
import time
import webbrowser
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.commands.shared import (
    Parser,
    caching,
    checks_in,
    overrides_in,
    refuse_timeout,
    request_of,
    takes_checks,
    takes_setup,
)
from fixturecheck.commands.terminal import (
    NOT_COMPUTED,
    complain_of,
    complain_of_pictures,
    exit_code,
    say,
    screen,
)
from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.files import PART_SUFFIXES, SETUP_SUFFIXES

if TYPE_CHECKING:
    from fixturecheck.commands.live_page import LivePage
    from fixturecheck.kernel.worker import Worker
    from fixturecheck.runs.request import CheckRequest
    from fixturecheck.runs.watch import WatchAnswer

RUN = "fixturecheck.runs.watch:run"
"""What the child process runs."""

_LOOKS_S = 0.1
"""Between two looks at the files: some twenty cost less than a thousandth of a core."""
_SETTLES_S = 0.05
"""A file that is being written is left to its writer for so long."""
_MOST_SHOWN = 12
"""Lines of what has been found so far that the foot of the page has room for."""


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options."""
    watch = commands.add_parser(
        "watch",
        help="check a set-up again whenever a file of it changes",
        description="Checks a set-up, and again whenever its script, its TOML file or a STEP file that it "
        "reads changes, in a process that stays warm. Says what became better and worse, and shows the page "
        "in a browser on this machine, where it loads again by itself. Ctrl-C ends it.",
        epilog="exit codes: that of the last check (see check --help), 2 the command is wrong",
    )
    takes_setup(watch, "watch")
    takes_checks(watch)
    watch.add_argument("--pictures", action="store_true", help="draw pictures too, which takes longer")
    watch.add_argument("--port", metavar="N", type=int, default=0, help="of the page (any that is free)")
    watch.add_argument("--no-page", action="store_true", help="serve no page")
    watch.add_argument("--open", action="store_true", help="open the page in the browser")
    watch.set_defaults(command=_watch)


def _watch(options: argparse.Namespace) -> int:
    from fixturecheck.kernel.worker import Worker  # noqa: PLC0415 -- loaded when needed
    from fixturecheck.report.folder import PAGE  # noqa: PLC0415 -- loaded when needed

    wrong: list[str] = []
    setup: Path = options.setup
    if not setup.is_file():
        wrong.append(f"{setup} is not a file; give a set-up ending in .py or .toml")
    if not 0 <= options.port <= 65535:
        wrong.append(f"--port must be 0 to 65535, got {options.port}")
    refuse_timeout(options, wrong)
    overrides = overrides_in(options.overrides, wrong)
    only, skip = checks_in(options.only, options.skip, wrong)
    if wrong:
        raise SetupError(*wrong)
    out = options.out or Path(f"{setup.stem}_watch")
    request = request_of(only, skip, pictures=options.pictures)
    with caching(kept=not options.no_cache), Worker(noise=sys.stderr if options.trace else None) as worker:
        watched = _Watched(options=options, out=out, worker=worker, overrides=overrides, request=request)
        if options.no_page:
            return _looked_after(watched, setup)
        from fixturecheck.commands.live_page import LivePage  # noqa: PLC0415 -- only here

        with LivePage(out / PAGE, setup.name, options.port) as page:
            say(f"page: {page.address}\n")
            watched.page = page
            if options.open:
                webbrowser.open(page.address)
            return _looked_after(watched, setup)


def _looked_after(watched: _Watched, setup: Path) -> int:
    """Check, and again after each change, until somebody stops it; return the exit code of the last check."""
    try:
        while True:
            # Seen before the check reads them: what changes meanwhile is checked again.
            before = _seen(watched.files or _beside(setup))
            watched.check()
            files = watched.files or _beside(setup)
            before = {**_seen(files), **{path: at for path, at in before.items() if path in files}}
            while _seen(watched.files or _beside(setup)) == before:
                time.sleep(_LOOKS_S)
            time.sleep(_SETTLES_S)
    except KeyboardInterrupt:
        say("\nno longer watched\n")
        return watched.code


def _seen(files: Iterable[Path]) -> dict[Path, tuple[int, int]]:
    """Return when each file was written and how large it is; nothing of one that is gone."""
    found = {}
    for path in files:
        try:
            at = path.stat()
        except OSError:
            continue
        found[path] = at.st_mtime_ns, at.st_size
    return found


def _beside(setup: Path) -> tuple[Path, ...]:
    """Return what a set-up that could not be read may be read from; nothing while its folder is gone."""
    folder = setup.absolute().parent
    looked_at = (*SETUP_SUFFIXES, *PART_SUFFIXES)
    try:
        return tuple(sorted(p.resolve() for p in folder.iterdir() if p.suffix.lower() in looked_at))
    except OSError:
        return ()


@dataclass(kw_only=True)
class _Watched:
    """A set-up that is watched, and its last answer."""

    options: argparse.Namespace
    out: Path
    worker: Worker
    overrides: dict[str, str]
    request: CheckRequest
    page: LivePage | None = None
    answered: bool = False
    files: tuple[Path, ...] = ()
    code: int = NOT_COMPUTED

    def check(self) -> None:
        """Check once, and say what came of it."""
        from fixturecheck.commands.live_page import Doing  # noqa: PLC0415 -- loads a server

        self._show([])
        started = time.monotonic()
        try:
            answer = self._run()
        except FixturecheckError as trouble:
            self.code = trouble.exit_code
            # It may be read from other files once it can be read at all.
            self.files = ()
            complain_of(trouble)
            if self.page is not None:
                before = " The page shows the answer before." if self.page.has_answer else ""
                self.page.tell(Doing.FAILED, f"Not checked: {trouble}.{before}")
            say(f"{time.strftime('%H:%M:%S')}  not checked; waiting for a change\n")
            return
        verdict = answer.check.verdict
        self.code = exit_code(verdict)
        took = f"{time.strftime('%H:%M:%S')}  {verdict}  ({time.monotonic() - started:.1f} s)\n"
        say(f"{answer.changes or answer.check.table}\n{took}")
        self.answered = True
        home = self.options.setup.absolute().parent
        self.files = tuple((home / source.path).resolve() for source in answer.sources)
        if self.page is not None:
            self.page.tell(Doing.DONE)

    def _show(self, lines: Sequence[str]) -> None:
        """Show on the page what has been found so far."""
        from fixturecheck.commands.live_page import Doing  # noqa: PLC0415 -- loads a server

        if self.page is not None:
            begun = "Checking again." if self.answered else "Checking."
            self.page.tell(Doing.CHECKING, "\n".join([begun, *lines]))

    def _run(self) -> WatchAnswer:
        """Have the child check and write the folder."""
        from fixturecheck.commands.terminal import Display  # noqa: PLC0415 -- loaded when needed
        from fixturecheck.report.folder import staged  # noqa: PLC0415 -- loaded when needed

        before = str(self.out.absolute()) if self.answered else None
        quiet = self.options.quiet
        width, colour = screen()
        so_far: list[str] = []
        with staged(self.out) as folder, Display(sys.stderr, quiet=quiet) as display:

            def heard(lines: list[str]) -> None:
                display.tell(lines)
                so_far.extend(lines)
                self._show(so_far[-_MOST_SHOWN:])

            answer: WatchAnswer = self.worker.call(
                RUN,
                str(self.options.setup.absolute()),
                self.overrides,
                str(folder),
                replace(self.request, width=width, colour=colour),
                before,
                timeout_s=self.options.timeout,
                progress=display.show,
                hear=heard,
                prints=display.write,
            )
        complain_of_pictures(answer.check.trouble)
        return answer
