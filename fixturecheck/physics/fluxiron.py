"""The scalar potential inside one iron body: second-order tetrahedra and the coenergy of its B-H law."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.bh import BHLaw

Array = NDArray[np.float64]
Index = NDArray[np.int64]

MM = 1e-3

_EDGES = np.array([[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]])
_FACET_EDGES = np.array([[0, 1], [0, 2], [1, 2]])
# Four-point rule, exact to degree two: what a squared gradient of second-order functions needs.
_NEAR, _FAR = 0.5854101966249685, 0.1381966011250105
_POINTS = np.full((4, 4), _FAR) + np.eye(4) * (_NEAR - _FAR)
_CANDIDATES = 16


@dataclass(frozen=True, kw_only=True, eq=False)
class IronBody:
    """A ferromagnetic body as a tetrahedral mesh.

    Parameters
    ----------
    name : str
        Unique in a model.
    points_mm : ndarray, shape (n, 3)
        Mesh vertices, mm.
    tets : ndarray of int, shape (m, 4)
        Vertices of each tetrahedron.
    facets : ndarray of int, shape (k, 3)
        Vertices of each triangle of the surface.
    facet_face : ndarray of int, shape (k,)
        Index of the face of the solid that each triangle lies on.
    law : BHLaw
        Its iron.
    """

    name: str
    points_mm: Array
    tets: Index
    facets: Index
    facet_face: Index
    law: BHLaw

    @cached_property
    def edges(self) -> Index:
        """Vertex pairs that carry a mid-edge unknown, each once, shape (e, 2)."""
        pairs = np.sort(self.tets[:, _EDGES].reshape(-1, 2), axis=1)
        return np.unique(pairs, axis=0)

    @property
    def unknowns(self) -> int:
        """Number of potential unknowns."""
        return len(self.points_mm) + len(self.edges)

    def edge_unknowns(self, vertices: Index, pairs: Index) -> Index:
        """Return the mid-edge unknowns of cells, shape (cells, len(pairs))."""
        count = len(self.points_mm)
        keys = self.edges[:, 0] * count + self.edges[:, 1]
        wanted = np.sort(vertices[:, pairs], axis=2)
        found = np.searchsorted(keys, wanted[..., 0] * count + wanted[..., 1])
        return np.asarray(found + count)

    @cached_property
    def cell_unknowns(self) -> Index:
        """The ten unknowns of each tetrahedron."""
        return np.hstack([self.tets, self.edge_unknowns(self.tets, _EDGES)])

    @cached_property
    def facet_unknowns(self) -> Index:
        """The six unknowns of each surface triangle."""
        return np.hstack([self.facets, self.edge_unknowns(self.facets, _FACET_EDGES)])

    @cached_property
    def gradients(self) -> tuple[Array, Array]:
        """Gradient operators, 1/m, shape (m, 4, 3, 10), and weights, m3, shape (m, 4)."""
        corner = self.points_mm[self.tets] * MM
        jacobian = corner[:, 1:] - corner[:, :1]
        weights = np.abs(np.linalg.det(jacobian)) / 24
        if weights.min() <= 0:
            message = f"body {self.name!r}: its mesh has a flat tetrahedron; mesh it again with another size"
            raise NotComputedError(message)
        inverse = np.linalg.inv(jacobian)
        slope = np.concatenate([-inverse.sum(axis=2, keepdims=True), inverse], axis=2)
        out = np.zeros((len(corner), 4, 3, 10))
        for q, at in enumerate(_POINTS):
            out[:, q, :, :4] = slope * (4 * at - 1)
            for e, (i, j) in enumerate(_EDGES):
                out[:, q, :, 4 + e] = 4 * (at[i] * slope[:, :, j] + at[j] * slope[:, :, i])
        return out, np.repeat(weights[:, None], 4, axis=1)

    def field_a_m(self, potential_a: Array) -> Array:
        """Return the gradient of the potential at the quadrature points, shape (m, 4, 3)."""
        operators, _ = self.gradients
        local = potential_a[self.cell_unknowns]
        return np.asarray(
            np.matmul(operators.reshape(len(local), 12, 10), local[:, :, None]).reshape(-1, 4, 3)
        )

    def coenergy_j(self, potential_a: Array) -> float:
        """Return the coenergy of the body, J."""
        size = np.linalg.norm(self.field_a_m(potential_a), axis=2)
        return float((self.gradients[1] * self.law.coenergy_j_m3(size)).sum())

    def residual_wb(self, potential_a: Array) -> Array:
        """Return the derivative of the coenergy by each unknown, Wb."""
        operators, weights = self.gradients
        field = self.field_a_m(potential_a)
        chord = self.law.chord_h_m(np.linalg.norm(field, axis=2))
        flux = (field * (chord * weights)[..., None]).reshape(len(field), 12, 1)
        local = np.matmul(operators.reshape(len(field), 12, 10).transpose(0, 2, 1), flux)
        cells = self.cell_unknowns.ravel()
        return np.asarray(np.bincount(cells, local.ravel(), minlength=self.unknowns), dtype=np.float64)

    def stiffness(self, potential_a: Array | None, *, field_level_a_m: float = 0.0) -> Array:
        """Return cell matrices, shape (m, 10, 10): tangent at a potential, or chord at one field level."""
        operators, weights = self.gradients
        cells = len(operators)
        if potential_a is None:
            chord = float(self.law.chord_h_m(np.array([field_level_a_m]))[0])
            flux = operators * (chord * weights)[..., None, None]
        else:
            field = self.field_a_m(potential_a)
            size = np.linalg.norm(field, axis=2)
            chord_at = self.law.chord_h_m(size)
            along = field / np.maximum(size, 1e-30)[..., None]
            extra = self.law.slope_h_m(size) - chord_at
            projected = np.matmul(along[:, :, None, :], operators)
            flux = operators * (chord_at * weights)[..., None, None]
            flux += (extra * weights)[..., None, None] * along[..., None] * projected
        left = operators.reshape(cells, 12, 10).transpose(0, 2, 1)
        return np.asarray(np.matmul(left, flux.reshape(cells, 12, 10)))

    def locate(self, points_mm: Array, face: int | None) -> tuple[Index, Array, Array]:
        """Find the surface triangle under each point.

        Parameters
        ----------
        points_mm : ndarray, shape (n, 3)
        face : int or None
            Face of the solid that the points lie on; None searches the whole surface.

        Returns
        -------
        triangle, shares, distance_mm : ndarray, shapes (n,), (n, 3), (n,)
            Index into `facets`, barycentric shares of its vertices, and how far off it the point lay.
        """
        pool = np.arange(len(self.facets)) if face is None else np.flatnonzero(self.facet_face == face)
        if not len(pool):
            message = f"body {self.name!r}: face {face} has no triangle in the mesh"
            raise NotComputedError(message)
        corners = self.points_mm[self.facets[pool]]
        tree = cKDTree(corners.mean(axis=1))
        near = tree.query(points_mm, k=min(_CANDIDATES, len(pool)))[1].reshape(len(points_mm), -1)
        shares = _closest_shares(corners[near], points_mm[:, None, :])
        foot = np.einsum("nki,nkij->nkj", shares, corners[near])
        distance = np.linalg.norm(foot - points_mm[:, None, :], axis=2)
        # Ties on a shared edge must go the same way on every machine.
        best = np.argmin(np.round(distance, 9), axis=1)
        row = np.arange(len(points_mm))
        return pool[near[row, best]], shares[row, best], distance[row, best]


def _closest_shares(corner: Array, point: Array) -> Array:
    """Barycentric shares of the closest point of triangles (..., 3, 3) to points (..., 3)."""
    a, b, c = corner[..., 0, :], corner[..., 1, :], corner[..., 2, :]
    u, v, w = b - a, c - a, point - a
    uu, uv, vv = (u * u).sum(-1), (u * v).sum(-1), (v * v).sum(-1)
    wu, wv = (w * u).sum(-1), (w * v).sum(-1)
    size = np.maximum(uu * vv - uv * uv, 1e-30)
    s, t = (vv * wu - uv * wv) / size, (uu * wv - uv * wu) / size
    inside = np.stack([1 - s - t, s, t], axis=-1)
    best = inside
    ok = (inside >= 0).all(axis=-1)
    least = np.where(ok, 0.0, np.inf)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        start, step = corner[..., i, :], corner[..., j, :] - corner[..., i, :]
        along = np.clip(((point - start) * step).sum(-1) / np.maximum((step * step).sum(-1), 1e-30), 0, 1)
        off = np.linalg.norm(start + along[..., None] * step - point, axis=-1)
        shares = np.zeros_like(inside)
        shares[..., i], shares[..., j] = 1 - along, along
        nearer = ~ok & (off < least)
        best = np.where(nearer[..., None], shares, best)
        least = np.where(nearer, off, least)
    return np.asarray(best)


def trace_shares(shares: Array) -> Array:
    """Second-order shape functions of a triangle at barycentric shares, shape (n, 6)."""
    corner = shares * (2 * shares - 1)
    i, j = _FACET_EDGES.T
    return np.hstack([corner, 4 * shares[:, i] * shares[:, j]])
