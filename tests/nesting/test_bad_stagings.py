"""Stagings that cannot come to rest, as findings: no-go where that is known and unknown where it is not."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import cadquery as cq

from fixturecheck.checks import rest
from fixturecheck.errors import NotComputedError
from fixturecheck.nesting import settle as run
from fixturecheck.nesting.answer import staging_answer
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.statics import rest as settle
from fixturecheck.statics.rest import Bounds

LEFT = Staging(push={"part": Push(direction=(-1, 0, 0))})


def findings(setup):
    """Return what the check says of a staged set-up."""
    return list(rest.check(SimpleNamespace(setup=setup, answered=staging_answer(setup))))


def stopped(shapes, staging, off_mm=0.0):
    """Return a block on a table against a stop, or drawn off it."""
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)))
    stop = shapes.body("stop", shapes.box(10, 100, 20, (-5, 0, 0)))
    part = shapes.body("part", shapes.box(30, 20, 20, (15 + off_mm, 0, 0)), "part")
    return replace(shapes.setup(table, stop, part), staging=staging)


def test_a_part_with_nothing_under_it_falls_for_ever(shapes):
    stop = shapes.body("stop", shapes.box(10, 10, 10))
    part = shapes.body("part", shapes.box(10, 10, 10, (50, 0, 0)), "part")
    (told,) = findings(replace(shapes.setup(stop, part), staging=Staging()))
    assert told.verdict is Verdict.NO_GO
    assert told.says.startswith("Let go: part falls away: it goes 1")
    assert told.says.endswith(" mm down and meets nothing.")
    assert told.remedy == "Put something under the part, or name what it is meant to lie on."


def test_a_part_pushed_over_the_edge_of_its_table_is_told_where_its_weight_leaves_it(shapes):
    """Its middle is 25 mm from the edge at x = -100, so that it goes over after 25 mm: closed form."""
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)))
    part = shapes.body("part", shapes.box(30, 20, 20, (-75, 0, 0)), "part")
    (told,) = findings(replace(shapes.setup(table, part), staging=LEFT))
    assert told.says == (
        "Let go: part goes over the edge of table, 25 mm to the left from where it is drawn, and falls: "
        "nothing stops it."
    )
    assert told.remedy == "Set a stop against the push."


def test_a_part_whose_weight_hangs_over_the_edge_as_drawn_tips_off(shapes):
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)))
    part = shapes.body("part", shapes.box(30, 20, 20, (-110, 0, 0)), "part")
    (told,) = findings(replace(shapes.setup(table, part), staging=Staging()))
    assert told.says == "Let go: part tips off table and falls: nothing else is under it."
    assert told.remedy == "Put something under the part, or name what it is meant to lie on."


def test_a_part_drawn_between_two_stops_nearer_than_it_is_wide(shapes):
    walls = [shapes.body(n, shapes.box(10, 50, 80, (x, 0, 0))) for n, x in (("a", -14.9), ("b", 14.9))]
    table = shapes.body("table", shapes.box(100, 100, 10, (0, 0, -10)))
    part = shapes.body("part", shapes.box(20, 20, 20), "part")
    (told,) = findings(replace(shapes.setup(*walls, table, part), staging=Staging()))
    assert told.verdict is Verdict.NO_GO
    says = "Let go: there is no room: no move frees the parts of every overlap; "
    assert told.says in {f"{says}{wall} and part overlap deepest." for wall in "ab"}
    assert told.remedy.startswith("First cure what lands in what")


def test_a_part_that_nothing_pushes_is_let_go_and_told_what_to_state(shapes):
    (told,) = findings(stopped(shapes, Staging(weight=False)))
    assert told.verdict is Verdict.NO_GO
    assert told.says == ("Let go: nothing pushes part: no weight, no pull and no push was stated.")
    assert told.remedy == "State what seats the part: its weight, a pull or a push."


def test_an_order_that_leaves_a_part_no_room(shapes):
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)))
    shell = cq.Workplane(shapes.box(40, 40, 60)).cut(cq.Workplane(shapes.box(20.2, 20.2, 20.1)))
    hood = shapes.body("hood", shell.val(), "part")
    block = shapes.body("block", shapes.box(20, 20, 20), "part")
    setup = replace(shapes.setup(table, hood, block), staging=Staging(order=("hood", "block")))
    (told,) = findings(setup)
    assert told.verdict is Verdict.NO_GO
    assert told.says.startswith("Let go: block finds no room when its turn comes: block and hood overlap")
    assert told.remedy == "Draw the parts apart, or stage them in an order in which each finds room."


def test_no_rest_within_the_steps_allowed_is_unknown_with_what_is_left(shapes, monkeypatch):
    monkeypatch.setattr(run, "Bounds", lambda: Bounds(steps=2))
    (told,) = findings(stopped(shapes, LEFT, off_mm=0.5))
    assert told.verdict is Verdict.UNKNOWN
    assert told.says.startswith("Let go: no rest after 2 steps: ")
    assert (told.value, told.unit) == (0.0, "um")
    assert "of the load still moves the parts and they overlap by 0 µm" in told.says


def test_a_solver_that_never_answers_is_unknown_and_ends(shapes, monkeypatch):
    def silent(*_, **__):
        raise NotComputedError("the solver stopped")

    monkeypatch.setattr(settle, "programme", silent)
    (told,) = findings(stopped(shapes, LEFT))
    assert told.verdict is Verdict.UNKNOWN
    assert told.says.startswith("Let go: no rest after 400 steps")
