"""The space that a turning body takes up as it travels: exact swept solids of wheel, flange and guard.

Everything turns about an axis parallel to Y and travels by straight moves along X and Y. At any one Y a
turning body is a disc; a disc that travels along X is a stadium; so the sweep along X is the outline
extruded, closed by half a turn at both ends. The cross feed widens the outline first: the greatest radius
that passes a given Y is the supremum of the outline over the feed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cadquery as cq
from OCP.BRepBuilderAPI import BRepBuilderAPI_Sewing
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism, BRepPrimAPI_MakeRevol
from OCP.gp import gp_Ax1, gp_Dir, gp_Vec

from fixturecheck.arrays import Point2, Segment
from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.topology import edges_of, faces_of, solids_of
from fixturecheck.kernel.measure import is_straight
from fixturecheck.kernel.shapes import Face, Shape, Solid, cq_shape
from fixturecheck.numeric import circle_through

Outline = Sequence[Segment]
"""Of points (y, r), mm."""

_SAME_MM = 1e-9
_SEW_MM = 1e-6


def bounds(outline: Outline) -> tuple[float, float, float, float]:
    """Return y and r of the outline's two ends: y0, y1, r0, r1.

    Parameters
    ----------
    outline : sequence of segment
        Radius over y, from front to rear.

    Returns
    -------
    tuple of float, length 4
        In mm.
    """
    (y0, r0), (y1, r1) = outline[0][1], outline[-1][-1]
    return y0, y1, r0, r1


def edge_of(segment: Segment, y_mm: float, axis_z_mm: float, *, side: int) -> cq.Edge:
    """Return a segment as an edge at x = 0, below (side -1) or above (+1) an axis of that height.

    Parameters
    ----------
    segment : Segment
        Of points (y, r), mm.
    y_mm : float
        Added to every y.
    axis_z_mm : float
        Height of the axis, from which r is measured.
    side : int
        -1 or +1.

    Returns
    -------
    Edge
    """
    points = [cq.Vector(0, y_mm + y, axis_z_mm + side * r) for y, r in segment[1:]]
    if len(points) == 2:
        return cq.Edge.makeLine(*points)
    return cq.Edge.makeThreePointArc(*points)


def widened(outline: Outline, by_mm: float) -> list[Segment]:
    """Return the greatest radius that passes each y when the outline moves from 0 to `by_mm`.

    An outline that rises and then falls keeps its rise, holds its peak for `by_mm` and falls that much
    later. Any other is cut at its valleys into such pieces; the widened pieces are joined.

    Parameters
    ----------
    outline : sequence of segment
        Radius over y as lines and arcs, in order of y.
    by_mm : float
        Along y; at 0 or less the outline stays as it is.

    Returns
    -------
    list of segment
        Starts where the outline does and ends `by_mm` later.

    Raises
    ------
    KernelError
        The widened pieces do not join into one outline.

    References
    ----------
    Dilation of a function by an interval (sup-convolution), closed form.
    """
    if by_mm <= _SAME_MM:
        return list(outline)
    hills = [_widened_hill(h, by_mm) for h in _hills(_monotone(outline))]
    return hills[0] if len(hills) == 1 else _envelope(hills)


def _monotone(outline: Outline) -> list[Segment]:
    """Cut arcs where they crest, so that every segment rises, falls or is level."""
    pieces: list[Segment] = []
    for s in outline:
        if s[0] == "line":
            pieces.append(s)
            continue
        start, middle, end = s[1], s[2], s[3]
        round_ = circle_through(start, middle, end)
        if round_ is None:
            pieces.append(("line", start, end))
            continue
        cy, cr, radius = round_
        crest_r = cr + math.copysign(radius, middle[1] - cr) if _spans(start, end, cy) else None
        if crest_r is None:
            pieces.append(s)
            continue
        crest = (cy, crest_r)
        for p, q in ((start, crest), (crest, end)):
            pieces.append(("arc", p, _arc_middle((cy, cr), radius, p, q), q))
    return pieces


def _spans(start: Point2, end: Point2, y: float) -> bool:
    """Say whether y lies strictly between the ends of an arc."""
    return start[0] + _SAME_MM < y < end[0] - _SAME_MM


def _arc_middle(centre: Point2, radius: float, p: Point2, q: Point2) -> Point2:
    """Return the middle of the shorter arc from p to q."""
    y, r = (p[0] + q[0]) / 2 - centre[0], (p[1] + q[1]) / 2 - centre[1]
    scale = radius / math.hypot(y, r)
    return centre[0] + y * scale, centre[1] + r * scale


def _rise(segment: Segment) -> float:
    """Return by how much a segment rises; zero when level."""
    rise = segment[-1][1] - segment[1][1]
    return 0.0 if abs(rise) <= _SAME_MM else rise


def _hills(pieces: Outline) -> list[list[Segment]]:
    """Cut an outline at its valleys: each hill rises, then falls."""
    hills: list[list[Segment]] = [[]]
    falling = False
    for piece in pieces:
        rise = _rise(piece)
        if falling and rise > 0:
            hills.append([])
            falling = False
        falling = falling or rise < 0
        hills[-1].append(piece)
    return hills


def _widened_hill(hill: Outline, by_mm: float) -> list[Segment]:
    """Hold a hill's peak for `by_mm` and let it fall that much later."""
    first_fall = next((i for i, s in enumerate(hill) if _rise(s) < 0), len(hill))
    up = list(hill[:first_fall])
    down: list[Segment] = [_moved(s, by_mm) for s in hill[first_fall:]]
    peak: Point2 = up[-1][-1] if up else hill[0][1]
    start = peak
    if up and up[-1][0] == "line" and _rise(up[-1]) == 0:
        start = up.pop()[1]
    held: Segment = ("line", start, (peak[0] + by_mm, peak[1]))
    return [*up, held, *down]


def _moved(segment: Segment, by_mm: float) -> Segment:
    """Return a segment moved along y."""

    def shift(point: Point2) -> Point2:
        return point[0] + by_mm, point[1]

    if segment[0] == "line":
        return ("line", shift(segment[1]), shift(segment[2]))
    return ("arc", shift(segment[1]), shift(segment[2]), shift(segment[3]))


def _envelope(hills: Sequence[Outline]) -> list[Segment]:
    """Return the upper outline of several overlapping hills."""
    faces = [_face_below(h) for h in hills]
    joined = faces[0].fuse(*faces[1:]).clean()
    found = faces_of(joined)
    if len(found) != 1:
        raise KernelError(f"widening the wheel's outline left {len(found)} pieces instead of one")
    wire = found[0].outerWire()
    segments = [_segment_of(e) for e in edges_of(wire)]
    ys = [p[0] for s in segments for p in (s[1], s[-1])]
    y0, y1 = min(ys), max(ys)
    return _chained([s for s in segments if not _is_closing(s, y0, y1)])


def _face_below(outline: Outline) -> cq.Face:
    """Return the area between an outline and the axis, in the YZ plane."""
    edges = [edge_of(s, 0.0, 0.0, side=1) for s in outline]
    y0, y1, r0, r1 = bounds(outline)
    corners = [cq.Vector(0, y1, r1), cq.Vector(0, y1, 0), cq.Vector(0, y0, 0), cq.Vector(0, y0, r0)]
    closing = [(p, q) for p, q in pairwise(corners) if (p - q).Length > _SAME_MM]
    edges += [cq.Edge.makeLine(p, q) for p, q in closing]
    return cq.Face.makeFromWires(cq.Wire.assembleEdges(edges))


def _segment_of(edge: cq.Edge) -> Segment:
    """Read an edge in the YZ plane back as a segment with y not falling."""
    ends = [edge.startPoint(), edge.endPoint()]
    start, end = sorted(((p.y, p.z) for p in ends), key=lambda p: (round(p[0], 9), p[1]))
    if is_straight(edge):
        return ("line", start, end)
    middle = edge.positionAt(0.5)
    return ("arc", start, (middle.y, middle.z), end)


def _is_closing(segment: Segment, y0: float, y1: float) -> bool:
    """Say whether a segment runs along the axis or is one of the two upright ends."""
    (ya, ra), (yb, rb) = segment[1], segment[-1]
    if abs(ra) <= _SAME_MM and abs(rb) <= _SAME_MM:
        return True
    upright = abs(ya - yb) <= _SAME_MM
    return upright and any(abs(ya - y) <= _SAME_MM for y in (y0, y1))


def _chained(segments: Sequence[Segment]) -> list[Segment]:
    """Put segments end to end from front to rear, turning upright ones as the walk needs."""
    rest = sorted(segments, key=lambda s: s[1][0] + s[-1][0])
    at = rest[0][1]
    chain: list[Segment] = []
    while rest:
        nearest = min(rest, key=lambda s: min(math.dist(at, s[1]), math.dist(at, s[-1])))
        rest.remove(nearest)
        if math.dist(at, nearest[-1]) < math.dist(at, nearest[1]):
            nearest = _reversed(nearest)
        chain.append(nearest)
        at = nearest[-1]
    return chain


def _reversed(segment: Segment) -> Segment:
    """Return a segment run the other way."""
    return (segment[0], *segment[:0:-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """Straight travel of a spindle axis along X at one height, with a cross feed along Y, mm.

    Parameters
    ----------
    x_from_mm, x_to_mm : float
        Ends of the axis along X.
    y_from_mm, y_to_mm : float
        Ends of the cross feed; what is swept is drawn from y = 0 and moved by these.
    axis_z_mm : float
        Height of the axis.
    """

    x_from_mm: float
    x_to_mm: float
    y_from_mm: float
    y_to_mm: float
    axis_z_mm: float

    @property
    def length_mm(self) -> float:
        """Travel along X."""
        return self.x_to_mm - self.x_from_mm

    @property
    def feed_mm(self) -> float:
        """Travel along Y."""
        return self.y_to_mm - self.y_from_mm


def swept_outline(outline: Outline, travel: Travel) -> Solid:
    """Return the solid that a turning outline sweeps, filled to the axis.

    Parameters
    ----------
    outline : sequence of segment
        Radius over y as lines and arcs from front to rear; y never turns back.
    travel : Travel
        Where the axis goes.

    Returns
    -------
    Solid

    Raises
    ------
    KernelError
        The kernel could not close the swept solid.
    """
    wide = widened(outline, travel.feed_mm)
    x0, x1 = travel.x_from_mm, travel.x_to_mm
    faces: list[Shape] = []
    for segment in wide:
        lower = edge_of(segment, travel.y_from_mm, travel.axis_z_mm, side=-1)
        upper = edge_of(segment, travel.y_from_mm, travel.axis_z_mm, side=1)
        faces += _ends(lower, travel)
        if x1 - x0 > _SAME_MM:
            faces += [_pulled(e, x0, x1) for e in (lower, upper)]
    y0, y1, r0, r1 = bounds(wide)
    for y_mm, radius_mm in ((y0, r0), (y1, r1)):
        if radius_mm > _SAME_MM:
            faces.append(_stadium(radius_mm, travel, travel.y_from_mm + y_mm))
    return sewn(faces, "the wheel's sweep")


def swept_disc(radius_mm: float, y0_mm: float, y1_mm: float, travel: Travel) -> Solid:
    """Return the sweep of a plain disc that reaches from y0 to y1 before it travels; a flange, a hub.

    Parameters
    ----------
    radius_mm : float
    y0_mm, y1_mm : float
        Its front and rear, to which the start of the cross feed is added.
    travel : Travel
        Where its axis goes.

    Returns
    -------
    Solid
    """
    face = _stadium(radius_mm, travel, travel.y_from_mm + y0_mm)
    return cq.Solid.extrudeLinear(face, cq.Vector(0, y1_mm - y0_mm + travel.feed_mm, 0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Hood:
    """A hood round a rim: a band between two radii and a plate at either end, open below.

    Parameters
    ----------
    opening_deg : float
        Angle left open, centred on straight down.
    inner_mm, outer_mm : float
        Inside and outside radius of the band.
    y0_mm, y1_mm : float
        Insides of the front and the rear plate, from the wheel's front face.
    wall_mm : float
        Thickness of the plates.
    """

    opening_deg: float
    inner_mm: float
    outer_mm: float
    y0_mm: float
    y1_mm: float
    wall_mm: float


def swept_hood(hood: Hood, travel: Travel) -> Shape:
    """Return the sweep of a hood, which travels with the wheel but does not turn.

    The plates are sectors of a disc with their corner on the axis, the band is a sector of a ring. Left
    and right half of either meet any horizontal line in one piece, so each half's sweep along X is bounded
    by its left side where it starts and its right side where it ends; the halves are joined.

    Parameters
    ----------
    hood : Hood
    travel : Travel
        Where the axis of the wheel goes.

    Returns
    -------
    Shape
        One solid where the pieces join, else a compound.
    """
    plate = _swept_section(0.0, hood, travel)
    band = _swept_section(hood.inner_mm, hood, travel)
    front, rear, feed = hood.y0_mm - hood.wall_mm, hood.y1_mm + hood.wall_mm, travel.feed_mm
    front_to, rear_from = hood.y0_mm + feed, hood.y1_mm
    if front_to >= rear_from:
        pieces = [(plate, front, rear + feed)]
    else:
        pieces = [(plate, front, front_to), (band, front_to, rear_from), (plate, rear_from, rear + feed)]
    solids: list[Shape] = []
    for faces, y0, y1 in pieces:
        at = cq.Location(cq.Vector(travel.x_from_mm, travel.y_from_mm + y0, travel.axis_z_mm))
        solids += [cq.Solid.extrudeLinear(f.moved(at), cq.Vector(0, y1 - y0, 0)) for f in faces]
    if len(solids) == 1:
        return solids[0]
    joined = solids[0].fuse(*solids[1:])
    return solids_of(joined)[0] if len(solids_of(joined)) == 1 else joined


def _ends(lower: cq.Edge, travel: Travel) -> list[Shape]:
    """Return the half turns that close a sweep at both ends of its travel."""
    z = travel.axis_z_mm
    faces: list[Shape] = []
    for x, turn in ((travel.x_from_mm, 1.0), (travel.x_to_mm, -1.0)):
        axis = (cq.Vector(x, 0, z), cq.Vector(x, turn, z))
        faces.append(_turned(lower.moved(cq.Location(cq.Vector(x, 0, 0))), axis[0], axis[1]))
    return faces


def _turned(edge: cq.Edge, start: cq.Vector, end: cq.Vector) -> Face:
    """Return the face that an edge makes in half a turn about the axis through two points."""
    axis = gp_Ax1(start.toPnt(), gp_Dir((end - start).wrapped))
    return cq_shape(BRepPrimAPI_MakeRevol(edge.wrapped, axis, math.pi).Shape())


def _pulled(edge: cq.Edge, x0: float, x1: float) -> Face:
    """Return the face that an edge at x = 0 makes between two X."""
    start = edge.moved(cq.Location(cq.Vector(x0, 0, 0)))
    return cq_shape(BRepPrimAPI_MakePrism(start.wrapped, gp_Vec(x1 - x0, 0, 0)).Shape())


def _stadium(radius_mm: float, travel: Travel, y_mm: float) -> Face:
    """Return the flat end of a sweep: a disc pulled along X, at one Y."""
    x0, x1, z, r = travel.x_from_mm, travel.x_to_mm, travel.axis_z_mm, radius_mm

    def at(x: float, dz: float) -> cq.Vector:
        return cq.Vector(x, y_mm, z + dz)

    left = cq.Edge.makeThreePointArc(at(x0, -r), at(x0 - r, 0), at(x0, r))
    right = cq.Edge.makeThreePointArc(at(x1, r), at(x1 + r, 0), at(x1, -r))
    edges = [left, right]
    if x1 - x0 > _SAME_MM:
        edges += [cq.Edge.makeLine(at(x0, r), at(x1, r)), cq.Edge.makeLine(at(x1, -r), at(x0, -r))]
    return cq.Face.makeFromWires(cq.Wire.assembleEdges(_in_order(edges)))


def _in_order(edges: list[cq.Edge]) -> list[cq.Edge]:
    """Return left arc, top, right arc, bottom in the order a wire runs."""
    return edges if len(edges) == 2 else [edges[0], edges[2], edges[1], edges[3]]


def _swept_section(inner_mm: float, hood: Hood, travel: Travel) -> list[Face]:
    """Return the section of a swept sector (inner 0) or ring sector, axis at the origin, in the XZ plane."""
    right = _half_section(inner_mm, hood, travel.length_mm, mirrored=False)
    left = _half_section(inner_mm, hood, travel.length_mm, mirrored=True)
    joined = right.fuse(left).clean()
    return faces_of(joined)


def _half_section(inner_mm: float, hood: Hood, length_mm: float, *, mirrored: bool) -> Face:
    """Return one half of a sector, swept along X.

    Each half lies between a near side (toward the axis) and a far side (the outside), both rising from
    its lowest to its highest point.
    """
    half, a, b = math.radians(hood.opening_deg / 2), inner_mm, hood.outer_mm

    def ray(r: float, angle: float) -> tuple[float, float]:
        return r * math.sin(angle), -r * math.cos(angle)

    def arc(r: float) -> list[tuple[float, float]]:
        return [ray(r, half), ray(r, (half + math.pi) / 2), (0.0, r)]

    far: list[list[tuple[float, float]]] = [arc(b)]
    near: list[list[tuple[float, float]]] = [arc(a)] if a > 0 else []
    near.append([(0.0, a), (0.0, b)])
    edge = [ray(a, half) if a > 0 else (0.0, 0.0), ray(b, half)]
    if half < math.pi / 2:
        near.insert(0, edge[::-1])
    else:
        far.insert(0, edge)
    shift_near, shift_far = (0.0, length_mm) if not mirrored else (length_mm, 0.0)
    sign = -1.0 if mirrored else 1.0

    def place(path: list[list[tuple[float, float]]], shift: float) -> list[cq.Edge]:
        points = [[cq.Vector(sign * x + shift, 0, z) for x, z in piece] for piece in path]
        return [cq.Edge.makeThreePointArc(*p) if len(p) == 3 else cq.Edge.makeLine(*p) for p in points]

    edges = place(near, shift_near) + place(far, shift_far)
    ends = [(near[0][0], far[0][0]), (near[-1][-1], far[-1][-1])]
    for n, f in ends:
        p, q = (cq.Vector(sign * n[0] + shift_near, 0, n[1]), cq.Vector(sign * f[0] + shift_far, 0, f[1]))
        if (p - q).Length > _SAME_MM:
            edges.append(cq.Edge.makeLine(p, q))
    return cq.Face.makeFromWires(cq.Wire.combine(edges)[0])


def sewn(faces: Sequence[Shape], what: str) -> Solid:
    """Return the solid that faces enclose.

    Parameters
    ----------
    faces : sequence of Shape
        Their edges meet within 1e-6 mm.
    what : str
        What they enclose, for errors.

    Returns
    -------
    Solid
        Valid, its faces looking outward.

    Raises
    ------
    KernelError
        They do not close.
    """
    sewing = BRepBuilderAPI_Sewing(_SEW_MM)
    for face in faces:
        for piece in faces_of(face):
            sewing.Add(piece.wrapped)
    sewing.Perform()
    shells = cq.Shape.cast(sewing.SewedShape()).Shells()
    if len(shells) != 1:
        raise KernelError(f"{what} did not close: {len(shells)} shells from {len(faces)} faces")
    solid = cq.Solid.makeSolid(shells[0])
    if solid.Volume() < 0:
        solid = cq.Solid(solid.wrapped.Reversed())
    if not solid.isValid() or sewing.NbFreeEdges() > 0:
        raise KernelError(f"{what} is not a valid solid")
    return solid
