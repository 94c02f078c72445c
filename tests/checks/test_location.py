"""What locates a block: three, two and one; a wall that nothing faces; two seats for one freedom."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from fixturecheck.checks import location
from fixturecheck.nesting.answer import staging_answer
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.model import Cut, Seat
from fixturecheck.setup.staging import Push, Staging
from tests.nesting.conftest import Shapes

BASE = Seat(body="part", face="base", on="table", on_face="top")
BACK = Seat(body="part", face="back", on="stop", on_face="face", rank="secondary")
LEFT = Staging(push={"part": Push(direction=(-1, 0, 0))})


def found(cut, *fixtures, seats=(BASE, BACK)):
    table, stop = Shapes.table_and_stop()
    block = Shapes.box(30, 20, 20, (15, 0, 0))
    part = Shapes.body("part", block, "part", base="<Z", back="<X", top=">Z", end=">X", side=">Y")
    setup = replace(Shapes.setup(table, stop, *fixtures, part, seats=seats), cuts=(cut,), staging=LEFT)
    answer = staging_answer(setup)
    stage = SimpleNamespace(setup=setup, answered=answer)
    return list(location.check(stage)), answer


def test_a_table_takes_three_a_stop_two_and_faces_follow_them_one_to_one():
    # Closed form: the top follows the table, the far end follows the stop, each um for um.
    findings, answer = found(Cut(name="cut", parts=("part",), floor="top", wall="end"))
    (part,) = answer.located
    assert [s.role.takes for s in part.seats] == [3, 2]
    assert {f.verdict for f in findings} == {Verdict.GO}
    assert [f.subject for f in findings] == [
        "part", "part: base on table.top", "part: back on stop.face", "cut/part.top", "cut/part.end",
    ]  # fmt: skip
    floor, wall = (dict(t.by_seat) for t in part.targets)
    table, stop = "base on table.top", "back on stop.face"
    assert floor[table] == pytest.approx(1.0, abs=1e-9)
    assert floor[stop] == pytest.approx(0.0, abs=1e-9)
    assert wall[stop] == pytest.approx(1.0, abs=1e-9)


def test_each_seat_says_where_it_acts_and_which_way_it_holds():
    # A block of 30 x 20 x 20 against a stop as wide as it: middles of base and back, pointing in.
    findings, _ = found(Cut(name="cut", parts=("part",), floor="top", wall="end"))
    base, back, floor, wall = findings[1:]
    assert base.location_mm == pytest.approx((15, 0, 0), abs=1e-3)
    assert base.direction == pytest.approx((0, 0, 1), abs=1e-9)
    assert back.location_mm == pytest.approx((0, 0, 10), abs=1e-3)
    assert back.direction == pytest.approx((1, 0, 0), abs=1e-9)
    assert (base.value, back.value) == (3, 2)
    assert floor.direction == pytest.approx((0, 0, 1))
    assert "by +1.000 µm for each µm that base on table.top stands higher" in floor.says
    assert wall.value == pytest.approx(1.0, abs=1e-9)


def test_of_two_seats_that_fight_the_one_that_loses_within_tolerance_is_named():
    # Two stops one over the other, the upper one 2 um further back: it closes only when both zones favour it.
    far = Shapes.body(
        "more", Shapes.box(10, 100, 20, (-5.002, 0, 20)), face=">X", tolerance_mm={"face": 0.002}
    )
    tall = Shapes.box(30, 20, 40, (15, 0, 0))
    table = Shapes.body("table", Shapes.box(200, 200, 20, (0, 0, -20)), top=">Z")
    stop = Shapes.body("stop", Shapes.box(10, 100, 20, (-5, 0, 0)), face=">X", tolerance_mm={"face": 0.002})
    part = Shapes.body("part", tall, "part", base="<Z", back="<X", top=">Z")
    upper = Seat(body="part", face="back", on="more", on_face="face", rank="tertiary")
    loose = replace(
        Shapes.setup(table, stop, far, part, seats=(BASE, BACK, upper)),
        cuts=(Cut(name="cut", parts=("part",), floor="top"),),
        staging=LEFT,
        tolerances=replace(Shapes.setup(table, part).tolerances, touch_um=2.5),
    )
    answer = staging_answer(loose)
    findings = list(location.check(SimpleNamespace(setup=loose, answered=answer)))
    fights = [f for f in findings if f.verdict is Verdict.CAUTION]
    for one in fights:
        assert "they fight" in one.says
    shares = {s.other.body: s.share_closed for s in answer.chances.seats}
    assert shares["more"] < shares["stop"]
    assert any("back on more.face loses" in f.says for f in fights)


def test_a_wall_that_no_seat_faces_is_not_located():
    findings, _ = found(Cut(name="cut", parts=("part",), floor="top", wall="side"))
    (bad,) = [f for f in findings if f.verdict is Verdict.NO_GO]
    assert bad.subject == "cut/part.side"
    assert bad.direction == pytest.approx((0, 1, 0))


def test_a_second_stop_in_the_plane_of_the_first_is_one_seat_with_it():
    """A common datum of ISO 5459, from memory: level faces are one datum, as matched parallels are."""
    more = Shapes.body("more", Shapes.box(10, 30, 10, (-5, 0, 10)), face=">X")
    stop = Shapes.body("stop", Shapes.box(10, 30, 10, (-5, 0, 0)), face=">X")
    table = Shapes.body("table", Shapes.box(200, 200, 20, (0, 0, -20)), top=">Z")
    part = Shapes.body("part", Shapes.box(30, 20, 20, (15, 0, 0)), "part", base="<Z", back="<X", top=">Z")
    upper = Seat(body="part", face="back", on="more", on_face="face", rank="tertiary")
    cut = Cut(name="cut", parts=("part",), floor="top")
    setup = replace(
        Shapes.setup(table, stop, more, part, seats=(BASE, BACK, upper)), cuts=(cut,), staging=LEFT
    )
    answer = staging_answer(setup)
    findings = list(location.check(SimpleNamespace(setup=setup, answered=answer)))
    assert [s.role.takes for s in answer.located[0].seats] == [3, 2, 0]
    (level,) = [f for f in findings if f.verdict is Verdict.CAUTION]
    assert level.says.startswith("back on more.face lies in one plane with back on stop.face.")
    assert "matched pair" in level.remedy
    # Both halves of one piece of equipment are as level as it was made.
    halves = [replace(b, group="block") for b in (stop, more)]
    grouped = SimpleNamespace(setup=replace(setup, bodies=(table, *halves, part)))
    whole = SimpleNamespace(setup=setup, answered=replace(answer, model=grouped))
    assert {f.verdict for f in location.check(whole)} == {Verdict.GO}


def test_nothing_is_said_where_no_staging_is_stated():
    assert list(location.check(SimpleNamespace(setup=None, answered=None))) == []
