"""A body where it stands: its face table in the machine's frame, and its flat faces as polygons."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.apart import PlacedSheets
from fixturecheck.contact.patches.facing import PlacedPlanes
from fixturecheck.contact.patches.hulls import PlacedHull
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.face_table import FaceTable, face_tables
from fixturecheck.kernel.brep.primitives import Circle, Surface, SurfaceKind, normal_out
from fixturecheck.kernel.brep.topology import edge_by_number, face_by_number
from fixturecheck.kernel.measure import normal_at
from fixturecheck.kernel.place import placed_at, transform_of
from fixturecheck.kernel.shapes import Edge, Face, Placed, Solid


class Standing:
    """One placed body with everything contact asks of it, worked out when first asked.

    Attributes
    ----------
    name, face_names : str, tuple of str
    table : FaceTable
        In the body's own frame, shared by all copies.
    normals, offsets : ndarray, shapes (F, 3), (F,)
        Planes in the machine's frame; nan where curved.
    lows, highs : ndarray, shape (F, 3)
        Axis-aligned box of each face.
    low, high : ndarray, shape (3,)
        Box of the whole body.
    planes : PlacedPlanes
        Planes and boxes, as compiled loops take them.
    bends : dict of int to shapely geometry
        What `bends_of` has found so far.
    """

    def __init__(self, placed: Placed, table: FaceTable) -> None:
        self.name = placed.name
        self.face_names = placed.face_names
        self.table = table
        self.placed = placed
        self.turn, self.shift = transform_of(placed)
        self.normals = table.normals @ self.turn.T
        self.offsets = table.offsets + self.normals @ self.shift
        self.lows, self.highs = self._face_boxes()
        self.low, self.high = self.lows.min(axis=0), self.highs.max(axis=0)
        self.planes: PlacedPlanes = self.normals, self.offsets, self.lows, self.highs
        self._outlines: dict[int, tuple[PlaneFrame, Any]] = {}
        self.bends: dict[int, Any] = {}
        self._rings: dict[int, tuple[Floats, ...]] = {}
        self._surfaces: dict[int, Surface] = {}

    def _face_boxes(self) -> tuple[Floats, Floats]:
        hull = self.table.hull
        centres, axes = self.points(hull.centres), hull.axes @ self.turn.T
        # A circle of radius R about unit axis a reaches R sqrt(1 - a_i^2) along axis i; a point has R = 0.
        reach = hull.radii[:, None] * np.sqrt(np.clip(1.0 - axes**2, 0.0, 1.0)) + hull.balls[:, None]
        return hull.least(centres - reach), hull.most(centres + reach)

    @cached_property
    def sheets(self) -> PlacedSheets:
        """The sheets that stand for faces, as `proven_apart` reads them."""
        sheets = self.table.sheets
        normals = sheets.normals @ self.turn.T
        return (
            self.lows, self.highs, sheets.of_face, normals, sheets.offsets + normals @ self.shift,
            sheets.bulges_mm, sheets.first, self.points(sheets.nodes), sheets.chords, sheets.slacks_mm,
        )  # fmt: skip

    @cached_property
    def hull(self) -> PlacedHull:
        """The hulls that hold its faces."""
        return self.table.pieces, self.turn, self.shift, self.normals

    def points(self, local: Floats) -> Floats:
        """Carry points (..., 3) from the topology's frame into the machine's."""
        return local @ self.turn.T + self.shift

    def rings(self, face: int) -> tuple[Floats, ...]:
        """Return a planar face's outline, outer ring first."""
        if face not in self._rings:
            rings = self.table.rings[face]
            self._rings[face] = tuple(self.points(r) for r in rings) if rings else ()
        return self._rings[face]

    def surface(self, face: int) -> Surface:
        """Return a curved face's surface in the machine's frame."""
        if face not in self._surfaces:
            surface = self.table.surfaces[face]
            if surface is None:
                raise TypeError(f"{self.name}.{self.face_names[face]} is a plane")
            self._surfaces[face] = surface.moved(self.turn, self.shift)
        return self._surfaces[face]

    @cached_property
    def face(self) -> Callable[[int], Face]:
        """What gives each of the kernel's faces in the machine's frame by its index."""
        return face_by_number(self.solid)

    @cached_property
    def edge(self) -> Callable[[int], Edge]:
        """What gives each of the kernel's edges in the machine's frame by its index."""
        return edge_by_number(self.solid)

    @cached_property
    def solid(self) -> Solid:
        """The kernel's solid in the machine's frame."""
        return placed_at(self.placed.solid, self.placed.at)

    @cached_property
    def vertices(self) -> Floats:
        """Every vertex, (V, 3)."""
        return self.points(self.table.vertices)

    @cached_property
    def edge_samples(self) -> Floats:
        """Points along every edge, ends included, (E, 9, 3)."""
        return self.points(self.table.samples)

    @cached_property
    def inward(self) -> Floats:
        """Directions from the middle of every edge into its faces, (E, 2, 3)."""
        return self.table.inward @ self.turn.T

    def circle(self, edge: int) -> Circle | None:
        """Return a round edge's circle in the machine's frame."""
        circle = self.table.circles[edge]
        return None if circle is None else circle.moved(self.turn, self.shift)

    def outline(self, face: int) -> tuple[PlaneFrame, Any]:
        """Return a planar face's own frame and its polygon there."""
        if face not in self._outlines:
            frame = PlaneFrame(self.normals[face] * self.offsets[face], self.normals[face])
            self._outlines[face] = frame, frame.polygon(self.rings(face))
        return self._outlines[face]

    def normal_near(self, face: int, point: Floats) -> Floats:
        """Return the outward unit normal of a face at its point nearest to `point`.

        Parameters
        ----------
        face : int
            Which face, flat or curved.
        point : ndarray, shape (3,)
            A place in the machine's frame, mm.
        """
        surface = self.table.surfaces[face]
        if surface is None:
            return np.asarray(self.normals[face])
        if surface.kind == SurfaceKind.OTHER:
            return normal_at(self.face(face), point)
        return normal_out(self.surface(face), point)

    def label(self, faces: Sequence[int]) -> FaceRef:
        """Name a face, or the edge or corner where several meet."""
        return FaceRef.of(self.name, *sorted({self.face_names[f] for f in faces}))


class PlaneFrame:
    """A plane's own coordinates, in which faces are flat polygons.

    Parameters
    ----------
    origin, normal : ndarray, shape (3,)
    """

    def __init__(self, origin: Floats, normal: Floats) -> None:
        self.origin, self.normal = origin, normal
        x, y, z = (float(c) for c in normal)
        # Any direction across the normal: drop its smallest component, where the rest is well away from zero.
        if abs(z) <= min(abs(x), abs(y)):
            size = math.hypot(x, y)
            u = (y / size, -x / size, 0.0)
        elif abs(y) <= abs(x):
            size = math.hypot(x, z)
            u = (-z / size, 0.0, x / size)
        else:
            size = math.hypot(y, z)
            u = (0.0, z / size, -y / size)
        v = (y * u[2] - z * u[1], z * u[0] - x * u[2], x * u[1] - y * u[0])
        self._basis = np.array([u, v]).T

    def flat(self, points: Floats) -> Floats:
        """Return points (n, 3) as (n, 2), projected along the normal."""
        return np.asarray((points - self.origin) @ self._basis)

    def space(self, flat: Floats) -> Floats:
        """Return points (n, 2) of the plane as (n, 3)."""
        return np.asarray(self.origin + flat @ self._basis.T)

    def against(self, normal: Floats, offset_mm: float) -> tuple[Floats, float]:
        """Return where a plane n.x = offset meets this one: s (2,) and d of s.y = d in its coordinates.

        Parameters
        ----------
        normal : ndarray, shape (3,)
            n of the other plane.
        offset_mm : float
            n.x of the points of the other plane.
        """
        return normal @ self._basis, offset_mm - float(self.origin @ normal)

    def polygon(self, rings: Sequence[Floats]) -> Any:
        """Return the polygon of a face's rings."""
        if len(rings) == 1:
            return shapely.polygons(self.flat(rings[0]))
        return shapely.Polygon(self.flat(rings[0]), [self.flat(r) for r in rings[1:]])


def bends_of(body: Standing, face: int) -> Any | None:
    """Return the chords that stand for the round edges of a flat face, in its frame; None without any.

    Parameters
    ----------
    body : Standing
        The body; what is found is kept in its `bends`.
    face : int
        A flat face of it.

    Returns
    -------
    shapely.MultiLineString or None
        Each chord by itself, mm.
    """
    if body.table.exact[face]:
        return None
    if face not in body.bends:
        frame, _ = body.outline(face)
        sides = [
            np.stack([points, np.roll(points, -1, axis=0)], axis=1)[~body.table.straight[edges]]
            for points, edges in zip(body.rings(face), body.table.rings.sides(face), strict=True)
        ]
        seen = frame.flat(np.concatenate(sides).reshape(-1, 3)).reshape(-1, 2, 2)
        body.bends[face] = shapely.multilinestrings(shapely.linestrings(seen))
    return body.bends[face]


def sine_between(one: Floats, other: Floats) -> float:
    """Return the sine of the angle between two unit directions.

    Parameters
    ----------
    one, other : ndarray, shape (3,)
        Unit directions.

    Returns
    -------
    float
        Never below zero.
    """
    (ax, ay, az), (bx, by, bz) = one.tolist(), other.tolist()
    return math.hypot(ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx)


FacePair = tuple[Standing, int, Standing, int]
"""Body A, its face, body B, its face."""


def place_bodies(bodies: Sequence[Placed]) -> list[Standing]:
    """Work out every body, reading each distinct solid from the kernel once.

    Parameters
    ----------
    bodies : sequence of Placed
        Each solid with where it stands.

    Returns
    -------
    list of Standing
        In the same order.
    """
    tables = face_tables([b.solid for b in bodies])
    return [Standing(body, table) for body, table in zip(bodies, tables, strict=True)]
