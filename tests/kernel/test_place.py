"""Places of shapes, against rotations written out and against where corners come to stand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.place import (
    composed,
    drawing_matrix,
    is_finite,
    location_of,
    matrix_of,
    placed_at,
    rotation,
    shifted,
    transformed,
    translation,
)


def rodrigues(axis, angle_deg):
    """Return the matrix of a turn: I + sin K + (1 - cos) K^2 (Rodrigues' formula, from memory)."""
    x, y, z = np.array(axis) / np.linalg.norm(axis)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    angle = math.radians(angle_deg)
    return np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross


@pytest.mark.parametrize(("axis", "angle_deg"), [((0, 0, 1), 90), ((1, 2, 3), 37), ((1, 0, 1), -200)])
def test_a_turn_is_the_matrix_of_its_formula(axis, angle_deg):
    assert matrix_of(rotation(axis, angle_deg))[:3, :3] == pytest.approx(
        rodrigues(axis, angle_deg), abs=1e-12
    )


def test_of_two_places_the_inner_one_is_taken_first():
    outer, inner = translation((5.0, 0.0, 0.0)), rotation((0.0, 0.0, 1.0), 90.0)
    both = matrix_of(composed(outer, inner))
    assert both == pytest.approx(matrix_of(outer) @ matrix_of(inner))
    assert both @ [1.0, 0.0, 0.0, 1.0] == pytest.approx([5.0, 1.0, 0.0, 1.0])


def test_a_matrix_comes_back_as_it_went():
    matrix = matrix_of(composed(translation((1.0, 2.0, 3.0)), rotation((1.0, 1.0, 0.0), 25.0)))
    assert matrix_of(location_of(matrix)) == pytest.approx(matrix, abs=1e-12)


def test_shapes_stand_where_they_are_put():
    block = box((0.0, 0.0, 0.0), (4.0, 2.0, 1.0))
    assert box_of(shifted(block, (10.0, 0.0, 0.0))) == pytest.approx((10, 0, 0, 14, 2, 1))
    turned = transformed(block, rodrigues((0, 0, 1), 90), np.array([0.0, 0.0, 7.0]))
    assert box_of(turned) == pytest.approx((-2, 0, 7, 0, 4, 8), abs=1e-9)
    moved = placed_at(block, translation((0.0, 0.0, 9.0)))
    assert box_of(moved) == pytest.approx((0, 0, 9, 4, 2, 10))
    assert drawing_matrix(moved)[:3, 3] == pytest.approx([0.0, 0.0, 9.0])


def test_a_place_that_is_not_a_number_is_seen():
    assert is_finite(translation((1.0, 2.0, 3.0)))
    assert not is_finite(translation((math.nan, 0.0, 0.0)))
    assert not is_finite(translation((math.inf, 0.0, 0.0)))
