"""Which points, edges and surfaces of a solid can touch another body, as plain arrays in the solid's own frame.

Sharp features are exact; curved edges become short chords, whose greatest sagitta is kept. Curved faces are kept
by type (rod, bore, ball, cone, ring) with the range they cover; any other surface becomes sampled points.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Curve2d, BRepAdaptor_Surface
from OCP.BRepGProp import BRepGProp
from OCP.BRepTools import BRepTools
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_SurfaceType
from OCP.gp import gp_Pnt, gp_Trsf, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_Orientation
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape

from fixturecheck.errors import KernelError
from fixturecheck.kernel.shapes import Solid, faces_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHORDS_PER_TURN = 48
SMOOTH = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """A curved face: an axis, radii at its two ends, and the part of the turn it covers.

    Parameters
    ----------
    kind : str
        `rod` or `bore` (cylinder from outside or inside), `cone` or `funnel`, `ball` or `cup`, `ring` (a torus
        from outside).
    a_mm, b_mm : ndarray, shape (3,)
        Ends of the axis; equal for ball and ring.
    axis, zero : ndarray, shape (3,)
        Unit axis and the direction of angle zero.
    radius_a_mm, radius_b_mm : float
        Radii at the ends; for a ring its centre circle, for a ball zero.
    skin_mm : float
        Radius of the ball that is swept: ball and ring; zero otherwise.
    turn : tuple of float
        First and last angle about the axis, radians.
    tilt : tuple of float
        First and last latitude of ball and ring, radians.
    """

    kind: str
    a_mm: Floats
    b_mm: Floats
    axis: Floats
    zero: Floats
    radius_a_mm: float
    radius_b_mm: float
    skin_mm: float
    turn: tuple[float, float]
    tilt: tuple[float, float]
    face: int


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Features:
    """Everything of one solid that can touch.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Corners and points on curved edges and sampled surfaces.
    cones : ndarray, shape (n, k, 3)
        Directions in which the solid leaves each point, padded with zeros.
    point_faces, point_normals : ndarray, shape (n, k) and (n, k, 3)
        Faces that meet there, padded with -1, and their outward normals.
    edges_mm : ndarray, shape (m, 2, 3)
        Straight edges and chords that stick out or are flush.
    leaves : ndarray, shape (m, 2, 3)
        Directions into the two faces, square to the edge.
    edge_faces, edge_normals : ndarray, shape (m, 2) and (m, 2, 3)
        The two faces and their outward normals.
    straight : ndarray, shape (m,)
        False for chords of curved edges.
    planes : ndarray, shape (p, 4, 3)
        Of each flat face: a point, the outward normal, and two directions in it.
    plane_faces : ndarray, shape (p,)
        Face index of each flat face.
    outlines : tuple of ndarray, shape (s, 2, 2)
        Segments of its border in those two directions from that point.
    rounds, rims : tuple
        Curved faces and circular edges.
    sagitta_mm : float
        Greatest distance between a curved edge and its chords; zero on a polyhedron.
    """

    points_mm: Floats
    cones: Floats
    point_faces: Ints
    point_normals: Floats
    edges_mm: Floats
    leaves: Floats
    edge_faces: Ints
    edge_normals: Floats
    straight: NDArray[np.bool_]
    planes: Floats
    plane_faces: Ints
    outlines: tuple[Floats, ...]
    rounds: tuple[Round, ...] = ()
    rims: tuple[Rim, ...] = ()
    sagitta_mm: float = 0.0
    centre_mm: Floats = field(default_factory=lambda: np.zeros(3))
    size_mm: float = 1.0
    volume_mm3: float = 0.0


@dataclass(slots=True)
class _Heap:
    """What is gathered while walking the solid."""

    points: dict[tuple[float, ...], int] = field(default_factory=dict)
    places: list[Floats] = field(default_factory=list)
    leaving: list[list[Floats]] = field(default_factory=list)
    beside: list[list[Floats]] = field(default_factory=list)
    meeting: list[dict[int, Floats]] = field(default_factory=list)
    edges: list[tuple[Floats, Floats]] = field(default_factory=list)
    leaves: list[tuple[Floats, Floats]] = field(default_factory=list)
    edge_faces: list[tuple[int, int]] = field(default_factory=list)
    edge_normals: list[tuple[Floats, Floats]] = field(default_factory=list)
    straight: list[bool] = field(default_factory=list)
    borders: dict[int, list[tuple[Floats, Floats]]] = field(default_factory=dict)
    rims: list[Rim] = field(default_factory=list)
    sagitta: float = 0.0

    def point(self, place: Floats) -> int:
        """Return the number of a point, the same for the same place."""
        key = tuple(float(v) for v in np.round(place, 6) + 0.0)
        if key not in self.points:
            self.points[key] = len(self.places)
            self.places.append(place)
            self.leaving.append([])
            self.beside.append([])
            self.meeting.append({})
        return self.points[key]


def features_of(solid: Solid) -> Features:
    """Return what of a solid can touch, in the solid's own frame.

    Raises
    ------
    KernelError
        The kernel could not read an edge or a face.
    """
    try:
        return _features(solid)
    except KernelError:
        raise
    except Exception as failure:  # the kernel raises its own unrelated types
        message = f"reading the features of a solid failed: {failure}"
        raise KernelError(message) from failure


def _features(solid: Solid) -> Features:
    faces = faces_of(solid)
    heap = _Heap()
    surfaces = [BRepAdaptor_Surface(f.wrapped) for f in faces]
    for edge, sides in _edges_with_faces(solid, faces):
        _walk_edge(heap, edge, sides, faces, surfaces)
    rounds = []
    for number, (face, surface) in enumerate(zip(faces, surfaces, strict=True)):
        if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane:
            continue
        curved = _round(face, surface, number)
        if curved is None:
            _sample(heap, face, surface, number)
        else:
            rounds.append(curved)
    return _packed(heap, solid, faces, surfaces, tuple(rounds))


def _edges_with_faces(solid: Solid, faces: list[cq.Face]) -> list[tuple[Any, list[tuple[Any, int]]]]:
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


def _walk_edge(
    heap: _Heap, edge: Any, sides: list[tuple[Any, int]], faces: list[cq.Face], surfaces: list[Any]
) -> None:
    """Cut one edge into chords and note points, chords, borders and rims."""
    curve = BRepAdaptor_Curve(edge)
    first, last = curve.FirstParameter(), curve.LastParameter()
    cuts = np.linspace(first, last, _chords(curve, first, last) + 1)
    places = [_xyz(curve.Value(u)) for u in cuts]
    seam = sides[0][1] == sides[1][1]
    flats = [BRepAdaptor_Curve2d(side, faces[number].wrapped) for side, number in sides]
    for i in range(len(cuts) - 1):
        start, end = places[i], places[i + 1]
        middle = 0.5 * (cuts[i] + cuts[i + 1])
        chord = end - start
        length = float(np.linalg.norm(chord))
        if length < 1e-9:
            continue
        heap.sagitta = max(heap.sagitta, _off(_xyz(curve.Value(middle)), start, chord / length))
        for _, number in sides:
            heap.borders.setdefault(number, []).append((start, end))
        normals, leaves = [], []
        for (side, number), flat in zip(sides, flats, strict=True):
            uv = flat.Value(middle)
            normal = _normal(surfaces[number], faces[number], uv.X(), uv.Y())
            leave = np.cross(normal, chord / length) * _sign(side)
            normals.append(normal)
            leaves.append(leave / max(float(np.linalg.norm(leave)), 1e-12))
        if not seam:
            tangents = (_tangent(curve, cuts[i]), _tangent(curve, cuts[i + 1]))
            _note_chord(heap, (start, end), tangents, normals, leaves, (sides[0][1], sides[1][1]))
            heap.straight += [len(cuts) == 2] * (len(heap.edges) - len(heap.straight))
    if not seam and curve.GetType() == GeomAbs_CurveType.GeomAbs_Circle:
        _note_rim(heap, curve, (first, last), sides, faces, surfaces)


def _chords(curve: Any, first: float, last: float) -> int:
    """Return how many chords a curve is cut into."""
    kind = curve.GetType()
    if kind == GeomAbs_CurveType.GeomAbs_Line:
        return 1
    if kind in (GeomAbs_CurveType.GeomAbs_Circle, GeomAbs_CurveType.GeomAbs_Ellipse):
        return max(2, int(np.ceil((last - first) / (2 * np.pi) * CHORDS_PER_TURN)))
    return 24


def _note_chord(
    heap: _Heap,
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
        heap.beside[point] += leaves
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
    vector = _xyz(along)
    return np.asarray(vector / max(float(np.linalg.norm(vector)), 1e-300))


def _note_rim(
    heap: _Heap, curve: Any, span: tuple[float, float], sides: Any, faces: Any, surfaces: Any
) -> None:
    """Note a circular edge that sticks out or is flush."""
    circle = curve.Circle()
    centre, axis = _xyz(circle.Location()), _xyz(circle.Axis().Direction())
    zero = _xyz(circle.XAxis().Direction())
    radius, middle = circle.Radius(), 0.5 * (span[0] + span[1])
    radial = (_xyz(curve.Value(middle)) - centre) / radius
    tangent = np.cross(axis, radial)
    leaves, normals = [], []
    for side, number in sides:
        uv = BRepAdaptor_Curve2d(side, faces[number].wrapped).Value(middle)
        normal = _normal(surfaces[number], faces[number], uv.X(), uv.Y())
        leave = np.cross(normal, tangent) * _sign(side)
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


def _round(face: cq.Face, surface: Any, number: int) -> Round | None:
    """Return a curved face by its type; None when it has none of the types known."""
    u0, u1, v0, v1 = BRepTools.UVBounds_s(face.wrapped)
    outward = _normal(surface, face, 0.5 * (u0 + u1), 0.5 * (v0 + v1))
    middle = _xyz(surface.Value(0.5 * (u0 + u1), 0.5 * (v0 + v1)))
    kinds = GeomAbs_SurfaceType
    kind = surface.GetType()
    if kind == kinds.GeomAbs_Cylinder:
        shape = surface.Cylinder()
        names, radii, skin = ("rod", "bore"), (shape.Radius(), shape.Radius()), 0.0
    elif kind == kinds.GeomAbs_Cone:
        shape = surface.Cone()
        slope, rise = np.sin(shape.SemiAngle()), np.cos(shape.SemiAngle())
        names, skin = ("cone", "funnel"), 0.0
        radii = (shape.RefRadius() + v0 * slope, shape.RefRadius() + v1 * slope)
        v0, v1 = v0 * rise, v1 * rise
    elif kind == kinds.GeomAbs_Sphere:
        shape = surface.Sphere()
        names, radii, skin = ("ball", "cup"), (0.0, 0.0), shape.Radius()
    elif kind == kinds.GeomAbs_Torus:
        shape = surface.Torus()
        names, skin = ("ring", ""), shape.MinorRadius()
        radii = (shape.MajorRadius(), shape.MajorRadius())
    else:
        return None
    place, axis = _xyz(shape.Location()), _xyz(shape.Position().Direction())
    solid_of_revolution = skin > 0
    a = place if solid_of_revolution else place + v0 * axis
    b = place if solid_of_revolution else place + v1 * axis
    inner = _skeleton(middle, place, axis, radii[0] if skin > 0 else 0.0, skin)
    convex = float((middle - inner) @ outward) > 0
    name = names[0] if convex else names[1]
    if not name:
        return None
    return Round(
        kind=name,
        a_mm=a,
        b_mm=b,
        axis=axis,
        zero=_xyz(shape.Position().XDirection()),
        radius_a_mm=radii[0],
        radius_b_mm=radii[1],
        skin_mm=skin,
        turn=(u0, u1),
        tilt=(v0, v1) if skin > 0 else (-np.pi, np.pi),
        face=number,
    )


def _skeleton(point: Floats, place: Floats, axis: Floats, ring: float, skin: float) -> Floats:
    """Return the nearest point of the axis, the ball's centre or the ring's centre circle."""
    arm = point - place
    along = axis * float(arm @ axis)
    if skin == 0:
        return np.asarray(place + along)
    radial = arm - along
    length = float(np.linalg.norm(radial))
    return place + (radial / length * ring if length > 1e-12 else 0.0 * radial)


def _sample(heap: _Heap, face: cq.Face, surface: Any, number: int) -> None:
    """Cover a face of no known type with points."""
    u0, u1, v0, v1 = BRepTools.UVBounds_s(face.wrapped)
    for u in np.linspace(u0, u1, 13):
        for v in np.linspace(v0, v1, 13):
            place = _xyz(surface.Value(float(u), float(v)))
            if not face.isInside(cq.Vector(*place)) and face.distance(cq.Vertex.makeVertex(*place)) > 1e-6:
                continue
            normal = _normal(surface, face, float(u), float(v))
            point = heap.point(place)
            heap.leaving[point].append(-normal)
            heap.meeting[point].setdefault(number, normal)


def _packed(
    heap: _Heap, solid: Solid, faces: list[cq.Face], surfaces: list[Any], rounds: tuple[Round, ...]
) -> Features:
    """Turn the lists into arrays."""
    planes, plane_faces, outlines = [], [], []
    for number, (face, surface) in enumerate(zip(faces, surfaces, strict=True)):
        if surface.GetType() != GeomAbs_SurfaceType.GeomAbs_Plane or number not in heap.borders:
            continue
        frame = surface.Plane().Position()
        origin, normal = _xyz(frame.Location()), _normal(surface, face, 0.0, 0.0)
        x = _xyz(frame.XDirection())
        y = np.cross(normal, x)
        border = np.array(heap.borders[number]) - origin
        planes.append(np.array([origin, normal, x, y]))
        plane_faces.append(number)
        outlines.append(np.stack((border @ x, border @ y), axis=-1))
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid.wrapped, properties)
    box = solid.BoundingBox()
    return Features(
        points_mm=np.array(heap.places).reshape(-1, 3),
        cones=_padded([_cone(*both) for both in zip(heap.leaving, heap.beside, strict=True)]),
        point_faces=_numbers(heap.meeting),
        point_normals=_padded([list(m.values()) for m in heap.meeting]),
        edges_mm=np.array(heap.edges).reshape(-1, 2, 3),
        leaves=np.array(heap.leaves).reshape(-1, 2, 3),
        edge_faces=np.array(heap.edge_faces, dtype=np.int64).reshape(-1, 2),
        edge_normals=np.array(heap.edge_normals).reshape(-1, 2, 3),
        straight=np.array(heap.straight, dtype=bool),
        planes=np.array(planes).reshape(-1, 4, 3),
        plane_faces=np.array(plane_faces, dtype=np.int64),
        outlines=tuple(outlines),
        rounds=rounds,
        rims=tuple(heap.rims),
        sagitta_mm=heap.sagitta if heap.sagitta > 1e-9 else 0.0,
        centre_mm=_xyz(properties.CentreOfMass()),
        size_mm=0.5 * float(box.DiagonalLength),
        volume_mm3=float(properties.Mass()),
    )


def _padded(lists: list[list[Floats]]) -> Floats:
    """Return lists of vectors as one array, padded with zeros."""
    out = np.zeros((len(lists), max((len(one) for one in lists), default=1) or 1, 3))
    for i, one in enumerate(lists):
        if one:
            out[i, : len(one)] = one
    return out


def _cone(leaving: list[Floats], beside: list[Floats]) -> list[Floats]:
    """Return the directions in which a solid leaves a point.

    At a corner they are its edges; square to an edge lies in the face only between its ends, not at an acute
    corner. On the run of an edge the faces' own directions are needed too.
    """
    edges = _distinct(leaving)
    return edges if len(edges) > 2 else _distinct([*edges, *beside])


def _distinct(vectors: list[Floats]) -> list[Floats]:
    """Return the vectors that differ from those before them."""
    kept: list[Floats] = []
    for vector in vectors:
        if not any(np.abs(vector - seen).max() < 1e-9 for seen in kept):
            kept.append(vector)
    return kept


def _numbers(meeting: list[dict[int, Floats]]) -> Ints:
    """Return the face numbers at each point, padded with -1, in the order of the normals."""
    widest = max((len(m) for m in meeting), default=1)
    out = np.full((len(meeting), max(widest, 1)), -1, dtype=np.int64)
    for i, numbers in enumerate(meeting):
        out[i, : len(numbers)] = list(numbers)
    return out


def _normal(surface: Any, face: cq.Face, u: float, v: float) -> Floats:
    """Return the outward normal of a face at (u, v)."""
    place, along_u, along_v = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1(u, v, place, along_u, along_v)
    normal = np.cross(_xyz(along_u), _xyz(along_v))
    length = float(np.linalg.norm(normal))
    reversed_ = face.wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED
    return normal / max(length, 1e-300) * (-1.0 if reversed_ else 1.0)


def _sign(edge: Any) -> float:
    """Return +1 where the face lies left of the edge as it runs, -1 where right."""
    return -1.0 if edge.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0


def _off(place: Floats, start: Floats, direction: Floats) -> float:
    """Return the distance of a point from a line."""
    arm = place - start
    return float(np.linalg.norm(arm - direction * float(arm @ direction)))


def _xyz(thing: Any) -> Floats:
    """Return a kernel point, vector or direction as an array."""
    return np.array([thing.X(), thing.Y(), thing.Z()])


def matrix_of(location: cq.Location) -> Floats:
    """Return a location as a 4 x 4 matrix, mm."""
    trsf = location.wrapped.Transformation()
    out = np.eye(4)
    for i in range(3):
        for j in range(4):
            out[i, j] = trsf.Value(i + 1, j + 1)
    return out


def location_of(matrix: Floats) -> cq.Location:
    """Return a rigid 4 x 4 matrix as a location."""
    trsf = gp_Trsf()
    trsf.SetValues(*(float(v) for v in np.asarray(matrix)[:3].ravel()))
    return cq.Location(TopLoc_Location(trsf))
