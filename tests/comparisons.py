"""The page of comparisons (`docs/validation.md`), held row by row by the tests that it names.

A test asks for `compared` and tells it what came out. What the row says must be that. With
`FIXTURECHECK_COMPARISONS=write` in the environment the row is written anew instead; run without `-n` then.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, fields, replace
from pathlib import Path

import pytest

PAGE = Path(__file__).resolve().parents[1] / "docs" / "validation.md"
WRITE = os.environ.get("FIXTURECHECK_COMPARISONS") == "write"
SAME_SHARE = 0.003
"""How far a row may be from what comes out, as another mesher may make it: chosen here, no source."""
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")


@dataclass(frozen=True, kw_only=True)
class Row:
    """One comparison as the page says it."""

    what: str
    against: str
    expected: str
    got: str
    difference: str
    test: str

    def line(self) -> str:
        """The row as it stands on the page."""
        cells = (self.what, self.against, self.expected, self.got, self.difference, f"`{self.test}`")
        return f"| {' | '.join(cells)} |"

    def with_found(self, expected: float, got: float, low_share: float | None) -> Row:
        """The row with other numbers, in as many digits."""
        want, told = _as_in(self.expected, expected), _as_in(self.got, got)
        off = 100.0 * (first_number(told) / first_number(want) - 1.0)
        low = "" if low_share is None else f", low end {low_share:.2f} of it"
        return replace(self, expected=want, got=told, difference=f"{off:+.1f} %{low}")


def first_number(text: str) -> float:
    """The number that a cell begins with."""
    return float(_NUMBER.findall(text)[0])


def rows(text: str) -> list[Row]:
    """Every row of every table of comparisons."""
    lines = [line for line in text.splitlines() if line.startswith("| ")]
    cells = [[c.strip(" `") for c in line.strip("|").split("|")] for line in lines]
    names = [f.name for f in fields(Row)]
    return [Row(**dict(zip(names, c, strict=True))) for c in cells if c[0] != "what"]


@dataclass(frozen=True, kw_only=True)
class Compared:
    """What one test found, held against its rows."""

    test: str

    def __call__(self, what: str, *, expected: float, got: float, low_share: float | None = None) -> None:
        """Hold a row of the page to what was found, in the units of the row."""
        text = PAGE.read_text("utf-8")
        told = [r for r in rows(text) if (r.test, r.what) == (self.test, what)]
        assert len(told) == 1, f"{PAGE.name} has {len(told)} rows '{what}' of {self.test}"
        (row,) = told
        wanted = row.with_found(expected, got, low_share)
        if WRITE:
            PAGE.write_text(text.replace(row.line(), wanted.line()), "utf-8")
            return
        low = first_number(row.difference.partition("low end ")[2] or "0")
        alike = _same(expected, row.expected), _same(got, row.got), abs((low_share or 0.0) - low) < 0.0101
        assert all(alike), f"{PAGE.name} says\n{row.line()}\nand what was found is\n{wanted.line()}"


def _as_in(cell: str, value: float) -> str:
    """A number in as many digits and the same unit as a cell has."""
    number, unit = cell.split(" ", 1)
    return f"{value:.{_digits(number)}f} {unit}"


def _digits(number: str) -> int:
    return len(number.partition(".")[2])


def _same(found: float, cell: str) -> bool:
    number = cell.split(" ", 1)[0]
    return found == pytest.approx(float(number), rel=SAME_SHARE, abs=0.51 * 10.0 ** -_digits(number))
