"""Which points, edges and surfaces of a solid can touch another body, as arrays in the solid's own frame.

Sharp features are exact; curved edges become short chords, whose sagittas are kept. Curved faces are
kept as what sweeps them, with the range they cover; other surfaces are laid out in lines.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from fixturecheck.arrays import Floats, Ints
from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.chords import Gathered, walk_edge
from fixturecheck.kernel.brep.free_form import Curve, Smooth, Target, curves_of, smooth_of, targets_of
from fixturecheck.kernel.brep.primitives import Rim, SurfaceKind, SweptPrimitive
from fixturecheck.kernel.brep.surfaces import surface_of, swept_primitive
from fixturecheck.kernel.brep.table import BrepTable, brep_tables, derived
from fixturecheck.kernel.brep.topology import xyz
from fixturecheck.kernel.measure import mass_of
from fixturecheck.kernel.mesh.triangles import SurfaceTriangulation, surface_triangulation
from fixturecheck.kernel.shapes import Solid

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
    cones : ndarray, shape (n, k, 3)
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
    cones: Floats
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


def features_of(solid: Solid) -> Features:
    """Return what of a solid can touch, in the solid's own frame.

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
        message = f"reading the features of a solid failed: {failure}"
        raise KernelError(message) from failure


def _features(table: BrepTable) -> Features:
    gathered = Gathered()
    for edge in table.two_sided:
        walk_edge(gathered, edge)
    swept, free, on_edges = [], [], len(gathered.places)
    for row in table.faces:
        surface = surface_of(table, row)
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
        cones=_padded([_cone(*both) for both in zip(gathered.leaving, gathered.beside, strict=True)]),
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
        targets=cache(partial(targets_of, table)),
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
