"""What a warm process saves against a cold check, and what a second process brings to a sweep."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from contextlib import contextmanager
from pathlib import Path

from bench_timing import ratio_of, shown_s, timed_s

from fixturecheck.kernel.worker import Worker
from fixturecheck.runs.request import CheckRequest
from fixturecheck.runs.sweep import spawned, swept
from fixturecheck.runs.watch import WatchAnswer
from fixturecheck.study.read import read_study

MODELS = Path(__file__).resolve().parents[1] / "models"
STAGED = MODELS / "index_pawl" / "rev_a_staged"
ROUNDS = 3


def edit() -> dict[str, object]:
    """A dimension of the pawl itself: nothing but the fixtures is as it was."""
    drawn = [{"heel_mm": f"{0.01 * n:g}"} for n in range(ROUNDS + 1)]
    return _edited(STAGED.with_suffix(".py"), drawn, goal=0.10, what="the chamfer of all four pawls changed")


def edit_cut() -> dict[str, object]:
    """A dimension of the cut: what touches, nests and rests is as it was."""
    stock = [{"cut.corner.stock_mm": f"{0.2 + 0.01 * n:g}"} for n in range(ROUNDS + 1)]
    return _edited(STAGED.with_suffix(".toml"), stock, goal=0.10, what="the stock of the cut changed")


def edit_hold() -> dict[str, object]:
    """A block moved by half a millimetre: the field is another one."""
    there = [{"equipment.block_right.at": f"[75, {64 + 0.5 * n:g}, 0]"} for n in range(2)]
    return _edited(MODELS / "gib" / "held.toml", there, goal=0.30, what="the block moved by 0.5 mm")


def repeat() -> dict[str, object]:
    """Nothing changed."""
    setup = STAGED.with_suffix(".py")
    return _edited(setup, [{}] * (ROUNDS + 1), goal=0.03, what="nothing changed", whole=True)


def _edited(
    setup: Path, overrides: list[Mapping[str, str]], *, goal: float, what: str, whole: bool = False
) -> dict[str, object]:
    """Time each edit in a warm process up to its last finding, or to its end, against a cold check."""
    warm_s, cold_s = [], []
    with tempfile.TemporaryDirectory() as home, _kept_in(Path(home) / "kept"), Worker() as worker:
        before = None
        for n, values in enumerate(overrides):
            folder = Path(home) / str(n)
            folder.mkdir()
            found_s = _watched(worker, setup, values, folder, before, whole=whole)
            before = folder
            if n:
                warm_s.append(found_s)
                cold_s.append(timed_s(lambda values=values: _cold(setup, values, Path(home) / "cold")))
    return {
        "figure": ratio_of(warm_s, cold_s),
        "goal": goal,
        "says": f"of a cold check without pictures, {what}: {shown_s(warm_s)} to "
        f"{'its end' if whole else 'the last finding'} against {shown_s(cold_s)}",
    }


def _watched(
    worker: Worker, setup: Path, values: Mapping[str, str], folder: Path, before: Path | None, *, whole: bool
) -> float:
    """Return the seconds that a warm process takes."""
    found: list[float] = []
    start = time.perf_counter()

    def seen(doing: str, _share: float) -> None:
        if doing == "done":
            found.append(time.perf_counter() - start)

    answer: WatchAnswer = worker.call(
        "fixturecheck.runs.watch:run",
        str(setup),
        dict(values),
        str(folder),
        CheckRequest(pictures=False),
        None if before is None else str(before),
        progress=seen,
        hear=lambda _lines: None,
    )
    if answer.check.verdict == "unknown":
        raise ValueError(f"{setup.name} came out unknown")
    return time.perf_counter() - start if whole else found[-1]


def _cold(setup: Path, values: Mapping[str, str], out: Path) -> None:
    words = [w for key, value in values.items() for w in ("--set", f"{key}={value}")]
    command = ["check", str(setup), *words, "--no-pictures", "--no-cache", "--quiet", "--out", str(out)]
    done = subprocess.run(
        [sys.executable, "-m", "fixturecheck", *command], capture_output=True, text=True, check=False
    )
    if done.returncode not in {0, 1}:
        raise ValueError(f"check ended with {done.returncode}: {done.stderr[-300:]}")


@contextmanager
def _kept_in(folder: Path):
    """Let a process that is started meanwhile keep answers in a folder."""
    before = os.environ["FIXTURECHECK_CACHE"]
    os.environ["FIXTURECHECK_CACHE"] = str(folder)
    try:
        yield
    finally:
        os.environ["FIXTURECHECK_CACHE"] = before


STUDY = """
[study]
setups = ["{setup}"]
[[parameter]]
set = "cut.top.stock_mm"
range = [0.1, 0.2]
steps = 64
"""


def efficiency() -> dict[str, object]:
    """64 variants of the link in the vise on two processes against one, with their starts."""

    def worked(processes: int) -> Callable[[], object]:
        home = tempfile.TemporaryDirectory()
        study = Path(home.name) / "study.toml"
        study.write_text(STUDY.format(setup=MODELS / "link" / "in_vise.toml"), encoding="utf-8")

        def work() -> None:
            found, fresh = swept(
                read_study(study), Path(home.name) / "out", spawned, processes, flips=False, progress=_quiet
            )
            if fresh != 64 or any(r.verdict == "unknown" for r in found.rows):
                raise ValueError(f"{fresh} variants were worked out")

        return work

    one_s, two_s = timed_s(worked(1)), timed_s(worked(2))
    return {
        "figure": one_s / (2.0 * two_s),
        "goal": 0.9,
        "says": f"of what two processes could bring: {shown_s([one_s])} on one, {shown_s([two_s])} on two",
    }


def _quiet(_doing: str, _share: float) -> None:
    """Say nothing."""
