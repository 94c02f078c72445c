"""Where a clamp is that is stated as a force and not drawn: the least space it takes, and the most."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fixturecheck.hold_result import ClampKind
from fixturecheck.kernel.construct import cylinder
from fixturecheck.kernel.shapes import Solid
from fixturecheck.result import Vector
from fixturecheck.setup.holding import Clamp

TIP_MM = 0.5
"""Radius of what is surely solid where a clamp presses; a real tip is wider."""
TOE_REACH_MM = 60.0
"""How far a toe clamp reaches behind its tip: common practice, no source."""
NUT_SCREWS = 3.0
"""Height of bar, nut and screw over the tip, in diameters of the screw: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Undrawn:
    """Space of one strap or toe clamp, in the machine's frame.

    Parameters
    ----------
    clamp : str
        Its name.
    least : Solid
        What it fills whichever way its bar lies: a pin at the tip, as long as the screw is thick.
    most : Solid
        What it can fill at most: an upright disc round the tip as wide as the bar can reach.
    """

    clamp: str
    least: Solid
    most: Solid


def undrawn(clamp: Clamp) -> Undrawn | None:
    """Return the space of a clamp; None for a vise, whose jaws are drawn, and for one without a place.

    A strap lies on the part and its bar is about as thick as its screw; it points any way, since the set-up
    does not state one. A toe stands behind its tip, against its push.
    """
    if clamp.kind == ClampKind.VISE or clamp.at_mm is None:
        return None
    x, y, z = clamp.at_mm
    reach_mm = clamp.screw_to_part_mm + clamp.screw_to_heel_mm + clamp.screw_mm
    back: Vector = (0.0, 0.0, 1.0)
    if clamp.kind == ClampKind.TOE and clamp.inward is not None:
        size = math.hypot(*clamp.inward)
        u, v, w = (-a / size for a in clamp.inward)
        back = (u, v, w)
        reach_mm = TOE_REACH_MM
    end = (x + back[0] * clamp.screw_mm, y + back[1] * clamp.screw_mm, z + back[2] * clamp.screw_mm)
    return Undrawn(
        clamp=clamp.name,
        least=cylinder(TIP_MM, clamp.at_mm, end),
        most=cylinder(reach_mm, clamp.at_mm, (x, y, z + NUT_SCREWS * clamp.screw_mm)),
    )
