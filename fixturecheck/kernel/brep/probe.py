"""Faces and edges asked at single places: points and normals there, and how far a point is from a face."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
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

from fixturecheck.kernel.shapes import Edge, Face

Array = NDArray[np.float64]
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
        wrapped = TopoDS.Face_s(face.wrapped)
        self.face = face
        self._adaptor = BRepAdaptor_Surface(wrapped, False)
        self._surface = ShapeAnalysis_Surface(BRep_Tool.Surface_s(wrapped))
        self._outline = BRepTopAdaptor_FClass2d(wrapped, 1e-9)
        u0, u1, v0, v1 = BRepTools.UVBounds_s(wrapped)
        self._middle = (u0 + u1) / 2, (v0 + v1) / 2
        self._flip = -1.0 if wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0

    def at(self, uv: tuple[float, float]) -> tuple[Array, Array]:
        """Return the point at surface parameters and the outward unit normal there.

        At a pole, where one parameter goes round nothing, it is that of a place a hair towards the middle.
        """
        u, v = uv
        point, normal, size = self._raw(u, v)
        if size <= _NO_NORMAL:
            _, normal, size = self._raw(
                *(p + _HAIR * (m - p) for p, m in zip((u, v), self._middle, strict=True))
            )
        return point, self._flip / max(size, 1e-300) * normal

    def _raw(self, u: float, v: float) -> tuple[Array, Array, float]:
        """Return the point at parameters, the vector product of its derivatives, and its length."""
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        self._adaptor.D1(u, v, point, du, dv)
        x, y, z = du.Coord()
        p, q, r = dv.Coord()
        normal = (y * r - z * q, z * p - x * r, x * q - y * p)
        size = math.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
        return np.array(point.Coord()), np.array(normal), size

    def tangents(self, uv: tuple[float, float]) -> tuple[Array, Array]:
        """Return the point at surface parameters and its derivatives by u and by v, shape (2, 3)."""
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        self._adaptor.D1(*uv, point, du, dv)
        return np.array(point.Coord()), np.array((du.Coord(), dv.Coord()))

    def inside(self, uv: tuple[float, float]) -> bool:
        """Whether parameters lie within the face's outline, its border included."""
        return bool(self._outline.Perform(gp_Pnt2d(*uv)) != TopAbs_State.TopAbs_OUT)

    def gap(self, point: Array) -> tuple[float, Array, bool]:
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


class EdgeProbe:
    """One edge, ready to be asked often: its points, the way it runs, and the faces that leave it.

    Places of it are shares of its range of parameters.

    Parameters
    ----------
    edge : Edge
    faces : sequence of Probe
        The faces that meet in the edge; none where nobody asks what leaves it.
    """

    def __init__(self, edge: Edge, faces: Sequence[Probe]) -> None:
        self._edge = edge
        self._curve = BRepAdaptor_Curve(edge.wrapped)
        self._first = float(self._curve.FirstParameter())
        self._range = float(self._curve.LastParameter()) - self._first
        self._sides = [side for face in faces for side in _sides(edge, face)]

    def at(self, share: float) -> tuple[Array, Array]:
        """Return the point at a share of the range, and the derivative by the share there."""
        point, along = gp_Pnt(), gp_Vec()
        self._curve.D1(self._first + share * self._range, point, along)
        return np.array(point.Coord()), self._range * np.array(along.Coord())

    def leaving(self, share: float) -> Array:
        """Return the unit directions into the faces beside the edge, square to it, shape (n, 3)."""
        along = self.at(share)[1]
        rows = []
        for flat, probe, sign in self._sides:
            spot = flat.Value(self._first + share * self._range)
            into = np.cross(probe.at((spot.X(), spot.Y()))[1], along) * sign
            rows.append(into / max(float(np.linalg.norm(into)), 1e-300))
        return np.array(rows).reshape(-1, 3)

    def normals(self, share: float) -> Array:
        """Return the outward normals of the faces beside the edge, shape (n, 3)."""
        spots = [(probe, flat.Value(self._first + share * self._range)) for flat, probe, _ in self._sides]
        return np.array([probe.at((spot.X(), spot.Y()))[1] for probe, spot in spots]).reshape(-1, 3)

    def length_mm(self, low_share: float, high_share: float) -> float:
        """Return the length between two shares of the range."""
        low, high = (self._first + share * self._range for share in (low_share, high_share))
        return float(GCPnts_AbscissaPoint.Length_s(self._curve, low, high, _MM))

    def part(self, low_share: float, high_share: float) -> Edge:
        """Return the piece between two shares of the range."""
        if (low_share, high_share) == (0.0, 1.0):
            return self._edge
        curve = BRep_Tool.Curve_s(TopoDS.Edge_s(self._edge.wrapped), 0.0, 1.0)
        low, high = (self._first + share * self._range for share in (low_share, high_share))
        return cq.Edge(BRepBuilderAPI_MakeEdge(curve, low, high).Edge())


def _sides(edge: Edge, face: Probe) -> Iterator[tuple[BRepAdaptor_Curve2d, Probe, float]]:
    """Yield the edge in a face's parameters, the face, and +1 where the face lies left of it, else -1."""
    walk = TopExp_Explorer(face.face.wrapped, TopAbs_ShapeEnum.TopAbs_EDGE)
    while walk.More():
        side = TopoDS.Edge_s(walk.Current())
        if side.IsSame(edge.wrapped):
            sign = -1.0 if side.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0
            yield BRepAdaptor_Curve2d(side, TopoDS.Face_s(face.face.wrapped)), face, sign
        walk.Next()
