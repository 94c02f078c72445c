"""Faces and edges as rational Bezier pieces, whose control points hold them in their hull."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

import cadquery as cq
import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepTools import BRepTools
from OCP.GCPnts import GCPnts_QuasiUniformAbscissa
from OCP.Geom import Geom_BSplineSurface, Geom_RectangularTrimmedSurface, Geom_TrimmedCurve
from OCP.GeomConvert import (
    GeomConvert,
    GeomConvert_BSplineCurveToBezierCurve,
    GeomConvert_BSplineSurfaceToBezierSurface,
)
from OCP.TopAbs import TopAbs_Orientation

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.probe import Probe
from fixturecheck.kernel.brep.topology import edges_of, xyz
from fixturecheck.kernel.shapes import Face

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
    """Return a face's surface over the range of its parameters; exact but for offset surfaces (1e-4 mm)."""
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
    """Return an edge's curve over its range."""
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
