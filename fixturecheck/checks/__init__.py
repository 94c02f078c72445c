"""One module, one question; the dict lists them in the order a toolmaker would ask.

Modules are loaded when they are run, so that naming them costs nothing.
"""

from __future__ import annotations

from collections.abc import Collection

from fixturecheck.errors import SetupError
from fixturecheck.names import nearest

MODULES = {
    "seat": "fixturecheck.checks.seat",
    "nest": "fixturecheck.checks.nest",
    "rest": "fixturecheck.checks.rest",
    "location": "fixturecheck.checks.location",
    "tolerance": "fixturecheck.checks.tolerance",
    "hold": "fixturecheck.checks.hold",
    "crash": "fixturecheck.checks.crash",
    "reach": "fixturecheck.checks.reach",
    "clear": "fixturecheck.checks.clear",
    "align": "fixturecheck.checks.align",
    "limits": "fixturecheck.checks.limits",
    "dials": "fixturecheck.checks.dials",
    "release": "fixturecheck.checks.release",
    "angle": "fixturecheck.checks.angle",
    "rolls": "fixturecheck.checks.rolls",
    "drill": "fixturecheck.checks.drill",
    "mill": "fixturecheck.checks.mill",
    "vise": "fixturecheck.checks.vise",
    "hardening": "fixturecheck.checks.hardening",
}


def chosen(only: Collection[str] | None = None, skip: Collection[str] = ()) -> frozenset[str]:
    """Return the checks that are asked: all, or those named, less those left out.

    Parameters
    ----------
    only : collection of str, optional
        The checks to ask; None asks all.
    skip : collection of str
        The checks to leave out.

    Raises
    ------
    SetupError
        A name is not that of a check, or nothing is left to ask.
    """
    named = [("only", name) for name in only or ()] + [("skip", name) for name in skip]
    wrong = [
        f"{where}: there is no check {name!r}; {nearest(name, MODULES)}"
        for where, name in named
        if name not in MODULES
    ]
    if wrong:
        raise SetupError(*dict.fromkeys(wrong))
    asked = frozenset(MODULES if only is None else only) - frozenset(skip)
    if not asked:
        message = "no check is left to ask"
        raise SetupError(message)
    return asked
