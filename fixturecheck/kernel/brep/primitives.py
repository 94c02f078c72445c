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
        """Return the surface after x -> turn x + shift.

        Parameters
        ----------
        turn : ndarray, shape (3, 3)
            Rotation matrix.
        shift : ndarray, shape (3,)
            mm.

        Returns
        -------
        Surface
        """
        return replace(
            self,
            origin=turn @ self.origin + shift,
            axis=turn @ self.axis,
            x_axis=turn @ self.x_axis,
            y_axis=turn @ self.y_axis,
        )


def signed_distance(surface: Surface, points: Floats) -> Floats | None:
    """Return the distance of points (n, 3) from the untrimmed surface, positive outside the material.

    Returns None for a surface without a closed form.

    Parameters
    ----------
    surface : Surface
        Taken as whole: its arc and heights do not count.
    points : ndarray, shape (n, 3)
        mm, in the frame of the surface.

    Returns
    -------
    ndarray, shape (n,), or None
        mm.
    """
    x = points - surface.origin
    height = x @ surface.axis
    radius = np.linalg.norm(x - height[:, None] * surface.axis, axis=1)
    if surface.kind == SurfaceKind.CYLINDER:
        away = radius - surface.radius_mm
    elif surface.kind == SurfaceKind.SPHERE:
        away = np.linalg.norm(x, axis=1) - surface.radius_mm
    elif surface.kind == SurfaceKind.CONE:
        away = radius * math.cos(surface.half_angle_rad) - height * math.sin(surface.half_angle_rad)
    elif surface.kind == SurfaceKind.TORUS:
        away = np.hypot(radius - surface.radius_mm, height) - surface.minor_radius_mm
    else:
        return None
    return np.asarray(surface.outward * away)


def normal_out(surface: Surface, point: Floats) -> Floats:
    """Return the unit normal out of the material at the point of the surface nearest to `point`.

    Parameters
    ----------
    surface : Surface
        Taken as whole: its arc and heights do not count.
    point : ndarray, shape (3,)
        mm, in the frame of the surface; it need not lie on it.

    Returns
    -------
    ndarray, shape (3,)

    Raises
    ------
    ValueError
        The surface has no closed form.
    """
    x = point - surface.origin
    height = float(x @ surface.axis)
    radial = x - height * surface.axis
    size = float(np.linalg.norm(radial))
    unit = radial / size if size > 0 else radial
    if surface.kind == SurfaceKind.CYLINDER:
        normal = unit
    elif surface.kind == SurfaceKind.SPHERE:
        normal = x / np.linalg.norm(x)
    elif surface.kind == SurfaceKind.CONE:
        # At the apex every way round is as near: the axis is the middle of them.
        lean = surface.half_angle_rad if size > 0 else math.pi / 2
        normal = math.cos(lean) * unit - math.sin(lean) * surface.axis
    elif surface.kind == SurfaceKind.TORUS:
        tube = x - surface.radius_mm * unit
        normal = tube / np.linalg.norm(tube)
    else:
        raise ValueError(f"a surface of kind {surface.kind} has no closed form for its normal")
    return np.asarray(surface.outward * normal)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Circle:
    """A round edge: points centre + radius (cos t x_axis + sin t y_axis), t within `arc_rad`."""

    centre: Floats
    axis: Floats
    x_axis: Floats
    y_axis: Floats
    radius_mm: float
    arc_rad: tuple[float, float]

    def at(self, turned_rad: Floats) -> Floats:
        """Return the points at some angles (n,), shape (n, 3)."""
        t = turned_rad[:, None]
        return self.centre + self.radius_mm * (np.cos(t) * self.x_axis + np.sin(t) * self.y_axis)

    def moved(self, turn: Floats, shift: Floats) -> Circle:
        """Return the circle after x -> turn x + shift.

        Parameters
        ----------
        turn : ndarray, shape (3, 3)
            Rotation matrix.
        shift : ndarray, shape (3,)
            mm.

        Returns
        -------
        Circle
        """
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
