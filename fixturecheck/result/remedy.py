"""What would help: changes that make a hold suffice, and those that let a tool pass."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Vector


class RemedyKind(StrEnum):
    """What is changed so that a part holds."""

    DOWNFEED = "downfeed"
    DEPTH = "depth of cut"
    WIDTH = "width of cut"
    FEED = "feed for each tooth"
    FEED_IN_TURN = "feed in one turn"
    WAY = "way of milling"
    DIRECTION = "direction of the feed"
    CLAMPS = "clamps tightened"
    FASTENED = "loose block fastened"
    STOP = "stop added"
    DRY = "dry contacts"
    SLID = "slid along the magnet"
    SEAT = "larger seat"
    SWITCHED_ON = "magnet switched on"
    TURNED_UP = "magnet turned up"
    CHUCK = "chuck of a higher rating"
    FINISH = "finer finish"
    VISE = "vise"


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A quantity as stated, and as changed.

    Parameters
    ----------
    name : str
        What it belongs to; empty where the kind of remedy says it.
    now, to : float
        In `unit`.
    unit : str
    """

    name: str = ""
    now: float
    to: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StopAt:
    """A block fastened against an upright side of a part.

    Parameters
    ----------
    axis, sign : int
        The side: along X (0) or Y (1), and which way it looks.
    place_mm : float
        Where the side lies along that axis.
    low_mm, high_mm : float
        From where to where the block reaches along the other.
    tall_mm : float
        How tall it is from the foot of the part.
    below_mm : float
        How far its top stays below the floor of the cut.
    """

    axis: int
    sign: int
    place_mm: float
    low_mm: float
    high_mm: float
    tall_mm: float
    below_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Jaws:
    """A part between the jaws of a vise.

    Parameters
    ----------
    axis : int
        They close along X (0) or Y (1).
    near_mm, far_mm : float
        Where they bear along that axis.
    below_mm : float
        How far they stay below the floor of the cut.
    torque_nm : float
        On the screw.
    """

    axis: int
    near_mm: float
    far_mm: float
    below_mm: float
    torque_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """A change that was put through the full analysis and reaches the least factor.

    Parameters
    ----------
    kind : RemedyKind
        What is changed.
    part : str
        The part that then holds.
    factor : float
        Times the cutting load that it then holds.
    at_least : bool
        The analysis stopped at `factor`; it may hold more.
    change_ratio : float
        How large the change is: what is needed over what there is, one or more. The smallest comes first.
    amounts : tuple of Amount
        Quantities as stated and as changed.
    names : tuple of str
        Of what is changed: blocks, a finish or a way as stated and as changed.
    stop : StopAt or None
        The block that is added.
    jaws : Jaws or None
        The vise that holds it instead.
    also : Remedy or None
        What is changed with it, where neither is enough alone.
    """

    kind: RemedyKind
    part: str
    factor: float
    at_least: bool
    change_ratio: float
    amounts: tuple[Amount, ...] = ()
    names: tuple[str, ...] = ()
    stop: StopAt | None = None
    jaws: Jaws | None = None
    also: Remedy | None = None


class RemedySearch(StrEnum):
    """A kind of change that is looked for."""

    LIGHTER_CUT = "lighter cut"
    CLAMPS = "clamps"
    ANOTHER_WAY = "another way"
    FASTENED = "fastened"
    STOP = "stop"
    PLACE = "place"
    SEAT = "seat"
    MAGNET = "magnet"
    FINISH = "finish"
    DRY = "dry"
    VISE = "vise"


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyUnknown:
    """A remedy that could not be looked for.

    Parameters
    ----------
    part, cut : str
        The part that is held too little, and in which cut.
    reason : str
        Why it could not be computed.
    search : RemedySearch or None
        What was looked for; None where the rest of the search was given up.
    """

    part: str
    cut: str
    reason: str
    search: RemedySearch | None = None


class DodgeKind(StrEnum):
    """What is changed: the path of the wheel, in three ways, what stands in its way, in three, or a tool."""

    TRAVEL = "travel"
    FEED = "feed"
    SHIFT = "shift"
    MOVE = "move"
    LOWER = "lower"
    RAISE = "raise"
    STICK_OUT = "stick out"
    FLUTES = "flutes"
    SHANK = "shank"


@dataclass(frozen=True, slots=True, kw_only=True)
class Dodge:
    """One change that lets the wheel pass, tried on the solids.

    Parameters
    ----------
    kind : DodgeKind
        What is changed.
    by_mm : float
        How much less overtravel or overrun, how far shifted or moved, how much lower or higher, longer or
        thinner.
    to_mm : float
        What is then set: overtravel, cross feed, shift, height of the top, how far the tool stands out,
        how long its flutes are or how thick its shank; the move or rise itself.
    direction : Vector
        Which way.
    body : str
        What moves or becomes lower; of a rise the piece that the wheel meets, which may be lower instead.
    tall_mm : float
        Height that is left of a body that becomes lower.
    both_ends : bool
        The travel is shortened at both ends.
    was_mm : float
        The cross feed as stated.
    parts, over, on_magnet : tuple of str, str, bool
        The parts that are raised, the equipment that they stand on, and whether its magnet holds them.
    """

    kind: DodgeKind
    by_mm: float
    to_mm: float
    direction: Vector
    body: str = ""
    tall_mm: float = 0.0
    both_ends: bool = False
    was_mm: float = 0.0
    parts: tuple[str, ...] = ()
    over: str = ""
    on_magnet: bool = False


class WheelChangeKind(StrEnum):
    """What is changed about the wheel, its flanges, the way of cutting or how the part lies."""

    TRAVERSE = "traverse"
    THICKER = "thicker"
    THINNER = "thinner"
    LARGER = "larger"
    FLANGES = "flanges"
    FEED = "feed"
    FILLET = "fillet"
    TURN = "turn"


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelChange:
    """One change of the wheel, or of how it is fed, after which a cut is made, ground again and found good.

    Parameters
    ----------
    kind : WheelChangeKind
        What is changed.
    to_mm : float
        Thickness, diameter, cross feed or radius that is then needed; zero for traversing. A fillet is not
        ground again: it is the room that the wheel's corner takes where the floor ends.
    was_mm : float
        The cross feed as it is; zero for other changes.
    most_rpm : int or None
        The most that a larger wheel may turn, where the machine turns faster.
    marked_speed : bool
        Whether the speed that a larger wheel may run at is known from its mark alone.
    wall : FaceRef or None
        What stood across the travel of a part that is turned by a quarter, and is then the wall of the cut.
    """

    kind: WheelChangeKind
    to_mm: float = 0.0
    was_mm: float = 0.0
    most_rpm: int | None = None
    marked_speed: bool = False
    wall: FaceRef | None = None
