"""Where a milled part goes, from the solids, against circles and lines worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fixturecheck import Clamp, Holding, Machine, Milling, Setup, body
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.bearing import THE_TABLE
from fixturecheck.holding.failure_path import first_met, follow
from fixturecheck.holding.model import Borne, LoadCase
from fixturecheck.kernel.boolean import united
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of
from fixturecheck.result.hold import CutCase, Loss, LossKind, Outcome
from fixturecheck.statics import equilibrium
from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import ContactPoint, Load, Rigid
from fixturecheck.statics.mechanism import starting_motions
from tests.holding.rigs import milled

pytestmark = pytest.mark.slow

RADIUS, WIDE, TALL, DEEP, FEED = 5.0, 4.0, 20.0, 2.0, 0.05
LONG, ACROSS = 60.0, 30.0
HELD = 0.1
"""Asked of `loose_block`, which holds twice that: what stops it then need not bear anything."""
PLATE = box((-80, -60, -10), (80, 60, 0))
BLOCK = box((-LONG / 2, -ACROSS / 2, 0), (LONG / 2, ACROSS / 2, TALL))


def bench(part=BLOCK, *others, face=">Z", blocking=(), strap_mm=None, **more):
    """A part under a strap over its middle: at that height, or else on its highest face."""
    facts = {
        "cutter_mm": 2 * RADIUS,
        "teeth": 2,
        "deep_mm": DEEP,
        "wide_mm": WIDE,
        "feed_mm_tooth": FEED,
        "way": "climb",
    }
    mill = Milling(name="mill", parts=("part",), face="floor", **{**facts, **more})
    at_mm = (0, 0, strap_mm or box_of(part)[5])
    strap = Clamp(name="strap", kind="strap", body="part", at_mm=at_mm, force_n=2000.0)
    setup = Setup(
        name="bench",
        bodies=(
            body("plate", PLATE, role="fixture"),
            *(body(f"stop_{i}", solid, role="fixture") for i, solid in enumerate(others)),
            body("part", part, faces={"floor": face}, finish="ground"),
        ),
        machine=Machine(table_z_mm=-10.0),
        holding=Holding(coolant=False, mu=(0.2, 0.2), clamps=(strap,), milling=(mill,), blocking=blocking),
    )
    return milled(setup).scene()


def at(here, x=0.0, y=-RADIUS):
    """The axis there; by default climb milling with all that is cut to the right of it, well on the face."""
    (way,) = here.process.ways
    tooth = {"climb": (x, y - RADIUS), "conventional": (x, y + RADIUS), "centred": (x + RADIUS, y)}[way]
    return LoadCase(of_cut=CutCase(stroke=way), at_mm=(*tooth, TALL + 1), axis_mm=(x, y, TALL))


def moving(*, velocity=(0, 0, 0), turn=(0, 0, 0), about=(0, 0, TALL / 2), name="part"):
    middle = np.array([0.0, 0.0, TALL / 2])
    speed = np.array(velocity) + np.cross(turn, middle - about)
    rigid = Rigid(name=name, at_mm=tuple(middle), size_mm=TALL / 2)
    return starting_motions((rigid,), np.concatenate([speed, turn])[None, :].astype(float))[0]


def bitten(here, motion, *, stopped=None, case=None):
    return here.bite(case or at(here), (motion,), stopped)


def test_drawn_against_the_feed_the_foremost_tooth_bites_by_a_circle():
    """The strip ends 1 mm right of the axis, where its front lies sqrt(25 - 1) ahead of it: a point there
    that comes back by t lies R - sqrt((sqrt(24) - t)^2 + 1) behind the side of the cutter."""
    found, whom = bitten(bench(), moving(velocity=(-1, 0, 0)))
    assert found.outcome is Outcome.DIGS_IN
    assert whom == "part"
    for t, bite in zip(found.moved_mm, found.bites, strict=True):
        wanted = RADIUS - math.hypot(math.sqrt(24.0) - t, 1.0)
        assert bite.closer_mm == pytest.approx(wanted, abs=1e-9)
        assert bite.rise_mm == pytest.approx(0.0, abs=1e-9)
    assert found.load_ratio > 10.0


def test_pushed_ahead_of_the_cutter_it_moves_away():
    found, whom = bitten(bench(), moving(velocity=(1, 0, 0)))
    assert (found.outcome, whom) == (Outcome.FALLS_AWAY, None)
    # The point farthest aside goes along its circle's tangent: R - sqrt(R^2 + t^2).
    last = found.bites[-1].closer_mm
    assert last == pytest.approx(RADIUS - math.hypot(RADIUS, 2.0), abs=1e-9)


@pytest.mark.parametrize(("way", "aside"), [("climb", -1), ("conventional", 1)])
def test_pushed_aside_it_is_bitten_or_leaves_by_the_side_that_the_stock_lies_on(way, aside):
    """Straight aside: the point at the end of the axis' square comes in by t."""
    here = bench(way=way)
    case = at(here, y=0.0)
    into, _ = bitten(here, moving(velocity=(0, -aside, 0)), case=case)
    away, _ = bitten(here, moving(velocity=(0, aside, 0)), case=case)
    assert into.outcome is Outcome.DIGS_IN
    assert into.bites[-1].closer_mm == pytest.approx(2.0, abs=1e-9)
    assert away.outcome is Outcome.FALLS_AWAY


def test_in_a_slot_every_level_motion_but_straight_ahead_is_bitten():
    here = bench(way="centred", wide_mm=2 * RADIUS)
    for angle_deg in range(0, 360, 15):
        a = math.radians(angle_deg)
        found, _ = bitten(here, moving(velocity=(math.cos(a), math.sin(a), 0)), case=at(here, y=0.0))
        # Stock stands from -90 to 90 degrees; a motion along u brings in what lies at -u, or beside it.
        behind = max(-math.cos(a - p) for p in np.linspace(-math.pi / 2, math.pi / 2, 721))
        small = found.bites[1]
        assert small.closer_mm == pytest.approx(behind * found.moved_mm[1], abs=0.02 * found.moved_mm[1])
        assert found.outcome is (Outcome.FALLS_AWAY if angle_deg == 0 else Outcome.DIGS_IN)


def test_lifted_it_is_bitten_as_deep_as_it_rises():
    found, _ = bitten(bench(), moving(velocity=(0, 0, 1)))
    assert found.outcome is Outcome.DIGS_IN
    assert [b.rise_mm for b in found.bites] == pytest.approx(list(found.moved_mm), abs=1e-9)
    assert found.load_ratio == pytest.approx((DEEP + 2.0) / DEEP)


def test_a_part_that_sinks_is_not_bitten():
    found, whom = bitten(bench(), moving(velocity=(0, 0, -1)))
    assert (found.outcome, whom) == (Outcome.FALLS_AWAY, None)


@pytest.mark.parametrize(("axis_x", "outcome"), [(0.0, Outcome.DIGS_IN), (20.0, Outcome.DIGS_IN)])
def test_tipped_over_its_right_edge_the_face_rises_by_a_lever(axis_x, outcome):
    """The farthest of the face under the cutter lies R left of the axis; it rises as a point on a circle."""
    here = bench(way="centred", wide_mm=2 * RADIUS)
    motion = moving(turn=(0, 1, 0), about=(LONG / 2, 0, 0))
    found, _ = bitten(here, motion, case=at(here, x=axis_x, y=0.0))
    assert found.outcome is outcome
    spin = np.linalg.norm(motion.rotation_rad_mm)
    for t, bite in zip(found.moved_mm[:6], found.bites[:6], strict=False):
        arm, angle = LONG / 2 - (axis_x - RADIUS), t * spin
        wanted = arm * math.sin(angle) - TALL * (1 - math.cos(angle))
        assert bite.rise_mm == pytest.approx(wanted, rel=0.01, abs=1e-6)


def test_tipped_away_under_the_cutter_it_sinks():
    """A face that overhangs the edge it tips over goes down under the cutter."""
    part = united(
        [BLOCK, box((LONG / 2, -ACROSS / 2, TALL - 6), (LONG / 2 + 30, ACROSS / 2, TALL))], "the part"
    )
    motion = moving(turn=(0, 1, 0), about=(LONG / 2, 0, 0))
    here = bench(part)
    # Turned about the foot of the edge, a face that stands above it also goes ahead: along the feed, away.
    found, whom = bitten(here, motion, case=at(here, x=LONG / 2 + 18))
    assert (found.outcome, whom) == (Outcome.FALLS_AWAY, None)


@pytest.mark.parametrize(("gap_mm", "outcome"), [(0.04, Outcome.STOPPED), (0.5, Outcome.DIGS_IN)])
def test_a_stop_close_behind_it_bounds_the_bite(gap_mm, outcome):
    stop = box((-LONG / 2 - gap_mm - 10, -10, 0), (-LONG / 2 - gap_mm, 10, 8))
    here = bench(BLOCK, stop)
    motion = moving(velocity=(-1, 0, 0))
    hit, after_mm = first_met(
        here.standing["part"], motion, {k: v for k, v in here.others(at(here)).items() if k != "part"}
    )
    assert hit == "stop_0"
    assert after_mm == pytest.approx(gap_mm, abs=0.011)
    found, _ = bitten(here, motion, stopped=after_mm)
    assert found.outcome is outcome
    # Told when they have all but met, and bitten up to where they do.
    wanted = RADIUS - math.hypot(math.sqrt(24.0) - after_mm - 0.01, 1.0)
    assert found.deepest.closer_mm == pytest.approx(wanted, abs=1e-9)


def test_a_shoulder_of_its_own_is_bitten_into_further_on():
    """A wall on the free side, 6 mm left of the side of the cutter: 2 mm of way do not reach it, 8 mm do."""
    part = united(
        [BLOCK, box((-LONG / 2, ACROSS / 2 - 4.0, TALL), (LONG / 2, ACROSS / 2, TALL + 8))], "the part"
    )
    here = bench(part, face=(0, 0, TALL), strap_mm=TALL)
    case = at(here, y=0.0)
    motion = moving(velocity=(0, -1, 0))
    near, _ = bitten(here, motion, case=case)
    assert near.outcome is Outcome.FALLS_AWAY
    far, _ = here.bite(case, (motion,), None, travel_mm=8.0)
    assert far.outcome is Outcome.DIGS_IN
    assert far.deepest.rise_mm == pytest.approx(2.0, abs=0.02)


def test_another_body_that_moves_into_the_cutter_is_named():
    here = bench(BLOCK)
    here = replace(here, surfaces={**here.surfaces, "block": here.surfaces["part"] + [0, 0, -0.5]})
    moves = (moving(velocity=(1, 0, 0)), moving(velocity=(1, 0, 1.0), name="block"))
    found, whom = here.bite(at(here), moves, None)
    assert found.outcome is Outcome.DIGS_IN
    assert whom == "block"


def test_the_table_is_met_below_all():
    here = bench()
    motion = moving(velocity=(0, 0, -1))
    table = {THE_TABLE: here.others(at(here))[THE_TABLE]}
    assert first_met(here.standing["part"], motion, table) == (THE_TABLE, pytest.approx(10.0, abs=0.02))


def test_stock_stands_only_on_the_face_and_as_high_as_the_cut():
    here = bench()
    case = at(here)
    stock, under = here.stock_points(case, here.cutter_at(case))
    apart = np.hypot(stock[:, 0], stock[:, 1] + RADIUS)
    assert apart == pytest.approx(np.full(len(stock), RADIUS))
    assert stock[:, 1].max() == pytest.approx(-RADIUS - 1.0)
    assert {round(z, 6) for z in stock[:, 2]} == {TALL, TALL + DEEP / 2, TALL + DEEP}
    assert np.hypot(under[:, 0], under[:, 1] + RADIUS).max() <= RADIUS + 1e-9


def test_where_the_cutter_would_stand_in_a_wall_it_does_not():
    """A wall to the right of the face: conventional milling would put the axis beyond it, into the wall."""
    part = united(
        [BLOCK, box((-LONG / 2, -ACROSS / 2, TALL), (LONG / 2, -ACROSS / 2 + 20.0, TALL + 8))], "the part"
    )
    climbs = bench(part, face=(0, 10, TALL), way="climb")
    assert {s.group[1] for s in climbs.process.cases()} == {0, 1, 2}
    full = bench(part, face=(0, 10, TALL), way="conventional", wide_mm=9.5)
    sides = {s.axis_mm[1] for s in full.process.cases()}
    assert all(y - RADIUS >= 5.0 - 0.03 for y in sides)
    pocket = united(
        [part, box((-LONG / 2, ACROSS / 2 - 1.0, TALL), (LONG / 2, ACROSS / 2, TALL + 8))], "the part"
    )
    closed = bench(pocket, face=(0, 10, TALL), way="climb", wide_mm=4.0)
    with pytest.raises(NotComputedError, match="it would stand in part"):
        closed.process.cases()


@pytest.mark.parametrize(
    ("loose", "lost", "outcome", "hits"),
    [
        (False, None, Outcome.STOPPED, "stop_0"),
        (True, None, Outcome.DIGS_IN, "stop_0"),
        (False, Loss(kind=LossKind.BODY, name="stop_0"), Outcome.DIGS_IN, None),
    ],
)
def test_only_what_stands_firm_and_is_there_stops_a_part(loose, lost, outcome, hits):
    """A stop 0.03 mm behind it: the chip grows from 0.05 to about 0.09, less than twice the load."""
    stop = box((-LONG / 2 - 20.03, -10, 0), (-LONG / 2 - 0.03, 10, 8))
    here = bench(BLOCK, stop, blocking=("stop_0",) if loose else ())
    assert here.stands_firm("stop_0") is not loose
    found = follow(here, slid(here), HELD, lost)
    assert (found.crash.outcome, found.hits) == (outcome, hits)


@pytest.mark.parametrize(
    ("aside_mm", "outcome"),
    [
        (0.005, Outcome.DIGS_IN),
        (0.0, Outcome.DIGS_IN),
        (-0.02, Outcome.DIGS_IN),
        (-1.0, Outcome.STOPPED),
    ],
)
def test_what_a_part_slips_past_does_not_stop_it(aside_mm, outcome):
    """Ahead by 0.03 mm and beside the part's own side: only what stands a millimetre in its way stops it."""
    beside = ACROSS / 2 + aside_mm
    here = bench(BLOCK, box((-LONG / 2 - 20.03, beside, 0), (-LONG / 2 - 0.03, ACROSS / 2 + 15, 8)))
    found = follow(here, slid(here), HELD)
    assert (found.crash.outcome, found.hits) == (outcome, "stop_0")


@pytest.mark.parametrize(("top_mm", "outcome"), [(0.0, Outcome.DIGS_IN), (0.5, Outcome.STOPPED)])
def test_a_floor_that_goes_on_level_does_not_stop_a_part(top_mm, outcome):
    stop = box((-LONG / 2 - 20.03, -10, -6), (-LONG / 2 - 0.03, 10, top_mm))
    here = bench(BLOCK, stop)
    found = follow(here, slid(here), HELD)
    assert (found.crash.outcome, found.hits) == (outcome, "stop_0")


def slid(here):
    """Straight back, at any load."""
    problem = loose_block()
    gone = replace(collapse(problem, ceiling=100.0), motions=(moving(velocity=(-1, 0, 0)),))
    return Borne(case=at(here), values={}, problem=problem, collapse=gone, settled=True)


def loose_block():
    """Any holding that lets go, for the rest of what a collapse tells."""
    corners = [(x, y, 0) for x in (-9, 9) for y in (-9, 9)]
    foot = [ContactPoint(a="part", b="", at_mm=p, normal=(0, 0, -1), mu=0.2) for p in corners]
    return equilibrium.EquilibriumProblem(
        bodies=(Rigid(name="part", at_mm=(0, 0, 10), size_mm=10.0),),
        contacts=tuple(foot),
        held=(Load(body="part", force_n=(0, 0, -10), at_mm=(0, 0, 10)),),
        cutting=(Load(body="part", force_n=(-10, 0, 0), at_mm=(0, 0, 1)),),
    )


def test_a_wrong_silence_about_a_part_that_lets_go_without_a_motion_found():
    """Below the ceiling it lets go: where to is unknown then, and no way less to be counted."""
    here, problem = bench(), loose_block()
    found = replace(collapse(problem), motions=())
    way = follow(here, Borne(case=at(here), values={}, problem=problem, collapse=found, settled=True), HELD)
    assert way.crash is None
    assert not way.digs_in
    assert way.reason == "no motion was found at 0.2 times the cutting load"
    beyond = replace(found, at_least=True)
    assert (
        follow(here, Borne(case=at(here), values={}, problem=problem, collapse=beyond, settled=True), HELD)
        is None
    )
