"""The page of comparisons: every row names a test that holds it, and says its own difference."""

from __future__ import annotations

import ast
import re

import pytest

from tests.comparisons import PAGE, first_number, rows
from tests.meta.source import ROOT

TEST = re.compile(r"`(tests/[\w/]+\.py)::(\w+)`")


def functions(file: str) -> dict[str, ast.FunctionDef]:
    tree = ast.parse((ROOT / file).read_text("utf-8"))
    return {n.name: n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}


def test_every_test_that_is_named_is_there() -> None:
    named = set(TEST.findall(PAGE.read_text("utf-8")))
    assert [f"{file}::{name}" for file, name in named if name not in functions(file)] == []


def test_every_row_is_held_by_its_test_and_says_its_own_difference() -> None:
    told = rows(PAGE.read_text("utf-8"))
    assert len(told) > 60
    assert len({(r.what, r.test) for r in told}) == len(told)
    for row in told:
        file, name = row.test.split("::")
        assert "compared" in {a.arg for a in functions(file)[name].args.args}, row.test
        assert row.against
        assert row.expected.split(" ", 1)[1] == row.got.split(" ", 1)[1]
        off = 100.0 * (first_number(row.got) / first_number(row.expected) - 1.0)
        assert first_number(row.difference) == pytest.approx(off, abs=0.1)
