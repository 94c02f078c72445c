"""The faces, edges and vertices of a solid as arrays, as the contact map of the drawn pose needs them.

Each face is held by the convex hull of some circles swept by balls, which bounds it in any direction. A flat
face supports the solid where all else of the solid lies behind its plane.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.GCPnts import GCPnts_AbscissaPoint, GCPnts_QuasiUniformDeflection
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import Circle, CurveKind, Surface, SurfaceKind
from fixturecheck.kernel.brep.table import (
    BrepTable,
    EdgeRow,
    FaceRow,
    brep_tables,
    derived,
    drawn,
    plane_of,
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
        The face that each helps to hold.
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


def hull_of(table: BrepTable, surfaces: Sequence[Surface | None], samples: Floats) -> Hull:
    """Return pieces whose convex hull holds each face.

    A flat face is held by its outline, and so is a ruled one: every point of it lies on a ruling between
    two points of the outline, however it is trimmed.

    Parameters
    ----------
    samples : ndarray, shape (E, k, 3)
        Points along each edge, ends included.
    """
    ends = samples[:, [0, -1]]
    outlines = [list(_of_edge(row, *of)) for row, of in zip(table.edges, ends, strict=True)]
    pieces: list[tuple[Floats, Floats, float, float, int]] = []
    for row, surface in zip(table.faces, surfaces, strict=True):
        if surface is None or surface.kind in {SurfaceKind.CYLINDER, SurfaceKind.CONE}:
            pieces += [(*piece, row.number) for e in table.face_edges[row.number] for piece in outlines[e]]
        else:
            pieces += [(*piece, row.number) for piece in _of_face(row, surface)]
    centres, axes, radii, balls, faces = zip(*pieces, strict=True)
    return Hull(
        centres=np.array(centres), axes=np.array(axes), radii=np.array(radii), balls=np.array(balls),
        faces=np.array(faces),
    )  # fmt: skip


def _of_edge(row: EdgeRow, start: Floats, end: Floats) -> Iterator[Piece]:
    """Pieces whose convex hull holds an edge, and which no plane tangent to it at an end cuts."""
    if row.degenerate:
        yield row.place, _NOWHERE, 0.0, 0.0
        return
    first, last = row.span
    circle = row.circle
    if circle is not None and last - first > _WIDE_RAD:
        yield circle.centre, circle.axis, circle.radius_mm, 0.0
        return
    yield start, _NOWHERE, 0.0, 0.0
    yield end, _NOWHERE, 0.0, 0.0
    if row.kind == CurveKind.LINE:
        return
    if circle is not None:
        # Corners of the polygon of tangents.
        half = (last - first) / (2 * _TANGENTS)
        for k in range(_TANGENTS):
            middle = xyz(row.curve.Value(first + (2 * k + 1) * half)) - circle.centre
            yield circle.centre + middle / math.cos(half), _NOWHERE, 0.0, 0.0
        return
    points = GCPnts_QuasiUniformDeflection(row.curve, _HULL_MM)
    for k in range(points.NbPoints()):
        yield xyz(points.Value(k + 1)), _NOWHERE, 0.0, _HULL_MM


def _of_face(row: FaceRow, surface: Surface) -> Iterator[Piece]:
    """Pieces whose convex hull holds a face that is not ruled."""
    if surface.kind == SurfaceKind.SPHERE:
        yield surface.origin, _NOWHERE, 0.0, surface.radius_mm
    elif surface.kind == SurfaceKind.TORUS:
        yield surface.origin, surface.axis, surface.radius_mm, surface.minor_radius_mm
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
    beside = np.zeros((count, count), dtype=bool)
    for face in range(count):
        own[table.face_vertices[face], face] = True
        beside[[f for e in table.face_edges[face] for f in edge_faces[e]], face] = True
    behind = np.where(own, -np.inf, corners).max(axis=0, initial=-np.inf) <= -_BEHIND_MM
    allowed = np.where(beside[hull.faces], (1e-7 + 2 * hull.balls)[:, None], -_BEHIND_MM)
    return np.asarray(~np.isnan(offsets) & behind & np.all(over <= allowed, axis=0))


CHORD_MM = 1e-3
"""How far the chords that stand for a round edge of a flat face may lie off it."""
_SAMPLES = 9
_LENGTH_MM = 1e-9
_SMOOTH = 1e-5
"""Length of the sum of the unit directions into two faces below which they run into each other smoothly."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceTable:
    """The faces, edges and vertices of one solid as arrays; F faces, E edges, V vertices.

    Parameters
    ----------
    kinds : tuple of SurfaceKind
        Kind of each face's surface.
    normals, offsets : ndarray, shapes (F, 3) and (F,)
        Outward unit normal n and n.x of each plane; nan where the face is curved.
    rings : tuple
        For each plane its wires as arrays (k, 3), outer first; None where the face is curved.
    exact : ndarray of bool, shape (F,)
        Whether the rings are the face exactly (straight edges only).
    rows : tuple of FaceRow
        Each face as the kernel holds it, which knows its exact area and centre.
    surfaces : tuple of Surface or None
        The surface of each curved face.
    straight : ndarray of bool, shape (E,)
        Whether the edge is a straight line.
    samples : ndarray, shape (E, 9, 3)
        Points along each edge, evenly spaced in its parameter, ends included.
    lengths_mm : ndarray, shape (E,)
        Length of each edge; zero where it is degenerate.
    sharp : ndarray of bool, shape (E,)
        Whether the faces meet at an angle; a seam, or where a fillet runs out, is smooth.
    inward : ndarray, shape (E, 2, 3)
        At the middle of each edge, the unit direction into either face, along that face.
    circles : tuple of Circle or None
        The circle of each round edge.
    supporting : ndarray of bool, shape (F,)
        Flat faces that the whole body lies behind, and that alone reach their plane.
    edge_vertices : ndarray of int, shape (E, 2)
        Vertices at the first and last sample.
    edge_faces, vertex_faces : tuple of tuple of int
        The faces that meet there.
    face_edges, face_vertices : tuple of ndarray
        The edges and vertices of each face.
    vertices : ndarray, shape (V, 3)
    hull : Hull
        Circles swept by balls whose convex hull holds each face.
    """

    kinds: tuple[SurfaceKind, ...]
    normals: Floats
    offsets: Floats
    rings: tuple[tuple[Floats, ...] | None, ...]
    exact: NDArray[np.bool_]
    rows: tuple[FaceRow, ...]
    surfaces: tuple[Surface | None, ...]
    straight: NDArray[np.bool_]
    samples: Floats
    lengths_mm: Floats
    sharp: NDArray[np.bool_]
    inward: Floats
    circles: tuple[Circle | None, ...]
    supporting: NDArray[np.bool_]
    edge_vertices: NDArray[np.int64]
    edge_faces: tuple[tuple[int, ...], ...]
    face_edges: tuple[NDArray[np.int64], ...]
    vertices: Floats
    vertex_faces: tuple[tuple[int, ...], ...]
    face_vertices: tuple[NDArray[np.int64], ...]
    hull: Hull


def face_tables(solids: Sequence[Solid]) -> list[FaceTable]:
    """Return the face table of every solid, in the frame of its topology; copies of one drawing share one."""
    return [derived(table, _face_table) for table in brep_tables([drawn(solid) for solid in solids])]


def _face_table(table: BrepTable) -> FaceTable:
    faces, edges = table.faces, table.edges
    edge_faces = _inverse(table.face_edges, len(edges))
    straight = np.array([e.kind == CurveKind.LINE for e in edges], dtype=bool)
    flat = [row.kind == SurfaceKind.PLANE for row in faces]
    curved = np.full(3, np.nan), math.nan
    planes = [plane_of(row) if level else curved for row, level in zip(faces, flat, strict=True)]
    normals, offsets = np.array([p[0] for p in planes]), np.array([p[1] for p in planes])
    exact = np.array([level and straight[of].all() for level, of in zip(flat, table.face_edges, strict=True)])
    surfaces = tuple(surface_of(table, row) for row in faces)
    samples = _samples(edges)
    hull = hull_of(table, surfaces, samples)
    inward = _inward(edges, samples, normals)
    smooth = np.linalg.norm(inward.sum(axis=1), axis=1) <= _SMOOTH
    two_sided = np.array([not e.degenerate and len(e.sides) > 1 for e in edges], dtype=bool)
    return FaceTable(
        kinds=tuple(row.kind for row in faces),
        normals=normals,
        offsets=offsets,
        rings=tuple(
            _rings(row, straight=bool(plain)) if level else None
            for row, level, plain in zip(faces, flat, exact, strict=True)
        ),
        exact=exact,
        rows=faces,
        surfaces=surfaces,
        straight=straight,
        samples=samples,
        lengths_mm=np.array([_length_mm(e) for e in edges]),
        sharp=~smooth & two_sided,
        inward=inward,
        circles=tuple(e.circle for e in edges),
        supporting=supporting(table, hull, normals, offsets, edge_faces),
        edge_vertices=table.edge_vertices,
        edge_faces=edge_faces,
        face_edges=table.face_edges,
        vertices=table.vertices,
        vertex_faces=_inverse(table.face_vertices, len(table.vertices)),
        face_vertices=table.face_vertices,
        hull=hull,
    )


def _samples(edges: Sequence[EdgeRow]) -> Floats:
    """Points along every edge, evenly spaced in its parameter, ends included, (E, 9, 3)."""
    found = np.empty((len(edges), _SAMPLES, 3))
    lines = [(k, *e.line, *e.span) for k, e in enumerate(edges) if e.line is not None]
    if lines:
        of, places, ways, first, last = (np.array(column) for column in zip(*lines, strict=True))
        at = np.linspace(first, last, _SAMPLES, axis=1)
        found[of] = at[..., None] * ways[:, None] + places[:, None]
    for k, edge in enumerate(edges):
        if edge.degenerate:
            found[k] = edge.place
        elif edge.line is None:
            found[k] = [edge.curve.Value(t).Coord() for t in np.linspace(*edge.span, _SAMPLES)]
    return found


def _length_mm(row: EdgeRow) -> float:
    if row.degenerate:
        return 0.0
    if row.line is not None:
        return abs(row.span[1] - row.span[0])
    return float(GCPnts_AbscissaPoint.Length_s(row.curve, _LENGTH_MM))


def _inward(edges: Sequence[EdgeRow], samples: Floats, normals: Floats) -> Floats:
    """Unit directions from the middle of every edge into its first two faces, (E, 2, 3); zero without one.

    Parameters
    ----------
    normals : ndarray, shape (F, 3)
        Outward normals of the flat faces; nan where curved.
    """
    found = np.zeros((len(edges), 2, 3))
    flat = ~np.isnan(normals[:, 0])
    plain = list[tuple[int, int, int, int]]()
    for k, edge in enumerate(edges):
        if edge.degenerate:
            continue
        sides = edge.sides[:2]
        if edge.line is not None and all(flat[row.number] for _, row in sides):
            plain += [(k, n, row.number, run_of(side)) for n, (side, row) in enumerate(sides)]
        else:
            for n, way in enumerate(edge.probe.leaving(0.5)[:2]):
                found[k, n] = way
    if plain:
        of, place, face, run = np.array(plain).T
        into = np.cross(normals[face], samples[of, -1] - samples[of, 0]) * run[:, None]
        found[of, place] = into / np.linalg.norm(into, axis=1)[:, None]
    return found


def _inverse(rows: Sequence[Iterable[int]], size: int) -> tuple[tuple[int, ...], ...]:
    out: list[list[int]] = [[] for _ in range(size)]
    for face, row in enumerate(rows):
        for item in row:
            out[item].append(face)
    return tuple(tuple(o) for o in out)


def _rings(row: FaceRow, *, straight: bool) -> tuple[Floats, ...]:
    """Wires of a planar face as closed rings of points, outer first; arcs become chords."""
    face = row.face.wrapped
    outer = BRepTools.OuterWire_s(face)
    explorer = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_WIRE)
    wires = []
    while explorer.More():
        wires.append(TopoDS.Wire_s(explorer.Current()))
        explorer.Next()
    wires.sort(key=lambda w: not w.IsSame(outer))
    walk = _corners if straight else _walk
    return tuple(np.array(list(walk(w, face))) for w in wires)


def _corners(wire: Any, face: Any) -> Iterator[tuple[float, float, float]]:
    explorer = BRepTools_WireExplorer(wire, face)
    while explorer.More():
        yield BRep_Tool.Pnt_s(explorer.CurrentVertex()).Coord()
        explorer.Next()


def _walk(wire: Any, face: Any) -> Iterator[Floats]:
    explorer = BRepTools_WireExplorer(wire, face)
    while explorer.More():
        row = EdgeRow(explorer.Current())
        if row.kind == CurveKind.LINE:
            yield xyz(BRep_Tool.Pnt_s(explorer.CurrentVertex()))
        else:
            run = _chords(row)
            yield from (
                run[:0:-1] if explorer.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else run[:-1]
            )
        explorer.Next()


def _chords(row: EdgeRow) -> Sequence[Floats]:
    """Points along a curved edge whose chords stay within the chord tolerance of it."""
    circle = row.circle
    if circle is None:
        points = GCPnts_QuasiUniformDeflection(row.curve, CHORD_MM)
        return [xyz(points.Value(i + 1)) for i in range(points.NbPoints())]
    first, last = circle.arc_rad
    step = 2 * math.acos(max(1 - CHORD_MM / circle.radius_mm, 0.0))
    t = np.linspace(first, last, max(2, math.ceil((last - first) / step) + 1))[:, None]
    around = np.cos(t) * circle.x_axis + np.sin(t) * circle.y_axis
    return list(circle.centre + circle.radius_mm * around)
