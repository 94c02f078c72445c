"""Motions left by contacts and form closure, against closed forms and worked examples."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fixturecheck.rigid import motions, rank_of, seat_rows
from fixturecheck.statics.limit import HOLDS, unbalanced

CENTRE = np.array([50.0, 25.0, 10.0])


PLANE, SPACE = (0, 1, 5), tuple(range(6))


def closed(points, normals, among=SPACE):
    """Whether contacts that only push balance any load among some of its six components.

    Vectors do so if and only if the origin lies inside their convex hull (Mason, Mechanics of Robotic
    Manipulation, theorem 5.5), which needs full rank and strictly positive forces that balance; it is enough
    to ask for a simplex of loads round the origin.
    """
    points, normals = np.array(points, float), np.array(normals, float)
    count = len(points)
    zeros = np.zeros(count, dtype=np.int64)
    rows = SimpleNamespace(
        gap_mm=np.zeros(count), normal=normals, point_a_mm=points, point_b_mm=points,
        body_a=zeros, body_b=zeros + 1, face_a=zeros, face_b=zeros,
    )  # fmt: skip
    loads = [np.eye(6)[i] for i in among]
    return all(
        unbalanced(rows, np.array([0]), np.zeros((1, 3)), load[None], np.ones(1), mu=0.0, closure_mm=1e-3)
        <= HOLDS
        for load in (*loads, -sum(loads))
    )


def planar(wrenches):
    """Points and normals in the plane of wrenches (moment, force x, force y) of unit force."""
    points = [(w[0] * w[2], -w[0] * w[1], 0.0) for w in wrenches]
    return points, [(w[1], w[2], 0.0) for w in wrenches]


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


def test_a_turn_about_an_axis_far_off_is_a_slide():
    """Of two supports 100 mm apart the one leans by 1e-5: their normals meet 10 km up."""
    normals = np.array([[0, 0, 1.0], [1e-5, 0, 1.0], [0, 1, 0], [0, 1, 0], [0, 1, 0]])
    points = [[0, 0, 0], [100, 0, 0], [0, 50, 0], [100, 50, 0], [50, 50, 20]]
    (found,) = named(points, normals)
    assert found.kind == "slides"
    assert np.abs(found.axis) == pytest.approx([1, 0, 0], abs=1e-4)


def test_a_nut_left_by_a_helix_screws():
    free = np.array([0, 0, 2.0, 0, 0, 1.0])
    rows = np.linalg.svd(free[None])[2][1:]
    found = motions(rows, np.zeros(3), 1.0)
    assert [m.kind for m in found] == ["screws"]
    assert found[0].twist == pytest.approx(free, abs=1e-9)


def test_planar_grip_is_closed_and_with_a_finger_moved_is_not():
    # Lynch and Park, Modern Robotics [@lynch2017], example 12.7 (the second sign from memory).
    held = np.array([[0, 0, -1, 2], [-1, 0, 1, 0], [0, -1, 0, 1.0]]).T
    moved = np.array([[0, 0, 0, 2], [-1, 0, 1, 0], [0, -1, 0, -1.0]]).T
    for wrenches, expected in ((held, True), (moved, False)):
        points, normals = planar(wrenches)
        assert np.cross(points, normals)[:, 2] == pytest.approx(wrenches[:, 0])
        assert rank_of(wrenches) == 3
        assert closed(points, normals, among=PLANE) is expected


def test_three_concurrent_contacts_balance_but_do_not_close():
    # Normals at 0, 225 and 90 deg through one point: forces 1, sqrt 2, 1 balance, a turn is left.
    angles = np.radians([0, 225, 90])
    points = np.array([[0, 1, 0], [1, 1, 0], [1, 0, 0.0]])
    normals = np.stack((np.cos(angles), np.sin(angles), np.zeros(3)), axis=1)
    assert np.array([1, np.sqrt(2), 1]) @ normals == pytest.approx(np.zeros(3), abs=1e-12)
    assert not closed(points, normals, among=PLANE)


@pytest.mark.parametrize(
    ("degrees", "spans"),
    [((0, 120, 240), True), ((0, 90, 180), False), ((0, 100, 200), True), ((0, 60, 120), False)],
)
def test_forces_span_the_plane_only_with_the_origin_inside_their_hull(degrees, spans):
    # Through one point only forces are asked for: directions span if no gap is half a turn or more.
    angles = np.radians(degrees)
    normals = np.stack((np.cos(angles), np.sin(angles), np.zeros(len(angles))), axis=1)
    widest = np.diff(np.sort([*angles, angles[0] + 2 * np.pi])).max()
    assert spans is bool(widest < np.pi - 1e-9)
    assert closed(-normals, normals, among=(0, 1)) is spans


def test_fewer_than_seven_contacts_never_close_a_body_in_space():
    # Somov 1900, Lakshminarayana 1978 (from memory): four in the plane, seven in space.
    random = np.random.default_rng(3)
    for _ in range(5):
        points, normal = random.normal(size=(6, 3)), random.normal(size=(6, 3))
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        assert not closed(points, normal)


def test_a_ball_is_never_closed():
    random = np.random.default_rng(4)
    normal = random.normal(size=(40, 3))
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    assert not closed(-5 * normal, normal)
