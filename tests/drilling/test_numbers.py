"""Tap drills, points and spots against handbook values and closed forms."""

from __future__ import annotations

import math

import pytest

from fixturecheck.drilling import (
    depth_for_thread_mm,
    point_length_mm,
    seat_depth_mm,
    spot_depth_mm,
    tap_drill_mm,
    thread_of,
    thread_share,
    threads,
)
from fixturecheck.errors import SetupError


@pytest.mark.parametrize(
    ("thread", "drill_mm", "share"),
    [
        # Machinery's Handbook, from memory: 5.0 mm for M6 leaves 77 %, 6.8 for M8 74 %, 8.5 for M10 77 %.
        ("M6", 5.0, 0.77),
        ("M8", 6.8, 0.74),
        ("M10", 8.5, 0.77),
        # No. 7 (0.201 in) for 1/4-20 leaves 75 %, no. 29 (0.136) for 8-32 69 %, no. 36 for 6-32 78 %.
        ("u1_4_20", 0.201 * 25.4, 0.75),
        ("n8_32", 0.136 * 25.4, 0.69),
        ("n6_32", 0.1065 * 25.4, 0.78),
    ],
)
def test_tap_drills_leave_the_share_of_the_handbook(thread, drill_mm, share):
    major, pitch = thread_of(thread)
    assert thread_share(major, pitch, drill_mm) == pytest.approx(share, abs=0.006)
    assert tap_drill_mm(major, pitch, thread_share(major, pitch, drill_mm)) == pytest.approx(drill_mm)


def test_a_full_thread_is_that_of_a_sharp_triangle_cut_by_an_eighth_on_either_side():
    """Closed form: height 3/4 of sqrt(3)/2 P, twice: 1.29904 P."""
    height = math.sqrt(3.0) / 2.0 * 1.0
    assert thread_share(6.0, 1.0, 6.0 - 2 * 0.75 * height) == pytest.approx(1.0)


def test_points_spots_and_seats_are_as_deep_as_their_angles_say():
    """A 118 degree point is 0.300 d long, one of 90 half of d (Machinery's Handbook, from memory)."""
    assert point_length_mm(10.0, 118.0) == pytest.approx(3.004, abs=0.001)
    assert spot_depth_mm(8.0, 90.0) == pytest.approx(4.0)
    assert seat_depth_mm(5.0, 15.0) == pytest.approx(5.0 * math.tan(math.radians(15.0)))
    assert seat_depth_mm(5.0, 0.0) == 0.0


def test_a_thread_needs_its_lead_and_one_pitch_below_it():
    """12 mm of M6 with a plug tap: four threads of lead and one pitch for chips, 17 mm."""
    assert depth_for_thread_mm(12.0, 1.0, 4.0) == pytest.approx(17.0)


def test_threads_are_known_by_name():
    assert all(major > 3 * pitch for major, pitch in threads().values())
    with pytest.raises(SetupError, match="thread 'M7' is not known; there are M10"):
        thread_of("M7")
