"""Where an edge of one body runs through a flat face of another: bodies that start deep in each other.

Two flat-faced bodies whose borders cross have such a place, since faces cross along lines and lines end at
edges. What is no deeper than `DEEP_MM` is left to the gaps, which tell how to get out of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Candidates, Scene
from fixturecheck.contact.sharp import over

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DEEP_MM = 1.0
INSIDE_MM = 1e-3
"""A place this near to the border of a face is not taken as over it."""


def pierced(scene: Scene, rotation: Floats, origin_mm: Floats) -> Candidates:
    """Return a row for each edge that runs through a flat face of another body, of pairs with one loose.

    Parameters
    ----------
    rotation, origin_mm : ndarray, shape (n, 3, 3) and (n, 3)
        Poses of all bodies.

    Returns
    -------
    Candidates
        Gaps are negative: how far the nearer end of the edge is behind or before the face, mm.
    """
    world = scene.world(rotation, origin_mm)
    edge, plane = _near(scene, rotation, origin_mm, world.edges)
    normal = world.planes[plane, 1]
    ends = world.edges[edge] - world.planes[plane, :1]
    high = np.einsum("nkj,nj->nk", ends, normal)
    through = np.flatnonzero((high.max(axis=1) > DEEP_MM) & (high.min(axis=1) < -DEEP_MM))
    edge, plane, ends, high = edge[through], plane[through], ends[through], high[through]
    share = high[:, :1] / (high[:, :1] - high[:, 1:])
    place = ends[:, 0] + share * (ends[:, 1] - ends[:, 0])
    flat = np.einsum("nkj,nj->nk", world.planes[plane, 2:4], place)
    keep = np.flatnonzero(_well_inside(scene, plane, flat))
    edge, plane, place = edge[keep], plane[keep], place[keep] + world.planes[plane[keep], 0]
    return Candidates(
        gap_mm=-np.abs(high[keep]).min(axis=1),
        normal=world.planes[plane, 1],
        point_a_mm=place,
        point_b_mm=place,
        body_a=world.edge_body[edge],
        body_b=world.plane_body[plane],
        face_a=scene.edge_faces[edge, 0],
        face_b=scene.plane_faces[plane],
    )


def _near(scene: Scene, rotation: Floats, origin: Floats, edges: Floats) -> tuple[Ints, Ints]:
    """Return edges with each flat face of every other body whose box they reach into."""
    low, high = scene.boxes(rotation, origin)
    first, last = edges.min(axis=1), edges.max(axis=1)
    meets = np.all((last[:, None] > low[None]) & (first[:, None] < high[None]), axis=2)
    own = scene.edge_body
    meets &= (scene.loose[own][:, None] | scene.loose[None]) & (own[:, None] != np.arange(len(low)))
    edge, body = np.nonzero(meets)
    many = scene.plane_from[body + 1] - scene.plane_from[body]
    owner = np.repeat(np.arange(len(edge)), many)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(many) - many, many)
    return edge[owner], scene.plane_from[body][owner] + rank


def _well_inside(scene: Scene, plane: Ints, flat: Floats) -> NDArray[np.bool_]:
    """Tell which places, in their planes' coordinates, lie over the face and not near its border."""
    inside = np.ones(len(flat), dtype=bool)
    for shift in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        inside &= over(scene, plane, flat + INSIDE_MM * np.array(shift, dtype=float))
    return inside
