"""Convex cones against corners and edges: the distance from a cone in its section, by hand."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from tests.contact.staging import near

WIDE, NARROW, HIGH = 10.0, 4.0, 12.0
"""Radii at the bottom and top of a cone, and its height."""
LEAN = math.atan2(WIDE - NARROW, HIGH)


def rows_of(other, at, axis=(0, 0, 1), angle_deg=0.0):
    shape = other.rotate((0, 0, 0), axis, angle_deg).translate(at).val()
    cone = cq.Solid.makeCone(WIDE, NARROW, HIGH)
    rows = near(cone, shape, reach_mm=2.0, slack_rad=1e-9)
    # Beside the side of the cone, not over its top.
    side = np.abs(rows.normal @ np.array([0, 0, 1.0])) < 0.99
    return rows.where(side)


def away_mm(radius: float, height: float) -> float:
    """Distance of a place from the side of the cone in a section through its axis."""
    return (radius - WIDE + math.tan(LEAN) * height) * math.cos(LEAN)


def test_a_corner_is_as_far_from_a_cone_as_in_the_section_through_both():
    # A cube on its corner, which points at the axis: its tip is 8 mm from it at half the height.
    tip = (8.5, 0.0, 6.0)
    spike = cq.Workplane().polyline([(0, 0), (20, -8), (20, 8)]).close().extrude(0.5)
    rows = rows_of(spike, tip)
    assert rows.gap_mm.min() == pytest.approx(away_mm(8.5, 6.0), abs=1e-9)


def test_a_straight_edge_across_a_cone_touches_where_it_is_nearest():
    # A bar on edge whose ridge runs level past the cone at half its height.
    half = 5 * math.sqrt(2)
    bar = cq.Workplane().box(10, 60, 10).rotate((0, 0, 0), (0, 1, 0), 45)
    rows = rows_of(bar, (7.0 + 1.0 / math.cos(LEAN) + half, 0, 6.0))
    best = int(np.argmin(rows.gap_mm))
    assert rows.gap_mm[best] == pytest.approx(1.0, abs=1e-9)
    assert np.abs(rows.normal[best]) == pytest.approx((math.cos(LEAN), 0, math.sin(LEAN)), abs=1e-9)


def test_a_ring_round_a_cone_is_no_nearer_than_in_the_section():
    ring = cq.Workplane().circle(20).circle(12).extrude(HIGH)
    rows = rows_of(ring, (0, 0, 0))
    assert np.all(rows.gap_mm >= 2.0 * math.cos(LEAN) - 1e-9)
