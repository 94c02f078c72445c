"""The process that draws, watched from outside: it may fail without harm.

A machine without a way to draw off screen still gets its verdict: what could not be drawn is said, and
nothing else changes. Nothing heavy is imported here, so that the process can be started first of all.
"""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from threading import Timer
from typing import Any

RENDERER = "fixturecheck.report.pictures.render"
_NEEDS = "it needs OpenGL, though no display: on Debian install libgl1 and libegl1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What came of drawing: file names of the pictures, and why others are missing (None if none is)."""

    files: frozenset[str]
    trouble: str | None

    def read(self, folder: Path) -> dict[str, bytes]:
        """Return the PNG files by their names, from the folder that they were drawn into."""
        return {name: (folder / name).read_bytes() for name in sorted(self.files)}


NOTHING_DRAWN = Drawn(files=frozenset(), trouble=None)
"""Nothing was to be drawn."""


class Painter:
    """The drawing process; started early, it loads its libraries while the check still computes."""

    def __init__(self, module: str = RENDERER) -> None:
        self._errors = tempfile.TemporaryFile(mode="w+", errors="replace")  # noqa: SIM115 -- closed in finish
        self._process = subprocess.Popen(  # noqa: S603 -- our own module, no outside input
            [sys.executable, "-m", module],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            text=True,
        )

    @property
    def pid(self) -> int:
        """The number of the process."""
        return self._process.pid

    def begin(self, job: Path) -> None:
        """Hand over a job file and return at once."""
        # A process that died already shows in finish.
        with contextlib.suppress(OSError):
            self._input().write(f"{job}\n")
            self._input().close()

    def finish(self, *, timeout_s: float = 120.0) -> Drawn:
        """Wait for the pictures and say what came of them."""
        watch = Timer(timeout_s, self._process.kill)
        watch.start()
        try:
            answers = [_message(line) for line in self._output()]
            code = self._process.wait()
        finally:
            alive = watch.is_alive()
            watch.cancel()
            self.stop()
        files = frozenset(a["drawn"] for a in answers if "drawn" in a)
        failed = [f"{a['failed']}: {a['why']}" for a in answers if "failed" in a]
        if failed:
            return Drawn(files=files, trouble="; ".join(failed))
        if any("done" in a for a in answers):
            return Drawn(files=files, trouble=None)
        if not alive:
            return Drawn(files=files, trouble=f"drawing took longer than {timeout_s:g} s")
        return Drawn(files=files, trouble=self._last_words(code))

    def stop(self) -> None:
        """End the process if it still runs."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    def _input(self) -> Any:
        return self._process.stdin

    def _output(self) -> Any:
        return self._process.stdout

    def _last_words(self, code: int) -> str:
        """Say how the process ended, with the last line of its complaints."""
        self._errors.seek(0)
        lines = [line.strip() for line in self._errors.read().splitlines() if line.strip()]
        end = signal.Signals(-code).name if code < 0 else f"exit status {code}"
        why = f": {lines[-1][:200]}" if lines else ""
        return f"the drawing process ended early ({end}){why}; {_NEEDS}"


@contextlib.contextmanager
def painting(pictures: bool) -> Iterator[Painter | None]:
    """Yield a drawing process, or None where nothing is to be drawn, and end it with the block.

    It loads its own libraries while the block loads the kernel.
    """
    painter = Painter() if pictures else None
    try:
        yield painter
    finally:
        if painter is not None:
            painter.stop()


def _message(line: str) -> dict[str, Any]:
    """Read one answer; what a graphics library prints in between is no answer."""
    with contextlib.suppress(ValueError):
        message = json.loads(line)
        if isinstance(message, dict):
            return message
    return {}
