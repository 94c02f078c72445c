"""An edge finder over a square block, and bodies set parallel to the travel, against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck.checks import align
from fixturecheck.checks import dials as check_dials
from fixturecheck.checks.align import allowed_runout_mm, slant_mm
from fixturecheck.dials.reading import datum_offset, offset_mm
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.machining.wheel_path import targets_of
from fixturecheck.result.dials import Unreachable
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.dials import Squaring, Transfer
from fixturecheck.setup.model import Body, Seat
from tests.machining.scene import FLOOR, LENGTH, block, pawl, stage
from tests.report.staged import box_faces

PIN_X, PIN_R = -6.0, 4.0


def pin() -> Body:
    """A round stop, 8 mm across, that the part touches at x = -2."""
    solid = cq.Workplane().circle(PIN_R).extrude(25.0).val()
    return Body(name="pin", role="fixture", solid=solid, at=cq.Location(cq.Vector(PIN_X, 5.0, 50.0)))


def drilled(tolerance: float | None = 0.06) -> Body:
    """A plate against the pin with a hole whose axis is at x = 38."""
    solid = (
        cq.Workplane()
        .box(60, 20, 10, centered=False)
        .faces(">Z")
        .workplane(origin=(40, 10, 10))
        .hole(6.0)
        .val()
    )
    hole = next(i for i, f in enumerate(solid.Faces()) if f.geomType() == "CYLINDER")
    zone = {} if tolerance is None else {"hole": tolerance}
    return Body(
        name="plate",
        solid=solid,
        at=cq.Location(cq.Vector(PIN_X + PIN_R, 0.0, 50.0)),
        faces={"hole": (hole,)},
        tolerance_mm=zone,
    )


def over(**stated):
    given = {"name": "hole", "stop": "pin", "toward": "+x", "target": "plate.hole", "finder_mm": 5.08}
    return Transfer(**(given | stated))


def scene(*transfers: Transfer, plate: Body | None = None, more=()):
    made = stage((pawl(at=(0, 100, 50)), plate or drilled(), pin(), *more), parts=("pawl_1",))
    return replace(made.setup, transfers=transfers)


def found_of(setup):
    made = stage((pawl(),))
    offsets = tuple(datum_offset(setup, t) for t in setup.transfers)
    return list(check_dials.check(replace(made, setup=setup, offsets=offsets)))


def test_the_offset_is_the_block_and_half_the_tip():
    # A tip of 0.200 in touches with its axis 0.100 in off the edge: common practice, no source.
    assert offset_mm(0.0, 5.08) == pytest.approx(2.54)
    assert offset_mm(25.4, 5.08) == pytest.approx(27.94)


def test_from_a_round_stop_over_a_block_to_a_hole():
    # The pin's highest place is x = -2, the hole's axis x = 38: 40 mm. The axis touches at 27.94: 12.06 more.
    one = datum_offset(scene(), over(block_mm=25.4, backlash_mm=0.0))
    assert one.unreachable is Unreachable.ROUND
    assert one.move_mm == pytest.approx(40.0 - 27.94, abs=1e-6)
    # Finder 5, block 5 in width and 5 in squareness.
    assert one.error_mm == pytest.approx(0.015)
    assert not one.takes_up


@pytest.mark.parametrize(
    ("from_y", "block_mm", "why"),
    [
        (-20.0, None, Unreachable.ROUND),
        (-20.0, 25.4, Unreachable.BARRED),
        (-20.0, 6.0, Unreachable.ROUND),
        (9.0, 25.4, Unreachable.ROUND),
    ],
)
def test_block_and_finder_must_have_room_before_the_stop(from_y, block_mm, why):
    # A wall 12 mm before the pin's highest place: the tip of 5.08 fits, and 6 with it; 25.4 with it does not.
    # A wall that begins at the side of the pin, y = 9, leaves room for half the tip beside it.
    wall = cq.Workplane().box(10.0, 40.0, 40.0, centered=False).val()
    body = Body(name="wall", role="fixture", solid=wall, at=cq.Location(cq.Vector(10.0, from_y, 50.0)))
    transfer = over(backlash_mm=0.0, **({} if block_mm is None else {"block_mm": block_mm}))
    found = scene(transfer, more=(body,))
    assert datum_offset(found, transfer).unreachable is why
    if why is Unreachable.BARRED:
        told = found_of(found)[0]
        assert (told.verdict, "no room" in told.says) == (Verdict.NO_GO, True)


def test_half_a_round_has_its_axis_where_the_whole_has_it():
    solid = drilled().solid.cut(cq.Workplane().box(20, 40, 40).translate((50, 10, 5)).val())
    face = next(i for i, f in enumerate(solid.Faces()) if f.geomType() == "CYLINDER")
    plate = replace(drilled(), solid=solid, faces={"hole": (face,)})
    assert solid.Faces()[face].Center().x < 39.0  # the centre of what is left is no axis
    one = datum_offset(scene(plate=plate), over(block_mm=25.4, backlash_mm=0.0))
    assert one.move_mm == pytest.approx(40.0 - 27.94, abs=1e-6)


def test_a_dial_rounds_and_takes_up_its_play():
    one = datum_offset(scene(), over(block_mm=25.4, graduation_mm=0.05, backlash_mm=0.2))
    # 12.06 and 0.2 of play are 12.26: 245 lines of 0.05 are 12.25, 10 um short.
    assert one.takes_up
    assert one.set_mm == pytest.approx(12.25)
    assert one.error_mm == pytest.approx(0.025)
    back = datum_offset(scene(), over(block_mm=50.0, graduation_mm=0.05, backlash_mm=0.2))
    # 40 - 52.54 goes back the way the finder came: no play. 12.54 is 251 lines of 0.05 less 10 um.
    assert (back.takes_up, back.set_mm) == (False, pytest.approx(-12.55))


def test_the_error_is_held_against_half_the_zone_and_the_remedy_holds():
    setup = scene(over(block_mm=25.4, backlash_mm=0.0), plate=drilled(0.02))
    bad = next(f for f in found_of(setup) if f.kind is Kind.FINDER)
    assert (bad.verdict, bad.limit) == (Verdict.NO_GO, 10.0)
    assert bad.value == pytest.approx(15.0)
    assert "within 5 µm in width and squareness together" in bad.remedy
    finer = scene(
        over(block_mm=25.4, backlash_mm=0.0, block_error_mm=0.0025, block_square_mm=0.0025),
        plate=drilled(0.02),
    )
    assert {f.verdict for f in found_of(finer)} == {Verdict.GO}


def test_play_that_is_not_known_is_unknown():
    found = found_of(scene(over(block_mm=25.4)))
    assert [f.verdict for f in found] == [Verdict.GO, Verdict.UNKNOWN]
    assert "State backlash_mm" in found[1].says


def test_a_round_or_narrow_stop_is_not_touched_itself():
    round_one = found_of(scene(over(backlash_mm=0.0)))[0]
    assert round_one.verdict is Verdict.NO_GO
    assert "no flat face" in round_one.says
    assert "block_mm" in round_one.remedy
    thin = block("rib", (8, 3, 20), (-10, 4, 50))
    narrow = found_of(scene(over(stop="rib", backlash_mm=0.0), more=(thin,)))[0]
    assert narrow.verdict is Verdict.NO_GO
    assert "smaller than the finder's tip" in narrow.says
    wide = block("rail", (8, 30, 20), (-10, -5, 50))
    assert found_of(scene(over(stop="rail", backlash_mm=0.0), more=(wide,)))[0].verdict is Verdict.GO


def test_what_is_no_target_and_no_stop():
    solid = cq.Workplane().box(60, 20, 10, centered=False).val()
    plate = Body(
        name="plate",
        solid=solid,
        at=cq.Location(cq.Vector(-2, 0, 50)),
        faces={"hole": box_faces(solid)["top"]},
    )
    with pytest.raises(NotComputedError, match="neither a flat face nor a round that lies across"):
        datum_offset(scene(plate=plate), over())
    with pytest.raises(SetupError, match="did you mean 'pin'"):
        scene(over(stop="pim"))
    with pytest.raises(SetupError, match="plate has no face"):
        scene(over(target="plate.hloe"))


def seats(*names: str):
    return tuple(Seat(body=n, face="wall", on="rail", on_face="y_low", rank="secondary") for n in names)


def squared(runout_mm: float, *, wall: str | None = "wall", tolerance=0.01, **cut):
    solid = cq.Workplane().box(200, 10, 10, centered=False).val()
    rail = Body(
        name="rail",
        role="fixture",
        solid=solid,
        at=cq.Location(cq.Vector(-50, 60, 50)),
        faces=box_faces(solid),
    )
    bodies = (
        pawl(tolerance={"wall": tolerance}),
        pawl("pawl_2", at=(40, 0, 50), tolerance={"wall": tolerance}),
        rail,
    )
    made = stage(bodies, wall=wall, stock_mm=0.2, **cut)
    square = Squaring(body="rail", runout_mm=runout_mm, over_mm=200.0, by="block")
    setup = replace(made.setup, seats=seats("pawl_1", "pawl_2"), squared=(square,))
    return next(f for f in align.check(replace(made, setup=setup)) if f.kind is Kind.SQUARED)


def test_a_rail_out_of_parallel_slants_the_corner_of_the_whole_gang():
    # Walls from x = 0 to 60: 0.3 of the rail's 200 mm.
    good = squared(0.03)
    assert (good.value, good.limit, good.verdict) == (pytest.approx(9.0), pytest.approx(10.0), Verdict.GO)
    bad = squared(0.04)
    assert (bad.value, bad.verdict) == (pytest.approx(12.0), Verdict.NO_GO)
    may_mm = allowed_runout_mm(0.01, 200.0, 60.0)
    assert f"within {may_mm * 1e3:.4g} µm over 200 mm" in bad.remedy
    assert squared(may_mm - 1e-5).verdict is Verdict.GO


def test_a_traversed_flat_does_not_see_it_and_the_number_says_why():
    flat = squared(0.5, wall=None, way="traverse", cross_feed_mm=8.0)
    assert flat.verdict is Verdict.GO
    assert "does not matter" in flat.says
    assert flat.value == pytest.approx(0.5 / 200 * 60 * 1e3)


def test_the_slant_is_that_of_the_solid_turned_as_much():
    # The second route: the pawl turned about Z by the run-out's angle, its wall measured on the solid.
    angle = math.degrees(math.atan2(0.05, 200.0))
    turned = stage((pawl(turn=((0, 0, 1), angle)),), wall="wall")
    wall = targets_of(turned.setup, turned.setup.cuts[0])[0].wall
    assert wall.box[4] - wall.box[1] == pytest.approx(slant_mm(0.05, 200.0, LENGTH), rel=1e-6)
    assert FLOOR > 0
