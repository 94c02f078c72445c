"""The smallest groove along the bisector of an inside corner whose wall is not square to its floor.

A place across the corner is told by x along the bisector from where floor and wall would meet and by y square
to it, towards the wall. With half the angle a the floor is y = -x tan a and the wall y = x tan a. A groove of
half width h breaks out of both at x = h / tan a. A fillet of radius r, which leaves them at r / tan a along
either, asks for h = r cos a, and for a sharp edge to go all the way in for a bottom at x = 0: the fillet
stands r (1 / sin a - 1) before it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.milled import (
    LEAST_MM,
    OVER_MM,
    BoxCut,
    InsideCorner,
    deepest_edge,
    label_of,
    met_in,
    rounded_up,
    run_out,
    to_part,
    up_to,
)
from fixturecheck.contact.standing import Standing
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.construct import oriented_box
from fixturecheck.kernel.measure import extent_along, volume_mm3
from fixturecheck.kernel.shapes import Shape, Solid

Array = NDArray[np.float64]
_AIR_MM = 2e-3
"""Least air below an edge that goes all the way in, so that it never bears on the bottom."""


def slanted_groove(here: Standing, corner: InsideCorner, other: Solid, clear_mm: float) -> BoxCut | None:
    """Return the smallest groove along the bisector after which another body has its room in a corner.

    Parameters
    ----------
    other : Solid
        The other body where it is meant to be, machine's frame.
    clear_mm : float
        How much nearer it may come to floor and wall, and how clear its edges must stand.

    Returns
    -------
    BoxCut or None
        None where the other body does not come into what stands in the corner.
    """
    met = met_in(here, corner, other, clear_mm)
    if met is None or not met[2]:
        return None
    there, stands, overs = met
    ways = frame_of(corner)
    zero = ways[:2] @ corner.start
    half = _half_rad(corner)
    sides, bottom = [np.full(2, clear_mm)], np.inf
    for over in overs:
        low, high = (v - zero[0] for v in extent_along(over, ways[0]))
        sides.append(np.array([-low, high]))
        bottom = min(bottom, extent_along(over, ways[1])[0] - float(zero[1]))
    # Pressed as near as it may come to both faces at once, an edge lies deeper by this along the bisector.
    deepest = extent_along(there, ways[1])[0] - float(zero[1]) - clear_mm / math.sin(half)
    bottom = min(bottom, deepest) if deepest < 0.0 else bottom
    most = math.sin(half) * np.array(corner.reach_mm)
    to_floor, to_wall = (up_to(n, m) for n, m in zip(np.max(sides, axis=0).tolist(), most, strict=True))
    return _box(here, corner, (to_floor, to_wall, bottom), (stands, there))


def frame_of(corner: InsideCorner) -> Array:
    """Return the directions across the corner towards the wall, up its bisector, and along it, as rows."""
    floor, wall, line = corner.axes
    across, up = wall - floor, wall + floor
    return np.stack((across / np.linalg.norm(across), up / np.linalg.norm(up), line))


def _half_rad(corner: InsideCorner) -> float:
    return 0.5 * math.acos(float(np.clip(corner.axes[0] @ corner.axes[1], -1.0, 1.0)))


def _box(
    here: Standing, corner: InsideCorner, at: tuple[float, float, float], shapes: tuple[Shape, Shape]
) -> BoxCut:
    """Return the groove between two sides, from its bottom to where nothing stands any more."""
    to_floor, to_wall, bottom = at
    stands, there = shapes
    ways, half = frame_of(corner), _half_rad(corner)
    mouth = max(to_floor, to_wall) / math.tan(half)
    depth = rounded_up(mouth - bottom + _AIR_MM)
    bottom = mouth - depth
    top = max(mouth, extent_along(stands, ways[1])[1] - float(ways[1] @ corner.start))
    before, after = run_out(here, corner)
    start = corner.start - to_floor * ways[0] + bottom * ways[1] - before * ways[2]
    wide, long = to_floor + to_wall, corner.length_mm + before + after
    above = start + (top - bottom + LEAST_MM) * ways[1]
    free = volume_mm3(common(here.solid(), oriented_box(above, ways, (wide, OVER_MM, long)))) <= 0.0
    turn, place = to_part(here)
    wall, floor = (max(0.0, y * math.cos(half) - bottom * math.sin(half)) for y in (to_wall, to_floor))
    return BoxCut(
        kind="groove",
        label=label_of(here, corner),
        size_mm=(wide, depth),
        behind_mm=(wall, floor),
        corner=turn @ (start - place),
        axes=ways @ turn.T,
        sizes_mm=(wide, top - bottom + (OVER_MM if free else LEAST_MM), long),
        at_mm=turn @ (corner.start + 0.5 * corner.length_mm * ways[2] - place),
        along=turn @ ways[2],
        guard=deepest_edge(there, corner),
        half_rad=half,
    )
