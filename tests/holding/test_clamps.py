"""Straps and toes on a table, from solids to a factor, against statics; and how clamps are stated."""

import math

import pytest

from fixturecheck import Clamp, Cut, Holding, Seat, Setup, body
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.construct import box
from fixturecheck.result.finding import Verdict
from fixturecheck.units import METRIC
from fixturecheck.wording.motion import how_words
from tests.holding.rigs import judged, let_go, rigged, strap

LENGTH, WIDE, TALL = 80.0, 30.0, 20.0
MU = 0.2
WEIGHT_N = 7870e-9 * LENGTH * WIDE * TALL * 9.80665


def on_table(*clamps, stops=False):
    table = body(
        "table",
        box((-100, -60, -20), (100, 60, 0)),
        role="fixture",
        material="gray_iron",
        finish="ground",
        faces={"top": ">Z"},
    )
    part = body(
        "block",
        box((-LENGTH / 2, -WIDE / 2, 0), (LENGTH / 2, WIDE / 2, TALL)),
        material="steel_1018",
        finish="ground",
        faces={"seat": "<Z", "floor": ">Z", "back": ">Y"},
    )
    fence = body(
        "fence",
        box((-50, WIDE / 2, 0), (50, WIDE / 2 + 20, 15)),
        role="fixture",
        material="steel_1018",
        finish="ground",
        faces={"front": "<Y"},
    )
    return Setup(
        name="block on the table",
        bodies=(table, fence, part) if stops else (table, part),
        seats=(Seat(body="block", face="seat", on="table", on_face="top"),),
        cuts=(Cut(name="top", parts=("block",), floor="floor", stock_mm=0.1),),
        holding=Holding(coolant=False, friction="ground_steel", clamps=clamps, blocking=()),
    )


def toe(force_n=500.0, *, down_deg, z=10.0):
    return Clamp(
        name="toe",
        kind="toe",
        body="block",
        at_mm=(0.0, -WIDE / 2, z),
        inward=(0.0, 1.0, 0.0),
        down_deg=down_deg,
        force_n=force_n,
        spread_share=0.0,
    )


STRAPS = (
    strap("block", (-30, 0, TALL), name="left", screw_to_heel_mm=30.0, screw_to_part_mm=60.0),
    strap("block", (30, 0, TALL), name="right"),
)
# Levers over their heels: the screw's force times heel arm over both arms.
PRESSED_N = 1000.0 * 30.0 / 90.0 + 1000.0 / 2.0


@pytest.mark.parametrize("way", [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0)])
def test_two_straps_hold_by_friction_below(way, compared):
    """A load that passes through the centre of pressure slides the block off: mu (P + W)."""
    centre_x = (500.0 - 1000.0 / 3.0) * 30.0 / (PRESSED_N + WEIGHT_N)
    found = let_go(rigged(on_table(*STRAPS)), "block", way, (centre_x, 0.0, 0.0), mu=MU)
    assert found.motions[0].kind == "slides"
    slides = MU * (PRESSED_N + WEIGHT_N)
    assert found.factor.ends == pytest.approx((slides, slides), rel=1e-3)
    along = "along" if way[0] else "across"
    compared(f"block under two straps slides {along}", expected=slides, got=found.factor.low)


def test_two_straps_hold_down_what_lifts_one_end(compared):
    """Moments about the right edge: F times the length balances the straps and the weight."""
    found = let_go(rigged(on_table(*STRAPS)), "block", (0.0, 0.0, 1.0), (-LENGTH / 2, 0.0, TALL), mu=MU)
    edge = LENGTH / 2
    moment = 1000.0 / 3.0 * (edge + 30.0) + 500.0 * (edge - 30.0) + WEIGHT_N * edge
    assert found.factor.low == pytest.approx(moment / LENGTH, rel=2e-3)
    compared("block under two straps lifted at one end", expected=moment / LENGTH, got=found.factor.low)
    assert found.motions[0].kind == "tips"
    assert found.motions[0].axis_mm[0] == pytest.approx(edge, abs=0.1)


def test_a_toe_against_a_fence_holds_along_it_and_upward(compared):
    """Statics: F cos t on the fence, W + F sin t on the table; mu times both along it."""
    down = math.radians(30.0)
    rig = rigged(on_table(toe(down_deg=30.0, z=7.5), stops=True))
    found = let_go(rig, "block", (1.0, 0.0, 0.0), (0.0, 0.0, 7.5), mu=MU)
    expected = MU * (500.0 * math.cos(down) + 500.0 * math.sin(down) + WEIGHT_N)
    assert found.factor.low == pytest.approx(expected, rel=1e-3)
    compared("block under a toe slides along its fence", expected=expected, got=found.factor.low)
    # Pressed in, it rubs on both faces; until that is slid away it may carry a little more.
    assert found.factor.high == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize(("z", "rests"), [(5.0, True), (19.0, False)])
def test_a_toe_that_pushes_high_lifts_the_block_off_its_seat(z, rests):
    """Level push F at height z against a fence of 15: above it the block turns over the fence's top edge.

    About that edge the weight holds W times half the width; F times (z - 15) lifts.
    """
    found = let_go(
        rigged(on_table(toe(down_deg=0.0, z=z), stops=True)), "block", (1.0, 0.0, 0.0), (0, 0, 10.0), mu=0.0
    )
    assert (500.0 * (z - 15.0) < WEIGHT_N * WIDE / 2) is rests
    assert found.rests is rests
    if not rests:
        assert found.factor.high == 0.0
        assert found.motions[0].kind == "tips"
        assert (
            "moves off before the cut begins, under weight, magnet and clamps alone: block tips"
            in how_words(found.failure, METRIC)
        )


def test_a_toe_without_a_fence_pushes_the_block_away():
    """Pushed in by F cos t, held by mu (W + F sin t): at 10 degrees the toe wins."""
    rig = rigged(on_table(toe(down_deg=10.0, z=2.0)))
    found = let_go(rig, "block", (1.0, 0.0, 0.0), (0.0, 0.0, 2.0), mu=MU)
    assert not found.rests
    assert "alone: block slides" in how_words(found.failure, METRIC)


def test_what_does_not_stay_put_is_a_no_go_with_the_reason():
    (told, *_) = judged(on_table(toe(down_deg=0.0, z=19.0), stops=True))
    assert told.verdict is Verdict.NO_GO
    assert told.value == 0.0
    assert "moves off before the cut begins, under weight, magnet and clamps alone: block tips" in told.says


def test_the_force_of_a_clamp_is_a_range():
    (given,) = rigged(
        on_table(Clamp(name="s", kind="strap", body="block", at_mm=(0, 0, TALL), force_n=800.0))
    ).clamps
    assert given.force.force_n.ends == pytest.approx((0.8 * 400.0, 1.2 * 400.0))
    load = given.load(1.0)
    assert load.force_n == pytest.approx((0.0, 0.0, -480.0))


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        ({"kind": "magnet"}, "kind"),
        ({"torque_nm": 5.0}, "force_n or torque_nm, one of the two"),
        ({"at_mm": None}, "state at_mm"),
        ({"body": "plate"}, "no such body as 'plate'"),
        ({"kind": "toe"}, "state inward"),
        ({"kind": "toe", "inward": (0, 0, 1)}, "state inward, a level direction"),
        ({"kind": "toe", "inward": (0, 1, 0), "down_deg": 90.0}, "down_deg: must be from 0 to 89; got 90"),
        ({"kind": "vise"}, "state the face of 'block' that presses"),
        ({"thread": "wet"}, "thread"),
        ({"force_n": -1.0}, "must be from 0.01 to 1000000; got -1"),
        ({"spread_share": 1.0}, "spread_share: must be from 0 to 0.9; got 1"),
    ],
)
def test_a_clamp_that_cannot_be_is_refused(stated, says):
    facts = {"name": "c", "kind": "strap", "body": "block", "at_mm": (0, 0, TALL), "force_n": 100.0} | stated
    with pytest.raises(SetupError, match=says):
        on_table(Clamp(**facts))


@pytest.mark.parametrize(
    ("at_mm", "inward", "refused"),
    [
        ((40.0, 0.0, 8.0), (-1.0, 0.0, 0.0), ""),
        ((40.5, 0.0, 8.0), (-1.0, 0.0, 0.0), ""),
        ((39.5, 0.0, 8.0), (-1.0, 0.0, 0.0), ""),
        ((42.0, 0.0, 8.0), (-1.0, 0.0, 0.0), "on nothing"),
        # High over the block, and away from it as a hook would pull.
        ((40.0, 0.0, 99.0), (-1.0, 0.0, 0.0), "on nothing"),
        ((40.0, 0.0, 8.0), (1.0, 0.0, 0.0), "inside block"),
        # Two millimetres under its face, where its lever is another.
        ((38.0, 0.0, 8.0), (-1.0, 0.0, 0.0), "inside block"),
    ],
)
def test_a_wrong_go_by_a_clamp_in_the_air(at_mm, inward, refused):
    """Nothing is held by what does not touch it."""
    setup = on_table(Clamp(name="toe", kind="toe", body="block", at_mm=at_mm, inward=inward, force_n=800.0))
    if not refused:
        assert rigged(setup).clamps
        return
    with pytest.raises(NotComputedError, match=f"'toe' presses {refused}"):
        rigged(setup)
