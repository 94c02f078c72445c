"""Wheel speeds, markings, flanges and guards against standards, laws and worked numbers."""

import math

import pytest

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.shop.tables import read
from fixturecheck.shop.wheels import (
    SFPM_IN_M_S,
    Wheel,
    bond_of,
    guard_exposure,
    least_flange_mm,
    rpm_for,
    speed_limit,
    speed_m_s,
    stripes,
)


# 6 in at 6500 sfpm: themacgrinders.com/pages/wheel-speed (3.82 V / D); 7 and 8 in: the same closed form.
@pytest.mark.parametrize(("diameter_in", "rpm"), [(6, 4138), (7, 3547), (8, 3104)])
def test_spindle_speed_for_6500_surface_feet(diameter_in: float, rpm: float) -> None:
    found = rpm_for(6500 * SFPM_IN_M_S, diameter_mm=25.4 * diameter_in)
    assert found == pytest.approx(rpm, rel=1e-3)
    assert found == pytest.approx(12 / math.pi * 6500 / diameter_in, rel=1e-12)


@pytest.mark.parametrize(("speed", "rpm"), [(33.0, 3151), (35.0, 3342)])
def test_spindle_speed_of_a_200_mm_wheel(speed: float, rpm: float) -> None:
    assert rpm_for(speed, diameter_mm=200.0) == pytest.approx(rpm, rel=1e-3)


def test_6500_surface_feet_a_minute_are_33_m_a_second() -> None:
    assert pytest.approx(33.02, rel=1e-9) == 6500 * SFPM_IN_M_S


def test_surface_speed_of_a_worked_problem() -> None:
    # Groover, Fundamentals of Modern Manufacturing, ch. 25: 250 mm wheel at 2600 rpm runs at 34.03 m/s.
    assert speed_m_s(250.0, 2600.0) == pytest.approx(34.03, rel=1e-3)


def test_speed_and_spindle_speed_undo_each_other() -> None:
    assert rpm_for(speed_m_s(178.0, 2850.0), diameter_mm=178.0) == pytest.approx(2850, rel=1e-12)


@pytest.mark.parametrize("diameter_mm", [0.0, -1.0, math.nan])
def test_spindle_speed_needs_a_diameter(diameter_mm: float) -> None:
    with pytest.raises(SetupError, match="diameter_mm"):
        rpm_for(30.0, diameter_mm=diameter_mm)


# ANSI B7.1 table 23, vitrified straight wheel, from memory: 5500, 6000, 6500 sfpm, rounded 28, 30, 33 m/s.
@pytest.mark.parametrize(
    ("strength", "sfpm", "rounded"), [("low", 5500, 28), ("medium", 6000, 30), ("high", 6500, 33)]
)
def test_limits_of_a_vitrified_straight_wheel(strength: str, sfpm: float, rounded: float) -> None:
    limit = speed_limit(Wheel(spec="A 46 J 8 V"), strength=strength)
    assert limit.speed_m_s == pytest.approx(sfpm * 0.3048 / 60, rel=1e-12)
    assert round(limit.speed_m_s) == rounded
    assert not limit.marked
    assert "from memory" in limit.source
    assert strength in limit.source


def test_lowest_strength_is_assumed_when_the_wheel_says_nothing() -> None:
    assert speed_limit(Wheel()).speed_m_s == pytest.approx(27.94, rel=1e-9)


def test_the_mark_on_the_wheel_is_the_limit() -> None:
    # ANSI B7.1-2000 section 7.1.1: the maker's limit holds, above or below the table.
    for mark in (25.0, 50.0):
        limit = speed_limit(Wheel(max_speed_m_s=mark))
        assert (limit.speed_m_s, limit.marked) == (mark, True)
    with pytest.raises(SetupError, match="max_speed_m_s"):
        speed_limit(Wheel(max_speed_m_s=0.0))


def test_a_worn_wheel_may_turn_faster_but_not_run_faster() -> None:
    # ANSI B7.1-2000 section 7.1.1: rpm may rise as D falls only while the surface speed is not exceeded.
    limit = speed_limit(Wheel()).speed_m_s
    assert rpm_for(limit, diameter_mm=150.0) > rpm_for(limit, diameter_mm=178.0)
    assert speed_limit(Wheel(diameter_mm=150.0)).speed_m_s == limit


def test_cups_are_slower_and_resin_is_faster() -> None:
    assert speed_limit(Wheel(shape="11")).speed_m_s < speed_limit(Wheel(shape="1")).speed_m_s
    assert speed_limit(Wheel(spec="A 46 J 8 B")).speed_m_s > speed_limit(Wheel(spec="A 46 J 8 V")).speed_m_s


def test_a_limit_that_is_not_on_file_is_not_computed() -> None:
    with pytest.raises(NotComputedError, match="bond MG"):
        speed_limit(Wheel(spec="A 46 J 8 Mg"))
    with pytest.raises(SetupError, match="strength of wheel 'hi' is not known"):
        speed_limit(Wheel(), strength="hi")


def test_each_stripe_on_a_wheel_means_the_speed_of_the_standard() -> None:
    # EN 12413, from memory.
    assert dict(stripes()) == {"blue": 50, "yellow": 63, "red": 80, "green": 100}


# WAC 296-806-40506 table 405-1 and MIOSHA R 408.10199 table 1.
@pytest.mark.parametrize(
    ("machine", "total_deg", "start_deg"),
    [
        ("surface_grinder", 150, -15),
        ("bench_grinder", 90, 65),
        ("bench_grinder_work_below_spindle", 125, 65),
        ("cylindrical_grinder", 180, 65),
    ],
)
def test_a_guard_may_leave_as_much_open_as_the_kind_of_machine_allows(
    machine: str, total_deg: float, start_deg: float
) -> None:
    exposure = guard_exposure(machine)
    assert (exposure.total_deg, exposure.start_deg) == (total_deg, start_deg)
    with pytest.raises(SetupError, match="kind of machine"):
        guard_exposure("lathe")


def test_the_least_flange_is_a_third_of_the_wheel() -> None:
    # OSHA 1910.215(c), from memory: a straight flange is at least a third of the wheel.
    assert least_flange_mm(Wheel(diameter_mm=180.0)) == pytest.approx(60, rel=1e-12)


def test_every_row_of_the_wheels_table_has_a_source() -> None:
    for rows in read("wheels").values():
        for row in rows:
            assert row["source"]


def test_limits_rise_with_strength() -> None:
    for row in read("wheels")["speed_limit"]:
        assert row["low_sfpm"] < row["medium_sfpm"] < row["high_sfpm"]


# D x T x H: adgrind.com/abrasives/wheel_shapes.htm and ques10.com/p/41226.


# `40A 60 K 7 V`: golpa-sab.com/standard_marketing_system.htm after ISO 525.
@pytest.mark.parametrize(
    ("text", "bond"),
    [
        ("40A 60 K 7 V", "V"),
        ("40A 60 K 7 V A1", "V"),
        ("A60K7V", "V"),
        ("C 80-H-V", "V"),
        ("51a 36 l 5 v", "V"),
        ("A 24 R 5 BF", "BF"),
    ],
)
def test_bond_is_read_from_the_specification(text: str, bond: str) -> None:
    assert bond_of(text) == bond


@pytest.mark.parametrize("text", ["", "60 K 7 V", "A K 7 V", "A 60 7 V", "A 60 K 7", "A 60 K 7 Q"])
def test_text_that_is_no_specification_is_refused(text: str) -> None:
    with pytest.raises(SetupError, match="wheel spec"):
        bond_of(text)
