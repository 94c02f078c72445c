"""Where a tool may stand at the rim of a level face: the corners of an outline round it, and few of them.

What holds at all corners of an outline holds between them, since a load that moves changes its moments in
proportion. So an outline that is a little too large errs on the safe side, and one that is far too large, as
the box round an L, loads a part where there is none of it.
"""

from __future__ import annotations

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.hull import convex_hull, hull_corners
from fixturecheck.kernel.brep.topology import edges_of
from fixturecheck.kernel.sample import edge_points
from fixturecheck.kernel.shapes import Shape

MOST_CORNERS, MORE_SHARE = 6, 0.02
"""How many corners are tried at most, and how much larger an outline of fewer may be than the face."""
_ON_EDGE = 25


def rim_points(shape: Shape) -> Floats:
    """Return points (n, 3) all along the edges of a face or solid, corners among them."""
    return np.concatenate([edge_points(e, _ON_EDGE) for e in edges_of(shape)])


def corners_round(points: Floats) -> Floats:
    """Return the corners of a convex outline round points, few of them.

    Edges are left out, and those beside them go on until they meet, as long as that adds little; beyond that
    until there are few enough.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Points of a face, mm.

    Returns
    -------
    ndarray, shape (m, 2)
        By X, then by Y; two where the points lie on a line, one where they are one.

    References
    ----------
    Closed form: where two lines meet.
    """
    corners = hull_corners(np.round(points, 9))
    spare_mm2 = MORE_SHARE * float(convex_hull(corners).area)
    while len(corners) > 3:
        meets, added_mm2 = _beyond_edges(corners)
        least = int(np.argmin(np.round(added_mm2, 6)))
        spare_mm2 -= added_mm2[least]
        if not np.isfinite(added_mm2[least]) or (spare_mm2 < 0.0 and len(corners) <= MOST_CORNERS):
            break
        corners[least] = meets[least]
        corners = np.delete(corners, (least + 1) % len(corners), axis=0)
    return corners[np.lexsort(corners.T[::-1])]


def _beyond_edges(corners: Floats) -> tuple[Floats, Floats]:
    """Return where the edges beside each edge meet beyond it, and the area between; none is infinite."""
    before, first, second, after = (np.roll(corners, shift, axis=0) for shift in (1, 0, -1, -2))
    onward, back, edge = first - before, second - after, second - first
    turn = onward[:, 0] * back[:, 1] - onward[:, 1] * back[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (edge[:, 0] * back[:, 1] - edge[:, 1] * back[:, 0]) / turn
        meets = first + share[:, None] * onward
        area = 0.5 * np.abs(edge[:, 0] * (meets - first)[:, 1] - edge[:, 1] * (meets - first)[:, 0])
        beyond = np.sum((meets - second) * back, axis=1)
    met = (np.abs(turn) > 1e-9) & (share >= 0.0) & (beyond >= 0.0)
    return meets, np.where(met, area, np.inf)
