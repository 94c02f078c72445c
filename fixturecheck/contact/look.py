"""One look at the scene: all candidates of all kinds within reach at given poses."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixturecheck.compiled import compiled
from fixturecheck.contact.candidates import Candidates, Scene, joined, seen_from_a
from fixturecheck.contact.cleared import cleared
from fixturecheck.contact.curved import (
    corners_in_hollows,
    hoops_in_hollows,
    hoops_over_faces,
    spines_over_corners,
    spines_over_edges,
    spines_over_spines,
)
from fixturecheck.contact.gutters import corners_in_gutters, hoops_in_gutters
from fixturecheck.contact.posed import Bodies, stand
from fixturecheck.contact.rings import rings_over_faces
from fixturecheck.contact.sharp import (
    Ask,
    Book,
    corners_beside_corners,
    corners_beside_edges,
    corners_over_faces,
    edges_across,
)
from fixturecheck.contact.smooth import smooth_rows
from fixturecheck.contact.tapers import tapers_over_corners, tapers_over_edges

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DEEP_MM, LEAST_MM, DEEP = 1.5, 0.05, 0.25
"""Overlaps are reported down to half the reach or `DEEP_MM`, and at least to `LEAST_MM` and to a share of the
reach; what lies much deeper is past the other side of a thin body."""
ROOM = 32768
"""Rows that there is room for at first; where there are more all are looked for twice."""


def find_candidates(
    scene: Scene,
    rotation: Floats,
    origin_mm: Floats,
    reach_mm: float,
    slack_rad: float,
    deep_mm: float = 0.0,
) -> Candidates:
    """Return every place within reach where two bodies might touch.

    Parameters
    ----------
    rotation, origin_mm : ndarray, shape (n, 3, 3) and (n, 3)
        Poses of all bodies.
    reach_mm : float
        Gaps up to this are reported.
    slack_rad : float
        How far bodies may turn before the next look; features that could come to face each other by
        turning that much are reported too.
    deep_mm : float
        Overlaps down to this are reported, and always down to what goes with the reach.
    """
    deep = -max(min(0.5 * reach_mm, DEEP_MM), DEEP * reach_mm, deep_mm, LEAST_MM)
    low, high = scene.boxes(rotation, origin_mm)
    pairs = scene.pairs(low, high, reach_mm)
    standing = stand(scene.bodies, rotation, origin_mm)
    ask = Ask(reach_mm, deep, slack_rad, max(reach_mm, -deep))
    rows = asked(rows_of, standing, low, high, pairs, ask)
    rows = rows.where(~cleared(standing, rows))
    if not any(one.smooth for one in scene.features):
        return rows
    return joined((rows, smooth_rows(scene, rotation, origin_mm, pairs, ask)))


def packed(book: Book) -> Candidates:
    """Return the rows of a book."""
    numbers, names = book.numbers[: book.rows], book.names[: book.rows]
    gap, normal, place = numbers[:, 0], numbers[:, 1:4], numbers[:, 4:7]
    return seen_from_a(gap, normal, place, names)


def asked(find: Callable[..., Book], *question: Any) -> Candidates:
    """Return what a compiled loop finds, in as much room as it needs."""
    room = ROOM
    while True:
        book = find(*question, Book(np.empty((room, 7)), np.empty((room, 4), dtype=np.int64), 0))
        if book.rows <= room:
            return packed(book)
        room = book.rows


@compiled
def rows_of(standing: Bodies, low_mm: Floats, high_mm: Floats, pairs: Ints, ask: Ask, book: Book) -> Book:
    """Return every row between pairs (n, 2) of bodies with boxes `low_mm` to `high_mm`."""
    corners, edges, planes, hoops, spines, hollows, gutters, tapers = standing
    for k in range(len(pairs)):
        for turn in range(2):
            a, b = pairs[k, turn], pairs[k, 1 - turn]
            box_a, box_b = (low_mm[a], high_mm[a]), (low_mm[b], high_mm[b])
            corners_a = a, near(corners.first, corners.middle_mm, corners.ball_mm, a, box_b, ask.away_mm)
            edges_b = b, near(edges.first, edges.middle_mm, edges.ball_mm, b, box_a, ask.away_mm)
            planes_b = b, near(planes.first, planes.middle_mm, planes.ball_mm, b, box_a, ask.away_mm)
            book = corners_over_faces(corners, planes, corners_a, planes_b, ask, book)
            book = corners_beside_edges(corners, edges, corners_a, edges_b, ask, book)
            corners_b = b, near(corners.first, corners.middle_mm, corners.ball_mm, b, box_a, ask.away_mm)
            if turn == 0:
                edges_a = a, near(edges.first, edges.middle_mm, edges.ball_mm, a, box_b, ask.away_mm)
                book = edges_across(edges, edges_a, edges_b, ask, book)
                book = corners_beside_corners(corners, corners_a, corners_b, ask, book)
            hollows_b = b, near(hollows.first, hollows.middle_mm, hollows.ball_mm, b, box_a, ask.away_mm)
            book = corners_in_hollows(corners, hollows, corners_a, hollows_b, ask, book)
            gutters_b = b, near(gutters.first, gutters.middle_mm, gutters.ball_mm, b, box_a, ask.away_mm)
            book = corners_in_gutters(corners, gutters, corners_a, gutters_b, ask, book)
            hoops_a = a, near(hoops.first, hoops.middle_mm, hoops.ball_mm, a, box_b, ask.away_mm)
            book = hoops_over_faces(hoops, planes, hoops_a, planes_b, ask, book)
            book = rings_over_faces(hoops, planes, hoops_a, planes_b, ask, book)
            book = hoops_in_hollows(hoops, hollows, hoops_a, hollows_b, ask, book)
            book = hoops_in_gutters(hoops, gutters, hoops_a, gutters_b, ask, book)
            spines_a = a, near(spines.first, spines.middle_mm, spines.ball_mm, a, box_b, ask.away_mm)
            spines_b = b, near(spines.first, spines.middle_mm, spines.ball_mm, b, box_a, ask.away_mm)
            book = spines_over_edges(spines, edges, spines_a, edges_b, ask, book)
            book = spines_over_corners(spines, corners, spines_a, corners_b, ask, book)
            book = spines_over_spines(spines, spines_a, spines_b, ask, book)
            tapers_a = a, near(tapers.first, tapers.middle_mm, tapers.ball_mm, a, box_b, ask.away_mm)
            book = tapers_over_corners(tapers, corners, tapers_a, corners_b, ask, book)
            book = tapers_over_edges(tapers, edges, tapers_a, edges_b, ask, book)
    return book


@compiled
def near(
    first: Ints, middle_mm: Floats, ball_mm: Floats, body: int, box_mm: tuple[Floats, Floats], away_mm: float
) -> Ints:
    """Return the features of one kind of a body whose balls come within reach of a box."""
    start, stop = first[body], first[body + 1]
    found, count = np.empty(stop - start, dtype=np.int64), 0
    for i in range(start, stop):
        beyond = 0.0
        for axis in range(3):
            at = middle_mm[i, axis]
            past = max(box_mm[0][axis] - at, at - box_mm[1][axis], 0.0)
            beyond += past * past
        most = ball_mm[i] + away_mm
        if beyond <= most * most:
            found[count] = i
            count += 1
    return found[:count]
