"""Level and parallel against plane trigonometry."""

from __future__ import annotations

import dataclasses
import math

import pytest

from fixturecheck.checks import align
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.result.finding import Verdict
from tests.machining.scene import FLOOR, LENGTH, block, pawl, stage


def run(*bodies, **kwargs):
    return list(align.check(stage(bodies, stock_mm=0.3, **kwargs)))


def of(found, face, word):
    return next(f for f in found if f.subject == f"floor_cut/{face}" and word in f.says)


def test_square_parts_are_go_with_no_error():
    found = run(pawl(), pawl("pawl_2", at=(25, 0, 50)))
    assert {f.verdict for f in found} == {Verdict.GO}
    assert all(f.value == 0.0 for f in found)
    assert all(f.unit == "um" for f in found)
    assert len(found) == 3 * 2 + 2


@pytest.mark.parametrize("error_um", [2.0, 20.0])
def test_a_floor_on_a_chip_rises_by_length_times_sine(error_um):
    angle = math.degrees(math.asin(error_um * 1e-3 / LENGTH))
    found = run(pawl(turn=((0, 1, 0), angle)))
    floor = of(found, "pawl_1.floor", "level")
    assert floor.value == pytest.approx(error_um, rel=1e-6)
    assert floor.verdict is (Verdict.GO if error_um <= 5 else Verdict.NO_GO)
    # A positive turn about Y lowers +X.
    assert f"-{error_um:g} µm toward +X" in floor.says
    if error_um > 5:
        assert "Raise its +X end by 20 µm" in (floor.remedy or "")
    wall = of(found, "pawl_1.wall", "traverse")
    assert wall.value == 0.0


def test_a_swung_part_runs_out_along_its_wall_only():
    angle = math.degrees(math.atan(0.03 / LENGTH))
    found = run(pawl(turn=((0, 0, 1), angle)))
    wall = of(found, "pawl_1.wall", "traverse")
    assert wall.value == pytest.approx(30.0 * math.cos(math.radians(angle)), rel=1e-6)
    assert wall.verdict is Verdict.NO_GO
    assert of(found, "pawl_1.wall", "upright").value == 0.0
    assert of(found, "pawl_1.floor", "level").value == 0.0


def test_a_tipped_part_leans_and_is_out_of_level_across():
    angle = 0.05
    found = run(pawl(turn=((1, 0, 0), angle)))
    tan, sin = math.tan(math.radians(angle)), math.sin(math.radians(angle))
    assert of(found, "pawl_1.floor", "level").value == pytest.approx(FLOOR * sin * 1e3, rel=1e-6)
    # Twelve millimetres of wall, whose height is 12 cos(angle).
    lean = 12 * math.cos(math.radians(angle)) * tan * 1e3
    assert of(found, "pawl_1.wall", "leans").value == pytest.approx(lean, rel=1e-6)


def test_a_stated_tolerance_replaces_the_default():
    angle = math.degrees(math.asin(0.02 / LENGTH))
    found = run(pawl(turn=((0, 1, 0), angle), tolerance={"floor": 0.03}))
    floor = of(found, "pawl_1.floor", "level")
    assert (floor.verdict, floor.limit) == (Verdict.GO, pytest.approx(30.0))
    assert "tolerance" in floor.source


def test_a_gang_off_in_height_and_line_is_measured_from_the_first():
    found = run(pawl(), pawl("pawl_2", at=(25, 0.004, 50.012)))
    high = of(found, "pawl_2.floor", "higher")
    assert high.value == pytest.approx(12.0, rel=1e-6)
    assert high.verdict is Verdict.NO_GO
    assert high.remedy == "Lower pawl_2 by 12 µm."
    off = of(found, "pawl_2.wall", "out of line")
    assert (off.verdict, off.value) == (Verdict.GO, pytest.approx(4.0, rel=1e-6))


def turned(axis, turn_deg):
    """The findings of a part that stands turned; only where it stands counts, not what the wheel takes."""
    staged = stage((pawl(),), stock_mm=0.3)
    stands = dataclasses.replace(staged.setup, bodies=(pawl(turn=(axis, turn_deg)),))
    return list(align.check(dataclasses.replace(staged, setup=stands)))


@pytest.mark.parametrize("turn_deg", [0.05, -0.05])
def test_the_swing_that_is_named_brings_the_wall_back(turn_deg):
    """A part that was turned counter-clockwise is swung clockwise, and the other way about."""
    found = of(turned((0, 0, 1), turn_deg), "pawl_1.wall", "traverse")
    way = "clockwise" if turn_deg > 0 else "counter-clockwise"
    assert f"Swing pawl_1 {way} seen from above" in found.remedy


@pytest.mark.parametrize("turn_deg", [0.05, -0.05])
def test_the_tip_that_is_named_brings_the_wall_upright(turn_deg):
    """Turned about +X the top goes toward -Y, so that it is tipped back toward +Y."""
    found = of(turned((1, 0, 0), turn_deg), "pawl_1.wall", "height")
    assert f"Tip the top of pawl_1 toward {'+' if turn_deg > 0 else '-'}Y" in found.remedy


def test_a_floor_out_of_level_one_way_is_raised_that_way_only():
    found = of(turned((0, 1, 0), 0.05), "pawl_1.floor", "level")
    assert "Y end" not in found.remedy
    assert "X end" in found.remedy


def test_a_part_that_lies_on_the_chuck_is_not_told_to_go_lower():
    chuck = block("chuck", (60, 60, 10), (-5, -5, 40))
    taller = pawl("pawl_2", at=(25, 0, 50.012))
    shim = block("shim", (20, 30, 0.012), (25, 0, 50))
    staged = stage((pawl(), taller, chuck, shim))
    bodies = [b.placed() for b in staged.setup.bodies]
    touching = dataclasses.replace(staged, contacts=find_contacts(bodies, staged.setup.tolerances))
    high = of(list(align.check(touching)), "pawl_2.floor", "higher")
    assert high.remedy == "Pack the others up by 12 µm, or grind pawl_2 in a cut of its own."
