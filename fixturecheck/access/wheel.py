"""What of the wheel grinds: its outline over Y, its flat, its corner and where the flanges clamp it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.outline import Outline, Point
from fixturecheck.setup.model import Setup
from fixturecheck.shop.section import Section, Segment, profile

_SAME_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Rim:
    """The wheel as it meets the work, y from its front face, mm.

    Parameters
    ----------
    outline : sequence of segment
        Radius over y from front to rear face.
    radius_mm, thickness_mm : float
        The greatest radius, and the length of the outline along y.
    flat_from_mm, flat_to_mm : float
        Where the outline is at its greatest radius; equal when it only crests there.
    clamp_front_mm, clamp_rear_mm : float
        Where the two flanges bear.
    """

    outline: Outline
    radius_mm: float
    thickness_mm: float
    flat_from_mm: float
    flat_to_mm: float
    clamp_front_mm: float
    clamp_rear_mm: float

    @property
    def flat_mm(self) -> float:
        """Width of the flat that makes a floor."""
        return self.flat_to_mm - self.flat_from_mm


def rim_of(setup: Setup) -> Rim:
    """Read the rim off the wheel's section.

    The wheel counts as filled from its outline to the axis: arbor and flange fill most of a bore or
    recess, and below the axis nothing that the traverse crosses could stand inside a cup untouched.

    Raises
    ------
    SetupError
        The dimensions do not make a wheel.
    NotComputedError
        The outline turns back in y, so no single radius passes each y.
    """
    section = profile(setup.wheel, filled=True)
    outline = tuple(_over_the_rim(section))
    radius_mm = section.largest_radius_mm
    y0_mm, y1_mm = section.y_range_mm
    crests = [y for y, r in section.extremes() if r > radius_mm - _SAME_MM]
    clamped = list(_clamped_y(section, setup.machine.flange.diameter_mm / 2))
    return Rim(
        outline=outline,
        radius_mm=radius_mm,
        thickness_mm=y1_mm - y0_mm,
        flat_from_mm=min(crests),
        flat_to_mm=max(crests),
        clamp_front_mm=min(clamped),
        clamp_rear_mm=max(clamped),
    )


def _over_the_rim(section: Section) -> Iterator[Segment]:
    """Yield the segments from the outermost point of the front face to that of the rear face."""
    y0, y1 = section.y_range_mm
    starts = [s[1] for s in section.segments]
    n = len(starts)
    first = max((i for i in range(n) if abs(starts[i][0] - y0) <= _SAME_MM), key=lambda i: starts[i][1])
    last = max((i for i in range(n) if abs(starts[i][0] - y1) <= _SAME_MM), key=lambda i: starts[i][1])
    for step in range((last - first) % n):
        segment = section.segments[(first + step) % n]
        if _turns_back(segment):
            message = "the wheel's outline turns back along its axis; where it grinds was not computed"
            raise NotComputedError(message)
        yield segment


def _turns_back(segment: Segment) -> bool:
    """Say whether a segment ever runs toward the front."""
    ys = [p[0] for p in segment[1:] if isinstance(p, tuple)]
    return any(b < a - _SAME_MM for a, b in pairwise(ys))


def _clamped_y(section: Section, flange_radius_mm: float) -> Iterator[float]:
    """Yield the y of the section's points within the flange's radius."""
    for segment in section.segments:
        start: Point = segment[1]
        end: Point = segment[-1]
        inside = [p for p in (start, end) if p[1] <= flange_radius_mm + _SAME_MM]
        yield from (p[0] for p in inside)
        if len(inside) == 1 and not math.isclose(start[1], end[1]):
            share = (flange_radius_mm - start[1]) / (end[1] - start[1])
            yield start[0] + share * (end[0] - start[0])
