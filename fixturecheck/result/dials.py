"""What the dials of a cut read: touch-offs, the order of moves, readings, passes and time."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Vector


class Feed(StrEnum):
    """A feed of the machine that has a dial."""

    DOWN = "downfeed"
    CROSS = "cross feed"


@dataclass(frozen=True, slots=True, kw_only=True)
class DialReading:
    """Where a feed stands at a target, counted from where its zero was set.

    Parameters
    ----------
    feed : Feed
        The feed.
    toward : str
        `down`, `up`, `in` (toward the column) or `out`: which way it is fed from the zero.
    distance_mm : float
        How far, from the solids; never negative.
    set_mm : float
        How far by whole graduations; `distance_mm` where the feed has no dial.
    turns, lines : int or None
        Whole turns, and lines over them; None where there is no dial. A read-out has no turns.
    shows_mm : float or None
        What the dial or read-out then shows; None where there is none.
    inch : bool
        Whether the dial is graduated in inches.
    graduation_mm : float or None
        Feed of one line.
    """

    feed: Feed
    toward: str
    distance_mm: float
    set_mm: float
    turns: int | None = None
    lines: int | None = None
    shows_mm: float | None = None
    inch: bool = False
    graduation_mm: float | None = None

    @property
    def rounding_mm(self) -> float:
        """By how much the graduations feed further than the target asks."""
        return self.set_mm - self.distance_mm


class Side(StrEnum):
    """What of the wheel touches."""

    TOP = "top"
    SIDE = "side"


@dataclass(frozen=True, slots=True, kw_only=True)
class TouchOff:
    """Where the wheel touches a face to set a zero.

    Parameters
    ----------
    face : FaceRef
        The face.
    side : Side
        Whether the rim touches its top or the wheel's side its flank.
    at_mm : Vector
        Middle of where they touch.
    low_z_mm, y_front_mm : float
        Lowest point and front face of the wheel there.
    contact_mm : float
        Length of the line on which they touch, across the wheel for a top, up the flank for a side.
    wheel_mm : float
        Width of the wheel's flat; of a side, how far the wheel reaches down past the top of the face.
    over_edge : bool
        Whether the wheel lies over an edge of the face, where burrs stand.
    stock_mm : float
        Stock that is still on the face when it is touched.
    """

    face: FaceRef
    side: Side
    at_mm: Vector
    low_z_mm: float
    y_front_mm: float
    contact_mm: float
    wheel_mm: float
    over_edge: bool
    stock_mm: float


class MoveKind(StrEnum):
    """A step of setting the dials."""

    RAISE = "raise"
    LOWER_BESIDE = "lower beside"
    TOUCH_SIDE = "touch side"
    ZERO_CROSS = "zero cross feed"
    LIFT = "lift"
    OVER = "over"
    TOUCH_TOP = "touch top"
    ZERO_DOWN = "zero downfeed"
    TO_START = "to start"
    FEED_DOWN = "feed down"
    FEED_WALL = "feed to wall"
    SPARK_OUT = "spark out"


@dataclass(frozen=True, slots=True, kw_only=True)
class DialMove:
    """One step, in its order.

    Parameters
    ----------
    kind : MoveKind
        What is done.
    face : FaceRef or None
        The face that it is about.
    toward : str
        Which way the wheel goes, seen from the work; empty where it does not matter.
    distance_mm : float or None
        How far, or how high over the highest place for a lift.
    reading : DialReading or None
        What the dial reads at its end.
    passes : int
        How many passes are made by it.
    """

    kind: MoveKind
    face: FaceRef | None = None
    toward: str = ""
    distance_mm: float | None = None
    reading: DialReading | None = None
    passes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PassPlan:
    """Passes and time of one cut.

    Parameters
    ----------
    rough, finish, wall, spark_out : int
        Passes down at the downfeed, at the finishing downfeed, into the wall, and without feed.
    strokes : int
        Strokes of the table that one pass down takes.
    stroke_mm : float
        Length of a stroke.
    batch_min, part_min : float
        Time for all parts of the cut with touching off and changing, and for one part.
    """

    rough: int
    finish: int
    wall: int
    spark_out: int
    strokes: int
    stroke_mm: float
    batch_min: float
    part_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetReading:
    """A face of the cut, the reading at which it is met, and how near that comes.

    Parameters
    ----------
    face : FaceRef
        The target face of the part where the dials are set.
    reading : DialReading
        What the dial reads there.
    dialled_mm : float
        From the touched place to the face, by the reading before it is rounded, less wear and backlash.
    measured_mm : float or None
        From the touched place to the face of the part as ground, measured on the solids; None where the part
        as ground has no face there.
    wear_mm : float
        What of the reading is allowance for wear of the wheel.
    low_mm, high_mm : float or None
        How far the face comes out from its target, stock left counted positive; None is not known.
    limit_mm : float or None
        Half its profile tolerance; None where none is stated.
    takes_up : bool
        Whether the feed goes the other way than when its zero was set, so that backlash counts.
    """

    face: FaceRef
    reading: DialReading
    dialled_mm: float
    measured_mm: float | None
    wear_mm: float
    low_mm: float | None
    high_mm: float | None
    limit_mm: float | None
    takes_up: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CutDials:
    """What the dials of one cut do.

    Parameters
    ----------
    cut : str
        Name of the cut.
    touches : tuple of TouchOff
        The touch-offs, the side first.
    moves : tuple of DialMove
        Every step in its order.
    targets : tuple of TargetReading
        Each target face with its reading.
    ends : tuple of DialReading
        The cross feed at both ends of a traverse, where its zero was set.
    passes : PassPlan
        Passes and time.
    """

    cut: str
    touches: tuple[TouchOff, ...]
    moves: tuple[DialMove, ...]
    targets: tuple[TargetReading, ...]
    ends: tuple[DialReading, ...]
    passes: PassPlan


class Toward(StrEnum):
    """The way from a stop to the part."""

    PLUS_X = "+x"
    MINUS_X = "-x"
    PLUS_Y = "+y"
    MINUS_Y = "-y"

    @property
    def back(self) -> Toward:
        """The other way along the same axis."""
        opposite = {Toward.PLUS_X: Toward.MINUS_X, Toward.PLUS_Y: Toward.MINUS_Y}
        return opposite.get(self) or next(way for way, back in opposite.items() if back is self)


class Unreachable(StrEnum):
    """Why an edge finder cannot touch a stop itself; barred, neither it nor a block has room there."""

    ROUND = "round"
    NARROW = "narrow"
    BARRED = "barred"


@dataclass(frozen=True, slots=True, kw_only=True)
class DatumOffset:
    """What is set by an edge finder from a stop, directly or over a square block.

    Parameters
    ----------
    name, stop : str
        Of the transfer, and the body of the stop.
    toward : Toward
        The way from the stop to the part.
    target : FaceRef
        What is to be met.
    block_mm, radius_mm : float
        Width of the block, 0 without one, and half the finder's tip.
    offset_mm : float
        From the highest place of the stop to the spindle's axis when the finder touches.
    move_mm : float
        From there to the target along `toward`; negative back toward the stop.
    set_mm : float
        The same by whole lines of the dial, backlash taken up.
    takes_up : bool
        Whether the move goes the other way than the finder touched, so that backlash counts.
    error_mm : float or None
        How far off the target may be met, either way; None is not known.
    limit_mm : float or None
        Half its profile tolerance; None where none is stated.
    unreachable : Unreachable or None
        Why the stop itself cannot be touched; None where it can.
    """

    name: str
    stop: str
    toward: Toward
    target: FaceRef
    block_mm: float
    radius_mm: float
    offset_mm: float
    move_mm: float
    set_mm: float
    takes_up: bool
    error_mm: float | None
    limit_mm: float | None
    unreachable: Unreachable | None

    @property
    def way(self) -> Toward:
        """Which way the axis goes to the target: toward the part, or back toward the stop."""
        return self.toward if self.move_mm >= 0 else self.toward.back
