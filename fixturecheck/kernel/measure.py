"""Shapes in numbers: size, volume, distance, thickness, normals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cadquery as cq
import numpy as np
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_Shape
from OCP.GeomAPI import GeomAPI_ProjectPointOnCurve
from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.Standard import Standard_Failure
from OCP.TColStd import TColStd_Array1OfReal

from fixturecheck.arrays import Bools, Floats
from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.primitives import CurveKind, SurfaceKind
from fixturecheck.kernel.brep.probes import Probe
from fixturecheck.kernel.brep.topology import faces_of
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


def box_of(shape: Shape) -> Box:
    """Return the tight axis-aligned box of a shape, without the kernel's safety margin, in mm.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    Box
    """
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape.wrapped, box, False, False)
    box.SetGap(0.0)
    return box.Get()  # type: ignore[no-any-return]  # six floats; the kernel has no types


def loose_box(shape: Shape) -> Box:
    """Return a box that surely holds a shape; quick, and larger than the tight one on curved faces.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    Box
    """
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
    """Return the box round several boxes, of which there is at least one.

    Parameters
    ----------
    boxes : sequence of Box
        In one frame.

    Returns
    -------
    Box
    """
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
    """Return the volume of a shape; zero for None and for empty compounds.

    Parameters
    ----------
    shape : Shape or None

    Returns
    -------
    float
    """
    return mass_of(shape)[0] if shape is not None else 0.0


def mass_of(shape: Shape) -> tuple[float, tuple[float, float, float]]:
    """Return the volume of solids (mm3) and its centre (mm).

    The kernel's own rule for free-form faces is off by up to 1 % of the volume (a cylinder as a B-spline), so
    they are integrated until the answer is sure; faces of a simple kind have exact rules.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    volume : float
    centre : tuple of float, length 3
    """
    found = GProp_GProps()
    if {surface_kind(face) for face in faces_of(shape)} <= _SIMPLE:
        BRepGProp.VolumeProperties_s(shape.wrapped, found)
    else:
        BRepGProp.VolumeProperties_s(shape.wrapped, found, _SURE, True, False)
    centre = found.CentreOfMass()
    return float(found.Mass()), (centre.X(), centre.Y(), centre.Z())


def centre_of(shape: Shape) -> tuple[float, float, float]:
    """Return the centre of mass of a solid or of all solids in a compound.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    tuple of float, length 3
        In mm.
    """
    return mass_of(shape)[1]


def area_mm2(shape: Shape) -> float:
    """Return the area of a face, or of all faces of a shape.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    float
    """
    return float(shape.Area())


def centroid_of(shape: Shape) -> Vector:
    """Return the centroid of a face's area or of an edge's length, or where a vertex is, mm.

    Parameters
    ----------
    shape : Shape
        A face, an edge or a vertex.

    Returns
    -------
    tuple of float, length 3
    """
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
    """Return the kernel's word for the surface of a face: plane, cylinder, cone, sphere, torus ...

    Parameters
    ----------
    face : Face

    Returns
    -------
    str
        In lower case.
    """
    return str(face.geomType()).lower()


def is_flat(face: Face) -> bool:
    """Say whether a face is drawn as a plane.

    Parameters
    ----------
    face : Face

    Returns
    -------
    bool
    """
    return surface_kind(face) == SurfaceKind.PLANE


def flat_of(face: Face) -> tuple[Vector, Vector] | None:
    """Return centre and outward unit normal of a flat face; None when it is not flat.

    Parameters
    ----------
    face : Face

    Returns
    -------
    tuple of centre and normal, or None
        The centre in mm; each is a tuple of 3 float.
    """
    if not is_flat(face):
        return None
    return face.Center().toTuple(), face.normalAt().toTuple()


def axis_of(face: Face) -> tuple[Vector, Vector] | None:
    """Return a point of a cylinder's axis and its direction; None where a face is no cylinder.

    Parameters
    ----------
    face : Face

    Returns
    -------
    tuple of point and direction, or None
        The point in mm, the direction of unit length; each is a tuple of 3 float.
    """
    if surface_kind(face) != SurfaceKind.CYLINDER:
        return None
    axis = BRepAdaptor_Surface(face.wrapped).Cylinder().Axis()
    return axis.Location().Coord(), axis.Direction().Coord()


def face_frame(face: Face) -> tuple[Floats, Floats, bool]:
    """Return a face's centre, its outward unit normal, and whether it is flat.

    The normal of a curved face is that in the middle of its parameters: the centre of a whole round lies on
    its axis, and from there no place of the round is the nearest.

    Parameters
    ----------
    face : Face

    Returns
    -------
    centre : ndarray, shape (3,)
        In mm.
    normal : ndarray, shape (3,)
    flat : bool
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
        raise KernelError(f"a face has no normal at ({x:.6g}, {y:.6g}, {z:.6g})") from failure


def normal_in_middle(face: Face) -> Vector:
    """Return the outward unit normal of a face at the middle of its parameters.

    Parameters
    ----------
    face : Face

    Returns
    -------
    tuple of float, length 3
    """
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
    """Say whether an edge is drawn as a straight line.

    Parameters
    ----------
    edge : Edge

    Returns
    -------
    bool
    """
    return str(edge.geomType()).lower() == CurveKind.LINE


def edge_ends(edge: Edge) -> tuple[Floats, Floats]:
    """Return the two ends of an edge.

    Parameters
    ----------
    edge : Edge

    Returns
    -------
    tuple of ndarray, shape (3,)
        In mm; a closed edge has the same place twice.
    """
    return np.array(edge.startPoint().toTuple()), np.array(edge.endPoint().toTuple())


def edge_middle(edge: Edge) -> Floats:
    """Return the point halfway along an edge.

    Parameters
    ----------
    edge : Edge

    Returns
    -------
    ndarray, shape (3,)
        In mm.
    """
    return np.array(edge.positionAt(0.5).toTuple())


def edge_way(edge: Edge) -> Floats:
    """Return the unit direction of an edge at its middle.

    Parameters
    ----------
    edge : Edge

    Returns
    -------
    ndarray, shape (3,)
    """
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
    """Return the length of an edge.

    Parameters
    ----------
    edge : Edge

    Returns
    -------
    float
    """
    return float(GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(edge.wrapped), _LENGTH_MM))


def edge_centre(edge: Edge) -> Floats:
    """Return the centre of mass of an edge, by Gauss and Legendre's rule piece by piece.

    Parameters
    ----------
    edge : Edge

    Returns
    -------
    ndarray, shape (3,)
        In mm.
    """
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
        raise KernelError("the kernel found no least distance between two shapes")
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
        raise KernelError("the kernel found no least distance between two shapes")
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
