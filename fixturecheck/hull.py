"""The convex hull of points of a plane, an outline of few corners round it, and the points farthest out."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats, Ints

STRAIGHT_MM = 1e-6
"""A point that lies no farther than this off the line between its neighbours is no corner."""
MOST_CORNERS, MORE_SHARE = 6, 0.02
"""How many corners an outline has at most, and how much larger it may be than the hull where fewer do."""


def convex_hull(points: Floats) -> Any:
    """Return the convex hull of points of a plane.

    Parameters
    ----------
    points : ndarray, shape (..., n, 2)
        The points, mm; of several sets of equally many points, the hull of each is returned.

    Returns
    -------
    shapely.Geometry or ndarray of shapely.Geometry
        A polygon; a line where the points lie on one, a point where they are one, and an empty collection
        where there are none.
    """
    return shapely.convex_hull(shapely.multipoints(points))


def hull_corners(points: Floats) -> Floats:
    """Return the corners of the convex hull of points of a plane.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        The points, mm.

    Returns
    -------
    ndarray, shape (k, 2)
        The corners, mm, clockwise, starting from the same one whatever the order of the points; two where the
        points lie on a line, one where they are one. Points on a side are no corners (`STRAIGHT_MM`).
    """
    hull = shapely.normalize(shapely.simplify(convex_hull(points), STRAIGHT_MM))
    corners: Floats = shapely.get_coordinates(hull)
    return corners[:-1] if len(corners) > 3 else corners


def farthest_out(points: Floats, directions: int, *, turned_rad: float) -> Ints:
    """Return which points of a plane lie farthest out in evenly spread directions.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        The points, mm.
    directions : int
        How many directions there are.
    turned_rad : float
        How far the first of them is turned from the first axis.

    Returns
    -------
    ndarray, shape (directions,)
        The number of a point for each direction; the first of those that are as far out.
    """
    turns = turned_rad + 2.0 * np.pi * np.arange(directions) / directions
    return np.asarray(np.argmax(points @ np.stack([np.cos(turns), np.sin(turns)]), axis=0))


def corners_round(points: Floats) -> Floats:
    """Return the corners of a convex outline round points, few of them.

    Edges are left out, and those beside them go on until they meet, as long as that adds little; beyond that
    until there are few enough. A part that holds a load at all corners of an outline holds it between them,
    since moments change in proportion to the place. So an outline that is a little too large errs on the safe
    side; one far too large, as the box round an L, loads the part where there is none of it.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Points of a face, mm.

    Returns
    -------
    ndarray, shape (m, 2)
        By X, then by Y; two where the points lie on a line, one where they are one.

    References
    ----------
    Closed form: where two lines meet.
    """
    corners = hull_corners(np.round(points, 9))
    spare_mm2 = MORE_SHARE * float(convex_hull(corners).area)
    while len(corners) > 3:
        meets, added_mm2 = _beyond_edges(corners)
        least = int(np.argmin(np.round(added_mm2, 6)))
        spare_mm2 -= added_mm2[least]
        if not np.isfinite(added_mm2[least]) or (spare_mm2 < 0.0 and len(corners) <= MOST_CORNERS):
            break
        corners[least] = meets[least]
        corners = np.delete(corners, (least + 1) % len(corners), axis=0)
    return corners[np.lexsort(corners.T[::-1])]


def _beyond_edges(corners: Floats) -> tuple[Floats, Floats]:
    """Return where the edges beside each edge meet beyond it, and the area between; none is infinite."""
    before, first, second, after = (np.roll(corners, shift, axis=0) for shift in (1, 0, -1, -2))
    onward, back, edge = first - before, second - after, second - first
    turn = onward[:, 0] * back[:, 1] - onward[:, 1] * back[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (edge[:, 0] * back[:, 1] - edge[:, 1] * back[:, 0]) / turn
        meets = first + share[:, None] * onward
        area = 0.5 * np.abs(edge[:, 0] * (meets - first)[:, 1] - edge[:, 1] * (meets - first)[:, 0])
        beyond = np.sum((meets - second) * back, axis=1)
    met = (np.abs(turn) > 1e-9) & (share >= 0.0) & (beyond >= 0.0)
    return meets, np.where(met, area, np.inf)
