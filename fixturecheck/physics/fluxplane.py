"""What the flux does in a plane through the iron: its density at points, and the outlines of the bodies.

The density is the body's law at the gradient of the solved potential; all else is a closed form of geometry.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.physics.fluxiron import MM, IronBody

Array = NDArray[np.float64]

_EDGES = np.array([[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]])
_INSIDE = -1e-9


def flux_density_t(body: IronBody, potential_a: Array, points_mm: Array) -> Array:
    """Return the flux density at points, NaN outside the body.

    Parameters
    ----------
    body : IronBody
        The body.
    potential_a : ndarray, shape (unknowns,)
        The body's part of a solution.
    points_mm : ndarray, shape (n, 3)
        Where it is wanted.

    Returns
    -------
    ndarray, shape (n, 3)
        From north to south, tesla.
    """
    found = np.full((len(points_mm), 3), np.nan)
    corner = body.points_mm[body.tets]
    near = _reached(corner, points_mm)
    corner, unknowns = corner[near], body.cell_unknowns[near]
    if not len(corner):
        return found
    slope = _slopes(corner)
    for i, point in enumerate(points_mm):
        share = np.einsum("tkc,tc->tk", slope, point - corner[:, 0])
        share[:, 0] += 1.0
        cell = int(np.argmax(share.min(axis=1)))
        if share[cell].min() >= _INSIDE:
            field = _gradient(slope[cell], share[cell], potential_a[unknowns[cell]]) / MM
            size = float(np.linalg.norm(field))
            found[i] = -field / max(size, 1e-30) * body.law.flux_density_t(np.array([size]))
    return found


def mean_square_t2(body: IronBody, potential_a: Array) -> Array:
    """Return the square of each component of the flux density, times volume.

    Parameters
    ----------
    body : IronBody
        The body.
    potential_a : ndarray, shape (unknowns,)
        The body's part of a solution.

    Returns
    -------
    ndarray, shape (3,)
        T2 m3.
    """
    corner = body.points_mm[body.tets]
    edge_values = potential_a[body.cell_unknowns[:, 4:]]
    slope = _slopes(corner)
    i, j = _EDGES.T
    # In the middle of a tetrahedron only the mid-edge functions have a gradient.
    field = np.einsum("te,tec->tc", edge_values, slope[:, i] + slope[:, j]) / MM
    size = np.linalg.norm(field, axis=1)
    density = field * (body.law.flux_density_t(size) / np.maximum(size, 1e-30))[:, None]
    volume_m3 = np.abs(np.linalg.det(corner[:, 1:] - corner[:, :1])) / 6.0 * MM**3
    return np.asarray(volume_m3 @ density**2)


def outline_mm(body: IronBody, normal: Array, at_mm: Array) -> Array:
    """Return where a plane cuts the surface of a body.

    Parameters
    ----------
    body : IronBody
        The body.
    normal : ndarray, shape (3,)
        Unit normal of the plane.
    at_mm : ndarray, shape (3,)
        A point of the plane.

    Returns
    -------
    ndarray, shape (n, 2, 3)
        Pieces of the outline by their ends.
    """
    corner = body.points_mm[body.facets]
    # A hair off the plane, so that no corner lies in it.
    height = (corner - at_mm) @ normal + 1.234e-7
    cut = (height.min(axis=1) < 0) & (height.max(axis=1) > 0)
    corner, height = corner[cut], height[cut]
    ends = []
    for i, j in ((0, 1), (1, 2), (2, 0)):
        share = height[:, i] / np.where(height[:, i] == height[:, j], 1.0, height[:, i] - height[:, j])
        point = corner[:, i] + share[:, None] * (corner[:, j] - corner[:, i])
        ends.append(np.where((height[:, i] * height[:, j] < 0)[:, None], point, np.nan))
    all_ends = np.stack(ends, axis=1)
    met = ~np.isnan(all_ends[..., 0])
    return np.asarray(all_ends[met].reshape(-1, 2, 3))


def _reached(corner: Array, points_mm: Array) -> NDArray[np.bool_]:
    """Tell the tetrahedra whose boxes meet the box of the points."""
    low, high = points_mm.min(axis=0) - 1e-9, points_mm.max(axis=0) + 1e-9
    return np.asarray(((corner.max(axis=1) >= low) & (corner.min(axis=1) <= high)).all(axis=1))


def _slopes(corner: Array) -> Array:
    """Return the gradients of the four shares of each tetrahedron, 1/mm, shape (t, 4, 3)."""
    inverse = np.linalg.inv(corner[:, 1:] - corner[:, :1]).transpose(0, 2, 1)
    return np.concatenate([-inverse.sum(axis=1, keepdims=True), inverse], axis=1)


def _gradient(slope: Array, share: Array, value: Array) -> Array:
    """Return the gradient of second-order functions in one tetrahedron, per mm."""
    weight = (4.0 * share - 1.0)[:, None] * slope
    i, j = _EDGES.T
    mixed = 4.0 * (share[i][:, None] * slope[j] + share[j][:, None] * slope[i])
    return np.asarray(value @ np.vstack([weight, mixed]))
