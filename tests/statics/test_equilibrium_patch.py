"""Patches as points: shares follow the area."""

import numpy as np
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.statics.equilibrium import patch_points

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
    }
    return patch_points(**{**plain, **changes})


def test_shares_follow_the_area():
    found = points()
    assert [p.stiffness_n_mm for p in found] == pytest.approx([1e5, 1e5, 2e5, 2e5, 1e5, 1e5])


def test_points_need_areas():
    with pytest.raises(SetupError, match="as many areas"):
        points(area_mm2=[1, 2])
    with pytest.raises(SetupError, match="above zero"):
        points(area_mm2=[1, 1, 0, 2, 1, 1])
