"""One module, one question; the dict lists them in the order a toolmaker would ask.

Modules are loaded when they are run, so that naming them costs nothing.
"""

from __future__ import annotations

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
    "release": "fixturecheck.checks.release",
}
