"""Selecting faces and edges: by selector, nearest point, shape, plane or neighbours."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any

import cadquery as cq
import numpy as np
from cadquery.selectors import StringSyntaxSelector
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape
from pyparsing import ParseBaseException

from fixturecheck.arrays import Floats
from fixturecheck.errors import KernelError, SetupError
from fixturecheck.kernel.brep.topology import edges_of, faces_of, members_of
from fixturecheck.kernel.measure import (
    box_gap_mm,
    distance,
    face_frame,
    is_flat,
    loose_box,
    normal_at,
    on_face,
)
from fixturecheck.kernel.sample import inside_points
from fixturecheck.kernel.shapes import Box, Face, Solid
from fixturecheck.result.shapes import Vector

_MOST_POINTS, _MOST_SOLIDS = 2048, 64
"""How many answers are kept, and boxes of solids: the copies of a gang ask the same of one solid."""


def flush_faces(inner: Solid, outer: Solid) -> list[Face]:
    """Return the flat faces of a solid set in another that show on the other's surface.

    Parameters
    ----------
    inner, outer : Solid
        In one frame; the inner one lies within the outer one.

    Returns
    -------
    list of Face
        Faces of `inner` whose middle lies on a flat face of `outer` that looks the same way.
    """
    outer_faces = [(face, *face_frame(face)) for face in faces_of(outer)]
    seen = []
    for face in faces_of(inner):
        middle, normal, flat = face_frame(face)
        on = (
            one
            for one, _, facing, is_flat in outer_faces
            if is_flat and float(normal @ facing) > 1.0 - 1e-9 and on_face(middle, one, NEARLY_MM)
        )
        if flat and next(on, None) is not None:
            seen.append(face)
    return seen


def joining(solid: Solid, some: Iterable[Face], others: Iterable[Face]) -> list[Face]:
    """Return the faces of a solid that share an edge with one of `some` and one of `others`.

    Parameters
    ----------
    solid : Solid
    some, others : iterable of Face
        Faces of the solid.

    Returns
    -------
    list of Face
        Each once, and none that was given.
    """
    owners = TopTools_IndexedDataMapOfShapeListOfShape()
    edge, face = TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_FACE
    TopExp.MapShapesAndAncestors_s(solid.wrapped, edge, face, owners)

    def beside(given: Iterable[Face]) -> list[Face]:
        mine = list(given)
        found = [
            cq.Face(owner)
            for f in mine
            for e in edges_of(f)
            for owner in members_of(owners.FindFromKey(e.wrapped))
        ]
        return [f for f in found if not any(f.isSame(g) for g in mine)]

    far_side = beside(others)
    both: list[Face] = []
    for face_ in beside(some):
        if any(face_.isSame(g) for g in far_side) and not any(face_.isSame(g) for g in both):
            both.append(face_)
    return both


_ON_MM = 1e-5


def same_faces(before: Sequence[Face], after: Sequence[Face]) -> list[int | None]:
    """Return for each face of a changed solid the old face that it goes on from; None for a new one.

    It is a piece of the old face, or the old face is a piece of it where the change made it larger.

    Parameters
    ----------
    before, after : sequence of Face
        All faces of the solid before and after the change, in one frame.

    Returns
    -------
    list of int or None
        Indices into `before`, one for each of `after`; the first where several go on in one.
    """
    old_points = [inside_points(face, 1)[0] for face in before]
    found: list[int | None] = []
    for face in after:
        point = inside_points(face, 1)[0]
        near = [
            i
            for i, old in enumerate(before)
            if old.geomType() == face.geomType()
            and (_goes_on(point, face, old) or _goes_on(old_points[i], old, face))
        ]
        found.append(near[0] if near else None)
    return found


def _goes_on(point: Floats, face: Face, other: Face) -> bool:
    """Tell whether a point of a face lies on another one that looks the same way there."""
    spot = cq.Vertex.makeVertex(*point.tolist())
    if distance(spot, other)[0] > _ON_MM:
        return False
    return float(normal_at(other, point) @ normal_at(face, point)) > 1 - 1e-6


def nearest_edge(solid: Solid, point: Sequence[float]) -> int:
    """Return the edge whose middle is nearest to a point, which is the one CadQuery's selector picks.

    Parameters
    ----------
    solid : Solid
    point : sequence of float, length 3
        mm, in the frame of the solid.

    Returns
    -------
    int
        Index into `edges_of(solid)`.
    """
    middles = np.array([e.Center().toTuple() for e in edges_of(solid)])
    return int(np.argmin(np.linalg.norm(middles - np.array(point), axis=1)))


NEARLY_MM = 1e-6
"""Two faces whose distances from a point differ by less than this are equally near."""


_SAME_REL = 1e-6
"""Relative difference of area, and of centre over the face's size, below which two faces are one."""


# What the selector grammar and its evaluation raise on a string that means nothing.
_BAD_SELECTOR = (
    ParseBaseException, ValueError, KeyError, IndexError, TypeError, AttributeError, RecursionError,
)  # fmt: skip


_MOST_SELECTOR = 300
"""Letters of a selector; its grammar takes time that grows with how deep brackets nest."""


_MOST_BRACKETS = 12


def by_selector(solid: Solid, selector: str) -> tuple[int, ...]:
    """Find the faces that a CadQuery selector string picks.

    Parameters
    ----------
    solid : Solid
        The solid in its own frame; directions of the selector are in that frame.
    selector : str
        A CadQuery selector: `>Z`, `|Y and (not <X)`, `%CYLINDER`.

    Returns
    -------
    tuple of int
        Indices into `faces_of(solid)`, ascending; at least one.

    Raises
    ------
    SetupError
        The string does not parse, or no face matches it.
    """
    if len(selector) > _MOST_SELECTOR or selector.count("(") > _MOST_BRACKETS:
        raise SetupError(
            f"a selector of {len(selector)} letters with {selector.count('(')} brackets is not read; state "
            f"at most {_MOST_SELECTOR} letters and {_MOST_BRACKETS} brackets, or a list of selectors"
        )
    faces = faces_of(solid)
    try:
        picked = StringSyntaxSelector(selector).filter(list(faces))
    except _BAD_SELECTOR as reason:
        raise SetupError(
            f"selector {selector!r} does not parse ({reason}); write it like '>Z' or '|Y'"
        ) from reason
    indices = tuple(i for i, face in enumerate(faces) if any(face.isSame(p) for p in picked))
    if not indices:
        raise SetupError(
            f"selector {selector!r} matches none of the {len(faces)} faces; check its direction and type"
        )
    return indices


@lru_cache(maxsize=_MOST_POINTS)
def by_point(solid: Solid, point: Vector) -> tuple[int, ...]:
    """Find the one face nearest to a point.

    Parameters
    ----------
    solid : Solid
        The solid in its own frame.
    point : Vector
        A point in the same frame, mm; on the face or near it, and away from its edges.

    Returns
    -------
    tuple of int
        One index into `faces_of(solid)`.

    Raises
    ------
    SetupError
        The point is not finite, or two faces are equally near to it.
    """
    x, y, z = point
    where = f"({x:g}, {y:g}, {z:g})"
    if not all(math.isfinite(v) for v in point):
        raise SetupError(f"point {where} must be three finite numbers in mm")
    faces = faces_of(solid)
    try:
        distances_mm = _nearest_of(solid, point, faces)
    except Exception as reason:  # the kernel's exceptions share no base class
        raise KernelError(
            f"the kernel could not measure the faces' distances from point {where}: {reason}"
        ) from reason
    order = sorted(distances_mm, key=lambda i: (distances_mm[i], i))
    if len(order) > 1 and distances_mm[order[1]] - distances_mm[order[0]] < NEARLY_MM:
        names = " and ".join(_describe(faces[i]) for i in order[:2])
        raise SetupError(
            f"point {where} is equally near to {names}, {distances_mm[order[0]]:g} mm from both; "
            "move it off their common edge, onto the face that is meant"
        )
    return (order[0],)


def _nearest_of(solid: Solid, point: Vector, faces: Sequence[Face]) -> dict[int, float]:
    """Return how far faces are from a point, mm, by number: of all that may be one of the two nearest."""
    vertex = cq.Vertex.makeVertex(*point)
    least_mm = [box_gap_mm((*point, *point), box) for box in _face_boxes(solid)]
    found: dict[int, float] = {}
    for i in sorted(range(len(faces)), key=least_mm.__getitem__):
        # No face is nearer than its box.
        if len(found) > 1 and least_mm[i] > sorted(found.values())[1]:
            break
        found[i] = distance(vertex, faces[i])[0]
    return found


@lru_cache(maxsize=_MOST_SOLIDS)
def _face_boxes(solid: Solid) -> tuple[Box, ...]:
    """Return a box round each face of a solid."""
    return tuple(loose_box(face) for face in faces_of(solid))


def by_shape(solid: Solid, shape: object) -> tuple[int, ...]:
    """Find the faces of a solid that somebody holds as CadQuery objects.

    A face of this very solid is found by identity; a face of a copy by where it is, its area and type.

    Parameters
    ----------
    solid : Solid
        The solid in its own frame.
    shape : cadquery.Face, cadquery.Workplane, or iterable of these
        The faces meant, in the solid's own frame.

    Returns
    -------
    tuple of int
        Indices into `faces_of(solid)`, ascending, each once.

    Raises
    ------
    SetupError
        Something given is not a face, or is no face of the solid, or fits more than one.
    """
    wanted = list(_faces_in(shape))
    if not wanted:
        raise SetupError("no faces were given to pick; select some, for instance with .faces('>Z')")
    faces = faces_of(solid)
    return tuple(sorted({_index_of(face, faces) for face in wanted}))


def by_plane(solid: Solid, normal: Vector, through: Vector) -> tuple[int, ...]:
    """Find the plane faces that look one way and lie in one plane.

    Parameters
    ----------
    solid : Solid
        The solid in its own frame.
    normal : Vector
        The way the faces look, out of the solid; any length.
    through : Vector
        A point of their plane, mm.

    Returns
    -------
    tuple of int
        Indices into `faces_of(solid)`, ascending; empty when there is none.
    """
    unit = cq.Vector(*normal).normalized()
    point = cq.Vector(*through)

    def lies_in_it(face: Face) -> bool:
        looks_there = is_flat(face) and (face.normalAt() - unit).Length < _SAME_REL
        return bool(looks_there and abs((face.Center() - point).dot(unit)) < NEARLY_MM)

    return tuple(i for i, face in enumerate(faces_of(solid)) if lies_in_it(face))


def _describe(face: Face) -> str:
    """Say which face is meant, for a message: type, area and centre."""
    c = face.Center()
    return f"the {face.geomType().lower()} face of {face.Area():.3g} mm² at ({c.x:.3f}, {c.y:.3f}, {c.z:.3f})"


def _faces_in(shape: object) -> Iterable[Face]:
    """Yield the faces in a face, a workplane, a compound of faces or a list of these."""
    if isinstance(shape, cq.Face):
        yield shape
    elif isinstance(shape, cq.Workplane):
        yield from _faces_in(shape.vals())
    elif isinstance(shape, cq.Shape) and shape.ShapeType() in {"Compound", "Shell"}:
        yield from faces_of(shape)
    elif isinstance(shape, Iterable) and not isinstance(shape, str | cq.Shape):
        for item in shape:
            yield from _faces_in(item)
    else:
        kind = shape.ShapeType() if isinstance(shape, cq.Shape) else type(shape).__name__
        raise SetupError(
            f"a face was expected, got {kind}; give a selector as text, '>Z', a point near it, (0, 0, 5), or "
            "faces, as of .faces('>Z')"
        )


def _index_of(wanted: Face, faces: list[Face]) -> int:
    """Return the place of one face in the list: the same one, else the one that fills the same place."""
    same = [i for i, face in enumerate(faces) if face.isSame(wanted)]
    if not same:
        key = _key(wanted)
        same = [i for i, face in enumerate(faces) if _alike(key, _key(face))]
    if len(same) != 1:
        fits = f"fits {len(same)} faces" if same else "is no face"
        raise SetupError(
            f"{_describe(wanted)} {fits} of the solid; pick it on the solid itself, in its own frame"
        )
    return same[0]


def _key(face: Face) -> tuple[str, float, Any]:
    """Return type, area and centre of a face."""
    return face.geomType(), face.Area(), face.Center()


def _alike(a: tuple[str, float, Any], b: tuple[str, float, Any]) -> bool:
    """Say whether two faces, as their keys, fill the same place."""
    size_mm = max(a[1], b[1]) ** 0.5
    near = (a[2] - b[2]).Length <= _SAME_REL * max(size_mm, 1.0)
    return a[0] == b[0] and near and abs(a[1] - b[1]) <= _SAME_REL * max(a[1], b[1])
