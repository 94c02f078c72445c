"""The section of a wheel that its shape and sizes give, to be turned into a solid."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fixturecheck.arrays import Point2, Segment
from fixturecheck.errors import SetupError
from fixturecheck.numeric import circle_through
from fixturecheck.shop.wheels import Wheel, check_wheel

Corner = tuple[Point2, float]
"""A corner of an outline before rounding, and the radius in mm that goes on it."""


_SAME_POINT_MM = 1e-9
"""Pieces shorter than this are left out, and a radius may miss its room by this much."""


_NOTICEABLE = 1e-6
"""Share of an arc's rise below which a bulge past its ends is rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """An ordered, closed outline in (y, r); each segment starts where the one before it ends.

    The outline starts at the front end of the bore, goes out along the front, over the rim toward +Y,
    back in along the rear, and home along the bore.
    """

    segments: tuple[Segment, ...]

    def moved(self, y_mm: float) -> Section:
        """Return the outline moved along the axis."""

        def shift(p: Point2) -> Point2:
            return p[0] + y_mm, p[1]

        moved: list[Segment] = []
        for s in self.segments:
            if s[0] == "line":
                moved.append(("line", shift(s[1]), shift(s[2])))
            else:
                moved.append(("arc", shift(s[1]), shift(s[2]), shift(s[3])))
        return Section(segments=tuple(moved))

    def extremes(self) -> Iterator[Point2]:
        """Yield every segment's start and the points where an arc bulges farthest along y or r."""
        for s in self.segments:
            yield s[1]
            if s[0] == "arc":
                yield from _bulges(s[1], s[2], s[3])

    @property
    def largest_radius_mm(self) -> float:
        """The greatest distance of the outline from the axis."""
        return max(r for _, r in self.extremes())

    @property
    def y_range_mm(self) -> tuple[float, float]:
        """The least and greatest y of the outline."""
        ys = [y for y, _ in self.extremes()]
        return min(ys), max(ys)


def profile(wheel: Wheel, *, filled: bool = False) -> Section:
    """Return the section of a wheel with its front face at y = 0.

    Parameters
    ----------
    wheel : Wheel
        Any known shape of ISO 525, with its corner radius or dressed profile.
    filled : bool
        Fill the bore down to the axis, as the arbor does; for sweeps.

    Returns
    -------
    Section
        In (y, r), mm.

    Raises
    ------
    SetupError
        The dimensions do not make a wheel; the message names the letter of ISO 525.

    References
    ----------
    ISO 525 [@iso525] (shapes and letters; from memory, as no copy was at hand).
    """
    check_wheel(wheel)
    inner_mm = 0.0 if filled else wheel.bore_mm / 2
    return rounded_section(_OUTLINES[wheel.shape](wheel, inner_mm), what=f"a wheel of shape {wheel.shape}")


def rounded_section(corners: Sequence[Corner], *, what: str) -> Section:
    """Return the closed outline through the corners, each with its radius.

    Parameters
    ----------
    corners : sequence of ((float, float), float)
        Each corner and its radius, mm; a radius of zero leaves it sharp.
    what : str
        What has the section, for a message.

    Returns
    -------
    Section
        Lines and arcs, in the order of the corners.

    Raises
    ------
    SetupError
        A radius does not fit between its neighbours; `what` is named.
    """
    points = [c[0] for c in corners]
    n = len(corners)
    cut_mm = [_tangent_mm(points[i - 1], points[i], points[(i + 1) % n], corners[i][1]) for i in range(n)]
    for i in range(n):
        j = (i + 1) % n
        room_mm = math.dist(points[i], points[j])
        if cut_mm[i] + cut_mm[j] > room_mm + _SAME_POINT_MM:
            radius_mm = max(corners[i][1], corners[j][1])
            raise SetupError(
                f"{what} has no room for a corner radius of {radius_mm:g} mm on a side of {room_mm:g} mm; "
                "make the radius smaller or the wheel thicker"
            )
    segments: list[Segment] = []
    for i in range(n):
        j = (i + 1) % n
        before, at, after = points[i - 1], points[i], points[j]
        leave = at
        if cut_mm[i] > 0:
            start, leave = _toward(at, before, cut_mm[i]), _toward(at, after, cut_mm[i])
            segments.append(("arc", start, _middle(start, at, leave, corners[i][1]), leave))
        end = _toward(after, at, cut_mm[j])
        if math.dist(leave, end) > _SAME_POINT_MM:
            segments.append(("line", leave, end))
    return Section(segments=tuple(segments))


def _straight(w: Wheel, inner_mm: float) -> list[Corner]:
    """Shape 1: a rectangle, or the dressed profile on a rectangle."""
    return [((0.0, inner_mm), 0.0), *_rim(w), ((w.thickness_mm, inner_mm), 0.0)]


def _recessed(w: Wheel, inner_mm: float) -> list[Corner]:
    """Shape 5: shape 1 with a recess P x F in the front."""
    recess_mm, depth_mm = w.recess_diameter_mm / 2, w.recess_depth_mm
    recess: list[Corner] = [
        ((depth_mm, inner_mm), 0.0),
        ((depth_mm, recess_mm), 0.0),
        ((0.0, recess_mm), 0.0),
    ]
    return [*recess, *_rim(w), ((w.thickness_mm, inner_mm), 0.0)]


def _cup(w: Wheel, inner_mm: float) -> list[Corner]:
    """Shapes 6 and 11: a back of thickness E, and a rim of width W round the mouth at the front."""
    t_mm, r_mm = w.thickness_mm, w.diameter_mm / 2
    flat_mm, small_mm = (
        (r_mm - w.rim_mm, r_mm) if w.shape == "6" else (w.flat_radius_mm, w.small_diameter_mm / 2)
    )
    floor_mm = t_mm - w.bore_wall_mm
    return [
        ((floor_mm, inner_mm), 0.0),
        ((floor_mm, flat_mm), 0.0),
        ((0.0, r_mm - w.rim_mm), w.corner_radius_mm),
        ((0.0, r_mm), w.corner_radius_mm),
        ((t_mm, small_mm), 0.0),
        ((t_mm, inner_mm), 0.0),
    ]


def _dish(w: Wheel, inner_mm: float) -> list[Corner]:
    """Shape 12: a shallow flaring cup whose outer edge is a cylinder of thickness U."""
    t_mm, r_mm = w.thickness_mm, w.diameter_mm / 2
    floor_mm = t_mm - w.bore_wall_mm
    return [
        ((floor_mm, inner_mm), 0.0),
        ((floor_mm, w.flat_radius_mm), 0.0),
        ((0.0, r_mm - w.rim_mm), 0.0),
        ((0.0, r_mm), w.corner_radius_mm),
        ((w.edge_mm, r_mm), w.corner_radius_mm),
        ((t_mm, w.small_diameter_mm / 2), 0.0),
        ((t_mm, inner_mm), 0.0),
    ]


_OUTLINES = {"1": _straight, "5": _recessed, "6": _cup, "11": _cup, "12": _dish}


def _rim(w: Wheel) -> list[Corner]:
    """Return the periphery of a straight or recessed wheel, front to rear."""
    if w.dressed_profile_mm:
        return [(point, 0.0) for point in w.dressed_profile_mm]
    r_mm = w.diameter_mm / 2
    return [((0.0, r_mm), w.corner_radius_mm), ((w.thickness_mm, r_mm), w.corner_radius_mm)]


def _tangent_mm(before: Point2, at: Point2, after: Point2, radius_mm: float) -> float:
    """Return how far from the corner a rounding of that radius begins."""
    if radius_mm == 0:
        return 0.0
    ux, uy = before[0] - at[0], before[1] - at[1]
    vx, vy = after[0] - at[0], after[1] - at[1]
    between = math.atan2(abs(ux * vy - uy * vx), ux * vx + uy * vy)
    return radius_mm / math.tan(between / 2)


def _toward(start: Point2, goal: Point2, length_mm: float) -> Point2:
    """Return the point that lies `length_mm` from start on the way to goal."""
    share = length_mm / math.dist(start, goal)
    return start[0] + share * (goal[0] - start[0]), start[1] + share * (goal[1] - start[1])


def _middle(start: Point2, corner: Point2, end: Point2, radius_mm: float) -> Point2:
    """Return the middle of the arc that touches both sides of a corner at start and end."""
    half = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    # The centre lies beyond the chord's middle; the arc's middle lies between that and the corner.
    sagitta_mm = radius_mm - math.sqrt(max(radius_mm**2 - math.dist(start, half) ** 2, 0.0))
    return _toward(half, corner, sagitta_mm)


def _bulges(start: Point2, middle: Point2, end: Point2) -> Iterator[Point2]:
    """Yield the points of an arc that lie straight above, below or beside its centre."""
    found = circle_through(start, middle, end)
    if found is None:
        return
    y_mm, r_mm, radius_mm = found

    def side(p: Point2) -> float:
        return (end[0] - start[0]) * (p[1] - start[1]) - (end[1] - start[1]) * (p[0] - start[0])

    for dy, dr in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        point = (y_mm + dy * radius_mm, r_mm + dr * radius_mm)
        if side(point) * side(middle) > _NOTICEABLE * side(middle) ** 2:
            yield point
