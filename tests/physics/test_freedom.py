"""Motions left by contacts and form closure, against closed forms and worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from fixturecheck.physics.freedom import form_closed, motions, rank_of
from fixturecheck.physics.location import seat_rows

CENTRE = np.array([50.0, 25.0, 10.0])


def named(points, normals):
    rows = seat_rows(np.array(points, float), np.array(normals, float), CENTRE)
    return motions(rows, CENTRE, 50.0)


def test_a_block_on_a_table_slides_two_ways_and_turns():
    found = named([[0, 0, 0], [100, 0, 0], [0, 50, 0]], [[0, 0, 1]] * 3)
    assert [m.kind for m in found] == ["slides", "slides", "turns"]
    assert np.abs([m.axis for m in found]) == pytest.approx(np.eye(3), abs=1e-9)


def test_a_shaft_in_a_v_slides_and_turns_about_its_own_axis():
    normals = [[1, 0, 1]] * 2 + [[-1, 0, 1]] * 2
    points = [[-7, 0, -7], [-7, 30, -7], [7, 0, -7], [7, 30, -7]]
    found = named(points, np.array(normals) / np.sqrt(2))
    assert [m.kind for m in found] == ["slides", "turns"]
    assert np.abs(found[1].axis) == pytest.approx([0, 1, 0], abs=1e-9)
    assert found[1].point_mm[[0, 2]] == pytest.approx([0, 0], abs=1e-6)


def test_a_nut_left_by_a_helix_screws():
    free = np.array([0, 0, 2.0, 0, 0, 1.0])
    rows = np.linalg.svd(free[None])[2][1:]
    found = motions(rows, np.zeros(3), 1.0)
    assert [m.kind for m in found] == ["screws"]
    assert found[0].twist == pytest.approx(free, abs=1e-9)


def test_planar_grip_is_closed_and_with_a_finger_moved_is_not():
    # Lynch and Park, Modern Robotics, example 12.7 (matrix as published; the second sign from memory).
    closed = np.array([[0, 0, -1, 2], [-1, 0, 1, 0], [0, -1, 0, 1.0]]).T
    open_ = np.array([[0, 0, 0, 2], [-1, 0, 1, 0], [0, -1, 0, -1.0]]).T
    assert form_closed(closed)
    assert rank_of(open_) == 3
    assert not form_closed(open_)


def test_three_concurrent_contacts_balance_but_do_not_close():
    # Normals at 0, 225 and 90 deg through one point: forces 1, sqrt 2, 1 balance, a turn is left.
    angles = np.radians([0, 225, 90])
    points = np.array([[0, 1], [1, 1], [1, 0.0]])
    normal = np.stack((np.cos(angles), np.sin(angles)), axis=1)
    moment = points[:, 0] * normal[:, 1] - points[:, 1] * normal[:, 0]
    rows = np.column_stack((moment, normal))
    forces = np.array([1, np.sqrt(2), 1])
    shifted = rows.copy()
    shifted[:, 0] -= normal[:, 1] * 1.0 - normal[:, 0] * 1.0
    assert forces @ shifted == pytest.approx(np.zeros(3), abs=1e-12)
    assert rank_of(rows) == 2
    assert not form_closed(rows)


def test_fewer_than_seven_contacts_never_close_a_body_in_space():
    # Somov 1900, Lakshminarayana 1978 (from memory): four in the plane, seven in space.
    random = np.random.default_rng(3)
    for _ in range(20):
        points, normal = random.normal(size=(6, 3)), random.normal(size=(6, 3))
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        assert not form_closed(seat_rows(points, normal, np.zeros(3)))


def test_a_ball_is_never_closed():
    random = np.random.default_rng(4)
    normal = random.normal(size=(40, 3))
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    assert not form_closed(seat_rows(-5 * normal, normal, np.zeros(3)))
