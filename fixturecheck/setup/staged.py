"""Reads how parts are staged from a table of facts."""

from __future__ import annotations

from typing import Any

from fixturecheck.setup.relieving import Relieving
from fixturecheck.setup.staging import Press, Push, Staging
from fixturecheck.setup.stated import Stated
from fixturecheck.units import from_inch_key


def staging_stated(facts: Stated) -> Staging | None:
    """Return the staging that `[staging]` states; None where there is no such table."""
    if "staging" not in facts.values:
        return None
    stated = facts.table("staging")
    by_part = stated.table("push", "push in [staging]")
    pushes = {}
    for name in by_part.values:
        pushes[name] = by_part.table(name, f"push of {name!r} in [staging]").record(Push)
    pulls = _pulls(stated)
    presses = tuple(p.record(Press) for p in stated.tables("press"))
    return stated.record(Staging, besides={"push": pushes, "pull_n": pulls, "press": presses})


def _pulls(stated: Stated) -> dict[str, float]:
    """Return the pull on each part; one number is that of all."""
    key = "pull_lbf" if "pull_lbf" in stated.values else "pull_n"
    if key == "pull_lbf" and "pull_n" in stated.values:
        stated.fail(f"{stated.what} states both pull_n and pull_lbf; keep one", key)
    value: Any = stated.get(key, "number or table", {})
    if isinstance(value, int | float):
        pulls = {"*": float(value)}
    else:
        table = stated.table(key, f"{key} in [staging]")
        pulls = {name: float(table.get(name, "number")) for name in table.values}
    if key == "pull_n":
        return pulls
    return {name: from_inch_key(pull, key="pull_n") for name, pull in pulls.items()}


def relief_stated(facts: Stated) -> Relieving:
    """Return what `[relief]` asks."""
    return facts.table("relief").record(Relieving)
