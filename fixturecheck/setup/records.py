"""Seats, cuts, the machine and reliefs as stated, with what each of their keys takes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.shop.wheels import Flange, Guard

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup


RANKS = ("primary", "secondary", "tertiary", "stop", "nest")
WAYS = ("plunge", "traverse")
SPARKS = ("left", "right")


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """An intended contact: `face` of `body` is meant to lie on `on_face` of `on`.

    Parameters
    ----------
    body, face : str
        The body that is put in place, and its face that seats.
    on, on_face : str
        The body that it seats on, and the face there.
    rank : str
        `primary`, `secondary`, `tertiary`, `stop` or `nest`; a nest is between neighbouring parts.
    min_share : float
        Share of the smaller of the two faces that must touch for `go`.
    """

    body: str
    face: str
    on: str
    on_face: str
    rank: str = field(
        default="primary", metadata=allowed(words=RANKS, matters="which seats locate the part first")
    )
    min_share: float = field(
        default=0.5, metadata=allowed(0.0, 1.0, matters="how much of the face must touch for a go")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def own(self) -> FaceRef:
        """The face that seats."""
        return FaceRef.of(self.body, self.face)

    @property
    def other(self) -> FaceRef:
        """The face that it seats on."""
        return FaceRef.of(self.on, self.on_face)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One grinding cut, over one part or a gang.

    Parameters
    ----------
    name : str
        What the cut is called; letters, digits, `_` and `-`.
    parts : tuple of str
        The parts that are ground in this cut, all in the same passes.
    floor : str
        Name of the horizontal target face on each part.
    wall : str or None
        Name of the vertical target face, ground with the side of the wheel.
    stock_mm, wall_stock_mm : float
        What is left on floor and wall for this cut; the drawn part is the finished one.
    downfeed_mm : float
        Depth of one pass.
    wall_feed_mm : float or None
        Feed into the wall in one pass; its force grows in proportion. None takes the downfeed, or all that
        is left on the wall where that is less.
    table_speed_m_min : float
        Speed of the traverse.
    cross_feed_mm : float
        Step in Y between passes when traversing; ignored by a plunge.
    feed_shift_mm : float
        How far the wheel runs off the middle of the floor toward +Y; for a cut without a wall.
    way : str
        `plunge` (one Y position) or `traverse` (stepping in Y until the floor is covered).
    overtravel_mm : float
        Travel past the floor at both ends, measured from where the wheel is fully clear of it.
    rpm : float or None
        Spindle speed; None takes the machine's.
    """

    name: str
    parts: tuple[str, ...]
    floor: str
    wall: str | None = None
    stock_mm: float = field(
        default=0.2,
        metadata=allowed(
            1e-4, 20.0, or_zero=True, matters="what is ground away, the path of the wheel, daylight"
        ),
    )
    wall_stock_mm: float = field(
        default=0.0,
        metadata=allowed(1e-4, 20.0, or_zero=True, matters="what is ground off the wall, side pressure"),
    )
    downfeed_mm: float = field(
        default=0.01, metadata=allowed(1e-4, 20.0, matters="the cutting force, and so the hold and the crash")
    )
    wall_feed_mm: float | None = field(
        default=None, metadata=allowed(1e-4, 20.0, matters="the side force on the wall")
    )
    table_speed_m_min: float = field(
        default=12.0,
        metadata=allowed(0.001, 100.0, matters="the cutting force, and so the hold and the crash"),
    )
    cross_feed_mm: float = field(
        default=2.0,
        metadata=allowed(
            0.001, 300.0, matters="the cutting force, and how far the wheel runs over the edges"
        ),
    )
    feed_shift_mm: float = field(default=0.0, metadata=allowed(-300.0, 300.0))
    way: str = field(
        default="plunge",
        metadata=allowed(words=WAYS, matters="whether the wheel covers a floor wider than itself"),
    )
    overtravel_mm: float = field(
        default=10.0,
        metadata=allowed(
            0.01, 2000.0, or_zero=True, matters="travel of the table, what the wheel must clear"
        ),
    )
    rpm: float | None = field(
        default=None, metadata=allowed(1.0, 100000.0, matters="speed of the wheel in this cut")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    def __post_init__(self) -> None:
        """Take a list of parts as a tuple, so that the cut can be hashed."""
        stated: object = self.parts
        if isinstance(stated, list):
            object.__setattr__(self, "parts", tuple(stated))


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """The surface grinder: travels, speed, and what turns with or covers the wheel.

    Parameters
    ----------
    travel_x_mm, travel_y_mm : float
        Table traverse and cross feed.
    daylight_mm : float
        From table to the lowest point of a new wheel at the top of its travel.
    table_z_mm : float or None
        Height of the table in the frame of the set-up; nothing may stand lower. None is the lowest point
        of what stands there.
    rpm : float
        Spindle speed.
    sparks : str
        `left` or `right`: the way the wheel's lowest point moves.
    least_clearance_mm : float
        Clearance between anything that moves with the wheel and anything that does not, below which
        the check cautions.
    """

    travel_x_mm: float = field(
        default=450.0, metadata=allowed(1.0, 10000.0, matters="whether the table reaches")
    )
    travel_y_mm: float = field(
        default=150.0, metadata=allowed(1.0, 10000.0, matters="whether the cross feed reaches")
    )
    daylight_mm: float = field(
        default=300.0, metadata=allowed(1.0, 10000.0, matters="whether the work goes under the wheel")
    )
    table_z_mm: float | None = field(
        default=None, metadata=allowed(-10000.0, 10000.0, matters="how high the work stands")
    )
    rpm: float = field(
        default=2850.0, metadata=allowed(1.0, 100000.0, matters="speed of the wheel, cutting force")
    )
    sparks: str = field(
        default="right", metadata=allowed(words=SPARKS, matters="which way the wheel pulls the parts")
    )
    least_clearance_mm: float = field(
        default=1.0, metadata=allowed(0.001, 100.0, or_zero=True, matters="when a clearance is a caution")
    )
    flange: Flange = field(default_factory=Flange)
    guard: Guard | None = field(default_factory=Guard)
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


KINDS = ("chamfer", "fillet", "undercut", "groove", "setback")


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Relieving:
    """What is asked of a relief.

    Parameters
    ----------
    clearance_mm : float
        Air wanted between the relief and what it clears, beyond what tolerances take.
    min_wall_mm : float
        Thinnest wall that a relief may leave; zero asks nothing.
    kinds : tuple of str
        Reliefs that the shop makes, those wanted most first: `chamfer`, `fillet` (a rounded edge),
        `undercut` (a step milled along an outside edge), `groove` (into an inside corner), `setback` (a
        whole flat face taken back).
    """

    clearance_mm: float = field(default=0.0, metadata=allowed(0.0, 10.0))
    min_wall_mm: float = field(default=0.0, metadata=allowed(0.0, 1000.0))
    kinds: tuple[str, ...] = field(default=KINDS, metadata=allowed(words=KINDS))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


def refuse_bad_relieving(setup: Setup) -> None:
    """Raise for a wish that no relief can meet.

    Raises
    ------
    SetupError
        Names the wish and the value.
    """
    if not setup.relief.kinds:
        message = f"relief, kinds: use {', '.join(KINDS[:-1])} or {KINDS[-1]}; got none"
        raise SetupError(message)
