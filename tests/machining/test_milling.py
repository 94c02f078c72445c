"""Milling loads against Kienzle's law and a chuck maker's tables."""

import math

import numpy as np
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.machining import milling as m

SLOT = m.Mill(cutter_mm=10.0, teeth=4, deep_mm=5.0, wide_mm=10.0, feed_mm_tooth=0.05)


@pytest.mark.parametrize(("chip", "expected"), [(0.1, 3057), (0.2, 2553), (0.4, 2132), (1.0, 1680)])
def test_the_specific_force_follows_kienzle(chip, expected, compared):
    """kc1.1 = 1680, mc = 0.26 (C45 class): constants from memory, form as at sandvik.coromant.com."""
    found = m.specific_force_n_mm2(1680.0, chip, 0.26)
    assert found == pytest.approx(expected, rel=1e-3)
    compared(f"specific force at {chip:g} mm", expected=expected, got=found)


FEEDS = (0.16, 0.25, 0.40, 0.63, 1.0, 1.6)
# Roehm manual RN-1391 p. 43, table 2 (kN/mm2 at 45 degrees), rows in order of print; which material a row
# belongs to is not certain in the copy seen, and does not matter to the form of the law.
ROWS = [
    (2.60, 2.40, 2.20, 2.05, 1.90, 1.80),
    (3.50, 3.10, 2.75, 2.45, 2.15, 1.95),
    (3.05, 2.80, 2.60, 2.40, 2.20, 2.05),
    (4.35, 3.90, 3.45, 3.10, 2.75, 2.45),
    (5.40, 4.90, 4.40, 4.00, 3.60, 3.30),
]


@pytest.mark.parametrize("row", ROWS)
def test_published_tables_follow_the_law(row):
    chips = np.array(FEEDS) * math.sin(math.radians(45))
    slope, level = np.polyfit(np.log(chips), np.log(row), 1)
    ours = [m.specific_force_n_mm2(math.exp(level), c, -slope) for c in chips]
    assert ours == pytest.approx(row, rel=0.03)
    assert 0.14 <= -slope <= 0.27


def test_alloy_steel_range_holds_the_published_row():
    """Ends of alloy steel against 42CrMo4 (5.40 to 3.30 kN/mm2) within 10 %, same table."""
    steel = m.shearing("alloy_steel")
    for feed, printed in zip(FEEDS, ROWS[-1], strict=True):
        chip = feed * math.sin(math.radians(45))
        low = min(m.specific_force_n_mm2(steel.force_n_mm2.low, chip, e) for e in steel.exponent.ends)
        high = max(m.specific_force_n_mm2(steel.force_n_mm2.high, chip, e) for e in steel.exponent.ends)
        assert low / 1.1 <= printed * 1e3 <= high / 0.9


@pytest.mark.parametrize("printed", [3090.0, 3690.0, 4330.0, 4750.0])
def test_hard_steel_holds_what_makers_of_cutters_print(printed):
    """Of 50, 55, 60 and 63 HRC at a chip of 1 mm, exponent 0.25, chips of 0.02 to 0.1 mm: from memory."""
    steel = m.shearing("hard_steel")
    for chip in (0.02, 0.05, 0.1):
        ends = [
            m.specific_force_n_mm2(force, chip, exponent)
            for force in steel.force_n_mm2.ends
            for exponent in steel.exponent.ends
        ]
        assert min(ends) <= m.specific_force_n_mm2(printed, chip, 0.25) <= max(ends)


@pytest.mark.parametrize(("depth", "section"), [(5.0, 0.8), (12.0, 1.92)])
def test_the_section_of_a_chip_is_that_of_the_table(depth, section):
    """Table 1 of the same page."""
    assert m.chip_section_mm2(depth, 0.16) == pytest.approx(section, rel=1e-12)


def test_a_slot_engages_a_tooth_for_half_a_turn_and_half_a_cutter_for_a_quarter():
    """A full slot holds a tooth for half a turn, half the diameter for a quarter: geometry."""
    assert m.engagement_rad(SLOT) == pytest.approx(math.pi)
    half = m.Mill(cutter_mm=10.0, teeth=4, deep_mm=5.0, wide_mm=5.0, feed_mm_tooth=0.05)
    assert m.engagement_rad(half) == pytest.approx(math.pi / 2)
    shallow = m.Mill(cutter_mm=10.0, teeth=4, deep_mm=5.0, wide_mm=0.1, feed_mm_tooth=0.05)
    # sin of the angle by the chord: 2 sqrt(e(1-e)) with e = wide / cutter.
    assert m.greatest_chip_mm(shallow) == pytest.approx(0.05 * 2 * math.sqrt(0.01 * 0.99))


def test_the_range_of_a_tooth_is_that_of_the_constants():
    """One end of each of Kienzle's two, and of wear; low with the small exponent, since chips are thin."""
    one = m.tooth_force_n(SLOT, m.shearing("c45"))
    assert one.low == pytest.approx(m.specific_force_n_mm2(1680.0, 0.05, 0.14) * 0.25, rel=1e-9)
    assert one.high == pytest.approx(m.specific_force_n_mm2(2220.0, 0.05, 0.26) * 0.25 * 1.5, rel=1e-9)
    thinner = m.tooth_force_n(SLOT, m.shearing("c45"), 0.02)
    assert thinner.low == pytest.approx(one.low * 0.4**0.86, rel=1e-9)


def test_bad_cuts_are_refused():
    bad = m.Mill(cutter_mm=10.0, teeth=0, deep_mm=5.0, wide_mm=10.0, feed_mm_tooth=0.05)
    with pytest.raises(SetupError, match="teeth"):
        m.tooth_force_n(bad, m.shearing("c45"))
    with pytest.raises(SetupError, match="soft_steel"):
        m.shearing("butter")
