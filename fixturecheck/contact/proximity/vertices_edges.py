"""Candidates between sharp features: corners over faces, edges across edges, corners beside either.

A row is kept only where both bodies could touch that way: the normal must lie in the cone of outward
directions of either feature, so a point on the rim of a face that looks the other way is no candidate.
"""

from __future__ import annotations

from typing import NamedTuple

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import Vector, along, cell, compiled, cross, dot, length, minus, row, times
from fixturecheck.contact.proximity.placed_features import Corners, Edges, Planes

RIM_MM = 1e-5
"""Points this close to the border of a face count as over it; nearer an edge has no own direction."""
INNER_MM = 1e-6
"""Edges cross only this far from their ends; there the corner speaks for itself."""
PARALLEL = 1e-10
"""Edges whose squared sine is less have no crossing."""


Some = tuple[int, Ints]
"""A body and those of its features that are near the other's box."""


class Query(NamedTuple):
    """What a look asks for: gaps from `deep_mm` (negative) to `reach_mm`, directions within `slack_rad`.

    Features further from each other than `away_mm` are passed over.
    """

    reach_mm: float
    deep_mm: float
    slack_rad: float
    away_mm: float


class FoundRows(NamedTuple):
    """Rows found: gap, normal and place on body a; bodies and faces by number.

    `rows` may be more than there was room for; the rows past it are lost and have to be asked for again.
    """

    numbers: Floats
    names: Ints
    rows: int


@compiled
def with_row(
    table: FoundRows,
    gap_mm: float,
    normal: Vector,
    place_mm: Vector,
    a: tuple[int, int],
    b: tuple[int, int],
) -> FoundRows:
    """Return the table with one more row: body and face on either side, and the place on a.

    Parameters
    ----------
    table : FoundRows
        What was found so far; its arrays are written to.
    gap_mm : float
        Distance along the normal, negative where they overlap.
    normal : tuple of float
        Unit normal out of body b into body a.
    place_mm : tuple of float
        Where it is on body a.
    a, b : tuple of int
        Body and face on either side.

    Returns
    -------
    FoundRows
        The same arrays with one row more counted, even where there was no room to write it.
    """
    numbers, names, count = table
    if count < len(names):
        numbers[count, 0] = gap_mm
        numbers[count, 1], numbers[count, 2], numbers[count, 3] = normal
        numbers[count, 4], numbers[count, 5], numbers[count, 6] = place_mm
        names[count, 0], names[count, 1] = a
        names[count, 2], names[count, 3] = b
    return FoundRows(numbers, names, count + 1)


@compiled
def balls_apart(
    a_mm: Floats, ball_a_mm: Floats, i: int, b_mm: Floats, ball_b_mm: Floats, j: int, away_mm: float
) -> bool:
    """Tell whether two features are out of reach of each other, by the balls round them.

    Parameters
    ----------
    a_mm, b_mm : ndarray, shape (n, 3) and (m, 3)
        Centres of the balls round either kind of feature.
    ball_a_mm, ball_b_mm : ndarray, shape (n,) and (m,)
        Radii of these balls.
    i, j : int
        Which of either.
    away_mm : float
        Balls further from each other than this are out of reach.

    Returns
    -------
    bool
    """
    most_mm = ball_a_mm[i] + ball_b_mm[j] + away_mm
    arm = minus(row(a_mm, i), row(b_mm, j))
    return bool(dot(arm, arm) > most_mm * most_mm)


@compiled
def boxes_apart(
    low_a_mm: Vector, high_a_mm: Vector, low_b_mm: Vector, high_b_mm: Vector, away_mm: float
) -> bool:
    """Tell whether two features are out of reach of each other, by the boxes round them.

    Parameters
    ----------
    low_a_mm, high_a_mm : tuple of float
        Corners of the first box.
    low_b_mm, high_b_mm : tuple of float
        Corners of the second.
    away_mm : float
        Boxes further from each other than this along some axis are out of reach.

    Returns
    -------
    bool
    """
    x = max(low_a_mm[0] - high_b_mm[0], low_b_mm[0] - high_a_mm[0])
    y = max(low_a_mm[1] - high_b_mm[1], low_b_mm[1] - high_a_mm[1])
    z = max(low_a_mm[2] - high_b_mm[2], low_b_mm[2] - high_a_mm[2])
    return max(x, y, z) > away_mm


@compiled
def leaves_room(cones: Floats, i: int, direction: Vector, slack_rad: float) -> bool:
    """Tell whether no direction of a cone runs against `direction` by more than the slack.

    Parameters
    ----------
    cones : ndarray, shape (n, k, 3)
        Unit directions in which the body leaves each feature; rows of zeros fill up.
    i : int
        Which feature.
    direction : tuple of float
        Unit normal out of the other body.
    slack_rad : float
        Dot products down to minus this are let pass.

    Returns
    -------
    bool
    """
    least = 0.0
    for k in range(cones.shape[1]):
        least = min(least, dot(cell(cones, i, k), direction))
    return least >= -slack_rad


@compiled
def facing(faces: Ints, normals: Floats, i: int, direction: Vector) -> int:
    """Return the face of a feature that looks most along a direction; the first of those alike.

    Parameters
    ----------
    faces : ndarray of int, shape (n, f)
        Numbers of the faces that meet in each feature; -1 fills up.
    normals : ndarray, shape (n, f, 3)
        Their outward unit normals.
    i : int
        Which feature.
    direction : tuple of float
        Unit direction.

    Returns
    -------
    int
        Number of the face in its body.
    """
    best, most = 0, -2.0
    for k in range(faces.shape[1]):
        look = dot(cell(normals, i, k), direction)
        if faces[i, k] >= 0 and look > most + 1e-9:
            best, most = k, look
    return int(faces[i, best])


@compiled
def is_over_face(planes: Planes, j: int, x_mm: float, y_mm: float) -> bool:
    """Tell whether a place in a flat face's own coordinates lies over the face or on its border.

    Parameters
    ----------
    planes : Planes
        The flat faces of all bodies.
    j : int
        Which of them.
    x_mm, y_mm : float
        The place along the two directions of its frame.

    Returns
    -------
    bool
        True also within `RIM_MM` of the border.
    """
    low, high = planes.low[j], planes.high[j]
    if x_mm < low[0] - RIM_MM or x_mm > high[0] + RIM_MM or y_mm < low[1] - RIM_MM or y_mm > high[1] + RIM_MM:
        return False
    odd = False
    for k in range(planes.border_first[j], planes.border_first[j + 1]):
        x0, y0 = planes.border[k, 0, 0], planes.border[k, 0, 1]
        x1, y1 = planes.border[k, 1, 0], planes.border[k, 1, 1]
        dx, dy = x1 - x0, y1 - y0
        if (y0 > y_mm) != (y1 > y_mm) and x_mm < x0 + dx * (y_mm - y0) / dy:
            odd = not odd
        share = min(max(((x_mm - x0) * dx + (y_mm - y0) * dy) / (dx * dx + dy * dy), 0.0), 1.0)
        ax, ay = x_mm - x0 - share * dx, y_mm - y0 - share * dy
        if ax * ax + ay * ay <= RIM_MM * RIM_MM:
            return True
    return odd


@compiled
def corners_over_faces(
    corners: Corners, planes: Planes, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add corners of one body over flat faces of another, across a gap along the face's normal.

    Parameters
    ----------
    corners, planes : Corners and Planes
        The features of all bodies where they stand.
    a, b : Some
        The body with the corners and that with the flat faces, each with those that are near the other.
    query : Query
        Which gaps and directions are kept.
    table : FoundRows
        What was found so far; its arrays are written to.

    Returns
    -------
    FoundRows
        The same arrays, with the new rows counted.
    """
    for j in b[1]:
        start, normal = cell(planes.frame, j, 0), cell(planes.frame, j, 1)
        u, v = cell(planes.frame, j, 2), cell(planes.frame, j, 3)
        for i in a[1]:
            place = row(corners.middle_mm, i)
            arm = minus(place, start)
            gap = dot(arm, normal)
            if gap > query.reach_mm or gap < query.deep_mm:
                continue
            if not leaves_room(corners.tangent_cones, i, normal, query.slack_rad):
                continue
            if not is_over_face(planes, j, dot(u, arm), dot(v, arm)):
                continue
            face = facing(corners.faces, corners.normals, i, times(-1.0, normal))
            table = with_row(table, gap, normal, place, (a[0], face), (b[0], planes.face[j]))
    return table


@compiled
def edges_across(edges: Edges, a: Some, b: Some, query: Query, table: FoundRows) -> FoundRows:
    """Add edges of two bodies that cross, seen along their common normal.

    Parameters
    ----------
    edges : Edges
        Those of all bodies where they stand.
    a, b : Some
        The two bodies, each with the edges that are near the other.
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
        u, start = row(edges.along, i), cell(edges.ends_mm, i, 0)
        low, high = row(edges.low_mm, i), row(edges.high_mm, i)
        for j in b[1]:
            if boxes_apart(low, high, row(edges.low_mm, j), row(edges.high_mm, j), query.away_mm):
                continue
            v = row(edges.along, j)
            cosine = dot(u, v)
            square = 1.0 - cosine * cosine
            if square <= PARALLEL:
                continue
            arm = minus(cell(edges.ends_mm, j, 0), start)
            on_u, on_v = dot(arm, u), dot(arm, v)
            s, t = (on_u - cosine * on_v) / square, (cosine * on_u - on_v) / square
            if not (INNER_MM < s < edges.long_mm[i] - INNER_MM):
                continue
            if not (INNER_MM < t < edges.long_mm[j] - INNER_MM):
                continue
            place = along(start, s, u)
            away = minus(place, along(cell(edges.ends_mm, j, 0), t, v))
            normal = cross(u, v)
            normal = times(1.0 / length(normal), normal)
            # Both ways round: the normal must leave b and enter a, which at most one does on sharp edges.
            table = _crossing(edges, (a[0], i), (b[0], j), (place, away, normal), query, table)
            table = _crossing(edges, (a[0], i), (b[0], j), (place, away, times(-1.0, normal)), query, table)
    return table


@compiled
def _crossing(
    edges: Edges,
    a: tuple[int, int],
    b: tuple[int, int],
    at: tuple[Vector, Vector, Vector],
    query: Query,
    table: FoundRows,
) -> FoundRows:
    """Add two edges that cross, at a place on a and so far away from b, along one normal."""
    place, away, normal = at
    gap, back = dot(normal, away), times(-1.0, normal)
    if gap > query.reach_mm or gap < query.deep_mm:
        return table
    if not leaves_room(edges.face_tangents, a[1], normal, query.slack_rad):
        return table
    if not leaves_room(edges.face_tangents, b[1], back, query.slack_rad):
        return table
    face_a = facing(edges.faces, edges.normals, a[1], back)
    face_b = facing(edges.faces, edges.normals, b[1], normal)
    return with_row(table, gap, normal, place, (a[0], face_a), (b[0], face_b))


@compiled
def corners_beside_edges(
    corners: Corners, edges: Edges, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add corners that look past a face at the edge of another body, along the shortest way.

    Parameters
    ----------
    corners, edges : Corners and Edges
        The features of all bodies where they stand.
    a, b : Some
        The body with the corners and that with the edges, each with those that are near the other.
    query : Query
        Which gaps and directions are kept.
    table : FoundRows
        What was found so far; its arrays are written to.

    Returns
    -------
    FoundRows
        The same arrays, with the new rows counted.
    """
    for j in b[1]:
        start, way, long = cell(edges.ends_mm, j, 0), row(edges.along, j), edges.long_mm[j]
        low, high = row(edges.low_mm, j), row(edges.high_mm, j)
        for i in a[1]:
            place = row(corners.middle_mm, i)
            if boxes_apart(place, place, low, high, query.reach_mm):
                continue
            arm = minus(place, start)
            share = dot(arm, way)
            if share <= -INNER_MM or share >= long + INNER_MM:
                continue
            away = along(arm, -share, way)
            gap = length(away)
            # An edge that is flush with its face has that face's normal only, and the face speaks for itself.
            if gap > query.reach_mm or gap <= RIM_MM:
                continue
            normal = times(1.0 / gap, away)
            back = times(-1.0, normal)
            if not leaves_room(edges.face_tangents, j, back, query.slack_rad):
                continue
            if not leaves_room(corners.tangent_cones, i, normal, query.slack_rad):
                continue
            face_a = facing(corners.faces, corners.normals, i, back)
            face_b = facing(edges.faces, edges.normals, j, normal)
            table = with_row(table, gap, normal, place, (a[0], face_a), (b[0], face_b))
    return table


@compiled
def corners_beside_corners(corners: Corners, a: Some, b: Some, query: Query, table: FoundRows) -> FoundRows:
    """Add corners that look at corners, along the straight line between them.

    Parameters
    ----------
    corners : Corners
        Those of all bodies where they stand.
    a, b : Some
        The two bodies, each with the corners that are near the other.
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
        place = row(corners.middle_mm, i)
        for j in b[1]:
            arm = minus(place, row(corners.middle_mm, j))
            gap = length(arm)
            if gap > query.reach_mm or gap <= RIM_MM:
                continue
            normal = times(1.0 / gap, arm)
            back = times(-1.0, normal)
            if not leaves_room(corners.tangent_cones, i, normal, query.slack_rad):
                continue
            if not leaves_room(corners.tangent_cones, j, back, query.slack_rad):
                continue
            face_a = facing(corners.faces, corners.normals, i, back)
            face_b = facing(corners.faces, corners.normals, j, normal)
            table = with_row(table, gap, normal, place, (a[0], face_a), (b[0], face_b))
    return table
