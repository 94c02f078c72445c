"""What drives the factor, drawn: bars lie where their numbers say."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from fixturecheck.report.hold_page import tornado
from tests.report import staged_hold

HOLD = staged_hold.hold()
SVG = tornado(staged_hold.WEAK, HOLD, "mm")


def elements(tag: str) -> list[ET.Element]:
    return [e for e in ET.fromstring(SVG).iter() if e.tag == tag]  # noqa: S314 -- our own picture


def factor_at(x: float) -> float:
    """Read a place off the axis, from the places of its own marks."""
    marks = {
        float(e.text or ""): float(e.get("x", "")) for e in elements("text")
        if e.get("font-size") == "12" and re.fullmatch(r"[\d.]+", e.text or "")
    }  # fmt: skip
    (f0, x0), (f1, x1) = sorted(marks.items())[:2]
    return f0 + (x - x0) / (x1 - x0) * (f1 - f0)


def bars() -> dict[float, tuple[float, float, list[str]]]:
    """Return by row: left end, right end and the colours from left to right."""
    rows: dict[float, list[ET.Element]] = {}
    for e in elements("rect"):
        if e.get("height") == "24":
            rows.setdefault(float(e.get("y", "")), []).append(e)
    out = {}
    for y, pair in sorted(rows.items()):
        left = min(float(e.get("x", "")) for e in pair)
        right = max(float(e.get("x", "")) + float(e.get("width", "")) for e in pair)
        out[y] = left, right, [str(e.get("fill")) for e in sorted(pair, key=lambda e: float(e.get("x", "")))]
    return out


def test_bars_lie_between_their_factors() -> None:
    ends = [(factor_at(left), factor_at(right)) for left, right, _ in bars().values()]
    wanted = [(1.2345, 30.0), (1.6, 3.2), (2.0, 3.0), (2.0, 30.0)]
    assert ends == [pytest.approx(w, abs=0.05) for w in wanted]


def test_the_colour_tells_which_end_of_the_input_is_bad() -> None:
    """Little friction is bad, much push is bad: their colours lie the other way round."""
    _, friction, push, _ = (colours for _, _, colours in bars().values())
    assert friction == push[::-1]
    assert friction[0] != friction[1]


def test_an_input_that_changes_nothing_says_so() -> None:
    assert "2.4, no change" in SVG


def test_what_reaches_the_end_of_the_search_is_cut_and_marked() -> None:
    assert SVG.count("<polyline") == 2
    assert SVG.count(">30+<") == 2


def test_the_asked_factor_is_a_line_at_its_place() -> None:
    line = next(e for e in elements("line") if e.get("stroke-dasharray"))
    assert factor_at(float(line.get("x1", ""))) == pytest.approx(3.0, abs=0.05)
    assert "asked: 3" in SVG


def test_ranges_of_the_inputs_carry_their_units() -> None:
    assert "10 to 60\u202fN" in SVG
    assert "0.15 to 0.3" in SVG
    assert "2.25 to 13.5\u202flbf" in tornado(staged_hold.WEAK, HOLD, "inch")


def test_words_stay_in_the_picture() -> None:
    """A letter of this size is at most 0.62 of its height wide (common practice, no source)."""
    width = float(str(ET.fromstring(SVG).get("viewBox")).split()[2])  # noqa: S314 -- our own picture
    for e in elements("text"):
        long = 0.62 * float(e.get("font-size", 14)) * len(e.text or "")
        x = float(e.get("x", ""))
        start = {"end": x - long, "middle": x - long / 2}.get(str(e.get("text-anchor")), x)
        assert start >= 0, e.text
        assert start + long <= width, e.text


def test_nothing_varied_gives_no_picture() -> None:
    assert tornado(replace(staged_hold.WEAK, inputs=()), HOLD, "mm") == ""
