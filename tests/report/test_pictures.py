"""Pictures off screen: what is in them, and that a machine that cannot draw still gets its answer."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fixturecheck.report.order import numbered
from fixturecheck.report.pictures.figures import ROLES, VERDICTS
from fixturecheck.report.pictures.ink import STRIP
from fixturecheck.report.pictures.painter import Drawn, Painter
from fixturecheck.report.pictures.views import Projection
from fixturecheck.result.finding import Verdict
from fixturecheck.result.shapes import Role
from tests.report import staged

pytestmark = pytest.mark.render
RESULT = staged.result()


def picture(home: Path, name: str) -> np.ndarray:
    return np.asarray(Image.open(home / "out" / name).convert("RGB")).astype(int)


def near(pixels: np.ndarray, rgb: tuple[int, int, int], tolerance: int = 40) -> np.ndarray:
    """Tell the pixels whose hue is that of a colour, shaded or not."""
    lit = pixels / np.maximum(pixels.max(axis=2, keepdims=True), 1)
    wanted = np.array(rgb) / max(rgb)
    return (np.abs(lit - wanted).max(axis=2) < tolerance / 255) & (pixels.max(axis=2) > 60)


def test_everything_asked_for_is_drawn(drawn: Drawn) -> None:
    assert drawn.trouble is None
    assert drawn.files == {"overview.png", "01_nest.png", "02_clear.png", "04_reach.png"}


def test_pictures_have_one_size_and_are_not_empty(drawn: Drawn, home: Path) -> None:
    for name in drawn.files:
        pixels = picture(home, name)
        assert pixels.shape == (900, 1200, 3)
        assert len(np.unique(pixels.reshape(-1, 3), axis=0)) > 50


def test_each_picture_has_a_strip_in_the_colour_of_its_verdict(drawn: Drawn, home: Path) -> None:
    for name, verdict in (("01_nest.png", Verdict.NO_GO), ("04_reach.png", Verdict.CAUTION)):
        strip = picture(home, name)[4:STRIP, 4:200]
        assert (strip == VERDICTS[verdict]).all(axis=2).mean() > 0.5


def test_gap_is_in_the_middle_and_to_scale(drawn: Drawn, home: Path, job: Path) -> None:
    """The two gibs stand 0.3 mm apart; on the row through the spot nothing is drawn over that width."""
    scene = next(s for s in json.loads(job.read_text())["scenes"] if s["file"] == "01_nest.png")
    pixels_per_mm = 824 / scene["camera"]["height_mm"]
    # Above the ring, clear of words: the gap shows as paper between two parts.
    row = picture(home, "01_nest.png")[STRIP + 200]
    paper = np.abs(row - np.array([244, 245, 246])).max(axis=1) < 4
    columns = np.flatnonzero(paper[300:900]) + 300
    assert len(columns) / pixels_per_mm == pytest.approx(staged.GAP_MM, abs=3 / pixels_per_mm)
    assert abs(columns.mean() - 600) < 4


def test_collision_shows_in_the_middle_though_it_lies_inside_bodies(drawn: Drawn, home: Path) -> None:
    middle = picture(home, "02_clear.png")[STRIP + 372 : STRIP + 452, 540:660]
    assert near(middle, ROLES[Role.COLLISION]).mean() > 0.05


def test_leftover_shows_in_the_middle(drawn: Drawn, home: Path) -> None:
    middle = picture(home, "04_reach.png")[STRIP + 392 : STRIP + 432, 580:620]
    assert near(middle, ROLES[Role.LEFTOVER]).mean() > 0.8


def test_no_words_on_the_spot(drawn: Drawn, home: Path) -> None:
    """Inside the ring of the nest picture there is no ink of letters."""
    middle = picture(home, "01_nest.png")[STRIP + 396 : STRIP + 428, 584:616]
    assert (middle.max(axis=2) < 90).mean() < 0.25


def test_projection_agrees_with_the_camera() -> None:
    camera = {"target": [1.0, 2.0, 3.0], "eye": [0.0, -1.0, 0.0], "up": [0.0, 0.0, 1.0], "height_mm": 10.0}
    view = Projection.of(camera, 1200, 800)
    assert view.point(np.array([1.0, 9.0, 3.0])) == (600.0, 400.0)
    assert view.point(np.array([2.0, 9.0, 4.0])) == (680.0, 320.0)


def test_a_finding_without_a_place_gets_no_picture() -> None:
    assert [r.picture for r in numbered(RESULT)] == [
        "01_nest.png",
        "02_clear.png",
        None,
        "04_reach.png",
        None,
    ]


def broken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str) -> Painter:
    (tmp_path / "broken_renderer.py").write_text(body)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    return Painter("broken_renderer")


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("import ctypes; ctypes.string_at(0)", r"ended early \(SIGSEGV\)"),
        (
            "raise ImportError('libEGL.so.1')",
            r"\(exit status 1\): ImportError: libEGL.so.1; .*on Debian install libgl1 and libegl1$",
        ),
        (
            'import sys; print(\'{"failed": "a.png", "why": "no context"}\'); print(\'{"done": true}\')',
            "a.png: no context",
        ),
        ("print('not an answer')", r"ended early \(exit status 0\)"),
    ],
)
def test_a_renderer_that_fails_is_reported(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str, says: str
) -> None:
    import re

    painter = broken(tmp_path, monkeypatch, body)
    painter.begin(job)
    drawn = painter.finish()
    assert drawn.files == frozenset()
    assert re.search(says, drawn.trouble or "")


def test_a_renderer_that_hangs_is_ended(job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    painter = broken(tmp_path, monkeypatch, "import time; time.sleep(60)")
    painter.begin(job)
    assert painter.finish(timeout_s=0.5) == Drawn(files=frozenset(), trouble="drawing took longer than 0.5 s")


COPIED = """
import sys
from pathlib import Path
from fixturecheck.report.pictures import painter
job, broken = map(Path, sys.argv[1:])
sys.path.insert(0, str(broken))
for module in (painter.RENDERER, "broken_renderer"):
    one = painter.Painter(module, copied=True)
    assert isinstance(one._process, painter._Copy)
    one.begin(job)
    drawn = one.finish()
    print(len(drawn.files), drawn.trouble)
"""


def test_a_copy_of_the_process_draws_the_same_and_may_crash(
    job: Path, drawn: Drawn, home: Path, tmp_path: Path
) -> None:
    """In a process that has no threads yet; what the operations of a job are drawn by."""
    told = json.loads(job.read_text())
    (tmp_path / "out").mkdir()
    (tmp_path / "job.json").write_text(json.dumps({**told, "folder": str(tmp_path / "out")}))
    shutil.copy(job.with_suffix(".npz"), tmp_path)
    (tmp_path / "broken_renderer.py").write_text("import ctypes; ctypes.string_at(0)")
    lean = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-c", COPIED, tmp_path / "job.json", tmp_path]
    done = subprocess.run(command, env=lean, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    first, second = done.stdout.splitlines()
    assert first == "4 None"
    assert second.startswith("0 the drawing process ended early (SIGSEGV)")
    for name in drawn.files:
        assert (tmp_path / "out" / name).read_bytes() == (home / "out" / name).read_bytes()
