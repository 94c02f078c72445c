"""What the part is made of: its planes and round outsides, where its mass lies, and a name for each face."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.face_table import FaceTable, face_tables
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2, mass_of
from fixturecheck.kernel.place import drawing_matrix
from fixturecheck.kernel.sample import inside_points
from fixturecheck.kernel.script import flaw_of
from fixturecheck.kernel.select import by_point
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.step import read
from fixturecheck.names import plain
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.make import body
from fixturecheck.setup.model import Body

SAME = 1e-6
"""Unit vectors that differ by less are the same direction."""

PLANE_MM = 1e-4
"""Faces that lie this close to one plane lie in it; the contact map calls that touching."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """Flat faces of a solid that lie in one plane and look one way.

    Parameters
    ----------
    normal : ndarray, shape (3,)
        Unit normal out of the solid, in the solid's own frame.
    offset_mm : float
        Where the plane lies along it.
    faces : tuple of int
        Indices into `faces_of(solid)`, the largest first.
    area_mm2 : float
        Area of them together.
    outer : bool
        Whether all of the solid lies behind the plane.
    corners : ndarray, shape (n, 3)
        Points of the outlines of the faces, mm; arcs are chords.
    rings : tuple
        For each face its wires, outer first, as in `FaceTable.rings`.
    """

    normal: Floats
    offset_mm: float
    faces: tuple[int, ...]
    area_mm2: float
    outer: bool
    corners: Floats
    rings: tuple[tuple[Floats, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """Cylindrical faces that share an axis and a radius and have the material inside.

    Parameters
    ----------
    origin, axis : ndarray, shape (3,)
        A point of the axis, and its unit direction.
    radius_mm : float
    faces : tuple of int
        Indices into `faces_of(solid)`, the largest first.
    area_mm2 : float
        Area of them together.
    span_mm : tuple of float
        Where they begin and end along the axis, measured as x.axis.
    """

    origin: Floats
    axis: Floats
    radius_mm: float
    faces: tuple[int, ...]
    area_mm2: float
    span_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A drawn part, looked at in its own frame.

    Parameters
    ----------
    name : str
        What its bodies are called.
    file : Path
        Where it was read from.
    body : Body
        The part as a set-up reads it, with the face names of the file.
    table : FaceTable
    points : ndarray, shape (n, 3)
        Corners, and points along edges, mm.
    centre : ndarray, shape (3,)
        Centre of mass, mm.
    planes : tuple of Plane
        The largest first.
    rounds : tuple of Round
        The largest first.
    """

    name: str
    file: Path
    body: Body
    table: FaceTable
    points: Floats
    centre: Floats
    planes: tuple[Plane, ...]
    rounds: tuple[Round, ...]


def read_part(file: Path) -> Part:
    """Read the one solid of a STEP or BREP file.

    Parameters
    ----------
    file : Path
        The file; the part is named after it.

    Returns
    -------
    Part
        With its planes and rounds.

    Raises
    ------
    SetupError
        There is not exactly one sound solid in it.
    """
    found = read(file)
    if len(found.solids) > 1:
        raise SetupError(
            f"{file.name} holds {len(found.solids)} solids; export one part alone, or take the whole as a "
            "set-up with --from"
        )
    name = plain(file.stem) or "part"
    return found_part(body(name, found), file)


def found_part(drawn: Body, file: Path) -> Part:
    """Look at a body that was read from a file.

    Parameters
    ----------
    drawn : Body
        The body in its own frame; its solid must not be moved within the file.
    file : Path
        The file that it was read from.

    Returns
    -------
    Part
        With its planes and rounds.

    Raises
    ------
    SetupError
        Its solid is open, inside out, or not valid.
    """
    flaw = flaw_of(drawn.solid)
    if flaw:
        raise SetupError(f"{file.name} {flaw}")
    table, shift = face_tables([drawn.solid])[0], drawing_matrix(drawn.solid)
    if not np.allclose(shift, np.eye(4), atol=1e-12):
        raise SetupError(
            f"{file.name}: its solid is moved within the file; export the part where it is drawn"
        )
    points = np.vstack([table.vertices, table.samples.reshape(-1, 3)])
    areas = [area_mm2(face) for face in faces_of(drawn.solid)]
    return Part(
        name=drawn.name,
        file=file,
        body=drawn,
        table=table,
        points=points,
        centre=np.array(mass_of(drawn.solid)[1]),
        planes=_planes(table, points, areas),
        rounds=_rounds(table, areas),
    )


def _planes(table: FaceTable, points: Floats, areas: Sequence[float]) -> tuple[Plane, ...]:
    """Join flat faces that lie in one plane and look one way."""
    groups: list[list[int]] = []
    order = sorted((i for i, ring in enumerate(table.rings) if ring is not None), key=lambda i: -areas[i])
    for i in order:
        for group in groups:
            k = group[0]
            one_way = np.linalg.norm(table.normals[i] - table.normals[k]) < SAME
            if one_way and abs(table.offsets[i] - table.offsets[k]) < PLANE_MM:
                group.append(i)
                break
        else:
            groups.append([i])
    made = [_plane(table, points, areas, tuple(group)) for group in groups]
    return tuple(sorted(made, key=lambda p: -p.area_mm2))


def _plane(table: FaceTable, points: Floats, areas: Sequence[float], faces: tuple[int, ...]) -> Plane:
    normal, offset = table.normals[faces[0]], float(table.offsets[faces[0]])
    rings = tuple(ring for i in faces for ring in [table.rings[i]] if ring is not None)
    edges = {int(e) for i in faces for e in table.face_edges[i]}
    beside = {f for e in edges for f in table.edge_faces[e]}
    # What bulges between its edges is held by the hull; faces beside the plane leave it at their edges.
    far = ~np.isin(table.hull.faces, sorted(beside))
    over = table.hull.reach(normal[None, :])[far, 0] - 2 * table.hull.balls[far] - offset
    behind = (points @ normal).max() - offset <= PLANE_MM and over.max(initial=-np.inf) <= PLANE_MM
    return Plane(
        normal=normal,
        offset_mm=offset,
        faces=faces,
        area_mm2=sum(areas[i] for i in faces),
        outer=bool(behind),
        corners=np.vstack([ring[0] for ring in rings]),
        rings=rings,
    )


def _rounds(table: FaceTable, areas: Sequence[float]) -> tuple[Round, ...]:
    """Join convex cylindrical faces of one axis and radius."""
    groups: list[list[int]] = []
    convex = [
        i
        for i, surface in enumerate(table.surfaces)
        if surface is not None and surface.kind == SurfaceKind.CYLINDER and surface.outward > 0
    ]
    for i in sorted(convex, key=lambda i: -areas[i]):
        for group in groups:
            if _coaxial(table, group[0], i):
                group.append(i)
                break
        else:
            groups.append([i])
    return tuple(sorted((_round(table, areas, tuple(g)) for g in groups), key=lambda r: -r.area_mm2))


def _coaxial(table: FaceTable, one: int, other: int) -> bool:
    a, b = table.surfaces[one], table.surfaces[other]
    if a is None or b is None or abs(a.radius_mm - b.radius_mm) > PLANE_MM:
        return False
    across = np.cross(a.axis, b.origin - a.origin)
    return abs(abs(float(a.axis @ b.axis)) - 1.0) < SAME and float(np.linalg.norm(across)) < PLANE_MM


def _round(table: FaceTable, areas: Sequence[float], faces: tuple[int, ...]) -> Round:
    surface = table.surfaces[faces[0]]
    if surface is None:  # the caller names cylinders only
        raise SetupError(f"face {faces[0]} has no surface of a simple kind")
    edges = sorted({int(e) for i in faces for e in table.face_edges[i]})
    along = table.samples[edges].reshape(-1, 3) @ surface.axis
    return Round(
        origin=surface.origin,
        axis=surface.axis,
        radius_mm=surface.radius_mm,
        faces=faces,
        area_mm2=sum(areas[i] for i in faces),
        span_mm=(float(along.min()), float(along.max())),
    )


class FaceNames:
    """Names for the faces that a set-up speaks of: those of the file, else what the face does.

    Attributes
    ----------
    given : dict of str to tuple of int
        The names that the set-up has to state, with the faces that they mean.
    """

    def __init__(self, known: Mapping[str, tuple[int, ...]], unclear: Iterable[str] = ()) -> None:
        self._known = {frozenset(indices): name for name, indices in known.items()}
        self._taken = {*known, *unclear}
        self.given: dict[str, tuple[int, ...]] = {}

    def name(self, faces: tuple[int, ...], role: str) -> str:
        """Return the name of some faces; made of their role where the file gives none.

        Parameters
        ----------
        faces : tuple of int
            Indices of faces of the part that are meant together.
        role : str
            What they do, as `floor`; numbered where that name is taken.
        """
        key = frozenset(faces)
        if key not in self._known:
            made = next(n for n in _numbered(role) if n not in self._taken)
            self._known[key] = made
            self._taken.add(made)
            self.given[made] = faces
        return self._known[key]


def _numbered(role: str) -> Iterable[str]:
    yield role
    for n in itertools.count(2):
        yield f"{role}_{n}"


def point_on(solid: Solid, face: int) -> Vector:
    """Return a point that names one face, in as few digits as do.

    Parameters
    ----------
    solid : Solid
        The part in its own frame.
    face : int
        Index of the face.

    Returns
    -------
    Vector
        Millimetres.

    Raises
    ------
    SetupError
        No point of the face is nearer to it than to another face.
    """
    inside = inside_points(faces_of(solid)[face], 8)
    for digits in (1, 2, 3, 6, 9):
        for point in inside:
            x, y, z = (round(float(v), digits) + 0.0 for v in point)
            try:
                if by_point(solid, (x, y, z)) == (face,):
                    return x, y, z
            except SetupError:  # as near to another face
                continue
    raise SetupError(f"face {face} of the solid cannot be told from another by a point")
