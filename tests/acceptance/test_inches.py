"""An inch twin of every model gets the same verdicts, and says in inches what the metric one says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from fixturecheck.engine import check
from fixturecheck.setup.load import load
from tests.acceptance.inches import METRIC_WORD, differences, sentences

MODELS = Path(__file__).resolve().parents[2] / "models"


@pytest.mark.parametrize("model", ["gib/thick_block", "index_pawl/rev_a", "link/on_edge"])
def test_every_sentence_is_in_inches_and_says_the_same(model: str) -> None:
    setup = load(MODELS / f"{model}.toml")
    metric, inch = check(setup), check(replace(setup, units="inch"))
    assert [f.verdict for f in inch.findings] == [f.verdict for f in metric.findings]
    assert [f.value for f in inch.findings] == [f.value for f in metric.findings]
    said = list(zip(sentences(metric), sentences(inch), strict=True))
    checks = ("nest", "seat", "limits")
    told = [
        (a, b)
        for (_, a), (_, b) in said
        if any(f.check in checks and b in (f.says, f.remedy) for f in inch.findings)
    ]
    assert told
    assert [b for _, b in told if METRIC_WORD.search(b)] == []
    assert [d for a, b in told for d in differences(a, b)] == []
