"""The milling cutter where it stands: in which bodies, over which places of a face, and what its teeth do.

A set-up states the way of a cutter and not where it stands across the face. So what it cuts at a time is put
at either edge of the face, with the axis where teeth meet either end of the face, and once between. Places at
which the cutter would stand in the finished part, or in what holds it, are left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.holding.model import LoadCase
from fixturecheck.hull import convex_hull, corners_round
from fixturecheck.interval import Range
from fixturecheck.kernel.measure import box_of, extent_along, loose_box
from fixturecheck.kernel.sample import points_all_over, rim_points
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.machining.end_mill import stands_over
from fixturecheck.machining.milling import Mill, Shearing, Turned, laws, one_turn, shearing, strip_mm
from fixturecheck.numeric import UP, to_vector
from fixturecheck.result.hold import CutCase, CutterWay, Edge, End
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.holding import Milling
from fixturecheck.statics.equilibrium import Load

SAME_MM = 1e-6
_ANGLES = 7
_LONG_DIAMETERS = 3.0
"""Length of a cutter over its diameter, beyond which its holder begins: common practice, no source."""
GRAZE_MM = 0.02
"""How deep a cutter may lie in what it only just meets."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutter:
    """A cutter where it stands.

    Parameters
    ----------
    axis_mm : ndarray, shape (3,)
        Lower end of its axis.
    radius_mm, long_mm : float
    corner_mm : float
        Radius between its end and its side.
    """

    axis_mm: Floats
    radius_mm: float
    long_mm: float
    corner_mm: float = 0.0

    def deep_mm(self, points: Floats) -> float:
        """Return how deep the deepest of some points lies in it; zero where none does."""
        inside = np.minimum(self.behind_mm(points), self.above_mm(points))
        reached = points[:, 2] <= self.axis_mm[2] + self.long_mm
        return max(0.0, float(np.where(reached, inside, 0.0).max(initial=0.0)))

    def behind_mm(self, points: Floats) -> Floats:
        """Return how far points lie behind its side; below zero outside."""
        apart: Floats = np.hypot(*(points - self.axis_mm)[:, :2].T)
        if self.corner_mm <= 0.0:
            return self.radius_mm - apart
        below = np.clip(1.0 - self.above_mm(points) / self.corner_mm, 0.0, 1.0)
        return self.radius_mm - self.corner_mm * (1.0 - np.sqrt(1.0 - below**2)) - apart

    def above_mm(self, points: Floats) -> Floats:
        """Return how far points lie above its end."""
        above: Floats = points[:, 2] - self.axis_mm[2]
        return above


def cutter_at(axis_mm: Vector, diameter_mm: float) -> Cutter:
    """Return a square cutter with its axis there.

    Parameters
    ----------
    axis_mm : Vector
        Lower end of its axis.
    diameter_mm : float

    Returns
    -------
    Cutter
    """
    return Cutter(
        axis_mm=np.array(axis_mm), radius_mm=0.5 * diameter_mm, long_mm=_LONG_DIAMETERS * diameter_mm
    )


def flutes_at(axis_mm: Vector, mill: Milling) -> Cutter:
    """Return the flutes of the cutter of a cut with its axis there, square at their end.

    Parameters
    ----------
    axis_mm : Vector
        Lower end of its axis.
    mill : Milling

    Returns
    -------
    Cutter
        As long as its head where it has a neck; what lies on that is not met.
    """
    cutter = cutter_at(axis_mm, mill.cutter_mm)
    return cutter if mill.head_mm is None else replace(cutter, long_mm=max(mill.head_mm - GRAZE_MM, SAME_MM))


def _stands_in(axis_mm: Vector, mill: Milling, bodies: Mapping[str, Floats]) -> set[str]:
    """Return the bodies that the cutter would stand in, of points (n, 3) on each."""
    whole = [replace(flutes_at(axis_mm, mill), corner_mm=mill.corner_mm)]
    if mill.head_mm is not None:
        over = (axis_mm[0], axis_mm[1], axis_mm[2] + mill.head_mm)
        whole.append(replace(cutter_at(over, mill.neck_mm), long_mm=_LONG_DIAMETERS * mill.cutter_mm))
    return {n for n, points in bodies.items() if any(c.deep_mm(points) > GRAZE_MM for c in whole)}


def cut_of(mill: Milling) -> Mill:
    """Return a cut as numbers.

    Parameters
    ----------
    mill : Milling
        As stated.

    Returns
    -------
    Mill
        Flutes without a stated helix are straight.
    """
    return Mill(
        cutter_mm=mill.cutter_mm,
        teeth=mill.teeth,
        deep_mm=mill.deep_mm,
        wide_mm=mill.wide_mm,
        feed_mm_tooth=mill.feed_mm_tooth,
        helix_deg=mill.helix_deg or 0.0,
        corner_mm=mill.corner_mm,
        taper_deg=mill.taper_deg,
    )


def taken(mill: Milling) -> Shearing:
    """Return what cutting it takes; flutes lift by no more than they lean, if nothing rubs along them.

    Parameters
    ----------
    mill : Milling
        States what it cuts as, and its helix.

    Returns
    -------
    Shearing
        Of the table; with a stated helix the axial ratio goes from zero to its tangent.
    """
    table = shearing(mill.cuts_as)
    if mill.helix_deg is None:
        return table
    lift = math.tan(math.radians(mill.helix_deg))
    return replace(table, axial_ratio=Range(low=0.0, high=lift))


def axes_of(feed: Vector) -> tuple[Vector, Vector]:
    """Return level unit vectors along a feed and to the left of it.

    Parameters
    ----------
    feed : Vector
        Any but straight up or down; its rise is left out.

    Returns
    -------
    tuple of Vector
        Along and to the left, seen from above.
    """
    x, y = feed[0], feed[1]
    level = math.hypot(x, y)
    return (x / level, y / level, 0.0), (-y / level, x / level, 0.0)


def angles_of(mill: Milling, way: CutterWay) -> Iterator[tuple[int, Turned]]:
    """Yield the cutter over a turn, with every pair of ends of radial and axial force, and its number.

    Parameters
    ----------
    mill : Milling
        The cut.
    way : CutterWay
        Which way the cutter goes.

    Yields
    ------
    tuple of int and Turned
        Number of the pair of ends, from 0, and the cutter at one angle.
    """
    for i, law in enumerate(laws(taken(mill))):
        for turned in one_turn(cut_of(mill), law, way, steps=_ANGLES):
            yield i, turned


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strip:
    """What is cut at a time, along the feed.

    Parameters
    ----------
    number : int
        From the right of the feed on.
    axis_mm : float
        Where the axis stands, to the left of the feed.
    span_mm : tuple of float
        Where the face begins and ends in it.
    has_corner : bool
        A corner of the face between its edges lies in the middle of it.
    """

    number: int
    axis_mm: float
    span_mm: tuple[float, float]
    has_corner: bool

    @property
    def middle_mm(self) -> float:
        """Midway along it."""
        return 0.5 * (self.span_mm[0] + self.span_mm[1])


class CutterPlaces:
    """The face that is milled, along a feed (x) and to the left of it (y), and what stands in the way."""

    def __init__(
        self,
        mill: Milling,
        part: str,
        placed: Mapping[str, Solid],
        *,
        face: Shape,
        feed: Vector,
        z_mm: float,
        number: int,
    ) -> None:
        self.mill, self.part, self.feed, self.z_mm, self.number = mill, part, feed, z_mm, number
        self.axes = tuple(np.array(v) for v in axes_of(feed))
        self.span, self.across = (extent_along(face, v) for v in self.axes)
        self.corners = corners_round(rim_points(face) @ np.stack(self.axes, axis=1))
        self.met: set[str] = set()
        self._higher = _higher(placed, z_mm + GRAZE_MM)
        self._over = None
        if mill.head_mm is not None:
            floor = shapely.MultiPoint(rim_points(face)[:, :2]).convex_hull
            self._over = stands_over(placed[part], z_mm, mill.head_mm, floor)
        self._clear: dict[tuple[float, float], bool] = {}

    def cases(self, number: int, way: CutterWay) -> Iterator[LoadCase]:
        """Yield every place and angle of one way of the cutter.

        Parameters
        ----------
        number : int
            Of the way; the group of each case begins with it.
        way : CutterWay
            Which way the cutter goes.
        """
        strips = [s for s in self.strips(way) if self.is_open(s)]
        inner = [s for s in strips if self._is_clear(s.middle_mm, s.axis_mm)]
        turned = tuple(angles_of(self.mill, way))
        for strip in strips:
            # Between the outermost, what lies in a corner of the face alone.
            at_rim = strip.has_corner or strip in (strips[0], strips[-1])
            for law, angle in turned:
                places = self._ends(angle, strip) if at_rim else ()
                if inner and strip is inner[len(inner) // 2]:
                    places = (*places, (1, self._middle(angle, strip)))
                for p, x in places:
                    teeth = self._teeth(angle, x, strip)
                    if teeth:
                        case = replace(self._place(p, way), force_n=_force_n(teeth))
                        yield LoadCase(
                            of_cut=case,
                            # Where the tooth stands that pushes hardest.
                            at_mm=max(teeth, key=lambda t: math.hypot(*t.force_n)).at_mm,
                            axis_mm=self._axis(x, strip.axis_mm),
                            group=(number, strip.number, p, law, self.number),
                            feed=self.feed,
                            teeth=teeth,
                        )

    def _middle(self, angle: Turned, strip: _Strip) -> float:
        """Return where a foremost tooth stands in mid face, of a run where a wall lets it."""
        x = strip.middle_mm - max(t.at_mm[0] for t in angle.teeth)
        return strip.middle_mm if self.mill.of_run and not self._is_clear(x, strip.axis_mm) else x

    def _axis(self, x_mm: float, y_mm: float) -> Vector:
        """Return the lower end of the axis at a place."""
        along, left = self.axes
        return to_vector(x_mm * along + y_mm * left + np.array([0.0, 0.0, self.z_mm]))

    def _is_clear(self, x_mm: float, y_mm: float) -> bool:
        """Say whether the cutter stands in nothing there."""
        key = (round(x_mm, 6), round(y_mm, 6))
        if key not in self._clear:
            inside = _stands_in(self._axis(x_mm, y_mm), self.mill, self._higher)
            self.met |= inside
            self._clear[key] = not inside
        return self._clear[key]

    def is_open(self, strip: _Strip) -> bool:
        """Say whether the cutter stands in nothing in the middle of a strip or well in at either end."""
        radius = 0.5 * self.mill.cutter_mm
        (x_from, x_to), y = strip.span_mm, strip.axis_mm
        return any(self._is_clear(x, y) for x in (strip.middle_mm, x_from + radius, x_to - radius))

    def strips(self, way: CutterWay) -> list[_Strip]:
        """Return what is cut at a time at either edge, between, and at each corner of the face."""
        wide = self.mill.wide_mm
        low, high = self.across[0] + 0.5 * wide, self.across[1] - 0.5 * wide
        middle = 0.5 * (self.across[0] + self.across[1])
        aside = 0.5 * sum(strip_mm(cut_of(self.mill), way))
        if high - low < SAME_MM:
            return [self._strip(0, middle, middle - aside)]
        corners = [y for y in self.corners[:, 1] if low + GRAZE_MM < y < high - GRAZE_MM]
        rows = sorted({low, middle, high, *(y for y in corners if abs(y - middle) > GRAZE_MM)})
        return [self._strip(s, m, m - aside, corners) for s, m in enumerate(rows)]

    def _strip(self, number: int, middle_mm: float, axis_mm: float, corners: Sequence[float] = ()) -> _Strip:
        """Return a strip of the face, as long as the face is there."""
        half = 0.5 * self.mill.wide_mm
        reach = shapely.box(self.span[0], middle_mm - half, self.span[1], middle_mm + half)
        span_mm = convex_hull(self.corners).intersection(reach).bounds[::2]
        rim = any(abs(y - middle_mm) <= GRAZE_MM for y in corners)
        return _Strip(number=number, axis_mm=axis_mm, span_mm=span_mm, has_corner=rim)

    def _ends(self, angle: Turned, strip: _Strip) -> tuple[tuple[int, float], ...]:
        """Return where the first and last of its teeth just meet either end; at a wall, a radius off it."""
        reach = sorted({round(t.at_mm[0], 9) for t in angle.teeth})
        radius, y = 0.5 * self.mill.cutter_mm, strip.axis_mm
        found: dict[tuple[int, float], None] = {}
        for p, end, inward in ((0, strip.span_mm[0], radius), (2, strip.span_mm[1], -radius)):
            for x in (end - reach[0], end - reach[-1]):
                place = x if self._is_clear(x, y) else end + inward
                if self._is_clear(place, y):
                    found[p, place] = None
        return tuple(found)

    def _teeth(self, angle: Turned, x_mm: float, strip: _Strip) -> tuple[Load, ...]:
        """Return what the teeth that stand over the face do to the part."""
        along, left = self.axes
        y_mm, found = strip.axis_mm, []
        for tooth in angle.teeth:
            if _over(x_mm + tooth.at_mm[0], strip.span_mm) and _over(y_mm + tooth.at_mm[1], self.across):
                at, force = (v[0] * along + v[1] * left + v[2] * UP for v in (tooth.at_mm, tooth.force_n))
                place = to_vector(at + self._axis(x_mm, y_mm))
                if self._over is not None and not self._over.contains(shapely.Point(place[:2])):
                    # A T-slot is made beside a slot that is there already.
                    continue
                found.append(Load(body=self.part, force_n=to_vector(force), at_mm=place, label="cut"))
        return tuple(found)

    def _place(self, place: int, way: CutterWay) -> CutCase:
        """Return the case at the beginning, in the middle or at the end of the feed over the face."""
        x, y, _ = self.feed
        if abs(x) >= abs(y):
            return CutCase(stroke=way, end=tuple(End)[place if x > 0.0 else 2 - place])
        return CutCase(stroke=way, edge=tuple(Edge)[place if y > 0.0 else 2 - place])


def _higher(placed: Mapping[str, Solid], z_mm: float) -> dict[str, Floats]:
    """Return points on the bodies that reach higher than the face that is milled."""
    tall = {n: s for n, s in placed.items() if loose_box(s)[5] > z_mm}
    return {n: points_all_over(s) for n, s in tall.items() if box_of(s)[5] > z_mm}


def _force_n(teeth: Sequence[Load]) -> float:
    """Return the force of all teeth together."""
    return math.hypot(*(sum(t.force_n[i] for t in teeth) for i in range(3)))


def _over(place_mm: float, span: tuple[float, float]) -> bool:
    return span[0] - SAME_MM <= place_mm <= span[1] + SAME_MM
