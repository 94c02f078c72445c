"""What a turning disc sweeps along a level path, seen from above: exact outlines of lines and arcs.

Which pieces bound the area is found on polygons (shapely), where round pieces are chords. Each side of a
polygon lies on the offset of a piece of the path, or on the disc round one of its ends. The outline is put
together of those lines and circles again, and its corners are where they meet, exact to rounding.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np
import shapely
from shapely.geometry import LinearRing, LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from fixturecheck.arrays import Bools, Floats, Point2
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.outline import Arc, Line, Piece, Ring, around_mm2, back

_SIDES = 48
"""Chords in a quarter turn of a disc."""
_SAG_MM = 2e-4
"""How far the chords of a round piece of a path may lie off it."""
_SAME_MM = 1e-9
_TANGENT_MM = 1e-7
"""Lines and circles that miss each other by less touch."""
_NOTHING_MM2 = 1e-6
"""Area below which a hole or an island is rounding."""


def points_of(path: Sequence[Piece], sag_mm: float = _SAG_MM) -> list[Point2]:
    """Return a path as points, its arcs as chords that lie off them by no more than `sag_mm`.

    Parameters
    ----------
    path : tuple of Piece
        Pieces end to end.
    sag_mm : float
        How far a chord may lie off its arc.

    Returns
    -------
    list[Point2]
        mm, in the order of the path.
    """
    points = [path[0].start]
    for piece in path:
        if isinstance(piece, Arc):
            most = 2 * math.sqrt(2 * sag_mm / piece.radius_mm) if piece.radius_mm > sag_mm else 1.0
            count = max(math.ceil(abs(piece.turn_rad) / most), 2)
            points += [piece.at(i / count) for i in range(1, count)]
        points.append(piece.end)
    return points


def area_of(rings: Sequence[Ring]) -> Polygon:
    """Return rings, outer first, as a polygon; arcs are chords.

    Parameters
    ----------
    rings : sequence of Ring
        Closed outlines, outer first.

    Returns
    -------
    Polygon
        Valid; mm.
    """
    outer, *holes = (points_of(ring)[:-1] for ring in rings)
    polygon = Polygon(outer, holes)
    return polygon if polygon.is_valid else polygon.buffer(0)


def swept_polygon(paths: Iterable[tuple[Piece, ...]], radius_mm: float) -> BaseGeometry:
    """Return roughly what a disc sweeps along paths: arcs and the disc's own rounds are chords.

    A path of one whole circle with no radius is a point at which the disc stands.

    Parameters
    ----------
    paths : sequence of tuple of Piece
        Where the centre of the disc goes, mm.
    radius_mm : float
        Radius of what turns.

    Returns
    -------
    shapely geometry
        One polygon, or several where paths lie apart.
    """
    return shapely.union_all([area for path in paths for area in _grown(path, radius_mm)])


def _grown(path: tuple[Piece, ...], radius_mm: float) -> Iterator[Polygon]:
    """Yield what a disc sweeps along the pieces of a path, its straight runs each as one.

    Along a line of chords shapely leaves out what turns inward by less than a hundredth of the radius: what
    arcs sweep is drawn of circles here.
    """
    for straight, run in groupby(path, key=lambda piece: isinstance(piece, Line)):
        pieces = tuple(run)
        if straight:
            points = points_of(pieces)
            there = Point(points[0]) if len(set(points)) == 1 else LineString(points)
            yield there.buffer(radius_mm, quad_segs=_SIDES)
            continue
        for arc in pieces:
            if isinstance(arc, Arc):
                yield from _round_band(arc, radius_mm)
                ends = () if abs(arc.turn_rad) >= 2 * math.pi - _SAME_MM else (arc.start, arc.end)
                yield from (Point(end).buffer(radius_mm, quad_segs=_SIDES) for end in ends)


def _round_band(arc: Arc, radius_mm: float) -> Iterator[Polygon]:
    """Yield the band on both sides of an arc, to its centre where that is nearer than it is wide."""
    whole = abs(arc.turn_rad) >= 2 * math.pi - _SAME_MM
    outer = points_of((replace(arc, radius_mm=arc.radius_mm + radius_mm),))
    inner_mm = arc.radius_mm - radius_mm
    inner = [arc.centre] if inner_mm <= _SAME_MM else points_of((replace(arc, radius_mm=inner_mm),))
    if whole:
        yield Polygon(outer[:-1], [inner[:-1]] if len(inner) > 1 else [])
    else:
        yield Polygon([*outer, *reversed(inner)])


def swept_outlines(paths: Sequence[tuple[Piece, ...]], radius_mm: float) -> tuple[tuple[Ring, ...], ...]:
    """Return what a disc sweeps along level paths.

    Parameters
    ----------
    paths : sequence of tuple of Piece
        Where its centre goes, mm.
    radius_mm : float
        Of the disc.

    Returns
    -------
    tuple of tuple of Ring
        For each area its rings, outer first.

    Raises
    ------
    NotComputedError
        An outline could not be put together of lines and circles.
    """
    pieces = [piece for path in paths for piece in path]
    rough = swept_polygon(paths, radius_mm)
    bounds = AreaBounds.offsets(pieces, radius_mm)
    return outlines(rough, bounds, radius_mm)


def outlines(rough: BaseGeometry, bounds: AreaBounds, radius_mm: float) -> tuple[tuple[Ring, ...], ...]:
    """Return the areas of a rough shape, bounded exactly.

    Parameters
    ----------
    rough : shapely geometry
        Polygons whose sides are chords of the bounds.
    bounds : AreaBounds
        Lines and circles that can bound it.
    radius_mm : float
        The greatest radius that was made of chords.

    Returns
    -------
    tuple[tuple[Ring, ...], ...]
        For each area its rings, outer first, of lines and arcs.

    Raises
    ------
    NotComputedError
        An outline could not be put together of lines and circles.
    """
    off_mm = radius_mm * (1 - math.cos(math.pi / (4 * _SIDES))) + _SAG_MM + 1e-6
    return tuple(
        tuple(
            _nearest(ring, bounds, off_mm)
            for ring in (area.exterior, *(hole for hole in area.interiors if _counts(hole, off_mm)))
        )
        for area in polygons_in(rough)
    )


def _nearest(ring: LinearRing, bounds: AreaBounds, off_mm: float) -> Ring:
    """Return the outline of a ring, by the closest bounds that its sides lie on.

    A chord of the polygon may stand for two steps of a round, which lie four times as far off it.
    """
    try:
        return _outline(ring, bounds, off_mm)
    except NotComputedError:
        return _outline(ring, bounds, 4.0 * off_mm)


def polygons_in(shape: BaseGeometry) -> list[Polygon]:
    """Return the areas of a shape that are more than rounding.

    Parameters
    ----------
    shape : shapely geometry
        Areas, and perhaps lines and points.

    Returns
    -------
    list[Polygon]
        Without lines, points and slivers below 1e-6 mm2.
    """
    parts = shape.geoms if hasattr(shape, "geoms") else [shape]
    return [p for p in parts if isinstance(p, Polygon) and p.area > _NOTHING_MM2]


def _counts(hole: LinearRing, off_mm: float) -> bool:
    """Tell whether a hole is more than what chords leave open between two rounds that just meet."""
    within = Polygon(hole)
    return bool(within.area > _NOTHING_MM2 and not within.buffer(-off_mm).is_empty)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AreaBounds:
    """Lines and circles that can bound an area.

    Parameters
    ----------
    points, ways : ndarray, shape (n, 2)
        A point on each line and its unit direction.
    centres : ndarray, shape (m, 2)
    radii_mm : ndarray, shape (m,)
    """

    points: Floats
    ways: Floats
    centres: Floats
    radii_mm: Floats

    @classmethod
    def offsets(cls, pieces: Sequence[Piece], by_mm: float) -> AreaBounds:
        """Return what bounds pieces widened by a distance to both sides; by 0 they bound as they are.

        Parameters
        ----------
        pieces : sequence of Piece
            Lines and arcs in the plane.
        by_mm : float
            Distance to both sides, zero or more.

        Returns
        -------
        AreaBounds
            Offset lines and circles, with a circle round each end where the distance is not zero.
        """
        lines, rounds = [], []
        for piece in pieces:
            if by_mm > 0.0:
                rounds += [(*end, by_mm) for end in (piece.start, piece.end)]
            if isinstance(piece, Arc):
                radii = {piece.radius_mm + by_mm, abs(piece.radius_mm - by_mm)}
                rounds += [(*piece.centre, radius) for radius in sorted(radii) if radius > _SAME_MM]
                continue
            long_mm = math.dist(piece.start, piece.end)
            if long_mm > _SAME_MM:
                u, v = ((b - a) / long_mm for a, b in zip(piece.start, piece.end, strict=True))
                (x, y) = piece.start
                lines += [(x - side * v, y + side * u, u, v) for side in sorted({by_mm, -by_mm})]
        straight = np.array(lines).reshape(-1, 4)
        round_ = np.array(rounds).reshape(-1, 3)
        if len(round_):
            _, first = np.unique(round_.round(9), axis=0, return_index=True)
            round_ = round_[np.sort(first)]
        return cls(points=straight[:, :2], ways=straight[:, 2:], centres=round_[:, :2], radii_mm=round_[:, 2])

    @classmethod
    def joined(cls, several: Sequence[AreaBounds]) -> AreaBounds:
        """Return all of several bounds."""
        return cls(
            points=np.concatenate([b.points for b in several]),
            ways=np.concatenate([b.ways for b in several]),
            centres=np.concatenate([b.centres for b in several]),
            radii_mm=np.concatenate([b.radii_mm for b in several]),
        )

    def fitting(self, corners: Floats, off_mm: float) -> Bools:
        """Return which of them each side of a polygon (k, 2) lies on, (k, n + m); lines first.

        Parameters
        ----------
        corners : ndarray, shape (k, 2)
            Corners of the polygon in order, mm; the last side closes it.
        off_mm : float
            How far the ends of a side may lie off what it lies on.

        Returns
        -------
        ndarray of bool, shape (k, n + m)
            A column for each line, then one for each circle.
        """
        ends = np.stack([corners, np.roll(corners, -1, axis=0)])
        arm = ends[:, :, None, :] - self.points
        aside = np.abs(arm[..., 0] * self.ways[:, 1] - arm[..., 1] * self.ways[:, 0])
        on_line = (aside <= off_mm).all(axis=0)
        away = np.linalg.norm(ends[:, :, None, :] - self.centres, axis=3)
        on_circle = (np.abs(away - self.radii_mm) <= off_mm).all(axis=0)
        # A chord of one circle may end on another that crosses it twice: its middle lies off that one.
        middle = np.linalg.norm(ends.mean(axis=0)[:, None, :] - self.centres, axis=2)
        half = 0.5 * np.linalg.norm(ends[1] - ends[0], axis=1)[:, None]
        sag = self.radii_mm - np.sqrt(np.maximum(self.radii_mm**2 - half**2, 0.0))
        on_circle &= np.abs(middle - (self.radii_mm - sag)) <= off_mm
        return np.asarray(np.concatenate([on_line, on_circle], axis=1))


def _outline(ring: LinearRing, bounds: AreaBounds, off_mm: float) -> Ring:
    """Return the ring of a polygon as the lines and circles that its sides lie on."""
    corners = np.array(ring.coords)[:-1]
    fits = bounds.fitting(corners, off_mm)
    if not fits.any(axis=1).all():
        raise NotComputedError("a side of what the cutter sweeps lies on no line or circle of its path")
    runs = _runs(fits)
    if len(runs) == 1:
        return (_whole_circle(bounds, runs[0][0], corners),)
    starts = [
        _corner(bounds, before, after, corners[at])
        for (before, _), (after, at) in zip([runs[-1], *runs[:-1]], runs, strict=True)
    ]
    pieces = [
        _piece(bounds, index, a, b, corners[_middle_corner(first, after, len(corners))])
        for (index, first), (_, after), a, b in zip(
            runs, [*runs[1:], runs[0]], starts, [*starts[1:], starts[0]], strict=True
        )
    ]
    made = tuple(p for p in pieces if p is not None)
    _refuse_other_area(made, ring, off_mm)
    return made


def _runs(fits: Bools) -> list[tuple[int, int]]:
    """Return which line or circle each run of sides lies on, and the side it begins with, (k, n) given.

    Each run is as long as any one bound fits. The first begins where the last must end.
    """
    count = len(fits)
    # Start at a side that does not go on from the one before it on any common bound, if there is one.
    start = next((i for i in range(count) if not (fits[i] & fits[i - 1]).any()), None)
    if start is None:
        whole = np.flatnonzero(fits.all(axis=0))
        if len(whole):
            return [(int(whole[0]), 0)]
        start = _after_longest(fits)
    runs, i = [], 0
    order = np.roll(fits, -start, axis=0)
    while i < count:
        left, j = order[i].copy(), i
        while j + 1 < count and (left & order[j + 1]).any():
            j += 1
            left &= order[j]
        runs.append((int(np.flatnonzero(left)[0]), (start + i) % count))
        i = j + 1
    if len(runs) > 1 and runs[0][0] == runs[-1][0]:
        runs[0] = (runs[0][0], runs.pop()[1])
    return runs


def _after_longest(fits: Bools) -> int:
    """Return the side after the longest run that fits one bound going round, none of which fits all sides."""
    count, best = len(fits), (0, 0)
    length = np.zeros(fits.shape[1], dtype=int)
    # Twice round, so that a run over the first side is counted whole.
    for i in range(2 * count):
        length = (length + 1) * fits[i % count]
        best = max(best, (int(length.max()), (i + 1) % count))
    return best[1]


def _middle_corner(first: int, after: int, count: int) -> int:
    """Return a corner well within a run of sides."""
    long = (after - first) % count or count
    return (first + (long + 1) // 2) % count


def _whole_circle(bounds: AreaBounds, index: int, corners: Floats) -> Arc:
    """Return a ring that is one circle."""
    lines = len(bounds.points)
    if index < lines:
        raise NotComputedError("a closed outline came out as one straight line")
    x, y = bounds.centres[index - lines].tolist()
    turn = math.copysign(2 * math.pi, _signed_area(corners))
    return Arc(centre=(x, y), radius_mm=float(bounds.radii_mm[index - lines]), from_rad=0.0, turn_rad=turn)


def _signed_area(corners: Floats) -> float:
    x, y = corners.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def _corner(bounds: AreaBounds, a: int, b: int, near: Floats) -> Floats:
    """Return where two bounds meet, nearest to a rough corner; where they touch, the point of touch."""
    lines = len(bounds.points)
    if a >= lines and b < lines:
        a, b = b, a
    if b < lines:
        return _line_line(bounds.points[a], bounds.ways[a], bounds.points[b], bounds.ways[b], near)
    centre, radius = bounds.centres[b - lines], float(bounds.radii_mm[b - lines])
    if a < lines:
        foot = bounds.points[a] + ((centre - bounds.points[a]) @ bounds.ways[a]) * bounds.ways[a]
        return _off_foot(foot, bounds.ways[a], radius, float(np.linalg.norm(centre - foot)), near)
    other, other_r = bounds.centres[a - lines], float(bounds.radii_mm[a - lines])
    apart = float(np.linalg.norm(other - centre))
    if apart <= _SAME_MM:
        raise NotComputedError("two rounds about one centre follow each other in an outline")
    way = (other - centre) / apart
    along = (apart * apart + radius * radius - other_r * other_r) / (2 * apart)
    return _off_foot(centre + along * way, np.array([-way[1], way[0]]), radius, abs(along), near)


def _line_line(p: Floats, u: Floats, q: Floats, v: Floats, near: Floats) -> Floats:
    cross = float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < 1e-9:
        # One line goes on as the other: any point between will do.
        return np.asarray(p + ((near - p) @ u) * u)
    arm = q - p
    return np.asarray(p + float(arm[0] * v[1] - arm[1] * v[0]) / cross * u)


def _off_foot(foot: Floats, way: Floats, radius: float, away: float, near: Floats) -> Floats:
    """Return where a line meets a circle, whose centre it passes `away` at `foot`, nearest to a corner."""
    if away > radius - _TANGENT_MM:
        return foot
    half = math.sqrt(radius * radius - away * away)
    return min((foot + half * way, foot - half * way), key=lambda p: float(np.linalg.norm(p - near)))


def _piece(bounds: AreaBounds, index: int, a: Floats, b: Floats, between: Floats) -> Piece | None:
    """Return the piece of a bound from one corner to the next; None where they are one."""
    if float(np.linalg.norm(b - a)) <= _SAME_MM and index < len(bounds.points):
        return None
    start, end = (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))
    lines = len(bounds.points)
    if index < lines:
        return Line(start=start, end=end)
    centre, radius = bounds.centres[index - lines], float(bounds.radii_mm[index - lines])
    angles = [math.atan2(*(p - centre)[::-1]) for p in (a, between, b)]
    ahead = (angles[2] - angles[0]) % (2 * math.pi)
    middle = (angles[1] - angles[0]) % (2 * math.pi)
    turn = ahead if middle <= ahead else ahead - 2 * math.pi
    if abs(turn) * radius <= _SAME_MM or (2 * math.pi - abs(turn)) * radius <= _SAME_MM:
        return None
    return Arc(
        centre=(float(centre[0]), float(centre[1])), radius_mm=radius, from_rad=angles[0], turn_rad=turn
    )


def _refuse_other_area(pieces: Ring, ring: LinearRing, off_mm: float) -> None:
    """Refuse an outline that does not close, or whose area is not that of the polygon it was made from."""
    gaps = [math.dist(a.end, b.start) for a, b in pairwise([*pieces, *pieces[:1]])]
    found = Polygon(points_of(pieces)[:-1]) if pieces else Polygon()
    most = 3 * off_mm * ring.length + _NOTHING_MM2
    far = max(gaps, default=0.0) > 1e-6
    if far or not found.is_valid or abs(found.area - Polygon(ring).area) > most:
        raise NotComputedError(
            "the outline of what the cutter sweeps could not be put together of lines and circles"
        )


def turned_round(ring: Ring, counterclockwise: bool) -> Ring:
    """Return a ring that runs a given way round.

    Parameters
    ----------
    ring : Ring
        A closed outline.
    counterclockwise : bool
        Which way round, seen from above.

    Returns
    -------
    Ring
        The same pieces, each run backward where the ring ran the other way.
    """
    if (around_mm2(ring) > 0) == counterclockwise:
        return ring
    return tuple(back(piece) for piece in reversed(ring))


def merged(areas: Sequence[BaseGeometry]) -> BaseGeometry:
    """Return the union of areas.

    Parameters
    ----------
    areas : sequence of shapely geometry
        What is joined.

    Returns
    -------
    shapely geometry
        Empty where there are none.
    """
    return shapely.union_all(list(areas)) if areas else MultiPolygon()
