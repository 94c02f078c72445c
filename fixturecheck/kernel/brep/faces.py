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
from OCP.BRepGProp import BRepGProp
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_SurfaceType
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedMapOfShape

from fixturecheck.kernel.brep.edges import chords, circle_of, edge_hull, edge_row, edge_vertices, inward_of
from fixturecheck.kernel.brep.primitives import Array, Circle, Surface
from fixturecheck.kernel.brep.surfaces import face_hull, surface_of
from fixturecheck.kernel.brep.topology import mapped, one_of_each, xyz
from fixturecheck.kernel.shapes import Solid

Hull = tuple[Array, Array, Array, Array, NDArray[np.int64]]
"""Hull pieces as arrays: centres, axes, radii, balls, and the face that each holds."""

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
    areas_mm2: Array
    area_centres: Array
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


_KEPT = 256
"""How many tables are kept; a part of 100 faces takes about half a megabyte."""
_known: dict[Solid, FaceTable] = {}
"""Tables by drawing, oldest first. A drawing that is a key lives on, so no other can take its place."""


def face_tables(solids: Sequence[Solid]) -> list[FaceTable]:
    """Return the table of every solid; placed copies of one drawing share one table, read once.

    Tables are kept: the same solids are asked about again wherever they are tried. A copy is known by its
    binary form, which is far cheaper to write than its faces are to read.
    """
    drawings = [Solid(solid.wrapped.Located(TopLoc_Location())) for solid in solids]
    if not all(drawing in _known for drawing in drawings):
        firsts = one_of_each(solids)
        for drawing, first in zip(drawings, firsts, strict=True):
            if drawing not in _known:
                _known[drawing] = _known.get(drawings[first]) or face_table(drawing)
    found = [_known[drawing] for drawing in drawings]
    while len(_known) > _KEPT:
        del _known[next(iter(_known))]
    return found


def _pieces(shape: Any) -> tuple[list[Any], list[Any], list[Any]]:
    """Faces, edges and vertices, each once, in the kernel's order."""
    faces = [TopoDS.Face_s(f) for f in mapped(shape, TopAbs_ShapeEnum.TopAbs_FACE)]
    edges = [TopoDS.Edge_s(e) for e in mapped(shape, TopAbs_ShapeEnum.TopAbs_EDGE)]
    vertices = [TopoDS.Vertex_s(v) for v in mapped(shape, TopAbs_ShapeEnum.TopAbs_VERTEX)]
    return faces, edges, vertices


def face_table(solid: Solid) -> FaceTable:
    """Read a solid's faces into a table, in the frame of its topology."""
    faces, edges, vertices = _pieces(solid.wrapped.Located(TopLoc_Location()))
    face_edges = [_indices(f, TopAbs_ShapeEnum.TopAbs_EDGE, edges) for f in faces]
    face_vertices = [_indices(f, TopAbs_ShapeEnum.TopAbs_VERTEX, vertices) for f in faces]
    edge_faces = _inverse(face_edges, len(edges))
    edge_rows = [edge_row(e) for e in edges]
    straight = np.array([r[2] for r in edge_rows], dtype=bool)
    rows = [_face_row(f, bool(straight[of].all())) for f, of in zip(faces, face_edges, strict=True)]
    normals, offsets = np.array([r.normal for r in rows]), np.array([r.offset for r in rows])
    sizes = np.array([r.size for r in rows])
    points = np.array([xyz(BRep_Tool.Pnt_s(v)) for v in vertices]).reshape(-1, 3)
    pieces = _hull(faces, edges, rows, face_edges)
    sharp, inward = inward_of(faces, edges)
    return FaceTable(
        lids=_lids((normals, offsets), points, (face_edges, face_vertices, edge_faces), pieces),
        sharp=sharp,
        inward=inward,
        circles=tuple(circle_of(e) for e in edges),
        kinds=tuple(r.kind for r in rows),
        normals=normals,
        offsets=offsets,
        rings=tuple(r.rings for r in rows),
        exact=np.array([r.exact for r in rows], dtype=bool),
        areas_mm2=sizes[:, 0],
        area_centres=sizes[:, 1:],
        surfaces=tuple(r.surface for r in rows),
        starts=np.array([r[0] for r in edge_rows]).reshape(-1, 3),
        ends=np.array([r[1] for r in edge_rows]).reshape(-1, 3),
        straight=straight,
        samples=np.array([r[3] for r in edge_rows]).reshape(-1, 9, 3),
        lengths_mm=np.array([r[4] for r in edge_rows]),
        edge_vertices=edge_vertices(edges, vertices),
        edge_faces=edge_faces,
        face_edges=tuple(face_edges),
        vertices=points,
        vertex_faces=_inverse(face_vertices, len(vertices)),
        face_vertices=tuple(face_vertices),
        hull_centres=pieces[0],
        hull_axes=pieces[1],
        hull_radii=pieces[2],
        hull_balls=pieces[3],
        hull_faces=pieces[4],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _FaceRow:
    """What is read of one face."""

    kind: str
    normal: Array
    offset: float
    rings: tuple[Array, ...] | None
    exact: bool
    surface: Surface | None
    size: tuple[float, float, float, float]


def _face_row(face: Any, straight: bool) -> _FaceRow:
    adaptor = BRepAdaptor_Surface(face, True)
    kind = _KINDS.get(adaptor.GetType(), "other")
    if kind != "plane":
        return _FaceRow(
            kind=kind, normal=np.full(3, np.nan), offset=math.nan, rings=None, exact=False,
            surface=surface_of(face, adaptor, kind), size=_size(face, False),
        )  # fmt: skip
    normal, offset = _plane(face, adaptor)
    return _FaceRow(
        kind=kind, normal=normal, offset=offset, rings=_rings(face), exact=straight,
        surface=None, size=_size(face, not straight),
    )  # fmt: skip


def _hull(
    faces: Sequence[Any],
    edges: Sequence[Any],
    rows: Sequence[_FaceRow],
    face_edges: Sequence[NDArray[np.int64]],
) -> Hull:
    """Pieces whose convex hull holds each face.

    A flat face is held by its outline, and so is a ruled one: every point of it lies on a ruling between
    two points of the outline, however it is trimmed.
    """
    outlines = [list(edge_hull(e)) for e in edges]
    hull: list[tuple[Array, Array, float, float, int]] = []
    for i, (face, row) in enumerate(zip(faces, rows, strict=True)):
        if row.surface is None or row.kind in {"cylinder", "cone"}:
            hull += [(*piece, i) for e in face_edges[i] for piece in outlines[e]]
        else:
            hull += [(*piece, i) for piece in face_hull(face, row.surface)]
    centres, axes, radii, balls, owners = zip(*hull, strict=True)
    return np.array(centres), np.array(axes), np.array(radii), np.array(balls), np.array(owners)


def _size(face: Any, wanted: bool) -> tuple[float, float, float, float]:
    """Area and centre of a face, nan where they are not wanted."""
    if not wanted:
        return math.nan, math.nan, math.nan, math.nan
    properties = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, properties)
    return properties.Mass(), *properties.CentreOfMass().Coord()


def _indices(face: Any, what: Any, every: Sequence[Any]) -> NDArray[np.int64]:
    """Return the indices in `every` of the sub-shapes of a face."""
    lookup = TopTools_IndexedMapOfShape()
    for shape in every:
        lookup.Add(shape)
    found = {lookup.FindIndex(s) - 1 for s in mapped(face, what)}
    return np.array(sorted(found), dtype=np.int64)


_BEHIND_MM = 0.01


def _lids(
    planes: tuple[Array, Array],
    points: Array,
    topology: tuple[Sequence[Any], Sequence[Any], Sequence[tuple[int, ...]]],
    hull: Hull,
) -> NDArray[np.bool_]:
    """Whether all else lies behind each face's plane; faces beside it may touch the plane at its edges."""
    normals, offsets = planes
    face_edges, face_vertices, edge_faces = topology
    centres, axes, radii, balls, owners = hull
    # nan, from a curved face, compares false and makes no lid.
    tilt = np.sqrt(np.clip(1.0 - (axes @ normals.T) ** 2, 0.0, 1.0))
    over = centres @ normals.T + radii[:, None] * tilt + balls[:, None] - offsets
    corners = points @ normals.T - offsets
    lids = ~np.isnan(offsets)
    for face in np.flatnonzero(lids).tolist():
        others = np.ones(len(points), dtype=bool)
        others[face_vertices[face]] = False
        beside = {f for e in face_edges[face] for f in edge_faces[e]}
        allowed = np.where(np.isin(owners, list(beside)), 1e-7 + 2 * balls, -_BEHIND_MM)
        behind = corners[others, face].max(initial=-np.inf) <= -_BEHIND_MM
        lids[face] = behind and np.all(over[:, face] <= allowed)
    return lids


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
