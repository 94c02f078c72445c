"""The table for the terminal."""

from __future__ import annotations

from dataclasses import replace

from fixturecheck.report.terminal import table
from fixturecheck.result.finding import Verdict
from tests.report import staged


def test_worst_first_and_counted() -> None:
    lines = table(staged.result(), width=100).splitlines()
    assert lines[0] == "\u2715 NO-GO  gibs on a plate"
    heads = [line.split()[2] for line in lines if line[:3].strip().isdigit()]
    assert heads == ["NO-GO", "NO-GO", "UNKNOWN", "CAUTION", "GO"]
    assert lines[-1] == "2 no-go, 1 unknown, 1 caution, 1 go"
    assert "      change: stone the burr away, 0.3 mm" in lines
    first = next(line for line in lines if line.startswith("  1 "))
    assert "300 \u00b5m (limit 1 \u00b5m)" in first


def test_no_line_of_the_table_is_wider_than_the_terminal() -> None:
    assert max(len(line) for line in table(staged.result(), width=60).splitlines()[3:]) <= 60


def test_many_that_are_go_are_counted_not_listed() -> None:
    one = staged.result()
    go = replace(one, verdict=Verdict.GO, findings=one.findings[:1] * 40)
    assert "and 28 more that are go" in table(go)
