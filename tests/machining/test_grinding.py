"""Grinding loads against textbook problems and closed forms; each source stands beside its numbers."""

import math

import numpy as np
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.interval import Range, over_ends
from fixturecheck.machining import grinding as g

INCH = 25.4
LBF = 4.4482216152605


def a_pass(**changes):
    plain = {
        "depth_mm": 0.01,
        "width_mm": 10.0,
        "table_speed_m_min": 12.0,
        "wheel_speed_m_s": 30.0,
        "wheel_diameter_mm": 200.0,
    }
    return g.Pass(**{**plain, **changes})


def arc_mm(depth_mm, diameter_mm):
    """Length of the arc of contact, in whose middle the loads act: twice the angle of that middle by R."""
    made = a_pass(depth_mm=depth_mm, wheel_diameter_mm=diameter_mm)
    middle = g.cut_loads(made, g.pass_forces(made, g.abrasion("soft_steel")))[0].offset_mm
    return diameter_mm * math.asin(abs(middle[0]) / (0.5 * diameter_mm))


def test_textbook_problem_in_inches(compared):
    """Groover, Fundamentals of Modern Manufacturing, ch. 25 (statement: tutorsglobe 51658805)."""
    depth, width, speed = 0.002 * INCH, 0.15 * INCH, 5000 * 12 * INCH / 60e3
    work = 20 * 12 * INCH / 1e3
    assert arc_mm(depth, 8 * INCH) == pytest.approx(0.1265 * INCH, rel=1e-3)
    rate = g.removal_rate_mm3_s(depth, width, work)
    assert rate * 60 == pytest.approx(0.072 * INCH**3, rel=1e-3)
    drag = g.tangential_n(41.94, rate, speed)
    assert drag == pytest.approx(7.3 * LBF, rel=1e-3)
    compared("drag, inch problem", expected=7.3, got=drag / LBF)


def test_textbook_problem_in_millimetres(compared):
    """Groover, same chapter (statement: tutorsglobe 5737146)."""
    speed = math.pi * 0.25 * 2600 / 60
    assert speed == pytest.approx(34.03, rel=1e-3)
    assert arc_mm(0.05, 250) == pytest.approx(3.5355, rel=1e-4)
    rate = g.removal_rate_mm3_s(0.05, 3.5, 6.0)
    assert rate * 60 == pytest.approx(1050, rel=1e-9)
    drag = g.tangential_n(50.56, rate, speed)
    assert drag == pytest.approx(26.0, rel=1e-3)
    compared("drag, metric problem", expected=26.0, got=drag)


def test_arc_chip_and_force_of_grinding_are_their_closed_forms():
    """lc = sqrt(ae de), heq = ae vw/vs, F't = u ae vw/vs: Rowe, Malkin, from memory."""
    assert arc_mm(0.01, 200) == pytest.approx(math.sqrt(2), rel=1e-4)
    assert g.equivalent_chip_um(0.01, 12.0, 30.0) == pytest.approx(0.2 / 3, rel=1e-9)
    rate = g.removal_rate_mm3_s(0.01, 1.0, 12.0)
    assert rate == pytest.approx(2.0, rel=1e-12)
    assert g.tangential_n(40.0, rate, 30.0) == pytest.approx(8.0 / 3.0, rel=1e-12)


@pytest.mark.parametrize(
    ("chip_um", "energy"),
    [(0.2032, 41.94), (0.05 / 34.034 * 100, 50.56), (0.0667, 40.0)],
    ids=["Groover US", "Groover SI", "Rowe-Malkin set"],
)
def test_table_range_holds_the_textbook_values(chip_um, energy):
    assert g.specific_energy_j_mm3(g.abrasion("soft_steel"), chip_um).holds(energy)


@pytest.mark.parametrize("material", ["soft_steel", "hard_steel", "cast_iron"])
def test_energy_lies_in_the_published_range_of_grinding(material):
    """About 50 J/mm3 against 2 to 5 of other cutting, within a factor of two: scribd 410295403."""
    energy = g.specific_energy_j_mm3(g.abrasion(material), 0.1)
    assert 2 * 5 < energy.low < 50 < energy.high <= 2 * 50


def test_hardened_steel_takes_as_much_more_as_its_source_says():
    """A sixth more at the low end and two sevenths more at the high end: common practice, no source."""
    soft, hard = (g.abrasion(name).energy_j_mm3 for name in ("soft_steel", "hard_steel"))
    assert hard.low == pytest.approx(soft.low * 7 / 6)
    assert hard.high == pytest.approx(soft.high * 9 / 7)
    assert (
        "a sixth more at the low end and two sevenths more at the high end" in g.abrasion("hard_steel").source
    )


def test_smaller_cuts_take_more_energy():
    """Size effect: Malkin & Guo 2e sec. 5.4; floor 13.8 J/mm3 for steel: ch. 5, from memory."""
    steel = g.abrasion("hard_steel")
    lows, highs = zip(
        *((e.low, e.high) for e in (g.specific_energy_j_mm3(steel, c) for c in (0.02, 0.05, 0.1, 0.3, 1.0))),
        strict=True,
    )
    assert all(np.diff(lows) < 0)
    assert all(np.diff(highs) < 0)
    assert g.specific_energy_j_mm3(steel, 1e4).low == 13.8


def test_force_ratio_holds_what_is_published():
    """Ft/Fn 0.2 to 0.5 for aluminium oxide on steel, typically 0.3 to 0.4, down to 0.2 for hard steel and
    dull wheels: Rowe, Malkin, from memory. A wheel in an unknown state may have any typical one and more."""
    usual, sharp, dull = (
        g.abrasion("soft_steel", wheel).force_ratio for wheel in ("alumina", "alumina_sharp", "alumina_dull")
    )
    assert 0.2 <= usual.low < 0.3
    assert 0.4 < usual.high <= 0.5
    assert dull.low == 0.2
    assert sharp.high == 0.5
    assert dull.low < sharp.low
    assert dull.high < sharp.high


def test_forces_carry_both_ends():
    steel = g.abrasion("soft_steel")
    forces = g.pass_forces(a_pass(), steel)
    energy = forces.energy_j_mm3
    assert forces.tangential_n.low == pytest.approx(energy.low * 20.0 / 30.0)
    assert forces.tangential_n.high == pytest.approx(energy.high * 20.0 / 30.0)
    assert forces.normal_n.low == pytest.approx(forces.tangential_n.low / steel.force_ratio.high)
    assert forces.normal_n.high == pytest.approx(forces.tangential_n.high / steel.force_ratio.low)
    assert forces.wall_n == Range.exactly(0.0)


def test_force_scales_with_width():
    one, two = (g.pass_forces(a_pass(width_mm=w), g.abrasion("soft_steel")) for w in (5.0, 10.0))
    assert two.normal_n.high == pytest.approx(2 * one.normal_n.high)


def test_wall_pushes_away_from_the_wheel_and_drags_along_it():
    steel = g.abrasion("soft_steel")
    cut = a_pass(wall_normal=(0.0, -1.0, 0.0), wall_depth_mm=0.005, wall_height_mm=5.0)
    forces = g.pass_forces(cut, steel)
    flat = g.pass_forces(a_pass(), steel)
    assert forces.tangential_n.high > flat.tangential_n.high
    assert forces.wall_n.low > 0.0
    rim = flat.tangential_n
    for load in g.cut_loads(cut, forces):
        # All along the wall it cuts alike: as if midway up.
        assert load.side_force_n[1] == load.wall_n > 0.0
        assert load.side_offset_mm == (0.0, 0.0, 2.5)
        assert load.force_n[1] == 0.0
    heaviest = [x for x in g.cut_loads(cut, forces) if x.drag_n == forces.tangential_n.high]
    assert {round(x.side_force_n[0], 9) for x in heaviest} == {round(forces.tangential_n.high - rim.high, 9)}
    touching = g.pass_forces(a_pass(wall_normal=(0.0, 1.0, 0.0)), steel)
    assert touching.wall_n.low == 0.0
    assert touching.wall_n.high == pytest.approx(0.3 * touching.normal_n.high)


def test_a_cross_fed_pass_pushes_along_the_spindle_either_way_and_a_plunge_does_not():
    """Up to a tenth of the normal force: common practice, no source."""
    steel = g.abrasion("soft_steel")
    plunge, fed = (g.pass_forces(a_pass(cross_fed=c), steel) for c in (False, True))
    assert plunge.cross_n == Range.exactly(0.0)
    assert fed.cross_n.high == pytest.approx(0.1 * fed.normal_n.high)
    assert fed.cross_n.low == -fed.cross_n.high
    assert (fed.tangential_n, fed.normal_n) == (plunge.tangential_n, plunge.normal_n)
    along = {load.force_n[1] for load in g.cut_loads(a_pass(cross_fed=True), fed)}
    assert along == {fed.cross_n.low, fed.cross_n.high}


@pytest.mark.parametrize("sparks", ["left", "right"])
def test_drag_follows_the_wheel_and_both_strokes_are_there(sparks):
    cut = a_pass(sparks=sparks, depth_mm=0.02)
    loads = g.cut_loads(cut, g.pass_forces(cut, g.abrasion("soft_steel")))
    sign = 1 if sparks == "right" else -1
    assert len(loads) == 8
    assert {round(load.offset_mm[0], 6) > 0 for load in loads} == {True, False}
    # Within half the arc of contact (about a degree) drag is level and press is down.
    assert all(sign * load.force_n[0] > 0 and load.force_n[2] < 0 for load in loads)


def test_force_is_built_square_to_the_arc():
    """In the middle of the arc the press points from the wheel's centre and the drag is square to it."""
    cut = a_pass(depth_mm=5.0)
    forces = g.Forces(
        tangential_n=Range.exactly(3.0),
        normal_n=Range.exactly(7.0),
        wall_n=Range.exactly(0.0),
        side_n=Range.exactly(0.0),
        cross_n=Range.exactly(0.0),
        energy_j_mm3=Range.exactly(1.0),
    )
    for load in g.cut_loads(cut, forces):
        centre = np.array([0.0, 0.0, 100.0])
        out = (np.array(load.offset_mm) - centre) / 100.0
        assert np.linalg.norm(out) == pytest.approx(1.0)
        # Velocity of the rim: the lowest point moves to +X.
        rim = np.cross([0.0, -1.0, 0.0], out)
        assert rim @ [1, 0, 0] > 0
        assert load.force_n == pytest.approx(tuple(7.0 * out + 3.0 * rim))


def test_chord_of_the_arc_lies_over_the_work():
    """Half the arc seen level is half the run-in sqrt(a(D-a)) for small depth: plane geometry."""
    cut = a_pass(depth_mm=0.02)
    loads = g.cut_loads(cut, g.pass_forces(cut, g.abrasion("soft_steel")))
    assert abs(loads[0].offset_mm[0]) == pytest.approx(0.5 * math.sqrt(0.02 * (200 - 0.02)), rel=1e-4)


@pytest.mark.parametrize(
    "changes",
    [
        {"depth_mm": 0.0},
        {"depth_mm": 101.0},
        {"width_mm": -1.0},
        {"wheel_speed_m_s": math.nan},
        {"sparks": "up"},
        {"wall_normal": (0.0, 0.0, 1.0)},
        {"wall_normal": (0.0, 1.0, 0.0), "wall_depth_mm": -0.1},
    ],
)
def test_impossible_passes_are_refused(changes):
    with pytest.raises(SetupError, match="grinding pass"):
        g.pass_forces(a_pass(**changes), g.abrasion("soft_steel"))


def test_unknown_rows_name_the_known():
    with pytest.raises(SetupError, match="hard_steel"):
        g.abrasion("butter")
    with pytest.raises(SetupError, match="alumina_dull"):
        g.abrasion("soft_steel", "cheese")


def test_ranges_refuse_what_is_none_and_find_ends():
    with pytest.raises(SetupError, match="swap"):
        Range(low=2.0, high=1.0)
    with pytest.raises(SetupError, match="finite"):
        Range(low=0.0, high=math.inf)
    found = over_ends(lambda a, b: a / b, Range(low=1.0, high=2.0), Range(low=4.0, high=8.0))
    assert (found.low, found.high) == (0.125, 0.5)
    assert Range(low=1.0, high=3.0).scaled(-2.0) == Range(low=-6.0, high=-2.0)
