"""Which points, edges and surfaces of a solid can touch another body, as arrays in the solid's own frame.

Vertices and straight edges are exact; curved edges become short chords, whose sagittas are kept. Curved faces
are kept as what sweeps them, with the range they cover; free-form faces are laid out in lines of parameters.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, partial
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.arrays import Floats, Ints
from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.free_form import (
    SMOOTH,
    Curve,
    Smooth,
    Target,
    curves_of,
    followed_targets,
    smooth_of,
)
from fixturecheck.kernel.brep.primitives import CurveKind, Rim, SurfaceKind, SweptPrimitive
from fixturecheck.kernel.brep.table import (
    BrepTable,
    EdgeRow,
    brep_tables,
    derived,
    surfaces_of,
    swept_primitive,
)
from fixturecheck.kernel.brep.topology import xyz
from fixturecheck.kernel.measure import mass_of
from fixturecheck.kernel.mesh.triangles import SurfaceTriangulation, surface_triangulation
from fixturecheck.kernel.shapes import Solid
from fixturecheck.numeric import crossed, off_line_mm

CHORDS_PER_TURN = 48
_FREE_CHORDS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What a walk round the edges of a solid gathers; lists run alike by point, and by chord.

    Parameters
    ----------
    points : dict
        Number of each point, by its place rounded to a nanometre.
    places : list of ndarray
    leaving : list of list of ndarray
        Directions in which edges leave each point.
    beside : list of dict
        Of each point and each face there, pairs: direction of an edge, and square to it into the face.
    meeting : list of dict
        Of each point, the outward normal of each face there.
    edges, leaves, edge_faces, edge_normals : list
        Of each chord that sticks out or is flush: ends, directions into its two faces, these, their normals.
    straight, free, bows_mm : list
        Of each chord: whether it is the whole of a straight edge, whether its edge is neither straight nor a
        circle, and how far the edge is from it in the middle.
    borders : dict
        Chords round each face.
    rims : list of Rim
    """

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


def _walk_edge(gathered: Gathered, row: EdgeRow) -> None:
    """Cut an edge with two sides into chords, and note points, chords, borders and rims."""
    cuts = np.linspace(*row.span, _chords(row) + 1)
    places = [xyz(row.curve.Value(u)) for u in cuts]
    sides = row.probe.sides
    numbers = (row.sides[0][1].number, row.sides[1][1].number)
    for i in range(len(cuts) - 1):
        start, end = places[i], places[i + 1]
        middle = 0.5 * (cuts[i] + cuts[i + 1])
        chord = end - start
        length = float(np.linalg.norm(chord))
        if length < 1e-9:
            continue
        for number in numbers:
            gathered.borders.setdefault(number, []).append((start, end))
        if row.is_seam:
            continue
        along = chord / length
        normals = [side.normal(middle) for side in sides]
        leaves = [side.into(n, along) for side, n in zip(sides, normals, strict=True)]
        tangents = _tangent(row, cuts[i]), _tangent(row, cuts[i + 1])
        if _note_chord(gathered, (start, end), tangents, normals, leaves, numbers):
            gathered.straight.append(len(cuts) == 2)
            gathered.free.append(row.kind not in {CurveKind.LINE, CurveKind.CIRCLE})
            gathered.bows_mm.append(float(off_line_mm(xyz(row.curve.Value(middle))[None], start, along)[0]))
    if not row.is_seam and row.kind == CurveKind.CIRCLE:
        _note_rim(gathered, row, numbers)


def _chords(row: EdgeRow) -> int:
    """Return how many chords a curve is cut into."""
    if row.kind == CurveKind.LINE:
        return 1
    if row.kind in {CurveKind.CIRCLE, CurveKind.ELLIPSE}:
        first, last = row.span
        return max(2, math.ceil((last - first) / (2 * np.pi) * CHORDS_PER_TURN))
    return _FREE_CHORDS


def _note_chord(
    gathered: Gathered,
    ends: tuple[Floats, Floats],
    tangents: tuple[Floats, Floats],
    normals: list[Floats],
    leaves: list[Floats],
    numbers: tuple[int, int],
) -> bool:
    """Note a chord's end points with their cones, and the chord itself where it sticks out or is flush."""
    for place, direction in ((ends[0], tangents[0]), (ends[1], -tangents[1])):
        point = gathered.point(place)
        gathered.leaving[point].append(direction)
        for number, leave in zip(numbers, leaves, strict=True):
            gathered.beside[point].setdefault(number, []).append((direction, leave))
        for number, normal in zip(numbers, normals, strict=True):
            gathered.meeting[point].setdefault(number, normal)
    sticks_out = float(leaves[1] @ normals[0]) <= SMOOTH
    if sticks_out:
        gathered.edges.append(ends)
        gathered.leaves.append((leaves[0], leaves[1]))
        gathered.edge_faces.append(numbers)
        gathered.edge_normals.append((normals[0], normals[1]))
    return sticks_out


def _tangent(row: EdgeRow, at: float) -> Floats:
    """Return the unit tangent of an edge; a chord's own direction would look into a hole it runs round."""
    vector = row.probe.derivative(float(at))
    return np.asarray(vector / max(float(np.linalg.norm(vector)), 1e-300))


def _note_rim(gathered: Gathered, row: EdgeRow, numbers: tuple[int, int]) -> None:
    """Note a circular edge that sticks out or is flush."""
    circle = row.circle
    if circle is None:
        return
    middle = 0.5 * (row.span[0] + row.span[1])
    radial = (xyz(row.curve.Value(middle)) - circle.centre) / circle.radius_mm
    tangent = crossed(circle.axis, radial)
    normals = [side.normal(middle) for side in row.probe.sides]
    into = [side.into(n, tangent) for side, n in zip(row.probe.sides, normals, strict=True)]
    leaves = [[float(leave @ radial), float(leave @ circle.axis)] for leave in into]
    other = leaves[1][0] * radial + leaves[1][1] * circle.axis
    if float(other @ normals[0]) <= SMOOTH:
        rim = Rim(
            centre_mm=circle.centre, axis=circle.axis, zero=circle.x_axis, radius_mm=circle.radius_mm,
            turn=row.span, leave=np.array(leaves), faces=numbers,
        )  # fmt: skip
        gathered.rims.append(rim)


SQUARE = 1e-9
_GRID = 9
"""Decimals of a millimetre that outlines of flat faces are kept to."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Features:
    """Everything of one solid that can touch.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Corners and points on curved edges and sampled surfaces.
    tangent_cones : ndarray, shape (n, k, 3)
        Directions in which the solid leaves each point, padded with zeros.
    point_faces, point_normals : ndarray, shape (n, k) and (n, k, 3)
        Faces that meet there, padded with -1, and their outward normals.
    edges_mm : ndarray, shape (m, 2, 3)
        Straight edges and chords that stick out or are flush.
    face_tangents : ndarray, shape (m, 2, 3)
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
    swept, rims : tuple of SweptPrimitive and of Rim
        Curved faces by what sweeps them, and circular edges.
    free : ndarray, shape (m,)
        True for chords of edges that are neither straight nor circles.
    bows_mm : ndarray, shape (m,)
        Distance between each chord and the edge at its middle.
    box_mm : ndarray, shape (2, 3)
        Corners of a box round the solid.
    triangulation : callable
        Returns triangles of the solid's surface, made when they are first asked for.
    smooth : tuple of Smooth
        Its free-form faces.
    sharp_count : int
        How many of the points lie on edges; those after them lie on free-form faces.
    targets : callable
        Returns every face as something to come down on, made when it is first asked for.
    curves : callable
        Returns the edges that stick out as curves to be followed, made when they are first asked for.
    """

    points_mm: Floats
    tangent_cones: Floats
    point_faces: Ints
    point_normals: Floats
    edges_mm: Floats
    face_tangents: Floats
    edge_faces: Ints
    edge_normals: Floats
    straight: NDArray[np.bool_]
    free: NDArray[np.bool_]
    bows_mm: Floats
    planes: Floats
    plane_faces: Ints
    outlines: tuple[Floats, ...]
    swept: tuple[SweptPrimitive, ...] = ()
    rims: tuple[Rim, ...] = ()
    centre_mm: Floats = field(default_factory=lambda: np.zeros(3))
    size_mm: float = 1.0
    volume_mm3: float = 0.0
    box_mm: Floats
    triangulation: Callable[[], SurfaceTriangulation] = field(repr=False)
    smooth: tuple[Smooth, ...] = ()
    sharp_count: int = 0
    targets: Callable[[], tuple[Target, ...]] = field(default=tuple, repr=False)
    curves: Callable[[], tuple[Curve, ...]] = field(default=tuple, repr=False)

    def face_polygon(self, plane: int) -> Any:
        """Return a flat face in its own directions as a polygon; empty where its border does not close."""
        return shapely.build_area(shapely.multilinestrings(self.outlines[plane].round(_GRID)))


def features_of(solid: Solid) -> Features:
    """Return the features of a solid that can touch, in the solid's own frame.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    Features

    Raises
    ------
    KernelError
        The kernel could not read an edge or a face.
    """
    try:
        (table,) = brep_tables([solid])
        return derived(table, _features)
    except KernelError:
        raise
    except Exception as failure:  # the kernel raises its own unrelated types
        raise KernelError(f"reading the features of a solid failed: {failure}") from failure


def _features(table: BrepTable) -> Features:
    gathered = Gathered()
    for edge in table.two_sided:
        _walk_edge(gathered, edge)
    swept, free, on_edges = [], [], len(gathered.places)
    for row, surface in zip(table.faces, derived(table, surfaces_of), strict=True):
        if surface is None:
            continue
        primitive = swept_primitive(row, surface)
        if primitive is None:
            free.append(smooth_of(row))
            _sample(gathered, free[-1])
            continue
        swept.append(primitive)
        if primitive.is_tube and primitive.sign < 0:
            # What enters a concave torus or sphere is known exactly; its points are for what lies over it.
            _sample(gathered, smooth_of(row))
    planes, plane_faces, outlines = _planes(table, gathered)
    solid = table.solid
    volume_mm3, centre_mm = mass_of(solid)
    box = solid.BoundingBox()
    return Features(
        points_mm=np.array(gathered.places).reshape(-1, 3),
        tangent_cones=_padded([_cone(*both) for both in zip(gathered.leaving, gathered.beside, strict=True)]),
        point_faces=_numbers(gathered.meeting),
        point_normals=_padded([list(m.values()) for m in gathered.meeting]),
        edges_mm=np.array(gathered.edges).reshape(-1, 2, 3),
        face_tangents=np.array(gathered.leaves).reshape(-1, 2, 3),
        edge_faces=np.array(gathered.edge_faces, dtype=np.int64).reshape(-1, 2),
        edge_normals=np.array(gathered.edge_normals).reshape(-1, 2, 3),
        straight=np.array(gathered.straight, dtype=bool),
        planes=np.array(planes).reshape(-1, 4, 3),
        plane_faces=np.array(plane_faces, dtype=np.int64),
        outlines=tuple(outlines),
        swept=tuple(swept),
        rims=tuple(gathered.rims),
        free=np.array(gathered.free, dtype=bool),
        bows_mm=np.array(gathered.bows_mm),
        centre_mm=np.array(centre_mm),
        size_mm=0.5 * float(box.DiagonalLength),
        volume_mm3=volume_mm3,
        box_mm=np.array([[box.xmin, box.ymin, box.zmin], [box.xmax, box.ymax, box.zmax]]),
        triangulation=cache(partial(surface_triangulation, solid)),
        smooth=tuple(free),
        sharp_count=on_edges,
        targets=cache(partial(followed_targets, table)),
        curves=cache(partial(curves_of, table)),
    )


def _planes(table: BrepTable, gathered: Gathered) -> tuple[list[Floats], list[int], list[Floats]]:
    """Return point, normal and two directions of each flat face, its number, and its border in these."""
    planes, numbers, outlines = [], [], []
    for row in table.faces:
        if row.kind != SurfaceKind.PLANE or row.number not in gathered.borders:
            continue
        frame = row.quadric.Position()
        origin, normal = xyz(frame.Location()), row.probe.at((0.0, 0.0))[1]
        x = xyz(frame.XDirection())
        y = np.cross(normal, x)
        border = np.array(gathered.borders[row.number]) - origin
        planes.append(np.array([origin, normal, x, y]))
        numbers.append(row.number)
        # A corner that two chords share is the same number in both, or a ray through it counts it twice.
        flat: Floats = np.stack((border @ x, border @ y), axis=-1)
        outlines.append(flat.round(_GRID))
    return planes, numbers, outlines


def _sample(gathered: Gathered, one: Smooth) -> None:
    """Cover a face with points of it."""
    for i, j in np.argwhere(one.inside):
        point = gathered.point(one.points[i, j])
        gathered.leaving[point].append(-one.normals[i, j])
        gathered.meeting[point].setdefault(one.face, one.normals[i, j])


def _padded(lists: list[list[Floats]]) -> Floats:
    """Return lists of vectors as one array, padded with zeros."""
    out = np.zeros((len(lists), max((len(one) for one in lists), default=1) or 1, 3))
    for i, one in enumerate(lists):
        if one:
            out[i, : len(one)] = one
    return out


def _cone(leaving: list[Floats], beside: dict[int, list[tuple[Floats, Floats]]]) -> list[Floats]:
    """Return the directions in which a solid leaves a point: its edges, and into faces that are wide there.

    Square to an edge lies in the face only where the face's corner is no less than a right angle; a narrower
    corner is spanned by its two edges alone.
    """
    found = list(leaving)
    for pair in beside.values():
        if len(pair) == 1 or (len(pair) == 2 and float(pair[0][0] @ pair[1][0]) <= SQUARE):
            found += [leave for _, leave in pair]
    return _distinct(found)


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
