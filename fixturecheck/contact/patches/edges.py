"""Edges and corners that touch faces, and edges that meet edges.

Each function looks from the edges of body A at the faces of body B. An edge or corner can only bear on a face
when the faces beside it rise away from it; all that do not (flush sides, seams, rims of faces that already
share an area) are ruled out with arrays before any shape is asked.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.contact.patch import RawPatch, covered, raw_edge, raw_point, raw_segment
from fixturecheck.contact.patches.edges_by_planes import LEVEL, on_planes
from fixturecheck.contact.patches.valleys import alongside
from fixturecheck.contact.placed import Standing, bends_of
from fixturecheck.kernel.boolean import clip_edge
from fixturecheck.kernel.brep.face_table import CHORD_MM
from fixturecheck.kernel.brep.primitives import SurfaceKind, normal_out, signed_distance
from fixturecheck.kernel.brep.probes import EdgeProbe, Probe, sides_of
from fixturecheck.kernel.construct import segment
from fixturecheck.kernel.measure import (
    closest_points,
    edge_ends,
    edge_length_mm,
    edge_middle,
    on_face,
    tangent_at,
)
from fixturecheck.numeric import crossed
from fixturecheck.result.contact import ContactKind

FacePairs = set[tuple[int, int]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeView:
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
    areas: Sequence[RawPatch]
    touch_mm: float

    def turned(self) -> EdgeView:
        """Return the same from the other body's side."""
        pairs = {(j, i) for i, j in self.pairs}
        areas = [raw.turned() for raw in self.areas]
        return EdgeView(a=self.b, b=self.a, pairs=pairs, areas=areas, touch_mm=self.touch_mm)


def edges_on_faces(view: EdgeView) -> Iterator[RawPatch]:
    """Yield lines and points where edges and corners of A touch faces of B.

    Parameters
    ----------
    view : EdgeView
        The two bodies, their faces near each other, and the areas found between them.

    Yields
    ------
    RawPatch
    """
    faces = sorted({i for i, _ in view.pairs})
    for i in faces:
        if _has_tip(view.a, i):
            yield from _tip(view, i)
    edges = _edges(view.a, faces)
    if not edges.size:
        return
    theirs = sorted({j for _, j in view.pairs})
    flat = [j for j in theirs if view.b.table.kinds[j] == SurfaceKind.PLANE]
    if flat:
        yield from _on_planes(view, edges, np.array(flat))
    for j in theirs:
        if view.b.table.kinds[j] != SurfaceKind.PLANE:
            yield from _on_curved(view, edges, j)


_APEX_MM = 1e-6


def _has_tip(body: Standing, face: int) -> bool:
    """Whether a face is an outside cone that reaches its apex."""
    surface = body.table.surfaces[face]
    if surface is None or surface.kind != SurfaceKind.CONE or surface.outward < 0:
        return False
    corners = body.table.vertices[body.table.face_vertices[face]]
    return bool((np.linalg.norm(corners - surface.origin, axis=1) <= _APEX_MM).any())


def _tip(view: EdgeView, i: int) -> Iterator[RawPatch]:
    """Tip of a cone of A that stands on a face of B: every line down the cone rises from it."""
    b, touch = view.b, view.touch_mm
    cone = view.a.surface(i)
    spot = cone.origin
    for j in sorted({j for k, j in view.pairs if k == i}):
        if b.table.kinds[j] == SurfaceKind.PLANE:
            away, normal = float(spot @ b.normals[j] - b.offsets[j]), b.normals[j]
        else:
            distances = signed_distance(b.surface(j), spot[None])
            away, normal = 0.0 if distances is None else float(distances[0]), b.normal_near(j, spot)
        rises = float(cone.axis @ normal) >= math.sin(cone.half_angle_rad) + LEVEL
        if rises and abs(away) <= touch and _within(b, j, spot, touch):
            yield raw_point((i,), (j,), -normal, spot)


def _on_planes(view: EdgeView, edges: NDArray[np.int64], flat: NDArray[np.int64]) -> Iterator[RawPatch]:
    """Edges and corners of A on the flat faces of B."""
    a, b, touch = view.a, view.b, view.touch_mm
    placed = a.edge_samples, a.inward, a.table.straight, a.table.bulges_mm, a.table.edge_vertices, a.vertices
    by_mm = touch, 2 * touch + CHORD_MM
    lying, reaching, standing = on_planes(edges, placed, flat, b.planes, _covered(view, edges, flat), by_mm)
    for e, j in lying.tolist():
        yield from _along(view, e, j)
    for e, j in reaching.tolist():
        yield from _round_edge(view, e, j)
    for v, j in standing.tolist():
        if _within(b, j, a.vertices[v], touch):
            yield raw_point(a.table.vertex_faces[v], (j,), -b.normals[j], a.vertices[v])


def _covered(view: EdgeView, edges: NDArray[np.int64], flat: NDArray[np.int64]) -> Bools:
    """Whether an edge bounds a face of A that already shares an area with that face of B."""
    covered = np.zeros((len(edges), len(flat)), dtype=bool)
    where = {int(e): m for m, e in enumerate(edges)}
    columns = {int(j): n for n, j in enumerate(flat)}
    for raw in view.areas:
        i, j = raw.a_faces[0], raw.b_faces[0]
        if j in columns:
            rows = [where[int(e)] for e in view.a.table.face_edges[i] if int(e) in where]
            covered[rows, columns[j]] = True
    return covered


def _within(b: Standing, j: int, spot: Floats, touch_mm: float) -> bool:
    """Whether a point of the surface of face j lies within its outline."""
    if b.table.kinds[j] != SurfaceKind.PLANE:
        return on_face(spot, b.face(j), 2 * touch_mm)
    frame, polygon = b.outline(j)
    seen = shapely.Point(frame.flat(spot[None])[0])
    away_mm, bends = float(shapely.distance(polygon, seen)), bends_of(b, j)
    if bends is None:
        return away_mm <= touch_mm
    # Only near its round edges does the face end elsewhere than its polygon.
    if away_mm > 2 * touch_mm + CHORD_MM:
        return False
    if away_mm == 0.0 and float(shapely.distance(bends, seen)) > CHORD_MM:
        return True
    return on_face(spot, b.face(j), 2 * touch_mm)


def _round_edge(view: EdgeView, e: int, j: int) -> Iterator[RawPatch]:
    """Points where a curved edge of A comes down to a flat face of B between its ends."""
    a, b, touch = view.a, view.b, view.touch_mm
    circle = a.circle(e)
    if circle is None:
        if _beside(view, e, j):
            return
        for _, _, spot in closest_points(a.edge(e), b.face(j), touch):
            yield raw_point(a.table.edge_faces[e], (j,), -b.normals[j], spot)
        return
    x, y = float(circle.x_axis @ b.normals[j]), float(circle.y_axis @ b.normals[j])
    lowest = math.atan2(-y, -x)
    (spot,) = circle.at(np.array([lowest]))
    first, last = circle.arc_rad
    inside = (lowest - first) % (2 * math.pi) <= last - first
    if inside and abs(float(spot @ b.normals[j] - b.offsets[j])) <= touch and _within(b, j, spot, touch):
        yield raw_point(a.table.edge_faces[e], (j,), -b.normals[j], spot)


def _on_curved(view: EdgeView, edges: NDArray[np.int64], j: int) -> Iterator[RawPatch]:
    """Edges and corners of A on a curved face of B."""
    a, b, touch = view.a, view.b, view.touch_mm
    surface = b.surface(j)
    slack = touch + a.table.bulges_mm[edges][:, None]
    near = np.all(
        (a.edge_samples[edges].min(axis=1) - slack <= b.highs[j])
        & (a.edge_samples[edges].max(axis=1) + slack >= b.lows[j]),
        axis=1,
    )
    edges = edges[near]
    samples = a.edge_samples[edges]
    away = signed_distance(surface, samples.reshape(-1, 3))
    if away is None:
        yield from _on_freeform(view, edges, j)
        return
    off = np.abs(away.reshape(len(edges), samples.shape[1]))
    hollow = surface.kind == SurfaceKind.CYLINDER and surface.outward < 0
    for e, row in zip(edges, off, strict=True):
        if row.max() <= touch:
            yield from _along(view, int(e), j)
        elif row.min() <= touch + a.table.lengths_mm[e] / 16 and not (hollow and a.table.straight[e]):
            # A straight edge across a hole is a chord: it meets the wall at its ends only.
            yield from _touching(view, int(e), j)
    corners = np.unique(a.table.edge_vertices[edges])
    spots = a.vertices[corners]
    distances = signed_distance(surface, spots)
    for v, spot, gap in zip(corners, spots, distances if distances is not None else (), strict=True):
        if _on_outline(view, a.table.vertex_faces[v], j, spot):
            continue
        if abs(gap) <= touch and on_face(spot, b.face(j), 2 * touch):
            yield raw_point(a.table.vertex_faces[v], (j,), -normal_out(surface, spot), spot)


def _on_freeform(view: EdgeView, edges: NDArray[np.int64], j: int) -> Iterator[RawPatch]:
    """Edges of A that run over a free-form face of B."""
    a, b = view.a, view.b
    if not edges.size:
        return
    face, box = Probe(b.face(j)), (b.lows[j], b.highs[j])
    for e in edges.tolist():
        if covered(a.edge_samples[e], view.areas, 2 * view.touch_mm):
            continue
        names = a.table.edge_faces[e]
        probes = [Probe(a.face(i)) for i in sorted(set(names))]
        edge = EdgeProbe(a.edge(e), tuple(sides_of(a.edge(e), probes)))
        for raw in alongside(edge, face, box, (names, j), view.touch_mm):
            if raw.kind == ContactKind.LINE or not _on_outline(view, names, j, raw.centroid):
                yield raw


def _touching(view: EdgeView, e: int, j: int) -> Iterator[RawPatch]:
    """Points where an edge only just reaches a curved face."""
    a, b = view.a, view.b
    for _, _, spot in closest_points(a.edge(e), b.face(j), view.touch_mm):
        if not _on_outline(view, a.table.edge_faces[e], j, spot):
            yield raw_point(a.table.edge_faces[e], (j,), -b.normal_near(j, spot), spot)


def _on_outline(view: EdgeView, faces: tuple[int, ...], j: int, spot: Floats) -> bool:
    """Whether a spot is only where the outlines of two faces cross that share an area.

    There a side of A's face meets the face beside B's, in the plane of the area; chords of round outlines
    that cross at a shallow angle put it some way off the area's polygon.
    """
    table = view.b.table
    for raw in view.areas:
        if raw.flat is None or raw.a_faces[0] not in faces:
            continue
        frame, _ = raw.flat
        beside = _bounding(view.b, raw.b_faces[:1])[table.face_edges[j]].any()
        if beside and abs(float((spot - frame.origin) @ frame.normal)) <= 2 * view.touch_mm:
            return True
    return False


def _along(view: EdgeView, e: int, j: int) -> Iterator[RawPatch]:
    """Length that an edge of A shares with face j, trimmed by the face's own outline."""
    a, b, touch = view.a, view.b, view.touch_mm
    samples = a.edge_samples[e]
    if covered(samples, view.areas, 2 * touch):
        return
    straight = bool(a.table.straight[e])
    if straight and b.table.kinds[j] == SurfaceKind.PLANE and b.table.exact[j]:
        frame, polygon = b.outline(j)
        shared = shapely.intersection(polygon, shapely.LineString(frame.flat(samples[[0, -1]])))
        for part in shapely.get_parts(shared):
            if part.geom_type == "LineString" and part.length > touch:
                start, end = frame.space(shapely.get_coordinates(part))[[0, -1]]
                yield _line(view, e, j, (start, end))
        return
    if _beside(view, e, j):
        return
    # Put the edge exactly on the surface first: the kernel's common sees nothing a micron away.
    edge = segment(*(_foot(b, j, p) for p in samples[[0, -1]])) if straight else a.edge(e)
    for part in clip_edge(edge, [b.face(j)]):
        if edge_length_mm(part) <= touch:
            continue
        if straight:
            yield _line(view, e, j, edge_ends(part))
        else:
            normal = -b.normal_near(j, edge_middle(part))
            yield raw_edge(a.table.edge_faces[e], (j,), normal, part)


def _beside(view: EdgeView, e: int, j: int) -> bool:
    """Tell whether an edge of A, seen along the normal of a flat face of B, is clear of its outline."""
    a, b = view.a, view.b
    if b.table.kinds[j] != SurfaceKind.PLANE:
        return False
    frame, polygon = b.outline(j)
    line = shapely.linestrings(frame.flat(a.edge_samples[e]))
    return bool(shapely.distance(polygon, line) > 2 * view.touch_mm + CHORD_MM + float(a.table.bulges_mm[e]))


def _foot(b: Standing, j: int, point: Floats) -> Floats:
    """Foot of a point on the untrimmed surface of face j."""
    if b.table.kinds[j] == SurfaceKind.PLANE:
        return np.asarray(point - (point @ b.normals[j] - b.offsets[j]) * b.normals[j])
    surface = b.surface(j)
    away = signed_distance(surface, point[None])
    return np.asarray(point - float(away[0]) * normal_out(surface, point)) if away is not None else point


def _line(view: EdgeView, e: int, j: int, ends: tuple[Floats, Floats]) -> RawPatch:
    """Straight piece of an edge of A on face j."""
    normal = -view.b.normal_near(j, (ends[0] + ends[1]) / 2)
    return raw_segment(view.a.table.edge_faces[e], (j,), normal, ends)


_PARALLEL = 1e-5
"""Edges whose directions have a smaller sine between them are parallel."""
_OPPOSED = 1e-6
"""Edges that coincide bear on each other when the material beside them differs at least this much."""


def edges_across(view: EdgeView) -> Iterator[RawPatch]:
    """Yield where a straight edge of A meets a straight edge of B: across it, or along it edge on edge.

    Parameters
    ----------
    view : EdgeView
        The two bodies, their faces near each other, and the areas found between them.

    Yields
    ------
    RawPatch
    """
    a, b, touch = view.a, view.b, view.touch_mm
    ours, theirs = (
        _sharp_straight(a, {i for i, _ in view.pairs}),
        _sharp_straight(b, {j for _, j in view.pairs}),
    )
    if not (ours.size and theirs.size):
        return
    p, r = _origin_and_run(a, ours)
    q, s = _origin_and_run(b, theirs)
    free = ~_beside_areas(view, ours, theirs)
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
        normal = _apart(a, int(ours[m]), crossed(r[m], s[n]) / math.sqrt(square[m, n]))
        # Material on the wrong side: the two overlap there, or one only passes by an inside edge.
        into_b, into_a = (a.inward[ours[m]] @ normal).max(), (b.inward[theirs[n]] @ normal).min()
        if into_b > -LEVEL or into_a < LEVEL:
            continue
        yield raw_point(
            a.table.edge_faces[ours[m]], b.table.edge_faces[theirs[n]], normal, p[m] + t[m, n] * r[m]
        )
    aside = np.linalg.norm(offset - on_r[..., None] * r[:, None], axis=2)
    for m, n in np.argwhere(free & ~steep & (aside <= touch)):
        span = float(on_r[m, n]), float(on_r[m, n] + along[m, n] * length_s[0, n])
        low, high = max(0.0, min(span)), min(float(length_r[m, 0]), max(span))
        if high - low > touch:
            ends = p[m] + low * r[m], p[m] + high * r[m]
            yield from _edge_on_edge(view, (int(ours[m]), int(theirs[n])), ends)


def _beside_areas(view: EdgeView, ours: Ints, theirs: Ints) -> Bools:
    """Whether both edges bound faces that share an area, on whose outline they then meet."""
    beside = np.zeros((len(ours), len(theirs)), dtype=bool)
    for raw in view.areas:
        mine, other = _bounding(view.a, raw.a_faces[:1]), _bounding(view.b, raw.b_faces[:1])
        beside |= mine[ours][:, None] & other[theirs][None]
    return beside


def _edge_on_edge(view: EdgeView, edges: tuple[int, int], ends: tuple[Floats, Floats]) -> Iterator[RawPatch]:
    """Length along which two parallel edges coincide."""
    a_faces, b_faces = view.a.table.edge_faces[edges[0]], view.b.table.edge_faces[edges[1]]
    # Each edge's own middle direction out of its material; where two edges meet they oppose.
    normal = view.b.inward[edges[1]].sum(axis=0) - view.a.inward[edges[0]].sum(axis=0)
    size = float(np.linalg.norm(normal))
    if size < _OPPOSED:
        return
    yield raw_segment(a_faces, b_faces, normal / size, ends)


def _apart(a: Standing, e: int, normal: Floats) -> Floats:
    """Point a normal out of A: away from the faces beside its edge."""
    return -normal if float(a.inward[e].sum(axis=0) @ normal) > 0 else normal


def _sharp_straight(body: Standing, faces: set[int]) -> Ints:
    table = body.table
    edges = _edges(body, faces)
    return edges[table.straight[edges]]


def _origin_and_run(body: Standing, edges: Ints) -> tuple[Floats, Floats]:
    """First end and unit direction of straight edges."""
    samples = body.edge_samples[edges]
    return samples[:, 0], (samples[:, -1] - samples[:, 0]) / body.table.lengths_mm[edges][:, None]


def rims_across(view: EdgeView) -> Iterator[RawPatch]:
    """Yield the points where edges meet of which at least one is curved.

    Where a curved edge lies along a face or another edge, `edges_on_faces` finds that.

    Parameters
    ----------
    view : EdgeView
        The two bodies, their faces near each other, and the areas found between them.

    Yields
    ------
    RawPatch
    """
    a, b = view.a, view.b
    ours, theirs = _edges(a, {i for i, _ in view.pairs}), _edges(b, {j for _, j in view.pairs})
    if not (ours.size and theirs.size):
        return
    low_a, high_a = _boxes(a, ours)
    low_b, high_b = _boxes(b, theirs)
    near = np.all(
        (low_a[:, None] <= high_b[None] + view.touch_mm) & (high_a[:, None] >= low_b[None] - view.touch_mm),
        axis=2,
    )
    near &= ~(a.table.straight[ours][:, None] & b.table.straight[theirs][None])
    near &= ~_beside_areas(view, ours, theirs)
    for m, n in np.argwhere(near):
        yield from _meeting(view, int(ours[m]), int(theirs[n]))


def _edges(body: Standing, faces: Iterable[int]) -> Ints:
    """Return the sharp edges of some faces, in order."""
    return np.flatnonzero(_bounding(body, faces) & body.table.sharp_edges)


def _bounding(body: Standing, faces: Iterable[int]) -> Bools:
    """Tell for every edge of a body whether it bounds some of its faces."""
    found = np.zeros(len(body.table.straight), dtype=bool)
    for face in faces:
        found[body.table.face_edges[face]] = True
    return found


def _boxes(body: Standing, edges: Ints) -> tuple[Floats, Floats]:
    """Boxes of edges."""
    samples, bulge = body.edge_samples[edges], body.table.bulges_mm[edges][:, None]
    return samples.min(axis=1) - bulge, samples.max(axis=1) + bulge


def _meeting(view: EdgeView, e: int, f: int) -> Iterator[RawPatch]:
    a, b = view.a, view.b
    for _, spot, other in closest_points(a.edge(e), b.edge(f), view.touch_mm):
        normal = crossed(tangent_at(a.edge(e), spot), tangent_at(b.edge(f), other))
        out_a, out_b = _outward(a, e, spot), _outward(b, f, other)
        size = float(np.linalg.norm(normal))
        normal = normal / size if size > _PARALLEL else out_a - out_b
        normal = normal if float(normal @ (out_a - out_b)) >= 0 else -normal
        size = float(np.linalg.norm(normal))
        # The normal has to leave A and enter B, or the edges only pass through the same spot.
        if size < _OPPOSED or float(normal @ out_a) < -_OPPOSED or float(normal @ out_b) > _OPPOSED:
            continue
        yield raw_point(a.table.edge_faces[e], b.table.edge_faces[f], normal / size, spot)


def _outward(body: Standing, edge: int, spot: Floats) -> Floats:
    """Sum of the outward normals of the faces beside an edge."""
    return np.asarray(np.sum([body.normal_near(f, spot) for f in body.table.edge_faces[edge]], axis=0))
