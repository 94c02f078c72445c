"""Edges of a solid that stick out, as curves that can be followed over what they come down on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, partial

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.bezier import Pieces, edge_pieces
from fixturecheck.kernel.brep.chords import SMOOTH
from fixturecheck.kernel.brep.primitives import CurveKind
from fixturecheck.kernel.brep.probe import EdgeProbe
from fixturecheck.kernel.brep.table import BrepTable
from fixturecheck.kernel.shapes import Edge

STATIONS = 48


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
