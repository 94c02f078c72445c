"""Studies: what they state, which variants they take, how far a parameter can go, and what a crash costs."""

from __future__ import annotations

import csv
import io
import math
import multiprocessing
import re
import time
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from junitparser import JUnitXml

from fixturecheck.errors import SetupError
from fixturecheck.report.study import (
    WIDE,
    best_words,
    flip_words,
    parallel_plot,
    region_map,
    slices,
    study_junit,
    study_markdown,
    study_page,
    study_text,
)
from fixturecheck.result.finding import Kind, Verdict, judge
from fixturecheck.runs.variant import at_most, crashed
from fixturecheck.study.model import (
    Flip,
    QuestionMargin,
    StudyFound,
    Take,
    Variant,
    VariantRow,
    best_of,
    margin_share,
)
from fixturecheck.study.read import read_study
from fixturecheck.study.store import study_dict, table_csv
from fixturecheck.study.variants import flips_of, variants_of, work_through
from tests.report.test_build_files import assert_allowed
from tests.study.deaths import halved, slept


@pytest.fixture
def stated(tmp_path):
    """Read a study from its text, beside two set-ups."""
    for name in ("a.toml", "b.toml"):
        (tmp_path / name).write_text("")

    def read(parameters: str, head: str = ""):
        path = tmp_path / "study.toml"
        path.write_text(f'[study]\nsetups = ["a.toml"]\n{head}\n{parameters}')
        return read_study(path)

    return read


LEG = '[[parameter]]\nset = "leg"\n'
RANGE = '[[parameter]]\nset = "leg"\nrange = [0.5, 1.5]\nsteps = 3\n'
LEG_STEEL = '[[parameter]]\nset = "steel"\nvalues = ["O1", "A2"]\n'
TOGETHER = '[[parameter]]\nname = "kind"\nsets = ["wide", "tall"]\nvalues = [[1, "low"], [2, "high"]]\n'
SPREAD = '[[parameter]]\nset = "width"\nnominal = 10.0\ntolerance = 0.6\n'


def test_all_combinations_are_taken_and_what_goes_together_stays_together(stated):
    variants = variants_of(stated(RANGE + TOGETHER))
    assert [dict(v.overrides) for v in variants] == [
        {"leg": leg, "wide": wide, "tall": tall}
        for leg in ("0.5", "1", "1.5")
        for wide, tall in (("1", "low"), ("2", "high"))
    ]
    assert variants[0].values == {"leg": 0.5, "kind": 1}


@pytest.mark.parametrize("take", ["sobol", "latin"])
def test_a_sample_fills_the_space_and_is_the_same_for_the_same_seed(stated, take):
    first, again, other = (
        variants_of(stated(RANGE + SPREAD, f'take = "{take}"\ncount = 32\nseed = {seed}'))
        for seed in (1, 1, 2)
    )
    assert len(first) == 32
    assert first == again
    assert first != other
    legs = sorted(v.values["leg"] for v in first)
    # One in each of 32 equal parts of the range, as both ways of sampling promise.
    assert [int((leg - 0.5) * 32) for leg in legs] == list(range(32))


def test_values_within_a_tolerance_spread_normally_and_none_beyond_it(stated):
    """A sixth of the zone is the standard deviation (as everywhere here): 0.1 about 10."""
    variants = variants_of(stated(SPREAD, 'take = "sobol"\ncount = 1024'))
    values = np.array([v.values["width"] for v in variants])
    assert values.mean() == pytest.approx(10.0, abs=1e-3)
    assert values.std() == pytest.approx(0.1, rel=0.02)
    assert 9.7 <= values.min() < values.max() <= 10.3


@pytest.mark.parametrize(
    ("parameters", "head", "says"),
    [
        ("", "", "line 1: the study has no variants: state a [[parameter]], or several setups"),
        (
            '[[parameter]]\nset = "leg"\nrange = [2, 1]\nsteps = 3',
            "",
            "line 6: range runs backwards: 2 is not below 1",
        ),
        (
            '[[parameter]]\nset = "leg"\nrange = [1, 2]',
            "",
            "needs steps, 2 or more, where all combinations are taken",
        ),
        (SPREAD, "", "spreads within a tolerance: take a sample, sobol or latin"),
        (
            '[[parameter]]\nset = "leg"',
            "",
            "states values, range or nominal with tolerance; one of the three",
        ),
        ('[[parameter]]\nset = "leg"\nvalues = []', "", "values must be a list with at least one value"),
        (RANGE, 'take = "sobel"', "line 3: take in [study]: 'sobel' is unknown; use all, sobol or latin"),
        (RANGE, "count = 0", "count in [study]: must be from 1 to 100000; got 0"),
        (RANGE, 'only = ["nests"]', "there is no check 'nests'"),
        (RANGE + RANGE, "", "two parameters are called 'leg'"),
        (RANGE.replace("steps", "stops"), "", "unknown key 'stops'"),
    ],
)
def test_what_is_no_study_is_refused_with_its_line(stated, parameters, head, says):
    with pytest.raises(SetupError) as refused:
        stated(parameters, head)
    assert says in "\n".join(refused.value.problems)


def row(verdict=Verdict.GO, least=None, **values) -> VariantRow:
    overrides = {n: str(v) for n, v in values.items()}
    variant = Variant(setup="a.toml", values=values, overrides=overrides)
    shares = () if least is None else least if isinstance(least, tuple) else (least,)
    margins = tuple(
        QuestionMargin(question=f"seat/{n}", least=share, unit="mm", share=share)
        for n, share in enumerate(shares)
    )
    return VariantRow(key=repr(values), variant=variant, verdict=verdict, margins=margins)


def test_a_flip_is_found_between_two_values_that_were_checked(stated):
    """It passes from a root of two below 1.5 upward; the other way to the end of the range."""
    study = stated(RANGE + "flip_within = 1e-5\n")
    seen = []

    def evaluate(variant):
        value = float(variant.overrides["leg"])
        seen.append(value)
        return row(Verdict.GO if value >= math.sqrt(0.5) else Verdict.NO_GO, leg=value)

    down, up = flips_of(study, row(leg=1.0), (), evaluate)
    assert (down.upward, up.upward, up.fails_at, up.passes_at) == (False, True, None, 1.5)
    assert down.fails_at < math.sqrt(0.5) <= down.passes_at
    assert down.passes_at - down.fails_at <= 1e-5
    assert {down.passes_at, down.fails_at} <= set(seen)
    assert len(seen) <= 2 + math.ceil(math.log2(0.5 / 1e-5))


def test_a_verdict_that_turns_twice_flips_where_it_turns_first(stated):
    """The end of the range passes; a variant of the sample between does not."""
    study = stated(RANGE + "flip_within = 1e-3\n" + SPREAD, 'take = "latin"')

    def evaluate(variant):
        value = float(variant.overrides["leg"])
        return row(Verdict.NO_GO if 1.1 < value < 1.3 else Verdict.GO, leg=value, width=10.0)

    base = row(leg=1.0, width=10.0)
    elsewhere = row(Verdict.NO_GO, leg=0.9, width=9.9)
    sampled = (base, row(Verdict.NO_GO, leg=1.25, width=10.0), elsewhere)
    down, up, _, _ = flips_of(study, base, sampled, evaluate)
    assert (down.passes_at, down.fails_at) == (0.5, None)
    assert up.passes_at <= 1.1 < up.fails_at <= up.passes_at + 1e-3


def test_a_zone_is_gone_through_to_its_ends_and_a_list_to_its_last_value_that_passes(stated):
    pairs = '[[parameter]]\nname = "kind"\nsets = ["wide", "tall"]\nvalues = [[4, 1], [1, 2], [2, 3]]\n'
    words = '[[parameter]]\nset = "steel"\nvalues = ["O1", "A2"]\n'
    study = stated(SPREAD + pairs + words, 'take = "sobol"')
    seen = []

    def evaluate(variant):
        seen.append(dict(variant.overrides))
        wide, width = float(variant.overrides["wide"]), float(variant.overrides["width"])
        good = wide < 4 and width <= 10.1
        return row(Verdict.GO if good else Verdict.NO_GO, width=width, kind=wide)

    variant = Variant(
        setup="a.toml",
        values={"width": 10.0, "kind": 1, "steel": "O1"},
        overrides={"width": "10", "wide": "1", "tall": "2", "steel": "O1"},
    )
    base = replace(row(), variant=variant)
    down, up, more = flips_of(study, base, (base,), evaluate)
    assert (down.parameter, down.passes_at, down.fails_at) == ("width", 9.7, None)
    assert up.passes_at <= 10.1 <= up.fails_at <= up.passes_at + 1e-3 * 0.6
    assert (more.parameter, more.upward, more.passes_at, more.fails_at) == ("kind", True, 2.0, 4.0)
    assert {"width": "10", "wide": "4", "tall": "1", "steel": "O1"} in seen


def test_the_best_passes_and_has_the_greatest_least_margin(stated):
    study = stated(RANGE)
    rows = (
        row(least=0.2, leg=1),
        row(Verdict.NO_GO, 9.0, leg=2),
        row(Verdict.CAUTION, 0.3, leg=3),
        row(leg=4),
    )
    assert best_of(study, rows) is rows[2]
    assert best_of(replace(study, strict=True), rows) is rows[0]
    assert best_of(study, rows[1:2]) is None
    # Of two that come as near to one limit, the one further from the next.
    tied = tuple(row(least=s, leg=x) for x, s in ((1, (0.1, 0.2)), (2, (0.1, 0.9)), (3, (0.1, 0.3))))
    assert best_of(study, tied) is tied[1]


def test_the_room_of_a_share_ends_at_the_whole():
    """100 % where 99.9 % are asked is all that there can be, not a thousandth of the limit."""

    def share(value, unit="share", **limit):
        says = {"check": "reach", "subject": "floor", "says": "", "kind": Kind.FACE_MADE}
        return margin_share(judge(value, unit=unit, short=Verdict.NO_GO, **limit, **says))

    assert share(1.0, at_least=0.999) == pytest.approx(1.0)
    assert share(0.9995, at_least=0.999) == pytest.approx(0.5)
    assert share(0.9, at_least=1.0) == pytest.approx(-0.1)
    assert share(0.001, at_most=0.0027) == pytest.approx(17 / 27)
    assert share(3.0, "mm", at_least=1.0) == pytest.approx(2.0)


def test_of_variants_that_are_as_good_the_first_is_taken_and_the_rest_counted(stated):
    rows = (row(least=0.1, leg=1), row(least=0.3, leg=2), row(least=0.3 + 1e-15, leg=3), row(leg=4))
    found = StudyFound(study=stated(RANGE), rows=rows)
    assert found.best is rows[1]
    assert best_words(found) == (
        "Best: leg = 2: its least margin is 0.3\u202fmm (30 %), of seat/0. Another is as good; it is the "
        "first of them in the study's order."
    )
    assert best_words(replace(found, rows=rows[:2])).endswith("(30 %), of seat/0.")


def test_what_a_study_found_speaks_of_its_folder_in_the_words_of_its_findings(stated):
    """No path of this machine, and no id where a sentence is read."""
    says = "a and b stand 12 µm apart."
    failed = replace(row(Verdict.NO_GO, leg=2.0), driver="nest/gap/a.left/b.right", says=says)
    study = stated(RANGE)
    setup = study.setups[0]
    rows = tuple(replace(r, variant=replace(r.variant, setup=setup)) for r in (row(leg=1.0), failed))
    flip = Flip(setup=setup, parameter="leg", upward=True, passes_at=1.0, fails_at=2.0, verdict=Verdict.NO_GO,
                driver=failed.driver, says=says)  # fmt: skip
    found = StudyFound(study=study, rows=rows, flips=(flip,))
    assert table_csv(found).splitlines()[1].startswith(f"{Path(setup).name},")
    told = study_dict(found)
    assert told["best"]["setup"] == told["flips"][0]["setup"] == Path(setup).name
    assert told["flips"][0]["says"] == says
    page = study_page(found)
    assert page.count(says) == 2
    assert failed.driver not in page
    assert study_text(found).endswith(f"leg can go up to 1; at 2 it is no-go: {says}")
    barely = replace(flip, passes_as=Verdict.CAUTION)
    assert flip_words(study, replace(barely, fails_at=None)) == (
        "leg can go up to 1, the end of its range, where it is caution."
    )
    assert flip_words(study, barely).startswith("leg can go up to 1, where it is caution; at 2 it is no-go: ")
    # Of several set-ups it is told which one is meant.
    both = replace(study, setups=(*study.setups, str(Path(setup).with_name("b.toml"))))
    told = study_text(replace(found, study=both))
    assert "Best: a.toml with leg = 1." in told
    assert f"a.toml: leg can go up to 1; at 2 it is no-go: {says}" in told


def test_where_none_passes_the_page_is_unknown_while_one_may(stated):
    lost, failed = row(Verdict.UNKNOWN, leg=1.0), row(Verdict.NO_GO, leg=2.0)
    study = stated(RANGE)
    assert StudyFound(study=study, rows=(lost, failed)).verdict is Verdict.UNKNOWN
    assert StudyFound(study=study, rows=(failed,)).verdict is Verdict.NO_GO
    assert 'is-unknown"' in study_page(StudyFound(study=study, rows=(lost, failed)))


def test_the_map_turns_where_the_verdict_does(stated):
    study = stated(RANGE + RANGE.replace('"leg"', '"gap"'))
    rows = [
        row(Verdict.GO if x + y < 2.2 else Verdict.NO_GO, leg=x, gap=y)
        for x in (0.5, 1.0, 1.5) for y in (0.5, 1.0, 1.5)
    ]  # fmt: skip
    drawn = region_map(study, rows, rows[0])
    assert drawn.count("✓") == 6
    assert drawn.count("✕") == 3
    assert drawn.count("<circle") == 1
    assert 'stroke-width="2.4"' in drawn
    assert parallel_plot(study, rows) == ""
    study = stated(RANGE + RANGE.replace('"leg"', '"gap"') + RANGE.replace('"leg"', '"<b>"'))
    rows = [row(leg=1.0, gap=0.5, **{"<b>": 1.0})]
    assert "&lt;b&gt;" in parallel_plot(study, rows)
    assert "<b>" not in parallel_plot(study, rows)


def test_each_map_holds_what_has_no_axis_in_it_still(stated):
    """All combinations of four parameters lie on one another in a map of two."""
    third = RANGE.replace('"leg"', '"step"')
    study = stated(RANGE + RANGE.replace('"leg"', '"gap"') + third + LEG_STEEL)
    rows = [
        row(Verdict.GO if z < 1.2 else Verdict.NO_GO, leg=x, gap=y, step=z, steel=steel)
        for x in (0.5, 1.5) for y in (0.5, 1.5) for z in (0.5, 1.5) for steel in ("O1", "A2")
    ]  # fmt: skip
    maps = slices(study, rows, rows[-1])
    assert [others for others, _ in maps] == [
        {"step": 1.5, "steel": "A2"}, {"step": 0.5, "steel": "O1"}, {"step": 0.5, "steel": "A2"},
        {"step": 1.5, "steel": "O1"},
    ]  # fmt: skip
    assert all(len({r.verdict for r in some}) == 1 and len(some) == 4 for _, some in maps)
    assert len(slices(replace(study, take=Take.SOBOL), rows, None)) == 1
    rows = [replace(r, variant=replace(r.variant, setup=study.setups[0])) for r in rows]
    found = StudyFound(study=study, rows=tuple(rows))
    assert "a.toml, step = 1.5, steel = O1" in study_page(found)
    # Values that an axis has room for are all written on it.
    assert ">1<" in region_map(study, [row(leg=x, gap=1.0) for x in (0.5, 1.0, 1.5)], None)


def test_a_long_name_at_either_end_stays_in_the_picture(stated):
    """A bold letter of 13 px is some 8 px wide: measured in a browser."""
    ends = ("first.of_all_the_parameters", "last.of_all_the_parameters")
    study = stated("".join(RANGE.replace('"leg"', f'"{name}"') for name in (ends[0], "leg", ends[1])))
    drawn = parallel_plot(study, [row(leg=1.0, **dict.fromkeys(ends, 1.0))])
    for name in ends:
        (at,) = re.findall(rf'<text x="([\d.]+)"[^>]*>{name}</text>', drawn)
        assert 4 * len(name) <= float(at) <= WIDE - 4 * len(name)


def test_the_table_has_a_column_for_each_parameter_and_margin(stated):
    one = replace(row(leg=1.0), margins=(QuestionMargin(question="nest/gap", least=0.001, unit="mm"),))
    study = replace(stated(RANGE), home="")
    lines = table_csv(StudyFound(study=study, rows=(one,))).splitlines()
    heads, values = (line.split(",") for line in lines)
    assert dict(zip(heads, values, strict=True)) | {"says": ""} == {
        "setup": "a.toml", "leg": "1.0", "verdict": "go", "passes": "True", "driver": "", "value": "",
        "unit": "", "limit": "", "margin": "", "least_share": "", "least_of": "",
        "looked_for_flip": "False", "says": "", "operation": "", "margin nest/gap mm": "0.001",
    }  # fmt: skip


def test_numbers_are_in_the_unit_of_their_setup_and_columns_name_it(stated):
    """1 in = 25.4 mm exactly, 1 lbf = 4.4482216152605 N exactly (NIST SP 811, B.8)."""
    wheel = QuestionMargin(question="clear/wheel", least=25.4, unit="mm")
    grip = QuestionMargin(question="hold/factor", least=4.4482216152605, unit="N")
    numbers = {"value": 50.8, "unit": "mm", "limit": 25.4, "margin": 25.4, "margins": (wheel, grip)}
    one = replace(row(Verdict.NO_GO, leg=1.0), **numbers, units="inch")
    found = StudyFound(study=replace(stated(RANGE), home=""), rows=(one, replace(one, units="mm")))
    inch, metric = csv.DictReader(io.StringIO(table_csv(found)))
    told = ("value", "unit", "limit", "margin", "margin clear/wheel in", "margin hold/factor lbf")
    assert [inch[head] for head in told] == ["2.0", "in", "1.0", "1.0", "1.0", "1.0"]
    told = ("value", "unit", "limit", "margin", "margin clear/wheel mm", "margin hold/factor N")
    assert [metric[head] for head in told] == ["50.8", "mm", "25.4", "25.4", "25.4", "4.4482216152605"]
    page = study_page(found)
    assert "2\u202fin" in page
    assert "50.8\u202fmm" in page


def test_a_margin_that_nothing_changes_is_not_told_of_a_variant(stated):
    """The guard has 0 to spare in both; the wheel clears by 2 mm and 3 mm of 1 mm asked."""
    guard = QuestionMargin(question="limits/guard", least=0.0, unit="deg", share=0.0)
    rows = [
        replace(
            row(leg=leg),
            margins=(guard, QuestionMargin(question="clear/wheel", least=mm, unit="mm", share=mm)),
        )
        for leg, mm in ((1.0, 2.0), (2.0, 3.0))
    ]
    found = StudyFound(study=stated(RANGE), rows=tuple(rows))
    assert best_words(found) == "Best: leg = 2: its least margin is 3\u202fmm (300 %), of clear/wheel."
    lines = study_markdown(found).splitlines()
    assert "| 1 | go | least to spare: clear/wheel |  |  | 2 mm (200 %) |" in lines
    assert [r["least_of"] for r in csv.DictReader(io.StringIO(table_csv(found)))] == ["clear/wheel"] * 2
    # With one variant nothing is known of what would change.
    assert "limits/guard" in best_words(replace(found, rows=found.rows[:1]))


def test_a_summary_has_a_row_for_each_variant_and_keeps_the_marks_of_markdown_apart(stated):
    lost = replace(row(Verdict.NO_GO, leg=2.0), says="a | b", value=0.4, unit="mm", limit=0.001)
    lines = study_markdown(StudyFound(study=stated(RANGE), rows=(row(leg=1.0), lost))).splitlines()
    assert lines[0] == "## \u2713 GO: study"
    assert "2 variants: 1 go, 1 no-go." in lines
    assert "| 2 | no-go | a \\| b | 0.4 mm | 0.001 mm |  |" in lines


def test_a_case_of_junit_xml_stands_for_each_variant(stated):
    lost = replace(row(Verdict.UNKNOWN, leg=3.0), says="<Lost> & so.")
    rows = (row(leg=1.0), row(Verdict.NO_GO, leg=2.0), lost)
    text = study_junit(StudyFound(study=stated(RANGE), rows=rows))
    assert_allowed(ElementTree.fromstring(text))  # noqa: S314 -- our own text
    (suite,) = JUnitXml.fromstring(study_junit(StudyFound(study=stated(RANGE), rows=rows)).encode())
    assert (suite.tests, suite.failures, suite.errors) == (3, 1, 1)
    assert [(case.name, [r.message for r in case.result]) for case in suite] == [
        ("leg = 1", []),
        ("leg = 2", [""]),
        ("leg = 3", ["<Lost> & so."]),
    ]


def test_a_process_that_dies_is_one_answer_and_never_the_end():
    def pool(workers):
        return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))

    found = {}
    work_through(
        [2, 4, 5, 6, 8, 10], halved, pool=pool, at_once=2, done=found.__setitem__, crashed=lambda _n: None
    )
    assert found == {2: 1.0, 4: 2.0, 5: None, 6: 3.0, 8: 4.0, 10: 5.0}


@pytest.mark.parametrize("alone", [True, False])
def test_all_work_from_the_start_unless_the_first_leaves_something_for_the_others(alone):
    """Each piece of work says how many were handed out when its answer was looked for."""
    handed_out: list[int] = []

    class Pool(ThreadPoolExecutor):
        def submit(self, _work, thing, /):
            handed_out.append(thing)
            future = Future()
            future.result = lambda: len(handed_out)
            future.set_result(None)
            return future

    found: dict[int, int] = {}
    work_through(
        [1, 2, 3], abs, pool=Pool, at_once=2, done=found.__setitem__, crashed=abs, first_alone=alone
    )  # fmt: skip
    assert found[1] == (1 if alone else 2)


def test_what_takes_too_long_ends_its_process_and_is_one_answer_too():
    """Whatever holds it up, as a kernel that lets nothing else of its process run; here it is sleep."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        assert pool.submit(slept, 0.0, 30.0).result() == 0.0
        with pytest.raises(BrokenProcessPool):
            pool.submit(slept, 60.0, 0.1).result()
    task = ("key", row(leg=1.0).variant, None, (), 900.0)
    assert crashed(task).says.endswith("crashed, memory ran out, or it took more than 900 s.")
    # Nobody else's process is ended.
    with at_most(0.01):
        time.sleep(0.05)
