"""Level outlines of straight and round pieces: read off faces and sections, and pulled up into solids."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import cadquery as cq
import numpy as np

from fixturecheck.arrays import Point2
from fixturecheck.errors import KernelError
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.topology import edges_of, faces_of, solids_of
from fixturecheck.kernel.construct import polygon_face
from fixturecheck.kernel.measure import is_straight, loose_box
from fixturecheck.kernel.shapes import Edge, Face, Shape, Solid
from fixturecheck.numeric import circle_through

_LEVEL_MM = 1e-6
_ROOM_MM = 1.0
_SAG_MM = 5e-4
"""How far the chords of a curve that is neither straight nor round may lie off it."""
_MOST_CHORDS = 512
_SAME_SHARE = 1e-6
_STRAIGHT_RAD = 1e-9
"""How much of its volume a prism may miss area times height by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight piece of an outline, mm."""

    start: Point2
    end: Point2


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """A round piece of an outline.

    Parameters
    ----------
    centre : tuple of float
        X and Y, mm.
    radius_mm : float
    from_rad, turn_rad : float
        Where it starts, and how far it goes round, counterclockwise positive; 2 pi is a whole circle.
    """

    centre: Point2
    radius_mm: float
    from_rad: float
    turn_rad: float

    def at(self, share: float) -> Point2:
        """Return the point at a share of its length, 0 to 1."""
        angle = self.from_rad + share * self.turn_rad
        x, y = self.centre
        return x + self.radius_mm * math.cos(angle), y + self.radius_mm * math.sin(angle)

    @property
    def start(self) -> Point2:
        """Where it begins."""
        return self.at(0.0)

    @property
    def end(self) -> Point2:
        """Where it ends."""
        return self.at(1.0)


Piece = Line | Arc
Ring = tuple[Piece, ...]
"""Pieces end to end, closed."""


def outlines_of(face: Face) -> tuple[Ring, ...]:
    """Return the rings of a level face as seen from above, outer first.

    Parameters
    ----------
    face : Face
        A level face.

    Returns
    -------
    tuple[Ring, ...]
        Of lines and arcs, mm.

    Raises
    ------
    KernelError
        The face is not level.
    """
    box = loose_box(face)
    if face.geomType() != "PLANE" or abs(abs(face.normalAt().z) - 1.0) > 1e-9:
        raise KernelError(
            f"a face from z {box[2]:g} to {box[5]:g} mm is not level, so it has no outline from above"
        )
    return tuple(_ring(wire) for wire in (face.outerWire(), *face.innerWires()))


def section_of(solid: Shape, z_mm: float) -> tuple[tuple[Ring, ...], ...]:
    """Return what a level plane cuts of a solid: for each area its rings, outer first.

    Parameters
    ----------
    solid : Solid
        The part where it stands.
    z_mm : float
        Height of the tip.

    Returns
    -------
    tuple[tuple[Ring, ...], ...]
        Empty where the plane misses the solid.

    Raises
    ------
    KernelError
        The section failed in the kernel.
    """
    x0, y0, z0, x1, y1, z1 = loose_box(solid)
    if not z0 < z_mm < z1:
        return ()
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    out = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    wide = [(x + i * _ROOM_MM, y + j * _ROOM_MM, z_mm) for (x, y), (i, j) in zip(corners, out, strict=True)]
    sheet = polygon_face([np.array(wide)])
    return tuple(outlines_of(face) for face in faces_of(common(sheet, solid)))


def prism_of(rings: Sequence[Ring], from_z_mm: float, to_z_mm: float) -> Solid:
    """Return the upright prism over an outline with its holes, outer ring first.

    Parameters
    ----------
    rings : sequence of Ring
        Closed outlines, outer first.
    from_z_mm : float
        Where it begins, a height.
    to_z_mm : float
        Where it ends, a height.

    Returns
    -------
    Solid
        Between two heights, mm.

    Raises
    ------
    KernelError
        The rings do not close, or cross.
    """
    wires = [wire_of(ring, from_z_mm) for ring in rings]
    face = cq.Face.makeFromWires(wires[0], wires[1:])
    prism = cq.Solid.extrudeLinear(face, cq.Vector(0, 0, to_z_mm - from_z_mm))
    solids = solids_of(prism)
    drawn_mm3 = outline_area_mm2(rings) * (to_z_mm - from_z_mm)
    if len(solids) != 1 or abs(solids[0].Volume() - drawn_mm3) > _SAME_SHARE * drawn_mm3:
        raise KernelError(f"an outline of {sum(map(len, rings))} pieces could not be pulled up into a solid")
    return solids[0]


def outline_area_mm2(rings: Sequence[Ring]) -> float:
    """Return the area within an outline, outer ring first: Green's formula, closed form.

    Parameters
    ----------
    rings : sequence of Ring
        Closed outlines, outer first.

    Returns
    -------
    float
        mm2, holes taken off.
    """
    outer, *holes = (abs(around_mm2(ring)) for ring in rings)
    return outer - sum(holes)


def around_mm2(ring: Ring) -> float:
    """Return the area within a ring, positive where it runs counterclockwise.

    Parameters
    ----------
    ring : Ring
        A closed outline.

    Returns
    -------
    float
        mm2.
    """
    return sum(_under_mm2(piece) for piece in ring)


def _under_mm2(piece: Piece) -> float:
    """Return half of the integral of x dy - y dx along a piece."""
    (x0, y0), (x1, y1) = piece.start, piece.end
    if isinstance(piece, Line):
        return 0.5 * (x0 * y1 - x1 * y0)
    (cx, cy), radius = piece.centre, piece.radius_mm
    return 0.5 * (cx * (y1 - y0) - cy * (x1 - x0) + radius * radius * piece.turn_rad)


def _ring(wire: cq.Wire) -> Ring:
    """Return the pieces of a closed wire in the order in which they run."""
    pieces: list[Piece] = []
    for edge in edges_of(wire):
        pieces += _pieces(edge)
    if len(pieces) == 1:
        return tuple(pieces)
    return _in_a_row(pieces)


def _in_a_row(pieces: list[Piece]) -> Ring:
    """Put pieces end to end, turning round those that run the other way."""
    rest = pieces[1:]
    chain = [pieces[0]]
    while rest:
        at = chain[-1].end
        turned = [(math.dist(at, p.start), i, False) for i, p in enumerate(rest)]
        turned += [(math.dist(at, p.end), i, True) for i, p in enumerate(rest)]
        _, i, turn = min(turned)
        piece = rest.pop(i)
        chain.append(back(piece) if turn else piece)
    return tuple(chain)


def way_of(piece: Piece, share: float) -> float:
    """Return the direction in which a piece runs at a share of its length.

    Parameters
    ----------
    piece : Piece
        A straight or round piece.
    share : float
        0 at its start, 1 at its end.

    Returns
    -------
    float
        Radians from X, counterclockwise.
    """
    if isinstance(piece, Arc):
        return piece.from_rad + share * piece.turn_rad + math.copysign(math.pi / 2, piece.turn_rad)
    return math.atan2(piece.end[1] - piece.start[1], piece.end[0] - piece.start[0])


def turn_between(before: Piece, after: Piece) -> float:
    """Return by how much a path turns from one piece to the next.

    Parameters
    ----------
    before, after : Piece
        They meet.

    Returns
    -------
    float
        Radians within half a turn either way, positive to the left.
    """
    return (way_of(after, 0.0) - way_of(before, 1.0) + math.pi) % (2 * math.pi) - math.pi


def to_the_right(ring: Ring, by_mm: float) -> Ring:
    """Return a ring moved to the right of the way it runs, with arcs round the corners that it turns left.

    Parameters
    ----------
    ring : Ring
        A closed outline that turns no corner to the right and no arc to the right within the distance.
    by_mm : float
        How far it is moved.

    Returns
    -------
    Ring
        For each piece its own, and after it an arc where a corner follows.
    """
    found: list[Piece] = []
    for piece, after in pairwise([*ring, ring[0]]):
        if isinstance(piece, Arc):
            radius = piece.radius_mm + math.copysign(by_mm, piece.turn_rad)
            found.append(replace(piece, radius_mm=radius))
        else:
            way = way_of(piece, 0.0)
            x, y = by_mm * math.sin(way), -by_mm * math.cos(way)
            ends = [(p[0] + x, p[1] + y) for p in (piece.start, piece.end)]
            found.append(Line(start=ends[0], end=ends[1]))
        turn = turn_between(piece, after)
        if turn > _STRAIGHT_RAD and by_mm > 0.0:
            start = way_of(piece, 1.0) - math.pi / 2
            found.append(Arc(centre=piece.end, radius_mm=by_mm, from_rad=start, turn_rad=turn))
    return tuple(found)


def back(piece: Piece) -> Piece:
    """Return a piece run the other way.

    Parameters
    ----------
    piece : Piece
        A straight or round piece.

    Returns
    -------
    Piece
        From its end to its start.
    """
    if isinstance(piece, Line):
        return Line(start=piece.end, end=piece.start)
    return Arc(
        centre=piece.centre,
        radius_mm=piece.radius_mm,
        from_rad=piece.from_rad + piece.turn_rad,
        turn_rad=-piece.turn_rad,
    )


def _pieces(edge: Edge) -> list[Piece]:
    """Return a level edge as one straight or round piece, any other curve as chords."""
    if is_straight(edge):
        a, b = edge.startPoint(), edge.endPoint()
        return [Line(start=(a.x, a.y), end=(b.x, b.y))]
    if edge.geomType() == "CIRCLE":
        return [_arc(edge)]
    round_ = _round(edge)
    if round_ is not None:
        return [round_]
    count = 8
    while count < _MOST_CHORDS and _sag_mm(edge, count) > _SAG_MM:
        count *= 2
    points = [edge.positionAt(t) for t in np.linspace(0.0, 1.0, count + 1)]
    return [Line(start=(a.x, a.y), end=(b.x, b.y)) for a, b in pairwise(points)]


def _sag_mm(edge: Edge, count: int) -> float:
    """Return how far chords of equal length lie off a curve, in the middle of each."""
    points = [edge.positionAt(t) for t in np.linspace(0.0, 1.0, 2 * count + 1)]
    return max(
        float((points[i] - (points[i - 1] + points[i + 1]) * 0.5).Length) for i in range(1, len(points), 2)
    )


def _round(edge: Edge) -> Arc | None:
    """Return the circle that a curve of another kind is, as where a plane cuts a torus level; else None."""
    if edge.IsClosed():
        return None
    points = [(p.x, p.y) for p in (edge.positionAt(t) for t in np.linspace(0.0, 1.0, 9))]
    a, b, c = points[0], points[4], points[8]
    found = circle_through(a, b, c, flat_mm2=_LEVEL_MM)
    if found is None:
        return None
    centre, radius = found[:2], found[2]
    if max(abs(math.dist(p, centre) - radius) for p in points) > _LEVEL_MM:
        return None
    start, middle = (math.atan2(p[1] - centre[1], p[0] - centre[0]) for p in (a, b))
    half = (middle - start + math.pi) % (2 * math.pi) - math.pi
    return Arc(centre=centre, radius_mm=radius, from_rad=start, turn_rad=2 * half)


def _arc(edge: Edge) -> Arc:
    """Return a round edge with the way it goes round."""
    centre, radius = edge.arcCenter(), float(edge.radius())
    a, m, b = (edge.positionAt(t) for t in (0.0, 0.5, 1.0))
    angles = [math.atan2(p.y - centre.y, p.x - centre.x) for p in (a, m, b)]
    half = (angles[1] - angles[0] + math.pi) % (2 * math.pi) - math.pi
    turn = 2 * half
    if edge.IsClosed():
        turn = 2 * math.pi
    return Arc(centre=(centre.x, centre.y), radius_mm=radius, from_rad=angles[0], turn_rad=turn)


def wire_of(ring: Ring, z_mm: float) -> cq.Wire:
    """Return a ring as a wire at a height.

    Parameters
    ----------
    ring : Ring
        A closed outline.
    z_mm : float
        Height at which it lies.

    Returns
    -------
    Wire
        With one edge for each piece.
    """

    def at(point: Point2) -> cq.Vector:
        return cq.Vector(point[0], point[1], z_mm)

    edges = []
    for piece in ring:
        if isinstance(piece, Line):
            edges.append(cq.Edge.makeLine(at(piece.start), at(piece.end)))
        elif abs(piece.turn_rad) >= 2 * math.pi - 1e-12:
            edges.append(cq.Edge.makeCircle(piece.radius_mm, at(piece.centre)))
        else:
            edges.append(cq.Edge.makeThreePointArc(at(piece.start), at(piece.at(0.5)), at(piece.end)))
    return cq.Wire.assembleEdges(edges)
