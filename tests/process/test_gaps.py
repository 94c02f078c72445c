"""Burrs as gaps, walls under clamps, growth in hardening: each with a go and a no-go."""

from __future__ import annotations

from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import Clamp, Cut, Holding, Machine, Operation, Seat, Setup, body, check, equipment, job_of
from fixturecheck.process.across import wall
from fixturecheck.process.across.wall import bend_mm, thinnest_wall
from fixturecheck.process.checked import check_operation
from fixturecheck.process.run import looked_across, staged_job
from fixturecheck.process.shown import checked_setup, with_across
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.dials import Handwheel
from tests.process.jobs import ROUTE, on_chuck, part, route


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
    shown = with_across(check_operation(made, only={only}), made, found)
    assert checked_setup(shown) is (made.burred if on_burrs else made.setup)
    assert "burr" in {f.check for f in shown.findings}


def _in_vise(force_n: float):
    def make(_before, after) -> Setup:
        vise = equipment("grinding_vise", name="vise", opening_mm=30.0)
        jaw = Clamp(name="screw", kind="vise", body="vise_jaw", face="moving_jaw", force_n=force_n)
        return Setup(
            name="in the vise",
            bodies=(*vise, after),
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


@pytest.mark.parametrize(
    ("wall_mm", "force_n", "verdict"), [(1.0, 500.0, Verdict.NO_GO), (8.0, 500.0, Verdict.GO)]
)
def test_a_thin_wall_under_a_jaw_is_told(wall_mm: float, force_n: float, verdict) -> None:
    """Closed form of a cantilever under an even push: w h^4 / (8 E I), 15 high and 40 long."""
    ops = (
        Operation(number=10, name="slot", kind="mill", makes=("slot",), solid_before="x"),
        Operation(number=20, name="rim", kind="grind", makes=("rim",), stock_mm={"*": 0.1}),
    )
    whole = cq.Workplane("XY").box(40, 30, 20.1, centered=(True, True, False)).val()
    job = job_of("cup", _cup(wall_mm), ops, setups={20: _in_vise(force_n)}, solids_before={10: whole})
    _, found = across(job, "wall")
    assert {f.verdict for f in found} == {verdict}
    expected = 1.2 * force_n * 15.1**3 / (8 * wall.STIFFNESS_MPA * 40.0 * wall_mm**3 / 12) * 1e3
    # The wall is found on a grid of 21 steps over 20.1 mm.
    assert max(f.value for f in found) == pytest.approx(expected, rel=0.25)


def test_a_solid_block_has_no_wall() -> None:
    block = cq.Workplane("XY").box(40, 30, 20).val()
    assert all(thinnest_wall(block, face) is None for face in block.Faces())


def test_a_wall_bends_as_the_closed_form_says() -> None:
    """Cantilever under an even load, w L^4 / (8 E I), from memory: 10 N/mm, 20 high, 5 thick, 1 long."""
    inertia = 1.0 * 5.0**3 / 12.0
    by_hand = 10.0 * 20.0**4 / (8.0 * wall.STIFFNESS_MPA * inertia)
    assert bend_mm(force_n=200.0, thick_mm=5.0, high_mm=20.0, long_mm=1.0) == pytest.approx(by_hand)


HARDEN = Operation(number=60, name="harden", kind="harden", growth_share=(0.0005, 0.001))


@pytest.mark.parametrize(
    ("zone_mm", "later", "verdict"),
    [(0.05, False, Verdict.GO), (0.02, False, Verdict.NO_GO), (0.02, True, None)],
)
def test_growth_takes_a_finished_face_out_of_its_zone(zone_mm: float, later: bool, verdict) -> None:
    """By hand: 20 mm grow by 0.1 % at most, 0.02 mm; half of the zone may be used."""
    first = replace(ROUTE[0], leave_mm={"*": 0.05} if later else {})
    ops = [first, ROUTE[1], HARDEN]
    if later:
        ops.append(Operation(number=70, name="finish", kind="grind", makes=("top",), stock_mm={"*": 0.05}))
    job = job_of("grown", part(tolerance_mm={"top": zone_mm}), tuple(ops))
    _, found = across(job, "growth")
    assert [f.verdict for f in found] == ([] if verdict is None else [verdict])
    if found:
        assert found[0].value == pytest.approx(0.02)
        assert found[0].limit == pytest.approx(zone_mm / 2)


def test_growth_comes_from_the_table_where_none_is_stated() -> None:
    steel = replace(part(tolerance_mm={"top": 0.02}), material="tool_steel_a2")
    plain = Operation(number=60, name="harden", kind="harden", temper_c=200.0)
    _, found = across(job_of("grown", steel, (ROUTE[0], ROUTE[1], plain)), "growth")
    assert len(found) == 1
    assert found[0].source == "table of hardening steels"
    unknown = replace(part(tolerance_mm={"top": 0.02}), material="steel_1018")
    _, found = across(job_of("grown", unknown, (ROUTE[0], ROUTE[1], plain)), "growth")
    assert [f.verdict for f in found] == [Verdict.UNKNOWN]
