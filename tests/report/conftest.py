"""Pictures drawn once for all tests of a module, from what the module calls RESULT."""

from __future__ import annotations

from pathlib import Path

import pytest

from fixturecheck.report.pictures.draw import write_job
from fixturecheck.report.pictures.painter import Drawn, Painter
from fixturecheck.report.write import meshes_of

DISPLAYS = ("DISPLAY", "WAYLAND_DISPLAY", "XAUTHORITY")
"""What tells a program where it can draw on a screen."""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pictures")


@pytest.fixture(scope="module")
def job(home: Path, request: pytest.FixtureRequest) -> Path:
    result = request.module.RESULT
    return write_job(home, home / "out", result, meshes_of(result))


@pytest.fixture(scope="module")
def drawn(job: Path) -> Drawn:
    """Drawn by a process that was told of no display, wherever the tests run."""
    with pytest.MonkeyPatch.context() as patch:
        for name in DISPLAYS:
            patch.delenv(name, raising=False)
        painter = Painter()
    environment = Path(f"/proc/{painter.pid}/environ")
    if environment.exists():
        told = {entry.partition(b"=")[0].decode() for entry in environment.read_bytes().split(b"\0")}
        assert not told & {*DISPLAYS}
    painter.begin(job)
    return painter.finish()
