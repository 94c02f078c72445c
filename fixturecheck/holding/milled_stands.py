"""Where a milling cutter may stand to a part, and how its teeth load the part there, over a turn.

Where the cutter stands across the face is not stated but for its way. So what it cuts at a time lies at
either edge of the face and between, and the axis is put where teeth meet either end of the face, and between.
A place at which the cutter would stand in the finished part, or in what holds it, is none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.holding.factor import Rig
from fixturecheck.holding.loads import target_faces
from fixturecheck.holding.milled_cutter import Floats, cutter_at, points_on
from fixturecheck.holding.model import LoadCase
from fixturecheck.kernel.clip import extent_along
from fixturecheck.kernel.regions import loose_box
from fixturecheck.kernel.shapes import Solid, box_of, to_vector
from fixturecheck.physics.equilibrium import Load
from fixturecheck.physics.milling import Mill, Shearing, shearing
from fixturecheck.physics.milling_turn import WAYS, Turned, engaged_rad, laws, one_turn, strip_mm
from fixturecheck.physics.ranges import Range
from fixturecheck.result import Vector
from fixturecheck.setup.holding import Milling
from fixturecheck.setup.model import Setup

_ANGLES = 7
_SAME_MM = 1e-6
_GRAZE_MM = 0.02
_WORDS = {"climb": "climb milling", "conventional": "conventional milling", "centred": "centred milling"}
_BETWEEN = 3
_ENDS = {
    0: ("at the left end", "in the middle", "at the right end"),
    1: ("in front", "in the middle", "behind"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Milled:
    """One part under one milling cut, with what holds it."""

    setup: Setup
    placed: Mapping[str, Solid]
    rig: Rig
    mill: Milling
    part: str

    @property
    def cut(self) -> Mill:
        """The cut as numbers."""
        return Mill(
            cutter_mm=self.mill.cutter_mm,
            teeth=self.mill.teeth,
            deep_mm=self.mill.deep_mm,
            wide_mm=self.mill.wide_mm,
            feed_mm_tooth=self.mill.feed_mm_tooth,
            helix_deg=self.mill.helix_deg or 0.0,
        )

    @property
    def takes(self) -> Shearing:
        """What cutting it takes; flutes lift by no more than they lean, if nothing rubs along them."""
        table = shearing(self.mill.cuts_as)
        if self.mill.helix_deg is None:
            return table
        lift = math.tan(math.radians(self.mill.helix_deg))
        return replace(table, axial_ratio=Range(low=0.0, high=lift))

    @property
    def ways(self) -> tuple[str, ...]:
        """Every way in which the cutter may stand to what it cuts; of those that are the same, one."""
        stated = WAYS if self.mill.way == "any" else (self.mill.way,)
        seen = {tuple(round(y / _SAME_MM) for y in strip_mm(self.cut, way)): way for way in stated}
        return tuple(seen.values())

    @property
    def axes(self) -> tuple[Vector, Vector]:
        """Level unit vectors along the feed and to the left of it."""
        x, y = self.mill.feed[0], self.mill.feed[1]
        level = math.hypot(x, y)
        return (x / level, y / level, 0.0), (-y / level, x / level, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stand:
    """The cutter at one place and angle.

    Parameters
    ----------
    case : LoadCase
        Place and way, in words too.
    group : tuple of int
        Way, strip, place and ends of what is square to the cutting force: those of one group differ by no
        more than the cutter's turn.
    loads : tuple of Load
        What its teeth do to the part.
    """

    case: LoadCase
    group: tuple[int, int, int, int]
    loads: tuple[Load, ...]


def angles_of(job: Milled, way: str) -> Iterator[tuple[int, Turned]]:
    """Yield the cutter over a turn, with every pair of ends of radial and axial force, and its number."""
    for i, law in enumerate(laws(job.takes)):
        for turned in one_turn(job.cut, law, way, steps=_ANGLES):
            yield i, turned


def stands(job: Milled) -> tuple[Stand, ...]:
    """Return every place and angle of the cutter at which a tooth meets the part.

    Raises
    ------
    NotComputedError
        There is none: the cutter stands in something wherever it could.
    """
    along, left = (np.array(v) for v in job.axes)
    face = target_faces(job.setup, job.placed, job.part, job.mill.face)
    span, across, z_mm = extent_along(face, along), extent_along(face, left), box_of(face)[5]
    higher = _higher(job, z_mm + _GRAZE_MM)
    found: list[Stand] = []
    met: set[str] = set()
    for w, way in enumerate(job.ways):
        turned = tuple(angles_of(job, way))
        aside_mm = 0.5 * sum(strip_mm(job.cut, way))
        for s, middle in enumerate(_strips(job, across)):
            places = _places(job, way, span)
            axes = [a * along + (middle - aside_mm) * left + [0.0, 0.0, z_mm] for _, a in places]
            inside = [_inside(to_vector(axis), job.mill.cutter_mm, higher) for axis in axes]
            if inside[_BETWEEN]:
                # It cannot come by there at all.
                met |= inside[_BETWEEN]
                continue
            for p, ((where, _), axis) in enumerate(zip(places, axes, strict=True)):
                for law, angle in turned if not inside[p] else ():
                    loads = _loads(job, angle, axis, span, across)
                    if loads:
                        case = _case(job, way, where, axis, loads)
                        found.append(Stand(case=case, group=(w, s, p, law), loads=loads))
    if not found:
        into = f": it would stand in {' and '.join(sorted(met))}" if met else ""
        message = f"{job.part}: no place was found at which a tooth of the cutter meets it{into}"
        raise NotComputedError(message)
    return tuple(found)


def _higher(job: Milled, z_mm: float) -> dict[str, Floats]:
    """Return points on the bodies that reach higher than the face that is milled."""
    tall = {n: s for n, s in job.placed.items() if loose_box(s)[5] > z_mm}
    return {n: points_on(s) for n, s in tall.items() if box_of(s)[5] > z_mm}


def _inside(axis_mm: Vector, diameter_mm: float, bodies: Mapping[str, Floats]) -> set[str]:
    """Return the bodies that the cutter would stand in."""
    cutter = cutter_at(axis_mm, diameter_mm)
    return {n for n, points in bodies.items() if cutter.deep_mm(points) > _GRAZE_MM}


def _loads(
    job: Milled, angle: Turned, axis: Floats, span: tuple[float, float], across: tuple[float, float]
) -> tuple[Load, ...]:
    """Return what the teeth that stand over the face do to the part."""
    along, left = (np.array(v) for v in job.axes)
    up = np.array([0.0, 0.0, 1.0])
    loads = []
    for tooth in angle.teeth:
        at, force = (v[0] * along + v[1] * left + v[2] * up for v in (tooth.at_mm, tooth.force_n))
        at = at + axis
        if _over(float(at @ along), span) and _over(float(at @ left), across):
            loads.append(Load(body=job.part, force_n=to_vector(force), at_mm=to_vector(at), label="cut"))
    return tuple(loads)


def _case(job: Milled, way: str, where: str, axis: Floats, teeth: Sequence[Load]) -> LoadCase:
    """Return the case of some teeth; it is placed at the one that pushes hardest."""
    whole = math.hypot(*(sum(t.force_n[i] for t in teeth) for i in range(3)))
    hardest = max(teeth, key=lambda t: math.hypot(*t.force_n))
    how = way_words(way)
    return LoadCase(
        label=f"milling force of {job.setup.write.force(whole)}, {how}, {where}",
        stroke=how,
        at_mm=hardest.at_mm,
        axis_mm=to_vector(axis),
    )


def way_of(job: Milled, case: LoadCase) -> str:
    """Return how the cutter stands in a case to what it cuts, as the set-up states it."""
    return next(w for w in job.ways if case.stroke == way_words(w))


def way_words(way: str) -> str:
    """Return a way of the cutter in words."""
    return _WORDS[way]


def _over(place_mm: float, span: tuple[float, float]) -> bool:
    return span[0] - _SAME_MM <= place_mm <= span[1] + _SAME_MM


def _strips(job: Milled, across: tuple[float, float]) -> tuple[float, ...]:
    """Return the middles of what is cut at a time: both edges of the face, and between them."""
    low, high = across[0] + 0.5 * job.mill.wide_mm, across[1] - 0.5 * job.mill.wide_mm
    middle = 0.5 * (across[0] + across[1])
    return (middle,) if high - low < _SAME_MM else (low, middle, high)


def _places(job: Milled, way: str, span: tuple[float, float]) -> list[tuple[str, float]]:
    """Return where the axis stands along the feed: where teeth meet either end of the face, and between.

    The foremost tooth meets an end earlier than the one farthest aside. Where the face begins at a wall, the
    cutter comes down a radius away from it. The place between is the one at `_BETWEEN`.
    """
    low, high = engaged_rad(job.cut, way)
    radius = 0.5 * job.mill.cutter_mm
    aside = radius * min(math.cos(low), math.cos(high))
    foremost = radius * (1.0 if low <= 0.0 <= high else max(math.cos(low), math.cos(high)))
    axis = 0 if abs(job.mill.feed[0]) >= abs(job.mill.feed[1]) else 1
    first, between, last = _ENDS[axis]
    if job.mill.feed[axis] < 0.0:
        first, last = last, first
    return [
        (first, span[0] - foremost),
        (first, span[0] - aside),
        (first, span[0] + radius),
        (between, 0.5 * (span[0] + span[1]) - foremost),
        (last, span[1] - foremost),
        (last, span[1] - aside),
    ]
