"""Patches as points: sums and moments are kept."""

import numpy as np
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.physics.equilibrium_patch import patch_points

GRID = np.array([(x, y, 0.0) for x in (0.0, 10.0, 20.0) for y in (0.0, 5.0)])


def points(**changes):
    plain = {
        "a": "part",
        "b": "",
        "normal": (0, 0, -1),
        "points_mm": GRID,
        "area_mm2": [1, 1, 2, 2, 1, 1],
        "mu": 0.2,
        "stiffness_n_mm": 8e5,
        "pull_n": 80.0,
    }
    return patch_points(**{**plain, **changes})


def test_shares_follow_the_area():
    found = points()
    assert [p.stiffness_n_mm for p in found] == pytest.approx([1e5, 1e5, 2e5, 2e5, 1e5, 1e5])
    assert [p.pull_n for p in found] == pytest.approx([10, 10, 20, 20, 10, 10])


@pytest.mark.parametrize("centre", [(10.0, 2.5, 0.0), (13.0, 2.0, 0.0), (19.0, 0.5, 0.0), (0.0, 0.0, 0.0)])
def test_pull_keeps_its_moment(centre):
    pulls = np.array([p.pull_n for p in points(pull_at_mm=centre)])
    assert pulls.min() >= 0.0
    assert pulls.sum() == pytest.approx(80.0, rel=1e-5)
    assert pulls @ GRID / 80.0 == pytest.approx(centre, abs=5e-3)


def test_a_centre_outside_is_refused():
    with pytest.raises(SetupError, match="outside"):
        points(pull_at_mm=(30.0, 0.0, 0.0))
    with pytest.raises(SetupError, match="outside"):
        points(pull_at_mm=(10.0, 2.5, 4.0))


def test_points_need_areas():
    with pytest.raises(SetupError, match="as many areas"):
        points(area_mm2=[1, 2])
    with pytest.raises(SetupError, match="above zero"):
        points(area_mm2=[1, 1, 0, 2, 1, 1])
