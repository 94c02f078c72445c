"""Where a patch carries: the middles of small cells all over it, its rim, and its outermost corners.

A cell stands for its area at its centroid. Friction against a motion is the integral of pressure times speed,
and the speed of a rigid motion is convex over the cell: taken at the centroid it comes out low (Jensen), so
that finer cells only raise what a face is found to bear. Rim and corners take a trifle of the load until the
part tips, and then carry it about the true edge and the true corner.
"""

from __future__ import annotations

from typing import cast

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.contact.model import Patch
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.topology import edges_of
from fixturecheck.kernel.measure import edge_length_mm, is_straight
from fixturecheck.kernel.sample import edge_points, triangles_of
from fixturecheck.kernel.shapes import Shape
from fixturecheck.result import ContactKind

Floats = NDArray[np.float64]
Part = tuple[Floats, Floats, float]
"""Points, what each counts among them, and what share of the patch they stand for together."""

LEAST_CELLS = 2
"""Cells along either side of the smallest face, and along the shortest line."""
RIM_SHARE, CORNER_SHARE = 4e-3, 4e-5
"""Of a patch, what its rim and its outermost points stand for: enough to tip about, too little to turn on."""
_DIRECTIONS = 8
_ROUND_PIECES = 8
_SLIVER_SHARE, _SAME_SHARE = 1e-7, 1e-9


def points_of(patch: Patch, cell_mm: float) -> tuple[Floats, Floats]:
    """Return points that stand for a patch, shape (n, 3), and the share of it that each stands for.

    Parameters
    ----------
    cell_mm : float
        Largest side of a cell.

    Raises
    ------
    NotComputedError
        The patch has no extent.
    """
    if patch.contact.kind == ContactKind.POINT:
        return np.array([patch.contact.centroid]), np.ones(1)
    parts = _along(patch, cell_mm) if patch.contact.kind == ContactKind.LINE else _over(patch, cell_mm)
    if not all(float(size.sum()) > 0.0 for _, size, _ in parts):
        message = f"{patch.contact.a} on {patch.contact.b}: the patch has no extent to carry on"
        raise NotComputedError(message)
    shares = np.concatenate([part * size / size.sum() for _, size, part in parts])
    return np.vstack([points for points, _, _ in parts]), shares / shares.sum()


def _along(patch: Patch, cell_mm: float) -> list[Part]:
    """Return the pieces of a line and its ends."""
    middles, lengths, chain = _pieces(patch, cell_mm)
    return [(middles, lengths, 1.0), (chain, np.ones(len(chain)), CORNER_SHARE)]


def _over(patch: Patch, cell_mm: float) -> list[Part]:
    """Return the cells of a face, the pieces of its rim that it can tip about, and its corners."""
    across = _in_plane(np.array(patch.contact.normal))
    middles, areas = cells(triangles_of(cast("Shape", patch.shape.geometry)), across, cell_mm)
    rim, lengths, chain = _pieces(patch, cell_mm)
    hull = shapely.MultiPoint(chain @ across.T).convex_hull
    off_mm = shapely.distance(hull.boundary, shapely.points(rim @ across.T))
    outer = off_mm < _SAME_SHARE * hull.length
    corners = outermost(chain, across)
    found = [(middles, areas, 1.0), (corners, np.ones(len(corners)), CORNER_SHARE)]
    # Feet that stand apart may have no edge on the hull.
    return [*found, (rim[outer], lengths[outer], RIM_SHARE)] if outer.any() else found


def _pieces(patch: Patch, cell_mm: float) -> tuple[Floats, Floats, Floats]:
    """Return the middles and the lengths of the pieces of all edges of a patch, and where pieces end."""
    middles, lengths, ends = [], [], []
    for edge in edges_of(cast("Shape", patch.shape.geometry)):
        straight = is_straight(edge)
        least = LEAST_CELLS if straight else _ROUND_PIECES
        chain = edge_points(edge, 1 + max(least, _count(edge_length_mm(edge), cell_mm)))
        middles.append(0.5 * (chain[:-1] + chain[1:]))
        lengths.append(np.linalg.norm(np.diff(chain, axis=0), axis=1))
        ends.append(chain[[0, -1]] if straight else chain)
    return np.vstack(middles), np.concatenate(lengths), np.unique(np.round(np.vstack(ends), 9), axis=0)


def cells(triangles: Floats, across: Floats, cell_mm: float) -> tuple[Floats, Floats]:
    """Return the centroid of each cell of a face, shape (n, 3), and its area as seen, shape (n,).

    Parameters
    ----------
    triangles : ndarray, shape (m, 3, 3)
        The face.
    across : ndarray, shape (2, 3)
        Two directions square to each other along which it is cut up; it is seen square to both.
    cell_mm : float
        Largest side of a cell.
    """
    flat = triangles @ across.T
    sides = flat[:, 1:] - flat[:, :1]
    wide = np.abs(np.linalg.det(sides))
    triangles, flat = triangles[wide > _SLIVER_SHARE * wide.max()], flat[wide > _SLIVER_SHARE * wide.max()]
    low, high = flat.min(axis=(0, 1)), flat.max(axis=(0, 1))
    counts = [max(LEAST_CELLS, _count(side, cell_mm)) for side in high - low]
    lines = [np.linspace(a, b, n + 1) for a, b, n in zip(low, high, counts, strict=True)]
    left, lower = (g.ravel() for g in np.meshgrid(lines[0][:-1], lines[1][:-1], indexing="ij"))
    right, upper = (g.ravel() for g in np.meshgrid(lines[0][1:], lines[1][1:], indexing="ij"))
    boxes, seen = shapely.box(left, lower, right, upper), shapely.polygons(flat)
    of_box, of_triangle = shapely.STRtree(seen).query(boxes, predicate="intersects")
    pieces = shapely.intersection(boxes[of_box], seen[of_triangle])
    area = shapely.area(pieces)
    kept = area > _SLIVER_SHARE * float(area.sum())
    area, of_box, of_triangle = area[kept], of_box[kept], of_triangle[kept]
    at = _lifted(shapely.get_coordinates(shapely.centroid(pieces[kept])), flat, triangles, of_triangle)
    total = np.bincount(of_box, area, minlength=len(boxes))
    moment = np.stack([np.bincount(of_box, area * x, minlength=len(boxes)) for x in at.T], axis=1)
    filled = total > 0.0
    return np.asarray(moment[filled] / total[filled, None]), np.asarray(total[filled], dtype=float)


def _lifted(seen: Floats, flat: Floats, triangles: Floats, which: NDArray[np.int64]) -> Floats:
    """Return the places on triangles that are seen at these places in the plane."""
    base, sides = flat[which, 0], flat[which, 1:] - flat[which, :1]
    share = np.linalg.solve(sides.transpose(0, 2, 1), (seen - base)[:, :, None])
    edges = triangles[which, 1:] - triangles[which, :1]
    return np.asarray(triangles[which, 0] + (share * edges).sum(axis=1))


def outermost(points: Floats, across: Floats) -> Floats:
    """Return the points that lie farthest out in a few directions in the plane, each once."""
    # Not square to the edges of a plain face, along which all points would be as far out.
    angles = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS + 0.1
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1) @ across
    return points[sorted({int(i) for i in np.argmax(points @ ways.T, axis=0)})]


def _in_plane(normal: Floats) -> Floats:
    """Return two directions square to a normal and to each other, along the machine's axes where it is."""
    helper = np.eye(3)[int(np.argmin(np.abs(normal)))]
    first = np.cross(normal, helper)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(normal, first)])


def _count(side_mm: float, cell_mm: float) -> int:
    """Return how many cells a side takes; what is over by rounding needs none of its own."""
    return int(np.ceil(side_mm / cell_mm - 1e-6))
