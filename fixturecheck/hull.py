"""The convex hull of points of a plane, and the points that lie farthest out."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats, Ints

STRAIGHT_MM = 1e-6
"""A point that lies no farther than this off the line between its neighbours is no corner."""


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
