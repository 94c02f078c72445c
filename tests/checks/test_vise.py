"""Jaws that press off their middle, high, or on a ring, against hand and Roark's ring."""

from __future__ import annotations

import math

import cadquery as cq
import pytest

from fixturecheck import engine
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.holding.clamping import pressed
from fixturecheck.holding.jaws import balancing, grip_of, packing, pushes, rectangle
from fixturecheck.kernel.place import placed_at
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.make import body as make_body
from fixturecheck.setup.make import equipment, place
from fixturecheck.setup.model import Body, Cut, Machine, Seat, Setup
from fixturecheck.statics.stiffness import ACROSS, ALONG, section_mm4, squeezed_mm
from tests.checks.gauged import body


def test_a_ring_changes_as_in_roark():
    """-0.1488 and +0.1366 W R^3 / (E I): Roark, circular rings, case 1, from memory."""
    assert (pytest.approx(0.148779, abs=1e-6), pytest.approx(0.136620, abs=1e-6)) == (ACROSS, ALONG)
    across, along = squeezed_mm(1000.0, 30.0, 200e3, section_mm4(4.0, 20.0))
    unit = 1000.0 * 30.0**3 / (200e3 * 20.0 * 64.0 / 12.0)
    assert (across, along) == (
        pytest.approx(-0.148779 * unit, rel=1e-5),
        pytest.approx(0.13662 * unit, rel=1e-5),
    )


def test_a_ring_by_castigliano():
    """The same by integrating the bending energy of a quarter, its moment free of rotation at the ends."""
    steps = 20000
    angles = [(k + 0.5) * math.pi / 2 / steps for k in range(steps)]
    # W / 2 acts at each side; M = M0 - W R (1 - cos t) / 2 from the free diameter on; M0 by no turning.
    mean = sum(1 - math.cos(t) for t in angles) / steps / 2
    moment = [mean - (1 - math.cos(t)) / 2 for t in angles]
    moved = sum(m * -(1 - math.cos(t)) / 2 for m, t in zip(moment, angles, strict=True)) * math.pi / 2 / steps
    assert 4 * moved == pytest.approx(ACROSS, rel=1e-6)


def vise_with(part: Body, force_n: float = 2000.0) -> Setup:
    clamp = Clamp(
        name="screw", kind="vise", body="vise_jaw", face="moving_jaw", force_n=force_n, spread_share=0.0
    )
    bodies = (*equipment("grinding_vise", name="vise", opening_mm=20.0), part)
    return Setup(name="bench", bodies=bodies, holding=Holding(clamps=(clamp,)))


def block(at_x_mm: float = 0.0, long_mm: float = 30.0, low_mm: float = 0.0, high_mm: float = 30.0) -> Body:
    drawn = cq.Workplane().box(long_mm, 20, high_mm - low_mm, centered=(True, False, False))
    return body("block", drawn, at=place(at=(at_x_mm, -20, low_mm)))


def asked(setup: Setup, kind: Kind):
    return [f for f in engine.check(setup, only=["vise"]).findings if f.kind is kind]


def test_pressure_is_force_over_what_touches():
    """30 x 30 mm of the block lie on the jaw, which is 35 high: 2000 N / 9 cm2."""
    (found,) = asked(vise_with(block()), Kind.JAW_PRESSURE)
    assert (found.verdict, found.value) == (Verdict.GO, pytest.approx(2000.0 / 9.0))
    (hard,) = asked(vise_with(block(long_mm=1.0), force_n=20000.0), Kind.JAW_PRESSURE)
    assert hard.verdict is Verdict.CAUTION


@pytest.mark.parametrize(
    ("at_x_mm", "verdict"),
    # 30 mm wide: the middle third reaches 5 mm, the part 15 mm either way.
    [(0.0, Verdict.GO), (4.9, Verdict.GO), (6.0, Verdict.CAUTION), (18.0, Verdict.NO_GO)],
)
def test_a_part_off_the_middle_cocks_the_jaw(at_x_mm, verdict):
    (found,) = asked(vise_with(block(at_x_mm)), Kind.JAW_COCKS)
    assert (found.verdict, found.value) == (verdict, pytest.approx(at_x_mm, abs=1e-9))
    if verdict is Verdict.NO_GO:
        assert "18 mm from the middle on the -X side" in found.remedy
        assert "8 mm wide and 30 mm high" in found.remedy


def test_a_balancing_piece_cures_it():
    part = block(18.0)
    piece = Body(name="piece", role="fixture", solid=cq.Solid.makeBox(30, 20, 30, cq.Vector(-33, -20, 0)))
    setup = vise_with(part)
    setup = Setup(name="bench", bodies=(*setup.bodies, piece), holding=setup.holding)
    (found,) = asked(setup, Kind.JAW_COCKS)
    assert (found.verdict, found.value) == (Verdict.GO, pytest.approx(0.0, abs=1e-9))


def grip_in(setup: Setup):
    placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
    contacts = find_contacts(tuple(b.placed() for b in setup.bodies), setup.tolerances)
    (clamp,) = pressed(setup, placed)
    return placed, clamp, grip_of(setup, contacts, clamp)


@pytest.mark.parametrize("at_x_mm", [18.0, -18.0, 22.0])
def test_the_piece_that_is_proposed_cures_it(at_x_mm):
    """It was tried; put there it is go. By hand at 18: 30 wide, with w at -18 the middle is
    18 (30 - w) / (30 + w): with 5 it lies 12.9 off where 11.1 would do, with 8 it is 10.4 and 12.2."""
    setup = vise_with(block(at_x_mm))
    placed, _, grip = grip_in(setup)
    piece = balancing(setup, placed, grip)
    assert (piece.thick_mm, piece.high_mm) == (pytest.approx(20.0), pytest.approx(30.0))
    cured = Setup(
        name="bench",
        bodies=(*setup.bodies, Body(name="piece", role="fixture", solid=piece.solid)),
        holding=setup.holding,
    )
    (found,) = asked(cured, Kind.JAW_COCKS)
    assert found.verdict is Verdict.GO
    if at_x_mm == 18.0:
        assert (piece.wide_mm, abs(piece.at_mm)) == (8.0, pytest.approx(18.0))


def test_a_sliver_at_the_end_of_the_jaw_balances_nothing():
    """By hand: 30 wide at 18 and 1 wide at -33 of one height. The middle lies at 16.355; k^2 is
    (30 (324 + 75) + 1089 + 1/12) / 31 - 16.355^2 = 153.78, over 16.645 to the far end: 9.239 would do."""
    setup = vise_with(block(18.0))
    sliver = Body(name="sliver", role="fixture", solid=cq.Solid.makeBox(1, 20, 30, cq.Vector(-33.5, -20, 0)))
    setup = Setup(name="bench", bodies=(*setup.bodies, sliver), holding=setup.holding)
    (found,) = asked(setup, Kind.JAW_COCKS)
    assert (found.verdict, found.value) == (Verdict.CAUTION, pytest.approx(16.3548, abs=1e-3))
    assert found.limit == pytest.approx(9.239, abs=2e-3)


def test_what_the_jaw_does_not_press_is_not_held():
    """By hand: 40 wide at 5 and 4 wide at 60. The middle lies at 10, k^2 = 371.33, and the small one would be
    pressed by 1 - 10 (60 - 10) / 371.33 < 0 of the mean, the wide one by 1 + 10 * 5 / 371.33."""
    how = pushes({"wide": rectangle(40.0, 10.0).moved(5.0), "small": rectangle(4.0, 10.0).moved(60.0)})
    assert (how.off_mm, how.most_off_mm) == (pytest.approx(10.0), pytest.approx(371.333 / 52.0, rel=1e-5))
    assert (how.idle, how.outside) == (("small",), False)


def test_a_spare_jaw_fills_the_gap_before_the_part():
    """The vise is opened 2 mm wider than the part is thick."""
    clamp = Clamp(
        name="screw", kind="vise", body="vise_jaw", face="moving_jaw", force_n=2000.0, spread_share=0.0
    )
    bodies = (*equipment("grinding_vise", name="vise", opening_mm=22.0), block())
    setup = Setup(name="bench", bodies=bodies, holding=Holding(clamps=(clamp,)))
    (found,) = engine.check(setup, only=["vise"]).findings
    assert found.verdict is Verdict.UNKNOWN
    placed, pressing, grip = grip_in(setup)
    assert grip is None
    piece = packing(setup, placed, pressing)
    assert (piece.thick_mm, piece.wide_mm, piece.high_mm) == pytest.approx((2.0, 30.0, 30.0))
    spare = Body(name="spare", role="fixture", solid=piece.solid)
    again = Setup(name="bench", bodies=(*bodies, spare), holding=setup.holding)
    (found,) = asked(again, Kind.JAW_PRESSURE)
    assert found.value == pytest.approx(2000.0 / 9.0)


def test_parallels_against_the_jaws_take_none_of_its_push():
    """Two parallels of 5 x 25 under a block of 20 x 30. Nothing stands behind the one at the jaw, so all
    2000 N press the block over 30 x 10 mm, whose middle is 30 up, 12.5 over that of the jaw."""
    pair = [
        equipment("parallel", name=n, at=(0, y, 0), width_mm=5.0, height_mm=25.0, length_mm=60.0)
        for n, y in (("rear", -2.5), ("front", -17.5))
    ]
    whole = vise_with(block(low_mm=25.0, high_mm=50.0))
    setup = Setup(name="bench", bodies=(*whole.bodies, *pair[0], *pair[1]), holding=whole.holding)
    (pressure,) = asked(setup, Kind.JAW_PRESSURE)
    assert pressure.value == pytest.approx(2000.0 / 3.0)
    (lifts,) = asked(setup, Kind.JAW_LIFTS)
    assert (lifts.verdict, lifts.value) == (Verdict.CAUTION, pytest.approx(12.5))


@pytest.mark.parametrize(
    ("left_mm", "low_mm", "cocks", "lifts"),
    [(-30.0, 0.0, Verdict.GO, Verdict.GO), (20.0, 0.0, Verdict.NO_GO, Verdict.GO),
     (-30.0, 25.0, Verdict.GO, Verdict.CAUTION)],
)  # fmt: skip
def test_what_bears_on_the_other_side_counts_as_well(left_mm, low_mm, cocks, lifts):
    """60 x 30 at the moving jaw; at the fixed one a pad from `left_mm` to the right end, from `low_mm` up.

    By hand: the pad of 10 mm at the end lies 25 mm off the push, which passes beside it, so the part swings;
    the pad from 25 up lies wholly above the middle of the jaw at 17.5, so that the part tips.
    """
    plate = cq.Workplane().box(60, 15, 30, centered=(True, False, False))
    pad = cq.Workplane().box(30 - left_mm, 5, 30 - low_mm, centered=False).translate((left_mm, 15, low_mm))
    part = body("block", plate.union(pad), at=place(at=(0, -20, 0)))
    (along,), (over,) = (asked(vise_with(part), kind) for kind in (Kind.JAW_COCKS, Kind.JAW_LIFTS))
    assert (along.verdict, over.verdict) == (cocks, lifts)


def test_a_part_gripped_high_is_lifted():
    """The jaw is 35 high; a part from 25 up lies with its middle at 30, 12.5 above that of the jaw."""
    (low,) = asked(vise_with(block()), Kind.JAW_LIFTS)
    assert low.verdict is Verdict.GO
    (high,) = asked(vise_with(block(low_mm=25.0, high_mm=45.0)), Kind.JAW_LIFTS)
    assert (high.verdict, high.value) == (Verdict.CAUTION, pytest.approx(12.5))


def test_overhang_beyond_twice_the_grip_is_a_caution():
    """Gripped from 25 to 35 mm; 20 mm of overhang are twice that, 25 are more."""
    for high_mm, verdict in ((55.0, Verdict.GO), (60.0, Verdict.CAUTION)):
        (found,) = asked(vise_with(block(low_mm=25.0, high_mm=high_mm)), Kind.OVERHANG)
        assert (found.verdict, found.value) == (verdict, pytest.approx(high_mm - 35.0))


def test_a_spare_jaw_reaches_over_to_an_overhang():
    """Gripped from 25 to 35 of 60.1: a third of 35.1 over its foot is 11.7, 1.7 above the jaw. Tried."""
    high = block(low_mm=25.0, high_mm=60.1)
    (found,) = asked(vise_with(high), Kind.OVERHANG)
    assert "with a spare jaw 1.7 mm higher than this one" in found.remedy
    # 25 mm of room below it.
    assert found.remedy.startswith("Set it 1.7 mm lower, so that the jaw grips 11.7 mm of it, or ")
    vise = equipment("grinding_vise", name="vise", opening_mm=25.0)
    spare = Body(name="spare", role="fixture", solid=cq.Solid.makeBox(30, 5, 36.7, cq.Vector(-15, -25, 0)))
    setup = Setup(name="bench", bodies=(*vise, spare, high), holding=vise_with(high).holding)
    (cured,) = asked(setup, Kind.OVERHANG)
    assert (cured.verdict, cured.value) == (Verdict.GO, pytest.approx(60.1 - 36.7))


def ring(outer: float, bore: float, zone_mm: float) -> Body:
    """A ring with two flats for the jaws, 20 mm across them, its axis upright."""
    work = cq.Workplane().circle(outer).circle(bore).extrude(20)
    work = work.intersect(cq.Workplane().box(100, 20, 40))
    solid = work.val()
    whole_mm2 = 2 * math.pi * bore * 20
    (hollow,) = (i for i, f in enumerate(solid.Faces()) if abs(f.Area() - whole_mm2) < 0.01)
    return Body(
        name="ring",
        solid=solid,
        at=place(at=(0, -10, 5)),
        faces={"bore": (hollow,)},
        tolerance_mm={"bore": zone_mm},
    )


def test_a_thin_ring_is_squeezed_out_of_its_zone():
    """Mean radius 9.55, wall 0.9, 20 long: by Roark's formula."""
    found = asked(vise_with(ring(10.0001, 9.1, 0.02), force_n=100.0), Kind.RING_SQUEEZED)
    mean, wall = (10.0001 + 9.1) / 2, 0.9001
    by_hand_mm = 0.148779 * 100.0 * mean**3 / (200e3 * 20 * wall**3 / 12)
    assert found[0].value == pytest.approx(by_hand_mm * 1e3, rel=1e-4)
    assert found[0].verdict is (Verdict.NO_GO if by_hand_mm > 0.02 else Verdict.GO)


def test_a_thick_ring_is_unknown_not_go():
    found = engine.check(vise_with(ring(10.0001, 5.0, 0.02)), only=["vise"]).findings
    assert any(f.verdict is Verdict.UNKNOWN and "too thick" in f.says for f in found)


def test_a_jaw_that_presses_nothing_is_unknown():
    away = block().__class__(name="block", solid=cq.Solid.makeBox(10, 10, 10, cq.Vector(0, -15, 0)))
    (found,) = engine.check(vise_with(away), only=["vise"]).findings
    assert found.verdict is Verdict.UNKNOWN


def test_a_round_bar_between_the_jaws_is_pressed_on_a_line():
    """A bar of 20 mm along the jaws, 60 long: its line is level, 10 mm up, and goes through the middle."""
    lying = Body(name="bar", solid=cq.Solid.makeCylinder(10, 60, cq.Vector(-30, -10, 10), cq.Vector(1, 0, 0)))
    found = {f.kind: f for f in engine.check(vise_with(lying), only=["vise"]).findings}
    assert found[Kind.JAW_COCKS].verdict is Verdict.GO
    # Shigley ch. 3, from memory: p0 = sqrt(F E* / (pi l R)), with 205 and 203 GPa, nu 0.29 and 0.30.
    star = 1.0 / ((1 - 0.29**2) / 205e3 + (1 - 0.3**2) / 203e3)
    pressed = found[Kind.JAW_PRESSURE]
    assert pressed.value == pytest.approx(100 * math.sqrt(2000.0 / 60 * star / (math.pi * 10)), rel=0.02)
    assert pressed.verdict is Verdict.GO
    assert Kind.OVERHANG not in found
    assert found[Kind.JAW_LIFTS].value == pytest.approx(10.0 - 17.5)
    upright = Body(name="bar", solid=cq.Solid.makeCylinder(10, 30, cq.Vector(0, -10, 0), cq.Vector(0, 0, 1)))
    found = {f.kind: f for f in engine.check(vise_with(upright), only=["vise"]).findings}
    # A line upright in the middle of the jaw.
    assert found[Kind.JAW_COCKS].verdict is Verdict.GO
    assert found[Kind.OVERHANG].verdict is Verdict.GO


@pytest.fixture(scope="module")
def two_in_one_vise():
    """Two blocks of 20 x 24 x 20 on a parallel, the second 0.03 mm thinner, their tops ground."""
    drawn = {
        name: cq.Workplane().box(20, thick, 20, centered=(True, False, False)).translate((0, -thick, 0))
        for name, thick in (("one", 24.0), ("two", 23.97))
    }
    parts = [
        make_body(
            name, drawn[name], at=place(at=(x, 0, 16)), material="steel_1018", finish="ground", faces=faces
        )
        for name, x in (("one", -15.0), ("two", 15.0))
        for faces in [{"front": (0, -24, 10), "back": (0, 0, 10), "foot": (0, -12, 0), "top": (0, -12, 20)}]
    ]
    under = equipment(
        "parallel", name="par", at=place(at=(0, -12, 0)), length_mm=70, width_mm=8, height_mm=16
    )
    seats = [
        Seat(body=name, face=face, on=on, on_face=on_face, rank=rank)
        for name in drawn
        for face, on, on_face, rank in (
            ("back", "vise_body", "fixed_jaw", "primary"),
            ("foot", "par", "top", "secondary"),
            ("front", "vise_jaw", "moving_jaw", "tertiary"),
        )
    ]
    screw = Clamp(name="screw", kind="vise", body="vise_jaw", face="moving_jaw", force_n=3000.0)
    return Setup(
        name="two",
        bodies=(*equipment("grinding_vise", name="vise", opening_mm=24.0), *under, *parts),
        seats=tuple(seats),
        cuts=(Cut(name="tops", parts=("two",), floor="top", stock_mm=0.1, way="traverse"),),
        machine=Machine(table_z_mm=-32.0),
        holding=Holding(magnet="off", friction="ground_steel", clamps=(screw,)),
    )


def test_the_smaller_of_two_parts_is_packed_and_not_held(two_in_one_vise, monkeypatch):
    """By hand: the jaw stands 0.03 mm off it, its weight of 0.74 N holds next to nothing, and the jaw presses
    15 mm off its middle. Moved up to the jaw it would leave the fixed one."""
    monkeypatch.setattr("fixturecheck.hold.HOLD", 1)  # no cures are looked for
    found = engine.check(two_in_one_vise, only=["seat", "hold", "vise"]).findings
    (open_,) = [f for f in found if f.kind is Kind.OPEN]
    assert (open_.value, open_.about) == (pytest.approx(30.0), ("two.front", "vise_jaw.moving_jaw"))
    assert "Put 0.03 mm of packing between front and vise_jaw.moving_jaw" in open_.remedy
    (factor,) = [f for f in found if f.kind is Kind.FACTOR]
    assert (factor.verdict, factor.value < 0.05) == (Verdict.NO_GO, True)
    assert factor.says.endswith(
        "No clamp presses it as drawn: close its seats, or bring what clamps up to it, first."
    )
    (cocks,) = [f for f in found if f.kind is Kind.JAW_COCKS]
    assert (cocks.verdict, cocks.value) == (Verdict.NO_GO, pytest.approx(15.0))
    assert cocks.says.endswith("two stands 0.03 mm short of it and is not held.")
    assert cocks.remedy.startswith("Pack 0.03 mm between two and vise_jaw,")


def test_a_parallel_is_slid_under_a_part_that_the_jaws_hold():
    """By hand: the foot reaches 12 mm from the fixed jaw, the parallel lies 9.25 to 16.75 mm from it: 2.75 of
    7.5 mm are shared, and half of it takes 1 mm more. The part goes neither into the jaw nor off it."""
    drawn = cq.Workplane().box(20, 24, 20, centered=(True, False, False)).translate((0, -24, 0))
    stepped = drawn.cut(cq.Workplane().box(20, 12, 2, centered=(True, False, False)).translate((0, -24, 0)))
    faces = {"front": (0, -24, 10), "back": (0, 0, 10), "foot": (0, -6, 0)}
    part = make_body("part", stepped, at=place(at=(0, 0, 16)), faces=faces)
    under = equipment(
        "parallel", name="par", at=place(at=(0, -13, 0)), length_mm=70, width_mm=8, height_mm=16
    )
    seats = (
        Seat(body="part", face="back", on="vise_body", on_face="fixed_jaw"),
        Seat(body="part", face="foot", on="par", on_face="top", rank="secondary"),
    )
    vise = equipment("grinding_vise", name="vise", opening_mm=24.0)
    found = engine.check(
        Setup(name="bench", bodies=(*vise, *under, part), seats=seats), only=["seat"]
    ).findings
    (short,) = [f for f in found if f.kind is Kind.CLOSED and f.about[0] == "part.foot"]
    assert (short.verdict, short.value) == (Verdict.CAUTION, pytest.approx(2.75 / 7.5))
    assert short.remedy.startswith("Slide par 1.00 mm toward +Y along part, ")


def slanted() -> Body:
    """A part 40 x 20 whose top comes level where its bottom leans by 15 degrees."""
    over = cq.Workplane().box(200, 60, 60, centered=(True, True, False)).rotate((0, 0, 0), (0, 1, 0), -15)
    drawn = cq.Workplane().box(40, 20, 14, centered=(True, True, False)).cut(over.translate((0, 0, 9)))
    # 24 mm up an incline that begins 4 mm high.
    at = place(at=(1, -10, 4 + 24 * math.tan(math.radians(15))), rotate=[("y", 15)])
    faces = {"bottom": (0, 0, 0), "front": (0, -10, 3), "back": (0, 10, 3), "slant": (0, 0, 9)}
    return make_body("part", drawn, at=at, finish="ground", faces=faces)


def stepped() -> Body:
    """A part 30 x 24 x 20 with a notch 8 x 6 along its back, to stand on two steps."""
    notch = cq.Workplane().box(30, 8, 6, centered=(True, False, False)).translate((0, 16, 0))
    drawn = cq.Workplane().box(30, 24, 20, centered=(True, False, False)).cut(notch)
    faces = {
        "front": (0, 0, 10),
        "back": (0, 24, 12),
        "bottom": (0, 4, 0),
        "notch": (0, 20, 6),
        "top": (0, 12, 20),
    }
    return make_body("part", drawn, at=place(at=(0, -24, 12)), finish="ground", faces=faces)


INCLINE = {
    "angle_deg": 15.0,
    "length_mm": 50,
    "width_mm": 16,
    "at": place(at=(25, -10, 0), rotate=[("z", 90)]),
}
STAIRS = {"steps": 3, "rise_mm": 6, "going_mm": 8, "width_mm": 20, "at": place(at=(0, -24, 0))}


@pytest.mark.parametrize(
    ("part", "under", "sizes", "on", "floor", "open_mm"),
    [
        # The level face lies at 19.12 mm, the jaws reach up to 35.
        (slanted, "angle_block", INCLINE, {"bottom": "incline"}, "slant", 15.88),
        # 12 mm of two steps and 20 of the part.
        (stepped, "step_block", STAIRS, {"bottom": "step_2", "notch": "step_3"}, "top", 3.0),
    ],
)
def test_a_block_in_the_vise_carries_its_part(part, under, sizes, on, floor, open_mm):
    """By hand: seats are closed and the floor is level, but below the jaws, which the wheel runs into."""
    drawn, block_ = part(), equipment(under, name="under", **sizes)
    opening = 20.0 if part is slanted else 24.0
    seats = [
        Seat(body="part", face="back", on="vise_body", on_face="fixed_jaw"),
        *(Seat(body="part", face=a, on="under", on_face=b, rank="secondary") for a, b in on.items()),
        Seat(body="part", face="front", on="vise_jaw", on_face="moving_jaw", rank="tertiary"),
    ]
    setup = Setup(
        name="bench",
        bodies=(*equipment("grinding_vise", name="vise", opening_mm=opening), *block_, drawn),
        seats=tuple(seats),
        cuts=(Cut(name="flat", parts=("part",), floor=floor, stock_mm=0.1, way="traverse"),),
        machine=Machine(table_z_mm=-32.0),
    )
    found = engine.check(setup, only=["seat", "align", "angle", "clear"]).findings
    assert {f.verdict for f in found if f.kind in (Kind.CLOSED, Kind.MEETS, Kind.FLOOR_LEVEL)} == {Verdict.GO}
    hits = {f.about[0]: f.value for f in found if f.kind is Kind.WHEEL_HITS}
    assert hits == {
        "vise_body": pytest.approx(-open_mm, abs=0.01),
        "vise_jaw": pytest.approx(-open_mm, abs=0.01),
    }
    slopes = [f.value for f in found if f.check == "angle"]
    # 20 seconds of arc over the 40 mm of the slant.
    assert slopes == (
        [pytest.approx(40.0 * math.radians(20 / 3600) * 1e3, rel=0.02)] if part is slanted else []
    )
