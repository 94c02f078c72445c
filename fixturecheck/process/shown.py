"""What looking across operations found, put beside what an operation's own check found, for its report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import cast

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.kernel.shapes import Shape
from fixturecheck.numeric import to_vector
from fixturecheck.process.setups import OperationSetup
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, worst
from fixturecheck.result.grouping import grouped
from fixturecheck.setup.model import Body, Setup, drawings_of


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


def with_across(result: Result, made: OperationSetup, findings: Sequence[Finding]) -> Result:
    """Return a result with findings across operations first, shown on the first of the job's parts.

    Parameters
    ----------
    findings : sequence of Finding
        Their shapes and places are in the frame of the part.
    """
    setup = checked_setup(result)
    if not findings:
        return result
    parts = [setup.body(name) for name in made.parts]
    moved = [_on_part(f, parts[0]) if parts else f for f in findings]
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
