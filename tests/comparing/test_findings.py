"""Findings before and after: which is which, and whether it got better."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixturecheck.comparing.model import Trend, baseline_of, baseline_text, read_baseline, with_baseline
from fixturecheck.comparing.whole import compared
from fixturecheck.errors import SetupError
from fixturecheck.result.finding import Finding, Kind, NotAsked, Verdict, WhyNotAsked
from tests.comparing.sides import box, opening, side

MIRROR = {Trend.WORSE: Trend.BETTER, Trend.BETTER: Trend.WORSE, Trend.NEW: Trend.GONE,
          Trend.GONE: Trend.NEW, Trend.SAME: Trend.SAME}  # fmt: skip

FINDINGS = st.builds(
    Finding,
    check=st.sampled_from(["seat", "clear"]),
    verdict=st.sampled_from(Verdict),
    subject=st.sampled_from(["s", "t"]),
    says=st.just("So."),
    kind=st.sampled_from([Kind.CLOSED, Kind.OPEN, Kind.NOT_MEANT]),
    about=st.sampled_from([("a",), ("b",), ("a.top", "b.left"), ()]),
    value=st.none() | st.integers(-3, 3).map(float),
    margin=st.none() | st.integers(-3, 3).map(float),
    unit=st.sampled_from(["mm", "share"]),
    location_mm=st.none() | st.tuples(*[st.integers(0, 9).map(float)] * 3),
)


@settings(max_examples=40)
@given(st.lists(FINDINGS, max_size=8))
def test_a_result_compared_with_itself_says_nothing(findings):
    one = side(*findings)
    found = compared(one, one)
    assert {c.change for c in found.findings} <= {Trend.SAME}
    assert not [c for c in found.findings if c.breaks or c.unknown or c.differs]
    assert (found.stated, [s for s in found.solids if s.redrawn]) == ((), [])


@settings(max_examples=40)
@given(st.lists(FINDINGS, max_size=6), st.lists(FINDINGS, max_size=6))
def test_the_way_back_mirrors_the_way_there(before, after):
    one, other = side(*before), side(*after)
    there, back = compared(one, other), compared(other, one)

    def counted(found, turn):
        rows = [(turn[c.change], c.finding.check) for c in found.findings]
        return sorted(rows, key=str)

    assert len(there.findings) == len(back.findings)
    assert counted(there, MIRROR) == counted(back, {c: c for c in Trend})


@pytest.mark.parametrize(
    ("was", "now", "change", "breaks"),
    [
        (0.4, 0.0, Trend.BETTER, False),
        (0.0, 0.4, Trend.WORSE, True),
        (0.4, 0.5, Trend.WORSE, True),
        (0.5, 0.4, Trend.BETTER, False),
        (0.4, 0.4 + 1e-9, Trend.SAME, False),
        (0.0002, 0.0005, Trend.WORSE, False),
    ],
)
def test_a_nest_is_judged_by_verdict_and_margin(was, now, change, breaks):
    (found,) = compared(side(opening("b", "a", was)), side(opening("b", "a", now))).findings
    assert (found.change, found.breaks) == (change, breaks)
    assert (found.before.value, found.after.value) == (was, now)


def test_a_renamed_body_keeps_its_findings():
    """The second block is called otherwise, stands where it stood, and its nest has opened by 13 um."""
    old = side(opening("b", "a", 0.0))
    new = side(opening("stop", "a", 0.013), bodies=(box("a"), box("stop", at=(20.0, 0.0, 0.0))))
    (found,) = compared(old, new).findings
    assert (found.change, found.breaks) == (Trend.WORSE, True)
    assert found.before.about == ("stop.left", "a.right")


def test_two_points_of_one_pair_of_faces_are_told_apart_by_place():
    def touch(x, verdict):
        return Finding(check="seat", verdict=verdict, subject="a", says="So.", kind=Kind.NOT_MEANT,
                       about=("a.top", "b.left"), location_mm=(x, 0.0, 0.0))  # fmt: skip

    old = side(touch(0.0, Verdict.GO), touch(9.0, Verdict.CAUTION))
    found = compared(old, side(touch(9.1, Verdict.CAUTION))).findings
    assert [(c.change, c.finding.location_mm[0]) for c in found] == [(Trend.GONE, 0.0), (Trend.SAME, 9.1)]


def test_another_answer_to_the_same_check_of_the_same_faces_is_no_new_finding():
    deep = replace(opening("b", "a", 0.4), kind=Kind.OVERLAP, unit="mm3", value=9.6, margin=-9.6)
    (found,) = compared(side(deep), side(opening("b", "a", 0.0))).findings
    assert (found.change, found.before.unit, found.after.unit) == (Trend.BETTER, "mm3", "mm")


def test_what_can_no_longer_be_computed_is_worse_but_not_beyond_a_limit():
    lost = replace(opening("b", "a", 0.0), kind=Kind.NOT_COMPUTED, asks=Kind.OPEN, verdict=Verdict.UNKNOWN,
                   value=None, margin=None)  # fmt: skip
    found = compared(side(opening("b", "a", 0.0)), side(lost))
    assert (found.breaks, found.unknown) == (False, True)


def test_a_question_that_is_no_longer_asked_is_named():
    silent = NotAsked(check="hold", reason=WhyNotAsked.NOT_STATED, lacks="[holding]")
    assert compared(side(), side(not_asked=(silent,))).no_longer_asked == ("hold",)


def test_results_without_a_part_in_common_are_refused():
    other = side(bodies=(box("gib", size=(200.0, 10.0, 5.0), at=(0.0, 400.0, 0.0)),), called="y")
    with pytest.raises(SetupError, match=r"x .two blocks. and y .two blocks. are of different set-ups"):
        compared(side(), other)


def known(text, **of):
    return read_baseline(text.encode(), "known.json", **{"setup": "two blocks", "file": "", **of})


def test_a_baseline_lets_what_is_known_stand_and_nothing_new():
    first = side(opening("b", "a", 0.4), opening("c", "a", 0.2))
    read = known(baseline_text(baseline_of(first.name, "two.toml", first.findings)))
    assert [k.id for k in read.known] == ["nest/gap/b.left/a.right", "nest/gap/c.left/a.right"]
    later = side(opening("b", "a", 0.4), opening("c", "a", 0.21), opening("d", "a", 0.1))
    found = with_baseline(compared(side(), later).findings, read)
    assert {c.finding.about[0]: (c.known, c.breaks) for c in found} == {
        "b.left": (True, False),
        "c.left": (False, True),
        "d.left": (False, True),
    }


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "known.json is no baseline"),
        ('{"verdict": "go"}', "known.json is no baseline; `fixturecheck compare --write-baseline"),
        ('{"tool": "fixturecheck", "baseline": 2}', "is a baseline of version 2; this version reads 1"),
        ('{"tool": "fixturecheck", "baseline": 1}', "is a broken baseline: KeyError 'setup'"),
        (
            '{"tool": "fixturecheck", "baseline": 1, "setup": "gib", "file": "g.toml", "known": []}',
            "is the baseline of another set-up, 'gib', not of 'two blocks'",
        ),
    ],
)
def test_what_is_no_baseline_is_refused_in_one_line(text, says):
    with pytest.raises(SetupError) as refused:
        known(text, file="two.toml")
    (line,) = refused.value.problems
    assert says in line
