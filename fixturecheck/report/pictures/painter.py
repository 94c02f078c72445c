"""The process that draws, watched from outside: it may fail without harm.

A machine without a way to draw off screen still gets its verdict: what could not be drawn is said, and
nothing else changes. Nothing heavy is imported here, so that the process can be started first of all.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import runpy
import signal
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from threading import Timer
from typing import IO, Any, NoReturn

from fixturecheck.kernel.side_by_side import can_fork

RENDERER = "fixturecheck.report.pictures.render"
_DRAWS = "vtkmodules.vtkRenderingOpenGL2"
"""The largest part of what draws."""
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
    """The drawing process; started early, it loads its libraries while the check still computes.

    Parameters
    ----------
    module : str
        What draws.
    copied : bool
        The process is a copy of this one, where that may be forked: what is loaded here is not loaded again.
    """

    def __init__(self, module: str = RENDERER, *, copied: bool = False) -> None:
        self._errors = tempfile.TemporaryFile(mode="w+", errors="replace")  # noqa: SIM115 -- closed in finish
        self._process: subprocess.Popen[str] | _Copy
        if copied and can_fork():
            self._process = _Copy(module, self._errors)
        else:
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
            # Ended here, so that this process may be copied again.
            watch.join()
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


class _Copy:
    """A copy of this process that runs a module, as far as it is asked of what `subprocess` starts."""

    def __init__(self, module: str, errors: IO[str]) -> None:
        asks, told = os.pipe(), os.pipe()
        self._code: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            for ours in (asks[1], told[0]):
                os.close(ours)
            for end, standard in ((asks[0], 0), (told[1], 1), (errors.fileno(), 2)):
                os.dup2(end, standard)
            _run_and_leave(module)
        for theirs in (asks[0], told[1]):
            os.close(theirs)
        self.stdin = os.fdopen(asks[1], "w")
        self.stdout = os.fdopen(told[0])

    def poll(self) -> int | None:
        """Return its exit code, a signal's as a negative number; None while it runs."""
        return self._ended(os.WNOHANG)

    def wait(self) -> int:
        """Return its exit code as soon as it has ended."""
        code = self._ended(0)
        return 0 if code is None else code

    def kill(self) -> None:
        """End it."""
        if self.poll() is None:
            os.kill(self.pid, signal.SIGKILL)

    def _ended(self, how: int) -> int | None:
        if self._code is None:
            pid, status = os.waitpid(self.pid, how)
            if pid:
                self._code = os.waitstatus_to_exitcode(status)
        return self._code


def _run_and_leave(module: str) -> NoReturn:
    """Run a module in a copy of this process, and end the copy without what the original does at its end."""
    code = 1
    try:
        sys.stdin, sys.stdout, sys.stderr = os.fdopen(0), os.fdopen(1, "w"), os.fdopen(2, "w")
        runpy.run_module(module, run_name="__main__")
        code = 0
    except Exception:  # noqa: BLE001 -- whatever it is, the copy must not go on as the original
        traceback.print_exc()
    finally:
        with contextlib.suppress(OSError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)


def load_for_copies() -> None:
    """Load what draws into this process, so that copies of it that draw need not each load it."""
    # Where it cannot be loaded each copy says so.
    with contextlib.suppress(ImportError):
        importlib.import_module(_DRAWS)


@contextlib.contextmanager
def painting(pictures: bool, *, copied: bool = False) -> Iterator[Painter | None]:
    """Yield a drawing process, or None where nothing is to be drawn, and end it with the block.

    It loads its own libraries while the block loads the kernel.

    Parameters
    ----------
    pictures : bool
        Whether anything is to be drawn.
    copied : bool
        As of `Painter`.

    Yields
    ------
    Painter or None
        It waits for a job.
    """
    painter = Painter(copied=copied) if pictures else None
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
