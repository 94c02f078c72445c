"""Edges and corners that touch faces; each function looks from body A's edges at body B's faces.

An edge or corner can only bear on a face when the faces beside it rise away from it; all that do not
(flush sides, seams, rims of faces that already share an area) are ruled out with arrays before any
shape is asked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.contact.alongside import alongside
from fixturecheck.contact.raw import Raw, covered
from fixturecheck.contact.standing import Array, Standing
from fixturecheck.contact.surfaces import normal_out, signed_distance
from fixturecheck.kernel.boolean import clip_edge
from fixturecheck.kernel.brep.probe import EdgeProbe, Probe, sides_of
from fixturecheck.kernel.construct import segment, vertex
from fixturecheck.kernel.measure import (
    closest_points,
    edge_centre,
    edge_ends,
    edge_length_mm,
    edge_middle,
    on_face,
)
from fixturecheck.kernel.shapes import Edge, Shape
from fixturecheck.result import ContactKind

FacePairs = set[tuple[int, int]]
Bools = NDArray[np.bool_]
LEVEL = -1e-6
"""A direction counts as rising from a plane down to this cosine."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """One body's edges looking at another body's faces.

    Parameters
    ----------
    a, b : Standing
    pairs : set of (int, int)
        Faces (of a, of b) whose boxes come within the touch tolerance.
    areas : sequence of Raw
        Areas already found between the two, as (face of a, face of b).
    """

    a: Standing
    b: Standing
    pairs: FacePairs
    areas: Sequence[Raw]
    touch_mm: float

    def turned(self) -> Look:
        """Return the same from the other body's side."""
        pairs = {(j, i) for i, j in self.pairs}
        areas = [raw.turned() for raw in self.areas]
        return Look(a=self.b, b=self.a, pairs=pairs, areas=areas, touch_mm=self.touch_mm)


def edges_on_faces(look: Look) -> Iterator[Raw]:
    """Yield lines and points where edges and corners of A touch faces of B."""
    faces = sorted({i for i, _ in look.pairs})
    for i in faces:
        if look.a.tip(i) is not None:
            yield from _tip(look, i)
    edges = np.array(sorted({int(e) for i in faces for e in look.a.table.face_edges[i]}), dtype=np.int64)
    edges = edges[look.a.table.sharp[edges]]
    if not edges.size:
        return
    theirs = sorted({j for _, j in look.pairs})
    flat = [j for j in theirs if look.b.table.kinds[j] == "plane"]
    if flat:
        yield from _on_planes(look, edges, np.array(flat))
    for j in theirs:
        if look.b.table.kinds[j] != "plane":
            yield from _on_curved(look, edges, j)


def _tip(look: Look, i: int) -> Iterator[Raw]:
    """Tip of a cone of A that stands on a face of B: every line down the cone rises from it."""
    b, touch = look.b, look.touch_mm
    cone = look.a.surface(i)
    spot = cone.origin
    for j in sorted({j for k, j in look.pairs if k == i}):
        if b.table.kinds[j] == "plane":
            away, normal = float(spot @ b.normals[j] - b.offsets[j]), b.normals[j]
        else:
            distances = signed_distance(b.surface(j), spot[None])
            away, normal = 0.0 if distances is None else float(distances[0]), b.normal_near(j, spot)
        rises = float(cone.axis @ normal) >= math.sin(cone.half_angle_rad) + LEVEL
        if rises and abs(away) <= touch and _within(b, j, spot, touch):
            yield point_raw((i,), (j,), -normal, spot)


def _on_planes(look: Look, edges: NDArray[np.int64], flat: NDArray[np.int64]) -> Iterator[Raw]:
    """Edges and corners of A on the flat faces of B."""
    a, b, touch = look.a, look.b, look.touch_mm
    normals, offsets = b.normals[flat], b.offsets[flat]
    samples = a.edge_samples()[edges]
    away = samples @ normals.T - offsets  # (edge, sample, plane)
    off = np.abs(away)
    covered = _covered(look, edges, flat)
    rising = np.all(a.inward()[edges] @ normals.T >= LEVEL, axis=1)
    straight = a.table.straight[edges]
    lying = (off.max(axis=1) <= touch) & ~covered & (rising | ~straight[:, None])
    for m, n in np.argwhere(lying):
        yield from _along(look, int(edges[m]), int(flat[n]))
    for m in np.flatnonzero(~straight):
        free = ~lying[m] & ~covered[m]
        for n in np.flatnonzero(free & (off[m].min(axis=0) <= touch + a.table.lengths_mm[edges[m]] / 16)):
            yield from _round_edge(look, int(edges[m]), int(flat[n]))
    yield from _corners_on_planes(look, (edges, flat), away, covered | lying)


def _covered(look: Look, edges: NDArray[np.int64], flat: NDArray[np.int64]) -> Bools:
    """Whether an edge bounds a face of A that already shares an area with that face of B."""
    covered = np.zeros((len(edges), len(flat)), dtype=bool)
    where = {int(e): m for m, e in enumerate(edges)}
    columns = {int(j): n for n, j in enumerate(flat)}
    for raw in look.areas:
        i, j = raw.a_faces[0], raw.b_faces[0]
        if j in columns:
            rows = [where[int(e)] for e in look.a.table.face_edges[i] if int(e) in where]
            covered[rows, columns[j]] = True
    return covered


def _corners_on_planes(
    look: Look, chosen: tuple[NDArray[np.int64], NDArray[np.int64]], away: Array, covered: Bools
) -> Iterator[Raw]:
    """Corners of A that stand on the flat faces of B: every edge beside them rises."""
    a, b, touch = look.a, look.b, look.touch_mm
    edges, flat = chosen
    ends = a.table.edge_vertices[edges]
    corners = np.unique(ends)
    row = {int(v): k for k, v in enumerate(corners)}
    rank = np.array([[row[int(v)] for v in pair] for pair in ends])
    lowest = np.full((len(corners), len(flat)), np.inf)
    taken = np.zeros((len(corners), len(flat)), dtype=bool)
    for side, sample in ((0, 1), (1, 7)):
        np.minimum.at(lowest, rank[:, side], away[:, sample])
        np.logical_or.at(taken, rank[:, side], covered)
    off = np.abs(a.vertices()[corners] @ b.normals[flat].T - b.offsets[flat])
    for k, n in np.argwhere((off <= touch) & (lowest >= -touch) & ~taken):
        v, j = int(corners[k]), int(flat[n])
        spot = a.vertices()[v]
        if _within(b, j, spot, touch):
            yield point_raw(a.table.vertex_faces[v], (j,), -b.normals[j], spot)


def _within(b: Standing, j: int, spot: Array, touch_mm: float) -> bool:
    """Whether a point of the surface of face j lies within its outline."""
    if b.table.kinds[j] != "plane" or not b.table.exact[j]:
        return on_face(spot, b.face(j), 2 * touch_mm)
    frame, polygon = b.outline(j)
    return bool(polygon.distance(shapely.Point(frame.flat(spot[None])[0])) <= touch_mm)


def _round_edge(look: Look, e: int, j: int) -> Iterator[Raw]:
    """Points where a curved edge of A comes down to a flat face of B between its ends."""
    a, b, touch = look.a, look.b, look.touch_mm
    circle = a.circle(e)
    if circle is None:
        for _, _, spot in closest_points(a.edge(e), b.face(j), touch):
            yield point_raw(a.table.edge_faces[e], (j,), -b.normals[j], spot)
        return
    x, y = float(circle.x_axis @ b.normals[j]), float(circle.y_axis @ b.normals[j])
    lowest = math.atan2(-y, -x)
    spot = circle.centre + circle.radius_mm * (
        math.cos(lowest) * circle.x_axis + math.sin(lowest) * circle.y_axis
    )
    first, last = circle.arc_rad
    inside = (lowest - first) % (2 * math.pi) <= last - first
    if inside and abs(float(spot @ b.normals[j] - b.offsets[j])) <= touch and _within(b, j, spot, touch):
        yield point_raw(a.table.edge_faces[e], (j,), -b.normals[j], spot)


def _on_curved(look: Look, edges: NDArray[np.int64], j: int) -> Iterator[Raw]:
    """Edges and corners of A on a curved face of B."""
    a, b, touch = look.a, look.b, look.touch_mm
    surface = b.surface(j)
    # Samples hold a straight edge; a curved one may bulge past them.
    bulge = np.where(a.table.straight[edges], 0.0, a.table.lengths_mm[edges] / 16)
    slack = touch + bulge[:, None]
    near = np.all(
        (a.edge_samples()[edges].min(axis=1) - slack <= b.highs[j])
        & (a.edge_samples()[edges].max(axis=1) + slack >= b.lows[j]),
        axis=1,
    )
    edges = edges[near]
    samples = a.edge_samples()[edges]
    away = signed_distance(surface, samples.reshape(-1, 3))
    if away is None:
        yield from _on_freeform(look, edges, j)
        return
    off = np.abs(away.reshape(len(edges), samples.shape[1]))
    hollow = surface.kind == "cylinder" and surface.outward < 0
    for e, row in zip(edges, off, strict=True):
        if row.max() <= touch:
            yield from _along(look, int(e), j)
        elif row.min() <= touch + a.table.lengths_mm[e] / 16 and not (hollow and a.table.straight[e]):
            # A straight edge across a hole is a chord: it meets the wall at its ends only.
            yield from _touching(look, int(e), j)
    corners = np.unique(a.table.edge_vertices[edges])
    spots = a.vertices()[corners]
    distances = signed_distance(surface, spots)
    for v, spot, gap in zip(corners, spots, distances if distances is not None else (), strict=True):
        if _on_outline(look, a.table.vertex_faces[v], j, spot):
            continue
        if abs(gap) <= touch and on_face(spot, b.face(j), 2 * touch):
            yield point_raw(a.table.vertex_faces[v], (j,), -normal_out(surface, spot), spot)


def _on_freeform(look: Look, edges: NDArray[np.int64], j: int) -> Iterator[Raw]:
    """Edges of A that run over a free-form face of B."""
    a, b = look.a, look.b
    if not edges.size:
        return
    face, box = Probe(b.face(j)), (b.lows[j], b.highs[j])
    for e in edges.tolist():
        if covered(a.edge_samples()[e], look.areas, 2 * look.touch_mm):
            continue
        names = a.table.edge_faces[e]
        probes = [Probe(a.face(i)) for i in sorted(set(names))]
        edge = EdgeProbe(a.edge(e), tuple(sides_of(a.edge(e), probes)))
        for raw in alongside(edge, face, box, (names, j), look.touch_mm):
            if raw.kind == ContactKind.LINE or not _on_outline(look, names, j, raw.centroid):
                yield raw


def _touching(look: Look, e: int, j: int) -> Iterator[Raw]:
    """Points where an edge only just reaches a curved face."""
    a, b = look.a, look.b
    for _, _, spot in closest_points(a.edge(e), b.face(j), look.touch_mm):
        if not _on_outline(look, a.table.edge_faces[e], j, spot):
            yield point_raw(a.table.edge_faces[e], (j,), -b.normal_near(j, spot), spot)


def _on_outline(look: Look, faces: tuple[int, ...], j: int, spot: Array) -> bool:
    """Whether a spot is only where the outlines of two faces cross that share an area.

    There a side of A's face meets the face beside B's, in the plane of the area; chords of round outlines
    that cross at a shallow angle put it some way off the area's polygon.
    """
    table = look.b.table
    for raw in look.areas:
        if raw.flat is None or raw.a_faces[0] not in faces:
            continue
        frame, _ = raw.flat
        beside = np.isin(table.face_edges[j], table.face_edges[raw.b_faces[0]]).any()
        if beside and abs(float((spot - frame.origin) @ frame.normal)) <= 2 * look.touch_mm:
            return True
    return False


def _along(look: Look, e: int, j: int) -> Iterator[Raw]:
    """Length that an edge of A shares with face j, trimmed by the face's own outline."""
    a, b, touch = look.a, look.b, look.touch_mm
    samples = a.edge_samples()[e]
    if covered(samples, look.areas, 2 * touch):
        return
    straight = bool(a.table.straight[e])
    if straight and b.table.kinds[j] == "plane" and b.table.exact[j]:
        frame, polygon = b.outline(j)
        shared = shapely.intersection(polygon, shapely.LineString(frame.flat(samples[[0, -1]])))
        for part in shapely.get_parts(shared):
            if part.geom_type == "LineString" and part.length > touch:
                start, end = frame.space(shapely.get_coordinates(part))[[0, -1]]
                yield _line(look, e, j, (start, end))
        return
    # Put the edge exactly on the surface first: the kernel's common sees nothing a micron away.
    edge = segment(*(_foot(b, j, p) for p in samples[[0, -1]])) if straight else a.edge(e)
    for part in clip_edge(edge, [b.face(j)]):
        if edge_length_mm(part) <= touch:
            continue
        if straight:
            yield _line(look, e, j, edge_ends(part))
        else:
            yield _curve(look, e, j, part)


def _foot(b: Standing, j: int, point: Array) -> Array:
    """Foot of a point on the untrimmed surface of face j."""
    if b.table.kinds[j] == "plane":
        return np.asarray(point - (point @ b.normals[j] - b.offsets[j]) * b.normals[j])
    surface = b.surface(j)
    away = signed_distance(surface, point[None])
    return np.asarray(point - float(away[0]) * normal_out(surface, point)) if away is not None else point


def _same(shape: Shape) -> Shape:
    return shape


def _line(look: Look, e: int, j: int, ends: tuple[Array, Array]) -> Raw:
    start, end = ends
    middle = (start + end) / 2
    return Raw(
        kind=ContactKind.LINE,
        a_faces=look.a.table.edge_faces[e],
        b_faces=(j,),
        normal=-look.b.normal_near(j, middle),
        centroid=middle,
        length_mm=float(np.linalg.norm(end - start)),
        make=partial(segment, start, end),
        ends=ends,
    )


def _curve(look: Look, e: int, j: int, part: Edge) -> Raw:
    return Raw(
        kind=ContactKind.LINE,
        a_faces=look.a.table.edge_faces[e],
        b_faces=(j,),
        normal=-look.b.normal_near(j, edge_middle(part)),
        centroid=edge_centre(part),
        length_mm=edge_length_mm(part),
        make=partial(_same, part),
    )


def point_raw(a_faces: tuple[int, ...], b_faces: tuple[int, ...], normal: Array, spot: Array) -> Raw:
    """Return a point of contact."""
    make: Callable[[], Shape] = partial(vertex, spot)
    return Raw(
        kind=ContactKind.POINT,
        a_faces=a_faces,
        b_faces=b_faces,
        normal=normal,
        centroid=spot,
        make=make,
        ends=(spot, spot),
    )
