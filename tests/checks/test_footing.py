"""What stands on nothing holds nothing: stops and blocks by statics that a hand can check."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fixturecheck.checks import seat
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.kernel.construct import box, cylinder
from fixturecheck.nesting.seating import Base, footings, holding_nothing
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.result.grouping import grouped
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.make import body, equipment, place
from fixturecheck.setup.model import Setup
from tests.checks.gauged import body as gauged_body
from tests.checks.gauged import gauged, on

PART = body("part", box((-20, -10, 0), (20, 10, 15)))
CHUCK = equipment("flat_magnetic_chuck", name="chuck")
"""Its top is at z = 0, its back rail begins at y = 75 and is 8 mm high."""
TABLE = body("table", box((-200, -200, -20), (200, 200, 0)), role="fixture")


def stop(low, high, **given):
    return body("stop", box(low, high), role="fixture", **given)


def found(*bodies, **given):
    setup = Setup(name="bench", bodies=bodies, **given)
    return footings(setup, find_contacts([b.placed() for b in bodies], setup.tolerances))


def stands(*bodies, name="stop", **given):
    return found(*bodies, **given)[name]


def told(*bodies):
    """Return what the check says of the fixtures' footing, by subject."""
    names = {b.name for b in bodies if b.role == "fixture"}
    return {f.subject: f for f in gauged(seat.check, bodies) if f.subject in names}


def test_a_block_on_the_chuck_stands_and_one_a_millimetre_over_it_does_not():
    on = equipment("blocking_block", name="stop", at=(45, 0, 0))
    over = equipment("blocking_block", name="stop", at=(45, 0, 1))
    assert stands(*CHUCK, *on, PART).base is Base.CARRIED
    assert stands(*CHUCK, *on, PART).on == ("chuck_plate",)
    assert told(*CHUCK, *on, PART) == {}
    hanging = told(*CHUCK, *over, PART)["stop"]
    assert hanging.verdict is Verdict.NO_GO
    assert hanging.value == pytest.approx(1.0, abs=1e-6)
    assert "stands on nothing: chuck_plate is 1 mm away, and it touches only part" in hanging.says
    assert "Lower it by 1 mm onto chuck_plate, or state fastened = true" in hanging.remedy


def test_a_rod_in_the_air_stands_once_it_is_stated_as_fastened():
    rod = {"kind": "stop_rod", "name": "stop", "at": (50, 0, 8)}
    hanging = told(*CHUCK, *equipment(**rod), PART)["stop"]
    # A rod of 10 mm whose axis is 8 over the chuck.
    assert hanging.value == pytest.approx(3.0, abs=1e-6)
    assert stands(*CHUCK, *equipment(**rod, fastened=True), PART).base is Base.FASTENED
    assert told(*CHUCK, *equipment(**rod, fastened=True), PART) == {}


def test_what_stands_on_a_parallel_that_stands_stands():
    parallel = equipment("parallel", name="parallel", at=(60, 40, 0))
    on_it = equipment("gauge_block", name="stop", at=(60, 40, 16))
    assert stands(*CHUCK, *parallel, *on_it, PART).on == ("parallel",)
    lifted = (
        equipment("parallel", name="parallel", at=(60, 40, 1)),
        equipment("gauge_block", name="stop", at=(60, 40, 17)),
    )
    both = found(*CHUCK, *lifted[0], *lifted[1], PART)
    assert holding_nothing(both) == {"parallel", "stop"}


def test_material_does_not_matter_to_what_stands():
    brass = stop((20, -10, 0), (40, 10, 10), material="brass")
    assert stands(*CHUCK, brass, PART).base is Base.CARRIED


def test_the_table_is_under_a_part_that_no_fixture_carries_not_under_what_hangs_beside_it():
    alone = body("part", box((-20, -10, 0), (20, 10, 15)))
    hanging = told(stop((20, -10, 5), (40, 10, 25)), alone)["stop"]
    assert hanging.value == pytest.approx(5.0, abs=1e-6)
    assert "stands on nothing: the table" in hanging.says
    assert "Lower it by 5 mm onto the table" in hanging.remedy
    assert stands(stop((20, -10, 5), (40, 10, 25), fastened=True), alone).base is Base.FASTENED
    # It only stops the part, so nothing says that it is more than a block set down there.
    assert stands(stop((20, -10, 0), (40, 10, 25)), alone).base is Base.LOOSE
    # A part that hangs down over the edge of what carries it says nothing of the table.
    over = body("part", box((30, -10, -8), (50, 10, 10)).fuse(box((0, -10, 0), (30, 10, 10))))
    assert stands(stop((-40, -20, -5), (30, 20, 0)), over).base is Base.TABLE


def test_a_shop_block_against_the_rail_in_the_air_would_fall():
    # The rail's fence is at y = 75; the block ends there and hangs 2 mm over the chuck.
    leaning = equipment("blocking_block", name="stop", at=(0, 62.5, 2))
    finding = told(*CHUCK, *leaning, PART)["stop"]
    assert finding.verdict is Verdict.NO_GO
    assert "only leans against chuck_back_rail" in finding.says
    assert "Lower it by 2 mm onto chuck_plate" in finding.remedy


def test_a_seat_on_a_stop_that_stands_on_nothing_is_no_go_and_follows_from_it():
    hanging = gauged_body("stop", box((-10, 40, 5), (10, 50, 15)), role="fixture")
    part = gauged_body("part", box((-10, 20, 0), (10, 40, 20)))
    back = on("part", "back", "stop", "front")
    findings = [replace(f, check="seat") for f in gauged(seat.check, (TABLE, hanging, part), back)]
    of_seat = next(f for f in findings if f.kind is Kind.ON_NOTHING)
    assert of_seat.verdict is Verdict.NO_GO
    assert "But stop stands on nothing itself: this is no seat." in of_seat.says
    lead = [g for g in grouped(findings, {}) if findings[g.lead].kind is Kind.STANDS_ON_NOTHING]
    assert [findings[f.lead].kind for g in lead for f in g.follows] == [Kind.ON_NOTHING]


def test_a_rail_drawn_for_the_set_up_on_the_side_of_a_chuck_is_taken_as_screwed_to_it():
    plate = body("plate", box((-100, -50, -20), (100, 50, 0)), role="fixture")
    rail = body("rail", box((-100, 50, -10), (100, 60, 8)), role="fixture")
    on_rail = stop((20, 50, 8), (40, 60, 20))
    what = found(plate, rail, on_rail, PART)
    assert (what["rail"].base, what["rail"].on) == (Base.ATTACHED, ("plate",))
    assert what["stop"].base is Base.CARRIED
    finding = told(plate, rail, on_rail, PART)
    assert set(finding) == {"rail"}
    assert finding["rail"].verdict is Verdict.CAUTION
    assert "fastened = true" in finding["rail"].remedy
    fastened = body("rail", box((-100, 50, -10), (100, 60, 8)), role="fixture", fastened=True)
    assert told(plate, fastened, on_rail, PART) == {}


@pytest.mark.parametrize(
    ("reach", "base"),
    [(21.0, Base.CARRIED), (19.0, Base.TIPS)],
    ids=["its weight over the edge's near side", "and beyond it"],
)
def test_a_block_over_an_edge_stands_as_long_as_its_weight_does(reach, base):
    """A block 40 long tips once half of it is beyond the edge: lever, any text on statics."""
    low_table = body("low", box((-300, -300, -50), (300, 300, -30)), role="fixture")
    plate = body("plate", box((-100, -50, -30), (100, 50, 0)), role="fixture")
    brass = stop((100 - reach, -10, 0), (140 - reach, 10, 10), material="brass")
    assert stands(low_table, plate, brass, PART).base is base


def test_a_magnet_that_is_on_holds_steel_whose_weight_is_beyond_the_edge():
    over = equipment("blocking_block", name="stop", at=(155, 0, 0))
    below = body("low", box((-300, -300, -50), (300, 300, -20)), role="fixture")
    assert stands(below, *CHUCK, *over, PART).base is Base.CARRIED
    off = Holding(magnet="off")
    assert stands(below, *CHUCK, *over, PART, holding=off).base is Base.TIPS


def test_a_square_bar_on_its_edge_falls_and_a_round_bar_does_not():
    half = 10 / math.sqrt(2)
    square = body(
        "stop", box((-30, -5, -5), (30, 5, 5)), role="fixture", at=place(at=(0, 40, half), rotate=[("x", 45)])
    )
    round_bar = body("stop", cylinder(5, (-30, 40, 5), (30, 40, 5)), role="fixture")
    assert stands(TABLE, square, PART).base is Base.TIPS
    assert stands(TABLE, round_bar, PART).base is Base.CARRIED


def test_a_bar_in_a_v_block_stands_on_two_lines():
    vee = equipment("magnetic_v_block", name="vee")
    bar = body("stop", cylinder(10, (-30, 0, 10 * math.sqrt(2)), (30, 0, 10 * math.sqrt(2))), role="fixture")
    assert stands(*vee, bar, PART).on == ("vee_left", "vee_right")


def test_a_v_block_hanging_over_the_chuck_does_not_stand_though_it_is_equipment():
    # Its base is height less depth of the trough below its origin: 70 - (70 - 2 * 5) / 2 = 40.
    on = equipment("magnetic_v_block", name="vee", at=(0, 0, 40))
    over = equipment("magnetic_v_block", name="vee", at=(0, 0, 41))
    assert holding_nothing(found(*CHUCK, *on, PART)) == set()
    assert holding_nothing(found(*CHUCK, *over, PART)) == {b.name for b in over}


def test_equipment_side_by_side_stands_whatever_its_height():
    vise = equipment("grinding_vise", name="vise", at=(400, 0, 0))
    assert holding_nothing(found(*CHUCK, *vise, PART)) == set()


def test_an_angle_plate_drawn_on_the_table_stands_beside_the_chuck():
    angle = body("angle", box((200, -50, -20), (260, 50, 60)), role="fixture")
    assert stands(*CHUCK, angle, PART, name="angle").base is Base.TABLE
    hanging = body("angle", box((200, -50, -15), (260, 50, 60)), role="fixture")
    assert "the table (taken at the lowest plane" in told(*CHUCK, hanging, PART)["angle"].says


def test_a_chuck_drawn_in_pieces_stands_piece_by_piece():
    base = body("base", box((-100, -50, -60), (100, 50, -20)), role="fixture")
    pieces = [
        body(f"pole_{i}", box((-100 + 50 * i, -50, -20), (-50 + 50 * i, 50, 0)), role="fixture")
        for i in range(4)
    ]
    assert holding_nothing(found(base, *pieces, PART)) == set()


def test_packing_between_jaw_and_part_is_held_by_the_vise():
    vise = equipment("grinding_vise", name="vise", opening_mm=30)
    part = body("part", box((-20, -20, 0), (20, 0, 20)))
    packing = equipment("gauge_block", name="stop", size_mm=20, width_mm=10, at=(0, -25, 5))
    assert stands(*vise, part, *packing).base is Base.CLAMPED


def test_a_part_does_not_hold_up_the_stop_that_leans_on_it_but_one_that_lies_on_it():
    beside = stop((20, -10, 3), (40, 10, 13))
    on_top = stop((-10, -10, 15), (10, 10, 25))
    assert stands(TABLE, beside, PART).base is Base.NOTHING
    assert stands(TABLE, on_top, PART).on == ("part",)


def test_a_strap_holds_what_leans_but_not_what_touches_nothing():
    strap = Clamp(name="strap", kind="strap", body="stop", at_mm=(30, 60, 20), force_n=500.0)
    holding = Holding(clamps=(strap,))
    leaning = equipment("blocking_block", name="stop", at=(0, 62.5, 2))
    assert stands(*CHUCK, *leaning, PART, holding=holding).base is Base.CLAMPED
    assert stands(*CHUCK, stop((20, -10, 3), (40, 10, 13)), PART, holding=holding).base is Base.NOTHING
