"""The pictures of the hold: colours where the pull is, letters on the poles, and the same bytes again."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fixturecheck.report.pictures.draw import write_job
from fixturecheck.report.pictures.figures import flat_arrows, is_hidden, shaded, squares
from fixturecheck.report.pictures.ink import STRIP
from fixturecheck.report.pictures.painter import Drawn, Painter
from fixturecheck.report.pictures.views import Projection
from fixturecheck.report.write import meshes_of
from tests.report import staged_hold

pytestmark = pytest.mark.render
RESULT = staged_hold.result()
NAMES = ("hold_pull.png", "hold_flux.png", "hold_goes_1.png")


def picture(home: Path, name: str) -> np.ndarray:
    return np.asarray(Image.open(home / "out" / name).convert("RGB")).astype(int)


def scene(job: Path, name: str) -> dict:
    return next(s for s in json.loads(job.read_text())["scenes"] if s["file"] == name)


def pixel(job: Path, name: str, place: tuple[float, float, float]) -> tuple[int, int]:
    """Return row and column of a place in a finished picture."""
    x, y = Projection.of(scene(job, name)["camera"], 1200, 824).point(np.array(place))
    return round(y) + STRIP, round(x)


def test_every_picture_of_a_hold_is_drawn(drawn: Drawn) -> None:
    assert drawn.trouble is None
    assert set(NAMES) <= drawn.files


@pytest.mark.parametrize("x_mm", [-25.0, -9.0, 9.0, 25.0])
def test_the_map_has_the_colour_of_its_scale(drawn: Drawn, home: Path, job: Path, x_mm: float) -> None:
    """The pull of the front gib rises from 0 to 100 N/cm2 along X; the scale ends at 100."""
    assert scene(job, "hold_pull.png")["scale"]["top"] == 100.0
    row, column = pixel(job, "hold_pull.png", (x_mm, -9.3, 0.0))
    seen = picture(home, "hold_pull.png")[row - 2 : row + 3, column - 2 : column + 3].reshape(-1, 3)
    wanted = shaded(np.array([(x_mm + 29.0) / 58.0]))[0]
    # A ghost of the part lies over it.
    assert np.abs(np.median(seen, axis=0) - wanted).max() < 45


def test_every_letter_of_a_pole_stands_in_its_pole(drawn: Drawn, home: Path, job: Path) -> None:
    for place in ((-20.0, 9.0, -10.0), (20.0, 9.0, -10.0)):
        row, column = pixel(job, "hold_flux.png", place)
        ring = picture(home, "hold_flux.png")[row - 20 : row + 21, column - 20 : column + 21]
        assert (ring.min(axis=2) > 240).mean() > 0.3


def test_drawn_twice_the_bytes_are_the_same(drawn: Drawn, home: Path, tmp_path: Path) -> None:
    again = Painter()
    again.begin(write_job(tmp_path, tmp_path / "out", RESULT, meshes_of(RESULT)))
    assert again.finish().trouble is None
    for name in NAMES:
        first, second = ((place / "out" / name).read_bytes() for place in (home, tmp_path))
        assert hashlib.sha256(first).digest() == hashlib.sha256(second).digest(), name


def test_lightness_falls_all_along_the_scale() -> None:
    """CIE 1976 lightness (CIE 15, from memory): what can be told apart in grey can be told by every eye."""
    share = shaded(np.linspace(0.0, 1.0, 64)) / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    lightness = 116.0 * np.cbrt(linear @ [0.2126, 0.7152, 0.0722]) - 16.0
    assert (np.diff(lightness) < 0).all()
    assert lightness[0] - lightness[-1] > 70


def test_squares_have_their_areas() -> None:
    rng = np.random.default_rng(3)
    normal = np.array([0.0, -0.6, 0.8])
    areas = rng.uniform(0.5, 2.0, 5)
    points, triangles = squares(rng.uniform(-5, 5, (5, 3)), areas, normal)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    size = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    # Drawn a fiftieth wider, so that no line shows between neighbours.
    assert size.reshape(2, 5).sum(axis=0) == pytest.approx(areas * 1.02**2)
    assert np.cross(b - a, c - a) / (2 * size[:, None]) @ normal == pytest.approx(1.0)


def test_arrows_point_from_tail_to_tip() -> None:
    middle, way, normal = np.array([[1.0, 2.0, 3.0]]), np.array([[0.0, 0.0, 4.0]]), np.array([0.0, 1.0, 0.0])
    points, triangles = flat_arrows(middle, way, normal)
    assert points[:, 2].max() == pytest.approx(5.0)
    assert points[:, 2].min() == pytest.approx(1.0)
    assert points[:, 1] == pytest.approx(2.0)
    tip = points[points[:, 2].argmax()]
    assert tip[0] == pytest.approx(1.0)
    head = triangles[-1]
    assert np.ptp(points[head, 0]) > 2 * np.ptp(points[triangles[0], 0])


def test_what_stands_before_a_place_hides_it() -> None:
    """A wall from x = 1 on: a place behind it is hidden from +X, not from -X, nor beside or on the wall."""
    wall = np.array([[[1.0, -5.0, -5.0], [1.0, 5.0, -5.0], [1.0, 0.0, 5.0]]])
    away = np.array([1.0, 0.0, 0.0])
    assert is_hidden(wall, np.array([0.0, 0.0, 0.0]), away)
    assert not is_hidden(wall, np.array([0.0, 0.0, 0.0]), -away)
    assert not is_hidden(wall, np.array([0.0, 4.0, 4.0]), away)
    assert not is_hidden(wall, np.array([1.0, 0.0, 0.0]), away)
    assert not is_hidden(wall, np.array([0.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]))
