"""Which findings are told as one, worked out by hand: a gang, its consequences, and what stands apart."""

from __future__ import annotations

from dataclasses import replace

from fixturecheck.result.finding import Finding, Group, Kind, Verdict
from fixturecheck.result.grouping import grouped
from fixturecheck.wording.sentences import Together, checks_words, instance, title

DRAWINGS = {f"pawl_{i}": "part pawl" for i in range(1, 5)} | {"stop": "fixture stop", "gib": "part gib"}


def nest(part: int, gap_mm: float = 0.4, verdict: Verdict = Verdict.NO_GO) -> Finding:
    return Finding(
        check="nest",
        verdict=verdict,
        subject=f"pawl_{part}",
        says="Open.",
        kind=Kind.OPEN,
        about=(f"pawl_{part}.back", f"pawl_{part - 1}.nest"),
        value=gap_mm,
        unit="mm",
        limit=0.0,
        margin=-gap_mm,
    )


def rest(body: str, verdict: Verdict = Verdict.NO_GO) -> Finding:
    return Finding(
        check="rest", verdict=verdict, subject=body, says="Off.", kind=Kind.PLACE, about=(body,), unit="um"
    )


def test_copies_that_fail_alike_are_one_and_the_furthest_out_leads():
    findings = [nest(2, 0.3), nest(3, 0.5), nest(4, 0.4)]
    assert grouped(findings, DRAWINGS) == (Group(lead=1, like=(0, 2)),)


def test_copies_that_differ_by_rounding_are_led_by_the_first():
    """0.4 mm as three routes come to it; what is a nanometre further out still leads."""
    near = [nest(2, 0.4), nest(3, 0.4 + 6e-17), nest(4, 0.4 + 3e-13)]
    assert grouped(near, DRAWINGS) == (Group(lead=0, like=(1, 2)),)
    assert grouped([nest(2, 0.4), nest(3, 0.400001)], DRAWINGS) == (Group(lead=1, like=(0,)),)


def test_another_drawing_face_cut_unit_or_verdict_is_not_alike():
    one = nest(2)
    others = [
        replace(one, about=("gib.back", "pawl_1.nest")),
        replace(one, about=("pawl_3.front", "pawl_2.nest")),
        replace(one, about=("pawl_3.back", "stop.nest")),
        replace(one, cut="top"),
        replace(one, unit="um"),
        replace(one, kind=Kind.DRAWN_OPEN),
        replace(nest(3), verdict=Verdict.CAUTION),
        replace(nest(3), verdict=Verdict.CAUTION, overruled=Verdict.NO_GO),
        replace(one, kind=None),
        replace(one, about=()),
    ]
    groups = grouped([one, *others], DRAWINGS)
    assert [(g.lead, g.like) for g in groups] == [(i, ()) for i in range(len(others) + 1)]


def test_what_follows_from_an_open_nest_is_under_it_and_like_ones_of_it_together():
    findings = [rest("pawl_2"), rest("pawl_3"), nest(2), nest(3)]
    assert grouped(findings, DRAWINGS) == (Group(lead=2, like=(3,), follows=(Group(lead=0, like=(1,)),)),)


def test_the_part_that_the_nest_stands_on_is_not_moved_by_it():
    groups = grouped([nest(2), rest("pawl_1")], DRAWINGS)
    assert [g.lead for g in groups] == [0, 1]


def test_both_parts_of_an_overlap_are():
    shared = replace(nest(2), kind=Kind.OVERLAP, about=("pawl_1", "pawl_2"))
    groups = grouped([shared, rest("pawl_1"), rest("pawl_2")], DRAWINGS)
    assert groups == (Group(lead=0, follows=(Group(lead=1, like=(2,)),)),)


def test_nothing_follows_from_what_is_no_no_go():
    for cause in (
        nest(2, verdict=Verdict.CAUTION),
        replace(nest(2), verdict=Verdict.GO, overruled=Verdict.NO_GO),
        replace(nest(2), kind=Kind.BESIDE_THE_NEST),
    ):
        assert len(grouped([cause, rest("pawl_2")], DRAWINGS)) == 2


def test_what_is_go_or_overruled_stands_for_itself():
    kept = [rest("pawl_2", Verdict.GO), replace(rest("pawl_2"), verdict=Verdict.GO, overruled=Verdict.NO_GO)]
    assert len(grouped([nest(2), *kept], DRAWINGS)) == 3


def test_a_wheel_that_hits_a_moved_part_is_no_consequence():
    hit = replace(rest("pawl_2"), check="clear", kind=Kind.WHEEL_HITS)
    assert len(grouped([nest(2), hit], DRAWINGS)) == 2


def test_parts_drawn_into_each_other_cannot_be_settled_and_that_follows():
    settling = Finding(check="rest", verdict=Verdict.NO_GO, subject="staging", says="No.", kind=Kind.OVERLAPS)
    assert grouped([nest(2), settling], DRAWINGS) == (Group(lead=0, follows=(Group(lead=1),)),)
    order = replace(settling, kind=Kind.ORDER, verdict=Verdict.CAUTION)
    assert grouped([nest(2), order], DRAWINGS) == (Group(lead=0, follows=(Group(lead=1),)),)
    apart = replace(settling, kind=Kind.NO_REST)
    assert len(grouped([nest(2), apart], DRAWINGS)) == 2


def test_every_finding_is_in_one_group():
    findings = [nest(2), rest("pawl_2"), rest("pawl_4"), nest(3), rest("pawl_3", Verdict.UNKNOWN), nest(4)]
    groups = grouped(findings, DRAWINGS)
    told = sorted(i for g in groups for one in (g, *g.follows) for i in one.members())
    assert told == list(range(len(findings)))


def waits(check: str) -> Finding:
    return Finding(
        check=check,
        verdict=Verdict.UNKNOWN,
        subject="the set-up",
        says="Not worked out.",
        kind=Kind.WAITS,
        about=("pawl_2.back",),
    )


def test_checks_that_wait_for_one_clash_are_told_once():
    findings = [nest(2), waits("hold"), waits("crash"), waits("release")]
    assert grouped(findings, DRAWINGS) == (Group(lead=0, follows=(Group(lead=1, like=(2, 3)),)),)
    together = Together(finding=findings[1], like=tuple(findings[2:]))
    assert checks_words(together) == "hold, crash, release, waits"
    assert title(together) == "the set-up"
    assert instance(together) == ""


def test_like_findings_about_several_parts_say_how_many_there_are():
    together = Together(finding=nest(2), like=(nest(3),))
    assert checks_words(together) == "nest, open"
    assert title(together) == "back of pawl_2 and pawl_3 (2 alike)"
    assert instance(together) == "For one: "
