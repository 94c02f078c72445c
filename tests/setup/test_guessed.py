"""Values that a set-up marks as guessed are read with what hangs on each."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.setup.document import Guess, guessed_rows, guesses
from fixturecheck.setup.reader import Stated

FILE: Mapping[str, object] = {
    "wheel": {"diameter_in": 7.0},
    "clamp": [{"name": "toe", "at_in": [1, 2, 0.5]}],
    "cut": [{"name": "top", "stock_mm": 0.2}],
    "seat": [{"body": "gib"}, {"body": "gib", "min_share": 0.1}],
    "body": [{"name": "gib", "at": [0, 64.5, 0], "material": "gray_iron"}],
}


def stated() -> Stated:
    return Stated(what="the file", values=FILE, path=(), where=lambda path: "setup.toml")


def test_keys_go_by_name_or_number() -> None:
    found = guesses(stated(), ["cut.top.stock_mm", "seat.2.min_share"])
    assert found == (
        Guess(path=("cut", "top", "stock_mm"), value=0.2), Guess(path=("seat", "2", "min_share"), value=0.1),
    )  # fmt: skip


@pytest.mark.parametrize("key", ["cut.top.stok_mm", "cut.side.stock_mm", "whel.diameter_mm", "", "seat.3"])
def test_a_key_that_is_not_stated_is_refused(key: str) -> None:
    with pytest.raises(SetupError, match="which is not stated; take it out of the list"):
        guesses(stated(), [key])


def test_rows_tell_the_metric_value_and_what_hangs_on_it() -> None:
    keys = ["wheel.diameter_in", "cut.top.stock_mm", "body.gib.at", "body.gib.material", "clamp.toe.at_in"]
    rows = {row.key: row for row in guessed_rows(guesses(stated(), keys))}
    assert rows["diameter_mm"].value == pytest.approx(7 * 25.4)
    assert (rows["stock_mm"].value, rows["stock_mm"].unit) == (0.2, "mm")
    assert "path of the wheel" in rows["stock_mm"].hangs_on
    assert rows["at"].value == "(0, 64.5, 0)"
    assert rows["at_mm"].value == "(25.4, 50.8, 12.7)"
    assert "magnet holds it" in rows["material"].hangs_on
    assert all(row.guessed for row in rows.values())
