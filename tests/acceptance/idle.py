"""Stand-ins for the work of a check, for tests of what happens around it."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

Progress = Callable[[str, float], None]
READY = "FIXTURECHECK_TEST_READY"
OURS = '{"tool": {"name": "fixturecheck"}, "mark": "new"}'


def _ready() -> None:
    if READY in os.environ:
        Path(os.environ[READY]).touch()


def done(
    _setup: str, _set: object, folder: str, *_: object, progress: Progress, **__: Any
) -> tuple[Any, ...]:
    """Write a result at once."""
    progress("all of it", 0.5)
    (Path(folder) / "result.json").write_text(OURS)
    return "go", "GO  table", None


def stuck(_setup: str, _set: object, folder: str, *_: object, progress: Progress, **__: Any) -> None:
    """Start another process, then stay in native code and keep the interpreter's lock, as the kernel does."""
    progress("contacts", 0.3)
    (Path(folder) / "setup.step").write_text("half of it")
    subprocess.Popen([sys.executable, "-c", "import time; time.sleep(120)"])
    _ready()
    ctypes.PyDLL(None).sleep(120)


def waits(_setup: str, _set: object, _folder: str, *_: object, progress: Progress, **__: Any) -> None:
    """Stay in Python."""
    progress("read block.py", 0.1)
    _ready()
    time.sleep(120)
