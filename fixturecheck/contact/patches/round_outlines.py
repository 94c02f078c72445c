"""What two flat faces with straight and round edges share, exact to rounding, without the kernel's booleans.

Round edges become chords, and where the outlines meet they get a corner more, so that no chord is cut. What
lies between an arc and its chord then belongs to the shared area as its chord does to the shared outline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats, Ints
from fixturecheck.contact.patches.chords import Outline, beyond_chords, following, with_corners
from fixturecheck.contact.placed import FacePair, PlaneFrame, Standing, sine_between

_LEAST_RADIUS_MM = 0.02
"""Chords of narrower arcs turn too far to stand for them."""
_TILT = 1e-6
"""Sine between two planes below which a circle on one is a circle seen on the other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedArea:
    """An area that two flat faces share.

    Parameters
    ----------
    polygon : shapely Polygon
        Its outline, with chords for arcs.
    area_mm2 : float
    centre : ndarray, shape (2,)
        Its centre in the plane.
    """

    polygon: Any
    area_mm2: float
    centre: Floats


def shared_areas(pair: FacePair) -> tuple[list[SharedArea], bool] | None:
    """Return what two level faces share, seen along the normal of the first.

    Parameters
    ----------
    pair : FacePair

    Returns
    -------
    tuple of list of SharedArea and bool, or None
        The areas, and whether the outlines also meet along a line or at a point beside them. None where an
        edge is neither straight nor round, where outlines cross at too flat an angle for their chords, or
        where a chord is still cut.
    """
    a, i, b, j = pair
    if sine_between(a.normals[i], b.normals[j]) > _TILT:
        return None
    our_arcs, their_arcs = a.table.rings.arcs(i), b.table.rings.arcs(j)
    if our_arcs is None or their_arcs is None:
        return None
    if np.any(our_arcs[:, 3] < _LEAST_RADIUS_MM) or np.any(their_arcs[:, 3] < _LEAST_RADIUS_MM):
        return None
    frame, _ = a.outline(i)
    steep, ours, theirs = with_corners(_outline(a, i, our_arcs, frame), _outline(b, j, their_arcs, frame))
    if not steep:
        return None
    parts = shapely.get_parts(shapely.intersection(_polygon(ours), _polygon(theirs)))
    parts = parts[~shapely.is_empty(parts)]
    polygons = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    areas = [_rounded(polygon, ours, theirs) for polygon in polygons]
    found = [area for area in areas if area is not None]
    return (found, len(found) < len(parts)) if len(found) == len(areas) else None


def _outline(body: Standing, face: int, arcs: Floats, frame: PlaneFrame) -> Outline:
    """Return the outline of a flat face by the arcs of its sides."""
    rings = body.rings(face)
    rounds = np.column_stack([frame.flat(body.points(arcs[:, :3])), arcs[:, 3]])
    first = _starts([len(ring) for ring in rings])
    return frame.flat(np.concatenate(rings)), following(first), first, rounds


def _starts(counts: Sequence[int]) -> Ints:
    """Return where each of some rings begins in a row, and where the last ends."""
    return np.array([*accumulate(counts, initial=0)], dtype=np.int64)


def _polygon(outline: Outline) -> Any:
    points, _, first, _ = outline
    if len(first) == 2:
        return shapely.polygons(points)
    rings = shapely.linearrings(points, indices=np.repeat(np.arange(len(first) - 1), np.diff(first)))
    return shapely.polygons(rings[0], holes=rings[1:])


def _rounded(polygon: Any, ours: Outline, theirs: Outline) -> SharedArea | None:
    """Return the area of a polygon whose chords stand for arcs; None where one of them was cut."""
    rings = [polygon.exterior, *polygon.interiors]
    first = _starts(shapely.get_num_coordinates(rings).tolist())
    whole, more_mm2, *more_mm3 = beyond_chords(shapely.get_coordinates(polygon), first, ours, theirs)
    flat_mm2 = float(polygon.area)
    area = flat_mm2 + more_mm2
    if not whole or area <= 0.0:
        return None
    moment = flat_mm2 * shapely.get_coordinates(polygon.centroid)[0] + more_mm3
    return SharedArea(polygon=polygon, area_mm2=area, centre=moment / area)
