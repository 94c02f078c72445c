"""A block on a magnetic chuck, from its solids to its factor, against sums done by hand."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from fixturecheck import Cut, Holding, Seat, Setup, body, check, equipment
from fixturecheck.checks import hold
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.hold import hold_found
from fixturecheck.kernel.construct import box
from fixturecheck.magnet.circuit import ROUGH_SHARE
from fixturecheck.magnet.pull import magnet_of
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import PullNote, PullNoteKind
from fixturecheck.units import METRIC
from fixturecheck.wording.hold import magnet_words
from tests.holding.rigs import let_go, rigged, unfollowed

pytestmark = pytest.mark.slow

DOWNFEED_MM = 0.01
UNEVEN = 3.0
"""Pressure in the middle of a crowned face over that at its corners is the square of this: chosen here."""


def on_chuck(*, magnet="full", holding=None, downfeed_mm=DOWNFEED_MM, material="steel_1018"):
    part = body(
        "block",
        box((-30, -20, 0), (30, 20, 15)),
        material=material,
        finish="ground",
        faces={"seat": "<Z", "floor": ">Z"},
    )
    return Setup(
        name="block on the chuck",
        bodies=(*equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=0.0), part),
        seats=(Seat(body="block", face="seat", on="chuck_plate", on_face="top"),),
        cuts=(Cut(name="top", parts=("block",), floor="floor", stock_mm=0.1, downfeed_mm=downfeed_mm),),
        holding=holding or Holding(magnet=magnet),
    )


@pytest.fixture(scope="module")
def stage(mesher):
    # Rated on a piece over two poles, with a known source, so that the block's pull lies about the rated one.
    piece = {"rating_piece_mm": (50.0, 40.0, 40.0), "rating_finish": "ground"}
    setup = on_chuck(holding=Holding(magnet="full", source_gap_mm=(0.016, 0.016), **piece))
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    return unfollowed(setup, magnet_of(setup, contacts, mesher).pulls(1.0))


@pytest.fixture(scope="module")
def held(stage):
    return hold_found(stage.setup, stage.held)


def finding(result, name="hold"):
    return next(f for f in result.findings if f.check == name)


def least_turning(pull_n, mu, drag_n, press_n, at, *, crown=1.0, half=(30.0, 20.0)):
    """Factor of a flat block under a level drag along X at a place, the pull spread evenly or over a crown.

    The kinematic theorem: the least, over all centres of turning, of friction's work over the drag's. The
    pressure in the middle is the square of `crown` of that at the corners, and the wheel's push sits under
    its own place. Planar sliding as in Goyal, Ruina and Papadopoulos, Wear 143 (1991) 307 (from memory).
    """
    x, y = np.meshgrid(np.linspace(-1, 1, 61) * half[0], np.linspace(-1, 1, 41) * half[1])
    pressure = crown ** (1.0 - 2.0 * np.hypot(x, y) / math.hypot(*half))

    def factor(centre):
        cx, cy = centre
        friction = mu * pull_n * np.average(np.hypot(x - cx, y - cy), weights=pressure)
        push = mu * press_n * math.hypot(at[0] - cx, at[1] - cy)
        drive = drag_n * abs(at[1] - cy) - push
        return friction / drive if drive > 0 else np.inf

    starts = [(0.0, s * d) for d in (5.0, 20.0, 100.0, 1e4) for s in (-1, 1)]
    least = [minimize(factor, s, method="Nelder-Mead").fun for s in starts if np.isfinite(factor(s))]
    return min(least)


def test_the_factor_is_the_least_over_slides_and_turns(held, stage, compared):
    """The worst end of every range at once: friction and pull low, drag high, push low."""
    (part,) = held.parts
    mu = next(i.span[0] for i in part.inputs if i.name == "friction")
    loaded = part.pull_n[0], mu, part.drag_n[1], part.press_n[0], part.load_at_mm
    even, crowned = (least_turning(*loaded, crown=c) for c in (1.0, UNEVEN))
    worst = stage.held.parts[0].factors.worst.factor
    # The pull lies on the poles and not evenly, which is worth some hundredths either way.
    assert worst.high == pytest.approx(even, rel=0.03)
    assert part.factor_low == worst.low
    assert 0.92 * crowned < worst.low < 1.01 * crowned
    compared("block on a chuck, worst of slides and turns", expected=crowned, got=worst.low)


def test_the_pull_on_a_thick_mild_block_is_near_the_rated_one(held):
    """Rated on a piece over two poles; the block lies on poles and spacers alike.

    At the low end a tenth is the error of the method, a fifth the least flat ground face (common practice, no
    source) and some hundredths the weaker lot of the steel; at the high end a tenth and some hundredths.
    """
    (part,) = held.parts
    rated_n = 80.0 * 60 * 40 / 100
    assert 0.9 * 0.8 * 0.9 * rated_n < part.pull_n[0] < 0.8 * rated_n
    assert rated_n < part.pull_n[1] < 1.1 * 1.08 * rated_n


def test_flux_that_comes_up_goes_down(held):
    north = sum(f.flux_density_t * f.area_mm2 for f in held.faces if int(f.b[-6:-4]) % 2)
    south = sum(f.flux_density_t * f.area_mm2 for f in held.faces if not int(f.b[-6:-4]) % 2)
    # Gauss: nothing leaves the block but by its seat. The solver stops when the flux out of balance is
    # ROUGH_SHARE of its load at the strong end, so that either side is known to about that share.
    assert north == pytest.approx(south, rel=2 * ROUGH_SHARE)


def test_the_cut_is_shown_with_its_place(held, stage):
    (part,) = held.parts
    assert part.load_at_mm[2] == pytest.approx(15.0)
    assert math.hypot(*part.load_n) > 0
    assert next(hold.check(stage)).unit == "x load"


def test_with_the_magnet_off_only_its_weight_holds_it(compared):
    """0.28 kg of steel holds 0.15 x 2.8 N against a drag of newtons."""
    stage = unfollowed(on_chuck(holding=Holding(coolant=False)))
    (part,) = hold_found(stage.setup, stage.held).parts
    weight_n = 7870e-9 * 60 * 40 * 15 * 9.80665
    mu = next(i.span[0] for i in part.inputs if i.name == "friction")
    loaded = weight_n, mu, part.drag_n[1], part.press_n[0], part.load_at_mm
    even, crowned = (least_turning(*loaded, crown=c) for c in (1.0, UNEVEN))
    worst = stage.held.parts[0].factors.worst.factor
    assert worst.high == pytest.approx(even, rel=0.01)
    assert 0.9 * crowned < worst.low < crowned
    compared("the same by its weight alone", expected=crowned, got=worst.low)
    told = next(hold.check(stage))
    assert told.verdict is Verdict.NO_GO
    assert "The magnet is off, and no clamp is stated." in told.says
    assert told.remedy is not None
    assert told.remedy.startswith("Switch the magnet on")


def test_a_push_of_the_wheel_carries_its_own_drag_where_friction_is_above_their_ratio():
    """Pressed down on its face at 0.3 the block holds itself, however little it weighs."""
    rig = rigged(on_chuck(holding=Holding(coolant=False)))
    found = let_go(rig, "block", (0.25, 0.0, -1.0), (0.0, 0.0, 0.0), mu=0.3)
    assert found.at_least


def test_a_part_of_brass_is_not_drawn_and_lies_by_its_weight(monkeypatch):
    monkeypatch.setattr("fixturecheck.hold.HOLD", 0)  # no cure is asked for
    known = {"source_gap_mm": (0.3, 0.3), "source_mmf_a": (400.0, 400.0)}
    holding = Holding(magnet="full", grinds_as={"block": "soft_steel"}, **known)
    result = check(on_chuck(material="brass", holding=holding), only=("hold",))
    told = finding(result)
    assert told.verdict is Verdict.NO_GO
    assert told.value < 0.01
    (part,) = result.holding.parts
    assert part.pull_n == (0.0, 0.0)
    assert PullNoteKind.NOT_MAGNETIC in {n.kind for n in result.holding.notes if isinstance(n, PullNote)}


def test_a_material_without_a_curve_is_unknown_and_says_what_to_state():
    result = check(on_chuck(material="tool_steel_a2"), only=("hold",))
    told = finding(result)
    assert told.verdict is Verdict.UNKNOWN
    assert "curves_between" in told.says


def test_a_rating_that_is_not_stated_is_said_to_be_assumed(held):
    assert "80 N/cm², assumed since none is stated" in magnet_words(held.magnet, METRIC)
