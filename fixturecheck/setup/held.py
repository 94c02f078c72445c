"""Reads what holds the parts from tables of facts: `[holding]`, `[[clamp]]` and `[[mill]]`."""

from __future__ import annotations

from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.mistakes import Mistakes
from fixturecheck.setup.calibrated import CalibratedChuck
from fixturecheck.setup.chuck_file import chuck_file
from fixturecheck.setup.holding import Clamp, Holding, Milling
from fixturecheck.setup.stated import Stated


def holding_stated(facts: Stated) -> Holding | None:
    """Return the holding that `[holding]`, `[[clamp]]` and `[[mill]]` state; None where there is none."""
    if not {"holding", "clamp", "mill"} & set(facts.values):
        return None
    stated = facts.table("holding")
    wrong = Mistakes()
    grinds_as = wrong.or_else(lambda: _texts(stated, "grinds_as"), {})
    between = wrong.or_else(lambda: _curves(stated), {})
    clamps = wrong.each(wrong.or_else(lambda: facts.tables("clamp"), []), lambda c: c.record(Clamp))
    milling = wrong.each(wrong.or_else(lambda: facts.tables("mill"), []), lambda m: m.record(Milling))
    calibrated = wrong.or_else(lambda: _calibrated(stated), None)
    besides: dict[str, Any] = {
        "clamps": clamps,
        "milling": milling,
        "grinds_as": grinds_as,
        "curves_between": between,
    }
    besides["calibrated"] = calibrated
    holding = wrong.or_else(lambda: stated.record(Holding, besides=besides), None)
    wrong.raise_any()
    return holding


def _calibrated(stated: Stated) -> CalibratedChuck | None:
    path = stated.get("calibrated", "text")
    if path is None:
        return None
    try:
        return chuck_file(path)
    except SetupError as reason:
        stated.fail("; ".join(reason.problems), "calibrated")


def _texts(stated: Stated, key: str) -> dict[str, str]:
    table = stated.table(key, f"{key} in [holding]")
    return {name: table.get(name, "text") for name in table.values}


def _curves(stated: Stated) -> dict[str, tuple[str, ...]]:
    table = stated.table("curves_between", "curves_between in [holding]")
    return {name: tuple(table.get(name, "texts")) for name in table.values}
