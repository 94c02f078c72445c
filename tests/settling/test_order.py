"""Whether a rest depends on the order of pushing: wedges whose balance of forces says when it does."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import pytest

from fixturecheck.checks import rest
from fixturecheck.result import Verdict
from fixturecheck.settling.answer import answered
from fixturecheck.settling.model import Push, Staging
from fixturecheck.settling.stability import order_told

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
    weight_n = high.val().Volume() * 7.85e-6 * 9.80665
    return shapes.setup(*bodies), weight_n * SLOPE


def pushed(force_n):
    left = (-1, 0, 0)
    push = {"low": Push(direction=left, force_n=force_n), "high": Push(direction=left)}
    return Staging(push=push, order=("low", "high"))


@pytest.mark.parametrize("share", [0.3, 0.5])
def test_a_wedge_that_the_hand_cannot_hold_ends_elsewhere_when_both_are_let_go_together(shapes, share):
    # In order the lower wedge is on the left before the upper comes, and stays; together it is driven right.
    setup, balance_n = wedges(shapes)
    told = order_told(setup, pushed(share * balance_n))
    assert not told.fits
    assert told.spread_um == pytest.approx(1e3 * TRAVEL, abs=1.0)
    assert told.says == "the rest depends on the order of pushing: parts end up to 12000.0 um apart"


@pytest.mark.parametrize("share", [1.6, 2.0])
def test_a_wedge_that_the_hand_holds_ends_in_the_same_place_however_it_is_staged(shapes, share):
    setup, balance_n = wedges(shapes)
    told = order_told(setup, pushed(share * balance_n))
    assert told.fits
    assert told.spread_um < 1e-2


def test_a_rest_that_depends_on_the_order_is_a_caution_that_says_so(shapes):
    setup, balance_n = wedges(shapes)
    for share, verdict in ((0.5, Verdict.CAUTION), (2.0, Verdict.GO)):
        staged = replace(setup, staging=pushed(share * balance_n))
        found = rest.check(SimpleNamespace(setup=staged, answered=answered(staged)))
        order = next(f for f in found if f.subject == "staging order")
        assert order.verdict is verdict
        assert (order.unit, order.limit) == ("um", setup.tolerances.touch_um)
        assert order.margin == pytest.approx(order.limit - order.value)
        assert (order.remedy is None) is (verdict is Verdict.GO)


def test_a_tie_between_hand_and_wedge_is_not_told_as_one_rest(shapes):
    # In balance every place between the stops is a rest, so where it ends is where it happened to be. The
    # trifle of friction that is relied on, 0.02, makes it so near the balance, too.
    setup, balance_n = wedges(shapes)
    told = order_told(setup, pushed(balance_n))
    assert not told.fits
    assert 1e3 * 0.1 < told.spread_um <= 1e3 * TRAVEL + 1


def test_an_order_in_which_a_wedge_slides_away_before_the_other_comes_matters(shapes):
    # Without the stop on the right nothing stops the lower wedge when a hand pushes it that way.
    setup, _ = wedges(shapes)
    free = replace(setup, bodies=tuple(b for b in setup.bodies if b.name != "end"))
    right = Push(direction=(1, 0, 0), force_n=0.01)
    push = {"low": right, "high": Push(direction=(-1, 0, 0))}
    told = order_told(free, Staging(push=push, order=("low", "high")))
    assert not told.fits
    assert told.says.endswith("the order of staging matters")
    assert told.spread_um == float("inf")
