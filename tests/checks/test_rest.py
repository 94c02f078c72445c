"""Rests as findings: closed, open behind a nib, falling, no staging stated."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import pytest

from fixturecheck.checks import rest
from fixturecheck.nesting.answer import staging_answer
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.make import equipment
from fixturecheck.setup.model import Cut, Seat
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.wording.sentences import capitalised
from tests.nesting.conftest import Shapes

LEFT = Staging(push={"part": Push(direction=(-1, 0, 0))})
SEATS = (
    Seat(body="part", face="base", on="table", on_face="top"),
    Seat(body="part", face="back", on="stop", on_face="face", rank="secondary"),
)


def found(part, staging=LEFT, **names):
    table, stop = Shapes.table_and_stop()
    setup = Shapes.setup(table, stop, Shapes.body("part", part, "part", **names), seats=SEATS)
    setup = replace(setup, staging=staging)
    return list(rest.check(SimpleNamespace(setup=setup, answered=staging_answer(setup))))


def of(findings, subject):
    return next(f for f in findings if f.subject == subject)


def test_a_plain_block_closes_both_seats():
    part = of(found(Shapes.box(30, 20, 20, (15, 0, 0)), base="<Z", back="<X"), "part")
    assert part.verdict is Verdict.GO
    assert part.unit == "um"
    assert part.value == pytest.approx(0.0, abs=1e-3)
    assert "where it is drawn" in part.says
    assert "slides along Y" in part.says


def test_a_nib_that_lands_first_leaves_the_seat_open_by_its_height():
    block = Shapes.box(30, 20, 20, (15, 0, 0))
    nib = Shapes.box(0.05, 20, 4, (-0.025, 0, 12))
    part = cq.Workplane(block).union(cq.Workplane(nib)).val()
    answer = of(found(part, base="<Z", back="<X[1]", nib="<X"), "part")
    assert answer.verdict is Verdict.NO_GO
    assert answer.value == pytest.approx(50.0, abs=1e-3)
    assert answer.margin == pytest.approx(1.0 - 50.0, abs=1e-3)
    assert "nib lands on stop.face" in answer.says
    assert answer.direction == pytest.approx((-1, 0, 0), abs=1e-6)


def test_a_pin_over_two_vs_of_unequal_height_closes_on_both_and_lies_askew():
    """Two Vs of 40, one 0.5 lower, at -70 to -30 and at 30 to 70: by hand the pin leans by 0.5 / 100.

    Its middle lies beyond the end of the higher V, so it tips about that end (at -30) and lands on the far
    end of the lower one (at 70). Its own end at 75 is 105 away: 0.525 mm low, where no zone leaves anything.
    """
    vees = [
        body
        for name, x, low in (("one", -50, 0.0), ("two", 50, 0.5))
        for body in equipment(
            "magnetic_v_block", name=name, at=(x, 0, -low), length_mm=40.0, height_mm=70 - low
        )
    ]
    pin = cq.Workplane("YZ").circle(8).extrude(75, both=True)
    pin = pin.cut(cq.Workplane("XY").box(200, 40, 10).translate((0, 0, 11)))
    part = Shapes.body("part", pin.val(), "part", round="%CYLINDER", floor=">Z")
    part = replace(part, at=cq.Location((0, 0, 8 * math.sqrt(2))))
    seats = tuple(
        Seat(body="part", face="round", on=f"{vee}_{side}", on_face=f"{side}_flank")
        for vee in ("one", "two")
        for side in ("left", "right")
    )
    cut = Cut(name="cut", parts=("part",), floor="floor")
    setup = replace(Shapes.setup(*vees, part, seats=seats), staging=Staging(), cuts=(cut,))
    askew = of(list(rest.check(SimpleNamespace(setup=setup, answered=staging_answer(setup)))), "part")
    assert "All its seats are closed." in askew.says
    assert askew.verdict is Verdict.NO_GO
    assert askew.value == pytest.approx(525, abs=5)
    assert "cut/part.floor then lies up to" in askew.says


def test_a_part_that_tips_over_its_foot_is_not_told_to_relieve_what_it_lands_on():
    """An L upside down: by hand its weight lies (6 * 10 + 16 * 40) / 22 = 31.8 out, beyond a foot of 20."""
    ell = cq.Workplane("XY").box(20, 20, 25, centered=(False, True, False))
    ell = ell.union(cq.Workplane("XY").box(80, 20, 10, centered=(False, True, False)).translate((0, 0, 15)))
    prop = Shapes.body("prop", Shapes.box(20, 20, 9, (50, 0, 0)), top=">Z")
    table = Shapes.body("table", Shapes.box(200, 200, 20, (0, 0, -20)), top=">Z")
    setup = Shapes.setup(table, prop, Shapes.body("part", ell.val(), "part", base="<Z"), seats=SEATS[:1])
    setup = replace(setup, staging=Staging())
    tips = of(list(rest.check(SimpleNamespace(setup=setup, answered=staging_answer(setup)))), "part")
    assert tips.verdict is Verdict.NO_GO
    assert "lands on table.top, which is not a stated seat" in tips.says
    assert tips.remedy.startswith("As drawn its seats do not carry it")


def test_a_part_that_falls_is_no_go_and_says_what_to_do():
    (falls,) = found(Shapes.box(10, 10, 10, (300, 0, 0)), base="<Z", back="<X")
    assert falls.verdict is Verdict.NO_GO
    assert "falls away" in falls.says
    assert falls.remedy


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("part rests", "part rests"), ("part.back is off", "part.back is off"),
        ("parts end up apart", "Parts end up apart"), ("the rest depends", "The rest depends"),
    ],
)  # fmt: skip
def test_names_of_bodies_keep_their_case_at_the_start_of_a_sentence(text, written):
    assert capitalised(text, {"part"}) == written


def test_nothing_is_said_where_no_staging_is_stated():
    assert found(Shapes.box(30, 20, 20, (15, 0, 0)), staging=None, base="<Z", back="<X") == []
