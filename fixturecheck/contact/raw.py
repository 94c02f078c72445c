"""A patch while it is being found, with what is needed to tell whether it covers another."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.contact.standing import Frame
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.measure import distance
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.sample import edge_points
from fixturecheck.kernel.shapes import Shape
from fixturecheck.result import ContactKind

Array = NDArray[np.float64]
_SPOTS = 7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Raw:
    """A patch between face groups of two bodies A and B.

    Parameters
    ----------
    kind : ContactKind
        How the faces meet.
    a_faces, b_faces : tuple of int
        One face, or the faces that meet in the edge or corner that touches.
    normal : ndarray, shape (3,)
        Unit normal out of A into B.
    centroid : ndarray, shape (3,)
    make : callable
        Builds the patch's geometry.
    flat : tuple of Frame and polygon, or None
        The patch as a polygon in a plane, where it is one.
    ends : tuple of ndarray, or None
        The patch as a straight segment, where it is one.
    frayed : bool
        Whether the two outlines also meet along a line or at a point beside the patch.
    """

    kind: ContactKind
    a_faces: tuple[int, ...]
    b_faces: tuple[int, ...]
    normal: Array
    centroid: Array
    make: Callable[[], Shape]
    area_mm2: float = 0.0
    length_mm: float = 0.0
    gap_min_mm: float = 0.0
    gap_mean_mm: float = 0.0
    gap_max_mm: float = 0.0
    error_mm: float = 0.0
    flat: tuple[Frame, Any] | None = field(default=None, repr=False)
    ends: tuple[Array, Array] | None = None
    frayed: bool = False

    def holds(self, points: Array, within_mm: float) -> NDArray[np.bool_]:
        """Say which of the points (n, 3) lie on the patch."""
        if self.flat is not None:
            frame, polygon = self.flat
            level = np.abs((points - frame.origin) @ frame.normal) <= within_mm
            spots = shapely.points(frame.flat(points))
            return np.asarray(level & (shapely.distance(polygon, spots) <= within_mm))
        if self.ends is not None:
            start, end = self.ends
            along = end - start
            share = np.clip((points - start) @ along / max(float(along @ along), 1e-30), 0.0, 1.0)
            off = points - start - share[:, None] * along
            return np.asarray(np.linalg.norm(off, axis=1) <= within_mm)
        shape = self.make()
        return np.array([distance(vertex(p), shape)[0] <= within_mm for p in points], dtype=bool)

    def spots(self) -> Array:
        """Return points (n, 3) that stand for a line or a point: where they lie, all of it does."""
        if self.ends is not None:
            return np.stack([self.ends[0], self.centroid, self.ends[1]])
        return edge_points(self.make(), _SPOTS)

    def turned(self) -> Raw:
        """Return the same patch seen from B."""
        return replace(self, a_faces=self.b_faces, b_faces=self.a_faces, normal=-self.normal)

    def moved(self, turn: Array, shift: Array) -> Raw:
        """Return the patch after x -> turn x + shift, for two bodies that stand to each other as these do."""
        ends = None if self.ends is None else (turn @ self.ends[0] + shift, turn @ self.ends[1] + shift)
        return replace(
            self,
            normal=turn @ self.normal,
            centroid=turn @ self.centroid + shift,
            make=partial(_carried, self.make, turn, shift),
            flat=None,
            ends=ends,
        )


def _carried(make: Callable[[], Shape], turn: Array, shift: Array) -> Shape:
    return transformed(make(), turn, shift)


def covered(points: Array, patches: Iterable[Raw], within_mm: float) -> bool:
    """Say whether every one of the points (n, 3) lies on some patch, one patch or several together."""
    left = np.ones(len(points), dtype=bool)
    for patch in patches:
        left[left] = ~patch.holds(points[left], within_mm)
        if not left.any():
            return True
    return False
