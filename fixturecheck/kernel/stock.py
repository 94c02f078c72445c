"""A part before it was cut: faces put back by their stock, features closed, and faces found again afterwards.

The kernel reports success where it has done nothing, or moved a neighbour as well. So a change counts only
where volumes, and the faces that must be there afterwards, say so.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import cadquery as cq
import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAlgoAPI import BRepAlgoAPI_Defeaturing
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
from OCP.BRepOffset import BRepOffset_MakeOffset, BRepOffset_Mode
from OCP.BRepOffsetAPI import BRepOffsetAPI_MakePipeShell
from OCP.GeomAbs import GeomAbs_JoinType
from OCP.gp import gp_Dir
from OCP.Standard import Standard_Failure
from OCP.StdFail import StdFail_NotDone
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape, TopTools_IndexedMapOfShape

from fixturecheck.arrays import Floats
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.kernel.boolean import split, united
from fixturecheck.kernel.brep.topology import edges_of, faces_of, members_of, solids_of
from fixturecheck.kernel.construct import oriented_box, thickened
from fixturecheck.kernel.measure import (
    box_gap_mm,
    distance,
    edge_ends,
    edge_length_mm,
    edge_middle,
    is_flat,
    is_straight,
    loose_box,
    normal_at,
    on_face,
    tangent_at,
)
from fixturecheck.kernel.sample import inside_points
from fixturecheck.kernel.shapes import Box, Edge, Face, Shape, Solid

_ON_MM = 1e-5
"""A point this near a face lies on it."""

_SAME_PLACE_MM = 1e-6
"""An edge shorter than that is a point."""

_SAME_WAY = 1e-6
"""One less the cosine of directions that count as one: 1.4 mrad."""

_SMOOTH = 1e-4
"""One less the cosine of the turn of an edge that counts as smooth: 0.8 degrees."""

_SUM_SHARE = 1e-6
"""How much of a volume a sum of volumes may miss it by."""

_OFFSET_MM = 1e-4
_STEP_MM = 1e-3
_TRIED_POINTS = 5

_FAILS = (StdFail_NotDone, Standard_Failure, ValueError, KernelError, NotComputedError)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RimEdge:
    """An edge of a solid between two faces.

    Parameters
    ----------
    edge : Edge
        The edge.
    faces : tuple of int
        The two faces that meet in it, as indices into `faces_of(solid)`; one face twice along a seam.
    smooth : bool
        Whether the faces run into each other without a corner.
    convex : bool
        Whether material lies inside the corner, as on the outside of a block; False where it is smooth.
    """

    edge: Edge
    faces: tuple[int, int]
    smooth: bool
    convex: bool


def rims(solid: Solid, faces: Collection[int]) -> list[RimEdge]:
    """Return the edges of some faces of a solid, with the face on either side.

    Parameters
    ----------
    solid : Solid
    faces : collection of int
        Indices into `faces_of(solid)`.

    Returns
    -------
    list of RimEdge
    """
    wanted = set(faces)
    return [rim for rim in _all_rims(solid) if not wanted.isdisjoint(rim.faces)]


@lru_cache(maxsize=64)
def _all_rims(solid: Solid) -> tuple[RimEdge, ...]:
    """Return every edge of a solid with the face on either side."""
    all_faces = faces_of(solid)
    places = TopTools_IndexedMapOfShape()
    for face in all_faces:
        places.Add(face.wrapped)
    owners = TopTools_IndexedDataMapOfShapeListOfShape()
    edge_kind, face_kind = TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_FACE
    TopExp.MapShapesAndAncestors_s(solid.wrapped, edge_kind, face_kind, owners)
    found = []
    for edge in edges_of(solid):
        # Of an edge shorter than any place is known by, no corner can be told.
        if edge_length_mm(edge) < _SAME_PLACE_MM:
            continue
        numbers = [places.FindIndex(one) - 1 for one in members_of(owners.FindFromKey(edge.wrapped))]
        a, b = (numbers[0], numbers[-1])
        if a == b:
            found.append(RimEdge(edge=edge, faces=(a, b), smooth=True, convex=False))
            continue
        smooth, convex = _turn(edge, all_faces[a], all_faces[b])
        found.append(RimEdge(edge=edge, faces=(a, b), smooth=smooth, convex=convex))
    return tuple(found)


def _turn(edge: Edge, a: Face, b: Face) -> tuple[bool, bool]:
    """Tell whether two faces meet smoothly in the middle of their edge, else whether its corner is convex."""
    middle = edge_middle(edge)
    normal_a, normal_b = normal_at(a, middle), normal_at(b, middle)
    if 1.0 - float(normal_a @ normal_b) < _SMOOTH:
        return True, False
    into_a = np.cross(normal_a, tangent_at(edge, middle))
    if not on_face(middle + _STEP_MM * into_a, a, 0.1 * _STEP_MM):
        into_a = -into_a
    return False, float(into_a @ normal_b) < 0.0


def smooth_neighbours(solid: Solid, faces: Collection[int]) -> tuple[int, ...]:
    """Return the other faces of a solid that run into some of its faces without a corner, ascending.

    Parameters
    ----------
    solid : Solid
    faces : collection of int
        Indices into `faces_of(solid)`.

    Returns
    -------
    tuple of int
        Indices into `faces_of(solid)`.
    """
    near = {i for rim in rims(solid, faces) if rim.smooth for i in rim.faces}
    return tuple(sorted(near - set(faces)))


def closed(solid: Solid, faces: Collection[int], what: str) -> Solid:
    """Return a solid without some of its faces: holes, slots, pockets and steps filled, rounds made sharp.

    The faces around them are extended until they meet.

    Parameters
    ----------
    solid : Solid
    faces : collection of int
        Indices into `faces_of(solid)`.
    what : str
        Names the faces in the error.

    Returns
    -------
    Solid
        The solid itself for no faces.

    Raises
    ------
    KernelError
        The kernel cannot extend the faces around them, or leaves some of them.
    """
    if not faces:
        return solid
    message = f"{what} cannot be closed: the faces around do not meet when they are extended"
    all_faces = faces_of(solid)
    work = BRepAlgoAPI_Defeaturing()
    work.SetShape(solid.wrapped)
    for i in faces:
        work.AddFaceToRemove(all_faces[i].wrapped)
    try:
        work.Build()
        if not work.IsDone():
            raise KernelError(message)
        left = solids_of(cq.Shape.cast(work.Shape()))
    except (StdFail_NotDone, Standard_Failure, ValueError) as reason:
        raise KernelError(message) from reason
    if len(left) != 1 or not left[0].isValid() or left[0].Volume() <= 0.0:
        raise KernelError(message)
    after = faces_of(left[0])
    if any(one.isSame(all_faces[i]) for i in faces for one in after):
        raise KernelError(message)
    return left[0]


def with_blends(solid: Solid, faces: Collection[int]) -> tuple[int, ...]:
    """Return some faces of a solid and the rounds that run smoothly from one of them to another.

    Parameters
    ----------
    solid : Solid
        The part.
    faces : collection of int
        Indices into `faces_of(solid)`.

    Returns
    -------
    tuple of int
        Ascending. A round counts where two faces beside it do, and so does a corner where rounds meet.
    """
    everything = faces_of(solid)
    beside: dict[int, set[int]] = {}
    for rim in rims(solid, range(len(everything))):
        if rim.smooth and rim.faces[0] != rim.faces[1]:
            for one, other in (rim.faces, rim.faces[::-1]):
                beside.setdefault(one, set()).add(other)
    found, before = set(faces), -1
    while len(found) != before:
        before = len(found)
        found |= {i for i, near in beside.items() if len(near & found) > 1 and not is_flat(everything[i])}
    return tuple(sorted(found))


def grown(solid: Solid, face: int, by_mm: float, what: str) -> Solid:
    """Return a solid with one of its faces moved outward by its stock; the faces around follow it.

    Rounds that run smoothly into the face are taken as made with it: the stock has sharp corners there.
    Where the faces around cannot be extended the stock stands straight up on the face.

    Parameters
    ----------
    solid : Solid
    face : int
        Index into `faces_of(solid)`.
    by_mm : float
        The stock, along the face's outward normal.
    what : str
        Names the face in the error.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        Neither way gives a valid solid that holds the old one.
    """
    sharp, place = _without_rounds(solid, face, what)
    for start, at in ((sharp, place), (solid, face)):
        for way in (_offset, _straight):
            try:
                made = way(start, at, by_mm)
                if _is_grown(start, made, at, by_mm, straight=way is _straight):
                    return _holding(solid, made, start is not solid, what)
            except _FAILS:
                continue
    raise KernelError(f"{what} cannot be put back by {by_mm:g} mm")


def _without_rounds(solid: Solid, face: int, what: str) -> tuple[Solid, int]:
    """Return a solid without the rounds beside a face, and the face there; as it is where that fails."""
    rounds = [i for i in smooth_neighbours(solid, [face]) if not is_flat(faces_of(solid)[i])]
    if not rounds:
        return solid, face
    try:
        sharp = closed(solid, rounds, what)
    except KernelError:
        return solid, face
    there = found_again(solid, sharp, {face: 0.0})[face]
    return (sharp, there[0]) if len(there) == 1 else (solid, face)


def _offset(solid: Solid, face: int, by_mm: float) -> Shape:
    """Return the solid with one face moved by the kernel's offset of faces."""
    work = BRepOffset_MakeOffset()
    work.Initialize(
        solid.wrapped,
        0.0,
        _OFFSET_MM,
        BRepOffset_Mode.BRepOffset_Skin,
        True,
        False,
        GeomAbs_JoinType.GeomAbs_Intersection,
        False,
        False,
    )
    work.SetOffsetOnFace(faces_of(solid)[face].wrapped, by_mm)
    work.MakeOffsetShape()
    made = work.Shape() if work.IsDone() else None
    if made is None or made.IsNull():
        raise KernelError("the kernel gives no offset")
    shape = cq.Shape.cast(made)
    return cq.Solid.makeSolid(shape) if shape.ShapeType() == "Shell" else shape


def _straight(solid: Solid, face: int, by_mm: float) -> Shape:
    """Return the solid with its stock standing straight up on a face."""
    return united([solid, thickened(faces_of(solid)[face], by_mm)], "a part and its stock")


def _is_grown(solid: Solid, made: Shape, face: int, by_mm: float, *, straight: bool) -> bool:
    """Tell whether a shape is the solid with one face moved, and nothing else but walls of straight stock."""
    solids = solids_of(made)
    if len(solids) != 1 or not solids[0].isValid() or solids[0].Volume() <= solid.Volume():
        return False
    moved = found_again(solid, solids[0], {face: by_mm})[face]
    if not moved:
        return False
    before = _spots_of(solid)
    for i, one in enumerate(_spots_of(solids[0])):
        if i not in moved and not straight and not _extends(one, before):
            return False
    held_mm3 = split(solids[0], solid, "a part with its stock by the part").taken_mm3
    return bool(held_mm3 >= solid.Volume() * (1.0 - _SUM_SHARE))


def _extends(one: _Spots, before: Sequence[_Spots]) -> bool:
    """Tell whether a face lies on the surface of an old one; of a curved one, whether it touches one."""
    point, normal = one.points[0], one.normals[0]
    if one.flat is None:
        return any(old.flat is None for old in before)
    for old in before:
        if old.flat is not None:
            through, facing = old.flat
            if abs(float((point - through) @ facing)) < _ON_MM and float(facing @ normal) > 1.0 - _SAME_WAY:
                return True
    return False


def _holding(solid: Solid, made: Shape, sharp: bool, what: str) -> Solid:
    """Return what was made, joined with the part where its rounds had been left out."""
    if not sharp:
        return solids_of(made)[0]
    whole = united([solids_of(made)[0], solid], what)
    solids = solids_of(whole)
    if len(solids) != 1 or not solids[0].isValid():
        raise KernelError(f"{what} with its stock is not one piece")
    return solids[0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ridge:
    """A ridge on a face along an edge of it: as wide as it is high, and at least 0.05 mm.

    Parameters
    ----------
    edge : Edge
        A straight edge of any face, or any edge of a flat one.
    face : int
        Index into `faces_of(solid)`.
    high_mm : float
        How high it stands.
    """

    edge: Edge
    face: int
    high_mm: float


_RIDGE_MM = 0.05


def with_ridges(solid: Solid, ridges: Sequence[Ridge], what: str) -> tuple[Solid, list[Ridge]]:
    """Return a solid with ridges on some of its faces, and the ridges that could not be drawn.

    Parameters
    ----------
    solid : Solid
    ridges : sequence of Ridge
        Their faces are indices into `faces_of(solid)`.
    what : str
        Names the ridges in the error.

    Returns
    -------
    solid : Solid
    missed : list of Ridge

    Raises
    ------
    KernelError
        None of them can be joined.
    """
    faces = faces_of(solid)
    made, missed = solid, []
    for ridge in ridges:
        try:
            joint = united([made, _ridge_solid(faces[ridge.face], ridge)], what).Solids()
        except _FAILS:
            joint = []
        if len(joint) == 1 and joint[0].isValid():
            made = joint[0]
        else:
            missed.append(ridge)
    if ridges and made is solid:
        raise KernelError(f"{what} cannot be joined to the part")
    return made, missed


def _ridge_solid(face: Face, ridge: Ridge) -> Solid:
    """Return a ridge on a face; it ends short of the corners, where it would lie on the faces beside."""
    wide_mm = max(ridge.high_mm, _RIDGE_MM)
    long_mm = edge_length_mm(ridge.edge)
    short_mm = min(2.0 * wide_mm, 0.25 * long_mm)
    if is_straight(ridge.edge):
        return _straight_ridge(face, ridge, wide_mm, short_mm)
    if not is_flat(face):
        raise KernelError("a ridge along a round edge of a curved face is not drawn")
    start, end = edge_ends(ridge.edge)
    closed_up = float(np.linalg.norm(end - start)) < _ON_MM
    return _round_ridge(face, ridge, wide_mm, 0.0 if closed_up else short_mm / long_mm)


def _straight_ridge(face: Face, ridge: Ridge, wide_mm: float, short_mm: float) -> Solid:
    """Return a bar on a face along a straight edge."""
    start, end = edge_ends(ridge.edge)
    long_mm = float(np.linalg.norm(end - start))
    along = (end - start) / long_mm
    middle = 0.5 * (start + end)
    normal = normal_at(face, middle)
    inward = _inward(face, middle, along, normal)
    sizes = (long_mm - 2.0 * short_mm, wide_mm, ridge.high_mm)
    return oriented_box(start + short_mm * along, np.array([along, inward, normal]), sizes)


def _round_ridge(face: Face, ridge: Ridge, wide_mm: float, less_share: float) -> Solid:
    """Return a bar swept along a round edge of a flat face, upright all the way."""
    low, high = ridge.edge.bounds()
    cut = less_share * (high - low)
    curve = BRep_Tool.Curve_s(ridge.edge.wrapped, low, high)
    path = cq.Edge(BRepBuilderAPI_MakeEdge(curve, low + cut, high - cut).Edge())
    start = np.array(path.startPoint().toTuple())
    normal = normal_at(face, start)
    inward = _inward(face, start, tangent_at(path, start), normal)
    corners = [start, start + wide_mm * inward]
    corners += [corner + ridge.high_mm * normal for corner in reversed(corners)]
    profile = cq.Wire.makePolygon([cq.Vector(*c.tolist()) for c in corners], close=True)
    work = BRepOffsetAPI_MakePipeShell(cq.Wire.assembleEdges([path]).wrapped)
    work.SetMode(gp_Dir(*normal.tolist()))
    work.Add(profile.wrapped)
    work.Build()
    if not work.IsDone() or not work.MakeSolid():
        raise KernelError("the kernel cannot sweep a ridge along its edge")
    made = solids_of(cq.Shape.cast(work.Shape()))[0]
    return made if made.Volume() > 0.0 else cq.Solid(made.wrapped.Reversed())


def _inward(face: Face, at: Floats, along: Floats, normal: Floats) -> Floats:
    """Return the direction square to an edge that leads onto its face."""
    inward = np.cross(normal, along)
    return inward if on_face(at + _STEP_MM * inward, face, 0.1 * _STEP_MM) else -inward


def found_again(before: Solid, after: Solid, faces: Mapping[int, float]) -> dict[int, tuple[int, ...]]:
    """Return where faces of one solid are found on another that was cut, closed or put back from it.

    A face is found where some of it lies on a face that looks the same way.

    Parameters
    ----------
    before, after : Solid
        In one frame.
    faces : mapping of int to float
        Indices into `faces_of(before)`, and how far each was moved along its outward normal, mm.

    Returns
    -------
    dict of int to tuple of int
        Indices into `faces_of(after)`, ascending; empty where a face is gone.
    """
    old, new = _spots_of(before), _spots_of(after)
    return {
        i: tuple(j for j, other in enumerate(new) if _continues(old[i], other, by_mm))
        for i, by_mm in faces.items()
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Spots:
    """A face by some points well inside it, with its normals there; a flat one also by its plane."""

    face: Face
    box: Box
    points: Floats
    normals: Floats
    flat: tuple[Floats, Floats] | None


@lru_cache(maxsize=64)
def _spots_of(solid: Solid) -> tuple[_Spots, ...]:
    """Return the faces of a solid, in the order of `faces_of`."""
    found = []
    for face in faces_of(solid):
        points = inside_points(face, _TRIED_POINTS)
        normals = np.array([normal_at(face, p) for p in points])
        flat = (points[0], normals[0]) if is_flat(face) else None
        found.append(_Spots(face=face, box=loose_box(face), points=points, normals=normals, flat=flat))
    return tuple(found)


def _continues(old: _Spots, new: _Spots, by_mm: float) -> bool:
    """Tell whether a face, moved along its normal, and another lie on each other with some of their area."""
    if box_gap_mm(old.box, new.box) > abs(by_mm) + _ON_MM:
        return False
    if (old.flat is None) != (new.flat is None):
        return False
    if old.flat is not None and new.flat is not None:
        off_mm = float((new.flat[0] - old.flat[0]) @ old.flat[1]) - by_mm
        if abs(off_mm) > _ON_MM or float(old.flat[1] @ new.flat[1]) < 1.0 - _SAME_WAY:
            return False
    return any(
        _lies_on(point + shift * normal, normal, other.face)
        for one, other, shift in ((old, new, by_mm), (new, old, -by_mm))
        for point, normal in zip(one.points, one.normals, strict=True)
    )


def _lies_on(point: Floats, normal: Floats, face: Face) -> bool:
    """Tell whether a point lies on a face that looks a given way there."""
    off_mm, there, _ = distance(face, cq.Vertex.makeVertex(*point.tolist()))
    return off_mm <= _ON_MM and float(normal_at(face, there) @ normal) > 1.0 - _SAME_WAY
