"""Candidates with curved faces in closed form: hoops on faces, and cylinders and balls on what is near.

Hollow cylinders and cones are the inside of their tangent planes, so a set of directions round the axis, with
the exact one among them, bounds what is inside them without error.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Candidates, joined
from fixturecheck.contact.rounds import covers, within
from fixturecheck.contact.sharp import Look, cross_rows, over

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
AROUND = 12
NO_DIRECTION = 1e-9


def hoops_over_faces(look: Look) -> Candidates | None:
    """Return the lowest place of each circle, torus and ball over each flat face."""
    hoops, world = look.scene.round.hoops, look.world
    hoop, plane = look.near_balls("hoop", "plane")
    if len(hoop) == 0:
        return None
    normal = world.planes[plane, 1]
    place, reach, fits, face = _lowest(look, hoop, normal)
    gap = np.einsum("ni,ni->n", place - world.planes[plane, 0], normal)
    keep = np.flatnonzero(fits & reach & (gap <= look.reach) & (gap >= look.deep))
    flat = np.einsum("nkj,nj->nk", world.planes[plane[keep], 2:4], place[keep] - world.planes[plane[keep], 0])
    keep = keep[over(look.scene, plane[keep], flat)]
    return _made(
        gap[keep], normal[keep], place[keep], hoops.body[hoop[keep]], world.plane_body[plane[keep]],
        face[keep], look.scene.plane_faces[plane[keep]],
    )  # fmt: skip


def _lowest(look: Look, hoop: Ints, normal: Floats) -> tuple[Floats, Mask, Mask, Ints]:
    """Return the place of each hoop furthest against a direction, and whether the hoop has it."""
    hoops = look.scene.round.hoops
    body = hoops.body[hoop]
    centre = look.place(hoops.centre[hoop], body)
    axis, zero = look.turn(hoops.axis[hoop], body), look.turn(hoops.zero[hoop], body)
    rise = np.einsum("ni,ni->n", normal, axis)
    side = normal - rise[:, None] * axis
    length = np.linalg.norm(side, axis=1)
    outward = -side / np.maximum(length, 1e-300)[:, None]
    radius, skin = hoops.radius[hoop], hoops.skin[hoop]
    place = centre + radius[:, None] * outward - skin[:, None] * normal
    has_side = (length > NO_DIRECTION) | (radius == 0)
    covered = covers(outward, axis, zero, hoops.turn[hoop], look.slack)
    tilt = within(np.arctan2(-rise, length), hoops.tilt[hoop], look.slack + 1e-6)
    leave = hoops.leave[hoop]
    runs = -leave[:, :, 0] * length[:, None] + leave[:, :, 1] * rise[:, None]
    fits = np.all(runs >= -look.slack, axis=1) & covered & tilt
    # Of a sharp circle's two faces the one that looks more along the contact is named.
    face = hoops.face[hoop, np.argmin(np.abs(runs), axis=1)]
    return place, has_side, fits, face


def spines_over_edges(look: Look) -> Candidates | None:
    """Return cylinders and balls across straight edges."""
    scene, world, spines = look.scene, look.world, look.scene.round.spines
    spine, edge = look.near_balls("spine", "edge")
    straight = np.flatnonzero(scene.straight[edge])
    spine, edge = spine[straight], edge[straight]
    if len(spine) == 0:
        return None
    body = spines.body[spine]
    start, end = look.place(spines.a[spine], body), look.place(spines.b[spine], body)
    s, t, inner = _nearest(start, end - start, world.edges[edge, 0], world.along[edge])
    inner &= (t > 1e-6) & (t < world.length[edge] - 1e-6)
    on_spine = start + s[:, None] * (end - start)
    on_edge = world.edges[edge, 0] + t[:, None] * world.along[edge]
    gap, normal, fits = _skin(look, spine, on_spine, on_edge)
    keep = np.flatnonzero(inner & fits & (gap <= look.reach) & (gap >= look.deep))
    keep = keep[look.leaves_room(world.leaves[edge[keep]], -normal[keep])]
    face = scene.facing_edge(edge[keep], normal[keep], look.rotation)
    return _made(
        gap[keep], normal[keep], on_edge[keep] + gap[keep, None] * normal[keep], body[keep],
        world.edge_body[edge[keep]], spines.face[spine[keep]], face,
    )  # fmt: skip


def spines_over_corners(look: Look) -> Candidates | None:
    """Return cylinders and balls against corners and points of curved edges."""
    scene, world, spines = look.scene, look.world, look.scene.round.spines
    spine, point = look.near_balls("spine", "corner")
    if len(spine) == 0:
        return None
    body = spines.body[spine]
    start, end = look.place(spines.a[spine], body), look.place(spines.b[spine], body)
    along = end - start
    square = np.einsum("ni,ni->n", along, along)
    share = np.einsum("ni,ni->n", world.points[point] - start, along) / np.maximum(square, 1e-30)
    inner = (share > -1e-9) & (share < 1 + 1e-9) | spines.is_ball[spine]
    on_spine = start + np.where(spines.is_ball[spine], 0.0, share)[:, None] * along
    gap, normal, fits = _skin(look, spine, on_spine, world.points[point])
    keep = np.flatnonzero(inner & fits & (gap <= look.reach) & (gap >= look.deep))
    keep = keep[look.leaves_room(world.cones[point[keep]], -normal[keep])]
    face = scene.facing(point[keep], normal[keep], look.rotation)
    return _made(
        gap[keep], normal[keep], world.points[point[keep]] + gap[keep, None] * normal[keep], body[keep],
        world.point_body[point[keep]], spines.face[spine[keep]], face,
    )  # fmt: skip


def spines_over_spines(look: Look) -> Candidates | None:
    """Return cylinders and balls against each other: where axes cross, and at ends beside an axis."""
    spines = look.scene.round.spines
    first, second = look.near_balls("spine", "spine")
    if len(first) == 0:
        return None
    rows = []
    for end in ("cross", "a", "b"):
        body, other = spines.body[first], spines.body[second]
        a0, a1 = look.place(spines.a[first], body), look.place(spines.b[first], body)
        b0, b1 = look.place(spines.a[second], other), look.place(spines.b[second], other)
        along = b1 - b0
        length = np.linalg.norm(along, axis=1)
        unit = along / np.maximum(length, 1e-30)[:, None]
        if end == "cross":
            s, t, inner = _nearest(a0, a1 - a0, b0, unit)
            inner &= ~spines.is_ball[first] & ~spines.is_ball[second]
            inner &= (t > -1e-9) & (t < length + 1e-9) & (body < other)
            near = a0 + s[:, None] * (a1 - a0)
        else:
            near = a0 if end == "a" else a1
            t = np.where(spines.is_ball[second], 0.0, np.einsum("ni,ni->n", near - b0, unit))
            inner = (t > -1e-9) & (t < length + 1e-9)
        far = b0 + t[:, None] * unit
        gap, normal, fits = _skin(look, first, near, far)
        gap = gap - spines.radius[second]
        fits &= covers(
            normal, look.turn(spines.axis[second], other), look.turn(spines.zero[second], other),
            spines.turn[second], look.slack,
        )  # fmt: skip
        if end != "cross":
            lean = np.abs(np.einsum("ni,ni->n", normal, a1 - a0))
            fits &= lean <= (look.slack + 1e-3) * np.maximum(np.linalg.norm(a1 - a0, axis=1), 1e-9)
        keep = np.flatnonzero(inner & fits & (gap <= look.reach) & (gap >= look.deep))
        at = far[keep] + (spines.radius[second[keep]] + gap[keep])[:, None] * normal[keep]
        rows.append(
            _made(
                gap[keep], normal[keep], at, body[keep], other[keep], spines.face[first[keep]],
                spines.face[second[keep]],
            )
        )  # fmt: skip
    return _stacked(rows)


def hoops_in_hollows(look: Look) -> Candidates | None:
    """Return circles, tori and balls inside hollow cylinders and cones, in directions all round."""
    hoops, hollows = look.scene.round.hoops, look.scene.round.hollows
    hoop, hollow = look.near_balls("hoop", "hollow")
    if len(hoop) == 0:
        return None
    step = np.repeat(np.arange(AROUND + 1), len(hoop))
    hoop, hollow = np.tile(hoop, AROUND + 1), np.tile(hollow, AROUND + 1)
    centre = look.place(hoops.centre[hoop], hoops.body[hoop])
    normal, start = _inward(look, hollow, centre, step)
    # Far ones go before the costlier questions are asked.
    reach = look.reach + hoops.radius[hoop] + hoops.skin[hoop]
    near = np.flatnonzero(np.einsum("ni,ni->n", centre - start, normal) <= reach)
    hoop, hollow, normal, start = hoop[near], hollow[near], normal[near], start[near]
    place, has_side, fits, face = _lowest(look, hoop, normal)
    gap = np.einsum("ni,ni->n", place - start, normal)
    inside = _alongside(look, hollow, place)
    keep = np.flatnonzero(has_side & fits & inside & (gap <= look.reach) & (gap >= look.deep))
    return _made(
        gap[keep], normal[keep], place[keep], hoops.body[hoop[keep]], hollows.body[hollow[keep]],
        face[keep], hollows.face[hollow[keep]],
    )  # fmt: skip


def corners_in_hollows(look: Look) -> Candidates | None:
    """Return corners inside hollow cylinders and cones, along the exact direction."""
    scene, world, hollows = look.scene, look.world, look.scene.round.hollows
    point, hollow = look.near_balls("corner", "hollow")
    if len(point) == 0:
        return None
    place = world.points[point]
    normal, start = _inward(look, hollow, place, np.full(len(hollow), AROUND))
    gap = np.einsum("ni,ni->n", place - start, normal)
    keep = np.flatnonzero(_alongside(look, hollow, place) & (gap <= look.reach) & (gap >= look.deep))
    keep = keep[look.leaves_room(world.cones[point[keep]], normal[keep])]
    face = scene.facing(point[keep], -normal[keep], look.rotation)
    return _made(
        gap[keep], normal[keep], place[keep], world.point_body[point[keep]], hollows.body[hollow[keep]],
        face, hollows.face[hollow[keep]],
    )  # fmt: skip


def _inward(look: Look, hollow: Ints, place: Floats, step: Ints) -> tuple[Floats, Floats]:
    """Return the inward normal and a point of the hollow's generator in one direction round the axis.

    The last step is the direction in which `place` is off the axis; the others are spaced evenly.
    """
    hollows = look.scene.round.hollows
    body = hollows.body[hollow]
    axis, zero = look.turn(hollows.axis[hollow], body), look.turn(hollows.zero[hollow], body)
    a, b = look.place(hollows.a[hollow], body), look.place(hollows.b[hollow], body)
    angle = (2 * np.pi / AROUND * step)[:, None]
    even = np.cos(angle) * zero + np.sin(angle) * cross_rows(axis, zero)
    arm = place - a
    out = arm - np.einsum("ni,ni->n", arm, axis)[:, None] * axis
    length = np.linalg.norm(out, axis=1)[:, None]
    exact = (step[:, None] == AROUND) & (length > NO_DIRECTION)
    out = np.where(exact, out / np.maximum(length, 1e-300), even)
    start = a + hollows.radius_a[hollow, None] * out
    along = b + hollows.radius_b[hollow, None] * out - start
    along /= np.linalg.norm(along, axis=1)[:, None]
    normal = -out + np.einsum("ni,ni->n", out, along)[:, None] * along
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    return normal, start


def _alongside(look: Look, hollow: Ints, place: Floats) -> Mask:
    """Tell which places lie between the ends of a hollow and in the part of the turn it covers."""
    hollows = look.scene.round.hollows
    body = hollows.body[hollow]
    a, b = look.place(hollows.a[hollow], body), look.place(hollows.b[hollow], body)
    axis, zero = look.turn(hollows.axis[hollow], body), look.turn(hollows.zero[hollow], body)
    along = b - a
    share = np.einsum("ni,ni->n", place - a, along) / np.einsum("ni,ni->n", along, along)
    inside = (share > -1e-6) & (share < 1 + 1e-6)
    return np.asarray(inside & covers(place - a, axis, zero, hollows.turn[hollow], look.slack))


def _nearest(a: Floats, u: Floats, b: Floats, v: Floats) -> tuple[Floats, Floats, Mask]:
    """Return shares s of segments a + s u and lengths t along unit lines b + t v where they are nearest."""
    uu, uv = np.einsum("ni,ni->n", u, u), np.einsum("ni,ni->n", u, v)
    arm = b - a
    on_u, on_v = np.einsum("ni,ni->n", arm, u), np.einsum("ni,ni->n", arm, v)
    square = uu - uv**2
    ball = uu < 1e-18
    parallel = ~ball & (square < 1e-9 * uu)
    s = np.where(ball | parallel, 0.0, (on_u - uv * on_v) / np.where(ball | parallel, 1.0, square))
    t = s * uv - on_v
    return s, t, (s > -1e-9) & (s < 1 + 1e-9) & ~parallel


def _skin(look: Look, spine: Ints, on_spine: Floats, other: Floats) -> tuple[Floats, Floats, Mask]:
    """Return gap, normal out of the other thing, and whether the spine's surface covers that direction."""
    spines = look.scene.round.spines
    body = spines.body[spine]
    arm = on_spine - other
    away = np.linalg.norm(arm, axis=1)
    normal = arm / np.maximum(away, 1e-12)[:, None]
    axis, zero = look.turn(spines.axis[spine], body), look.turn(spines.zero[spine], body)
    fits = covers(-normal, axis, zero, spines.turn[spine], look.slack) & (away > NO_DIRECTION)
    rise = -np.einsum("ni,ni->n", normal, axis)
    level = np.arctan2(rise, np.sqrt(np.maximum(1 - rise**2, 0.0)))
    fits &= ~spines.is_ball[spine] | within(level, spines.tilt[spine], look.slack + 1e-6)
    return away - spines.radius[spine], normal, fits


def _made(
    gap: Floats, normal: Floats, place: Floats, a: Ints, b: Ints, face_a: Ints, face_b: Ints
) -> Candidates | None:
    """Pack rows whose place on body a is known."""
    if len(gap) == 0:
        return None
    return Candidates(
        gap_mm=gap,
        normal=normal,
        point_a_mm=place,
        point_b_mm=place - gap[:, None] * normal,
        body_a=a,
        body_b=b,
        face_a=face_a,
        face_b=face_b,
    )


def _stacked(rows: list[Candidates | None]) -> Candidates | None:
    """Join rows that are there."""
    some = [one for one in rows if one is not None]
    return joined(some) if some else None
