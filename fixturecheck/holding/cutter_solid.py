"""A cutter where it stands: how deep points lie in it, and which bodies it would stand in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.holding import Milling

_LONG_DIAMETERS = 3.0
"""Length of a cutter over its diameter, beyond which its holder begins: common practice, no source."""
GRAZE_MM = 0.02
"""How deep a cutter may lie in what it only just meets."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutter:
    """A cutter where it stands.

    Parameters
    ----------
    axis_mm : ndarray, shape (3,)
        Lower end of its axis.
    radius_mm, long_mm : float
    corner_mm : float
        Radius between its end and its side.
    """

    axis_mm: Floats
    radius_mm: float
    long_mm: float
    corner_mm: float = 0.0

    def deep_mm(self, points: Floats) -> float:
        """Return how deep the deepest of some points lies in it; zero where none does."""
        inside = np.minimum(self.behind_mm(points), self.above_mm(points))
        reached = points[:, 2] <= self.axis_mm[2] + self.long_mm
        return max(0.0, float(np.where(reached, inside, 0.0).max(initial=0.0)))

    def behind_mm(self, points: Floats) -> Floats:
        """Return how far points lie behind its side; below zero outside."""
        apart: Floats = np.hypot(*(points - self.axis_mm)[:, :2].T)
        if self.corner_mm <= 0.0:
            return self.radius_mm - apart
        below = np.clip(1.0 - self.above_mm(points) / self.corner_mm, 0.0, 1.0)
        return self.radius_mm - self.corner_mm * (1.0 - np.sqrt(1.0 - below**2)) - apart

    def above_mm(self, points: Floats) -> Floats:
        """Return how far points lie above its end."""
        above: Floats = points[:, 2] - self.axis_mm[2]
        return above


def cutter_at(axis_mm: Vector, diameter_mm: float) -> Cutter:
    """Return a square cutter with its axis there.

    Parameters
    ----------
    axis_mm : Vector
        Lower end of its axis.
    diameter_mm : float

    Returns
    -------
    Cutter
    """
    return Cutter(
        axis_mm=np.array(axis_mm), radius_mm=0.5 * diameter_mm, long_mm=_LONG_DIAMETERS * diameter_mm
    )


def stands_in(axis_mm: Vector, mill: Milling, bodies: Mapping[str, Floats]) -> set[str]:
    """Return the bodies that the cutter would stand in.

    Parameters
    ----------
    axis_mm : Vector
        Lower end of its axis.
    mill : Milling
        Diameter and corner of the cutter count.
    bodies : mapping of str to ndarray, shape (n, 3)
        Points on each body.

    Returns
    -------
    set of str
    """
    cutter = replace(cutter_at(axis_mm, mill.cutter_mm), corner_mm=mill.corner_mm)
    return {n for n, points in bodies.items() if cutter.deep_mm(points) > GRAZE_MM}
