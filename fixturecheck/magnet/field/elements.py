"""The scalar potential inside iron: second-order tetrahedra, and the flux density in a plane through them.

The flux density is the body's law at the gradient of the solved potential; all else is a closed form of
geometry.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import cKDTree

from fixturecheck.arrays import Floats, Ints
from fixturecheck.errors import NotComputedError
from fixturecheck.magnet.field.bh import BHLaw
from fixturecheck.magnet.field.iron_loops import EDGES, add_iron, iron_state
from fixturecheck.magnet.field.sweep_loops import Places

MM = 1e-3

# Entries of the lower half of the matrix of a tetrahedron, row by row.
_LOWER = np.tril_indices(10)
_FACET_EDGES = np.array([[0, 1], [0, 2], [1, 2]])
_NO_BEND, _NO_FIELD = np.empty((0, 0)), np.empty((0, 0, 0))
_CANDIDATES = 16
# How many meshes a process keeps the net of, and how many faces with points under which triangles were found.
_MOST_NETS, _MOST_LOCATED = 12, 512


@dataclass(frozen=True, kw_only=True, eq=False)
class ElementNet:
    """How the elements of a mesh hang together, wherever their vertices lie.

    Parameters
    ----------
    vertices : int
        How many there are.
    tets, facets : ndarray of int, shapes (m, 4) and (k, 3)
        As `IronBody` has them.
    """

    vertices: int
    tets: Ints
    facets: Ints

    @cached_property
    def edges(self) -> Ints:
        """Vertex pairs that carry a mid-edge unknown, each once, shape (e, 2)."""
        pairs = np.sort(self.tets[:, EDGES].reshape(-1, 2), axis=1)
        return np.unique(pairs, axis=0)

    @property
    def unknowns(self) -> int:
        """Number of potential unknowns."""
        return self.vertices + len(self.edges)

    def _edge_unknowns(self, cells: Ints, pairs: Ints) -> Ints:
        """Return the mid-edge unknowns of cells, shape (cells, len(pairs))."""
        keys = self.edges[:, 0] * self.vertices + self.edges[:, 1]
        wanted = np.sort(cells[:, pairs], axis=2)
        found = np.searchsorted(keys, wanted[..., 0] * self.vertices + wanted[..., 1])
        return np.asarray(found + self.vertices)

    @cached_property
    def cell_unknowns(self) -> Ints:
        """The ten unknowns of each tetrahedron."""
        return np.hstack([self.tets, self._edge_unknowns(self.tets, EDGES)])

    @cached_property
    def facet_unknowns(self) -> Ints:
        """The six unknowns of each surface triangle."""
        return np.hstack([self.facets, self._edge_unknowns(self.facets, _FACET_EDGES)])

    @cached_property
    def pattern(self) -> tuple[Ints, Ints, Ints]:
        """Where cell matrices go in the lower half of a matrix, rows sorted: slot, columns, row starts."""
        one, other = self.cell_unknowns[:, _LOWER[0]], self.cell_unknowns[:, _LOWER[1]]
        keys = (np.maximum(one, other) * self.unknowns + np.minimum(one, other)).ravel()
        order = np.argsort(keys, kind="stable")
        first = np.concatenate([[True], np.diff(keys[order]) > 0])
        slot = np.empty(len(keys), dtype=np.int64)
        slot[order] = np.cumsum(first) - 1
        rows, columns = np.divmod(keys[order][first], self.unknowns)
        starts = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=self.unknowns))])
        return slot, columns, starts

    @cached_property
    def from_corners(self) -> sparse.csr_matrix:
        """Takes a potential at the vertices alone, linear in each tetrahedron, to all unknowns."""
        count, more = self.vertices, len(self.edges)
        rows = np.concatenate([np.arange(count), np.repeat(np.arange(count, count + more), 2)])
        cols = np.concatenate([np.arange(count), self.edges.ravel()])
        values = np.concatenate([np.ones(count), np.full(2 * more, 0.5)])
        return sparse.csr_matrix((values, (rows, cols)), shape=(count + more, count))


# The poles of a magnet are one mesh, and an edit leaves most meshes as they were.
@lru_cache(maxsize=_MOST_NETS)
def _net_of(vertices: int, tets: bytes, facets: bytes) -> ElementNet:
    """Return the net of elements, made once in a process."""
    cells, triangles = (np.frombuffer(each, np.int64).reshape(-1, n) for each, n in ((tets, 4), (facets, 3)))
    return ElementNet(vertices=vertices, tets=cells, facets=triangles)


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
    points_mm: Floats
    tets: Ints
    facets: Ints
    facet_face: Ints
    law: BHLaw

    def of(self, law: BHLaw) -> IronBody:
        """Return the same mesh of other iron; what is known of the mesh goes along."""
        twin = replace(self, law=law)
        twin.__dict__.update(net=self.net, slopes=self.slopes)
        return twin

    @cached_property
    def net(self) -> ElementNet:
        """How its elements hang together."""
        tets, facets = (np.asarray(each, dtype=np.int64).tobytes() for each in (self.tets, self.facets))
        return _net_of(len(self.points_mm), tets, facets)

    @property
    def unknowns(self) -> int:
        """Number of potential unknowns."""
        return self.net.unknowns

    @cached_property
    def slopes(self) -> tuple[Floats, Floats]:
        """Gradients of the linear functions, 1/m, shape (m, 4, 3), and quarters of the volumes, m3, (m,)."""
        corner = self.points_mm[self.tets] * MM
        jacobian = corner[:, 1:] - corner[:, :1]
        quarter = np.abs(np.linalg.det(jacobian)) / 24
        if quarter.min() <= 0:
            raise NotComputedError(
                f"body {self.name!r}: its mesh has a flat tetrahedron; mesh it again with another size"
            )
        inverse = np.linalg.inv(jacobian).transpose(0, 2, 1)
        return np.concatenate([-inverse.sum(axis=1, keepdims=True), inverse], axis=1), quarter

    def at(self, potential_a: Floats) -> IronState:
        """Return the body's iron under a potential."""
        return IronState(self, potential_a)

    def add_chords(self, field_level_a_m: float, slots: Places, data: Floats) -> None:
        """Add the matrix with the iron at the chord of one field level; see `IronState.add_to`.

        Parameters
        ----------
        field_level_a_m : float
            The field at which the chord of the law is taken, the same all through the body.
        slots : ndarray of uint32, shape (m, 55)
            Where each entry of the lower half of the matrix of a tetrahedron goes.
        data : ndarray
            The entries of the lower half of the whole matrix; changed in place.
        """
        slope, quarter = self.slopes
        chord = self.law.chord_h_m(np.full((len(quarter), 4), field_level_a_m))
        add_iron(slope, quarter, chord, _NO_BEND, _NO_FIELD, slots, data)

    def locate(self, points_mm: Floats, face: int | None) -> tuple[Ints, Floats, Floats]:
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
            raise NotComputedError(f"body {self.name!r}: face {face} has no triangle in the mesh")
        corners = self.points_mm[self.facets[pool]]
        triangle, shares, distance = _located(corners.tobytes(), np.asarray(points_mm, dtype=float).tobytes())
        return pool[triangle], shares, distance


# A field asks for the places of its model; after an edit most of them are those of before.
@lru_cache(maxsize=_MOST_LOCATED)
def _located(triangles: bytes, points: bytes) -> tuple[Ints, Floats, Floats]:
    """Find the triangle under each point, its shares there and how far off it is."""
    corners, points_mm = np.frombuffer(triangles).reshape(-1, 3, 3), np.frombuffer(points).reshape(-1, 3)
    tree = cKDTree(corners.mean(axis=1))
    near = tree.query(points_mm, k=min(_CANDIDATES, len(corners)))[1].reshape(len(points_mm), -1)
    shares = _closest_shares(corners[near], points_mm[:, None, :])
    foot = np.einsum("nki,nkij->nkj", shares, corners[near])
    distance = np.linalg.norm(foot - points_mm[:, None, :], axis=2)
    # Ties on a shared edge must go the same way on every machine.
    best = np.argmin(np.round(distance, 9), axis=1)
    row = np.arange(len(points_mm))
    return near[row, best], shares[row, best], distance[row, best]


class IronState:
    """One body's iron under a potential; the field is worked out once.

    Parameters
    ----------
    body : IronBody
    potential_a : ndarray, shape (unknowns,)
    """

    def __init__(self, body: IronBody, potential_a: Floats) -> None:
        self._body = body
        slope, quarter = body.slopes
        self._field_a_m, self._chord_h_m, self._extra = (
            np.empty(shape) for shape in ((len(quarter), 4, 3), (len(quarter), 4), (len(quarter), 4))
        )
        self.residual_wb: Floats = np.zeros(body.unknowns)
        """The derivative of the coenergy by each unknown."""
        self.coenergy_j: float = iron_state(
            slope,
            quarter,
            body.net.cell_unknowns,
            np.ascontiguousarray(potential_a),
            *body.law.terms,
            self._field_a_m,
            self._chord_h_m,
            self._extra,
            self.residual_wb,
        )
        """Coenergy of the body."""

    def add_to(self, slots: Places, data: Floats, *, chord: bool) -> None:
        """Add the second derivative of the coenergy to a matrix, or the same with the law along its chord.

        Parameters
        ----------
        slots : ndarray of uint32, shape (m, 55)
            Where each entry of the lower half of the matrix of a tetrahedron goes.
        data : ndarray
            The entries of the lower half of the whole matrix.
        """
        extra = _NO_BEND if chord else self._extra
        add_iron(*self._body.slopes, self._chord_h_m, extra, self._field_a_m, slots, data)


def _closest_shares(corner: Floats, point: Floats) -> Floats:
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


def trace_shares(shares: Floats) -> Floats:
    """Return the second-order shape functions of a triangle.

    Parameters
    ----------
    shares : ndarray, shape (n, 3)
        Barycentric coordinates of points.

    Returns
    -------
    ndarray, shape (n, 6)
        Of the corners, then of the middles of the edges.
    """
    corner = shares * (2 * shares - 1)
    i, j = _FACET_EDGES.T
    return np.hstack([corner, 4 * shares[:, i] * shares[:, j]])


_INSIDE = -1e-9


def flux_density_t(body: IronBody, potential_a: Floats, points_mm: Floats) -> Floats:
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
    corner, unknowns = corner[near], body.net.cell_unknowns[near]
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


def mean_square_t2(body: IronBody, potential_a: Floats) -> Floats:
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
    edge_values = potential_a[body.net.cell_unknowns[:, 4:]]
    slope = _slopes(corner)
    i, j = EDGES.T
    # In the middle of a tetrahedron only the mid-edge functions have a gradient.
    field = np.einsum("te,tec->tc", edge_values, slope[:, i] + slope[:, j]) / MM
    size = np.linalg.norm(field, axis=1)
    density = field * (body.law.flux_density_t(size) / np.maximum(size, 1e-30))[:, None]
    volume_m3 = np.abs(np.linalg.det(corner[:, 1:] - corner[:, :1])) / 6.0 * MM**3
    return np.asarray(volume_m3 @ density**2)


def outline_mm(body: IronBody, normal: Floats, at_mm: Floats) -> Floats:
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


def _reached(corner: Floats, points_mm: Floats) -> NDArray[np.bool_]:
    """Tell the tetrahedra whose boxes meet the box of the points."""
    low, high = points_mm.min(axis=0) - 1e-9, points_mm.max(axis=0) + 1e-9
    return np.asarray(((corner.max(axis=1) >= low) & (corner.min(axis=1) <= high)).all(axis=1))


def _slopes(corner: Floats) -> Floats:
    """Return the gradients of the four shares of each tetrahedron, 1/mm, shape (t, 4, 3)."""
    inverse = np.linalg.inv(corner[:, 1:] - corner[:, :1]).transpose(0, 2, 1)
    return np.concatenate([-inverse.sum(axis=1, keepdims=True), inverse], axis=1)


def _gradient(slope: Floats, share: Floats, value: Floats) -> Floats:
    """Return the gradient of second-order functions in one tetrahedron, per mm."""
    weight = (4.0 * share - 1.0)[:, None] * slope
    i, j = EDGES.T
    mixed = 4.0 * (share[i][:, None] * slope[j] + share[j][:, None] * slope[i])
    return np.asarray(value @ np.vstack([weight, mixed]))
