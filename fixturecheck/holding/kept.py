"""Why no loss of a fixture was looked at: which fixtures are taken to be there throughout."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from fixturecheck.footing import Base, Footing
from fixturecheck.setup.model import Body, Setup


def kept_of(
    setup: Setup, found: Mapping[str, Footing], loose: Collection[str]
) -> tuple[tuple[str, str], ...]:
    """Return each fixture that stands and of which no loss is looked at, and why, in the set-up's order.

    Parameters
    ----------
    found : mapping of str to Footing
        What each fixture stands by.
    loose : collection of str
        Fixtures of which each may be lost.
    """
    fixtures = (b for b in setup.bodies if b.role == "fixture" and found[b.name].stands)
    return tuple((b.name, _why(setup, b, found[b.name])) for b in fixtures if b.name not in loose)


def _why(setup: Setup, body: Body, footing: Footing) -> str:
    holding = setup.holding
    if holding and body.name in holding.jaws:
        return "the jaw of the vise, without which nothing is clamped"
    if body.pole or body.poles:
        return "the magnet, on which everything stands"
    if body.group and sum(b.group == body.group for b in setup.bodies) > 1:
        return f"a piece of {body.group}"
    if footing.base is Base.FASTENED:
        return "stated as fastened"
    if footing.base is Base.TABLE:
        return "stands on the table and is taken as bolted to it"
    if footing.base is Base.ATTACHED:
        return f"taken as screwed to {' and '.join(footing.on)}"
    return "not among the loose blocking that is stated"
