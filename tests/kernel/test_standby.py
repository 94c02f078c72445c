"""A copy of the process that stays does what it is asked, and what it cannot do is done here."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

from fixturecheck.runs.check import ONE_THREAD
from tests.processes import is_running, wait_until

STANDBY = """
import os, signal, sys, time
from contextvars import ContextVar
from functools import partial
import cadquery as cq
from fixturecheck.kernel import standby
from fixturecheck.kernel.standby import Standby, standby_here, standing_by
standby.cores = lambda: 2
HERE, SET = os.getpid(), ContextVar("set", default="nothing")
def done_by():
    return os.getpid(), []
def volume_and(solid, thing):
    return (os.getpid(), solid.Volume(), thing), [thing]
def elsewhere(does):
    if os.getpid() != HERE:
        does()
    return done_by()
def fail():
    raise ValueError
def crash():
    os.kill(os.getpid(), signal.SIGSEGV)
def wait():
    time.sleep(600)
def seen():
    return SET.get(), []
def asked(work, *given, shared=()):
    return one.begun(partial(work, *given), lambda: shared).value()
one = Standby()
"""

ASKED = """
token = SET.set("before")
with standing_by(one):
    token = SET.set("where it is made")
    first = asked(done_by)
    SET.set("later")
    print(first != HERE, asked(done_by) == first, asked(seen), standby_here() is one)
mine = cq.Workplane().box(1, 2, 3).val()
pid, volume, back = asked(volume_and, mine, mine, shared=[mine])
print(pid == first, round(volume, 9), back is mine)
print(asked(elsewhere, fail) == HERE, asked(done_by) == first)
print(asked(elsewhere, crash) == HERE, asked(done_by) not in {HERE, first})
one.begun(partial(elsewhere, wait), list).end()
try:
    os.waitpid(-1, os.WNOHANG)
except ChildProcessError:
    print("nothing left")
standby.cores = lambda: 1
print(asked(done_by) == HERE, standby_here())
"""

LEFT = """
print(asked(done_by), flush=True)
time.sleep(600)
"""


def started(script: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", STANDBY + script],
        env={**os.environ, **ONE_THREAD},
        stdout=subprocess.PIPE,
        text=True,
    )


def test_a_copy_that_stays_answers_again_and_again() -> None:
    """It goes on after an error and is made anew after a crash; what is not wanted any more is ended."""
    told, _ = started(ASKED).communicate()
    assert told.split("\n") == [
        "True True before True",
        "True 6.0 True",
        "True True",
        "True True",
        "nothing left",
        "True None",
        "",
    ]


def test_a_copy_that_stays_ends_with_its_process() -> None:
    """However that ended."""
    process = started(LEFT)
    assert process.stdout is not None
    with process:
        copy = int(process.stdout.readline())
        assert is_running(copy)
        os.kill(process.pid, signal.SIGKILL)
    wait_until(lambda: not is_running(copy))
