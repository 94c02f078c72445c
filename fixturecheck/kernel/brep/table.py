"""The faces, edges and vertices of one solid, read from the kernel once, and its surfaces in numbers.

All that other modules know of the faces of a solid is derived from these tables.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from itertools import accumulate, pairwise
from typing import Any, TypeVar

import cadquery as cq
import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Curve2d, BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
from OCP.BRepGProp import BRepGProp
from OCP.BRepTools import BRepTools
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.GCPnts import GCPnts_AbscissaPoint
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
from OCP.gp import gp_Pnt, gp_Pnt2d, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.ShapeAnalysis import ShapeAnalysis_Surface
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum, TopAbs_State
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from fixturecheck.arrays import Floats, Ints
from fixturecheck.kernel.brep.primitives import Circle, CurveKind, Surface, SurfaceKind, SweptPrimitive
from fixturecheck.kernel.brep.topology import listed, mapped, one_of_each, sub_shapes, xyz
from fixturecheck.kernel.place import drawing_matrix
from fixturecheck.kernel.recall import asked_of, recalled
from fixturecheck.kernel.shapes import Edge, Face, Solid

_MM = 1e-7
_NO_NORMAL = 1e-12
_HAIR = 1e-6


class Probe:
    """One face, ready to be asked often.

    Attributes
    ----------
    face : Face
    """

    def __init__(self, face: Face) -> None:
        self.face = face
        self._wrapped = TopoDS.Face_s(face.wrapped)
        self._adaptor = BRepAdaptor_Surface(self._wrapped, False)
        self._flip = -1.0 if self._wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0

    # Most faces are asked for normals only, and these take longer to make than a normal does.
    @cached_property
    def _surface(self) -> ShapeAnalysis_Surface:
        return ShapeAnalysis_Surface(BRep_Tool.Surface_s(self._wrapped))

    @cached_property
    def _outline(self) -> BRepTopAdaptor_FClass2d:
        return BRepTopAdaptor_FClass2d(self._wrapped, 1e-9)

    @cached_property
    def _middle(self) -> tuple[float, float]:
        u0, u1, v0, v1 = BRepTools.UVBounds_s(self._wrapped)
        return (u0 + u1) / 2, (v0 + v1) / 2

    def at(self, uv: tuple[float, float]) -> tuple[Floats, Floats]:
        """Return the point at surface parameters and the outward unit normal there.

        At a pole, where one parameter goes round nothing, it is that of a place a hair towards the middle.
        """
        u, v = uv
        point, normal, size = self._raw(u, v)
        if size <= _NO_NORMAL:
            _, normal, size = self._raw(
                *(p + _HAIR * (m - p) for p, m in zip((u, v), self._middle, strict=True))
            )
        return point, normal / max(size, 1e-300) * self._flip

    def _raw(self, u: float, v: float) -> tuple[Floats, Floats, float]:
        """Return the point at parameters, the vector product of its derivatives, and its length."""
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        self._adaptor.D1(u, v, point, du, dv)
        x, y, z = du.Coord()
        p, q, r = dv.Coord()
        normal = (y * r - z * q, z * p - x * r, x * q - y * p)
        size = math.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
        return np.array(point.Coord()), np.array(normal), size

    def tangents(self, uv: tuple[float, float]) -> tuple[Floats, Floats]:
        """Return the point at surface parameters and its derivatives by u and by v, shape (2, 3)."""
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        self._adaptor.D1(*uv, point, du, dv)
        return np.array(point.Coord()), np.array((du.Coord(), dv.Coord()))

    def inside(self, uv: tuple[float, float]) -> bool:
        """Whether parameters lie within the face's outline, its border included."""
        return bool(self._outline.Perform(gp_Pnt2d(*uv)) != TopAbs_State.TopAbs_OUT)

    def gap(self, point: Floats) -> tuple[float, Floats, bool]:
        """Return how far a point is outside the face's surface, and the outward normal at its foot.

        Returns
        -------
        gap_mm : float
            Along the normal at the foot; negative behind the face.
        normal : ndarray, shape (3,)
        inside : bool
            Whether the foot lies within the face's outline.
        """
        foot = self._surface.ValueOfUV(gp_Pnt(*point.tolist()), _MM)
        spot, normal = self.at((foot.X(), foot.Y()))
        away = point - spot
        # The length of the way, not its share along the normal: at a tip the normal is that of one side only.
        gap = math.copysign(float(np.linalg.norm(away)), float(away @ normal))
        return gap, normal, self.inside((foot.X(), foot.Y()))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeSide:
    """An edge as it runs round one of the faces beside it.

    Parameters
    ----------
    flat : BRepAdaptor_Curve2d
        The edge in the face's parameters.
    face : Probe
    sign : int
        +1 where the face lies left of the edge as it runs, -1 where right.
    """

    flat: BRepAdaptor_Curve2d
    face: Probe
    sign: int

    def normal(self, parameter: float) -> Floats:
        """Return the outward unit normal of the face at a parameter of the edge."""
        spot = self.flat.Value(parameter)
        return self.face.at((spot.X(), spot.Y()))[1]

    def into(self, normal: Floats, along: Floats) -> Floats:
        """Return the unit direction into the face where it has a normal, square to a way along the edge."""
        into = crossed(normal, along) * self.sign
        return np.asarray(into / max(float(np.linalg.norm(into)), 1e-300))


class EdgeProbe:
    """One edge, ready to be asked often: its points, the way it runs, and the faces that leave it.

    Places of it are shares of its range of parameters.

    Parameters
    ----------
    edge : Edge
    sides : sequence of EdgeSide
        The faces that meet in the edge; empty where only the curve is needed.
    """

    def __init__(self, edge: Edge, sides: Sequence[EdgeSide] = ()) -> None:
        self._edge = edge
        self._curve = BRepAdaptor_Curve(edge.wrapped)
        self._first = float(self._curve.FirstParameter())
        self._range = float(self._curve.LastParameter()) - self._first
        self.sides = tuple(sides)

    def at(self, share: float) -> tuple[Floats, Floats]:
        """Return the point at a share of the range, and the derivative by the share there."""
        point, along = gp_Pnt(), gp_Vec()
        self._curve.D1(self._first + share * self._range, point, along)
        return np.array(point.Coord()), self._range * np.array(along.Coord())

    def derivative(self, parameter: float) -> Floats:
        """Return the derivative at a parameter of the curve itself."""
        point, along = gp_Pnt(), gp_Vec()
        self._curve.D1(parameter, point, along)
        return np.array(along.Coord())

    def leaving(self, share: float) -> Floats:
        """Return the unit directions into the faces beside the edge, square to it, shape (n, 3)."""
        at, along = self._first + share * self._range, self.at(share)[1]
        return np.array([side.into(side.normal(at), along) for side in self.sides]).reshape(-1, 3)

    def normals(self, share: float) -> Floats:
        """Return the outward normals of the faces beside the edge, shape (n, 3)."""
        at = self._first + share * self._range
        return np.array([side.normal(at) for side in self.sides]).reshape(-1, 3)

    def length_mm(self, low_share: float, high_share: float) -> float:
        """Return the length between two shares of the range."""
        low, high = (self._first + share * self._range for share in (low_share, high_share))
        return float(GCPnts_AbscissaPoint.Length_s(self._curve, low, high, _MM))

    def part(self, low_share: float, high_share: float) -> Edge:
        """Return the piece between two shares of the range."""
        if (low_share, high_share) == (0.0, 1.0):
            return self._edge
        curve = BRep_Tool.Curve_s(TopoDS.Edge_s(self._edge.wrapped), 0.0, 1.0)
        low, high = (self._first + share * self._range for share in (low_share, high_share))
        return cq.Edge(BRepBuilderAPI_MakeEdge(curve, low, high).Edge())


def sides_of(edge: Edge, faces: Sequence[Probe]) -> Iterator[EdgeSide]:
    """Yield an edge as it runs round each of some faces that it bounds, a seam twice."""
    for face in faces:
        walk = TopExp_Explorer(face.face.wrapped, TopAbs_ShapeEnum.TopAbs_EDGE)
        while walk.More():
            side = TopoDS.Edge_s(walk.Current())
            if side.IsSame(edge.wrapped):
                yield edge_side(side, face)
            walk.Next()


def edge_side(edge: Any, face: Probe) -> EdgeSide:
    """Return a wrapped edge, directed as it runs round a face, as a side of that face."""
    flat = BRepAdaptor_Curve2d(TopoDS.Edge_s(edge), TopoDS.Face_s(face.face.wrapped))
    return EdgeSide(flat=flat, face=face, sign=run_of(edge))


def run_of(edge: Any) -> int:
    """Return +1 where a face lies left of an edge that is directed as it runs round it, -1 where right."""
    return -1 if int(edge.Orientation()) == REVERSED else 1


def crossed(a: Floats, b: Floats) -> Floats:
    """Return the cross product of two vectors; numpy's own takes ten times as long for a single one."""
    (ax, ay, az), (bx, by, bz) = a.tolist(), b.tolist()
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])


T = TypeVar("T")

# By the kernel's own numbers: its enumerations are slow to look up and to compare.
REVERSED = int(TopAbs_Orientation.TopAbs_REVERSED)
_EDGE = TopAbs_ShapeEnum.TopAbs_EDGE
_SURFACES = {
    int(GeomAbs_SurfaceType.GeomAbs_Plane): SurfaceKind.PLANE,
    int(GeomAbs_SurfaceType.GeomAbs_Cylinder): SurfaceKind.CYLINDER,
    int(GeomAbs_SurfaceType.GeomAbs_Cone): SurfaceKind.CONE,
    int(GeomAbs_SurfaceType.GeomAbs_Sphere): SurfaceKind.SPHERE,
    int(GeomAbs_SurfaceType.GeomAbs_Torus): SurfaceKind.TORUS,
}
# What lies on one of these is known by its class. An adaptor sees through trimmed ones too, but costs more.
_PLAIN_SURFACES = {
    Geom_Plane: SurfaceKind.PLANE,
    Geom_CylindricalSurface: SurfaceKind.CYLINDER,
    Geom_ConicalSurface: SurfaceKind.CONE,
    Geom_SphericalSurface: SurfaceKind.SPHERE,
    Geom_ToroidalSurface: SurfaceKind.TORUS,
}
_CURVES = {
    int(GeomAbs_CurveType.GeomAbs_Line): CurveKind.LINE,
    int(GeomAbs_CurveType.GeomAbs_Circle): CurveKind.CIRCLE,
    int(GeomAbs_CurveType.GeomAbs_Ellipse): CurveKind.ELLIPSE,
}


class FaceRow:
    """One face of a solid.

    Attributes
    ----------
    number : int
        Its index in `faces_of` the solid.
    kind : SurfaceKind
    flip : float
        -1 where the outward normal is the reverse of the surface's own; else 1.
    edges : list of TopoDS_Shape
        Its edges as they run round it, in the kernel's order; a seam comes twice.
    numbers : list of int
        The index of each of these among the edges of the solid.
    backs : list of bool
        Whether each of these runs against its curve.
    """

    def __init__(self, number: int, face: Any) -> None:
        self.number = number
        self._wrapped = face
        kind = _PLAIN_SURFACES.get(type(BRep_Tool.Surface_s(face)))
        self.kind = _SURFACES.get(int(self._surface.GetType()), SurfaceKind.OTHER) if kind is None else kind
        self.flip = -1.0 if int(face.Orientation()) == REVERSED else 1.0
        self.edges: list[Any] = []
        self.numbers: list[int] = []
        self.backs: list[bool] = []
        walk = TopExp_Explorer(face, _EDGE)
        more, current, on, keep = walk.More, walk.Current, walk.Next, self.edges.append
        while more():
            keep(current())
            on()

    # Few faces are asked for more than what surface they lie on, and the rest takes longer to make.
    @cached_property
    def face(self) -> Face:
        """The face."""
        return Face(self._wrapped)

    @cached_property
    def _surface(self) -> BRepAdaptor_Surface:
        return BRepAdaptor_Surface(self._wrapped, False)

    @cached_property
    def adaptor(self) -> BRepAdaptor_Surface:
        """Its surface over the range of its parameters."""
        return BRepAdaptor_Surface(self._wrapped, True)

    @cached_property
    def window(self) -> tuple[float, float, float, float]:
        """Least and greatest u, least and greatest v."""
        u0, u1, v0, v1 = BRepTools.UVBounds_s(self._wrapped)
        return u0, u1, v0, v1

    @cached_property
    def probe(self) -> Probe:
        """The face, ready to be asked at single places."""
        return Probe(self.face)

    @cached_property
    def middle(self) -> tuple[float, float]:
        """The middle of its parameters."""
        u0, u1, v0, v1 = self.window
        return (u0 + u1) / 2, (v0 + v1) / 2

    @cached_property
    def quadric(self) -> Any:
        """Its surface as the kernel's plane, cylinder, cone, sphere or torus; None for another one."""
        return None if self.kind is SurfaceKind.OTHER else getattr(self._surface, self.kind.capitalize())()

    @cached_property
    def size(self) -> tuple[float, Floats]:
        """Its exact area, mm2, and centre (3,)."""
        properties = GProp_GProps()
        BRepGProp.SurfaceProperties_s(self._wrapped, properties)
        return float(properties.Mass()), np.array(properties.CentreOfMass().Coord())


class EdgeRow:
    """One edge of a solid.

    Attributes
    ----------
    edge : TopoDS_Edge
    sides : list of (TopoDS_Shape, FaceRow)
        The edge as it runs round each face that it bounds; a seam bounds one face twice.
    backs : list of bool
        Whether it runs against its curve round each of these.
    degenerate : bool
        Whether it is a point, as at the tip of a cone. Such an edge has no curve.
    kind : CurveKind
        What curve it lies on.
    span : tuple of float
        First and last parameter of its curve.
    line : tuple of float
        A point of a straight edge and its unit direction, six numbers; parameters are lengths.
    circle : Circle or None
        The circle of a round edge.
    """

    line: tuple[float, ...] = ()

    def __init__(self, edge: Any) -> None:
        self.edge = edge
        self.sides: list[tuple[Any, FaceRow]] = []
        self.backs: list[bool] = []
        self.degenerate = bool(BRep_Tool.Degenerated_s(edge))
        self.kind = CurveKind.OTHER
        self.circle: Circle | None = None
        if self.degenerate:
            return
        self.span: tuple[float, float] = BRep_Tool.Range_s(edge)
        plain = BRep_Tool.Curve_s(edge, 0.0, 0.0)
        if type(plain) is Geom_Line:
            self.kind, self.line = CurveKind.LINE, _line_of(plain)
        elif type(plain) is Geom_Circle:
            self.kind, self.circle = CurveKind.CIRCLE, _circle_of(plain.Circ(), self.span)
        else:
            self._look_through()

    def _look_through(self) -> None:
        """Find what a curve is that is trimmed, or was made of a curve on a surface."""
        self.kind = _CURVES.get(int(self.curve.GetType()), CurveKind.OTHER)
        if self.kind is CurveKind.LINE:
            self.line = _line_of(self.curve)
        elif self.kind is CurveKind.CIRCLE:
            self.circle = _circle_of(self.curve.Circle(), self.span)

    @cached_property
    def curve(self) -> BRepAdaptor_Curve:
        """Its curve over the range of its parameters."""
        return BRepAdaptor_Curve(self.edge)

    def way(self, share: float) -> tuple[float, float, float]:
        """Return the derivative of its curve at a share of its span."""
        first, last = self.span
        point, along = gp_Pnt(), gp_Vec()
        self.curve.D1(first + share * (last - first), point, along)
        x, y, z = along.Coord()
        return x, y, z

    @cached_property
    def place(self) -> Floats:
        """Where its first vertex is; of a degenerate edge that is all."""
        return xyz(BRep_Tool.Pnt_s(TopExp.FirstVertex_s(self.edge)))

    @cached_property
    def is_seam(self) -> bool:
        """Whether both its sides are one face."""
        return len(self.sides) == 2 and self.sides[0][1] is self.sides[1][1]

    @cached_property
    def probe(self) -> EdgeProbe:
        """The edge with the faces beside it, ready to be asked at single places."""
        return EdgeProbe(Edge(self.edge), [edge_side(edge, row.probe) for edge, row in self.sides])


SAMPLES = 9
"""Points on each edge that `edge_samples` returns."""


def edge_samples(table: BrepTable) -> Floats:
    """Return points along every edge, evenly spaced in its parameter, ends included.

    Parameters
    ----------
    table : BrepTable
        Of the solid.

    Returns
    -------
    ndarray, shape (E, 9, 3)
        In the frame of the solid, mm.
    """
    edges = table.edges
    found = np.empty((len(edges), SAMPLES, 3))
    straight, round_ = list[int](), list[int]()
    for k, edge in enumerate(edges):
        if edge.kind is CurveKind.LINE:
            straight.append(k)
        elif edge.circle is not None:
            round_.append(k)
        elif edge.degenerate:
            found[k] = edge.place
        else:
            found[k] = [edge.curve.Value(t).Coord() for t in np.linspace(*edge.span, SAMPLES).tolist()]
    if straight:
        given = np.array([edges[k].line for k in straight])
        at = _spread([edges[k].span for k in straight])
        found[straight] = at * given[:, None, 3:] + given[:, None, :3]
    if round_:
        circles = [edges[k].circle for k in round_]
        given = np.array([(c.centre, c.x_axis, c.y_axis) for c in circles if c is not None])[:, :, None]
        radii = np.array([c.radius_mm for c in circles if c is not None])[:, None, None]
        at = _spread([edges[k].span for k in round_])
        found[round_] = given[:, 0] + radii * (np.cos(at) * given[:, 1] + np.sin(at) * given[:, 2])
    return found


def _spread(spans: Sequence[tuple[float, float]]) -> Floats:
    """Return parameters within each span, evenly spaced, ends included, (E, 9, 1)."""
    first, last = np.array(spans).T[..., None]
    found: Floats = np.arange(SAMPLES) * ((last - first) / (SAMPLES - 1)) + first
    found[:, -1] = last[:, 0]
    return found[..., None]


def _line_of(curve: Any) -> tuple[float, ...]:
    """Return the point of a straight curve at parameter zero and its unit direction, six numbers."""
    point, along = gp_Pnt(), gp_Vec()
    curve.D1(0.0, point, along)
    return (*point.Coord(), *along.Coord())


def _circle_of(circle: Any, span: tuple[float, float]) -> Circle:
    position = circle.Position()
    return Circle(
        centre=xyz(circle.Location()),
        axis=xyz(circle.Axis().Direction()),
        x_axis=xyz(position.XDirection()),
        y_axis=xyz(position.YDirection()),
        radius_mm=circle.Radius(),
        arc_rad=span,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BrepTable:
    """The faces, edges and vertices of one solid, each once, in the kernel's order.

    Parameters
    ----------
    solid : Solid
    faces, edges : tuple of FaceRow, EdgeRow
    edge_number : callable
        The kernel's number of an edge, from one.
    vertices : ndarray, shape (V, 3)
    face_edges, face_vertices : tuple of ndarray of int
        The edges and vertices of each face.
    edge_vertices : ndarray of int, shape (E, 2)
        Vertices at the first and last parameter of each edge.
    two_sided : tuple of EdgeRow
        Edges with a face on two sides, in the order in which a walk round the faces meets them.
    derived : dict
        What was made of it so far, by the function that makes it.
    """

    solid: Solid
    faces: tuple[FaceRow, ...]
    edges: tuple[EdgeRow, ...]
    edge_number: Callable[[Any], int]
    vertices: Floats
    face_edges: tuple[Ints, ...]
    face_vertices: tuple[Ints, ...]
    edge_vertices: Ints
    two_sided: tuple[EdgeRow, ...]
    derived: dict[Any, Any] = field(default_factory=dict, repr=False)


def read_table(solid: Solid) -> BrepTable:
    """Read a solid, in the frame that it is given in."""
    shape, what = solid.wrapped, TopAbs_ShapeEnum
    edge_map, vertex_map = sub_shapes(shape, what.TopAbs_EDGE), sub_shapes(shape, what.TopAbs_VERTEX)
    faces = tuple(FaceRow(i, TopoDS.Face_s(f)) for i, f in enumerate(mapped(shape, what.TopAbs_FACE)))
    drawn_edges = listed(edge_map)
    edges = tuple(EdgeRow(TopoDS.Edge_s(e)) for e in drawn_edges)
    ahead = [e.Oriented(TopAbs_Orientation.TopAbs_FORWARD) for e in drawn_edges]
    vertices = [BRep_Tool.Pnt_s(TopoDS.Vertex_s(v)).Coord() for v in listed(vertex_map)]
    edge_number, vertex_number = edge_map.FindIndex, vertex_map.FindIndex
    first_of, last_of = TopExp.FirstVertex_s, TopExp.LastVertex_s
    ends = [
        (vertex_number(first_of(e.edge, False)) - 1, vertex_number(last_of(e.edge, False)) - 1) for e in edges
    ]
    face_edges, face_vertices = [], []
    met: dict[int, EdgeRow] = {}
    for row in faces:
        row.numbers = numbers = [edge_number(side) - 1 for side in row.edges]
        for number, side in zip(numbers, row.edges, strict=True):
            edge, back = edges[number], not side.IsEqual(ahead[number])
            edge.sides.append((side, row))
            edge.backs.append(back)
            row.backs.append(back)
            met.setdefault(number, edge)
        face_edges.append(sorted(set(numbers)))
        face_vertices.append(sorted({v for number in numbers for v in ends[number] if v >= 0}))
    return BrepTable(
        solid=solid,
        faces=faces,
        edges=edges,
        edge_number=edge_number,
        vertices=np.array(vertices).reshape(-1, 3),
        face_edges=_rows(face_edges),
        face_vertices=_rows(face_vertices),
        edge_vertices=np.array(ends, dtype=np.int64).reshape(-1, 2),
        two_sided=tuple(e for e in met.values() if not e.degenerate and len(e.sides) == 2),
    )


def _rows(numbers: Sequence[Sequence[int]]) -> tuple[Ints, ...]:
    """Return each row of numbers as an array of its own."""
    whole = np.array([number for row in numbers for number in row], dtype=np.int64)
    ends = list(accumulate((len(row) for row in numbers), initial=0))
    return tuple(whole[start:end] for start, end in pairwise(ends))


_KEPT = 256
"""How many tables are kept; a part of 100 faces takes about half a megabyte."""
_known: dict[Solid, BrepTable] = {}
"""Tables by solid, oldest first. A solid that is a key lives on, so no other can take its place."""


def brep_tables(solids: Sequence[Solid]) -> list[BrepTable]:
    """Return the table of every solid in the frame that it is given in; what is drawn alike shares one.

    Tables are kept: the same solids are asked about again wherever they are tried. A copy is known by its
    binary form, which is far cheaper to write than its faces are to read. A process that stays warm
    recalls those of bodies that are drawn again as they were.
    """
    if not all(solid in _known for solid in solids):
        firsts: dict[tuple[int, bytes], Solid] = {}
        for solid, drawing in zip(solids, one_of_each(solids), strict=True):
            first = firsts.setdefault((drawing, drawing_matrix(solid).tobytes()), solid)
            if solid not in _known:
                _known[solid] = _known.get(first) or recalled(
                    asked_of("faces", solid), partial(read_table, solid)
                )
    found = [_known[solid] for solid in solids]
    while len(_known) > _KEPT:
        del _known[next(iter(_known))]
    return found


def derived(table: BrepTable, make: Callable[[BrepTable], T]) -> T:
    """Return what a function makes of a table; it is made once, and kept as long as the table is."""
    if make not in table.derived:
        table.derived[make] = make(table)
    found: T = table.derived[make]
    return found


def drawn(solid: Solid) -> Solid:
    """Return a solid where its topology is drawn, whatever it has been moved by since."""
    return Solid(solid.wrapped.Located(TopLoc_Location()))


_PARALLEL = 1e-9


def planes_of(rows: Sequence[FaceRow]) -> tuple[Floats, Floats]:
    """Return the outward unit normal n of each flat face, and n.x of its plane, mm; nan where curved."""
    found = np.array([_plane(row) for row in rows])
    return found[:, :3].copy(), found[:, 3].copy()


def _plane(row: FaceRow) -> tuple[float, float, float, float]:
    """Return the outward normal of a flat face and the offset of its plane; nan where curved."""
    if row.kind is not SurfaceKind.PLANE:
        return (math.nan,) * 4
    x, y, z, less_mm = row.quadric.Coefficients()  # of x.n + d = 0, n by both directions of its surface
    way = row.flip
    return way * x, way * y, way * z, -way * less_mm


def surface_of(table: BrepTable, row: FaceRow) -> Surface | None:
    """Return the surface of a curved face with the side that the material lies on; None for a plane."""
    if row.kind is SurfaceKind.PLANE:
        return None
    if row.kind is SurfaceKind.OTHER:
        return Surface(kind=row.kind, origin=np.zeros(3), axis=np.zeros(3))
    quadric = row.quadric
    position = quadric.Position()
    origin, axis = xyz(position.Location()), xyz(position.Direction())
    radius_mm = minor_radius_mm = half_angle_rad = 0.0
    if row.kind is SurfaceKind.CONE:
        angle = quadric.SemiAngle()
        # The kernel's half angle is negative where the cone narrows along its axis.
        origin, axis, half_angle_rad = xyz(quadric.Apex()), axis if angle > 0 else -axis, abs(angle)
    elif row.kind is SurfaceKind.TORUS:
        radius_mm, minor_radius_mm = quadric.MajorRadius(), quadric.MinorRadius()
    else:
        radius_mm = quadric.Radius()
    u0, u1, v0, v1 = row.window
    ends = [row.adaptor.Value(row.middle[0], v) for v in (v0, v1)]
    heights = [float((xyz(p) - origin) @ axis) for p in ends]
    surface = Surface(
        kind=row.kind, origin=origin, axis=axis, radius_mm=radius_mm, minor_radius_mm=minor_radius_mm,
        half_angle_rad=half_angle_rad, x_axis=xyz(position.XDirection()), y_axis=xyz(position.YDirection()),
        arc_rad=(u0, u1), heights_mm=(min(heights), max(heights)), iso=_iso(table, row, axis),
    )  # fmt: skip
    return replace(surface, outward=_outward(row, surface))


def _outward(row: FaceRow, surface: Surface) -> int:
    """Return +1 where the normal in the middle of a face looks away from axis, centre or centre circle."""
    point, normal = row.probe.at(row.middle)
    x = point - surface.origin
    radial = x - (x @ surface.axis) * surface.axis
    if surface.kind is SurfaceKind.SPHERE:
        radial = x
    elif surface.kind is SurfaceKind.TORUS:
        radial = x - surface.radius_mm * radial / np.linalg.norm(radial)
    return 1 if normal @ radial > 0 else -1


def _iso(table: BrepTable, row: FaceRow, axis: Floats) -> bool:
    """Whether a face of revolution is bounded by circles about its axis and straight lines alone."""
    wires, count = TopExp_Explorer(row.face.wrapped, TopAbs_ShapeEnum.TopAbs_WIRE), 0
    while wires.More():
        count += 1
        wires.Next()
    for number in table.face_edges[row.number]:
        edge = table.edges[number]
        if edge.degenerate or edge.kind is CurveKind.LINE:
            continue
        if edge.circle is None or math.hypot(*crossed(edge.circle.axis, axis).tolist()) > _PARALLEL:
            return False
    return count == 1


def swept_primitive(row: FaceRow, surface: Surface) -> SweptPrimitive | None:
    """Return a curved face as what sweeps it; None where its surface is of no known kind."""
    if surface.kind is SurfaceKind.OTHER:
        return None
    quadric = row.quadric
    u0, u1, v0, v1 = row.window
    radii, tube_mm, tilt = (surface.radius_mm, surface.radius_mm), 0.0, (-math.pi, math.pi)
    if surface.kind is SurfaceKind.CONE:
        slope, rise = np.sin(quadric.SemiAngle()), np.cos(quadric.SemiAngle())
        radii = (quadric.RefRadius() + v0 * slope, quadric.RefRadius() + v1 * slope)
        v0, v1 = v0 * rise, v1 * rise
    elif surface.kind is SurfaceKind.SPHERE:
        radii, tube_mm, tilt = (0.0, 0.0), surface.radius_mm, (v0, v1)
    elif surface.kind is SurfaceKind.TORUS:
        tube_mm, tilt = surface.minor_radius_mm, (v0, v1)
    place, axis = xyz(quadric.Location()), xyz(quadric.Position().Direction())
    low, high = (0.0, 0.0) if tube_mm > 0 else (v0, v1)
    # Fillets and mirrored faces may stand in a left-handed frame, in which the angle runs the other way.
    turn = (u0, u1) if quadric.Position().Direct() else (-u1, -u0)
    return SweptPrimitive(
        kind=surface.kind,
        sign=surface.outward,
        a_mm=place + low * axis,
        b_mm=place + high * axis,
        axis=axis,
        zero=surface.x_axis,
        radius_a_mm=radii[0],
        radius_b_mm=radii[1],
        tube_mm=tube_mm,
        turn=turn,
        tilt=tilt,
        face=row.number,
    )
