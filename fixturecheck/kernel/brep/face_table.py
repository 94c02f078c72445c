"""The faces, edges and vertices of a solid as arrays, as the contact map of the drawn pose needs them.

Each face is held by the convex hull of some circles swept by balls, which bounds it in any direction. A flat
face supports the solid where all else of the solid lies behind its plane.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.GCPnts import GCPnts_AbscissaPoint, GCPnts_QuasiUniformDeflection
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.kernel.brep.primitives import CurveKind, Surface, SurfaceKind, normal_out
from fixturecheck.kernel.brep.sheets import Sheets, sheets_of
from fixturecheck.kernel.brep.table import (
    REVERSED,
    BrepTable,
    EdgeRow,
    FaceRow,
    along_edges,
    brep_tables,
    derived,
    drawn,
    ends_of_edges,
    planes_of,
    run_of,
    surface_of,
)
from fixturecheck.kernel.brep.topology import xyz
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Solid

Piece = tuple[Floats, Floats, float, float]
"""A circle swept by a ball: centre, axis, radius of the circle, radius of the ball."""

_WIDE_RAD = 1.2 * math.pi
"""Arcs wider than this are held by their whole circle, narrower ones by their tangents."""
_HULL_MM = 2e-4
"""Chords that stand for a free curve stay this close to it: well below the touch tolerance."""
_TANGENTS = 8
_RULED = {SurfaceKind.PLANE, SurfaceKind.CYLINDER, SurfaceKind.CONE}
_NOWHERE = np.zeros(3)
_BEHIND_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hull:
    """Circles swept by balls whose convex hull holds each face of a solid; P pieces.

    Parameters
    ----------
    centres, axes : ndarray, shape (P, 3)
        Centre and unit axis of each circle; a point has no axis.
    radii, balls : ndarray, shape (P,)
        Radius of the circle, and of the ball.
    faces : ndarray of int, shape (P,)
        The face that each helps to hold, in order; each face has some.
    """

    centres: Floats
    axes: Floats
    radii: Floats
    balls: Floats
    faces: NDArray[np.int64]

    def reach(self, normals: Floats) -> Floats:
        """Return how far each piece reaches along each of some unit directions (n, 3), shape (P, n)."""
        tilt = np.sqrt(np.clip(1.0 - (self.axes @ normals.T) ** 2, 0.0, 1.0))
        return self.centres @ normals.T + self.radii[:, None] * tilt + self.balls[:, None]

    def least(self, by_piece: Floats) -> Floats:
        """Return the least of each column over the pieces of each face, (P, n) given, (F, n) returned."""
        return np.asarray(np.minimum.reduceat(by_piece, self._starts))

    def most(self, by_piece: Floats) -> Floats:
        """Return the greatest of each column over the pieces of each face, (P, n) given, (F, n) returned."""
        return np.asarray(np.maximum.reduceat(by_piece, self._starts))

    @property
    def _starts(self) -> Ints:
        return np.flatnonzero(np.diff(self.faces, prepend=-1))


def hull_of(table: BrepTable) -> Hull:
    """Return pieces whose convex hull holds each face.

    A flat face is held by its outline, and so is a ruled one: every point of it lies on a ruling between
    two points of the outline, however it is trimmed.
    """
    # Both ends of every edge come first; what else holds an edge or a face follows.
    ends = derived(table, ends_of_edges).reshape(-1, 3)
    pieces: list[Piece] = []
    of_edge: list[Sequence[int]] = []
    for e, edge in enumerate(table.edges):
        first = len(ends) + len(pieces)
        if edge.kind == CurveKind.LINE:
            of_edge.append((2 * e, 2 * e + 1))
        elif edge.degenerate:
            of_edge.append((2 * e,))
        else:
            pieces += (more := list(_of_edge(edge)))
            wide = bool(more and more[0][2] > 0.0)
            of_edge.append((*(() if wide else (2 * e, 2 * e + 1)), *range(first, first + len(more))))
    chosen: list[int] = []
    counts: list[int] = []
    for row in table.faces:
        before = len(chosen)
        if row.kind in _RULED:
            for e in table.face_edges[row.number].tolist():
                chosen += of_edge[e]
        else:
            own = len(pieces)
            pieces += _of_face(row)
            chosen += range(len(ends) + own, len(ends) + len(pieces))
        counts.append(len(chosen) - before)
    held = np.zeros((len(ends) + len(pieces), 8))
    held[: len(ends), :3] = ends
    for k, (centre, axis, radius_mm, ball_mm) in enumerate(pieces, start=len(ends)):
        held[k, :3], held[k, 3:6], held[k, 6], held[k, 7] = centre, axis, radius_mm, ball_mm
    held = held[chosen]
    return Hull(
        centres=held[:, :3], axes=held[:, 3:6], radii=held[:, 6], balls=held[:, 7],
        faces=np.repeat(np.arange(len(counts)), counts),
    )  # fmt: skip


def _of_edge(row: EdgeRow) -> Iterator[Piece]:
    """Pieces that hold a curved edge with its ends, and which no plane tangent to it at an end cuts.

    A circle holds the edge without them.
    """
    first, last = row.span
    circle, narrow = row.circle, last - first <= _WIDE_RAD
    half = (last - first) / (2 * _TANGENTS)
    if circle is not None and not narrow:
        yield circle.centre, circle.axis, circle.radius_mm, 0.0
    elif narrow and (circle is not None or row.kind == CurveKind.ELLIPSE):
        # Corners of the polygon of tangents: an ellipse is a circle drawn out, and so are its tangents.
        at = np.asarray(first + half * np.arange(1, 2 * _TANGENTS, 2), dtype=np.float64)
        if circle is not None:
            centre, middles = circle.centre, circle.at(at)
        else:
            centre = xyz(row.curve.Ellipse().Location())
            middles = np.array([row.curve.Value(t).Coord() for t in at.tolist()])
        for corner in centre + (middles - centre) / math.cos(half):
            yield corner, _NOWHERE, 0.0, 0.0
    else:
        points = GCPnts_QuasiUniformDeflection(row.curve, _HULL_MM)
        for k in range(points.NbPoints()):
            yield xyz(points.Value(k + 1)), _NOWHERE, 0.0, _HULL_MM


def _of_face(row: FaceRow) -> Iterator[Piece]:
    """Pieces whose convex hull holds a face that is not ruled."""
    if row.kind == SurfaceKind.SPHERE:
        yield xyz(row.quadric.Location()), _NOWHERE, 0.0, row.quadric.Radius()
    elif row.kind == SurfaceKind.TORUS:
        position = row.quadric.Position()
        radii = row.quadric.MajorRadius(), row.quadric.MinorRadius()
        yield (xyz(position.Location()), xyz(position.Direction()), *radii)
    else:
        x0, y0, z0, x1, y1, z1 = box_of(row.face)
        for x in (x0, x1):
            for y in (y0, y1):
                for z in (z0, z1):
                    yield np.array([x, y, z]), _NOWHERE, 0.0, 0.0


def supporting(
    table: BrepTable, hull: Hull, normals: Floats, offsets: Floats, edge_faces: Sequence[tuple[int, ...]]
) -> NDArray[np.bool_]:
    """Tell the flat faces that support the solid: all else lies behind the plane, and only they reach it.

    Parameters
    ----------
    normals, offsets : ndarray, shapes (F, 3) and (F,)
        Outward unit normal n and n.x of each plane, mm; nan where the face is curved.

    Returns
    -------
    ndarray of bool, shape (F,)
        Faces beside a supporting one may touch its plane at its edges.
    """
    # nan, from a curved face, compares false and makes no supporting face.
    over = hull.reach(normals) - offsets
    corners = table.vertices @ normals.T - offsets
    count = len(normals)
    own = np.zeros((len(table.vertices), count), dtype=bool)
    own[
        np.concatenate(table.face_vertices),
        np.repeat(np.arange(count), [len(v) for v in table.face_vertices]),
    ] = True
    beside = np.eye(count, dtype=bool)
    beside[tuple(zip(*((f, g) for pair in edge_faces for f in pair for g in pair), strict=True))] = True
    behind = np.where(own, -np.inf, corners).max(axis=0, initial=-np.inf) <= -_BEHIND_MM
    allowed = np.where(beside[hull.faces], (1e-7 + 2 * hull.balls)[:, None], -_BEHIND_MM)
    return np.asarray(~np.isnan(offsets) & behind & np.all(over <= allowed, axis=0))


CHORD_MM = 1e-3
"""How far the chords that stand for a round edge of a flat face may lie off it."""
_SAMPLES = 9
_LENGTH_MM = 1e-9
_SMOOTH = 1e-5
"""Length of the sum of the unit directions into two faces below which they run into each other smoothly."""


class FaceTable:
    """The faces, edges and vertices of one solid as arrays; F faces, E edges, V vertices.

    What few bodies are asked for is worked out when it first is.

    Attributes
    ----------
    kinds : tuple of SurfaceKind
        Kind of each face's surface.
    normals, offsets : ndarray, shapes (F, 3) and (F,)
        Outward unit normal n and n.x of each plane; nan where the face is curved.
    rings : Rings
        For each plane its wires as arrays (k, 3), outer first; None where the face is curved.
    exact : ndarray of bool, shape (F,)
        Whether the rings are the face exactly (straight edges only).
    rows : tuple of FaceRow
        Each face as the kernel holds it, which knows its exact area and centre.
    straight : ndarray of bool, shape (E,)
        Whether the edge is a straight line.
    circles : tuple of Circle or None
        The circle of each round edge.
    edge_vertices : ndarray of int, shape (E, 2)
        Vertices at the first and last sample.
    face_edges, face_vertices : tuple of ndarray
        The edges and vertices of each face.
    vertices : ndarray, shape (V, 3)
    hull : Hull
        Circles swept by balls whose convex hull holds each face.
    """

    def __init__(self, table: BrepTable) -> None:
        self._table = table
        self.rows = table.faces
        self.kinds = tuple(row.kind for row in table.faces)
        self.normals, self.offsets = planes_of(table.faces)
        self.straight: Bools = np.array([e.kind == CurveKind.LINE for e in table.edges], dtype=bool)
        self.circles = tuple(e.circle for e in table.edges)
        self.edge_vertices, self.vertices = table.edge_vertices, table.vertices
        self.face_edges, self.face_vertices = table.face_edges, table.face_vertices
        self.rings = Rings(table)
        self.hull = hull_of(table)

    @cached_property
    def exact(self) -> Bools:
        """Whether a face is flat with straight edges only, (F,)."""
        edges = zip(self.kinds, self.face_edges, strict=True)
        return np.array([kind == SurfaceKind.PLANE and bool(self.straight[of].all()) for kind, of in edges])

    @cached_property
    def surfaces(self) -> tuple[Surface | None, ...]:
        """The surface of each curved face; None where it is flat."""
        return tuple(surface_of(self._table, row) for row in self.rows)

    @cached_property
    def samples(self) -> Floats:
        """Points along each edge, evenly spaced in its parameter, ends included, (E, 9, 3)."""
        return along_edges(self._table.edges, _SAMPLES)

    @cached_property
    def lengths_mm(self) -> Floats:
        """Length of each edge, (E,); zero where it is degenerate."""
        return np.array([_length_mm(e) for e in self._table.edges])

    @cached_property
    def inward(self) -> Floats:
        """At the middle of each edge, the unit direction into either face, along that face, (E, 2, 3)."""
        return _inward(self._table.edges, self.samples, self.normals, self.surfaces)

    @cached_property
    def sharp_edges(self) -> Bools:
        """Whether the faces beside an edge meet at an angle, (E,); a seam is smooth."""
        smooth = np.linalg.norm(self.inward.sum(axis=1), axis=1) <= _SMOOTH
        two_sided = [not e.degenerate and len(e.sides) > 1 for e in self._table.edges]
        return np.asarray(~smooth & np.array(two_sided, dtype=bool))

    @cached_property
    def supporting(self) -> Bools:
        """Flat faces that the whole body lies behind, and that alone reach their plane, (F,)."""
        return supporting(self._table, self.hull, self.normals, self.offsets, self.edge_faces)

    @cached_property
    def edge_faces(self) -> tuple[tuple[int, ...], ...]:
        """The faces that meet in each edge."""
        return _inverse(self.face_edges, len(self.straight))

    @cached_property
    def vertex_faces(self) -> tuple[tuple[int, ...], ...]:
        """The faces that meet in each vertex."""
        return _inverse(self.face_vertices, len(self.vertices))

    @cached_property
    def sheets(self) -> Sheets:
        """Flat sheets that stand for faces."""
        return sheets_of(self._table, self.normals, self.offsets, self.surfaces)


def face_tables(solids: Sequence[Solid]) -> list[FaceTable]:
    """Return the face table of every solid, in the frame of its topology; copies of one drawing share one."""
    return [derived(table, FaceTable) for table in brep_tables([drawn(solid) for solid in solids])]


def _length_mm(row: EdgeRow) -> float:
    if row.degenerate:
        return 0.0
    if row.kind == CurveKind.LINE:
        return abs(row.span[1] - row.span[0])
    if row.circle is not None:
        return row.circle.radius_mm * abs(row.span[1] - row.span[0])
    return float(GCPnts_AbscissaPoint.Length_s(row.curve, _LENGTH_MM))


def _inward(
    edges: Sequence[EdgeRow], samples: Floats, normals: Floats, surfaces: Sequence[Surface | None]
) -> Floats:
    """Unit directions from the middle of every edge into its first two faces, (E, 2, 3); zero without one.

    Parameters
    ----------
    normals : ndarray, shape (F, 3)
        Outward normals of the flat faces; nan where curved.
    """
    found = np.zeros((len(edges), 2, 3))
    middles = samples[:, _SAMPLES // 2]
    closed = [surface is None or surface.kind != SurfaceKind.OTHER for surface in surfaces]
    places, runs, outward = list[tuple[int, int]](), list[int](), list[Floats]()
    ways = samples[:, -1] - samples[:, 0]
    for k, edge in enumerate(edges):
        if edge.degenerate:
            continue
        beside = edge.sides[:2]
        if not all(closed[row.number] for _, row in beside):
            for n, way in enumerate(edge.probe.leaving(0.5)[:2]):
                found[k, n] = way
            continue
        if edge.kind != CurveKind.LINE:
            ways[k] = edge.way(0.5)
        for n, (side, row) in enumerate(beside):
            places.append((k, n))
            runs.append(run_of(side))
            surface = surfaces[row.number]
            outward.append(normals[row.number] if surface is None else normal_out(surface, middles[k]))
    if places:
        of, place = np.array(places).T
        into = np.cross(outward, ways[of]) * np.array(runs)[:, None]
        found[of, place] = into / np.linalg.norm(into, axis=1)[:, None]
    return found


class Rings:
    """The wires of each flat face as closed rings of points, outer first, walked when first asked for.

    Round edges become chords. Most faces of a gang lie near no other and are never walked.

    Parameters
    ----------
    table : BrepTable
    """

    def __init__(self, table: BrepTable) -> None:
        self._table = table
        self._ends = table.edge_vertices.tolist()
        self._corners = table.vertices.tolist()
        self._known: dict[int, tuple[tuple[Floats, Ints], ...]] = {}

    def __iter__(self) -> Iterator[tuple[Floats, ...] | None]:
        return (self[face] for face in range(len(self._table.faces)))

    def __getitem__(self, face: int) -> tuple[Floats, ...] | None:
        if self._table.faces[face].kind != SurfaceKind.PLANE:
            return None
        return tuple(points for points, _ in self._walked(face))

    def sides(self, face: int) -> tuple[Ints, ...]:
        """Return the edge that each side of each ring belongs to; a side runs from its point to the next."""
        return tuple(edges for _, edges in self._walked(face))

    def _walked(self, face: int) -> tuple[tuple[Floats, Ints], ...]:
        if face not in self._known:
            row = self._table.faces[face]
            numbers = [self._table.edge_number(side) - 1 for side in row.edges]
            sides = self._in_a_row(
                [(k, run_of(side) < 0) for k, side in zip(numbers, row.edges, strict=True)]
            )
            self._known[face] = (self._ring(sides),) if sides else self._wires(row)
        return self._known[face]

    def _in_a_row(self, sides: Sequence[tuple[int, bool]]) -> list[tuple[int, bool]]:
        """Return the sides of a face as they follow from the first; empty where they are no single ring."""
        after = {self._ends[k][back]: (k, back) for k, back in sides}
        found = [sides[0]]
        while len(found) < len(sides):
            k, back = found[-1]
            following = after.get(self._ends[k][not back])
            if following is None or following == sides[0]:
                return []
            found.append(following)
        k, back = found[-1]
        closed = len(after) == len(sides) and self._ends[k][not back] == self._ends[sides[0][0]][sides[0][1]]
        return found if closed else []

    def _wires(self, row: FaceRow) -> tuple[tuple[Floats, Ints], ...]:
        """Walk every wire of a face by the kernel, which knows where edges meet that share no vertex."""
        wrapped = row.face.wrapped
        outer = BRepTools.OuterWire_s(wrapped)
        explorer = TopExp_Explorer(wrapped, TopAbs_ShapeEnum.TopAbs_WIRE)
        wires = []
        while explorer.More():
            wires.append(TopoDS.Wire_s(explorer.Current()))
            explorer.Next()
        wires.sort(key=lambda w: not w.IsSame(outer))
        found = []
        for wire in wires:
            sides = []
            walk = BRepTools_WireExplorer(wire, wrapped)
            while walk.More():
                sides.append(
                    (self._table.edge_number(walk.Current()) - 1, int(walk.Orientation()) == REVERSED)
                )
                walk.Next()
            found.append(self._ring(sides))
        return tuple(found)

    def _ring(self, sides: Sequence[tuple[int, bool]]) -> tuple[Floats, Ints]:
        """Return the points of a ring, and the edge that each side of it belongs to."""
        points, edges = list[Any](), list[int]()
        for number, back in sides:
            row = self._table.edges[number]
            if row.kind == CurveKind.LINE:
                run = [self._corners[self._ends[number][back]]]
            else:
                chords = _chords(row)
                run = chords[:0:-1] if back else chords[:-1]
            points += run
            edges += [number] * len(run)
        return np.array(points), np.array(edges, dtype=np.int64)


def _chords(row: EdgeRow) -> list[tuple[float, float, float]]:
    """Points along a curved edge whose chords stay within the chord tolerance of it."""
    circle = row.circle
    if circle is None:
        points = GCPnts_QuasiUniformDeflection(row.curve, CHORD_MM)
        return [points.Value(i + 1).Coord() for i in range(points.NbPoints())]
    first, last = circle.arc_rad
    step = 2 * math.acos(max(1 - CHORD_MM / circle.radius_mm, 0.0))
    around = circle.at(np.linspace(first, last, max(2, math.ceil((last - first) / step) + 1)))
    return [(x, y, z) for x, y, z in around.tolist()]


def _inverse(rows: Sequence[Iterable[int]], size: int) -> tuple[tuple[int, ...], ...]:
    out: list[list[int]] = [[] for _ in range(size)]
    for face, row in enumerate(rows):
        for item in row:
            out[item].append(face)
    return tuple(tuple(o) for o in out)
