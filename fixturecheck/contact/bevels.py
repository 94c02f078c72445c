"""Bevels: narrow flat faces between two others, as a chamfer makes them, and how to make one larger."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.standing import Standing

Array = NDArray[np.float64]
_SAME = 1e-6
_STEP_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Bevel:
    """A flat face with the same angle to two faces beside it, whose edge it takes away.

    Parameters
    ----------
    leg_mm : float
        Length of the chamfer along either face, from the edge that is gone.
    slope_deg : float
        Its angle to either face.
    """

    leg_mm: float
    slope_deg: float

    def deeper_mm(self, leg_mm: float) -> float:
        """Return how far the face must go back for the chamfer to have a leg."""
        return (leg_mm - self.leg_mm) * math.sin(math.radians(self.slope_deg))

    def leg_after(self, deeper_mm: float) -> float:
        """Return the leg of the chamfer once its face has gone back by a length, up to the next hundredth."""
        leg = self.leg_mm + deeper_mm / math.sin(math.radians(self.slope_deg))
        return math.ceil(leg / _STEP_MM - _SAME) * _STEP_MM


def bevel_of(here: Standing, face: int) -> Bevel | None:
    """Return the bevel that a flat face is; None for any other face.

    Its two longest edges run parallel and lead to flat faces from which it turns away by the same angle.
    """
    table = here.table
    if table.kinds[face] != "plane":
        return None
    edges = sorted((int(e) for e in table.face_edges[face]), key=lambda e: -float(table.lengths_mm[e]))[:2]
    if len(edges) < 2 or not all(table.straight[e] and len(table.edge_faces[e]) == 2 for e in edges):
        return None
    beside = [next(f for f in table.edge_faces[e] if f != face) for e in edges]
    if beside[0] == beside[1] or any(table.kinds[f] != "plane" for f in beside):
        return None
    normal, (one, two) = here.normals[face], here.normals[beside]
    line = np.cross(one, two)
    sines = [float(np.linalg.norm(np.cross(normal, n))) for n in (one, two)]
    samples = here.edge_samples()[edges]
    along = samples[:, -1] - samples[:, 0]
    parallel = all(
        float(np.linalg.norm(np.cross(a, line))) <= _SAME * float(np.linalg.norm(a)) for a in along
    )
    if (
        min(sines) < _SAME
        or abs(sines[0] - sines[1]) > _SAME
        or not parallel
        or float(np.linalg.norm(line)) < _SAME
    ):
        return None
    offsets = np.array([*here.offsets[beside], 0.0])
    corner = np.linalg.solve(np.stack((one, two, line)), offsets)
    high = float(normal @ corner - here.offsets[face])
    # A bevel takes an outside edge away; where the faces meet behind it, it fills an inside corner.
    if high <= _SAME:
        return None
    return Bevel(leg_mm=high / sines[0], slope_deg=math.degrees(math.asin(min(sines[0], 1.0))))
