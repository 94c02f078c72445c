"""Bodies for the tests of assemblies: boxes that stand on z, rods, balls, and bores."""

from __future__ import annotations

import cadquery as cq

from fixturecheck.result import Result
from fixturecheck.result.rest import BodyFree, BodyPair, Touching
from fixturecheck.touching import assembled, surveyed


def box(x: float, y: float, z: float, at: tuple[float, float, float] = (0, 0, 0)) -> cq.Workplane:
    return cq.Workplane().box(x, y, z, centered=(True, True, False)).translate(at)


def rod(radius: float, length: float, at: tuple[float, float, float] = (0, 0, 0)) -> cq.Workplane:
    """Upright."""
    return cq.Workplane().circle(radius).extrude(length).translate(at)


def lying_rod(radius: float, length: float, at: tuple[float, float, float]) -> cq.Workplane:
    """Along Y, its middle at a place."""
    x, y, z = at
    return cq.Workplane("XZ").circle(radius).extrude(length).translate((x, y + length / 2, z))


def ball(radius: float, at: tuple[float, float, float]) -> cq.Workplane:
    return cq.Workplane().sphere(radius).translate(at)


def look(within_mm: float = 0.5, **drawn: object) -> Result:
    """Look at bodies by their names."""
    return surveyed(assembled(drawn, within_mm=within_mm, name="bodies"))


def found(result: Result) -> Touching:
    assert result.touching is not None
    return result.touching


def pair(result: Result, a: str, b: str) -> BodyPair:
    (one,) = (p for p in found(result).pairs if {p.a, p.b} == {a, b})
    return one


def free(result: Result, body: str) -> BodyFree:
    (one,) = (f for f in found(result).bodies if f.body == body)
    return one
