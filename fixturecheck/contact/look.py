"""One look at the scene: all candidates of all kinds within reach at given poses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Candidates, Scene, joined
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
    return joined([one for one in found if len(one.gap_mm)])
