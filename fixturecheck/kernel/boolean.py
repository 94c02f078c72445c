"""What is left, taken or shared when shapes are cut by shapes, and whether they clear each other.

The kernel's booleans can come out empty without an error, and its distance can be positive between solids
that intersect. So a split counts only where its two parts add up to the whole, and clearance is answered by
the common volume and the distance together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import cadquery as cq
import numpy as np
from OCP.BOPAlgo import BOPAlgo_CellsBuilder, BOPAlgo_PaveFiller
from OCP.BRepAlgoAPI import (
    BRepAlgoAPI_BooleanOperation,
    BRepAlgoAPI_Common,
    BRepAlgoAPI_Cut,
    BRepAlgoAPI_Fuse,
)
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.TopTools import TopTools_ListOfShape

from fixturecheck.arrays import Floats
from fixturecheck.effort import BOOLEAN, spend
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.kernel.brep.topology import edges_of, faces_of, solids_of
from fixturecheck.kernel.construct import checked, compound, only_solid, oriented_box, worked
from fixturecheck.kernel.measure import box_gap_mm, edge_length_mm, flat_of, loose_box
from fixturecheck.kernel.place import shifted
from fixturecheck.kernel.shapes import Box, Edge, Face, Shape, Solid
from fixturecheck.numeric import to_vector
from fixturecheck.result.shapes import Vector
from fixturecheck.units import METRIC, Writing


@checked
def cut(solid: Solid, *tools: Solid) -> Solid:
    """Return what is left of a solid, in one piece, after others are taken from it.

    Parameters
    ----------
    solid : Solid
    *tools : Solid
        What is taken away, in the frame of the solid.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        The kernel fails, or nothing or more than one piece is left.
    """
    return only_solid(_operated(BRepAlgoAPI_Cut(), [solid], tools, "cut of a solid"))


def common(a: Shape, b: Shape) -> Shape:
    """Return the kernel's common of two shapes as a compound, which may be empty.

    Parameters
    ----------
    a, b : Shape
        In one frame; they stay as they are.

    Returns
    -------
    Shape

    Raises
    ------
    KernelError
        The kernel reports a failed operation.
    """
    return _operated(BRepAlgoAPI_Common(), [a], [b], "common of two shapes")


def _operated(
    operation: BRepAlgoAPI_BooleanOperation, arguments: Iterable[Shape], tools: Iterable[Shape], what: str
) -> Shape:
    """Return what a boolean operation makes of shapes, which stay as they are.

    By default the kernel widens the tolerances of the shapes themselves, so that it sees less of what they
    share each time it is asked: an overlap of 1 um was gone the second time.
    """
    operation.SetArguments(_listed(arguments))
    operation.SetTools(_listed(tools))
    operation.SetNonDestructive(True)
    operation.Build()
    if not operation.IsDone():
        raise KernelError(f"{what} failed in the kernel")
    return cq.Shape.cast(operation.Shape())


def common_faces(a: Face, b: Face) -> list[Face]:
    """Return what two faces on the same surface share; empty where they share no area.

    Parameters
    ----------
    a, b : Face
        In one frame.

    Returns
    -------
    list of Face

    Raises
    ------
    KernelError
        The kernel reports a failed operation.
    """
    return faces_of(common(a, b))


def clip_edge(edge: Edge, faces: Iterable[Face]) -> list[Edge]:
    """Return the parts of an edge that lie on every one of the faces; a seam does not part it.

    Parameters
    ----------
    edge : Edge
        In the frame of the faces.
    faces : iterable of Face
        Each trims the edge to its outline.

    Returns
    -------
    list of Edge
        Empty where no part lies on all of them.

    Raises
    ------
    KernelError
        The kernel reports a failed operation.
    """
    pieces = [edge]
    for face in faces:
        pieces = [part for piece in pieces for part in _clipped(piece, face)]
    return pieces


def _clipped(edge: Edge, face: Face) -> list[Edge]:
    parts = edges_of(common(edge, face))
    whole = edge_length_mm(edge)
    if len(parts) > 1 and abs(sum(edge_length_mm(p) for p in parts) - whole) <= 1e-9 * whole:
        return [edge]
    return parts


def common_solid(a: Solid, b: Solid) -> tuple[Shape, float, float]:
    """Return the common of two solids with its volume (mm3) and surface (mm2).

    Parameters
    ----------
    a, b : Solid
        In one frame.

    Returns
    -------
    shape : Shape
        A compound, which may be empty.
    volume, area : float
        Of the solids in it: mm3 and mm2; zero where there are none.

    Raises
    ------
    KernelError
        The kernel reports a failed operation.
    """
    shape = common(a, b)
    solids = solids_of(shape)
    return shape, float(sum(s.Volume() for s in solids)), float(sum(s.Area() for s in solids))


_SUM_SHARE = 1e-6
"""How much of the whole the two parts of a split may miss it by."""


_INTEGRAL_SHARE = 1e-4
"""How much of the whole the kernel's plain integral of a volume may be wrong by on trimmed round faces."""


_CLOSE_SHARE = 1e-9
"""Relative error of the integral that is refined until it settles."""


_NOTHING_MM3 = 1e-9
"""Volume below which a piece is the kernel's rounding."""


_FUZZ_MM = (0.0, 1e-6, 1e-5)
"""Tolerances tried in turn; a larger one can swallow the very sliver that is asked for."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Split:
    """A whole cut by a tool: what stays and what the tool takes; None where there is nothing."""

    kept: Shape | None
    taken: Shape | None
    kept_mm3: float
    taken_mm3: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Apart:
    """How two solids stand to each other.

    Parameters
    ----------
    distance_mm : float
        Least distance; zero where they touch or intersect.
    on_a, on_b : Vector
        A point on each where it occurs.
    common : Shape or None
        What they share, if anything.
    common_mm3 : float
        Its volume.
    """

    distance_mm: float
    on_a: Vector
    on_b: Vector
    common: Shape | None
    common_mm3: float

    def shifted(self, by: Vector) -> Apart:
        """Return how they stand to each other when both are moved."""
        on_a, on_b = to_vector(np.add(self.on_a, by)), to_vector(np.add(self.on_b, by))
        there = None if self.common is None else shifted(self.common, by)
        return replace(self, on_a=on_a, on_b=on_b, common=there)


def split(whole: Shape, tool: Shape, what: str) -> Split:
    """Cut a solid by a tool and keep both parts.

    Parameters
    ----------
    whole, tool : Shape
        In one frame; they stay as they are.
    what : str
        Named in the error, such as `stock of pawl_1 by the wheel`.

    Returns
    -------
    Split

    Raises
    ------
    NotComputedError
        The two parts do not add up to the whole within 1e-6 of it.
    """
    whole_mm3 = float(whole.Volume())
    if box_gap_mm(loose_box(whole), loose_box(tool)) > 0:
        return Split(kept=whole, taken=None, kept_mm3=whole_mm3, taken_mm3=0.0)
    tried = []
    for fuzz_mm in _FUZZ_MM:
        found = _split(whole, tool, fuzz_mm)
        if found is None:
            continue
        kept, taken = found
        kept_mm3, taken_mm3 = _volume(kept), _volume(taken)
        missing_mm3 = whole_mm3 - kept_mm3 - taken_mm3
        if _SUM_SHARE * whole_mm3 < abs(missing_mm3) <= _INTEGRAL_SHARE * whole_mm3:
            kept_mm3, taken_mm3 = _close_volume(kept), _close_volume(taken)
            missing_mm3 = _close_volume(whole) - kept_mm3 - taken_mm3
        if abs(missing_mm3) <= _SUM_SHARE * whole_mm3:
            return Split(
                kept=kept if kept_mm3 > _NOTHING_MM3 else None,
                taken=taken if taken_mm3 > _NOTHING_MM3 else None,
                kept_mm3=kept_mm3 if kept_mm3 > _NOTHING_MM3 else 0.0,
                taken_mm3=taken_mm3 if taken_mm3 > _NOTHING_MM3 else 0.0,
            )
        tried.append(kept_mm3 + taken_mm3)
    sums = ", ".join(f"{v:.6g}" for v in tried) or "nothing"
    raise NotComputedError(f"cutting {what} gave parts of {sums} mm³ in all instead of {whole_mm3:.6g} mm³")


def shared_mm3(a: Shape, b: Shape, what: str) -> float:
    """Return the common volume of two solids, checked by what is left of one of them.

    Where one only just grazes the other, the kernel may get the rest of one of them wrong; the rest of either
    will do.

    Parameters
    ----------
    a, b : Shape
        In one frame.
    what : str
        Names the two in the error, such as `a block between jaws`.

    Returns
    -------
    float
        mm3.

    Raises
    ------
    NotComputedError
        Neither of the two adds up.
    """
    try:
        return split(a, b, what).taken_mm3
    except NotComputedError:
        return split(b, a, what).taken_mm3


def _split(whole: Shape, tool: Shape, fuzz_mm: float) -> tuple[Shape, Shape] | None:
    """Return what is kept and taken, both of the pieces that one intersection makes; None when it fails."""
    filler, arguments = BOPAlgo_PaveFiller(), _listed([whole, tool])
    filler.SetArguments(arguments)
    filler.SetNonDestructive(True)
    if fuzz_mm > 0:
        filler.SetFuzzyValue(fuzz_mm)
    filler.Perform()
    if filler.HasErrors():
        return None
    pieces = BOPAlgo_CellsBuilder()
    pieces.SetArguments(arguments)
    pieces.SetNonDestructive(True)
    pieces.PerformWithFiller(filler)
    if pieces.HasErrors():
        return None
    pieces.AddToResult(_listed([whole]), _listed([tool]))
    # The builder goes on working on the compound that it returned, but not on the solids in it.
    kept = compound(solids_of(cq.Shape.cast(pieces.Shape())))
    pieces.RemoveAllFromResult()
    pieces.AddToResult(arguments, _listed([]))
    return kept, compound(solids_of(cq.Shape.cast(pieces.Shape())))


def _listed(shapes: Iterable[Shape]) -> TopTools_ListOfShape:
    """Return shapes as the kernel takes several."""
    found = TopTools_ListOfShape()
    for shape in shapes:
        found.Append(shape.wrapped)
    return found


def united(shapes: Sequence[Shape], what: str) -> Shape:
    """Return the union of solids as one solid where they are connected.

    Parameters
    ----------
    shapes : sequence of Shape
        At least one; a single one is returned as it is.
    what : str
        Names the shapes in the error.

    Returns
    -------
    Shape
        A compound of solids where they are not all connected.

    Raises
    ------
    KernelError
        The kernel reports a failed operation.
    """
    if len(shapes) == 1:
        return shapes[0]
    fuse = BRepAlgoAPI_Fuse()
    plain = solids_of(_operated(fuse, shapes[:1], shapes[1:], f"joining {what}"))
    fuse.SimplifyResult()
    simple = solids_of(cq.Shape.cast(fuse.Shape()))
    # Merging the walls of pockets with those of what is put on them, the kernel has lost parts of them.
    before, after = (sum(s.Volume() for s in solids) for solids in (plain, simple))
    solids = simple if abs(after - before) <= _SUM_SHARE * before else plain
    return solids[0] if len(solids) == 1 else compound(solids)


def apart(a: Shape, b: Shape, what: str, *, within_mm: float = math.inf) -> Apart | None:
    """Return how two solids stand to each other; None when their boxes are more than `within_mm` apart.

    Neither answer counts alone: solids whose boxes meet are also intersected, and a common volume
    makes the distance zero.

    Parameters
    ----------
    a, b : Shape
        Solids in one frame.
    what : str
        Names the two in the errors.
    within_mm : float
        Distance of the loose boxes beyond which nothing is computed.

    Returns
    -------
    Apart or None
        Its `on_a` and `on_b` are both the centre of what they share where they share a volume.

    Raises
    ------
    NotComputedError
        The kernel gives no distance, or the boolean does not add up.
    """
    gap_mm = box_gap_mm(loose_box(a), loose_box(b))
    if gap_mm > within_mm:
        return None
    spend(BOOLEAN)
    shared = split(b, a, what) if gap_mm <= 0 else None
    if shared is not None and shared.taken is not None:
        centre = shared.taken.Center().toTuple()
        return Apart(
            distance_mm=0.0, on_a=centre, on_b=centre, common=shared.taken, common_mm3=shared.taken_mm3
        )
    found = BRepExtrema_DistShapeShape(a.wrapped, b.wrapped)
    if not found.IsDone() or found.NbSolution() == 0:
        raise NotComputedError(f"the kernel found no least distance between {what}")
    # Of several nearest points take the same one whatever order the faces were listed in.
    ties = [
        (found.PointOnShape1(k).Coord(), found.PointOnShape2(k).Coord())
        for k in range(1, found.NbSolution() + 1)
    ]
    on_a, on_b = min(ties, key=lambda pair: [round(v, 4) + 0.0 for v in (*pair[0], *pair[1])])
    return Apart(distance_mm=float(found.Value()), on_a=on_a, on_b=on_b, common=None, common_mm3=0.0)


def clipped(shape: Shape, box: Box, what: str) -> Shape | None:
    """Return the portion of a shape that lies in a box; None when nothing does.

    Parameters
    ----------
    shape : Shape
        Solid or solids.
    box : Box
        In the frame of the shape; one without a size holds nothing.
    what : str
        Names the cut in the error.

    Returns
    -------
    Shape or None

    Raises
    ------
    NotComputedError
        What is inside and what is outside do not add up to the whole.
    """
    x0, y0, z0, x1, y1, z1 = box
    if min(x1 - x0, y1 - y0, z1 - z0) <= 0:
        return None
    block = cq.Solid.makeBox(x1 - x0, y1 - y0, z1 - z0, cq.Vector(x0, y0, z0))
    return split(shape, block, what).taken


def face_within(face: Face, box: Box) -> list[Face]:
    """Return the portion of a flat face that lies in a box, looking the same way.

    Parameters
    ----------
    face : Face
        A flat one.
    box : Box
        In the frame of the face; every side longer than zero.

    Returns
    -------
    list of Face
        Empty where nothing lies in the box.

    Raises
    ------
    KernelError
        The kernel reports a failed operation.
    """
    x0, y0, z0, x1, y1, z1 = box
    block = cq.Solid.makeBox(x1 - x0, y1 - y0, z1 - z0, cq.Vector(x0, y0, z0))
    return [p for p in faces_of(common(face, block)) if p.normalAt().dot(face.normalAt()) > 0.0]


def shared_area_mm2(face: Face, shape: Shape, *, within_mm: float, facing: int = 1) -> float:
    """Return how much of a flat face lies on flat faces of the shape.

    Parameters
    ----------
    face : Face
        A flat one.
    shape : Shape
        In the frame of the face; its curved faces do not count.
    within_mm : float
        Parallel faces this close count as one.
    facing : int
        +1 for faces that look the same way, -1 for faces that look at it.

    Returns
    -------
    float
        mm2.

    Raises
    ------
    NotComputedError
        The face is not flat.
    KernelError
        The kernel reports a failed operation.
    """
    flat = flat_of(face)
    if flat is None:
        raise NotComputedError("the area that two faces share is computed for flat faces only")
    centre, normal = np.array(flat[0]), np.array(flat[1])
    box = loose_box(face)
    total = 0.0
    for mate in faces_of(shape):
        if box_gap_mm(box, loose_box(mate)) > within_mm:
            continue
        level = _levelled(mate, face, centre, facing * normal, within_mm)
        if level is None:
            continue
        total += sum(f.Area() for f in faces_of(common(face, level)))
    return total


def _levelled(mate: Face, face: Face, centre: Floats, normal: Floats, within_mm: float) -> Face | None:
    """Return a face laid into the plane of another; None where it lies or leans further off than allowed.

    The kernel finds nothing common to faces that lean by less than it can tell.
    """
    flat = flat_of(mate)
    if flat is None:
        return None
    place, own = np.array(flat[0]), np.array(flat[1])
    box = loose_box(face)
    across_mm = float(np.linalg.norm([box[k + 3] - box[k] for k in range(3)]))
    axis = np.cross(own, normal)
    leans = float(np.linalg.norm(axis))
    # The foot of the other face's middle: there, the distance counts, not where the mate's own frame stands.
    off_mm = float((place - centre) @ own) / float(own @ normal) if float(own @ normal) > 0.0 else math.inf
    if abs(off_mm) + 0.5 * leans * across_mm > within_mm:
        return None
    if leans > 0.0:
        at, to = cq.Vector(*place.tolist()), cq.Vector(*(place + axis / leans).tolist())
        mate = mate.rotate(at, to, math.degrees(math.asin(min(leans, 1.0))))
    return shifted(mate, -float((place - centre) @ normal) * normal)


def _volume(shape: Shape) -> float:
    return float(sum(s.Volume() for s in solids_of(shape)))


def _close_volume(shape: Shape) -> float:
    """Return a volume by the kernel's integral that refines itself, which takes several times as long."""
    total = 0.0
    for solid in solids_of(shape):
        found = GProp_GProps()
        BRepGProp.VolumeProperties_s(solid.wrapped, found, _CLOSE_SHARE, False, False)
        total += float(found.Mass())
    return total


def stepped(
    solid: Solid, corner: Floats, axes: Floats, sizes_mm: Sequence[float], write: Writing = METRIC
) -> Solid:
    """Return a solid from which a box is milled.

    Parameters
    ----------
    solid : Solid
    corner : ndarray, shape (3,)
        Where the box starts, in the solid's frame.
    axes : ndarray, shape (3, 3)
        Unit directions of its three sides as rows, the first two square to each other.
    sizes_mm : sequence of float, length 3
        Along each side.
    write : Writing
        How the message of the error writes numbers and units.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        Nothing, or more than one piece, is left.
    """
    sizes = " x ".join(write.number(float(v), "mm", "g") for v in sizes_mm)
    failure = f"a step of {sizes} {write.name('mm')} cannot be milled"

    def milled() -> Shape:
        box = oriented_box(corner, axes, sizes_mm)
        return _operated(BRepAlgoAPI_Cut(), [solid], [box], "cut of a step").clean()

    return worked(milled, failure)
