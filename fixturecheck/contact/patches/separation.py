"""Proofs, without the kernel's booleans, that two placed bodies share nothing.

A plane between two bodies proves it. So do planes between each two of their faces: surfaces that do not meet
leave two bodies apart, unless one holds the other.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats, Ints
from fixturecheck.contact.patches.apart import near_pairs, proven_apart
from fixturecheck.contact.patches.hulls import least_overlap_mm, parted
from fixturecheck.contact.placed import Standing, bends_of
from fixturecheck.hull import convex_hull
from fixturecheck.kernel.brep.face_table import CHORD_MM
from fixturecheck.kernel.brep.primitives import SurfaceKind

ROUNDING_MM = 1e-7
"""Depth below which nothing is shared: rounding."""
_APART_MM = 1e-9
"""Distance that counts as apart once bodies were parted by `ROUNDING_MM`; numbers of metres keep 1e-12 mm."""
_INSIDE_MM = 1e-3
"""A box that reaches this close to the rim of another from within may belong to a body inside the other."""
_LEANS = 1e-3
"""Sine between two planes below which they count as level; each place of a face is then looked at."""
_FAR_MM = 1e5
_NOWHERE = np.zeros(3)


def near_faces(a: Standing, b: Standing, within_mm: float) -> Ints:
    """Return the faces of `a` and `b` whose boxes come within a distance, pair by pair in order, (n, 2).

    Parameters
    ----------
    a, b : Standing
        The two bodies.
    within_mm : float
        Greatest gap between boxes along an axis.

    Returns
    -------
    ndarray of int, shape (n, 2)
        A face of `a` and one of `b`.
    """
    return near_pairs(a.lows, a.highs, b.lows, b.highs, within_mm)


def may_meet(a: Standing, b: Standing, within_mm: float, proven_mm: float) -> Ints:
    """Return the faces whose boxes come within a distance, pair by pair in order, (n, 2).

    Parameters
    ----------
    a, b : Standing
        The two bodies.
    within_mm : float
        Greatest gap between boxes along an axis.
    proven_mm : float
        Faces that are proven to be further apart are left out.

    Returns
    -------
    ndarray of int, shape (n, 2)
        A face of `a` and one of `b`.
    """
    pairs = near_faces(a, b, within_mm)
    return pairs[~proven_apart(pairs, a.sheets, b.sheets, _NOWHERE, proven_mm)]


def overlap_mm(a: Standing, b: Standing) -> float:
    """Return how far two bodies overlap along an axis or the normal of a flat face, whichever is least.

    Parameters
    ----------
    a, b : Standing
        The two bodies.

    Returns
    -------
    float
        Where it is no more than `ROUNDING_MM`, some plane separates the bodies.
    """
    boxes_mm = float((np.minimum(a.high, b.high) - np.maximum(a.low, b.low)).min())
    return (
        boxes_mm if boxes_mm <= ROUNDING_MM else min(boxes_mm, least_overlap_mm(a.hull, b.hull, ROUNDING_MM))
    )


def surfaces_part(a: Standing, b: Standing, away: Floats = _NOWHERE) -> bool:
    """Prove that two bodies share nothing but rounding; False where that is not proven.

    Bodies that touch are parted by `ROUNDING_MM` first: what they shared is no deeper than that.

    Parameters
    ----------
    a, b : Standing
        The two bodies.
    away : ndarray, shape (3,)
        Any vector along which `b` leaves `a`; zero tries the bodies as they stand.

    Returns
    -------
    bool
    """
    if _may_hold(a, b) or _may_hold(b, a):
        return False
    size = float(np.linalg.norm(away))
    by = away * (ROUNDING_MM / size) if size > 0 else _NOWHERE
    apart_mm = _APART_MM if size > 0 else ROUNDING_MM
    pairs = near_faces(a, b, 2 * ROUNDING_MM)
    pairs = pairs[~proven_apart(pairs, a.sheets, b.sheets, by, apart_mm)]
    return all(
        _seen_apart(a, int(i), b, int(j), by, apart_mm) or _seen_apart(b, int(j), a, int(i), -by, apart_mm)
        for i, j in pairs[~parted(pairs, a.hull, b.hull, by, apart_mm)]
    )


def _may_hold(outer: Standing, inner: Standing) -> bool:
    return bool(np.all(inner.low >= outer.low - _INSIDE_MM) and np.all(inner.high <= outer.high + _INSIDE_MM))


def _seen_apart(a: Standing, i: int, b: Standing, j: int, by: Floats, apart_mm: float) -> bool:
    """Prove that a face of `b`, shifted, does not meet a flat face of `a`, seen along that face's normal.

    A place that both have lies in the plane of the flat face, where it is seen without being moved. Only the
    round edges of a flat face are off their chords.
    """
    if a.table.kinds[i] != SurfaceKind.PLANE:
        return False
    frame, polygon = a.outline(i)
    bends = bends_of(a, i)
    if b.table.kinds[j] != SurfaceKind.PLANE:
        hull = b.table.hull
        held = hull.faces == j
        seen = convex_hull(frame.flat(b.points(hull.centres[held]) + by))
        return _apart(seen, polygon, bends, apart_mm + float((hull.radii[held] + hull.balls[held]).max()))
    own, outline = b.outline(j)
    rounds = bends_of(b, j)
    # How far the plane of `b`'s face lies off that of `a`'s: a linear function of its own coordinates.
    slope, place_mm = own.against(a.normals[i], a.offsets[i] - float(by @ a.normals[i]))
    steep = math.hypot(*slope)
    if steep > _LEANS:
        along, at_mm = slope / steep, place_mm / steep
        outline = _in_band(outline, along, at_mm, 0.5 * apart_mm)
        if rounds is not None:
            rounds = _in_band(rounds, along, at_mm, CHORD_MM + 0.5 * apart_mm)

    def seen_from_a(flat: Floats) -> Floats:
        return frame.flat(own.space(flat) + by)

    return _apart(shapely.transform(outline, seen_from_a), polygon, bends, apart_mm) and (
        rounds is None or _apart(shapely.transform(rounds, seen_from_a), polygon, bends, apart_mm + CHORD_MM)
    )


def _apart(seen: Any, polygon: Any, bends: Any | None, least_mm: float) -> bool:
    """Whether a shape is further from a flat face than a distance; nothing is apart from all."""
    if seen.is_empty:
        return True
    # The face reaches past its polygon at its round edges only.
    return bool(
        shapely.distance(seen, polygon) > least_mm
        and (bends is None or shapely.distance(seen, bends) > least_mm + CHORD_MM)
    )


def _in_band(shape: Any, along: Floats, place_mm: float, half_mm: float) -> Any:
    """Return the portion of a flat shape in a band square to a direction (2,), mm."""
    low, high = place_mm - half_mm, place_mm + half_mm
    at_mm = shapely.get_coordinates(shape) @ along
    if at_mm.min() > high or at_mm.max() < low:
        return shapely.Polygon()
    across = np.array([-along[1], along[0]])
    corners = ((low, -_FAR_MM), (high, -_FAR_MM), (high, _FAR_MM), (low, _FAR_MM))
    return shapely.intersection(shape, shapely.Polygon([along * s + across * t for s, t in corners]))
