"""Triangles that stand for a shape: fine ones for files and pictures, coarse ones with shared corners."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.GCPnts import GCPnts_TangentialDeflection
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape, TopTools_IndexedMapOfShape

from fixturecheck.arrays import Floats, Ints
from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.topology import members_of
from fixturecheck.kernel.place import matrix_of_wrapped
from fixturecheck.kernel.shapes import Shape, Solid

_APART_MM = 1e-9
CHORD_MM = 0.05
"""Furthest that the triangles lie off a curved face."""
_TURN_DEG = 30.0
_SAME_MM = 1e-7
"""Corners closer than this are one: faces triangulate their common edges each for itself."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mesh:
    """Triangles, edge polylines and lone points of one shape, in its frame, mm.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Corners of the triangles; faces do not share them, but their values along an edge are equal.
    triangles : ndarray of int, shape (m, 3)
        Indices into `points_mm`, counter-clockwise seen from outside.
    face_of : ndarray of int, shape (m,)
        Index of the face that each triangle belongs to, in the order of `faces_of`.
    lines_mm : tuple of ndarray, each of shape (k, 3)
        One polyline per edge, without seams of closed surfaces.
    dots_mm : ndarray, shape (p, 3)
        Vertices that bound no edge.
    """

    points_mm: Floats
    triangles: Ints
    face_of: Ints
    lines_mm: tuple[Floats, ...]
    dots_mm: Floats

    def moved(self, matrix: Floats) -> Mesh:
        """Return the mesh carried by a 4 x 4 rigid matrix."""

        def carry(points: Floats) -> Floats:
            return points @ matrix[:3, :3].T + matrix[:3, 3]

        return Mesh(
            points_mm=carry(self.points_mm),
            triangles=self.triangles,
            face_of=self.face_of,
            lines_mm=tuple(carry(line) for line in self.lines_mm),
            dots_mm=carry(self.dots_mm),
        )

    def all_points_mm(self) -> Floats:
        """Return every point of the mesh, of triangles, lines and dots alike, shape (n, 3)."""
        return np.vstack([self.points_mm, *self.lines_mm, self.dots_mm])


class Tessellator:
    """Meshes shapes, each distinct solid once: identical parts that stand elsewhere share the work.

    Parameters
    ----------
    deflection_mm : float
        Largest distance between a chord and its curve.
    angle_deg : float
        Largest turn between neighbouring chords.
    """

    def __init__(self, *, deflection_mm: float = 0.02, angle_deg: float = 12.0) -> None:
        self._deflection_mm = deflection_mm
        self._angle_rad = float(np.radians(angle_deg))
        self._known: dict[Any, Mesh] = {}

    def mesh(self, shape: Shape) -> Mesh:
        """Return the mesh of a shape where it stands.

        Raises
        ------
        KernelError
            The kernel could not triangulate the shape.
        """
        wrapped = shape.wrapped
        matrix = matrix_of_wrapped(wrapped.Location())
        home = wrapped.Located(TopLoc_Location())
        # Shapes compare by address in Python; what they share when only the place differs is the TShape.
        key = (home.TShape(), home.Orientation())
        if key not in self._known:
            self._known[key] = self._tessellate(home)
        return self._known[key].moved(matrix)

    def _tessellate(self, shape: Any) -> Mesh:
        try:
            BRepMesh_IncrementalMesh(shape, self._deflection_mm, False, self._angle_rad, False)
            points, triangles, face_of = _triangles(shape)
            lines = tuple(self._lines(shape))
            dots = _dots(shape)
        except Exception as trouble:
            raise KernelError(f"a shape could not be meshed: {trouble}") from trouble
        return Mesh(points_mm=points, triangles=triangles, face_of=face_of, lines_mm=lines, dots_mm=dots)

    def _lines(self, shape: Any) -> Iterator[Floats]:
        """Yield a polyline for every edge; on faces it follows their triangles."""
        owners = TopTools_IndexedDataMapOfShapeListOfShape()
        TopExp.MapShapesAndAncestors_s(
            shape, TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_FACE, owners
        )
        for i in range(1, owners.Extent() + 1):
            edge = TopoDS.Edge_s(owners.FindKey(i))
            faces = [TopoDS.Face_s(f) for f in members_of(owners.FindFromIndex(i))]
            if BRep_Tool.Degenerated_s(edge) or any(BRep_Tool.IsClosed_s(edge, f) for f in faces):
                continue
            yield _on_triangles(edge, faces[0]) if faces else self._free(edge)

    def _free(self, edge: Any) -> Floats:
        """Sample an edge that bounds no face."""
        curve = BRepAdaptor_Curve(edge)
        walk = GCPnts_TangentialDeflection(curve, self._angle_rad, self._deflection_mm)
        return np.array([_xyz(walk.Value(i)) for i in range(1, walk.NbPoints() + 1)], dtype=np.float64)


def _xyz(point: Any) -> tuple[float, float, float]:
    return point.X(), point.Y(), point.Z()


def _triangles(shape: Any) -> tuple[Floats, Ints, Ints]:
    """Gather the triangles of every face, in the order of `faces_of`."""
    faces = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_ShapeEnum.TopAbs_FACE, faces)
    points: list[Floats] = [np.zeros((0, 3))]
    triangles: list[Ints] = [np.zeros((0, 3), dtype=np.int64)]
    face_of: list[Ints] = [np.zeros(0, dtype=np.int64)]
    start = 0
    for i in range(faces.Extent()):
        face = TopoDS.Face_s(faces.FindKey(i + 1))
        place = TopLoc_Location()
        grid = BRep_Tool.Triangulation_s(face, place)
        if grid is None:
            raise KernelError(f"face {i} got no triangles")
        nodes = np.array([_xyz(grid.Node(k)) for k in range(1, grid.NbNodes() + 1)], dtype=np.float64)
        if not place.IsIdentity():
            matrix = matrix_of_wrapped(place)
            nodes = nodes @ matrix[:3, :3].T + matrix[:3, 3]
        corners = np.array([grid.Triangle(k).Get() for k in range(1, grid.NbTriangles() + 1)], dtype=np.int64)
        if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
            corners = corners[:, ::-1]
        corners = corners[_has_area(nodes, corners - 1)]
        points.append(nodes)
        triangles.append(corners - 1 + start)
        face_of.append(np.full(len(corners), i, dtype=np.int64))
        start += len(nodes)
    return np.vstack(points), np.vstack(triangles), np.concatenate(face_of)


def _has_area(nodes: Floats, corners: Ints) -> npt.NDArray[np.bool_]:
    """Tell the triangles whose corners lie apart; at the tip of a cone or the pole of a ball some do not."""
    a, b, c = (nodes[corners[:, k]] for k in range(3))
    sides = np.stack([np.linalg.norm(p - q, axis=1) for p, q in ((a, b), (b, c), (c, a))])
    return np.asarray(sides.min(axis=0) > _APART_MM)


def _on_triangles(edge: Any, face: Any) -> Floats:
    """Return an edge as the polyline that the triangles of its face follow."""
    place = TopLoc_Location()
    grid = BRep_Tool.Triangulation_s(face, place)
    polygon = BRep_Tool.PolygonOnTriangulation_s(edge, grid, place)
    nodes = [polygon.Node(i) for i in range(1, polygon.NbNodes() + 1)]
    points = np.array([_xyz(grid.Node(n)) for n in nodes], dtype=np.float64)
    matrix = matrix_of_wrapped(place)
    return points @ matrix[:3, :3].T + matrix[:3, 3]


def _dots(shape: Any) -> Floats:
    """Return the vertices that bound no edge."""
    owners = TopTools_IndexedDataMapOfShapeListOfShape()
    TopExp.MapShapesAndAncestors_s(
        shape, TopAbs_ShapeEnum.TopAbs_VERTEX, TopAbs_ShapeEnum.TopAbs_EDGE, owners
    )
    alone = [i for i in range(1, owners.Extent() + 1) if owners.FindFromIndex(i).Extent() == 0]
    points = [_xyz(BRep_Tool.Pnt_s(TopoDS.Vertex_s(owners.FindKey(i)))) for i in alone]
    return np.array(points, dtype=np.float64).reshape(-1, 3)


def stl_bytes(meshes: Iterable[Mesh]) -> bytes:
    """Return one binary STL of several meshes; the header carries no date, so the bytes repeat.

    Parameters
    ----------
    meshes : iterable of Mesh
        In one frame.

    Returns
    -------
    bytes
    """
    corners = np.concatenate([np.zeros((0, 3, 3)), *(m.points_mm[m.triangles] for m in meshes)])
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    normals = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("unused", "<u2")])
    rows = np.zeros(len(corners), dtype=kind)
    rows["normal"] = normals
    rows["corners"] = corners
    header = b"fixturecheck, millimetre".ljust(80, b" ")
    return header + len(rows).to_bytes(4, "little") + rows.tobytes()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceTriangulation:
    """Triangles of a solid in its own frame.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Corners, each once.
    triangles, edges : ndarray of int, shape (t, 3) and (e, 2)
        Numbers of corners.
    triangle_face : ndarray of int, shape (t,)
        Index of the face each belongs to, in the order of `faces_of`.
    """

    points_mm: Floats
    triangles: Ints
    triangle_face: Ints
    edges: Ints


def surface_triangulation(solid: Solid) -> SurfaceTriangulation:
    """Return coarse triangles of a solid's surface that share their corners.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    SurfaceTriangulation

    Raises
    ------
    KernelError
        The kernel could not triangulate it.
    """
    mesh = Tessellator(deflection_mm=CHORD_MM, angle_deg=_TURN_DEG).mesh(solid)
    _, first, number = np.unique(
        np.round(mesh.points_mm / _SAME_MM).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    triangles = number.ravel()[mesh.triangles]
    sides = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    edges = np.unique(sides, axis=0)
    return SurfaceTriangulation(
        points_mm=mesh.points_mm[first],
        triangles=triangles.astype(np.int64),
        triangle_face=mesh.face_of,
        edges=edges.astype(np.int64),
    )
