"""The milling cutter as a cutting process: where it may stand, its teeth over a turn, what they bite.

A set-up states the way of a cutter and not where it stands across the face. So what it cuts at a time is put
at either edge of the face, with the axis where teeth meet either end of the face, and once between. Places at
which the cutter would stand in the finished part, or in what holds it, are left out.

A freed part follows the motion that it starts with, the cutter standing where it did. Of what it may bite
into, two things are carried along: the stock in front of the teeth, which must not come nearer to the axis,
and every face of the bodies that move, none of which may come into the cutter. The part is drawn finished, so
its face touches the end of the cutter at the start.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.bearing import THE_TABLE
from fixturecheck.holding.corners import corners_round, rim_points
from fixturecheck.holding.cutter_solid import GRAZE_MM, Cutter, cutter_at, stands_in
from fixturecheck.holding.model import Borne, LoadCase
from fixturecheck.holding.process import FAR_MM, NEAR_MM, TRAVEL_MM, Lighter
from fixturecheck.holding.rig import Rig
from fixturecheck.holding.wheel import target_faces
from fixturecheck.hull import convex_hull
from fixturecheck.interval import Range
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import (
    all_on_face,
    box_of,
    extent_along,
    loose_box,
)
from fixturecheck.kernel.sample import (
    face_window,
    grid_on_face,
)
from fixturecheck.kernel.shapes import Box, Face, Shape, Solid
from fixturecheck.machining.bite import (
    GIVE_MM,
    Bite,
    Bitten,
    Chip,
    follow_bite,
)
from fixturecheck.machining.milling import (
    Mill,
    Shearing,
    Turned,
    engaged_rad,
    laws,
    one_turn,
    shearing,
    strip_mm,
    thickest_chip_mm,
    tooth_force_n,
)
from fixturecheck.numeric import UP, to_vector
from fixturecheck.result.hold import (
    CutCase,
    CutterWay,
    Driver,
    Edge,
    End,
    Tool,
)
from fixturecheck.result.remedy import RemedyKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.holding import Holding, Milling, MillWay
from fixturecheck.setup.model import Setup
from fixturecheck.statics.equilibrium import Load
from fixturecheck.statics.mechanism import StartingMotion

LEAST_DEPTH_MM, DEPTH_STEP_MM = 0.1, 0.05
"""The shallowest cut that a cutter takes and does not rub, and the step of the answer: common practice, no
source."""
LEAST_FEED_MM, FEED_STEP_MM = 0.01, 0.005
"""The same of the feed for a tooth: common practice, no source."""
LEAST_WIDE_SHARE, WIDTH_STEP_MM = 0.1, 0.5
"""The same of the width, the least as a share of the cutter's diameter: common practice, no source."""
_ARC = 25
_RINGS = (1.0, 0.75, 0.5, 0.25, 0.0)
_UNDER_MM = 1e-6
_SPACING_MM, _MOST_POINTS = 1.0, 2500


def points_on(solid: Solid) -> Floats:
    """Return points on every face and edge of a solid, about a millimetre apart, with its corners."""
    faces = [face_points(f) for f in faces_of(solid)]
    return np.concatenate([*faces, rim_points(solid)])


def face_points(face: Face) -> Floats:
    """Return points on a face and its edges."""
    grid = grid_on_face(face, face_window(face), _SPACING_MM, _MOST_POINTS).points
    return np.concatenate([grid, rim_points(face)])


_ANGLES = 7
_SAME_MM = 1e-6


def cut_of(mill: Milling) -> Mill:
    """Return a cut as numbers."""
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
    """Return what cutting it takes; flutes lift by no more than they lean, if nothing rubs along them."""
    table = shearing(mill.cuts_as)
    if mill.helix_deg is None:
        return table
    lift = math.tan(math.radians(mill.helix_deg))
    return replace(table, axial_ratio=Range(low=0.0, high=lift))


def axes_of(feed: Vector) -> tuple[Vector, Vector]:
    """Return level unit vectors along a feed and to the left of it."""
    x, y = feed[0], feed[1]
    level = math.hypot(x, y)
    return (x / level, y / level, 0.0), (-y / level, x / level, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MillingProcess:
    """One part under one milling cut."""

    setup: Setup
    placed: Mapping[str, Solid]
    mill: Milling
    part: str
    tool: Tool = Tool.CUTTER
    heaviest: Mapping[str, float] = field(default_factory=lambda: {Driver.SIZE: 1.0})

    @property
    def cut_name(self) -> str:
        """Name of the cut."""
        return self.mill.name

    @property
    def ways(self) -> tuple[CutterWay, ...]:
        """Every way in which the cutter may stand to what it cuts; of those that are the same, one."""
        stated = tuple(CutterWay) if self.mill.way == MillWay.ANY else (CutterWay(self.mill.way),)
        seen = {tuple(round(y / _SAME_MM) for y in strip_mm(cut_of(self.mill), way)): way for way in stated}
        return tuple(seen.values())

    @property
    def forces(self) -> Mapping[str, Range]:
        """Most that the cutting forces of all teeth come to over a turn, low to high, N."""
        most_n, way = max((t.cutting_n, way) for way in self.ways for _, t in angles_of(self, way))
        return {Driver.SIZE: Range(low=most_n * self._least_share(way), high=most_n)}

    def inputs(self, case: LoadCase) -> Mapping[str, Range]:
        """Return the size of the cutting force, over its greatest."""
        return {Driver.SIZE: Range(low=self._least_share(CutterWay(case.stroke)), high=1.0)}

    def _least_share(self, way: CutterWay) -> float:
        """Return the least cutting force over the greatest, at the thickest chip of a way."""
        one = tooth_force_n(cut_of(self.mill), taken(self.mill), thickest_chip_mm(cut_of(self.mill), way))
        return one.low / one.high

    def cases(self) -> tuple[LoadCase, ...]:
        """Return every place and angle of the cutter that counts, with what its teeth do to the part.

        What holds at two places holds between them, at least where friction is as great as it may be: places
        lie at the ends of the face, for every angle where a tooth just meets them, and one between.

        Raises
        ------
        NotComputedError
            There is none: the cutter stands in something wherever it could.
        SetupError
            The cut's numbers make no sense.
        """
        tooth_force_n(cut_of(self.mill), taken(self.mill))
        face = target_faces(self.setup, self.placed, self.part, self.mill.face)
        found, met = list[LoadCase](), set[str]()
        for number, (feed, z_mm) in enumerate(product(self._feeds(face), self._heights_mm(face))):
            ground = _Ground(job=self, face=face, feed=feed, z=z_mm, number=number)
            found += [case for w, way in enumerate(self.ways) for case in ground.cases(w, way)]
            met |= ground.met
        if not found:
            into = f": it would stand in {' and '.join(sorted(met))}" if met else ""
            message = f"{self.part}: no place was found at which a tooth of the cutter meets it{into}"
            raise NotComputedError(message)
        return tuple(found)

    def _feeds(self, face: Shape) -> tuple[Vector, ...]:
        """Return the ways of the feed: as stated, or both ways along a face, and across a wide one."""
        if not self.mill.of_run:
            return (self.mill.feed,)
        box = np.array(shapely.MultiPoint(rim_points(face)[:, :2]).minimum_rotated_rectangle.exterior.coords)
        sides = np.diff(box, axis=0)[:2]
        across, along = sorted(sides, key=lambda side: float(np.linalg.norm(side)))
        ways = [along, -along]
        if float(np.linalg.norm(across)) > self.mill.cutter_mm + GRAZE_MM:
            ways += [across, -across]
        return tuple(to_vector(np.array([*(way / np.linalg.norm(way)), 0.0])) for way in ways)

    def _heights_mm(self, face: Shape) -> tuple[float, ...]:
        """Return how high the cutter's end stands: over the face, and of a run also in its first pass."""
        low_mm, last_mm = box_of(face)[2::3]
        if not self.mill.of_run:
            return (last_mm,)
        if last_mm - low_mm > _SAME_MM:
            if not self._is_trough(low_mm, last_mm):
                message = f"{self.part}.{self.mill.face} is not level, so a push over it is not worked out"
                raise NotComputedError(message)
            last_mm = low_mm
        first_mm = box_of(self.placed[self.part])[5] - self.mill.deep_mm
        return (last_mm, first_mm) if first_mm > last_mm + GRAZE_MM else (last_mm,)

    def _is_trough(self, low_mm: float, high_mm: float) -> bool:
        """Say whether a face may be what a ball makes with its end at its lowest."""
        ball = self.mill.of_run and self.mill.corner_mm >= 0.5 * self.mill.cutter_mm - _SAME_MM
        return ball and high_mm - low_mm <= self.mill.corner_mm + _SAME_MM

    def loads(self, case: LoadCase, values: Mapping[str, float]) -> tuple[Load, ...]:
        """Return what the teeth do to the part in a case, at some size of the cutting force."""
        size = values[Driver.SIZE]
        return tuple(replace(t, force_n=to_vector(size * f for f in t.force_n)) for t in case.teeth)

    def weakest(self, borne: Callable[[Mapping[str, float]], Borne]) -> Borne:
        """Return how the greatest cutting force is borne."""
        return borne(self.heaviest)

    @property
    def floor_mm(self) -> float:
        """Height of the face that is milled, where the cutter ends."""
        low_mm, high_mm = self._face_mm()
        return low_mm if self._is_trough(low_mm, high_mm) else high_mm

    def _face_mm(self) -> tuple[float, float]:
        """Return between which heights the face lies that is milled."""
        faces = box_of(target_faces(self.setup, self.placed, self.part, self.mill.face))
        return faces[2], faces[5]

    def clears(self, shape: Shape) -> bool:
        """Say whether a shape stays below the cutter's end; what stands higher is not known to be clear."""
        return box_of(shape)[5] <= self.floor_mm - self.setup.machine.least_clearance_mm + _SAME_MM

    def counterpart(self, case: LoadCase) -> LoadCase:
        """Return the case of the same way and place whose teeth stand most nearly as they do."""
        cases = self.cases()
        same = [c for c in cases if c.group == case.group] or [c for c in cases if c.stroke is case.stroke]
        return min(same or cases, key=lambda c: math.dist(c.at_mm, case.at_mm))

    def lighter(self) -> tuple[Lighter, ...]:
        """Return depth, width and feed for a tooth: what goes into the section of the chip."""
        mill = self.mill

        def with_mill(changed: Milling) -> MillingProcess:
            return replace(self, mill=changed)

        depth, width, feed = (
            Lighter(
                kind=RemedyKind.DEPTH,
                now_mm=mill.deep_mm,
                least_mm=LEAST_DEPTH_MM,
                step_mm=DEPTH_STEP_MM,
                at=lambda value: with_mill(replace(mill, deep_mm=value)),
            ),
            Lighter(
                kind=RemedyKind.WIDTH,
                now_mm=mill.wide_mm,
                least_mm=LEAST_WIDE_SHARE * mill.cutter_mm,
                step_mm=WIDTH_STEP_MM,
                at=lambda value: with_mill(replace(mill, wide_mm=value)),
            ),
            Lighter(
                kind=RemedyKind.FEED,
                now_mm=mill.feed_mm_tooth,
                least_mm=LEAST_FEED_MM,
                step_mm=FEED_STEP_MM,
                at=lambda value: with_mill(replace(mill, feed_mm_tooth=value)),
            ),
        )
        # How wide a run cuts follows from its moves.
        return (depth, feed) if mill.of_run else (depth, width, feed)

    def turned(self) -> Iterator[tuple[RemedyKind, tuple[str, str], MillingProcess]]:
        """Yield the cut with one way of milling alone, then fed the other ways along the face."""
        mill = self.mill
        strips = {strip_mm(cut_of(self.mill), way) for way in self.ways}
        for way in _TAKEN:
            if len(strips) > 1 or strip_mm(cut_of(self.mill), way) not in strips:
                yield RemedyKind.WAY, (mill.way, str(way)), replace(self, mill=replace(mill, way=str(way)))
        if mill.of_run:
            return
        x, y, _ = mill.feed
        for feed in ((-x, -y, 0.0), (-y, x, 0.0), (y, -x, 0.0)):
            names = _toward(mill.feed), _toward(feed)
            yield RemedyKind.DIRECTION, names, replace(self, mill=replace(mill, feed=feed))

    def alone_in(self, setup: Setup) -> Setup:
        """Return a set-up with this cut over this part and no other."""
        holding = setup.holding or Holding()
        alone = replace(holding, milling=(replace(self.mill, parts=(self.part,)),))
        return replace(setup, end_mills=(), holding=alone)

    def moved_to(self, setup: Setup, placed: Mapping[str, Solid]) -> MillingProcess:
        """Return the same cut over the same part held otherwise."""
        return replace(self, setup=setup, placed=placed)

    def scene(self, rig: Rig) -> CutterScene | None:
        """Return what stands there, with the table below all of it where it is stated to lie there.

        What a ball bites of a part that it makes a trough in is not followed.
        """
        low_mm, high_mm = self._face_mm()
        if high_mm - low_mm > _SAME_MM and self._is_trough(low_mm, high_mm):
            return None
        moving = {b.name for b in rig.bodies}
        return CutterScene(
            process=self,
            rig=rig,
            standing=self.placed,
            surfaces={n: points_on(s) for n, s in self.placed.items() if n in moving},
        )


def angles_of(job: MillingProcess, way: CutterWay) -> Iterator[tuple[int, Turned]]:
    """Yield the cutter over a turn, with every pair of ends of radial and axial force, and its number."""
    for i, law in enumerate(laws(taken(job.mill))):
        for turned in one_turn(cut_of(job.mill), law, way, steps=_ANGLES):
            yield i, turned


_TAKEN = (CutterWay.CONVENTIONAL, CutterWay.CLIMB)
"""Ways that are offered as a remedy: centred, a tooth rubs where it comes in (common practice, no source)."""


def _toward(feed: Vector) -> str:
    """Return a level direction as a signed axis where it is one, else by its two parts."""
    size = math.hypot(feed[0], feed[1])
    shares = [
        (axis, part / size) for axis, part in zip("XY", feed, strict=False) if abs(part) > _SAME_MM * size
    ]
    if len(shares) == 1:
        return f"{'+' if shares[0][1] > 0 else '-'}{shares[0][0]}"
    return f"({', '.join(f'{axis} {share:.2f}' for axis, share in shares)})"


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


class _Ground:
    """The face that is milled, along a feed (x) and to the left of it (y), and what stands in the way."""

    def __init__(self, job: MillingProcess, face: Shape, feed: Vector, z: float, number: int) -> None:
        self.job, self.feed, self.z, self.number = job, feed, z, number
        self.axes = tuple(np.array(v) for v in axes_of(feed))
        self.span, self.across = (extent_along(face, v) for v in self.axes)
        self.corners = corners_round(rim_points(face) @ np.stack(self.axes, axis=1))
        self.met: set[str] = set()
        self._higher = _higher(job, z + GRAZE_MM)
        self._clear: dict[tuple[float, float], bool] = {}

    def cases(self, number: int, way: CutterWay) -> Iterator[LoadCase]:
        """Yield every place and angle of one way of the cutter."""
        strips = [s for s in self.strips(way) if self.is_open(s)]
        inner = [s for s in strips if self.is_clear(s.middle_mm, s.axis_mm)]
        turned = tuple(angles_of(self.job, way))
        for strip in strips:
            # Between the outermost, what lies in a corner of the face alone.
            at_rim = strip.has_corner or strip in (strips[0], strips[-1])
            for law, angle in turned:
                places = self.ends(angle, strip) if at_rim else ()
                if inner and strip is inner[len(inner) // 2]:
                    places = (*places, (1, self._middle(angle, strip)))
                for p, x in places:
                    teeth = self.teeth(angle, x, strip)
                    if teeth:
                        case = replace(self.place(p, way), force_n=_force_n(teeth))
                        yield LoadCase(
                            of_cut=case,
                            # Where the tooth stands that pushes hardest.
                            at_mm=max(teeth, key=lambda t: math.hypot(*t.force_n)).at_mm,
                            axis_mm=self.axis(x, strip.axis_mm),
                            group=(number, strip.number, p, law, self.number),
                            feed=self.feed,
                            teeth=teeth,
                        )

    def _middle(self, angle: Turned, strip: _Strip) -> float:
        """Return where a foremost tooth stands in mid face, of a run where a wall lets it."""
        x = strip.middle_mm - max(t.at_mm[0] for t in angle.teeth)
        return strip.middle_mm if self.job.mill.of_run and not self.is_clear(x, strip.axis_mm) else x

    def axis(self, x: float, y: float) -> Vector:
        """Return the lower end of the axis at a place."""
        along, left = self.axes
        return to_vector(x * along + y * left + np.array([0.0, 0.0, self.z]))

    def is_clear(self, x: float, y: float) -> bool:
        """Say whether the cutter stands in nothing there."""
        key = (round(x, 6), round(y, 6))
        if key not in self._clear:
            inside = stands_in(self.axis(x, y), self.job.mill, self._higher)
            self.met |= inside
            self._clear[key] = not inside
        return self._clear[key]

    def is_open(self, strip: _Strip) -> bool:
        """Say whether the cutter stands in nothing in the middle of a strip or well in at either end."""
        radius = 0.5 * self.job.mill.cutter_mm
        (x_from, x_to), y = strip.span_mm, strip.axis_mm
        return any(self.is_clear(x, y) for x in (strip.middle_mm, x_from + radius, x_to - radius))

    def strips(self, way: CutterWay) -> list[_Strip]:
        """Return what is cut at a time at either edge, between, and at each corner of the face."""
        wide = self.job.mill.wide_mm
        low, high = self.across[0] + 0.5 * wide, self.across[1] - 0.5 * wide
        middle = 0.5 * (self.across[0] + self.across[1])
        aside = 0.5 * sum(strip_mm(cut_of(self.job.mill), way))
        if high - low < _SAME_MM:
            return [self._strip(0, middle, middle - aside)]
        corners = [y for y in self.corners[:, 1] if low + GRAZE_MM < y < high - GRAZE_MM]
        rows = sorted({low, middle, high, *(y for y in corners if abs(y - middle) > GRAZE_MM)})
        return [self._strip(s, m, m - aside, corners) for s, m in enumerate(rows)]

    def _strip(self, number: int, middle_mm: float, axis_mm: float, corners: Sequence[float] = ()) -> _Strip:
        """Return a strip of the face, as long as the face is there."""
        half = 0.5 * self.job.mill.wide_mm
        reach = shapely.box(self.span[0], middle_mm - half, self.span[1], middle_mm + half)
        span_mm = convex_hull(self.corners).intersection(reach).bounds[::2]
        rim = any(abs(y - middle_mm) <= GRAZE_MM for y in corners)
        return _Strip(number=number, axis_mm=axis_mm, span_mm=span_mm, has_corner=rim)

    def ends(self, angle: Turned, strip: _Strip) -> tuple[tuple[int, float], ...]:
        """Return where the first and last of its teeth just meet either end; at a wall, a radius off it."""
        reach = sorted({round(t.at_mm[0], 9) for t in angle.teeth})
        radius, y = 0.5 * self.job.mill.cutter_mm, strip.axis_mm
        found: dict[tuple[int, float], None] = {}
        for p, end, inward in ((0, strip.span_mm[0], radius), (2, strip.span_mm[1], -radius)):
            for x in (end - reach[0], end - reach[-1]):
                place = x if self.is_clear(x, y) else end + inward
                if self.is_clear(place, y):
                    found[p, place] = None
        return tuple(found)

    def teeth(self, angle: Turned, x: float, strip: _Strip) -> tuple[Load, ...]:
        """Return what the teeth that stand over the face do to the part."""
        along, left = self.axes
        y, found = strip.axis_mm, []
        for tooth in angle.teeth:
            if _over(x + tooth.at_mm[0], strip.span_mm) and _over(y + tooth.at_mm[1], self.across):
                at, force = (v[0] * along + v[1] * left + v[2] * UP for v in (tooth.at_mm, tooth.force_n))
                place = to_vector(at + self.axis(x, y))
                found.append(Load(body=self.job.part, force_n=to_vector(force), at_mm=place, label="cut"))
        return tuple(found)

    def place(self, place: int, way: CutterWay) -> CutCase:
        """Return the case at the beginning, in the middle or at the end of the feed over the face."""
        x, y, _ = self.feed
        if abs(x) >= abs(y):
            return CutCase(stroke=way, end=tuple(End)[place if x > 0.0 else 2 - place])
        return CutCase(stroke=way, edge=tuple(Edge)[place if y > 0.0 else 2 - place])


def _higher(job: MillingProcess, z_mm: float) -> dict[str, Floats]:
    """Return points on the bodies that reach higher than the face that is milled."""
    tall = {n: s for n, s in job.placed.items() if loose_box(s)[5] > z_mm}
    return {n: points_on(s) for n, s in tall.items() if box_of(s)[5] > z_mm}


def _force_n(teeth: Sequence[Load]) -> float:
    """Return the force of all teeth together."""
    return math.hypot(*(sum(t.force_n[i] for t in teeth) for i in range(3)))


def _over(place_mm: float, span: tuple[float, float]) -> bool:
    return span[0] - _SAME_MM <= place_mm <= span[1] + _SAME_MM


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutterScene:
    """Everything that stands there while one face is milled, and points all over what may move.

    Parameters
    ----------
    process : MillingProcess
    rig : Rig
    standing : mapping of str to Shape
        Every body.
    surfaces : mapping of str to ndarray, shape (n, 3)
        Points on the faces, edges and corners of each body that can move.
    """

    process: MillingProcess
    rig: Rig
    standing: Mapping[str, Shape]
    surfaces: Mapping[str, Floats]
    stops_count: bool = True

    def others(self, _case: LoadCase) -> Mapping[str, Shape]:
        """Return what a freed part may run into: every body, and the table."""
        boxes = [loose_box(s) for s in self.standing.values()]
        top_mm = min(self.process.setup.table_z_mm, *(b[2] for b in boxes))
        return {**self.standing, THE_TABLE: _table(boxes, top_mm)}

    def stands_firm(self, name: str) -> bool:
        """Say whether a body stops what runs into it: loose blocks and other parts are pushed along."""
        rigid = next((b for b in self.rig.bodies if b.name == name), None)
        return rigid is None or rigid.slides_along is not None

    def cutter_at(self, case: LoadCase) -> Cutter:
        """Return the cutter where a case puts it.

        Raises
        ------
        NotComputedError
            The case does not state its axis.
        """
        if case.axis_mm is None:
            message = f"where the cutter stands in {self.process.cut_name} is not said"
            raise NotComputedError(message)
        return cutter_at(case.axis_mm, self.process.mill.cutter_mm)

    def drawn_in(self, case: LoadCase, motion: StartingMotion) -> bool:
        """Say whether a body moves against the feed."""
        along, _ = axes_of(case.feed or self.process.mill.feed)
        return float(np.dot(motion.velocity_at(case.at_mm), along)) < -0.5

    def bite(
        self,
        case: LoadCase,
        motions: Sequence[StartingMotion],
        stopped_mm: float | None = None,
        *,
        travel_mm: float = TRAVEL_MM,
    ) -> tuple[Bitten, str | None]:
        """Return what becomes of the bite, and the body that is bitten into; None where it bites into none.

        Parameters
        ----------
        motions : sequence of StartingMotion
            Of every body that moves.
        stopped_mm : float or None
            How far the part moves until something stands in its way.
        travel_mm : float
            How far it is followed where nothing does.
        """
        job, cutter = self.process, self.cutter_at(case)
        stock, under = stock_points(job, case, cutter)
        # What stops it is reported once they have all but met.
        far_mm = travel_mm if stopped_mm is None else stopped_mm + NEAR_MM
        deepest: dict[str, float] = {}

        def bite(moved_mm: float) -> Bite:
            closer, rise = [], []
            for motion in motions:
                points = _after(motion, self.surfaces[motion.body], moved_mm)
                start = cutter.deep_mm(self.surfaces[motion.body])
                deep = [cutter.deep_mm(points) - start]
                if motion.body == job.part:
                    closer.append(_closer(cutter, _after(motion, stock, moved_mm)))
                    above = float(cutter.above_mm(_after(motion, under, moved_mm)).max())
                    deep = [above] if max(deep) <= 0.0 else [*deep, above]
                rise.append(max(deep))
                deepest[motion.body] = max(deepest.get(motion.body, 0.0), *rise[-1:], *closer)
            return Bite(closer_mm=max(closer, default=0.0), rise_mm=max(rise))

        bitten = follow_bite(
            bite,
            Chip(
                thick_mm=thickest_chip_mm(cut_of(job.mill), CutterWay(case.stroke)),
                deep_mm=job.mill.deep_mm,
                exponent=taken(job.mill).exponent.low,
            ),
            travel_mm=far_mm,
            stopped=stopped_mm is not None,
            give_mm=GIVE_MM * max(1.0, far_mm / TRAVEL_MM),
        )
        if bitten.first_mm is None:
            return bitten, None
        return bitten, max(deepest, key=lambda n: (deepest[n], n == job.part))


def _closer(cutter: Cutter, front: Floats) -> float:
    """Return how far points that stood in front of the teeth have come behind them; sunk is away."""
    above = cutter.above_mm(front)
    return float(np.where(above >= -_UNDER_MM, cutter.behind_mm(front), above).max())


def stock_points(job: MillingProcess, case: LoadCase, cutter: Cutter) -> tuple[Floats, Floats]:
    """Return points of the stock in front of the teeth, and of the finished face under the cutter.

    The stock lies on the face that is milled, as high as the cut is deep.
    """
    pieces = faces_of(target_faces(job.setup, job.placed, job.part, job.mill.face))
    low, high = engaged_rad(cut_of(job.mill), CutterWay(case.stroke))
    along, left = (np.array(v) for v in axes_of(case.feed or job.mill.feed))
    over = np.array([0.0, 0.0, cutter.axis_mm[2] - job.floor_mm])

    def ring(angles: Floats, radius_mm: float) -> Floats:
        level = np.outer(np.cos(angles), along) + np.outer(np.sin(angles), left)
        points = cutter.axis_mm + radius_mm * level
        return points[np.any([all_on_face(points - over, one, _UNDER_MM) for one in pieces], axis=0)]

    tooth = np.array([case.at_mm[0], case.at_mm[1], cutter.axis_mm[2]])
    front = np.concatenate([ring(np.linspace(low, high, _ARC), cutter.radius_mm), tooth[None, :]])
    around = np.linspace(0.0, 2.0 * math.pi, 2 * _ARC, endpoint=False)
    under = [ring(around, share * cutter.radius_mm) for share in _RINGS]
    up = np.array([0.0, 0.0, job.mill.deep_mm])
    stock = np.concatenate([front, front + 0.5 * up, front + up])
    return stock, np.concatenate([*under, front])


def _after(motion: StartingMotion, points: Floats, moved_mm: float) -> Floats:
    turn, shift = motion.pose_after(moved_mm)
    return points @ turn.T + shift


def _table(boxes: Sequence[Box], top_mm: float) -> Solid:
    """Return the table below everything, wide enough for whatever falls on it."""
    low = [min(b[i] for b in boxes) - 2.0 * FAR_MM for i in range(2)]
    high = [max(b[i + 3] for b in boxes) + 2.0 * FAR_MM for i in range(2)]
    return box((low[0], low[1], top_mm - FAR_MM), (high[0], high[1], top_mm))
