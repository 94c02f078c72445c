"""Edges of a solid that stick out, as curves that can be followed over what they come down on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache, partial

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.GeomAbs import GeomAbs_CurveType

from fixturecheck.kernel.brep.bezier import Pieces, edge_pieces
from fixturecheck.kernel.brep.feature_edges import SMOOTH, edges_with_faces
from fixturecheck.kernel.brep.probe import EdgeProbe, Probe
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Solid

Floats = NDArray[np.float64]
STATIONS = 48


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """An edge that sticks out, in the solid's own frame.

    Parameters
    ----------
    probe : EdgeProbe
    faces : tuple of int
        The two faces that meet in it.
    kind : str
        straight, round (of a circle) or free.
    points, tangents : ndarray, shape (k, 3)
        At even shares of its range, and the derivatives by the share.
    pieces : callable
        Returns it as Bezier pieces, made when first asked for.
    """

    probe: EdgeProbe
    faces: tuple[int, int]
    kind: str
    points: Floats
    tangents: Floats
    pieces: Callable[[], Pieces] = field(repr=False)


def curves_of(solid: Solid, probes: Sequence[Probe]) -> tuple[Curve, ...]:
    """Return the edges of a solid that stick out, with the probes of its faces in their order."""
    faces = faces_of(solid)
    found = []
    for wrapped, ((_, one), (_, other)) in edges_with_faces(solid, faces):
        if one == other:
            continue
        edge = cq.Edge(wrapped)
        probe = EdgeProbe(edge, [probes[one], probes[other]])
        if any(_sticks_out(probe, share) for share in (0.1, 0.5, 0.9)):
            places = [probe.at(float(share)) for share in np.linspace(0.0, 1.0, STATIONS + 1)]
            found.append(
                Curve(
                    probe=probe,
                    faces=(one, other),
                    kind=_kind(edge),
                    points=np.array([p for p, _ in places]),
                    tangents=np.array([t for _, t in places]),
                    pieces=cache(partial(edge_pieces, edge)),
                )
            )
    return tuple(found)


def _sticks_out(probe: EdgeProbe, share: float) -> bool:
    """Whether the material makes a ridge at a place of an edge, and not a seam or an inside corner."""
    leaving, normals = probe.leaving(share), probe.normals(share)
    return bool(float(leaving[1] @ normals[0]) < -SMOOTH)


def _kind(edge: cq.Edge) -> str:
    kind = BRepAdaptor_Curve(edge.wrapped).GetType()
    kinds = {GeomAbs_CurveType.GeomAbs_Line: "straight", GeomAbs_CurveType.GeomAbs_Circle: "round"}
    return kinds.get(kind, "free")
