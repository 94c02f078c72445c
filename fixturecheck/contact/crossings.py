"""Edges that meet edges: across each other at a point, or along each other in a line."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.edges import LEVEL, Bools, Look, point_raw
from fixturecheck.contact.raw import Raw
from fixturecheck.contact.standing import Array, Standing
from fixturecheck.kernel.construct import segment, vertex
from fixturecheck.kernel.measure import closest_points, tangent_at
from fixturecheck.result import ContactKind

_PARALLEL = 1e-5
"""Edges whose directions have a smaller sine between them are parallel."""
_OPPOSED = 1e-6
"""Edges that coincide bear on each other when the material beside them differs at least this much."""

Ints = NDArray[np.int64]


def edges_across(look: Look) -> Iterator[Raw]:
    """Yield where a straight edge of A meets a straight edge of B: across it, or along it edge on edge."""
    a, b, touch = look.a, look.b, look.touch_mm
    ours, theirs = (
        _sharp_straight(a, {i for i, _ in look.pairs}),
        _sharp_straight(b, {j for _, j in look.pairs}),
    )
    if not (ours.size and theirs.size):
        return
    p, r = _origin_and_run(a, ours)
    q, s = _origin_and_run(b, theirs)
    free = ~_beside_areas(look, ours, theirs)
    # Lagrange: with unit runs, the feet of the common perpendicular follow from three dot products.
    offset = q[None] - p[:, None]
    along = r @ s.T
    on_r, on_s = np.einsum("ijk,ik->ij", offset, r), np.einsum("ijk,jk->ij", offset, s)
    square = 1.0 - along**2
    steep = square > _PARALLEL**2
    safe = np.where(steep, square, 1.0)
    t, u = (on_r - along * on_s) / safe, (along * on_r - on_s) / safe
    gaps = np.linalg.norm(offset - t[..., None] * r[:, None] + u[..., None] * s[None], axis=2)
    length_r, length_s = a.table.lengths_mm[ours][:, None], b.table.lengths_mm[theirs][None]
    meets = (t >= -touch) & (t <= length_r + touch) & (u >= -touch) & (u <= length_s + touch)
    for m, n in np.argwhere(free & steep & meets & (gaps <= touch)):
        normal = _apart(a, int(ours[m]), np.cross(r[m], s[n]) / math.sqrt(square[m, n]))
        # Material on the wrong side: the two overlap there, or one only passes by an inside edge.
        into_b, into_a = (a.inward()[ours[m]] @ normal).max(), (b.inward()[theirs[n]] @ normal).min()
        if into_b > -LEVEL or into_a < LEVEL:
            continue
        yield point_raw(
            a.table.edge_faces[ours[m]], b.table.edge_faces[theirs[n]], normal, p[m] + t[m, n] * r[m]
        )
    aside = np.linalg.norm(offset - on_r[..., None] * r[:, None], axis=2)
    for m, n in np.argwhere(free & ~steep & (aside <= touch)):
        span = float(on_r[m, n]), float(on_r[m, n] + along[m, n] * length_s[0, n])
        low, high = max(0.0, min(span)), min(float(length_r[m, 0]), max(span))
        if high - low > touch:
            ends = p[m] + low * r[m], p[m] + high * r[m]
            yield from _edge_on_edge(look, (int(ours[m]), int(theirs[n])), ends)


def _beside_areas(look: Look, ours: Ints, theirs: Ints) -> Bools:
    """Whether both edges bound faces that share an area, on whose outline they then meet."""
    beside = np.zeros((len(ours), len(theirs)), dtype=bool)
    for raw in look.areas:
        mine = np.isin(ours, look.a.table.face_edges[raw.a_faces[0]])
        other = np.isin(theirs, look.b.table.face_edges[raw.b_faces[0]])
        beside |= mine[:, None] & other[None]
    return beside


def _edge_on_edge(look: Look, edges: tuple[int, int], ends: tuple[Array, Array]) -> Iterator[Raw]:
    """Length along which two parallel edges coincide."""
    a_faces, b_faces = look.a.table.edge_faces[edges[0]], look.b.table.edge_faces[edges[1]]
    start, end = ends
    # Each edge's own middle direction out of its material; where two edges meet they oppose.
    normal = look.b.inward()[edges[1]].sum(axis=0) - look.a.inward()[edges[0]].sum(axis=0)
    size = float(np.linalg.norm(normal))
    if size < _OPPOSED:
        return
    yield Raw(
        kind=ContactKind.LINE, a_faces=a_faces, b_faces=b_faces, normal=normal / size,
        centroid=(start + end) / 2, length_mm=float(np.linalg.norm(end - start)),
        make=partial(segment, start, end), ends=(start, end),
    )  # fmt: skip


def _apart(a: Standing, e: int, normal: Array) -> Array:
    """Point a normal out of A: away from the faces beside its edge."""
    return -normal if float(a.inward()[e].sum(axis=0) @ normal) > 0 else normal


def _sharp_straight(body: Standing, faces: set[int]) -> Ints:
    table = body.table
    edges = {int(e) for f in faces for e in table.face_edges[f] if table.straight[e] and table.sharp[e]}
    return np.array(sorted(edges), dtype=np.int64)


def _origin_and_run(body: Standing, edges: Ints) -> tuple[Array, Array]:
    """First end and unit direction of straight edges."""
    samples = body.edge_samples()[edges]
    return samples[:, 0], (samples[:, -1] - samples[:, 0]) / body.table.lengths_mm[edges][:, None]


def rims_across(look: Look) -> Iterator[Raw]:
    """Yield the points where edges meet of which at least one is curved.

    Where a curved edge lies along a face or another edge, the edge on that face tells it.
    """
    a, b = look.a, look.b
    ours, theirs = _edges(a, {i for i, _ in look.pairs}), _edges(b, {j for _, j in look.pairs})
    if not (ours.size and theirs.size):
        return
    low_a, high_a = _boxes(a, ours)
    low_b, high_b = _boxes(b, theirs)
    near = np.all(
        (low_a[:, None] <= high_b[None] + look.touch_mm) & (high_a[:, None] >= low_b[None] - look.touch_mm),
        axis=2,
    )
    near &= ~(a.table.straight[ours][:, None] & b.table.straight[theirs][None])
    for raw in look.areas:
        mine = np.isin(ours, a.table.face_edges[raw.a_faces[0]])
        near &= ~(mine[:, None] & np.isin(theirs, b.table.face_edges[raw.b_faces[0]])[None])
    for m, n in np.argwhere(near):
        yield from _meeting(look, int(ours[m]), int(theirs[n]))


def _edges(body: Standing, faces: set[int]) -> Ints:
    edges = {int(e) for f in faces for e in body.table.face_edges[f] if body.table.sharp[e]}
    return np.array(sorted(edges), dtype=np.int64)


def _boxes(body: Standing, edges: Ints) -> tuple[Array, Array]:
    """Boxes of edges; a curved one may bulge past its samples."""
    samples = body.edge_samples()[edges]
    bulge = np.where(body.table.straight[edges], 0.0, body.table.lengths_mm[edges] / 16)[:, None]
    return samples.min(axis=1) - bulge, samples.max(axis=1) + bulge


def _meeting(look: Look, e: int, f: int) -> Iterator[Raw]:
    a, b = look.a, look.b
    for _, spot, other in closest_points(a.edge(e), b.edge(f), look.touch_mm):
        normal = np.cross(tangent_at(a.edge(e), spot), tangent_at(b.edge(f), other))
        out_a, out_b = _outward(a, e, spot), _outward(b, f, other)
        size = float(np.linalg.norm(normal))
        normal = normal / size if size > _PARALLEL else out_a - out_b
        normal = normal if float(normal @ (out_a - out_b)) >= 0 else -normal
        size = float(np.linalg.norm(normal))
        # The normal has to leave A and enter B, or the edges only pass through the same spot.
        if size < _OPPOSED or float(normal @ out_a) < -_OPPOSED or float(normal @ out_b) > _OPPOSED:
            continue
        yield Raw(
            kind=ContactKind.POINT,
            a_faces=a.table.edge_faces[e],
            b_faces=b.table.edge_faces[f],
            normal=normal / size,
            centroid=spot,
            make=partial(vertex, spot),
            ends=(spot, spot),
        )


def _outward(body: Standing, edge: int, spot: Array) -> Array:
    """Sum of the outward normals of the faces beside an edge."""
    return np.asarray(np.sum([body.normal_near(f, spot) for f in body.table.edge_faces[edge]], axis=0))
