"""Where parts come to rest, on what, how free they are, what locates them, and what tolerances do to it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.faceref import FaceRef, on
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.shapes import Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatChance:
    """How often one seat closes within tolerances, and what it leaves open.

    Parameters
    ----------
    own, other : FaceRef
        The part's face, and the one that it lies on.
    share_closed : float
        Part of the draws in which it closes, 0 to 1.
    gap_p95_um, gap_worst_um : float
        Gap that is left in one draw of twenty, and at most.
    of_zones : bool
        Whether that is the worst of all zones, or of the draws alone.
    """

    own: FaceRef
    other: FaceRef
    share_closed: float
    gap_p95_um: float
    gap_worst_um: float
    of_zones: bool = False

    @property
    def seat(self) -> str:
        """The seat, as `body.face on body.face`."""
        return on(self.own, self.other)


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongChance:
    """How often two faces carry that no seat states.

    Parameters
    ----------
    a, b : FaceRef
        `body.face` on either side.
    share_lands : float
        Part of the draws in which they carry, 0 to 1.
    """

    a: FaceRef
    b: FaceRef
    share_lands: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetSpread:
    """How far a face that is cut is out within tolerances.

    Parameters
    ----------
    target : str
        `body.face` of the face.
    mean_um, sigma_um : float
        Mean and standard deviation over the draws.
    low_um, high_um : float
        The worst either way: over all zones where that is known, else over the draws.
    limit_um : float or None
        Half of the face's own zone.
    lean_p95_um, lean_worst_um : float
        How much one end is further out than the other, in one draw of twenty and at most.
    edges_um : tuple of float
        Borders of the classes of the histogram, one more than there are counts.
    counts : tuple of int
        Draws in each class, by the middle of the face.
    corner_counts : tuple of int
        Draws in each class, by the corner or middle that is furthest out; empty where there is no corner.
    """

    target: str
    mean_um: float
    sigma_um: float
    low_um: float
    high_um: float
    limit_um: float | None
    lean_p95_um: float
    lean_worst_um: float
    edges_um: tuple[float, ...]
    counts: tuple[int, ...]
    corner_counts: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """What tolerances do to the rest.

    Parameters
    ----------
    draws, seed : int
        How many draws, and what they are repeated by.
    checked_um : float
        How far draws are from exact settlings.
    unsettled : int
        Draws settled exactly that did not come to rest.
    varied, leaning : int
        Faces that vary within their zones, and how many of them lean besides shifting.
    seats : tuple of SeatChance
        How often each seat closes.
    wrong : tuple of WrongChance
        What else carries, and how often.
    targets : tuple of TargetSpread
        How far each face that is cut is out.
    """

    draws: int
    seed: int
    checked_um: float
    unsettled: int
    varied: int
    leaning: int
    seats: tuple[SeatChance, ...]
    wrong: tuple[WrongChance, ...]
    targets: tuple[TargetSpread, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatGap:
    """One seat at rest.

    Parameters
    ----------
    seat : str
        The seat, as `body.face on body.face`.
    gap_min_um, gap_max_um : float or None
        Least and greatest gap; None where the faces no longer face each other.
    closed : bool
        Whether it is within the touch tolerance.
    force_n : float
        Force across it.
    """

    seat: str
    gap_min_um: float | None
    gap_max_um: float | None
    closed: bool
    force_n: float


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


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRest:
    """Where one part rests against where it is drawn, on what, and what it is free to do.

    Parameters
    ----------
    body : str
        The part.
    shift_mm, turn_deg : Vector
        From the drawn pose to the rest: of the part's centre, and axis times angle.
    seats : tuple of SeatGap
        Its seats.
    free : tuple of Freedom
        The motions that its contacts leave it.
    """

    body: str
    shift_mm: Vector
    turn_deg: Vector
    seats: tuple[SeatGap, ...]
    free: tuple[Freedom, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatTakes:
    """How one seat locates its part.

    Parameters
    ----------
    seat, rank : str
        The seat, and the rank that the set-up gives it.
    takes, wants : int
        Freedoms that it takes of those that the seats before it left, and those that it would take alone.
    fights : tuple of str
        Seats before it that already hold what it would take.
    """

    seat: str
    rank: str
    takes: int
    wants: int
    fights: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetMoves:
    """How a face that is cut moves along its normal.

    Parameters
    ----------
    target : str
        `body.face` of the face.
    by_seat : tuple of (str, float)
        By seat, um for each um that the seat is out; `um_per_um` in result.json.
    located : bool
        Whether it cannot move without a seat moving.
    """

    target: str
    by_seat: tuple[tuple[str, float], ...]
    located: bool


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
        What each takes.
    targets : tuple of TargetMoves
        How each face that is cut moves.
    """

    body: str
    rank: int
    seats: tuple[SeatTakes, ...]
    targets: tuple[TargetMoves, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoPlace:
    """Why a part cannot come when an order says; it finds no room where nothing more is known.

    Parameters
    ----------
    part : str
        The part; empty where it is not known which.
    taken : str
        The part whose place it takes.
    ending : str
        How its settling ended, where that was no rest.
    early : bool
        Whether others were still to come.
    """

    part: str
    taken: str = ""
    ending: str = ""
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
    unrested : (str, str) or None
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
    unrested: tuple[str, str] | None = None
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
    rests : bool
        Whether it comes to rest again.
    ending : str
        How that ended: `rest`, or that it goes over or away.
    at_mm : Vector
        Where it is pushed, in the part's own frame.
    """

    body: str
    stays: bool
    shift_mm: Vector = (0.0, 0.0, 0.0)
    turn_deg: Vector = (0.0, 0.0, 0.0)
    rests: bool = True
    ending: str = ""
    at_mm: Vector = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Where the parts come to rest when they are staged as stated.

    Parameters
    ----------
    ending, says : str
        How settling ended, in one word or two and in one sentence.
    order : tuple of str
        The order of staging; empty where all are pushed together.
    residual_um : float or None
        Deepest overlap left; None where settling never got so far.
    steps : int
        Steps of settling.
    error_um : float
        Bound on how deep bodies may stand in each other where they rest, beyond the overlap told.
    order_outcome : OrderOutcome or None
        Whether the order of staging matters; None where it was not found out.
    parts : tuple of PartRest
        Where each part rests.
    carried : tuple of LoadedContact
        The faces that touch at rest.
    location : tuple of PartLocation
        How the closed seats locate each part.
    chances : Chances or None
        None where no face states a tolerance.
    """

    ending: str
    says: str
    order: tuple[str, ...]
    residual_um: float | None
    steps: int
    error_um: float
    order_outcome: OrderOutcome | None
    parts: tuple[PartRest, ...]
    carried: tuple[LoadedContact, ...]
    location: tuple[PartLocation, ...]
    chances: Chances | None

    @property
    def at_rest(self) -> bool:
        """Whether the parts came to rest, so that their poses are more than where they were last."""
        return self.ending == "rest"
