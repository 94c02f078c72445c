"""Verdicts and findings, how a number is held against its limit, and what was not asked."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Required, TypedDict, Unpack

from fixturecheck.errors import NotComputedError
from fixturecheck.result.shapes import NamedShape, Vector


class Verdict(StrEnum):
    """What a gauge says; `unknown` is an answer that could not be computed and never a pass."""

    GO = "go"
    CAUTION = "caution"
    NO_GO = "no-go"
    UNKNOWN = "unknown"


BADNESS = (Verdict.GO, Verdict.CAUTION, Verdict.UNKNOWN, Verdict.NO_GO)


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst of the verdicts: no-go, then unknown, then caution; `go` when there is none.

    Parameters
    ----------
    verdicts : iterable of Verdict
        May be empty.

    Returns
    -------
    Verdict
    """
    return max(verdicts, key=BADNESS.index, default=Verdict.GO)


class Kind(StrEnum):
    """Which of a check's questions a finding answers, and how; check and kind together name one question."""

    # Of any check.
    NOT_COMPUTED = "not computed"
    NOTHING_TO_ANSWER = "nothing to answer"
    WAITS = "waits"
    OVERLAP = "overlap"
    # What was stated.
    SIZE = "size"
    NO_UNIT = "no unit"
    OTHER_UNIT = "other unit"
    BELOW_TABLE = "below the table"
    DEEP_CUT = "deeper than the stock"
    NO_LEAST_SHARE = "no least share"
    WIDE_ZONE = "wide zone"
    SLIPPERY = "slippery"
    NOT_MAGNETIC = "not magnetic"
    # Seats and nests.
    CLOSED = "closed"
    MEETS = "meets"
    OPEN = "open"
    DRAWN_OPEN = "drawn open"
    ON_A_LINE = "on a line"
    ALONG_ITS_ROUND = "along its round"
    NOT_MEANT = "not meant"
    NO_FOOTING = "no footing"
    TOUCHES_NOTHING = "touches nothing"
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
    # What looks across the operations of a job.
    NOT_MADE_YET = "not made yet"
    CUT_AWAY = "cut away"
    NEVER_MADE = "never made"
    DATUM_UNFINISHED = "datum unfinished"
    STILL_THERE = "still there"
    TAKES_AIR = "takes air"
    BLANK_LEFT = "blank left"
    BURR_LEFT = "burr left"
    THIN_WALL = "thin wall"
    GROWS = "grows"
    GROWN_FIT = "grown fit"
    GROWN_PITCH = "grown pitch"
    MAGNETISED = "magnetised"
    CUTS_HARD = "cuts hard"
    # How bodies of an assembly stand to each other.
    TOUCH = "touch"
    CLEAR = "clear"
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
    # What a cutter, and what goes with it, runs into, and whether it fits what it makes.
    CUTTER_HITS = "cutter hits"
    SHANK_HITS = "shank hits"
    NUT_HITS = "nut hits"
    NOSE_HITS = "nose hits"
    CUTTER_RUBS = "cutter rubs"
    SHANK_RUBS = "shank rubs"
    NUT_RUBS = "nut rubs"
    NOSE_RUBS = "nose rubs"
    CUTTER_CLOSE = "cutter close"
    SHANK_CLOSE = "shank close"
    NUT_CLOSE = "nut close"
    NOSE_CLOSE = "nose close"
    CUTTER_CLEARS = "cutter clears"
    SHANK_CLEARS = "shank clears"
    NUT_CLEARS = "nut clears"
    NOSE_CLEARS = "nose clears"
    CUTTER_HITS_CLAMP = "cutter hits clamp"
    SHANK_HITS_CLAMP = "shank hits clamp"
    NUT_HITS_CLAMP = "nut hits clamp"
    NOSE_HITS_CLAMP = "nose hits clamp"
    INSIDE_RADIUS = "inside radius"
    FLOOR_RADIUS = "floor radius"
    SCALLOP = "scallop"
    FLUTE_LENGTH = "flute length"
    LEAD_ANGLE = "lead angle"
    OVERHANGING = "overhanging"
    MILL_DAYLIGHT = "daylight for the cutter"
    # Jaws of a vise.
    JAW_PRESSURE = "jaw pressure"
    JAW_COCKS = "jaw cocks"
    JAW_LIFTS = "jaw lifts"
    OVERHANG = "overhang"
    GRIP_LOST = "grip lost"
    RING_SQUEEZED = "ring squeezed"
    # Holes.
    HOLE_UPRIGHT = "hole upright"
    DRILL_START = "drill start"
    SPOT = "spot"
    DRILL_SIZE = "drill size"
    THREAD_SHARE = "thread share"
    THREAD_DEPTH = "thread depth"
    FLUTES = "flutes"
    DEEP_HOLE = "deep hole"
    DRILL_CLEAR = "drill clear"
    NUT_CLEAR = "nut clear"
    NOSE_CLEAR = "nose clear"
    SPOT_CLEAR = "spot drill clears"
    SPOT_NUT_CLEAR = "spot nut clears"
    SPOT_NOSE_CLEAR = "spot nose clears"
    TAP_CLEAR = "tap clears"
    TAP_NUT_CLEAR = "tap nut clears"
    TAP_NOSE_CLEAR = "tap nose clears"
    TOOL_DAYLIGHT = "tool daylight"
    # Slopes that equipment makes.
    STACK = "stack"
    STEEP = "steep"
    SLOPE = "slope"
    # Sizes over rolls.
    OVER_ROLLS = "over rolls"
    ROLL_TOUCH = "roll touches"
    ROLL_FREE = "roll free"
    ROLL_ERROR = "error of the rolls"
    # What hardening does.
    SIZE_CHANGE = "size change"
    SKIN = "skin"
    QUENCH = "quench"
    HARDNESS = "hardness"
    TOUGHNESS = "toughness"
    HARDNESS_TEST = "hardness test"
    HOLES = "holes"
    DEMAGNETISE = "demagnetise"
    # Dials.
    TOUCH_FACE = "touch face"
    TOUCH_MARK = "touch mark"
    DIAL_WAY = "way between touches"
    DIAL_TRAVEL = "travel of the dials"
    DIAL_DAYLIGHT = "daylight between touches"
    READING = "reading"
    LEAST_STEP = "step of a pass"
    BATCH_TIME = "time"
    FINDER = "edge finder"
    SQUARED = "set parallel"
    # Limits of wheel and machine.
    SPEED = "speed"
    TABLE_TRAVEL = "table travel"
    CROSS_FEED_TRAVEL = "cross feed travel"
    SIDE_PRESSURE = "side pressure"
    DAYLIGHT = "daylight"
    FLANGE = "flange"
    GUARD = "guard"


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Where in the user's files something is stated.

    Parameters
    ----------
    file : str
        From the set-up's folder.
    line : int or None
        From 1; None where it cannot be told.
    """

    file: str
    line: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One answer of one check.

    Parameters
    ----------
    check : str
        The check's name. A check leaves it out: whoever asks the check sets it.
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
    named : str
        What else tells it from others of its kind: a clamp, a material, a way of pressing.
    asks : Kind or None
        Of an answer that could not be computed: a kind of those that would answer the same question.
    origin : Origin or None
        Where what it is about is stated; None where no file states it.
    id : str
        Its name in its result, the same from one result to the next; a `Result` gives it.
    """

    id: str = field(default="", compare=False)
    check: str = ""
    verdict: Verdict
    subject: str
    kind: Kind | None = None
    asks: Kind | None = None
    about: tuple[str, ...] = ()
    cut: str = ""
    named: str = ""
    origin: Origin | None = None
    value: float | None = None
    unit: str = ""
    limit: float | None = None
    margin: float | None = None
    says: str
    remedy: str | None = None
    source: str = "geometry of the solids"
    shapes: tuple[NamedShape, ...] = ()
    location_mm: Vector | None = None
    direction: Vector | None = None
    overruled: Verdict | None = None

    @property
    def place(self) -> tuple[str, str, tuple[str, ...], str, Vector | tuple[()], str]:
        """What findings of one check are sorted by: what they answer and are about, words last.

        So that a sentence may be written again without moving what it stands for.
        """
        return self.subject, self.kind or "", self.about, self.cut, self.location_mm or (), self.says


def not_computed(
    subject: str,
    says: str | Exception,
    *,
    check: str = "",
    about: tuple[str, ...] = (),
    cut: str = "",
    named: str = "",
    asks: Kind | None = None,
    value: float | None = None,
    unit: str = "",
    source: str = "geometry of the solids",
) -> Finding:
    """Return the `unknown` of an answer that could not be computed; never a pass.

    Parameters
    ----------
    subject : str
        What it is about, as in `Finding`.
    says : str or Exception
        What is not known and why, or the error alone, which is then said to be the reason.
    check : str
        The check's name; a check itself leaves it out.
    about : tuple of str
        The bodies or faces that it is about, as in `Finding`.
    cut : str
        The cut that it is about; empty where it is about none.
    named : str
        What else tells it from others of its kind.
    asks : Kind or None
        A kind of those that would answer the question, where one question alone has no answer.
    value : float or None
        What is known all the same, in `unit`.
    unit : str
        Unit of `value`; empty without one.
    source : str
        Where the rule comes from.

    Returns
    -------
    Finding
        Of the kind `NOT_COMPUTED`, without limit, margin or remedy.
    """
    if isinstance(says, Exception):
        says = f"Could not be computed: {str(says).rstrip('.')}."
    return Finding(
        check=check,
        verdict=Verdict.UNKNOWN,
        subject=subject,
        kind=Kind.NOT_COMPUTED,
        asks=asks,
        about=about,
        cut=cut,
        named=named,
        value=value,
        unit=unit,
        says=says,
        source=source,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Findings that are reported as one, each by its place in `Result.findings`.

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
        The check's name.
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


class FindingText(TypedDict, total=False):
    """What a finding tells beside its number and verdict; each field is that of `Finding`."""

    kind: Required[Kind]
    says: Required[str]
    check: str
    subject: str
    remedy: str | None
    source: str
    shapes: tuple[NamedShape, ...]
    location_mm: Vector | None
    direction: Vector | None
    about: tuple[str, ...]
    cut: str
    named: str


def judge(
    value: float | None,
    *,
    unit: str = "",
    at_least: float | None = None,
    at_most: float | None = None,
    within: float | None = None,
    rounding: float = 0.0,
    short: Verdict = Verdict.NO_GO,
    verdict: Verdict | None = None,
    **text: Unpack[FindingText],
) -> Finding:
    """Hold a number against its limit, and return the finding with verdict, limit and margin.

    Parameters
    ----------
    value : float or None
        The number found, in `unit`; None where it is not known, which never passes.
    unit : str
        Unit of the number, its limit and its margin; empty for none.
    at_least, at_most, within : float or None
        The limit, one of the three: from below, from above, or on the size of a number that may have either
        sign. None of them where nothing limits it; `verdict` then has to be given.
    rounding : float
        How far rounding alone may put the number beyond the limit.
    short : Verdict
        What it is where the limit is not met.
    verdict : Verdict or None
        What it is whether or not the limit is met, where more than the number decides.
    **text
        What the finding tells; a remedy is left out where it is go. Without `subject` that is its cut, and
        the first that it is about or else how it is `named`.

    Returns
    -------
    Finding

    Raises
    ------
    NotComputedError
        The number or its limit is infinite or not a number.
    ValueError
        More than one limit is given, or neither a limit nor a verdict.
    """
    margin = margin_of(value, at_least=at_least, at_most=at_most, within=within)
    limit = next((v for v in (at_least, at_most, within) if v is not None), None)
    if "subject" not in text:
        of = [*text.get("about", ()), text.get("named", "")][0]
        text["subject"] = "/".join(part for part in (text.get("cut"), of) if part)
    if verdict is None and limit is None:
        raise ValueError(f"nothing says what {text['kind']} of {text['subject']} is held against")
    if verdict is None:
        verdict = short if margin is not None and margin < -rounding else Verdict.GO
    if verdict is Verdict.GO:
        text["remedy"] = None
        if margin is None and limit is not None:
            verdict = Verdict.UNKNOWN
    return Finding(verdict=verdict, value=value, unit=unit, limit=limit, margin=margin, **text)


def meets(
    value: float | None,
    *,
    at_least: float | None = None,
    at_most: float | None = None,
    within: float | None = None,
    rounding: float = 0.0,
) -> bool:
    """Tell whether a number meets its limit, as `judge` does; one that is not known does not.

    Parameters
    ----------
    value : float or None
        None where it is not known.
    at_least, at_most, within : float or None
        The limit, one of the three: from below, from above, or on the size without its sign. Without a limit
        none is met.
    rounding : float
        How far rounding alone may put the number beyond the limit.

    Returns
    -------
    bool
        True too where the limit is missed by no more than the rounding.

    Raises
    ------
    NotComputedError
        The number or its limit is infinite or not a number.
    ValueError
        More than one limit is given.
    """
    margin = margin_of(value, at_least=at_least, at_most=at_most, within=within)
    return margin is not None and margin >= -rounding


def margin_of(
    value: float | None,
    *,
    at_least: float | None = None,
    at_most: float | None = None,
    within: float | None = None,
) -> float | None:
    """Return how far a number is on the good side of its limit; None where either is not known.

    Parameters
    ----------
    value : float or None
        None where it is not known.
    at_least, at_most, within : float or None
        The limit, in the unit of `value`: from below, from above, or on its size without its sign.

    Returns
    -------
    float or None
        In the unit of `value`; below zero where the limit is not met.

    Raises
    ------
    NotComputedError
        The number or its limit is infinite or not a number.
    ValueError
        More than one limit is given.
    """
    if sum(limit is not None for limit in (at_least, at_most, within)) > 1:
        raise ValueError(f"{value} is held against more than one limit")
    if value is None:
        return None
    for number in (value, at_least, at_most, within):
        if number is not None and not math.isfinite(number):
            raise NotComputedError(f"a number or its limit came out as {number}")
    if at_least is not None:
        return value - at_least
    if at_most is not None:
        return at_most - value
    return None if within is None else within - abs(value)
