"""The tubes that carry flux across a gap: a region between two faces, cut as finely as asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from fixturecheck.contact.standing import Array

_FIRST_STRIP_MM = 0.004
_STRIP_GROWTH = 0.6
_MOST_CELLS = 60_000
_HALVINGS = 4
TOUCH_MM = 0.01
"""Drawn faces closer than this are taken to touch."""

LocalSize = Callable[[Array, Array], Array]
"""Largest cell allowed at points (n, 3) of one face and (n, 3) of the other, mm, shape (n,)."""

Tubes = tuple[Array, Array, Array, Array]
"""Ends on either face, length (inf where there is no tube) and direction."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapField:
    """The tubes between two faces.

    Parameters
    ----------
    points_a_mm, points_b_mm : ndarray, shape (n, 3)
        Ends of each tube, in the machine's frame.
    gap_mm : ndarray, shape (n,)
        Length of each tube; zero where the drawn faces touch.
    weight_mm2 : ndarray, shape (n,)
        Area of each tube.
    normal : ndarray, shape (n, 3)
        Unit direction out of `a` into `b`, half-way between the two faces' normals.
    """

    points_a_mm: Array
    points_b_mm: Array
    gap_mm: Array
    weight_mm2: Array
    normal: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapRegion:
    """Two faces that look at each other within the band, not yet cut into tubes.

    Parameters
    ----------
    a, b : int
        The bodies, as indices.
    face_a, face_b : int
        Their faces.
    flat : bool
        Whether the two faces are planes that are parallel within a degree.
    seated : bool
        Whether they are parallel, touch, and are wider than narrow.
    fine_points_mm : ndarray, shape (m, 3)
        Points along a contact narrower than the mesh, around which the mesh must be finer.
    shape : object
        The region as a polygon, or None where `box` holds it all.
    box : tuple of float
        Bounds of the region in its own two coordinates, mm.
    tubes : callable
        From coordinates (n, 2) to tubes.
    opening : bool
        Whether the gap opens from zero along the second coordinate, which then needs thin first strips.
    """

    a: int
    b: int
    face_a: int
    face_b: int
    flat: bool
    seated: bool
    fine_points_mm: Array
    shape: Any
    box: tuple[float, float, float, float]
    tubes: Callable[[Array], Tubes]
    opening: bool = False

    def sample(self, local_size: LocalSize, spacing_mm: float) -> GapField:
        """Cut the region into tubes no wider than the local size, with exact areas where it is flat.

        Cells are halved until they fit: points sparser than the surface triangles under them would
        leave triangles that carry nothing.
        """
        low = np.array([self.box[:2]])
        high = np.array([self.box[2:]])
        done: list[tuple[Array, Array]] = []
        count = 0
        while len(low):
            centre = (low + high) / 2
            starts, ends, _, _ = self.tubes(centre)
            most = np.minimum(local_size(starts, ends), spacing_mm)[:, None].repeat(2, axis=1)
            if self.opening:
                strip = np.maximum(_FIRST_STRIP_MM, _STRIP_GROWTH * centre[:, 1])
                most[:, 1] = np.minimum(most[:, 1], strip)
            pieces = np.ceil((high - low) / most - 1e-9).astype(int)
            # Many at once where the cell is far too large, but no more than the sizes at its centre tell.
            pieces = np.clip(pieces, 1, 8 if not done else 3)
            fits = (pieces == 1).all(axis=1)
            done.append((low[fits], high[fits]))
            count += int(fits.sum())
            low, high = _divide(low[~fits], high[~fits], pieces[~fits])
            if count + len(low) > _MOST_CELLS:
                done.append((low, high))
                break
        low, high = (np.vstack(parts) for parts in zip(*done, strict=True))
        field = self._field(low, high)
        for _ in range(_HALVINGS):
            if len(field.gap_mm):
                break
            # What lies within the band may be a sliver that the middles of all cells miss.
            low, high = _divide(low, high, np.full(low.shape, 2))
            field = self._field(low, high)
        return field

    def _field(self, low: Array, high: Array) -> GapField:
        if self.shape is None:
            at, area = (low + high) / 2, np.prod(high - low, axis=1)
        else:
            cells = shapely.intersection(self.shape, shapely.box(*low.T, *high.T))
            area = shapely.area(cells)
            keep = area > 1e-9 * area.max()
            at, area = shapely.get_coordinates(shapely.centroid(cells[keep])), area[keep]
        starts, ends, gap, direction = self.tubes(at)
        keep = np.isfinite(gap)
        return GapField(
            points_a_mm=starts[keep],
            points_b_mm=ends[keep],
            gap_mm=np.maximum(gap[keep], 0.0),
            weight_mm2=area[keep],
            normal=direction[keep],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Which gaps count.

    Parameters
    ----------
    band_mm : float
        Longest tube between faces whose gap opens: wedges, and round faces.
    flat_mm : float
        Longest tube between flat faces that are parallel within a degree, if that is more: such a face pulls
        over its whole area, whatever else of the body touches.
    fine_mm : float
        Mesh size at narrow contacts.
    narrow_mm : float
        A contact narrower than this is narrow.
    """

    band_mm: float = 1.0
    flat_mm: float = 0.0
    fine_mm: float = 0.5
    narrow_mm: float = 3.0

    @property
    def widest_mm(self) -> float:
        """The longest tube of either kind."""
        return max(self.band_mm, self.flat_mm)


def _divide(low: Array, high: Array, pieces: Any) -> tuple[Array, Array]:
    """Cut each cell into its own number of pieces both ways."""
    lows, highs = [np.zeros((0, 2))], [np.zeros((0, 2))]
    for nx, ny in np.unique(pieces, axis=0) if len(pieces) else []:
        of = (pieces == (nx, ny)).all(axis=1)
        step = (high[of] - low[of]) / (nx, ny)
        for ix in range(nx):
            for iy in range(ny):
                lows.append(low[of] + step * (ix, iy))
                highs.append(low[of] + step * (ix + 1, iy + 1))
    return np.vstack(lows), np.vstack(highs)
