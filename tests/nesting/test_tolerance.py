"""Tolerances on solids: spread, worst case, odds that a wrong feature lands first; and hands that push."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.nesting import tolerance
from fixturecheck.nesting.disturbances import under_hand
from fixturecheck.nesting.tolerance import sampled_rest
from fixturecheck.result.rest import Ending
from fixturecheck.result.tolerance import CriticalPlace
from fixturecheck.setup.model import Seat
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.wording.motion import settled_draws_words

LEFT = Staging(push={"part": Push(direction=(-1, 0, 0))})
UP = CriticalPlace(name="floor", body="part", at_mm=(15, 0, 20), direction=(0, 0, 1))
ALONG = CriticalPlace(name="wall", body="part", at_mm=(15, 0, 20), direction=(1, 0, 0))


def toleranced(shapes, part, zones, lean=None, **names):
    held = {"orientation_mm": {} if lean is None else {"*": lean}}
    table = shapes.body(
        "table", shapes.box(200, 200, 20, (0, 0, -20)), top=">Z", tolerance_mm={"top": 0.01}, **held
    )
    stop = shapes.body(
        "stop", shapes.box(10, 100, 20, (-5, 0, 0)), face=">X", tolerance_mm={"face": 0.02}, **held
    )
    body = shapes.body("part", part, "part", tolerance_mm=zones, **held, **names)
    seats = (
        Seat(body="part", face="base", on="table", on_face="top"),
        Seat(body="part", face="back", on="stop", on_face="face", rank="secondary"),
    )
    return shapes.setup(table, stop, body, seats=seats)


def test_spread_of_a_block_is_the_root_sum_square_of_its_faces(shapes):
    block = shapes.box(30, 20, 20, (15, 0, 0))
    setup = toleranced(shapes, block, {"base": 0.03, "back": 0.01}, 0.0, base="<Z", back="<X")
    sampled = sampled_rest(setup, LEFT, targets=(UP, ALONG), spread="uniform")
    found = sampled.chances
    up, along = found.targets
    # Profile zones of width w put a face out by w/2 either way; even spread has sigma w / sqrt 12.
    assert up.sigma_um == pytest.approx(math.hypot(30, 10) / math.sqrt(12), rel=0.03)
    assert along.sigma_um == pytest.approx(math.hypot(20, 10) / math.sqrt(12), rel=0.03)
    assert (up.low_um, up.high_um) == pytest.approx((-20, 20), abs=1e-3)
    assert (along.low_um, along.high_um) == pytest.approx((-15, 15), abs=1e-3)
    assert dict(up.share_by_face)["part.base"] == pytest.approx(0.9, abs=0.02)
    assert [s.share_closed for s in found.seats] == [1.0, 1.0]
    assert found.checked_um < 1e-3
    again = sampled_rest(setup, LEFT, targets=(UP, ALONG), spread="uniform")
    assert np.array_equal(again.move, sampled.move)


def test_odds_that_a_ledge_lands_first_are_those_of_two_faces_racing(shapes):
    # The ledge stands 2 um behind the seat; it lands first when its error exceeds the seat's by 2 um.
    block = shapes.box(30, 20, 20, (15, 0, 0))
    relief = shapes.box(0.002, 40, 12, (0.001, 0, 10))
    part = cq.Workplane(block).cut(cq.Workplane(relief)).val()
    zones = {"back": 0.012, "tab": 0.012}
    setup = toleranced(shapes, part, zones, 0.0, base="<Z", back="<X", tab="<X[1]")
    found = sampled_rest(setup, LEFT, targets=(ALONG,), spread="uniform", draws=20_000).chances
    # Difference of two even errors over plus and minus 6 um is triangular over 12: P(d > 2) = 0.5 (1-1/6)^2.
    wrong = {frozenset((w.a, w.b)): w.share_lands for w in found.wrong}
    share = wrong[frozenset(("part.tab", "stop.face"))]
    assert share == pytest.approx(0.5 * (10 / 12) ** 2, abs=0.012)
    assert found.checked_um < 0.1


def test_draws_that_do_not_settle_exactly_are_passed_over_and_counted_and_told(shapes, monkeypatch):
    block = shapes.box(30, 20, 20, (15, 0, 0))
    setup = toleranced(shapes, block, {"base": 0.03, "back": 0.01}, base="<Z", back="<X")
    settled = tolerance.settle_in_order
    tries = []

    def failing(*some):
        """The first settling is that of the parts as drawn; the next is of a draw, and fails."""
        raw, loads = settled(*some)
        tries.append(raw)
        return (replace(raw, ending=Ending.SLIDES), loads) if len(tries) == 2 else (raw, loads)

    monkeypatch.setattr(tolerance, "settle_in_order", failing)
    found = sampled_rest(setup, LEFT, targets=(UP,)).chances
    assert (found.unsettled, len(tries)) == (1, 4)
    assert "less 1" in settled_draws_words(found.unsettled)

    def never(*some):
        raw, loads = settled(*some)
        tries.append(raw)
        return (replace(raw, ending=Ending.SLIDES), loads) if len(tries) > 1 else (raw, loads)

    tries.clear()
    monkeypatch.setattr(tolerance, "settle_in_order", never)
    with pytest.raises(NotComputedError, match="slides"):
        sampled_rest(setup, LEFT, targets=(UP,))


def test_no_tolerance_and_a_negative_one_are_refused(shapes):
    block = shapes.box(30, 20, 20, (15, 0, 0))
    bare = shapes.setup(
        shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20))), shapes.body("part", block, "part")
    )
    with pytest.raises(SetupError, match="no tolerance"):
        sampled_rest(bare, Staging())
    with pytest.raises(SetupError, match=r"tolerance_mm of 'base': must be from 0\.00001"):
        sampled_rest(toleranced(shapes, block, {"base": -0.1}, base="<Z", back="<X"), LEFT)
    with pytest.raises(SetupError, match="reach through"):
        sampled_rest(toleranced(shapes, block, {"base": 30.0}, base="<Z", back="<X"), LEFT)


class TestUnderHand:
    def four_pins(self, shapes, low):
        places = [(0, -20, 0), (0, 20, 0), (50, -20, 0), (50, 20, -low)]
        pins = [
            shapes.body(f"pin{i}", shapes.box(2, 2, 10 + up, (x, y, 0)))
            for i, (x, y, up) in enumerate(places)
        ]
        part = shapes.body("part", shapes.box(80, 60, 20, (20, 0, 10)), "part")
        return shapes.setup(*pins, part)

    def test_a_short_leg_rocks_about_the_line_between_its_neighbours(self, shapes):
        low = 0.1
        told = under_hand(
            self.four_pins(shapes, low), Staging(), "part", at_mm=(51, 21, 30), force_n=(0, 0, -60)
        )
        assert not told.stays
        # It tips over the corners of pins 1 and 2 toward the push, until the far corner of pin 3 carries.
        ends = np.array([[1.0, 21.0], [51.0, -19.0]])
        along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        turn = np.array(told.turn_deg)
        assert abs(turn[:2] @ along) / np.linalg.norm(turn) == pytest.approx(1.0, abs=1e-3)
        arm = np.array([51.0, 21.0]) - ends[0]
        distance = abs(along[0] * arm[1] - along[1] * arm[0])
        assert np.linalg.norm(turn) == pytest.approx(math.degrees(low / distance), rel=1e-3)

    def test_four_equal_legs_stand_firm(self, shapes):
        told = under_hand(
            self.four_pins(shapes, 0.0), Staging(), "part", at_mm=(20, 0, 30), force_n=(0, 0, -30)
        )
        assert told.stays

    def test_a_push_inside_the_feet_stays_and_one_outside_goes_over(self, shapes):
        setup = self.four_pins(shapes, 0.0)
        inside = under_hand(setup, Staging(), "part", at_mm=(48, 18, 30), force_n=(0, 0, -60))
        outside = under_hand(setup, Staging(), "part", at_mm=(59, 0, 30), force_n=(0, 0, -60))
        assert inside.stays
        assert not outside.stays
