"""Ids of findings: unique in any result, and blind to order, verdict and numbers."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from fixturecheck.checks import nest
from fixturecheck.result import Result
from fixturecheck.result.finding import (
    Finding,
    Kind,
    Verdict,
)
from fixturecheck.result.grouping import (
    EITHER_WAY,
    identified,
    name_of,
)
from tests.checks.gauged import all_gauged, body
from tests.checks.test_nest import NEST
from tests.contact.staging import block

NAMES = st.text("ab_.~/@:% 2", min_size=1, max_size=3)
PLACES = st.none() | st.tuples(*[st.integers(-2, 2).map(float)] * 3)
FINDINGS = st.builds(
    Finding,
    check=st.sampled_from(["seat", "nest", "clear"]),
    verdict=st.sampled_from(Verdict),
    subject=NAMES,
    says=NAMES,
    kind=st.none() | st.sampled_from(Kind),
    asks=st.none() | st.sampled_from(Kind),
    about=st.lists(NAMES, max_size=2).map(tuple),
    cut=st.just("") | NAMES,
    named=st.just("") | NAMES,
    location_mm=PLACES,
)


def finding(**more) -> Finding:
    told = {"check": "nest", "verdict": Verdict.GO, "subject": "a", "says": "So.", "kind": Kind.CLOSED}
    return Finding(**{**told, **more})


@given(st.lists(FINDINGS, max_size=8))
def test_no_two_findings_of_a_result_share_an_id(findings):
    ids = [f.id for f in identified(findings)]
    assert len(set(ids)) == len(ids)
    assert all(ids)


@given(st.lists(FINDINGS, max_size=6), st.randoms(use_true_random=False))
def test_ids_do_not_depend_on_the_order(findings, shuffler: random.Random):
    mixed = list(findings)
    shuffler.shuffle(mixed)
    told = {(repr(replace(f, id="")), f.id) for f in identified([replace(f, id="") for f in findings])}
    assert told == {(repr(replace(f, id="")), f.id) for f in identified([replace(f, id="") for f in mixed])}


@given(FINDINGS, st.sampled_from(Verdict), st.floats(-9, 9))
def test_an_id_does_not_depend_on_verdict_and_number(one, verdict, value):
    assert name_of(replace(one, verdict=verdict, value=value, margin=value)) == name_of(one)


def test_two_bodies_that_overlap_have_one_id_whichever_is_stated_first():
    one = finding(kind=Kind.OVERLAP, about=("left", "right"))
    assert Kind.OVERLAP in EITHER_WAY
    assert name_of(one) == name_of(replace(one, about=("right", "left"))) == "nest/overlap/left/right"


def test_a_face_is_not_taken_for_a_cut_nor_a_name_for_a_number():
    about = finding(about=("a", "b"))
    others = [finding(about=("a",), cut="b"), finding(about=("a",), named="b"), finding(about=("a/b",))]
    assert len({name_of(f) for f in (about, *others)}) == 4
    twice = [finding(cut="x"), finding(cut="x"), finding(cut="x~2")]
    assert [f.id for f in identified(twice)] == [
        "nest/share@x",
        "nest/share@x~2",
        "nest/share@x%7E2",
    ]


def test_what_could_not_be_computed_has_the_id_of_what_would_have_been():
    known = finding(check="hold", kind=Kind.FACTOR, about=("gib",), cut="top")
    unknown = replace(known, kind=Kind.NOT_COMPUTED, asks=Kind.FACTOR, verdict=Verdict.UNKNOWN)
    assert name_of(known) == name_of(unknown) == "hold/factor/gib@top"


def test_a_nest_keeps_id_and_unit_whether_open_closed_or_not_known():
    """Drawn closed, 0.3 mm open, and where it never lands; its gap by arithmetic."""
    at = {0.0: (20, 0, 0), 0.3: (20.3, 0, 0), None: (21, 50, 0)}
    told = {}
    for gap_mm, place in at.items():
        pair = body("left", block(20, 12, 8)), body("right", block(20, 12, 8, place))
        found = identified([replace(f, check="nest") for f in all_gauged(nest.check, pair, NEST)])
        (told[gap_mm],) = [f for f in found if f.id == "nest/gap/right.left/left.right"]
        assert told[gap_mm].unit == "mm"
        assert told[gap_mm].value is None if gap_mm is None else abs(told[gap_mm].value - gap_mm) < 1e-6
    assert [f.verdict for f in told.values()] == [Verdict.GO, Verdict.CAUTION, Verdict.UNKNOWN]


def test_a_result_names_its_findings_anew():
    stale = replace(finding(about=("gib",)), id="old")
    made = Result(
        verdict=Verdict.GO, name="x", units="mm", sources=(), contacts=(), cuts=(), shapes=(),
        findings=(stale, stale),
    )  # fmt: skip
    assert [f.id for f in made.findings] == ["nest/share/gib", "nest/share/gib~2"]
