"""Candidates are complete and none is a ghost: ledges, flush sides, rims, curved pairs, and random solids."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.proximity.candidates import ProximityScene
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.kernel.brep.features import features_of
from tests.contact.staging import near


def box(x, y, z):
    return cq.Workplane().box(x, y, z).val()


def test_a_wide_part_on_a_narrow_ledge_is_held_where_edges_cross():
    # Plus sign: no corner of either lies over the other.
    rows = near(box(100, 10, 10), box(10, 60, 10), (0, 0, 10.5))
    low = rows.where(rows.gap_mm < 0.6)
    assert low.gap_mm == pytest.approx(0.5, abs=1e-12)
    corners = {tuple(p) for p in np.round(low.point_a_mm[:, :2], 9) + 0.0}
    assert {(5.0, 5.0), (5.0, -5.0), (-5.0, 5.0), (-5.0, -5.0)} <= corners
    assert np.abs(low.normal[:, 2]) == pytest.approx(1.0)


def test_flush_sides_that_look_the_same_way_are_no_candidates():
    # One on top of the other with all four sides flush: only up and down may be held.
    rows = near(box(20, 20, 10), box(20, 20, 10), (0, 0, 10))
    touching = rows.where(rows.gap_mm < 1e-6)
    assert len(touching.gap_mm) >= 4
    assert np.abs(touching.normal[:, 2]) == pytest.approx(1.0)


def test_flush_neighbours_hold_each_other_sideways_only():
    rows = near(box(20, 20, 10), box(20, 20, 10), (20, 0, 0))
    touching = rows.where(rows.gap_mm < 1e-6)
    assert len(touching.gap_mm) >= 4
    assert np.abs(touching.normal[:, 0]) == pytest.approx(1.0)


def test_an_inside_corner_never_touches():
    # A recess in the part over a post that is narrower: the recess floor is met, its corners are not.
    part = cq.Workplane().box(40, 40, 10).faces("<Z").workplane().rect(20, 20).cutBlind(-4).val()
    rows = near(box(10, 10, 10), part, (0, 0, 8))
    close = rows.where(rows.gap_mm < 2.5)
    floor = close.where(np.abs(close.normal[:, 2]) > 0.99)
    assert np.abs(floor.point_a_mm[:, :2]) == pytest.approx(5.0)
    assert floor.gap_mm == pytest.approx(2.0, abs=1e-12)


@pytest.mark.parametrize("tilt", [0.0, 0.05, 0.4])
def test_the_lowest_line_of_a_cylinder_over_a_table(tilt):
    shaft = cq.Workplane("XZ", origin=(0, 20, 0)).circle(5).extrude(40).val()
    rows = near(box(200, 200, 10), shaft, (3, 0, 5 + 5 + 2), turn=(tilt, 0, 0), reach_mm=60.0, slack_rad=1e-6)
    down = rows.where(np.abs(rows.normal[:, 2]) > 0.999)
    # Closed form: the lower end of the lowest generator, 20 sin t down and 5 cos t square to the axis.
    assert down.gap_mm.min() == pytest.approx(12 - 5 - 20 * np.sin(tilt) - 5 * np.cos(tilt), abs=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_the_least_gap_of_two_blocks_apart_is_their_distance(seed):
    # Oracle: the kernel's own extrema between the placed solids.
    random = np.random.default_rng(seed)
    one, other = box(*random.uniform(4, 20, 3)), box(*random.uniform(4, 20, 3))
    turn = random.normal(size=3)
    away = random.normal(size=3)
    at = away / np.linalg.norm(away) * random.uniform(24, 32)
    angle = float(np.linalg.norm(turn))
    place = cq.Location(cq.Vector(*at), cq.Vector(*turn), np.degrees(angle))
    distance = one.distance(other.moved(place))
    rows = near(one, other, at, turn, reach_mm=60.0)
    assert rows.gap_mm[rows.gap_mm > 0].min() <= distance + 1e-7
    exact = np.linalg.norm(rows.point_a_mm - rows.point_b_mm, axis=1)
    assert exact.min() == pytest.approx(distance, abs=1e-7)


def test_copies_of_rows_change_sides_with_the_bodies():
    one, other = box(30, 20, 10), box(8, 8, 8)
    straight = near(one, other, (2, 1, 9.4))
    scene = ProximityScene([features_of(other), features_of(one)], [True, False])
    swapped = find_candidates(
        scene, np.array([np.eye(3)] * 2), np.array([[2.0, 1, 9.4], [0, 0, 0]]), 3.0, 1e-6
    )
    assert np.sort(swapped.gap_mm) == pytest.approx(np.sort(straight.gap_mm), abs=1e-12)


@pytest.mark.parametrize("deep", [0.02, 0.049])
def test_an_overlap_deeper_than_the_reach_is_still_reported(deep):
    rows = near(box(20, 20, 10), box(10, 10, 10), (0, 0, 10 - deep), reach_mm=0.01)
    assert rows.gap_mm.min() == pytest.approx(-deep, abs=1e-12)


def test_two_balls_which_have_neither_corners_nor_edges_meet_on_the_line_between_their_middles():
    rows = near(cq.Workplane().sphere(5).val(), cq.Workplane().sphere(4).val(), (6, 0, 8))
    assert rows.gap_mm == pytest.approx(1.0, abs=1e-9)
    assert rows.normal[0] == pytest.approx([0.6, 0, 0.8], abs=1e-9) or rows.normal[0] == pytest.approx(
        [-0.6, 0, -0.8], abs=1e-9
    )


def test_a_ball_that_is_sunk_over_an_edge_comes_out_the_shorter_way():
    rows = near(box(20, 20, 20), cq.Workplane().sphere(0.1).val(), (9.95, 0, 9.96), reach_mm=0.5)
    # Its middle lies 0.04 mm below the top and 0.05 mm within the side.
    assert rows.gap_mm == pytest.approx(-0.14)
    assert rows.normal == pytest.approx(np.array([[0.0, 0.0, 1.0]]))


@pytest.mark.parametrize("height_mm", [2.9, 3.0, 3.1])
@pytest.mark.parametrize("tilt_rad", [0.0, 1e-9, 1e-4])
def test_a_ring_that_lies_flat_is_held_all_round(height_mm, tilt_rad):
    ring = cq.Solid.makeTorus(10, 3)
    rows = near(box(40, 40, 10), ring, (0, 0, 5 + height_mm), turn=(0, tilt_rad, 0), slack_rad=1e-3)
    angle = np.arctan2(rows.point_a_mm[:, 1], rows.point_a_mm[:, 0])
    assert np.max(np.diff(np.sort([*angle, angle.min() + 2 * np.pi]))) < np.radians(46)
    # The ring's own circle leans by the tilt; the ball that sweeps it is 3 mm.
    middle = height_mm + 10.0 * np.sin(tilt_rad) * np.cos(angle + np.pi)
    assert rows.gap_mm == pytest.approx(middle - 3.0, abs=1e-6)


def test_a_round_edge_far_behind_the_wall_of_a_pocket_is_not_in_the_pocket():
    # The pocket's corners are quarters of a bore; its tangent planes bound only what is inside it.
    pocket = cq.Workplane().box(20, 18, 8).edges("|Z").fillet(3).translate((0, 0, 8))
    plate = cq.Workplane().box(60, 40, 16).cut(pocket).val().Solids()[0]
    other = cq.Workplane().box(60, 40, 16).edges("|Z").fillet(3).val()
    rows = near(plate, other, (60.5, 0, 0), reach_mm=42.0, slack_rad=0.2)
    # Closed form: two flat ends half a millimetre apart, and nothing else of the two is nearer.
    assert rows.gap_mm.min() == pytest.approx(0.5, abs=1e-9)
