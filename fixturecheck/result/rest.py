"""Where parts come to rest and how free they are, what locates them, and how bodies of an assembly stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fixturecheck.faceref import FaceRef, on
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.shapes import Vector
from fixturecheck.result.tolerance import Chances, CriticalPlace

if TYPE_CHECKING:
    from fixturecheck.arrays import Floats


class Ending(StrEnum):
    """How a settling ended; anything but `REST` says why there is no rest pose."""

    REST = "rest"
    FALLS = "falls"
    SLIDES = "slides"
    NO_PUSH = "no push"
    JAMMED = "jammed"
    OVERLAPS = "overlaps"
    NOT_CONVERGED = "not converged"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatGap:
    """One seat at rest.

    Parameters
    ----------
    own, other : FaceRef
        The part's face, and the one that it is meant to lie on.
    gap_min_um, gap_max_um : float
        Least and greatest gap over the part of the faces that look at each other; infinite where they no
        longer do.
    closed : bool
        Whether it is within the touch tolerance anywhere.
    force_n : float
        Force across it.
    """

    own: FaceRef
    other: FaceRef
    gap_min_um: float
    gap_max_um: float
    closed: bool
    force_n: float

    @property
    def name(self) -> str:
        """The seat, as `face on body.face`."""
        return on(self.own.face, self.other)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedContact:
    """Two faces that touch at rest.

    Parameters
    ----------
    a, b : FaceRef
        Face on either side.
    kind : ContactKind
        How they meet, by how the touching places lie.
    force_n : float
        Force across; zero where they touch and nothing presses.
    normal : Vector
        Mean direction out of `b` into `a`.
    points_mm : tuple of Vector
        The touching places.
    intended : bool
        Whether a seat of the set-up says so.
    """

    a: FaceRef
    b: FaceRef
    kind: ContactKind
    force_n: float
    normal: Vector
    points_mm: tuple[Vector, ...]
    intended: bool

    @property
    def bodies(self) -> tuple[str, str]:
        """The two bodies, that of `a` first."""
        return self.a.body, self.b.body


class FreedomKind(StrEnum):
    """How a body may still move."""

    SLIDES = "slides"
    TURNS = "turns"
    SCREWS = "screws"


@dataclass(frozen=True, slots=True, kw_only=True)
class Freedom:
    """A motion that the contacts leave a body.

    Parameters
    ----------
    kind : FreedomKind
        How it may still move.
    axis, point_mm : Vector
        Direction, and a point of the axis.
    low, high : float
        How far it goes either way before something else is met: mm for a slide, degrees otherwise;
        infinite where nothing is met within what was looked at.
    """

    body: str
    kind: FreedomKind
    axis: Vector
    point_mm: Vector
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RestPose:
    """Where one body rests.

    Parameters
    ----------
    body : str
        Which body.
    shift_mm : Vector
        How far its centre is from where it was drawn.
    turn_deg : Vector
        Axis times angle, from drawn to rest.
    matrix : ndarray, shape (4, 4)
        Its frame in the machine's at rest; replaces `Body.at`.
    """

    body: str
    shift_mm: Vector
    turn_deg: Vector
    matrix: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """How a body goes that never comes to rest.

    Parameters
    ----------
    off : str
        The body that carries it last; empty where none carries it as it is drawn.
    way : Vector
        Which way it goes until then, or to where it was last looked at; a unit vector.
    far_mm : float
        How far its centre is then from where it is drawn.
    """

    off: str
    way: Vector
    far_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settled:
    """Where everything rests, or why it does not.

    Parameters
    ----------
    ending : Ending
        `REST`, or what happened instead.
    poses : mapping of str to RestPose
        By loose body; where the body was last when the ending is not `REST`.
    steps : int
        Steps taken.
    residual_um : float
        Deepest overlap left; infinite where settling never got so far.
    body : str
        The body that an ending other than `REST` is about; empty where it is about all.
    departure : Departure or None
        How that body goes, with the endings `FALLS` and `SLIDES`.
    overlapping : tuple of str
        Two bodies that overlap deepest where the parts start, with the ending `OVERLAPS`; else empty.
    carried : tuple of LoadedContact
        Faces that touch at rest.
    seats : tuple of SeatGap
        Every intended seat of a loose body.
    freedoms : tuple of Freedom
        Motions left.
    balance : float
        Share of the load that contacts do not balance: what friction must hold.
    error_um : float
        Bound on how deep bodies may overlap where they rest, beyond the residual overlap; zero where
        all that is near is exact.
    """

    ending: Ending
    poses: Mapping[str, RestPose]
    steps: int
    residual_um: float
    body: str = ""
    departure: Departure | None = None
    overlapping: tuple[str, ...] = ()
    carried: tuple[LoadedContact, ...] = ()
    seats: tuple[SeatGap, ...] = ()
    freedoms: tuple[Freedom, ...] = ()
    balance: float = 0.0
    error_um: float = 0.0

    @property
    def rests(self) -> bool:
        """True where a rest pose was found."""
        return self.ending is Ending.REST

    @property
    def slides_off(self) -> bool:
        """True where a body goes over the edge of what it lies on."""
        gone = self.departure
        return self.ending is Ending.FALLS and gone is not None and bool(gone.off) and gone.far_mm > 0.05

    def unintended(self) -> tuple[LoadedContact, ...]:
        """Return the touching faces that no seat asks for and that carry force."""
        return tuple(c for c in self.carried if not c.intended and c.force_n > 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoPlace:
    """Why a part cannot be staged when its turn comes; without further fields, it finds no room.

    Parameters
    ----------
    part : str
        The part; empty where it is not known which.
    taken : str
        The part whose place it takes.
    ending : Ending or None
        How its settling ended, where that was no rest.
    early : bool
        Whether others were still to come.
    """

    part: str
    taken: str = ""
    ending: Ending | None = None
    early: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderOutcome:
    """Whether the rest depends on how the parts were staged.

    Parameters
    ----------
    spread_um : float
        Greatest distance between rests at any corner of any part, along motions that contacts do not leave
        free; infinite where the parts do not rest in all that were stated.
    tried : tuple of str
        The stagings compared.
    fits : bool
        Whether all rests are the same within the touch tolerance.
    furthest : str
        The staging whose rest is furthest off.
    unrested : (str, Ending) or None
        A stated staging in which parts do not come to rest, and how that ended.
    barred : tuple of (str, NoPlace)
        Orders that cannot be, each with the reason.
    untried : int
        How many more there are that were not tried.
    """

    spread_um: float
    tried: tuple[str, ...]
    fits: bool
    furthest: str = ""
    unrested: tuple[str, Ending] | None = None
    barred: tuple[tuple[str, NoPlace], ...] = ()
    untried: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderHand:
    """What a part does under a hand's push.

    Parameters
    ----------
    stays : bool
        Contacts with friction hold it where it is.
    shift_mm : Vector
        How far the pushed point goes before the part rests again.
    turn_deg : Vector
        Axis times angle of the turn to the new rest.
    ending : Ending
        How that ended: at rest, or that it goes over or away.
    at_mm : Vector
        Where it is pushed, in the part's own frame.
    """

    body: str
    stays: bool
    shift_mm: Vector = (0.0, 0.0, 0.0)
    turn_deg: Vector = (0.0, 0.0, 0.0)
    ending: Ending = Ending.REST
    at_mm: Vector = (0.0, 0.0, 0.0)

    @property
    def rests(self) -> bool:
        """Whether it comes to rest again."""
        return self.ending is Ending.REST


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitedPose:
    """Where a part stood on its way to rest, against where it is drawn.

    Parameters
    ----------
    step : int
        The step of settling; parts that settle together stood so at the same step.
    shift_mm, turn_deg : Vector
        Of the part's centre, and axis times angle.
    """

    step: int
    shift_mm: Vector
    turn_deg: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class WayIn:
    """How a part comes from the hand to its rest.

    Parameters
    ----------
    body : str
        The part.
    from_mm : Vector or None
        From how far off its first pose a hand brings it there straight, past all that is there already and
        without running into it; None where no such way was found.
    visited : tuple of VisitedPose
        The poses that settling took it through, from where the hand lets go to the rest.
    """

    body: str
    from_mm: Vector | None
    visited: tuple[VisitedPose, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Where the parts come to rest when they are staged as stated.

    Parameters
    ----------
    settled : Settled
        How settling ended, and where each body rests.
    order : tuple of str
        The order of staging; empty where all are pushed together.
    order_outcome : OrderOutcome or None
        Whether the order of staging matters; None where it was not found out.
    location : tuple of PartLocation
        How the closed seats locate each part.
    chances : Chances or None
        None where no face states a tolerance.
    ways_in : tuple of WayIn
        How the first parts came to their rest, in the order in which they come.
    """

    settled: Settled
    order: tuple[str, ...] = ()
    order_outcome: OrderOutcome | None = None
    location: tuple[PartLocation, ...] = ()
    chances: Chances | None = None
    ways_in: tuple[WayIn, ...] = ()

    @property
    def poses(self) -> tuple[RestPose, ...]:
        """Where each loose body rests, or was last."""
        return tuple(self.settled.poses.values())

    def seats_of(self, body: str) -> tuple[SeatGap, ...]:
        """Return the seats of one body."""
        return tuple(s for s in self.settled.seats if s.own.body == body)

    def freedoms_of(self, body: str) -> tuple[Freedom, ...]:
        """Return the motions that one body has left."""
        return tuple(f for f in self.settled.freedoms if f.body == body)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatRole:
    """What one seat adds to those stated before it.

    Parameters
    ----------
    name : str
        The seat.
    takes : int
        Freedoms it takes that those before it left: 3 for a primary, 2 secondary, 1 tertiary.
    wants : int
        Freedoms it would take alone.
    fights : tuple of str
        Seats before it that already hold what it would take: in practice only some of them can touch.
    """

    name: str
    takes: int
    wants: int
    fights: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatTakes:
    """How one seat of a part locates it.

    Parameters
    ----------
    own, other : FaceRef
        The part's face, and the one that it lies on.
    rank : str
        The rank that the set-up gives the seat.
    role : SeatRole
        What it adds to the seats before it.
    """

    own: FaceRef
    other: FaceRef
    rank: str
    role: SeatRole


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetMoves:
    """How a face that is cut moves along its normal.

    Parameters
    ----------
    place : CriticalPlace
        The face's middle and its normal.
    by_seat : tuple of (str, float)
        By seat, um for each um that the seat is out; `um_per_um` in result.json.
    free_mm : float
        How far the face moves along its normal for each mm that the part moves in the freedom the seats
        leave; zero where the seats locate it.
    """

    place: CriticalPlace
    by_seat: tuple[tuple[str, float], ...]
    free_mm: float = 0.0

    @property
    def located(self) -> bool:
        """Whether it cannot move without a seat moving."""
        return self.free_mm == 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLocation:
    """How the closed seats of one part locate it.

    Parameters
    ----------
    body : str
        The part.
    rank : int
        Freedoms that the seats take together, of 6.
    seats : tuple of SeatTakes
        What each takes, in the order stated.
    targets : tuple of TargetMoves
        How each face that is cut moves.
    closing : tuple of (FaceRef, FaceRef)
        Stops that only close the part in and locate nothing: the part's face, and the stop's.
    """

    body: str
    rank: int
    seats: tuple[SeatTakes, ...]
    targets: tuple[TargetMoves, ...]
    closing: tuple[tuple[FaceRef, FaceRef], ...] = ()


class PairState(StrEnum):
    """How two bodies stand to each other."""

    OVERLAP = "overlap"
    TOUCH = "touch"
    CLEAR = "clear"


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyPair:
    """Two bodies that overlap, touch, or stand close to each other.

    Parameters
    ----------
    a, b : str
        The bodies.
    state : PairState
        How they stand to each other.
    area_mm2, length_mm : float
        Sums over the areas and lines where they touch.
    areas, lines, points : int
        How many of each there are.
    gap_mm : float or None
        Least distance of two bodies that clear; None where it could not be computed, and for other states.
    volume_mm3 : float
        What they share.
    depth_mm : float or None
        How deep the one reaches into the other; None where they do not overlap or it is not known.
    parting_mm, parting_way : float and Vector, or None
        The shortest straight move of `a` that takes it out of `b`; None where none was found.
    at_mm : Vector or None
        A place that shows it.
    unknown : str
        Why depth, move or gap is not known; empty where nothing is missing.
    """

    a: str
    b: str
    state: PairState
    area_mm2: float = 0.0
    length_mm: float = 0.0
    areas: int = 0
    lines: int = 0
    points: int = 0
    gap_mm: float | None = None
    volume_mm3: float = 0.0
    depth_mm: float | None = None
    parting_mm: float | None = None
    parting_way: Vector | None = None
    at_mm: Vector | None = None
    unknown: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyFree:
    """What a body is free to do while all others stay where they are, to first order.

    Parameters
    ----------
    body : str
        The body.
    called : str
        What the file or the assembly calls it.
    touches : int
        How many bodies it touches.
    keeps : tuple of Freedom
        Motions, either way, that keep all its contacts closed.
    leaves : tuple of Vector
        Directions in which it moves straight away from what it touches.
    shut_in : bool
        Whether no motion at all takes it away from what it touches.
    unknown : str
        Why this is not known; empty where it is.
    """

    body: str
    called: str
    touches: int
    keeps: tuple[Freedom, ...] = ()
    leaves: tuple[Vector, ...] = ()
    shut_in: bool = False
    unknown: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Touching:
    """How the bodies of an assembly stand to each other.

    Parameters
    ----------
    within_mm : float
        Pairs that clear by more than this are not listed.
    pairs : tuple of BodyPair
        Every other pair: what overlaps first, then what touches, then what clears.
    bodies : tuple of BodyFree
        Every body.
    """

    within_mm: float
    pairs: tuple[BodyPair, ...]
    bodies: tuple[BodyFree, ...]

    def in_state(self, state: PairState) -> tuple[BodyPair, ...]:
        """Return the pairs that stand to each other so."""
        return tuple(p for p in self.pairs if p.state is state)
