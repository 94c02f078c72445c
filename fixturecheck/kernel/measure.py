"""Shapes in numbers: size, volume, distance, thickness, normals; points on faces and edges, and triangles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_Shape
from OCP.GeomAPI import GeomAPI_ProjectPointOnCurve
from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt, gp_Pnt2d, gp_Trsf, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.Standard import Standard_Failure
from OCP.TColStd import TColStd_Array1OfReal
from OCP.TopAbs import TopAbs_Orientation, TopAbs_State

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.primitives import CurveKind, SurfaceKind
from fixturecheck.kernel.brep.probes import Probe
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.shapes import Box, Edge, Face, Shape, Solid, cq_shape
from fixturecheck.numeric import to_vector
from fixturecheck.result.shapes import Vector

_SIMPLE = set(SurfaceKind) - {SurfaceKind.OTHER}
"""Kinds of surfaces whose volumes the kernel integrates exactly."""

_SURE = 1e-9
"""Share of the volume to which free-form faces are integrated."""

_LENGTH_MM = 1e-9
"""The kernel's length of an ellipse is off by 3e-4 of it unless a tolerance is stated."""

_PANELS, _NODES = 4, 8
"""Pieces of each smooth run of a curve, and Gauss points in each."""

Nearest = tuple[float, Floats, Floats, Shape, Shape]
"""A least distance, where it is on either shape, and the face, edge or corner that it is on."""
_FINE_MM, _FINE_RAD = 0.05, 0.2
"""How far triangles may lie off a curved face or a round edge, and turn from one to the next."""
_POINTS_MM, _POINTS_RAD = 1e-3, 0.05
_ON_EDGE = 25
_SPACING_MM, _MOST_POINTS = 1.0, 2500


def box_of(shape: Shape) -> Box:
    """Return the tight axis-aligned box of a shape, without the kernel's safety margin, in mm."""
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape.wrapped, box, False, False)
    box.SetGap(0.0)
    return box.Get()  # type: ignore[no-any-return]  # six floats; the kernel has no types


def loose_box(shape: Shape) -> Box:
    """Return a box that surely holds a shape; quick, and larger than the tight one on curved faces."""
    box = Bnd_Box()
    BRepBndLib.Add_s(shape.wrapped, box, False)
    found: Box = box.Get()
    return found


def box_gap_mm(a: Box, b: Box) -> float:
    """Return the distance between two boxes; zero or less where they meet.

    Parameters
    ----------
    a, b : Box
        In one frame.

    Returns
    -------
    float
        mm; where they meet, less the least of their overlaps along the three axes.
    """
    gaps = [max(a[i] - b[i + 3], b[i] - a[i + 3]) for i in range(3)]
    if max(gaps) <= 0:
        return max(gaps)
    return math.hypot(*(max(g, 0.0) for g in gaps))


def joined_box(boxes: Sequence[Box]) -> Box:
    """Return the box round several boxes, of which there is at least one."""
    low, high = np.array(boxes)[:, :3].min(axis=0), np.array(boxes)[:, 3:].max(axis=0)
    return (*to_vector(low), *to_vector(high))


def extent_along(shape: Shape, direction: Floats) -> tuple[float, float]:
    """Return the least and greatest x.d over a shape, for a unit direction d, mm.

    Parameters
    ----------
    shape : Shape
        Where it stands.
    direction : ndarray, shape (3,)
        Unit direction.

    Returns
    -------
    low, high : float
    """
    turn = gp_Trsf()
    turn.SetTransformation(gp_Ax3(gp_Pnt(0, 0, 0), gp_Dir(*direction)))
    turned = BRepBuilderAPI_Transform(shape.wrapped, turn, True).Shape()
    box = box_of(cq_shape(turned))
    return box[2], box[5]


def volume_mm3(shape: Shape) -> float:
    """Return the volume of a shape; zero for None and for empty compounds."""
    return mass_of(shape)[0] if shape is not None else 0.0


def mass_of(shape: Shape) -> tuple[float, tuple[float, float, float]]:
    """Return the volume of solids (mm3) and its centre (mm).

    The kernel's own rule for free-form faces is off by up to 1 % of the volume (a cylinder as a B-spline), so
    they are integrated until the answer is sure; faces of a simple kind have exact rules.
    """
    found = GProp_GProps()
    if {surface_kind(face) for face in faces_of(shape)} <= _SIMPLE:
        BRepGProp.VolumeProperties_s(shape.wrapped, found)
    else:
        BRepGProp.VolumeProperties_s(shape.wrapped, found, _SURE, True, False)
    centre = found.CentreOfMass()
    return float(found.Mass()), (centre.X(), centre.Y(), centre.Z())


def centre_of(shape: Shape) -> tuple[float, float, float]:
    """Return the centre of mass of a solid or of all solids in a compound."""
    return mass_of(shape)[1]


def area_mm2(shape: Shape) -> float:
    """Return the area of a face, or of all faces of a shape."""
    return float(shape.Area())


def centroid_of(shape: Shape) -> Vector:
    """Return the centroid of a face's area or of an edge's length, or where a vertex is, mm."""
    centre: Vector = shape.Center().toTuple()
    return centre


def is_inside(solid: Solid, point: Floats) -> bool:
    """Tell whether a point lies within a solid.

    Parameters
    ----------
    solid : Solid
    point : ndarray, shape (3,)
        mm.

    Returns
    -------
    bool
        True also for a point on the surface.
    """
    return bool(solid.isInside(cq.Vector(*point.tolist()), 1e-9))


def surface_kind(face: Face) -> str:
    """Return the kernel's word for the surface of a face: plane, cylinder, cone, sphere, torus ..."""
    return str(face.geomType()).lower()


def is_flat(face: Face) -> bool:
    """Say whether a face is drawn as a plane."""
    return surface_kind(face) == SurfaceKind.PLANE


def flat_of(face: Face) -> tuple[Vector, Vector] | None:
    """Return centre and outward unit normal of a flat face; None when it is not flat."""
    if not is_flat(face):
        return None
    return face.Center().toTuple(), face.normalAt().toTuple()


def axis_of(face: Face) -> tuple[Vector, Vector] | None:
    """Return a point of a cylinder's axis and its direction; None where a face is no cylinder."""
    if surface_kind(face) != SurfaceKind.CYLINDER:
        return None
    axis = BRepAdaptor_Surface(face.wrapped).Cylinder().Axis()
    return axis.Location().Coord(), axis.Direction().Coord()


def face_frame(face: Face) -> tuple[Floats, Floats, bool]:
    """Return a face's centre, its outward unit normal, and whether it is flat.

    The normal of a curved face is that in the middle of its parameters: the centre of a whole round lies on
    its axis, and from there no place of the round is the nearest.
    """
    flat = is_flat(face)
    centre = face.Center()
    normal = face.normalAt(centre) if flat else face.normalAt()
    return np.array(centre.toTuple()), np.array(normal.toTuple()), flat


def normal_at(face: Face, point: Floats) -> Floats:
    """Return the outward unit normal of a face at its point nearest to `point`.

    Parameters
    ----------
    face : Face
    point : ndarray, shape (3,)
        mm; it need not lie on the face.

    Returns
    -------
    ndarray, shape (3,)

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


def normal_in_middle(face: Face) -> Vector:
    """Return the outward unit normal of a face at the middle of its parameters."""
    normal: Vector = face.normalAt().toTuple()
    return normal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fillet:
    """A hollow round face whose axis runs along X: where the axis is in Y and Z, and the radius, mm."""

    y_mm: float
    z_mm: float
    radius_mm: float
    box: Box


def hollow_rounds(shape: Shape, *, along_x: bool = True) -> list[Fillet]:
    """Return the hollow cylindrical faces with a level axis, such as the fillet between floor and wall.

    Parameters
    ----------
    shape : Shape
        Where it stands.
    along_x : bool
        Whether only those count whose axis runs along X, as a wheel does; else all that are level.

    Returns
    -------
    list of Fillet
        One for each face.
    """
    found = []
    for face in faces_of(shape):
        if surface_kind(face) != SurfaceKind.CYLINDER:
            continue
        cylinder = BRepAdaptor_Surface(face.wrapped).Cylinder()
        axis, place = cylinder.Axis().Direction(), cylinder.Axis().Location()
        if abs(axis.X()) < 1 - 1e-9 if along_x else abs(axis.Z()) > 1e-9:
            continue
        # At parameters, which the whole cylinder has; a point of it need not lie within the face.
        normal, centre = face.normalAt(0.5, 0.5)
        toward_axis = (place.X() - centre.x) * normal.x
        toward_axis += (place.Y() - centre.y) * normal.y + (place.Z() - centre.z) * normal.z
        if toward_axis > 0:
            fillet = Fillet(y_mm=place.Y(), z_mm=place.Z(), radius_mm=cylinder.Radius(), box=box_of(face))
            found.append(fillet)
    return found


def is_straight(edge: Edge) -> bool:
    """Say whether an edge is drawn as a straight line."""
    return str(edge.geomType()).lower() == CurveKind.LINE


def edge_ends(edge: Edge) -> tuple[Floats, Floats]:
    """Return the two ends of an edge."""
    return np.array(edge.startPoint().toTuple()), np.array(edge.endPoint().toTuple())


def edge_middle(edge: Edge) -> Floats:
    """Return the point halfway along an edge."""
    return np.array(edge.positionAt(0.5).toTuple())


def edge_way(edge: Edge) -> Floats:
    """Return the unit direction of an edge at its middle."""
    return np.array(edge.tangentAt(0.5).toTuple())


def tangent_at(edge: Edge, point: Floats) -> Floats:
    """Return the unit direction of an edge at its point nearest to `point`.

    Parameters
    ----------
    edge : Edge
    point : ndarray, shape (3,)
        mm; it need not lie on the edge.

    Returns
    -------
    ndarray, shape (3,)
        As the curve of the edge runs.
    """
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


def edge_length_mm(edge: Edge) -> float:
    """Return the length of an edge."""
    return float(GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(edge.wrapped), _LENGTH_MM))


def edge_centre(edge: Edge) -> Floats:
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


def distance(a: Shape, b: Shape) -> tuple[float, Floats, Floats]:
    """Return the least distance between two shapes (mm) and one point on each where it occurs.

    The kernel may report a small positive distance for solids that intersect. That they do not intersect
    takes their common volume to show.

    Parameters
    ----------
    a, b : Shape
        In one frame.

    Returns
    -------
    apart_mm : float
    on_a, on_b : ndarray, shape (3,)
        mm.

    Raises
    ------
    KernelError
        The kernel finds no least distance.
    """
    found = BRepExtrema_DistShapeShape(a.wrapped, b.wrapped)
    if not found.IsDone() or found.NbSolution() == 0:
        message = "the kernel found no least distance between two shapes"
        raise KernelError(message)
    p, q = found.PointOnShape1(1), found.PointOnShape2(1)
    return float(found.Value()), np.array(p.Coord()), np.array(q.Coord())


def is_within(a: Shape, b: Shape, within_mm: float) -> bool:
    """Tell whether two shapes come as near to each other as a distance; the boxes of far ones say no.

    Parameters
    ----------
    a, b : Shape
        In one frame.
    within_mm : float

    Returns
    -------
    bool

    Raises
    ------
    KernelError
        The kernel finds no least distance.
    """
    return box_gap_mm(loose_box(a), loose_box(b)) <= within_mm and distance(a, b)[0] <= within_mm


def closest_points(a: Shape, b: Shape, within_mm: float) -> list[tuple[float, Floats, Floats]]:
    """Return every solution of the least distance that is not longer than `within_mm`.

    Parameters
    ----------
    a, b : Shape
        In one frame.
    within_mm : float

    Returns
    -------
    list of (float, ndarray, ndarray)
        The distance, and the point on either shape, mm; empty where the shapes are further apart.

    Raises
    ------
    KernelError
        The kernel finds no least distance.
    """
    return [(apart, on_a, on_b) for apart, on_a, on_b, _, _ in nearest_features(a, b, within_mm)]


def nearest_features(a: Shape, b: Shape, within_mm: float) -> list[Nearest]:
    """Return every solution of the least distance of two shapes that is not longer than `within_mm`.

    Parameters
    ----------
    a, b : Shape
        In one frame.
    within_mm : float

    Returns
    -------
    list of Nearest
        Empty where the shapes are further apart.

    Raises
    ------
    KernelError
        The kernel finds no least distance.
    """
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


def on_face(point: Floats, face: Face, within_mm: float) -> bool:
    """Say whether a point lies on a face, trimmed as it is.

    Parameters
    ----------
    point : ndarray, shape (3,)
        mm.
    face : Face
    within_mm : float
        Distance from the face up to which a point lies on it.

    Returns
    -------
    bool

    Raises
    ------
    KernelError
        The kernel finds no least distance.
    """
    return is_within(vertex(point), face, within_mm)


def all_on_face(points: Floats, face: Face, within_mm: float) -> Bools:
    """Say of each of many points, (n, 3), whether it lies on a face, trimmed as it is: shape (n,).

    Of a flat face its box and outline are asked first, which cost far less than the kernel's distance; that
    decides where they leave it open, at the rim.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        mm.
    face : Face
    within_mm : float
        Distance from the face up to which a point lies on it.

    Returns
    -------
    ndarray of bool, shape (n,)

    Raises
    ------
    KernelError
        The kernel finds no least distance.
    """
    low, high = np.array(loose_box(face)).reshape(2, 3) + np.array([[-within_mm], [within_mm]])
    found: Bools = ((points >= low) & (points <= high)).all(axis=1)
    probe = Probe(face) if is_flat(face) else None

    def lies_on(point: Floats) -> bool:
        if probe is not None:
            gap_mm, _, inside = probe.gap(point)
            if inside or abs(gap_mm) > within_mm:
                return abs(gap_mm) <= within_mm
        return on_face(point, face, within_mm)

    found[found] = [lies_on(p) for p in points[found]]
    return found


def edge_points(edge: Shape, count: int) -> Floats:
    """Return points (count, 3) along an edge, ends included.

    Parameters
    ----------
    edge : Shape
        An edge.
    count : int
        At least 2.

    Returns
    -------
    ndarray, shape (count, 3)
        mm, evenly spaced by length.
    """
    curve = cq.Edge(edge.wrapped)
    return np.array([curve.positionAt(t).toTuple() for t in np.linspace(0.0, 1.0, count)])


def triangles_of(shape: Shape) -> Floats:
    """Return triangles (n, 3, 3) that make up the faces of a shape; round ones are chords."""
    places, corners = tessellated(shape, _FINE_MM, _FINE_RAD)
    return np.asarray(places[corners])


def tessellated(shape: Shape, within_mm: float, turn_rad: float) -> tuple[Floats, Ints]:
    """Return the corners (n, 3) of triangles over the faces of a shape, mm, and their numbers (k, 3).

    Parameters
    ----------
    shape : Shape
    within_mm, turn_rad : float
        How far triangles may lie off a curved face, and turn from one to the next.
    """
    vertices, corners = shape.tessellate(within_mm, turn_rad)
    places = np.array([v.toTuple() for v in vertices]).reshape(-1, 3)
    return places, np.array(corners, dtype=np.int64).reshape(-1, 3)


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

    points: Floats
    normals: Floats
    weights: Floats
    reach: Floats
    parameters: Floats
    cells: NDArray[np.int64]
    step: Floats
    counts: tuple[int, int]
    along: Floats

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


def face_window(face: Face) -> tuple[Floats, Floats]:
    """Return the least and greatest parameters (u, v) of a face."""
    u0, u1, v0, v1 = face._uvBounds()  # noqa: SLF001  CadQuery has no public name for it
    return np.array([u0, v0]), np.array([u1, v1])


def grid_on_face(
    face: Face, window: tuple[Floats, Floats], spacing_mm: float, most: int, fewest: int = 2
) -> Grid:
    """Lay out points on a face, inside its outline and inside a window of its parameters.

    Parameters
    ----------
    face : Face
    window : tuple of ndarray
        Least and greatest (u, v).
    spacing_mm : float
        Wanted spacing; widened so that no more than `most` points are laid out.
    fewest : int
        At least so many points either way.

    Returns
    -------
    Grid
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


def surface_points(shape: Shape, between: int = 0) -> Floats:
    """Return points of a shape's faces, (n, 3): its corners, and closely spaced ones where it is round.

    Parameters
    ----------
    shape : Shape
    between : int
        How many more to set along every straight edge, where a flat or ruled face has no points else.

    Returns
    -------
    ndarray, shape (n, 3)
        mm.
    """
    places = [tessellated(shape, _POINTS_MM, _POINTS_RAD)[0]]
    share = np.linspace(0.0, 1.0, between + 2)[1:-1, None]
    for edge in edges_of(shape) if between else ():
        if is_straight(edge):
            start, end = edge_ends(edge)
            places.append((1.0 - share) * start + share * end)
    return np.concatenate(places)


def inside_points(face: Face, most: int | None = None) -> Floats:
    """Return points well inside a face, (n, 3), the one of the largest piece first.

    Parameters
    ----------
    face : Face
    most : int, optional
        How many at most; one for every piece where it is left out.

    Returns
    -------
    ndarray, shape (n, 3)
        mm.
    """
    places, triangles = tessellated(face, 0.01, 0.2)
    corners = places[triangles]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    middles = corners[np.argsort(-area, kind="stable")[:most]].mean(axis=1)
    if is_flat(face):
        return np.asarray(middles)
    return np.array([distance(cq.Vertex.makeVertex(*m.tolist()), face)[2] for m in middles])


def rim_points(shape: Shape) -> Floats:
    """Return points all along the edges of a face or solid, corners among them.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    ndarray, shape (n, 3)
        mm.
    """
    return np.concatenate([edge_points(e, _ON_EDGE) for e in edges_of(shape)])


def points_all_over(solid: Solid) -> Floats:
    """Return points on every face and edge of a solid, about a millimetre apart, with its corners.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    ndarray, shape (n, 3)
        mm.
    """
    faces = []
    for face in faces_of(solid):
        grid = grid_on_face(face, face_window(face), _SPACING_MM, _MOST_POINTS).points
        faces += [grid, rim_points(face)]
    return np.concatenate([*faces, rim_points(solid)])
