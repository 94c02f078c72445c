"""The faces and edges of a solid, each once, in the kernel's order or by place; which solids are copies."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Sequence
from enum import StrEnum
from functools import lru_cache, wraps
from itertools import groupby, pairwise
from typing import Any, TypeVar

import cadquery as cq
import numpy as np
from OCP.BinTools import BinTools
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepGProp import BRepGProp
from OCP.gp import gp_Pnt, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape, TopTools_ListOfShape

from fixturecheck.arrays import Floats
from fixturecheck.kernel.shapes import Edge, Face, Shape, Solid
from fixturecheck.numeric import crossed

T = TypeVar("T")

APART_MM = 1e-6
"""Numbers closer than this are the same one; a STEP round trip moves them by some 1e-14."""


def faces_of(solid: Shape) -> list[Face]:
    """Return the faces of a solid in the kernel's own order, each once.

    The order belongs to the solid's topology, so it is the same in every placed copy.

    Parameters
    ----------
    solid : Shape

    Returns
    -------
    list of Face
    """
    return [cq.Face(f) for f in mapped(solid.wrapped, TopAbs_ShapeEnum.TopAbs_FACE)]


def edges_of(solid: Shape) -> list[Edge]:
    """Return the edges of a solid in the kernel's own order, each once.

    Parameters
    ----------
    solid : Shape

    Returns
    -------
    list of Edge
    """
    return [cq.Edge(e) for e in mapped(solid.wrapped, TopAbs_ShapeEnum.TopAbs_EDGE)]


def face_by_number(shape: Shape) -> Callable[[int], Face]:
    """Return what gives each of `faces_of` a shape by its index; where few are asked for, it costs less.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    callable
        Takes an index in `faces_of` and returns the face.
    """
    find = sub_shapes(shape.wrapped, TopAbs_ShapeEnum.TopAbs_FACE).FindKey
    return lambda index: cq.Face(find(index + 1))


def edge_by_number(shape: Shape) -> Callable[[int], Edge]:
    """Return what gives each of `edges_of` a shape by its index; where few are asked for, it costs less.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    callable
        Takes an index in `edges_of` and returns the edge.
    """
    find = sub_shapes(shape.wrapped, TopAbs_ShapeEnum.TopAbs_EDGE).FindKey
    return lambda index: cq.Edge(find(index + 1))


def mapped(shape: Any, what: Any) -> list[Any]:
    """Return the sub-shapes of one kind of a wrapped shape, each once, in the kernel's order.

    Parameters
    ----------
    shape : TopoDS_Shape
    what : TopAbs_ShapeEnum
        The kind of sub-shape.

    Returns
    -------
    list of TopoDS_Shape
    """
    return listed(sub_shapes(shape, what))


def sub_shapes(shape: Any, what: Any) -> TopTools_IndexedMapOfShape:
    """Return the kernel's map of the sub-shapes of one kind, which numbers them from one.

    Parameters
    ----------
    shape : TopoDS_Shape
    what : TopAbs_ShapeEnum
        The kind of sub-shape.

    Returns
    -------
    TopTools_IndexedMapOfShape
    """
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, what, found)
    return found


def listed(found: TopTools_IndexedMapOfShape) -> list[Any]:
    """Return the shapes of a map in its order.

    Parameters
    ----------
    found : TopTools_IndexedMapOfShape

    Returns
    -------
    list of TopoDS_Shape
    """
    return list(map(found.FindKey, range(1, found.Extent() + 1)))


def members_of(found: TopTools_ListOfShape) -> list[Any]:
    """Return the shapes of a list of the kernel's; its own way through costs a third of a millisecond.

    Parameters
    ----------
    found : TopTools_ListOfShape
        Stays as it is.

    Returns
    -------
    list
        The wrapped shapes in their order.
    """
    left, members = TopTools_ListOfShape(found), []
    while not left.IsEmpty():
        members.append(left.First())
        left.RemoveFirst()
    return members


def xyz(point: Any) -> Floats:
    """Return a kernel point, vector or direction as an array (3,).

    Parameters
    ----------
    point : gp_Pnt, gp_Vec or gp_Dir

    Returns
    -------
    ndarray, shape (3,)
    """
    return np.array(point.Coord())


def window_of(adaptor: Any) -> tuple[float, float, float, float]:
    """Return the parameters that a face takes of its surface: least and greatest u, least and greatest v.

    Parameters
    ----------
    adaptor : BRepAdaptor_Surface

    Returns
    -------
    tuple of float, length 4
    """
    u = adaptor.FirstUParameter(), adaptor.LastUParameter()
    return (*u, adaptor.FirstVParameter(), adaptor.LastVParameter())


def middle_of(adaptor: Any, window: tuple[float, float, float, float]) -> tuple[gp_Pnt, Floats]:
    """Return the point of a surface in the middle of its parameters, and its normal there, of any length.

    Parameters
    ----------
    adaptor : BRepAdaptor_Surface
        The surface of a face.
    window : tuple of float
        Its parameters as `window_of` gives them.

    Returns
    -------
    spot : gp_Pnt
    normal : ndarray, shape (3,)
        Product of the derivatives by u and by v, whichever way the face looks.
    """
    spot, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    adaptor.D1((window[0] + window[1]) / 2, (window[2] + window[3]) / 2, spot, du, dv)
    return spot, crossed(xyz(du), xyz(dv))


@lru_cache(maxsize=256)
def canonical_order(solid: Solid) -> tuple[int, ...]:
    """Return face indices sorted by where the faces are, not by how the file happened to list them.

    A STEP round trip may list the faces in another order; numbers given by this order survive it. Every body
    that is placed asks for its names, so orders are kept.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    tuple of int
        Indices into `faces_of` the solid.
    """
    return tuple(order_by_place(faces_of(solid)))


def one_of_each(solids: Sequence[Solid]) -> list[int]:
    """Return for each solid the index of the first one that is a copy of it, wherever they stand.

    What is true of a shape (closed, valid, planar) needs finding out once for all placed copies. Solids that
    share their topology are copies, and so are those whose geometry is the same to the bit. That is asked
    only of those with the same corners, since writing a solid takes twice as long as reading its corners.

    Parameters
    ----------
    solids : sequence of Solid

    Returns
    -------
    list of int
        Indices into `solids`; a solid that is a copy of none before it has its own.
    """
    nowhere = TopLoc_Location()
    seen = TopTools_IndexedMapOfShape()
    first: list[int] = []
    alike: dict[tuple[Any, ...], list[int]] = {}
    for i, solid in enumerate(solids):
        drawn = solid.wrapped.Located(nowhere)
        if not seen.Contains(drawn):
            seen.Add(drawn)
            corners = corners_in(sub_shapes(drawn, TopAbs_ShapeEnum.TopAbs_VERTEX))
            alike.setdefault(tuple(corners), []).append(len(first))
            first.append(i)
    for drawings in alike.values():
        of_bytes: dict[bytes, int] = {}
        for n in drawings if len(drawings) > 1 else ():
            first[n] = of_bytes.setdefault(_written(seen.FindKey(n + 1)), first[n])
    return [first[seen.FindIndex(s.wrapped.Located(nowhere)) - 1] for s in solids]


def corners_in(vertices: TopTools_IndexedMapOfShape) -> list[tuple[float, float, float]]:
    """Return where the vertices of a map are, in its order.

    Parameters
    ----------
    vertices : TopTools_IndexedMapOfShape
        As `sub_shapes` gives it.

    Returns
    -------
    list of tuple of float
        Coordinates in the frame of the shape that was mapped, mm.
    """
    return [BRep_Tool.Pnt_s(TopoDS.Vertex_s(vertex)).Coord() for vertex in listed(vertices)]


def brep_bytes(solid: Solid) -> bytes:
    """Return a solid as the kernel would write it to a binary file; copies of a drawing have the same.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    bytes
    """
    return _written(solid.wrapped)


def once_per_drawing(most: int) -> Callable[[Callable[[Solid], T]], Callable[[Solid], T]]:
    """Return what makes a function of a solid find its answer once for all copies, and for one drawn again.

    Parameters
    ----------
    most : int
        How many answers are kept; the oldest is forgotten.

    Returns
    -------
    callable
        A decorator of a function that takes one solid.
    """

    def kept(find: Callable[[Solid], T]) -> Callable[[Solid], T]:
        known: dict[bytes, T] = {}

        @wraps(find)
        def recalled(solid: Solid) -> T:
            key = hashlib.sha256(brep_bytes(solid)).digest()
            if key not in known:
                while len(known) >= most:
                    known.pop(next(iter(known)))
                known[key] = find(solid)
            return known[key]

        return recalled

    return kept


def _written(shape: TopoDS_Shape) -> bytes:
    """Return the shape as the kernel would write it to a binary file."""
    stream = io.BytesIO()
    BinTools.Write_s(shape, stream)
    return stream.getvalue()


def order_by_place(faces: Sequence[cq.Face]) -> list[int]:
    """Return the indices of faces sorted by centre, area and type, then by box where these agree.

    Numbers are compared by cluster and not by rounding: two centres at one height stay at one height
    even where that height falls on the boundary between two rounded values.

    Parameters
    ----------
    faces : sequence of Face
        In one frame.

    Returns
    -------
    list of int
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


def solids_of(shape: Shape) -> list[Solid]:
    """Return the solids in a shape in the kernel's own order, each once.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    list of Solid
    """
    return [cq.Solid(s) for s in mapped(shape.wrapped, TopAbs_ShapeEnum.TopAbs_SOLID)]


def is_same(one: Shape, other: Shape) -> bool:
    """Say whether two shapes are one piece of topology at one place, whichever way they run.

    Parameters
    ----------
    one, other : Shape
        Each where it stands.

    Returns
    -------
    bool
    """
    return bool(one.isSame(other))


class ShapeKind(StrEnum):
    """What a shape is."""

    VERTEX = "vertex"
    EDGE = "edge"
    WIRE = "wire"
    FACE = "face"
    SHELL = "shell"
    SOLID = "solid"
    SOLIDS = "compsolid"
    COMPOUND = "compound"


def shape_kind(shape: Shape) -> ShapeKind:
    """Return what a shape is.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    ShapeKind
    """
    return ShapeKind(str(shape.ShapeType()).lower())
