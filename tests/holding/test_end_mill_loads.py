"""What an end mill's moves do to its part: the same teeth as a milling cut, every way and at every height."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import numpy as np
import pytest
from scipy.integrate import quad

from fixturecheck.checks import crash
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.holding.cutter import MillingProcess
from fixturecheck.holding.factor import load_cases
from fixturecheck.kernel.place import placed_at
from fixturecheck.machining.milling import Mill, slant_factor
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import Tool
from fixturecheck.result.remedy import RemedyKind
from fixturecheck.setup.holding import Holding, Milling
from fixturecheck.setup.model import Setup
from fixturecheck.setup.tools import MillMove, milling_loads
from fixturecheck.shop.tables import weight_n
from tests.checks.gauged import body as gauged_body
from tests.holding.blocks import table
from tests.holding.rigs import rigged, strap
from tests.machining.test_end_mill import pocketed, run_of, tee_setup, teed

LOADS = {"teeth": 2, "feed_mm_tooth": 0.03, "deep_mm": 2.0, "way": "climb"}


@pytest.mark.parametrize("deep_mm", [0.4, 4.0, 6.0])
def test_a_ball_takes_more_force_than_a_square_cutter(deep_mm):
    """The mean of sin(k)^-mc over the height of the edge, by numerical integration (SciPy)."""
    ball = Mill(cutter_mm=8, teeth=2, deep_mm=deep_mm, wide_mm=8, feed_mm_tooth=0.03, corner_mm=4.0)
    whole = quad(lambda z: (1 - max(1 - z / 4.0, 0.0) ** 2) ** (-0.125), 0.0, deep_mm, points=[4.0])[0]
    assert slant_factor(ball, 0.25) == pytest.approx(whole / deep_mm, rel=1e-6)
    assert slant_factor(replace(ball, corner_mm=0.0), 0.25) == 1.0


def test_a_tapered_cutter_takes_wider_thinner_chips():
    """cos(taper)^-mc, closed form."""
    tapered = Mill(cutter_mm=6, teeth=2, deep_mm=3, wide_mm=6, feed_mm_tooth=0.03, taper_deg=30.0)
    assert slant_factor(tapered, 0.25) == pytest.approx(math.cos(math.radians(30.0)) ** -0.25)


def process(**given) -> MillingProcess:
    body, run = pocketed(), run_of(**LOADS, **given)
    setup = Setup(name="bench", bodies=(body,), end_mills=(run,), holding=Holding())
    (mill,) = setup.mills
    return MillingProcess(
        setup=setup, placed={"block": placed_at(body.solid, body.at)}, mill=mill, part="block"
    )


@pytest.fixture(scope="module")
def pocket():
    return process()


def test_a_pocket_is_fed_all_four_ways_first_at_the_top(pocket):
    """The block is 24 high and the pocket 8 deep: passes of 2 mm end at 22 first and at 16 last."""
    cases = pocket.cases()
    assert {tuple(np.round(c.feed, 9) + 0.0) for c in cases} == {(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0)}
    assert {round(c.axis_mm[2], 6) for c in cases} == {22.0, 16.0}
    for case in cases:
        # A cutter of 8 mm stays 4 mm off the walls of 24 x 12.
        assert abs(case.axis_mm[0]) <= 8.0 + 1e-6
        assert abs(case.axis_mm[1]) <= 2.0 + 1e-6


def test_one_way_of_a_run_loads_as_a_milling_cut_of_the_same_numbers(pocket):
    mill = Milling(
        name="pocket", parts=("block",), face="floor", cutter_mm=8.0, teeth=2, deep_mm=2.0, wide_mm=8.0,
        feed_mm_tooth=0.03, way="climb",
    )  # fmt: skip
    alone = replace(pocket, mill=mill).cases()
    same = [c for c in pocket.cases() if c.feed == pytest.approx((1, 0, 0)) and c.axis_mm[2] < 17.0]
    assert [c.axis_mm for c in same] == [pytest.approx(c.axis_mm) for c in alone]
    assert [c.teeth[0].force_n for c in same] == [pytest.approx(c.teeth[0].force_n) for c in alone]


def test_a_slot_is_fed_along_itself_alone():
    body = pocketed(60.0, 8.0, 0.0)
    (mill,) = milling_loads(run_of(**LOADS, moves=(MillMove(kind="slot", face="floor"),)))
    setup = Setup(name="bench", bodies=(body,), holding=Holding())
    job = MillingProcess(setup=setup, placed={"block": body.solid}, mill=mill, part="block")
    assert {tuple(np.round(np.abs(c.feed), 6)) for c in job.cases()} == {(1.0, 0.0, 0.0)}


def test_a_head_under_lips_cuts_beside_the_slot_that_is_there():
    """Its teeth meet the part 5 to 10 mm off the middle alone, at the floor and nowhere above it."""
    body = teed()
    setup = replace(tee_setup(body, **{**LOADS, "deep_mm": 6.0}), holding=Holding())
    (mill,) = setup.mills
    job = MillingProcess(setup=setup, placed={"block": body.solid}, mill=mill, part="block")
    cases = job.cases()
    assert {round(c.axis_mm[2], 6) for c in cases} == {8.0}
    assert all(abs(t.at_mm[1]) > 5.0 for c in cases for t in c.teeth)
    assert [one.kind for one in job.lighter()] == [RemedyKind.FEED]


def test_without_teeth_nothing_is_loaded():
    assert milling_loads(run_of()) == ()


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"teeth": 2}, "feed_mm_tooth and deep_mm, too"),
        ({**LOADS, "wide_mm": 2.0}, "leave wide_mm out"),
        (
            {**LOADS, "moves": (MillMove(kind="line", at_mm=((0.0, 0.0), (9.0, 0.0)), z_mm=16.0),)},
            "state the face of its line",
        ),
    ],
)
def test_a_force_that_is_half_stated_is_refused(given, says):
    with pytest.raises(SetupError, match=says):
        Setup(name="bench", bodies=(pocketed(),), end_mills=(run_of(**given),))


def test_a_line_loads_the_face_that_it_cuts():
    """A straight pass over a face loads it as a slot along it does: nothing else of the move counts."""
    line = MillMove(kind="line", face="floor", at_mm=((-20.0, 0.0), (20.0, 0.0)), z_mm=16.0)
    slot = MillMove(kind="slot", face="floor")
    loads = [milling_loads(run_of(**LOADS, moves=(move,))) for move in (line, slot)]
    assert loads[0] == loads[1]
    assert [load.face for load in loads[0]] == ["floor"]


def trough(shape="ball"):
    """A block of 60 x 40 x 20 under two straps, and a slot along it as a ball of 8 mm makes it, 4 mm deep."""
    whole = cq.Workplane("XY").box(60, 40, 20, centered=(True, True, False))
    drawn = whole.cut(cq.Workplane("YZ").center(0, 20).circle(4.0).extrude(60).translate((-30, 0, 0)))
    part = gauged_body("part", drawn.solids().val(), material="steel_1018", finish={"*": "ground"})
    line = MillMove(kind="line", face="round", at_mm=((-40.0, 0.0), (40.0, 0.0)), z_mm=16.0)
    run = replace(run_of(**LOADS, makes=("round",), shape=shape, moves=(line,)), parts=("part",))
    clamps = tuple(strap("part", (0, y, 20), 3000.0, f"strap_{y}") for y in (-15, 15))
    held = Holding(magnet="off", coolant=False, mu=(0.2, 0.2), clamps=clamps)
    setup = Setup(name="bench", bodies=(part, table()), end_mills=(run,), holding=held)
    (mill,) = setup.mills
    placed = {b.name: b.solid for b in setup.bodies}
    return MillingProcess(setup=setup, placed=placed, mill=mill, part="part"), rigged(setup)


def turns(case, pressed_n):
    """Times its load at which a block of 60 x 40 that is pressed evenly turns or slides, about any pole."""
    push = np.sum([tooth.force_n for tooth in case.teeth], axis=0)
    about = np.sum([np.cross(tooth.at_mm, tooth.force_n) for tooth in case.teeth], axis=0)[2]
    cells = np.stack(np.meshgrid(np.linspace(-29, 29, 30), np.linspace(-19, 19, 20)), axis=-1).reshape(-1, 2)
    found = []
    for x, y in np.stack(np.meshgrid(np.linspace(-90, 90, 91), np.linspace(-90, 90, 91)), axis=-1).reshape(
        -1, 2
    ):
        arm_mm = float(np.hypot(*(cells - (x, y)).T).mean())
        work = abs(about - x * push[1] + y * push[0])
        found.append(0.2 * pressed_n * arm_mm / (work + 0.2 * push[2] * arm_mm))
    return min(f for f in found if f > 0.0)


def test_a_trough_that_a_ball_makes_holds_by_a_factor_and_is_not_followed():
    """Against the best pole to turn about, evenly pressed; teeth that tip it press it unevenly."""
    job, rig = trough()
    every = load_cases(rig, job)
    # Passes of 2 mm: first with the end 2 mm below the top, last at the bottom of the trough.
    assert {round(t.case.axis_mm[2], 6) for t in every.trials} == {18.0, 16.0}
    least = every.borne[0]
    by_hand = turns(least.case, 3000.0 + weight_n("steel_1018", 60 * 40 * 20 - math.pi * 8 * 60))
    assert 0.85 * by_hand < least.low_factor < 1.01 * by_hand
    assert job.scene(rig) is None
    square, _ = trough("square")
    with pytest.raises(NotComputedError, match="is not level"):
        square.cases()


def test_where_a_part_goes_from_a_trough_is_unknown_and_says_what_to_do():
    part = SimpleNamespace(part="part", cut="slot", tool=Tool.CUTTER, ways=None, down_its_axis=False)
    (told,) = crash.check(SimpleNamespace(held=SimpleNamespace(parts=(part,))))
    assert (told.verdict, "Set stops against it" in told.says) == (Verdict.UNKNOWN, True)
