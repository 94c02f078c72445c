"""Tolerances as findings: variances of a stack add; two faces race; bands that reach through a part."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import pytest

from fixturecheck.checks import tolerance
from fixturecheck.errors import SetupError
from fixturecheck.result import Verdict
from fixturecheck.settling.answer import answered
from fixturecheck.settling.record import rest_of
from fixturecheck.setup.model import Cut, Seat
from fixturecheck.setup.staging import Push, Staging
from tests.settling.conftest import Shapes

SEATS = (
    Seat(body="part", face="base", on="table", on_face="top"),
    Seat(body="part", face="back", on="stop", on_face="face", rank="secondary"),
)


def found(zones, *, solid=None, top_mm=0.01, **more):
    table = Shapes.body(
        "table",
        Shapes.box(200, 200, 20, (0, 0, -20)),
        top=">Z",
        tolerance_mm={"top": top_mm} if top_mm else {},
    )
    stop = Shapes.body("stop", Shapes.box(10, 100, 20, (-5, 0, 0)), face=">X")
    block = solid or Shapes.box(30, 20, 20, (15, 0, 0))
    names = {"base": "<Z", "back": "<X", "floor": ">Z", **more}
    part = Shapes.body("part", block, "part", tolerance_mm=zones, **names)
    setup = replace(
        Shapes.setup(table, stop, part, seats=SEATS),
        cuts=(Cut(name="top", parts=("part",), floor="floor"),),
        staging=Staging(push={"part": Push(direction=(-1, 0, 0))}),
    )
    answer = answered(setup)
    return list(tolerance.check(SimpleNamespace(setup=setup, answered=answer))), answer


def test_the_floor_spreads_by_the_root_sum_of_squares_and_at_worst_by_the_sum():
    findings, answer = found({"base": 0.03})
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    # Zones of 30 and 10 um, a sixth of each the standard deviation; at worst half of each adds up.
    assert answer.odds.targets[0].sigma_um == pytest.approx(math.hypot(30 / 6, 10 / 6), rel=0.03)
    assert floor.value == pytest.approx(20.0, abs=0.01)
    assert floor.verdict is Verdict.GO
    told = rest_of(answer).chances
    assert sum(told.targets[0].counts) == told.draws == 10_000


def test_a_floor_with_a_narrower_zone_than_its_seats_is_no_go():
    findings, _ = found({"base": 0.03, "floor": 0.004})
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    assert floor.verdict is Verdict.NO_GO
    assert floor.limit == pytest.approx(2.0)
    assert "part.base" in floor.remedy


def test_the_share_beyond_the_limit_is_that_of_a_normal_spread():
    findings, _ = found({"base": 0.03, "floor": 0.012})
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    told = re.search(r"([\d.]+)% of the draws are beyond the 6\.0 um", floor.says)
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
    assert len(answer.odds.faces) > 12
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    # Half of either zone, 5 um of the base and 5 of the floor itself, as in any linear stack.
    assert floor.value == pytest.approx(10.0, abs=0.01)
    assert "at the worst corners of the zones" in floor.says
    assert "parallel" in floor.source


def test_where_contacts_change_over_many_zones_only_the_draws_are_told():
    # A ledge 2 um behind the back lands first in some draws, so that no sum bounds the rest.
    part = cq.Workplane(slotted()).cut(cq.Workplane(Shapes.box(0.002, 40, 12, (0.001, 0, 10)))).val()
    findings, answer = found({"*": 0.012}, solid=part, top_mm=0.0, tab="<X[1]")
    assert len(answer.odds.faces) > 12
    (floor,) = [f for f in findings if f.subject == "top/part.floor"]
    assert "furthest of the draws" in floor.says


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
    assert answer.odds is None
