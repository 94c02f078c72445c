"""What contact needs to know about a solid's faces, read once from the kernel into arrays.

A table belongs to the topology, in the solid's own frame; every placed copy of a part shares one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Curve2d, BRepAdaptor_Surface
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.GCPnts import GCPnts_AbscissaPoint, GCPnts_QuasiUniformDeflection
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_SurfaceType
from OCP.gp import gp_Pnt, gp_Pnt2d, gp_Vec, gp_Vec2d
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedMapOfShape

from fixturecheck.kernel.shapes import Placed, Solid, box_of, cq_shape

Array = NDArray[np.float64]
Piece = tuple[Array, Array, float, float]
"""A circle swept by a ball: centre, axis, radius of the circle, radius of the ball."""

_KINDS = {
    GeomAbs_SurfaceType.GeomAbs_Plane: "plane",
    GeomAbs_SurfaceType.GeomAbs_Cylinder: "cylinder",
    GeomAbs_SurfaceType.GeomAbs_Cone: "cone",
    GeomAbs_SurfaceType.GeomAbs_Sphere: "sphere",
    GeomAbs_SurfaceType.GeomAbs_Torus: "torus",
}
_CHORD_MM = 1e-3
_WIDE_RAD = 1.2 * math.pi
"""Arcs wider than this are held by their whole circle, narrower ones by their tangents."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A quadric or torus.

    Parameters
    ----------
    kind : str
        cylinder, cone, sphere, torus or other.
    origin, axis : ndarray, shape (3,)
        A point on the axis (a cone's apex, a sphere's centre) and the unit axis; a cone's axis points
        from the apex into the cone.
    radius_mm : float
        Radius of cylinder and sphere, major radius of a torus.
    minor_radius_mm : float
        Tube radius of a torus.
    half_angle_rad : float
        Half angle of a cone.
    outward : int
        +1 where the material lies inside (a pin), -1 where it lies outside (a hole).
    x_axis, y_axis : ndarray, shape (3,)
        Directions across the axis at angle 0 and 90 degrees of the face's own angle.
    arc_rad : tuple of float
        First and last angle of the face about the axis.
    heights_mm : tuple of float
        Least and greatest height of the face along the axis, from `origin`.
    iso : bool
        Whether the face is bounded by those four values alone.
    """

    kind: str
    origin: Array
    axis: Array
    radius_mm: float = 0.0
    minor_radius_mm: float = 0.0
    half_angle_rad: float = 0.0
    outward: int = 1
    x_axis: Array = field(default_factory=lambda: np.zeros(3))
    y_axis: Array = field(default_factory=lambda: np.zeros(3))
    arc_rad: tuple[float, float] = (0.0, 2 * math.pi)
    heights_mm: tuple[float, float] = (0.0, 0.0)
    iso: bool = False

    def moved(self, turn: Array, shift: Array) -> Surface:
        """Return the surface after x -> turn x + shift."""
        return replace(
            self,
            origin=turn @ self.origin + shift,
            axis=turn @ self.axis,
            x_axis=turn @ self.x_axis,
            y_axis=turn @ self.y_axis,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Circle:
    """A round edge: points centre + radius (cos t x_axis + sin t y_axis), t within `arc_rad`."""

    centre: Array
    x_axis: Array
    y_axis: Array
    radius_mm: float
    arc_rad: tuple[float, float]


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


def face_table(solid: Solid) -> FaceTable:
    """Read a solid's faces into a table, in the frame of its topology."""
    shape = solid.wrapped.Located(TopLoc_Location())
    faces = [TopoDS.Face_s(f) for f in _mapped(shape, TopAbs_ShapeEnum.TopAbs_FACE)]
    edges = [TopoDS.Edge_s(e) for e in _mapped(shape, TopAbs_ShapeEnum.TopAbs_EDGE)]
    vertices = [TopoDS.Vertex_s(v) for v in _mapped(shape, TopAbs_ShapeEnum.TopAbs_VERTEX)]
    face_edges = [_indices(f, TopAbs_ShapeEnum.TopAbs_EDGE, edges) for f in faces]
    face_vertices = [_indices(f, TopAbs_ShapeEnum.TopAbs_VERTEX, vertices) for f in faces]
    edge_rows = [_edge_row(e) for e in edges]
    edge_hulls = [list(_edge_hull(e)) for e in edges]

    kinds, normals, offsets, rings, exact, surfaces = [], [], [], [], [], []
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
            surface = _surface(face, adaptor, kind)
            surfaces.append(surface)
            hull += [(*piece, i) for piece in _hull(face, surface)]
        normals.append(normal)
        offsets.append(offset)
        rings.append(outline)
        exact.append(straight)
    sharp, inward = _inward(faces, edges)
    points = np.array([_xyz(BRep_Tool.Pnt_s(v)) for v in vertices]).reshape(-1, 3)
    edge_faces = _inverse(face_edges, len(edges))
    lids = [
        kind == "plane"
        and _is_lid(i, normals[i], offsets[i], points, (face_edges, face_vertices, edge_faces), hull)
        for i, kind in enumerate(kinds)
    ]
    return FaceTable(
        lids=np.array(lids, dtype=bool),
        sharp=sharp,
        inward=inward,
        circles=tuple(_circle(e) for e in edges),
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
        edge_vertices=_edge_vertices(edges, vertices),
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


def _xyz(point: Any) -> Array:
    return np.array([point.X(), point.Y(), point.Z()])


def _mapped(shape: Any, what: Any) -> list[Any]:
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, what, found)
    return [found.FindKey(i + 1) for i in range(found.Extent())]


def _indices(face: Any, what: Any, every: Sequence[Any]) -> NDArray[np.int64]:
    """Return the indices in `every` of the sub-shapes of a face."""
    lookup = TopTools_IndexedMapOfShape()
    for shape in every:
        lookup.Add(shape)
    found = {lookup.FindIndex(s) - 1 for s in _mapped(face, what)}
    return np.array(sorted(found), dtype=np.int64)


_BEHIND_MM = 0.01


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


def _edge_vertices(edges: Sequence[Any], vertices: Sequence[Any]) -> NDArray[np.int64]:
    """Indices of the vertices at either end of each edge's own parameter range."""
    lookup = TopTools_IndexedMapOfShape()
    for vertex in vertices:
        lookup.Add(vertex)
    rows = [
        (
            lookup.FindIndex(TopExp.FirstVertex_s(e, False)) - 1,
            lookup.FindIndex(TopExp.LastVertex_s(e, False)) - 1,
        )
        for e in edges
    ]
    return np.array(rows, dtype=np.int64).reshape(-1, 2)


def _inverse(rows: Sequence[Iterable[int]], size: int) -> tuple[tuple[int, ...], ...]:
    out: list[list[int]] = [[] for _ in range(size)]
    for face, row in enumerate(rows):
        for item in row:
            out[item].append(face)
    return tuple(tuple(o) for o in out)


def _edge_row(edge: Any) -> tuple[Array, Array, bool, Array, float]:
    """Read ends, whether straight, points along it, length."""
    if BRep_Tool.Degenerated_s(edge):
        point = _xyz(BRep_Tool.Pnt_s(TopExp.FirstVertex_s(edge)))
        return point, point, False, np.tile(point, (9, 1)), 0.0
    curve = BRepAdaptor_Curve(edge)
    first, last = curve.FirstParameter(), curve.LastParameter()
    along = np.array([_xyz(curve.Value(t)) for t in np.linspace(first, last, 9)])
    straight = curve.GetType() == GeomAbs_CurveType.GeomAbs_Line
    return along[0], along[-1], straight, along, float(GCPnts_AbscissaPoint.Length_s(curve))


def _circle(edge: Any) -> Circle | None:
    if BRep_Tool.Degenerated_s(edge):
        return None
    curve = BRepAdaptor_Curve(edge)
    if curve.GetType() != GeomAbs_CurveType.GeomAbs_Circle:
        return None
    circle = curve.Circle()
    position = circle.Position()
    return Circle(
        centre=_xyz(circle.Location()),
        x_axis=_xyz(position.XDirection()),
        y_axis=_xyz(position.YDirection()),
        radius_mm=circle.Radius(),
        arc_rad=(curve.FirstParameter(), curve.LastParameter()),
    )


_SMOOTH = 1e-5


def _inward(faces: Sequence[Any], edges: Sequence[Any]) -> tuple[NDArray[np.bool_], Array]:
    """Directions from the middle of each edge into its faces, and whether they make an angle."""
    lookup = TopTools_IndexedMapOfShape()
    for edge in edges:
        lookup.Add(edge)
    inward = np.zeros((len(edges), 2, 3))
    count = [0] * len(edges)
    for face in faces:
        surface = BRepAdaptor_Surface(face, False)
        flip = -1.0 if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0
        explorer = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_EDGE)
        while explorer.More():
            edge = TopoDS.Edge_s(explorer.Current())
            explorer.Next()
            index = lookup.FindIndex(edge) - 1
            if BRep_Tool.Degenerated_s(edge) or count[index] > 1:
                continue
            inward[index, count[index]] = _into(edge, face, surface, flip)
            count[index] += 1
    smooth = np.linalg.norm(inward.sum(axis=1), axis=1) <= _SMOOTH
    return ~smooth & (np.array(count) == 2), inward


def _into(edge: Any, face: Any, surface: BRepAdaptor_Surface, flip: float) -> Array:
    """Direction along a face, away from the middle of one of its edges: normal x tangent, as oriented."""
    curve = BRepAdaptor_Curve2d(edge, face)
    middle = (curve.FirstParameter() + curve.LastParameter()) / 2
    spot, along = gp_Pnt2d(), gp_Vec2d()
    curve.D1(middle, spot, along)
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1(spot.X(), spot.Y(), point, du, dv)
    du_, dv_ = du.Coord(), dv.Coord()
    tangent = [along.X() * p + along.Y() * q for p, q in zip(du_, dv_, strict=True)]
    normal = _cross(du_, dv_)
    if edge.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        flip = -flip
    into = np.array(_cross(normal, tangent)) * flip
    size = math.sqrt(float(into @ into))
    return into / size if size > 0 else into


def _cross(a: Sequence[float], b: Sequence[float]) -> tuple[float, float, float]:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def _edge_hull(edge: Any) -> Iterator[Piece]:
    """Pieces whose convex hull holds an edge, and which no plane tangent to it at an end cuts."""
    if BRep_Tool.Degenerated_s(edge):
        return
    curve = BRepAdaptor_Curve(edge)
    first, last = curve.FirstParameter(), curve.LastParameter()
    kind = curve.GetType()
    if kind == GeomAbs_CurveType.GeomAbs_Circle and last - first > _WIDE_RAD:
        circle = curve.Circle()
        yield _xyz(circle.Location()), _xyz(circle.Axis().Direction()), circle.Radius(), 0.0
        return
    yield _xyz(curve.Value(first)), np.zeros(3), 0.0, 0.0
    yield _xyz(curve.Value(last)), np.zeros(3), 0.0, 0.0
    if kind == GeomAbs_CurveType.GeomAbs_Line:
        return
    if kind == GeomAbs_CurveType.GeomAbs_Circle:
        # Corners of the polygon of tangents.
        centre = _xyz(curve.Circle().Location())
        half = (last - first) / 16
        for k in range(8):
            middle = _xyz(curve.Value(first + (2 * k + 1) * half)) - centre
            yield centre + middle / math.cos(half), np.zeros(3), 0.0, 0.0
        return
    points = GCPnts_QuasiUniformDeflection(curve, _CHORD_MM)
    for k in range(points.NbPoints()):
        yield _xyz(points.Value(k + 1)), np.zeros(3), 0.0, _CHORD_MM


def _plane(face: Any, adaptor: BRepAdaptor_Surface) -> tuple[Array, float]:
    plane = adaptor.Plane()
    normal = _xyz(plane.Axis().Direction())
    if not plane.Direct():
        normal = -normal
    if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        normal = -normal
    return normal, float(normal @ _xyz(plane.Location()))


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
            yield _xyz(BRep_Tool.Pnt_s(explorer.CurrentVertex()))
        else:
            run = _chords(edge, curve)
            yield from (
                run[:0:-1] if explorer.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else run[:-1]
            )
        explorer.Next()


def _chords(edge: Any, curve: BRepAdaptor_Curve) -> Sequence[Array]:
    """Points along a curved edge whose chords stay within the chord tolerance of it."""
    circle = _circle(edge)
    if circle is None:
        points = GCPnts_QuasiUniformDeflection(curve, _CHORD_MM)
        return [_xyz(points.Value(i + 1)) for i in range(points.NbPoints())]
    first, last = circle.arc_rad
    step = 2 * math.acos(max(1 - _CHORD_MM / circle.radius_mm, 0.0))
    t = np.linspace(first, last, max(2, math.ceil((last - first) / step) + 1))[:, None]
    around = np.cos(t) * circle.x_axis + np.sin(t) * circle.y_axis
    return list(circle.centre + circle.radius_mm * around)


def _surface(face: Any, adaptor: BRepAdaptor_Surface, kind: str) -> Surface:
    zero = np.zeros(3)
    if kind == "other":
        return Surface(kind=kind, origin=zero, axis=zero)
    quadric = getattr(adaptor, kind.capitalize())()
    position = quadric.Position()
    axis = _xyz(position.Direction())
    if kind == "cone":
        angle = quadric.SemiAngle()
        apex = _xyz(quadric.Apex())
        axis = axis if angle > 0 else -axis
        surface = Surface(kind=kind, origin=apex, axis=axis, half_angle_rad=abs(angle))
    elif kind == "torus":
        surface = Surface(
            kind=kind,
            origin=_xyz(position.Location()),
            axis=axis,
            radius_mm=quadric.MajorRadius(),
            minor_radius_mm=quadric.MinorRadius(),
        )
    else:
        surface = Surface(kind=kind, origin=_xyz(position.Location()), axis=axis, radius_mm=quadric.Radius())
    return _with_outward(face, adaptor, surface)


def _with_outward(face: Any, adaptor: BRepAdaptor_Surface, surface: Surface) -> Surface:
    """Find on which side of the surface the material lies, at the middle of the face's parameters."""
    u = (adaptor.FirstUParameter() + adaptor.LastUParameter()) / 2
    v = (adaptor.FirstVParameter() + adaptor.LastVParameter()) / 2
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    adaptor.D1(u, v, point, du, dv)
    normal = np.cross(_xyz(du), _xyz(dv))
    if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        normal = -normal
    x = _xyz(point) - surface.origin
    radial = x - (x @ surface.axis) * surface.axis
    if surface.kind == "sphere":
        radial = x
    elif surface.kind == "torus":
        radial = x - surface.radius_mm * radial / np.linalg.norm(radial)
    position = getattr(adaptor, surface.kind.capitalize())().Position()
    ends = [adaptor.Value(u, t) for t in (adaptor.FirstVParameter(), adaptor.LastVParameter())]
    heights = [float((_xyz(p) - surface.origin) @ surface.axis) for p in ends]
    return replace(
        surface,
        outward=1 if normal @ radial > 0 else -1,
        x_axis=_xyz(position.XDirection()),
        y_axis=_xyz(position.YDirection()),
        arc_rad=(adaptor.FirstUParameter(), adaptor.LastUParameter()),
        heights_mm=(min(heights), max(heights)),
        iso=_iso(face, surface.axis),
    )


def _iso(face: Any, axis: Array) -> bool:
    """Whether a face of revolution is bounded by circles about its axis and straight lines alone."""
    wires = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_WIRE)
    count = 0
    while wires.More():
        count += 1
        wires.Next()
    for edge in _mapped(face, TopAbs_ShapeEnum.TopAbs_EDGE):
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(edge))
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
            continue
        if curve.GetType() != GeomAbs_CurveType.GeomAbs_Circle:
            return False
        if np.linalg.norm(np.cross(_xyz(curve.Circle().Axis().Direction()), axis)) > 1e-9:
            return False
    return count == 1


def _hull(face: Any, surface: Surface) -> Iterator[Piece]:
    """Circles swept by balls whose convex hull holds the face."""
    along = surface.axis
    if surface.kind in {"cylinder", "cone"}:
        for height in surface.heights_mm:
            flare = (
                surface.radius_mm if surface.kind == "cylinder" else height * math.tan(surface.half_angle_rad)
            )
            yield from _around(surface, surface.origin + height * along, abs(flare))
    elif surface.kind == "sphere":
        yield surface.origin, np.zeros(3), 0.0, surface.radius_mm
    elif surface.kind == "torus":
        yield surface.origin, along, surface.radius_mm, surface.minor_radius_mm
    else:
        x0, y0, z0, x1, y1, z1 = box_of(cq_shape(face))
        for x in (x0, x1):
            for y in (y0, y1):
                for z in (z0, z1):
                    yield np.array([x, y, z]), np.zeros(3), 0.0, 0.0


def _around(surface: Surface, centre: Array, radius_mm: float) -> Iterator[Piece]:
    """Hull of one end of a face of revolution: the circle, or the tangents of a shorter arc."""
    first, last = surface.arc_rad
    if last - first > _WIDE_RAD:
        yield centre, surface.axis, radius_mm, 0.0
        return
    half = (last - first) / 16
    spots = [(first, 1.0), (last, 1.0)] + [(first + (2 * k + 1) * half, math.cos(half)) for k in range(8)]
    for t, shrink in spots:
        out = math.cos(t) * surface.x_axis + math.sin(t) * surface.y_axis
        yield centre + radius_mm / shrink * out, np.zeros(3), 0.0, 0.0
