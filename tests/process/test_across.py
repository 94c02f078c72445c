"""What looks across operations: each check fires, and stays quiet."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import body
from fixturecheck.errors import SetupError
from fixturecheck.process.load import job_of
from fixturecheck.process.model import Blank
from fixturecheck.process.records import Operation
from fixturecheck.process.run import looked_across, staged_job
from fixturecheck.process.setups import states_of
from fixturecheck.result.finding import Kind, Verdict
from tests.process.jobs import HIGH, LONG, ROUTE, WIDE, changed, on_chuck, part, route

SETUPS = {10: on_chuck("top"), 20: on_chuck("bottom")}


def found(job, check: str):
    stage = staged_job(job, lambda _doing, _share: None)
    return [a for a in looked_across(stage) if a.finding.check == check]


def no_go(job, check: str):
    return [a for a in found(job, check) if a.finding.verdict is Verdict.NO_GO]


def test_a_sound_route_is_go() -> None:
    stage = staged_job(route(setups=SETUPS), lambda _doing, _share: None)
    assert {a.finding.verdict for a in looked_across(stage)} == {Verdict.GO}


def test_a_face_that_is_not_made_yet_is_told() -> None:
    job = route(*changed(20, measured_from=("pocket_floor",)))
    (told,) = no_go(job, "made")
    assert (told.number, told.finding.kind) == (20, Kind.NOT_MADE_YET)
    assert "30 pocket" in (told.finding.remedy or "")
    blank = _blank((LONG, WIDE, HIGH + 0.5), (-LONG / 2, -WIDE / 2, -0.2))
    (told,) = no_go(route(*changed(20, measured_from=("pocket_floor",)), blank=blank), "made")
    assert "[blank.faces]" in (told.finding.remedy or "")


def test_a_seat_on_a_face_that_was_cut_away_is_told() -> None:
    """A lug of the blank that the first operation grinds off."""
    whole = cq.Workplane("XY").box(LONG, WIDE, HIGH + 0.5, centered=(True, True, False))
    low = whole.translate((0, 0, -0.2))
    blank = Blank(solid=low.val(), faces={"saw_cut": _index(low.val(), HIGH + 0.3)})

    def seated(before, after):
        setup = on_chuck("bottom")(before, after)
        return replace(setup, seats=tuple(replace(s, face="saw_cut") for s in setup.seats))

    job = route(blank=blank, setups={10: on_chuck("top"), 20: seated})
    (told,) = no_go(job, "made")
    assert (told.number, told.finding.kind) == (20, Kind.CUT_AWAY)
    assert "in operation 10 first side" in told.finding.says


def _index(solid, z_mm: float) -> tuple[int, ...]:
    faces = solid.Faces()
    return tuple(i for i, f in enumerate(faces) if abs(f.Center().z - z_mm) < 1e-6)


@pytest.mark.parametrize(("number", "datum", "fires"), [(10, "bottom", True), (20, "top", False)])
def test_a_face_finished_before_its_datum_is_told(number: int, datum: str, fires: bool) -> None:
    told = no_go(route(*changed(number, measured_from=(datum,))), "datum")
    assert bool(told) is fires
    if fires:
        assert told[0].finding.value == pytest.approx(0.2)
        assert "20 second side" in (told[0].finding.remedy or "")


def test_a_face_is_roughed_from_the_one_that_is_finished_from_it() -> None:
    """The under side roughed from the rough top, the top brought to size from the finished under side."""
    job = route(
        *changed(10, leave_mm={"top": 0.1})[:1],
        replace(ROUTE[1], measured_from=("top",), leave_mm={"bottom": 0.1}),
        Operation(number=30, name="last of the bottom", kind="grind", makes=("bottom",), stock_mm={"*": 0.1}),
        Operation(
            number=40,
            name="last of the top",
            kind="grind",
            makes=("top",),
            stock_mm={"*": 0.1},
            measured_from=("bottom",),
        ),
    )
    assert [(a.number, a.finding.verdict) for a in found(job, "datum")] == [(40, Verdict.GO)]


def test_stock_left_and_still_there_is_told() -> None:
    (told,) = no_go(route(*changed(10, leave_mm={"top": 0.25})), "stock")
    assert told.finding.value == pytest.approx(0.25)
    assert told.finding.kind is Kind.STILL_THERE
    later = Operation(number=25, name="finish", kind="grind", makes=("top",), stock_mm={"top": 0.25})
    assert no_go(route(*changed(10, leave_mm={"top": 0.25}), later), "stock") == []


def test_less_stock_than_is_taken_is_told() -> None:
    later = Operation(number=25, name="finish", kind="grind", makes=("top",), stock_mm={"top": 0.3})
    (told,) = no_go(route(*changed(10, leave_mm={"top": 0.25}), later), "stock")
    assert (told.finding.kind, told.finding.value) == (Kind.TAKES_AIR, pytest.approx(0.05))


def test_a_blank_that_no_operation_takes_off_is_told() -> None:
    """Closed form: 0.4 mm more above the stock that the first operation takes."""
    solid = cq.Workplane().box(LONG, WIDE, HIGH + 0.9, centered=False)
    blank = solid.translate((-LONG / 2, -WIDE / 2, -0.2)).val()
    (told,) = no_go(route(blank=blank), "stock")
    assert told.finding.value == pytest.approx(0.4 * LONG * WIDE)


def _blank(size: tuple[float, float, float], low: tuple[float, float, float]):
    return cq.Workplane().box(*size, centered=False).translate(low).val()


@pytest.mark.parametrize(
    ("operations", "size", "says"),
    [
        (
            ROUTE,
            (LONG + 0.5, WIDE, HIGH + 0.5),
            "^no operation makes right of the part, and the blank has no",
        ),
        (ROUTE[:3], (LONG, WIDE, HIGH + 0.5), "^no operation makes hole of the part"),
        (
            (*ROUTE[:2], ROUTE[3]),
            (LONG, WIDE, HIGH + 0.5),
            "^no operation makes pocket_left, pocket_front, ",
        ),
        (ROUTE, (LONG, WIDE, HIGH + 0.5), None),
    ],
)
def test_a_face_that_is_never_made_is_refused(operations, size, says) -> None:
    job = route(*operations, blank=_blank(size, (-LONG / 2, -WIDE / 2, -0.2)))
    if says is None:
        states_of(job)
        return
    with pytest.raises(SetupError, match=says) as told:
        states_of(job)
    assert len(told.value.problems) == 1


def test_a_hollow_that_nobody_makes_is_a_caution_where_no_blank_is_stated() -> None:
    """The outside of a blank may be taken for granted, a hole in it may not."""
    told = [a for a in found(route(*ROUTE[:3]), "made") if a.finding.verdict is not Verdict.GO]
    assert [(a.number, a.finding.verdict, a.finding.kind) for a in told] == [
        (None, Verdict.CAUTION, Kind.NEVER_MADE)
    ]
    assert "hole" in told[0].finding.says
    assert [str(f) for f in told[0].finding.about] == ["hole"]


@pytest.mark.parametrize(
    ("stones", "stated", "verdict"),
    [
        ((("top",),), True, None),
        ((), True, Verdict.NO_GO),
        ((), False, Verdict.CAUTION),
        ((("top", "left"), ("top", "right"), ("top", "front"), ("top", "back")), True, None),
        ((("top", "left"),), True, Verdict.NO_GO),
    ],
)
def test_a_burr_under_the_next_seat_is_told(stones, stated: bool, verdict) -> None:
    """The first side is turned over onto the chuck: its four outer edges carry burrs."""
    first = Operation(
        number=10,
        name="first side",
        kind="grind",
        makes=("top",),
        stock_mm={"*": 0.3},
        **({"burr_mm": 0.03} if stated else {}),
    )
    second = replace(ROUTE[1], stones=stones)
    told = [a for a in found(route(first, second, *ROUTE[2:], setups=SETUPS), "burr") if a.number == 20]
    assert [a.finding.verdict for a in told] == ([] if verdict is None else [verdict])
    if told:
        assert told[0].finding.value == pytest.approx(30.0 if stated else 20.0)
        assert "Stone these before operation 20" in told[0].finding.says


def test_burrs_are_the_outer_edges_of_what_was_cut() -> None:
    """Known answers: the rim of the block, 140 mm; of the pocket, 40 mm; both rims of the hole."""
    stage = staged_job(route(), lambda _doing, _share: None)
    lengths = {n: sum(b.length_mm for b in one.leaves) for n, one in stage.burrs.items()}
    assert lengths == pytest.approx({10: 140.0, 20: 140.0, 30: 40.0, 40: 2 * 18.8495559}, rel=1e-6)


def _burrs_of(job) -> dict[int, list[tuple[str, str, float]]]:
    """By operation, the edges that it leaves: both faces and the length."""
    stage = staged_job(job, lambda _doing, _share: None)
    return {
        n: sorted((*sorted((b.face, b.other)), round(b.length_mm, 6)) for b in one.leaves)
        for n, one in stage.burrs.items()
    }


def test_the_burr_edges_of_a_slotted_block_are_a_closed_list() -> None:
    """By hand: a slot 10 wide and 6 deep along X, open at both ends, in a block of 40 by 30 by 20.

    Outside corners are its two edges along the top, and at each end the outline of the slot; the corners at
    its floor are inside.
    """
    whole = cq.Workplane("XY").box(40, 30, 20, centered=(True, True, False))
    slotted = whole.cut(cq.Workplane("XY").box(40, 10, 6, centered=(True, True, False)).translate((0, 0, 14)))
    faces = {"floor": (0, 0, 14), "near": (0, -5, 17), "far": (0, 5, 17), "top": (0, 10, 20)}
    faces |= {"left": (-20, 10, 5), "right": (20, 10, 5)}
    cut = Operation(number=10, name="slot", kind="mill", makes=("floor", "near", "far"))
    job = job_of("slotted", body("block", slotted, faces=faces | {"lands": (0, -10, 20)}), (cut,))
    ends = [("far", 6.0), ("floor", 10.0), ("near", 6.0)]
    expected = [(*sorted((side, face)), long) for side in ("left", "right") for face, long in ends]
    expected += [("far", "top", 40.0), ("lands", "near", 40.0)]
    assert _burrs_of(job)[10] == sorted(expected)


def test_the_burr_edges_of_a_bored_plate_are_its_two_rims() -> None:
    """By hand: two circles of 12 mm, 12 pi each; ground on top, the outline of 140 and the rim."""
    plate = cq.Workplane("XY").box(40, 30, 8, centered=(True, True, False)).faces(">Z").workplane().hole(12)
    faces = {"top": (-18, 10, 8), "under": (-18, 10, 0), "bore": (6, 0, 4)}
    faces |= {"a": (-20, 0, 4), "b": (20, 0, 4), "c": (0, -15, 4), "d": (0, 15, 4)}
    ops = (
        Operation(number=10, name="bore", kind="drill", makes=("bore",)),
        Operation(number=20, name="top", kind="grind", makes=("top",), stock_mm={"*": 0.2}),
    )
    found = _burrs_of(job_of("plate", body("plate", plate, faces=faces), ops))
    rim = round(12 * math.pi, 6)
    assert found[10] == [("bore", "top", rim), ("bore", "under", rim)]
    outline = [("a", "top", 30.0), ("b", "top", 30.0), ("bore", "top", rim), ("c", "top", 40.0)]
    assert found[20] == [*outline, ("d", "top", 40.0)]


@pytest.mark.parametrize(
    ("operations", "says"),
    [
        ((*changed(20, needs=(10,)), replace(ROUTE[0], number=5, needs=(20,))), "made twice|comes after"),
        ((replace(ROUTE[0], needs=(20,)), replace(ROUTE[1], needs=(10,))), "circle: 10 needs 20 needs 10"),
        ((ROUTE[0], replace(ROUTE[0], number=20)), "'top' is made twice"),
        ((ROUTE[0], replace(ROUTE[1], number=10)), "stated more than once"),
        (
            (replace(ROUTE[0], measured_from=("bottom",)), replace(ROUTE[1], measured_from=("top",))),
            "measured from each other in a circle",
        ),
        ((replace(ROUTE[0], makes=("lid",)),), "no face 'lid'"),
        ((replace(ROUTE[0], needs=(70,)),), "needs operation 70, which is not there"),
    ],
)
def test_what_cannot_be_done_as_stated_is_refused(operations, says: str) -> None:
    with pytest.raises(SetupError, match=says):
        route(*operations)


HARDENED = Operation(number=90, name="harden", kind="harden", temper_c=200.0)


def magnetised(material: str, *operations: Operation, **changes):
    """What is said of magnetism in the route of a part off chucks whose poles lie 25 mm apart."""
    own = replace(part(), material=material)
    first, second, *rest = ROUTE
    job = job_of("a block", own, (first, replace(second, **changes), *rest, *operations), setups=SETUPS)
    return found(job, "magnetism")


def test_tool_steel_off_a_chuck_is_demagnetised_before_the_furnace() -> None:
    """A ball keeps 2 mu0 Hc: 24 mT of A2's 9.7 kA/m; a chip hangs on from sqrt(mu0 rho g p / 3 pi), 16 mT."""
    (told,) = magnetised("tool_steel_a2", HARDENED)
    assert (told.number, told.finding.verdict) == (90, Verdict.CAUTION)
    assert told.finding.value == pytest.approx(2 * 4e-7 * math.pi * 9710.0 * 1e3, rel=1e-3)
    chips_t = math.sqrt(4e-7 * math.pi * 7870.0 * 9.80665 * 0.025 / math.pi / 3.0)
    assert told.finding.limit == pytest.approx(chips_t * 1e3, rel=1e-3)
    assert "the magnet of 20 second side" in told.finding.says
    assert "demagnetises = true" in told.finding.remedy


def test_it_is_told_where_it_is_measured_too_and_no_more_once_it_is_gone() -> None:
    gauge = Operation(number=50, name="gauge", kind="measure", measures=("top",))
    told = magnetised("tool_steel_a2", gauge, HARDENED, replace(gauge, number=95))
    # Hardening takes it away, so that the last gauging comes to it clean.
    assert [a.number for a in told] == [50, 90]
    assert magnetised("tool_steel_a2", gauge, HARDENED, demagnetises=True) == []


def test_mild_steel_keeps_too_little_and_brass_none() -> None:
    (told,) = magnetised("steel_1018", HARDENED)
    assert told.finding.verdict is Verdict.GO
    assert magnetised("brass", Operation(number=50, name="gauge", kind="measure", measures=("top",))) == []
