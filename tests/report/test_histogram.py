"""The histogram as it stands in the page: bars that add up, axes with units, the limit, what is beyond it."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from fixturecheck.report.rest_page import histogram
from fixturecheck.result.tolerance import (
    CriticalPlace,
    TargetSpread,
)

FLOOR = CriticalPlace(
    name="step/gib.floor", body="gib", at_mm=(0, 0, 5), direction=(0, 0, 1), cut="step", face="floor"
)
DRAWS = np.random.default_rng(3).normal(1.0, 3.0, 10_000)


def spread(limit_um, draws=DRAWS, classes=40):
    counts, edges = np.histogram(draws, bins=classes)
    return TargetSpread(
        place=FLOOR,
        mean_um=float(draws.mean()),
        sigma_um=float(draws.std()),
        low_um=-16.0,
        high_um=18.0,
        of_zones=True,
        corners=0,
        share_beyond=0.0,
        share_by_face=(),
        lean_by_face=(),
        limit_um=limit_um,
        lean_p95_um=0.0,
        lean_worst_um=0.0,
        edges_um=tuple(map(float, edges)),
        counts=tuple(map(int, counts)),
    )


def parts(svg, tag):
    return [e for e in ElementTree.fromstring(svg).iter() if e.tag == tag]  # noqa: S314 -- our own text


def words(svg):
    return [e.text for e in parts(svg, "text")]


def test_the_line_of_the_corners_steps_through_every_class_and_is_red_beyond_the_limit():
    corners = np.abs(DRAWS) + 2.0
    one = spread(6.0, np.append(DRAWS, [-16.0, 18.0]))
    counts, _ = np.histogram(corners, bins=one.edges_um)
    svg = histogram(replace(one, corner_counts=tuple(map(int, counts))), "mm")
    lines = [p for p in parts(svg, "path") if p.get("fill") == "none"]
    # Inside, and beyond the limit on either side; each class is one level, two where the limit parts it.
    assert [p.get("stroke") == "#b0182c" for p in lines] == [True, False, True]
    levels = [float(v) for p in lines for v in re.findall(r"V([\d.]+)", p.get("d"))]
    assert len(levels) == len(counts) + 2
    # The highest level is the fullest class of either; bars and line share one scale.
    bars = [float(b.get("height")) for b in parts(svg, "rect")]
    base = max(levels)
    assert (base - min(levels)) / max(bars) == pytest.approx(max(counts) / max(one.counts), rel=0.02)
    assert any("corner furthest out" in (w or "") for w in words(svg))
    assert not [p for p in parts(histogram(one, "mm"), "path") if p.get("fill") == "none"]


def area(bars):
    return sum(float(b.get("width")) * float(b.get("height")) for b in bars)


@pytest.mark.parametrize("limit", [2.0, 5.0, 8.0])
def test_red_area_is_the_share_of_draws_beyond_the_limit(limit):
    bars = parts(histogram(spread(limit), "mm"), "rect")
    red = [b for b in bars if b.get("fill") != "#4080a8"]
    beyond = float(np.mean(np.abs(DRAWS) > limit))
    assert area(red) / area(bars) == pytest.approx(beyond, abs=0.02)


def test_no_limit_no_red_and_no_word_of_it():
    svg = histogram(spread(None), "mm")
    assert len({b.get("fill") for b in parts(svg, "rect")}) == 1
    assert not any("limit" in w for w in words(svg))


@pytest.mark.parametrize(("units", "name", "size"), [("mm", "µm", 1.0), ("inch", None, None)])
def test_the_axis_has_round_numbers_where_they_belong_and_names_its_unit(units, name, size):
    svg = histogram(spread(5.0), units)
    if name:
        assert any(w.startswith(f"{name} out along its normal") for w in words(svg))
        ticks = {e.text: float(e.get("x")) for e in parts(svg, "text") if re.fullmatch(r"[+-]?\d+", e.text)}
        assert {"-10", "0", "+10"} <= set(ticks)
        # The limit's line stands where the axis says it does.
        (left, right) = [float(e.get("x1")) for e in parts(svg, "line") if e.get("stroke-dasharray")]
        per_um = (ticks["+10"] - ticks["-10"]) / 20
        assert (right - ticks["0"]) / per_um == pytest.approx(5.0, abs=0.02)
        assert (ticks["0"] - left) / per_um == pytest.approx(5.0, abs=0.02)
    else:
        assert any("in out along its normal" in w for w in words(svg))


def test_the_furthest_is_named_and_nothing_is_called_a_worst_case():
    text = " ".join(words(histogram(spread(5.0), "mm")))
    assert "furthest" in text
    assert "worst" not in text


def test_a_target_that_does_not_move_is_one_bar():
    svg = histogram(spread(None, np.zeros(100)), "mm")
    assert sum(float(b.get("height")) > 0 for b in parts(svg, "rect")) == 1


def test_names_are_escaped():
    svg = histogram(replace(spread(None), place=replace(FLOOR, name="a<b>")), "mm")
    assert "a&lt;b&gt;" in svg
