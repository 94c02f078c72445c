"""Faces and edges of the kernel, ready to be asked often at single places."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cadquery as cq
import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Curve2d, BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
from OCP.BRepTools import BRepTools
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.gp import gp_Pnt, gp_Pnt2d, gp_Vec
from OCP.ShapeAnalysis import ShapeAnalysis_Surface
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum, TopAbs_State
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from fixturecheck.arrays import Floats
from fixturecheck.kernel.shapes import Edge, Face
from fixturecheck.numeric import crossed

# By the kernel's own number: its enumerations are slow to look up and to compare.
REVERSED = int(TopAbs_Orientation.TopAbs_REVERSED)
_MM = 1e-7
_NO_NORMAL = 1e-12
_HAIR = 1e-6


class Probe:
    """One face, ready to be asked often.

    Attributes
    ----------
    face : Face
    """

    def __init__(self, face: Face) -> None:
        self.face = face
        self._wrapped = TopoDS.Face_s(face.wrapped)
        self._adaptor = BRepAdaptor_Surface(self._wrapped, False)
        self._flip = -1.0 if self._wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0

    # Most faces are asked for normals only, and these take longer to make than a normal does.
    @cached_property
    def _surface(self) -> ShapeAnalysis_Surface:
        return ShapeAnalysis_Surface(BRep_Tool.Surface_s(self._wrapped))

    @cached_property
    def _outline(self) -> BRepTopAdaptor_FClass2d:
        return BRepTopAdaptor_FClass2d(self._wrapped, 1e-9)

    @cached_property
    def _middle(self) -> tuple[float, float]:
        u0, u1, v0, v1 = BRepTools.UVBounds_s(self._wrapped)
        return (u0 + u1) / 2, (v0 + v1) / 2

    def at(self, uv: tuple[float, float]) -> tuple[Floats, Floats]:
        """Return the point at surface parameters and the outward unit normal there.

        At a pole, where one parameter goes round nothing, it is that of a place a hair towards the middle.
        """
        u, v = uv
        point, normal, size = self._raw(u, v)
        if size <= _NO_NORMAL:
            _, normal, size = self._raw(
                *(p + _HAIR * (m - p) for p, m in zip((u, v), self._middle, strict=True))
            )
        return point, normal / max(size, 1e-300) * self._flip

    def _raw(self, u: float, v: float) -> tuple[Floats, Floats, float]:
        """Return the point at parameters, the vector product of its derivatives, and its length."""
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        self._adaptor.D1(u, v, point, du, dv)
        x, y, z = du.Coord()
        p, q, r = dv.Coord()
        normal = (y * r - z * q, z * p - x * r, x * q - y * p)
        size = math.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
        return np.array(point.Coord()), np.array(normal), size

    def tangents(self, uv: tuple[float, float]) -> tuple[Floats, Floats]:
        """Return the point at surface parameters and its derivatives by u and by v, shape (2, 3)."""
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        self._adaptor.D1(*uv, point, du, dv)
        return np.array(point.Coord()), np.array((du.Coord(), dv.Coord()))

    def inside(self, uv: tuple[float, float]) -> bool:
        """Whether parameters lie within the face's outline, its border included."""
        return bool(self._outline.Perform(gp_Pnt2d(*uv)) != TopAbs_State.TopAbs_OUT)

    def gap(self, point: Floats) -> tuple[float, Floats, bool]:
        """Return how far a point is outside the face's surface, and the outward normal at its foot.

        Returns
        -------
        gap_mm : float
            Along the normal at the foot; negative behind the face.
        normal : ndarray, shape (3,)
        inside : bool
            Whether the foot lies within the face's outline.
        """
        foot = self._surface.ValueOfUV(gp_Pnt(*point.tolist()), _MM)
        spot, normal = self.at((foot.X(), foot.Y()))
        away = point - spot
        # The length of the way, not its share along the normal: at a tip the normal is that of one side only.
        gap = math.copysign(float(np.linalg.norm(away)), float(away @ normal))
        return gap, normal, self.inside((foot.X(), foot.Y()))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeSide:
    """An edge as it runs round one of the faces beside it.

    Parameters
    ----------
    flat : BRepAdaptor_Curve2d
        The edge in the face's parameters.
    face : Probe
    sign : int
        +1 where the face lies left of the edge as it runs, -1 where right.
    """

    flat: BRepAdaptor_Curve2d
    face: Probe
    sign: int

    def normal(self, parameter: float) -> Floats:
        """Return the outward unit normal of the face at a parameter of the edge."""
        spot = self.flat.Value(parameter)
        return self.face.at((spot.X(), spot.Y()))[1]

    def into(self, normal: Floats, along: Floats) -> Floats:
        """Return the unit direction into the face where it has a normal, square to a way along the edge.

        Parameters
        ----------
        normal : ndarray, shape (3,)
            Outward normal of the face at a place of the edge.
        along : ndarray, shape (3,)
            Way of the edge there, as its curve runs; of any length.

        Returns
        -------
        ndarray, shape (3,)
            Zero where the two are parallel.
        """
        into = crossed(normal, along) * self.sign
        return np.asarray(into / max(float(np.linalg.norm(into)), 1e-300))


class EdgeProbe:
    """One edge, ready to be asked often: its points, the way it runs, and the faces that leave it.

    Places of it are shares of its range of parameters.

    Parameters
    ----------
    edge : Edge
    sides : sequence of EdgeSide
        The faces that meet in the edge; empty where only the curve is needed.
    """

    def __init__(self, edge: Edge, sides: Sequence[EdgeSide] = ()) -> None:
        self._edge = edge
        self._curve = BRepAdaptor_Curve(edge.wrapped)
        self._first = float(self._curve.FirstParameter())
        self._range = float(self._curve.LastParameter()) - self._first
        self.sides = tuple(sides)

    def at(self, share: float) -> tuple[Floats, Floats]:
        """Return the point at a share of the range, and the derivative by the share there."""
        point, along = gp_Pnt(), gp_Vec()
        self._curve.D1(self._first + share * self._range, point, along)
        return np.array(point.Coord()), self._range * np.array(along.Coord())

    def derivative(self, parameter: float) -> Floats:
        """Return the derivative at a parameter of the curve itself."""
        point, along = gp_Pnt(), gp_Vec()
        self._curve.D1(parameter, point, along)
        return np.array(along.Coord())

    def leaving(self, share: float) -> Floats:
        """Return the unit directions into the faces beside the edge, square to it, shape (n, 3)."""
        at, along = self._first + share * self._range, self.at(share)[1]
        return np.array([side.into(side.normal(at), along) for side in self.sides]).reshape(-1, 3)

    def normals(self, share: float) -> Floats:
        """Return the outward normals of the faces beside the edge, shape (n, 3)."""
        at = self._first + share * self._range
        return np.array([side.normal(at) for side in self.sides]).reshape(-1, 3)

    def length_mm(self, low_share: float, high_share: float) -> float:
        """Return the length between two shares of the range.

        Parameters
        ----------
        low_share, high_share : float
            Of the range of parameters, 0 to 1; the lower one first.

        Returns
        -------
        float
            mm.
        """
        low, high = (self._first + share * self._range for share in (low_share, high_share))
        return float(GCPnts_AbscissaPoint.Length_s(self._curve, low, high, _MM))

    def part(self, low_share: float, high_share: float) -> Edge:
        """Return the piece between two shares of the range.

        Parameters
        ----------
        low_share, high_share : float
            Of the range of parameters, 0 to 1; the lower one first.

        Returns
        -------
        Edge
            The edge itself for 0 and 1.
        """
        if (low_share, high_share) == (0.0, 1.0):
            return self._edge
        curve = BRep_Tool.Curve_s(TopoDS.Edge_s(self._edge.wrapped), 0.0, 1.0)
        low, high = (self._first + share * self._range for share in (low_share, high_share))
        return cq.Edge(BRepBuilderAPI_MakeEdge(curve, low, high).Edge())


def sides_of(edge: Edge, faces: Sequence[Probe]) -> Iterator[EdgeSide]:
    """Yield an edge as it runs round each of some faces that it bounds, a seam twice.

    Parameters
    ----------
    edge : Edge
    faces : sequence of Probe
        Those that the edge does not bound yield nothing.

    Yields
    ------
    EdgeSide
        In the order of the faces.
    """
    for face in faces:
        walk = TopExp_Explorer(face.face.wrapped, TopAbs_ShapeEnum.TopAbs_EDGE)
        while walk.More():
            side = TopoDS.Edge_s(walk.Current())
            if side.IsSame(edge.wrapped):
                yield edge_side(side, face)
            walk.Next()


def edge_side(edge: Any, face: Probe) -> EdgeSide:
    """Return a wrapped edge, directed as it runs round a face, as a side of that face.

    Parameters
    ----------
    edge : TopoDS_Edge
        With its orientation in the face.
    face : Probe
        The face that it bounds.

    Returns
    -------
    EdgeSide
    """
    flat = BRepAdaptor_Curve2d(TopoDS.Edge_s(edge), TopoDS.Face_s(face.face.wrapped))
    return EdgeSide(flat=flat, face=face, sign=_run_of(edge))


def _run_of(edge: Any) -> int:
    """Return +1 where a face lies left of an edge that is directed as it runs round it, -1 where right."""
    return -1 if int(edge.Orientation()) == REVERSED else 1
