"""A latch plate of O1 from bar to hard: stock for the furnace, a thread cut too late, false datums."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import pytest

from fixturecheck import (
    Blank,
    Cut,
    Dials,
    Drilling,
    Handwheel,
    Machine,
    Operation,
    Seat,
    Setup,
    SetupError,
    body,
    check,
    equipment,
    job_of,
)
from fixturecheck.hardening.steels import tabled_steel
from fixturecheck.hardening.temper import growth_of
from fixturecheck.process.across import hard
from fixturecheck.process.run import looked_across, staged_job
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.hardening import Hardening

LONG, WIDE, HIGH = 50.0, 20.0, 10.0
PIN_D, TAP_D, LEDGE = 6.0, 4.2, 7.0
FACES = {
    "top": (-22, 0, HIGH), "under": (0, 8, 0), "front": (0, -WIDE / 2, 3), "back": (0, WIDE / 2, 3),
    "left": (-LONG / 2, 0, 3), "right": (LONG / 2, 0, 3), "pin": (-15 + PIN_D / 2, 0, 5),
    "m5": (5 + TAP_D / 2, 0, 5), "ledge": (22, 0, LEDGE), "riser": (20, 0, 8),
}  # fmt: skip
TEMPER_C = 200.0
LEFT = 0.01


def latch(**more):
    """The finished latch: a plate with a pin bore, a hole for M5 and a ledge at its end."""
    plate = cq.Workplane("XY").box(LONG, WIDE, HIGH, centered=(True, True, False))
    for x, d in ((-15, PIN_D), (5, TAP_D)):
        plate = plate.cut(cq.Workplane("XY").center(x, 0).circle(d / 2).extrude(HIGH))
    ledge = cq.Workplane("XY").box(10, WIDE, 5, centered=(True, True, False)).translate((25, 0, LEDGE))
    return body("latch", plate.cut(ledge), material="tool_steel_o1", finish="ground", faces=FACES, **more)


def ground(number: int, face: str, off: float, **more) -> Operation:
    return Operation(number=number, name=face, kind="grind", makes=(face,), stock_mm={"*": off}, **more)


ROUTE = (
    ground(10, "top", 0.3, leave_mm={"*": LEFT}),
    ground(20, "under", 0.3, leave_mm={"*": LEFT}),
    Operation(number=25, name="ledge", kind="mill", makes=("ledge", "riser")),
    Operation(number=30, name="holes", kind="drill", makes=("pin", "m5")),
    Operation(number=40, name="harden", kind="harden", temper_c=TEMPER_C),
    Operation(number=50, name="thread", kind="tap", makes=("m5",)),
    ground(60, "under", LEFT, stones=(("top",),)),
    ground(70, "top", LEFT, stones=(("under",),)),
)


def across(check_name: str, *changed: Operation, left_out=(), setups=None, **more):
    """The findings of one check across operations, with some operations changed or left out."""
    by = {o.number: o for o in changed}
    operations = tuple(by.get(o.number, o) for o in ROUTE if o.number not in left_out)
    blank = more.pop("blank", None)
    job = job_of("latch", latch(**more), operations, setups=setups, blank=blank)
    stage = staged_job(job, lambda _doing, _share: None)
    return stage, [f.finding for f in looked_across(stage) if f.finding.check == check_name]


@pytest.mark.parametrize(
    ("carbide", "temper_c", "verdict"),
    [(False, 200.0, Verdict.NO_GO), (True, 200.0, Verdict.CAUTION), (True, 800.0, Verdict.UNKNOWN)],
)
def test_a_hole_tapped_after_hardening_is_told(carbide, temper_c, verdict) -> None:
    """O1 tempered at 200 C has some 62 HRC (makers' sheets, from memory); high-speed steel cuts up to some
    40 HRC: common practice, no source. Carbide cuts it, but pushes harder than any hold here counts."""
    harden = replace(ROUTE[4], temper_c=temper_c)
    _, found = across("hard", harden, replace(ROUTE[5], carbide=carbide))
    (one,) = found
    assert one.verdict is verdict
    if verdict is Verdict.NO_GO:
        assert one.kind is Kind.CUTS_HARD
        assert one.value == pytest.approx(62.0, abs=1.5)
        assert one.remedy.startswith("Do operation 50 thread before 40 harden")


def test_carbide_in_hard_steel_is_go_where_the_hold_counts_hard_steel() -> None:
    stage, _ = across("hard", left_out=(50,))
    drill = Drilling(name="bore", parts=("latch",), hole="m5", flute_mm=20, stick_out_mm=30, drill_mm=4.2)
    mill = replace(ROUTE[5], kind="drill", carbide=True)
    for cuts_as, verdict in (("soft_steel", Verdict.CAUTION), ("hard_steel", Verdict.GO)):
        setup = Setup(name="hard", bodies=(stage.job.part,), drills=(replace(drill, cuts_as=cuts_as),))
        told = hard.check(SimpleNamespace(
            job=replace(stage.job, operations=(ROUTE[4], mill)),
            setups={n: SimpleNamespace(setup=None if n == 40 else setup) for n in (40, 50)},
        ))  # fmt: skip
        (one,) = [f for _, f in told]
        assert one.verdict is verdict
        assert ("cuts_as = 'hard_steel'" in (one.remedy or "")) is (verdict is Verdict.CAUTION)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"stones": "top"}, r"stones: state a list, like \[\['top'\]\]; got 'top'"),
        ({"stones": ("top",)}, r"stones: each entry lists one face, .* like \[\['top'\]\]"),
        ({"makes": "top"}, r"makes: state a list, like \['top'\]; got 'top'"),
    ],
)
def test_a_text_in_place_of_a_list_is_named(given, says) -> None:
    """It would be read letter by letter, and no face is called t."""
    with pytest.raises(SetupError, match=says):
        Operation(number=10, name="top", kind="grind", **given)


def test_what_is_tapped_before_is_not_asked() -> None:
    assert across("hard", left_out=(50,))[1] == []


def test_stock_that_is_less_than_the_growth_is_told_without_a_furnace() -> None:
    """By hand: 10 mm change by the greater end of the table, half of that on either side."""
    most = max(growth_of(tabled_steel("tool_steel_o1"), TEMPER_C).along.most * HIGH, 0.0) / 2
    _, found = across("growth", left_out=(50,))
    assert {f.about[0]: (f.verdict, f.value, f.limit) for f in found} == {
        face: (Verdict.NO_GO, pytest.approx(most, rel=0.02), LEFT) for face in ("top", "under")
    }
    enough = [replace(o, leave_mm={"*": 0.1}) for o in ROUTE[:2]]
    taken = [replace(o, stock_mm={"*": 0.1}) for o in ROUTE[6:]]
    _, found = across("growth", *enough, *taken, left_out=(50,))
    assert {f.verdict for f in found} == {Verdict.GO}


def test_stock_is_held_against_bending_and_scale_where_the_furnace_is_stated() -> None:
    """By hand: open furnace and oil bend 50 mm by up to 0.0015 of that, 75 um, and spoil up to 200 um."""

    def furnace(before, _after) -> Setup:
        hardening = Hardening(process="open_oil", temper_c=TEMPER_C)
        return Setup(name="furnace", bodies=(before,), hardening=hardening)

    stage, grown = across("growth", left_out=(50,), setups={40: furnace}, tolerance_mm={"pin": 0.05})
    assert [f.about[0] for f in grown] == ["pin"]
    found = check(stage.setups[40].setup, only={"hardening"}).findings
    sizes = {f.about[0]: f for f in found if f.kind is Kind.SIZE_CHANGE}
    for face in ("latch.top", "latch.under"):
        assert (sizes[face].verdict, sizes[face].value) == (Verdict.NO_GO, pytest.approx(LEFT))
        assert sizes[face].limit == pytest.approx(0.2 + 0.075 + 0.01, abs=0.001)
    # Scale spoils at least 50 um, and the bore may be off by 25.
    (skin,) = [f for f in found if f.kind is Kind.SKIN]
    assert (skin.verdict, skin.about) == (Verdict.NO_GO, ("latch.pin",))


@pytest.mark.parametrize(("zone_mm", "verdict"), [(0.014, Verdict.GO), (0.01, Verdict.NO_GO)])
def test_the_radius_of_a_bore_is_held_against_half_its_zone(zone_mm: float, verdict) -> None:
    """By hand: a zone lies along the face, so that 3 mm of radius may change by half of it, not 6 mm."""
    most = growth_of(tabled_steel("tool_steel_o1"), TEMPER_C).along.most * PIN_D / 2
    _, found = across("growth", left_out=(50,), tolerance_mm={"pin": zone_mm})
    (bore,) = [f for f in found if f.about == ("pin",)]
    assert (bore.verdict, bore.value) == (verdict, pytest.approx(most, rel=0.02))


def on_its_under_side(touch: str):
    def make(_before, after) -> Setup:
        return Setup(
            name="ledge",
            bodies=(*equipment("flat_magnetic_chuck", name="chuck"), after),
            seats=(Seat(body="latch", face="under", on="chuck_plate", on_face="top"),),
            cuts=(Cut(name="flat", parts=("latch",), floor="ledge", stock_mm=0.2),),
            machine=Machine(
                table_z_mm=-20.0,
                downfeed=Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="down", backlash_mm=0.0),
            ),
            dials=Dials(touch_top=touch),
        )

    return make


@pytest.mark.parametrize(("touch", "about"), [("latch.top", [("top",)]), ("latch.ledge", [])])
def test_a_dial_zeroed_on_a_face_with_stock_is_told(touch: str, about) -> None:
    """By hand: the ledge is met from a top that still has 0.31 mm on it, ground only after."""
    early = Operation(number=5, name="ledge", kind="grind", makes=("ledge",), stock_mm={"*": 0.2})
    kept = (early, *(o for o in ROUTE if o.number not in (25, 50)))
    job = job_of("latch", latch(), kept, setups={5: on_its_under_side(touch)})
    stage = staged_job(job, lambda _doing, _share: None)
    found = [f.finding for f in looked_across(stage) if f.finding.check == "datum"]
    assert [f.about for f in found] == about
    assert [f.value for f in found] == [pytest.approx(0.31)] * len(about)


def test_a_face_of_the_blank_is_no_datum_for_a_finished_face() -> None:
    """The ledge milled to size from the sawn top of the bar, before and after the top is ground."""
    bar = body(
        "bar",
        cq.Workplane("XY")
        .box(LONG, WIDE, HIGH + 0.62, centered=(True, True, False))
        .translate((0, 0, -0.31)),
        faces={"sawn": (0, 0, HIGH + 0.31)},
    )
    blank = Blank(solid=bar.solid, faces=bar.faces)
    measured = replace(ROUTE[2], measured_from=("sawn",))
    first = (replace(measured, number=5), *(o for o in ROUTE if o.number not in (25, 50)))
    stage = staged_job(job_of("latch", latch(), first, blank=blank), lambda _doing, _share: None)
    (one,) = [f.finding for f in looked_across(stage) if f.finding.check == "datum"]
    assert (one.verdict, one.about) == (Verdict.NO_GO, ("sawn",))
    _, found = across("datum", measured, left_out=(50,), blank=blank)
    _, gone = across("made", measured, left_out=(50,), blank=blank)
    assert found == []
    assert [(f.kind, f.about) for f in gone if f.verdict is Verdict.NO_GO] == [(Kind.CUT_AWAY, ("sawn",))]
