"""The terminal: time left, colours only where they are seen, a result for programs, completion."""

from __future__ import annotations

import json
import os
import pty
import shutil
import subprocess
import sys
from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck.commands.completion import SHELLS
from fixturecheck.commands.terminal import screen, time_left
from fixturecheck.report.terminal import table
from tests.doors import command
from tests.touching.blocks import box, look


@pytest.mark.parametrize(
    ("passed_s", "share", "says"),
    [
        (2.0, 0.5, ""),
        (60.0, 0.05, ""),
        (10.0, 0.8, "some seconds left"),
        (20.0, 0.5, "about 20 s left"),
        (60.0, 0.25, "about 3 min left"),
        (60.0, 1.0, ""),
    ],
)
def test_the_time_left_goes_by_what_is_done(passed_s: float, share: float, says: str) -> None:
    """By hand: passed x (1 - share) / share."""
    assert time_left(passed_s, share) == says


def test_colours_add_nothing_but_colours() -> None:
    result = look(low=box(9, 9, 9), high=box(9, 9, 9, (0, 0, 8)))
    plain, coloured = table(result, width=90), table(result, width=90, colour=True)
    assert "\x1b" not in plain
    assert coloured.startswith("\x1b[1;31m")
    assert coloured.replace("\x1b[1;31m", "").replace("\x1b[0m", "") == plain


def test_colours_are_for_a_terminal_alone_and_may_be_declined(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr("sys.stdout.isatty", lambda: False)
    assert screen()[1] is False
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert screen()[1] is True
    monkeypatch.setenv("NO_COLOR", "1")
    assert screen()[1] is False


def test_a_check_on_a_terminal_is_coloured(tmp_path: Path) -> None:
    """On a pseudo-terminal, as the command line of a desktop has it."""
    (tmp_path / "block.py").write_text(
        "import cadquery as cq\n"
        "import fixturecheck as fc\n"
        "block = cq.Workplane().box(20, 10, 6).val()\n"
        "setup = fc.Setup(name='block', bodies=(fc.body('block', block, faces={'top': '>Z'}),), cuts=(\n"
        "    fc.Cut(name='top', parts=('block',), floor='top'),))\n"
    )
    mine, theirs = pty.openpty()
    environment = {k: v for k, v in os.environ.items() if k != "NO_COLOR"} | {"TERM": "xterm"}
    command_line = [sys.executable, "-m", "fixturecheck", "check", str(tmp_path / "block.py"), "--quiet"]
    done = subprocess.run(
        [*command_line, "--no-pictures", "--only", "limits", "--out", str(tmp_path / "out")],
        stdout=theirs, stderr=subprocess.PIPE, env=environment, check=False,
    )  # fmt: skip
    assert done.stderr == b""
    said = os.read(mine, 1 << 16).decode()
    os.close(theirs)
    os.close(mine)
    assert said.startswith("\x1b[32m✓ GO\x1b[0m")


def test_a_program_reads_the_result_from_standard_output(tmp_path: Path) -> None:
    whole = cq.Assembly().add(box(9, 9, 9), name="low").add(box(9, 9, 9, (0, 0, 8)), name="high")
    whole.export(str(tmp_path / "two.step"))
    answer = command(
        "touch", tmp_path / "two.step", "--out", tmp_path / "out", "--no-pictures", "--json", "--quiet"
    )
    assert (answer.returncode, answer.stderr) == (1, "")
    assert answer.stdout == (tmp_path / "out" / "result.json").read_text()
    assert json.loads(answer.stdout)["touching"]["pairs"][0]["volume_mm3"] == pytest.approx(81.0)


@pytest.mark.parametrize("shell", SHELLS)
def test_a_shell_completes_commands_and_options(shell: str) -> None:
    answer = command("completion", shell)
    assert answer.returncode == 0
    for word in ("touch", "within", "relieve"):
        assert word in answer.stdout
    bash = shutil.which("bash")
    if shell == "bash" and bash:
        typed = "COMP_WORDS=(fixturecheck tou) COMP_CWORD=1\n_shtab_fixturecheck\necho ${COMPREPLY[@]}"
        asked = f"{answer.stdout}\n{typed}"
        done = subprocess.run([bash, "-c", asked], capture_output=True, text=True, check=True)
        assert done.stdout.split() == ["touch"]
