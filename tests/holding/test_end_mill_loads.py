"""What an end mill's moves do to its part: the same teeth as a milling cut, every way and at every height."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from fixturecheck.errors import SetupError
from fixturecheck.holding.cutter import MillingProcess
from fixturecheck.kernel.place import placed_at
from fixturecheck.machining.milling import Mill, slant_factor
from fixturecheck.setup.holding import Holding, Milling
from fixturecheck.setup.model import Setup
from fixturecheck.setup.tools import MillMove, milling_loads
from tests.machining.test_end_mill import pocketed, run_of

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
