"""What a surface and a round edge are, in numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


Piece = tuple[Array, Array, float, float]
"""A circle swept by a ball: centre, axis, radius of the circle, radius of the ball."""


CHORD_MM = 1e-3


WIDE_RAD = 1.2 * math.pi
"""Arcs wider than this are held by their whole circle, narrower ones by their tangents."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A quadric or torus.

    Parameters
    ----------
    kind : str
        cylinder, cone, sphere, torus or other.
    origin, axis : ndarray, shape (3,)
        A point on the axis (a cone's apex, a sphere's centre) and the unit axis; a cone's axis points
        from the apex into the cone.
    radius_mm : float
        Radius of cylinder and sphere, major radius of a torus.
    minor_radius_mm : float
        Tube radius of a torus.
    half_angle_rad : float
        Half angle of a cone.
    outward : int
        +1 where the material lies inside (a pin), -1 where it lies outside (a hole).
    x_axis, y_axis : ndarray, shape (3,)
        Directions across the axis at angle 0 and 90 degrees of the face's own angle.
    arc_rad : tuple of float
        First and last angle of the face about the axis.
    heights_mm : tuple of float
        Least and greatest height of the face along the axis, from `origin`.
    iso : bool
        Whether the face is bounded by those four values alone.
    """

    kind: str
    origin: Array
    axis: Array
    radius_mm: float = 0.0
    minor_radius_mm: float = 0.0
    half_angle_rad: float = 0.0
    outward: int = 1
    x_axis: Array = field(default_factory=lambda: np.zeros(3))
    y_axis: Array = field(default_factory=lambda: np.zeros(3))
    arc_rad: tuple[float, float] = (0.0, 2 * math.pi)
    heights_mm: tuple[float, float] = (0.0, 0.0)
    iso: bool = False

    def moved(self, turn: Array, shift: Array) -> Surface:
        """Return the surface after x -> turn x + shift."""
        return replace(
            self,
            origin=turn @ self.origin + shift,
            axis=turn @ self.axis,
            x_axis=turn @ self.x_axis,
            y_axis=turn @ self.y_axis,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Circle:
    """A round edge: points centre + radius (cos t x_axis + sin t y_axis), t within `arc_rad`."""

    centre: Array
    x_axis: Array
    y_axis: Array
    radius_mm: float
    arc_rad: tuple[float, float]
