"""What `mill`, `reach` and `clear` say of end mills, on pockets whose numbers can be worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import cadquery as cq
import pytest

from fixturecheck import engine
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.make import body as make_body
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.tools import MillMove
from tests.machining.test_end_mill import pocketed, ramp, run_of, tee_setup, teed

ASKED = ["reach", "mill", "clear"]


def setup_of(body: Body, *others: Body, **given) -> Setup:
    return Setup(name="bench", bodies=(body, *others), end_mills=(run_of(**given),))


def found(setup: Setup, *only: str) -> dict[Kind, list]:
    told: dict[Kind, list] = {}
    for finding in engine.check(setup, only=only or ASKED).findings:
        told.setdefault(finding.kind, []).append(finding)
    return told


@cache
def plain() -> dict[Kind, list]:
    return found(setup_of(pocketed(round_mm=5.0)))


@cache
def square() -> dict[Kind, list]:
    return found(setup_of(pocketed(round_mm=0.0)), "mill")


def test_a_pocket_that_fits_its_cutter_goes():
    told = plain()
    assert {f.verdict for each in told.values() for f in each} == {Verdict.GO}
    (inside,) = told[Kind.INSIDE_RADIUS]
    assert (inside.value, inside.limit) == (pytest.approx(4.0), pytest.approx(5.0))
    (flutes,) = told[Kind.FLUTE_LENGTH]
    assert (flutes.value, flutes.limit) == (pytest.approx(12.0), pytest.approx(8.0))


def test_a_square_corner_keeps_the_radius():
    """r / sin 45 - r off the edge: 1.657 mm, closed form; half of a zone of 4 mm takes it up."""
    (inside,) = square()[Kind.INSIDE_RADIUS]
    assert inside.verdict is Verdict.CAUTION
    assert "1.657 mm off its edge" in inside.says
    body = replace(pocketed(round_mm=0.0), tolerance_mm={"*": 4.0})
    (wide,) = found(setup_of(body), "mill")[Kind.INSIDE_RADIUS]
    assert wide.verdict is Verdict.GO


def test_a_corner_drawn_sharper_than_the_cutter_is_no_go():
    (inside,) = found(setup_of(pocketed(round_mm=3.0)), "mill")[Kind.INSIDE_RADIUS]
    assert (inside.verdict, inside.limit) == (Verdict.NO_GO, pytest.approx(3.0))
    assert "at most 6 mm" in inside.remedy


def test_flutes_shorter_than_the_pocket_is_deep():
    told = found(setup_of(pocketed(round_mm=5.0), flute_mm=6.0))
    (flutes,) = told[Kind.FLUTE_LENGTH]
    assert (flutes.verdict, flutes.limit) == (Verdict.NO_GO, pytest.approx(8.0))
    # The shank is as thick as the flutes and rubs on the walls over the last 2 mm.
    assert any(k in told for k in (Kind.SHANK_RUBS, Kind.SHANK_HITS))
    # With flutes of 8 the shank would still touch the rim; steps of half a millimetre.
    (rubs,) = [*told.get(Kind.SHANK_RUBS, []), *told.get(Kind.SHANK_HITS, [])]
    assert "flutes 2.50 mm longer (8.5 mm in all)" in rubs.remedy
    # A thinner shank does not help: what the flutes leave above them is in its way.
    assert "thinner" not in rubs.remedy
    # What is left there is above the flutes: no shorter step would take it.
    (left,) = told[Kind.STOCK_LEFT]
    assert left.remedy is None


def test_rounds_too_far_apart_are_told_with_a_step_that_is_not():
    wide = MillMove(kind="pocket", face="floor", step_mm=8.0)
    (left,) = found(setup_of(pocketed(38.0, 18.0), moves=(wide,)), "reach")[Kind.STOCK_LEFT]
    assert left.verdict is Verdict.NO_GO
    assert "Step over by" in left.remedy


def test_a_floor_under_a_lip_is_not_come_down_to():
    """A T-slot 20 wide under a mouth of 10: 2 x 5 x 40 mm2 of its floor lie under the lips."""
    body = teed()
    walls = tuple(
        i for n in ("mouth", "other_mouth", "tee", "other_tee", "under", "other_under") for i in body.faces[n]
    )
    named = {"floor": body.faces["floor"], "walls": walls}
    told = found(setup_of(replace(body, faces=named), flute_mm=20.0))
    (lip,) = told[Kind.OVERHANGING]
    assert lip.verdict is Verdict.NO_GO
    assert lip.value == pytest.approx(400.0, rel=1e-3)
    (left,) = told[Kind.STOCK_LEFT]
    assert left.verdict is not Verdict.NO_GO or left.value > 0.0
    (gouge,) = told[Kind.GOUGE]
    assert gouge.verdict is Verdict.GO
    # A head of 20 on a neck of 9 comes in from the open end; one of 5 high is told to go over it twice.
    told = found(tee_setup(teed()))
    assert {f.verdict for each in told.values() for f in each if f.kind is not Kind.SHANK_HITS} <= {
        Verdict.GO, Verdict.CAUTION
    }  # fmt: skip
    (under,) = [f for f in told[Kind.OVERHANGING] if f.cut == "tee"]
    assert (under.verdict, under.value) == (Verdict.GO, 0.0)
    low = found(tee_setup(teed(), flute_mm=5.0), "reach")[Kind.STOCK_LEFT]
    assert [f.remedy for f in low if f.verdict is Verdict.NO_GO] == [
        "Go over it once more with the tip 1 mm higher, at z 9, or take flutes of 6 mm."
    ]


def test_a_nut_near_a_jaw_is_told_how_far_the_cutter_must_stand_out():
    """The floor lies at 16, the jaw's top at 50; with 30 sticking out the nut comes down to 46."""
    jaw = Body(
        name="jaw",
        solid=cq.Workplane("XY").box(40, 10, 50, centered=(True, True, False)).translate((0, 16, 0)).val(),
        role="fixture",
    )
    told = found(setup_of(pocketed(round_mm=5.0), jaw), "clear")
    (hit,) = told[Kind.NUT_HITS]
    assert hit.verdict is Verdict.NO_GO
    assert "stand out 5.00 mm further (35 mm in all)" in hit.remedy or "5 mm further" in hit.remedy


def test_a_ball_is_judged_by_its_ridges():
    """4 - sqrt(16 - 2 s^2 / 4) where rounds turn a corner: 0.0630 mm at a step of 1 mm."""
    body = replace(pocketed(30.0, 18.0, 5.0, floor_mm=4.0), tolerance_mm={"*": 0.1})
    move = MillMove(kind="pocket", face="floor", step_mm=1.0)
    (ridge,) = found(setup_of(body, shape="ball", moves=(move,)), "mill")[Kind.SCALLOP]
    assert ridge.verdict is Verdict.NO_GO
    assert (ridge.value, ridge.limit) == (pytest.approx(62.996, abs=0.001), pytest.approx(50.0))


@pytest.mark.parametrize(("legs", "verdict"), [(7, Verdict.GO), (6, Verdict.NO_GO)])
def test_a_ramp_goes_down_no_steeper_than_its_cutter_bears(legs, verdict):
    """8 mm down over legs of 22 mm: atan(8 / 154) = 2.97 degrees, atan(8 / 132) = 3.47; 8 / tan 3 = 152.6"""
    (lead,) = found(setup_of(pocketed(30.0, 8.0, 3.99999999), moves=ramp(legs)), "mill")[Kind.LEAD_ANGLE]
    assert (lead.verdict, lead.limit) == (verdict, pytest.approx(3.0))
    assert lead.value == pytest.approx(math.degrees(math.atan(8.0 / (22.0 * legs))))
    if verdict is Verdict.NO_GO:
        assert "Go down that far over 152.7 mm of travel" in lead.remedy


def test_a_shank_thicker_than_its_flutes_is_told_both_ways_to_clear():
    """Flutes just as long as the pocket is deep: the shank of 10 lies on the rim. Steps of 0.5."""
    told = found(setup_of(pocketed(round_mm=5.0), flute_mm=8.0, shank_mm=10.0), "clear")
    (rubs,) = [*told.get(Kind.SHANK_RUBS, []), *told.get(Kind.SHANK_HITS, [])]
    assert "flutes 0.50 mm longer (8.5 mm in all)" in rubs.remedy
    assert "a shank 2.50 mm thinner (7.5 mm thick)" in rubs.remedy


@pytest.mark.parametrize(
    ("shape", "gouge_mm3", "verdict"),
    [("ball", 0.0, Verdict.GO), ("square", 40.0 * 4.0**2 * (2.0 - math.pi / 2), Verdict.NO_GO)],
)
def test_a_slot_with_a_round_bottom_is_no_floor_with_fillets(shape, gouge_mm3, verdict):
    """A slot 8 wide with a bottom of R 4, 10 deep and 40 long: a square one takes what is beside it."""
    profile = cq.Workplane("YZ").moveTo(-4, 20).lineTo(-4, 14).threePointArc((0, 10), (4, 14)).lineTo(4, 20)
    drawn = cq.Workplane().box(40, 30, 20, centered=(True, True, False))
    faces = {"left": (0, -4, 17), "right": (0, 4, 17), "round": (0, 0, 10)}
    slot = make_body("block", drawn.cut(profile.close().extrude(30, both=True)), faces=faces)
    moves = (MillMove(kind="line", at_mm=((-30, 0), (30, 0)), z_mm=10.0),)
    setup = setup_of(slot, shape=shape, moves=moves, makes=("round", "left", "right"))
    (gouge,) = found(setup, "reach", "mill")[Kind.GOUGE]
    assert gouge.verdict is verdict
    (cut,) = engine.check(setup, only=["mill"]).cuts
    assert cut.gouge_mm3 == pytest.approx(gouge_mm3, abs=1e-6)
