"""The faces, edges and vertices of one solid, read from the kernel once, and its surfaces in numbers.

All that other modules know of the faces of a solid is derived from these tables.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from itertools import accumulate, pairwise
from typing import Any, TypeVar

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepGProp import BRepGProp
from OCP.BRepTools import BRepTools
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
from OCP.gp import gp_Pnt, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Vertex

from fixturecheck.arrays import Floats, Ints
from fixturecheck.kernel.brep.primitives import Circle, CurveKind, Surface, SurfaceKind, SweptPrimitive
from fixturecheck.kernel.brep.probes import REVERSED, EdgeProbe, Probe, edge_side
from fixturecheck.kernel.brep.sheet_loops import STEPS
from fixturecheck.kernel.brep.topology import (
    corners_in,
    listed,
    mapped,
    middle_of,
    one_of_each,
    sub_shapes,
    xyz,
)
from fixturecheck.kernel.place import drawing_matrix
from fixturecheck.kernel.recall import asked_of, recalled
from fixturecheck.kernel.shapes import Edge, Face, Solid
from fixturecheck.numeric import crossed

T = TypeVar("T")

# By the kernel's own numbers: its enumerations are slow to look up and to compare.
_EDGE, _WIRE = TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_WIRE
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
    wrapped : TopoDS_Face
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
        self.wrapped = face
        self._plain = BRep_Tool.Surface_s(face)
        kind = _PLAIN_SURFACES.get(type(self._plain))
        self.kind = _SURFACES.get(int(self.surface.GetType()), SurfaceKind.OTHER) if kind is None else kind
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
        return Face(self.wrapped)

    @cached_property
    def surface(self) -> BRepAdaptor_Surface:
        """Its surface over all parameters."""
        return BRepAdaptor_Surface(self.wrapped, False)

    @cached_property
    def adaptor(self) -> BRepAdaptor_Surface:
        """Its surface over the range of its parameters."""
        return BRepAdaptor_Surface(self.wrapped, True)

    @cached_property
    def window(self) -> tuple[float, float, float, float]:
        """Least and greatest u, least and greatest v."""
        u0, u1, v0, v1 = BRepTools.UVBounds_s(self.wrapped)
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
        return None if self.kind is SurfaceKind.OTHER else getattr(self.surface, self.kind.capitalize())()

    @property
    def plane(self) -> Any:
        """The kernel's plane of a flat face."""
        return self._plain.Pln() if type(self._plain) is Geom_Plane else self.quadric

    @cached_property
    def size(self) -> tuple[float, Floats]:
        """Its exact area, mm2, and centre (3,)."""
        properties = GProp_GProps()
        BRepGProp.SurfaceProperties_s(self.wrapped, properties)
        return float(properties.Mass()), np.array(properties.CentreOfMass().Coord())


Spot = tuple[gp_Pnt, gp_Vec]
"""What the kernel fills in; to make one takes longer than to fill it."""


class EdgeRow:
    """One edge of a solid.

    Parameters
    ----------
    edge : TopoDS_Edge
    spot : Spot
        Is overwritten.

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

    def __init__(self, edge: Any, spot: Spot) -> None:
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
            self.kind, self.line = CurveKind.LINE, _line_of(plain, spot)
        elif type(plain) is Geom_Circle:
            self.kind, self.circle = CurveKind.CIRCLE, _circle_of(plain.Circ(), self.span)
        else:
            self._look_through(spot)

    def _look_through(self, spot: Spot) -> None:
        """Find what a curve is that is trimmed, or was made of a curve on a surface."""
        self.kind = _CURVES.get(int(self.curve.GetType()), CurveKind.OTHER)
        if self.kind is CurveKind.LINE:
            self.line = _line_of(self.curve, spot)
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


SAMPLES = STEPS + 1
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


def _line_of(curve: Any, spot: Spot) -> tuple[float, ...]:
    """Return the point of a straight curve at parameter zero and its unit direction, six numbers."""
    point, along = spot
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
    edges_of_faces, vertices_of_faces : tuple of ndarray of int
        The same one after another, and where those of each face begin; the end of the last comes last.
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
    edges_of_faces: tuple[Ints, Ints]
    vertices_of_faces: tuple[Ints, Ints]
    edge_vertices: Ints
    two_sided: tuple[EdgeRow, ...]
    derived: dict[Any, Any] = field(default_factory=dict, repr=False)


def read_table(solid: Solid) -> BrepTable:
    """Read a solid, in the frame that it is given in.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    BrepTable
    """
    shape, what = solid.wrapped, TopAbs_ShapeEnum
    edge_map, vertex_map = sub_shapes(shape, what.TopAbs_EDGE), sub_shapes(shape, what.TopAbs_VERTEX)
    faces = tuple(FaceRow(i, TopoDS.Face_s(f)) for i, f in enumerate(mapped(shape, what.TopAbs_FACE)))
    drawn_edges = listed(edge_map)
    spot = gp_Pnt(), gp_Vec()
    edges = tuple([EdgeRow(TopoDS.Edge_s(e), spot) for e in drawn_edges])
    ahead = [e.Oriented(TopAbs_Orientation.TopAbs_FORWARD) for e in drawn_edges]
    edge_number, vertex_number = edge_map.FindIndex, vertex_map.FindIndex
    first, last, ends = TopoDS_Vertex(), TopoDS_Vertex(), list[tuple[int, int]]()
    for edge in edges:
        TopExp.Vertices_s(edge.edge, first, last, False)
        ends.append((vertex_number(first) - 1, vertex_number(last) - 1))
    face_edges, face_vertices = [], []
    for row in faces:
        row.numbers = numbers = [edge_number(side) - 1 for side in row.edges]
        row.backs = [not side.IsEqual(ahead[number]) for side, number in zip(row.edges, numbers, strict=True)]
        for number, side, back in zip(numbers, row.edges, row.backs, strict=True):
            edge = edges[number]
            edge.sides.append((side, row))
            edge.backs.append(back)
        face_edges.append(sorted(set(numbers)))
        face_vertices.append(sorted({v for number in numbers for v in ends[number] if v >= 0}))
    edges_of_faces, vertices_of_faces = _in_a_line(face_edges), _in_a_line(face_vertices)
    met = dict.fromkeys(edges[number] for row in faces for number in row.numbers)
    return BrepTable(
        solid=solid,
        faces=faces,
        edges=edges,
        edge_number=edge_number,
        vertices=np.array(corners_in(vertex_map)).reshape(-1, 3),
        face_edges=_rows(*edges_of_faces),
        face_vertices=_rows(*vertices_of_faces),
        edges_of_faces=edges_of_faces,
        vertices_of_faces=vertices_of_faces,
        edge_vertices=np.array(ends, dtype=np.int64).reshape(-1, 2),
        two_sided=tuple(e for e in met if not e.degenerate and len(e.sides) == 2),
    )


def _in_a_line(rows: Sequence[Sequence[int]]) -> tuple[Ints, Ints]:
    """Return rows of numbers one after another, and where each begins; the end of the last comes last."""
    whole = np.array([number for row in rows for number in row], dtype=np.int64)
    return whole, np.array([*accumulate((len(row) for row in rows), initial=0)], dtype=np.int64)


def _rows(whole: Ints, first: Ints) -> tuple[Ints, ...]:
    """Return each row of numbers as an array of its own."""
    return tuple(whole[start:end] for start, end in pairwise(first.tolist()))


_KEPT = 256
"""How many tables are kept; a part of 100 faces takes about half a megabyte."""
_known: dict[Solid, BrepTable] = {}
"""Tables by solid, oldest first. A solid that is a key lives on, so no other can take its place."""


def brep_tables(solids: Sequence[Solid]) -> list[BrepTable]:
    """Return the table of every solid in the frame that it is given in; what is drawn alike shares one.

    Tables are kept: the same solids are asked about again wherever they are tried. A copy is known by its
    binary form, which is far cheaper to write than its faces are to read. A process that stays warm
    recalls those of bodies that are drawn again as they were.

    Parameters
    ----------
    solids : sequence of Solid

    Returns
    -------
    list of BrepTable
        One for each solid, in the order given.
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
    """Return what a function makes of a table; it is made once, and kept as long as the table is.

    Parameters
    ----------
    table : BrepTable
    make : callable
        Takes the table; its answer is kept under the callable itself.

    Returns
    -------
    object
        What `make` returns.
    """
    if make not in table.derived:
        table.derived[make] = make(table)
    found: T = table.derived[make]
    return found


def drawn(solid: Solid) -> Solid:
    """Return a solid where its topology is drawn, whatever it has been moved by since.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    Solid
        Shares its topology with the one given.
    """
    return Solid(solid.wrapped.Located(TopLoc_Location()))


_PARALLEL = 1e-9


def planes_of(rows: Sequence[FaceRow]) -> tuple[Floats, Floats]:
    """Return the outward unit normal n of each flat face, and n.x of its plane, mm; nan where curved.

    Parameters
    ----------
    rows : sequence of FaceRow

    Returns
    -------
    normals : ndarray, shape (n, 3)
    offsets : ndarray, shape (n,)
    """
    found = np.array([_plane(row) for row in rows])
    return found[:, :3].copy(), found[:, 3].copy()


def _plane(row: FaceRow) -> tuple[float, float, float, float]:
    """Return the outward normal of a flat face and the offset of its plane; nan where curved."""
    if row.kind is not SurfaceKind.PLANE:
        return (math.nan,) * 4
    x, y, z, less_mm = row.plane.Coefficients()  # of x.n + d = 0, n by both directions of its surface
    way = row.flip
    return way * x, way * y, way * z, -way * less_mm


def surfaces_of(table: BrepTable) -> tuple[Surface | None, ...]:
    """Return the surface of each curved face with the side that the material lies on; None for a plane.

    Parameters
    ----------
    table : BrepTable

    Returns
    -------
    tuple of Surface or None
        One for each face, in the order of `faces_of`.
    """
    return tuple(None if row.kind is SurfaceKind.PLANE else _surface_of(table, row) for row in table.faces)


def _surface_of(table: BrepTable, row: FaceRow) -> Surface:
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
    ends = [row.surface.Value(row.middle[0], v) for v in (v0, v1)]
    heights = [float((xyz(p) - origin) @ axis) for p in ends]
    spot, normal = middle_of(row.surface, row.window)
    x = xyz(spot) - origin
    radial = x - (x @ axis) * axis
    if row.kind is SurfaceKind.SPHERE:
        radial = x
    elif row.kind is SurfaceKind.TORUS:
        radial = x - radius_mm * radial / np.linalg.norm(radial)
    return Surface(
        kind=row.kind, origin=origin, axis=axis, radius_mm=radius_mm, minor_radius_mm=minor_radius_mm,
        half_angle_rad=half_angle_rad, x_axis=xyz(position.XDirection()), y_axis=xyz(position.YDirection()),
        arc_rad=(u0, u1), heights_mm=(min(heights), max(heights)), iso=_iso(table, row, axis),
        outward=1 if row.flip * (normal @ radial) > 0 else -1,
    )  # fmt: skip


def _iso(table: BrepTable, row: FaceRow, axis: Floats) -> bool:
    """Whether a face of revolution is bounded by circles about its axis and straight lines alone."""
    wires, count = TopExp_Explorer(row.wrapped, _WIRE), 0
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
    """Return a curved face as what sweeps it; None where its surface is of no known kind.

    Parameters
    ----------
    row : FaceRow
        The face.
    surface : Surface
        Its surface, as `surfaces_of` gives it.

    Returns
    -------
    SweptPrimitive or None
        In the frame of the table.
    """
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
