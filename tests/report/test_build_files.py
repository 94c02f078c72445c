"""What a build server reads of a result: JUnit XML, SARIF, Markdown, lines of a log.

The rules of JUnit XML are those of the schema that Jenkins publishes for its xunit plug-in (junit-10.xsd),
written down here as data: which elements and attributes there are. Those of SARIF are of OASIS, SARIF 2.1.0,
sections 3.14, 3.19, 3.27 and 3.30 (from memory).
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import validate
from junitparser import Error, Failure, JUnitXml, Skipped

from fixturecheck.report.build_files import (
    BuildResult,
    annotation_lines,
    junit_xml,
    sarif_dict,
    summary_markdown,
)
from fixturecheck.result.finding import Finding, Kind, NotAsked, Origin, Verdict, WhyNotAsked
from fixturecheck.result.grouping import identified
from fixturecheck.result.stored import SCHEMA_VERSION, StoredResult

OPEN = Finding(
    check="nest", verdict=Verdict.NO_GO, subject="b.left on a.right", says="The nest stays open by 0.4 mm.",
    kind=Kind.OPEN, about=("b.left", "a.right"), value=0.4, unit="mm", limit=0.001, margin=-0.399,
    remedy="Chamfer it.", origin=Origin(file="two.toml", line=7),
)  # fmt: skip
CLOSE = replace(OPEN, check="clear", verdict=Verdict.CAUTION, kind=Kind.WHEEL_CLOSE, about=("a",), cut="top")
LOST = replace(OPEN, verdict=Verdict.UNKNOWN, kind=Kind.NOT_COMPUTED, value=None, about=("c.left", "b.right"),
               origin=Origin(file="shop/own.toml"))  # fmt: skip
GOOD = replace(OPEN, check="seat", verdict=Verdict.GO, kind=Kind.CLOSED, about=("a.foot", "chuck.top"))


def result(*findings: Finding, file="models/two.toml", known=frozenset(), **more) -> BuildResult:
    told = {
        "path": "models/two.toml",
        "schema": SCHEMA_VERSION,
        "name": "two <blocks> & more",
        "file": "two.toml",
        "sources": (),
        "verdict": Verdict.NO_GO,
        "units": "mm",
        "findings": identified(findings or (OPEN, CLOSE, LOST, GOOD)),
        "not_asked": (NotAsked(check="hold", reason=WhyNotAsked.NOT_STATED, lacks="[holding]"),),
    }
    return BuildResult(stored=StoredResult(**{**told, **more}), file=file, known=known)


ALLOWED = {
    "testsuites": ({"testsuite"}, {"name", "time", "tests", "failures", "errors"}, set()),
    "testsuite": (
        {"testsuite", "properties", "testcase", "system-out", "system-err"},
        {"name", "tests", "failures", "errors", "group", "time", "skipped", "timestamp", "hostname", "id",
         "package", "file", "log", "url"},
        {"name", "tests", "failures", "errors"},
    ),
    "testcase": (
        {"skipped", "error", "failure", "rerunFailure", "rerunError", "flakyFailure", "flakyError",
         "system-out", "system-err"},
        {"name", "time", "classname", "group"},
        {"name"},
    ),
    "failure": (set(), {"type", "message"}, set()),
    "error": (set(), {"type", "message"}, set()),
    "skipped": (set(), {"type", "message"}, set()),
    "system-out": (set(), set(), set()),
}  # fmt: skip
"""By element: which elements it may hold, which attributes it may have, and which it must have."""


def read(text: str) -> ET.Element:
    return ET.fromstring(text)  # noqa: S314 -- our own text


def assert_allowed(element: ET.Element) -> None:
    inside, may, must = ALLOWED[element.tag]
    assert {e.tag for e in element} <= inside
    assert must <= set(element.attrib) <= may, element.tag
    for one in element:
        assert_allowed(one)


def test_junit_xml_is_what_the_schema_allows_and_another_library_reads():
    text = junit_xml([result(), result(GOOD)])
    assert_allowed(read(text))
    first, second = JUnitXml.fromstring(text.encode())
    assert (first.name, first.tests, first.failures, first.errors, first.skipped) == (
        "two <blocks> & more", 5, 1, 1, 1,
    )  # fmt: skip
    assert (second.tests, second.failures) == (2, 0)
    kinds = {case.name: [type(r) for r in case.result] for case in first}
    assert kinds == {
        "nest/gap/b.left/a.right": [Failure],
        "clear/wheel-clearance/a@top": [],
        "nest/not-computed/c.left/b.right": [Error],
        "seat/share/a.foot/chuck.top": [],
        "hold": [Skipped],
    }
    (failed,) = [r for case in first for r in case.result if isinstance(r, Failure)]
    assert failed.message == "The nest stays open by 0.4 mm."
    assert failed.text.splitlines() == [
        "models/two.toml:7",
        "The nest stays open by 0.4 mm.",
        "0.4\u202fmm (limit 0.001\u202fmm)",
        "change: Chamfer it.",
    ]


@settings(max_examples=20)
@given(st.text(), st.text(min_size=1))
def test_whatever_a_sentence_holds_the_xml_is_read(says, subject):
    text = junit_xml([result(replace(OPEN, says=says, subject=subject), name=subject)])
    assert_allowed(read(text))


def test_what_is_known_does_not_fail():
    one = result()
    known = replace(one, known=frozenset(f.id for f in one.stored.findings))
    root = read(junit_xml([known]))
    assert (root.get("failures"), root.get("errors")) == ("0", "0")
    assert annotation_lines([known], "plain") == []
    told = sarif_dict([known], {})["runs"][0]["results"]
    assert {r["suppressions"][0]["kind"] for r in told} == {"external"}


SARIF = {
    "type": "object",
    "required": ["version", "runs"],
    "properties": {
        "version": {"const": "2.1.0"},
        "runs": {
            "items": {
                "required": ["tool", "results"],
                "properties": {
                    "tool": {"properties": {"driver": {"required": ["name", "rules"], "properties": {
                        "rules": {"uniqueItems": True, "items": {"required": ["id"]}}}}}},
                    "results": {
                        "items": {
                            "required": ["ruleId", "level", "message", "locations"],
                            "properties": {
                                "level": {"enum": ["none", "note", "warning", "error"]},
                                "message": {"required": ["text"]},
                                "ruleIndex": {"type": "integer", "minimum": 0},
                                "partialFingerprints": {"additionalProperties": {"type": "string"}},
                                "locations": {"minItems": 1, "items": {"properties": {"physicalLocation": {
                                    "required": ["artifactLocation"], "properties": {
                                        "artifactLocation": {"required": ["uri"], "properties": {
                                            "uri": {"pattern": "^[^\\s\\\\]+$"}}},
                                        "region": {"properties": {"startLine": {"minimum": 1}}},
                                    }}}}},
                            },
                        }
                    },
                },
            }
        },
    },
}  # fmt: skip


def test_sarif_leads_to_the_line_of_each_finding_that_is_not_go():
    told = sarif_dict([result(file="my models/two.toml")], {"nest": "Neighbours nested in a gang"})
    validate(json.loads(json.dumps(told)), SARIF)
    (run,) = told["runs"]
    assert [(r["id"], r["shortDescription"]["text"]) for r in run["tool"]["driver"]["rules"]] == [
        ("clear", "clear"),
        ("nest", "Neighbours nested in a gang"),
    ]
    places = [
        (r["level"], r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"],
         r["locations"][0]["physicalLocation"]["region"]["startLine"])
        for r in run["results"]
    ]  # fmt: skip
    assert places == [
        ("error", "my%20models/two.toml", 7),
        ("warning", "my%20models/two.toml", 7),
        ("error", "my%20models/shop/own.toml", 1),
    ]
    assert run["results"][0]["partialFingerprints"] == {"findingId/v1": "nest/gap/b.left/a.right"}
    assert all(run["tool"]["driver"]["rules"][r["ruleIndex"]]["id"] == r["ruleId"] for r in run["results"])


def test_the_summary_is_a_table_whose_cells_hold_any_text():
    text = summary_markdown([result(replace(OPEN, says="a | b <script>"), GOOD)])
    rows = [line for line in text.splitlines() if line.startswith("|")]
    assert len(rows) == 3
    # A bar that is part of a cell is escaped, so that every row has six cells.
    assert {len(re.findall(r"(?<!\\)\|", row)) for row in rows} == {7}
    assert "a \\| b \\<script>" in rows[2]
    assert "1 of 2 findings are go." in text
    assert "Not asked: hold." in text


def test_the_blocks_of_a_summary_are_one_blank_line_apart():
    text = summary_markdown([result(GOOD), result(OPEN)])
    assert "\n\n\n" not in text
    assert "\n\n1 of 1 findings are go.\n" in text


@pytest.mark.parametrize(
    ("form", "line"),
    [
        (
            "plain",
            "models/two.toml:7: error: nest: b.left on a.right: The nest stays open by 0.4 mm. 0.4 mm "
            "(limit 0.001 mm) change: Chamfer it. [nest/gap/b.left/a.right]",
        ),
        (
            "workflow",
            "::error file=models/two.toml,line=7,title=nest%3A b.left on a.right::The nest stays open by "
            "0.4 mm. 0.4 mm (limit 0.001 mm) change: Chamfer it.",
        ),
    ],
)
def test_a_line_of_a_log_leads_to_file_and_line(form, line):
    assert annotation_lines([result()], form)[0] == line
    assert len(annotation_lines([result()], form)) == 3
