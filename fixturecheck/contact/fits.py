"""Which features of two solids could ever touch, given roughly how the solids are turned to each other.

A corner only meets a face that looks at it, an edge only an edge that it can cross outside both solids. That
depends on directions alone, so neighbours alike are asked once, and once for all the looks at them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.kernel.features import Features

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
Pairs = tuple[Ints, Ints]

GRID = 0.05
"""Turns whose matrices agree this well are taken as alike."""
TURNS_RAD = 0.02
"""How far a body may turn before its pairs are listed anew."""
SLACK_RAD = 0.2
"""Most slack that a look asks for."""
AWAY_RAD = 1.5 * 2.0**0.5 * GRID + 2.0 * TURNS_RAD
"""How far the solids may be turned from where they were when this was asked: see `FitStore.of`."""
ROOM = SLACK_RAD + AWAY_RAD + 0.01
SHARES = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
MOST = 256


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fits:
    """Pairs of features of two solids, numbers in each solid's own lists.

    `corner_face` and `corner_edge` are of the first solid's corners, `face_corner` and `edge_corner` of the
    second's.
    """

    corner_face: Pairs
    face_corner: Pairs
    edge_edge: Pairs
    corner_edge: Pairs
    edge_corner: Pairs
    corner_corner: Pairs


class FitStore:
    """What was asked before, by the two solids and how they are turned to each other."""

    def __init__(self) -> None:
        self.known: dict[tuple[object, ...], tuple[Features, Features, Fits]] = {}

    def of(self, first: Features, second: Features, turn: Floats) -> Fits:
        """Return the pairs of two solids that could touch.

        Parameters
        ----------
        turn : ndarray, shape (3, 3)
            The second's directions in the first's frame. Two turns under the same key differ by at most
            `GRID` in each of nine numbers, so by 1.5 sqrt 2 `GRID` in radians.
        """
        key = id(first), id(second), *np.round(turn / GRID).astype(int).ravel().tolist()
        if key not in self.known:
            if len(self.known) >= MOST:
                self.known.clear()
            # The solids' features are kept too, so that their numbers stay theirs.
            self.known[key] = first, second, _fits(first, second, turn)
        return self.known[key][2]


def _fits(a: Features, b: Features, turn: Floats) -> Fits:
    """Ask about all pairs of features of two solids."""
    cones, faces = b.cones @ turn.T, b.planes[:, 1] @ turn.T
    corner_edge = _corners_fit_edges(a.cones, b.edge_normals @ turn.T)
    edge_corner = _corners_fit_edges(cones, a.edge_normals)
    across = _edges_fit((_along(a), a.leaves), (_along(b) @ turn.T, b.leaves @ turn.T))
    return Fits(
        corner_face=_pairs(_corners_fit_faces(a.cones, faces)),
        face_corner=_pairs(_corners_fit_faces(cones, a.planes[:, 1]).T),
        edge_edge=_pairs(across),
        corner_edge=_pairs(corner_edge),
        edge_corner=_pairs(edge_corner.T),
        corner_corner=_pairs(np.ones((len(a.cones), len(cones)), dtype=bool)),
    )


def _pairs(mask: Mask) -> Pairs:
    i, j = np.nonzero(mask)
    return i, j


def _along(one: Features) -> Floats:
    """Return unit directions of edges."""
    along = one.edges_mm[:, 1] - one.edges_mm[:, 0]
    return np.asarray(along / np.linalg.norm(along, axis=1)[:, None])


def _least(cones: Floats, directions: Floats) -> Floats:
    """Return the least of each cone's directions along each direction, shape (n, m)."""
    count, wide = cones.shape[:2]
    along = (cones.reshape(-1, 3) @ directions.T).reshape(count, wide, len(directions))
    return np.asarray(along.min(axis=1, initial=0.0))


def _corners_fit_faces(cones: Floats, normals: Floats) -> Mask:
    """Tell which corners' solids stay above which faces, shape (corners, faces)."""
    return np.asarray(_least(cones, normals) >= -ROOM)


def _corners_fit_edges(cones: Floats, normals: Floats) -> Mask:
    """Tell which corners could stand off which edges, in some direction between its two faces."""
    if len(normals) == 0 or len(cones) == 0:
        return np.zeros((len(cones), len(normals)), dtype=bool)
    between = normals[:, :1] + SHARES[None, :, None] * (normals[:, 1:] - normals[:, :1])
    length = np.linalg.norm(between, axis=2)
    between = between / np.maximum(length, 1e-12)[:, :, None]
    # Directions between two samples are within half the largest step of one; faces back to back have none.
    cosine = np.einsum("nki,nki->nk", between[:, 1:], between[:, :-1]).min(axis=1)
    step = 0.5 * np.arccos(np.clip(cosine, -1.0, 1.0))
    slack = np.where(length.min(axis=1) < 1e-3, np.inf, ROOM + step)
    least = _least(cones, between.reshape(-1, 3)).reshape(len(cones), -1, len(SHARES)).max(axis=2)
    return np.asarray(least >= -slack)


def _edges_fit(a: tuple[Floats, Floats], b: tuple[Floats, Floats]) -> Mask:
    """Tell which edges could cross outside both solids, shape (edges of a, edges of b)."""
    along_a, leaves_a = a
    along_b, leaves_b = b
    normal = np.cross(along_a[:, None], along_b[None])
    sine = np.linalg.norm(normal, axis=2)
    normal /= np.maximum(sine, 1e-12)[:, :, None]
    # The common normal turns by the turn over the sine, to first order; near-parallel edges are all kept.
    slack = np.where(sine < 0.3, np.inf, ROOM + 1.3 * AWAY_RAD / np.maximum(sine, 0.3))
    on_a = np.einsum("nki,nmi->nmk", leaves_a, normal)
    on_b = np.einsum("mki,nmi->nmk", leaves_b, normal)
    low_a, high_a, low_b, high_b = on_a.min(axis=2), on_a.max(axis=2), on_b.min(axis=2), on_b.max(axis=2)
    crosses = ((low_a >= -slack) & (high_b <= slack)) | ((high_a <= slack) & (low_b >= -slack))
    return np.asarray(crosses)
