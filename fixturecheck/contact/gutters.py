"""Candidates inside concave tori, such as the fillet round the bottom of a bore, and concave spheres."""

from __future__ import annotations

import math

from fixturecheck.compiled import Vector, along, compiled, cross, dot, length, minus, row, times
from fixturecheck.contact.curved import NO_DIRECTION, TURN_RAD, WHOLE_RAD, covers, within
from fixturecheck.contact.posed import Corners
from fixturecheck.contact.rounds import SweptCircles
from fixturecheck.contact.sharp import Ask, Book, Some, facing, leaves_room, written

PLACES = 48
"""Places of a circle looked at in a concave torus; between two it errs by 0.2 % of its way off the axis."""


@compiled
def into_concave_torus(
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
    fits = within(math.atan2(high, out), tori.tilt_rad[j], slack_rad + TURN_RAD)
    fits = fits and covers(side, axis, row(tori.zero, j), tori.turn_rad[j], slack_rad)
    return (
        fits,
        tori.tube_mm[j] - away,
        along(times(-out / (away * max(wide, 1e-300)), side), -high / away, axis),
    )


@compiled
def corners_in_concave_tori(
    corners: Corners, tori: SweptCircles, a: Some, b: Some, ask: Ask, book: Book
) -> Book:
    """Add corners inside concave tori and spheres, along the exact direction."""
    for j in b[1]:
        for i in a[1]:
            place = row(corners.middle_mm, i)
            fits, gap, normal = into_concave_torus(tori, j, place, ask.slack_rad)
            if not fits or gap > ask.reach_mm or gap < ask.deep_mm:
                continue
            if leaves_room(corners.cones, i, normal, ask.slack_rad):
                face = facing(corners.faces, corners.normals, i, times(-1.0, normal))
                book = written(book, gap, normal, place, (a[0], face), (b[0], tori.face[j, 0]))
    return book


@compiled
def circles_in_concave_tori(
    circles: SweptCircles, tori: SweptCircles, a: Some, b: Some, ask: Ask, book: Book
) -> Book:
    """Add circles, tori and spheres inside concave tori and spheres, at places all round."""
    for i in a[1]:
        axis, zero = row(circles.axis, i), row(circles.zero, i)
        side = cross(axis, zero)
        for j in b[1]:
            for step in range(PLACES if circles.radius_mm[i] > 0.0 else 1):
                angle = WHOLE_RAD / PLACES * step
                outward = along(times(math.cos(angle), zero), math.sin(angle), side)
                middle = along(row(circles.middle_mm, i), circles.radius_mm[i], outward)
                fits, gap, normal = into_concave_torus(tori, j, middle, ask.slack_rad)
                if circles.radius_mm[i] == 0.0:
                    # A sphere has no circle; it touches on the side that the normal comes from.
                    outward = along(times(-1.0, normal), dot(normal, axis), axis)
                    outward = times(1.0 / max(length(outward), 1e-300), outward)
                gap -= circles.tube_mm[i]
                fits = fits and covers(outward, axis, zero, circles.turn_rad[i], ask.slack_rad)
                if not fits or gap > ask.reach_mm or gap < ask.deep_mm:
                    continue
                rise, off = dot(normal, axis), dot(normal, outward)
                runs_0 = circles.leave[i, 0, 0] * off + circles.leave[i, 0, 1] * rise
                runs_1 = circles.leave[i, 1, 0] * off + circles.leave[i, 1, 1] * rise
                if min(runs_0, runs_1) < -ask.slack_rad:
                    continue
                if not within(math.atan2(-rise, -off), circles.tilt_rad[i], ask.slack_rad + TURN_RAD):
                    continue
                face = circles.face[i, 0] if abs(runs_0) <= abs(runs_1) else circles.face[i, 1]
                place = along(middle, -circles.tube_mm[i], normal)
                book = written(book, gap, normal, place, (a[0], face), (b[0], tori.face[j, 0]))
    return book
