"""Puts faces in an order that depends on where they are only, whatever order a file lists them in."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise
from typing import Any

import cadquery as cq
from OCP.Bnd import Bnd_Box
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps

APART_MM = 1e-6
"""Numbers closer than this are the same one; a STEP round trip moves them by some 1e-14."""


def order_by_place(faces: Sequence[cq.Face]) -> list[int]:
    """Return the indices of faces sorted by centre, area and type, then by box where these agree.

    Numbers are compared by cluster and not by rounding: two centres at one height stay at one height
    even where that height falls on the boundary between two rounded values.
    """
    keys = _ranked([(*_centre_and_area(face), face.geomType()) for face in faces])
    order = sorted(range(len(faces)), key=keys.__getitem__)
    result: list[int] = []
    for _, tied in groupby(order, key=keys.__getitem__):
        group = list(tied)
        if len(group) > 1:
            boxes = _ranked([_box(faces[i]) for i in group])
            group = [i for _, i in sorted(zip(boxes, group, strict=True))]
        result += group
    return result


def _ranked(rows: Sequence[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Replace every number by the rank of its cluster among the numbers of its column."""
    columns = zip(*rows, strict=True)
    ranked = [_ranks(column) if isinstance(column[0], float) else column for column in columns]
    return list(zip(*ranked, strict=True))


def _ranks(column: Sequence[float]) -> list[int]:
    ranks = [0] * len(column)
    rank = 0
    order = sorted(range(len(column)), key=column.__getitem__)
    for before, i in pairwise(order):
        rank += column[i] - column[before] > APART_MM
        ranks[i] = rank
    return ranks


def _centre_and_area(face: cq.Face) -> tuple[float, float, float, float]:
    properties = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face.wrapped, properties)
    centre = properties.CentreOfMass()
    return centre.X(), centre.Y(), centre.Z(), properties.Mass()


def _box(face: cq.Face) -> tuple[float, ...]:
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(face.wrapped, box, False, False)
    return tuple(box.Get())
