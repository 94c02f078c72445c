"""Free-form faces and edges that are really planes, cylinders, cones, spheres, tori, lines or circles.

Many programs write every surface as a B-spline. What is known exactly about a cylinder holds for such a face
only when it is known to be one, so a solid is rewritten here before anything else reads it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy, BRepBuilderAPI_MakeEdge
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.Geom import (
    Geom_Circle,
    Geom_ConicalSurface,
    Geom_CylindricalSurface,
    Geom_Line,
    Geom_Plane,
    Geom_SphericalSurface,
    Geom_ToroidalSurface,
)
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_SurfaceType
from OCP.GeomConvert import GeomConvert_SurfToAnaSurf
from OCP.gp import gp_Ax2, gp_Ax3, gp_Dir, gp_Pnt, gp_Pnt2d, gp_Vec
from OCP.ShapeAnalysis import ShapeAnalysis_Surface
from OCP.ShapeFix import ShapeFix_Face, ShapeFix_Shape
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum, TopAbs_State
from OCP.TopExp import TopExp
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Iterator, TopoDS_Shell, TopoDS_Solid, TopoDS_Wire
from OCP.TopTools import TopTools_IndexedMapOfShape

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.topology import faces_of, mapped, middle_of, once_per_drawing, window_of, xyz
from fixturecheck.kernel.shapes import Solid, cq_shape
from fixturecheck.numeric import off_line_mm, square_to

SAME_MM = 1e-5
"""A surface that stays this close to a simple one is that one: a hundredth of the usual touch tolerance."""
_KERNEL_MM = 1e-7
_ACROSS = 9
"""Points across a face, in either parameter, at which the rewritten solid is compared with the drawn one."""

_FREE_SURFACES = frozenset(
    {
        GeomAbs_SurfaceType.GeomAbs_BSplineSurface,
        GeomAbs_SurfaceType.GeomAbs_BezierSurface,
        GeomAbs_SurfaceType.GeomAbs_SurfaceOfRevolution,
        GeomAbs_SurfaceType.GeomAbs_SurfaceOfExtrusion,
        GeomAbs_SurfaceType.GeomAbs_OffsetSurface,
    }
)
_FREE_CURVES = frozenset(
    {
        GeomAbs_CurveType.GeomAbs_BSplineCurve,
        GeomAbs_CurveType.GeomAbs_BezierCurve,
        GeomAbs_CurveType.GeomAbs_OffsetCurve,
    }
)


def recognised(solid: Solid) -> Solid:
    """Return a solid with every free-form face that is a simple surface written as that surface.

    Faces keep their order, so that an index or a name means the same face before and after. Edges between
    simple faces become lines and circles where they are. A face is rewritten only when it stays within
    `SAME_MM` of the simple surface; the solid is returned as drawn when nothing is recognised or when the
    kernel cannot rebuild it closed and valid.

    Parameters
    ----------
    solid : Solid
        Closed and valid.

    Returns
    -------
    Solid
        The solid given where nothing is rewritten.
    """
    faces = faces_of(solid)
    free = [BRepAdaptor_Surface(f.wrapped, False).GetType() in _FREE_SURFACES for f in faces]
    bent = any(
        BRepAdaptor_Curve(TopoDS.Edge_s(e)).GetType() in _FREE_CURVES
        for e in mapped(solid.wrapped, TopAbs_ShapeEnum.TopAbs_EDGE)
        if not BRep_Tool.Degenerated_s(TopoDS.Edge_s(e))
    )
    if not any(free) and not bent:
        return solid
    found = _recognised(Solid(solid.wrapped.Located(TopLoc_Location())))
    return solid if found is None else found.moved(solid.location())


@once_per_drawing(64)
def _recognised(drawn: Solid) -> Solid | None:
    """Return the rewritten solid; None where nothing is simple or it does not come out the same."""
    try:
        rebuilt = _rebuilt(drawn)
        return rebuilt if rebuilt is not None and _alike(drawn, rebuilt) else None
    except Standard_Failure:
        # The drawn solid stays right when the kernel cannot rebuild it; its faces are sampled then.
        return None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Simple:
    """The surface a face is rewritten on, and whether its normal runs against the drawn one's."""

    surface: Any
    flipped: bool


def _rebuilt(solid: Solid) -> Solid | None:
    """Return the solid rebuilt from its surfaces, edge curves and corners; None where nothing is simple.

    Every face is laid out anew on its surface, drawn or simple, from the curves of its edges in space, as
    a STEP file without parameter curves is read.
    """
    drawn = BRepBuilderAPI_Copy(solid.wrapped, True).Shape()
    faces = mapped(drawn, TopAbs_ShapeEnum.TopAbs_FACE)
    simple = [_simple(TopoDS.Face_s(f)) for f in faces]
    index = TopTools_IndexedMapOfShape()
    for face in faces:
        index.Add(face)
    edges = _RebuiltEdges(faces, simple)
    if not edges.changed and not any(simple):
        return None
    builder = BRep_Builder()
    made = TopoDS_Solid()
    builder.MakeSolid(made)
    for shell in parts_of(drawn):
        made_shell = TopoDS_Shell()
        builder.MakeShell(made_shell)
        for face in parts_of(shell):
            new = _laid_out(TopoDS.Face_s(face), simple[index.FindIndex(face) - 1], edges)
            builder.Add(made_shell, new)
        made_shell.Closed(True)
        builder.Add(made, made_shell.Oriented(shell.Orientation()))
    fix = ShapeFix_Shape(made)
    fix.SetPrecision(_KERNEL_MM)
    fix.SetMaxTolerance(10 * SAME_MM)
    fix.Perform()
    solids = cq_shape(fix.Shape()).Solids()
    return solids[0] if len(solids) == 1 else None


def parts_of(shape: Any) -> Iterator[Any]:
    """Yield what a shape is made of, each as it is oriented in it.

    Parameters
    ----------
    shape : TopoDS_Shape

    Yields
    ------
    TopoDS_Shape
        A direct part, the location of the shape included.
    """
    walk = TopoDS_Iterator(shape, False, True)
    while walk.More():
        yield walk.Value()
        walk.Next()


def _laid_out(face: Any, simple: _Simple | None, edges: _RebuiltEdges) -> Any:
    """Return a face on its new surface, bounded by the new edges."""
    builder = BRep_Builder()
    new = TopoDS_Face()
    builder.MakeFace(new, simple.surface if simple else BRep_Tool.Surface_s(face), _KERNEL_MM)
    for wire in parts_of(face.Oriented(TopAbs_Orientation.TopAbs_FORWARD)):
        if wire.ShapeType() != TopAbs_ShapeEnum.TopAbs_WIRE:
            continue
        ring = TopoDS_Wire()
        builder.MakeWire(ring)
        for edge in parts_of(wire):
            found = edges.new(TopoDS.Edge_s(edge))
            if found is not None:  # poles and tips are put back from the new surface
                builder.Add(ring, found.Oriented(edge.Orientation()))
        ring.Closed(True)
        orientation = wire.Orientation()
        builder.Add(
            new, ring.Oriented(_turned_over(orientation) if simple and simple.flipped else orientation)
        )
    orientation = face.Orientation()
    return mended(new, _KERNEL_MM, 10 * SAME_MM).Oriented(
        _turned_over(orientation) if simple and simple.flipped else orientation
    )


def _turned_over(orientation: Any) -> Any:
    """Return the orientation that a thing has seen from the other side."""
    forward, back = TopAbs_Orientation.TopAbs_FORWARD, TopAbs_Orientation.TopAbs_REVERSED
    return {forward: back, back: forward}.get(orientation, orientation)


class _RebuiltEdges:
    """The edges of the rebuilt solid: lines and circles where they are, else the drawn curves.

    An edge is straightened or rounded only between faces that all lie on simple surfaces.
    """

    def __init__(self, faces: list[Any], simple: list[_Simple | None]) -> None:
        self.changed = False
        self._made: dict[int, Any] = {}
        self._index = TopTools_IndexedMapOfShape()
        kept = TopTools_IndexedMapOfShape()
        for face, found in zip(faces, simple, strict=True):
            if found is None and BRepAdaptor_Surface(TopoDS.Face_s(face), False).GetType() in _FREE_SURFACES:
                for edge in mapped(face, TopAbs_ShapeEnum.TopAbs_EDGE):
                    kept.Add(edge)
        for face in faces:
            for shape in mapped(face, TopAbs_ShapeEnum.TopAbs_EDGE):
                edge = TopoDS.Edge_s(shape)
                number = self._index.Add(edge)
                if number in self._made or BRep_Tool.Degenerated_s(edge):
                    continue
                curve = None if kept.Contains(edge) else _simple_curve(edge)
                self.changed |= curve is not None
                self._made[number] = _edge(edge, curve)

    def new(self, edge: Any) -> Any | None:
        """Return the new edge for a drawn one, forward; None where it is degenerate."""
        return self._made.get(self._index.FindIndex(edge))


Curve = tuple[Any, float, float]
"""A line or circle of the kernel, and the parameters at which the edge starts and ends."""


def _simple_curve(edge: Any) -> Curve | None:
    """Return the line or circle of a free-form edge, in its own direction; None where it is neither."""
    adaptor = BRepAdaptor_Curve(edge)
    if adaptor.GetType() not in _FREE_CURVES:
        return None
    first, last = adaptor.FirstParameter(), adaptor.LastParameter()
    at = _nodes(first, last, _knots(adaptor), _degree(adaptor))
    points = np.array([xyz(adaptor.Value(float(t))) for t in at])
    start, end = points[0], points[-1]
    long = float(np.linalg.norm(end - start))
    if long > _KERNEL_MM:
        direction = (end - start) / long
        if float(off_line_mm(points, start, direction).max()) <= SAME_MM:
            return Geom_Line(gp_Pnt(*start), gp_Dir(*direction)), 0.0, long
    return _circle(points)


def _circle(points: Floats) -> Curve | None:
    """Return the circle that points run along from its angle zero on; None where they lie on none."""
    middle = points.mean(axis=0)
    normal = np.linalg.svd(points - middle)[2][2]
    flat = points - ((points - middle) @ normal)[:, None] * normal
    basis = np.linalg.svd(points - middle)[2][:2]
    plane = (flat - middle) @ basis.T
    rows = np.column_stack([2 * plane, np.ones(len(plane))])
    x, y, rest = np.linalg.lstsq(rows, (plane**2).sum(axis=1), rcond=None)[0]
    square = rest + x * x + y * y
    if not np.isfinite(square) or square <= 0 or square > _FLATTEST_MM**2:
        return None
    centre, radius = middle + np.array([x, y]) @ basis, math.sqrt(square)
    arms = points - centre
    if np.abs(np.linalg.norm(arms, axis=1) - radius).max() > SAME_MM:
        return None
    zero = arms[0] / np.linalg.norm(arms[0])
    if float(np.cross(arms[0], arms[1]) @ normal) < 0:
        normal = -normal
    if np.abs(arms @ normal).max() > SAME_MM:
        return None
    zero = zero - (zero @ normal) * normal
    angles = np.unwrap(np.arctan2(arms @ np.cross(normal, zero), arms @ zero))
    last = 2 * math.pi if np.linalg.norm(arms[-1] - arms[0]) <= SAME_MM else float(angles[-1])
    if np.any(np.diff(angles) <= 0) or last > 2 * math.pi + 1e-9:
        return None
    place = gp_Ax2(gp_Pnt(*centre), gp_Dir(*normal), gp_Dir(*zero))
    return Geom_Circle(place, radius), 0.0, last


_FLATTEST_MM = 1e6
"""No part is so long that a curve flatter than this differs from a line."""


def _edge(edge: Any, curve: Curve | None) -> Any:
    """Return a new edge between the same corners, without the parameter curves of the drawn one."""
    start, end = TopExp.FirstVertex_s(edge, False), TopExp.LastVertex_s(edge, False)
    start = TopoDS.Vertex_s(start.Oriented(TopAbs_Orientation.TopAbs_FORWARD))
    end = TopoDS.Vertex_s(end.Oriented(TopAbs_Orientation.TopAbs_FORWARD))
    adaptor = BRepAdaptor_Curve(edge)
    shape, first, last = curve or (
        BRep_Tool.Curve_s(edge, 0.0, 1.0), adaptor.FirstParameter(), adaptor.LastParameter(),
    )  # fmt: skip
    builder = BRep_Builder()
    if curve is not None:
        for vertex, at in ((start, first), (end, last)):
            corner, spot = xyz(BRep_Tool.Pnt_s(vertex)), xyz(shape.Value(at))
            apart = float(np.linalg.norm(corner - spot)) + _KERNEL_MM
            builder.UpdateVertex(vertex, max(BRep_Tool.Tolerance_s(vertex), apart))
    maker = BRepBuilderAPI_MakeEdge(shape, start, end, first, last)
    if not maker.IsDone():
        raise Standard_Failure
    return maker.Edge().Oriented(TopAbs_Orientation.TopAbs_FORWARD)


def _simple(face: Any) -> _Simple | None:
    """Return the simple surface that a free-form face lies on, laid so that its seam is out of the way."""
    adaptor = BRepAdaptor_Surface(face, True)
    if adaptor.GetType() not in _FREE_SURFACES:
        return None
    window = window_of(adaptor)
    drawn = BRep_Tool.Surface_s(face)
    # The whole surface first: over a window that closes on itself the kernel recognises nothing.
    convert = GeomConvert_SurfToAnaSurf(drawn)
    found = convert.ConvertToAnalytical(SAME_MM) or convert.ConvertToAnalytical(SAME_MM, *window)
    if found is None or type(found) not in _LAID:
        return None
    u = _nodes(window[0], window[1], _knots(adaptor, "U"), _degree(adaptor, "U"))
    v = _nodes(window[2], window[3], _knots(adaptor, "V"), _degree(adaptor, "V"))
    points = np.array([[xyz(adaptor.Value(float(s), float(t))) for t in v] for s in u]).reshape(-1, 3)
    surface = _LAID[type(found)](found, face, points)
    on = ShapeAnalysis_Surface(surface)
    for point in points:
        on.ValueOfUV(gp_Pnt(*point), _KERNEL_MM)
        if on.Gap() > SAME_MM:
            return None
    return _Simple(surface=surface, flipped=_against(adaptor, window, surface))


def _against(adaptor: Any, window: tuple[float, float, float, float], surface: Any) -> bool:
    """Whether the normal of a surface runs against the drawn one's in the middle of the face."""
    spot, drawn = middle_of(adaptor, window)
    du, dv = gp_Vec(), gp_Vec()
    at = ShapeAnalysis_Surface(surface).ValueOfUV(spot, _KERNEL_MM)
    surface.D1(at.X(), at.Y(), spot, du, dv)
    return float(np.cross(xyz(du), xyz(dv)) @ drawn) < 0


def _flat(found: Any, _face: Any, _points: Floats) -> Any:
    return Geom_Plane(found.Pln())


def _turnable(found: Any, face: Any, points: Floats) -> Any:
    """Return a surface of revolution turned about its axis so that its seam lies on the face's, or off it."""
    position = found.Position()
    origin, axis = xyz(position.Location()), xyz(position.Direction())
    place = gp_Ax3(gp_Pnt(*origin), gp_Dir(*axis), gp_Dir(*zero_direction(face, points, origin, axis)))
    if isinstance(found, Geom_CylindricalSurface):
        return Geom_CylindricalSurface(place, found.Radius())
    if isinstance(found, Geom_ConicalSurface):
        return Geom_ConicalSurface(place, found.SemiAngle(), found.RefRadius())
    return Geom_ToroidalSurface(place, found.MajorRadius(), found.MinorRadius())


def _ball(found: Any, face: Any, points: Floats) -> Any:
    """Return a sphere whose poles are those of the face, or lie off it."""
    centre = xyz(found.Position().Location())
    poles = poles_of(face)
    middle = points.mean(axis=0) - centre
    axis = poles[0] - centre if poles else square_to(middle)[0]
    axis = axis / np.linalg.norm(axis)
    zero = zero_direction(face, points, centre, axis)
    return Geom_SphericalSurface(gp_Ax3(gp_Pnt(*centre), gp_Dir(*axis), gp_Dir(*zero)), found.Radius())


_LAID: dict[type, Callable[[Any, Any, Floats], Any]] = {
    Geom_Plane: _flat,
    Geom_CylindricalSurface: _turnable,
    Geom_ConicalSurface: _turnable,
    Geom_ToroidalSurface: _turnable,
    Geom_SphericalSurface: _ball,
}


def poles_of(face: Any) -> list[Floats]:
    """Return where a face has edges that are points: the poles of a sphere, the tip of a cone.

    Parameters
    ----------
    face : TopoDS_Face

    Returns
    -------
    list of ndarray, shape (3,)
        In mm.
    """
    edges = (TopoDS.Edge_s(e) for e in mapped(face, TopAbs_ShapeEnum.TopAbs_EDGE))
    return [xyz(BRep_Tool.Pnt_s(TopExp.FirstVertex_s(e))) for e in edges if BRep_Tool.Degenerated_s(e)]


def mended(face: Any, precise_mm: float, most_mm: float) -> Any:
    """Return a face that was built from a surface and wires, with what the kernel needs to trim it.

    Parameters
    ----------
    face : TopoDS_Face
    precise_mm : float
        Basic precision of the kernel's repair.
    most_mm : float
        Greatest tolerance that the repair may set.

    Returns
    -------
    TopoDS_Face
    """
    fix = ShapeFix_Face(face)
    fix.SetPrecision(precise_mm)
    fix.SetMaxTolerance(most_mm)
    fix.Perform()
    return fix.Face()


def zero_direction(face: Any, points: Floats, origin: Floats, axis: Floats) -> Floats:
    """Return the direction of angle zero: through the face's own seam, or away from its middle.

    Parameters
    ----------
    face : TopoDS_Face
    points : ndarray, shape (n, 3)
        Places on its surface, mm; their mean is taken for its middle where it has no seam.
    origin, axis : ndarray, shape (3,)
        A point of the axis and its unit direction.

    Returns
    -------
    ndarray, shape (3,)
        Unit direction square to the axis.
    """

    def across(point: Floats) -> Floats:
        arm = point - origin
        return np.asarray(arm - (arm @ axis) * axis)

    seam = _seam_middle(face)
    arm = across(seam) if seam is not None else -across(points.mean(axis=0))
    if float(np.linalg.norm(arm)) < SAME_MM:
        arm = square_to(axis)[0]
    return np.asarray(arm / np.linalg.norm(arm))


def _seam_middle(face: Any) -> Floats | None:
    """Return the middle of the edge that a face has on both of its sides; None where it has none."""
    for shape in mapped(face, TopAbs_ShapeEnum.TopAbs_EDGE):
        edge = TopoDS.Edge_s(shape)
        if not BRep_Tool.Degenerated_s(edge) and BRep_Tool.IsClosed_s(edge, face):
            curve = BRepAdaptor_Curve(edge)
            return xyz(curve.Value((curve.FirstParameter() + curve.LastParameter()) / 2))
    return None


_MOST = 120
"""Nodes along a parameter, at most; a surface with more spans than that is no simple one to begin with."""


def _nodes(first: float, last: float, knots: Floats, degree: int) -> Floats:
    """Return parameters at which a deviation is read, ends included.

    Inserted into the equation of a quadric, a patch of degree p is a polynomial of degree 2p in either
    parameter of each span, and of 4p in that of a torus: as many points as it has coefficients hold it.
    """
    cuts = np.unique(np.concatenate([[first], knots[(knots > first) & (knots < last)], [last]]))
    each = max(3, min(4 * degree + 1, _MOST // max(len(cuts) - 1, 1)))
    cosine = 0.5 - 0.5 * np.cos(np.linspace(0.0, math.pi, each))
    rows = cuts[:-1, None] + cosine[None, :-1] * np.diff(cuts)[:, None]
    return np.append(rows.ravel(), last)


def _knots(adaptor: Any, parameter: str = "") -> Floats:
    """Return where the pieces of a spline meet; none on anything else."""
    curve = GeomAbs_CurveType.GeomAbs_BSplineCurve
    surface = GeomAbs_SurfaceType.GeomAbs_BSplineSurface
    if adaptor.GetType() not in (curve, surface):
        return np.zeros(0)
    spline = adaptor.BSpline()
    count, knot = getattr(spline, f"Nb{parameter}Knots")(), getattr(spline, f"{parameter}Knot")
    return np.array([knot(i + 1) for i in range(count)])


def _degree(adaptor: Any, parameter: str = "") -> int:
    """Return the degree of a spline; of a surface swept from another curve, that of a fine sample."""
    kinds = (
        GeomAbs_CurveType.GeomAbs_BSplineCurve, GeomAbs_CurveType.GeomAbs_BezierCurve,
        GeomAbs_SurfaceType.GeomAbs_BSplineSurface, GeomAbs_SurfaceType.GeomAbs_BezierSurface,
    )  # fmt: skip
    return int(getattr(adaptor, f"{parameter}Degree")()) if adaptor.GetType() in kinds else 8


def _alike(drawn: Solid, rebuilt: Solid) -> bool:
    """Whether a rebuilt solid is valid and each of its faces is the drawn one of the same number.

    Points inside each drawn face have to lie on the rebuilt one and inside its outline.
    """
    if not BRepCheck_Analyzer(rebuilt.wrapped).IsValid():
        return False
    old, new = faces_of(drawn), faces_of(rebuilt)
    return len(old) == len(new) and all(_covers(a.wrapped, b.wrapped) for a, b in zip(old, new, strict=True))


def _covers(old: Any, new: Any) -> bool:
    """Whether two faces cover each other, seen at points inside either."""
    return _inside(old, new) and _inside(new, old)


def _inside(one: Any, other: Any) -> bool:
    """Whether points of one face lie on the other."""
    adaptor, surface = BRepAdaptor_Surface(one, True), ShapeAnalysis_Surface(BRep_Tool.Surface_s(other))
    here, there = (BRepTopAdaptor_FClass2d(f, _KERNEL_MM) for f in (one, other))
    bounds = adaptor.FirstUParameter(), adaptor.LastUParameter()
    rises = adaptor.FirstVParameter(), adaptor.LastVParameter()
    share = (np.arange(_ACROSS) + 0.5) / _ACROSS
    for u in bounds[0] + share * (bounds[1] - bounds[0]):
        for v in rises[0] + share * (rises[1] - rises[0]):
            if here.Perform(gp_Pnt2d(u, v)) != TopAbs_State.TopAbs_IN:
                continue
            at = surface.ValueOfUV(adaptor.Value(u, v), _KERNEL_MM)
            if surface.Gap() > 2 * SAME_MM or there.Perform(at) == TopAbs_State.TopAbs_OUT:
                return False
    return True
