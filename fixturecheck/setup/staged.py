"""Reads how parts are staged from a table of facts."""

from __future__ import annotations

from typing import Any

from fixturecheck.mistakes import Mistakes
from fixturecheck.setup.relieving import Relieving
from fixturecheck.setup.staging import PULL_N, Press, Push, Staging
from fixturecheck.setup.stated import Stated
from fixturecheck.units import from_inch_key


def staging_stated(facts: Stated) -> Staging | None:
    """Return the staging that `[staging]` states; None where there is no such table."""
    if "staging" not in facts.values:
        return None
    stated = facts.table("staging")
    wrong = Mistakes()
    pushes: dict[str, Push] = {}
    with wrong.noted():
        by_part = stated.table("push", "push in [staging]")
        for name in by_part.values:
            with wrong.noted():
                pushes[name] = by_part.table(name, f"push of {name!r} in [staging]").record(Push)
    pulls = wrong.or_else(lambda: _pulls(stated), {})
    presses = wrong.each(wrong.or_else(lambda: stated.tables("press"), []), lambda p: p.record(Press))
    besides = {"push": pushes, "pull_n": pulls, "press": presses}
    staging = wrong.or_else(lambda: stated.record(Staging, besides=besides), None)
    wrong.raise_any()
    return staging


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
    for pull in pulls.values():
        metric = pull if key == "pull_n" else from_inch_key(min(pull, 1e300), key="pull_n")
        flaw = PULL_N.flaw_of(metric, inch_of=None if key == "pull_n" else "pull_n")
        if flaw:
            stated.fail(f"{key} in {stated.what}: {flaw}", key)
    if key == "pull_n":
        return pulls
    return {name: from_inch_key(pull, key="pull_n") for name, pull in pulls.items()}


def relief_stated(facts: Stated) -> Relieving:
    """Return what `[relief]` asks."""
    return facts.table("relief").record(Relieving)
