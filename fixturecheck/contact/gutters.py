"""Candidates in gutters: what lies inside hollow tori, as fillets round the bottom of a bore, or balls."""

from __future__ import annotations

import math

from fixturecheck.compiled import Vector, along, compiled, cross, dot, length, minus, row, times
from fixturecheck.contact.curved import NO_DIRECTION, TURN_RAD, WHOLE_RAD, covers, within
from fixturecheck.contact.posed import Corners
from fixturecheck.contact.rounds import Gutters, Hoops
from fixturecheck.contact.sharp import Ask, Book, Some, facing, leaves_room, written

PLACES = 48
"""Places of a circle looked at in a gutter; between two it is out by 0.2 % of what it is off the axis."""


@compiled
def into_gutter(gutters: Gutters, j: int, place: Vector, slack_rad: float) -> tuple[bool, float, Vector]:
    """Return whether a gutter is nearest to a place in its own part, how far it is, and its normal there.

    On the axis of a torus no part of it is nearest; of a ball one still is.
    """
    axis = row(gutters.axis, j)
    arm = minus(place, row(gutters.middle_mm, j))
    high = dot(arm, axis)
    side = along(arm, -high, axis)
    wide = length(side)
    out = wide - gutters.radius_mm[j]
    away = math.sqrt(out * out + high * high)
    if away <= NO_DIRECTION or (wide <= NO_DIRECTION and gutters.radius_mm[j] > 0.0):
        return False, 0.0, axis
    fits = within(math.atan2(high, out), gutters.tilt_rad[j], slack_rad + TURN_RAD)
    fits = fits and covers(side, axis, row(gutters.zero, j), gutters.turn_rad[j], slack_rad)
    return (
        fits,
        gutters.skin_mm[j] - away,
        along(times(-out / (away * max(wide, 1e-300)), side), -high / away, axis),
    )


@compiled
def corners_in_gutters(corners: Corners, gutters: Gutters, a: Some, b: Some, ask: Ask, book: Book) -> Book:
    """Add corners inside hollow tori and balls, along the exact direction."""
    for j in b[1]:
        for i in a[1]:
            place = row(corners.middle_mm, i)
            fits, gap, normal = into_gutter(gutters, j, place, ask.slack_rad)
            if not fits or gap > ask.reach_mm or gap < ask.deep_mm:
                continue
            if leaves_room(corners.cones, i, normal, ask.slack_rad):
                face = facing(corners.faces, corners.normals, i, times(-1.0, normal))
                book = written(book, gap, normal, place, (a[0], face), (b[0], gutters.face[j]))
    return book


@compiled
def hoops_in_gutters(hoops: Hoops, gutters: Gutters, a: Some, b: Some, ask: Ask, book: Book) -> Book:
    """Add circles, tori and balls inside hollow tori and balls, at places all round."""
    for i in a[1]:
        axis, zero = row(hoops.axis, i), row(hoops.zero, i)
        side = cross(axis, zero)
        for j in b[1]:
            for step in range(PLACES if hoops.radius_mm[i] > 0.0 else 1):
                angle = WHOLE_RAD / PLACES * step
                outward = along(times(math.cos(angle), zero), math.sin(angle), side)
                middle = along(row(hoops.middle_mm, i), hoops.radius_mm[i], outward)
                fits, gap, normal = into_gutter(gutters, j, middle, ask.slack_rad)
                if hoops.radius_mm[i] == 0.0:
                    # A ball has no circle; it touches on the side that the normal comes from.
                    outward = along(times(-1.0, normal), dot(normal, axis), axis)
                    outward = times(1.0 / max(length(outward), 1e-300), outward)
                gap -= hoops.skin_mm[i]
                fits = fits and covers(outward, axis, zero, hoops.turn_rad[i], ask.slack_rad)
                if not fits or gap > ask.reach_mm or gap < ask.deep_mm:
                    continue
                rise, off = dot(normal, axis), dot(normal, outward)
                runs_0 = hoops.leave[i, 0, 0] * off + hoops.leave[i, 0, 1] * rise
                runs_1 = hoops.leave[i, 1, 0] * off + hoops.leave[i, 1, 1] * rise
                if min(runs_0, runs_1) < -ask.slack_rad:
                    continue
                if not within(math.atan2(-rise, -off), hoops.tilt_rad[i], ask.slack_rad + TURN_RAD):
                    continue
                face = hoops.face[i, 0] if abs(runs_0) <= abs(runs_1) else hoops.face[i, 1]
                place = along(middle, -hoops.skin_mm[i], normal)
                book = written(book, gap, normal, place, (a[0], face), (b[0], gutters.face[j]))
    return book
