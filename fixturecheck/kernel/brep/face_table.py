"""The faces, edges and vertices of a solid as arrays, as the contact map of the drawn pose needs them.

Each face is held by the convex hull of some circles swept by balls, which bounds it in any direction. A flat
face supports the solid where all else of the solid lies behind its plane.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.GCPnts import GCPnts_AbscissaPoint, GCPnts_QuasiUniformDeflection
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.kernel.brep.primitives import Circle, CurveKind, Surface, SurfaceKind, normal_out
from fixturecheck.kernel.brep.probes import REVERSED
from fixturecheck.kernel.brep.sheet_loops import STEPS
from fixturecheck.kernel.brep.sheets import Sheets, sheets_of
from fixturecheck.kernel.brep.supporting import Pieces, supporting
from fixturecheck.kernel.brep.table import (
    SAMPLES,
    BrepTable,
    EdgeRow,
    FaceRow,
    brep_tables,
    derived,
    drawn,
    edge_samples,
    planes_of,
    surfaces_of,
)
from fixturecheck.kernel.brep.topology import xyz
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Solid

_WIDE_RAD = 1.2 * math.pi
"""Arcs wider than this are held by their whole circle, narrower ones by their tangents."""
_HULL_MM = 2e-4
"""Chords that stand for a free curve stay this close to it: well below the touch tolerance."""
_TANGENTS = 8
_RULED = {SurfaceKind.PLANE, SurfaceKind.CYLINDER, SurfaceKind.CONE}


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
    faces: Ints

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


def _hull_of(table: BrepTable) -> Hull:
    """Return pieces whose convex hull holds each face.

    A flat face is held by its outline, and so is a ruled one: every point of it lies on a ruling between
    two points of the outline, however it is trimmed.
    """
    # Both ends of every edge come first; what else holds an edge or a face follows.
    pieces = [_points(derived(table, edge_samples)[:, [0, -1]].reshape(-1, 3))]
    count = len(pieces[0])
    of_edge: list[Sequence[int]] = []
    for e, edge in enumerate(table.edges):
        if edge.kind is CurveKind.LINE:
            of_edge.append((2 * e, 2 * e + 1))
        elif edge.degenerate:
            of_edge.append((2 * e,))
        else:
            more = _of_edge(edge)
            ends = () if more[0, _RADIUS] > 0.0 else (2 * e, 2 * e + 1)
            of_edge.append((*ends, *range(count, count + len(more))))
            pieces.append(more)
            count += len(more)
    chosen: list[int] = []
    counts: list[int] = []
    for row, around in zip(table.faces, table.face_edges, strict=True):
        before = len(chosen)
        if row.kind in _RULED:
            for e in around.tolist():
                chosen += of_edge[e]
        else:
            more = _of_face(row)
            chosen += range(count, count + len(more))
            pieces.append(more)
            count += len(more)
        counts.append(len(chosen) - before)
    held = np.concatenate(pieces)[chosen]
    return Hull(
        centres=held[:, :3], axes=held[:, 3:6], radii=held[:, _RADIUS], balls=held[:, _BALL],
        faces=np.repeat(np.arange(len(counts)), counts),
    )  # fmt: skip


_RADIUS, _BALL = 6, 7
"""Columns of pieces, (n, 8): centre and axis of a circle, its radius, and that of the ball that sweeps it."""


def _points(places: Floats, ball_mm: float = 0.0) -> Floats:
    """Return places (n, 3) as pieces (n, 8): circles of no radius, swept by a ball."""
    found = np.zeros((len(places), 8))
    found[:, :3], found[:, _BALL] = places, ball_mm
    return found


def _of_edge(row: EdgeRow) -> Floats:
    """Pieces (n, 8) that hold a curved edge with its ends, and which no plane tangent to it at an end cuts.

    A circle holds the edge without them.
    """
    first, last = row.span
    circle, narrow = row.circle, last - first <= _WIDE_RAD
    half = (last - first) / (2 * _TANGENTS)
    if circle is not None and not narrow:
        return np.array([(*circle.centre, *circle.axis, circle.radius_mm, 0.0)])
    if narrow and (circle is not None or row.kind is CurveKind.ELLIPSE):
        # Corners of the polygon of tangents: an ellipse is a circle drawn out, and so are its tangents.
        at = np.asarray(first + half * np.arange(1, 2 * _TANGENTS, 2), dtype=np.float64)
        if circle is not None:
            centre, middles = circle.centre, circle.at(at)
        else:
            centre = xyz(row.curve.Ellipse().Location())
            middles = np.array([row.curve.Value(t).Coord() for t in at.tolist()])
        return _points(centre + (middles - centre) / math.cos(half))
    along = GCPnts_QuasiUniformDeflection(row.curve, _HULL_MM)
    return _points(np.array([along.Value(k + 1).Coord() for k in range(along.NbPoints())]), _HULL_MM)


def _of_face(row: FaceRow) -> Floats:
    """Pieces (n, 8) whose convex hull holds a face that is not ruled."""
    if row.kind is SurfaceKind.SPHERE:
        return _points(xyz(row.quadric.Location())[None], row.quadric.Radius())
    if row.kind is SurfaceKind.TORUS:
        position = row.quadric.Position()
        radii = row.quadric.MajorRadius(), row.quadric.MinorRadius()
        return np.array([(*position.Location().Coord(), *position.Direction().Coord(), *radii)])
    low, high = np.array(box_of(row.face)).reshape(2, 3)
    return _points(np.where(np.indices((2, 2, 2)).reshape(3, -1).T, high, low))


CHORD_MM = 1e-3
"""How far the chords that stand for a round edge of a flat face may lie off it."""
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
        self.straight: Bools = np.array([e.kind is CurveKind.LINE for e in table.edges], dtype=bool)
        self.circles = tuple(e.circle for e in table.edges)
        self.edge_vertices, self.vertices = table.edge_vertices, table.vertices
        self.face_edges, self.face_vertices = table.face_edges, table.face_vertices
        self.rings = Rings(table)
        self.hull = _hull_of(table)

    @cached_property
    def exact(self) -> Bools:
        """Whether a face is flat with straight edges only, (F,)."""
        edges, first = self._table.edges_of_faces
        bent = np.repeat(np.arange(len(self.kinds)), np.diff(first))[~self.straight[edges]]
        found: Bools = np.array([kind is SurfaceKind.PLANE for kind in self.kinds], dtype=bool)
        found[bent] = False
        return found

    @cached_property
    def surfaces(self) -> tuple[Surface | None, ...]:
        """The surface of each curved face; None where it is flat."""
        return derived(self._table, surfaces_of)

    @cached_property
    def samples(self) -> Floats:
        """Points along each edge, evenly spaced in its parameter, ends included, (E, 9, 3)."""
        return derived(self._table, edge_samples)

    @cached_property
    def lengths_mm(self) -> Floats:
        """Length of each edge, (E,); zero where it is degenerate."""
        return np.array([_length_mm(e) for e in self._table.edges])

    @cached_property
    def bulges_mm(self) -> Floats:
        """How far each edge may lie off the nearest of its samples, (E,): half a step, if it is curved."""
        return np.where(self.straight, 0.0, self.lengths_mm / (2 * STEPS))

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
    def pieces(self) -> Pieces:
        """What holds the faces, as compiled loops take it."""
        hull = self.hull
        parts = hull.centres, hull.axes, hull.radii, hull.balls
        centres, axes, radii, balls = map(np.ascontiguousarray, parts)
        return centres, axes, radii, balls, hull.faces

    @cached_property
    def supporting(self) -> Bools:
        """Flat faces that the whole body lies behind, and that alone reach their plane, (F,)."""
        of_faces = self._table.vertices_of_faces, self._table.edges_of_faces
        return supporting(self.normals, self.offsets, self.vertices, *of_faces, self.pieces)

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
    """Return the face table of every solid, in the frame of its topology; copies of one drawing share one.

    Parameters
    ----------
    solids : sequence of Solid

    Returns
    -------
    list of FaceTable
        One for each solid, in the order given.
    """
    return [derived(table, FaceTable) for table in brep_tables([drawn(solid) for solid in solids])]


def _length_mm(row: EdgeRow) -> float:
    if row.degenerate:
        return 0.0
    if row.kind is CurveKind.LINE:
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
    middles = samples[:, SAMPLES // 2]
    closed = [surface is None or surface.kind is not SurfaceKind.OTHER for surface in surfaces]
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
        if edge.kind is not CurveKind.LINE:
            ways[k] = edge.way(0.5)
        for n, (_, row) in enumerate(beside):
            places.append((k, n))
            runs.append(-1 if edge.backs[n] else 1)
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
        self._ends: list[list[int]] = table.edge_vertices.tolist()
        self._corners: list[list[float]] = table.vertices.tolist()
        self._known: dict[int, tuple[tuple[Floats, Ints], ...]] = {}
        self._arcs: dict[int, Floats | None] = {}

    def __iter__(self) -> Iterator[tuple[Floats, ...] | None]:
        return (self[face] for face in range(len(self._table.faces)))

    def __getitem__(self, face: int) -> tuple[Floats, ...] | None:
        if self._table.faces[face].kind is not SurfaceKind.PLANE:
            return None
        return tuple(points for points, _ in self._walked(face))

    def sides(self, face: int) -> tuple[Ints, ...]:
        """Return the edge that each side of each ring belongs to; a side runs from its point to the next."""
        return tuple(edges for _, edges in self._walked(face))

    def arcs(self, face: int) -> Floats | None:
        """Return centre and radius of the arc that each side stands for, ring by ring.

        Returns
        -------
        ndarray, shape (k, 4), or None
            In the frame of the solid, mm; nan where a side is straight. None where an edge is neither.
        """
        if face not in self._arcs:
            around = {e: self._table.edges[e] for e in self._table.face_edges[face].tolist()}
            known = all(row.kind is CurveKind.LINE or row.circle is not None for row in around.values())
            arcs = {e: _arc(row.circle) for e, row in around.items()} if known else {}
            sides = np.concatenate(self.sides(face)).tolist() if known else ()
            self._arcs[face] = np.array([arcs[e] for e in sides]) if known else None
        return self._arcs[face]

    def _walked(self, face: int) -> tuple[tuple[Floats, Ints], ...]:
        if face not in self._known:
            row = self._table.faces[face]
            sides = self._in_a_row(list(zip(row.numbers, row.backs, strict=True)))
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
        outer = BRepTools.OuterWire_s(row.wrapped)
        explorer = TopExp_Explorer(row.wrapped, TopAbs_ShapeEnum.TopAbs_WIRE)
        wires = []
        while explorer.More():
            wires.append(TopoDS.Wire_s(explorer.Current()))
            explorer.Next()
        wires.sort(key=lambda w: not w.IsSame(outer))
        found = []
        for wire in wires:
            sides = []
            walk = BRepTools_WireExplorer(wire, row.wrapped)
            while walk.More():
                sides.append(
                    (self._table.edge_number(walk.Current()) - 1, int(walk.Orientation()) == REVERSED)
                )
                walk.Next()
            found.append(self._ring(sides))
        return tuple(found)

    def _ring(self, sides: Sequence[tuple[int, bool]]) -> tuple[Floats, Ints]:
        """Return the points of a ring, and the edge that each side of it belongs to."""
        rows, corners = self._table.edges, self._corners
        points, edges = list[list[float]](), list[int]()
        # Fewer than three sides enclose nothing: an arc may be so flat that one chord would do.
        least = max(1, 4 - len(sides))
        for number, back in sides:
            if rows[number].kind is CurveKind.LINE:
                points.append(corners[self._ends[number][back]])
                edges.append(number)
            else:
                chords = _chords(rows[number], least).tolist()
                points += chords[:0:-1] if back else chords[:-1]
                edges += [number] * (len(chords) - 1)
        return np.array(points), np.array(edges, dtype=np.int64)


def _arc(circle: Circle | None) -> tuple[float, ...]:
    return (math.nan,) * 4 if circle is None else (*circle.centre.tolist(), circle.radius_mm)


def _chords(row: EdgeRow, least: int) -> Floats:
    """Points (n, 3) along a curved edge whose chords, at least so many, stay within the tolerance of it."""
    circle = row.circle
    if circle is None:
        points = GCPnts_QuasiUniformDeflection(row.curve, CHORD_MM)
        if points.NbPoints() > least:
            return np.array([points.Value(i + 1).Coord() for i in range(points.NbPoints())])
        ends = row.curve.FirstParameter(), row.curve.LastParameter()
        return np.array([row.curve.Value(at).Coord() for at in np.linspace(*ends, least + 1)])
    first, last = circle.arc_rad
    step = 2 * math.acos(max(1 - CHORD_MM / circle.radius_mm, 0.0))
    count = max(least, math.ceil((last - first) / step))
    at = np.arange(count + 1, dtype=np.float64) * ((last - first) / count) + first
    at[-1] = last
    return circle.at(at)


def _inverse(rows: Sequence[Iterable[int]], size: int) -> tuple[tuple[int, ...], ...]:
    out: list[list[int]] = [[] for _ in range(size)]
    for face, row in enumerate(rows):
        for item in row:
            out[item].append(face)
    return tuple(tuple(o) for o in out)
