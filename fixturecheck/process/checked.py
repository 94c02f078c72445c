"""The check of one operation: of its set-up as it should stand, and as it stands on burrs nobody stoned."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from fixturecheck.checks import MODULES, chosen
from fixturecheck.engine import check
from fixturecheck.errors import NotComputedError
from fixturecheck.process.setups import OperationSetup
from fixturecheck.result import Result
from fixturecheck.result.finding import worst
from fixturecheck.result.grouping import grouped
from fixturecheck.setup.model import drawings_of

ON_BURRS = frozenset({"seat", "nest", "rest", "location", "hold", "crash", "release"})
"""Checks whose answer changes where a part stands on burrs; what the wheel makes is asked without them."""


def check_operation(
    made: OperationSetup, *, only: Collection[str] | None = None, skip: Collection[str] = ()
) -> Result:
    """Check the set-up of an operation.

    Parameters
    ----------
    only, skip : collections of str
        Checks to ask, and checks to leave out, as `fixturecheck.check` takes them.

    Raises
    ------
    SetupError
        `only` or `skip` names no check, or nothing is left to ask.
    NotComputedError
        The operation has no set-up.
    """
    setup, burred = made.setup, made.burred
    if setup is None:
        message = "an operation without a set-up has nothing to check"
        raise NotComputedError(message)
    asked = chosen(only, skip)
    if burred is None or not asked & ON_BURRS:
        return check(setup, only=only, skip=skip)
    standing = check(burred, only=asked & ON_BURRS)
    if not asked - ON_BURRS:
        return standing
    cutting = check(setup, only=asked - ON_BURRS)
    order = [*MODULES]
    findings = [f for f in standing.findings if f.check in ON_BURRS]
    findings += [f for f in cutting.findings if f.check not in ON_BURRS]
    findings.sort(key=lambda f: order.index(f.check) if f.check in order else -1)
    known = {s.name for s in standing.shapes}
    answered = {f.check for f in findings}
    return replace(
        standing,
        verdict=worst(f.verdict for f in findings),
        findings=tuple(findings),
        cuts=cutting.cuts,
        dials=cutting.dials,
        offsets=cutting.offsets,
        hardening=cutting.hardening,
        shapes=(*standing.shapes, *(s for s in cutting.shapes if s.name not in known)),
        groups=grouped(findings, drawings_of(burred)),
        not_asked=tuple(
            n for n in (*standing.not_asked, *cutting.not_asked) if n.check not in answered and n.lacks
        ),
    )
