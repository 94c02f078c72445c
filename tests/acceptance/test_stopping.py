"""A command that is stopped, at any moment and by any signal, leaves no process, no folder and no trace.

What runs is the real command; only the work of its child is a stand-in, but in the last tests.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from fixturecheck.report.folder import staged
from tests.acceptance import idle
from tests.processes import PATIENCE_S, wait_until

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of other systems")

ROOT = Path(__file__).parents[2]
MARK = "FIXTURECHECK_TEST_MARK"
EARLIER = '{"tool": {"name": "fixturecheck"}, "mark": "earlier"}'

HANDLED = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]
every_signal = pytest.mark.parametrize("number", [*HANDLED, signal.SIGKILL], ids=lambda n: n.name)

COMMAND = """
import os, signal, sys
from pathlib import Path
from fixturecheck import cli
from fixturecheck.commands import check
check.RUN = {job!r}
number = {number}
{moment}
sys.exit(cli.main(["check", "block.py", "--out", "out"]))
"""

BEFORE_THE_CALL = """
from fixturecheck.kernel import worker
asks = worker._ask
def ask(*args):
    os.kill(os.getpid(), number)
    asks(*args)
worker._ask = ask
"""

BETWEEN_THE_RENAMES = """
renames = Path.rename
def rename(self, target):
    made = renames(self, target)
    if self.name == "out":
        os.kill(os.getpid(), number)
    return made
Path.rename = rename
"""

AFTER_THE_RENAMES = """
renames = Path.rename
def rename(self, target):
    made = renames(self, target)
    if Path(target).name == "out":
        os.kill(os.getpid(), number)
    return made
Path.rename = rename
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A folder with a set-up and an earlier result, and the mark that all processes started here carry."""

    home: Path
    mark: str
    ready: Path

    def start(self, job: str, *, number: int = 0, moment: str = "") -> subprocess.Popen[str]:
        code = COMMAND.format(job=f"tests.acceptance.idle:{job}", number=int(number), moment=moment)
        return self.popen([sys.executable, "-c", code])

    def popen(self, command: list[str]) -> subprocess.Popen[str]:
        environment = {
            **os.environ, MARK: self.mark, idle.READY: str(self.ready), "PYTHONPATH": str(ROOT),
        }  # fmt: skip
        # A runner in the background may have been told to ignore these, which children inherit.
        before = {
            signal.SIGINT: signal.signal(signal.SIGINT, signal.default_int_handler),
            signal.SIGHUP: signal.signal(signal.SIGHUP, signal.SIG_DFL),
        }
        try:
            return subprocess.Popen(
                command, cwd=self.home, env=environment, text=True,
                stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            )  # fmt: skip
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def wait_ready(self) -> None:
        wait_until(self.ready.exists)

    def processes(self) -> list[str]:
        """The commands of all processes that carry the mark and have not ended."""
        found = []
        for folder in Path("/proc").glob("[0-9]*"):
            try:
                if f"{MARK}={self.mark}".encode() not in (folder / "environ").read_bytes():
                    continue
                state = (folder / "stat").read_text().rsplit(")", 1)[1].split()[0]
                if state != "Z":
                    found.append((folder / "cmdline").read_text().replace("\0", " "))
            except OSError:
                continue
        return found

    def wait_gone(self) -> None:
        wait_until(lambda: not self.processes())

    def names(self) -> list[str]:
        return sorted(p.name for p in self.home.iterdir() if p.name != "__pycache__")

    def mark_of_result(self) -> str:
        return str(json.loads((self.home / "out" / "result.json").read_text())["mark"])


@pytest.fixture
def bench(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    (tmp_path / "block.py").write_text("setup = None\n")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "result.json").write_text(EARLIER)
    made = Bench(home=tmp_path, mark=uuid.uuid4().hex, ready=tmp_path_factory.mktemp("mark") / "ready")
    yield made
    made.wait_gone()


def ended(process: subprocess.Popen[str], number: int) -> list[str]:
    """Wait for the end and return what was said last; nobody hears anything from one that is killed."""
    out, said = process.communicate(timeout=PATIENCE_S)
    assert "Traceback" not in said
    if number == signal.SIGKILL:
        assert process.returncode == -number
        return []
    assert process.returncode == 3
    assert "Traceback" not in out
    lines = [line for line in said.splitlines() if line.startswith("fixturecheck: ")]
    assert len(lines) == 1, said
    assert signal.Signals(number).name in lines[0]
    return lines


def swept(bench: Bench) -> None:
    """What is left of a killed command goes when the next one begins."""
    with staged(bench.home / "next"):
        pass


@every_signal
@pytest.mark.parametrize("job", ["waits", "stuck"])
def test_a_signal_while_it_works_ends_every_process(bench: Bench, job: str, number: int) -> None:
    process = bench.start(job)
    bench.wait_ready()
    wait_until(lambda: len(bench.processes()) >= 3)
    process.send_signal(number)
    told = ended(process, number)
    bench.wait_gone()
    if number == signal.SIGKILL:
        swept(bench)
        (bench.home / "next").rmdir()
    else:
        assert "nothing was written" in told[0]
    assert bench.names() == ["block.py", "out"]
    assert bench.mark_of_result() == "earlier"


@every_signal
def test_a_signal_before_the_work_begins_ends_every_process(bench: Bench, number: int) -> None:
    process = bench.start("stuck", number=number, moment=BEFORE_THE_CALL)
    ended(process, number)
    bench.wait_gone()
    assert not bench.ready.exists()
    if number == signal.SIGKILL:
        swept(bench)
        (bench.home / "next").rmdir()
    assert bench.names() == ["block.py", "out"]
    assert bench.mark_of_result() == "earlier"


@every_signal
def test_while_the_results_are_swapped(bench: Bench, number: int) -> None:
    process = bench.start("done", number=number, moment=BETWEEN_THE_RENAMES)
    ended(process, number)
    if number == signal.SIGKILL:
        assert not (bench.home / "out").exists()
        swept(bench)
        (bench.home / "next").rmdir()
        assert bench.mark_of_result() == "earlier"
    else:
        assert bench.mark_of_result() == "new"
    assert bench.names() == ["block.py", "out"]


@every_signal
def test_once_the_new_result_is_there(bench: Bench, number: int) -> None:
    process = bench.start("done", number=number, moment=AFTER_THE_RENAMES)
    ended(process, number)
    if number == signal.SIGKILL:
        swept(bench)
        (bench.home / "next").rmdir()
    assert bench.mark_of_result() == "new"
    assert bench.names() == ["block.py", "out"]


def test_twice_in_a_row_is_once(bench: Bench) -> None:
    process = bench.start("stuck")
    bench.wait_ready()
    for number in (signal.SIGINT, signal.SIGINT, signal.SIGTERM):
        process.send_signal(number)
    ended(process, signal.SIGINT)
    assert bench.names() == ["block.py", "out"]


def test_what_is_ignored_stays_ignored(bench: Bench) -> None:
    """As `nohup` has it."""
    process = bench.start("waits", moment="signal.signal(signal.SIGHUP, signal.SIG_IGN)")
    bench.wait_ready()
    process.send_signal(signal.SIGHUP)
    time.sleep(0.2)
    assert process.poll() is None
    process.send_signal(signal.SIGTERM)
    ended(process, signal.SIGTERM)


def test_a_folder_of_a_command_that_runs_is_left_alone(bench: Bench) -> None:
    process = bench.start("waits")
    bench.wait_ready()
    swept(bench)
    (hidden,) = [n for n in bench.names() if n.startswith(".")]
    assert (bench.home / hidden / "new").is_dir()
    process.send_signal(signal.SIGTERM)
    ended(process, signal.SIGTERM)


@pytest.mark.parametrize("foreign", ["nothing", "a file", "another tool", "a link"])
def test_what_is_not_ours_is_left_alone(tmp_path: Path, foreign: str) -> None:
    home = tmp_path / ".fixturecheck-abcd1234"
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "owner").write_text('{"tool": "fixturecheck", "target": "out"}')
    if foreign == "a file":
        home.write_text("mine")
    elif foreign == "a link":
        home.symlink_to(elsewhere)
    else:
        home.mkdir()
    if foreign == "another tool":
        (home / "owner").write_text('{"tool": "other", "target": "out"}')
    with staged(tmp_path / "out"):
        pass
    assert home.exists()
    assert (elsewhere / "owner").exists()


def test_a_name_that_leads_elsewhere_is_not_followed(tmp_path: Path) -> None:
    """A folder made to look like ours must not move anything outside its parent."""
    parent = tmp_path / "parent"
    home = parent / ".fixturecheck-abcd1234"
    (home / "old" / "0").mkdir(parents=True)
    (home / "owner").write_text('{"tool": "fixturecheck", "target": "../stray"}')
    with staged(parent / "out"):
        pass
    assert not (tmp_path / "stray").exists()


SCRIPT = """
import ctypes, os, pathlib
import cadquery as cq
import fixturecheck.{module} as module
from fixturecheck import Setup, body

def hang(*_, **__):
    pathlib.Path(os.environ["FIXTURECHECK_TEST_READY"]).touch()
    ctypes.PyDLL(None).sleep(120)

module.{name} = hang
block = body("block", cq.Workplane().box(40, 20, 10))
setup = Setup(name="a block", bodies=(block,))
"""


@pytest.mark.parametrize(
    ("number", "module", "name"),
    [
        (signal.SIGTERM, "engine", "find_contacts"),
        (signal.SIGKILL, "report.write", "write_stl"),
    ],
)
def test_a_real_check_with_its_drawing_process(bench: Bench, number: int, module: str, name: str) -> None:
    (bench.home / "block.py").write_text(SCRIPT.format(module=module, name=name))
    process = bench.popen([sys.executable, "-m", "fixturecheck", "check", "block.py", "--out", "out"])
    bench.wait_ready()
    wait_until(lambda: any("report.pictures.render" in command for command in bench.processes()))
    process.send_signal(number)
    ended(process, number)
    bench.wait_gone()
    if number == signal.SIGKILL:
        swept(bench)
        (bench.home / "next").rmdir()
    assert bench.names() == ["block.py", "out"]
    assert bench.mark_of_result() == "earlier"
