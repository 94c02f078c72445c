"""Clamps against published torque examples and statics."""

import math

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.interval import Range
from fixturecheck.statics import clamps as c

# M12 8.8: stress area 84.3 mm2, proof 580 MPa, 70 % of proof: aionlinecalculator.com bolt torque page.
FORCE = 0.7 * 580 * 84.3


def test_a_published_torque_gives_its_published_force(compared):
    assert pytest.approx(34.2e3, rel=5e-3) == FORCE
    found = c.screw_force_n(82.1, 12.0, Range.exactly(0.2)).low
    assert found == pytest.approx(FORCE, rel=5e-3)
    compared("force in an M12 screw, 82.1 N m", expected=34.2, got=found / 1e3)


@pytest.mark.parametrize(("k", "kilonewton"), [(0.15, 45.6), (0.30, 22.8)])
def test_the_same_torque_on_a_slicker_thread_gives_more_force(k, kilonewton, compared):
    """Same page; 45.6 kN is below the proof load of 48.9 kN, whatever its text says."""
    force = c.screw_force_n(82.1, 12.0, Range.exactly(k)).low
    assert force == pytest.approx(kilonewton * 1e3, rel=5e-3)
    compared(f"force in the same, K = {k:.2f}", expected=kilonewton, got=force / 1e3)
    assert force < 580 * 84.3


@pytest.mark.parametrize(
    ("state", "low", "high"), [("dry", 0.20, 0.25), ("oiled", 0.15, 0.20), ("anti_seize", 0.12, 0.16)]
)
def test_the_nut_factor_of_each_thread_is_the_published_range(state, low, high):
    """mechconcepts.tech bolt torque page (cites Shigley)."""
    assert c.nut_factor(state) == Range(low=low, high=high)


def test_vise_is_a_screw_with_losses():
    k, share = c.nut_factor("oiled"), c.vise_efficiency()
    jaw, screw = c.vise_force_n(30.0, 16.0, k, share), c.screw_force_n(30.0, 16.0, k)
    assert jaw.low == pytest.approx(screw.low * share.low)
    assert jaw.high == pytest.approx(screw.high * share.high)


@pytest.mark.parametrize(("across_mm", "lead_mm"), [(10.0, 1.5), (12.0, 1.75), (16.0, 2.0), (20.0, 2.5)])
def test_the_screw_of_a_vise_presses_as_a_power_screw_does(across_mm, lead_mm):
    """Torque of a power screw with 60 degrees of thread and a plain collar, friction 0.15 when oiled:
    Shigley, Mechanical Engineering Design, ch. 8, from memory. T = K d F is within a factor of 1.5."""
    f, mean_mm, collar_mm = 0.15, across_mm - 0.6495 * lead_mm, 1.25 * across_mm
    f_flank = f / math.cos(math.radians(30.0))
    rise = (lead_mm + math.pi * f_flank * mean_mm) / (math.pi * mean_mm - f_flank * lead_mm)
    arm_mm = 0.5 * (mean_mm * rise + f * collar_mm)
    force_n = 12e3 / arm_mm
    found = c.screw_force_n(12.0, across_mm, c.nut_factor("oiled"))
    assert found.low / 1.5 < force_n < found.high * 1.5
    assert found.low < 1.1 * force_n


def test_strap_is_a_lever():
    """Moments about the heel: screw x a = part x (a + b); statics."""
    strap = c.strap_clamp(
        Range(low=900.0, high=1200.0), screw_to_heel_mm=30.0, screw_to_part_mm=20.0, at_mm=(1.0, 2.0, 3.0)
    )
    assert strap.force_n.low * 50.0 == pytest.approx(900.0 * 30.0)
    assert strap.vector_n(strap.force_n.high) == (0.0, 0.0, -720.0)


def test_toe_clamp_pushes_in_and_down():
    toe = c.toe_clamp(Range.exactly(100.0), inward=(-2.0, 0.0, 0.0), down_deg=10.0, at_mm=(0, 0, 0))
    x, y, z = toe.vector_n(100.0)
    assert (x, y, z) == pytest.approx(
        (-100 * math.cos(math.radians(10)), 0, -100 * math.sin(math.radians(10)))
    )


def test_friction_ranges_hold_the_published_values():
    """0.15 to 0.30 of the pull on a chuck (manual 244 p. 39), about 0.2 with magnets."""
    magnet = c.friction("magnet")
    assert (magnet.low, magnet.high) == (0.15, 0.30)
    assert magnet.holds(0.2)
    assert c.friction("cast_iron_on_steel").holds(0.4)
    assert c.friction("coolant_film").high < c.friction("ground_steel").high


def test_bad_clamps_are_refused():
    with pytest.raises(SetupError, match="screw"):
        c.screw_force_n(-1.0, 10.0, Range.exactly(0.2))
    with pytest.raises(SetupError, match="efficiency"):
        c.vise_force_n(1.0, 10.0, Range.exactly(0.2), Range(low=0.5, high=1.2))
    with pytest.raises(SetupError, match="toe"):
        c.toe_clamp(Range.exactly(1.0), inward=(0.0, 0.0, 1.0), down_deg=5.0, at_mm=(0, 0, 0))
    with pytest.raises(SetupError, match="strap"):
        c.strap_clamp(Range.exactly(1.0), screw_to_heel_mm=0.0, screw_to_part_mm=1.0, at_mm=(0, 0, 0))
    with pytest.raises(SetupError, match="oiled"):
        c.nut_factor("honey")
