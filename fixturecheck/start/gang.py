"""How copies of a part stand behind each other along X: nested, or with blocks between."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.start.layout import copies, touching
from fixturecheck.start.part import SAME, Part, Plane

_LEAST_SHARE = 0.25
"""Share of the smaller face that has to lie on the other for the two to be called a nest (chosen here)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nest:
    """How the next part stands: so far along X, with these faces on each other.

    Parameters
    ----------
    pitch_mm : float
        From one part to the next, along +X.
    low, high : Plane
        The face of each part that looks toward -X, and the one toward +X; the high face of a part lies on
        the low face of the next.
    """

    pitch_mm: float
    low: Plane
    high: Plane


def nest_of(part: Part, turn: Floats) -> Nest | None:
    """Return the closest nest of a part with its copy; None where none fits without an overlap."""
    for nest in sorted(_candidates(part, turn), key=lambda n: n.pitch_mm):
        pair = copies(part, {}, turn, (("a", (0.0, 0.0, 0.0)), ("b", (nest.pitch_mm, 0.0, 0.0))))
        if not touching(pair).overlaps:
            return nest
    return None


def _candidates(part: Part, turn: Floats) -> Iterator[Nest]:
    lows = [p for p in part.planes if np.linalg.norm(turn @ p.normal + (1.0, 0.0, 0.0)) < SAME]
    highs = [p for p in part.planes if np.linalg.norm(turn @ p.normal - (1.0, 0.0, 0.0)) < SAME]
    for low in lows:
        for high in highs:
            pitch = high.offset_mm + low.offset_mm
            shared = outline(low, turn).intersection(outline(high, turn)).area
            if pitch > 0 and shared > _LEAST_SHARE * min(low.area_mm2, high.area_mm2):
                yield Nest(pitch_mm=pitch, low=low, high=high)


def outline(plane: Plane, turn: Floats) -> shapely.Geometry:
    """Return the outline of a plane that looks along X, in Y and Z."""
    faces = []
    for rings in plane.rings:
        flat = [(ring @ turn.T)[:, 1:] for ring in rings]
        faces.append(shapely.Polygon(flat[0], flat[1:]).buffer(0))
    return shapely.union_all(faces)
