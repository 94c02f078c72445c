"""A result as the files that a build server reads: JUnit XML, SARIF, a summary in Markdown, lines of a log.

All are made of what result.json holds, so that nothing is computed for them, and the kernel is not loaded.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path, PurePath
from typing import Any
from xml.etree import ElementTree as ET

from fixturecheck.result.finding import BADNESS, Finding, Verdict
from fixturecheck.result.stored import StoredResult
from fixturecheck.wording.sentences import SIGNS, number_found, shown, verdict_word, wide_spaces

_LEVELS: Mapping[Verdict, str] = {
    Verdict.NO_GO: "error",
    Verdict.UNKNOWN: "error",
    Verdict.CAUTION: "warning",
    Verdict.GO: "none",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildResult:
    """What the files tell of one result.

    Parameters
    ----------
    stored : StoredResult
        Its verdict and findings.
    file : str
        The set-up's file, as it was given.
    known : frozenset of str
        Ids of findings that a baseline lets stand.
    """

    stored: StoredResult
    file: str
    known: frozenset[str] = frozenset()

    def path_of(self, finding: Finding) -> str:
        """Return the file that states what a finding is about, from where the command runs."""
        file = self.file if finding.origin is None else _beside(self.file, finding.origin.file)
        return PurePath(file).as_posix()

    def line_of(self, finding: Finding) -> int:
        """Return its line; the first where it is not known."""
        return 1 if finding.origin is None or finding.origin.line is None else finding.origin.line


def _beside(setup: str, file: str) -> str:
    """Return a file named from the set-up's folder as seen from where the command runs."""
    return os.path.normpath(Path(setup).parent / file)


def junit_xml(results: Iterable[BuildResult]) -> str:
    """Return JUnit XML: a suite for each set-up, a case for each finding, skipped where nothing was asked.

    A no-go is a failure, an unknown an error. A caution passes, and says so in its output; so does a no-go
    that is known.

    Parameters
    ----------
    results : iterable of BuildResult
        One for each suite.

    Returns
    -------
    str
        The text of the file.
    """
    root = ET.Element("testsuites")
    suites = [_suite(root, result) for result in results]
    for key in ("tests", "failures", "errors"):
        root.set(key, str(sum(int(suite.get(key, "0")) for suite in suites)))
    return xml_document(root)


def _suite(root: ET.Element, result: BuildResult) -> ET.Element:
    suite = ET.SubElement(root, "testsuite", name=xml_text(result.stored.name), file=xml_text(result.file))
    came = [_case(suite, result, finding) for finding in result.stored.findings]
    for question in result.stored.not_asked:
        case = _named_case(suite, result, question.check, question.check)
        lacks = f": {question.lacks}" if question.lacks else ""
        ET.SubElement(case, "skipped", message=xml_text(f"{question.reason}{lacks}"))
    counts = {
        "tests": len(result.stored.findings) + len(result.stored.not_asked),
        "failures": came.count("failure"),
        "errors": came.count("error"),
        "skipped": len(result.stored.not_asked),
    }
    for key, count in counts.items():
        suite.set(key, str(count))
    return suite


def _named_case(suite: ET.Element, result: BuildResult, name: str, check: str) -> ET.Element:
    group = xml_text(f"{Path(result.file).stem}.{check}")
    return ET.SubElement(suite, "testcase", name=xml_text(name), classname=group, time="0")


def _case(suite: ET.Element, result: BuildResult, finding: Finding) -> str:
    """Add the case of a finding, and return what it came to."""
    case = _named_case(suite, result, finding.id, finding.check)
    where = f"{result.path_of(finding)}:{result.line_of(finding)}"
    text = xml_text("\n".join([where, *_lines(finding, result.stored.units)]))
    known = finding.id in result.known
    came = {Verdict.NO_GO: "failure", Verdict.UNKNOWN: "error"}.get(finding.verdict, "")
    if came and not known:
        message, kind = xml_text(finding.says), str(finding.verdict)
        ET.SubElement(case, came, type=kind, message=message).text = text
        return came
    if finding.verdict is not Verdict.GO:
        ET.SubElement(case, "system-out").text = f"{finding.verdict}{', known' if known else ''}: {text}"
    return ""


def xml_document(root: ET.Element) -> str:
    """Return an element, indented, as the text of an XML file.

    Parameters
    ----------
    root : Element
        It is indented in place.

    Returns
    -------
    str
        With the XML declaration, ended by a line break.
    """
    ET.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'


def xml_text(text: str) -> str:
    """Return a text without the signs that XML cannot hold.

    Parameters
    ----------
    text : str
        Any text; it is not escaped here.

    Returns
    -------
    str
        Tab and line breaks stay; other signs before the blank, surrogates, U+FFFE and U+FFFF are left
        out.
    """
    return "".join(
        c for c in text if c in "\t\n\r" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff"
    )


def _lines(finding: Finding, units: str) -> Iterator[str]:
    """Yield what a finding says, its number and limit, and the change that would cure it."""
    yield finding.says
    if finding.value is not None:
        limit = "" if finding.limit is None else f" (limit {shown(finding.limit, finding.unit, units)})"
        yield f"{number_found(finding, units)}{limit}"
    if finding.remedy:
        yield f"change: {finding.remedy}"


def sarif_dict(results: Sequence[BuildResult], titles: Mapping[str, str]) -> dict[str, Any]:
    """Return SARIF 2.1.0 of every finding that is not go.

    Parameters
    ----------
    results : sequence of BuildResult
        What was checked, in the order of the report.
    titles : mapping of str to str
        What each check is called, by its name.

    Returns
    -------
    dict
        A log with one run.
    """
    failed = [(r, f) for r in results for f in r.stored.findings if f.verdict is not Verdict.GO]
    checks = sorted({f.check for _, f in failed})
    return {
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "fixturecheck",
                        "version": version("fixturecheck"),
                        "rules": [
                            {"id": check, "shortDescription": {"text": titles.get(check, check)}}
                            for check in checks
                        ],
                    }
                },
                "columnKind": "unicodeCodePoints",
                "results": [_sarif_result(r, f, checks.index(f.check)) for r, f in failed],
            }
        ],
    }


def _sarif_result(result: BuildResult, finding: Finding, rule: int) -> dict[str, Any]:
    text = wide_spaces(" ".join(_lines(finding, result.stored.units)))
    found: dict[str, Any] = {
        "ruleId": finding.check,
        "ruleIndex": rule,
        "level": _LEVELS[finding.verdict],
        "message": {"text": f"{finding.subject}: {text}"},
        "locations": [
            {
                "physicalLocation": {
                    "artifactLocation": {"uri": _uri(result.path_of(finding))},
                    "region": {"startLine": result.line_of(finding)},
                },
                "logicalLocations": [
                    {"fullyQualifiedName": name} for name in (*finding.about, finding.cut) if name
                ],
            }
        ],
        "partialFingerprints": {"findingId/v1": finding.id},
    }
    if finding.id in result.known:
        found["suppressions"] = [{"kind": "external", "justification": "known: it got no worse"}]
    return found


def _uri(path: str) -> str:
    """Return a path as a reference: relative ones as they are, with the signs escaped that a URI needs so."""
    return (
        Path(path).as_uri()
        if Path(path).is_absolute()
        else PurePath(path).as_posix().replace("%", "%25").replace(" ", "%20")
    )


def sarif_text(results: Sequence[BuildResult], titles: Mapping[str, str]) -> str:
    """Return `sarif_dict` as text.

    Parameters
    ----------
    results : sequence of BuildResult
        What was checked.
    titles : mapping of str to str
        What each check is called, by its name.

    Returns
    -------
    str
        JSON, ended by a line break.
    """
    return json.dumps(sarif_dict(results, titles), indent=1, ensure_ascii=False) + "\n"


MOST_ROWS = 50
"""Rows of a table at most, so that several commands share the page of a job."""


def summary_markdown(results: Iterable[BuildResult]) -> str:
    """Return a page in Markdown for a job: each set-up's verdict, and what is not go in a table.

    Parameters
    ----------
    results : iterable of BuildResult
        One for each heading.

    Returns
    -------
    str
        Lines of Markdown.
    """
    lines = []
    for result in results:
        lines += [
            f"## {verdict_word(result.stored.verdict)}: {markdown_cell(result.stored.name)}",
            "",
            f"`{result.file}`",
            "",
        ]
        rows = sorted(
            (f for f in result.stored.findings if f.verdict is not Verdict.GO),
            key=lambda f: (-BADNESS.index(f.verdict), f.check, f.id),
        )
        if rows:
            heads = ("", "check", "about", "found", "limit", "")
            lines += [*markdown_table(heads, [_cells(f, result) for f in rows]), ""]
        passed = sum(f.verdict is Verdict.GO for f in result.stored.findings)
        lines += [f"{passed} of {len(result.stored.findings)} findings are go."]
        silent = [n.check for n in result.stored.not_asked]
        lines += [f"Not asked: {', '.join(silent)}."] if silent else []
        lines.append("")
    return wide_spaces("\n".join(lines))


def markdown_table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the lines of a table in Markdown, cut where it is too long for the page of a job.

    Parameters
    ----------
    heads : sequence of str
        One for each column.
    rows : sequence of sequence of str
        A cell for each column; rows past `MOST_ROWS` are only counted.

    Returns
    -------
    list of str
        Head, rule and rows, then how many more rows there are.
    """
    lines = [_markdown_row(heads), f"|{'---|' * len(heads)}", *map(_markdown_row, rows[:MOST_ROWS])]
    return [*lines, "", f"and {len(rows) - MOST_ROWS} more"] if len(rows) > MOST_ROWS else lines


def _markdown_row(cells: Sequence[str]) -> str:
    return f"| {' | '.join(map(markdown_cell, cells))} |"


def _cells(finding: Finding, result: BuildResult) -> tuple[str, ...]:
    known = " (known)" if finding.id in result.known else ""
    value = "" if finding.value is None else number_found(finding, result.stored.units)
    limit = "" if finding.limit is None else shown(finding.limit, finding.unit, result.stored.units)
    change = f" *Change:* {finding.remedy}" if finding.remedy else ""
    return (
        f"{SIGNS[finding.verdict]} {finding.verdict}{known}",
        finding.check,
        finding.subject,
        value,
        limit,
        f"{finding.says}{change}",
    )


def markdown_cell(text: str) -> str:
    """Return a text as a cell of a Markdown table holds it.

    Parameters
    ----------
    text : str
        Plain words; white space in it becomes single blanks.

    Returns
    -------
    str
        One line, with those signs escaped that end a cell or begin code, a link or markup.
    """
    for sign in ("\\", "|", "<", "`", "["):
        text = text.replace(sign, f"\\{sign}")
    return " ".join(text.split())


def annotation_lines(results: Iterable[BuildResult], form: str) -> list[str]:
    """Return a line of a log for each finding that is not go and not known, with its file and line.

    Parameters
    ----------
    results : iterable of BuildResult
        What was checked, in the order of the lines.
    form : str
        `plain`: `file:line: error: words`, as compilers do; `workflow`: `::error file=...,line=...::words`.

    Returns
    -------
    list of str
        Lines without their breaks.
    """
    lines = []
    for result in results:
        for finding in result.stored.findings:
            if finding.verdict is Verdict.GO or finding.id in result.known:
                continue
            level = _LEVELS[finding.verdict]
            file, line = result.path_of(finding), result.line_of(finding)
            title = f"{finding.check}: {finding.subject}"
            text = " ".join(wide_spaces(" ".join(_lines(finding, result.stored.units))).split())
            if form == "plain":
                lines.append(f"{file}:{line}: {level}: {title}: {text} [{finding.id}]")
            else:
                place = f"file={_property(file)},line={line},title={_property(title)}"
                lines.append(f"::{level} {place}::{_escaped(text)}")
    return lines


def _escaped(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _escaped(text).replace(":", "%3A").replace(",", "%2C")
