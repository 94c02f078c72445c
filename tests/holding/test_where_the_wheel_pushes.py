"""How high the wheel pushes: on the stock of its first pass, and midway up a wall; tipping by moments."""

import math
from dataclasses import replace

import pytest

from fixturecheck import Cut, Holding, Seat, Setup, body
from fixturecheck.kernel.boolean import cut as without
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of
from fixturecheck.result.hold import Driver
from fixturecheck.statics.collapse import collapse
from tests.holding.rigs import ground, strap, unfollowed

LONG, WIDE, TALL = 20.0, 40.0, 30.0
PRESS_N, DENSITY_KG_MM3, G_M_S2 = 500.0, 7.87e-6, 9.80665
MU = 0.8
"""So rough that nothing slides."""
STOCK_MM, DOWNFEED_MM = 6.0, 0.02


def pressed(solid, faces, **cut):
    """A part on a table under a strap that presses on it, seen from above, in its middle."""
    table = body(
        "table", box((-100, -60, -20), (100, 60, 0)), role="fixture", finish="ground", faces={"top": ">Z"}
    )
    part = body("block", solid, finish="ground", faces={"seat": "<Z", **faces})
    return Setup(
        name="block under a strap",
        bodies=(table, part),
        seats=(Seat(body="block", face="seat", on="table", on_face="top"),),
        cuts=(Cut(name="top", parts=("block",), floor="floor", downfeed_mm=DOWNFEED_MM, **cut),),
        holding=Holding(
            mu=(MU, MU), coolant=False, clamps=(strap("block", (0, 0, box_of(solid)[5]), 2 * PRESS_N),)
        ),
    )


def test_a_wrong_go_by_the_last_pass_of_a_deep_cut(compared):
    """The first of 6 mm on a block of 30 pushes at 36: it tips at five sixths of what the last one takes."""
    solid = box((-LONG / 2, -WIDE / 2, 0), (LONG / 2, WIDE / 2, TALL))
    setup = pressed(solid, {"floor": ">Z"}, stock_mm=STOCK_MM)
    (part,) = unfollowed(setup).held.parts
    drag, press = part.forces[Driver.DRAG].high, part.forces[Driver.PRESS]
    kept = (PRESS_N + LONG * WIDE * TALL * DENSITY_KG_MM3 * G_M_S2) * LONG / 2
    radius = setup.wheel.diameter_mm / 2
    arc = 0.5 * math.acos(1.0 - DOWNFEED_MM / radius)

    def tips(high_mm, press_n):
        """Moment over the right edge of the table, going left, with the wheel over that edge."""
        level = drag * math.cos(arc) + press_n * math.sin(arc)
        down = press_n * math.cos(arc) - drag * math.sin(arc)
        return level * (high_mm + radius * (1.0 - math.cos(arc))) + down * radius * math.sin(arc)

    first, last = (
        kept / max(tips(high, n) for n in (press.low, press.high))
        for high in (TALL + STOCK_MM - DOWNFEED_MM, TALL)
    )
    assert part.borne.case.of_cut.first_pass
    assert 0.96 * first < part.factors.factor.low < 1.005 * first < 0.9 * last
    what = "block tips under the first pass of a deep cut"
    compared(what, expected=first, got=part.factors.factor.low)
    # A few hundredths of stock are no lever.
    process, _ = ground(replace(setup, cuts=(replace(setup.cuts[0], stock_mm=0.2),)))
    assert {c.at_mm[2] for c in process.cases()} == {TALL}


@pytest.mark.parametrize("wall_mm", [6.0, 20.0])
def test_a_wrong_go_by_a_wall_that_is_pushed_at_its_foot(wall_mm):
    """The wheel's side cuts alike all along a wall, so its push goes through the middle of it."""
    wide = 16.0
    whole = box((-LONG / 2, -wide / 2, 0), (LONG / 2, wide / 2, 10 + wall_mm))
    solid = without(whole, box((-50, -50, 10), (50, 0, 50)))
    setup = pressed(
        solid, {"floor": (0, -4, 10), "wall": (0, 0, 12)}, stock_mm=0.1, wall="wall", wall_stock_mm=0.1
    )
    process, rig = ground(setup)
    values = {Driver.FRICTION: MU, Driver.DRAG: 0.0, Driver.PRESS: 0.0, Driver.WALL: 1.0, Driver.CROSS: 0.0}
    (case, *_) = process.cases()
    # In the middle of the block, where it turns nothing.
    push = process.loads(replace(case, at_mm=(0.0, *case.at_mm[1:])), values)
    found = collapse(rig.holding(values, push), ceiling=1e4)
    foot, step = LONG * wide * 10, LONG * wide / 2 * wall_mm
    weigh = DENSITY_KG_MM3 * G_M_S2
    kept = PRESS_N * wide / 2 + weigh * (foot * wide / 2 + step * wide / 4)
    assert found.factor.low == pytest.approx(kept / (10.0 + wall_mm / 2), rel=0.01)
