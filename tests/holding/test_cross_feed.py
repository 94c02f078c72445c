"""A cross-fed pass pushes along the spindle, too: Coulomb's law for the resultant, in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fixturecheck import Cut, body
from fixturecheck.holding.factor import load_cases
from fixturecheck.holding.model import LoadCase
from fixturecheck.kernel.construct import box
from fixturecheck.result.hold import CutCase, Driver, Stroke
from fixturecheck.statics.collapse import collapse
from tests.holding.rigs import ground
from tests.holding.test_film import SCREW_N, WEIGHT_N, W, strapped

MU = 0.2
TRAVERSE = Cut(name="top", parts=("block",), floor="floor", stock_mm=0.1, way="traverse", cross_feed_mm=3.0)


def set_up(cut=TRAVERSE, rail=()):
    setup = replace(strapped(mu=(MU, MU), coolant=False), cuts=(cut,))
    setup = replace(setup, bodies=(*setup.bodies, *rail))
    process, rig = ground(setup)
    return rig, process


def test_it_slides_under_the_resultant_of_drag_and_push_across(compared):
    rig, bearing = set_up()
    # Over the middle of the seat nothing turns it, and at the foot nothing tips it.
    case = LoadCase(of_cut=CutCase(stroke=Stroke.RIGHT), at_mm=(0.0, 0.0, 0.5))
    drag_n, press_n = bearing.sizes.tangential_n.high, bearing.sizes.normal_n.low
    across_n = bearing.sizes.cross_n.high
    assert across_n == pytest.approx(0.1 * bearing.sizes.normal_n.high)
    normal_n = WEIGHT_N + SCREW_N / 2
    for push_n in (across_n, -across_n, 0.0):
        values = {
            Driver.FRICTION: MU,
            Driver.DRAG: drag_n,
            Driver.PRESS: press_n,
            Driver.WALL: 0.0,
            Driver.CROSS: push_n,
        }
        (load,) = bearing.loads(case, values)
        assert load.force_n[1] == push_n
        found = collapse(rig.holding(values, (load,)), ceiling=1e4)
        # f |level force| = mu (N + f press): the load's own level and downward parts.
        level_n, down_n = math.hypot(*load.force_n[:2]), -load.force_n[2]
        slides = MU * normal_n / (level_n - MU * down_n)
        assert found.factor.low == pytest.approx(slides, rel=2e-3)
        if push_n == across_n:
            compared("block slides under drag and cross feed", expected=slides, got=found.factor.low)


@pytest.mark.parametrize("side", [1.0, -1.0], ids=["rail at the back", "rail in front"])
def test_of_both_ways_of_the_feed_the_one_away_from_the_rail_counts(side):
    low, high = sorted((side * W / 2, side * (W / 2 + 20)))
    rail = body("rail", box((-60, low, 0), (60, high, 10)), role="fixture", finish="ground", fastened=True)
    rig, bearing = set_up(rail=(rail,))
    worst = load_cases(rig, bearing).borne[0]
    assert worst.values[Driver.CROSS] == -side * bearing.sizes.cross_n.high
    # A plunge has no feed along the spindle.
    _, plunge = set_up(replace(TRAVERSE, way="plunge"), (rail,))
    assert plunge.sizes.cross_n.ends == (0.0,)
