"""A face that seats: the plane, cylinder or sphere that it lies on, and how far it reaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.face_table import FaceTable, Hull, face_tables
from fixturecheck.kernel.brep.primitives import Surface, SurfaceKind
from fixturecheck.kernel.place import drawing_matrix
from fixturecheck.kernel.shapes import Solid

_ONE_WAY = 1.0 - 1e-12
_SAME_MM = 1e-6
_EXACT = (SurfaceKind.PLANE, SurfaceKind.CYLINDER, SurfaceKind.SPHERE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatFace:
    """A face, or several that lie on one surface, as the solver of seats needs it.

    Parameters
    ----------
    kind : SurfaceKind
        Plane, cylinder or sphere.
    point_mm : ndarray, shape (3,)
        A point of the plane, of the cylinder's axis, or the sphere's centre.
    direction : ndarray, shape (3,)
        Outward normal of the plane, or the cylinder's axis; zero for a sphere.
    radius_mm : float
        Of cylinder and sphere.
    outward : int
        +1 where the material lies inside (a pin), -1 where it lies outside (a bore).
    hull : Hull
        Pieces whose hull holds the face.
    """

    kind: SurfaceKind
    point_mm: Floats
    direction: Floats
    radius_mm: float = 0.0
    outward: int = 1
    hull: Hull

    def moved(self, turn: Floats, shift: Floats) -> SeatFace:
        """Return the face after x -> turn x + shift."""
        hull = replace(self.hull, centres=self.hull.centres @ turn.T + shift, axes=self.hull.axes @ turn.T)
        return replace(
            self, point_mm=turn @ self.point_mm + shift, direction=turn @ self.direction, hull=hull
        )

    def extent_mm(self, way: Floats) -> tuple[float, float]:
        """Return the least and greatest position of the face along a unit direction, mm."""
        far = self.hull.reach(np.vstack((-way, way)))
        return -float(far[:, 0].max()), float(far[:, 1].max())

    def middle_mm(self, way: Floats) -> float:
        """Return the position half way between the ends of the face along a unit direction, mm."""
        low, high = self.extent_mm(way)
        return 0.5 * (low + high)


def seat_face(solid: Solid, numbers: Sequence[int], name: str) -> SeatFace:
    """Return the surface that some faces of a solid share, in the frame that the solid is drawn in.

    Parameters
    ----------
    numbers : sequence of int
        Which faces, as numbers in `faces_of(solid)`.
    name : str
        What the face is called in a message.

    Raises
    ------
    NotComputedError
        The faces lie on different surfaces, or on one that has no closed form here.
    """
    table = face_tables([solid])[0]
    found = [_on_surface(table, number) for number in numbers]
    first = found[0]
    if first is None:
        kind = table.kinds[numbers[0]]
        what = "a free-form face" if kind == SurfaceKind.OTHER else f"a {kind}"
        message = f"{name} is {what}"
        raise NotComputedError(message)
    if not all(other is not None and _same(first, other) for other in found[1:]):
        message = f"{name} names faces on several surfaces"
        raise NotComputedError(message)
    matrix = drawing_matrix(solid)
    keep = np.isin(table.hull.faces, list(numbers))
    hull = Hull(
        centres=table.hull.centres[keep],
        axes=table.hull.axes[keep],
        radii=table.hull.radii[keep],
        balls=table.hull.balls[keep],
        faces=table.hull.faces[keep],
    )
    return replace(first, hull=hull).moved(matrix[:3, :3], matrix[:3, 3])


def _on_surface(table: FaceTable, number: int) -> SeatFace | None:
    """Return the surface of one face, or None where it is of another kind."""
    if table.kinds[number] == SurfaceKind.PLANE:
        normal = table.normals[number]
        return SeatFace(
            kind=SurfaceKind.PLANE,
            point_mm=normal * table.offsets[number],
            direction=normal,
            hull=table.hull,
        )
    surface: Surface | None = table.surfaces[number]
    if surface is None or surface.kind not in _EXACT:
        return None
    ball = surface.kind == SurfaceKind.SPHERE
    return SeatFace(
        kind=surface.kind,
        point_mm=surface.origin,
        direction=np.zeros(3) if ball else surface.axis,
        radius_mm=surface.radius_mm,
        outward=surface.outward,
        hull=table.hull,
    )


def _same(one: SeatFace, other: SeatFace) -> bool:
    """Tell whether two faces lie on the same surface, on the same side of the material."""
    if one.kind != other.kind or one.outward != other.outward:
        return False
    apart = other.point_mm - one.point_mm
    if one.kind == SurfaceKind.PLANE:
        return bool(one.direction @ other.direction > _ONE_WAY and abs(apart @ one.direction) < _SAME_MM)
    if abs(one.radius_mm - other.radius_mm) > _SAME_MM:
        return False
    if one.kind == SurfaceKind.SPHERE:
        return bool(np.linalg.norm(apart) < _SAME_MM)
    across = apart - one.direction * (apart @ one.direction)
    return bool(abs(one.direction @ other.direction) > _ONE_WAY and np.linalg.norm(across) < _SAME_MM)


def axis_of_revolution(solid: Solid) -> tuple[Floats, Floats] | None:
    """Return a point and the unit direction of the axis that a solid is turned about, in its own frame.

    Returns
    -------
    tuple of ndarray or None
        None where some face is not a surface of revolution about the same axis as the others.
    """
    table = face_tables([solid])[0]
    around = [s for s in table.surfaces if s is not None]
    axes = [s for s in around if s.kind in _ABOUT_AXIS]
    if not axes or any(s.kind not in (*_ABOUT_AXIS, SurfaceKind.SPHERE) for s in around):
        return None
    point, axis = axes[0].origin, axes[0].axis
    for surface in around:
        apart = surface.origin - point
        if np.linalg.norm(apart - axis * (axis @ apart)) > _SAME_MM:
            return None
        if surface.kind != SurfaceKind.SPHERE and abs(surface.axis @ axis) < _ONE_WAY:
            return None
    flat = [n for n, kind in zip(table.normals, table.kinds, strict=True) if kind == SurfaceKind.PLANE]
    if any(abs(normal @ axis) < _ONE_WAY for normal in flat):
        return None
    matrix = drawing_matrix(solid)
    return matrix[:3, :3] @ point + matrix[:3, 3], matrix[:3, :3] @ axis


_ABOUT_AXIS = (SurfaceKind.CYLINDER, SurfaceKind.CONE, SurfaceKind.TORUS)
