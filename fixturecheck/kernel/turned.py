"""The space that a tool takes up which turns about an upright axis, as it goes along lines and arcs or down.

The section of the tool is pulled along a line, and turned about the centre of an arc, once for each side of
its axis. Where the path turns a corner the outer half of the section is turned about the tool's own axis, and
half turns close the ends. Pieces that follow each other so meet in flat faces, which the kernel joins well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import reduce
from itertools import pairwise

import cadquery as cq
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism, BRepPrimAPI_MakeRevol
from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Vec
from OCP.TopAbs import TopAbs_State

from fixturecheck.arrays import Point2
from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.topology import edges_of, faces_of, solids_of
from fixturecheck.kernel.outline import (
    Arc,
    Line,
    Piece,
    Ring,
    around_mm2,
    to_the_right,
    turn_between,
    way_of,
    wire_of,
)
from fixturecheck.kernel.shapes import Face, Shape, Solid, cq_shape
from fixturecheck.kernel.sweep import Outline, Travel, bounds, edge_of, sewn, swept_outline

_SAME_MM = 1e-9
_STRAIGHT_RAD = 1e-9
_SEW_MM = 1e-6
_SAME_SHARE = 1e-6
_ORIGIN, _UP = cq.Vector(0, 0, 0), cq.Vector(0, 0, 1)


def straight_down(outline: Outline, at: Point2, tip_z_mm: float, from_z_mm: float) -> Solid:
    """Return what a tool sweeps whose tip comes down from one height to another, or stands at one.

    Parameters
    ----------
    outline : sequence of segment
        Radius over the height above the tip.
    at : tuple of float
        X and Y of the axis, mm.
    tip_z_mm : float
        Height of the tip.
    from_z_mm : float
        Where it begins, a height.

    Returns
    -------
    Solid
        In the machine's frame.
    """
    up_mm = max(from_z_mm - tip_z_mm, 0.0)
    travel = Travel(x_from_mm=0.0, x_to_mm=0.0, y_from_mm=0.0, y_to_mm=up_mm, axis_z_mm=0.0)
    stood = swept_outline(outline, travel).rotate(_ORIGIN, cq.Vector(1, 0, 0), 90.0)
    moved: Solid = stood.translate(cq.Vector(at[0], at[1], tip_z_mm))
    return moved


def along_path(outline: Outline, path: Sequence[Piece], tip_z_mm: float, *, outer: bool = False) -> Shape:
    """Return what a tool sweeps whose tip goes along level pieces that follow each other.

    Parameters
    ----------
    outline : sequence of segment
        Radius over the height above the tip.
    path : sequence of Piece
        Where its axis goes, open or closed.
    outer : bool
        Of a closed path that runs counterclockwise, sweep only the half of the tool on its outside, and of
        one that runs clockwise only the inside; what lies on the other side is swept besides.
    tip_z_mm : float
        Height of the tip.

    Returns
    -------
    Shape
        In the machine's frame.

    Raises
    ------
    KernelError
        The kernel could not turn or join the pieces.
    """
    half, whole = _section(outline, halves=1), _section(outline, halves=2)
    pieces = [p for p in path if isinstance(p, Arc) or math.dist(p.start, p.end) > _SAME_MM]
    if not pieces:
        return straight_down(outline, path[0].start, tip_z_mm, tip_z_mm)
    closed = math.dist(pieces[0].start, pieces[-1].end) < 1e-6
    sides = (-1,) if outer else (-1, 1)
    found = [solid for piece in pieces for solid in _swept(half, whole, piece, sides)]
    reach_mm = half.BoundingBox().xmax
    tight = [p for p in pieces if _turns_within(p, reach_mm, sides)]
    ends = dict.fromkeys(end for p in tight for end in (p.start, p.end))
    found += [straight_down(outline, end, 0.0, 0.0) for end in ends]
    follow = [*pairwise(pieces), *([(pieces[-1], pieces[0])] if closed else [])]
    for before, after in follow:
        found += _at_corner(half, before, after, sides)
    if not closed:
        found.append(_turned(half, pieces[0].start, way_of(pieces[0], 0.0) + math.pi / 2, math.pi))
        found.append(_turned(half, pieces[-1].end, way_of(pieces[-1], 1.0) - math.pi / 2, math.pi))
    sweep = fused(found)
    moved: Shape = sweep.translate(cq.Vector(0, 0, tip_z_mm))
    return moved


def round_pocket(
    outline: Outline, outer: Ring, islands: Sequence[Ring], tip_z_mm: float, ridge_mm: float
) -> Solid | None:
    """Return what a tool sweeps that goes round a pocket, and from a height up all that it goes round.

    Its faces are made one by one and sewn together. Volume is that of the theorem of Pappus for each piece.

    Parameters
    ----------
    outline : sequence of segment
        Radius over the height above the tip.
    outer : Ring
        Path beside the walls, counterclockwise.
    islands : sequence of Ring
        Paths beside what stands within, each clockwise.
    tip_z_mm : float
        Height of the tip.
    ridge_mm : float
        Height above the tip from which on the inside is swept, too.

    Returns
    -------
    Solid or None
        In the machine's frame. None where a path turns to the right more tightly than the tool is wide: the
        faces would cross.

    Raises
    ------
    KernelError
        The faces do not close, or enclose another volume.

    References
    ----------
    Theorem of Pappus: a section swept round an axis fills its area times the way of its centre.
    """
    half = _section(outline, halves=1)
    rings = (outer, *islands)
    top_mm, reach_mm = outline[-1][-1][0], half.BoundingBox().xmax
    if any(_crosses(ring, reach_mm) for ring in rings):
        return None
    flat_mm, high_mm = outline[0][1][1], outline[-1][-1][1]
    faces: list[Shape] = [face for ring in rings for face in _walls_beside(outline, ring)]
    low = [to_the_right(ring, flat_mm) for ring in rings]
    if ridge_mm > _SAME_MM:
        if flat_mm > _SAME_MM:
            faces += [_flat([ring, path], 0.0) for ring, path in zip(low, rings, strict=True)]
        up = cq.Vector(0, 0, ridge_mm)
        faces += [_pulled(edge, up) for ring in rings for edge in edges_of(wire_of(ring, 0.0))]
        faces.append(_flat(rings, ridge_mm))
    else:
        faces.append(_flat(low, 0.0))
    faces.append(_flat([to_the_right(ring, high_mm) for ring in rings], top_mm))
    solid = sewn(faces, "the sweep of a cutter round a pocket")
    inside_mm3 = sum(around_mm2(ring) for ring in rings) * (top_mm - ridge_mm)
    drawn_mm3 = inside_mm3 + sum(_beside_mm3(half, ring) for ring in rings)
    if abs(solid.Volume() - drawn_mm3) > _SAME_SHARE * drawn_mm3:
        raise KernelError(
            f"a cutter round a pocket sweeps {drawn_mm3:.6g} mm3, but {solid.Volume():.6g} came out"
        )
    moved: Solid = solid.translate(cq.Vector(0, 0, tip_z_mm))
    return moved


def _crosses(ring: Ring, reach_mm: float) -> bool:
    """Return whether the right of a ring, that wide, would cross itself at a corner or an arc."""
    corners = (turn_between(a, b) for a, b in pairwise([*ring, ring[0]]))
    tight = (isinstance(p, Arc) and p.turn_rad < 0 and p.radius_mm <= reach_mm + _SEW_MM for p in ring)
    return any(turn < -_STRAIGHT_RAD for turn in corners) or any(tight)


def _walls_beside(outline: Outline, ring: Ring) -> Iterator[Shape]:
    """Yield the faces that the side of a tool leaves on the right of a ring, its tip at height 0."""
    edges = [edge_of(s, 0.0, 0.0, side=1).rotate(_ORIGIN, cq.Vector(1, 1, 1), 120.0) for s in outline]
    for piece, after in pairwise([*ring, ring[0]]):
        for edge in edges:
            if isinstance(piece, Line):
                beside = _placed(edge, piece.start, way_of(piece, 0.0) - math.pi / 2)
                yield _pulled(beside, _between(piece))
            else:
                outward = piece.turn_rad > 0
                there = edge if outward else edge.mirror("YZ")
                moved = there.translate(cq.Vector(piece.radius_mm, 0, 0))
                yield _spun_edge(moved, piece.centre, piece.from_rad, piece.turn_rad)
            turn = turn_between(piece, after)
            if turn > _STRAIGHT_RAD:
                yield _spun_edge(edge, piece.end, way_of(piece, 1.0) - math.pi / 2, turn)


def _between(line: Line) -> cq.Vector:
    return cq.Vector(line.end[0] - line.start[0], line.end[1] - line.start[1], 0)


def _spun_edge(edge: Shape, at: Point2, from_rad: float, turn_rad: float) -> Shape:
    """Return the face that an edge in the plane XZ makes about an upright axis through a point."""
    axis = gp_Ax1(gp_Pnt(at[0], at[1], 0.0), gp_Dir(0.0, 0.0, math.copysign(1.0, turn_rad)))
    start = _placed(edge, at, from_rad).wrapped
    if abs(turn_rad) >= 2 * math.pi - _STRAIGHT_RAD:
        return cq_shape(BRepPrimAPI_MakeRevol(start, axis).Shape())
    return cq_shape(BRepPrimAPI_MakeRevol(start, axis, abs(turn_rad)).Shape())


def _pulled(edge: Shape, along: cq.Vector) -> Shape:
    return cq_shape(BRepPrimAPI_MakePrism(edge.wrapped, gp_Vec(*along.toTuple())).Shape())


def _flat(rings: Sequence[Ring], z_mm: float) -> Face:
    outer, *inner = (wire_of(ring, z_mm) for ring in rings)
    return cq.Face.makeFromWires(outer, inner)


def _beside_mm3(half: Face, ring: Ring) -> float:
    """Return what half a section sweeps on the right of a ring, mm3."""
    area, moment = half.Area(), half.Area() * half.Center().x
    total = 0.0
    for piece, after in pairwise([*ring, ring[0]]):
        if isinstance(piece, Line):
            total += area * math.dist(piece.start, piece.end)
        else:
            total += abs(piece.turn_rad) * area * piece.radius_mm + piece.turn_rad * moment
        total += max(turn_between(piece, after), 0.0) * moment
    return float(total)


def fused(solids: Sequence[Shape]) -> Shape:
    """Return the union of solids, their faces left in pieces: merged, round ones have come out invalid.

    The kernel's union of round pieces that meet smoothly has left out whole pieces and called itself valid.
    It counts only where places all over each piece lie in it; joined one after the other it loses fewer.

    Parameters
    ----------
    solids : sequence of Shape
        What is joined.

    Returns
    -------
    Shape
        One solid, or several that lie apart.

    Raises
    ------
    KernelError
        The kernel fails, or what comes out is not valid or lacks a piece.
    """
    first, *rest = solids
    if not rest:
        return first
    for whole in (first.fuse(*rest), reduce(lambda a, b: a.fuse(b), rest, first)):
        if whole.isValid() and solids_of(whole) and all(_lies_in(solid, whole) for solid in solids):
            return solids_of(whole)[0] if len(solids_of(whole)) == 1 else whole
    raise KernelError("the sweep of a cutter along its path could not be joined")


_WITHIN_MM, _MOST_PLACES = 0.01, 24
"""How far behind its surface a piece is looked at, and at how many places."""


def _lies_in(solid: Shape, whole: Shape) -> bool:
    """Return whether places behind the surface of a solid lie in a whole."""
    corners, triangles = solid.tessellate(0.02, 0.2)
    mine, theirs = _told_inside(solid), [_told_inside(s) for s in solids_of(whole)]
    for triangle in triangles[:: max(len(triangles) // _MOST_PLACES, 1)]:
        a, b, c = (corners[i] for i in triangle)
        normal = (b - a).cross(c - a)
        # A sliver has no place behind it.
        if normal.Length < _WITHIN_MM**2:
            continue
        place = (a + b + c) * (1 / 3) - normal.normalized() * _WITHIN_MM
        if mine(place) and not any(inside(place) for inside in theirs):
            return False
    return True


def _told_inside(solid: Shape) -> Callable[[cq.Vector], bool]:
    """Return a test of whether a place lies in a solid; made once, since it looks at every face."""
    classifier = BRepClass3d_SolidClassifier(solid.wrapped)

    def inside(place: cq.Vector) -> bool:
        classifier.Perform(place.toPnt(), 1e-6)
        return bool(classifier.State() in (TopAbs_State.TopAbs_IN, TopAbs_State.TopAbs_ON))

    return inside


def _turns_within(piece: Piece, reach_mm: float, sides: Sequence[int]) -> bool:
    """Return whether a piece turns so tightly that the tool reaches beyond the centre of the arc.

    What lies beyond the centre, seen from the tool, is nearest to it at an end of the arc: a tool that stands
    at both ends takes all of it. One that goes all the way round takes it from the other side.
    """
    if not isinstance(piece, Arc) or piece.radius_mm >= reach_mm:
        return False
    return abs(piece.turn_rad) < 2 * math.pi - _STRAIGHT_RAD and math.copysign(1, piece.turn_rad) in sides


def _swept(half: Face, whole: Face, piece: Piece, sides: Sequence[int]) -> Iterator[Solid]:
    """Yield what halves of a tool sweep along a piece: on its left (side 1), its right (-1), or both."""
    both = len(sides) > 1
    if isinstance(piece, Line):
        section = whole if both else half
        along = cq.Vector(piece.end[0] - piece.start[0], piece.end[1] - piece.start[1], 0)
        turned = _placed(section, piece.start, way_of(piece, 0.0) + sides[-1] * math.pi / 2)
        yield _valid(cq.Solid.extrudeLinear(turned, along))
        return
    start = piece.from_rad if piece.turn_rad > 0 else piece.from_rad + piece.turn_rad
    sections = [_beside(half, piece, side) for side in sides]
    if both and half.BoundingBox().xmax < piece.radius_mm:
        sections = [whole.translate(cq.Vector(piece.radius_mm, 0, 0))]
    for section in sections:
        yield _turned(section, piece.centre, start, abs(piece.turn_rad))


def _beside(half: Face, arc: Arc, side: int) -> Face:
    """Return half a section on one side of an arc, its centre at the origin."""
    away = side * arc.turn_rad < 0
    return half.translate(cq.Vector(arc.radius_mm, 0, 0)) if away else _inward(half, arc.radius_mm)


def _inward(half: Face, radius_mm: float) -> Face:
    """Return the half of a section toward the centre of its arc, as far as that centre.

    What reaches beyond the centre of a small arc is left to tools that stand at its ends.
    """
    facing = half.mirror("YZ").translate(cq.Vector(radius_mm, 0, 0))
    box = facing.BoundingBox()
    if box.xmin >= -1e-9:
        return cq.Face(facing.wrapped)
    corners = [
        (0, box.zmin - 1),
        (radius_mm + 1, box.zmin - 1),
        (radius_mm + 1, box.zmax + 1),
        (0, box.zmax + 1),
    ]
    kept = cq.Face.makeFromWires(cq.Wire.makePolygon([cq.Vector(x, 0, z) for x, z in corners], close=True))
    return faces_of(facing.intersect(kept))[0]


def _at_corner(half: Face, before: Piece, after: Piece, sides: Sequence[int]) -> Iterator[Solid]:
    """Yield the turn of the outer half of a tool where a path turns a corner."""
    turn = turn_between(before, after)
    side = -1 if turn > 0 else 1
    if abs(turn) > _STRAIGHT_RAD and side in sides:
        start = way_of(before, 1.0) + side * math.pi / 2
        yield _turned(half, after.start, min(start, start + turn), abs(turn))


def _turned(section: Face, at: Point2, from_rad: float, by_rad: float) -> Solid:
    """Return what a section in the plane XZ sweeps about the Z axis, turned to its start and put in place."""
    solid = _valid(cq.Solid.revolve(section, math.degrees(by_rad), _ORIGIN, _UP))
    return cq.Solid(_placed(solid, at, from_rad).wrapped)


def _placed(shape: Shape, at: Point2, turn_rad: float) -> Shape:
    """Return a shape turned about the Z axis and moved."""
    turned = shape.rotate(_ORIGIN, _UP, math.degrees(turn_rad))
    moved: Shape = turned.translate(cq.Vector(at[0], at[1], 0))
    return moved


def _valid(solid: Solid) -> Solid:
    if solid.Volume() < 0:
        solid = cq.Solid(solid.wrapped.Reversed())
    if not solid.isValid():
        raise KernelError("the section of a cutter could not be swept along its path")
    return solid


def _section(outline: Outline, *, halves: int) -> Face:
    """Return the section of a tool in the plane XZ, its axis the Z axis and its tip at the origin.

    Parameters
    ----------
    halves : int
        1 for the half toward +X, 2 for both.
    """
    y0, y1, r0, r1 = bounds(outline)
    # The outline is drawn over Y with its radius along Z: turned so that Y goes up and Z along X.
    edges = [
        edge_of(segment, 0.0, 0.0, side=side).rotate(_ORIGIN, cq.Vector(1, 1, 1), 120.0)
        for side in (1, -1)[:halves]
        for segment in outline
    ]
    for y, r in ((y0, r0), (y1, r1)):
        if r > _SAME_MM:
            edges.append(cq.Edge.makeLine(cq.Vector(r, 0, y), cq.Vector(-r if halves > 1 else 0, 0, y)))
    if halves == 1:
        edges.append(cq.Edge.makeLine(cq.Vector(0, 0, y1), cq.Vector(0, 0, y0)))
    return cq.Face.makeFromWires(cq.Wire.combine(edges, 1e-6)[0])
