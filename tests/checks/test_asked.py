"""Which questions a set-up does not ask."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from fixturecheck import engine
from fixturecheck.checks import MODULES, hold
from fixturecheck.checks.stage import not_asked
from fixturecheck.holding.model import Held
from fixturecheck.result.finding import Finding, Verdict, WhyNotAsked
from fixturecheck.setup.dials import Handwheel
from fixturecheck.setup.holding import Holding, Milling
from fixturecheck.setup.staging import Staging
from tests.report import staged

MILL = Milling(
    name="face", parts=("gib_1",), face="top", cutter_mm=12.0, teeth=4, deep_mm=0.5, wide_mm=6.0,
    feed_mm_tooth=0.05,
)  # fmt: skip


def lacking(setup) -> dict[str, str]:
    return {n.check: n.lacks for n in not_asked(setup)}


def test_what_the_set_up_does_not_state_is_listed_with_what_it_lacks():
    assert lacking(staged.setup()) == {
        "nest": "seat of rank nest",
        "rest": "[staging]",
        "location": "[staging]",
        "tolerance": "[staging]",
        "hold": "[holding]",
        "crash": "[holding]",
        "dials": "[machine.downfeed]",
        "release": "[holding]",
    }


def test_what_is_stated_is_asked():
    dial = Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="down")
    plain = staged.setup()
    machine = replace(plain.machine, downfeed=dial)
    stated = replace(plain, staging=Staging(), holding=Holding(), machine=machine)
    assert lacking(stated) == {"nest": "seat of rank nest", "tolerance": "tolerance_mm of any face"}


def test_without_a_cut_nothing_is_asked_of_the_wheel():
    lacks = lacking(replace(staged.setup(), cuts=()))
    assert {c for c, what in lacks.items() if what == "[[cut]]"} == {"align", "limits", "dials"}
    assert {c for c, what in lacks.items() if what == "[[cut]] or [[end_mill]]"} == {"reach", "clear"}


def test_holding_without_a_cut_is_unknown_and_nothing_can_be_let_go():
    uncut = replace(staged.setup(), cuts=(), holding=Holding())
    assert lacking(uncut)["crash"] == "[[cut]], [[mill]] or [[drill]]"
    held = Held(parts=(), pulls=None, release=None, missing={})
    (only,) = hold.check(SimpleNamespace(setup=uncut, held=held))
    assert (only.verdict, only.kind) == (Verdict.UNKNOWN, "no cut")
    assert "nothing to hold against" in only.says
    milled = replace(uncut, holding=Holding(milling=(MILL,)))
    assert list(hold.check(SimpleNamespace(setup=milled, held=held))) == []


def test_one_part_has_no_neighbour_to_nest_on():
    setup = staged.setup()
    bodies = tuple(b for b in setup.bodies if b.name != "gib_2")
    alone = replace(setup, bodies=bodies, cuts=(replace(setup.cuts[0], parts=("gib_1",)),))
    assert "nest" not in lacking(alone)


def test_left_out_on_request_goes_before_not_stated():
    told = {n.check: n for n in not_asked(staged.setup(), left_out={"hold", "seat"})}
    assert told["hold"].reason is told["seat"].reason is WhyNotAsked.LEFT_OUT
    assert told["crash"].reason is WhyNotAsked.NOT_STATED
    assert [n for n in MODULES if n in told] == list(told)


def test_what_asks_about_the_rest_waits_for_a_rest():
    zones = tuple(replace(b, tolerance_mm={"*": 0.01}) for b in staged.setup().bodies)
    stated = replace(staged.setup(), bodies=zones, staging=Staging())
    waits = {n.check for n in not_asked(stated, rests=False) if n.reason is WhyNotAsked.WAITS}
    assert waits == {"location", "tolerance"}


def test_a_no_go_that_the_set_up_overrules_keeps_the_verdict_of_its_check(monkeypatch):
    class Check:
        @staticmethod
        def check(_stage):
            for verdict in (Verdict.NO_GO, Verdict.CAUTION):
                yield Finding(check="seat", verdict=verdict, subject="gib_1", says="So.")

    monkeypatch.setattr(engine, "MODULES", {"seat": ""})
    monkeypatch.setattr(engine, "import_module", lambda _name: Check)
    seats = {
        level: engine.check(replace(staged.setup(), severity={"seat": level}), only=("seat",)).findings
        for level in ("go", "caution", "no-go")
    }
    assert [(f.verdict, f.overruled) for f in seats["go"]] == [("go", "no-go"), ("caution", None)]
    assert [(f.verdict, f.overruled) for f in seats["caution"]] == [("caution", "no-go"), ("caution", None)]
    assert [(f.verdict, f.overruled) for f in seats["no-go"]] == [("no-go", None), ("caution", None)]
