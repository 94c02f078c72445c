"""Free-form faces and edges: laid out to be followed over other faces, and as rational Bezier pieces.

The hull of the control points of a piece holds the piece.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, partial
from typing import Any, cast

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepTools import BRepTools
from OCP.GCPnts import GCPnts_QuasiUniformAbscissa
from OCP.Geom import Geom_BSplineSurface, Geom_RectangularTrimmedSurface, Geom_TrimmedCurve
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.GeomConvert import (
    GeomConvert,
    GeomConvert_BSplineCurveToBezierCurve,
    GeomConvert_BSplineSurfaceToBezierSurface,
)
from OCP.TopAbs import TopAbs_Orientation

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import CurveKind, SurfaceKind
from fixturecheck.kernel.brep.probes import EdgeProbe, Probe
from fixturecheck.kernel.brep.table import BrepTable, FaceRow
from fixturecheck.kernel.brep.topology import edges_of, xyz
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Edge, Face

_ALONG = 64
"""Points along each edge of a face's border."""
_SEPARABLE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """A face or an edge as rational Bezier pieces of one degree, in the solid's own frame.

    Parameters
    ----------
    nets : ndarray, shape (n, p + 1, q + 1, 4)
        Control points times their weights, and the weights; q is zero for an edge.
    is_reversed : bool
        Whether the derivative by the first parameter crossed with that by the second looks into the material.
    turns : bool
        Whether weights are products of one for each parameter, so that the differences of neighbouring
        control points hold the directions of the derivatives in their cone.
    probe : Probe or None
        The face, which knows what lies within its outline.
    border : ndarray, shape (k, 3)
        Points along the outline, no place of which is further than `border_step_mm` from one.
    border_step_mm : float
    """

    nets: Floats
    is_reversed: bool
    turns: bool
    probe: Probe | None
    border: Floats
    border_step_mm: float


def face_pieces(face: Face) -> Pieces:
    """Return a face's surface over the range of its parameters; exact but for offset surfaces (1e-4 mm).

    Parameters
    ----------
    face : Face

    Returns
    -------
    Pieces
    """
    cut = GeomConvert_BSplineSurfaceToBezierSurface(_spline(face))
    nets = []
    for i in range(cut.NbUPatches()):
        for j in range(cut.NbVPatches()):
            piece = cut.Patch(i + 1, j + 1)
            nets.append(
                [
                    [_pole(piece, m + 1, n + 1) for n in range(piece.NbVPoles())]
                    for m in range(piece.NbUPoles())
                ]
            )
    border, step = _border(face)
    reversed_ = face.wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED
    array = np.array(nets)
    return Pieces(
        nets=array, is_reversed=reversed_, turns=_separable(array[..., 3]), probe=Probe(face), border=border,
        border_step_mm=step,
    )  # fmt: skip


def _spline(face: Face) -> Any:
    """Return a face's surface as a B-spline over the range of the face's parameters."""
    u0, u1, v0, v1 = BRepTools.UVBounds_s(face.wrapped)
    surface = BRep_Tool.Surface_s(face.wrapped)
    if not isinstance(surface, Geom_BSplineSurface):
        return GeomConvert.SurfaceToBSplineSurface_s(Geom_RectangularTrimmedSurface(surface, u0, u1, v0, v1))
    spline = cast("Geom_BSplineSurface", surface.Copy())
    spline.SetUNotPeriodic()
    spline.SetVNotPeriodic()
    # Ranges of faces stray past those of their surfaces by rounding, which the kernel does not survive.
    low_u, high_u, low_v, high_v = spline.Bounds()
    spline.Segment(max(u0, low_u), min(u1, high_u), max(v0, low_v), min(v1, high_v))
    return spline


def edge_pieces(edge: cq.Edge) -> Pieces:
    """Return an edge's curve over its range.

    Parameters
    ----------
    edge : Edge

    Returns
    -------
    Pieces
        Of one parameter, without a probe and without a border.
    """
    curve = BRepAdaptor_Curve(edge.wrapped)
    whole = BRep_Tool.Curve_s(edge.wrapped, 0.0, 1.0)
    trimmed = Geom_TrimmedCurve(whole, curve.FirstParameter(), curve.LastParameter())
    cut = GeomConvert_BSplineCurveToBezierCurve(GeomConvert.CurveToBSplineCurve_s(trimmed))
    nets = []
    for i in range(cut.NbArcs()):
        arc = cut.Arc(i + 1)
        nets.append([[_pole(arc, m + 1)] for m in range(arc.NbPoles())])
    return Pieces(
        nets=np.array(nets),
        is_reversed=False,
        turns=True,
        probe=None,
        border=np.zeros((0, 3)),
        border_step_mm=0.0,
    )


def _pole(piece: Any, *at: int) -> list[float]:
    weight = float(piece.Weight(*at))
    return [weight * c for c in piece.Pole(*at).Coord()] + [weight]


def _separable(weights: Floats) -> bool:
    """Whether weights (n, p, q) are products of one for each row and one for each column."""
    product = weights[:, :, :1] * weights[:, :1, :] / weights[:, :1, :1]
    return bool(np.abs(weights - product).max() <= _SEPARABLE * np.abs(weights).max())


def _border(face: Face) -> tuple[Floats, float]:
    """Return points along a face's outline, and how far a place of it may be from the nearest."""
    points, step = [np.zeros((0, 3))], 0.0
    for edge in edges_of(face):
        if BRep_Tool.Degenerated_s(edge.wrapped):
            continue
        curve = BRepAdaptor_Curve(edge.wrapped)
        spread = GCPnts_QuasiUniformAbscissa(curve, _ALONG)
        row = np.array([xyz(curve.Value(spread.Parameter(k + 1))) for k in range(spread.NbPoints())])
        points.append(row)
        step = max(step, float(np.linalg.norm(np.diff(row, axis=0), axis=1).max(initial=0.0)))
    return np.concatenate(points), step


SMOOTH = 1e-4
"""Sine of the angle below which two faces count as running into each other smoothly."""
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
    """Return the edges of a solid that stick out.

    Parameters
    ----------
    table : BrepTable

    Returns
    -------
    tuple of Curve
        Of edges with a face on either side; seams and inside corners are left out.
    """
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
    """Lay out a face in lines of parameters, closer where its spline has more pieces.

    Parameters
    ----------
    row : FaceRow

    Returns
    -------
    Smooth
    """
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


def _lines(adaptor: BRepAdaptor_Surface, parameter: str) -> int:
    """Return how many lines of parameters a face is laid out in, one way."""
    spline = adaptor.GetType() == GeomAbs_SurfaceType.GeomAbs_BSplineSurface
    pieces = getattr(adaptor, f"Nb{parameter}Knots")() - 1 if spline else 1
    return min(max(_FEWEST, _EACH * pieces + 1), _MOST)


def followed_targets(table: BrepTable) -> tuple[Target, ...]:
    """Return every face of a solid as something to come down on.

    Parameters
    ----------
    table : BrepTable

    Returns
    -------
    tuple of Target
        One for each face, in the order of `faces_of`.
    """
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
