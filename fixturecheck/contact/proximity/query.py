"""The proximity query: all candidates of all kinds within reach at given poses.

Some overlaps are found twice. A corner a hair below the rim of a wall lies behind the wall's top and far
behind its side. It is out of the wall as soon as it is above the top, because the side lies wholly below the
top; so the row of the side is superseded. Where two faces meet in an inside corner neither lies behind the
other, and both rows stand.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import cell, compiled, dot, length, minus, row, times
from fixturecheck.contact.proximity.candidates import Candidates, ProximityScene, joined, seen_from_a
from fixturecheck.contact.proximity.cones import convex_cones_over_corners, convex_cones_over_edges
from fixturecheck.contact.proximity.curved import (
    capsules_over_capsules,
    capsules_over_corners,
    capsules_over_edges,
    circles_in_concave_cones,
    circles_in_concave_tori,
    circles_over_faces,
    corners_in_concave_cones,
    corners_in_concave_tori,
    level_tori_over_faces,
)
from fixturecheck.contact.proximity.placed_features import Bodies, Corners
from fixturecheck.contact.proximity.smooth import smooth_rows
from fixturecheck.contact.proximity.vertices_edges import (
    RIM_MM,
    FoundRows,
    Query,
    corners_beside_corners,
    corners_beside_edges,
    corners_over_faces,
    edges_across,
)
from fixturecheck.kernel.brep.features import features_of
from fixturecheck.kernel.place import matrix_of
from fixturecheck.kernel.shapes import Placed


class Rows(NamedTuple):
    """Candidates for the loops: `places_mm` (n, 2, 3) and `names` (n, 4), body and face, of either body."""

    gap_mm: Floats
    normal: Floats
    places_mm: Floats
    names: Ints


def superseded(standing: Bodies, rows: Candidates) -> Bools:
    """Tell which overlapping rows another row of the same two bodies makes void.

    Parameters
    ----------
    standing : Bodies
        The bodies' features where they stand.
    rows : Candidates
        All rows of a query.

    Returns
    -------
    ndarray of bool, shape (n,)
        False for every row that does not overlap.
    """
    void = np.zeros(len(rows.gap_mm), dtype=bool)
    deep = np.flatnonzero(rows.gap_mm < -RIM_MM)
    if len(deep) == 0:
        return void
    count = len(standing.corners.first)
    pair = np.minimum(rows.body_a, rows.body_b) * count + np.maximum(rows.body_a, rows.body_b)
    order = np.argsort(pair, kind="stable")
    starts = np.searchsorted(pair[order], pair[deep], side="left")
    stops = np.searchsorted(pair[order], pair[deep], side="right")
    both = Rows(
        gap_mm=np.ascontiguousarray(rows.gap_mm),
        normal=np.ascontiguousarray(rows.normal),
        places_mm=np.stack((rows.point_a_mm, rows.point_b_mm), axis=1),
        names=np.stack((rows.body_a, rows.face_a, rows.body_b, rows.face_b), axis=1),
    )
    return _mark_superseded(standing.corners, both, (deep, starts, stops, order), void)


@compiled
def _mark_superseded(
    corners: Corners, rows: Rows, asked: tuple[Ints, Ints, Ints, Ints], void: Bools
) -> Bools:
    """Mark void rows; `asked` has the deep ones, and where in order the rows of their bodies start and stop.

    Either body of a row may have the corner and the other the wall, so each row is read both ways.
    """
    deep, starts, stops, order = asked
    for k in range(len(deep)):
        i = deep[k]
        for side in range(2):
            wall, face = rows.names[i, 2 - 2 * side], rows.names[i, 3 - 2 * side]
            around = _corners_of(corners, wall, face)
            if len(around) == 0:  # round all over: nothing says that it lies below
                continue
            for rank in range(starts[k], stops[k]):
                if not void[i] and _supersedes(corners, around, rows, order[rank], i, side):
                    void[i] = True
    return void


@compiled
def _supersedes(corners: Corners, around: Ints, rows: Rows, j: int, i: int, side: int) -> bool:
    """Tell whether row j clears row i, of which `side` says which body has the corner.

    `around` numbers the corners of the face that row i is behind.
    """
    if rows.gap_mm[j] <= rows.gap_mm[i]:
        return False
    place = cell(rows.places_mm, i, side)
    own = 0 if rows.names[j, 0] == rows.names[i, 2 * side] else 1
    if length(minus(cell(rows.places_mm, j, own), place)) > -2.0 * rows.gap_mm[i]:
        return False
    across = cell(rows.places_mm, j, 1 - own)
    out = times(1.0 - 2.0 * own, row(rows.normal, j))
    if dot(minus(place, across), out) < rows.gap_mm[j] - RIM_MM:
        return False
    highest = -np.inf
    for c in around:
        highest = max(highest, dot(minus(row(corners.middle_mm, c), across), out))
    return highest <= RIM_MM


@compiled
def _corners_of(corners: Corners, body: int, face: int) -> Ints:
    """Return the corners of a face by number; those of the whole body where it is curved."""
    start, stop = corners.first[body], corners.first[body + 1]
    found, count = np.empty(stop - start, dtype=np.int64), 0
    for i in range(start, stop):
        for k in range(corners.faces.shape[1]):
            if corners.faces[i, k] == face:
                found[count] = i
                count += 1
                break
    return found[:count] if count > 0 else np.arange(start, stop)


DEEP_MM, LEAST_MM, DEEP = 1.5, 0.05, 0.25
"""Overlaps are reported down to half the reach or `DEEP_MM`, and at least to `LEAST_MM` and to a share of the
reach; what lies much deeper is past the other side of a thin body."""
_NO_TURN_RAD = 1e-9
"""Slack of a query at one pose only."""
ROOM = 32768
"""Rows that there is room for at first; where there are more all are looked for twice."""


def find_candidates(
    scene: ProximityScene,
    rotation: Floats,
    origin_mm: Floats,
    reach_mm: float,
    slack_rad: float,
    deep_mm: float = 0.0,
) -> Candidates:
    """Return every place within reach where two bodies might touch.

    Parameters
    ----------
    scene : ProximityScene
        The bodies that are looked at.
    rotation, origin_mm : ndarray, shape (n, 3, 3) and (n, 3)
        Poses of all bodies.
    reach_mm : float
        Gaps up to this are reported.
    slack_rad : float
        How far bodies may turn before the next look; features that could come to face each other by
        turning that much are reported too.
    deep_mm : float
        Overlaps down to this are reported, and always down to what goes with the reach.

    Returns
    -------
    Candidates
    """
    deep = -max(min(0.5 * reach_mm, DEEP_MM), DEEP * reach_mm, deep_mm, LEAST_MM)
    low, high = scene.boxes(rotation, origin_mm)
    pairs = scene.pairs(low, high, reach_mm)
    standing = scene.placed.at(rotation, origin_mm)
    query = Query(reach_mm, deep, slack_rad, max(reach_mm, -deep))
    rows = _run_query(_rows_of, standing, low, high, pairs, query)
    rows = rows.where(~superseded(standing, rows))
    if not any(one.smooth for one in scene.features):
        return rows
    return joined((rows, smooth_rows(scene, rotation, origin_mm, pairs, query)))


class Between:
    """Two placed solids, of which the second is looked at wherever it is shifted to.

    Parameters
    ----------
    a, b : Placed
        Body 0 and body 1 of the rows.
    """

    def __init__(self, a: Placed, b: Placed) -> None:
        self._scene = ProximityScene([features_of(a.solid), features_of(b.solid)], [False, True])
        poses = np.array([matrix_of(a.at), matrix_of(b.at)])
        self._rotation, self._origin_mm = poses[:, :3, :3].copy(), poses[:, :3, 3].copy()

    def rows(self, shift_mm: Floats, reach_mm: float, deep_mm: float = 0.0) -> Candidates:
        """Return every place where the two might touch, to rounding, with the second shifted (3,).

        Parameters
        ----------
        shift_mm : ndarray, shape (3,)
            Shift of the second solid from its place, in the machine's frame.
        reach_mm : float
            Gaps up to this are reported.
        deep_mm : float
            Overlaps down to this are reported, and always down to what goes with the reach.
        """
        origin_mm = self._origin_mm + np.stack((np.zeros(3), shift_mm))
        return find_candidates(self._scene, self._rotation, origin_mm, reach_mm, _NO_TURN_RAD, deep_mm)


def packed(table: FoundRows) -> Candidates:
    """Return the rows of a table.

    Parameters
    ----------
    table : FoundRows
        Its arrays may have room for more rows than it counts.

    Returns
    -------
    Candidates
        The rows that it counts.
    """
    numbers, names = table.numbers[: table.rows], table.names[: table.rows]
    gap, normal, place = numbers[:, 0], numbers[:, 1:4], numbers[:, 4:7]
    return seen_from_a(gap, normal, place, names)


def _run_query(find: Callable[..., FoundRows], *question: Any) -> Candidates:
    """Return what a compiled loop finds, in as much room as it needs."""
    room = ROOM
    while True:
        table = find(*question, FoundRows(np.empty((room, 7)), np.empty((room, 4), dtype=np.int64), 0))
        if table.rows <= room:
            return packed(table)
        room = table.rows


@compiled
def _rows_of(
    standing: Bodies, low_mm: Floats, high_mm: Floats, pairs: Ints, query: Query, table: FoundRows
) -> FoundRows:
    """Return every row between pairs (n, 2) of bodies with boxes `low_mm` to `high_mm`."""
    away_mm = query.away_mm
    corners, edges, planes, circles, capsules, concave_cones, concave_tori, convex_cones = standing
    for k in range(len(pairs)):
        for turn in range(2):
            a, b = pairs[k, turn], pairs[k, 1 - turn]
            box_a, box_b = (low_mm[a], high_mm[a]), (low_mm[b], high_mm[b])
            corners_a = a, _near_box(corners.first, corners.middle_mm, corners.ball_mm, a, box_b, away_mm)
            edges_b = b, _near_box(edges.first, edges.middle_mm, edges.ball_mm, b, box_a, away_mm)
            planes_b = b, _near_box(planes.first, planes.middle_mm, planes.ball_mm, b, box_a, away_mm)
            table = corners_over_faces(corners, planes, corners_a, planes_b, query, table)
            table = corners_beside_edges(corners, edges, corners_a, edges_b, query, table)
            corners_b = b, _near_box(corners.first, corners.middle_mm, corners.ball_mm, b, box_a, away_mm)
            if turn == 0:
                edges_a = a, _near_box(edges.first, edges.middle_mm, edges.ball_mm, a, box_b, away_mm)
                table = edges_across(edges, edges_a, edges_b, query, table)
                table = corners_beside_corners(corners, corners_a, corners_b, query, table)
            cones_b = (
                b,
                _near_box(
                    concave_cones.first, concave_cones.middle_mm, concave_cones.ball_mm, b, box_a, away_mm
                ),
            )
            table = corners_in_concave_cones(corners, concave_cones, corners_a, cones_b, query, table)
            tori_b = (
                b,
                _near_box(
                    concave_tori.first, concave_tori.middle_mm, concave_tori.ball_mm, b, box_a, away_mm
                ),
            )
            table = corners_in_concave_tori(corners, concave_tori, corners_a, tori_b, query, table)
            circles_a = a, _near_box(circles.first, circles.middle_mm, circles.ball_mm, a, box_b, away_mm)
            table = circles_over_faces(circles, planes, circles_a, planes_b, query, table)
            table = level_tori_over_faces(circles, planes, circles_a, planes_b, query, table)
            table = circles_in_concave_cones(circles, concave_cones, circles_a, cones_b, query, table)
            table = circles_in_concave_tori(circles, concave_tori, circles_a, tori_b, query, table)
            capsules_a = a, _near_box(capsules.first, capsules.middle_mm, capsules.ball_mm, a, box_b, away_mm)
            capsules_b = b, _near_box(capsules.first, capsules.middle_mm, capsules.ball_mm, b, box_a, away_mm)
            table = capsules_over_edges(capsules, edges, capsules_a, edges_b, query, table)
            table = capsules_over_corners(capsules, corners, capsules_a, corners_b, query, table)
            table = capsules_over_capsules(capsules, capsules_a, capsules_b, query, table)
            cones_a = (
                a,
                _near_box(
                    convex_cones.first, convex_cones.middle_mm, convex_cones.ball_mm, a, box_b, away_mm
                ),
            )
            table = convex_cones_over_corners(convex_cones, corners, cones_a, corners_b, query, table)
            table = convex_cones_over_edges(convex_cones, edges, cones_a, edges_b, query, table)
    return table


@compiled
def _near_box(
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
