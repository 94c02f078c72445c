"""Speeds, travels, flange and guard against published numbers."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import replace

import pytest

from fixturecheck.checks import limits
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Location
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.make import equipment
from fixturecheck.setup.model import Machine
from fixturecheck.shop.wheels import Flange, Guard, Wheel
from tests.machining.scene import block, pawl, stage


def run(*bodies, **kwargs):
    return list(limits.check(stage(bodies or (pawl(),), **kwargs)))


def one(found, word):
    return next(f for f in found if word in f.says)


@pytest.mark.parametrize(
    ("diameter_in", "rpm", "sfpm"),
    [
        (6.0, 4138.0, 6500.0),  # themacgrinders.com/pages/wheel-speed
        (7.0, 3547.0, 6500.0),
        (8.0, 3104.0, 6500.0),
    ],
)
def test_surface_speed_and_its_conversion(diameter_in, rpm, sfpm):
    wheel = Wheel(diameter_mm=diameter_in * 25.4, max_speed_m_s=35.0)
    speed = one(run(wheel=wheel, rpm=rpm), "surface runs")
    assert speed.value == pytest.approx(sfpm * 0.3048 / 60, rel=1e-3)
    assert (speed.unit, speed.limit, speed.verdict) == ("m/s", 35.0, Verdict.GO)


def test_the_surface_speed_of_a_200_mm_wheel_is_that_of_its_rim():
    # 200 mm at 33 and 35 m/s: 3151 and 3342 rpm, closed form.
    for rpm, expected in ((3151.0, 33.0), (3342.0, 35.0)):
        found = one(run(wheel=Wheel(diameter_mm=200.0), rpm=rpm), "surface runs")
        assert found.value == pytest.approx(expected, rel=1e-3)


def test_an_unmarked_vitrified_wheel_is_held_to_the_lowest_row_and_the_remedy_is_within_it():
    # ANSI B7.1 table 23, from memory: 5500 sfpm.
    fast = one(run(rpm=3450.0), "surface runs")
    assert fast.verdict is Verdict.NO_GO
    assert fast.limit == pytest.approx(5500 * 0.3048 / 60)
    assert fast.margin == pytest.approx(fast.limit - math.pi * 0.178 * 3450 / 60)
    rpm = int(fast.remedy.split("no more than ")[1].split()[0])
    assert one(run(rpm=float(rpm)), "surface runs").verdict is Verdict.GO
    assert one(run(rpm=float(rpm + 1)), "surface runs").verdict is Verdict.NO_GO
    assert "local rules and trained people" in fast.remedy


def test_the_mark_on_the_wheel_comes_before_the_table():
    assert one(run(wheel=Wheel(max_speed_m_s=20.0)), "surface runs").verdict is Verdict.NO_GO
    assert one(run(wheel=Wheel(max_speed_m_s=50.0), rpm=3450.0), "surface runs").verdict is Verdict.GO


def test_a_bond_that_is_not_on_file_is_unknown():
    found = one(run(wheel=Wheel(spec="38A 46 J 8 MG")), "limit is not known")
    assert found.verdict is Verdict.UNKNOWN


def test_travels_and_the_overtravel_that_fits():
    out = math.sqrt(0.2 * (178 - 0.2))
    table = one(run(), "table travel")
    assert table.value == pytest.approx(20 + 2 * (out + 10.0), rel=1e-9)
    assert table.verdict is Verdict.GO
    short = one(run(machine=Machine(travel_x_mm=45.0)), "table travel")
    assert short.verdict is Verdict.NO_GO
    left = float(short.remedy.split("to ")[1].split()[0])
    assert 20 + 2 * (out + left) == pytest.approx(45.0, abs=0.11)
    assert one(run(machine=Machine(travel_x_mm=25.0)), "table travel").remedy is None
    cross = one(run(way="traverse", cross_feed_mm=3.0, wheel=Wheel(thickness_mm=8.0)), "cross feed")
    assert cross.value == pytest.approx(6.0)


def test_daylight_over_the_highest_body():
    found = one(run(pawl(), block("tower", (5, 5, 299.5), (80, 60, 0))), "above the table")
    assert (found.subject, found.verdict) == ("tower", Verdict.NO_GO)
    assert found.value == pytest.approx(300.5)
    assert found.margin == pytest.approx(-0.5)
    on_table = run(machine=Machine(table_z_mm=0.0))
    assert one(on_table, "above the table").value == pytest.approx(71.0)


def test_a_v_block_70_high_is_told_as_70_wherever_it_is_drawn():
    for low_mm in (40.0, 25.0):
        vee = equipment("magnetic_v_block", name="vee", height_mm=70.0)
        drawn_mm = min(box_of(b.solid)[2] for b in vee)
        bodies = [replace(b, at=Location((80.0, 60.0, low_mm - drawn_mm))) for b in vee]
        found = one(run(pawl(), *bodies), "above the table")
        # And the least clearance of 1 mm.
        assert found.value == pytest.approx(71.0)
        assert "stands 70 mm above the table" in found.says


def test_side_grinding_with_a_straight_wheel_is_a_caution_and_with_a_cup_is_not():
    assert one(run(wall_stock_mm=0.1), "side of a straight").verdict is Verdict.CAUTION
    assert not [f for f in run() if "side of a straight" in f.says]
    cup = Wheel(shape="6", diameter_mm=100, thickness_mm=40, bore_mm=20, rim_mm=8, bore_wall_mm=10)
    body = pawl(at=(20, 30, 50), turn=((0, 0, 1), 180))
    found = run(body, wheel=cup, wall_stock_mm=0.1, machine=Machine(flange=Flange(diameter_mm=40)))
    assert not [f for f in found if "side of a straight" in f.says]


@pytest.mark.parametrize(("flange", "verdict"), [(60.0, Verdict.GO), (59.0, Verdict.NO_GO)])
def test_a_flange_below_a_third_of_the_wheel_is_a_no_go(flange, verdict):
    # OSHA 1910.215(c), from memory.
    found = one(run(machine=Machine(flange=Flange(diameter_mm=flange))), "Flanges of")
    assert found.verdict is verdict
    assert found.limit == pytest.approx(178 / 3)


@pytest.mark.parametrize(("opening", "verdict"), [(150.0, Verdict.GO), (150.5, Verdict.NO_GO)])
def test_a_guard_may_leave_150_degrees_open(opening, verdict):
    # WAC 296-806-40506 table 405-1; MIOSHA R 408.10199 table 1: 150 degrees for a surface grinder.
    found = one(run(machine=Machine(guard=Guard(opening_deg=opening))), "guard leaves")
    assert (found.verdict, found.limit) == (verdict, 150.0)


def test_no_guard_is_no_go():
    found = one(run(machine=Machine(guard=None)), "No guard")
    assert found.verdict is Verdict.NO_GO
    assert "trained people" in found.remedy


def test_a_cross_feed_beyond_the_travel_is_cut_to_the_edge_of_the_floor():
    """The pawl's floor, 12 wide, without its wall and under a wheel of 3: 9 of feed, in fives 10."""
    given = {"wall": None, "way": "traverse", "wheel": Wheel(thickness_mm=3.0, corner_radius_mm=0.0)}
    machine = Machine(travel_y_mm=9.5)
    wide = one(run(machine=machine, cross_feed_mm=5.0, **given), "cross feed travel")
    assert (wide.verdict, wide.value) == (Verdict.NO_GO, pytest.approx(10.0))
    assert "Feed across by 4.5 mm a step" in wide.remedy
    assert one(run(machine=machine, cross_feed_mm=4.5, **given), "cross feed travel").verdict is Verdict.GO
    narrow = one(run(machine=Machine(travel_y_mm=8.0), cross_feed_mm=5.0, **given), "cross feed travel")
    assert narrow.remedy is None


def test_a_set_up_in_which_nothing_is_ground_has_no_wheel_to_judge():
    staged = stage((pawl(),), machine=Machine(guard=None, flange=Flange(diameter_mm=20.0)))
    idle = dataclasses.replace(staged, setup=dataclasses.replace(staged.setup, cuts=()), cuts=())
    assert list(limits.check(idle)) == []
