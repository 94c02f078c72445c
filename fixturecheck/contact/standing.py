"""A body where it stands: its face table carried into the machine's frame."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.kernel.clip import world_edges, world_faces
from fixturecheck.kernel.facets import FaceTable, Surface, face_tables, transform_of
from fixturecheck.kernel.shapes import Edge, Face, Placed, Solid

Array = NDArray[np.float64]


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
    """

    def __init__(self, placed: Placed, table: FaceTable) -> None:
        self.name = placed.name
        self.face_names = placed.face_names
        self.table = table
        self.placed = placed
        self.turn, self.shift = transform_of(placed)
        self.normals = table.normals @ self.turn.T
        self.offsets = table.offsets + self.normals @ self.shift
        self.centres = table.hull_centres @ self.turn.T + self.shift
        self.axes = table.hull_axes @ self.turn.T
        self.lows, self.highs = self._face_boxes()
        self.low, self.high = self.lows.min(axis=0), self.highs.max(axis=0)
        self._samples: Array | None = None
        self._vertices: Array | None = None
        self._faces: list[Face] | None = None
        self._edges: list[Edge] | None = None
        self._surfaces: dict[int, Surface] = {}

    def _face_boxes(self) -> tuple[Array, Array]:
        # A circle of radius R about unit axis a reaches R sqrt(1 - a_i^2) along axis i; a point has R = 0.
        reach = self.table.hull_radii[:, None] * np.sqrt(np.clip(1.0 - self.axes**2, 0.0, 1.0))
        reach += self.table.hull_balls[:, None]
        count = len(self.table.kinds)
        lows, highs = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
        np.minimum.at(lows, self.table.hull_faces, self.centres - reach)
        np.maximum.at(highs, self.table.hull_faces, self.centres + reach)
        return lows, highs

    def support(self, directions: Array) -> Array:
        """Return how far the body's hull reaches along each unit direction (n, 3), as x.d in mm."""
        along = self.centres @ directions.T
        tilt = np.sqrt(np.clip(1.0 - (self.axes @ directions.T) ** 2, 0.0, 1.0))
        reach = along + self.table.hull_radii[:, None] * tilt + self.table.hull_balls[:, None]
        return np.asarray(reach.max(axis=0))

    def points(self, local: Array) -> Array:
        """Carry points (n, 3) from the topology's frame into the machine's."""
        return local @ self.turn.T + self.shift

    def rings(self, face: int) -> tuple[Array, ...]:
        """Return a planar face's outline, outer ring first."""
        rings = self.table.rings[face]
        return tuple(self.points(r) for r in rings) if rings else ()

    def surface(self, face: int) -> Surface:
        """Return a curved face's surface in the machine's frame."""
        if face not in self._surfaces:
            surface = self.table.surfaces[face]
            if surface is None:
                message = f"{self.name}.{self.face_names[face]} is a plane"
                raise TypeError(message)
            self._surfaces[face] = surface.moved(self.turn, self.shift)
        return self._surfaces[face]

    def face(self, index: int) -> Face:
        """Return the kernel's face in the machine's frame."""
        if self._faces is None:
            self._faces = world_faces(self.placed)
        return self._faces[index]

    def edge_samples(self) -> Array:
        """Return points along every edge, (E, 9, 3), ends included."""
        if self._samples is None:
            self._samples = self.points(self.table.samples.reshape(-1, 3)).reshape(-1, 9, 3)
        return self._samples

    def edge(self, index: int) -> Edge:
        """Return the kernel's edge in the machine's frame."""
        if self._edges is None:
            self._edges = world_edges(self.placed)
        return self._edges[index]

    def vertices(self) -> Array:
        """Return every vertex, (V, 3)."""
        if self._vertices is None:
            self._vertices = self.points(self.table.vertices)
        return self._vertices

    def solid(self) -> Solid:
        """Return the kernel's solid in the machine's frame."""
        return self.placed.solid.moved(self.placed.at)

    def label(self, faces: Sequence[int]) -> str:
        """Name a face, or the edge or corner where several meet: `body.a` or `body.a+b`."""
        return f"{self.name}.{'+'.join(sorted({self.face_names[f] for f in faces}))}"


class Frame:
    """A plane's own coordinates, in which faces are flat polygons.

    Parameters
    ----------
    origin, normal : ndarray, shape (3,)
    """

    def __init__(self, origin: Array, normal: Array) -> None:
        self.origin, self.normal = origin, normal
        least = np.zeros(3)
        least[int(np.argmin(np.abs(normal)))] = 1.0
        self.u = np.cross(normal, least)
        self.u /= np.linalg.norm(self.u)
        self.v = np.cross(normal, self.u)
        self._basis = np.stack([self.u, self.v], axis=1)

    def flat(self, points: Array) -> Array:
        """Return points (n, 3) as (n, 2), projected along the normal."""
        return np.asarray((points - self.origin) @ self._basis)

    def space(self, flat: Array) -> Array:
        """Return points (n, 2) of the plane as (n, 3)."""
        return np.asarray(self.origin + flat @ self._basis.T)

    def polygon(self, rings: Sequence[Array]) -> Any:
        """Return the polygon of a face's rings."""
        return shapely.Polygon(self.flat(rings[0]), [self.flat(r) for r in rings[1:]])


def stand(bodies: Sequence[Placed]) -> list[Standing]:
    """Work out every body, reading each distinct solid from the kernel once."""
    tables = face_tables([b.solid for b in bodies])
    return [Standing(body, table) for body, table in zip(bodies, tables, strict=True)]
