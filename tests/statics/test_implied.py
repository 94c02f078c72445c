"""What is left out of a step is implied by what is kept: held against qhull's convex hulls (scipy)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from fixturecheck.contact.proximity.candidates import Candidates
from fixturecheck.rigid import Poses
from fixturecheck.statics.contact_step import SteadyLoad, load_arrays, outermost, programme


def over_a_face(points, gaps, normal=(0.0, 0.0, 1.0), face=0):
    count = len(points)
    normal = np.array(normal, dtype=float)
    return Candidates(
        gap_mm=np.asarray(gaps, dtype=float),
        normal=np.tile(normal, (count, 1)),
        point_a_mm=np.asarray(points, dtype=float),
        point_b_mm=np.asarray(points) - np.asarray(gaps)[:, None] * normal,
        body_a=np.ones(count, dtype=np.int64),
        body_b=np.zeros(count, dtype=np.int64),
        face_a=np.full(count, face),
        face_b=np.zeros(count, dtype=np.int64),
    )


def turned(points, seed):
    turn, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return points @ turn.T, turn[:, 2]


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.integers(4, 40))
def test_points_of_a_tilted_face_keep_the_corners_of_their_hull(seed, count):
    rng = np.random.default_rng(seed)
    flat = np.round(rng.uniform(-20, 20, (count, 2)), 1)
    if np.linalg.matrix_rank(flat - flat[0]) < 2:
        return
    rise = rng.normal(size=2)
    points, normal = turned(np.column_stack((flat, np.zeros(count))), seed)
    rows = over_a_face(points, 0.3 + flat @ rise * 1e-2, normal)
    kept = outermost(rows, np.arange(count))
    assert set(ConvexHull(flat, qhull_options="Qt").vertices) <= set(kept)
    # Nothing on the hull's inside is kept; points along its sides may be either way.
    hull = ConvexHull(flat)
    inside = np.flatnonzero((flat @ hull.equations[:, :2].T + hull.equations[:, 2]).max(axis=1) < -1e-6)
    assert not set(inside) & set(kept)


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 1e-16, 1e-12]))
def test_corners_one_above_the_other_are_kept_in_whatever_order_they_come(seed, off_mm):
    rng = np.random.default_rng(seed)
    flat = np.stack(np.meshgrid(np.arange(4.0), np.arange(3.0)), axis=-1).reshape(-1, 2)
    rng.shuffle(flat)
    flat[:, 0] += off_mm * rng.normal(size=len(flat))
    kept = outermost(over_a_face(np.column_stack((flat, np.zeros(12))), np.ones(12)), np.arange(12))
    # The hull of a grid is its four corners.
    ends = {(x, y) for x in (0.0, 3.0) for y in (0.0, 2.0)}
    assert ends <= {(round(x, 6) + 0.0, round(y, 6)) for x, y in flat[kept]}


def test_points_at_several_heights_are_all_kept():
    # A point nearer than the plane of the others would touch first, wherever it lies among them.
    points = np.array([[0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0], [5, 5, -0.1]])
    rows = over_a_face(points, [1.0, 1.0, 1.0, 1.0, 0.9])
    assert list(outermost(rows, np.arange(5))) == [0, 1, 2, 3, 4]


def test_faces_of_their_own_are_held_apart():
    points = np.array([[0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0], [5, 5, 0]])
    rows = over_a_face(points, np.ones(5))
    rows.face_a[4] = 7
    assert list(outermost(rows, np.arange(5))) == [0, 1, 2, 3, 4]
    rows.face_a[4] = 0
    assert list(outermost(rows, np.arange(5))) == [0, 1, 2, 3]


def test_points_in_one_line_keep_all():
    points = np.column_stack((np.linspace(0, 9, 6), np.zeros(6), np.zeros(6)))
    assert len(outermost(over_a_face(points, np.ones(6)), np.arange(6))) == 6


@pytest.mark.parametrize("seed", range(6))
def test_a_step_is_the_same_with_what_is_implied(seed, monkeypatch):
    rng = np.random.default_rng(seed)
    flat = rng.uniform(-10, 10, (30, 2))
    points = np.column_stack((flat, np.zeros(30)))
    rows = over_a_face(points, 0.2 + 0.01 * flat[:, 0])
    one = SteadyLoad(
        body=1,
        force_n=np.array([0.3, -0.2, -1.0]),
        at_mm=np.append(rng.uniform(-8, 8, 2), 1.0),
        centre_mm=np.array([0.0, 0.0, 5.0]),
        size_mm=12.0,
    )
    poses, frame = Poses.drawn(2), load_arrays([one], 1.0)
    move, force = programme(frame, poses, rows, 2.0)
    monkeypatch.setattr("fixturecheck.statics.contact_step.outermost", lambda _, some: some)
    whole, whole_force = programme(frame, poses, rows, 2.0)
    assert move == pytest.approx(whole, abs=1e-9)
    assert force.sum() == pytest.approx(whole_force.sum(), abs=1e-9)
