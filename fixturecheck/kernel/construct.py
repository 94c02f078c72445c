"""Shapes made from numbers: vertices, edges, faces and solids, and solids with an edge broken."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import wraps
from typing import ParamSpec

import cadquery as cq
import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakePolygon
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
from OCP.gp import gp_Ax2, gp_Circ, gp_Dir, gp_Pnt, gp_Vec
from OCP.Standard import Standard_Failure
from OCP.StdFail import StdFail_NotDone
from OCP.TopoDS import TopoDS

from fixturecheck.arrays import Floats, Point2
from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.topology import edges_of, solids_of
from fixturecheck.kernel.shapes import Edge, Face, Shape, Solid, cq_shape
from fixturecheck.result.shapes import Vector
from fixturecheck.units import Writing

_P = ParamSpec("_P")


def checked(build: Callable[_P, Solid]) -> Callable[_P, Solid]:
    """Wrap a building function: kernel errors become ours, and what comes out is one valid solid.

    Parameters
    ----------
    build : callable
        Returns a solid; its name is told in the messages of errors.

    Returns
    -------
    callable
        Takes what `build` takes.

    Raises
    ------
    KernelError
        By the function returned: `build` fails, or its solid is not valid or has no volume.
    """

    @wraps(build)
    def built(*args: _P.args, **kwargs: _P.kwargs) -> Solid:
        try:
            solid = build(*args, **kwargs)
            valid = solid.isValid() and solid.Volume() > 0
        except Exception as reason:  # the kernel's exceptions share no base class
            raise KernelError(f"the kernel could not build a {build.__name__}: {reason}") from reason
        if not valid:
            raise KernelError(f"the kernel built a {build.__name__} that is not a valid solid")
        return solid

    return built


@checked
def box(low: Vector, high: Vector) -> Solid:
    """Return the box between two opposite corners, mm.

    Parameters
    ----------
    low, high : Vector
        The corners of the least and of the greatest coordinates.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        The kernel cannot build it, as where a length is zero.
    """
    size = [b - a for a, b in zip(low, high, strict=True)]
    return cq.Solid.makeBox(*size, cq.Vector(*low))


@checked
def prism(outline: Sequence[Point2], *, from_x_mm: float, to_x_mm: float) -> Solid:
    """Return the prism of a closed polygon.

    Parameters
    ----------
    outline : sequence of (float, float)
        Corners (y, z) in mm, in order; the last is joined to the first.
    from_x_mm, to_x_mm : float
        Ends of the prism.

    Returns
    -------
    Solid
    """
    wire = cq.Wire.makePolygon([cq.Vector(from_x_mm, y, z) for y, z in outline], close=True)
    return cq.Solid.extrudeLinear(wire, [], cq.Vector(to_x_mm - from_x_mm, 0, 0))


@checked
def cylinder(radius_mm: float, start: Vector, end: Vector) -> Solid:
    """Return the cylinder about the line from start to end.

    Parameters
    ----------
    radius_mm : float
    start, end : Vector
        Centres of its two ends, mm.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        The kernel cannot build it, as where a length is zero.
    """
    axis = cq.Vector(*end) - cq.Vector(*start)
    return cq.Solid.makeCylinder(radius_mm, axis.Length, cq.Vector(*start), axis)


@checked
def cone_tipped(radius_mm: float, tip: Vector, shoulder: Vector, end: Vector) -> Solid:
    """Return a cylinder about the line from shoulder to end with a cone on it that comes to a tip.

    Parameters
    ----------
    radius_mm : float
        Of the cylinder and of the foot of the cone.
    tip, shoulder, end : Vector
        On one line, mm: the apex, the centre of the foot of the cone, the far end of the cylinder.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        The kernel cannot build it, as where a length is zero.
    """
    point, body = cq.Vector(*shoulder) - cq.Vector(*tip), cq.Vector(*end) - cq.Vector(*shoulder)
    cone = cq.Solid.makeCone(0.0, radius_mm, point.Length, cq.Vector(*tip), point)
    shaft = cq.Solid.makeCylinder(radius_mm, body.Length, cq.Vector(*shoulder), body)
    return only_solid(cone.fuse(shaft))


@checked
def chamfer(solid: Solid, size_mm: float) -> Solid:
    """Return a convex solid with every edge broken by a 45 degree chamfer; unchanged when the size is 0.

    Parameters
    ----------
    solid : Solid
    size_mm : float
        Length of either leg.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        The kernel cannot cut the chamfers.
    """
    return only_solid(solid.chamfer(size_mm, None, edges_of(solid))) if size_mm > 0 else solid


def bevelled(corners: Sequence[Point2], size_mm: float, at: Sequence[int]) -> list[Point2]:
    """Return a polygon with the numbered corners cut off, `size_mm` back along both their sides.

    Parameters
    ----------
    corners : sequence of (float, float)
        mm, in order; the last is joined to the first.
    size_mm : float
        Length cut off either side; at 0 the corners stay.
    at : sequence of int
        Indices of the corners to cut off.

    Returns
    -------
    list of (float, float)
        Two corners for each one that is cut off.
    """
    out: list[Point2] = []
    for i, corner in enumerate(corners):
        if i not in at or size_mm == 0:
            out.append(corner)
            continue
        for other in (corners[i - 1], corners[(i + 1) % len(corners)]):
            share = size_mm / math.dist(corner, other)
            out.append(
                (corner[0] + share * (other[0] - corner[0]), corner[1] + share * (other[1] - corner[1]))
            )
    return out


def only_solid(shape: cq.Shape) -> Solid:
    """Return the one solid in a result.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    Solid

    Raises
    ------
    ValueError
        There is none, or more than one.
    """
    solids = solids_of(shape)
    if len(solids) != 1:
        raise ValueError(f"{len(solids)} solids came out where one was meant")
    return solids[0]


def polygon_face(rings: Sequence[Floats]) -> Face:
    """Return the planar face bounded by closed rings of points (k, 3), outer first.

    Parameters
    ----------
    rings : sequence of ndarray, shape (k, 3)
        Corners of each ring in turn, mm, all in one plane.

    Returns
    -------
    Face

    Raises
    ------
    KernelError
        The outer ring bounds no flat face.
    """
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
        raise KernelError(f"no flat face through {len(rings[0])} points")
    return cq.Face(face.Face())


def segment(start: Floats, end: Floats) -> Edge:
    """Return the straight edge between two points.

    Parameters
    ----------
    start, end : ndarray, shape (3,)
        mm.

    Returns
    -------
    Edge
        Runs from the first to the second.
    """
    return cq.Edge.makeLine(cq.Vector(*start), cq.Vector(*end))


def circle(centre: Floats, axis: Floats, radius_mm: float) -> Edge:
    """Return a full circle.

    Parameters
    ----------
    centre : ndarray, shape (3,)
        mm.
    axis : ndarray, shape (3,)
        Square to its plane; of any length.
    radius_mm : float

    Returns
    -------
    Edge
    """
    return cq.Edge.makeCircle(radius_mm, cq.Vector(*centre), cq.Vector(*axis))


def cylinder_patch(centre: Floats, start: Floats, axis: Floats, angle_rad: float, height_mm: float) -> Face:
    """Return a piece of a cylinder.

    Parameters
    ----------
    centre : ndarray, shape (3,)
        On the axis, at the bottom of the piece.
    start : ndarray, shape (3,)
        From the centre to the first point of the arc; its length is the radius, mm.
    axis : ndarray, shape (3,)
        Unit axis; the arc turns about it by `angle_rad` and the piece rises along it by `height_mm`.
    angle_rad, height_mm : float
        How far the arc turns, and how high the piece is.

    Returns
    -------
    Face
    """
    radius = float(np.linalg.norm(start))
    plane = gp_Ax2(gp_Pnt(*centre), gp_Dir(*axis), gp_Dir(*start))
    arc = BRepBuilderAPI_MakeEdge(gp_Circ(plane, radius), 0.0, angle_rad).Edge()
    prism = BRepPrimAPI_MakePrism(arc, gp_Vec(*(height_mm * axis)))
    return cq.Face(TopoDS.Face_s(prism.Shape()))


def vertex(point: Floats) -> Shape:
    """Return a vertex.

    Parameters
    ----------
    point : ndarray, shape (3,)
        In mm.

    Returns
    -------
    Shape
    """
    return cq.Vertex.makeVertex(*(float(v) for v in point))


def parameter_patch(face: Face, low: Floats, high: Floats) -> Face:
    """Return the piece of a face's surface between two corners in its parameters.

    Parameters
    ----------
    face : Face
        Its outline does not trim the piece.
    low, high : ndarray, shape (2,)
        Least and greatest u and v.

    Returns
    -------
    Face
        Its normal is that of the surface, whichever way the face looks.
    """
    surface = BRep_Tool.Surface_s(face.wrapped)
    return cq.Face(BRepBuilderAPI_MakeFace(surface, low[0], high[0], low[1], high[1], 1e-6).Face())


def chamfered(solid: Solid, edge: int, leg_mm: float, write: Writing) -> Solid:
    """Return a solid with an equal-leg chamfer on one of its edges, by its index in `edges_of`.

    Parameters
    ----------
    solid : Solid
    edge : int
        Index into `edges_of(solid)`.
    leg_mm : float
    write : Writing
        Writes the leg in the error.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        The kernel cannot cut the chamfer, which is then larger than the faces beside the edge allow.
    """
    what = f"a chamfer of {write.length(leg_mm, 'g')} does not fit on edge {edge}"
    return worked(lambda: solid.chamfer(leg_mm, None, [edges_of(solid)[edge]]), what)


def filleted(solid: Solid, edge: int, radius_mm: float, write: Writing) -> Solid:
    """Return a solid with one of its edges rounded, by its index in `edges_of`.

    Parameters
    ----------
    solid : Solid
    edge : int
        Index into `edges_of(solid)`.
    radius_mm : float
    write : Writing
        Writes the radius in the error.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        The kernel cannot round the edge, whose faces are then too small.
    """
    what = f"a fillet of {write.length(radius_mm, 'g')} does not fit on edge {edge}"
    return worked(lambda: solid.fillet(radius_mm, [edges_of(solid)[edge]]), what)


def worked(work: Callable[[], Shape], failure: str) -> Solid:
    """Return the one valid solid that some work on a solid leaves.

    Parameters
    ----------
    work : callable
        Takes nothing and returns a shape.
    failure : str
        The message of the error.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        With the sentence given: the kernel fails, or what is left is not one valid solid.
    """
    try:
        shape = work()
        if shape.isValid():
            return only_solid(shape)
    except (StdFail_NotDone, Standard_Failure, ValueError) as reason:
        raise KernelError(failure) from reason
    raise KernelError(failure)


def spline_through(points: Floats, *, closed: bool) -> Edge:
    """Return a smooth edge through points (n, 3); a closed one does not repeat its first point.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        mm, in order.
    closed : bool
        Whether it runs on from the last point to the first.

    Returns
    -------
    Edge
    """
    return cq.Edge.makeSpline([cq.Vector(*p) for p in points.tolist()], periodic=closed)


def pulled(face: Face, along: Vector) -> Solid:
    """Return the solid that a face sweeps along a vector, mm.

    Parameters
    ----------
    face : Face
    along : Vector
        mm; it may leave the face to either side.

    Returns
    -------
    Solid
    """
    prism = BRepPrimAPI_MakePrism(face.wrapped, gp_Vec(*along)).Shape()
    solid = cq.Solid(solids_of(cq_shape(prism))[0].wrapped)
    return solid if solid.Volume() > 0 else cq.Solid(solid.wrapped.Reversed())


def oriented_box(corner: Floats, axes: Floats, sizes_mm: Sequence[float]) -> Solid:
    """Return a box that starts at a corner (3,) and runs along the rows of `axes` (3, 3), mm.

    Parameters
    ----------
    corner : ndarray, shape (3,)
        mm.
    axes : ndarray, shape (3, 3)
        Unit directions, square to each other; they may be left-handed.
    sizes_mm : sequence of float, length 3
        Along each row.

    Returns
    -------
    Solid
    """
    plane = cq.Plane(
        origin=tuple(corner.tolist()),
        xDir=tuple(axes[0].tolist()),
        normal=tuple(np.cross(axes[0], axes[1]).tolist()),
    )
    x, y, z = (float(v) for v in sizes_mm)
    sign = float(np.sign(np.cross(axes[0], axes[1]) @ axes[2]))
    tool = cq.Workplane(plane).box(x, y, z, centered=False)
    tool = tool if sign > 0 else tool.translate(tuple((axes[2] * z).tolist()))
    box: Solid = tool.solids().vals()[0]
    return box


def extruded_polygon(ring: Floats, along: Floats) -> Solid:
    """Return what a flat polygon (n, 3) sweeps along a vector (3,), mm.

    Parameters
    ----------
    ring : ndarray, shape (n, 3)
        Corners in order, mm; the last is joined to the first.
    along : ndarray, shape (3,)
        mm.

    Returns
    -------
    Solid
    """
    return cq.Solid.extrudeLinear(polygon_face([ring]), cq.Vector(*along.tolist()))


def thickened(face: Face, by_mm: float) -> Shape:
    """Return what a face sweeps when it moves along its outward normal; inward where `by_mm` is negative.

    Parameters
    ----------
    face : Face
        Flat or curved.
    by_mm : float
        How far it moves.

    Returns
    -------
    Shape

    Raises
    ------
    KernelError
        The kernel cannot offset the face so far.
    """
    try:
        if face.geomType() == "PLANE":
            way = face.normalAt() * by_mm
            return cq.Solid.extrudeLinear(face, way)
        swept = face.thicken(by_mm)
    except (StdFail_NotDone, Standard_Failure, ValueError) as failure:
        raise KernelError(f"a curved face cannot be offset by {by_mm:g} mm") from failure
    return swept


def compound(shapes: Sequence[Shape]) -> Shape:
    """Return one compound of several shapes.

    Parameters
    ----------
    shapes : sequence of Shape

    Returns
    -------
    Shape
    """
    return cq.Compound.makeCompound(list(shapes))


def copied(solid: Solid) -> Solid:
    """Return a copy of a solid that shares no face with it.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    Solid
    """
    return solid.copy()
