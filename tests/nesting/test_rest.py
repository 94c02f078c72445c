"""Rests against closed forms: pins, stops, ledges, V-blocks, cones, wedges; and every way of not resting."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.result.rest import Ending
from fixturecheck.setup.model import Seat
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.statics.rest import Bounds
from fixturecheck.units import METRIC
from fixturecheck.wording.motion import freedom_words, settled_words

LEFT = Push(direction=(-1, 0, 0))


def stopped(shapes, part, *extra, seats=(), **names):
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)), top=">Z")
    stop = shapes.body("stop", shapes.box(10, 100, 20, (-5, 0, 0)), face=">X")
    return shapes.setup(table, stop, shapes.body("part", part, "part", **names), *extra, seats=seats)


SEATS = (
    Seat(body="part", face="base", on="table", on_face="top"),
    Seat(body="part", face="back", on="stop", on_face="face", rank="secondary"),
)


def test_a_block_pushed_from_two_mm_away_closes_both_seats(shapes):
    block = shapes.box(30, 20, 20, (15, 0, 0))
    setup = stopped(shapes, block, seats=SEATS, base="<Z", back="<X")
    found = settle_setup(setup, Staging(push={"part": LEFT}))
    assert found.rests
    assert np.abs(found.poses["part"].shift_mm).max() < 1e-6
    assert [s.closed for s in found.seats] == [True, True]
    assert not found.unintended()
    assert settled_words(found, METRIC) == "every seat is closed and nothing else touches"
    # Statics: the table carries the weight, the stop the push of a quarter of it.
    weight = 30 * 20 * 20 * 7.87e-6 * 9.80665
    force = {c.a: c.force_n for c in found.carried}
    assert force["table.top"] == pytest.approx(weight, rel=1e-6)
    assert force["stop.face"] == pytest.approx(weight / 4, rel=1e-6)
    assert [(f.kind, f.axis) for f in found.freedoms] == [("slides", (0.0, 1.0, 0.0))]


def test_a_freedom_says_how_far_it_goes_before_something_is_met(shapes):
    block = shapes.box(30, 20, 20, (15, 0, 0))
    wall = shapes.body("wall", shapes.box(30, 10, 20, (15, 16.5, 0)))
    setup = stopped(shapes, block, wall, seats=SEATS, base="<Z", back="<X")
    (slide,) = settle_setup(setup, Staging(push={"part": LEFT})).freedoms
    assert (slide.kind, slide.low) == ("slides", -math.inf)
    assert slide.high == pytest.approx(1.5, abs=1e-6)
    assert slide.body == "part"
    assert freedom_words(slide, METRIC) == "slides along Y as far as +1.5 mm"


def test_a_wide_ledge_lands_first_and_keeps_the_seat_open_by_its_depth(shapes):
    # The ledge is wider than the stop is, so no corner of it meets the stop's face.
    block = shapes.box(30, 20, 20, (15, 0, 0))
    ledge = shapes.box(1.5, 140, 4, (-0.75, 0, 14))
    part = cq.Workplane(block).union(cq.Workplane(ledge)).val()
    setup = stopped(shapes, part, seats=SEATS, base="<Z", back="<X[1]", tab="<X")
    found = settle_setup(setup, Staging(push={"part": LEFT}))
    assert found.poses["part"].shift_mm == pytest.approx((1.5, 0, 0), abs=1e-6)
    (wrong,) = found.unintended()
    assert {wrong.a, wrong.b} == {"stop.face", "part.tab"}
    assert wrong.kind == "area"


def test_a_nib_at_one_end_turns_the_block_and_opens_the_seat_by_similar_triangles(shapes):
    # Nib d high at distance L from the far corner of the back face: tan(turn) = d / L, gap there 0.
    nib, span = 0.3, 38.0
    block = shapes.box(30, 40, 20, (15, 0, 0))
    bump = shapes.box(nib, 1.0, 20, (-nib / 2, 18.5, 0))
    part = cq.Workplane(block).union(cq.Workplane(bump)).val()
    setup = stopped(shapes, part, seats=SEATS, base="<Z", back="<X[1]", nib="<X")
    staging = Staging(push={"part": Push(direction=(-1, 0, 0), at_mm=(15, 0, 10))})
    found = settle_setup(setup, staging)
    # The push acts on the far side of the nib, so the far end swings in: a turn against the clock, seen from
    # above, until the nib's inner edge (y = 18) and the far corner (y = -20) both touch.
    turn = -math.degrees(math.atan(nib / span))
    assert found.poses["part"].turn_deg == pytest.approx((0, 0, turn), abs=1e-6)
    assert {c.a for c in found.unintended()} | {c.b for c in found.unintended()} == {"stop.face", "part.nib"}
    back = found.seats[1]
    assert back.gap_min_um == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("high", [0.05, 0.1, -0.2])
def test_a_block_on_three_unequal_pins_tilts_by_height_over_span(shapes, high):
    pins = [
        shapes.body(f"pin{i}", shapes.box(2, 2, 10 + up, (x, y, 0)))
        for i, (x, y, up) in enumerate([(0, -20, 0), (0, 20, 0), (50, 0, high)])
    ]
    part = shapes.body("part", shapes.box(80, 60, 20, (20, 0, 10)), "part")
    found = settle_setup(shapes.setup(*pins, part), Staging())
    assert found.rests
    # Pins are 2 mm square. The underside leans on the edges that face up the slope, or down it: 1 mm beyond
    # the axis of the two and 1 mm short of that of the one, or the other way round; 50 mm apart either way.
    tilt = -found.poses["part"].turn_deg[1]
    assert tilt == pytest.approx(math.degrees(math.atan(high / 50.0)), abs=1e-7)
    assert found.poses["part"].turn_deg[::2] == pytest.approx((0, 0), abs=1e-7)
    pairs = [tuple(sorted((c.a, c.b))) for c in found.carried if c.force_n > 0]
    assert pairs == [("part.face_3", f"pin{i}.face_4") for i in range(3)]


@pytest.mark.parametrize("angle", [60.0, 90.0, 120.0])
def test_a_shaft_in_a_v_block_stands_at_the_height_of_its_radius(shapes, angle):
    # Standard jig text, from memory: h = r / sin(a / 2); flank load P / (2 sin(a / 2)) without friction.
    height = 25 / math.sin(math.radians(angle / 2))
    shaft = cq.Workplane("XZ", origin=(0, 30, 0)).circle(25).extrude(60).val()
    part = shapes.body("shaft", shaft, "part", at=(1.2, 0, height))
    found = settle_setup(shapes.setup(shapes.body("vee", shapes.vee(angle)), part), Staging())
    matrix = found.poses["shaft"].matrix
    assert matrix[:3, 3] == pytest.approx((0, 0, height), abs=1e-6)
    weight = math.pi * 25**2 * 60 * 7.87e-6 * 9.80665
    flanks = [c.force_n for c in found.carried if c.force_n > 0]
    assert flanks == pytest.approx([weight / (2 * math.sin(math.radians(angle / 2)))] * 2, rel=1e-5)
    assert {f.kind for f in found.freedoms} == {"slides", "turns"}


def test_a_larger_shaft_in_a_v_moves_its_top_and_bottom_lines_as_the_books_say(shapes):
    # Locating error for a diameter tolerance Td, 90 deg: centre 0.7071, top line 1.2071, bottom 0.2071 Td.
    heights = []
    for diameter in (50.0, 50.1):
        shaft = cq.Workplane("XZ", origin=(0, 30, 0)).circle(diameter / 2).extrude(60).val()
        part = shapes.body("shaft", shaft, "part", at=(0, 0, 40))
        found = settle_setup(shapes.setup(shapes.body("vee", shapes.vee(90)), part), Staging())
        heights.append(found.poses["shaft"].matrix[2, 3])
    change = (heights[1] - heights[0]) / 0.1
    assert change == pytest.approx(0.7071, abs=1e-4)
    assert change + 0.5 == pytest.approx(1.2071, abs=1e-4)
    assert change - 0.5 == pytest.approx(0.2071, abs=1e-4)


def test_a_square_bar_dropped_askew_nests_in_the_v(shapes):
    bar = cq.Workplane().box(20, 30, 20).val()
    part = shapes.body("bar", bar, "part", at=(0.5, 0, 20), turn=(cq.Vector(0, 1, 0), 38))
    found = settle_setup(shapes.setup(shapes.body("vee", shapes.vee(90)), part), Staging())
    assert found.poses["bar"].matrix[2, 3] == pytest.approx(math.sqrt(200), abs=1e-6)
    assert found.poses["bar"].turn_deg[1] == pytest.approx(7.0, abs=1e-4)


def test_a_ball_in_a_cone_stands_at_radius_over_sine(shapes):
    block = cq.Workplane().box(40, 40, 20).faces(">Z").workplane().cskHole(6, 20, 90).val()
    ball = shapes.body("ball", cq.Workplane().sphere(5).val(), "part", at=(0.7, 0.3, 12))
    found = settle_setup(shapes.setup(shapes.body("cone", block), ball), Staging())
    # The cone's apex is at z = 0: half angle 45 deg.
    assert found.poses["ball"].matrix[:3, 3] == pytest.approx((0, 0, 5 * math.sqrt(2)), abs=1e-6)


def test_a_ball_on_the_rim_of_a_hole_sinks_by_pythagoras(shapes):
    block = cq.Workplane().box(40, 40, 20).faces(">Z").workplane().hole(6).val()
    ball = shapes.body("ball", cq.Workplane().sphere(5).val(), "part", at=(0.7, 0.3, 15))
    found = settle_setup(shapes.setup(shapes.body("hole", block), ball), Staging())
    assert found.poses["ball"].matrix[:3, 3] == pytest.approx((0, 0, 10 + 4), abs=1e-5)


@pytest.mark.parametrize(("radius_mm", "long_mm"), [(4.5, 30.0), (10.0, 20.0), (10.0, 100.0)])
def test_a_pin_over_a_slot_stands_on_its_two_edges_by_pythagoras(shapes, radius_mm, long_mm):
    """Shorter than the slot it touches the edges between their ends; longer, at them: closed form."""
    half = 0.65 * radius_mm
    rails = [
        shapes.body(name, shapes.box(20, 80, 30, (side * (10 + half), 0, -30)))
        for name, side in (("left", -1), ("right", 1))
    ]
    pin = cq.Solid.makeCylinder(radius_mm, long_mm, cq.Vector(0, -long_mm / 2, 0), cq.Vector(0, 1, 0))
    high = math.sqrt(radius_mm**2 - half**2)
    part = shapes.body("pin", pin, "part", at=(0.1, 0, high + 0.4))
    found = settle_setup(shapes.setup(*rails, part), Staging())
    assert found.rests
    assert found.poses["pin"].matrix[:3, 3] == pytest.approx((0, 0, high), abs=1e-6)


def test_wedges_pushed_against_a_stop_stack_to_the_sum_of_their_heights(shapes):
    slope, rise = 0.08, 2 + 40 * 0.08
    under = [(0, 0), (40, 0), (40, rise), (0, 2)]
    low = cq.Workplane("XZ").polyline(under).close().extrude(10, both=True).val()
    over = [(0, 2), (40, rise), (40, 12), (0, 12)]
    high = cq.Workplane("XZ").polyline(over).close().extrude(10, both=True).val()
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)))
    stop = shapes.body("stop", shapes.box(10, 100, 40, (-5, 0, 0)))
    block = shapes.body("end", shapes.box(10, 100, 2.6, (48, 0, 0)))
    lower = shapes.body("low", low, "part", at=(3, 0, 0))
    upper = shapes.body("high", high, "part", at=(0, 0, 5))
    setup = shapes.setup(table, stop, block, lower, upper)
    staging = Staging(push={"high": LEFT, "low": Push(direction=(1, 0, 0))}, order=("low", "high"))
    found = settle_setup(setup, staging)
    assert found.rests
    assert found.poses["low"].matrix[:3, 3] == pytest.approx((3, 0, 0), abs=1e-6)
    # Upper wedge against the stop at x = 0; its slope lies on the lower one's, 3 mm along: 3 slope lower.
    assert found.poses["high"].matrix[:3, 3] == pytest.approx((0, 0, -3 * slope), abs=1e-6)
    assert all(np.abs(p.turn_deg).max() < 1e-7 for p in found.poses.values())
    # Statics of the upper wedge, no friction: the slope carries W / cos a; the stop the push and W tan a.
    weight = upper.solid.Volume() * 7.87e-6 * 9.80665
    on = {
        frozenset((c.a.split(".")[0], c.b.split(".")[0])): c.force_n for c in found.carried if c.force_n > 0
    }
    assert on[frozenset(("high", "low"))] == pytest.approx(weight * math.hypot(1, slope), rel=1e-6)
    assert on[frozenset(("high", "stop"))] == pytest.approx(weight * (0.25 + slope), rel=1e-6)


def test_a_gang_pushed_together_and_in_turn_rests_in_the_same_place(shapes):
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)))
    stop = shapes.body("stop", shapes.box(10, 100, 20, (-5, 0, 0)))
    solid = cq.Workplane().box(8, 20, 20).val()
    gang = [shapes.body(f"p{i}", solid, "part", at=(4 + 8 * i, 0, 10)) for i in range(4)]
    setup = shapes.setup(table, stop, *gang)
    for order in ((), tuple(b.name for b in gang)):
        found = settle_setup(setup, Staging(push={"*": LEFT}, order=order))
        assert found.rests
        assert max(np.abs(p.shift_mm).max() for p in found.poses.values()) < 1e-6


def test_a_block_hanging_over_a_ledge_tips_and_falls_to_the_floor(shapes):
    ledge = shapes.body("ledge", shapes.box(10, 100, 10))
    floor = shapes.body("floor", shapes.box(400, 400, 10, (0, 0, -30)))
    part = shapes.body("part", shapes.box(60, 20, 20, (8, 0, 10)), "part")
    found = settle_setup(shapes.setup(ledge, floor, part), Staging())
    assert found.rests
    assert abs(found.poses["part"].shift_mm[2]) > 10


class TestNotAtRest:
    def test_nothing_under_the_part(self, shapes):
        setup = shapes.setup(shapes.body("stop", shapes.box(10, 10, 10)), shapes.body(
            "part", shapes.box(10, 10, 10, (50, 0, 0)), "part"))  # fmt: skip
        found = settle_setup(setup, Staging())
        assert found.ending is Ending.FALLS
        assert settled_words(found, METRIC).endswith(" mm down and meets nothing")
        assert found.steps < 100

    def test_no_stop_against_the_push(self, shapes):
        table = shapes.body("table", shapes.box(400, 400, 20, (0, 0, -20)))
        part = shapes.body("part", shapes.box(10, 10, 10), "part")
        found = settle_setup(shapes.setup(table, part), Staging(push={"part": LEFT}))
        assert found.ending is Ending.SLIDES
        assert settled_words(found, METRIC).startswith("part slides to the left along table by more than 1")

    def test_no_weight_and_no_push(self, shapes):
        setup = stopped(shapes, shapes.box(10, 10, 10, (5, 0, 0)))
        found = settle_setup(setup, Staging(weight=False))
        assert found.ending is Ending.NO_PUSH

    def test_a_slot_too_narrow_for_the_part(self, shapes):
        walls = [shapes.body(n, shapes.box(10, 50, 20, (x, 0, 0))) for n, x in (("a", -14.95), ("b", 14.95))]
        part = shapes.body("part", shapes.box(20, 20, 20, (0, 0, 25)), "part")
        table = shapes.body("table", shapes.box(100, 100, 10, (0, 0, -10)))
        found = settle_setup(shapes.setup(*walls, table, part), Staging())
        # It stays on top of the walls: an open question of the drawn pose, answered by contact.
        assert found.rests
        assert found.poses["part"].matrix[2, 3] + 25 == pytest.approx(20, abs=1e-6)

    def test_too_few_steps_say_what_is_left(self, shapes):
        setup = stopped(shapes, shapes.box(30, 20, 20, (15.5, 0, 0)))
        found = settle_setup(setup, Staging(push={"part": LEFT}), bounds=Bounds(steps=2))
        assert found.ending is Ending.NOT_CONVERGED
        assert "no rest after 2 steps" in settled_words(found, METRIC)

    def test_an_order_that_names_a_stranger(self, shapes):
        setup = stopped(shapes, shapes.box(30, 20, 20, (15, 0, 0)))
        with pytest.raises(SetupError, match="'ghost'"):
            settle_setup(setup, Staging(order=("ghost",)))

    def test_a_push_without_direction(self, shapes):
        setup = stopped(shapes, shapes.box(30, 20, 20, (15, 0, 0)))
        with pytest.raises(SetupError, match="no direction"):
            settle_setup(setup, Staging(push={"part": Push(direction=(0, 0, 0))}))

    def test_two_walls_nearer_than_the_part_is_wide_contradict_each_other(self, shapes):
        # Drawn 0.05 mm into the wall on either side, and the walls too high to start above.
        walls = [shapes.body(n, shapes.box(10, 50, 80, (x, 0, 0))) for n, x in (("a", -14.95), ("b", 14.95))]
        table = shapes.body("table", shapes.box(100, 100, 10, (0, 0, -10)))
        part = shapes.body("part", shapes.box(20, 20, 20), "part")
        found = settle_setup(shapes.setup(*walls, table, part), Staging())
        assert found.ending is Ending.JAMMED
        says = "there is no room: no move frees the parts of every overlap; "
        assert settled_words(found, METRIC) in {f"{says}{wall} and part overlap deepest" for wall in "ab"}
        assert found.seats == found.carried == found.freedoms == ()

    def test_parts_drawn_far_into_each_other(self, shapes):
        walls = [shapes.body(n, shapes.box(10, 50, 80, (x, 0, 0))) for n, x in (("a", -13), ("b", 13))]
        part = shapes.body("part", shapes.box(20, 20, 20), "part")
        found = settle_setup(shapes.setup(*walls, part), Staging())
        assert found.ending is Ending.OVERLAPS
        assert settled_words(found, METRIC) in {
            f"the parts have no room to start from: {wall} and part overlap even well back from where "
            "they are drawn"
            for wall in "ab"
        }

    def test_an_order_in_which_a_part_finds_no_room(self, shapes):
        # A hood over a block: placed first, it leaves no way down to the block's place.
        table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)))
        outside = cq.Workplane(shapes.box(40, 40, 60)).cut(cq.Workplane(shapes.box(20.2, 20.2, 20.1)))
        hood, block = (
            shapes.body("hood", outside.val(), "part"),
            shapes.body("block", shapes.box(20, 20, 20), "part"),
        )
        setup = shapes.setup(table, hood, block)
        assert settle_setup(setup, Staging(order=("block", "hood"))).rests
        found = settle_setup(setup, Staging(order=("hood", "block")))
        assert found.ending is Ending.OVERLAPS
        assert settled_words(found, METRIC) == (
            "block finds no room when its turn comes: block and hood overlap even well back from where they "
            "are drawn"
        )
