"""Candidates of convex cones: against corners and points of round edges, and across straight edges.

Where a cone comes down on a flat face its rims speak for it; what stands in the way of its side does here.
The signed distance of a point from a cone is (rho - r - t h) / sqrt(1 + t^2), with rho its distance from the
axis, h its height, r the radius at height zero and t the taper. It is convex along any straight line.
"""

from __future__ import annotations

import math

from fixturecheck.compiled import Vector, along, cell, compiled, dot, length, minus, row, times
from fixturecheck.contact.proximity.curved import NO_DIRECTION, covers_direction
from fixturecheck.contact.proximity.placed_features import Cones, Corners, Edges
from fixturecheck.contact.proximity.vertices_edges import (
    INNER_MM,
    FoundRows,
    Query,
    Some,
    balls_apart,
    facing,
    leaves_room,
    with_row,
)

_ENDS = 1e-9


@compiled
def _outside(cones: Cones, i: int, place: Vector, slack_rad: float) -> tuple[bool, float, Vector]:
    """Return whether a place lies beside a cone, how far outside it, and the cone's outward normal there."""
    start, axis = row(cones.a_mm, i), row(cones.axis, i)
    arm, whole = minus(place, start), minus(row(cones.b_mm, i), start)
    long = dot(whole, axis)
    height = dot(arm, axis)
    side = along(arm, -height, axis)
    radius = length(side)
    taper = (cones.radius_b_mm[i] - cones.radius_a_mm[i]) / long
    lean = math.sqrt(1.0 + taper * taper)
    gap = (radius - cones.radius_a_mm[i] - taper * height) / lean
    out = times(1.0 / max(radius, NO_DIRECTION), side)
    normal = times(1.0 / lean, along(out, -taper, axis))
    share = (height - gap * dot(normal, axis)) / long
    beside = radius > NO_DIRECTION and -_ENDS < share < 1.0 + _ENDS
    return (
        beside and covers_direction(out, axis, row(cones.zero, i), cones.turn_rad[i], slack_rad),
        gap,
        normal,
    )


@compiled
def convex_cones_over_corners(
    cones: Cones, corners: Corners, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add cones against corners and points of round edges.

    Parameters
    ----------
    cones, corners : Cones and Corners
        The features of all bodies where they stand.
    a, b : Some
        The body with the cones and that with the corners, each with those that are near the other.
    query : Query
        Which gaps and directions are kept.
    table : FoundRows
        What was found so far; its arrays are written to.

    Returns
    -------
    FoundRows
        The same arrays, with the new rows counted.
    """
    for i in a[1]:
        for j in b[1]:
            if balls_apart(
                cones.middle_mm, cones.ball_mm, i, corners.middle_mm, corners.ball_mm, j, query.away_mm
            ):
                continue
            other = row(corners.middle_mm, j)
            beside, gap, normal = _outside(cones, i, other, query.slack_rad)
            if not beside or gap > query.reach_mm or gap < query.deep_mm:
                continue
            if leaves_room(corners.tangent_cones, j, normal, query.slack_rad):
                back = times(-1.0, normal)
                face = facing(corners.faces, corners.normals, j, back)
                place = along(other, gap, back)
                table = with_row(table, gap, back, place, (a[0], cones.face[i]), (b[0], face))
    return table


@compiled
def convex_cones_over_edges(
    cones: Cones, edges: Edges, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add cones across straight edges, where an edge is nearest to the cone.

    Parameters
    ----------
    cones, edges : Cones and Edges
        The features of all bodies where they stand.
    a, b : Some
        The body with the cones and that with the edges, each with those that are near the other.
    query : Query
        Which gaps and directions are kept.
    table : FoundRows
        What was found so far; its arrays are written to.

    Returns
    -------
    FoundRows
        The same arrays, with the new rows counted.
    """
    for i in a[1]:
        for j in b[1]:
            if not edges.straight[j] or balls_apart(
                cones.middle_mm, cones.ball_mm, i, edges.middle_mm, edges.ball_mm, j, query.away_mm
            ):
                continue
            foot, way = cell(edges.ends_mm, j, 0), row(edges.along, j)
            found, t = _lowest_on(cones, i, foot, way)
            if not found or t <= INNER_MM or t >= edges.long_mm[j] - INNER_MM:
                continue
            other = along(foot, t, way)
            beside, gap, normal = _outside(cones, i, other, query.slack_rad)
            if not beside or gap > query.reach_mm or gap < query.deep_mm:
                continue
            if leaves_room(edges.face_tangents, j, normal, query.slack_rad):
                back = times(-1.0, normal)
                face = facing(edges.faces, edges.normals, j, back)
                place = along(other, gap, back)
                table = with_row(table, gap, back, place, (a[0], cones.face[i]), (b[0], face))
    return table


@compiled
def _lowest_on(cones: Cones, i: int, foot: Vector, way: Vector) -> tuple[bool, float]:
    """Return whether a straight line has a place nearest to a cone, and how far along it that is.

    With x from the place nearest to the axis, rho^2 = A x^2 + D, and A x / rho = t h' at the least distance.
    """
    start, axis = row(cones.a_mm, i), row(cones.axis, i)
    arm, whole = minus(foot, start), minus(row(cones.b_mm, i), start)
    rise = dot(way, axis)
    side, off = along(way, -rise, axis), along(arm, -dot(arm, axis), axis)
    square = dot(side, side)
    if square < 1e-12:
        return False, 0.0
    middle = -dot(off, side) / square
    least = max(dot(off, off) - middle * middle * square, 0.0)
    pull = (cones.radius_b_mm[i] - cones.radius_a_mm[i]) / dot(whole, axis) * rise
    room = square - pull * pull
    if room < 1e-12:
        return False, 0.0
    return True, middle + pull * math.sqrt(least / (square * room))
