"""Readings, backlash and passes against arithmetic by hand and a screw played out step by step."""

from __future__ import annotations

import pytest

from fixturecheck.dials.plan import passes_for, plan_passes, stroke_min, strokes_for
from fixturecheck.dials.reading import lines_for, reading_at, with_backlash_mm
from fixturecheck.result.dials import Feed
from fixturecheck.setup.dials import Handwheel
from fixturecheck.units import Writing
from fixturecheck.wording.settings import reading_words, shown_on, time_words, turns_words

METRIC = Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="down")


def test_turns_and_lines_of_a_metric_dial():
    # 12.347 mm by lines of 0.01: 1234.7, so 1235 = 12 turns of 100 and 35 over. By hand.
    read = reading_at(Feed.DOWN, METRIC, 12.347, "down", "mm")
    assert (read.turns, read.lines) == (12, 35)
    assert read.shows_mm == pytest.approx(0.35)
    assert read.rounding_mm == pytest.approx(0.003)
    assert reading_words(read, Writing()) == "downfeed down 12 turns 35 lines (the dial stands at 0.35 mm)"


def test_a_dial_that_counts_the_other_way_shows_the_rest_of_its_turn():
    back = Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="up")
    read = reading_at(Feed.DOWN, back, 12.347, "down", "mm")
    assert (read.turns, read.lines) == (12, 35)
    assert read.shows_mm == pytest.approx(0.65)


def test_an_inch_dial_in_a_metric_set_up():
    # 0.100 in a turn, lines of 0.0005 in: 0.2 mm = 0.0078740 in = 15.748 lines; 16 lines are 0.2032 mm.
    wheel = Handwheel(graduation_mm=0.0127, turn_mm=2.54, counts_up="down", units="inch")
    read = reading_at(Feed.DOWN, wheel, 0.2, "down", "mm")
    assert (read.turns, read.lines) == (0, 16)
    assert read.rounding_mm == pytest.approx(0.0032)
    assert shown_on(read) == "0.0080 in"
    assert turns_words(read, Writing()) == "16 lines"


def test_a_read_out_has_a_sign_and_no_turns():
    wheel = Handwheel(graduation_mm=0.001, counts_up="in", reads="readout")
    read = reading_at(Feed.CROSS, wheel, 3.2504, "out", "mm")
    assert (read.turns, read.lines) == (None, 3250)
    assert read.shows_mm == pytest.approx(-3.25)
    assert "the read-out shows -3.250 mm" in reading_words(read, Writing())


@pytest.mark.parametrize(("distance", "lines"), [(0.2, 20), (0.205, 20), (0.2051, 21), (0.0, 0), (0.0049, 0)])
def test_half_a_line_stays_short_since_stock_can_still_be_taken(distance, lines):
    assert lines_for(distance, 0.01) == lines


class Screw:
    """A slide driven by a nut with play: it moves only when the nut has crossed the play."""

    def __init__(self, play: float) -> None:
        self.play, self.dial, self.slide = play, 0.0, 0.0

    def turn_to(self, dial: float) -> None:
        """Turn the dial in small steps; the nut drives the slide at either end of its play."""
        step = 0.001 if dial > self.dial else -0.001
        for _ in range(round(abs(dial - self.dial) / 0.001)):
            self.dial += step
            self.slide = min(max(self.slide, self.dial - self.play / 2), self.dial + self.play / 2)


@pytest.mark.parametrize("play", [0.0, 0.05, 0.2])
@pytest.mark.parametrize("way", [1, -1])
def test_the_reading_takes_up_the_backlash_of_a_screw(play, way):
    screw = Screw(play)
    screw.turn_to(-5.0)
    screw.turn_to(0.0)  # the face is touched going toward +
    zero, touched = screw.dial, screw.slide
    far = with_backlash_mm(3.0, play, turned_back=way < 0)
    # Past the place where the target is met from the other side, so that it is met driven that way.
    screw.turn_to(zero + 3.0 * way - 1.0 * way)
    screw.turn_to(zero + far * way)
    assert screw.slide - touched == pytest.approx(3.0 * way, abs=2e-3)


def test_passes_are_counted_as_a_hand_would():
    def by_hand(depth: float, feed: float) -> int:
        left, count = depth, 0
        while left > 1e-9:
            left, count = left - feed, count + 1
        return count

    for depth, feed in ((0.2, 0.01), (0.2, 0.03), (0.05, 0.05), (0.1, 0.3), (0.0, 0.01)):
        assert passes_for(depth, feed) == by_hand(depth, feed)
    assert strokes_for(0.0, 2.0) == 1
    assert strokes_for(6.0, 2.0) == 4


def test_a_batch_takes_its_passes_strokes_and_turns_by_hand():
    # 300 mm at 12 m/min are 1.5 s, and 0.5 s to turn round: 2 s. 0.18 by 0.02 are 9 passes, 0.02 by 0.005
    # four, 2 without feed: 15 times 4 strokes, and 5 strokes into the wall: 65 strokes, 130 s. By hand.
    assert stroke_min(300.0, 12.0, 0.5) == pytest.approx(2.0 / 60)
    plan = plan_passes(
        depth_mm=0.2,
        downfeed_mm=0.02,
        finish_mm=0.02,
        finish_downfeed_mm=0.005,
        wall_mm=0.05,
        wall_feed_mm=0.01,
        spark_out=2,
        strokes=4,
        stroke_mm=300.0,
        table_speed_m_min=12.0,
        reversal_s=0.5,
        once_min=9.0,
        parts=4,
    )
    assert (plan.rough, plan.finish, plan.wall, plan.spark_out) == (9, 4, 5, 2)
    assert plan.batch_min == pytest.approx(9.0 + 130 / 60)
    assert plan.part_min == pytest.approx(plan.batch_min / 4)
    assert time_words(150.0) == "2 h 30 min"
