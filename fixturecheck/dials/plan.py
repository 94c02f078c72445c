"""How the dials of one cut are set and read: touch-offs, moves, readings, errors, passes and time."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.dials.reading import reading_at, with_backlash_mm
from fixturecheck.dials.touch import Meeting, NoTouch, WheelPose, WheelRoom, pose_of, touch_off, touched
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import box_of, flat_of, on_face
from fixturecheck.kernel.sample import inside_points
from fixturecheck.kernel.shapes import Shape
from fixturecheck.machining.as_ground import wheel_side_mm
from fixturecheck.machining.cut import GroundCut
from fixturecheck.machining.wheel_path import TargetFace, WheelRim, rim_of
from fixturecheck.result.dials import (
    CutDials,
    DialMove,
    DialReading,
    Feed,
    MoveKind,
    PassPlan,
    Side,
    TargetReading,
    TouchOff,
)
from fixturecheck.setup.dials import DialKind, Dials, FeedWay
from fixturecheck.setup.model import Cut, Setup
from fixturecheck.setup.records import CutWay

_SAME_SHARE = 1e-9
"""A depth that is a whole number of passes but for this share of one needs no further pass."""
_APPROACH_MM = 2.0
"""How far beside a flank the wheel comes down before it is fed to it: common practice, no source."""
_ALONG = 0.999_999
_ON_MM = 1e-6
_NEAR_MM = 0.5
_MOST_POINTS = 3


def passes_for(depth_mm: float, feed_mm: float) -> int:
    """Return the least number of passes of a feed that takes a depth.

    Parameters
    ----------
    depth_mm : float
        What is to be taken; nothing where it is zero or less.
    feed_mm : float
        What one pass takes, above zero.

    Returns
    -------
    int
        Zero where nothing is to be taken.

    References
    ----------
    Closed form.
    """
    if depth_mm <= 0:
        return 0
    return math.ceil(depth_mm / feed_mm - _SAME_SHARE)


def strokes_for(cross_mm: float, step_mm: float) -> int:
    """Return the strokes of the table that cover a cross feed, one at either end included.

    Parameters
    ----------
    cross_mm : float
        How far the wheel is fed across in all.
    step_mm : float
        Cross feed of one stroke, above zero.

    Returns
    -------
    int
        At least one.

    References
    ----------
    Closed form.
    """
    return 1 + passes_for(cross_mm, step_mm)


def stroke_min(stroke_mm: float, table_speed_m_min: float, reversal_s: float) -> float:
    """Return the time of one stroke with its reversal.

    Parameters
    ----------
    stroke_mm : float
        Travel of the table in one stroke.
    table_speed_m_min : float
        Speed of the table, above zero.
    reversal_s : float
        What one reversal takes.

    Returns
    -------
    float
        Minutes.

    References
    ----------
    Path over speed, closed form: 300 mm at 12 m/min are 1.5 s.
    """
    return stroke_mm * 1e-3 / table_speed_m_min + reversal_s / 60.0


def plan_passes(
    *,
    depth_mm: float,
    downfeed_mm: float,
    finish_mm: float,
    finish_downfeed_mm: float,
    wall_mm: float,
    wall_feed_mm: float,
    spark_out: int,
    strokes: int,
    stroke_mm: float,
    table_speed_m_min: float,
    reversal_s: float,
    once_min: float,
    parts: int,
) -> PassPlan:
    """Return the passes of a cut and its time.

    Down come first the rough passes, then those for `finish_mm`; each covers the floor in `strokes` strokes.
    A wall is fed into at full depth, one stroke for each feed. Spark-out goes over everything once more.

    Parameters
    ----------
    depth_mm, wall_mm : float
        Stock on floor and wall.
    downfeed_mm, finish_downfeed_mm, wall_feed_mm : float
        Depth of one pass of each sort.
    finish_mm : float
        How much of the depth is finished; no more than the depth.
    spark_out : int
        Passes over everything without feed.
    strokes : int
        Strokes of one pass down, and of one spark-out.
    stroke_mm : float
        Travel of the table in one stroke.
    table_speed_m_min : float
        Speed of the table, above zero.
    reversal_s : float
        What one reversal takes.
    once_min : float
        Time to touch off and to change parts, once for the batch.
    parts : int
        Parts in the cut.

    Returns
    -------
    PassPlan
        Passes of each sort, and the time for the batch and for one part.

    References
    ----------
    Closed form.
    """
    finished_mm = min(finish_mm, depth_mm)
    rough = passes_for(depth_mm - finished_mm, downfeed_mm)
    finish = passes_for(finished_mm, finish_downfeed_mm)
    wall = passes_for(wall_mm, wall_feed_mm) if wall_mm > 0 else 0
    each_min = stroke_min(stroke_mm, table_speed_m_min, reversal_s)
    batch_min = ((rough + finish + spark_out) * strokes + wall) * each_min + once_min
    return PassPlan(
        rough=rough,
        finish=finish,
        wall=wall,
        spark_out=spark_out,
        strokes=strokes,
        stroke_mm=stroke_mm,
        batch_min=batch_min,
        part_min=batch_min / parts,
    )


def _moves_of(
    dials: Dials,
    touches: Sequence[TouchOff],
    targets: Sequence[TargetReading],
    ends: Sequence[DialReading],
    passes: PassPlan,
    rough: DialReading | None,
) -> Iterator[DialMove]:
    """Yield every step: touch the side, set zero, lift clear, over, touch the top, set zero, down.

    Of the touch-offs the side is the first and the top the last; of the targets the floor, then the wall.
    `ends` are where the cross feed starts and ends, `rough` where the rough passes end, None where they take
    all.
    """
    lift_mm = dials.lift_mm
    yield DialMove(kind=MoveKind.RAISE, distance_mm=lift_mm)
    for touch in touches:
        if touch.side is Side.SIDE:
            yield DialMove(kind=MoveKind.LOWER_BESIDE, face=touch.face, distance_mm=touch.contact_mm)
            yield DialMove(kind=MoveKind.TOUCH_SIDE, face=touch.face)
            yield DialMove(kind=MoveKind.ZERO_CROSS)
            yield DialMove(kind=MoveKind.LIFT, distance_mm=lift_mm)
        else:
            yield DialMove(kind=MoveKind.OVER, face=touch.face)
            yield DialMove(kind=MoveKind.TOUCH_TOP, face=touch.face)
            yield DialMove(kind=MoveKind.ZERO_DOWN)
            yield DialMove(kind=MoveKind.TO_START, reading=ends[0] if ends else None)
    floor = targets[0]
    if rough is not None and passes.rough:
        yield DialMove(kind=MoveKind.FEED_DOWN, face=floor.face, reading=rough, passes=passes.rough)
    yield DialMove(
        kind=MoveKind.FEED_DOWN,
        face=floor.face,
        reading=floor.reading,
        passes=passes.finish if rough is not None else passes.rough,
    )
    for wall in targets[1:]:
        if passes.wall and wall.reading.feed is Feed.CROSS:
            yield DialMove(kind=MoveKind.FEED_WALL, face=wall.face, reading=wall.reading, passes=passes.wall)
    if passes.spark_out:
        yield DialMove(kind=MoveKind.SPARK_OUT, passes=passes.spark_out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """What a feed needs in one cut and has, both in mm."""

    feed: Feed
    needed_mm: float
    has_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dialled:
    """The dials of one cut, worked out.

    Parameters
    ----------
    cut : str
        Name of the cut.
    tries : tuple of TouchOff or NoTouch
        The touch-offs that are asked, the side first.
    instead : mapping of FaceRef to FaceRef
        For a face that cannot be touched or marked, one that was tried and can.
    marks : mapping of FaceRef to float
        How deep each touched face may be marked, mm: its stock, or any depth where that does not matter.
    meetings : tuple of Meeting
        What comes too near on the way.
    spans : tuple of Span
        What each feed needs and has.
    found : CutDials or None
        The readings; None where a touch-off is not possible.
    unstoned : mapping of FaceRef to str
        Touched faces on whose edges an earlier cut left burrs of which nothing is stated, and that cut.
    lifted_z_mm : float
        Height of the wheel's lowest point on its way from touch to touch.
    """

    cut: str
    tries: tuple[TouchOff | NoTouch, ...]
    instead: Mapping[FaceRef, FaceRef]
    marks: Mapping[FaceRef, float]
    meetings: tuple[Meeting, ...]
    spans: tuple[Span, ...]
    found: CutDials | None
    unstoned: Mapping[FaceRef, str]
    lifted_z_mm: float


def dials_stated(setup: Setup) -> Dials:
    """Return what is stated of the dials, or the usual way.

    Parameters
    ----------
    setup : Setup
        Its dials may be left out.

    Returns
    -------
    Dials
        All defaults where none are stated.
    """
    return setup.dials or Dials()


def dialled(
    setup: Setup, cuts: Sequence[GroundCut], ground: GroundCut, placed: Mapping[str, Shape]
) -> Dialled:
    """Return the dials of one cut.

    Parameters
    ----------
    setup : Setup
        As stated.
    cuts : sequence of GroundCut
        Every cut of the set-up in its order, as ground.
    ground : GroundCut
        The cut.
    placed : mapping of str to Shape
        Every body where it stands.

    Returns
    -------
    Dialled
        Without readings where a touch-off is not possible.

    Raises
    ------
    NotComputedError
        The kernel could not tell what is in the way, or a touched face carries stock that is not drawn.
    """
    return _Plan(setup, cuts, ground, placed).made()


class _Plan:
    """One cut while its dials are worked out."""

    def __init__(
        self, setup: Setup, cuts: Sequence[GroundCut], ground: GroundCut, placed: Mapping[str, Shape]
    ) -> None:
        self.setup, self.cuts, self.ground, self.cut = setup, cuts, ground, ground.cut
        self.dials = dials_stated(setup)
        self.rim = rim_of(setup)
        self.first = ground.targets[0]
        bodies = self._standing(placed)
        boxes = [box_of(shape) for shape in bodies.values()]
        self.lifted_z_mm = max(box[5] for box in boxes) + self.dials.lift_mm
        self.room = WheelRoom(
            setup.machine,
            self.rim,
            bodies,
            rise_mm=self.lifted_z_mm - min(box[2] for box in boxes),
            overlap_mm3=setup.tolerances.overlap_mm3,
        )

    def _standing(self, placed: Mapping[str, Shape]) -> dict[str, Shape]:
        """Return every body before this cut: its parts with their stock, others as they are by then."""
        standing = dict(placed)
        for other in reversed(self.cuts):
            if other is self.ground:
                break
            standing |= {p.body: p.stock for p in other.parts}
        return standing | {p.body: p.stock for p in self.ground.parts}

    def made(self) -> Dialled:
        asked = list(self._asked())
        tries = tuple(self._try(name, side) for name, side in asked)
        marks = {name: self._mark_mm(name) for name, _ in asked}
        bad = [
            (name, side)
            for (name, side), one in zip(asked, tries, strict=True)
            if isinstance(one, NoTouch) or marks[name] < self.dials.mark_mm
        ]
        touches = [t for t in tries if isinstance(t, TouchOff)]
        whole = len(touches) == len(tries)
        return Dialled(
            cut=self.cut.name,
            tries=tries,
            instead=dict(self._instead(bad)),
            marks=marks,
            meetings=tuple(self._meetings(touches)) if whole else (),
            spans=tuple(self._spans(touches)) if whole else (),
            found=self._found(touches) if whole else None,
            unstoned=dict(self._unstoned(touches)),
            lifted_z_mm=self.lifted_z_mm,
        )

    def _unstoned(self, touches: Sequence[TouchOff]) -> Iterator[tuple[FaceRef, str]]:
        """Yield the touched faces of parts that an earlier cut has ground, where no burr is stated."""
        if "burr_mm" in self.dials.stated:
            return
        earlier = self.cuts[: [c.cut.name for c in self.cuts].index(self.cut.name)]
        for touch in touches:
            by = [c.cut.name for c in earlier if touch.face.body in c.cut.parts]
            if touch.over_edge and by:
                yield touch.face, by[-1]

    def _asked(self) -> Iterator[tuple[FaceRef, Side]]:
        """Yield the faces to touch; the side comes first, so that the top is free of the wheel's way."""
        side, wall = self.dials.touch_side, self.first.wall
        # A cut that makes no wall asks for no touch at the side where another one makes a wall.
        walled = wall is not None or all(c.cut.wall is None for c in self.cuts)
        if self.setup.machine.cross_feed is not None and walled:
            if side is not None:
                yield FaceRef(side), Side.SIDE
            elif wall is not None:
                yield wall.name, Side.SIDE
        top = self.dials.touch_top
        yield (self.first.floor.name if top is None else FaceRef(top)), Side.TOP

    def _try(self, name: FaceRef, side: Side) -> TouchOff | NoTouch:
        face = touched(self.setup, name, self._stock_mm(name))
        return touch_off(self.rim, face, side, self.room)

    def _stock_mm(self, name: FaceRef) -> float:
        """Return the stock on a face when this cut begins."""
        before = True
        for other in self.cuts:
            before = before and other is not self.ground
            stock_mm = _stock_of(other.cut, name)
            if stock_mm is None or before:
                continue
            if other is not self.ground and any(p.body == name.body for p in self.ground.parts):
                raise NotComputedError(
                    f"{name} still carries the stock of cut {other.cut.name}, which cut {self.cut.name} does "
                    "not draw; touch another face"
                )
            return stock_mm
        return 0.0

    def _mark_mm(self, name: FaceRef) -> float:
        """Return how deep a face may be marked: its stock, or any depth where it does not matter."""
        body = self.setup.body(name.body)
        if name in self.dials.may_mark or name.face in body.no_function:
            return math.inf
        return self._stock_mm(name)

    def _instead(self, bad: Sequence[tuple[FaceRef, Side]]) -> Iterator[tuple[FaceRef, FaceRef]]:
        """Yield for each face that will not do one that will, tried."""
        for name, side in bad:
            for other in self._others(side):
                if other == name or self._mark_mm(other) < self.dials.mark_mm:
                    continue
                if isinstance(self._try(other, side), TouchOff):
                    yield name, other
                    break

    def _others(self, side: Side) -> Iterator[FaceRef]:
        """Yield what could be touched in place of a face: the cut's own, then what may be marked."""
        own = self.first.floor if side is Side.TOP else self.first.wall
        if own is not None:
            yield own.name
        yield from (FaceRef(text) for text in self.dials.may_mark)
        for body in self.setup.bodies:
            yield from (FaceRef.of(body.name, face) for face in sorted(body.no_function))

    def _meetings(self, touches: Sequence[TouchOff]) -> Iterator[Meeting]:
        """Yield what comes too near while the wheel is lowered, fed to a flank, and raised."""
        mine = {p.body for p in self.ground.parts}
        for pose, may in self._uprights(touches):
            yield from self.room.too_near(self.room.raised(pose), pose, mine | may)
            yield from self.room.guard_meets(pose, self.lifted_z_mm - pose.low_z_mm)
        for touch in touches:
            if touch.side is Side.SIDE:
                pose = pose_of(touch)
                across = self.room.across(pose, self._off_mm(touch))
                yield from self.room.too_near(across, pose, mine | {touch.face.body})

    def _uprights(self, touches: Sequence[TouchOff]) -> Iterator[tuple[WheelPose, set[str]]]:
        """Yield where the wheel goes straight up or down, and the body that it touches there."""
        for touch in touches:
            pose = pose_of(touch)
            yield pose, {touch.face.body}
            if touch.side is Side.SIDE:
                yield replace(pose, y_front_mm=pose.y_front_mm + self._off_mm(touch)), set()
        path = self.ground.path
        yield (WheelPose(x_mm=path.x_from_mm, y_front_mm=self._ends()[0], low_z_mm=path.floor_z_mm), set())

    def _off_mm(self, touch: TouchOff) -> float:
        """Return where beside a flank the wheel comes down, as a move along Y from where it touches."""
        return _APPROACH_MM if _toward(touch, self.rim) == FeedWay.OUT else -_APPROACH_MM

    def _spans(self, touches: Sequence[TouchOff]) -> Iterator[Span]:
        """Yield how far each feed goes from its one end to its other."""
        machine, path = self.setup.machine, self.ground.path
        lows = [t.low_z_mm for t in touches] + [path.floor_z_mm - self.dials.wear_mm]
        down = machine.downfeed
        if down is not None and down.travel_mm is not None:
            yield Span(feed=Feed.DOWN, needed_mm=self.lifted_z_mm - min(lows), has_mm=down.travel_mm)
        across = machine.cross_feed
        if across is not None and any(t.side is Side.SIDE for t in touches):
            places = [t.y_front_mm for t in touches] + [path.y_from_mm, path.y_to_mm]
            places += [t.y_front_mm + self._off_mm(t) for t in touches if t.side is Side.SIDE]
            has_mm = machine.travel_y_mm if across.travel_mm is None else across.travel_mm
            yield Span(feed=Feed.CROSS, needed_mm=max(places) - min(places), has_mm=has_mm)

    def _found(self, touches: Sequence[TouchOff]) -> CutDials:
        """Return readings, moves, passes and time."""
        top = touches[-1]
        side = touches[0] if touches[0].side is Side.SIDE else None
        targets = [self._floor(top)]
        if side is not None and self.first.wall is not None:
            targets.append(self._wall(side, self.first.wall))
        ends = () if side is None else tuple(self._across(side, y) for y in self._ends())
        passes = self._passes()
        return CutDials(
            cut=self.cut.name,
            touches=tuple(touches),
            moves=tuple(_moves_of(self.dials, touches, targets, ends, passes, self._rough(top))),
            targets=tuple(targets),
            ends=ends,
            passes=passes,
        )

    def _ends(self) -> list[float]:
        """Return where the wheel's front face stands at the ends of the cross feed, where it starts first.

        A cut with a wall starts with the wheel's side at the stock on the wall.
        """
        path, stock_mm = self.ground.path, self.cut.wall_stock_mm
        if path.wall_sign < 0:
            places = [path.y_from_mm + stock_mm, path.y_to_mm]
        elif path.wall_sign > 0:
            places = [path.y_to_mm - stock_mm, path.y_from_mm]
        else:
            places = [path.y_from_mm, path.y_to_mm]
        return places if self.cut.way == CutWay.TRAVERSE else places[:1]

    def _reading(self, feed: Feed, distance_mm: float, toward: str) -> DialReading:
        machine = self.setup.machine
        wheel = machine.downfeed if feed is Feed.DOWN else machine.cross_feed
        return reading_at(feed, wheel, distance_mm, toward, self.setup.units)

    def _rough(self, top: TouchOff) -> DialReading | None:
        """Return the reading down to which rough passes go; None where there is no finishing."""
        if self.dials.finish_mm <= 0:
            return None
        fed_mm = top.low_z_mm - self.ground.path.floor_z_mm - self.dials.finish_mm
        return self._reading(Feed.DOWN, abs(fed_mm), FeedWay.DOWN if fed_mm >= 0 else FeedWay.UP)

    def _floor(self, top: TouchOff) -> TargetReading:
        """Return the reading at which the floor is met: the drop from the touch, and the wheel's wear."""
        fed_mm = top.low_z_mm - self.ground.path.floor_z_mm + self.dials.wear_mm
        reading = self._reading(Feed.DOWN, abs(fed_mm), FeedWay.DOWN if fed_mm >= 0 else FeedWay.UP)
        sign = 1.0 if reading.toward == FeedWay.DOWN else -1.0
        met_mm = top.at_mm[2] - sign * reading.distance_mm + self.dials.wear_mm
        return self._target(self.first.floor, reading, FeedWay.DOWN, top, met_mm)

    def _wall(self, side: TouchOff, wall: TargetFace) -> TargetReading:
        """Return the reading at which the wall is met by the side of the wheel that faces it."""
        path, machine = self.ground.path, self.setup.machine
        driven = FeedWay.IN if path.wall_sign > 0 else FeedWay.OUT
        sign = 1.0 if driven == FeedWay.IN else -1.0
        front_mm = path.y_to_mm if driven == FeedWay.IN else path.y_from_mm
        slide_mm = sign * (front_mm - side.y_front_mm)
        feed = machine.cross_feed
        turned = driven != _toward(side, self.rim)
        screw = feed is not None and feed.reads == DialKind.DIAL
        play_mm = feed.backlash_mm if feed is not None and screw and turned else 0.0
        dial_mm = with_backlash_mm(slide_mm, play_mm or 0.0, turned_back=turned)
        back = FeedWay.OUT if driven == FeedWay.IN else FeedWay.IN
        reading = self._reading(Feed.CROSS, abs(dial_mm), driven if dial_mm >= 0 else back)
        went_mm = reading.distance_mm if reading.toward == driven else -reading.distance_mm
        met_front_mm = side.y_front_mm + sign * (went_mm - (play_mm or 0.0))
        met_mm = met_front_mm + wheel_side_mm(self.rim, path) - front_mm
        made = self._target(wall, reading, driven, side, met_mm)
        made = replace(made, takes_up=turned and screw)
        return made if play_mm is not None else replace(made, low_mm=None, high_mm=None)

    def _across(self, side: TouchOff, y_front_mm: float) -> DialReading:
        """Return the cross feed's reading at a place that need not be met closely, so without backlash."""
        slide_mm = y_front_mm - side.y_front_mm
        return self._reading(Feed.CROSS, abs(slide_mm), FeedWay.IN if slide_mm >= 0 else FeedWay.OUT)

    def _target(
        self, target: TargetFace, reading: DialReading, driven: FeedWay, touch: TouchOff, met_mm: float
    ) -> TargetReading:
        """Return a target with how far it may come out: rounding, the mark of the touch, and a burr.

        Parameters
        ----------
        driven : FeedWay
            Which way the wheel goes into the stock.
        met_mm : float
            Where the reading puts the face, along its own axis.
        """
        deeper_mm = reading.rounding_mm if reading.toward == driven else -reading.rounding_mm
        zone_mm = self.first.body.zone_mm(target.name.face)
        burr_mm = self.dials.burr_mm if touch.over_edge else 0.0
        own_mm = 0.0
        if touch.face not in {self.first.floor.name, self.first.wall.name if self.first.wall else None}:
            own_mm = (self.setup.body(touch.face.body).zone_mm(touch.face.face) or 0.0) / 2
        axis = 2 if touch.side is Side.TOP else 1
        made_mm = self._made_at(target, axis)
        return TargetReading(
            face=target.name,
            reading=reading,
            dialled_mm=abs(touch.at_mm[axis] - met_mm),
            measured_mm=None if made_mm is None else abs(touch.at_mm[axis] - made_mm),
            wear_mm=self.dials.wear_mm if touch.side is Side.TOP else 0.0,
            low_mm=-deeper_mm - self.dials.mark_mm - own_mm,
            high_mm=-deeper_mm + burr_mm + own_mm,
            limit_mm=None if zone_mm is None else zone_mm / 2,
            takes_up=False,
        )

    def _made_at(self, target: TargetFace, axis: int) -> float | None:
        """Return where the part as ground has its outermost surface over a target, along an axis."""
        part = next(p for p in self.ground.parts if p.body == self.first.body.name)
        stock_mm = self.cut.stock_mm if axis == 2 else self.cut.wall_stock_mm
        out = 1.0 if target.normal[axis] > 0 else -1.0
        points = [p for f in target.faces for p in inside_points(f, _MOST_POINTS)]
        planes = [(face, flat_of(face)) for face in faces_of(part.ground)]
        level = [(f, flat[0][axis]) for f, flat in planes if flat and flat[1][axis] * out > _ALONG]
        for point in points:
            over = [(face, at) for face, at in level if abs(at - point[axis]) <= stock_mm + _NEAR_MM]
            for face, at in sorted(over, key=lambda pair: -out * pair[1]):
                there = np.array(point)
                there[axis] = at
                if on_face(there, face, _ON_MM):
                    return at
        return None

    def _passes(self) -> PassPlan:
        cut, dials, path = self.cut, self.dials, self.ground.path
        feed_mm = min(cut.downfeed_mm, cut.wall_stock_mm) if cut.wall_feed_mm is None else cut.wall_feed_mm
        return plan_passes(
            depth_mm=cut.stock_mm + dials.wear_mm if cut.stock_mm > 0 else 0.0,
            downfeed_mm=cut.downfeed_mm,
            finish_mm=dials.finish_mm,
            finish_downfeed_mm=dials.finish_downfeed_mm or cut.downfeed_mm,
            wall_mm=cut.wall_stock_mm if cut.wall else 0.0,
            wall_feed_mm=feed_mm or cut.downfeed_mm,
            spark_out=dials.spark_out,
            strokes=strokes_for(path.y_to_mm - path.y_from_mm, cut.cross_feed_mm),
            stroke_mm=path.x_to_mm - path.x_from_mm,
            table_speed_m_min=cut.table_speed_m_min,
            reversal_s=dials.reversal_s,
            once_min=dials.touch_min + dials.change_min,
            parts=len(cut.parts),
        )


def _stock_of(cut: Cut, name: FaceRef) -> float | None:
    """Return the stock that a cut takes off a face; None where it does not grind it."""
    if name.body not in cut.parts:
        return None
    if name.face == cut.floor:
        return cut.stock_mm
    return cut.wall_stock_mm if name.face == cut.wall else None


def _toward(touch: TouchOff, rim: WheelRim) -> FeedWay:
    """Return which way the wheel goes as its side touches: its front face meets what lies at the lower Y."""
    front = abs(touch.at_mm[1] - touch.y_front_mm) < abs(touch.at_mm[1] - touch.y_front_mm - rim.thickness_mm)
    return FeedWay.OUT if front else FeedWay.IN
