"""Parts that stand between blocks at both ends: the rest that is drawn, and what keeps parts from it."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.checks import location, rest, tolerance
from fixturecheck.nesting.answer import staging_answer
from fixturecheck.nesting.disturbances import order_of_placing
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.nesting.tolerance import sampled_rest
from fixturecheck.result.finding import Verdict
from fixturecheck.result.rest import Ending
from fixturecheck.setup.model import Seat
from fixturecheck.setup.staging import Push, Staging

LONG, WIDE, TALL = 100.0, 20.0, 12.0
INTO_THE_CORNER = Staging(push={"*": Push(direction=(-1, 1, 0))})
ALONG = Staging(push={"*": Push(direction=(-1, 0, 0))})


def boxed_in(shapes, part, right=LONG, blocks_mm=8.0, **named):
    """A part on a table, against a rail, between two blocks whose faces are at x = 0 and `right`."""
    table = shapes.body("table", shapes.box(400, 200, 20, (0, 0, -20)), top=">Z")
    rail = shapes.body("rail", shapes.box(400, 20, 10, (0, WIDE / 2 + 10, 0)), fence="<Y")
    left = shapes.body("left", shapes.box(40, WIDE, blocks_mm, (-20, 0, 0)), stop=">X")
    end = shapes.body("right", shapes.box(40, WIDE, blocks_mm, (right + 20, 0, 0)), stop="<X")
    one = shapes.body("bar", part, "part", base="<Z", back=">Y", near="<X", far=">X", **named)
    seats = (
        Seat(body="bar", face="base", on="table", on_face="top"),
        Seat(body="bar", face="back", on="rail", on_face="fence", rank="secondary"),
        Seat(body="bar", face="near", on="left", on_face="stop", rank="stop"),
        Seat(body="bar", face="far", on="right", on_face="stop", rank="stop"),
    )
    return shapes.setup(table, rail, left, end, one, seats=seats)


def bar(shapes, long=LONG, at=(0.0, 0.0, 0.0)):
    return shapes.box(long, WIDE, TALL, (long / 2 + at[0], at[1], at[2]))


@pytest.mark.parametrize("blocks_mm", [3.0, 8.0, 11.0, 30.0])
@pytest.mark.parametrize("staging", [INTO_THE_CORNER, ALONG], ids=["corner", "along"])
def test_a_part_between_two_blocks_rests_where_it_is_drawn(shapes, blocks_mm, staging):
    setup = boxed_in(shapes, bar(shapes), blocks_mm=blocks_mm)
    found = settle_setup(setup, staging)
    assert found.rests
    assert np.abs(found.poses["bar"].shift_mm).max() < 1e-6
    assert [s.closed for s in found.seats] == [True] * 4
    # Statics: what is not pushed at presses on nothing, though it touches.
    weight_n = LONG * WIDE * TALL * 7.87e-6 * 9.80665
    part_n = weight_n / 4 / (2**0.5 if staging is INTO_THE_CORNER else 1.0)
    carried = [weight_n, part_n if staging is INTO_THE_CORNER else 0.0, part_n, 0.0]
    assert [s.force_n for s in found.seats] == pytest.approx(carried, rel=1e-4, abs=1e-4 * part_n)
    assert not found.unintended()


@pytest.mark.parametrize("off", [(0.05, 0, 0), (0, -0.04, 0), (0.02, -0.03, 0.05), (-0.03, 0.02, -0.01)])
def test_a_part_drawn_a_little_off_goes_to_the_rest_beside_it(shapes, off):
    # 0.06 mm of play at the far end; drawn up to 50 um clear of its seats, or up to 30 um in them.
    setup = boxed_in(shapes, bar(shapes, at=off), right=LONG + 0.06)
    found = settle_setup(setup, INTO_THE_CORNER)
    assert found.rests
    assert found.poses["bar"].shift_mm == pytest.approx(tuple(-v for v in off), abs=1e-6)
    assert [s.closed for s in found.seats] == [True, True, True, False]


def test_a_nib_that_lands_first_still_holds_the_part_off(shapes):
    # 0.3 mm of nib with 0.5 mm of play behind: it rests 0.3 mm off, its near face open by that.
    nib = shapes.box(0.3, WIDE, 4, (-0.15, 0, 0))
    part = cq.Workplane(bar(shapes)).union(cq.Workplane(nib)).val()
    setup = boxed_in(shapes, part, right=LONG + 0.5)
    found = settle_setup(replace(setup, seats=setup.seats[:2]), INTO_THE_CORNER)
    assert found.rests
    assert found.poses["bar"].shift_mm == pytest.approx((0.3, 0, 0), abs=1e-6)


def test_a_part_longer_than_its_place_does_not_go_in(shapes):
    # 0.2 mm longer than the space between blocks that stand as high as it does.
    setup = boxed_in(shapes, bar(shapes, long=LONG + 0.2), blocks_mm=30.0)
    found = settle_setup(setup, INTO_THE_CORNER)
    assert found.ending is Ending.JAMMED


def test_three_pads_in_a_row_between_two_blocks_rest_as_drawn_in_any_order(shapes):
    table = shapes.body("table", shapes.box(400, 200, 20, (0, 0, -20)))
    left = shapes.body("left", shapes.box(20, 30, 10, (-10, 0, 0)))
    right = shapes.body("right", shapes.box(20, 30, 10, (90 + 10, 0, 0)))
    solid = shapes.box(30, 25, 15)
    pads = [shapes.body(f"pad{i}", solid, "part", at=(15 + 30 * i, 0, 0)) for i in range(3)]
    setup = shapes.setup(table, left, right, *pads)
    found = settle_setup(setup, ALONG)
    assert found.rests
    assert max(np.abs(p.shift_mm).max() for p in found.poses.values()) < 1e-6
    told = order_of_placing(setup, ALONG)
    assert told.fits
    assert told.spread_um < 1.0
    backwards = order_of_placing(setup, replace(ALONG, order=("pad0", "pad1", "pad2")))
    assert backwards.fits


@pytest.mark.parametrize("staging", [INTO_THE_CORNER, replace(INTO_THE_CORNER, order=("bar", "right"))])
def test_an_end_block_without_play_follows_a_part_of_any_length(shapes, staging):
    # +-10 um of length and no play at all: the block is set up against the part, and locates nothing. The far
    # face follows the near one and its own zone, each +-10 um.
    zones = {"near": 0.02, "far": 0.02}
    setup = replace(boxed_in(shapes, bar(shapes), tolerance_mm=zones), staging=staging)
    found = staging_answer(setup)
    assert found.missing == ()
    assert [(s.other.body, s.share_closed) for s in found.chances.seats] == [
        ("table", 1.0),
        ("rail", 1.0),
        ("left", 1.0),
    ]
    assert found.chances.closed_in == ("right",)
    (part,) = found.located
    assert [s.role.takes for s in part.seats] == [3, 2, 1]
    assert [other.body for _, other in part.closing] == ["right"]
    stage = SimpleNamespace(setup=setup, answered=found)
    assert {f.verdict for check in (rest, location, tolerance) for f in check.check(stage)} == {Verdict.GO}


def test_of_two_stops_across_a_part_that_is_pushed_at_neither_one_locates(shapes):
    found = staging_answer(replace(boxed_in(shapes, bar(shapes)), staging=Staging()))
    (part,) = found.located
    assert part.rank == 6
    assert len(part.closing) == 1


def test_tolerances_of_a_part_between_two_blocks_are_drawn(shapes):
    # The length varies by +-10 um with 30 um of play, so the near face closes in every draw.
    setup = boxed_in(shapes, bar(shapes), right=LONG + 0.03, tolerance_mm={"near": 0.02, "far": 0.02})
    found = sampled_rest(setup, INTO_THE_CORNER, draws=500).chances
    assert [s.share_closed for s in found.seats] == [1.0, 1.0, 1.0, 0.0]
    assert found.checked_um < 0.1


def test_a_part_between_two_blocks_is_go_without_a_caution(shapes):
    setup = replace(boxed_in(shapes, bar(shapes)), staging=INTO_THE_CORNER)
    found = list(rest.check(SimpleNamespace(setup=setup, answered=staging_answer(setup))))
    assert {f.verdict for f in found} == {Verdict.GO}, [f.says for f in found]
