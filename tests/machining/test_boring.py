"""What a drill, a tap and a plunging end mill push and turn their part with, against others' formulas."""

import math

import pytest
from scipy.integrate import quad

from fixturecheck.interval import Range
from fixturecheck.machining.boring import (
    drill_feed_mm,
    drill_forces,
    lip_torque_nmm,
    plunge_forces,
    tap_forces,
)
from fixturecheck.machining.milling import shearing
from fixturecheck.result.hold import AxialStroke

MILD = shearing("soft_steel")
LBF_N, IN_MM, KG_MM2_PSI = 4.4482, 25.4, 1422.3


@pytest.mark.parametrize(("drill_mm", "feed_mm"), [(2.0, 0.05), (6.0, 0.12), (10.0, 0.2), (25.0, 0.35)])
def test_the_range_holds_the_measured_law_of_twist_drills(drill_mm, feed_mm):
    """Shaw and Oxford 1957 [@shaw1957], from memory, in inches and pounds at a Brinell hardness of 150.

    M = 0.087 HB f^0.8 d^1.8 and T = 0.195 HB f^0.8 d^0.8 + 0.0022 HB d^2, chisel edge 0.18 of d.
    """
    d, f, hb = drill_mm / IN_MM, feed_mm / IN_MM, 150.0 * KG_MM2_PSI
    torque_nmm = 0.087 * hb * f**0.8 * d**1.8 * LBF_N * IN_MM
    thrust_n = (0.195 * hb * f**0.8 * d**0.8 + 0.0022 * hb * d**2) * LBF_N
    full = drill_forces(MILD, drill_mm, Range.exactly(feed_mm), 118.0, through=False)[0]
    assert full.torque_nmm.holds(torque_nmm)
    assert full.thrust_n.low * full.torque_nmm.low / full.torque_nmm.high <= thrust_n <= full.thrust_n.high
    # No wider than wear, chisel edge and steel make it.
    assert full.torque_nmm.high < 2.2 * torque_nmm
    assert full.thrust_n.high < 2.5 * thrust_n


def test_the_torque_is_that_of_both_lips_midway_out(compared):
    """Kienzle at 118 degrees, by hand: chip 0.1 sin 59 = 0.08572 mm, kc = 1680 x 0.08572^-0.26 = 3182.1."""
    found_nmm = lip_torque_nmm(10.0, 0.2, 2, 59.0, 1680.0, 0.26)
    assert found_nmm == pytest.approx(3182.1 * 100 * 0.2 / 8, rel=1e-4)
    compared("torque of a drill of 10 mm, sharp", expected=7.95525, got=1e-3 * found_nmm)


def test_a_drill_that_breaks_through_lifts_as_a_screw_would():
    """Chips twice as thick, tan 30 degrees of the force at its rim; a blind hole has no other side."""
    full, breaks = drill_forces(MILD, 6.0, Range.exactly(0.1), 118.0, through=True)
    assert breaks.torque_nmm.high / full.torque_nmm.high == pytest.approx(2.0 ** (1 - 0.26))
    assert breaks.thrust_n.low == pytest.approx(-breaks.torque_nmm.high / 3.0 * math.tan(math.pi / 6))
    assert breaks.thrust_n.high == 0.0
    assert len(drill_forces(MILD, 6.0, Range.exactly(0.1), 118.0, through=False)) == 1


@pytest.mark.parametrize("rounded", [False, True])
def test_a_plunge_is_the_integral_along_its_edges(rounded):
    """The chip f / z is thinner by the cosine of the slope of a ball, and its edge longer (SciPy)."""
    radius, teeth, chip = 4.0, 2, 0.05

    def turns(r: float) -> float:
        lies = math.sqrt(1.0 - (r / radius) ** 2) if rounded else 1.0
        return 2100.0 * (chip * lies) ** -0.26 * chip * r

    expected = 1.5 * teeth * quad(turns, 0.0, radius)[0]
    found = plunge_forces(MILD, 2 * radius, Range.exactly(teeth * chip), teeth, rounded=rounded)
    assert found.torque_nmm.high == pytest.approx(expected, rel=1e-6)
    assert found.thrust_n.high == pytest.approx(0.8 * found.torque_nmm.high / (0.5 * radius))


def test_a_tap_turns_its_part_both_ways():
    """M10 in steel of 700 N/mm2 takes some 20 N m, dull twice a sharp one: common practice, no source."""
    into, out = tap_forces(shearing("c45"), 10.0, 1.5, 4.0)
    assert into.torque_nmm.low < 2e4 < into.torque_nmm.high
    assert (into.stroke, into.backward) == (AxialStroke.TAPS, False)
    assert (out.stroke, out.backward) == (AxialStroke.BACKS_OUT, True)
    assert out.torque_nmm.high == pytest.approx(0.5 * into.torque_nmm.high)


def test_feeds_grow_with_the_diameter():
    """A drill of 1/4 in is fed at 0.002 to 0.006 in a turn: Machinery's Handbook, from memory."""
    assert drill_feed_mm(6.35) == Range(low=0.05, high=0.15)
    assert drill_feed_mm(6.45).high == 0.25
    assert drill_feed_mm(500.0) == drill_feed_mm(60.0)
