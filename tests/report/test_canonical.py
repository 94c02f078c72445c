"""result.json: the schema holds, the bytes repeat, the kernel's last digits do not show."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixturecheck.errors import NotComputedError
from fixturecheck.report.json import json_number, result_dict, result_json
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Verdict
from tests.report import staged

RESULT = staged.result()


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    text = files("fixturecheck.report").joinpath("result.schema.json").read_text(encoding="utf-8")
    schema = json.loads(text)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def test_result_is_valid(validator: jsonschema.Draft202012Validator) -> None:
    validator.validate(json.loads(result_json(RESULT)))


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("verdict",), "maybe"),
        (("findings", 0, "verdict"), "pass"),
        (("findings", 0, "says"), ""),
        (("contacts", 0, "kind"), "surface"),
        (("contacts", 0, "area_mm2"), -1.0),
        (("contacts", 0, "a"), "no dot"),
        (("cuts", 0, "faces", 0, "share_made"), 1.5),
        (("setup", "sources", 0, "sha256"), "short"),
        (("findings", 0, "location_mm"), [0.0, 1.0]),
        (("findings", 0, "overruled"), "maybe"),
        (("not_asked", 0, "reason"), "forgot"),
    ],
)
def test_the_schema_refuses_a_result_with_one_value_put_wrong(
    validator: jsonschema.Draft202012Validator, where: tuple[Any, ...], value: object
) -> None:
    document = json.loads(result_json(RESULT))
    at = document
    for step in where[:-1]:
        at = at[step]
    at[where[-1]] = value
    assert not validator.is_valid(document)


@pytest.mark.parametrize(
    "path",
    [
        ("verdict",),
        ("setup", "sources"),
        ("findings", 0, "margin"),
        ("findings", 0, "shapes"),
        ("findings", 0, "overruled"),
        ("not_asked",),
        ("contacts", 0, "gap_um", "max"),
        ("cuts", 0, "corner_radius_mm"),
    ],
)
def test_schema_misses_what_is_missing(
    validator: jsonschema.Draft202012Validator, path: tuple[Any, ...]
) -> None:
    document = json.loads(result_json(RESULT))
    at = document
    for step in path[:-1]:
        at = at[step]
    del at[path[-1]]
    assert not validator.is_valid(document)


def test_noise_and_minus_zero_do_not_show() -> None:
    text = result_json(RESULT).decode()
    assert "-0.0" not in text
    assert "e-" not in text
    assert text.endswith("}\n")
    first = result_dict(RESULT)["contacts"][0]
    assert (first["a"], first["area_mm2"], first["gap_um"]["max"]) == ("gib_1.bottom", 960.0, 0.0)
    assert result_dict(RESULT)["findings"][1]["value"] == 300.0


@settings(max_examples=60)
@given(st.permutations(range(2)), st.floats(-1e-9, 1e-9), st.permutations(range(5)))
def test_order_of_contacts_and_last_digits_change_nothing(
    order: list[int], noise: float, shape_order: list[int]
) -> None:
    moved = [
        replace(c, area_mm2=c.area_mm2 + noise, centroid=tuple(v + noise for v in c.centroid))
        for c in (RESULT.contacts[i] for i in order)
    ]
    findings = [replace(f, shapes=f.shapes[::-1] if shape_order[0] else f.shapes) for f in RESULT.findings]
    other = replace(RESULT, contacts=tuple(moved), findings=tuple(findings))
    assert result_json(other) == result_json(RESULT)


def test_findings_keep_the_order_of_the_checks() -> None:
    twice = replace(RESULT, findings=(*RESULT.findings, replace(RESULT.findings[0], subject="a.bottom")))
    listed = [(f["check"], f["subject"]) for f in result_dict(twice)["findings"]]
    assert listed[:3] == [("seat", "a.bottom"), ("seat", "gib_1.bottom"), ("nest", "gib_2.y_high")]


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf")])
def test_a_number_that_is_none_is_no_number(bad: float) -> None:
    broken = replace(RESULT, findings=(replace(RESULT.findings[0], value=bad),))
    with pytest.raises(NotComputedError, match=r"seat of gib_1\.bottom came out as"):
        result_json(broken)


@given(st.floats(-1e9, 1e9), st.sampled_from(["mm", "um", "mm2", "mm3", "deg", "share", ""]))
def test_rounding_is_close_and_settles(value: float, unit: str) -> None:
    once = json_number(value, unit)
    assert json_number(once, unit) == once
    assert abs(once - value) <= max(0.5e-3, 1e-8 * abs(value))
    assert str(once) != "-0.0"


def test_small_volumes_keep_their_digits() -> None:
    """A corner's leftover, 60 mm long: L r^2 (1 - pi/4) must be readable to 1e-6 of itself."""
    leftover = 60 * 0.2**2 * (1 - 3.141592653589793 / 4)
    assert json_number(leftover, "mm3") == pytest.approx(leftover, rel=1e-6)


def test_a_result_without_findings_has_an_empty_list() -> None:
    nothing = Result(
        verdict=Verdict.GO, name="none", units="mm", sources=(), findings=(), contacts=(), cuts=(), shapes=()
    )
    assert result_dict(nothing)["findings"] == []


def test_shape_names_are_listed_once() -> None:
    shape = RESULT.shapes[0]
    finding = Finding(check="seat", verdict=Verdict.GO, subject="x", says="x", shapes=(shape, shape))
    assert result_dict(replace(RESULT, findings=(finding,)))["findings"][0]["shapes"] == [shape.name]
