"""The check of one operation, as it should stand and on burrs: what is shown, and how bodies come off."""

from __future__ import annotations

import posixpath
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import cast

import numpy as np

from fixturecheck.checks import MODULES, chosen
from fixturecheck.engine import check
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.kernel.shapes import Shape
from fixturecheck.numeric import to_vector
from fixturecheck.process.model import BodyOff
from fixturecheck.process.records import Operation
from fixturecheck.process.setups import OperationSetup
from fixturecheck.release.sequence import HAND_N
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, worst
from fixturecheck.result.grouping import grouped
from fixturecheck.result.release import BodyLeaves
from fixturecheck.setup.model import Body, Setup, drawings_of
from fixturecheck.units import Writing
from fixturecheck.wording.hold import pry_words, step_words

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


def checked_setup(result: Result) -> Setup:
    """Return the set-up that a result is of, with its parts on burrs where that was asked.

    Raises
    ------
    NotComputedError
        No check has made the result.
    """
    if not isinstance(result.setup, Setup):
        message = f"the result of {result.name} does not hold its set-up"
        raise NotComputedError(message)
    return result.setup


def with_across(
    result: Result, made: OperationSetup, findings: Sequence[Finding], operation: Operation
) -> Result:
    """Return a result with findings across operations first, shown on the first of the job's parts.

    Parameters
    ----------
    result : Result
        What the check of its set-up found.
    made : OperationSetup
        That set-up.
    findings : sequence of Finding
        Their shapes and places are in the frame of the part, and their files are told from the job's folder.
    operation : Operation
        Whose result it is: files are told from the folder of its set-up.

    Returns
    -------
    Result
        Its verdict is the worst of all.
    """
    setup = checked_setup(result)
    if not findings:
        return result
    parts = [setup.body(name) for name in made.parts]
    told = [_from_setup(f, operation.setup or "") for f in findings]
    moved = [_on_part(f, parts[0]) if parts else f for f in told]
    everything = (*moved, *result.findings)
    known = {s.name for s in result.shapes}
    shapes = [s for f in moved for s in f.shapes if s.name not in known]
    return replace(
        result,
        verdict=worst(f.verdict for f in everything),
        findings=everything,
        shapes=(*result.shapes, *shapes),
        groups=grouped(everything, drawings_of(setup)),
    )


def _from_setup(finding: Finding, setup: str) -> Finding:
    """Return a finding that names its file from the folder of a set-up, in place of the job's."""
    origin = finding.origin
    if origin is None:
        return finding
    file = posixpath.relpath(origin.file, posixpath.dirname(setup) or ".")
    return replace(finding, origin=replace(origin, file=file))


def _on_part(finding: Finding, body: Body) -> Finding:
    """Return a finding with its shapes and its place on a body that is the job's part."""
    shapes = tuple(
        replace(s, geometry=placed_at(cast("Shape", s.geometry), body.at), bodies=(body.name,))
        for s in finding.shapes
    )
    place = None
    if finding.location_mm is not None:
        matrix = matrix_of(body.at)
        place = to_vector(matrix[:3, :3] @ np.array(finding.location_mm) + matrix[:3, 3])
    about = tuple(FaceRef.of(body.name, face) for face in finding.about)
    return replace(finding, shapes=shapes, location_mm=place, about=about)


def comes_off(result: Result | None) -> tuple[BodyOff, ...]:
    """Return how each body comes off, the first one first; empty where no holding was stated."""
    if result is None or result.holding is None:
        return ()
    write = Writing(units=result.shown_in)
    return tuple(_body(leaves, write) for leaves in result.holding.leaving)


def _body(leaves: BodyLeaves, write: Writing) -> BodyOff:
    best = leaves.ways[0] if leaves.ways else None
    force_n = None if best is None else best.force_n
    by_hand = force_n is not None and force_n[1] <= HAND_N
    rubs = () if best is None else tuple(str(own) for own, _ in best.rubs)
    return BodyOff(
        body=leaves.body,
        says=step_words(leaves.body, best, hand_n=HAND_N, keeps=leaves.demagnetise, write=write),
        by_hand=by_hand,
        pry_at="" if leaves.pry is None or by_hand else pry_words(leaves.pry, write),
        demagnetise=leaves.demagnetise,
        not_slid=tuple(str(own) for own in leaves.not_slid),
        rubs=rubs,
    )
