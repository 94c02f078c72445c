"""Surfaces, round edges and curved faces in numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

from fixturecheck.arrays import Floats


class SurfaceKind(StrEnum):
    """What surface a face lies on."""

    PLANE = "plane"
    CYLINDER = "cylinder"
    CONE = "cone"
    SPHERE = "sphere"
    TORUS = "torus"
    OTHER = "other"


class CurveKind(StrEnum):
    """What curve an edge lies on."""

    LINE = "line"
    CIRCLE = "circle"
    ELLIPSE = "ellipse"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """The surface of a curved face: a quadric, a torus, or another one that is known by its kind only.

    Parameters
    ----------
    kind : SurfaceKind
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

    kind: SurfaceKind
    origin: Floats
    axis: Floats
    radius_mm: float = 0.0
    minor_radius_mm: float = 0.0
    half_angle_rad: float = 0.0
    outward: int = 1
    x_axis: Floats = field(default_factory=lambda: np.zeros(3))
    y_axis: Floats = field(default_factory=lambda: np.zeros(3))
    arc_rad: tuple[float, float] = (0.0, 2 * math.pi)
    heights_mm: tuple[float, float] = (0.0, 0.0)
    iso: bool = False

    def moved(self, turn: Floats, shift: Floats) -> Surface:
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

    centre: Floats
    axis: Floats
    x_axis: Floats
    y_axis: Floats
    radius_mm: float
    arc_rad: tuple[float, float]

    def moved(self, turn: Floats, shift: Floats) -> Circle:
        """Return the circle after x -> turn x + shift."""
        return replace(
            self,
            centre=turn @ self.centre + shift,
            axis=turn @ self.axis,
            x_axis=turn @ self.x_axis,
            y_axis=turn @ self.y_axis,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rim:
    """A circular edge that sticks out or is flush: a swept circle whose tube has no radius.

    Parameters
    ----------
    centre_mm, axis, zero : ndarray, shape (3,)
        Centre, unit axis, and the direction of angle zero.
    radius_mm : float
    turn : tuple of float
        First and last angle about the axis, radians.
    leave : ndarray, shape (2, 2)
        Radial and axial parts of the directions from the middle of the edge into its two faces.
    faces : tuple of int
        The two faces.
    """

    centre_mm: Floats
    axis: Floats
    zero: Floats
    radius_mm: float
    turn: tuple[float, float]
    leave: Floats
    faces: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweptPrimitive:
    """A curved face as what a ball or a circle sweeps: an axis, radii at its two ends, the part of a turn.

    Parameters
    ----------
    kind : SurfaceKind
        Cylinder, cone, sphere or torus.
    sign : int
        +1 where the material lies inside (convex: a pin), -1 where it lies outside (concave: a bore).
    a_mm, b_mm : ndarray, shape (3,)
        Ends of the axis; equal for sphere and torus.
    axis, zero : ndarray, shape (3,)
        Unit axis and the direction of angle zero.
    radius_a_mm, radius_b_mm : float
        Radii at the ends; for a torus its centre circle, for a sphere zero.
    tube_mm : float
        Radius of the ball that is swept: sphere and torus; zero otherwise.
    turn : tuple of float
        First and last angle about the axis, radians.
    tilt : tuple of float
        First and last latitude of sphere and torus, radians.
    face : int
        Index of the face.
    """

    kind: SurfaceKind
    sign: int
    a_mm: Floats
    b_mm: Floats
    axis: Floats
    zero: Floats
    radius_a_mm: float
    radius_b_mm: float
    tube_mm: float
    turn: tuple[float, float]
    tilt: tuple[float, float]
    face: int

    @property
    def is_tube(self) -> bool:
        """Whether a ball sweeps it, at a point or along a circle: sphere and torus."""
        return self.kind in {SurfaceKind.SPHERE, SurfaceKind.TORUS}
