"""Seats against worked kinematic location: rank, error propagation, order, redundancy."""

from __future__ import annotations

import numpy as np
import pytest

from fixturecheck.rigid import SeatPoints, located, seat_rows, sensitivity

# Three on the base, two on the side, one at the end; numbers from the closed form rows [n, p x n]
# (method: Asada and By 1985, from memory).
POINTS = np.array([[0, 0, 0], [100, 0, 0], [0, 50, 0], [20, 0, 10], [80, 0, 10], [0, 25, 10]], float)
NORMALS = np.array([[0, 0, 1]] * 3 + [[0, 1, 0]] * 2 + [[1, 0, 0]], float)
ORIGIN = np.zeros(3)


def seats(points=POINTS):
    return [
        SeatPoints(name="base", points_mm=points[:3], normal=NORMALS[:3]),
        SeatPoints(name="side", points_mm=points[3:5], normal=NORMALS[3:5]),
        SeatPoints(name="end", points_mm=points[5:], normal=NORMALS[5:]),
    ]


def test_three_two_one_has_full_rank_and_the_known_determinant():
    rows = seat_rows(POINTS, NORMALS, ORIGIN)
    assert np.linalg.det(rows) == pytest.approx(3.0e5, rel=1e-9)
    found = located(seats(), 50.0)
    assert found.rank == 6
    assert [r.takes for r in found.roles] == [3, 2, 1]
    assert all(not r.fights for r in found.roles)


@pytest.mark.parametrize(
    ("locator", "expected"),
    [
        (1, [0.001, 0, 0, 0, -1.0e-4, 0]),
        (4, [0.0041667, -0.0033333, 0, 0, 0, 1.6667e-4]),
    ],
)
def test_an_error_at_one_locator_moves_the_part(locator, expected):
    # Cai, Hu and Yuan 1997: rows @ twist = error, from memory.
    rows, arm = seat_rows(POINTS, NORMALS, ORIGIN), 100.0
    x, y, z = np.eye(3)

    def seen(target, direction):
        return 0.010 * sensitivity(rows, ORIGIN, np.array(target), direction)[locator]

    shift = [seen(ORIGIN, way) for way in (x, y, z)]
    # What a point on another axis moves further than the origin, over its distance, is the turn.
    turn = [(seen(arm * a, way) - seen(ORIGIN, way)) / arm for a, way in ((y, z), (z, x), (x, y))]
    assert [*shift, *turn] == pytest.approx(expected, abs=5e-8)


def test_three_points_in_a_line_leave_a_freedom():
    points = POINTS.copy()
    points[2] = [50, 0, 0]
    found = located(seats(points), 50.0)
    assert found.rank == 5


def test_a_second_side_seat_fights_the_first():
    again = SeatPoints(name="far side", points_mm=np.array([[50.0, 60, 10]]), normal=np.array([[0.0, -1, 0]]))
    found = located([*seats(), again], 50.0)
    assert found.roles[-1].takes == 0
    assert "side" in found.roles[-1].fights


def test_sensitivity_is_what_moving_each_locator_does():
    rows = seat_rows(POINTS, NORMALS, ORIGIN)
    target, direction = np.array([90.0, 40.0, 20.0]), np.array([0.0, 0.0, 1.0])
    found = sensitivity(rows, ORIGIN, target, direction)
    for i in range(6):
        error = np.zeros(6)
        error[i] = 1e-3
        move = np.linalg.solve(rows, error)
        moved = (move[:3] + np.cross(move[3:], target)) @ direction
        assert found[i] == pytest.approx(moved / 1e-3, abs=1e-9)
    # Plane through three points, at (90, 40): 1 - 0.9 - 0.8, 0.9, 0.8.
    assert found[:3] == pytest.approx([-0.7, 0.9, 0.8], abs=1e-9)
