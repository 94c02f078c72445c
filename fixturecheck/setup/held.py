"""Reads what holds the parts from tables of facts: `[holding]`, `[[clamp]]` and `[[mill]]`."""

from __future__ import annotations

from fixturecheck.setup.holding import Clamp, Holding, Milling
from fixturecheck.setup.stated import Stated


def holding_stated(facts: Stated) -> Holding | None:
    """Return the holding that `[holding]`, `[[clamp]]` and `[[mill]]` state; None where there is none."""
    if not {"holding", "clamp", "mill"} & set(facts.values):
        return None
    stated = facts.table("holding")
    grinds_as = stated.table("grinds_as", "grinds_as in [holding]")
    between = stated.table("curves_between", "curves_between in [holding]")
    return stated.record(
        Holding,
        besides={
            "clamps": tuple(c.record(Clamp) for c in facts.tables("clamp")),
            "milling": tuple(m.record(Milling) for m in facts.tables("mill")),
            "grinds_as": {part: grinds_as.get(part, "text") for part in grinds_as.values},
            "curves_between": {name: tuple(between.get(name, "texts")) for name in between.values},
        },
    )
