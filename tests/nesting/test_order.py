"""Whether a rest depends on the order of pushing: wedges whose balance of forces says when it does."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import pytest

from fixturecheck.checks import rest
from fixturecheck.nesting import disturbances as orders
from fixturecheck.nesting.answer import staging_answer
from fixturecheck.nesting.disturbances import order_of_placing
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.units import METRIC
from fixturecheck.wording.motion import order_words

SLOPE, TRAVEL = 0.08, 12.0


def wedges(shapes):
    """Return a wedge on a table with 12 mm to go between two stops, another on its slope, and W tan a, N.

    The slope rises to the right. Without friction the upper wedge, held by the stop on the left, drives the
    lower one to the right with its weight times the slope; a hand pushes the lower one to the left.
    """
    rise = 2 + 40 * SLOPE
    low = cq.Workplane("XZ").polyline([(0, 0), (40, 0), (40, rise), (0, 2)]).close().extrude(10, both=True)
    high = cq.Workplane("XZ").polyline([(0, 2), (40, rise), (40, 12), (0, 12)]).close().extrude(10, both=True)
    bodies = (
        shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20))),
        shapes.body("stop", shapes.box(10, 100, 40, (-5, 0, 0))),
        shapes.body("end", shapes.box(10, 100, 2.6, (40 + TRAVEL + 5, 0, 0))),
        shapes.body("low", low.val(), "part"),
        shapes.body("high", high.val(), "part"),
    )
    weight_n = high.val().Volume() * 7.87e-6 * 9.80665
    return shapes.setup(*bodies), weight_n * SLOPE


def pushed(force_n):
    left = (-1, 0, 0)
    push = {"low": Push(direction=left, force_n=force_n), "high": Push(direction=left)}
    return Staging(push=push, order=("low", "high"))


@pytest.mark.parametrize("share", [0.3, 0.5])
def test_a_wedge_that_the_hand_cannot_hold_ends_elsewhere_when_both_are_let_go_together(shapes, share):
    # In order the lower wedge is on the left before the upper comes, and stays; together it is driven right.
    setup, balance_n = wedges(shapes)
    told = order_of_placing(setup, pushed(share * balance_n))
    assert not told.fits
    assert told.spread_um == pytest.approx(1e3 * TRAVEL, abs=1.0)
    assert order_words(told, METRIC) == (
        "the rest depends on the order of pushing: pushed in order, parts end up to 12 mm away; "
        "they cannot be staged in reverse order, as high takes the place of low"
    )


@pytest.mark.parametrize("share", [1.6, 2.0])
def test_a_wedge_that_the_hand_holds_ends_in_the_same_place_however_it_is_staged(shapes, share):
    setup, balance_n = wedges(shapes)
    told = order_of_placing(setup, pushed(share * balance_n))
    assert told.fits
    assert told.spread_um < 1e-2


def test_a_rest_that_depends_on_the_order_is_a_caution_that_says_so(shapes):
    setup, balance_n = wedges(shapes)
    for share, verdict in ((0.5, Verdict.CAUTION), (2.0, Verdict.GO)):
        staged = replace(setup, staging=pushed(share * balance_n))
        found = rest.check(SimpleNamespace(setup=staged, answered=staging_answer(staged)))
        order = next(f for f in found if f.subject == "staging order")
        assert order.verdict is verdict
        assert (order.unit, order.limit) == ("um", setup.tolerances.touch_um)
        assert order.margin == pytest.approx(order.limit - order.value)
        assert (order.remedy is None) is (verdict is Verdict.GO)


def test_a_tie_between_hand_and_wedge_is_not_told_as_one_rest(shapes):
    # In balance every place between the stops is a rest, so where it ends is where it happened to be. The
    # trifle of friction that is relied on, 0.02, makes it so near the balance, too.
    setup, balance_n = wedges(shapes)
    told = order_of_placing(setup, pushed(balance_n))
    assert not told.fits
    assert 1e3 * 0.1 < told.spread_um <= 1e3 * TRAVEL + 1


def test_an_order_in_which_a_wedge_slides_away_before_the_other_comes_matters(shapes):
    # Without the stop on the right nothing stops the lower wedge when a hand pushes it that way.
    setup, _ = wedges(shapes)
    free = replace(setup, bodies=tuple(b for b in setup.bodies if b.name != "end"))
    right = Push(direction=(1, 0, 0), force_n=0.01)
    push = {"low": right, "high": Push(direction=(-1, 0, 0))}
    told = order_of_placing(free, Staging(push=push, order=("low", "high")))
    assert not told.fits
    assert order_words(told, METRIC).endswith("the order of staging matters")
    assert told.spread_um == float("inf")


SHORT, DROP = 20.0, 0.2


def over_ledges(shapes, extra=()):
    """Return a wedge against a rail and another on its slope, which ledges catch 0.2 mm lower; their staging.

    Seen from above; nothing has weight. One hand pushes the lower wedge along the rail to the stop, twice as
    hard as the upper one drives it away, another the upper one at the rail. The upper one is thicker, and the
    ledges stand over and under the lower. Who pushes the upper one first has it on the ledges, and the lower
    one then gets under it as far as the slope lets it: it stays 0.2 mm / slope from the stop.
    """
    rise = 2 + SHORT * SLOPE

    def prism(outline, thick, at=0.0):
        return (
            cq.Workplane("XY", origin=(0, 0, at))
            .polyline(outline)
            .close()
            .extrude(thick / 2, both=True)
            .val()
        )

    low = prism([(0, 0), (SHORT, 0), (SHORT, rise), (0, 2)], 20)
    high = prism([(0, 2), (SHORT, rise), (SHORT, 40), (0, 40)], 40)
    ledge = [(0, 0), (SHORT, 0), (SHORT, rise - DROP), (0, 2 - DROP)]
    bodies = (
        shapes.body("rail", shapes.box(200, 20, 60, (0, -10, -30))),
        shapes.body("stop", shapes.box(10, 100, 60, (-5, 0, -30))),
        *(shapes.body(f"ledge{n}", prism(ledge, 8, at=n * 15)) for n in (-1, 1)),
        shapes.body("low", low, "part"),
        shapes.body("high", high, "part"),
        *extra,
    )
    push = {
        "low": Push(direction=(-1, 0, 0), force_n=2.0 * SLOPE),
        "high": Push(direction=(0, -1, 0), force_n=1.0),
        "alone": Push(direction=(-1, 0, 0), force_n=1.0),
    }
    staging = Staging(push={b.name: push[b.name] for b in bodies if b.role == "part"}, weight=False)
    return shapes.setup(*bodies), replace(staging, order=("low", "high"))


def test_the_reverse_of_the_stated_order_is_tried(shapes):
    setup, staging = over_ledges(shapes)
    told = order_of_placing(setup, staging)
    assert told.tried == ("together", "in order", "together from further away", "in reverse order")
    assert not told.fits
    assert told.spread_um == pytest.approx(1e3 * DROP / SLOPE, abs=0.1)
    assert order_words(told, METRIC) == (
        "the rest depends on the order of pushing: pushed in reverse order, parts end up to 2.5 mm away"
    )


def test_each_part_that_touches_a_later_one_is_tried_last(shapes):
    # A block that stands alone touches nothing: only the lower wedge matters to one that comes after it.
    alone = shapes.body("alone", shapes.box(10, 10, 10, (5, -35, -5)), "part")
    setup, staging = over_ledges(shapes, extra=(alone,))
    told = order_of_placing(setup, replace(staging, order=("low", "alone", "high")))
    assert told.tried[3:] == ("in reverse order", "with low last")
    assert told.spread_um == pytest.approx(1e3 * DROP / SLOPE, abs=0.1)


def test_parts_that_stand_by_themselves_rest_the_same_in_reverse(shapes):
    table = shapes.body("table", shapes.box(400, 400, 20, (0, 0, -20)))
    stop = shapes.body("stop", shapes.box(10, 200, 20, (-5, 0, 0)))
    parts = [shapes.body(f"p{i}", shapes.box(10, 20, 20, (5, 40 * i - 40, 0)), "part") for i in range(3)]
    told = order_of_placing(
        shapes.setup(table, stop, *parts), Staging(push={"*": Push(direction=(-1, 0, 0))})
    )
    assert told.tried[3:] == ("in reverse order",)
    assert told.fits
    assert order_words(told, METRIC) == "the parts rest in the same place however they are staged"


def row(shapes, count):
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)))
    stop = shapes.body("stop", shapes.box(10, 100, 20, (-5, 0, 0)))
    solid = shapes.box(8, 20, 20, (0, 0, -10))
    gang = [shapes.body(f"p{i}", solid, "part", at=(4 + 8 * i, 0, 10)) for i in range(count)]
    return shapes.setup(table, stop, *gang), Staging(push={"*": Push(direction=(-1, 0, 0))})


def test_orders_in_which_a_part_takes_the_place_of_another_count_for_nothing_and_are_told(shapes):
    told = order_of_placing(*row(shapes, 3))
    assert told.fits
    assert told.spread_um < 1e-2
    assert order_words(told, METRIC) == (
        "the parts rest in the same place however they are staged; they cannot be staged in reverse order, "
        "as p2 takes the place of p0, nor in 2 other orders"
    )


def test_orders_that_would_take_too_long_are_counted(shapes, monkeypatch):
    monkeypatch.setattr(orders, "MOST_TURNS", 2)
    told = order_of_placing(*row(shapes, 4))
    assert order_words(told, METRIC).endswith(", nor in 1 other order; 2 more orders were not tried")
    monkeypatch.setattr(orders, "MOST_TURNS", 4)
    assert order_words(order_of_placing(*row(shapes, 4)), METRIC).endswith("; 1 more order was not tried")
