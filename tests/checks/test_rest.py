"""Rests as findings: closed, open behind a nib, falling, no staging stated."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq
import pytest

from fixturecheck.checks import rest
from fixturecheck.nesting.answer import staging_answer
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.model import Seat
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
