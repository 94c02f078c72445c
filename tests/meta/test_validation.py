"""The page of comparisons: every row names a test that is there and says its own difference."""

from __future__ import annotations

import ast
import re

import pytest

from tests.meta.source import ROOT

PAGE = ROOT / "docs" / "validation.md"
TEST = re.compile(r"`(tests/[\w/]+\.py)::(\w+)`")
NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")


def rows() -> list[list[str]]:
    lines = [line for line in PAGE.read_text("utf-8").splitlines() if line.startswith("| ")]
    cells = [[c.strip() for c in line.strip("|").split("|")] for line in lines]
    return [c for c in cells if c[0] != "what"]


def test_every_test_that_is_named_is_there() -> None:
    named = TEST.findall(PAGE.read_text("utf-8"))
    assert len(named) >= len(rows())
    missing = []
    for file, name in set(named):
        tree = ast.parse((ROOT / file).read_text("utf-8"))
        if not any(isinstance(n, ast.FunctionDef) and n.name == name for n in ast.walk(tree)):
            missing.append(f"{file}::{name}")
    assert missing == []


def test_rows_say_their_own_difference() -> None:
    assert len(rows()) > 20
    for row in rows():
        _difference_holds(row)


def _difference_holds(row: list[str]) -> None:
    _, against, expected, got, difference, test = row
    assert against
    assert TEST.fullmatch(test)
    (want, unit), (found, same) = ((v.split(" ", 1)) for v in (expected, got))
    assert unit == same
    off = 100.0 * (float(found) / float(want) - 1.0)
    assert float(NUMBER.findall(difference)[0]) == pytest.approx(off, abs=0.1)
