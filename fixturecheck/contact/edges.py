"""Edges and corners that touch: on a face, or edge across edge.

Every function looks from one body's edges to the other's faces; `find` calls it both ways round.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial

import numpy as np
import shapely

from fixturecheck.contact.raw import Raw
from fixturecheck.contact.standing import Array, Frame, Standing
from fixturecheck.contact.surfaces import normal_out, signed_distance
from fixturecheck.kernel.clip import (
    clip_edge,
    closest_points,
    dot,
    edge_centre,
    edge_middle,
    on_face,
    segment,
)

FacePairs = set[tuple[int, int]]


def edges_on_faces(
    a: Standing, b: Standing, pairs: FacePairs, seated: FacePairs, touch_mm: float
) -> Iterator[Raw]:
    """Yield lines and points where edges of `a` touch faces of `b`.

    Parameters
    ----------
    pairs : set of (int, int)
        Faces (of a, of b) whose boxes come within the touch tolerance.
    seated : set of (int, int)
        Those that share an area; their edges lie within it.
    """
    for j in sorted({j for _, j in pairs}):
        near = {i for i, other in pairs if other == j}
        covered = {int(e) for i in near if (i, j) in seated for e in a.table.face_edges[i]}
        edges = np.array(sorted({int(e) for i in near for e in a.table.face_edges[i]} - covered), dtype=int)
        if edges.size:
            yield from _edges_on_face(a, edges, b, j, touch_mm)
            yield from _corners_on_face(a, near, covered, b, j, touch_mm)


def _distances(b: Standing, j: int, points: Array) -> Array | None:
    """Signed distance of points from the surface of face j, positive outside the material."""
    if b.table.kinds[j] == "plane":
        return np.asarray(points @ b.normals[j] - b.offsets[j])
    return signed_distance(b.surface(j), points)


def _edges_on_face(a: Standing, edges: Array, b: Standing, j: int, touch_mm: float) -> Iterator[Raw]:
    """Edges that lie on face j along a length, or reach it at one point between their ends."""
    samples = a.edge_samples()[edges]
    away = _distances(b, j, samples.reshape(-1, 3))
    if away is None:
        return
    off = np.abs(away.reshape(len(edges), -1))
    for e, row in zip(edges, off, strict=True):
        if row.max() <= touch_mm:
            yield from _edge_along_face(a, int(e), b, j, touch_mm)
        elif _may_reach(a, int(e), b, j, row, touch_mm):
            yield from _edge_at_face(a, int(e), b, j, touch_mm)


def _may_reach(a: Standing, e: int, b: Standing, j: int, off: Array, touch_mm: float) -> bool:
    """Whether a curved edge or face may touch between samples.

    Distance changes no faster than one moves along the edge, so a sample further off than half the
    spacing rules its neighbourhood out. A straight edge meets a plane at its ends or along itself.
    """
    flat = bool(a.table.straight[e]) and b.table.kinds[j] == "plane"
    return not flat and bool(off.min() <= touch_mm + a.table.lengths_mm[e] / 16)


def _edge_along_face(a: Standing, e: int, b: Standing, j: int, touch_mm: float) -> Iterator[Raw]:
    """Length that an edge shares with the face, trimmed by the face's own outline."""
    samples = a.edge_samples()[e]
    straight = bool(a.table.straight[e])
    if straight and b.table.kinds[j] == "plane" and b.table.exact[j]:
        frame = Frame(b.normals[j] * b.offsets[j], b.normals[j])
        line = shapely.LineString(frame.flat(samples[[0, -1]]))
        shared = shapely.intersection(frame.polygon(b.rings(j)), line)
        for part in shapely.get_parts(shared):
            if part.geom_type == "LineString" and part.length > touch_mm:
                start, end = frame.space(shapely.get_coordinates(part))[[0, -1]]
                yield _line(a, e, b, j, (start, end))
        return
    # Put the edge exactly on the surface first: the kernel's common sees nothing a micron away.
    face = b.face(j)
    edge = a.edge(e)
    if straight:
        edge = segment(*(_foot(b, j, p) for p in samples[[0, -1]]))
    for part in clip_edge(edge, [face]):
        length = float(part.Length())
        if length <= touch_mm:
            continue
        middle = edge_middle(part)
        if straight:
            start, end = np.array(part.startPoint().toTuple()), np.array(part.endPoint().toTuple())
            yield _line(a, e, b, j, (start, end))
        else:
            normal = -_normal(b, j, middle)
            yield Raw(
                kind="line",
                a_faces=a.table.edge_faces[e],
                b_faces=(j,),
                normal=normal,
                centroid=edge_centre(part),
                length_mm=length,
                make=partial(_same, part),
            )


def _foot(b: Standing, j: int, point: Array) -> Array:
    """Foot of a point on the untrimmed surface of face j."""
    away = _distances(b, j, point[None])
    shift = 0.0 if away is None else float(away[0])
    return np.asarray(point - shift * _normal(b, j, point))


def _normal(b: Standing, j: int, point: Array) -> Array:
    """Outward normal of face j's surface near a point."""
    return b.normals[j] if b.table.kinds[j] == "plane" else normal_out(b.surface(j), point)


def _same(shape: object) -> object:
    return shape


def _line(a: Standing, e: int, b: Standing, j: int, ends: tuple[Array, Array]) -> Raw:
    start, end = ends
    middle = (start + end) / 2
    return Raw(
        kind="line",
        a_faces=a.table.edge_faces[e],
        b_faces=(j,),
        normal=-_normal(b, j, middle),
        centroid=middle,
        length_mm=float(np.linalg.norm(end - start)),
        make=partial(segment, start, end),
        ends=ends,
    )


def _edge_at_face(a: Standing, e: int, b: Standing, j: int, touch_mm: float) -> Iterator[Raw]:
    """Points where an edge only just reaches a face."""
    for _, _, spot in closest_points(a.edge(e), b.face(j), touch_mm):
        yield _point(a.table.edge_faces[e], (j,), -_normal(b, j, spot), spot)


def _point(a_faces: tuple[int, ...], b_faces: tuple[int, ...], normal: Array, spot: Array) -> Raw:
    return Raw(
        kind="point", a_faces=a_faces, b_faces=b_faces, normal=normal, centroid=spot,
        make=partial(dot, spot), ends=(spot, spot),
    )  # fmt: skip


def _corners_on_face(
    a: Standing, near: Iterable[int], covered: set[int], b: Standing, j: int, touch_mm: float
) -> Iterator[Raw]:
    """Corners of `a` that touch face j."""
    corners = sorted({int(v) for i in near for v in a.table.face_vertices[i]})
    points = a.vertices()[corners]
    away = _distances(b, j, points)
    if away is None:
        return
    frame = Frame(b.normals[j] * b.offsets[j], b.normals[j]) if b.table.exact[j] else None
    polygon = frame.polygon(b.rings(j)) if frame else None
    for v, point, off in zip(corners, points, away, strict=True):
        if abs(off) > touch_mm:
            continue
        if frame is not None:
            inside = polygon.distance(shapely.Point(frame.flat(point[None])[0])) <= touch_mm
        else:
            inside = on_face(point, b.face(j), touch_mm)
        if inside:
            yield _point(a.table.vertex_faces[v], (j,), -_normal(b, j, point), point)


def edges_across(a: Standing, b: Standing, pairs: FacePairs, touch_mm: float) -> Iterator[Raw]:
    """Yield points where a straight edge of `a` crosses a straight edge of `b`."""
    ours = _straight_edges(a, {i for i, _ in pairs})
    theirs = _straight_edges(b, {j for _, j in pairs})
    if not (ours.size and theirs.size):
        return
    p, r = _origin_and_run(a, ours)
    q, s = _origin_and_run(b, theirs)
    cross = np.cross(r[:, None], s[None])
    size = np.einsum("ijk,ijk->ij", cross, cross)
    offset = q[None] - p[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.einsum("ijk,ijk->ij", np.cross(offset, s[None]), cross) / size
        u = np.einsum("ijk,ijk->ij", np.cross(offset, r[:, None]), cross) / size
        apart = np.abs(np.einsum("ijk,ijk->ij", offset, cross)) / np.sqrt(size)
    lengths = np.linalg.norm(r, axis=1)[:, None] * np.linalg.norm(s, axis=1)[None]
    slack_t = touch_mm / np.linalg.norm(r, axis=1)[:, None]
    slack_u = touch_mm / np.linalg.norm(s, axis=1)[None]
    meets = (np.sqrt(size) > 1e-9 * lengths) & (apart <= touch_mm)
    meets &= (t >= -slack_t) & (t <= 1 + slack_t) & (u >= -slack_u) & (u <= 1 + slack_u)
    for m, n in np.argwhere(meets):
        spot = p[m] + t[m, n] * r[m]
        normal = cross[m, n] / np.linalg.norm(cross[m, n])
        out = sum(a.normals[f] for f in a.table.edge_faces[ours[m]] if a.table.kinds[f] == "plane")
        if np.dot(out, normal) < 0:
            normal = -normal
        yield _point(a.table.edge_faces[ours[m]], b.table.edge_faces[theirs[n]], normal, spot)


def _straight_edges(body: Standing, faces: set[int]) -> Array:
    edges = sorted({int(e) for f in faces for e in body.table.face_edges[f] if body.table.straight[e]})
    return np.array(edges, dtype=int)


def _origin_and_run(body: Standing, edges: Array) -> tuple[Array, Array]:
    samples = body.edge_samples()[edges]
    return samples[:, 0], samples[:, -1] - samples[:, 0]
