"""A set-up that is watched: checked again after each change, and what a change brought."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck.commands import watch
from tests.doors import command
from tests.processes import PATIENCE_S, children, is_running, wait_until

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")

GIB = Path(__file__).parents[2] / "models/gib"


class Watching:
    """A command that watches, and what it has written so far."""

    def __init__(self, home, *words):
        self.home = home
        self._out = (home / "out.txt").open("w")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "fixturecheck", "watch", *map(str, words)],
            cwd=home, stdout=self._out, stderr=subprocess.STDOUT, env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        self._read = 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._process.kill()
        self._process.wait()
        self._out.close()

    def until(self, *wanted):
        """Return what is written from here on, as soon as all of it is there."""

        def text():
            return (self.home / "out.txt").read_text()[self._read :]

        def has_come():
            assert self._process.poll() is None, text()
            return all(one in text() for one in wanted)

        wait_until(has_come, told=text)
        read = text()
        self._read += len(read)
        return read

    def ended_by(self, number):
        self._process.send_signal(number)
        return self._process.wait(PATIENCE_S)

    def children(self):
        """Return the processes that it started."""
        return children(self._process.pid)


def edited(path, old, new):
    """Write a file anew as editors do: beside it, then moved over it."""
    text = path.read_text()
    assert old in text
    beside = path.with_name(f".{path.name}.swp")
    beside.write_text(text.replace(old, new))
    beside.replace(path)


SCRIPT = """
import cadquery as cq
import fixturecheck as fc
from sizes import WIDE

gap = 0.0
block = cq.importers.importStep("block.step").union(cq.Workplane().box(WIDE, 12, 4, centered=False))
faces = {"left": "<X", "right": ">X"}
bodies = [fc.body("a", block, faces=faces), fc.body("b", block, at=(20 + gap, 0, 0), faces=faces)]
seats = [fc.Seat(body="b", face="left", on="a", on_face="right", rank="nest")]
setup = fc.Setup(name="two", bodies=bodies, seats=seats)
"""


@pytest.mark.slow
def test_each_change_is_checked_and_told_by_what_it_brought(tmp_path):
    """Two blocks of 20 mm, 20 mm apart, meet; moved by a tenth they stand open, which is a caution."""
    sizes, setup = tmp_path / "sizes.py", tmp_path / "pair.py"
    sizes.write_text("WIDE = 20.0\n")
    step = tmp_path / "block.step"

    def drawn(wide):
        cq.exporters.export(cq.Workplane().box(wide, 12, 8, centered=False), str(step))

    drawn(20.0)
    setup.write_text(SCRIPT)
    with Watching(tmp_path, "pair.py", "--only", "nest") as watching:
        first = watching.until("page: http://127.0.0.1:", "  go  (")
        address = first.split("page: ")[1].split()[0]
        (child,) = watching.children()

        edited(setup, "gap = 0.0", "gap = 0.1")
        told = watching.until("  caution  (")
        assert "so far: " in told
        assert "worse: go to caution  nest" in told
        with urllib.request.urlopen(address) as page:  # noqa: S310 -- our own server
            assert "EventSource" in page.read().decode()

        # A file that is saved as it was is answered by what was worked out.
        report = tmp_path / "pair_watch/report.html"
        before = report.read_bytes()
        edited(setup, "gap = 0.1", "gap = 0.1")
        assert "nothing changed" in watching.until("  caution  (")
        assert report.read_bytes() == before

        setup.write_text(setup.read_text() + "setup = undrawn\n")
        told = watching.until("waiting for a change")
        assert "pair.py, line 12: NameError: name 'undrawn' is not defined" in told
        assert watching.children() == {child}  # a mistake costs no warm process

        edited(setup, "setup = undrawn", "")
        watching.until("  caution  (")

        # A STEP file that is read is watched as the script is.
        drawn(20.1)
        assert "better: caution to go  nest" in watching.until("  go  (")
        drawn(20.0)
        watching.until("  caution  (")

        # A worker that dies costs one check; the next change, of a file that is imported, starts another.
        os.kill(child, signal.SIGKILL)
        edited(setup, "import cadquery as cq", "import cadquery as cq\n")
        told = watching.until("waiting for a change")
        assert "memory ran out, or the process was ended from outside (SIGKILL)" in told
        edited(sizes, "20.0", "20.1")
        told = watching.until("  go  (")
        assert "better" in told
        (other,) = watching.children()
        assert other != child
        assert watching.ended_by(signal.SIGTERM) == 0  # where a run is in the background, SIGINT is ignored
        wait_until(lambda: not is_running(other))


def test_a_folder_that_is_gone_for_a_while_is_looked_at_again(tmp_path):
    """It was renamed, or the drive that it lies on is away; watching goes on."""
    folder = tmp_path / "pawls"
    setup = folder / "pair.toml"
    assert watch._beside(setup) == ()
    folder.mkdir()
    for name in (setup.name, "block.step", "notes.txt"):
        (folder / name).touch()
    assert [path.name for path in watch._beside(setup)] == ["block.step", setup.name]


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("no_such.toml",), "no_such.toml is not a file; give a set-up ending in .py or .toml"),
        ((GIB / "gib.py", "--port", "70000"), "--port must be 0 to 65535, got 70000"),
        ((GIB / "gib.py", "--only", "sett"), "sett"),
        ((GIB / "gib.py", "--set", "tall"), "--set tall: state it as NAME=VALUE"),
    ],
)
def test_a_wrong_command_is_one_line(words, line):
    answer = command("watch", *words)
    assert answer.returncode == 2
    assert line in answer.stderr
