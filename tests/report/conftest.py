"""Pictures drawn once for all tests of a module, from what the module calls RESULT."""

from __future__ import annotations

from pathlib import Path

import pytest

from fixturecheck.report.pictures.draw import write_job
from fixturecheck.report.pictures.painter import Drawn, Painter
from fixturecheck.report.write import meshes_of


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pictures")


@pytest.fixture(scope="module")
def job(home: Path, request: pytest.FixtureRequest) -> Path:
    result = request.module.RESULT
    return write_job(home, home / "out", result, meshes_of(result))


@pytest.fixture(scope="module")
def drawn(job: Path) -> Drawn:
    painter = Painter()
    painter.begin(job)
    return painter.finish()
