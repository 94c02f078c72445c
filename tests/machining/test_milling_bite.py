"""What a deeper bite is and what it does to the load of a tooth, against Kienzle's law and plain readings."""

import math
from dataclasses import replace

import pytest

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.machining.bite import (
    GIVE_MM,
    MOST_LOAD_RATIO,
    NOTICED_RATIO,
    Bite,
    Chip,
    follow_bite,
    load_ratio,
)
from fixturecheck.machining.milling import specific_force_n_mm2
from fixturecheck.result.hold import Outcome

CHIP = Chip(thick_mm=0.05, deep_mm=2.0, exponent=0.2)


def follow(closer=0.0, rise=0.0, *, travel_mm=2.0, stopped=False):
    """A part that comes closer and rises in proportion to its way."""
    return follow_bite(
        lambda t: Bite(closer_mm=closer * t, rise_mm=rise * t), CHIP, travel_mm=travel_mm, stopped=stopped
    )


@pytest.mark.parametrize(("closer", "rise"), [(0.0, 0.0), (0.05, 0.0), (0.0, 2.0), (0.1, 0.5), (-1.0, -1.0)])
def test_the_load_grows_as_the_law_of_kienzle_says(closer, rise):
    """F = kc1.1 h^-mc b h, the ratio of a thicker and deeper chip to the stated one."""

    def force(thick, deep):
        return specific_force_n_mm2(2000.0, thick, 0.2) * thick * deep

    wanted = force(0.05 + max(0.0, closer), 2.0 + max(0.0, rise)) / force(0.05, 2.0)
    assert load_ratio(CHIP, Bite(closer_mm=closer, rise_mm=rise)) == pytest.approx(wanted, rel=1e-12)


def test_outcomes_are_told_apart():
    assert follow(closer=0.5).outcome is Outcome.DIGS_IN
    assert follow(rise=0.5).outcome is Outcome.DIGS_IN
    assert follow(closer=-0.5).outcome is Outcome.FALLS_AWAY
    assert follow(rise=-0.5).outcome is Outcome.FALLS_AWAY
    assert follow().outcome is Outcome.STAYS
    # One comes closer while the other goes away: what is bitten counts.
    assert follow(closer=0.5, rise=-0.5).outcome is Outcome.DIGS_IN


def test_a_bite_that_no_tooth_notices_is_none():
    """A tenth more load: the chip is 1.1^(1 / (1 - mc)) times as thick, more than the springs give."""
    least_mm = 0.05 * (math.pow(NOTICED_RATIO, 1.0 / 0.8) - 1.0)
    assert least_mm > GIVE_MM
    assert follow(closer=0.99 * least_mm / 2.0).outcome is Outcome.STAYS
    assert follow(closer=1.01 * least_mm / 2.0).outcome is Outcome.DIGS_IN
    thin = replace(CHIP, thick_mm=0.005)
    for share, outcome in ((0.99, Outcome.STAYS), (1.01, Outcome.DIGS_IN)):
        found = follow_bite(
            lambda t, share=share: Bite(closer_mm=share * GIVE_MM * t / 2.0, rise_mm=0.0),
            thin,
            travel_mm=2.0,
            stopped=False,
        )
        assert found.outcome is outcome


def test_a_chip_five_times_as_thick_is_a_bite():
    """A thin chip of 0.005 mm, 0.02 mm more of it: by Kienzle's law 5^0.8 = 3.6 times the force."""
    thin = replace(CHIP, thick_mm=0.005)
    assert load_ratio(thin, Bite(closer_mm=0.02, rise_mm=0.0)) == pytest.approx(5.0**0.8)
    found = follow_bite(
        lambda t: Bite(closer_mm=0.02 * t / 2.0, rise_mm=0.0), thin, travel_mm=2.0, stopped=False
    )
    assert found.outcome is Outcome.DIGS_IN


def test_what_stops_it_in_time_makes_it_no_digging_in():
    """The load doubles where the chip is 2^(1 / (1 - mc)) times as thick."""
    doubles_mm = 0.05 * (math.pow(MOST_LOAD_RATIO, 1.0 / 0.8) - 1.0)
    soon, late = (follow(closer=1.0, travel_mm=k * doubles_mm, stopped=True) for k in (0.99, 1.01))
    assert soon.outcome is Outcome.STOPPED
    assert late.outcome is Outcome.DIGS_IN
    assert follow(closer=1.0, travel_mm=0.99 * doubles_mm, stopped=False).outcome is Outcome.DIGS_IN
    assert soon.deepest.closer_mm == pytest.approx(0.99 * doubles_mm)
    assert soon.load_ratio < MOST_LOAD_RATIO < late.load_ratio


def test_a_later_stop_never_bites_less():
    found = [follow(closer=0.3, rise=0.1, travel_mm=t, stopped=True) for t in (0.01, 0.1, 0.3, 1.0, 5.0)]
    ratios = [f.load_ratio for f in found]
    assert ratios == sorted(ratios)
    order = [Outcome.STAYS, Outcome.STOPPED, Outcome.DIGS_IN]
    places = [order.index(f.outcome) for f in found if f.outcome in order]
    assert places == sorted(places)


def test_a_bite_that_comes_and_goes_counts_at_its_deepest():
    wave = follow_bite(
        lambda t: Bite(closer_mm=0.3 * math.sin(math.pi * t / 2.0), rise_mm=0.0),
        CHIP,
        travel_mm=2.0,
        stopped=False,
        samples=40,
    )
    assert wave.outcome is Outcome.DIGS_IN
    assert wave.deepest.closer_mm == pytest.approx(0.3, rel=0.05)
    assert wave.bites[-1].closer_mm == pytest.approx(0.0, abs=1e-9)


def test_what_is_no_number_is_never_a_pass():
    with pytest.raises(NotComputedError, match="no number"):
        follow(closer=math.nan)
    with pytest.raises(SetupError, match="travel"):
        follow(travel_mm=0.0)
