"""The convex hull of points of a plane against that of Qhull (scipy), and its rule for what has no area."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy.spatial import ConvexHull

from fixturecheck.hull import convex_hull, corners_round, farthest_out, hull_corners

SQUARE = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])
ELL = ((0.0, 0.0), (60.0, 0.0), (60.0, 20.0), (22.0, 20.0), (22.0, 50.0), (0.0, 50.0))
ANGLES = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
ROUND = np.column_stack([np.cos(ANGLES), np.sin(ANGLES)])


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


@pytest.mark.parametrize(
    ("points", "count", "larger"),
    [
        ([(0, 0), (60, 0), (60, 40), (0, 40), (30, 40), (10, 12)], 4, 1.0),
        # Broken corners of a millimetre, and a diamond.
        ([(1, 0), (59, 0), (60, 1), (60, 39), (59, 40), (1, 40), (0, 39), (0, 1)], 4, 1.002),
        ([(0, -20), (30, 0), (0, 20), (-30, 0)], 4, 1.0),
        (ELL, 5, 1.0),
        # A hexagon round a circle: 2 sqrt(3) r^2 against pi r^2 where it is regular.
        (15.0 * ROUND, 6, 1.2),
    ],
)
def test_an_outline_of_few_corners_holds_all_of_a_face(points, count, larger):
    points = np.array(points, dtype=float)
    corners = corners_round(points)
    assert len(corners) == count
    outline, hull = (shapely.MultiPoint(p).convex_hull for p in (corners, points))
    assert outline.buffer(1e-6).contains(hull)
    assert outline.area <= larger * hull.area * (1.0 + 1e-9)
    assert all(tuple(a) < tuple(b) for a, b in pairwise(corners))


def test_a_face_as_narrow_as_a_line_has_two_ends():
    assert corners_round(np.array([(5.0, 2.0), (1.0, 2.0), (3.0, 2.0)])).tolist() == [[1.0, 2.0], [5.0, 2.0]]
