"""What two flat faces with straight and round edges share, exact to rounding, without the kernel's booleans.

Round edges become chords, and where the outlines meet they get a corner more, so that no chord is cut. What
lies between an arc and its chord then belongs to the shared area as its chord does to the shared outline.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Bools, Floats
from fixturecheck.contact.placed import FacePair, PlaneFrame, Standing, sine_between

_SAME_MM = 1e-9
_SNAP_MM = 1e-8
_CUT_MM = 1e-6
"""A piece of a chord that is shorter is rounding."""
_TANGENT = 1e-5
"""Sine between two outlines below which they touch where they meet."""
_LEAST_RADIUS_MM = 0.02
"""Chords of narrower arcs turn too far to stand for them."""
_TILT = 1e-6
"""Sine between two planes below which a circle on one is a circle seen on the other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedArea:
    """An area that two flat faces share.

    Parameters
    ----------
    polygon : shapely Polygon
        Its outline, with chords for arcs.
    area_mm2 : float
    centre : ndarray, shape (2,)
        Its centre in the plane.
    """

    polygon: Any
    area_mm2: float
    centre: Floats


@dataclass(frozen=True, eq=False)
class _Ring:
    """One ring of an outline in a plane; k sides.

    Parameters
    ----------
    points : ndarray, shape (k, 2)
        Where each side begins.
    rounds : ndarray, shape (k, 3)
        Centre and radius of the arc that each side stands for; nan where it is straight.
    """

    points: Floats
    rounds: Floats

    @cached_property
    def ends(self) -> Floats:
        """Where each side ends, (k, 2)."""
        return np.concatenate([self.points[1:], self.points[:1]])

    @cached_property
    def is_round(self) -> Bools:
        """Which sides stand for arcs."""
        return ~np.isnan(self.rounds[:, 0])

    @cached_property
    def arcs(self) -> Floats:
        """Each arc once, (n, 3)."""
        return np.array(sorted(set(map(tuple, self.rounds[self.is_round].tolist())))).reshape(-1, 3)

    @cached_property
    def lines(self) -> tuple[Floats, Floats, Floats]:
        """Where straight sides start, (n, 2), unit ways along them, (n, 2), and how long they are, mm."""
        straight = ~self.is_round
        starts, ways = self.points[straight], (self.ends - self.points)[straight]
        long_mm = np.linalg.norm(ways, axis=1)
        starts, ways, long_mm = (column[long_mm > _SAME_MM] for column in (starts, ways, long_mm))
        return starts, ways / long_mm[:, None], long_mm

    @cached_property
    def turns(self) -> Floats:
        """How far each arc turns from its start to its end, radians; nan where straight."""
        return _turned(self.points - self.rounds[:, :2], self.ends - self.rounds[:, :2])

    def with_corners(self, spots: Floats) -> _Ring:
        """Return the ring with corners more where spots (n, 2) lie on its arcs between two corners."""
        if not self.arcs.size:
            return self
        turns = self.turns[:, None]
        arms = self.points - self.rounds[:, :2]
        reach = spots[None] - self.rounds[:, None, :2]
        radii = self.rounds[:, 2:]
        on = np.abs(np.linalg.norm(reach, axis=2) - radii) <= _SNAP_MM
        at = _turned(arms[:, None], reach)
        room = _SAME_MM / radii
        within = on & (at * turns > 0.0) & (np.abs(at) > room) & (np.abs(at) < np.abs(turns) - room)
        if not within.any():
            return self
        points, rounds = [], []
        for k, (point, arc) in enumerate(zip(self.points, self.rounds, strict=True)):
            more = np.flatnonzero(within[k])
            more = more[np.argsort(np.abs(at[k, more]))]
            _, first = np.unique(np.round(at[k, more] * arc[2] / _SAME_MM), return_index=True)
            more = more[np.sort(first)]
            points += [point, *spots[more]]
            rounds += [arc] * (1 + len(more))
        return _Ring(np.array(points), np.array(rounds))


def shared_areas(pair: FacePair) -> tuple[list[SharedArea], bool] | None:
    """Return what two level faces share, seen along the normal of the first.

    Parameters
    ----------
    pair : FacePair

    Returns
    -------
    tuple of list of SharedArea and bool, or None
        The areas, and whether the outlines also meet along a line or at a point beside them. None where an
        edge is neither straight nor round, where outlines cross at too flat an angle for their chords, or
        where a chord is still cut.
    """
    a, i, b, j = pair
    if sine_between(a.normals[i], b.normals[j]) > _TILT:
        return None
    frame, _ = a.outline(i)
    ours, theirs = _rings_of(a, i, frame), _rings_of(b, j, frame)
    if ours is None or theirs is None:
        return None
    meetings = [_meetings(one, other) for one in ours for other in theirs]
    if any(m is None for m in meetings):
        return None
    spots = np.vstack([np.empty((0, 2)), *(m for m in meetings if m is not None)])
    ours, theirs = ([r.with_corners(spots) for r in rings] for rings in (ours, theirs))
    corners = np.vstack([r.points for r in ours])
    theirs = [_snapped(ring, corners) for ring in theirs]
    shared = shapely.intersection(_polygon(ours), _polygon(theirs))
    chords, parts = _Chords([*ours, *theirs]), shapely.get_parts(shared)
    parts = parts[~shapely.is_empty(parts)]
    found = [chords.rounded(part) for part in parts if part.geom_type == "Polygon"]
    areas = [area for area in found if area is not None]
    return (areas, len(found) < len(parts)) if len(areas) == len(found) else None


def _rings_of(body: Standing, face: int, frame: PlaneFrame) -> list[_Ring] | None:
    """Return the outline of a flat face; None where an edge is neither straight nor round."""
    edges = body.table.face_edges[face]
    arcs = {}
    for e in edges[~body.table.straight[edges]].tolist():
        circle = body.circle(e)
        if circle is None or circle.radius_mm < _LEAST_RADIUS_MM:
            return None
        arcs[e] = (*frame.flat(circle.centre[None])[0], circle.radius_mm)
    rings = []
    for points, sides in zip(body.rings(face), body.table.rings.sides(face), strict=True):
        rounds = np.full((len(sides), 3), np.nan)
        for e, arc in arcs.items():
            rounds[sides == e] = arc
        rings.append(_Ring(frame.flat(points), rounds))
    return rings


def _meetings(one: _Ring, other: _Ring) -> Floats | None:
    """Return where an arc of either ring meets the other ring, (n, 2); None where it does so too flatly."""
    spots = [one.points[one.is_round], other.points[other.is_round], other.ends[other.is_round]]
    spots.append(one.ends[one.is_round])
    for round_ring, ring in ((one, other), (other, one)):
        for arc in round_ring.arcs:
            steep = _chord_turn(round_ring, arc)
            for found in (_on_lines(arc, ring, steep), _on_arcs(arc, ring, steep)):
                if found is None:
                    return None
                spots.append(found)
    return np.vstack(spots)


def _chord_turn(ring: _Ring, arc: Floats) -> float:
    """Return the sine that outlines have to cross an arc at: twice what its longest chord turns."""
    own = np.all(ring.rounds == arc, axis=1)
    return float(min(2.0 * np.abs(ring.turns[own]).max(), 1.0))


def _on_lines(arc: Floats, ring: _Ring, steep: float) -> Floats | None:
    """Return where a circle meets the straight sides of a ring."""
    starts, ways, long_mm = ring.lines
    arm = arc[:2] - starts
    along, aside = np.einsum("ij,ij->i", arm, ways), arm[:, 0] * ways[:, 1] - arm[:, 1] * ways[:, 0]
    half = np.sqrt(np.maximum(arc[2] ** 2 - aside**2, 0.0))
    at = np.stack([along - half, along + half], axis=1)
    meets = (np.abs(aside) <= arc[2])[:, None] & (at >= -_SAME_MM) & (at <= long_mm[:, None] + _SAME_MM)
    # Between tangent and line the sine is half the chord over the radius.
    sine = half / arc[2]
    if np.any(meets & ((sine > _TANGENT) & (sine < steep))[:, None]):
        return None
    of, which = np.nonzero(meets)
    return np.asarray(starts[of] + at[of, which][:, None] * ways[of])


def _on_arcs(arc: Floats, ring: _Ring, steep: float) -> Floats | None:
    """Return where a circle meets the arcs of a ring; not where both are one circle."""
    found = [np.empty((0, 2))]
    for other in ring.arcs:
        way = other[:2] - arc[:2]
        apart = float(np.linalg.norm(way))
        if apart <= _SAME_MM and abs(other[2] - arc[2]) <= _SAME_MM:
            continue
        if apart <= _SAME_MM or not abs(arc[2] - other[2]) <= apart <= arc[2] + other[2]:
            continue
        along = (apart**2 + arc[2] ** 2 - other[2] ** 2) / (2.0 * apart)
        half = math.sqrt(max(arc[2] ** 2 - along**2, 0.0))
        if _TANGENT < half * apart / (arc[2] * other[2]) < max(steep, _chord_turn(ring, other)):
            return None
        unit = way / apart
        middle, across = arc[:2] + along * unit, half * np.array([-unit[1], unit[0]])
        found.append(np.array([middle + across, middle - across]))
    return np.vstack(found)


def _turned(start: Floats, end: Floats) -> Floats:
    """Return the angle from one arm (..., 2) to another, radians within half a turn."""
    cross = start[..., 0] * end[..., 1] - start[..., 1] * end[..., 0]
    return np.arctan2(cross, start[..., 0] * end[..., 0] + start[..., 1] * end[..., 1])


def _snapped(ring: _Ring, corners: Floats) -> _Ring:
    """Return a ring with its corners moved onto others that are the same but for rounding."""
    off = np.abs(ring.points[:, None] - corners[None]).max(axis=2)
    nearest = off.argmin(axis=1)
    same = off[np.arange(len(nearest)), nearest] <= _SNAP_MM
    return _Ring(np.where(same[:, None], corners[nearest], ring.points), ring.rounds)


def _polygon(rings: Sequence[_Ring]) -> Any:
    return shapely.Polygon(rings[0].points, [r.points for r in rings[1:]])


class _Chords:
    """The chords of some rings, by their ends."""

    def __init__(self, rings: Sequence[_Ring]) -> None:
        self._known: dict[tuple[float, float, float, float], tuple[float, Floats]] = {}
        sides = [np.empty((0, 2, 2))]
        for ring in rings:
            of = np.flatnonzero(ring.is_round)
            starts, ends, turns = ring.points[of], ring.ends[of], ring.turns[of]
            sides.append(np.stack([starts, ends], axis=1))
            for side, turn, arc in zip(_keys(starts, ends), turns.tolist(), ring.rounds[of], strict=True):
                self._known[side] = turn, arc
                self._known[(*side[2:], *side[:2])] = -turn, arc
        self._lines = shapely.multilinestrings(shapely.linestrings(np.concatenate(sides)))

    def rounded(self, polygon: Any) -> SharedArea | None:
        """Return the area of a polygon whose chords stand for arcs; None where one of them was cut."""
        area = float(polygon.area)
        moment = area * shapely.get_coordinates(polygon.centroid)[0]
        for points, way in _around(polygon):
            ends = np.roll(points, -1, axis=0)
            straight = []
            for k, key in enumerate(_keys(points, ends)):
                if key not in self._known:
                    straight.append(k)
                    continue
                turn, arc = self._known[key]
                turn *= way
                more = 0.5 * arc[2] ** 2 * (turn - math.sin(turn))
                middle = 0.5 * (points[k] + ends[k]) - arc[:2]
                # First moment of a segment of a circle about its middle, from there toward the chord.
                out_mm3 = 2.0 / 3.0 * (arc[2] * math.sin(0.5 * turn)) ** 3
                area += more
                moment = moment + more * arc[:2] + out_mm3 * middle / np.linalg.norm(middle)
            if self._is_cut(points[straight], ends[straight]):
                return None
        return SharedArea(polygon=polygon, area_mm2=area, centre=moment / area) if area > 0.0 else None

    def _is_cut(self, starts: Floats, ends: Floats) -> bool:
        """Whether a side lies on a chord without being all of it."""
        long = np.linalg.norm(ends - starts, axis=1) > _CUT_MM
        middles = shapely.points(0.5 * (starts + ends)[long])
        return bool(np.any(shapely.distance(self._lines, middles) <= _SAME_MM))


def _keys(starts: Floats, ends: Floats) -> Iterator[tuple[float, float, float, float]]:
    yield from map(tuple, (np.round(np.hstack([starts, ends]) / _SNAP_MM) + 0.0).tolist())


def _around(polygon: Any) -> Iterator[tuple[Floats, int]]:
    """Yield the corners of each ring of a polygon, and +1 where it runs with the area on its left."""
    for k, ring in enumerate((polygon.exterior, *polygon.interiors)):
        yield shapely.get_coordinates(ring)[:-1], 1 if bool(shapely.is_ccw(ring)) == (k == 0) else -1
