"""By what factor a part holds against a milling cut and where it then goes, against statics and symmetry."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fixturecheck import Holding, Machine, Milling, Seat, Setup, body, check
from fixturecheck.errors import SetupError
from fixturecheck.holding.factor import least_settled
from fixturecheck.holding.failure_path import follow, ways_of
from fixturecheck.kernel.boolean import cut
from fixturecheck.kernel.construct import box
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import Driver, Outcome
from fixturecheck.statics.collapse import collapse
from tests.holding.rigs import milled, strap

pytestmark = pytest.mark.slow

MU, LONG, ACROSS, TALL = 0.2, 120.0, 80.0, 10.0
PLATE = box((-150, -100, -10), (150, 100, 0))
BLOCK = box((-LONG / 2, -ACROSS / 2, 0), (LONG / 2, ACROSS / 2, TALL))
WEIGHT_N = 7870e-9 * LONG * ACROSS * TALL * 9.80665


def endmill(**more):
    facts = {
        "cutter_mm": 10.0,
        "teeth": 2,
        "deep_mm": 1.0,
        "wide_mm": 0.5,
        "feed_mm_tooth": 0.05,
        "way": "climb",
        "helix_deg": 0.0,
    }
    return Milling(name="mill", parts=("part",), face="floor", **{**facts, **more})


RAILS = tuple(box((-70, y, 0), (70, y + s * 15, 8)) for y, s in ((ACROSS / 2, 1), (-ACROSS / 2 - 15, 1)))


def stated(press_n, *others, part=BLOCK, mu=MU, straps_mm=(50.0, 30.0, TALL), **more):
    """Four straps, a quarter of the press each, on a flat block: it slides and turns, by rails it slides.

    They stand at plus and minus the first two of `straps_mm`.
    """
    x_mm, y_mm, top_mm = straps_mm
    straps = [
        strap("part", (sx * x_mm, sy * y_mm, top_mm), press_n / 2.0, f"strap_{i}")
        for i, (sx, sy) in enumerate(((1, 1), (1, -1), (-1, 1), (-1, -1)))
    ]
    return Setup(
        name="bench",
        bodies=(
            body("plate", PLATE, role="fixture"),
            *(body(f"stop_{i}", solid, role="fixture") for i, solid in enumerate(others)),
            body("part", part, faces={"floor": ">Z"}, finish="ground"),
        ),
        machine=Machine(table_z_mm=-10.0),
        holding=Holding(
            coolant=False, mu=(mu, mu), clamps=tuple(straps), milling=(endmill(**more),), blocking=()
        ),
    )


def job(press_n, *others, **more):
    return milled(stated(press_n, *others, **more))


def crash_of(setup):
    return [f for f in check(setup, only=("crash",)).findings if f.check == "crash"]


@pytest.mark.parametrize(("way", "helix_deg"), [("centred", 0.0), ("centred", 40.0)])
def test_a_tooth_over_the_middle_lets_go_by_friction_and_along_its_own_resultant(way, helix_deg):
    """Statics: k |F level| = mu (P + W - k F up), and the block goes the way the force points."""
    here = job(2000.0, way=way, wide_mm=6.0, helix_deg=helix_deg)
    middle = [
        t for t in here.loaded().trials
        if math.hypot(*t.case.at_mm[:2]) < 0.3 and len(t.case.teeth) == 1
    ]  # fmt: skip
    assert len(middle) >= 2
    for trial in middle:
        x, y, up = trial.case.teeth[0].force_n
        found = collapse(trial.problem, ceiling=100.0)
        wanted = MU * (2000.0 + WEIGHT_N) / (math.hypot(x, y) + MU * up)
        assert found.factor.high == pytest.approx(wanted, rel=0.01)
        assert found.factor.low >= 0.9 * wanted
        motion = found.motions[0]
        along = np.array(motion.velocity_at(trial.case.at_mm))[:2]
        assert along / np.linalg.norm(along) == pytest.approx(np.array([x, y]) / math.hypot(x, y), abs=0.05)


def test_a_thin_cut_draws_the_part_in_climbing_and_pushes_it_ahead_against():
    """At the side of the cutter its tooth runs along the feed: against it in climb milling, with it else."""
    for way, sign, outcome in (("climb", -1.0, Outcome.DIGS_IN), ("conventional", 1.0, Outcome.FALLS_AWAY)):
        here = job(2000.0, *RAILS, way=way)
        found = here.loaded()
        for trial in found.trials[::25]:
            way_out = follow(here.scene(), trial.borne(), 3.0)
            assert sign * way_out.motion.velocity_at(trial.case.at_mm)[0] > 0.9
            assert way_out.crash.outcome is outcome, way_out
            assert way_out.drawn_in is (way == "climb")


def test_what_is_ranked_lowest_is_what_is_borne_least():
    """Every place and angle loaded to collapse: none is borne less than the least of the chosen ones."""
    here = job(2000.0, way="conventional", wide_mm=6.0, helix_deg=None)
    found = here.loaded()
    chosen = found.borne[0].collapse.factor.low
    every = [collapse(t.problem, ceiling=30.0).factor.low for t in found.trials[::3]]
    assert min(every) >= 0.97 * chosen


def test_half_a_turn_of_the_whole_bench_changes_nothing():
    """A block that is the same from behind, milled the other way: the same figures at the opposite places."""
    rows = []
    for sign in (1.0, -1.0):
        here = job(2000.0, wide_mm=3.0, feed=(sign, 0.0, 0.0))
        rows.append(
            {
                (t.case.group, *(round(sign * v, 2) + 0.0 for v in t.case.at_mm[:2])): t.rank_factor
                for t in here.loaded().trials
            }
        )
    assert len(rows[0]) > 50
    assert rows[0].keys() == rows[1].keys()
    assert list(rows[0].values()) == pytest.approx([rows[1][k] for k in rows[0]], rel=1e-3)


def test_a_square_block_milled_across_is_pushed_as_along():
    along, across = (
        job(2000.0, wide_mm=3.0, feed=feed, part=box((-60, -60, 0), (60, 60, TALL))).process.cases()
        for feed in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    )
    # A quarter turn: x goes to y, y to -x.
    for one, two in zip(along, across, strict=True):
        for a, b in zip(one.teeth, two.teeth, strict=True):
            assert b.force_n == pytest.approx((-a.force_n[1], a.force_n[0], a.force_n[2]), abs=1e-9)
            assert b.at_mm == pytest.approx((-a.at_mm[1], a.at_mm[0], a.at_mm[2]), abs=1e-9)


@pytest.mark.parametrize(
    ("name", "values"),
    [("deep_mm", (1.0, 2.0)), ("feed_mm_tooth", (0.05, 0.1)), ("helix_deg", (0.0, 30.0))],
)
def test_a_harder_cut_is_never_held_better(name, values):
    factors = [job(2000.0, *RAILS, wide_mm=3.0, **{name: v}).hold().factors.factor.low for v in values]
    assert factors == sorted(factors, reverse=True)
    assert factors[0] > 1.02 * factors[-1]


def test_a_harder_press_holds_better_and_any_way_is_the_worst_of_all():
    factors = [job(p, wide_mm=3.0).hold().factors.factor.low for p in (500.0, 1000.0, 4000.0)]
    assert factors == sorted(factors)
    each = [job(2000.0, wide_mm=3.0, way=w).hold() for w in ("climb", "conventional", "centred")]
    whole = job(2000.0, wide_mm=3.0, way="any").hold()
    assert whole.factors.factor.low == pytest.approx(min(h.factors.factor.low for h in each), rel=0.02)
    assert whole.forces[Driver.SIZE].high == pytest.approx(max(h.forces[Driver.SIZE].high for h in each))


def test_what_pushes_ahead_and_holds_three_times_is_go():
    (found, *lost) = crash_of(stated(4000.0, *RAILS, way="conventional"))
    assert found.value > 3.0
    assert found.verdict is Verdict.GO, found.says
    assert "away from the cutter" in found.says
    assert [f.verdict for f in lost if f.verdict is not Verdict.CAUTION] == []


def whole(part, straps_mm):
    """A milled face, and all seats stated: the check of a whole set-up.

    So thin a cut that even the least radial force pushes off the cutter, toward a rail.
    """
    setup = stated(6000.0, RAILS[0], part=part, straps_mm=straps_mm, way="conventional", wide_mm=0.1)
    named = {
        "plate": {"top": ">Z"},
        "stop_0": {"side": "<Y"},
        "part": {"floor": ">Z", "foot": "<Z", "back": ">Y"},
    }
    bodies = tuple(
        body(b.name, b.solid, role=b.role, faces=named[b.name], finish="ground") for b in setup.bodies
    )
    seats = (
        Seat(body="part", face="foot", on="plate", on_face="top", rank="primary"),
        Seat(body="part", face="back", on="stop_0", on_face="side", rank="secondary"),
    )
    return replace(setup, bodies=bodies, seats=seats)


def test_an_operation_that_pushes_ahead_and_holds_is_go_as_a_whole():
    """Straps press on ledges 4 mm below what is milled."""
    sides = [box((-LONG / 2, y, 6), (LONG / 2, y + 20, TALL)) for y in (-ACROSS / 2, ACROSS / 2 - 20)]
    ledges = cut(BLOCK, *sides)
    result = check(whole(ledges, (50.0, 30.0, 6.0)))
    assert result.verdict is Verdict.GO
    (found,) = [f for f in result.findings if f.check == "crash"]
    assert 3.0 < found.value < 30.0
    assert found.says.endswith("away from the cutter.")


def test_a_strap_on_the_face_that_is_milled_is_not_said_to_clear():
    """The load is tried all over the face, so that the cutter may come where each strap stands."""
    found = check(whole(BLOCK, (50.0, 30.0, TALL)), only=("hold",)).findings
    assert [(f.verdict, f.named) for f in found if f.subject.startswith("mill/")] == [
        (Verdict.UNKNOWN, f"strap_{i}") for i in range(4)
    ]


def test_a_stop_close_behind_a_climbing_cut_is_what_stops_it():
    """A stop 0.03 mm behind: the chip of a tooth that comes in grows, by less than twice the load."""
    stop = box((-80, -10, 0), (-LONG / 2 - 0.03, 10, 8))
    (found, *_) = crash_of(stated(3000.0, *RAILS, stop))
    assert found.verdict is Verdict.GO, found.says
    assert "drawn against the feed into the cutter, but stop_2 stops it after 0.03 mm. A tooth" in found.says


def test_beside_a_clamp_on_the_middle_of_an_edge_the_ends_of_that_edge_are_looked_at():
    """The toe of a clamp in front: the cutter comes up to it from either side, and loads either corner."""
    free, clamped = (
        {t.group[1:3] for t in job(4000.0, *RAILS, *toe, wide_mm=3.0).process.cases()}
        for toe in ((), (box((-8, -60, TALL), (8, -30, TALL + 10)),))
    )
    ends = {(0, 0), (0, 2), (2, 0), (2, 2)}
    assert ends <= free
    assert ends <= clamped


def test_with_a_film_every_way_is_followed_though_another_is_borne_less():
    """Over the middle it lets go first, and away from the cutter; climbing digs in, below three times."""
    found = {f.subject: f for f in crash_of(stated(2500.0, *RAILS, way="any", wide_mm=0.5))}
    assert found["part in mill"].value > 3.0
    film = found["part in mill, with a film of coolant"]
    assert film.verdict is Verdict.CAUTION
    assert film.value < 3.0
    assert "drawn against the feed into the cutter" in film.says


@pytest.mark.parametrize(
    ("wide_mm", "helix_deg", "way"), [(0.5, None, "any"), (6.0, None, "any"), (0.5, 0.0, "conventional")]
)
def test_whatever_may_be_borne_least_is_loaded(wide_mm, helix_deg, way):
    """All that sorts within 30 % of it loaded to collapse: the least of them is what was found."""
    here = job(4000.0, *RAILS, way=way, wide_mm=wide_mm, helix_deg=helix_deg)
    found = here.loaded()
    least = found.borne[0].collapse.factor.low
    low = [t for t in found.trials if t.rank_factor < 1.3 * least]
    assert len(low) > 6
    sure = least_settled(here.rig, [t.borne() for t in low])
    assert sure[0].low_factor == pytest.approx(least, rel=1e-9)


@pytest.mark.parametrize("stated_badly", [{"way": "upward"}, {"helix_deg": 71.0}, {"helix_deg": -5.0}])
def test_ways_and_flutes_that_cannot_be_are_refused(stated_badly):
    with pytest.raises(SetupError):
        replace(stated(2000.0), holding=Holding(milling=(endmill(**stated_badly),)))


def test_of_every_way_the_worst_is_followed_though_only_one_is_borne_least():
    """Climbing is borne better between rails, pressed hard against, and is what digs in."""
    here = job(4000.0, *RAILS, way="any", wide_mm=2.0)
    found = here.loaded()
    hold = here.hold(found)
    ways = ways_of(here.scene(), hold, found, 1.0)
    seen = {w.case.stroke for w in ways.found}
    assert len(seen) == len(here.process.ways) or any(w.digs_in for w in ways.found)
    assert ways.worst.digs_in
    assert hold.factors.factor.low > 1.0
    # Sorted: what digs in counts, wherever it is borne.
    assert [w.digs_in for w in ways.found] == sorted((w.digs_in for w in ways.found), reverse=True)
