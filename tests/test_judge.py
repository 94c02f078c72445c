"""How a number is held against its limit: verdict, margin, and what never passes."""

from __future__ import annotations

import math

import pytest

from fixturecheck.errors import NotComputedError
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, margin_of, meets


def judged(value: float | None, verdict: Verdict | None = None, **limits: float | Verdict) -> Finding:
    return judge(
        value,
        unit="mm",
        verdict=verdict,
        check="reach",
        subject="top",
        kind=Kind.GOUGE,
        says="It is so.",
        remedy="Dress the wheel.",
        **limits,
    )


@pytest.mark.parametrize(
    ("value", "limits", "verdict", "margin"),
    [
        (2.0, {"at_least": 1.5}, Verdict.GO, 0.5),
        (1.5, {"at_least": 1.5}, Verdict.GO, 0.0),
        (1.0, {"at_least": 1.5}, Verdict.NO_GO, -0.5),
        (1.0, {"at_most": 1.5}, Verdict.GO, 0.5),
        (2.0, {"at_most": 1.5}, Verdict.NO_GO, -0.5),
        (-1.0, {"within": 1.5}, Verdict.GO, 0.5),
        (-2.0, {"within": 1.5}, Verdict.NO_GO, -0.5),
        (2.0, {"at_most": 1.5, "short": Verdict.CAUTION}, Verdict.CAUTION, -0.5),
        (1.5 + 1e-9, {"at_most": 1.5, "rounding": 1e-6}, Verdict.GO, pytest.approx(-1e-9)),
        (0.0, {"at_most": 0.0}, Verdict.GO, 0.0),
    ],
)
def test_a_number_is_held_against_its_limit(value, limits, verdict, margin):
    found = judged(value, **limits)
    assert (found.verdict, found.margin) == (verdict, margin)
    assert (found.value, found.unit) == (value, "mm")
    assert found.limit in limits.values()
    short = {key: v for key, v in limits.items() if key != "short"}
    assert meets(value, **short) is (verdict is Verdict.GO)


def test_only_what_is_not_go_keeps_its_remedy():
    assert judged(1.0, at_most=2.0).remedy is None
    assert judged(3.0, at_most=2.0).remedy == "Dress the wheel."
    assert judged(1.0, Verdict.CAUTION, at_most=2.0).remedy == "Dress the wheel."


@pytest.mark.parametrize("verdict", [None, Verdict.GO])
def test_a_number_that_is_not_known_never_passes(verdict):
    found = judged(None, verdict, at_least=1.0)
    assert (found.verdict, found.margin, found.limit) == (Verdict.UNKNOWN, None, 1.0)
    assert not meets(None, at_least=1.0)


def test_a_worse_verdict_than_unknown_stays():
    assert judged(None, Verdict.NO_GO, at_least=1.0).verdict is Verdict.NO_GO


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan])
@pytest.mark.parametrize("side", ["at_least", "at_most", "within"])
def test_what_is_no_number_is_refused_whatever_the_verdict(value, side):
    for verdict in (None, *Verdict):
        with pytest.raises(NotComputedError, match="came out as"):
            judged(value, verdict, **{side: 1.0})


def test_a_limit_that_is_no_number_is_refused():
    with pytest.raises(NotComputedError, match="came out as nan"):
        judged(1.0, at_most=math.nan)


def test_a_number_without_a_limit_needs_a_verdict():
    assert judged(6.0, Verdict.GO).margin is None
    with pytest.raises(ValueError, match="held against"):
        judged(6.0)
    with pytest.raises(ValueError, match="more than one limit"):
        margin_of(6.0, at_least=1.0, at_most=7.0)
