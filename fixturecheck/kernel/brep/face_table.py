"""The faces, edges and vertices of a solid as arrays, as the contact map of the drawn pose needs them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepGProp import BRepGProp
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.GCPnts import GCPnts_AbscissaPoint, GCPnts_QuasiUniformDeflection
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.hulls import Hull, hull_of, supporting
from fixturecheck.kernel.brep.primitives import Circle, CurveKind, Surface, SurfaceKind
from fixturecheck.kernel.brep.surfaces import plane_of, surface_of
from fixturecheck.kernel.brep.table import BrepTable, EdgeRow, FaceRow, brep_tables, derived, drawn
from fixturecheck.kernel.brep.topology import xyz
from fixturecheck.kernel.shapes import Solid

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
    areas_mm2, area_centres : ndarray, shapes (F,) and (F, 3)
        Exact area and centre of each flat face with round edges; nan for the others.
    surfaces : tuple of Surface or None
        The surface of each curved face.
    starts, ends : ndarray, shape (E, 3)
        Ends of each edge.
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
    areas_mm2: Floats
    area_centres: Floats
    surfaces: tuple[Surface | None, ...]
    starts: Floats
    ends: Floats
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
    sizes = np.array(
        [_size(row, bool(round_)) for row, round_ in zip(faces, np.array(flat) & ~exact, strict=True)]
    )
    surfaces = tuple(surface_of(table, row) for row in faces)
    samples = np.array([_along(e) for e in edges]).reshape(-1, _SAMPLES, 3)
    hull = hull_of(table, surfaces)
    inward = np.array([_inward(e) for e in edges]).reshape(-1, 2, 3)
    smooth = np.linalg.norm(inward.sum(axis=1), axis=1) <= _SMOOTH
    two_sided = np.array([not e.degenerate and len(e.sides) > 1 for e in edges], dtype=bool)
    return FaceTable(
        kinds=tuple(row.kind for row in faces),
        normals=normals,
        offsets=offsets,
        rings=tuple(_rings(row) if level else None for row, level in zip(faces, flat, strict=True)),
        exact=exact,
        areas_mm2=sizes[:, 0],
        area_centres=sizes[:, 1:],
        surfaces=surfaces,
        starts=samples[:, 0],
        ends=samples[:, -1],
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


def _size(row: FaceRow, wanted: bool) -> tuple[float, float, float, float]:
    """Area and centre of a face, nan where they are not wanted."""
    if not wanted:
        return math.nan, math.nan, math.nan, math.nan
    properties = GProp_GProps()
    BRepGProp.SurfaceProperties_s(row.face.wrapped, properties)
    return properties.Mass(), *properties.CentreOfMass().Coord()


def _along(row: EdgeRow) -> Floats:
    """Points along an edge, evenly spaced in its parameter, ends included."""
    if row.degenerate:
        return np.tile(row.place, (_SAMPLES, 1))
    return np.array([xyz(row.curve.Value(t)) for t in np.linspace(*row.span, _SAMPLES)])


def _length_mm(row: EdgeRow) -> float:
    return 0.0 if row.degenerate else float(GCPnts_AbscissaPoint.Length_s(row.curve, _LENGTH_MM))


def _inward(row: EdgeRow) -> Floats:
    """Unit directions from the middle of an edge into its first two faces, (2, 3); zero without one."""
    found = np.zeros((2, 3))
    if not row.degenerate:
        for k, side in enumerate(row.probe.leaving(0.5)[:2]):
            found[k] = side
    return found


def _inverse(rows: Sequence[Iterable[int]], size: int) -> tuple[tuple[int, ...], ...]:
    out: list[list[int]] = [[] for _ in range(size)]
    for face, row in enumerate(rows):
        for item in row:
            out[item].append(face)
    return tuple(tuple(o) for o in out)


def _rings(row: FaceRow) -> tuple[Floats, ...]:
    """Wires of a planar face as closed rings of points, outer first; arcs become chords."""
    face = row.face.wrapped
    outer = BRepTools.OuterWire_s(face)
    explorer = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_WIRE)
    wires = []
    while explorer.More():
        wires.append(TopoDS.Wire_s(explorer.Current()))
        explorer.Next()
    wires.sort(key=lambda w: not w.IsSame(outer))
    return tuple(np.array(list(_walk(w, face))) for w in wires)


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
