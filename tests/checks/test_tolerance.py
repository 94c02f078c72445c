"""Tolerances as findings: variances of a stack add; two faces race; bands that reach through a part."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import numpy as np
import pytest

from fixturecheck import check
from fixturecheck.checks import location, tolerance
from fixturecheck.errors import SetupError
from fixturecheck.nesting.answer import rest_of, staging_answer
from fixturecheck.report.json import result_json
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.model import Cut, Seat
from fixturecheck.setup.staging import Push, Staging
from tests.nesting.conftest import Shapes

SEATS = (
    Seat(body="part", face="base", on="table", on_face="top"),
    Seat(body="part", face="back", on="stop", on_face="face", rank="secondary"),
)


def stated(zones, *, solid=None, top_mm=0.01, lean_mm=0.0, seats=SEATS, **more):
    """A block on a table against a stop; faces only shift unless a lean is stated, None leaves all of it."""
    held = {} if lean_mm is None else {"*": lean_mm}
    table = Shapes.body(
        "table",
        Shapes.box(200, 200, 20, (0, 0, -20)),
        top=">Z",
        tolerance_mm={"top": top_mm} if top_mm else {},
        orientation_mm=held if top_mm else {},
    )
    stop = Shapes.body("stop", Shapes.box(10, 100, 20, (-5, 0, 0)), face=">X", foot="<Z")
    block = solid or Shapes.box(30, 20, 20, (15, 0, 0))
    names = {"base": "<Z", "back": "<X", "floor": ">Z", **more}
    part = Shapes.body(
        "part", block, "part", tolerance_mm=zones, orientation_mm=held if zones else {}, **names
    )
    return replace(
        Shapes.setup(table, stop, part, seats=seats),
        cuts=(Cut(name="top", parts=("part",), floor="floor"),),
        staging=Staging(push={"part": Push(direction=(-1, 0, 0))}),
    )


def found(zones, **given):
    setup = stated(zones, **given)
    answer = staging_answer(setup)
    return list(tolerance.check(SimpleNamespace(setup=setup, answered=answer))), answer


def test_a_seat_whose_faces_are_nowhere_near_at_rest_has_no_gap_and_is_still_written():
    """The far end of the block is stated to lie on the stop: 30 mm from it, whatever the zones."""
    far = Seat(body="part", face="far", on="stop", on_face="face", rank="tertiary")
    setup = stated({"base": 0.03}, seats=(*SEATS, far), far=">X")
    result = check(setup, only=("rest", "tolerance"))
    (told,) = [f for f in result.findings if f.check == "tolerance" and f.subject == "part.far on stop.face"]
    assert "closes in 0 % of" in told.says
    assert told.says.endswith("Where the parts rest its faces are nowhere near each other.")
    seats = json.loads(result_json(result))["rest"]["chances"]["seats"]
    (written,) = [s for s in seats if s["seat"] == "part.far on stop.face"]
    assert written["gap_worst_um"] is None


def test_the_floor_spreads_by_the_root_sum_of_squares_and_at_worst_by_the_sum():
    findings, answer = found({"base": 0.03})
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    # Zones of 30 and 10 um, a sixth of each the standard deviation; at worst half of each adds up.
    assert answer.chances.targets[0].sigma_um == pytest.approx(math.hypot(30 / 6, 10 / 6), rel=0.03)
    assert floor.value == pytest.approx(20.0, abs=0.01)
    told = rest_of(answer).chances
    assert sum(told.targets[0].counts) == told.draws == 10_000


def test_a_seat_of_one_fixture_on_another_is_not_drawn():
    foot = Seat(body="stop", face="foot", on="table", on_face="top")
    findings, _ = found({"base": 0.03}, seats=(*SEATS, foot))
    subjects = {f.subject for f in findings}
    assert "part.base on table.top" in subjects
    assert not any("stop.foot" in s for s in subjects)
    assert all(math.isfinite(f.value) for f in findings if f.value is not None)


def test_a_floor_without_a_zone_is_held_against_nothing():
    findings, _ = found({"base": 0.03})
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    assert floor.verdict is Verdict.CAUTION
    assert floor.limit is None
    assert "no zone of its own" in floor.says
    assert "tolerance_mm = { floor" in floor.remedy


WITHIN = {"base": 0.03, "floor": 0.05}


@pytest.fixture(scope="module")
def within():
    """A floor that is out by 20 um at worst where its zone leaves 25."""
    return found(WITHIN)


def judged(answer, **changed):
    chances = replace(answer.chances, **changed)
    other = replace(answer, sampled=replace(answer.sampled, chances=chances))
    return list(tolerance.check(SimpleNamespace(setup=stated(WITHIN), answered=other)))


def test_what_is_not_proven_is_no_go_ahead(within):
    findings, answer = within
    assert {f.verdict for f in findings} == {Verdict.GO}
    target = answer.chances.targets[0]
    for changed, subject, word in (
        ({"targets": (replace(target, of_zones=False),)}, "top/part.floor", "proves nothing"),
        ({"checked_um": 5.5}, "top/part.floor", "exact settling differs"),
        ({"checked_um": 5.5}, "draws", "5.5"),
        ({"unsettled": 1}, "draws", "did not come to rest"),
    ):
        (one,) = [f for f in judged(answer, **changed) if f.subject == subject]
        assert one.verdict is Verdict.CAUTION
        assert word in one.says
    # An answer off by less than a seat's gap and less than what the zone leaves says nothing.
    assert {f.verdict for f in judged(answer, checked_um=0.9)} == {Verdict.GO}


def test_a_worst_case_at_its_limit_is_within_it(within):
    _, answer = within
    target = replace(answer.chances.targets[0], low_um=-20.0, high_um=25.0 + 1e-9)
    assert {f.verdict for f in judged(answer, targets=(target,))} == {Verdict.GO}


def test_a_part_that_rests_askew_is_out_before_any_face_is():
    """A link of 80 on two round feet of 16, 60 apart, one 0.05 short: it leans by 0.05 / 60.

    By hand: it touches at the near rim of the long foot and the far rim of the short one, 60 apart. Its far
    corner lies 62 from the near rim: 0.05 * 62 / 60 = 51.67 um low, where the zone leaves 20.
    """
    link = cq.Workplane("XY").box(80, 16, 6).translate((0, 0, 7)).moveTo(-30, 0).circle(8).extrude(4)
    link = link.union(cq.Workplane("XY").workplane(offset=0.05).center(30, 0).circle(8).extrude(3.95))
    part = Shapes.body(
        "part",
        link.val(),
        "part",
        long="<Z",
        short=cq.selectors.NearestToPointSelector((30, 0, 0.05)),
        floor=">Z",
        tolerance_mm={"floor": 0.04},
    )
    table = Shapes.body("table", Shapes.box(200, 200, 20, (0, 0, -20)), top=">Z")
    seats = tuple(Seat(body="part", face=f, on="table", on_face="top") for f in ("long", "short"))
    setup = replace(
        Shapes.setup(table, part, seats=seats),
        cuts=(Cut(name="top", parts=("part",), floor="floor"),),
        staging=Staging(draws=200),
    )
    answer = staging_answer(setup)
    stage = SimpleNamespace(setup=setup, answered=answer)
    (floor,) = [f for f in tolerance.check(stage) if f.subject == "top/part.floor"]
    assert floor.verdict is Verdict.NO_GO
    assert floor.value == pytest.approx(51.67, abs=1.0)
    assert "already 51.7 µm off where it is drawn" in floor.says
    # It slides level and leans: that is no freedom of the floor.
    assert [f.verdict for f in location.check(stage) if f.subject == "top/part.floor"] == [Verdict.GO]


def test_a_floor_with_a_narrower_zone_than_its_seats_is_no_go():
    findings, _ = found({"base": 0.03, "floor": 0.004})
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    assert floor.verdict is Verdict.NO_GO
    assert floor.limit == pytest.approx(2.0)
    assert "part.base" in floor.remedy


def test_the_share_beyond_the_limit_is_that_of_a_normal_spread():
    findings, _ = found({"base": 0.03, "floor": 0.012})
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    told = re.search(r"([\d.]+)% of the draws are beyond the 6\.0 µm", floor.says)
    # Zones of 30 and 10 um: sigma hypot(5, 10/6); both tails beyond 6 um of a normal distribution.
    sigma = math.hypot(30 / 6, 10 / 6)
    assert float(told[1]) / 100 == pytest.approx(math.erfc(6 / sigma / math.sqrt(2)), abs=0.02)


def slotted():
    """A block with two slots: sixteen faces, the corners of whose zones are too many to go through."""
    block = cq.Workplane(Shapes.box(30, 20, 20, (15, 0, 0)))
    for y in (-8, 8):
        block = block.cut(cq.Workplane().box(10, 4, 4).translate((15, y, 18)))
    return block.solids().val()


def test_the_worst_of_many_zones_is_the_sum_where_the_same_contacts_carry():
    findings, answer = found({"*": 0.01}, solid=slotted())
    assert len(answer.chances.faces) > 12
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    # Half of either zone, 5 um of the base and 5 of the floor itself, as in any linear stack.
    assert floor.value == pytest.approx(10.0, abs=0.01)
    assert "at the worst of all zones" in floor.says
    assert "do not lean" in floor.source


def test_where_contacts_change_over_many_zones_the_worst_is_still_that_of_the_zones():
    # A ledge 2 um behind the back lands first in some draws; the floor still stands on the base alone.
    part = cq.Workplane(slotted()).cut(cq.Workplane(Shapes.box(0.002, 40, 12, (0.001, 0, 10)))).val()
    findings, answer = found({"*": 0.012}, solid=part, top_mm=0.0, tab="<X[1]")
    assert len(answer.chances.faces) > 12
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    assert "at the worst of all zones" in floor.says
    assert floor.value == pytest.approx(6.0, abs=0.01)


def channel(clear_mm):
    """A block between two walls with little room, pushed to one of them."""
    table, stop = Shapes.table_and_stop()
    far = Shapes.body("far", Shapes.box(10, 100, 20, (35 + clear_mm, 0, 0)), face="<X")
    names = {"base": "<Z", "back": "<X", "front": ">X", "floor": ">Z"}
    zones = {"back": 0.02, "front": 0.02}
    block = Shapes.box(30, 20, 20, (15, 0, 0))
    part = Shapes.body("part", block, "part", tolerance_mm=zones, orientation_mm={"*": 0.0}, **names)
    setup = replace(
        Shapes.setup(table, stop, far, part, seats=SEATS),
        cuts=(Cut(name="top", parts=("part",), floor="floor"),),
        staging=Staging(push={"part": Push(direction=(-1, 0, 0))}, approach_mm=0.005),
    )
    return list(tolerance.check(SimpleNamespace(setup=setup, answered=staging_answer(setup))))


def test_where_the_seats_contradict_each_other_at_the_worst_only_what_was_found_is_told():
    # Two zones of 20 um take 20 um at most; 19.9 of them are beyond the draws (4.2 standard deviations).
    wide, narrow = channel(0.021), channel(0.0199)
    (floor,) = [f for f in wide if f.subject == "top/part.floor"]
    assert "at the worst of all zones" in floor.says
    (floor,) = [f for f in narrow if f.subject == "top/part.floor"]
    assert "at the worst that was found" in floor.says
    assert [f.verdict for f in narrow if f.subject == "zones"] == [Verdict.CAUTION]
    assert not [f for f in wide if f.subject == "zones"]


def row_in_a_gap(count, fastened, clear_mm=0.0):
    """Blocks end to end between two walls, each seated on the one before it, pushed to the left one."""
    table = Shapes.body("table", Shapes.box(400, 200, 20, (0, 0, -20)), top=">Z")
    ends = [("stop", -5, ">X"), ("far", 30 * count + clear_mm + 5, "<X")]
    walls = [
        replace(Shapes.body(name, Shapes.box(10, 100, 20, (x, 0, 0)), face=face), fastened=name in fastened)
        for name, x, face in ends
    ]
    block = Shapes.box(30, 20, 20, (15, 0, 0))
    names = {"base": "<Z", "back": "<X", "front": ">X"}
    zones = {"tolerance_mm": {"front": 0.02}, "orientation_mm": {"*": 0.0}}
    parts = [Shapes.body(f"p{i}", block, "part", at=(30 * i, 0, 0), **zones, **names) for i in range(count)]
    seats = [Seat(body=p.name, face="base", on="table", on_face="top") for p in parts]
    for before, part in zip([walls[0], *parts], parts, strict=False):
        on = before.name, "face" if before.name == "stop" else "front"
        seats.append(Seat(body=part.name, face="back", on=on[0], on_face=on[1], rank="secondary"))
    seats.append(Seat(body=parts[-1].name, face="front", on="far", on_face="face", rank="stop"))
    setup = replace(
        Shapes.setup(table, *walls, *parts, seats=seats),
        staging=Staging(push={"*": Push(direction=(-1, 0, 0))}),
    )
    return list(tolerance.check(SimpleNamespace(setup=setup, answered=staging_answer(setup))))


@pytest.mark.parametrize("count", [1, 2])
def test_parts_longer_than_a_fastened_gap_do_not_go_in(count):
    findings = row_in_a_gap(count, {"stop", "far"})
    (short,) = [f for f in findings if f.kind == "does not go in"]
    # The length of each is drawn evenly about the gap, so half of all stacks are too long for it.
    assert short.value == pytest.approx(0.5, abs=0.02)
    assert short.verdict is Verdict.NO_GO
    assert "far.face" in short.says
    assert not [f for f in findings if f.kind in {"closed in", "not computed"}]


def test_parts_go_into_a_fastened_gap_that_is_longer_than_their_zones():
    # Half a zone, 10 um, is the most that the part is too long; 5 um is three standard deviations of 10/3.
    assert not [f for f in row_in_a_gap(1, {"stop", "far"}, 0.011) if f.kind == "does not go in"]
    (tight,) = [f for f in row_in_a_gap(1, {"stop", "far"}, 0.005) if f.kind == "does not go in"]
    assert tight.value == pytest.approx(0.5 * math.erfc(5 / (10 / 3) / math.sqrt(2)), abs=0.01)


@pytest.mark.parametrize("fastened", [set(), {"stop"}, {"far"}])
def test_a_stop_that_is_not_fastened_is_set_up_last(fastened):
    findings = row_in_a_gap(1, fastened)
    assert [f.subject for f in findings if f.kind == "closed in"] == ["far"]
    assert not [f for f in findings if f.kind == "does not go in"]


def test_a_floor_on_a_base_that_leans_is_out_at_its_corners():
    findings, answer = found({"base": 0.03, "floor": 0.04}, top_mm=0.0, lean_mm=None)
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    (target,) = answer.chances.targets
    # The floor lies over the base, so its corners are out by no more than the base's: half of 30 um; at worst
    # the base leans over all of its zone.
    assert floor.value == pytest.approx(15.0, abs=0.01)
    assert target.lean_worst_um == pytest.approx(30.0, abs=0.01)
    assert target.corners == 4
    name = target.place.name
    assert np.all(np.abs(answer.sampled.out_um[name]) >= np.abs(answer.sampled.draws_um[name]) - 1e-9)
    assert "further out than the other" in floor.says
    assert "shift and lean" in floor.source
    assert 0.0 < dict(target.lean_by_face)["part.base"] < dict(target.share_by_face)["part.base"]
    told = rest_of(answer).chances
    assert sum(told.targets[0].corner_counts) == told.draws


def test_an_orientation_tolerance_holds_the_lean_and_not_the_shift():
    _, answer = found({"base": 0.03}, top_mm=0.0, lean_mm=0.004)
    (target,) = answer.chances.targets
    assert target.lean_worst_um == pytest.approx(4.0, abs=0.01)
    assert (target.low_um, target.high_um) == pytest.approx((-15.0, 15.0), abs=0.01)


def test_the_remedy_for_a_floor_far_from_its_seat_is_to_hold_the_lean_closer():
    # A long block on a short foot at its middle: what the foot leans goes six times as far at the ends.
    foot = Shapes.box(20, 20, 10, (0, 0, 0))
    part = cq.Workplane(Shapes.box(120, 20, 10, (0, 0, 10))).union(cq.Workplane(foot)).val()
    table = Shapes.body("table", Shapes.box(200, 200, 20, (0, 0, -20)), top=">Z")
    body = Shapes.body(
        "part", part, "part", base="<Z", floor=">Z", tolerance_mm={"base": 0.01, "floor": 0.02}
    )
    setup = replace(
        Shapes.setup(table, body, seats=SEATS[:1]),
        cuts=(Cut(name="top", parts=("part",), floor="floor"),),
        staging=Staging(),
    )
    findings = list(tolerance.check(SimpleNamespace(setup=setup, answered=staging_answer(setup))))
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    # Leaning over all of its zone a foot of 20 mm lifts an end, 60 mm from its middle, by six times 5 um.
    assert floor.value == pytest.approx(5.0 * 60 / 10, abs=0.05)
    assert floor.verdict is Verdict.NO_GO
    assert "orientation" in floor.remedy


def test_a_ledge_close_behind_its_seat_may_land_first():
    block = Shapes.box(30, 20, 20, (15, 0, 0))
    part = cq.Workplane(block).cut(cq.Workplane(Shapes.box(0.002, 40, 12, (0.001, 0, 10)))).val()
    findings, _ = found({"back": 0.012, "tab": 0.012}, solid=part, top_mm=0.0, tab="<X[1]")
    (ledge,) = [f for f in findings if "part.tab" in f.subject]
    # Two errors of sigma 2 um each: the difference beats 2 um with P(z > 2 / sqrt 8).
    assert ledge.value == pytest.approx(0.5 * math.erfc(2 / math.sqrt(8) / math.sqrt(2)), abs=0.02)
    assert ledge.verdict is Verdict.NO_GO


def test_bands_that_reach_through_a_part_are_refused():
    with pytest.raises(SetupError, match="reach through"):
        found({"base": 60.0})


def test_no_face_with_a_tolerance_asks_nothing():
    findings, answer = found({}, top_mm=0.0)
    assert findings == []
    assert answer.chances is None


def test_why_it_could_not_be_computed_is_a_sentence():
    for reason in ("no draw has a rest", "No draw has a rest."):
        answer = SimpleNamespace(missing=(("tolerance", reason),), chances=None)
        (only,) = tolerance.check(SimpleNamespace(answered=answer))
        assert only.verdict is Verdict.UNKNOWN
        assert only.says.lower() == "could not be computed: no draw has a rest."
