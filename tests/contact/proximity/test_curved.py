"""Candidates of cylinders, spheres, cones and tori, against distances in sections by hand."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.proximity.curved import in_angle_span, nearest_on_lines
from tests.contact.staging import ball, block, near, pin


def least(rows):
    """The row with the least gap, and its normal as it points out of the first solid."""
    best = int(np.argmin(rows.gap_mm))
    return rows.gap_mm[best], rows.normal[best] * (1.0 if rows.body_a[best] == 1 else -1.0)


def test_crossed_rods_are_apart_by_their_axes_less_their_radii():
    gap, normal = least(
        near(pin(5, 60, (-30, 0, 0), (1, 0, 0)), pin(4, 60, (0, -30, 0), (0, 1, 0)), (0, 0, 10.5))
    )
    assert gap == pytest.approx(1.5, abs=1e-9)
    assert normal == pytest.approx((0, 0, 1), abs=1e-9)


def test_a_rod_across_the_edge_of_a_block_is_as_far_as_its_axis_less_its_radius():
    # The edge runs along Y at (10, y, 10). The axis leans by 0.4 rad out of Y, square to what joins the two.
    across = 0.8 * math.sin(0.4), math.cos(0.4), -0.6 * math.sin(0.4)
    rod = pin(4.5, 60, [-30 * c for c in across], across)
    gap, normal = least(near(block(20, 40, 10).val(), rod, (13, 0, 14)))
    assert gap == pytest.approx(0.5, abs=1e-9)
    assert normal == pytest.approx((0.6, 0, 0.8), abs=1e-9)


@pytest.mark.parametrize("out_deg", [3.0, 29.0, 45.0, 61.0, 86.0])
def test_a_rod_alongside_a_longer_edge_is_as_far_as_its_axis_less_its_radius(out_deg):
    # No corner of the block and no crossing: both ends of the rod lie within the edge.
    out = np.array([math.sin(math.radians(out_deg)), 0, math.cos(math.radians(out_deg))])
    rod = pin(4.5, 30, (0, -15, 0), (0, 1, 0))
    gap, normal = least(near(block(20, 40, 10).val(), rod, np.array([10, 0, 10]) + 4.6 * out))
    assert gap == pytest.approx(0.1, abs=1e-9)
    assert normal == pytest.approx(out, abs=1e-9)


def test_a_ball_beside_a_corner_is_as_far_as_its_middle_less_its_radius():
    gap, normal = least(near(block(20, 20, 10).val(), ball(5.5), (10 + 2, 10 + 3, 10 + 6)))
    assert gap == pytest.approx(math.sqrt(4 + 9 + 36) - 5.5, abs=1e-9)
    assert normal == pytest.approx(np.array([2, 3, 6]) / 7, abs=1e-9)


@pytest.mark.parametrize("off_mm", [0.0, 0.3, 0.45])
def test_a_pin_in_a_bore_is_as_near_as_the_radii_less_how_far_it_is_off(off_mm):
    bored = block(40, 40, 10).faces(">Z").workplane().hole(20.0).val()
    aside = off_mm * math.cos(0.3), off_mm * math.sin(0.3), 2.0
    rows = near(bored, pin(9.5, 6), aside, reach_mm=2.0)
    assert rows.gap_mm.min() == pytest.approx(0.5 - off_mm, abs=1e-9)
    if off_mm:
        _, normal = least(rows)
        assert normal == pytest.approx((-math.cos(0.3), -math.sin(0.3), 0), abs=1e-9)


def test_a_ball_in_a_taper_is_as_near_as_its_middle_is_to_the_side():
    # A countersink of 90 degrees whose tip would lie at z = 0: the side is 45 degrees steep.
    drawn = block(40, 40, 15).cut(cq.Workplane(cq.Solid.makeCone(0, 15, 15, dir=cq.Vector(0, 0, 1))))
    taper = drawn.val().Solids()[0]
    gap = near(taper, ball(6), (1.0, 0, 10.0)).gap_mm.min()
    assert gap == pytest.approx((10.0 - 1.0) / math.sqrt(2) - 6.0, abs=1e-9)


def test_a_corner_in_the_fillet_of_a_groove_is_as_near_as_the_radius_less_how_far_it_is_off():
    # Of a ring groove of radius 4 round z: its middle circle has a radius of 20 at z = 0.
    ring = cq.Solid.makeTorus(20, 4, cq.Vector(0, 0, 8))
    groove = cq.Workplane().circle(30).extrude(8).val().cut(ring)
    tilted = cq.Workplane().box(2, 2, 2).rotate((0, 0, 0), (1, 0, 0), 45)
    spike = tilted.rotate((0, 0, 0), (0, 1, 0), math.degrees(math.atan(math.sqrt(0.5))))
    tip = min(spike.val().Vertices(), key=lambda v: v.Z).toTuple()
    away = 20.5 - tip[0], 0.0 - tip[1], 8.0 - 2.5 - tip[2]
    gap = near(groove.Solids()[0], spike.val(), away).gap_mm.min()
    assert gap == pytest.approx(4.0 - math.hypot(0.5, 2.5), abs=1e-9)


def test_two_lines_are_nearest_where_their_common_normal_stands():
    random = np.random.default_rng(7)
    for _ in range(20):
        a, u, b = random.normal(size=(3, 3))
        v = random.normal(size=3)
        v /= np.linalg.norm(v)
        s, t = np.linalg.lstsq(np.stack([u, -v], axis=1), b - a, rcond=None)[0]
        inner, share, long = nearest_on_lines(tuple(a), tuple(u), tuple(b), tuple(v))
        assert inner is bool(0 <= s <= 1)
        assert (share, long) == pytest.approx((s, t))


def test_lines_that_run_alongside_have_no_nearest_place():
    assert nearest_on_lines((0.0, 0.0, 0.0), (2.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0))[0] is False


@pytest.mark.parametrize(
    ("angle_deg", "held"), [(-20, True), (340, True), (29, True), (31, False), (180, False)]
)
def test_a_span_of_angles_is_the_same_after_whole_turns(angle_deg, held):
    span = np.radians([-30.0, 30.0])
    assert in_angle_span(math.radians(angle_deg), span, 0.0) is held
