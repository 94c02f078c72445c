"""What contact needs to know about a solid's faces, read once from the kernel into arrays.

A table belongs to the topology, in the solid's own frame; every placed copy of a part shares one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_SurfaceType
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedMapOfShape

from fixturecheck.kernel.facet_edges import chords, circle_of, edge_hull, edge_row, edge_vertices, inward_of
from fixturecheck.kernel.facet_nouns import Array, Circle, Surface, mapped, xyz
from fixturecheck.kernel.facet_surfaces import face_hull, surface_of
from fixturecheck.kernel.shapes import Placed, Solid

_KINDS = {
    GeomAbs_SurfaceType.GeomAbs_Plane: "plane",
    GeomAbs_SurfaceType.GeomAbs_Cylinder: "cylinder",
    GeomAbs_SurfaceType.GeomAbs_Cone: "cone",
    GeomAbs_SurfaceType.GeomAbs_Sphere: "sphere",
    GeomAbs_SurfaceType.GeomAbs_Torus: "torus",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceTable:
    """The faces, edges and vertices of one solid as arrays; F faces, E edges, V vertices, P hull pieces.

    Parameters
    ----------
    kinds : tuple of str
        Kind of each face's surface.
    normals, offsets : ndarray, shapes (F, 3) and (F,)
        Outward unit normal n and n.x of each plane; nan where the face is curved.
    rings : tuple
        For each plane its wires as arrays (k, 3), outer first; None where the face is curved.
    exact : ndarray of bool, shape (F,)
        Whether the rings are the face exactly (straight edges only).
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
    lids : ndarray of bool, shape (F,)
        Flat faces that the whole body lies behind, and that alone reach their plane.
    edge_vertices : ndarray of int, shape (E, 2)
        Vertices at the first and last sample.
    edge_faces, vertex_faces : tuple of tuple of int
        The faces that meet there.
    face_edges, face_vertices : tuple of ndarray
        The edges and vertices of each face.
    vertices : ndarray, shape (V, 3)
    hull_centres, hull_axes, hull_radii, hull_balls, hull_faces : ndarray
        Circles swept by balls whose convex hull holds each face: centre, axis, circle radius, ball
        radius, face index.
    """

    kinds: tuple[str, ...]
    normals: Array
    offsets: Array
    rings: tuple[tuple[Array, ...] | None, ...]
    exact: NDArray[np.bool_]
    surfaces: tuple[Surface | None, ...]
    starts: Array
    ends: Array
    straight: NDArray[np.bool_]
    samples: Array
    lengths_mm: Array
    sharp: NDArray[np.bool_]
    inward: Array
    circles: tuple[Circle | None, ...]
    lids: NDArray[np.bool_]
    edge_vertices: NDArray[np.int64]
    edge_faces: tuple[tuple[int, ...], ...]
    face_edges: tuple[NDArray[np.int64], ...]
    vertices: Array
    vertex_faces: tuple[tuple[int, ...], ...]
    face_vertices: tuple[NDArray[np.int64], ...]
    hull_centres: Array
    hull_axes: Array
    hull_radii: Array
    hull_balls: Array
    hull_faces: NDArray[np.int64]


def face_tables(solids: Sequence[Solid]) -> list[FaceTable]:
    """Return the table of every solid; placed copies of one topology share one table, read once."""
    distinct = TopTools_IndexedMapOfShape()
    tables: list[FaceTable] = []
    found = []
    for solid in solids:
        index = distinct.Add(solid.wrapped.Located(TopLoc_Location()))
        if index > len(tables):
            tables.append(face_table(solid))
        found.append(tables[index - 1])
    return found


def transform_of(placed: Placed) -> tuple[Array, Array]:
    """Return turn (3, 3) and shift (3,) from the topology's frame to the machine's."""
    location = placed.at.wrapped.Multiplied(placed.solid.wrapped.Location())
    move = location.Transformation()
    rows = [[move.Value(i, j) for j in range(1, 5)] for i in range(1, 4)]
    matrix = np.array(rows)
    return matrix[:, :3], matrix[:, 3]


def _pieces(shape: Any) -> tuple[list[Any], list[Any], list[Any]]:
    """Faces, edges and vertices, each once, in the kernel's order."""
    faces = [TopoDS.Face_s(f) for f in mapped(shape, TopAbs_ShapeEnum.TopAbs_FACE)]
    edges = [TopoDS.Edge_s(e) for e in mapped(shape, TopAbs_ShapeEnum.TopAbs_EDGE)]
    vertices = [TopoDS.Vertex_s(v) for v in mapped(shape, TopAbs_ShapeEnum.TopAbs_VERTEX)]
    return faces, edges, vertices


def face_table(solid: Solid) -> FaceTable:
    """Read a solid's faces into a table, in the frame of its topology."""
    shape = solid.wrapped.Located(TopLoc_Location())
    faces, edges, vertices = _pieces(shape)
    face_edges = [_indices(f, TopAbs_ShapeEnum.TopAbs_EDGE, edges) for f in faces]
    face_vertices = [_indices(f, TopAbs_ShapeEnum.TopAbs_VERTEX, vertices) for f in faces]
    edge_rows, edge_hulls = [edge_row(e) for e in edges], [list(edge_hull(e)) for e in edges]
    kinds, normals, offsets, rings, exact = [], [], [], [], []
    surfaces: list[Surface | None] = []
    hull: list[tuple[Array, Array, float, float, int]] = []
    for i, face in enumerate(faces):
        adaptor = BRepAdaptor_Surface(face, True)
        kind = _KINDS.get(adaptor.GetType(), "other")
        kinds.append(kind)
        if kind == "plane":
            normal, offset = _plane(face, adaptor)
            straight = all(edge_rows[e][2] for e in face_edges[i])
            outline = _rings(face)
            surfaces.append(None)
            hull += [(*piece, i) for e in face_edges[i] for piece in edge_hulls[e]]
        else:
            normal, offset, straight, outline = np.full(3, np.nan), math.nan, False, None
            surface = surface_of(face, adaptor, kind)
            surfaces.append(surface)
            hull += [(*piece, i) for piece in face_hull(face, surface)]
        normals.append(normal)
        offsets.append(offset)
        rings.append(outline)
        exact.append(straight)
    sharp, inward = inward_of(faces, edges)
    points = np.array([xyz(BRep_Tool.Pnt_s(v)) for v in vertices]).reshape(-1, 3)
    edge_faces = _inverse(face_edges, len(edges))
    return FaceTable(
        lids=_lids(kinds, normals, offsets, points, (face_edges, face_vertices, edge_faces), hull),
        sharp=sharp,
        inward=inward,
        circles=tuple(circle_of(e) for e in edges),
        kinds=tuple(kinds),
        normals=np.array(normals),
        offsets=np.array(offsets),
        rings=tuple(rings),
        exact=np.array(exact, dtype=bool),
        surfaces=tuple(surfaces),
        starts=np.array([r[0] for r in edge_rows]).reshape(-1, 3),
        ends=np.array([r[1] for r in edge_rows]).reshape(-1, 3),
        straight=np.array([r[2] for r in edge_rows], dtype=bool),
        samples=np.array([r[3] for r in edge_rows]).reshape(-1, 9, 3),
        lengths_mm=np.array([r[4] for r in edge_rows]),
        edge_vertices=edge_vertices(edges, vertices),
        edge_faces=edge_faces,
        face_edges=tuple(face_edges),
        vertices=points,
        vertex_faces=_inverse(face_vertices, len(vertices)),
        face_vertices=tuple(face_vertices),
        hull_centres=np.array([h[0] for h in hull]),
        hull_axes=np.array([h[1] for h in hull]),
        hull_radii=np.array([h[2] for h in hull]),
        hull_balls=np.array([h[3] for h in hull]),
        hull_faces=np.array([h[4] for h in hull]),
    )


def _indices(face: Any, what: Any, every: Sequence[Any]) -> NDArray[np.int64]:
    """Return the indices in `every` of the sub-shapes of a face."""
    lookup = TopTools_IndexedMapOfShape()
    for shape in every:
        lookup.Add(shape)
    found = {lookup.FindIndex(s) - 1 for s in mapped(face, what)}
    return np.array(sorted(found), dtype=np.int64)


_BEHIND_MM = 0.01


def _lids(
    kinds: Sequence[str],
    normals: Sequence[Array],
    offsets: Sequence[float],
    points: Array,
    topology: tuple[Sequence[Any], Sequence[Any], Sequence[tuple[int, ...]]],
    hull: Sequence[tuple[Array, Array, float, float, int]],
) -> NDArray[np.bool_]:
    """Whether each face is a lid."""
    flat = [k == "plane" for k in kinds]
    found = [f and _is_lid(i, normals[i], offsets[i], points, topology, hull) for i, f in enumerate(flat)]
    return np.array(found, dtype=bool)


def _is_lid(
    face: int,
    normal: Array,
    offset: float,
    points: Array,
    topology: tuple[Sequence[Any], Sequence[Any], Sequence[tuple[int, ...]]],
    hull: Sequence[tuple[Array, Array, float, float, int]],
) -> bool:
    """Whether all else lies behind a face's plane; faces beside it may touch the plane at its edges."""
    face_edges, face_vertices, edge_faces = topology
    others = np.setdiff1d(np.arange(len(points)), face_vertices[face])
    if others.size and float((points[others] @ normal).max()) > offset - _BEHIND_MM:
        return False
    beside = {f for e in face_edges[face] for f in edge_faces[e]}
    for centre, axis, radius, ball, owner in hull:
        reach = float(centre @ normal) + radius * math.sqrt(max(0.0, 1 - float(axis @ normal) ** 2)) + ball
        if reach > offset + (1e-7 if owner in beside else -_BEHIND_MM):
            return False
    return True


def _inverse(rows: Sequence[Iterable[int]], size: int) -> tuple[tuple[int, ...], ...]:
    out: list[list[int]] = [[] for _ in range(size)]
    for face, row in enumerate(rows):
        for item in row:
            out[item].append(face)
    return tuple(tuple(o) for o in out)


def _plane(face: Any, adaptor: BRepAdaptor_Surface) -> tuple[Array, float]:
    plane = adaptor.Plane()
    normal = xyz(plane.Axis().Direction())
    if not plane.Direct():
        normal = -normal
    if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        normal = -normal
    return normal, float(normal @ xyz(plane.Location()))


def _rings(face: Any) -> tuple[Array, ...]:
    """Wires of a planar face as closed rings of points, outer first; arcs become chords."""
    outer = BRepTools.OuterWire_s(face)
    explorer = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_WIRE)
    wires = []
    while explorer.More():
        wires.append(TopoDS.Wire_s(explorer.Current()))
        explorer.Next()
    wires.sort(key=lambda w: not w.IsSame(outer))
    return tuple(np.array(list(_walk(w, face))) for w in wires)


def _walk(wire: Any, face: Any) -> Iterator[Array]:
    explorer = BRepTools_WireExplorer(wire, face)
    while explorer.More():
        edge = explorer.Current()
        curve = BRepAdaptor_Curve(edge)
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
            yield xyz(BRep_Tool.Pnt_s(explorer.CurrentVertex()))
        else:
            run = chords(edge, curve)
            yield from (
                run[:0:-1] if explorer.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else run[:-1]
            )
        explorer.Next()
