"""Burrs as gaps, walls under clamps, growth in hardening: each with a go and a no-go."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import (
    Clamp,
    Cut,
    Holding,
    Machine,
    Operation,
    Seat,
    Setup,
    body,
    check,
    equipment,
    job_of,
    place,
)
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import SetupError
from fixturecheck.process.run import check_operation, checked_setup, looked_across, staged_job, with_across
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.dials import Handwheel
from fixturecheck.setup.hardening import Hardening
from fixturecheck.statics.stiffness import bent_mm
from tests.process.jobs import HOLE_D, LONG, ROUTE, WIDE, on_chuck, part, route


def across(job, name: str):
    stage = staged_job(job, lambda _doing, _share: None)
    return stage, [a.finding for a in looked_across(stage) if a.finding.check == name]


def test_a_part_on_its_burrs_stands_open_by_their_height() -> None:
    """By hand: burrs of 30 um round the seat, so that the seat is open by 30 um all over."""
    first = replace(ROUTE[0], burr_mm=0.03)
    job = route(first, replace(ROUTE[1], stones=()), setups={20: on_chuck("bottom")})
    stage, _ = across(job, "burr")
    burred = stage.setups[20].burred
    assert burred is not None
    (seat,) = [
        f for f in check(burred, only={"seat"}).findings if f.subject == "block.top on chuck_plate.top"
    ]
    assert seat.verdict is Verdict.NO_GO
    assert "open by 30 µm" in seat.says.replace("\u202f", " ")
    stoned = route(first, ROUTE[1], setups={20: on_chuck("bottom")})
    assert across(stoned, "burr")[0].setups[20].burred is None


def test_a_burr_on_the_rim_of_a_bore_lifts_the_part_too() -> None:
    """By hand: a ring 0.05 wide and 0.04 high round the top of the bore's rim, and the part 0.04 higher."""
    plate = cq.Workplane("XY").box(40, 30, 20, centered=(True, True, False))
    plate = plate.cut(cq.Workplane().circle(6).extrude(20))
    block = body("block", plate, faces={"top": (-18, 12, 20), "bottom": (-18, 12, 0), "bore": (6, 0, 10)})
    drilled = Operation(number=10, name="bore", kind="drill", makes=("bore",), burr_mm=0.04)
    ground = Operation(number=20, name="under", kind="grind", makes=("bottom",), stock_mm={"*": 0.2})
    stage, found = across(job_of("bored", block, (drilled, ground), setups={20: on_chuck("bottom")}), "burr")
    made = stage.setups[20]
    assert (made.not_burred, made.burred is None) == ("", False)
    assert [(f.verdict, f.value) for f in found] == [(Verdict.NO_GO, pytest.approx(40.0))]
    ridged, plain = made.burred.body("block"), made.setup.body("block")
    ring = math.pi * (6.05**2 - 6.0**2) * 0.04
    assert ridged.solid.Volume() - plain.solid.Volume() == pytest.approx(ring, rel=1e-6)
    assert ridged.at.toTuple()[0][2] - plain.at.toTuple()[0][2] == pytest.approx(0.04, abs=1e-9)


def test_rest_and_magnet_see_the_gap_of_a_burr() -> None:
    """By hand: what rests are the ridges, and the face that the magnet pulls is 30 um off the chuck."""
    first = replace(ROUTE[0], burr_mm=0.03)
    job = route(first, replace(ROUTE[1], stones=()), setups={20: on_chuck("bottom")})
    burred = across(job, "burr")[0].setups[20].burred
    found = find_contacts([b.placed() for b in burred.bodies], burred.tolerances)
    mine = [p.contact for p in found.patches if "block" in (p.contact.a.body, p.contact.b.body)]
    touching = {c.a.face if c.a.body == "block" else c.b.face for c in mine if c.kind != ContactKind.NEAR}
    assert touching == {"burr_on_top"}
    near = [c for c in mine if c.kind == ContactKind.NEAR and c.area_mm2 > 100.0]
    assert [c.gap_mean_um for c in near] == pytest.approx([30.0], abs=1e-3)


def test_the_readings_of_the_dials_stay_where_a_part_stands_on_burrs() -> None:
    """By hand: the stock of the second side by lines of 0.01."""
    first = replace(ROUTE[0], burr_mm=0.03)
    down = Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="down")

    def with_dial(before, after) -> Setup:
        setup = on_chuck("bottom")(before, after)
        return replace(setup, machine=replace(setup.machine, downfeed=down))

    job = route(first, replace(ROUTE[1], stones=()), setups={20: with_dial})
    made = across(job, "burr")[0].setups[20]
    assert made.burred is not None
    (dials,) = check_operation(made, only={"seat", "dials"}).dials
    assert dials.targets[0].reading.distance_mm == pytest.approx(made.setup.cuts[0].stock_mm)


@pytest.mark.parametrize(("only", "on_burrs"), [("clear", False), ("seat", True)])
def test_what_is_shown_of_an_operation_is_the_set_up_that_was_checked(only: str, on_burrs: bool) -> None:
    """What the wheel clears is asked of the part without its burrs, whose faces have other numbers."""
    first = replace(ROUTE[0], burr_mm=0.03)
    job = route(first, replace(ROUTE[1], stones=()), setups={20: on_chuck("bottom")})
    stage, found = across(job, "burr")
    made = stage.setups[20]
    shown = with_across(check_operation(made, only={only}), made, found, job.operations[1])
    assert checked_setup(shown) is (made.burred if on_burrs else made.setup)
    assert "burr" in {f.check for f in shown.findings}
    unmeant = [f for f in shown.findings if f.kind is Kind.NOT_MEANT]
    assert {f.remedy for f in unmeant} == ({"Stone the burr off."} if on_burrs else set())


JAW = Clamp(name="screw", kind="vise", body="vise_jaw", face="moving_jaw", force_n=500.0)


def _in_vise(jaw: Clamp):
    def make(_before, after) -> Setup:
        vise = equipment("grinding_vise", name="vise", opening_mm=30.0)
        return Setup(
            name="in the vise",
            bodies=(*vise, replace(after, at=place(at=(0, -15, 0)))),
            seats=(
                Seat(body="cup", face="back", on="vise_body", on_face="fixed_jaw"),
                Seat(body="cup", face="front", on="vise_jaw", on_face="moving_jaw"),
            ),
            cuts=(Cut(name="top", parts=("cup",), floor="rim", stock_mm=0.1, way="traverse"),),
            holding=Holding(magnet="off", clamps=(jaw,)),
            machine=Machine(table_z_mm=-100.0),
        )

    return make


def _cup(wall_mm: float):
    """Return a block of 40 by 30 by 20 with a slot along X that leaves two walls 15 high."""
    block = cq.Workplane("XY").box(40, 30, 20, centered=(True, True, False))
    slot = cq.Workplane("XY").box(40, 30 - 2 * wall_mm, 15, centered=(True, True, False))
    faces = {"front": (0, -15, 10), "back": (0, 15, 10), "rim": (0, 14.9, 20), "slot": (0, 0, 5)}
    return body("cup", block.cut(slot.translate((0, 0, 5))), faces=faces)


def _walls(wall_mm: float, jaw: Clamp):
    """Findings of the walls of a slotted block that a jaw presses."""
    ops = (
        Operation(number=10, name="slot", kind="mill", makes=("slot",), solid_before="x"),
        Operation(number=20, name="rim", kind="grind", makes=("rim",), stock_mm={"*": 0.1}),
    )
    whole = cq.Workplane("XY").box(40, 30, 20.1, centered=(True, True, False)).val()
    job = job_of("cup", _cup(wall_mm), ops, setups={20: _in_vise(jaw)}, solids_before={10: whole})
    return check_operation(staged_job(job, lambda _doing, _share: None).setups[20], only={"wall"}).findings


@pytest.mark.parametrize(("wall_mm", "verdict"), [(1.0, Verdict.NO_GO), (8.0, Verdict.GO)])
def test_a_thin_wall_under_a_jaw_is_told(wall_mm: float, verdict) -> None:
    """A cantilever under an even push with its shear and its foot, 15 high and 40 long (`tests/statics`)."""
    found = _walls(wall_mm, JAW)
    assert {f.verdict for f in found} == {verdict}
    steel = {"youngs_modulus_mpa": 200e3, "poisson": 0.29}
    # Of 1.2 times 500 N three quarters press the wall, whose rim is ground by 0.1 mm.
    expected = bent_mm(force_n=0.75 * 600.0, thick_mm=wall_mm, high_mm=15.0, long_mm=40.0, **steel) * 1e3
    assert max(f.value for f in found) == pytest.approx(expected, rel=0.08)


HARDEN = Operation(number=60, name="harden", kind="harden", growth_share=(0.0005, 0.001))


@pytest.mark.parametrize(
    ("zone_mm", "later", "verdict"),
    [(0.05, False, Verdict.GO), (0.02, False, Verdict.NO_GO), (0.02, True, Verdict.GO)],
)
def test_growth_takes_a_finished_face_out_of_its_zone(zone_mm: float, later: bool, verdict) -> None:
    """By hand: 20 mm grow by 0.1 % at most, 0.02 mm; half of the zone may be used, or 0.05 mm left on it."""
    first = replace(ROUTE[0], leave_mm={"*": 0.05} if later else {})
    ops = [first, ROUTE[1], HARDEN]
    if later:
        ops.append(Operation(number=70, name="finish", kind="grind", makes=("top",), stock_mm={"*": 0.05}))
    job = job_of("grown", part(tolerance_mm={"top": zone_mm}), tuple(ops))
    _, found = across(job, "growth")
    assert [f.verdict for f in found] == [verdict]
    assert found[0].value == pytest.approx(0.02)
    assert found[0].limit == pytest.approx(0.05 if later else zone_mm / 2)


def _between_rails(room_mm: float, *, on_pin: bool = False):
    """Return what makes a set-up in which the block lies between two rails, or its hole goes over a pin."""

    def make(_before, after) -> Setup:
        if on_pin:
            pin = cq.Workplane("XY").center(12, 0).circle((HOLE_D - room_mm) / 2).extrude(30)
            fixed = [body("pin", pin, role="fixture", faces={"shank": (12, -(HOLE_D - room_mm) / 2, 15)})]
            seats = [Seat(body="block", face="hole", on="pin", on_face="shank")]
        else:
            rail = cq.Workplane("XY").box(60, 10, 10, centered=(True, True, False))
            near, far = -WIDE / 2 - 5, WIDE / 2 + 5 + room_mm
            fixed = [
                body(name, rail.translate((0, y, 0)), role="fixture", faces={"side": (0, y - way * 5, 5)})
                for name, y, way in (("near", near, -1), ("far", far, 1))
            ]
            seats = [
                Seat(body="block", face="front", on="near", on_face="side"),
                Seat(body="block", face="back", on="far", on_face="side", rank="secondary"),
            ]
        return Setup(name="hard", bodies=(*fixed, after), seats=tuple(seats))

    return make


@pytest.mark.parametrize(
    ("room_mm", "on_pin", "share", "left_mm", "verdict"),
    [
        (0.02, False, (0.0005, 0.001), -0.01, Verdict.NO_GO),
        (0.05, False, (0.0005, 0.001), 0.02, Verdict.GO),
        (0.02, True, (0.0005, 0.001), 0.02, Verdict.GO),
        (0.004, True, (-0.001, 0.0005), -0.002, Verdict.NO_GO),
    ],
)
def test_a_hard_part_must_still_fit(room_mm, on_pin, share, left_mm, verdict) -> None:
    """By hand: 30 mm grow by 0.03 at most between the rails; a bore of 6 mm shrinks by 0.006 on its pin."""
    harden = replace(HARDEN, growth_share=share)
    grind = Operation(number=70, name="hard", kind="grind", makes=("top",), stock_mm={"*": 0.05})
    first = replace(ROUTE[0], leave_mm={"*": 0.05})
    ops = (first, *ROUTE[1:], harden, grind)
    _, found = across(route(*ops, setups={70: _between_rails(room_mm, on_pin=on_pin)}), "growth")
    (fit,) = [f for f in found if f.kind is Kind.GROWN_FIT]
    assert (fit.value, fit.verdict) == (pytest.approx(left_mm, abs=1e-9), verdict)


def test_a_fit_that_is_ground_after_hardening_is_not_asked() -> None:
    sides = Operation(number=65, name="sides", kind="grind", makes=("front", "back"), stock_mm={"*": 0.1})
    grind = Operation(number=70, name="hard", kind="grind", makes=("top",), stock_mm={"*": 0.05})
    first = replace(ROUTE[0], leave_mm={"*": 0.05})
    ops = (first, *ROUTE[1:], HARDEN, sides, grind)
    _, found = across(route(*ops, setups={70: _between_rails(0.001)}), "growth")
    assert [f for f in found if f.kind is Kind.GROWN_FIT] == []


@pytest.mark.parametrize(
    ("along", "moved_um", "verdict"), [("y", 60.0, Verdict.NO_GO), ("x", 0.0, Verdict.GO)]
)
def test_the_pitch_of_a_hard_gang_grows(along: str, moved_um: float, verdict) -> None:
    """By hand: the third of three blocks nested along Y stands 2 x 30 mm x 0.1 % = 60 um off."""
    way = {"x": (LONG, 0.0, 0.0), "y": (0.0, WIDE, 0.0)}[along]
    nested = {"x": ("left", "right"), "y": ("front", "back")}[along]

    def gang(_before, after) -> Setup:
        parts = [
            replace(after, name=f"block_{i + 1}", at=place(at=tuple(i * v for v in way))) for i in range(3)
        ]
        names = [p.name for p in parts]
        seats = tuple(
            Seat(body=b, face=nested[0], on=a, on_face=nested[1], rank="nest")
            for a, b in itertools.pairwise(names)
        )
        cut = Cut(name="wall", parts=("block_3",), floor="pocket_floor", wall="pocket_front", stock_mm=0.01)
        return Setup(name="hard", bodies=tuple(parts), seats=seats, cuts=(cut,))

    block = part(tolerance_mm={"pocket_front": 0.05})
    ops = (*ROUTE, HARDEN, Operation(number=70, name="hard", kind="measure", measures=("top",)))
    _, found = across(job_of("gang", block, ops, setups={70: gang}), "growth")
    (pitch,) = [f for f in found if f.kind is Kind.GROWN_PITCH]
    assert (pitch.value, pitch.verdict) == (pytest.approx(moved_um, abs=1e-6), verdict)


def test_growth_is_taken_as_stated_for_a_steel_that_no_table_has() -> None:
    """By hand: 20 mm of a steel without a row grow by 0.02 mm."""
    steel = replace(part(tolerance_mm={"top": 0.02}), material="steel_1018")
    _, found = across(job_of("grown", steel, (ROUTE[0], ROUTE[1], HARDEN)), "growth")
    assert [(f.verdict, f.value) for f in found] == [(Verdict.NO_GO, pytest.approx(0.02))]


@pytest.mark.parametrize(("stated_c", "refused"), [(None, False), (200.0, False), (250.0, True)])
def test_an_operation_and_its_set_up_state_one_temper(stated_c, refused: bool) -> None:
    def furnace(before, _after) -> Setup:
        hardening = Hardening(process="salt_oil", steel="tool_steel_o1", temper_c=stated_c)
        return Setup(name="furnace", bodies=(before,), hardening=hardening)

    harden = Operation(number=60, name="harden", kind="harden", temper_c=200.0)
    job = route(replace(ROUTE[0], leave_mm={"*": 0.05}), *ROUTE[1:], harden, setups={60: furnace})
    if refused:
        with pytest.raises(SetupError, match="tempered at 200 C, its set-up states 250 C; state it once"):
            staged_job(job, lambda _doing, _share: None)
        return
    made = staged_job(job, lambda _doing, _share: None).setups[60].setup.hardening
    assert (made.temper_c, dict(made.leave_mm)) == (200.0, {"top": 0.05})


@pytest.mark.parametrize(
    ("stated", "grows_mm", "verdict"),
    [
        ({"wanted_hrc": (62.0, 62.0)}, 0.04, Verdict.NO_GO),
        ({"temper_c": 204.0}, 0.04, Verdict.NO_GO),
        ({"growth_share": (0.0003, 0.0004)}, 0.008, Verdict.GO),
    ],
)
def test_growth_follows_what_the_furnace_states(stated, grows_mm: float, verdict) -> None:
    """62 HRC is 400 F and up to 0.2 % by the O1 sheets of the table, as quenched 0.25 %; 20 mm by hand."""

    def furnace(before, _after) -> Setup:
        return Setup(name="furnace", bodies=(before,), hardening=Hardening(process="salt_oil", **stated))

    o1 = replace(part(tolerance_mm={"top": 0.02}), material="tool_steel_o1")
    plain = Operation(number=60, name="harden", kind="harden")
    _, found = across(job_of("grown", o1, (ROUTE[0], ROUTE[1], plain), setups={60: furnace}), "growth")
    assert [(f.verdict, f.value) for f in found] == [(verdict, pytest.approx(grows_mm, rel=0.01))]


def test_growth_comes_from_the_table_where_none_is_stated() -> None:
    steel = replace(part(tolerance_mm={"top": 0.02}), material="tool_steel_a2")
    plain = Operation(number=60, name="harden", kind="harden", temper_c=200.0)
    _, found = across(job_of("grown", steel, (ROUTE[0], ROUTE[1], plain)), "growth")
    assert len(found) == 1
    assert found[0].source == "table of hardening steels"
    unknown = replace(part(tolerance_mm={"top": 0.02}), material="steel_1018")
    _, found = across(job_of("grown", unknown, (ROUTE[0], ROUTE[1], plain)), "growth")
    assert [f.verdict for f in found] == [Verdict.UNKNOWN]
