"""A milling cutter as the room that it takes up, and points all over a solid that may come into it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.sample import edge_points, face_window, grid_on_face
from fixturecheck.kernel.shapes import Face, Solid
from fixturecheck.result import Vector

Floats = NDArray[np.float64]

_LONG_DIAMETERS = 3.0
"""Length of a cutter over its diameter, beyond which its holder begins: common practice, no source."""
_SPACING_MM, _MOST_POINTS, _ON_EDGE = 1.0, 2500, 25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutter:
    """A cutter where it stands.

    Parameters
    ----------
    axis_mm : ndarray, shape (3,)
        Lower end of its axis.
    radius_mm, long_mm : float
    """

    axis_mm: Floats
    radius_mm: float
    long_mm: float

    def deep_mm(self, points: Floats) -> float:
        """Return how deep the deepest of some points lies in it; zero where none does."""
        inside = np.minimum(self.behind_mm(points), self.above_mm(points))
        reached = points[:, 2] <= self.axis_mm[2] + self.long_mm
        return max(0.0, float(np.where(reached, inside, 0.0).max(initial=0.0)))

    def behind_mm(self, points: Floats) -> Floats:
        """Return how far points lie behind its side; below zero outside."""
        apart: Floats = np.hypot(*(points - self.axis_mm)[:, :2].T)
        return self.radius_mm - apart

    def above_mm(self, points: Floats) -> Floats:
        """Return how far points lie above its end."""
        above: Floats = points[:, 2] - self.axis_mm[2]
        return above


def cutter_at(axis_mm: Vector, diameter_mm: float) -> Cutter:
    """Return a cutter with its axis there."""
    return Cutter(
        axis_mm=np.array(axis_mm), radius_mm=0.5 * diameter_mm, long_mm=_LONG_DIAMETERS * diameter_mm
    )


def points_on(solid: Solid) -> Floats:
    """Return points on every face and edge of a solid, about a millimetre apart, with its corners."""
    faces = [points_of(f) for f in faces_of(solid)]
    return np.concatenate([*faces, *(edge_points(e, _ON_EDGE) for e in edges_of(solid))])


def points_of(face: Face) -> Floats:
    """Return points on a face and its edges."""
    grid = grid_on_face(face, face_window(face), _SPACING_MM, _MOST_POINTS).points
    return np.concatenate([grid, *(edge_points(e, _ON_EDGE) for e in edges_of(face))])
