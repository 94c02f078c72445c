"""Building and intersecting the small shapes that contacts are made of."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakePolygon,
    BRepBuilderAPI_Transform,
)
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_Shape
from OCP.GeomAPI import GeomAPI_ProjectPointOnCurve
from OCP.gp import gp_Ax2, gp_Ax3, gp_Circ, gp_Dir, gp_Pnt, gp_Pnt2d, gp_Trsf, gp_Vec
from OCP.Standard import Standard_Failure
from OCP.StdFail import StdFail_NotDone
from OCP.TColStd import TColStd_Array1OfReal
from OCP.TopAbs import TopAbs_Orientation, TopAbs_State
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_ListOfShape

from fixturecheck.errors import KernelError
from fixturecheck.kernel.placing import location_of
from fixturecheck.kernel.shapes import (
    Edge,
    Face,
    Placed,
    Shape,
    Solid,
    box_of,
    cq_shape,
    edges_of,
    faces_of,
    mass_of,
)
from fixturecheck.units import METRIC, Writing

Array = NDArray[np.float64]

_FINE_MM, _FINE_RAD = 0.05, 0.2
"""How far triangles may lie off a curved face or a round edge, and turn from one to the next."""


def world_faces(placed: Placed) -> list[Face]:
    """Return a placed solid's faces in the machine's frame, in the order of `faces_of`."""
    return faces_of(placed.solid.moved(placed.at))


def world_edges(placed: Placed) -> list[Edge]:
    """Return a placed solid's edges in the machine's frame, in the order of its face table."""
    return edges_of(placed.solid.moved(placed.at))


def moved_by(placed: Placed, by: Array) -> Placed:
    """Return a placed solid moved by a vector, mm."""
    return replace(placed, at=cq.Location(cq.Vector(*by)) * placed.at)


def carried(shape: Shape, turn: Array, shift: Array) -> Shape:
    """Return the shape after x -> turn x + shift, for a rotation matrix (3, 3) and a vector (3,), mm."""
    return shape.moved(location_of(np.column_stack([turn, shift])))


def polygon_face(rings: Sequence[Array]) -> Face:
    """Return the planar face bounded by closed rings of points (k, 3), outer first."""
    wires = []
    for ring in rings:
        polygon = BRepBuilderAPI_MakePolygon()
        for x, y, z in ring.tolist():
            polygon.Add(gp_Pnt(x, y, z))
        polygon.Close()
        wires.append(polygon.Wire())
    face = BRepBuilderAPI_MakeFace(wires[0], True)
    for wire in wires[1:]:
        face.Add(wire)
    if not face.IsDone():
        message = f"no flat face through {len(rings[0])} points"
        raise KernelError(message)
    return cq.Face(face.Face())


def segment(start: Array, end: Array) -> Edge:
    """Return the straight edge between two points."""
    return cq.Edge.makeLine(cq.Vector(*start), cq.Vector(*end))


def circle(centre: Array, axis: Array, radius_mm: float) -> Edge:
    """Return a full circle."""
    return cq.Edge.makeCircle(radius_mm, cq.Vector(*centre), cq.Vector(*axis))


def cylinder_patch(centre: Array, start: Array, axis: Array, angle_rad: float, height_mm: float) -> Face:
    """Return a piece of a cylinder.

    Parameters
    ----------
    centre : ndarray, shape (3,)
        On the axis, at the bottom of the piece.
    start : ndarray, shape (3,)
        From the centre to the first point of the arc; its length is the radius, mm.
    axis : ndarray, shape (3,)
        Unit axis; the arc turns about it by `angle_rad` and the piece rises along it by `height_mm`.
    """
    radius = float(np.linalg.norm(start))
    plane = gp_Ax2(gp_Pnt(*centre), gp_Dir(*axis), gp_Dir(*start))
    arc = BRepBuilderAPI_MakeEdge(gp_Circ(plane, radius), 0.0, angle_rad).Edge()
    prism = BRepPrimAPI_MakePrism(arc, gp_Vec(*(height_mm * axis)))
    return cq.Face(TopoDS.Face_s(prism.Shape()))


def dot(point: Array) -> Shape:
    """Return a vertex."""
    return cq.Vertex.makeVertex(*(float(v) for v in point))


def shifted(shape: Shape, by: Array) -> Shape:
    """Return the shape moved by a vector, mm."""
    return shape.moved(cq.Location(cq.Vector(*by)))


def common(a: Shape, b: Shape) -> Shape:
    """Return the kernel's common of two shapes as a compound, which may be empty.

    Raises
    ------
    KernelError
        The kernel reports a failed operation.
    """
    first, second = TopTools_ListOfShape(), TopTools_ListOfShape()
    first.Append(a.wrapped)
    second.Append(b.wrapped)
    operation = BRepAlgoAPI_Common()
    operation.SetArguments(first)
    operation.SetTools(second)
    operation.Build()
    if not operation.IsDone():
        message = "common of two shapes failed in the kernel"
        raise KernelError(message)
    return cq.Shape.cast(operation.Shape())


def common_faces(a: Face, b: Face) -> list[Face]:
    """Return what two faces on the same surface share; empty where they share no area."""
    return list(common(a, b).Faces())


def clip_edge(edge: Edge, faces: Iterable[Face]) -> list[Edge]:
    """Return the parts of an edge that lie on every one of the faces; a seam does not part it."""
    pieces = [edge]
    for face in faces:
        pieces = [part for piece in pieces for part in _clipped(piece, face)]
    return pieces


def _clipped(edge: Edge, face: Face) -> list[Edge]:
    parts = list(common(edge, face).Edges())
    whole = edge_length_mm(edge)
    if len(parts) > 1 and abs(sum(edge_length_mm(p) for p in parts) - whole) <= 1e-9 * whole:
        return [edge]
    return parts


def common_solid(a: Solid, b: Solid) -> tuple[Shape, float, float]:
    """Return the common of two solids with its volume (mm3) and surface (mm2)."""
    shape = common(a, b)
    solids = shape.Solids()
    return shape, float(sum(s.Volume() for s in solids)), float(sum(s.Area() for s in solids))


def distance(a: Shape, b: Shape) -> tuple[float, Array, Array]:
    """Return the least distance between two shapes (mm) and one point on each where it occurs.

    The kernel may report a small positive distance for solids that intersect; whoever needs to know
    that they do not must ask for the common volume too.
    """
    found = BRepExtrema_DistShapeShape(a.wrapped, b.wrapped)
    if not found.IsDone() or found.NbSolution() == 0:
        message = "the kernel found no least distance between two shapes"
        raise KernelError(message)
    p, q = found.PointOnShape1(1), found.PointOnShape2(1)
    return float(found.Value()), np.array(p.Coord()), np.array(q.Coord())


def closest_points(a: Shape, b: Shape, within_mm: float) -> list[tuple[float, Array, Array]]:
    """Return every solution of the least distance that is not longer than `within_mm`."""
    return [(apart, on_a, on_b) for apart, on_a, on_b, _, _ in nearest_features(a, b, within_mm)]


Nearest = tuple[float, Array, Array, Shape, Shape]
"""A least distance, where it is on either shape, and the face, edge or corner that it is on."""


def nearest_features(a: Shape, b: Shape, within_mm: float) -> list[Nearest]:
    """Return every solution of the least distance of two shapes that is not longer than `within_mm`."""
    found = BRepExtrema_DistShapeShape(a.wrapped, b.wrapped)
    if not found.IsDone():
        message = "the kernel found no least distance between two shapes"
        raise KernelError(message)
    if found.NbSolution() == 0 or found.Value() > within_mm:
        return []
    return [
        (
            float(found.Value()),
            np.array(found.PointOnShape1(i).Coord()),
            np.array(found.PointOnShape2(i).Coord()),
            cq_shape(found.SupportOnShape1(i)),
            cq_shape(found.SupportOnShape2(i)),
        )
        for i in range(1, found.NbSolution() + 1)
    ]


def on_face(point: Array, face: Face, within_mm: float) -> bool:
    """Say whether a point lies on a face, trimmed as it is."""
    return distance(dot(point), face)[0] <= within_mm


def edge_middle(edge: Edge) -> Array:
    """Return the point halfway along an edge."""
    return np.array(edge.positionAt(0.5).toTuple())


def edge_points(edge: Shape, count: int) -> Array:
    """Return points (count, 3) along an edge, ends included."""
    curve = cq.Edge(edge.wrapped)
    return np.array([curve.positionAt(t).toTuple() for t in np.linspace(0.0, 1.0, count)])


def triangles_of(shape: Shape) -> Array:
    """Return triangles (n, 3, 3) that make up the faces of a shape; round ones are chords."""
    vertices, corners = shape.tessellate(_FINE_MM, _FINE_RAD)
    places = np.array([v.toTuple() for v in vertices]).reshape(-1, 3)
    return np.asarray(places[np.array(corners, dtype=np.int64).reshape(-1, 3)])


def tangent_at(edge: Edge, point: Array) -> Array:
    """Return the unit direction of an edge at its point nearest to `point`."""
    curve = BRepAdaptor_Curve(edge.wrapped)
    foot = GeomAPI_ProjectPointOnCurve(gp_Pnt(*point), BRep_Tool.Curve_s(edge.wrapped, 0.0, 1.0))
    first, last = curve.FirstParameter(), curve.LastParameter()
    at = foot.LowerDistanceParameter() if foot.NbPoints() else first
    spot, along = gp_Pnt(), gp_Vec()
    curve.D1(at, spot, along)
    if foot.NbPoints() == 0 and spot.Distance(gp_Pnt(*point)) > curve.Value(last).Distance(gp_Pnt(*point)):
        curve.D1(last, spot, along)
    direction = np.array(along.Coord())
    return np.asarray(direction / np.linalg.norm(direction))


_LENGTH_MM = 1e-9
"""The kernel's length of an ellipse is off by 3e-4 of it where it is not told how exact it has to be."""
_PANELS, _NODES = 4, 8


def edge_length_mm(edge: Edge) -> float:
    """Return the length of an edge."""
    return float(GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(edge.wrapped), _LENGTH_MM))


def edge_centre(edge: Edge) -> Array:
    """Return the centre of mass of an edge, by Gauss and Legendre's rule piece by piece."""
    curve = BRepAdaptor_Curve(edge.wrapped)
    if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
        return edge_middle(edge)
    at, weights = np.polynomial.legendre.leggauss(_NODES)
    breaks = TColStd_Array1OfReal(1, curve.NbIntervals(GeomAbs_Shape.GeomAbs_CN) + 1)
    curve.Intervals(breaks, GeomAbs_Shape.GeomAbs_CN)
    knots = [breaks.Value(k + 1) for k in range(breaks.Length())]
    ends = np.unique([np.linspace(*pair, _PANELS + 1) for pair in pairwise(knots)])
    whole, moment = 0.0, np.zeros(3)
    spot, along = gp_Pnt(), gp_Vec()
    for low, high in pairwise(ends.tolist()):
        for node, weight in zip(at, weights, strict=True):
            curve.D1((low + high) / 2 + float(node) * (high - low) / 2, spot, along)
            share = float(weight) * along.Magnitude()
            whole += share
            moment += share * np.array(spot.Coord())
    return moment / whole


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Points on a face at the middles of cells that are even in its parameters; n points.

    Parameters
    ----------
    points, normals : ndarray, shape (n, 3)
        With the outward unit normal at each; zero where the surface has none.
    weights : ndarray, shape (n,)
        Area that each point stands for, mm2.
    reach : ndarray, shape (n,)
        Distance from each point to the corners of its cell, mm, to first order.
    parameters : ndarray, shape (n, 2)
        u and v of each point.
    cells : ndarray of int, shape (n, 2)
        Column and row of each cell.
    step : ndarray, shape (2,)
        Size of a cell in u and v.
    counts : tuple of int
        Columns and rows of the window, whether they hold points or not.
    along : ndarray, shape (n, 2, 3)
        Way across each cell in u and in v, mm, to first order.
    """

    points: Array
    normals: Array
    weights: Array
    reach: Array
    parameters: Array
    cells: NDArray[np.int64]
    step: Array
    counts: tuple[int, int]
    along: Array

    def only(self, chosen: NDArray[np.bool_]) -> Grid:
        """Return the chosen points."""
        return replace(
            self,
            points=self.points[chosen],
            normals=self.normals[chosen],
            weights=self.weights[chosen],
            reach=self.reach[chosen],
            parameters=self.parameters[chosen],
            cells=self.cells[chosen],
            along=self.along[chosen],
        )


def face_window(face: Face) -> tuple[Array, Array]:
    """Return the least and greatest parameters (u, v) of a face."""
    u0, u1, v0, v1 = face._uvBounds()  # noqa: SLF001  CadQuery has no public name for it
    return np.array([u0, v0]), np.array([u1, v1])


def grid_on_face(
    face: Face, window: tuple[Array, Array], spacing_mm: float, most: int, fewest: int = 2
) -> Grid:
    """Lay out points on a face, inside its outline and inside a window of its parameters.

    Parameters
    ----------
    window : tuple of ndarray
        Least and greatest (u, v).
    spacing_mm : float
        Wanted spacing; widened so that no more than `most` points are laid out.
    fewest : int
        At least so many points either way.
    """
    surface = BRepAdaptor_Surface(face.wrapped, True)
    (u0, v0), (u1, v1) = window
    inside = BRepTopAdaptor_FClass2d(face.wrapped, 1e-9)
    flip = -1.0 if face.wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1((u0 + u1) / 2, (v0 + v1) / 2, point, du, dv)
    sides = (du, u1 - u0), (dv, v1 - v0)
    counts = [max(fewest, math.ceil(d.Magnitude() * s / spacing_mm)) for d, s in sides]
    shrink = max(1.0, math.sqrt(counts[0] * counts[1] / most))
    nu, nv = (max(fewest, int(c / shrink)) for c in counts)
    step = np.array([(u1 - u0) / nu, (v1 - v0) / nv])
    rows = []
    for k in range(nu * nv):
        u, v = u0 + (k % nu + 0.5) * step[0], v0 + (k // nu + 0.5) * step[1]
        if inside.Perform(gp_Pnt2d(u, v)) == TopAbs_State.TopAbs_IN:
            surface.D1(u, v, point, du, dv)
            rows.append((*point.Coord(), *du.Coord(), *dv.Coord(), u, v, k % nu, k // nu))
    table = np.array(rows).reshape(-1, 13)
    along_u, along_v = table[:, 3:6] * step[0], table[:, 6:9] * step[1]
    across = np.cross(along_u, along_v)
    size = np.linalg.norm(across, axis=1)
    diagonals = np.stack([along_u + along_v, along_u - along_v])
    return Grid(
        points=table[:, :3],
        normals=flip * across / np.where(size > 0, size, 1.0)[:, None],
        weights=size,
        reach=np.linalg.norm(diagonals, axis=2).max(axis=0) / 2,
        parameters=table[:, 9:11],
        cells=table[:, 11:].astype(np.int64),
        step=step,
        counts=(nu, nv),
        along=np.stack([along_u, along_v], axis=1),
    )


def parameter_patch(face: Face, low: Array, high: Array) -> Face:
    """Return the piece of a face's surface between two corners in its parameters."""
    surface = BRep_Tool.Surface_s(face.wrapped)
    return cq.Face(BRepBuilderAPI_MakeFace(surface, low[0], high[0], low[1], high[1], 1e-6).Face())


def normal_at(face: Face, point: Array) -> Array:
    """Return the outward unit normal of a face at its point nearest to `point`.

    Raises
    ------
    KernelError
        The surface has no normal there, as at the tip of a cone.
    """
    try:
        return np.array(face.normalAt(cq.Vector(*point)).toTuple())
    except Standard_Failure as failure:
        x, y, z = (float(v) for v in point)
        message = f"a face has no normal at ({x:.6g}, {y:.6g}, {z:.6g})"
        raise KernelError(message) from failure


def centre_of(shape: Shape) -> tuple[float, float, float]:
    """Return the centre of mass of a solid or of all solids in a compound."""
    return mass_of(shape)[1]


def chamfered(solid: Solid, edge: int, leg_mm: float, write: Writing = METRIC) -> Solid:
    """Return a solid with an equal-leg chamfer on one of its edges, by its index in `edges_of`.

    Raises
    ------
    KernelError
        The kernel cannot cut the chamfer, which is then larger than the faces beside the edge allow.
    """
    try:
        cut = solid.chamfer(leg_mm, None, [edges_of(solid)[edge]])
    except (StdFail_NotDone, Standard_Failure, ValueError) as failure:
        message = f"a chamfer of {write.length(leg_mm, 'g')} does not fit on edge {edge}"
        raise KernelError(message) from failure
    solids = cut.Solids()
    if len(solids) != 1 or not cut.isValid():
        message = f"a chamfer of {write.length(leg_mm, 'g')} breaks the solid at edge {edge}"
        raise KernelError(message)
    return solids[0]


def extent_along(shape: Shape, direction: Array) -> tuple[float, float]:
    """Return the least and greatest x.d over a shape, for a unit direction d, mm."""
    turn = gp_Trsf()
    turn.SetTransformation(gp_Ax3(gp_Pnt(0, 0, 0), gp_Dir(*direction)))
    turned = BRepBuilderAPI_Transform(shape.wrapped, turn, True).Shape()
    box = box_of(cq_shape(turned))
    return box[2], box[5]


def face_frame(face: Face) -> tuple[Array, Array, bool]:
    """Return a face's centre, its outward normal there, and whether it is flat."""
    centre = face.Center()
    normal = face.normalAt(centre)
    return np.array(centre.toTuple()), np.array(normal.toTuple()), face.geomType() == "PLANE"


def flush_faces(inner: Solid, outer: Solid, *, within_mm: float = 1e-6) -> list[Face]:
    """Return the flat faces of a solid set in another that show on the other's surface.

    Parameters
    ----------
    inner, outer : Solid
        In one frame; the inner one lies within the outer one.
    within_mm : float
        How far the middle of such a face may lie from a face of the outer solid.
    """
    outer_faces = [(face, *face_frame(face)) for face in faces_of(outer)]
    seen = []
    for face in faces_of(inner):
        middle, normal, flat = face_frame(face)
        on = (
            one
            for one, _, facing, is_flat in outer_faces
            if is_flat and float(normal @ facing) > 1.0 - 1e-9 and on_face(middle, one, within_mm)
        )
        if flat and next(on, None) is not None:
            seen.append(face)
    return seen
