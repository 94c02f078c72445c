"""Candidates of tori that lie flat: every place round them is as low as any other."""

from __future__ import annotations

import math

from fixturecheck.compiled import Vector, along, cell, compiled, cross, dot, length, minus, row, times
from fixturecheck.contact.curved import AROUND, NO_DIRECTION, TURN_RAD, WHOLE_RAD, covers, within
from fixturecheck.contact.posed import Planes
from fixturecheck.contact.rounds import SweptCircles
from fixturecheck.contact.sharp import Ask, Book, Some, over, written


@compiled
def level_tori_over_faces(
    circles: SweptCircles, planes: Planes, a: Some, b: Some, ask: Ask, book: Book
) -> Book:
    """Add places all round each torus that lies flat over a flat face, or may come to by turning."""
    for i in a[1]:
        if circles.radius_mm[i] == 0.0 or circles.tube_mm[i] == 0.0:
            continue
        axis, zero = row(circles.axis, i), row(circles.zero, i)
        for j in b[1]:
            normal = cell(planes.frame, j, 1)
            if length(cross(normal, axis)) > max(ask.slack_rad, NO_DIRECTION):
                continue
            for step in range(AROUND):
                angle = WHOLE_RAD / AROUND * step
                outward = along(times(math.cos(angle), zero), math.sin(angle), cross(axis, zero))
                fits, place = beneath(circles, i, outward, normal, ask.slack_rad)
                arm = minus(place, cell(planes.frame, j, 0))
                gap = dot(arm, normal)
                if not fits or gap > ask.reach_mm or gap < ask.deep_mm:
                    continue
                if over(planes, j, dot(cell(planes.frame, j, 2), arm), dot(cell(planes.frame, j, 3), arm)):
                    book = written(
                        book, gap, normal, place, (a[0], circles.face[i, 0]), (b[0], planes.face[j])
                    )
    return book


@compiled
def beneath(
    circles: SweptCircles, i: int, outward: Vector, normal: Vector, slack_rad: float
) -> tuple[bool, Vector]:
    """Return whether a torus has a lowest place of its section in one direction round its axis, and where.

    Where it runs smoothly into a face just there that face speaks for itself.
    """
    axis = row(circles.axis, i)
    up = along(normal, -dot(normal, cross(axis, outward)), cross(axis, outward))
    up = times(1.0 / length(up), up)
    fits = covers(outward, axis, row(circles.zero, i), circles.turn_rad[i], slack_rad)
    fits = fits and within(
        math.atan2(-dot(up, axis), -dot(up, outward)), circles.tilt_rad[i], -2.0 * TURN_RAD
    )
    place = along(row(circles.middle_mm, i), circles.radius_mm[i], outward)
    return fits, along(place, -circles.tube_mm[i], up)
