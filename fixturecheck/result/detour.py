"""What would let the wheel pass: another path, another place of what stands there, or another wheel."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.result.shapes import Vector


class DodgeKind(StrEnum):
    """What is changed: the path of the wheel, in three ways, what stands in its way, in three, or a tool."""

    TRAVEL = "travel"
    FEED = "feed"
    SHIFT = "shift"
    MOVE = "move"
    LOWER = "lower"
    RAISE = "raise"
    STICK_OUT = "stick out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Dodge:
    """One change that lets the wheel pass, tried on the solids.

    Parameters
    ----------
    kind : DodgeKind
        What is changed.
    by_mm : float
        How much less overtravel or overrun, how far shifted or moved, how much lower or higher.
    to_mm : float
        What is then set: overtravel, cross feed, shift, height of the top, how far the tool stands out; the
        move or rise itself.
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
    """What is changed about the wheel, its flanges or the way of cutting."""

    TRAVERSE = "traverse"
    THICKER = "thicker"
    THINNER = "thinner"
    LARGER = "larger"
    FLANGES = "flanges"
    FEED = "feed"
    FILLET = "fillet"


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
    """

    kind: WheelChangeKind
    to_mm: float = 0.0
    was_mm: float = 0.0
    most_rpm: int | None = None
    marked_speed: bool = False
