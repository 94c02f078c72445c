"""Which overlaps are told twice: a body is out of one face as soon as it is clear of another.

A corner a hair below the rim of a wall is behind the wall's top and far behind its side. It is out of the
wall as soon as it is above the top, because the side lies wholly below the top; so the side's row is void.
Where the two faces meet in an inside corner neither lies behind the other and both rows stand.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fixturecheck.compiled import cell, compiled, dot, length, minus, row, times
from fixturecheck.contact.candidates import Candidates
from fixturecheck.contact.posed import Bodies, Corners
from fixturecheck.contact.sharp import RIM_MM

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


class Rows(NamedTuple):
    """Candidates for the loops: `places_mm` (n, 2, 3) and `names` (n, 4), body and face, of either body."""

    gap_mm: Floats
    normal: Floats
    places_mm: Floats
    names: Ints


def cleared(standing: Bodies, rows: Candidates) -> Mask:
    """Tell which overlapping rows another row of the same two bodies makes void.

    Parameters
    ----------
    standing : Bodies
        The bodies' features where they stand.
    rows : Candidates
        All rows of a look.

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
    return cleared_of(standing.corners, both, (deep, starts, stops, order), void)


@compiled
def cleared_of(corners: Corners, rows: Rows, asked: tuple[Ints, Ints, Ints, Ints], void: Mask) -> Mask:
    """Mark void rows; `asked` has the deep ones, and where in order the rows of their bodies start and stop.

    Either body of a row may have the corner and the other the wall, so each row is read both ways.
    """
    deep, starts, stops, order = asked
    for k in range(len(deep)):
        i = deep[k]
        for side in range(2):
            wall, face = rows.names[i, 2 - 2 * side], rows.names[i, 3 - 2 * side]
            around = corners_of(corners, wall, face)
            if len(around) == 0:  # round all over: nothing says that it lies below
                continue
            for rank in range(starts[k], stops[k]):
                if not void[i] and clears(corners, around, rows, order[rank], i, side):
                    void[i] = True
    return void


@compiled
def clears(corners: Corners, around: Ints, rows: Rows, j: int, i: int, side: int) -> bool:
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
def corners_of(corners: Corners, body: int, face: int) -> Ints:
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
