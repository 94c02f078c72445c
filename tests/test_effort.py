"""Searches for cures end after a stated number of tries, and say so; verdicts do not depend on it."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace

import cadquery as cq
import pytest

from fixturecheck.checks import clear, hold, nest
from fixturecheck.effort import SPENT, Budget, SpentError, spend, spending
from fixturecheck.holding import remedies
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.result.remedy import (
    Remedy,
    RemedyKind,
)
from fixturecheck.shop.wheels import Wheel
from tests.checks.gauged import body, gauged, on
from tests.contact.staging import block
from tests.machining.scene import block as standing
from tests.machining.scene import pawl, stage


def test_what_is_left_goes_down_and_then_nothing_is_tried() -> None:
    budget = Budget(5)
    with spending(budget):
        spend(3)
        spend(3)
        assert not budget.spent
        with pytest.raises(SpentError):
            spend(1)
    assert budget.spent


def test_outside_a_search_work_is_free() -> None:
    with spending(Budget(0)), pytest.raises(SpentError):
        spend(1)
    spend(10**9)


def test_searches_may_share_a_budget() -> None:
    budget = Budget(2)
    for _ in range(2):
        with spending(budget):
            spend(1)
    with spending(budget), pytest.raises(SpentError):
        spend(1)


def held_open() -> Finding:
    """A corner that lands on the fillet of the part before."""
    ledge = block(20, 12, 20, (-10, 0, 0)).union(block(30, 12, 5, (5, 0, -5)))
    left = body("left", ledge.edges(cq.NearestToPointSelector((0, 0, 0))).fillet(3.0))
    right = body("right", block(20, 12, 15, (10, 0, 1.0)), no_function=frozenset({"bottom"}))
    (only,) = gauged(nest.check, (left, right), on("right", "left", "left", "right", rank="nest"))
    return only


def test_a_nest_says_that_no_chamfer_was_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    cured = held_open()
    assert (cured.remedy or "").startswith("Chamfer ")
    monkeypatch.setattr(nest, "NEST", 0)
    spent = held_open()
    assert (spent.verdict, spent.value) == (Verdict.NO_GO, cured.value)
    assert spent.says == f"{cured.says} No chamfer was looked for: {SPENT}."
    assert "Chamfer" not in (spent.remedy or "")


def hit() -> Finding:
    """A block that stands 3 mm above the floor and in the wheel's way."""
    staged = stage((pawl(), standing("high", (4, 0.5, 61), (-6, -0.8, 0))), wheel=Wheel(corner_radius_mm=0.0))
    return next(f for f in clear.check(staged) if f.subject == "floor_cut/high")


def test_a_collision_says_that_no_way_past_was_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    cured = hit()
    monkeypatch.setattr(clear, "CLEAR", 0)
    spent = hit()
    assert (spent.verdict, spent.value) == (Verdict.NO_GO, cured.value)
    assert spent.says == f"{cured.says} No way past was looked for: {SPENT}."
    assert spent.remedy is None


def test_a_hold_keeps_what_was_found_and_says_that_the_rest_was_not(monkeypatch: pytest.MonkeyPatch) -> None:
    less = Remedy(kind=RemedyKind.DOWNFEED, part="gib", factor=3.5, at_least=False, change_ratio=2.0)

    def lighter(_bench: object) -> Iterator[Remedy]:
        spend(1)
        yield less

    monkeypatch.setattr(remedies, "lighter_cut", lighter)
    monkeypatch.setattr(remedies, "tighter_clamps", lighter)
    bench = SimpleNamespace(part=SimpleNamespace(part="gib", cut="top"))
    with spending(Budget(1)):
        found, untried = remedies.remedies_of(bench)
    assert found == (less,)
    assert len(untried) == 1
    assert (untried[0].part, untried[0].cut, untried[0].search) == ("gib", "top", None)


@pytest.mark.parametrize("cut_short", [True, False])
def test_a_hold_that_was_cut_short_says_so(*, cut_short: bool) -> None:
    part = SimpleNamespace(
        part="gib",
        factors=SimpleNamespace(driver="friction"),
        pushed_off_by=(),
        remedies=(),
        cut_short=cut_short,
    )
    staged = SimpleNamespace(held=None, setup=SimpleNamespace(holding=None, clamps=()))
    why = hold._why(staged, part, Verdict.NO_GO)
    spent = (
        f"Not every cure was looked for: {SPENT}."
        if cut_short
        else "None of the changes that were tried is enough."
    )
    assert why == f" The strongest influence: friction. {spent}"
