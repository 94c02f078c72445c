"""`fixturecheck watch`: check a set-up again whenever a file that it is read from changes; serve its page.

The server answers on the loopback address only, and only to requests that name it, so that no other site can
read it through the browser. It serves the page, those of a job's operations, and what is going on.
"""

from __future__ import annotations

import argparse
import errno
import html
import json
import queue
import re
import sys
import threading
import time
import webbrowser
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType
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
from fixturecheck.report.folder import OPERATIONS, PAGE

if TYPE_CHECKING:
    from fixturecheck.kernel.worker import Worker
    from fixturecheck.runs.request import CheckRequest
    from fixturecheck.runs.watch import WatchAnswer


_HOST = "127.0.0.1"
_PAGES = re.compile(rf"/(?:({OPERATIONS}/\d+)/{re.escape(PAGE)})?")
"""The page, and that of an operation of a job."""
_ENDS_S = 0.05
"""How soon it sees that it is to end."""
_BEAT_S = 10.0
"""After so long without news a line is sent, which tells whether anybody still listens."""
# What the page does with the news: a bar says what is going on, and a new answer loads the page again.
_SCRIPT = """
<style>
#watched {
  position: fixed; left: 0; right: 0; bottom: 0; z-index: 9; padding: .5em 1em; background: #222; color: #fff;
  white-space: pre-wrap; max-height: 40vh; overflow: auto;
}
</style>
<div id="watched" role="status" hidden></div>
<script>
(() => {
  const bar = document.getElementById("watched"), own = SHOWN;
  const news = new EventSource("/events");
  const say = text => { bar.textContent = text; bar.hidden = !text; };
  news.onmessage = event => {
    const now = JSON.parse(event.data);
    if (now.doing === "done" && now.page !== own) location.reload();
    say(now.doing === "done" ? "" : now.says);
  };
  news.onerror = () => say("No longer watched: start fixturecheck watch again.");
})();
</script>
"""
_EMPTY = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>NAME</title>
<meta name="color-scheme" content="light dark"></head>
<body><h1>NAME</h1><p>There is no answer yet.</p></body></html>
"""
RUN = "fixturecheck.runs.watch:run"
"""What the child process runs."""
_LOOKS_S = 0.1
"""Between two looks at the files: some twenty cost less than a thousandth of a core."""
_SETTLES_S = 0.05
"""A file that is being written is left to its writer for so long."""
_MOST_SHOWN = 12
"""Lines of what has been found so far that the foot of the page has room for."""


class Doing(StrEnum):
    """What is going on."""

    CHECKING = "checking"
    DONE = "done"
    FAILED = "failed"


class LivePage:
    """A server of one page.

    Parameters
    ----------
    page : Path
        The file of the page; it may not be there yet.
    name : str
        What is watched.
    port : int
        Zero takes any that is free.

    Raises
    ------
    SetupError
        The port is in use or may not be used.
    """

    def __init__(self, page: Path, name: str, port: int = 0) -> None:
        self._page, self._name = page, name
        self._doing, self._says, self._number = Doing.CHECKING, "", 0
        self._listeners: set[queue.SimpleQueue[str]] = set()
        self._lock = threading.Lock()
        try:
            self._server = ThreadingHTTPServer((_HOST, port), self._handler())
        except OSError as reason:
            why = "is in use" if reason.errno == errno.EADDRINUSE else f"cannot be used: {reason.strerror}"
            raise SetupError(
                f"port {port} {why}; give another --port, or none to take any that is free"
            ) from reason
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, args=(_ENDS_S,), daemon=True).start()

    def __enter__(self) -> LivePage:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._server.server_close()

    @property
    def address(self) -> str:
        """Where a browser finds the page."""
        return f"http://{_HOST}:{self.port}/"

    @property
    def has_answer(self) -> bool:
        """Whether there is a page to show."""
        return self._page.is_file()

    def tell(self, doing: Doing, says: str = "") -> None:
        """Say to every browser what is going on; with `DONE` there is another page to load.

        Parameters
        ----------
        doing : Doing
            What is going on.
        says : str
            Text that is shown with it.
        """
        with self._lock:
            self._doing, self._says = doing, says
            self._number += doing is Doing.DONE
            for one in self._listeners:
                one.put(self._now())

    def _now(self) -> str:
        return json.dumps({"doing": self._doing, "says": self._says, "page": self._number})

    def _shown(self, inner: str) -> bytes:
        """Return the page as it is now, or one of an operation, with what keeps it up to date."""
        with self._lock:
            number = self._number
        try:
            text = (self._page.parent / inner / self._page.name).read_text(encoding="utf-8")
        except OSError:
            text = _EMPTY.replace("NAME", html.escape(self._name))
        before, body, after = text.rpartition("</body>")
        return f"{before}{_SCRIPT.replace('SHOWN', str(number))}{body}{after}".encode()

    def _news(self) -> Iterator[str | None]:
        """Yield what is going on, and None where there is nothing new for a while."""
        mine: queue.SimpleQueue[str] = queue.SimpleQueue()
        with self._lock:
            self._listeners.add(mine)
            mine.put(self._now())
        try:
            while True:
                try:
                    yield mine.get(timeout=_BEAT_S)
                except queue.Empty:
                    yield None
        finally:
            with self._lock:
                self._listeners.discard(mine)

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        live = self

        class Handler(BaseHTTPRequestHandler):
            """Answers for one page."""

            def do_GET(self) -> None:
                """Answer a browser."""
                names = {f"{_HOST}:{live.port}", f"localhost:{live.port}"}
                if self.headers.get("Host") not in names:
                    self.send_error(HTTPStatus.FORBIDDEN)
                elif (inner := _PAGES.fullmatch(self.path)) is not None:
                    self._send(live._shown(inner[1] or ""))
                elif self.path == "/events":
                    self._stream()
                else:
                    self.send_error(HTTPStatus.NOT_FOUND)

            def _send(self, body: bytes) -> None:
                self.send_response(HTTPStatus.OK)
                self.send_header("Content-Type", "text/html; charset=utf-8")
                self.send_header("Content-Length", str(len(body)))
                self.send_header("Cache-Control", "no-store")
                self.end_headers()
                self.wfile.write(body)

            def _stream(self) -> None:
                self.send_response(HTTPStatus.OK)
                self.send_header("Content-Type", "text/event-stream")
                self.send_header("Cache-Control", "no-store")
                self.end_headers()
                for news in live._news():
                    line = ": nothing new\n\n" if news is None else f"data: {news}\n\n"
                    try:
                        self.wfile.write(line.encode())
                        self.wfile.flush()
                    except OSError:
                        return

            def log_message(self, format: str, *args: object) -> None:  # noqa: A002 -- as the base has it
                """Say nothing of each request: the terminal shows the checks."""

        return Handler


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
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
