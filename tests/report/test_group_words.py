"""Findings told as one: how many, of what, from how much to how much, and each of them within reach."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from fixturecheck.report.html import page
from fixturecheck.report.order import numbered
from fixturecheck.report.statements import counted_words
from fixturecheck.report.terminal import table
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Group, Kind, Verdict
from fixturecheck.wording import sentences as words
from fixturecheck.wording.sentences import Together
from tests.report import staged


def nest(part: int, gap_mm: float) -> Finding:
    return Finding(
        check="nest",
        verdict=Verdict.NO_GO,
        subject=f"pawl_{part}.back on pawl_{part - 1}.nest",
        says=f"A heel lands before pawl_{part} nests.",
        kind=Kind.OPEN,
        about=(f"pawl_{part}.back", f"pawl_{part - 1}.nest"),
        value=gap_mm,
        unit="mm",
        limit=0.0,
        margin=-gap_mm,
        remedy=f"Chamfer pawl_{part}.",
    )


REST = Finding(
    check="rest", verdict=Verdict.NO_GO, subject="pawl_3", says="pawl_3 rests off.", kind=Kind.PLACE
)


def gang(*gaps_mm: float) -> Result:
    findings = (*(nest(i, gap) for i, gap in enumerate(gaps_mm, start=2)), REST)
    last = len(gaps_mm)
    groups = (Group(lead=0, like=tuple(range(1, last)), follows=(Group(lead=last),)),)
    return replace(staged.result(), findings=findings, groups=groups, verdict=Verdict.NO_GO, not_asked=())


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (("pawl_4", "pawl_2", "pawl_3"), "pawl_2 to pawl_4"),
        (("pawl_2", "pawl_3"), "pawl_2 and pawl_3"),
        (("pawl_2", "pawl_3", "pawl_5"), "pawl_2, pawl_3 and pawl_5"),
        (("pawl_9", "pawl_10", "pawl_11"), "pawl_9 to pawl_11"),
        (("gib",), "gib"),
        (tuple("abcdefgh"), "a, b, c, d, e and 3 more"),
    ],
)
def test_who_is_meant_is_named_or_counted(names: tuple[str, ...], told: str) -> None:
    assert words.who([replace(REST, about=(n,)) for n in names]) == told


def test_same_numbers_are_said_once_and_others_as_a_range() -> None:
    (same,), (range_,) = numbered(gang(0.4, 0.4, 0.4)), numbered(gang(0.4, 0.3, 0.5))
    assert words.says(same.together, "mm") == "Three nests, of pawl_2 to pawl_4, stay open by 0.4\u202fmm."
    assert (
        words.says(range_.together, "mm")
        == "Three nests, of pawl_2 to pawl_4, stay open by 0.3 to 0.5\u202fmm."
    )
    assert words.says(Together(finding=nest(2, 0.4)), "mm") == ""


def test_a_group_is_counted_once_and_what_follows_is_not() -> None:
    told = counted_words(numbered(gang(0.4, 0.4, 0.4)))
    assert told == "1 no-go, 0 unknown, 0 caution, 0 go (like findings counted once)"


def test_page_and_terminal_tell_the_group_and_reach_every_member() -> None:
    result = gang(0.4, 0.4, 0.4)
    html, text = page(result, staged.setup(), pictures={}), table(result, width=300)
    for told in (html, text.replace(" mm", "\u202fmm")):
        assert "Three nests, of pawl_2 to pawl_4, stay open by 0.4\u202fmm." in told
        assert all(f.subject in told for f in result.findings)
        assert REST.says in told
    assert len(re.findall("<article", html)) == 1
    assert all(f.says in html for f in result.findings)
    assert all(f.remedy in html for f in result.findings if f.remedy)
    assert "follows: \u2715 NO-GO rest, place: pawl_3" in text


def go(part: int, **more: object) -> Finding:
    fields = {"verdict": Verdict.GO, "unit": "share", "limit": 0.5, "kind": Kind.CLOSED, **more}
    return replace(nest(part, 0.0), **fields)


@pytest.mark.parametrize(
    ("findings", "line"),
    [
        ([go(2, value=1.0), go(3, value=1.0)], "two pawls: back on nest 100 % (limit 50 %)"),
        ([go(2, value=1.0), go(3, value=0.75)], "two pawls: back on nest 75 to 100 % (limit 50 %)"),
        ([go(2, value=1.0)], "pawl_2: back on nest 100 % (limit 50 %)"),
        ([go(2, value=1.0, limit=None, about=("gib.top",))], "gib: top 100 %"),
        (
            [go(2, value=1.0, about=("gib",)), go(3, value=1.0, about=("rail",))],
            "gib and rail: 100 % (limit 50 %)",
        ),
        ([go(2, value=None, about=(), says="Stone the edge.")], "Stone the edge."),
    ],
)
def test_like_findings_that_are_go_are_one_line(findings: list[Finding], line: str) -> None:
    told = Together(finding=findings[0], like=tuple(findings[1:]))
    assert words.short(told, "mm").replace("\u202f", " ") == line
