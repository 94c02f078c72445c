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


BEGUN = """
import os, signal, time
from fixturecheck.kernel import side_by_side
from fixturecheck.kernel.side_by_side import Begun
side_by_side.cores = lambda: 2
here, both = os.getpid(), lambda: 1
def only_here(other):
    return lambda: here if os.getpid() == here else other()
print(Begun(lambda: os.getpid()).value() != here)
print(Begun(lambda: [both], [both]).value()[0] is both)
print(Begun(only_here(lambda: os.kill(os.getpid(), signal.SIGSEGV))).value() == here)
print(Begun(only_here(lambda: 1 / 0)).value() == here)
print(Begun(only_here(lambda: lambda: 1)).value() == here)
Begun(lambda: time.sleep(600)).end()
try:
    os.waitpid(-1, os.WNOHANG)
except ChildProcessError:
    print("nothing left")
"""


def test_what_is_begun_in_a_copy_is_done_here_where_the_copy_comes_to_nothing() -> None:
    """It crashes, raises, or makes what cannot be handed over; what both have is not handed over."""
    done = subprocess.run(
        [sys.executable, "-c", BEGUN],
        env={**os.environ, **ONE_THREAD},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split("\n") == ["True"] * 5 + ["nothing left", ""]
