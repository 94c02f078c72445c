"""Small numeric tools against numpy's own products and plain arithmetic."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest

from fixturecheck.numeric import all_rows, last_inside, off_line_mm, some_rows, square_to, to_vector


def test_a_vector_is_plain_and_has_no_negative_zeros():
    found = to_vector(np.array([-0.0, 1, 2.5]))
    assert found == (0.0, 1.0, 2.5)
    assert all(type(v) is float and math.copysign(1.0, v) > 0 for v in found)


@pytest.mark.parametrize("normal", [(0, 0, 1), (0, -1, 0), (1, 0, 0), (0.6, 0.0, 0.8), (1 / 3, 2 / 3, 2 / 3)])
def test_two_directions_are_square_to_a_normal_and_to_each_other(normal):
    frame = np.vstack([square_to(np.array(normal, dtype=float)), normal])
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-15)


@pytest.mark.parametrize("axis", range(3))
def test_directions_square_to_an_axis_lie_along_the_axes(axis):
    found = np.abs(square_to(np.eye(3)[axis]))
    assert np.sort(found, axis=None) == pytest.approx([0, 0, 0, 0, 1, 1])


def test_distance_from_a_line_is_that_of_the_cross_product():
    points = np.random.default_rng(3).normal(size=(20, 3))
    start, way = np.array([1.0, -2, 0.5]), np.array([2.0, 1, 2]) / 3
    assert off_line_mm(points, start, way) == pytest.approx(
        np.linalg.norm(np.cross(points - start, way), axis=1)
    )


@pytest.mark.parametrize(("inside", "outside"), [(0.0, 2.0), (2.0, 0.0)])
def test_bisection_ends_on_the_side_where_the_condition_holds(inside, outside):
    tried = []

    def holds(x: float) -> bool:
        tried.append(x)
        return (x <= math.sqrt(2)) == (inside < outside)

    found = last_inside(holds, inside, outside, apart=1e-9)
    assert found == pytest.approx(math.sqrt(2), abs=1e-9)
    assert holds(found)
    assert len(tried) < 40


def test_bisection_halves_no_more_often_than_asked():
    assert last_inside(lambda x: x < 0.3, 0.0, 1.0, halvings=2) == 0.25


@dataclass(frozen=True, kw_only=True)
class Table:
    """Two columns of three rows."""

    number: np.ndarray
    place: np.ndarray


def test_rows_of_every_column_are_chosen_and_joined_alike():
    table = Table(number=np.arange(3), place=np.arange(9.0).reshape(3, 3))
    some = some_rows(table, np.array([True, False, True]))
    assert some.number.tolist() == [0, 2]
    assert some.place[:, 0].tolist() == [0.0, 6.0]
    assert all_rows([some, table]).number.tolist() == [0, 2, 0, 1, 2]
