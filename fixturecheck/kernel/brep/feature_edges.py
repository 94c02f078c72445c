"""Walks the edges of a solid: corners with the directions the solid leaves them in, chords, circles."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Curve2d
from OCP.GeomAbs import GeomAbs_CurveType
from OCP.gp import gp_Pnt, gp_Vec
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_Orientation
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape

from fixturecheck.kernel.shapes import Solid

Floats = NDArray[np.float64]

CHORDS_PER_TURN = 48
SMOOTH = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rim:
    """A circular edge that sticks out: where it is and which way its two faces leave it.

    `leave` (2, 2) holds radial and axial parts of the directions into the two faces, `faces` their indices.
    """

    centre_mm: Floats
    axis: Floats
    zero: Floats
    radius_mm: float
    turn: tuple[float, float]
    leave: Floats
    faces: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heap:
    """What is gathered while walking the solid."""

    points: dict[tuple[float, ...], int] = field(default_factory=dict)
    places: list[Floats] = field(default_factory=list)
    leaving: list[list[Floats]] = field(default_factory=list)
    beside: list[dict[int, list[tuple[Floats, Floats]]]] = field(default_factory=list)
    meeting: list[dict[int, Floats]] = field(default_factory=list)
    edges: list[tuple[Floats, Floats]] = field(default_factory=list)
    leaves: list[tuple[Floats, Floats]] = field(default_factory=list)
    edge_faces: list[tuple[int, int]] = field(default_factory=list)
    edge_normals: list[tuple[Floats, Floats]] = field(default_factory=list)
    straight: list[bool] = field(default_factory=list)
    borders: dict[int, list[tuple[Floats, Floats]]] = field(default_factory=dict)
    rims: list[Rim] = field(default_factory=list)
    free: list[bool] = field(default_factory=list)
    bows_mm: list[float] = field(default_factory=list)

    def point(self, place: Floats) -> int:
        """Return the number of a point, the same for the same place."""
        key = tuple(float(v) for v in np.round(place, 6) + 0.0)
        if key not in self.points:
            self.points[key] = len(self.places)
            self.places.append(place)
            self.leaving.append([])
            self.beside.append({})
            self.meeting.append({})
        return self.points[key]


def edges_with_faces(solid: Solid, faces: list[cq.Face]) -> list[tuple[Any, list[tuple[Any, int]]]]:
    """Return each edge with the (oriented edge, face number) pairs of its two sides; seams are left out."""
    index = TopTools_IndexedDataMapOfShapeListOfShape()
    TopExp.MapShapesAndAncestors_s(solid.wrapped, TopAbs_EDGE, TopAbs_FACE, index)
    sides: dict[int, list[tuple[Any, int]]] = {}
    for number, face in enumerate(faces):
        walk = TopExp_Explorer(face.wrapped, TopAbs_EDGE)
        while walk.More():
            edge = TopoDS.Edge_s(walk.Current())
            sides.setdefault(index.FindIndex(edge), []).append((edge, number))
            walk.Next()
    found = []
    for key, pair in sides.items():
        edge = TopoDS.Edge_s(index.FindKey(key))
        if not BRep_Tool.Degenerated_s(edge) and len(pair) == 2:
            found.append((edge, pair))
    return found


def walk_edge(
    heap: Heap, edge: Any, sides: list[tuple[Any, int]], faces: list[cq.Face], surfaces: list[Any]
) -> None:
    """Cut one edge into chords and note points, chords, borders and rims."""
    curve = BRepAdaptor_Curve(edge)
    first, last = curve.FirstParameter(), curve.LastParameter()
    cuts = np.linspace(first, last, _chords(curve, first, last) + 1)
    places = [xyz(curve.Value(u)) for u in cuts]
    kind, seam = curve.GetType(), sides[0][1] == sides[1][1]
    flats = [BRepAdaptor_Curve2d(side, faces[number].wrapped) for side, number in sides]
    for i in range(len(cuts) - 1):
        start, end = places[i], places[i + 1]
        middle = 0.5 * (cuts[i] + cuts[i + 1])
        chord = end - start
        length = float(np.linalg.norm(chord))
        if length < 1e-9:
            continue
        bow = _off(xyz(curve.Value(middle)), start, chord / length)
        for _, number in sides:
            heap.borders.setdefault(number, []).append((start, end))
        normals, leaves = [], []
        for (side, number), flat in zip(sides, flats, strict=True):
            uv = flat.Value(middle)
            normal = normal_at(surfaces[number], faces[number], (uv.X(), uv.Y()))
            leave = crossed(normal, chord / length) * side_of(side)
            normals.append(normal)
            leaves.append(leave / max(float(np.linalg.norm(leave)), 1e-12))
        if not seam:
            tangents = (_tangent(curve, cuts[i]), _tangent(curve, cuts[i + 1]))
            _note_chord(heap, (start, end), tangents, normals, leaves, (sides[0][1], sides[1][1]))
            new = len(heap.edges) - len(heap.straight)
            heap.straight.extend([len(cuts) == 2] * new)
            heap.free.extend([kind not in _SIMPLE] * new)
            heap.bows_mm.extend([bow] * new)
    if not seam and kind == GeomAbs_CurveType.GeomAbs_Circle:
        _note_rim(heap, curve, (first, last), sides, faces, surfaces)


_SIMPLE = (GeomAbs_CurveType.GeomAbs_Line, GeomAbs_CurveType.GeomAbs_Circle)


def _chords(curve: Any, first: float, last: float) -> int:
    """Return how many chords a curve is cut into."""
    kind = curve.GetType()
    if kind == GeomAbs_CurveType.GeomAbs_Line:
        return 1
    if kind in (GeomAbs_CurveType.GeomAbs_Circle, GeomAbs_CurveType.GeomAbs_Ellipse):
        return max(2, int(np.ceil((last - first) / (2 * np.pi) * CHORDS_PER_TURN)))
    return 24


def _note_chord(
    heap: Heap,
    ends: tuple[Floats, Floats],
    tangents: tuple[Floats, Floats],
    normals: list[Floats],
    leaves: list[Floats],
    numbers: tuple[int, int],
) -> None:
    """Note a chord's end points with their cones, and the chord itself where it sticks out or is flush."""
    for place, direction in ((ends[0], tangents[0]), (ends[1], -tangents[1])):
        point = heap.point(place)
        heap.leaving[point].append(direction)
        for number, leave in zip(numbers, leaves, strict=True):
            heap.beside[point].setdefault(number, []).append((direction, leave))
        for number, normal in zip(numbers, normals, strict=True):
            heap.meeting[point].setdefault(number, normal)
    if float(leaves[1] @ normals[0]) <= SMOOTH:
        heap.edges.append(ends)
        heap.leaves.append((leaves[0], leaves[1]))
        heap.edge_faces.append(numbers)
        heap.edge_normals.append((normals[0], normals[1]))


def _tangent(curve: Any, at: float) -> Floats:
    """Return the unit tangent of a curve; a chord's own direction would look into a hole it runs round."""
    place, along = gp_Pnt(), gp_Vec()
    curve.D1(float(at), place, along)
    vector = xyz(along)
    return np.asarray(vector / max(float(np.linalg.norm(vector)), 1e-300))


def _note_rim(
    heap: Heap, curve: Any, span: tuple[float, float], sides: Any, faces: Any, surfaces: Any
) -> None:
    """Note a circular edge that sticks out or is flush."""
    circle = curve.Circle()
    centre, axis = xyz(circle.Location()), xyz(circle.Axis().Direction())
    zero = xyz(circle.XAxis().Direction())
    radius, middle = circle.Radius(), 0.5 * (span[0] + span[1])
    radial = (xyz(curve.Value(middle)) - centre) / radius
    tangent = crossed(axis, radial)
    leaves, normals = [], []
    for side, number in sides:
        uv = BRepAdaptor_Curve2d(side, faces[number].wrapped).Value(middle)
        normal = normal_at(surfaces[number], faces[number], (uv.X(), uv.Y()))
        leave = crossed(normal, tangent) * side_of(side)
        normals.append(normal)
        leaves.append([float(leave @ radial), float(leave @ axis)])
    other = leaves[1][0] * radial + leaves[1][1] * axis
    if float(other @ normals[0]) <= SMOOTH:
        rim = Rim(
            centre_mm=centre,
            axis=axis,
            zero=zero,
            radius_mm=radius,
            turn=span,
            leave=np.array(leaves),
            faces=(sides[0][1], sides[1][1]),
        )
        heap.rims.append(rim)


def normal_at(surface: Any, face: cq.Face, at: tuple[float, float]) -> Floats:
    """Return the outward normal of a face at surface parameters."""
    place, along_u, along_v = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1(*at, place, along_u, along_v)
    normal = crossed(xyz(along_u), xyz(along_v))
    length = float(np.linalg.norm(normal))
    reversed_ = face.wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED
    return normal / max(length, 1e-300) * (-1.0 if reversed_ else 1.0)


def side_of(edge: Any) -> float:
    """Return +1 where the face lies left of the edge as it runs, -1 where right."""
    return -1.0 if edge.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0


def _off(place: Floats, start: Floats, direction: Floats) -> float:
    """Return the distance of a point from a line."""
    arm = place - start
    return float(np.linalg.norm(arm - direction * float(arm @ direction)))


def xyz(thing: Any) -> Floats:
    """Return a kernel point, vector or direction as an array."""
    return np.array([thing.X(), thing.Y(), thing.Z()])


def crossed(a: Floats, b: Floats) -> Floats:
    """Return the cross product of two vectors; numpy's own takes ten times as long for a single one."""
    (ax, ay, az), (bx, by, bz) = a.tolist(), b.tolist()
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])
