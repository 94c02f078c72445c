"""The convex hull of points of a plane against that of Qhull (scipy), and its rule for what has no area."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from fixturecheck.hull import convex_hull, farthest_out, hull_corners

SQUARE = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])


@pytest.mark.parametrize("seed", range(5))
def test_the_hull_is_that_of_qhull(seed):
    points = np.random.default_rng(seed).normal(size=(40, 2))
    found, other = hull_corners(points), ConvexHull(points)
    assert convex_hull(points).area == pytest.approx(other.volume)
    assert {tuple(p) for p in found} == {tuple(p) for p in points[other.vertices]}


def test_corners_run_clockwise_from_one_whatever_the_order_of_the_points():
    points = np.vstack([SQUARE, [[2.0, 2.0], [2.0, 0.0]]])
    for seed in range(5):
        shuffled = np.random.default_rng(seed).permutation(points)
        assert hull_corners(shuffled).tolist() == [[0.0, 0.0], [0.0, 4.0], [4.0, 4.0], [4.0, 0.0]]


def test_what_rounding_puts_off_a_side_is_no_corner():
    bulged = np.vstack([SQUARE, [[2.0, -1e-9]]])
    assert hull_corners(bulged).tolist() == [[0.0, 0.0], [0.0, 4.0], [4.0, 4.0], [4.0, 0.0]]


def test_points_on_a_line_have_two_corners_and_one_point_has_one():
    line = np.array([[3.0, 1.0], [0.0, 1.0], [1.0, 1.0]])
    assert hull_corners(line).tolist() == [[0.0, 1.0], [3.0, 1.0]]
    assert hull_corners(np.ones((3, 2))).tolist() == [[1.0, 1.0]]
    assert convex_hull(line).geom_type == "LineString"
    assert (convex_hull(line).area, convex_hull(line).length) == (0.0, 3.0)


def test_sets_of_points_have_a_hull_each():
    found = convex_hull(np.stack([SQUARE, 2.0 * SQUARE]))
    assert [hull.area for hull in found] == [16.0, 64.0]


def test_the_corners_of_a_square_lie_farthest_out_along_its_diagonals():
    points = np.vstack([[[2.0, 2.0]], SQUARE])
    assert farthest_out(points, 4, turned_rad=np.pi / 4).tolist() == [3, 4, 1, 2]
