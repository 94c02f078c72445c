"""Free-form faces and edges that stick out, laid out to be followed over what they come down on."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.GeomAbs import GeomAbs_SurfaceType

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.bezier import Pieces, edge_pieces, face_pieces
from fixturecheck.kernel.brep.chords import SMOOTH
from fixturecheck.kernel.brep.primitives import CurveKind, SurfaceKind
from fixturecheck.kernel.brep.probe import EdgeProbe, Probe
from fixturecheck.kernel.brep.table import BrepTable, FaceRow
from fixturecheck.kernel.brep.topology import xyz
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Edge

STATIONS = 48
"""Steps that an edge is laid out in."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """An edge that sticks out, in the solid's own frame.

    Parameters
    ----------
    probe : EdgeProbe
    faces : tuple of int
        The two faces that meet in it.
    kind : CurveKind
    points, tangents : ndarray, shape (k, 3)
        At even shares of its range, and the derivatives by the share.
    pieces : callable
        Returns it as Bezier pieces, made when first asked for.
    """

    probe: EdgeProbe
    faces: tuple[int, int]
    kind: CurveKind
    points: Floats
    tangents: Floats
    pieces: Callable[[], Pieces] = field(repr=False)


def curves_of(table: BrepTable) -> tuple[Curve, ...]:
    """Return the edges of a solid that stick out."""
    found = []
    for row in table.two_sided:
        if row.is_seam or not any(_sticks_out(row.probe, share) for share in (0.1, 0.5, 0.9)):
            continue
        places = [row.probe.at(float(share)) for share in np.linspace(0.0, 1.0, STATIONS + 1)]
        found.append(
            Curve(
                probe=row.probe,
                faces=(row.sides[0][1].number, row.sides[1][1].number),
                kind=row.kind,
                points=np.array([p for p, _ in places]),
                tangents=np.array([t for _, t in places]),
                pieces=cache(partial(edge_pieces, Edge(row.edge))),
            )
        )
    return tuple(found)


def _sticks_out(probe: EdgeProbe, share: float) -> bool:
    """Whether the material makes a ridge at a place of an edge, and not a seam or an inside corner."""
    leaving, normals = probe.leaving(share), probe.normals(share)
    return bool(float(leaving[1] @ normals[0]) < -SMOOTH)


_FEWEST, _MOST, _EACH = 13, 49, 4
"""Lines of parameters across a face: at least, at most, and for each piece of a spline."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Smooth:
    """A free-form face with its places on a grid of parameters.

    Parameters
    ----------
    face : int
    probe : Probe
        In the solid's own frame.
    u, v : ndarray, shapes (m,) and (k,)
        Parameters of the lines, the first and last on the border.
    points, normals : ndarray, shape (m, k, 3)
    inside : ndarray of bool, shape (m, k)
        Which places lie within the face's outline.
    reach_mm : float
        Greatest distance of neighbouring places.
    """

    face: int
    probe: Probe
    u: Floats
    v: Floats
    points: Floats
    normals: Floats
    inside: NDArray[np.bool_]
    reach_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Target:
    """A face that others may come down on: the box round it, and its plane where it is flat.

    All in the solid's own frame; a plane is a point and the outward normal, `pieces` returns the face as
    Bezier pieces.
    """

    face: int
    probe: Probe
    low_mm: Floats
    high_mm: Floats
    plane: tuple[Floats, Floats] | None
    pieces: Callable[[], Pieces] = field(repr=False)


def smooth_of(row: FaceRow) -> Smooth:
    """Lay out a face in lines of parameters, closer where its spline has more pieces."""
    probe = row.probe
    u0, u1, v0, v1 = row.window
    u = np.linspace(u0, u1, _lines(row.adaptor, "U"))
    v = np.linspace(v0, v1, _lines(row.adaptor, "V"))
    rows = [[probe.at((s, t)) for t in v.tolist()] for s in u.tolist()]
    points = np.array([[place[0] for place in row] for row in rows])
    steps = [np.linalg.norm(np.diff(points, axis=k), axis=2).max() for k in (0, 1)]
    return Smooth(
        face=row.number,
        probe=probe,
        u=u,
        v=v,
        points=points,
        normals=np.array([[place[1] for place in row] for row in rows]),
        inside=np.array([[probe.inside((s, t)) for t in v.tolist()] for s in u.tolist()], dtype=bool),
        reach_mm=float(math.hypot(*steps)),
    )


def _lines(adaptor: BRepAdaptor_Surface, way: str) -> int:
    """Return how many lines of parameters a face is laid out in, one way."""
    spline = adaptor.GetType() == GeomAbs_SurfaceType.GeomAbs_BSplineSurface
    pieces = getattr(adaptor, f"Nb{way}Knots")() - 1 if spline else 1
    return min(max(_FEWEST, _EACH * pieces + 1), _MOST)


def targets_of(table: BrepTable) -> tuple[Target, ...]:
    """Return every face of a solid as something to come down on."""
    return tuple(_target(row) for row in table.faces)


def _target(row: FaceRow) -> Target:
    box = np.array(box_of(row.face))
    plane = None
    if row.kind == SurfaceKind.PLANE:
        plane = xyz(row.quadric.Location()), row.probe.at((0.0, 0.0))[1]
    return Target(
        face=row.number,
        probe=row.probe,
        low_mm=box[:3],
        high_mm=box[3:],
        plane=plane,
        pieces=cache(partial(face_pieces, row.face)),
    )
