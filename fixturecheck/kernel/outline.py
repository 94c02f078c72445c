"""What radius passes each Y: an outline of lines and arcs over y, widened by a cross feed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Literal

import cadquery as cq

from fixturecheck.errors import KernelError

Point = tuple[float, float]
"""(y, r) in mm."""
Segment = tuple[Literal["line"], Point, Point] | tuple[Literal["arc"], Point, Point, Point]
"""A straight piece (start, end) or a circular one (start, a point on it, end)."""
Outline = Sequence[Segment]

_SAME_MM = 1e-9


def bounds(outline: Outline) -> tuple[float, float, float, float]:
    """Return y and r of the outline's two ends: y0, y1, r0, r1."""
    (y0, r0), (y1, r1) = outline[0][1], outline[-1][-1]
    return y0, y1, r0, r1


def edge_of(segment: Segment, y_mm: float, axis_z_mm: float, *, side: int) -> cq.Edge:
    """Return a segment as an edge at x = 0, below (side -1) or above (+1) an axis of that height."""
    points = [cq.Vector(0, y_mm + y, axis_z_mm + side * r) for y, r in segment[1:]]
    if len(points) == 2:
        return cq.Edge.makeLine(*points)
    return cq.Edge.makeThreePointArc(*points)


def widened(outline: Outline, by_mm: float) -> list[Segment]:
    """Return the greatest radius that passes each y when the outline moves from 0 to `by_mm`.

    An outline that rises and then falls keeps its rise, holds its peak for `by_mm` and falls that much
    later. Any other is cut at its valleys into such pieces; the widened pieces are joined.

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
        cy, cr, radius = circle_through(start, middle, end)
        crest_r = cr + math.copysign(radius, middle[1] - cr) if _spans(start, end, cy) else None
        if crest_r is None:
            pieces.append(s)
            continue
        crest = (cy, crest_r)
        for p, q in ((start, crest), (crest, end)):
            pieces.append(("arc", p, _arc_middle((cy, cr), radius, p, q), q))
    return pieces


def _spans(start: Point, end: Point, y: float) -> bool:
    """Say whether y lies strictly between the ends of an arc."""
    return start[0] + _SAME_MM < y < end[0] - _SAME_MM


def circle_through(a: Point, b: Point, c: Point) -> tuple[float, float, float]:
    """Return centre and radius of the circle through three points."""
    (ax, ay), (bx, by), (cx, cy) = a, b, c
    bx, by, cx, cy = bx - ax, by - ay, cx - ax, cy - ay
    d = 2 * (bx * cy - by * cx)
    x = (cy * (bx * bx + by * by) - by * (cx * cx + cy * cy)) / d
    y = (bx * (cx * cx + cy * cy) - cx * (bx * bx + by * by)) / d
    return x + ax, y + ay, math.hypot(x, y)


def _arc_middle(centre: Point, radius: float, p: Point, q: Point) -> Point:
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
    peak: Point = up[-1][-1] if up else hill[0][1]
    start = peak
    if up and up[-1][0] == "line" and _rise(up[-1]) == 0:
        start = up.pop()[1]
    held: Segment = ("line", start, (peak[0] + by_mm, peak[1]))
    return [*up, held, *down]


def _moved(segment: Segment, by_mm: float) -> Segment:
    """Return a segment moved along y."""

    def shift(point: Point) -> Point:
        return point[0] + by_mm, point[1]

    if segment[0] == "line":
        return ("line", shift(segment[1]), shift(segment[2]))
    return ("arc", shift(segment[1]), shift(segment[2]), shift(segment[3]))


def _envelope(hills: Sequence[Outline]) -> list[Segment]:
    """Return the upper outline of several overlapping hills."""
    faces = [_face_below(h) for h in hills]
    joined = faces[0].fuse(*faces[1:]).clean()
    found = joined.Faces()
    if len(found) != 1:
        message = f"widening the wheel's outline left {len(found)} pieces instead of one"
        raise KernelError(message)
    wire = found[0].outerWire()
    segments = [_segment_of(e) for e in wire.Edges()]
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
    if edge.geomType() == "LINE":
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
