"""The page of a set-up that is watched: served to this machine alone, and loaded again by itself.

The server answers on the loopback address only, and only to requests that name it, so that no other site can
read it through the browser. It serves the page, those of a job's operations, and what is going on.
"""

from __future__ import annotations

import errno
import html
import json
import queue
import re
import threading
from collections.abc import Iterator
from enum import StrEnum
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType

from fixturecheck.errors import SetupError
from fixturecheck.report.folder import OPERATIONS, PAGE

_HOST = "127.0.0.1"
_PAGES = re.compile(rf"/(?:({OPERATIONS}/\d+)/{re.escape(PAGE)})?")
"""The page, and that of an operation of a job."""
_LOOKS_S = 0.05
"""How soon it sees that it is to end."""
_BEAT_S = 10.0
"""After so long without news a line is sent, which tells whether anybody still listens."""


class Doing(StrEnum):
    """What is going on."""

    CHECKING = "checking"
    DONE = "done"
    FAILED = "failed"


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
            message = f"port {port} {why}; give another --port, or none to take any that is free"
            raise SetupError(message) from reason
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, args=(_LOOKS_S,), daemon=True).start()

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
        """Say to every browser what is going on; with `DONE` there is another page to load."""
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
