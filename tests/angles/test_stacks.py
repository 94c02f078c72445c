"""Gauge-block stacks, sine bars, angle gauges and rolls against worked examples and closed forms."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from fixturecheck.angles.gauge_blocks import (
    GaugeSet,
    angle_set,
    angle_stack,
    dms,
    gauge_set,
    gauge_sets,
    stack_error_um,
    stack_of,
)
from fixturecheck.angles.gauge_blocks import _fewest as fewest
from fixturecheck.angles.incline import (
    SineBar,
    angle_error_arcsec,
    compound_settings_deg,
    resultant_deg,
    sine_angle_deg,
    sine_height_mm,
    sine_incline,
    tilt_um,
)
from fixturecheck.errors import NotComputedError, SetupError

INCH = 25.4


@pytest.mark.parametrize(
    ("name", "count"), [("inch_81", 81), ("metric_112", 112), ("metric_88", 88), ("metric_87", 87)]
)
def test_sets_have_as_many_blocks_as_they_are_called(name, count):
    """81: qeeebo.com and H. Jack; 88 = 1 + 9 + 49 + 19 + 10: trade set after ISO 3650, from memory."""
    assert len(gauge_set(name).sizes) == count


def _sizes_mm(name):
    blocks = gauge_set(name)
    return np.array(blocks.sizes) * blocks.unit_mm


def test_inch_set_is_made_up_of_four_series():
    """9 x .1001-.1009, 49 x .101-.149, 19 x .050-.950, 4 x 1-4 in (qeeebo.com; H. Jack, manufact-116)."""
    inches = np.round(_sizes_mm("inch_81") / INCH, 6)
    series = [
        [0.1001 + k * 0.0001 for k in range(9)],
        [0.101 + k * 0.001 for k in range(49)],
        [0.05 * k for k in range(1, 20)],
        [1.0, 2.0, 3.0, 4.0],
    ]
    assert inches.tolist() == pytest.approx(sorted(itertools.chain(*series)))


def test_stack_of_3_9762_in():
    """3.9762 in from the set of 81: .1002 + .126 + .750 + 3.000 (starrett-webber.com/GB49.html)."""
    stack = stack_of(gauge_set("inch_81"), 3.9762 * INCH)
    assert len(stack.blocks_mm) == 4
    assert stack.height_mm == pytest.approx(3.9762 * INCH, abs=1e-9)
    assert sorted(round(b / INCH, 6) for b in stack.blocks_mm) == [0.1002, 0.126, 0.75, 3.0]


def test_stack_of_58_345_mm():
    """58.345 mm from the set of 112: five blocks do, 1.005 + 1.04 + 1.30 + 5 + 50 (NPL); four are found."""
    stack = stack_of(gauge_set("metric_112"), 58.345)
    assert {1.005, 1.04, 1.3, 5.0, 50.0} <= {round(v, 4) for v in _sizes_mm("metric_112")}
    assert stack.height_mm == pytest.approx(58.345, abs=1e-9)
    assert len(stack.blocks_mm) == 4
    known = set(np.round(_sizes_mm("metric_112"), 6))
    assert {round(b, 6) for b in stack.blocks_mm} <= known
    assert len(set(stack.blocks_mm)) == 4


SMALL = GaugeSet(name="metric_88", says="", unit_mm=0.001, sizes=(), wear=2, source="")


@pytest.mark.parametrize("target", [2001, 3003, 4041, 22022, 47077, 100000, 123457])
def test_no_fewer_blocks_make_it(target):
    """Every choice of fewer blocks, by itertools."""
    blocks = gauge_set("metric_87")
    found = fewest(blocks, target, 6)
    assert sum(found) == target
    assert len(set(found)) == len(found)
    for count in range(1, min(len(found), 4)):
        assert not any(sum(c) == target for c in itertools.combinations(blocks.sizes, count))


def test_five_and_six_blocks_are_found():
    # 1.0005 and 1.007 for the fourth and third place, 1.49 at most for the rest, .5 and tens.
    stack = stack_of(gauge_set("metric_88"), 1.0005 + 1.007 + 1.43 + 8.5 + 100.0)
    assert len(stack.blocks_mm) == 5
    more = stack_of(gauge_set("metric_88"), 1.0005 + 1.007 + 1.43 + 8.5 + 100.0 + 90.0)
    assert len(more.blocks_mm) == 6
    assert more.height_mm == pytest.approx(201.9375, abs=1e-9)


def test_wear_blocks_stand_at_both_ends():
    stack = stack_of(gauge_set("inch_81"), 1.25 * INCH, wear=True)
    assert stack.blocks_mm[0] == stack.blocks_mm[-1] == pytest.approx(0.05 * INCH)
    assert stack.height_mm == pytest.approx(1.25 * INCH, abs=1e-9)
    assert min(stack.blocks_mm[1:-1]) >= 0.05 * INCH


def test_nearest_stack_where_none_makes_the_length():
    """0.3 mm is thinner than the thinnest block of 0.5 mm; 0.7 mm lies nearer to 0.5 than to 1.0."""
    assert stack_of(gauge_set("metric_88"), 0.3).height_mm == pytest.approx(0.5)
    assert stack_of(gauge_set("metric_88"), 27.48765).height_mm == pytest.approx(27.4875, abs=1e-9)
    with pytest.raises(NotComputedError, match="comes near"):
        stack_of(gauge_set("metric_88"), 3000.0)
    with pytest.raises(SetupError, match="did you mean 'metric_88'"):
        gauge_set("metric_89")


def test_25_mm_of_gauge_blocks_is_off_by_no_more_than_its_grade_allows():
    """ISO 3650, from memory: 25 mm of grade 0 within 0.15 um, grade 1 within 0.30 um; two joints of 0.03."""
    stack = stack_of(gauge_set("metric_112"), 25.0)
    assert stack_error_um(stack, "0") == pytest.approx(0.15)
    assert stack_error_um(stack, "1") == pytest.approx(0.30)


def test_a_sine_bar_stands_as_high_as_published_tables_say():
    """5 in at 27 deg: 2.26995 in (higherprecision.com); at 18 deg: 1.54508 in (shopdawg.com/sinebar.htm)."""
    assert sine_height_mm(5.0, 27.0) == pytest.approx(2.26995, abs=5e-6)
    assert sine_height_mm(5.0, 18.0) == pytest.approx(1.54508, abs=5e-6)
    assert sine_angle_deg(127.0, sine_height_mm(127.0, 33.3)) == pytest.approx(33.3, abs=1e-12)


def test_error_of_a_sine_bar():
    """0.0001 in more under 5 in: 0.00132 deg at 30, 0.00229 deg at 60 (M. Klotz)."""
    for angle_deg, off_deg in ((30.0, 0.00132), (60.0, 0.00229)):
        by_stack, _, _ = angle_error_arcsec(
            5.0 * INCH, angle_deg, height_um=0.0001 * INCH * 1e3, distance_um=0.0, flatness_um=0.0
        )
        assert by_stack / 3600.0 == pytest.approx(off_deg, abs=5e-6)
    # The distance of the rolls, by the difference of two angles.
    _, by_distance, by_flatness = angle_error_arcsec(
        100.0, 40.0, height_um=0.0, distance_um=10.0, flatness_um=5.0
    )
    h = sine_height_mm(100.0, 40.0)
    assert by_distance == pytest.approx(
        (sine_angle_deg(100.0, h) - sine_angle_deg(100.01, h)) * 3600, rel=1e-3
    )
    assert by_flatness == pytest.approx(math.degrees(5e-5) * 3600)
    assert tilt_um(206.265, 1.0) == pytest.approx(1.0, rel=1e-5)


def test_two_square_slopes_lean_as_their_cosines_multiply():
    """20 and 10 deg about square axes lean 22.2687 deg: acos(cos A cos B)."""
    assert resultant_deg(20.0, 10.0) == pytest.approx(22.2687, abs=5e-5)
    for normal in ((0.2, -0.3, 0.9), (-0.1, 0.05, 1.0), (0.4, 0.4, 0.4)):
        n = np.array(normal) / np.linalg.norm(normal)
        a, b = (math.radians(v) for v in compound_settings_deg(tuple(n)))
        about_y = np.array([[math.cos(b), 0, math.sin(b)], [0, 1, 0], [-math.sin(b), 0, math.cos(b)]])
        about_x = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
        assert about_x @ about_y @ n == pytest.approx([0.0, 0.0, 1.0], abs=1e-12)
        assert resultant_deg(math.degrees(a), math.degrees(b)) == pytest.approx(math.degrees(math.acos(n[2])))


def test_angle_gauges_reach_what_they_are_known_for():
    """13 pieces reach 81 deg 40' 57" in steps of 3", 98 019 values (doi 10.1177/014233129501500108)."""
    blocks = angle_set("angle_13")
    assert len(blocks.sizes_arcsec) == 13
    assert dms(blocks.most_arcsec) == "81° 40' 57\""
    assert blocks.most_arcsec / 3 == 98019
    for wanted in (3, 27, 3600 * 12 + 1800, 294057, 3600 * 37 + 9 * 60 + 18, 111111):
        found = angle_stack(blocks, wanted)
        assert abs(found.angle_arcsec - wanted) <= 1.5
    with pytest.raises(NotComputedError, match="is beyond"):
        angle_stack(blocks, 300000.0)


def test_no_fewer_gauges_make_an_angle_than_the_stack_found():
    blocks = angle_set("angle_13")
    assert angle_stack(blocks, 3600 * 27).blocks_arcsec == (97200,)
    # 12.5 deg = 9 + 3 + 27' + 3': no three or fewer pieces make it, tried one by one.
    found = angle_stack(blocks, 3600 * 12 + 1800)
    assert found.angle_arcsec == 45000
    fewer = len(found.blocks_arcsec) - 1
    for count in range(1, fewer + 1):
        for pieces in itertools.combinations(blocks.sizes_arcsec, count):
            assert not any(
                sum(s * p for s, p in zip(signs, pieces, strict=True)) == 45000
                for signs in itertools.product((-1, 1), repeat=count)
            )


def bar(**given) -> SineBar:
    stated = {
        "roll_distance_mm": 127.0, "distance_um": 0.0, "flatness_um": 0.0, "blocks": "metric_88",
        "grade": "1", "wear": False,
    }  # fmt: skip
    return SineBar(**(stated | given))


def test_an_incline_reaches_what_its_stack_makes():
    found = sine_incline(bar(), 12.5)
    assert found.reached_deg == pytest.approx(math.degrees(math.asin(found.stack.height_mm / 127.0)))
    # Half a step of 0.5 um over 127 mm is 0.4 seconds.
    assert abs(found.missed_arcsec) <= 0.42
    assert found.most_arcsec >= found.unsure_arcsec > 0


def test_an_angle_that_no_stack_makes_is_told_with_the_nearest():
    with pytest.raises(NotComputedError, match=r"nearest, 0.5000 mm, makes 0.22557 degrees, off by \+452"):
        sine_incline(bar(), 0.1)


def test_every_set_has_wear_blocks_of_its_own():
    for blocks in gauge_sets().values():
        assert blocks.wear > 0
