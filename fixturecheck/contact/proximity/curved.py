"""Candidates with curved faces in closed form: swept circles, cylinders, spheres and tori.

Concave cylinders and cones are the inside of their tangent planes, so a set of directions round the axis,
with the exact one among them, bounds what is inside them without error.
"""

from __future__ import annotations

import math

from fixturecheck.arrays import Floats
from fixturecheck.compiled import Vector, along, cell, compiled, cross, dot, length, minus, row, times
from fixturecheck.contact.proximity.placed_features import (
    Capsules,
    Cones,
    Corners,
    Edges,
    Planes,
    SweptCircles,
)
from fixturecheck.contact.proximity.vertices_edges import (
    FoundRows,
    Query,
    Some,
    balls_apart,
    facing,
    is_over_face,
    leaves_room,
    with_row,
)

AROUND = 12
NO_DIRECTION = 1e-9
TURN_RAD = 1e-6
"""Angles this near to the end of a curved face count as covered."""
END = 1e-9
"""Shares of a length this near to its ends count as within."""
WHOLE_RAD = 2 * math.pi


@compiled
def in_angle_span(angle_rad: float, span: Floats, slack_rad: float) -> bool:
    """Tell whether an angle lies in a span of first and last, modulo whole turns.

    Parameters
    ----------
    angle_rad : float
        The angle, of any whole turn.
    span : ndarray, shape (2,)
        First and last angle, radians; infinite ends stand for all angles.
    slack_rad : float
        How far a direction may lie past either end. Below zero the span is narrowed.

    Returns
    -------
    bool
    """
    first, last = span[0], span[1]
    if not (math.isfinite(first) and math.isfinite(last)) or last - first > WHOLE_RAD - 1e-6:
        return True
    past = (angle_rad - first + slack_rad) % WHOLE_RAD
    return bool(past <= last - first + 2.0 * slack_rad)


@compiled
def covers_direction(
    direction: Vector, axis: Vector, zero: Vector, turn_rad: Floats, slack_rad: float
) -> bool:
    """Tell whether a direction lies in the part of the turn that a surface covers; the axis always does.

    Parameters
    ----------
    direction : tuple of float
        Of any length; only its part across the axis is read.
    axis, zero : tuple of float
        The unit axis, and the unit direction across it from which angles are measured.
    turn_rad : ndarray, shape (2,)
        First and last angle that the surface covers.
    slack_rad : float
        How far a direction may lie past either end.

    Returns
    -------
    bool
    """
    x, y = dot(direction, zero), dot(direction, cross(axis, zero))
    return x * x + y * y < 1e-12 or in_angle_span(math.atan2(y, x), turn_rad, slack_rad + TURN_RAD)


@compiled
def _lowest_on_circle(
    circles: SweptCircles, i: int, normal: Vector, slack_rad: float
) -> tuple[bool, bool, Vector, int]:
    """Return whether a circle has a place furthest against a direction, may touch there, where, which face.

    The first answer is false where every place of the circle is as low as any other.
    """
    axis, zero = row(circles.axis, i), row(circles.zero, i)
    rise = dot(normal, axis)
    side = along(normal, -rise, axis)
    long = length(side)
    outward = times(-1.0 / max(long, 1e-300), side)
    place = along(row(circles.middle_mm, i), circles.radius_mm[i], outward)
    place = along(place, -circles.tube_mm[i], normal)
    has_side = long > NO_DIRECTION or circles.radius_mm[i] == 0.0
    runs_0 = circles.leave[i, 0, 1] * rise - circles.leave[i, 0, 0] * long
    runs_1 = circles.leave[i, 1, 1] * rise - circles.leave[i, 1, 0] * long
    fits = runs_0 >= -slack_rad and runs_1 >= -slack_rad
    fits = fits and covers_direction(outward, axis, zero, circles.turn_rad[i], slack_rad)
    fits = fits and in_angle_span(math.atan2(-rise, long), circles.tilt_rad[i], slack_rad + TURN_RAD)
    # Of a sharp circle's two faces the one that looks more along the contact is named.
    face = circles.face[i, 0] if abs(runs_0) <= abs(runs_1) else circles.face[i, 1]
    return has_side, fits, place, face


@compiled
def circles_over_faces(
    circles: SweptCircles, planes: Planes, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add the lowest place of each circle, torus and sphere over each flat face.

    Parameters
    ----------
    circles, planes : SweptCircles and Planes
        The features of all bodies where they stand.
    a, b : Some
        The body with the circles and that with the flat faces, each with those that are near the other.
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
                circles.middle_mm, circles.ball_mm, i, planes.middle_mm, planes.ball_mm, j, query.away_mm
            ):
                continue
            normal = cell(planes.frame, j, 1)
            has_side, fits, place, face = _lowest_on_circle(circles, i, normal, query.slack_rad)
            arm = minus(place, cell(planes.frame, j, 0))
            gap = dot(arm, normal)
            if not has_side or not fits or gap > query.reach_mm or gap < query.deep_mm:
                continue
            if is_over_face(
                planes, j, dot(cell(planes.frame, j, 2), arm), dot(cell(planes.frame, j, 3), arm)
            ):
                table = with_row(table, gap, normal, place, (a[0], face), (b[0], planes.face[j]))
    return table


@compiled
def _capsule_gap(
    capsules: Capsules, i: int, on_axis: Vector, other: Vector, slack_rad: float
) -> tuple[bool, float, Vector]:
    """Return whether a capsule covers the direction to something, the gap, and the normal out of it."""
    arm = minus(on_axis, other)
    away = length(arm)
    normal = times(1.0 / max(away, 1e-12), arm)
    axis = row(capsules.axis, i)
    back = times(-1.0, normal)
    fits = away > NO_DIRECTION
    fits = fits and covers_direction(back, axis, row(capsules.zero, i), capsules.turn_rad[i], slack_rad)
    if fits and capsules.is_ball[i]:
        rise = dot(back, axis)
        level = math.atan2(rise, math.sqrt(max(1.0 - rise * rise, 0.0)))
        fits = in_angle_span(level, capsules.tilt_rad[i], slack_rad + TURN_RAD)
    return fits, away - capsules.radius_mm[i], normal


@compiled
def nearest_on_lines(a: Vector, u: Vector, b: Vector, v: Vector) -> tuple[bool, float, float]:
    """Return shares s of a segment a + s u and lengths t along a unit line b + t v where they are nearest.

    The first answer is false where they run alongside or the place is beyond the segment's ends.

    Parameters
    ----------
    a, u : tuple of float
        Start of the segment, and the way to its end; of zero length for a point.
    b, v : tuple of float
        A point of the line and its unit direction.

    Returns
    -------
    tuple of bool, float and float
        Whether there is such a place within the segment, s and t. A point is always within, at s = 0.
    """
    uu, uv = dot(u, u), dot(u, v)
    arm = minus(b, a)
    on_u, on_v = dot(arm, u), dot(arm, v)
    square = uu - uv * uv
    if uu < 1e-18:
        return True, 0.0, -on_v
    if square < 1e-9 * uu:
        return False, 0.0, 0.0
    s = (on_u - uv * on_v) / square
    return -END < s < 1 + END, s, s * uv - on_v


@compiled
def capsules_over_edges(
    capsules: Capsules, edges: Edges, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add cylinders and spheres over straight edges: where the axis crosses one, and ends beside it.

    Parameters
    ----------
    capsules, edges : Capsules and Edges
        The features of all bodies where they stand.
    a, b : Some
        The body with the cylinders and spheres and that with the edges, each with those near the other.
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
        start = row(capsules.a_mm, i)
        whole = minus(row(capsules.b_mm, i), start)
        reach = max(length(whole), 1e-9)
        for j in b[1]:
            if not edges.straight[j] or balls_apart(
                capsules.middle_mm, capsules.ball_mm, i, edges.middle_mm, edges.ball_mm, j, query.away_mm
            ):
                continue
            foot, way = cell(edges.ends_mm, j, 0), row(edges.along, j)
            inner, s, _ = nearest_on_lines(start, whole, foot, way)
            for case, share in enumerate((0.0, 1.0, s)):
                crossing = case == 2
                if (not inner) if crossing else capsules.is_ball[i]:
                    continue
                on_axis = along(start, share, whole)
                t = dot(minus(on_axis, foot), way)
                if t <= 1e-6 or t >= edges.long_mm[j] - 1e-6:
                    continue
                on_edge = along(foot, t, way)
                fits, gap, normal = _capsule_gap(capsules, i, on_axis, on_edge, query.slack_rad)
                if not fits or gap > query.reach_mm or gap < query.deep_mm:
                    continue
                # Only of an axis that runs alongside the edge is an end as near as any other place.
                if not crossing and abs(dot(normal, whole)) > (query.slack_rad + 1e-3) * reach:
                    continue
                if leaves_room(edges.face_tangents, j, times(-1.0, normal), query.slack_rad):
                    face = facing(edges.faces, edges.normals, j, normal)
                    place = along(on_edge, gap, normal)
                    table = with_row(table, gap, normal, place, (a[0], capsules.face[i]), (b[0], face))
    return table


@compiled
def capsules_over_corners(
    capsules: Capsules, corners: Corners, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add cylinders and spheres against corners and points of curved edges.

    Parameters
    ----------
    capsules, corners : Capsules and Corners
        The features of all bodies where they stand.
    a, b : Some
        The body with the cylinders and spheres and that with the corners, each with those near the other.
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
        start = row(capsules.a_mm, i)
        whole = minus(row(capsules.b_mm, i), start)
        square = dot(whole, whole)
        for j in b[1]:
            if balls_apart(
                capsules.middle_mm, capsules.ball_mm, i, corners.middle_mm, corners.ball_mm, j, query.away_mm
            ):
                continue
            other = row(corners.middle_mm, j)
            share = 0.0
            if not capsules.is_ball[i]:
                share = dot(minus(other, start), whole) / max(square, 1e-30)
                if share <= -END or share >= 1 + END:
                    continue
            fits, gap, normal = _capsule_gap(capsules, i, along(start, share, whole), other, query.slack_rad)
            if not fits or gap > query.reach_mm or gap < query.deep_mm:
                continue
            if leaves_room(corners.tangent_cones, j, times(-1.0, normal), query.slack_rad):
                face = facing(corners.faces, corners.normals, j, normal)
                place = along(other, gap, normal)
                table = with_row(table, gap, normal, place, (a[0], capsules.face[i]), (b[0], face))
    return table


@compiled
def capsules_over_capsules(capsules: Capsules, a: Some, b: Some, query: Query, table: FoundRows) -> FoundRows:
    """Add cylinders and spheres against each other: where axes cross, and at ends beside an axis.

    Parameters
    ----------
    capsules : Capsules
        Those of all bodies where they stand.
    a, b : Some
        The two bodies, each with those that are near the other. Crossing axes are added only where the
        number of `a` is the lower, ends of `a` beside `b` either way.
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
        start = row(capsules.a_mm, i)
        whole = minus(row(capsules.b_mm, i), start)
        reach = max(length(whole), 1e-9)
        for j in b[1]:
            if balls_apart(
                capsules.middle_mm,
                capsules.ball_mm,
                i,
                capsules.middle_mm,
                capsules.ball_mm,
                j,
                query.away_mm,
            ):
                continue
            foot = row(capsules.a_mm, j)
            way = minus(row(capsules.b_mm, j), foot)
            long = length(way)
            way = times(1.0 / max(long, 1e-30), way)
            inner, s, _ = nearest_on_lines(start, whole, foot, way)
            crosses = inner and not capsules.is_ball[i] and not capsules.is_ball[j] and a[0] < b[0]
            for case, share in enumerate((0.0, 1.0, s)):
                crossing = case == 2
                if crossing and not crosses:
                    continue
                place = along(start, share, whole)
                t = 0.0 if capsules.is_ball[j] else dot(minus(place, foot), way)
                if t <= -END or t >= long + END:
                    continue
                beside = along(foot, t, way)
                fits, gap, normal = _capsule_gap(capsules, i, place, beside, query.slack_rad)
                gap -= capsules.radius_mm[j]
                if not fits or gap > query.reach_mm or gap < query.deep_mm:
                    continue
                zero = row(capsules.zero, j)
                if not covers_direction(
                    normal, row(capsules.axis, j), zero, capsules.turn_rad[j], query.slack_rad
                ):
                    continue
                if not crossing and abs(dot(normal, whole)) > (query.slack_rad + 1e-3) * reach:
                    continue
                at = along(beside, capsules.radius_mm[j] + gap, normal)
                table = with_row(table, gap, normal, at, (a[0], capsules.face[i]), (b[0], capsules.face[j]))
    return table


@compiled
def _cone_inward_normal(cones: Cones, j: int, place: Vector, step: int) -> tuple[Vector, Vector]:
    """Return the inward normal and a point of the cone's generator in one direction round the axis.

    The last step is the direction in which `place` is off the axis; the others are spaced evenly.
    """
    axis, zero = row(cones.axis, j), row(cones.zero, j)
    a = row(cones.a_mm, j)
    angle = WHOLE_RAD / AROUND * step
    out = along(times(math.cos(angle), zero), math.sin(angle), cross(axis, zero))
    if step == AROUND:
        arm = minus(place, a)
        off = along(arm, -dot(arm, axis), axis)
        long = length(off)
        if long > NO_DIRECTION:
            out = times(1.0 / long, off)
    start = along(a, cones.radius_a_mm[j], out)
    way = minus(along(row(cones.b_mm, j), cones.radius_b_mm[j], out), start)
    way = times(1.0 / length(way), way)
    normal = along(times(-1.0, out), dot(out, way), way)
    return times(1.0 / length(normal), normal), start


@compiled
def _is_beside_cone(cones: Cones, j: int, place: Vector, slack_rad: float) -> bool:
    """Tell whether a place lies between the ends of a concave cone and in the part of the turn it covers.

    Past an inside edge the cone is carried on as far as what is beside it goes.
    """
    a = row(cones.a_mm, j)
    whole, arm = minus(row(cones.b_mm, j), a), minus(place, a)
    long = length(whole)
    share = dot(arm, whole) / long
    if share <= -cones.past_mm[j, 0] - 1e-6 * long or share >= cones.past_mm[j, 1] + (1 + 1e-6) * long:
        return False
    return covers_direction(arm, row(cones.axis, j), row(cones.zero, j), cones.turn_rad[j], slack_rad)


@compiled
def circles_in_concave_cones(
    circles: SweptCircles, cones: Cones, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add circles, tori and spheres inside concave cylinders and cones, in directions all round.

    Parameters
    ----------
    circles, cones : SweptCircles and Cones
        The features of all bodies where they stand.
    a, b : Some
        The body with the circles and that with the concave cones, each with those that are near the other.
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
        centre = row(circles.middle_mm, i)
        for j in b[1]:
            if balls_apart(
                circles.middle_mm,
                circles.ball_mm,
                i,
                cones.middle_mm,
                cones.ball_mm,
                j,
                query.away_mm,
            ):
                continue
            for step in range(AROUND + 1):
                normal, start = _cone_inward_normal(cones, j, centre, step)
                has_side, fits, place, face = _lowest_on_circle(circles, i, normal, query.slack_rad)
                gap = dot(minus(place, start), normal)
                if not has_side or not fits or gap > query.reach_mm or gap < query.deep_mm:
                    continue
                # Beyond the cone, on the far side of its wall, the planes round it say nothing.
                straight, nearest_to = _cone_inward_normal(cones, j, place, AROUND)
                if dot(minus(place, nearest_to), straight) < query.deep_mm:
                    continue
                if _is_beside_cone(cones, j, place, query.slack_rad):
                    table = with_row(table, gap, normal, place, (a[0], face), (b[0], cones.face[j]))
    return table


@compiled
def corners_in_concave_cones(
    corners: Corners, cones: Cones, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add corners inside concave cylinders and cones, along the exact direction.

    Parameters
    ----------
    corners, cones : Corners and Cones
        The features of all bodies where they stand.
    a, b : Some
        The body with the corners and that with the concave cones, each with those that are near the other.
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
        for i in a[1]:
            if balls_apart(
                corners.middle_mm,
                corners.ball_mm,
                i,
                cones.middle_mm,
                cones.ball_mm,
                j,
                query.away_mm,
            ):
                continue
            place = row(corners.middle_mm, i)
            normal, start = _cone_inward_normal(cones, j, place, AROUND)
            gap = dot(minus(place, start), normal)
            if gap > query.reach_mm or gap < query.deep_mm:
                continue
            if not _is_beside_cone(cones, j, place, query.slack_rad):
                continue
            if leaves_room(corners.tangent_cones, i, normal, query.slack_rad):
                face = facing(corners.faces, corners.normals, i, times(-1.0, normal))
                table = with_row(table, gap, normal, place, (a[0], face), (b[0], cones.face[j]))
    return table


@compiled
def level_tori_over_faces(
    circles: SweptCircles, planes: Planes, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add places all round each torus that lies flat over a flat face, or may come to by turning.

    Parameters
    ----------
    circles, planes : SweptCircles and Planes
        The features of all bodies where they stand.
    a, b : Some
        The body with the tori and that with the flat faces, each with those that are near the other.
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
        if circles.radius_mm[i] == 0.0 or circles.tube_mm[i] == 0.0:
            continue
        axis, zero = row(circles.axis, i), row(circles.zero, i)
        for j in b[1]:
            normal = cell(planes.frame, j, 1)
            if length(cross(normal, axis)) > max(query.slack_rad, NO_DIRECTION):
                continue
            for step in range(AROUND):
                angle = WHOLE_RAD / AROUND * step
                outward = along(times(math.cos(angle), zero), math.sin(angle), cross(axis, zero))
                fits, place = lowest_of_section(circles, i, outward, normal, query.slack_rad)
                arm = minus(place, cell(planes.frame, j, 0))
                gap = dot(arm, normal)
                if not fits or gap > query.reach_mm or gap < query.deep_mm:
                    continue
                if is_over_face(
                    planes, j, dot(cell(planes.frame, j, 2), arm), dot(cell(planes.frame, j, 3), arm)
                ):
                    table = with_row(
                        table, gap, normal, place, (a[0], circles.face[i, 0]), (b[0], planes.face[j])
                    )
    return table


@compiled
def lowest_of_section(
    circles: SweptCircles, i: int, outward: Vector, normal: Vector, slack_rad: float
) -> tuple[bool, Vector]:
    """Return whether a torus has a lowest place of its section in one direction round its axis, and where.

    Where it runs smoothly into a face just there that face speaks for itself.

    Parameters
    ----------
    circles : SweptCircles
        Circles, tori and spheres where they stand.
    i : int
        Which torus.
    outward : tuple of float
        Unit direction from its axis to the section.
    normal : tuple of float
        Unit direction that the place is furthest against.
    slack_rad : float
        How far the direction may lie past the part of the turn that the torus covers.

    Returns
    -------
    (bool, tuple of float)
        The place is given in mm, whether or not the torus has it.
    """
    axis = row(circles.axis, i)
    up = along(normal, -dot(normal, cross(axis, outward)), cross(axis, outward))
    up = times(1.0 / length(up), up)
    fits = covers_direction(outward, axis, row(circles.zero, i), circles.turn_rad[i], slack_rad)
    fits = fits and in_angle_span(
        math.atan2(-dot(up, axis), -dot(up, outward)), circles.tilt_rad[i], -2.0 * TURN_RAD
    )
    place = along(row(circles.middle_mm, i), circles.radius_mm[i], outward)
    return fits, along(place, -circles.tube_mm[i], up)


PLACES = 48
"""Places of a circle looked at in a concave torus; between two it errs by 0.2 % of its way off the axis."""


@compiled
def _into_concave_torus(
    tori: SweptCircles, j: int, place: Vector, slack_rad: float
) -> tuple[bool, float, Vector]:
    """Return whether a concave torus is nearest to a place, how far it is, and its normal there.

    On the axis of a torus no part of it is nearest; of a sphere one still is.
    """
    axis = row(tori.axis, j)
    arm = minus(place, row(tori.middle_mm, j))
    high = dot(arm, axis)
    side = along(arm, -high, axis)
    wide = length(side)
    out = wide - tori.radius_mm[j]
    away = math.sqrt(out * out + high * high)
    if away <= NO_DIRECTION or (wide <= NO_DIRECTION and tori.radius_mm[j] > 0.0):
        return False, 0.0, axis
    fits = in_angle_span(math.atan2(high, out), tori.tilt_rad[j], slack_rad + TURN_RAD)
    fits = fits and covers_direction(side, axis, row(tori.zero, j), tori.turn_rad[j], slack_rad)
    return (
        fits,
        tori.tube_mm[j] - away,
        along(times(-out / (away * max(wide, 1e-300)), side), -high / away, axis),
    )


@compiled
def corners_in_concave_tori(
    corners: Corners, tori: SweptCircles, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add corners inside concave tori and spheres, along the exact direction.

    Parameters
    ----------
    corners, tori : Corners and SweptCircles
        The features of all bodies where they stand.
    a, b : Some
        The body with the corners and that with the concave tori, each with those that are near the other.
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
        for i in a[1]:
            place = row(corners.middle_mm, i)
            fits, gap, normal = _into_concave_torus(tori, j, place, query.slack_rad)
            if not fits or gap > query.reach_mm or gap < query.deep_mm:
                continue
            if leaves_room(corners.tangent_cones, i, normal, query.slack_rad):
                face = facing(corners.faces, corners.normals, i, times(-1.0, normal))
                table = with_row(table, gap, normal, place, (a[0], face), (b[0], tori.face[j, 0]))
    return table


@compiled
def circles_in_concave_tori(
    circles: SweptCircles, tori: SweptCircles, a: Some, b: Some, query: Query, table: FoundRows
) -> FoundRows:
    """Add circles, tori and spheres inside concave tori and spheres, at places all round.

    Parameters
    ----------
    circles, tori : SweptCircles
        The features of all bodies where they stand.
    a, b : Some
        The body with the circles and that with the concave tori, each with those that are near the other.
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
        axis, zero = row(circles.axis, i), row(circles.zero, i)
        side = cross(axis, zero)
        for j in b[1]:
            for step in range(PLACES if circles.radius_mm[i] > 0.0 else 1):
                angle = WHOLE_RAD / PLACES * step
                outward = along(times(math.cos(angle), zero), math.sin(angle), side)
                middle = along(row(circles.middle_mm, i), circles.radius_mm[i], outward)
                fits, gap, normal = _into_concave_torus(tori, j, middle, query.slack_rad)
                if circles.radius_mm[i] == 0.0:
                    # A sphere has no circle; it touches on the side that the normal comes from.
                    outward = along(times(-1.0, normal), dot(normal, axis), axis)
                    outward = times(1.0 / max(length(outward), 1e-300), outward)
                gap -= circles.tube_mm[i]
                fits = fits and covers_direction(outward, axis, zero, circles.turn_rad[i], query.slack_rad)
                if not fits or gap > query.reach_mm or gap < query.deep_mm:
                    continue
                rise, off = dot(normal, axis), dot(normal, outward)
                runs_0 = circles.leave[i, 0, 0] * off + circles.leave[i, 0, 1] * rise
                runs_1 = circles.leave[i, 1, 0] * off + circles.leave[i, 1, 1] * rise
                if min(runs_0, runs_1) < -query.slack_rad:
                    continue
                if not in_angle_span(
                    math.atan2(-rise, -off), circles.tilt_rad[i], query.slack_rad + TURN_RAD
                ):
                    continue
                face = circles.face[i, 0] if abs(runs_0) <= abs(runs_1) else circles.face[i, 1]
                place = along(middle, -circles.tube_mm[i], normal)
                table = with_row(table, gap, normal, place, (a[0], face), (b[0], tori.face[j, 0]))
    return table
