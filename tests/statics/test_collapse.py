"""Collapse: slip or tip against published problems, the motion in words, ranges, losses, crash, remedies."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.holding.remedy_search import least_that_reaches
from fixturecheck.interval import Range
from fixturecheck.machining import grinding
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import FILM, Loss, LossKind, MotionKind, Outcome
from fixturecheck.statics import collapse as collapse_module
from fixturecheck.statics import loading
from fixturecheck.statics.clamps import friction
from fixturecheck.statics.collapse import collapse, factor_range, filmed, without
from fixturecheck.statics.equilibrium import (
    ContactPoint,
    EquilibriumProblem,
    Load,
    Rigid,
    write_equations,
)
from fixturecheck.statics.limit import unpushed_share
from fixturecheck.statics.loading import settle_held
from fixturecheck.statics.mechanism import crash_verdict, follow_overlap, starting_motions
from fixturecheck.units import METRIC, factor_text
from fixturecheck.wording.hold import loss_words
from fixturecheck.wording.motion import MOVES_OFF, direction_words, lets_go_words, motion_words
from tests.statics.seated import block, seat


def test_slip_or_tip_under_a_push(compared):
    """W 250 lb, 32 in wide, 72 in tall, mu 0.3, 60 lb at 60 in: rests; Mississippi State VLSM, example 1."""
    crate = collapse(block(mu=0.3, base=32, tall=72, weight=250, pull=0, push=(60, 0, 0), height=60))
    assert crate.factor.low > 1.0
    # It would slip at 75 lb and tips when P h = W a/2, at 66.67 lb.
    assert crate.factor.low * 60 == pytest.approx(min(75.0, 250 * 16 / 60), rel=1e-4)
    compared("crate that tips under a push", expected=66.67, got=crate.factor.low * 60)
    assert crate.motions[0].kind == "tips"


@pytest.mark.parametrize("leans_deg", [0.0, 10.0, 45.0])
def test_pushing_alone_leaves_the_weight_along_a_slope(leans_deg):
    """Closed form: the sine. Where any of it is left there is no rest without friction."""
    lean = math.radians(leans_deg)
    weight = Load(body="part", force_n=(10 * math.sin(lean), 0, -10 * math.cos(lean)), at_mm=(0, 0, 0))
    equations = write_equations(replace(block(mu=0.9, pull=0, tall=0.0), held=(weight,)))
    assert unpushed_share(equations) == pytest.approx(math.sin(lean), abs=1e-8)
    _, rests = settle_held(replace(equations, mu=np.zeros(4)))
    assert rests is (leans_deg == 0.0)


@pytest.mark.parametrize(("wide", "angle", "kind"), [(1.0, 26.56, "tips"), (3.0, 32.2, "slides")])
def test_slip_or_tip_on_an_incline(wide, angle, kind, compared):
    """mu 0.63, base to height 1:2: slips at 32.2, tips at 26.56 degrees, so tips: Essential University
    Physics 3e, ch. 12 problem 48. A wide block slips."""
    slope = collapse(block(mu=0.63, base=20 * wide, tall=40, weight=1, pull=0, push=(1, 0, 0), height=20))
    found_deg = math.degrees(math.atan(slope.factor.low))
    assert found_deg == pytest.approx(angle, abs=0.05)
    compared(f"slope at which it {kind}", expected=angle, got=found_deg)
    assert slope.motions[0].kind == kind


@pytest.mark.parametrize(("base", "tall"), list(itertools.product((10.0, 20.0, 45.0), (30.0, 50.0))))
def test_order_of_slip_and_tip(base, tall):
    """Pushed at the top a block tips first if half its base over its height is below mu, so base/height of a
    body pushed at its centre below mu: F=ma exam 2009 problem 24, kevinshuang.com."""
    answer = collapse(block(mu=0.5, base=base, tall=tall, weight=1, pull=0, height=tall / 2))
    assert (answer.motions[0].kind == "tips") is (base / tall < 0.5)


def test_magnet_held_block(compared):
    """F slip = mu (N + W), F tip = (N + W)(b/2)/h: 102 and 170 N, so it slides: statics."""
    low, high = (collapse(block(mu=mu), ceiling=1e3) for mu in (0.2, 0.4))
    assert low.factor.low == pytest.approx(102.0, rel=1e-4)
    compared("magnet-held block slides", expected=102.0, got=low.factor.low)
    assert low.motions[0].kind == "slides"
    assert (
        lets_go_words(low.failure, METRIC)
        == "lets go at 102 times the cutting load: part slides to the right"
    )
    assert high.factor.low == pytest.approx(170.0, rel=1e-4)
    compared("magnet-held block tips", expected=170.0, got=high.factor.low)
    assert high.motions[0].kind == "tips"
    assert high.motions[0].axis_mm[0] == pytest.approx(20.0, abs=0.01)
    assert high.motions[0].axis_mm[2] == pytest.approx(0.0, abs=0.01)
    assert "tips to the right, over a line along Y at X 20.0, Z 0.0 mm" in lets_go_words(high.failure, METRIC)


@pytest.mark.parametrize(
    ("factor", "says"),
    [(0.0, "0"), (0.00015, "under 0.01"), (0.9246, "0.92"), (4.0, "4"), (25.8853, "25.9"), (102.4, "102")],
)
def test_factors_as_people_say_them(factor: float, says: str):
    assert factor_text(factor) == says


def test_a_loss_is_written_as_without_it_or_with_the_film():
    assert loss_words(FILM) == "with a film of coolant"
    assert loss_words(Loss(kind=LossKind.BODY, name="block_left")) == "without block_left"


def test_share_of_the_pull_that_holds_sideways():
    """Displacement over pull 15 to 30 % by surface: magnetic chuck manual 244 p. 39; 20 %: a magnet maker's
    note on holding against friction force. Dry surfaces span the former, wet ones reach no higher."""
    pull = 640.0

    def shares(kind):
        return [
            collapse(block(mu=m, weight=0, pull=pull, height=1), ceiling=1e3).factor.low / pull
            for m in friction(kind).ends
        ]

    (low, high), (wet_low, wet_high) = shares("magnet"), shares("coolant_film")
    assert (low, high) == pytest.approx((0.15, 0.30), rel=1e-3)
    assert low < 0.20 < high
    assert wet_low < low
    assert wet_high <= 0.20 * (1 + 1e-3)


def test_friction_of_ground_steel_lies_in_the_published_range():
    """Gieck 0.15 to 0.30, Davis 0.31 at rest and 0.23 sliding, clean and dry up to 0.78, which no shop has:
    LBNL coefficients of friction."""
    mu = friction("ground_steel")
    assert (mu.low, mu.high) == (0.15, 0.30)
    assert mu.holds(0.23)
    assert not mu.holds(0.78)


def test_no_friction_holds_nothing_sideways_and_no_load_is_refused():
    # Of a pull and weight of 510 N no more than a hundred-thousandth is found to hold.
    assert collapse(block(mu=0.0)).factor.low == pytest.approx(0.0, abs=510e-5)
    with pytest.raises(SetupError, match="cutting load is zero"):
        collapse(replace(block(mu=0.2), cutting=()))


@pytest.mark.parametrize("kept", [0, 1, 2])
def test_too_few_points_to_rest_on(kept):
    """Three points not in line are the least that a free body rests on: statics."""
    plain = block(mu=0.2)
    answer = collapse(replace(plain, contacts=plain.contacts[:kept]))
    assert not answer.rests
    assert answer.factor == Range.exactly(0.0)
    assert answer.goes == "part"
    if kept == 2:
        # Both points stand on the left.
        assert motion_words(answer.motions[0], METRIC).startswith("part tips to the right")


def test_three_points_rest():
    """Each corner of a triangle round the centre carries its share of the weight: moments."""
    spots = ((-20.0, -20.0, 0.0), (20.0, -20.0, 0.0), (0.0, 20.0, 0.0))
    points = tuple(ContactPoint(a="part", at_mm=p, normal=(0, 0, -1), mu=0.2) for p in spots)
    rest, _ = settle_held(write_equations(replace(block(mu=0.2), contacts=points)))
    assert rest.carried_n[:, 0] == pytest.approx([2.5, 2.5, 5.0], rel=1e-5)


def test_spin_depends_on_where_the_face_bears():
    """Against turning on its seat a flat face holds by its fit: between that of the middle points alone and
    that of the outer points, sum of mu N r (statics); the range is wide and its low end counts."""
    plain = block(mu=0.2, weight=0.0, pull=500, points=4)
    twist = Load(body="part", force_n=(0, 0, 0), at_mm=(0, 0, 0), moment_nmm=(0, 0, 100.0))
    answer = collapse(replace(plain, cutting=(twist,)), ceiling=1e3)
    inner, outer = (0.2 * 500 * r * math.sqrt(2) / 100 for r in (20 / 3, 20.0))
    assert inner < answer.factor.low < answer.factor.high < answer.bound_factor
    assert answer.bound_factor == pytest.approx(outer, rel=1e-5)
    assert answer.factor.high > 1.1 * answer.factor.low
    assert "turns counter-clockwise seen from above" in lets_go_words(answer.failure, METRIC)


@pytest.mark.parametrize(
    ("force_n", "moment_nmm", "expected"),
    # 2 mu N along the axis, as much upright, mu N r of each line about it; both at once by root of squares.
    [
        ((1.0, 0.0, 0.0), (0.0, 0.0, 0.0), 400.0),
        ((0.0, 0.0, 1.0), (0.0, 0.0, 0.0), 400.0),
        ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 4000.0),
        ((0.6, 0.0, 0.0), (8.0, 0.0, 0.0), 400.0),
    ],
)
def test_a_round_bar_between_flat_jaws(force_n, moment_nmm, expected):
    """Two line contacts of 2000 N each on a bar of 20 mm, mu 0.1: Coulomb in closed form."""
    places = np.linspace(-30.0, 30.0, 7)
    lines = tuple(
        ContactPoint(a="bar", b=b, at_mm=(float(x), y, 0.0), normal=(0.0, y, 0.0), mu=0.1, label=f"{y}")
        for y, b in ((10.0, ""), (-10.0, "jaw"))
        for x in places
    )
    held = EquilibriumProblem(
        bodies=(
            Rigid(name="bar", at_mm=(0, 0, 0), size_mm=30.0),
            Rigid(name="jaw", at_mm=(0, -20, 0), slides_along=(0.0, 1.0, 0.0)),
        ),
        contacts=lines,
        held=(Load(body="jaw", force_n=(0, 2000.0, 0), at_mm=(0, -20, 0)),),
        cutting=(Load(body="bar", force_n=force_n, at_mm=(0, 0, 0), moment_nmm=moment_nmm),),
    )
    assert collapse(held, ceiling=1e5).factor.low == pytest.approx(expected, rel=1e-3)


def test_contacts_that_trade_their_shares_for_ever_have_let_go(monkeypatch):
    """The load chatters by 0.04 % while the travel doubles: no longer `the load still grew`."""
    equations = write_equations(block(mu=0.2))
    rest, _ = settle_held(equations)
    unit = equations.cutting_n / np.linalg.norm(equations.cutting_n)
    strides = []

    def chatters(_, before, held, load, stride, heading):
        strides.append(stride)
        state = replace(before, freedoms_mm=before.freedoms_mm + stride * unit)
        grown = min(1.0, 0.3 * len(strides))
        return loading.Step(state=state, factor=6.0 * grown + 0.0025 * (-1) ** len(strides)), stride

    monkeypatch.setattr(loading, "_advance", chatters)
    path = loading.load_path(equations, rest, ceiling=1e3)
    assert path.ended is loading.PathEnd.STANDSTILL
    assert path.factor == pytest.approx(6.0, rel=1e-3)
    assert sum(strides) > loading.GONE_MM


def test_what_is_enough_changes_nothing_below_it_and_ends_all_above():
    """The least of several holdings is then the very same, wherever it comes in the row."""
    plain = block(mu=0.2, weight=0.0, pull=500, points=4)
    whole = collapse(plain, ceiling=1e3)
    above, below = (collapse(plain, ceiling=1e3, enough=share * whole.factor.low) for share in (1.2, 0.5))
    assert above.factor.low == whole.factor.low
    assert above.carried_n.tobytes() == whole.carried_n.tobytes()
    assert below.at_least
    assert 0.5 * whole.factor.low <= below.factor.low <= whole.factor.low


def test_a_wrong_at_least_where_the_first_fit_alone_reaches_the_ceiling():
    """The same twist below a ceiling that evenly fitting faces reach and crowned ones do not."""
    plain = block(mu=0.2, weight=0.0, pull=500, points=4)
    twist = Load(body="part", force_n=(0, 0, 0), at_mm=(0, 0, 0), moment_nmm=(0, 0, 100.0))
    free = collapse(replace(plain, cutting=(twist,)), ceiling=1e3)
    ceiling = free.factor.low * 1.05
    assert ceiling < free.factor.high
    answer = collapse(replace(plain, cutting=(twist,)), ceiling=ceiling)
    assert not answer.at_least
    assert answer.factor.low == pytest.approx(free.factor.low, rel=1e-4)
    assert answer.factor.high == ceiling
    assert answer.motions[0].kind == "turns"


@pytest.mark.parametrize(
    ("last", "start"), [(1, "faces that fit evenly"), (2, "crowned faces"), (3, "hollow faces")]
)
def test_a_wrong_low_end_where_a_start_gives_no_answer(monkeypatch, last, start):
    """A start that could not be computed may have been the lowest: the low end is not known."""
    follow = collapse_module.load_path
    calls = []

    def fails_at_one(equations, rest, **given):
        calls.append(1)
        if len(calls) == last:
            raise NotComputedError("contacts kept switching")
        return follow(equations, rest, **given)

    monkeypatch.setattr(collapse_module, "load_path", fails_at_one)
    with pytest.raises(NotComputedError, match=rf"contacts kept switching \({start}\)"):
        collapse(block(mu=0.2))


def test_clamp_that_pushes_the_part_off_its_seat():
    lifted = block(mu=0.2, pull=0)
    clamp = Load(body="part", force_n=(0, 0, 200), at_mm=(0, 0, 0), label="toe clamp")
    answer = collapse(replace(lifted, held=(*lifted.held, clamp)))
    assert not answer.rests
    assert answer.factor == Range.exactly(0.0)
    assert lets_go_words(answer.failure, METRIC) == f"{MOVES_OFF}: part lifts"


def test_pressed_on_its_seat_by_the_cut_itself():
    answer = collapse(block(mu=0.3, push=(0.1, 0, -1)), ceiling=50)
    assert answer.at_least
    assert answer.motions == ()
    assert lets_go_words(answer.failure, METRIC) == "holds at least 50 times the cutting load"


@pytest.mark.parametrize(
    ("push", "words"),
    [
        ((1, 0, 0), "to the right"),
        ((-1, 0, 0), "to the left"),
        ((0, 1, 0), "toward the column"),
        ((0, -1, 0), "toward the operator"),
        ((1, -1, 0), "to the right and toward the operator"),
    ],
)
def test_directions_in_words(push, words):
    assert (
        motion_words(collapse(block(mu=0.2, push=push, height=10), ceiling=1e3).motions[0], METRIC)
        == f"part slides {words}"
    )
    assert direction_words(push) == words


def test_turning_in_words_and_velocity_of_points():
    body = Rigid(name="part", at_mm=(10.0, 0.0, 0.0), size_mm=10.0)
    (turn,) = starting_motions((body,), np.array([[0, 0, 0, 0, 0, 0.1]]))
    assert motion_words(turn, METRIC).startswith(
        "part turns counter-clockwise seen from above, about an axis along Z at X 10.0, Y 0.0"
    )
    assert turn.velocity_at((20.0, 0.0, 5.0)) == pytest.approx((0.0, 1.0, 0.0))
    both = starting_motions(
        (body, replace(body, name="other")), np.array([[1e-3, 0, 0, 0, 0, 0], [1.0, 0, 0, 0, 0, 0]])
    )
    assert [m.body for m in both] == ["other"]
    assert starting_motions((body,), np.zeros((1, 6))) == ()


def test_what_only_its_round_carries_rolls_about_that_and_tips_over_its_end():
    bar = Rigid(name="bar", at_mm=(0.0, 0.0, 8.0), size_mm=25.0, rolls_about=(1.0, 0.0, 0.0))
    (rolling,) = starting_motions((bar,), np.array([[0.0, -8.0, 0.0, 1.0, 0.0, 0.0]]))
    assert motion_words(rolling, METRIC) == (
        "bar rolls toward the operator, about an axis along X at Y 0.0, Z 0.0 mm"
    )
    (tipping,) = starting_motions((bar,), np.array([[8.0, 0.0, 25.0, 0.0, 1.0, 0.0]]))
    assert tipping.kind is MotionKind.TIPS


def vary(values):
    return block(mu=values["mu"], pull=values["pull"], push=(values["cut"], 0, 0), height=values["height"])


INPUTS = {
    "mu": Range(low=0.15, high=0.25),
    "pull": Range(low=400.0, high=500.0),
    "cut": Range(low=20.0, high=40.0),
    "height": Range.exactly(30.0),
}


def test_range_and_what_drives_it():
    """Slides: factor = mu (N + W) / P at each end; the cut with a ratio of two moves it most."""
    found = factor_range(vary, INPUTS)
    assert found.factor.low == pytest.approx(0.15 * 410 / 40, rel=1e-4)
    assert found.factor.high == pytest.approx(0.25 * 510 / 20, rel=1e-4)
    assert found.worst_inputs == {"mu": 0.15, "pull": 400.0, "cut": 40.0, "height": 30.0}
    assert found.driver == "cut"
    assert [s.name for s in found.swings] == ["cut", "mu", "pull"]
    assert found.swings[0].factor_at_low == pytest.approx(0.2 * 460 / 20, rel=1e-4)
    assert found.middle.factor.low == pytest.approx(0.2 * 460 / 30, rel=1e-4)
    again = factor_range(vary, INPUTS)
    assert (again.factor, again.runs) == (found.factor, found.runs)


def test_worst_of_both_strokes_and_all_ends():
    """A straight wheel on a magnet-held block: the worst is the greatest drag with the least press, and the
    factor that of a slide, mu (N + W) = f (drag - mu press), statics at the middle of a flat arc."""
    cut = grinding.Pass(
        depth_mm=0.01, width_mm=13.0, table_speed_m_min=12.0, wheel_speed_m_s=26.0, wheel_diameter_mm=178.0
    )
    forces = grinding.pass_forces(cut, grinding.abrasion("hard_steel"))
    plain = block(mu=0.2, pull=100, height=40)
    loads = {
        (load.stroke, load.drag_n, load.press_n): (
            Load(body="part", force_n=load.force_n, at_mm=tuple(np.add((0, 0, 10), load.offset_mm))),
        )
        for load in grinding.cut_loads(cut, forces)
    }
    found = {name: collapse(replace(plain, cutting=load)) for name, load in loads.items()}
    name, answer = min(found.items(), key=lambda item: (item[1].factor.low, item[0]))
    assert len(found) == 8
    drag, press = forces.tangential_n.high, forces.normal_n.low
    assert name[1:] == (drag, press)
    assert answer.factor.low == pytest.approx(0.2 * 110 / (drag - 0.2 * press), rel=0.05)
    assert motion_words(answer.motions[0], METRIC) == "part slides to the right"


def test_beyond_the_ceiling_the_weak_corner_says_which_end_is_worse():
    """With all in the middle it holds far beyond the ceiling, and no single input shows: the cut at its high
    end is the worse one all the same, and what drives it is read where it is weak."""
    inputs = {**INPUTS, "cut": Range(low=1.0, high=10.0), "mu": Range(low=0.05, high=0.25)}
    corner = {"mu": 0.05, "pull": 500.0, "cut": 10.0, "height": 30.0}
    known = (collapse(vary(corner), ceiling=4.0), corner)
    found = factor_range(vary, inputs, known=known, ceiling=4.0, draws=0)
    assert found.middle.at_least
    assert found.worst_inputs == {"mu": 0.05, "pull": 400.0, "cut": 10.0, "height": 30.0}
    assert found.factor.low == pytest.approx(0.05 * 410 / 10, rel=1e-4)
    assert found.driver in {"mu", "cut"}
    assert {s.name: s.factor_at_low < s.factor_at_high for s in found.swings} == {
        "mu": True, "pull": True, "cut": False
    }  # fmt: skip


def test_a_weak_corner_that_is_known_counts():
    corner = {"mu": 0.15, "pull": 400.0, "cut": 40.0, "height": 30.0}
    known = (collapse(vary(corner)), corner)
    only_mu = {**{n: Range.exactly(v) for n, v in corner.items()}, "mu": Range(low=0.2, high=0.25)}
    found = factor_range(vary, only_mu, known=known)
    assert found.worst_inputs == corner
    assert found.factor.low == known[0].factor.low


def test_range_of_what_is_known_is_a_point():
    known = {name: Range.exactly(span.middle) for name, span in INPUTS.items()}
    found = factor_range(vary, known)
    assert found.runs == 1
    assert found.driver is None
    assert found.factor.low == pytest.approx(found.factor.high, rel=1e-9)


def test_a_harder_clamp_may_hold_worse():
    """A clamp that squeezes a part up its own slope: factor falls as it is drawn, and the range says so."""

    def build(values):
        plain = block(mu=0.2, pull=300, height=30)
        clamp = Load(body="part", force_n=(0, 0, values["clamp"]), at_mm=(0, 0, 30))
        return replace(plain, held=(*plain.held, clamp))

    found = factor_range(build, {"clamp": Range(low=0.0, high=200.0)})
    assert found.worst_inputs["clamp"] == 200.0
    assert found.factor.low == pytest.approx(0.2 * 110, rel=1e-4)


def against_a_block():
    """A part with little pull against a blocking block with much, and a stop that stands still."""
    block_seat = seat("blocking", (40, 0, 0), (20, 20), 0.2, pull=600)
    wall = tuple(
        ContactPoint(a="part", b="blocking", at_mm=(20, y, z), normal=(1, 0, 0), mu=0.2)
        for y in (-20, 20)
        for z in (0, 20)
    )
    stop = tuple(
        ContactPoint(a="blocking", at_mm=(60, y, z), normal=(1, 0, 0), mu=0.2, label="stop")
        for y in (-20, 20)
        for z in (0, 20)
    )
    return EquilibriumProblem(
        bodies=(
            Rigid(name="part", at_mm=(0, 0, 20), size_mm=25),
            Rigid(name="blocking", at_mm=(40, 0, 10), size_mm=25),
        ),
        contacts=(*seat("part", (0, 0, 0), (20, 20), 0.2, pull=200), *block_seat, *wall, *stop),
        held=(Load(body="part", force_n=(0, 0, -5), at_mm=(0, 0, 20)),),
        cutting=(Load(body="part", force_n=(20, 0, 0), at_mm=(0, 0, 10)),),
    )


def test_what_is_lost_takes_its_own_share():
    whole = collapse(against_a_block(), ceiling=1e3).factor.low
    left = {n: collapse(without(against_a_block(), n), ceiling=1e3).factor.low for n in ("blocking", "stop")}
    assert left["blocking"] == pytest.approx(0.2 * 205 / 20, rel=1e-4)
    assert left["stop"] == pytest.approx(0.2 * 805 / 20, rel=1e-3)
    assert whole > left["stop"] > left["blocking"]
    wet = collapse(filmed(without(against_a_block(), "blocking"), 0.1)).factor.low
    assert wet == pytest.approx(0.1 * 205 / 20, rel=1e-4)
    assert [c for c in without(against_a_block(), "stop").contacts if c.label == "stop"] == []


# Crash: a wheel of radius 100 above a floor, closed forms of the overlap.


def test_tipping_corner_digs_in():
    """A flat top under a level face rises by d: overlap grows by area times d."""
    found = follow_overlap(lambda t: 3.0 + 400.0 * 0.2 * t)
    assert found.outcome is Outcome.DIGS_IN
    assert found.first_mm == pytest.approx(0.002)


def test_block_that_slides_out_from_under():
    """A block 10 wide and 0.1 into the wheel's strip slides out along Y: what is left shrinks."""
    found = follow_overlap(lambda t: 0.1 * 5.0 * max(10.0 - t, 0.0))
    assert found.outcome is Outcome.FALLS_AWAY
    assert found.first_mm is None


def test_slide_along_the_traverse_stays():
    assert follow_overlap(lambda t: 7.5).outcome is Outcome.STAYS


def test_falls_first_and_digs_in_later():
    """A drop, then a corner that comes up: y = -t + 0.8 t^2 crosses zero at 1.25 mm."""
    found = follow_overlap(lambda t: max(5.0 - t + 0.8 * t * t, 0.0), travel_mm=2.0)
    assert found.outcome is Outcome.DIGS_IN
    assert found.first_mm == pytest.approx(2.0)


def test_overlap_of_circle_segment_grows_as_the_part_rises():
    """Common area of a disc and a half plane that rises under it: the circular segment, geometry."""

    def segment(depth, r=100.0):
        return r * r * math.acos((r - depth) / r) - (r - depth) * math.sqrt(2 * r * depth - depth**2)

    rising, sinking = (
        follow_overlap(lambda t, s=s: 10 * segment(max(0.5 + s * t, 0.0))) for s in (0.1, -0.1)
    )
    assert (rising.outcome, sinking.outcome) == (
        Outcome.DIGS_IN,
        Outcome.FALLS_AWAY,
    )


def test_a_path_without_numbers_is_not_followed():
    with pytest.raises(NotComputedError, match="nan"):
        follow_overlap(lambda t: math.nan)
    with pytest.raises(NotComputedError, match="-5"):
        follow_overlap(lambda t: -5.0)
    with pytest.raises(SetupError, match="travel"):
        follow_overlap(lambda t: 0.0, travel_mm=0.0)


@pytest.mark.parametrize(
    ("outcome", "factor", "verdict"),
    [
        ("digs in", 2.9, Verdict.NO_GO),
        ("digs in", 3.1, Verdict.CAUTION),
        ("stays", 1.01, Verdict.GO),
        ("stays", 0.99, Verdict.NO_GO),
        ("falls away", 0.5, Verdict.NO_GO),
        ("falls away", 5.0, Verdict.GO),
        ("stopped", 1.5, Verdict.GO),
        ("stopped", 0.5, Verdict.NO_GO),
        ("stays", math.nan, Verdict.UNKNOWN),
    ],
)
def test_verdict_of_factor_and_outcome(outcome, factor, verdict):
    assert crash_verdict(Outcome(outcome), factor, safe_factor=3.0) is verdict
    # However little is asked, what lets go under the cut itself is no go.
    assert crash_verdict(Outcome(outcome), 0.9, safe_factor=0.3) is Verdict.NO_GO


def slide_factor(*, pull=500.0, mu=0.2, push=50.0):
    return collapse(block(mu=mu, pull=pull, push=(push, 0, 0), height=30)).factor.low


def test_pull_that_restores_the_factor():
    """mu (N + W) / P = 3: N = 3 P / mu - W = 740 N."""
    needed = least_that_reaches(lambda n: slide_factor(pull=n), 3.0, now=500.0, most=1500.0)
    assert needed == pytest.approx(740.0, abs=1.5)
    assert slide_factor(pull=needed) >= 3.0
    assert least_that_reaches(lambda n: slide_factor(pull=n), 3.0, now=800.0, most=1500.0) == 800.0
    assert least_that_reaches(lambda n: slide_factor(pull=n), 30.0, now=500.0, most=1500.0) is None


def behind(plain, height):
    """A frictionless block of a height that stands against the right side of the part."""
    points = tuple(
        ContactPoint(a="part", at_mm=(20, y, z), normal=(1, 0, 0), mu=0.0)
        for y in (-20, 20)
        for z in (0, height)
    )
    return replace(plain, contacts=(*plain.contacts, *points))


def test_a_block_stops_the_slide_and_the_part_tips_over_it():
    plain = block(mu=0.2, pull=300, push=(50, 0, 0), height=20)
    after = collapse(behind(plain, 10))
    assert after.motions[0].kind == "tips"
    # Over the top of the block its foot kicks out against friction: F (h - t) = (N + W)(b/2 + mu t), statics.
    assert after.factor.low * 50 * (20 - 10) == pytest.approx(310 * (20 + 0.2 * 10), rel=1e-4)


def test_height_of_the_block_that_stops_a_tip():
    """Against a frictionless block of height t the part tips over its top while its foot kicks out against
    friction: F (h - t) = S (b/2 + mu t) with S = N + W; so t = (F h - S b/2) / (F + mu S), statics."""
    plain = block(mu=0.2, pull=300, push=(50, 0, 0), height=60)

    def factor(height):
        return collapse(behind(plain, height)).factor.low

    height = least_that_reaches(factor, 3.0, now=1.0, most=60.0)
    assert height == pytest.approx((150 * 60 - 310 * 20) / (150 + 0.2 * 310), abs=0.1)
