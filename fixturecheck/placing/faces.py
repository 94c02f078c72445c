"""A face that seats: the plane, cylinder, cone or sphere that it lies on, and how far it reaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.face_table import FaceTable, Hull, face_tables
from fixturecheck.kernel.brep.primitives import Surface, SurfaceKind
from fixturecheck.kernel.place import drawing_matrix
from fixturecheck.kernel.shapes import Solid

_ONE_WAY = 1.0 - 1e-12
_SAME_MM = 1e-6
_NOWHERE_ELSE = np.eye(4)
_EXACT = (SurfaceKind.PLANE, SurfaceKind.CYLINDER, SurfaceKind.CONE, SurfaceKind.SPHERE)
_SAME_RAD = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatFace:
    """A face, or several that lie on one surface, as the solver of seats needs it.

    Parameters
    ----------
    kind : SurfaceKind
        Plane, cylinder, cone or sphere.
    point_mm : ndarray, shape (3,)
        A point of the plane, of the cylinder's axis, the cone's apex, or the sphere's centre.
    direction : ndarray, shape (3,)
        Outward normal of the plane, the cylinder's axis, or the cone's from its apex into it; zero for a
        sphere.
    radius_mm : float
        Of cylinder and sphere.
    half_angle_rad : float
        Of a cone, between its axis and its side.
    outward : int
        +1 where the material lies inside (a pin), -1 where it lies outside (a bore).
    hull : Hull
        Pieces whose hull holds the face, as they are drawn.
    numbers : tuple of int
        Which pieces of the hull, by the numbers of their faces.
    turn, shift : ndarray, shapes (3, 3) and (3,)
        Where the hull stands: x -> turn x + shift.
    """

    kind: SurfaceKind
    point_mm: Floats
    direction: Floats
    radius_mm: float = 0.0
    half_angle_rad: float = 0.0
    outward: int = 1
    hull: Hull
    numbers: tuple[int, ...]
    turn: Floats = field(default_factory=lambda: np.eye(3))
    shift: Floats = field(default_factory=lambda: np.zeros(3))

    def moved(self, turn: Floats, shift: Floats) -> SeatFace:
        """Return the face after x -> turn x + shift."""
        return SeatFace(
            kind=self.kind,
            point_mm=turn @ self.point_mm + shift,
            direction=turn @ self.direction,
            radius_mm=self.radius_mm,
            half_angle_rad=self.half_angle_rad,
            outward=self.outward,
            hull=self.hull,
            numbers=self.numbers,
            turn=turn @ self.turn,
            shift=turn @ self.shift + shift,
        )

    def extent_mm(self, way: Floats) -> tuple[float, float]:
        """Return the least and greatest position of the face along a unit direction, mm."""
        drawn = self.turn.T @ way
        far = self.hull.reach(np.vstack((-drawn, drawn)))[np.isin(self.hull.faces, self.numbers)]
        at = float(way @ self.shift)
        return at - float(far[:, 0].max()), at + float(far[:, 1].max())

    def middle_mm(self, way: Floats) -> float:
        """Return the position half way between the ends of the face along a unit direction, mm."""
        low, high = self.extent_mm(way)
        return 0.5 * (low + high)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WholeShape:
    """How large a solid is, and what it is turned about.

    Parameters
    ----------
    middle_mm : ndarray, shape (3,)
        Middle of a box around it.
    size_mm : float
        Diagonal of that box.
    axis : (point, direction) or None
        A point and the unit direction of the axis of a body of revolution; None for any other body.
    """

    middle_mm: Floats
    size_mm: float
    axis: tuple[Floats, Floats] | None

    def moved(self, turn: Floats, shift: Floats) -> WholeShape:
        """Return the shape after x -> turn x + shift."""
        axis = None if self.axis is None else (turn @ self.axis[0] + shift, turn @ self.axis[1])
        return WholeShape(middle_mm=turn @ self.middle_mm + shift, size_mm=self.size_mm, axis=axis)


class SeatFaces:
    """Reads faces that seat, each once however many copies of a drawing there are."""

    def __init__(self) -> None:
        self._found: dict[tuple[int, tuple[int, ...]], SeatFace] = {}
        self._shapes: dict[int, WholeShape] = {}
        # The solids themselves are kept, so that each number stands for one of them.
        self._read: dict[int, tuple[Solid, FaceTable, Floats]] = {}

    def read(self, solid: Solid, numbers: Sequence[int], name: str) -> SeatFace:
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
        table, matrix = self._table(solid)
        key = id(table), tuple(numbers)
        if key not in self._found:
            self._found[key] = _shared_surface(table, key[1], name)
        found = self._found[key]
        # Most solids are drawn where their own frame is.
        return found if np.array_equal(matrix, _NOWHERE_ELSE) else found.moved(matrix[:3, :3], matrix[:3, 3])

    def shape(self, solid: Solid) -> WholeShape:
        """Return the size of a solid, and the axis that it is turned about."""
        table, matrix = self._table(solid)
        if id(table) not in self._shapes:
            self._shapes[id(table)] = _whole_shape(table)
        return self._shapes[id(table)].moved(matrix[:3, :3], matrix[:3, 3])

    def _table(self, solid: Solid) -> tuple[FaceTable, Floats]:
        if id(solid) not in self._read:
            self._read[id(solid)] = solid, face_tables([solid])[0], drawing_matrix(solid)
        return self._read[id(solid)][1:]


def _shared_surface(table: FaceTable, numbers: tuple[int, ...], name: str) -> SeatFace:
    found = [_on_surface(table, number, numbers) for number in numbers]
    first = found[0]
    if first is None:
        kind = table.kinds[numbers[0]]
        what = "a free-form face" if kind == SurfaceKind.OTHER else f"a {kind}"
        message = f"{name} is {what}"
        raise NotComputedError(message)
    if not all(other is not None and _same(first, other) for other in found[1:]):
        message = f"{name} names faces on several surfaces"
        raise NotComputedError(message)
    return first


def _on_surface(table: FaceTable, number: int, numbers: tuple[int, ...]) -> SeatFace | None:
    """Return the surface of one face, or None where it is of another kind."""
    if table.kinds[number] == SurfaceKind.PLANE:
        normal = table.normals[number]
        point = normal * table.offsets[number]
        return SeatFace(
            kind=SurfaceKind.PLANE, point_mm=point, direction=normal, hull=table.hull, numbers=numbers
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
        half_angle_rad=surface.half_angle_rad,
        outward=surface.outward,
        hull=table.hull,
        numbers=numbers,
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
    if one.kind == SurfaceKind.CONE:
        alike = abs(one.half_angle_rad - other.half_angle_rad) < _SAME_RAD
        return bool(alike and one.direction @ other.direction > _ONE_WAY and np.linalg.norm(apart) < _SAME_MM)
    across = apart - one.direction * (apart @ one.direction)
    return bool(abs(one.direction @ other.direction) > _ONE_WAY and np.linalg.norm(across) < _SAME_MM)


def _whole_shape(table: FaceTable) -> WholeShape:
    far = table.hull.reach(np.vstack((-np.eye(3), np.eye(3)))).max(axis=0)
    low, high = -far[:3], far[3:]
    size_mm = float(np.linalg.norm(high - low))
    return WholeShape(middle_mm=0.5 * (low + high), size_mm=size_mm, axis=_axis_of_revolution(table))


def _axis_of_revolution(table: FaceTable) -> tuple[Floats, Floats] | None:
    """Return a point and the direction of the one axis that all faces are surfaces of revolution about."""
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
    return point, axis


_ABOUT_AXIS = (SurfaceKind.CYLINDER, SurfaceKind.CONE, SurfaceKind.TORUS)
