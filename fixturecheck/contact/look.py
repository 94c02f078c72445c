"""One look at the scene: all candidates of all kinds within reach at given poses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import RIM_MM, Candidates, Scene, joined
from fixturecheck.contact.curved import (
    corners_in_hollows,
    hoops_in_hollows,
    hoops_over_faces,
    spines_over_corners,
    spines_over_edges,
    spines_over_spines,
)
from fixturecheck.contact.sharp import (
    Look,
    corners_beside_corners,
    corners_beside_edges,
    corners_over_faces,
    edges_across,
)

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SHARP = (corners_over_faces, edges_across, corners_beside_edges, corners_beside_corners)
CURVED = (
    hoops_over_faces,
    spines_over_edges,
    spines_over_corners,
    spines_over_spines,
    hoops_in_hollows,
    corners_in_hollows,
)


def find_candidates(
    scene: Scene, rotation: Floats, origin_mm: Floats, reach_mm: float, slack_rad: float
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
    """
    look = Look(scene, rotation, origin_mm, reach_mm, slack_rad)
    found = [finder(look) for finder in SHARP]
    if scene.round.any:
        found += [rows for finder in CURVED if (rows := finder(look)) is not None]
    rows = joined([one for one in found if len(one.gap_mm)])
    return rows.where(~_cleared(scene, look, rows))


def _cleared(scene: Scene, look: Look, rows: Candidates) -> Mask:
    """Tell which overlapping rows another row clears.

    A corner a hair below the rim of a wall is behind the wall's top and far behind its side. It is out of
    the wall as soon as it is above the top, because the side lies wholly below the top; so the side is void.
    Where the two faces meet in an inside corner neither lies behind the other and both rows stand.
    """
    void = np.zeros(len(rows.gap_mm), dtype=bool)
    for i in np.flatnonzero(rows.gap_mm < -RIM_MM):
        same = (rows.body_a == rows.body_a[i]) & (rows.body_b == rows.body_b[i])
        near = np.linalg.norm(rows.point_a_mm - rows.point_a_mm[i], axis=1) <= -2.0 * rows.gap_mm[i]
        rivals = np.flatnonzero(same & near & (rows.gap_mm > rows.gap_mm[i]))
        if len(rivals) == 0:
            continue
        corners = _corners(scene, look, int(rows.body_b[i]), int(rows.face_b[i]))
        normal, origin = rows.normal[rivals], rows.point_b_mm[rivals]
        front = np.einsum("ni,ni->n", rows.point_a_mm[i] - origin, normal)
        highest = (corners @ normal.T - np.einsum("ni,ni->n", origin, normal)).max(axis=0)
        void[i] = bool(np.any((highest <= RIM_MM) & (front >= rows.gap_mm[rivals] - RIM_MM)))
    return void


def _corners(scene: Scene, look: Look, body: int, face: int) -> Floats:
    """Return the corners of a face in the machine's frame; of the whole body's where it is curved."""
    part = slice(scene.point_from[body], scene.point_from[body + 1])
    mine = np.any(scene.point_faces[part] == face, axis=1)
    return look.world.points[part][mine] if np.any(mine) else look.world.points[part]
