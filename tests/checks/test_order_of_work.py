"""What is worked out for which checks, in which order, and what waits for what."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fixturecheck import Cut, Holding, Push, Seat, Setup, Staging, body, engine
from fixturecheck import hold as run
from fixturecheck.checks import MODULES
from fixturecheck.errors import SetupError
from fixturecheck.holding.model import Held, Whole
from fixturecheck.kernel.construct import box
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Verdict, WhyNotAsked
from tests.report import staged
from tests.worked_out import stage_of

SIX = {"bottom": "<Z", "top": ">Z", "left": "<X", "right": ">X", "front": "<Y", "back": ">Y"}
HELD = ("hold", "crash", "release")


def pair(gap_mm: float, **stated: object) -> Setup:
    """Two blocks of 20 mm on a plate, the second so far from the first along X; a minus is an overlap."""
    plate = body("plate", box((-50, -50, -10), (50, 50, 0)), role="fixture", faces=SIX)
    one = body("one", box((-20, 0, 0), (0, 20, 10)), faces=SIX)
    two = body("two", box((gap_mm, 0, 0), (20 + gap_mm, 20, 10)), faces=SIX)
    seats = (
        Seat(body="one", face="bottom", on="plate", on_face="top"),
        Seat(body="two", face="bottom", on="plate", on_face="top"),
        Seat(body="two", face="left", on="one", on_face="right", rank="nest"),
    )
    return Setup(name="a pair", bodies=(plate, one, two), seats=seats, **stated)


@pytest.fixture
def asked_to_hold(monkeypatch: pytest.MonkeyPatch) -> list[frozenset[str]]:
    """What the magnet was solved for, each time that it was; it is not really."""
    calls: list[frozenset[str]] = []

    def held(*_: object, asked: frozenset[str], **__: object) -> Held:
        calls.append(asked)
        return Held(parts=(), pulls=None, release=None, missing={Whole.MAGNET: "nobody solved it"})

    monkeypatch.setattr(run, "held", held)
    return calls


def of(result: Result, *checks: str) -> list[Finding]:
    return [f for f in result.findings if f.check in checks]


@pytest.mark.parametrize("gap_mm", [-0.5, -1e-2])
def test_the_magnet_waits_until_parts_nest(asked_to_hold: list[frozenset[str]], gap_mm: float) -> None:
    result = engine.check(pair(gap_mm, holding=Holding()))
    assert asked_to_hold == []
    assert result.verdict is Verdict.NO_GO
    waiting = of(result, *HELD)
    assert [(f.check, f.verdict) for f in waiting] == [(name, Verdict.UNKNOWN) for name in HELD]
    assert all("two.left on one.right" in f.says for f in waiting)
    assert "--only hold,crash,release" in (waiting[0].remedy or "")


def test_the_magnet_is_solved_where_they_nest_or_where_it_is_asked(
    asked_to_hold: list[frozenset[str]],
) -> None:
    engine.check(pair(0.0, holding=Holding()))
    assert len(asked_to_hold) == 1
    result = engine.check(pair(-0.5, holding=Holding()), only=("nest", "hold"))
    assert asked_to_hold[1] == {"nest", "hold"}
    assert [f.check for f in result.findings if f.verdict is Verdict.NO_GO] == ["nest"]
    engine.check(pair(-0.5, holding=Holding(), severity={"nest": "caution"}))
    assert len(asked_to_hold) == 3


@pytest.mark.parametrize(("off_mm", "waits"), [((0, 0, 0.3), True), ((0.3, 0, 0), False)])
def test_the_magnet_waits_for_a_part_in_the_air_and_not_for_an_open_stop(
    asked_to_hold: list[frozenset[str]], off_mm: tuple[float, float, float], *, waits: bool
) -> None:
    """A part 0.3 mm over its plate falls; one that slides 0.3 mm off its stop stands."""
    stop = body("stop", box((-40, 0, 0), (-20, 20, 10)), role="fixture", faces=SIX, fastened=True)
    plate = body("plate", box((-50, -50, -10), (50, 50, 0)), role="fixture", faces=SIX)
    part = body("part", box((-20, 0, 0), (0, 20, 10)), faces=SIX, at=off_mm)
    seats = (
        Seat(body="part", face="bottom", on="plate", on_face="top"),
        Seat(body="part", face="left", on="stop", on_face="right", rank="stop"),
    )
    setup = Setup(name="one", bodies=(plate, stop, part), seats=seats, holding=Holding())
    result = engine.check(setup)
    assert len(asked_to_hold) == (0 if waits else 1)
    assert any(f.verdict is Verdict.NO_GO for f in of(result, "seat"))
    if waits:
        assert all("part.bottom on plate.top is a no-go of seat" in f.says for f in of(result, *HELD))


def test_a_hold_of_overlapping_parts_is_no_go_for_nobody(asked_to_hold: list[frozenset[str]]) -> None:
    """The nest is not asked, so nothing else says that the parts cannot stand so."""
    result = engine.check(pair(-0.5, holding=Holding()), only=("release",))
    assert asked_to_hold == [{"release"}]
    assert result.verdict is Verdict.UNKNOWN
    assert "one and two overlap as drawn" in result.findings[0].says


def test_a_missing_magnet_is_unknown_whoever_asks(asked_to_hold: list[frozenset[str]]) -> None:
    result = engine.check(pair(0.0, holding=Holding()), only=("crash",))
    assert [(f.check, f.verdict) for f in result.findings] == [("crash", Verdict.UNKNOWN)]
    assert "nobody solved it" in result.findings[0].says


def never(*_: object, **__: object) -> None:
    raise AssertionError("nobody asked for this")


def test_what_no_check_needs_is_not_computed(monkeypatch: pytest.MonkeyPatch) -> None:
    setup = replace(staged.setup(), holding=Holding(), staging=Staging())
    monkeypatch.setattr(run, "held", never)
    monkeypatch.setattr(engine, "staging_answer", never)
    assert engine.check(setup, only=("reach", "limits")).cuts
    monkeypatch.setattr(engine, "grind", never)
    result = engine.check(setup, only=("seat",))
    assert {f.check for f in result.findings} == {"seat"}
    left_out = {n.check for n in result.not_asked if n.reason is WhyNotAsked.LEFT_OUT}
    assert left_out == set(MODULES) - {"seat"}


def test_what_is_left_out_is_said_and_the_rest_is_as_it_was() -> None:
    whole, less = engine.check(pair(-0.5)), engine.check(pair(-0.5), skip=("nest",))
    assert less.findings == tuple(f for f in whole.findings if f.check != "nest")
    assert [n.check for n in less.not_asked if n.reason is WhyNotAsked.LEFT_OUT] == ["nest"]


def test_findings_are_told_at_once_and_stand_in_the_order_of_the_checks() -> None:
    told: list[Finding] = []
    steps: list[str] = []

    def progress(doing: str, share: float) -> None:
        steps.append(doing)
        if doing.startswith("cut "):
            assert {f.check for f in told} >= {"seat"}

    result = engine.check(staged.setup(), progress=progress, found=told.append)
    assert any(s.startswith("cut ") for s in steps)
    assert sorted(map(id, told)) == sorted(map(id, result.findings))
    order = [*MODULES]
    places = [order.index(f.check) for f in result.findings if f.check in order]
    assert places == sorted(places)


def test_shares_of_progress_only_grow() -> None:
    shares: list[float] = []
    engine.check(staged.setup(), progress=lambda _, share: shares.append(share))
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)


def test_checks_asked_early_find_what_they_would_find_late() -> None:
    """No check looks at what is worked out after it."""
    setup = replace(
        pair(0.0, staging=Staging(order=("one", "two"))),
        cuts=(Cut(name="top", parts=("one", "two"), floor="top", stock_mm=0.2),),
    )
    stage, missing = stage_of(setup)
    assert missing == []
    result = engine.check(setup)
    assert {f.check for f in result.findings} >= {"seat", "nest", "rest", "reach", "clear", "align", "limits"}
    for name, module in MODULES.items():
        late = list(engine.import_module(module).check(stage))
        assert [f.says for f in late] == [f.says for f in of(result, name)], name


def test_a_check_that_has_nothing_to_answer_is_no_pass() -> None:
    result = engine.check(pair(0.0), only=("hold", "release"))
    assert result.verdict is Verdict.UNKNOWN
    assert "hold needs [holding]" in result.findings[0].says


def test_seats_that_locate_nothing_at_rest_are_unknown() -> None:
    """Pushed where nothing stops them the parts do not come to rest, and `rest` is not asked to say so."""
    setup = pair(0.0, staging=Staging(push={"*": Push(direction=(1.0, 0.0, 0.0))}))
    result = engine.check(setup, only=("location",))
    assert result.verdict is Verdict.UNKNOWN
    assert "do not come to rest" in result.findings[0].says


@pytest.mark.parametrize(
    ("asked", "problems"),
    [
        ({"only": ("nset",)}, ["there is no check 'nset'; did you mean 'seat' or 'nest'?"]),
        (
            {"only": ("seat", "hodl"), "skip": ("raech",)},
            ["'hodl'; did you mean 'hold'", "'raech'; did you mean 'reach'"],
        ),
        ({"only": ("seat",), "skip": ("seat",)}, ["no check is left to ask"]),
        ({"only": ()}, ["no check is left to ask"]),
    ],
)  # fmt: skip
def test_names_are_those_of_checks(asked: dict[str, tuple[str, ...]], problems: list[str]) -> None:
    with pytest.raises(SetupError) as wrong:
        engine.check(pair(0.0), **asked)
    for problem, says in zip(wrong.value.problems, problems, strict=True):
        assert says in problem
