"""Reads how parts are staged from a table of facts."""

from __future__ import annotations

from typing import Any

from fixturecheck.setup.relieving import Relieving
from fixturecheck.setup.staging import Press, Push, Staging
from fixturecheck.setup.stated import Stated


def staging_stated(facts: Stated) -> Staging | None:
    """Return the staging that `[staging]` states; None where there is no such table."""
    if "staging" not in facts.values:
        return None
    stated = facts.table("staging")
    by_part = stated.table("push", "push in [staging]")
    pushes = {}
    for name in by_part.values:
        pushes[name] = by_part.table(name, f"push of {name!r} in [staging]").record(Push)
    pulls: Any = stated.get("pull_n", "number or table", {})
    if isinstance(pulls, int | float):
        pulls = {"*": float(pulls)}
    else:
        table = stated.table("pull_n", "pull_n in [staging]")
        pulls = {name: float(table.get(name, "number")) for name in table.values}
    presses = tuple(p.record(Press) for p in stated.tables("press"))
    return stated.record(Staging, besides={"push": pushes, "pull_n": pulls, "press": presses})


def relief_stated(facts: Stated) -> Relieving:
    """Return what `[relief]` asks."""
    return facts.table("relief").record(Relieving)
