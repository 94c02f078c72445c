"""The nouns of an answer: verdicts, findings, contacts, cuts and the result that holds them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from fixturecheck.faceref import FaceRef
from fixturecheck.hold_result import HoldFound
from fixturecheck.units import SMALL_LENGTHS, shown_in

Vector = tuple[float, float, float]


class Verdict(StrEnum):
    """What a gauge says; `unknown` is an answer that could not be computed and never a pass."""

    GO = "go"
    CAUTION = "caution"
    NO_GO = "no-go"
    UNKNOWN = "unknown"


_BADNESS = (Verdict.GO, Verdict.CAUTION, Verdict.UNKNOWN, Verdict.NO_GO)


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst of the verdicts: no-go, then unknown, then caution; `go` when there is none."""
    return max(verdicts, key=_BADNESS.index, default=Verdict.GO)


class ContactKind(StrEnum):
    """How two faces meet; `near` is a small gap."""

    AREA = "area"
    LINE = "line"
    POINT = "point"
    NEAR = "near"


class Role(StrEnum):
    """What a named shape shows, which decides its colour and the file it is written to."""

    PART = "part"
    FIXTURE = "fixture"
    POLE = "pole"
    WHEEL = "wheel"
    TRAVEL = "travel"
    AREA = "area"
    LINE = "line"
    POINT = "point"
    NEAR = "near"
    OVERLAP = "overlap"
    COLLISION = "collision"
    LEFTOVER = "leftover"
    GOUGE = "gouge"
    GROUND = "ground"
    REST = "rest"


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedShape:
    """A piece of geometry that a finding, contact or body is about.

    Parameters
    ----------
    name : str
        Unique in a result; the name in setup.step.
    role : Role
        What it shows.
    geometry : object
        A kernel shape in world coordinates; only the kernel and the drawing side of report look inside.
    bodies : tuple of str
        Names of the bodies it belongs to or lies between.
    """

    name: str
    role: Role
    geometry: object = field(repr=False, compare=False)
    bodies: tuple[str, ...] = ()


class Kind(StrEnum):
    """Which of a check's questions a finding answers, and how; check and kind together name one question."""

    # Of any check.
    NOT_COMPUTED = "not computed"
    NOTHING_TO_ANSWER = "nothing to answer"
    WAITS = "waits"
    OVERLAP = "overlap"
    # What was stated.
    AS_STATED = "as stated"
    SIZE = "size"
    # Seats and nests.
    CLOSED = "closed"
    OPEN = "open"
    DRAWN_OPEN = "drawn open"
    ON_A_LINE = "on a line"
    NOT_MEANT = "not meant"
    NO_FOOTING = "no footing"
    BESIDE_THE_NEST = "beside the nest"
    STANDS_ON_NOTHING = "stands on nothing"
    ON_NOTHING = "on nothing"
    ATTACHED = "attached"
    # Where parts come to rest, what locates them, and what tolerances do to it.
    PLACE = "place"
    ORDER = "order"
    PRESS = "press"
    NO_REST = "no rest"
    OVERLAPS = "overlaps"
    RANK = "rank"
    SEAT = "seat"
    FOLLOWS = "follows"
    FREE = "free"
    CLOSED_IN = "closed in"
    DOES_NOT_GO_IN = "does not go in"
    LANDS_FIRST = "lands first"
    WORK = "work"
    ZONES = "zones"
    NOT_SETTLED = "not settled"
    NOT_LINEAR = "not linear"
    # How parts hold, where they go, and how they come off.
    NO_CUT = "no cut"
    FACTOR = "factor"
    WAY = "way"
    LOSS = "loss"
    FILM = "film"
    COMES_OFF = "comes off"
    KEEPS_MAGNETISM = "keeps magnetism"
    BURRS = "burrs"
    # What the wheel makes.
    FLANGE_DEPTH = "flange depth"
    RIDGES = "ridges"
    STOCK_LEFT = "stock left"
    GOUGE = "gouge"
    CORNER = "corner"
    FACE_MADE = "face made"
    FLOOR_LEVEL = "floor level"
    WALL_ALONG = "wall along"
    WALL_UPRIGHT = "wall upright"
    GANG_HEIGHT = "gang height"
    GANG_LINE = "gang line"
    # What the wheel, and what goes with it, runs into.
    WHEEL_HITS = "wheel hits"
    FLANGE_HITS = "flange hits"
    GUARD_HITS = "guard hits"
    WHEEL_RUBS = "wheel rubs"
    FLANGE_RUBS = "flange rubs"
    GUARD_RUBS = "guard rubs"
    WHEEL_CLOSE = "wheel close"
    FLANGE_CLOSE = "flange close"
    GUARD_CLOSE = "guard close"
    WHEEL_CLEARS = "wheel clears"
    FLANGE_CLEARS = "flange clears"
    GUARD_CLEARS = "guard clears"
    WHEEL_HITS_CLAMP = "wheel hits clamp"
    FLANGE_HITS_CLAMP = "flange hits clamp"
    GUARD_HITS_CLAMP = "guard hits clamp"
    CLAMP_NOT_DRAWN = "clamp not drawn"
    CLAMP_CLEARS = "clamp clears"
    # Limits of wheel and machine.
    SPEED = "speed"
    TABLE_TRAVEL = "table travel"
    CROSS_FEED_TRAVEL = "cross feed travel"
    SIDE_PRESSURE = "side pressure"
    DAYLIGHT = "daylight"
    FLANGE = "flange"
    GUARD = "guard"


def wheel_name(cut: str) -> str:
    """Return the name of the shape that shows the wheel of a cut."""
    return f"wheel {cut}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One answer of one check.

    Parameters
    ----------
    check : str
        The check's ID.
    verdict : Verdict
        What the gauge says.
    subject : str
        What it is about: a body, `body.face`, a cut or a pair.
    value, limit : float or None
        The number found and the number it is held against, both in `unit`.
    unit : str
        Unit of value, limit and margin: mm, um, mm2, mm3, deg, m/s, share.
    margin : float or None
        Distance from the limit, positive on the good side.
    says : str
        One sentence in the trade's words.
    remedy : str or None
        The smallest change that would make it go, found by computing.
    source : str
        Where the limit or the rule comes from.
    shapes : tuple of NamedShape
        The geometry it is about.
    location_mm, direction : Vector or None
        Where an arrow points and which way, in world coordinates.
    overruled : Verdict or None
        The check's own verdict, where the set-up's `[severity]` made it count as `verdict`.
    kind : Kind or None
        Which of the check's questions it answers and how: findings of one check and kind differ in what they
        are about and in their numbers only.
    about : tuple of str
        The bodies or faces, `body` or `body.face`, that it is about, in an order that all of its kind share:
        the body that does not sit, hold or clear comes first.
    cut : str
        The cut that it is about; empty where it is about none.
    """

    check: str
    verdict: Verdict
    subject: str
    says: str
    value: float | None = None
    unit: str = ""
    limit: float | None = None
    margin: float | None = None
    remedy: str | None = None
    source: str = "geometry of the solids"
    shapes: tuple[NamedShape, ...] = ()
    location_mm: Vector | None = None
    direction: Vector | None = None
    overruled: Verdict | None = None
    kind: Kind | None = None
    about: tuple[str, ...] = ()
    cut: str = ""

    @property
    def place(self) -> tuple[str, str, tuple[str, ...], str, Vector | tuple[()], str]:
        """What findings of one check are sorted by: what they answer and are about, words last.

        So that a sentence may be written again without moving what it stands for.
        """
        return self.subject, self.kind or "", self.about, self.cut, self.location_mm or (), self.says


def not_computed(
    check: str,
    subject: str,
    says: str | Exception,
    *,
    about: tuple[str, ...] = (),
    cut: str = "",
    value: float | None = None,
    unit: str = "",
    source: str = "geometry of the solids",
) -> Finding:
    """Return the `unknown` of an answer that could not be computed; never a pass.

    Parameters
    ----------
    says : str or Exception
        What is not known and why, or the error alone, which is then said to be the reason.
    value : float or None
        What is known all the same, in `unit`.
    """
    if isinstance(says, Exception):
        says = f"Could not be computed: {str(says).rstrip('.')}."
    return Finding(
        check=check,
        verdict=Verdict.UNKNOWN,
        subject=subject,
        kind=Kind.NOT_COMPUTED,
        about=about,
        cut=cut,
        value=value,
        unit=unit,
        says=says,
        source=source,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Findings that are told as one, each by its place in `Result.findings`.

    Parameters
    ----------
    lead : int
        The finding that is furthest from its limit.
    like : tuple of int
        The others of its kind about copies of the same bodies.
    follows : tuple of Group
        What follows from these findings; it is not counted beside them.
    """

    lead: int
    like: tuple[int, ...] = ()
    follows: tuple[Group, ...] = ()

    def members(self) -> tuple[int, ...]:
        """Return the lead and its like, without what follows from them."""
        return (self.lead, *self.like)


class WhyNotAsked(StrEnum):
    """Why a check did not answer its question."""

    NOT_STATED = "not stated"
    LEFT_OUT = "left out on request"
    WAITS = "waits for another answer"


@dataclass(frozen=True, slots=True, kw_only=True)
class NotAsked:
    """A question of a check that nobody asked, so that no verdict covers it.

    Parameters
    ----------
    check : str
        The check's ID.
    reason : WhyNotAsked
        The set-up does not state what the question needs, the user left the check out, or another answer that
        it needs came out badly.
    lacks : str
        The table, key or seat that the set-up would have to state, or the answer that it waits for; empty
        where the check was left out.
    """

    check: str
    reason: WhyNotAsked
    lacks: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Where two faces touch, or look at each other across a small gap.

    Parameters
    ----------
    a, b : FaceRef
        Face on either side, in alphabetical order of bodies.
    kind : ContactKind
        How they meet.
    area_mm2, length_mm : float
        Size of the patch; zero where the kind has none.
    gap_min_um, gap_mean_um, gap_max_um : float
        Gap over the patch: least, mean and greatest.
    normal : Vector
        Unit normal out of `a` into `b`.
    centroid : Vector
        Centre of the patch in world coordinates, mm.
    error_um : float
        Bound on the gap where it was sampled; zero where the answer is exact.
    patch : str
        Name of the shape in a result that shows it; empty where there is none.
    """

    a: FaceRef
    b: FaceRef
    kind: ContactKind
    area_mm2: float
    length_mm: float
    gap_mean_um: float
    gap_max_um: float
    normal: Vector
    centroid: Vector
    error_um: float = 0.0
    gap_min_um: float = 0.0
    patch: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceMade:
    """How much of one target face the wheel makes.

    Parameters
    ----------
    face : str
        `body.face`.
    share_made : float
        Part of its area, 0 to 1.
    """

    face: str
    share_made: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelTravel:
    """Where the wheel goes in the last pass of a cut, machine's frame; for reports to show.

    Parameters
    ----------
    floor_z_mm : float
        Height of the wheel's lowest point.
    x_from_mm, x_to_mm : float
        Ends of the traverse of the spindle axis.
    y_from_mm, y_to_mm : float
        Ends of the cross feed of the wheel's front face; equal for a plunge.
    """

    floor_z_mm: float
    x_from_mm: float
    x_to_mm: float
    y_from_mm: float
    y_to_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CutMade:
    """One cut as ground.

    Parameters
    ----------
    name : str
        The cut.
    removed_mm3 : float
        What the wheel takes away.
    leftover_mm3, gouge_mm3 : float
        Stock that it leaves, and what it takes of the part as drawn.
    corner_radius_mm : float or None
        Radius that it leaves in the corner; None where the cut has none.
    faces : tuple of FaceMade
        How much of each target face is made.
    travel : WheelTravel or None
        Where the wheel goes; None in a result that no check made.
    """

    name: str
    removed_mm3: float
    leftover_mm3: float
    gouge_mm3: float
    corner_radius_mm: float | None
    faces: tuple[FaceMade, ...]
    travel: WheelTravel | None = None


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
class Carrying:
    """Two faces that touch at rest.

    Parameters
    ----------
    a, b : str
        `body.face` on either side.
    kind : ContactKind
        How they meet.
    force_n : float
        Force across them.
    intended : bool
        Whether a seat says that they touch.
    """

    a: str
    b: str
    kind: ContactKind
    force_n: float
    intended: bool


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
class SeatChance:
    """How often one seat closes within tolerances, and what it leaves open.

    Parameters
    ----------
    seat : str
        The seat.
    share_closed : float
        Part of the draws in which it closes, 0 to 1.
    gap_p95_um, gap_worst_um : float or None
        Gap that is left in one draw of twenty, and at most; None where nothing faces it.
    """

    seat: str
    share_closed: float
    gap_p95_um: float | None
    gap_worst_um: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongChance:
    """How often two faces carry that no seat states.

    Parameters
    ----------
    a, b : str
        `body.face` on either side.
    share_lands : float
        Part of the draws in which they carry, 0 to 1.
    """

    a: str
    b: str
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
    checked_say : str
        Which draws were settled exactly.
    faces_say : str
        How faces were drawn within their zones.
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
    checked_say: str
    faces_say: str
    seats: tuple[SeatChance, ...]
    wrong: tuple[WrongChance, ...]
    targets: tuple[TargetSpread, ...]


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
    order_says : str
        Whether the order of staging matters; empty where it was not found out.
    parts : tuple of PartRest
        Where each part rests.
    carried : tuple of Carrying
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
    order_says: str
    parts: tuple[PartRest, ...]
    carried: tuple[Carrying, ...]
    location: tuple[PartLocation, ...]
    chances: Chances | None

    @property
    def at_rest(self) -> bool:
        """Whether the parts came to rest, so that their poses are more than where they were last."""
        return self.ending == "rest"


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A file the set-up was read from.

    Parameters
    ----------
    path : str
        From the set-up's folder.
    sha256 : str
        Its SHA-256, in hexadecimal.
    """

    path: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """A value that was used without being stated.

    Parameters
    ----------
    of : str
        What it belongs to: `machine`, `cut floor`, `equipment vee`; several are named in one text.
    key : str
        The key that would state it.
    value : float, str or bool
        What was used, a number in `unit`.
    hangs_on : str
        What depends on it.
    aside : bool
        Whether it is one of many of its sort that seldom matter: sizes of equipment, tolerances, seats.
    """

    of: str
    key: str
    value: float | str | bool
    unit: str
    hangs_on: str
    aside: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """Everything a check found; reports compute nothing.

    Parameters
    ----------
    verdict : Verdict
        The worst of the findings'.
    name : str
        What the set-up is called.
    sources : tuple of Source
        The files that it was read from.
    findings : tuple of Finding
        Every answer, in the order of the checks.
    contacts : tuple of Contact
        Every patch where bodies touch or nearly do, as drawn.
    cuts : tuple of CutMade
        Every cut as ground.
    shapes : tuple of NamedShape
        Bodies, patches and regions, for setup.step and the pictures.
    units, small_lengths : str
        `mm` or `inch`; and `as units` or `thou`, for lengths below a tenth of an inch.
    groups : tuple of Group
        Every finding once: like ones together, what follows from another under it.
    not_asked : tuple of NotAsked
        The questions that the verdict does not cover, in the order of the checks.
    assumed : tuple of Assumed
        What was used without being stated.
    rest, holding : Rest, HoldFound or None
        None where the set-up does not state them.
    setup : object
        The `Setup` that was checked, for the report to show; None in a result that no check made.
    """

    verdict: Verdict
    name: str
    units: str
    sources: tuple[Source, ...]
    findings: tuple[Finding, ...]
    contacts: tuple[Contact, ...]
    cuts: tuple[CutMade, ...]
    shapes: tuple[NamedShape, ...]
    rest: Rest | None = None
    holding: HoldFound | None = None
    not_asked: tuple[NotAsked, ...] = ()
    groups: tuple[Group, ...] = ()
    assumed: tuple[Assumed, ...] = ()
    small_lengths: str = SMALL_LENGTHS[0]
    setup: object = field(default=None, repr=False, compare=False)

    @property
    def shown_in(self) -> str:
        """What reports write lengths in: `mm`, `inch`, or `thou` for inches and thousandths."""
        return shown_in(self.units, self.small_lengths)
