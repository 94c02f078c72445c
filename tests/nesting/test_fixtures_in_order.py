"""Fixtures that are named in the order of staging: they come at their turn, as drawn or pushed up."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.checks import rest
from fixturecheck.errors import SetupError
from fixturecheck.nesting.answer import staging_answer
from fixturecheck.nesting.disturbances import order_of_placing
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.nesting.tolerance import sampled_rest
from fixturecheck.result.finding import Verdict
from fixturecheck.result.rest import Ending
from fixturecheck.setup.model import Seat
from fixturecheck.setup.staging import Push, Staging, refuse_bad_staging
from fixturecheck.units import METRIC
from fixturecheck.wording.motion import order_words, settled_words
from tests.worked_out import stage_of

LEFT = Push(direction=(-1, 0, 0))


def pads(shapes, end_at=60.0, count=2, nib_mm=0.0):
    """Pads of 30 mm in a row on a table, from a stop at x = 0 to an end block that is drawn at `end_at`."""
    table = shapes.body("table", shapes.box(400, 200, 20, (0, 0, -20)), top=">Z")
    stop = shapes.body("stop", shapes.box(20, 30, 10, (-10, 0, 0)), face=">X")
    end = shapes.body("end", shapes.box(20, 30, 10, (end_at + 10, 0, 0)), face="<X", base="<Z")
    solid = shapes.box(30, 25, 15, (15, 0, 0))
    if nib_mm:
        solid = cq.Workplane(solid).union(cq.Workplane(shapes.box(nib_mm, 25, 4, (-nib_mm / 2, 0, 0)))).val()
    rows = [shapes.body(f"pad{i}", solid, "part", at=(30 * i, 0, 0), far=">X") for i in range(count)]
    seats = (Seat(body=f"pad{count - 1}", face="far", on="end", on_face="face", rank="stop"),)
    return shapes.setup(table, stop, end, *rows, seats=seats)


def test_an_end_block_named_last_is_put_where_it_is_drawn(shapes):
    staging = Staging(push={"*": LEFT}, order=("pad0", "pad1", "end"))
    found = settle_setup(pads(shapes), staging)
    assert found.rests
    assert set(found.poses) == {"pad0", "pad1"}
    assert max(np.abs(p.shift_mm).max() for p in found.poses.values()) < 1e-6
    assert found.seats[0].closed
    assert found.seats[0].force_n == 0.0
    assert order_of_placing(pads(shapes), staging).fits


def test_an_end_block_with_a_push_of_its_own_is_pushed_up_against_the_last_part(shapes):
    # Drawn 1.5 mm short of the pads: a hand pushes it up.
    setup = pads(shapes, end_at=61.5)
    staging = Staging(push={"*": LEFT, "end": LEFT}, order=("pad0", "pad1", "end"))
    found = settle_setup(setup, staging)
    assert found.rests
    assert found.poses["end"].shift_mm == pytest.approx((-1.5, 0, 0), abs=1e-6)
    zones = {"pad1": {"far": 0.02}}
    bodies = tuple(replace(b, tolerance_mm=zones.get(b.name, {})) for b in setup.bodies)
    zoned = replace(setup, bodies=bodies)
    chances = sampled_rest(zoned, staging, draws=200).chances
    # What the block stands on is nothing that lands wrongly; what the pads stand on no seat states here.
    assert {frozenset(one.split(".")[0] for one in (w.a, w.b)) for w in chances.wrong} == {
        frozenset(("pad0", "table")), frozenset(("pad1", "table")),
        frozenset(("pad0", "stop")), frozenset(("pad0", "pad1")),
    }  # fmt: skip
    weight_n = 20 * 30 * 10 * 7.87e-6 * 9.80665
    assert found.seats[0].force_n == pytest.approx(weight_n / 4, rel=1e-5)
    told = {
        f.subject: f
        for s in [replace(setup, staging=staging)]
        for f in rest.check(SimpleNamespace(setup=s, answered=staging_answer(s)))
    }
    # What it stands on needs no seat, but the other checks take it where it is drawn.
    assert told["end"].verdict is Verdict.CAUTION
    assert "1.500 mm off" in told["end"].says
    assert "no seat states" not in told["end"].says


def test_an_end_block_that_rests_where_it_is_drawn_is_go(shapes):
    setup = replace(
        pads(shapes), staging=Staging(push={"*": LEFT, "end": LEFT}, order=("pad0", "pad1", "end"))
    )
    told = {f.subject: f for f in rest.check(SimpleNamespace(setup=setup, answered=staging_answer(setup)))}
    assert told["end"].verdict is Verdict.GO


def test_an_end_block_has_no_room_where_parts_stand_out(shapes):
    # A nib of 0.4 mm on each pad: the row is 0.8 mm longer, and the block is drawn at 60 mm.
    staging = Staging(push={"*": LEFT}, order=("pad0", "pad1", "end"))
    found = settle_setup(pads(shapes, nib_mm=0.4), staging)
    assert found.ending is Ending.OVERLAPS
    assert settled_words(found, METRIC).startswith(
        "end finds no room when its turn comes: end and pad1 overlap"
    )


def test_a_part_that_comes_after_a_hood_is_an_order_that_cannot_be(shapes):
    # Two pads beside each other under a lid that is set on last; with the lid first nothing gets in.
    table = shapes.body("table", shapes.box(400, 200, 20, (0, 0, -20)))
    lid = cq.Workplane(shapes.box(80, 60, 40)).cut(cq.Workplane(shapes.box(60, 40, 20.0))).val()
    hood = shapes.body("hood", lid)
    pad = shapes.body("pad", shapes.box(60, 40, 20), "part")
    setup = shapes.setup(table, hood, pad)
    found = settle_setup(setup, Staging(order=("pad", "hood")))
    assert found.rests
    told = order_of_placing(setup, Staging(order=("pad", "hood")))
    assert told.fits
    says = order_words(told, METRIC)
    assert "cannot be staged in reverse order, as pad does not come to rest (overlaps)" in says


def test_what_may_be_pushed_and_ordered_is_told(shapes):
    setup = pads(shapes)
    for staging in (
        Staging(push={"end": LEFT}),
        Staging(order=("nobody",)),
        Staging(push={"table": LEFT}, order=("pad0",)),
    ):
        with pytest.raises(SetupError, match="named"):
            refuse_bad_staging(replace(setup, staging=staging))
    refuse_bad_staging(replace(setup, staging=Staging(push={"end": LEFT}, order=("pad0", "pad1", "end"))))


@pytest.mark.parametrize("high_mm", [0.0, 0.5])
def test_a_stop_that_stands_on_nothing_stops_no_part(shapes, high_mm):
    # The table is the lowest plane; a stop drawn half a millimetre over it is held by nothing.
    table = shapes.body("table", shapes.box(400, 200, 20, (0, 0, -20)))
    stop = shapes.body("stop", shapes.box(10, 50, 20, (-5, 0, high_mm)))
    part = shapes.body("part", shapes.box(30, 20, 20, (15, 0, 0)), "part")
    setup = replace(shapes.setup(table, stop, part), staging=Staging(push={"*": LEFT}))
    stage, missing = stage_of(setup)
    assert missing == []
    assert stage.answered.settled.ending is (Ending.SLIDES if high_mm else Ending.REST)
