"""A part between the jaws of a vise, from its solids to its factor, against statics."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fixturecheck import Clamp, Cut, Holding, Milling, Seat, Setup, body, check, equipment
from fixturecheck.checks import crash, hold
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.hold import hold_found
from fixturecheck.kernel.construct import box
from fixturecheck.machining.milling import shearing
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.result.hold import Driver, Outcome
from fixturecheck.result.remedy import RemedyKind
from tests.holding.rigs import judged, let_go, rigged
from tests.holding.rigs import milled as under_cutter
from tests.worked_out import stage_of

pytestmark = pytest.mark.slow

LENGTH, THICK, TALL, RAISED = 40.0, 8.0, 30.0, 14.0
JAW = 35.0
MU = 0.2
# Middle of the two pads: from the parallel up to the top of the jaws.
PAD = (0.0, -THICK / 2, (RAISED + JAW) / 2)
WEIGHT_N = 7870e-9 * LENGTH * THICK * TALL * 9.80665


def in_vise(*clamps):
    part = body(
        "bar",
        box((-LENGTH / 2, -THICK, RAISED), (LENGTH / 2, 0, RAISED + TALL)),
        material="steel_1018",
        finish="ground",
        faces={"foot": "<Z", "floor": ">Z", "front": "<Y", "back": ">Y"},
    )
    return Setup(
        name="bar in the vise",
        bodies=(
            *equipment("grinding_vise", name="vise", opening_mm=THICK),
            *equipment(
                "parallel",
                name="parallel",
                at=(0, -THICK / 2, 0),
                length_mm=36.0,
                width_mm=6.0,
                height_mm=RAISED,
            ),
            part,
        ),
        seats=(
            Seat(body="bar", face="back", on="vise_body", on_face="fixed_jaw", rank="primary"),
            Seat(body="bar", face="foot", on="parallel", on_face="top", rank="secondary"),
        ),
        cuts=(Cut(name="top", parts=("bar",), floor="floor", stock_mm=0.1),),
        holding=Holding(coolant=False, friction="ground_steel", clamps=clamps),
    )


def jaw(force_n):
    return Clamp(
        name="screw", kind="vise", body="vise_jaw", face="moving_jaw", force_n=force_n, spread_share=0.0
    )


@pytest.mark.parametrize("force_n", [50.0, 4000.0])
@pytest.mark.parametrize("way", [(1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)])
def test_both_jaws_hold_by_friction_along_them(force_n, way):
    """Statics: 2 mu F, and mu W at most from the foot, whatever the contacts' stiffness."""
    found = let_go(rigged(in_vise(jaw(force_n))), "bar", way, PAD, mu=MU)
    assert found.rests
    assert found.goes == "bar"
    least = 2 * MU * math.sqrt(force_n**2 - (WEIGHT_N / (2 * MU)) ** 2)
    assert 0.99 * least <= found.factor.low <= found.factor.high <= 1.001 * (2 * MU * force_n + MU * WEIGHT_N)


def test_both_jaws_hold_upward_and_the_parallel_falls_out_of_it():
    """Statics: 2 mu F and the weight of the bar."""
    found = let_go(rigged(in_vise(jaw(3000.0))), "bar", (0.0, 0.0, 1.0), PAD, mu=MU)
    assert found.factor.low == pytest.approx(2 * MU * 3000.0 + WEIGHT_N, rel=2e-3)


def test_jaws_that_nothing_presses_hold_nothing():
    """Walls on both sides without a force across: mu W and no wedging."""
    found = let_go(rigged(in_vise()), "bar", (1.0, 0.0, 0.0), PAD, mu=MU)
    assert found.factor.low == pytest.approx(MU * WEIGHT_N, rel=1e-2)


def test_a_push_down_reaches_the_table_through_the_parallel():
    found = let_go(rigged(in_vise(jaw(3000.0))), "bar", (0.0, 0.0, -1.0), PAD, mu=MU)
    assert found.at_least


def test_torque_on_the_handle_becomes_force_of_the_jaw():
    """T = K d F with K 0.15 to 0.20 oiled (Shigley by way of a bolt page), 40 to 80 % of it at the jaw."""
    turned = replace(jaw(None), torque_nm=12.0, screw_mm=12.0, thread="oiled")
    (pressed,) = rigged(in_vise(turned)).clamps
    screw_n = [12e3 / (k * 12.0) for k in (0.20, 0.15)]
    assert pressed.force.force_n.ends == pytest.approx((0.4 * screw_n[0], 0.8 * screw_n[1]))


@pytest.mark.parametrize(("torque_nm", "expected"), [(12.0, Verdict.GO), (0.05, Verdict.NO_GO)])
def test_a_vise_must_be_tightened(torque_nm, expected):
    (first, *_) = judged(in_vise(replace(jaw(None), torque_nm=torque_nm)))
    assert first.verdict is expected, first.says


def endmill(**more):
    facts = {"cutter_mm": 10.0, "teeth": 2, "deep_mm": 2.0, "wide_mm": 5.0, "feed_mm_tooth": 0.05}
    # One way only, and its chip at its thickest: that of every way the worst counts is in test_milled.
    facts["way"] = "climb"
    return Milling(name="mill", parts=("bar",), face="floor", **{**facts, **more})


def milled(force_n, **more):
    setup = in_vise(jaw(force_n))
    setup = replace(setup, holding=replace(setup.holding, milling=(endmill(**more),)))
    return under_cutter(setup, "bar").hold()


@pytest.fixture(scope="module")
def only_milled():
    """An operation that grinds nothing, tightened too little for its cutter."""
    holding = Holding(coolant=False, friction="ground_steel", clamps=(jaw(8000.0),), milling=(endmill(),))
    stage, missing = stage_of(replace(in_vise(), cuts=(), holding=holding))
    assert not missing
    return stage


def test_a_milling_cut_pulls_by_the_law_of_kienzle(only_milled):
    """kc = kc1.1 h^-mc (Kienzle 1952, from memory); chip at its thickest the feed, one tooth of two."""
    (found,) = only_milled.held.parts
    ends = [
        kc * 0.05**-mc * 2.0 * 0.05 * wear
        for kc in (1500, 2100)
        for mc in (0.17, 0.26)
        for wear in (1.0, 1.5)
    ]
    assert found.forces[Driver.SIZE].ends == pytest.approx((min(ends), max(ends)), rel=1e-6)
    # One tooth, whatever its chip there: with what is square to its force at one of the ends of the table.
    up = found.load_n[2]
    assert math.hypot(*found.load_n) <= found.forces[Driver.SIZE].high * math.hypot(1.0, 0.8, 0.5) * (
        1 + 1e-9
    )
    assert up == 0.0 or up >= 0.5 * math.hypot(*found.load_n[:2]) / math.hypot(1.0, 0.8) * (1 - 1e-9)


def test_what_a_cut_takes_of_the_grip(only_milled):
    """Climb, to the right of the axis: a tooth at an angle p before it pushes the part away from the fixed
    jaw by F (cos p + kr sin p), with F = kc1.1 b (f cos p)^(1 - mc) by Kienzle, from memory."""
    (found,) = only_milled.held.parts
    angle = np.linspace(0.0, math.pi / 2, 2001)[:-1]
    most = max(
        float(
            (kc * 2.0 * (0.05 * np.cos(angle)) ** (1 - mc) * 1.5 * (np.cos(angle) + kr * np.sin(angle))).max()
        )
        for kc in (1500, 2100)
        for mc in (0.17, 0.26)
        for kr in shearing("soft_steel").radial_ratio.ends
    )
    (opened,) = found.opened
    assert (opened.jaw, opened.grip_n) == ("vise_jaw", 8000.0)
    # The cutter is looked at over seven angles of its turn.
    assert 0.93 * most < opened.push_n <= most * (1 + 1e-9)
    (finding,) = [f for f in hold.check(only_milled) if f.kind is Kind.GRIP_LOST]
    assert (finding.verdict, finding.value) == (Verdict.GO, pytest.approx(opened.push_n / 8000.0))


def test_a_wheel_that_runs_along_the_jaws_takes_no_grip():
    stage, _ = stage_of(in_vise(jaw(4000.0)))
    assert [o.push_n for p in stage.held.parts for o in p.opened] == [pytest.approx(0.0, abs=1e-9)]


def test_a_vise_that_is_hardly_tightened_lets_the_cutter_pull_the_bar_out(only_milled):
    weak, strong = milled(100.0).factors.factor, only_milled.held.parts[0].factors.factor
    assert weak.low < 1.0 < strong.low
    # Eighty times the grip holds eighty times the cut: the weight counts for nothing.
    assert strong.low == pytest.approx(80.0 * weak.low, rel=0.1)


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        ({"face": "roof"}, "no face 'roof'"),
        ({"face": "front"}, "bar.front is not a level face that looks up"),
        ({"face": "foot"}, "bar.foot is not a level face that looks up"),
        ({"parts": ("jaw",)}, "no such body"),
        ({"parts": ()}, "a list of part names"),
        ({"parts": "bar"}, "a list of part names"),
        ({"parts": ("bar", "bar")}, "each once"),
        ({"feed": (0.0, 0.0, 1.0)}, "a level direction"),
        ({"wide_mm": 11.0}, "more than the cutter's"),
        ({"feed": (1.0, 0.0, 0.2)}, "a level direction"),
        ({"feed": (0.0, 0.0, 0.0)}, "a level direction"),
        ({"teeth": 0}, "teeth: must be from 1 to 100; got 0"),
        ({"teeth": 2.5}, r"teeth: must be a whole number; got 2\.5"),
        ({"teeth": True}, "teeth: True is not a number"),
        ({"feed_mm_tooth": 0.0}, r"must be from 0\.0001 to 5; got 0"),
        ({"cutter_mm": math.nan}, "not finite"),
        ({"name": "top"}, "a grinding cut has this name"),
        ({"cuts_as": "butter"}, "cuts_as"),
        ({"deep_mm": -1.0}, r"must be from 0\.001 to 300; got -1"),
    ],
)
def test_a_milling_cut_that_cannot_be_is_refused(stated, says):
    with pytest.raises(SetupError, match=says):
        replace(in_vise(), holding=Holding(milling=(replace(endmill(), **stated),)))


def test_an_operation_that_only_mills_is_judged_by_its_vise(only_milled):
    judgement, *without = hold.check(only_milled)
    assert judgement.subject == "bar in mill"
    assert judgement.verdict is Verdict.NO_GO, judgement.says
    assert "milling force" in judgement.says
    assert judgement.remedy is not None
    # Without its parallel, or wet, it holds less; a caution only where it would not hold at all.
    assert [f.value < 1.0 for f in without] == [True] * len(without)


def test_where_a_milled_part_goes_is_known_and_what_it_lacks_is_told(only_milled):
    first, *lost = crash.check(only_milled)
    assert first.verdict is Verdict.NO_GO, first.says
    assert "into the cutter" in first.says
    assert first.value == pytest.approx(only_milled.held.parts[0].factors.factor.low)
    assert first.remedy is not None
    assert lost == []


@pytest.mark.parametrize("way", ["climb", "conventional", "centred"])
def test_out_of_a_slack_vise_the_bar_goes_the_way_its_tooth_runs_along_the_jaws(way):
    """Geometry: the jaws leave it only the part of the resultant that runs along them, and what tips."""
    setup = in_vise(jaw(60.0))
    setup = replace(setup, holding=replace(setup.holding, milling=(endmill(way=way, helix_deg=0.0),)))
    seen = set()
    for trial in under_cutter(setup, "bar").loaded().trials[::5]:
        x, y, _ = (sum(load.force_n[i] for load in trial.case.teeth) for i in range(3))
        if abs(x) < 0.3 * abs(y):
            continue
        gone = trial.borne().collapse
        motion = next(m for m in gone.motions if m.body == "bar")
        at = motion.velocity_at(trial.case.at_mm)
        assert at[0] * x > 0.0, (trial.case, motion)
        assert abs(at[1]) < 0.2 * math.hypot(*at)
        seen.add(x > 0.0)
    # Teeth that climb come in pushing ahead, by the radial force, and leave drawing back; others push ahead.
    assert seen == ({True, False} if way == "climb" else {True})


def test_what_is_told_of_a_milled_part_is_what_was_found(only_milled):
    (part,) = hold_found(only_milled.setup, only_milled.held).parts
    (found,) = only_milled.held.parts
    assert part.factor_low == found.factors.factor.low
    assert part.milling_n == found.forces[Driver.SIZE].ends
    assert (part.load_n, part.load_at_mm) == (found.load_n, found.case.at_mm)
    assert part.load_at_mm[2] == pytest.approx(RAISED + TALL + 1.0)
    assert part.outcome is Outcome.DIGS_IN
    assert {i.name for i in part.inputs} == {"friction", "clamp force", "size of the cutting force"}
    assert part.motions[0].body == part.goes == "bar"
    assert part.losses[0].factor < part.factor_low


def test_a_cure_of_a_milled_part_holds_when_it_is_made(only_milled):
    """What is told to be deep enough, stated and worked out anew, reaches what was asked, and hardly more."""
    (depth,) = [r for r in only_milled.held.parts[0].remedies if r.kind is RemedyKind.DEPTH]
    deep_mm = depth.amounts[0].to
    assert 0.0 < deep_mm < 2.0
    assert 3.0 <= milled(8000.0, deep_mm=deep_mm).factors.factor.low < 3.5


def test_two_milling_cuts_of_one_name_are_refused():
    with pytest.raises(SetupError, match="mill 'mill': stated more than once"):
        replace(in_vise(), holding=Holding(milling=(endmill(), endmill())))


def test_what_cannot_be_put_together_is_unknown_and_the_rest_is_told(monkeypatch):
    def fails(*_):
        raise NotComputedError("the jaw is not flat")

    monkeypatch.setattr("fixturecheck.hold.rig_of", fails)
    result = check(in_vise(jaw(4000.0)))
    (told,) = (f for f in result.findings if f.check == "hold")
    assert (told.verdict, told.subject) == (Verdict.UNKNOWN, "holding")
    assert "the jaw is not flat" in told.says
    assert any(f.check == "reach" and f.verdict is Verdict.GO for f in result.findings)


def test_a_cut_that_cannot_be_followed_holds_nothing(monkeypatch):
    def fails(*_):
        raise NotComputedError("the wheel has no path")

    monkeypatch.setattr("fixturecheck.engine.grind", fails)
    told = {f.subject: f for f in check(in_vise(jaw(4000.0))).findings if f.check == "hold"}
    assert told["bar in top"].verdict is Verdict.UNKNOWN
