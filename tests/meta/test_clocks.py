"""No test passes or fails by how fast the machine is: speed is a ratio that `scripts/bench.py` measures."""

from __future__ import annotations

import ast

from tests.meta.source import ROOT

STOPWATCHES = {"perf_counter", "perf_counter_ns", "process_time", "process_time_ns", "thread_time"}

ROWS_OF_THE_BENCH = {"tests/magnet/fluxbench.py"}
"""Helpers that return both times of a ratio, and assert nothing."""


def _names(tree: ast.AST) -> set[str]:
    attributes = {n.attr for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
    return attributes | {a.name for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) for a in n.names}


def test_no_test_holds_a_stopwatch() -> None:
    timed = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "tests").rglob("*.py")
        if _names(ast.parse(path.read_text("utf-8"))) & STOPWATCHES
    }
    assert timed == ROWS_OF_THE_BENCH
