"""A milled part that is stopped low down tips over its stop: against the statics of a block on an edge."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fixturecheck.holding.failure_path import follow, touch_of
from fixturecheck.holding.model import Borne, LoadCase
from fixturecheck.kernel.construct import box
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import CutCase, CutterWay, Outcome
from fixturecheck.statics import equilibrium
from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import ContactPoint, Load, Rigid
from tests.holding.test_milled import crash_of, job, stated
from tests.holding.test_milled_ways import BLOCK, RADIUS, at, bench, moving

pytestmark = pytest.mark.slow

HALF, WIDE, TALL, GAP = 30.0, 80.0, 120.0, 0.03
MU, WEIGHT_N, PUSH_N = 0.2, 500.0, 100.0
TOWER = box((-HALF, -WIDE / 2, 0), (HALF, WIDE / 2, TALL))
ON_TOWER = (25.0, 30.0, TALL)
"""Where its straps stand."""


def stop(high_mm, gap_mm=GAP, wide_mm=20.0):
    return box((-HALF - gap_mm - 50, -wide_mm / 2, 0), (-HALF - gap_mm, wide_mm / 2, high_mm))


def pushed(here, at_mm=TALL, mu=MU):
    """The tower on its four corners, pushed straight back at some height, by a tooth over its middle."""
    corners = [(x, y, 0) for x in (-HALF, HALF) for y in (-WIDE / 2, WIDE / 2)]
    problem = equilibrium.EquilibriumProblem(
        bodies=(Rigid(name="part", at_mm=(0, 0, TALL / 2), size_mm=TALL / 2),),
        contacts=tuple(ContactPoint(a="part", at_mm=p, normal=(0, 0, -1), mu=mu) for p in corners),
        held=(Load(body="part", force_n=(0, 0, -WEIGHT_N), at_mm=(0, 0, TALL / 2)),),
        cutting=(Load(body="part", force_n=(-PUSH_N, 0, 0), at_mm=(0, 0, at_mm)),),
    )
    case = LoadCase(
        of_cut=CutCase(stroke=CutterWay.CLIMB),
        at_mm=(0, -2 * RADIUS, TALL + 1),
        axis_mm=(0, -RADIUS, TALL),
    )
    return Borne(
        case=case, values={}, problem=problem, collapse=collapse(problem, ceiling=100.0), settled=True
    )


def tips_at(high_mm, at_mm=TALL, mu=MU):
    """Moments about the stop's top edge.

    The foot below that edge carries all the weight and slides away from the stop, so its friction holds too:
    k F (h - s) = W b + mu W s.
    """
    return WEIGHT_N * (HALF + mu * high_mm) / (PUSH_N * (at_mm - high_mm))


@pytest.mark.parametrize(
    ("high_mm", "at_mm", "mu"), [(8.0, TALL, MU), (20.0, TALL, MU), (8.0, 100.0, MU), (40.0, 110.0, 0.1)]
)
def test_it_tips_over_the_top_edge_of_a_stop_as_by_statics(high_mm, at_mm, mu, compared):
    here = bench(TOWER, stop(high_mm))
    borne = pushed(here, at_mm, mu)
    assert borne.collapse.factor.low == pytest.approx(mu * WEIGHT_N / PUSH_N, rel=1e-3)
    assert borne.collapse.motions[0].kind == "slides"
    wanted = tips_at(high_mm, at_mm, mu)
    slides = borne.collapse.factor.low
    assert wanted > 1.1 * slides
    # Stopped it bears what a tooth then bites, not what was asked of it.
    grown = follow(here, borne, 0.1 * slides).crash.load_ratio
    assert 1.0 < grown <= 2.0
    found = follow(here, borne, 1.1 * max(wanted / grown, slides))
    assert found.crash.outcome is Outcome.DIGS_IN
    assert found.over == ("stop_0",)
    assert found.motion.kind.tips_over
    assert found.factor == pytest.approx(max(wanted / grown, slides), rel=2e-3)
    if at_mm == 110.0:
        what = "milled tower tips over a stop that it slid against"
        compared(what, expected=max(wanted / grown, slides), got=found.factor)
    assert "tips" in found.motion.kind
    assert found.motion.axis_mm[::2] == pytest.approx((-HALF, high_mm), abs=0.2)
    # Held well enough by the stop, it is stopped: the factor that is asked decides.
    held = follow(here, borne, 0.9 * wanted / grown)
    assert (held.crash.outcome, held.over, held.hits) == (Outcome.STOPPED, (), "stop_0")
    assert held.factor == borne.collapse.factor.low


@pytest.mark.parametrize("at_mm", [100.0, 119.0])
def test_a_stop_as_high_as_the_force_stops_it(at_mm):
    """Pushed no higher than the stop reaches, the weight alone would have to be lifted: it never tips."""
    here = bench(TOWER, stop(at_mm))
    found = follow(here, pushed(here, at_mm), 50.0)
    assert (found.crash.outcome, found.over, found.hits) == (Outcome.STOPPED, (), "stop_0")


def test_two_stops_one_after_the_other_both_bear():
    """The lower one nearer: it tips over that until the higher, a hair behind it, takes over as well."""
    high = box((-HALF - 0.04 - 50, 15, 0), (-HALF - 0.04, 25, TALL))
    other = box((-HALF - 0.04 - 50, -25, 0), (-HALF - 0.04, -15, TALL))
    here = bench(TOWER, stop(8.0), high, other)
    found = follow(here, pushed(here, 119.0), 20.0)
    assert (found.crash.outcome, found.over) == (Outcome.STOPPED, ())


@pytest.mark.parametrize(("gap_mm", "known"), [(1.5, True), (2.5, False)])
def test_where_it_cannot_be_loaded_again_it_is_not_said_to_be_stopped(gap_mm, known):
    """Lifted up to a bar, its tooth takes an eighth or a fifth more; that far off, its hold has changed."""
    bar = box((-HALF - 20, -10, 20.0 + gap_mm), (-HALF + 10, 10, 40.0))
    here = bench(BLOCK, bar, deep_mm=12.0)
    lifted = replace(pushed(here).collapse, motions=(moving(velocity=(0, 0, 1)),))
    found = follow(here, replace(pushed(here), case=at(here), collapse=lifted), 0.5)
    assert found.hits == "stop_0"
    if known:
        assert found.crash.outcome is Outcome.STOPPED
    else:
        assert found.crash is None
        assert (
            "once stop_0 stops it could not be computed: part bears on stop_0 only after 2.6 mm"
            in found.reason
        )


def test_a_touch_lies_on_the_outline_of_what_both_share():
    """A flat stop 20 wide and 8 high: its corners, straight back, whatever the grid of directions."""
    motion = moving(velocity=(-1, 0, 0))
    touch = touch_of(TOWER, motion, "stop_0", stop(8.0), GAP - 0.01)
    assert {(round(y), round(z)) for _, y, z in touch.at_mm} == {(y, z) for y in (-10, 10) for z in (0, 8)}
    assert touch.normals == pytest.approx(np.tile([-1.0, 0.0, 0.0], (len(touch.at_mm), 1)), abs=1e-6)
    higher = touch_of(TOWER, motion, "stop_0", stop(12.0), GAP - 0.01)
    assert touch.is_among([higher])
    assert not higher.is_among([touch])


def test_a_slanted_stop_bears_square_to_its_face():
    """A corner of the part cut off at 30 degrees comes against a face at 30 degrees."""
    turn = math.radians(30.0)
    slant = box((-90, -10, 0), (-HALF - 0.03, 10, 8)).rotate((0, 0, 0), (0, 0, 1), 30)
    part = box((-HALF, -WIDE / 2, 0), (HALF, WIDE / 2, TALL)).rotate((0, 0, 0), (0, 0, 1), 30)
    motion = moving(velocity=(-math.cos(turn), -math.sin(turn), 0))
    touch = touch_of(part, motion, "stop_0", slant, 0.02)
    wanted = [-math.cos(turn), -math.sin(turn), 0.0]
    assert touch.normals == pytest.approx(np.tile(wanted, (len(touch.at_mm), 1)), abs=1e-3)


@pytest.mark.parametrize("press_n", [600.0, 1000.0])
def test_a_tall_part_pressed_hard_before_a_low_stop_is_no_go(press_n):
    """It slides at more than once the load and is stopped; it tips over the stop below three times."""
    here = job(press_n, *RAILS_HIGH, stop(8.0), part=TOWER, straps_mm=ON_TOWER)
    borne = here.loaded().borne[0]
    assert borne.collapse.factor.low > 1.0
    found = follow(here.scene(), borne, 3.0)
    assert found.digs_in
    assert borne.collapse.factor.low <= found.factor < 3.0


RAILS_HIGH = tuple(box((-70, y, 0), (70, y + 15, 100)) for y in (40, -55))


def test_the_check_says_what_it_tips_over():
    (first, *_) = crash_of(stated(600.0, *RAILS_HIGH, stop(8.0), part=TOWER, straps_mm=ON_TOWER))
    assert first.verdict is Verdict.NO_GO
    assert "it comes up against stop_2, then part tips to the left" in first.says
    assert "Z 8.0 mm, over stop_2, drawn against the feed into the cutter" in first.says.replace(
        "\u202f", " "
    )
    assert first.value < 3.0
