"""A hand that presses on a part at rest: it stays or goes by the balance of moments about its edge."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from fixturecheck.checks import rest
from fixturecheck.nesting.answer import staging_answer
from fixturecheck.nesting.disturbances import under_hand
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.model import Setup
from fixturecheck.setup.staging import Press, Staging

LONG, WIDE, HIGH, FOOT = 80.0, 20.0, 20.0, 20.0
WEIGHT_N = LONG * WIDE * HIGH * 7.87e-6 * 9.80665
"""Of the table's `steel_1018`, which a body is made of unless it says otherwise: 7870 kg/m3."""


def overhanging(shapes, *presses):
    """Return a bar of 80 mm on a foot of 20 mm under its middle, over a floor far below."""
    foot = shapes.body("foot", shapes.box(FOOT, 60, 30))
    floor = shapes.body("floor", shapes.box(400, 400, 10, (0, 0, -10)))
    bar = shapes.body("bar", shapes.box(LONG, WIDE, HIGH, (0, 0, 30)), "part")
    bodies = (foot, floor, bar)
    return Setup(name="press", bodies=bodies, staging=Staging(press=tuple(presses)))


def tips_n(at_x):
    """Return the press at which the bar tips: moments about the foot's edge, W f / 2 = F (x - f / 2)."""
    return WEIGHT_N * (FOOT / 2) / (at_x - FOOT / 2)


@pytest.mark.parametrize("at_x", [15.0, 25.0, 39.0])
@pytest.mark.parametrize("share", [0.99, 1.01])
def test_a_press_outside_the_foot_tips_the_bar_from_the_force_that_balances_its_weight(shapes, at_x, share):
    setup = overhanging(shapes)
    force = (0.0, 0.0, -share * tips_n(at_x))
    found = under_hand(setup, Staging(), "bar", at_mm=(at_x, 0, 50), force_n=force)
    assert found.stays is (share < 1)


def test_no_press_inside_the_foot_tips_the_bar(shapes):
    found = under_hand(overhanging(shapes), Staging(), "bar", at_mm=(9.9, 0, 50), force_n=(0, 0, -1e3))
    assert found.stays


@pytest.mark.parametrize("share", [0.99, 1.01])
def test_a_push_from_the_side_slides_the_bar_from_the_friction_of_its_weight(shapes, share):
    # Coulomb: it goes at mu W, far below the force that would tip it about the far edge, W 10 / 1.
    force = (0.0, share * 0.1 * WEIGHT_N, 0.0)
    found = under_hand(overhanging(shapes), Staging(), "bar", at_mm=(0, -10, 31), force_n=force, mu=0.1)
    assert found.stays is (share < 1)


def findings(setup):
    found = rest.check(SimpleNamespace(setup=setup, answered=staging_answer(setup)))
    return {f.subject: f for f in found}


def test_a_stated_press_that_the_bar_stands_is_go_and_one_that_tips_it_is_not(shapes):
    at = (30.0, 0.0, 50.0)
    light = Press(part="bar", at_mm=at, force_n=(0.0, 0.0, -0.9 * tips_n(30.0)))
    hard = Press(part="bar", at_mm=at, force_n=(0.0, 0.0, -1.1 * tips_n(30.0)))
    stays = findings(overhanging(shapes, light))["bar under a hand"]
    assert stays.verdict is Verdict.GO
    assert stays.says == "bar stays put under the push."
    assert (stays.value, stays.unit) == (0.0, "mm")
    goes = findings(overhanging(shapes, hard))["bar under a hand"]
    assert goes.verdict is not Verdict.GO
    assert goes.value > 1.0
    assert goes.remedy


def test_a_short_leg_lets_the_part_rock_by_its_gap_over_the_arm(shapes):
    # Four square pins, one low by 0.1 mm: pressed over it the part turns about the edge between the two
    # beside it until it touches; pressed over the high one opposite it stays.
    low, places = 0.1, [(-30, -20, 0), (-30, 20, 0), (30, -20, 0), (30, 20, -0.1)]
    pins = [
        shapes.body(f"pin{i}", shapes.box(2, 2, 10 + up, (x, y, 0))) for i, (x, y, up) in enumerate(places)
    ]
    part = shapes.body("plate", shapes.box(80, 60, 20, (-1, -0.5, 10)), "part")
    setup = shapes.setup(*pins, part)
    down = (0.0, 0.0, -50.0)
    over = under_hand(setup, Staging(), "plate", at_mm=(30, 20, 30), force_n=down)
    assert not over.stays
    assert over.rests
    # The axis: of the tops' corners that bear, the pair furthest toward the low pin, (-29, 21) and (31, -19);
    # the low pin's furthest corner is (31, 21).
    axis = (60.0, -40.0)
    arm = abs(axis[0] * (21 - 21) - axis[1] * (31 + 29)) / math.hypot(*axis)
    assert math.hypot(*over.turn_deg) == pytest.approx(math.degrees(low / arm), rel=0.02)
    across = under_hand(setup, Staging(), "plate", at_mm=(-30, -20, 30), force_n=down)
    assert across.stays


@pytest.mark.parametrize(
    ("material", "density_kg_m3"), [("aluminium", 2700.0), ("steel_1018", 7870.0), ("carbide", 14900.0)]
)
@pytest.mark.parametrize("share", [0.95, 1.05])
def test_an_overhanging_block_tips_by_the_weight_of_what_it_is_made_of(
    shapes, material, density_kg_m3, share
):
    # 100 x 30 x 20 mm on a ledge that ends 10 mm beyond its middle, pressed 30 mm further out. Moments about
    # the ledge: W 10 = F 30. Of aluminium W is 1.589 N and it tips from 0.530 N; of steel from 1.544 N.
    ledge = shapes.body("ledge", shapes.box(60, 60, 30, (-20, 0, 0)))
    floor = shapes.body("floor", shapes.box(400, 400, 10, (0, 0, -10)))
    block = replace(shapes.body("block", shapes.box(100, 30, 20, (0, 0, 30)), "part"), material=material)
    setup = shapes.setup(ledge, floor, block)
    weight_n = 100 * 30 * 20 * density_kg_m3 * 1e-9 * 9.80665
    force = (0.0, 0.0, -share * weight_n * 10 / 30)
    found = under_hand(setup, Staging(), "block", at_mm=(40, 0, 50), force_n=force)
    assert found.stays is (share < 1)
