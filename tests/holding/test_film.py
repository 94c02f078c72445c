"""Wet or dry: sliding under Coulomb's law, F = mu N, in closed form; and a least factor that is a limit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fixturecheck import Cut, Holding, Seat, Setup, body
from fixturecheck.checks import hold
from fixturecheck.holding.factor import losses_of
from fixturecheck.holding.model import Held, Lost
from fixturecheck.interval import Range
from fixturecheck.kernel.construct import box
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import FILM, Loss, LossKind
from fixturecheck.statics.clamps import friction
from tests.holding.rigs import ground, let_go, rigged, strap, unfollowed

SCREW_N = 1000.0
L, W, H = 80.0, 30.0, 20.0
WEIGHT_N = 7870e-9 * L * W * H * 9.80665
"""Mild steel at 7870 kg/m3, as in the shop's table."""


def strapped(screw_n=SCREW_N, **holding):
    """A block pressed on a table by a strap with equal arms, so with half the force in its screw."""
    table = body(
        "table", box((-100, -60, -20), (100, 60, 0)), role="fixture", finish="ground", faces={"top": ">Z"}
    )
    part = body(
        "block",
        box((-L / 2, -W / 2, 0), (L / 2, W / 2, H)),
        finish="ground",
        faces={"seat": "<Z", "floor": ">Z"},
    )
    return Setup(
        name="block under a strap",
        bodies=(table, part),
        seats=(Seat(body="block", face="seat", on="table", on_face="top"),),
        cuts=(Cut(name="top", parts=("block",), floor="floor", stock_mm=0.1),),
        holding=Holding(clamps=(strap("block", (0, 0, H), screw_n),), **holding),
    )


@pytest.mark.parametrize(
    ("stated", "mu"),
    [
        ({"friction": "ground_steel"}, friction("coolant_film")),
        ({"friction": "ground_steel", "coolant": False}, friction("ground_steel")),
        ({"mu": (0.05, 0.12), "coolant": True}, None),
    ],
    ids=["wet is the rule", "dry as stated", "what is slicker than the film stays so"],
)
def test_friction_that_counts_slides_by_coulomb(stated, mu):
    low, high = (mu.low, mu.high) if mu else (0.05, 0.12)
    rig = rigged(strapped(**stated))
    assert (rig.mu.low, rig.mu.high) == (low, high)
    # A level push at the foot slides it without tipping: it holds mu (W + F) over one newton.
    found = let_go(rig, "block", (1.0, 0.0, 0.0), (0.0, 0.0, 0.5), mu=rig.mu.low)
    assert found.factor.low == pytest.approx(low * (WEIGHT_N + SCREW_N / 2), rel=1e-3)


def test_under_coolant_the_film_is_no_loss_of_its_own():
    for wet, lost in ((True, []), (False, [FILM])):
        process, rig = ground(strapped(coolant=wet))
        assert [x.lost for x in losses_of((), rig, process)] == lost


@pytest.fixture(scope="module")
def wet_and_dry():
    """The same block with just enough strap to hold three times the cut dry, and so not wet."""
    dry = unfollowed(strapped(friction="ground_steel", coolant=False))
    ratio = 3.3 / dry.held.parts[0].factors.factor.low
    screw_n = SCREW_N * ratio
    return [unfollowed(strapped(screw_n, friction="ground_steel", coolant=c)) for c in (True, False)]


def test_a_factor_below_the_least_is_no_go_and_says_so(wet_and_dry):
    wet, dry = (next(hold.check(stage)) for stage in wet_and_dry)
    assert (dry.verdict, wet.verdict) == (Verdict.GO, Verdict.NO_GO)
    assert 1.0 < wet.value < 3.0 < dry.value
    assert "times the cutting load (3 required)" in wet.says
    assert wet.margin == pytest.approx(wet.value - 3.0)
    # A little push of the wheel helps both alike, so the ratio is near that of the low ends of friction.
    assert wet.value / dry.value == pytest.approx(0.10 / 0.15, rel=0.1)


@pytest.mark.parametrize(
    ("low", "verdict"), [(0.5, Verdict.NO_GO), (0.99, Verdict.NO_GO), (1.01, Verdict.GO)]
)
def test_what_lets_go_under_the_cut_itself_is_no_go_however_little_is_asked(wet_and_dry, low, verdict):
    """Statics: at less than once its load nothing holds it."""
    stage = wet_and_dry[1]
    part = stage.held.parts[0]
    factors = replace(part.factors, factor=Range(low=low, high=5.0))
    held = Held(parts=(replace(part, factors=factors, losses=()),), pulls=None, release=None, missing={})
    setup = replace(stage.setup, holding=replace(stage.setup.holding, least_factor=0.1))
    (found,) = hold.check(replace(stage, setup=setup, held=held))
    assert found.verdict is verdict


@pytest.mark.parametrize("low", [0.31, 0.99, 1.01])
def test_a_loss_under_which_it_lets_go_under_the_cut_itself_is_a_caution(wet_and_dry, low):
    """Statics: without the strap less than once the load is too much for it."""
    stage = wet_and_dry[1]
    part = stage.held.parts[0]
    less = replace(part.borne.collapse, factor=Range(low=low, high=5.0))
    lost = Lost(lost=Loss(kind=LossKind.CLAMP, name="strap"), borne=(replace(part.borne, collapse=less),))
    held = Held(parts=(replace(part, losses=(lost,)),), pulls=None, release=None, missing={})
    cautions = [f for f in hold.check(replace(stage, held=held)) if f.verdict is Verdict.CAUTION]
    assert [f.value for f in cautions] == ([low] if low < 1.0 else [])


def test_a_least_factor_beyond_the_search_is_not_known(wet_and_dry):
    stage = wet_and_dry[1]
    part = stage.held.parts[0]
    far = replace(part, factors=replace(part.factors, worst=replace(part.factors.worst, at_least=True)))
    setup = replace(stage.setup, holding=replace(stage.setup.holding, least_factor=100.0))
    held = Held(parts=(far,), pulls=None, release=None, missing={})
    (found, *_) = hold.check(replace(stage, setup=setup, held=held))
    assert found.verdict is Verdict.UNKNOWN
