"""Which questions a set-up does not ask, and why: a verdict covers only what was asked."""

from __future__ import annotations

from collections.abc import Collection

from fixturecheck.checks import MODULES
from fixturecheck.result.finding import NotAsked, WhyNotAsked
from fixturecheck.setup.model import Setup
from fixturecheck.setup.records import Rank

_HELD = frozenset({"hold", "crash", "release"})
_STAGED = frozenset({"rest", "location", "tolerance"})
_OF_THE_REST = frozenset({"location", "tolerance"})
_ANY_CUT = frozenset({"reach", "clear"})
_CUT = frozenset({"reach", "clear", "align", "limits", "dials"})


def not_asked(setup: Setup, *, left_out: Collection[str] = (), rests: bool = True) -> tuple[NotAsked, ...]:
    """Return the checks whose question is not asked, or not in full, in the order of the checks.

    `limits` is listed without a cut, since speed, travels and daylight are asked of a cut; flanges and guard
    are looked at all the same.

    Parameters
    ----------
    left_out : collection of str
        IDs of checks that the user asked to leave out.
    rests : bool
        Whether the parts came to rest where the set-up stages them; what asks about the rest waits for that.
    """
    found = []
    for check in MODULES:
        if check in left_out:
            found.append(NotAsked(check=check, reason=WhyNotAsked.LEFT_OUT))
        elif lacks := _lacks(setup, check):
            found.append(NotAsked(check=check, reason=WhyNotAsked.NOT_STATED, lacks=lacks))
        elif check in _OF_THE_REST and not rests:
            found.append(NotAsked(check=check, reason=WhyNotAsked.WAITS, lacks="a rest of the parts"))
    return tuple(found)


def _lacks(setup: Setup, check: str) -> str:
    """Return what a check's question needs and the set-up does not state; empty where it is asked."""
    if check in _HELD and setup.holding is None:
        return "[holding]"
    if check == "crash" and setup.holding and not setup.loads_parts:
        return "[[cut]], [[mill]] or [[drill]]"
    if check in _STAGED and setup.staging is None:
        return "[staging]"
    if check == "tolerance" and not any(w > 0 for b in setup.bodies for w in b.tolerance_mm.values()):
        return "tolerance_mm of any face"
    if check == "dials" and setup.transfers:
        return ""
    if check in _ANY_CUT and not (setup.cuts or setup.end_mills):
        return "[[cut]] or [[end_mill]]"
    if check in _CUT - _ANY_CUT and not setup.cuts:
        return "[[cut]]"
    if check == "dials" and setup.machine.downfeed is None:
        return "[machine.downfeed]"
    if check == "nest" and len(list(setup.parts())) > 1 and not any(s.rank == Rank.NEST for s in setup.seats):
        return "seat of rank nest"
    return ""
