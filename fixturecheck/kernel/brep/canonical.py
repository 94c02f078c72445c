"""One form of a solid that depends on its shape only, not on the file or script that it came from.

A mesher walks corners, edges and faces in the order and direction in which a solid lists them, so two files
of one part give two meshes. Built anew with everything ordered by place, the same shape gives the same bytes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_Transform
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.gp import gp_Pnt, gp_Trsf, gp_Vec
from OCP.ShapeFix import ShapeFix_Face
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Shell, TopoDS_Solid, TopoDS_Vertex, TopoDS_Wire
from OCP.TopTools import TopTools_IndexedMapOfShape

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.canonical_geometry import curve_of, rounded, surface_of
from fixturecheck.kernel.brep.recognise import parts_of
from fixturecheck.kernel.brep.topology import brep_bytes, faces_of, mapped, order_by_place, xyz
from fixturecheck.kernel.shapes import Face, Location, Solid, cq_shape

_CLOSE_MM = 1e-5
"""How far rounded corners, curves and surfaces may lie off each other."""
_LAID = 10.0
"""How many times that far an outline may lie off where it was drawn."""
_FORWARD, _REVERSED = TopAbs_Orientation.TopAbs_FORWARD, TopAbs_Orientation.TopAbs_REVERSED
_KEPT = 128
_known: dict[bytes, tuple[Solid, tuple[int, ...]] | None] = {}
"""Forms made before, by the digest of the drawn solid: the parts of a gang share one."""

Step = tuple[int, bool]
"""An edge by number as a ring runs along it, and whether it runs against the edge."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Form:
    """A solid in its canonical form.

    Parameters
    ----------
    solid : Solid
        Its least corner along each axis at zero.
    at : Location
        From there to where the drawn solid stands.
    drawn_faces : tuple of int
        For each face, which face of the drawn solid it is, both in the order of `faces_of`.
    """

    solid: Solid
    at: Location
    drawn_faces: tuple[int, ...]


def canonical_form(solid: Solid) -> Form:
    """Return a solid built anew with everything in it ordered and directed by place.

    Corners are rounded to a nanometre and sorted. Lines and circles run between them in one direction.
    Planes, cylinders, cones, spheres and tori are laid anew; other curves and surfaces stay as drawn, but for
    the rounding of splines. Copies that are moved without a turn have one form. A solid that could not be
    built anew, valid and alike, is returned as drawn.

    Parameters
    ----------
    solid : Solid
        Closed and valid.
    """
    low = _low_mm(solid)
    # What was turned may be a compound around its solid.
    (drawn,) = cq_shape(BRepBuilderAPI_Transform(solid.wrapped, _shift(-low), False).Shape()).Solids()
    key = hashlib.sha256(brep_bytes(drawn)).digest()
    if key not in _known:
        while len(_known) >= _KEPT:
            _known.pop(next(iter(_known)))
        _known[key] = _form(drawn)
    found = _known[key]
    if found is None:
        return Form(solid=solid, at=Location(), drawn_faces=tuple(range(len(faces_of(solid)))))
    return Form(solid=found[0], at=Location(TopLoc_Location(_shift(rounded(low)))), drawn_faces=found[1])


def _low_mm(solid: Solid) -> Floats:
    """Return the least coordinates of the corners of a solid."""
    corners = mapped(solid.wrapped, TopAbs_ShapeEnum.TopAbs_VERTEX)
    return np.asarray(np.min([xyz(BRep_Tool.Pnt_s(TopoDS.Vertex_s(v))) for v in corners], axis=0))


def _shift(by: Floats) -> Any:
    shift = gp_Trsf()
    shift.SetTranslation(gp_Vec(*by))
    return shift


class _NoFormError(Exception):
    """Something in the solid has no place of its own."""


def _form(drawn: Solid) -> tuple[Solid, tuple[int, ...]] | None:
    faces = faces_of(drawn)
    try:
        made, order = _built(drawn, faces)
    except (Standard_Failure, _NoFormError):
        return None
    new = faces_of(made)
    if len(new) != len(faces) or not BRepCheck_Analyzer(made.wrapped).IsValid():
        return None
    alike = all(_alike(faces[i], face) for i, face in zip(order, new, strict=True))
    return (made, order) if alike else None


def _alike(drawn: Face, made: Face) -> bool:
    """Whether two faces have one area and centre, as well as their outlines are laid."""
    apart = np.abs(np.subtract(drawn.Center().toTuple(), made.Center().toTuple()))
    round_mm = sum(edge.Length() for edge in drawn.Edges())
    most_mm = _LAID * _CLOSE_MM
    return bool(abs(made.Area() - drawn.Area()) <= most_mm * round_mm and apart.max() <= most_mm)


def _built(drawn: Solid, faces: Sequence[Face]) -> tuple[Solid, tuple[int, ...]]:
    """Build a solid anew; return it with the number of the drawn face that each of its faces is."""
    edges = _Edges(drawn.wrapped)
    index = TopTools_IndexedMapOfShape()
    for face in faces:
        index.Add(face.wrapped)
    rank = {face: i for i, face in enumerate(order_by_place(faces))}
    numbers = [
        sorted((index.FindIndex(f) - 1 for f in parts_of(shell)), key=rank.__getitem__)
        for shell in parts_of(drawn.wrapped)
    ]
    numbers.sort(key=lambda of_shell: rank[of_shell[0]])
    builder, made = BRep_Builder(), TopoDS_Solid()
    builder.MakeSolid(made)
    for of_shell in numbers:
        shell = TopoDS_Shell()
        builder.MakeShell(shell)
        for number in of_shell:
            builder.Add(shell, _laid_out(TopoDS.Face_s(faces[number].wrapped), edges))
        shell.Closed(True)
        builder.Add(made, shell)
    return Solid(made), tuple(number for of_shell in numbers for number in of_shell)


class _Edges:
    """The corners and edges of a solid made anew, by what they were drawn as."""

    def __init__(self, drawn: Any) -> None:
        self._corner, places = _made_corners(mapped(drawn, TopAbs_ShapeEnum.TopAbs_VERTEX))
        rows = []
        for shape in mapped(drawn, TopAbs_ShapeEnum.TopAbs_EDGE):
            edge = TopoDS.Edge_s(shape)
            if not BRep_Tool.Degenerated_s(edge):
                rows.append((_place_of(edge, places), edge))
        rows.sort(key=lambda row: row[0])
        if any(a == b for (a, _), (b, _) in pairwise(rows)):
            raise _NoFormError
        self._index = TopTools_IndexedMapOfShape()
        self._made: list[tuple[Any, bool]] = []
        for _, edge in rows:
            self._index.Add(edge)
            self._made.append(self._new(edge))

    def _new(self, edge: Any) -> tuple[Any, bool]:
        ends = [
            self._corner(v) for v in (TopExp.FirstVertex_s(edge, False), TopExp.LastVertex_s(edge, False))
        ]
        curve = curve_of(edge, *(xyz(BRep_Tool.Pnt_s(v)) for v in ends))
        start, end = ends[::-1] if curve.against else ends
        maker = BRepBuilderAPI_MakeEdge(curve.curve, start, end, *curve.between)
        if not maker.IsDone():
            raise _NoFormError
        return maker.Edge().Oriented(_FORWARD), curve.against

    def step(self, edge: Any) -> Step | None:
        """Return a drawn, oriented edge as a step along a new one; None where it is degenerate."""
        number = self._index.FindIndex(edge) - 1
        if number < 0:
            return None
        if edge.Orientation() not in (_FORWARD, _REVERSED):
            raise _NoFormError
        return number, (edge.Orientation() == _REVERSED) != self._made[number][1]

    def along(self, step: Step) -> Any:
        """Return the new edge of a step, oriented."""
        return self._made[step[0]][0].Oriented(_REVERSED if step[1] else _FORWARD)


def _made_corners(drawn: Sequence[Any]) -> tuple[Any, Any]:
    """Make the corners of a solid anew.

    Returns
    -------
    made : callable
        From a drawn corner to the new one.
    number : callable
        From a drawn corner to its number in the order of place.
    """
    places = [tuple(rounded(xyz(BRep_Tool.Pnt_s(TopoDS.Vertex_s(v)))).tolist()) for v in drawn]
    if len(set(places)) < len(places):
        raise _NoFormError
    rank = {place: i for i, place in enumerate(sorted(places))}
    builder, index = BRep_Builder(), TopTools_IndexedMapOfShape()
    made = []
    for vertex, place in zip(drawn, places, strict=True):
        index.Add(vertex)
        new = TopoDS_Vertex()
        builder.MakeVertex(new, gp_Pnt(*place), _CLOSE_MM)
        made.append(TopoDS.Vertex_s(new.Oriented(_FORWARD)))
    return (
        lambda vertex: made[index.FindIndex(vertex) - 1],
        lambda vertex: rank[places[index.FindIndex(vertex) - 1]],
    )


def _place_of(edge: Any, number: Any) -> tuple[Any, ...]:
    """Return what sorts an edge: its corners by number, and its middle."""
    ends = sorted(number(v) for v in (TopExp.FirstVertex_s(edge, False), TopExp.LastVertex_s(edge, False)))
    curve = BRepAdaptor_Curve(edge)
    middle = rounded(xyz(curve.Value((curve.FirstParameter() + curve.LastParameter()) / 2)))
    return (*ends, *middle.tolist())


def _laid_out(face: Any, edges: _Edges) -> Any:
    """Return a face on its new surface, bounded by the new edges, as it is oriented in the new solid."""
    laid = surface_of(face)
    builder, new = BRep_Builder(), TopoDS_Face()
    builder.MakeFace(new, laid.surface, _CLOSE_MM)
    # Rings run about the surface's own normal, whichever way that points.
    turn = (face.Orientation() == _REVERSED) == laid.outward
    outer = BRepTools.OuterWire_s(TopoDS.Face_s(face))
    rings = []
    for wire in parts_of(face.Oriented(_FORWARD)):
        if wire.ShapeType() != TopAbs_ShapeEnum.TopAbs_WIRE:
            raise _NoFormError
        rings.append((not wire.IsSame(outer), _ring(wire, face.Oriented(_FORWARD), edges, turn)))
    for _, steps in sorted(rings):
        ring = TopoDS_Wire()
        builder.MakeWire(ring)
        for step in steps:
            builder.Add(ring, edges.along(step))
        ring.Closed(True)
        builder.Add(new, ring)
    fix = ShapeFix_Face(new)
    fix.SetPrecision(_CLOSE_MM)
    fix.SetMaxTolerance(10 * _CLOSE_MM)
    fix.Perform()
    return fix.Face().Oriented(_FORWARD if laid.outward else _REVERSED)


def _ring(wire: Any, face: Any, edges: _Edges, turn: bool) -> list[Step]:
    """Return the steps round a wire, from the one of the least edge on."""
    steps = [s for edge in _walk(wire, face) if (s := edges.step(edge)) is not None]
    if turn:
        steps = [(number, not against) for number, against in reversed(steps)]
    first = steps.index(min(steps))
    return steps[first:] + steps[:first]


def _walk(wire: Any, face: Any) -> Iterator[Any]:
    explorer = BRepTools_WireExplorer(TopoDS.Wire_s(wire), TopoDS.Face_s(face))
    count = 0
    while explorer.More():
        yield explorer.Current()
        count += 1
        explorer.Next()
    if count != sum(1 for _ in parts_of(wire)):
        raise _NoFormError
