"""The words under a verdict say what it covers, and never that it is fine above a limit that is not met."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fixturecheck.report.html import page
from fixturecheck.report.statements import banner
from fixturecheck.report.terminal import table
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, NotAsked, Verdict, WhyNotAsked
from tests.report import staged

NO_HOLDING = NotAsked(check="hold", reason=WhyNotAsked.NOT_STATED, lacks="[holding]")
NO_STAGING = NotAsked(check="rest", reason=WhyNotAsked.NOT_STATED, lacks="[staging]")


def found(verdict: Verdict, **more: object) -> Result:
    """One finding, and a verdict to match."""
    finding = Finding(check="nest", verdict=verdict, subject="b.face on a.face", says="It is so.", **more)
    return replace(staged.result(), findings=(finding,), verdict=verdict, not_asked=())


def test_a_go_names_what_was_asked_and_what_was_not() -> None:
    result = replace(found(Verdict.GO), not_asked=(NO_HOLDING, NO_STAGING))
    told = banner(result)
    assert told.says == "Go for what was asked: nests."
    assert told.not_asked == (
        "Not asked: do the parts hold (no [holding]); where do the parts come to rest (no [staging])."
    )
    for text in (page(result, staged.setup(), pictures={}), table(result, width=400)):
        assert told.says in text
        assert told.not_asked in text
        assert "Nothing stands against" not in text


def test_a_go_with_everything_asked() -> None:
    assert banner(found(Verdict.GO)).says == "Nothing stands against grinding this set-up. Asked: nests."


def test_questions_left_out_on_request_are_told_apart_from_those_not_stated() -> None:
    left_out = NotAsked(check="crash", reason=WhyNotAsked.LEFT_OUT)
    told = banner(replace(found(Verdict.GO), not_asked=(NO_HOLDING, left_out)))
    assert "where does a part go if it lets go (left out on request)" in told.not_asked


@pytest.mark.parametrize("counts_as", [Verdict.GO, Verdict.CAUTION])
def test_what_the_set_up_overrules_is_said_first_and_in_full(counts_as: Verdict) -> None:
    result = found(counts_as, overruled=Verdict.NO_GO, value=0.4, unit="mm", limit=0.0, margin=-0.4)
    said = "Overruled by [severity], 1 no-go: nest of b.face on a.face counts as "
    assert banner(result).overruled == f"{said}{counts_as}."
    assert "Nothing stands against" not in banner(result).says
    html, text = page(result, staged.setup(), pictures={}), table(result, width=400)
    for told in (html, text):
        assert f"{said}{counts_as}." in told
        assert f"NO-GO, counted as {str(counts_as).upper()}" in told
        assert "It is so." in told
    assert "No-go, overruled by the set-up" in html
    assert "Go, in short" not in html


def test_a_caution_with_a_limit_not_met_does_not_say_that_it_can_be_ground() -> None:
    short = banner(found(Verdict.CAUTION, value=2.0, unit="x load", limit=3.0, margin=-1.0)).says
    assert short == "1 limit not met: decide on each caution before grinding."
    assert banner(found(Verdict.CAUTION)).says.startswith("No limit is broken in what was asked")


@pytest.mark.parametrize(("check", "does"), [("drill", "drill"), ("hardening", "harden"), ("seat", "grind")])
def test_what_one_is_told_not_to_do_is_what_the_set_up_is_for(check: str, does: str) -> None:
    result = found(Verdict.NO_GO)
    bare = replace(
        result, cuts=(), holding=None, findings=tuple(replace(f, check=check) for f in result.findings)
    )
    assert banner(bare).says == f"Do not {does} this set-up as it stands."


def test_a_no_go_says_do_not_grind_and_an_unknown_that_it_is_no_pass() -> None:
    assert banner(found(Verdict.NO_GO)).says == "Do not grind this set-up as it stands."
    assert banner(found(Verdict.UNKNOWN)).says.startswith("1 answer could not be computed. That is no pass")


def test_a_result_without_findings_is_no_pass_in_words() -> None:
    nothing = replace(staged.result(), findings=(), verdict=Verdict.GO)
    assert banner(nothing).says == "Nothing was asked, so nothing was found."
