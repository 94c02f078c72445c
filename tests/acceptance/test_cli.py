"""The command line as a user meets it: exit codes, what is written, what is said."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from fixturecheck.cli import main
from fixturecheck.runs.request import CheckAnswer
from tests.processes import PATIENCE_S, wait_until

ROOT = Path(__file__).parents[2]

SCRIPT = """
import cadquery as cq
from fixturecheck import Seat, Setup, body

lift = 0.0
width = 40.0
mode = "sound"

if mode == "crash":
    import ctypes
    ctypes.string_at(0)
if mode == "hang":
    import os, pathlib, time
    if "HANGING" in os.environ:
        pathlib.Path(os.environ["HANGING"]).touch()
    time.sleep(120)
if mode == "raise":
    raise ValueError("the drawing has no foot")

SIX = {"bottom": "<Z", "top": ">Z", "left": "<X", "right": ">X", "front": "<Y", "back": ">Y"}
plate = body("plate", cq.Workplane().box(120, 80, 20), at=(0, 0, -10), role="fixture", faces=SIX)
block = body("block", cq.Workplane().box(width, 20, 10), at=(0, 0, 5 + lift), faces=SIX)
setup = Setup(
    name="block on a plate",
    bodies=(plate, block),
    seats=(Seat(body="block", face="bottom", on="plate", on_face="top"),),
)
"""


@pytest.fixture
def script(tmp_path: Path) -> Path:
    path = tmp_path / "block.py"
    path.write_text(SCRIPT)
    return path


def run(*arguments: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "fixturecheck", *map(str, arguments)]
    return subprocess.run(command, cwd=cwd, capture_output=True, text=True, timeout=300, check=False)


PROGRESS = re.compile(r" *\d+\.\d s +\d+%  \S.*")


def said(text: str) -> list[str]:
    """What standard error holds besides lines of progress and findings so far."""
    return [s for s in text.splitlines() if not PROGRESS.fullmatch(s) and not s.startswith("so far: ")]


def one_line(text: str) -> bool:
    return len(said(text)) == 1 and said(text)[0].startswith("fixturecheck: ") and text.endswith("\n")


def test_a_go_writes_everything_and_exits_0(script: Path, tmp_path: Path) -> None:
    done = run("check", script, cwd=tmp_path)
    assert (done.returncode, said(done.stderr)) == (0, [])
    assert "GO  block on a plate" in done.stdout
    out = tmp_path / "block_check"
    assert sorted(p.name for p in out.iterdir()) == [
        "pictures",
        "report.html",
        "result.json",
        "setup.step",
        "stl",
    ]
    document = json.loads((out / "result.json").read_text())
    schema = json.loads(files("fixturecheck.report").joinpath("result.schema.json").read_text())
    jsonschema.validate(document, schema, cls=jsonschema.Draft202012Validator)
    (contact,) = [c for c in document["contacts"] if c["kind"] == "area"]
    assert contact["area_mm2"] == 800.0
    assert {contact["a"], contact["b"]} == {"block.bottom", "plate.top"}
    assert document["setup"]["sources"][0]["path"] == "block.py"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["block.py", "block_check"]


def test_a_no_go_is_told_while_the_check_still_runs_and_again_at_the_end(
    script: Path, tmp_path: Path
) -> None:
    arguments = ["--set", "lift=0.25", "--no-pictures", "--only", "seat, limits", "--out", "out"]
    done = run("check", script, *arguments, cwd=tmp_path)
    assert done.returncode == 1
    told = done.stderr.splitlines()
    early = next(i for i, line in enumerate(told) if line.startswith("so far: ✕ NO-GO seat block.bottom"))
    # What is written comes after the last check.
    assert any(PROGRESS.fullmatch(line) for line in told[:early])
    assert "left out on request" in " ".join(done.stdout.split())
    document = json.loads((tmp_path / "out" / "result.json").read_text())
    left_out = [n["check"] for n in document["not_asked"] if n["reason"] == "left out on request"]
    assert {"nest", "reach", "clear", "hold"} <= set(left_out)
    assert {f["check"] for f in document["findings"]} <= {"describe", "seat", "limits"}
    quiet = run("check", script, "--quiet", *arguments, cwd=tmp_path)
    assert (quiet.returncode, quiet.stderr, quiet.stdout) == (1, "", done.stdout)


def test_a_no_go_exits_1_and_repeats_its_bytes(script: Path, tmp_path: Path) -> None:
    results = []
    for out in ("first", "second"):
        done = run("check", script, "--set", "lift=0.25", "--no-pictures", "--out", out, cwd=tmp_path)
        assert done.returncode == 1
        assert "NO-GO" in done.stdout
        results.append({p.name: p.read_bytes() for p in (tmp_path / out).iterdir() if p.is_file()})
    assert results[0] == results[1]
    document = json.loads(results[0]["result.json"])
    assert document["verdict"] == "no-go"
    near = [c for c in document["contacts"] if c["kind"] == "near"]
    assert near[0]["gap_um"]["max"] == 250.0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["check", "missing.py"], "missing.py is not a file"),
        (["check"], "SETUP"),
        (["check", "block.py", "--set", "lift"], "--set lift: state it as NAME=VALUE"),
        (["check", "block.py", "--set", "a=1", "--set", "a=2"], "--set a is given twice"),
        (["check", "block.py", "--timeout", "0"], "--timeout must be more than 0 s"),
        (["check", "block.py", "--timeout", "nan"], "--timeout must be more than 0 s"),
        (["check", "block.py", "--timeout", "soon"], "soon"),
        (["check", "block.py", "--out", "block.py"], "is a file; name a folder"),
        (["check", "block.py", "--out", "."], "holds block.py"),
        (["check", "block.py", "--out", "block.py/x"], "block.py is a file; name a folder"),
        (["chek"], "there is no 'chek'; did you mean 'check' or "),
        (["shop", "coffee"], "coffee"),
        ([], "COMMAND"),
    ],
)
def test_a_wrong_command_exits_2_with_one_line(
    script: Path, tmp_path: Path, arguments: list[str], says: str
) -> None:
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert one_line(done.stderr), done.stderr
    assert says in done.stderr
    assert done.stdout == ""
    assert [p.name for p in tmp_path.iterdir()] == ["block.py"]


@pytest.mark.parametrize(
    ("stated", "code", "says"),
    [
        ("mode=raise", 2, "the drawing has no foot"),
        ("height=3", 2, "height"),
        ("lift=nan", 2, ""),
        ("mode=crash", 3, "crashed (SIGSEGV) in step 'read block.py'"),
    ],
)
def test_what_goes_wrong_inside_leaves_nothing_behind(
    script: Path, tmp_path: Path, stated: str, code: int, says: str
) -> None:
    done = run("check", script, "--set", stated, "--no-pictures", cwd=tmp_path)
    assert done.returncode == code, done.stderr
    assert one_line(done.stderr), done.stderr
    assert says in done.stderr
    assert [p.name for p in tmp_path.iterdir() if p.name != "__pycache__"] == ["block.py"]


def test_a_check_that_hangs_ends_after_its_timeout_and_leaves_nothing(script: Path, tmp_path: Path) -> None:
    done = run("check", script, "--set", "mode=hang", "--timeout", "8", cwd=tmp_path)
    assert done.returncode == 3
    assert one_line(done.stderr), done.stderr
    assert "not finished after 8 s" in done.stderr
    assert [p.name for p in tmp_path.iterdir() if p.name != "__pycache__"] == ["block.py"]


def test_ctrl_c_leaves_nothing_behind(script: Path, tmp_path: Path, tmp_path_factory) -> None:
    command = [sys.executable, "-m", "fixturecheck", "check", str(script), "--set", "mode=hang"]
    hanging = tmp_path_factory.mktemp("mark") / "hanging"
    environment = {**os.environ, "HANGING": str(hanging)}
    # A runner in the background may have been told to ignore it, which children inherit.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    process = subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.PIPE, text=True, env=environment)
    signal.signal(signal.SIGINT, before)
    wait_until(hanging.exists)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 3
    assert one_line(said), said
    assert [p.name for p in tmp_path.iterdir() if p.name != "__pycache__"] == ["block.py"]


def test_a_machine_that_cannot_draw_still_gets_its_verdict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A renderer that is not there: the graphics library is told to use a window it cannot make."""
    hidden = tmp_path / "hidden" / "vtkmodules"
    hidden.mkdir(parents=True)
    (hidden / "__init__.py").write_text("import os; os.kill(os.getpid(), 11)")
    command = [sys.executable, "-m", "fixturecheck.report.pictures.render"]
    environment = {**os.environ, "PYTHONPATH": str(tmp_path / "hidden")}
    probe = subprocess.run(command, env=environment, input="", text=True, capture_output=True, check=False)
    assert probe.returncode == -11
    from fixturecheck.report.pictures.painter import Painter

    with monkeypatch.context() as hiding:
        hiding.setenv("PYTHONPATH", str(tmp_path / "hidden"))
        painter = Painter()
    from fixturecheck.report.write import write_all
    from tests.report import staged

    out = tmp_path / "out"
    out.mkdir()
    trouble = write_all(out, staged.result(), staged.setup(), painter=painter)
    assert "SIGSEGV" in (trouble or "")
    assert "Pictures: the drawing process ended early (SIGSEGV)" in (out / "report.html").read_text()
    assert (out / "result.json").stat().st_size > 0


@pytest.mark.parametrize(
    ("verdict", "strict", "code"),
    [
        ("go", False, 0), ("go", True, 0), ("caution", False, 0), ("caution", True, 1),
        ("no-go", False, 1), ("no-go", True, 1), ("unknown", False, 3), ("unknown", True, 3),
    ],
)  # fmt: skip
def test_exit_code_of_each_verdict(
    script: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    verdict: str,
    strict: bool,
    code: int,
) -> None:
    monkeypatch.chdir(tmp_path)
    answer = CheckAnswer(verdict=verdict, table="table", trouble=None)
    monkeypatch.setattr("fixturecheck.kernel.worker.run_guarded", lambda *_, **__: answer)
    assert main(["check", str(script), *(["--strict"] if strict else [])]) == code
    assert capsys.readouterr().out.startswith("table")


@pytest.mark.parametrize(
    ("shelf", "named"),
    [
        ("equipment", "magnetic_v_block"),
        ("materials", "steel_1018"),
        ("finishes", "ground"),
        ("wheels", "ANSI B7.1"),
    ],
)
def test_a_shelf_of_the_shop_is_listed_alone_as_among_all(
    capsys: pytest.CaptureFixture[str], shelf: str, named: str
) -> None:
    assert main(["shop", shelf]) == 0
    alone = capsys.readouterr().out
    assert named in alone
    assert main(["shop"]) == 0
    assert alone in capsys.readouterr().out


def test_help_names_the_exit_codes_and_version_the_program(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["check", "--help"])
    assert left.value.code == 0
    assert "exit codes:" in capsys.readouterr().out
    with pytest.raises(SystemExit) as left:
        main(["--version"])
    assert left.value.code == 0
    assert capsys.readouterr().out.startswith("fixturecheck 0.")


def test_all_that_is_wrong_with_a_command_is_said_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    wrong = ["--set", "lift", "--set", "a=1", "--set", "a=2", "--timeout", "-1", "--only", "seat,nset"]
    assert main(["check", "missing.py", *wrong]) == 2
    told = capsys.readouterr().err.splitlines()
    assert [line.split(": ", 1)[0] for line in told] == ["fixturecheck"] * 5
    for line, says in zip(told, ("'nset'", "missing.py", "--set lift", "--set a", "--timeout"), strict=True):
        assert says in line


def test_a_reader_that_leaves_is_no_failure(tmp_path: Path) -> None:
    """As in `fixturecheck check ... | head -n 1`."""
    command = [sys.executable, "-m", "fixturecheck", "shop"]
    process = subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    process.stdout.close()
    assert process.stderr is not None
    assert process.stderr.read() == ""
    assert process.wait(60) == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no such device here")
def test_output_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    with Path("/dev/full").open("w") as full:
        command = [sys.executable, "-m", "fixturecheck", "shop", "wheels"]
        done = subprocess.run(
            command, cwd=tmp_path, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False
        )
    assert done.returncode == 3
    assert done.stderr == "fixturecheck: standard output could not be written: No space left on device\n"
