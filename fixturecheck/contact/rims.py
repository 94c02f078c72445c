"""Where a curved edge of one body meets an edge of the other, straight or curved."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.edges import Look
from fixturecheck.contact.raw import Raw
from fixturecheck.contact.standing import Array, Standing
from fixturecheck.kernel.clip import closest_points, dot, tangent_at

_PARALLEL = 1e-4
"""Edges whose directions have a smaller sine between them run side by side."""
_LEVEL = 1e-6

Ints = NDArray[np.int64]


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
        if size < _LEVEL or float(normal @ out_a) < -_LEVEL or float(normal @ out_b) > _LEVEL:
            continue
        yield Raw(
            kind="point", a_faces=a.table.edge_faces[e], b_faces=b.table.edge_faces[f], normal=normal / size,
            centroid=spot, make=partial(dot, spot), ends=(spot, spot),
        )  # fmt: skip


def _outward(body: Standing, edge: int, spot: Array) -> Array:
    """Sum of the outward normals of the faces beside an edge."""
    return np.asarray(np.sum([body.normal_near(f, spot) for f in body.table.edge_faces[edge]], axis=0))
