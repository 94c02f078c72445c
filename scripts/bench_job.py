"""A whole job from the command line, against its four set-ups checked one by one."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from bench_timing import interleaved_s, ratio_of, shown_s

MODELS = Path(__file__).resolve().parents[1] / "models" / "index_pawl"
CUTS = {"floor": "stock_mm", "wall": "wall_stock_mm"}


def vs_checks() -> dict[str, object]:
    """The job of the pawl with all outputs, against a check of each of the four set-ups by itself."""
    with tempfile.TemporaryDirectory() as folder:
        job = _of_four(Path(folder))
        singles = _single_setups(job, Path(folder))
        job_s, checks_s = interleaved_s(2, lambda: lambda: _checked(job), lambda: _all_of(singles))
    return {
        "figure": ratio_of(job_s, checks_s),
        "goal": 0.8,
        "says": f"times as long as {len(singles)} single checks of its set-ups: {shown_s(job_s)} from bar to "
        f"hardened part with all outputs against {shown_s(checks_s)}",
    }


def _of_four(home: Path) -> Path:
    """Write the job with the set-ups of its four cuts by the wheel alone, and return its file.

    What holds the parts is left out: it shares nothing between operations, and takes most of the time.
    """
    copied = Path(shutil.copytree(MODELS, home / "job"))
    path = copied / "job.toml"
    text = path.read_text(encoding="utf-8")
    for left_out in ("job_pocket.toml", "job_hole.toml", "job_harden.toml"):
        text = text.replace(f'setup = "{left_out}"\n', "")
    path.write_text(text, encoding="utf-8")
    for setup in copied.glob("job_*.toml"):
        setup.write_text(_not_held(setup), encoding="utf-8")
    return path


def _not_held(setup: Path) -> str:
    """Return a set-up's text without what holds the parts, which stands last in it."""
    return setup.read_text(encoding="utf-8").split("\n[holding]")[0] + "\n"


def _all_of(setups: list[Path]) -> Callable[[], None]:
    def work() -> None:
        for setup in setups:
            _checked(setup)

    return work


def _checked(path: Path) -> None:
    with tempfile.TemporaryDirectory() as home:
        command = [sys.executable, "-m", "fixturecheck", "check", str(path), "--quiet", "--out", f"{home}/o"]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode != 0 or not Path(home, "o", "report.html").is_file():
            raise ValueError(f"{path.name} ended with {done.returncode}: {done.stderr[-500:]}")


def _single_setups(job_file: Path, home: Path) -> list[Path]:
    """Write each set-up of the job with its part as a file of its own, so that it can be checked alone."""
    from fixturecheck.kernel.step import Named, write_step
    from fixturecheck.process.load import load_job
    from fixturecheck.process.setups import states_of

    job = load_job(job_file, {})
    written = []
    for operation, state in zip(job.operations, states_of(job)[1:], strict=True):
        if operation.setup is None:
            continue
        names = [""] * state.face_count
        for name, indices in state.faces.items():
            for i in indices:
                names[i] = name
        part = Named(name="part", shape=state.solid, rgb=(0.6, 0.6, 0.6), face_names=tuple(names))
        write_step(home / f"{operation.number}.step", "part", [part])
        text = _not_held(MODELS / operation.setup).replace('state = "after"\n', "")
        given = f'file = "{operation.number}.step"\nmaterial = "tool_steel_a2"\nfinish = "ground"\n'
        at = text.index("\n", text.index('name = "pawl', text.index("[[body]]"))) + 1
        text = text[:at] + given + text[at:]
        for key, stock in CUTS.items():
            for face in operation.makes:
                text = text.replace(
                    f'{key} = "{face}"', f'{key} = "{face}"\n{stock} = {operation.stock_of(face)}'
                )
        written.append(home / f"{operation.number}.toml")
        written[-1].write_text(text, encoding="utf-8")
    return written
