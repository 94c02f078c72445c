"""Features of bodies where they stand, against the rotation and shift written out."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fixturecheck.contact.proximity.placed_features import PlacedFeatures, bodies_of
from fixturecheck.kernel.brep.features import features_of

TURN = Rotation.from_rotvec([0.3, -1.1, 0.7]).as_matrix()
SHIFT = np.array([5.0, -3.0, 2.0])


@pytest.fixture(scope="module")
def stood():
    """A drilled block as drawn and a stepped pin that was moved, with both as drawn."""
    block = cq.Workplane().box(20, 12, 8).faces(">Z").workplane().hole(5).val()
    step = cq.Workplane().circle(4).extrude(6).faces(">Z").workplane().circle(2).extrude(4).val()
    own = bodies_of([features_of(s) for s in (block, step)])
    rotation, origin = np.array([np.eye(3), TURN]), np.array([np.zeros(3), SHIFT])
    return own, PlacedFeatures(own).at(rotation, origin)


def test_features_of_a_body_that_stays_are_where_they_were(stood):
    own, there = stood
    last = own.corners.first[1]
    assert np.array_equal(there.corners.middle_mm[:last], own.corners.middle_mm[:last])
    assert np.array_equal(there.planes.frame[: own.planes.first[1]], own.planes.frame[: own.planes.first[1]])


POINTS = [("corners", "middle_mm"), ("edges", "ends_mm"), ("circles", "middle_mm"), ("capsules", "a_mm")]
WAYS = [("corners", "tangent_cones"), ("edges", "along"), ("edges", "normals"), ("capsules", "axis")]


@pytest.mark.parametrize(("kind", "column"), POINTS)
def test_points_turn_and_shift_with_their_body(stood, kind, column):
    own, there = (getattr(bodies, kind) for bodies in stood)
    first = own.first[1]
    before, after = getattr(own, column)[first:], getattr(there, column)[first:]
    assert len(before)
    assert after == pytest.approx(before @ TURN.T + SHIFT, abs=1e-12)


@pytest.mark.parametrize(("kind", "column"), WAYS)
def test_directions_only_turn(stood, kind, column):
    own, there = (getattr(bodies, kind) for bodies in stood)
    first = own.first[1]
    assert getattr(there, column)[first:] == pytest.approx(getattr(own, column)[first:] @ TURN.T, abs=1e-12)


def test_a_plane_has_a_point_that_shifts_and_directions_that_do_not(stood):
    own, there = (bodies.planes for bodies in stood)
    first = own.first[1]
    before, after = own.frame[first:], there.frame[first:]
    assert after[:, 0] == pytest.approx(before[:, 0] @ TURN.T + SHIFT, abs=1e-12)
    assert after[:, 1:] == pytest.approx(before[:, 1:] @ TURN.T, abs=1e-12)


def test_boxes_hold_the_edges_where_they_stand(stood):
    edges = stood[1].edges
    assert np.array_equal(edges.low_mm, edges.ends_mm.min(axis=1))
    assert np.array_equal(edges.high_mm, edges.ends_mm.max(axis=1))


def test_a_bore_and_a_pin_are_kept_apart_by_their_sign(stood):
    own = stood[0]
    assert own.concave_cones.radius_a_mm.tolist() == [2.5]
    assert sorted(own.capsules.radius_mm.tolist()) == [2.0, 4.0]
    assert own.convex_cones.first.tolist() == [0, 0, 0]
