"""When a process may be copied: while no other thread of it holds a lock."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from fixturecheck.runs.check import ONE_THREAD

BOOLEAN = """
import cadquery
cadquery.Workplane().box(2, 2, 2).cut(cadquery.Workplane().box(1, 1, 3))
"""
THREAD = """
import threading
threading.Thread(target=threading.Event().wait, daemon=True).start()
"""
ASKED = """
from fixturecheck.kernel.side_by_side import can_fork
print(can_fork())
"""


@pytest.mark.parametrize(("before", "may"), [("", True), (BOOLEAN, True), (THREAD, False)])
def test_a_process_is_copied_unless_a_thread_of_its_own_runs(before: str, may: bool) -> None:
    """A boolean of a script runs on threads of the kernel, which are ended first."""
    lean = {**os.environ, **ONE_THREAD}
    done = subprocess.run(
        [sys.executable, "-c", before + ASKED], env=lean, capture_output=True, text=True, check=True
    )
    assert done.stdout == f"{may}\n"
