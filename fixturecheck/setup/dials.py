"""What the user states of the dials: the handwheels, how they are zeroed, and how the cuts are fed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from fixturecheck.errors import Mistakes, SetupError, about
from fixturecheck.faceref import FaceRef
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.names import allowed_name, nearest
from fixturecheck.result.dials import Toward
from fixturecheck.units import UNITS

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup


class DialKind(StrEnum):
    """A graduated collar on a handwheel, or a read-out of a scale on the slide."""

    DIAL = "dial"
    READOUT = "readout"


class FeedWay(StrEnum):
    """Which way the wheel goes, seen from the work; `in` is toward the column."""

    DOWN = "down"
    UP = "up"
    IN = "in"
    OUT = "out"


_WHOLE_SHARE = 1e-6
"""How far a turn may be from a whole number of graduations: dials are stated in rounded inches, too."""


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Handwheel:
    """One feed of the machine, and the dial or read-out that shows where it stands.

    Parameters
    ----------
    graduation_mm : float
        Feed from one line of the dial to the next, or the last digit of a read-out.
    counts_up : str
        Which way the wheel goes, seen from the work, when the number grows: `down` or `up` for the downfeed,
        `in` (toward the column) or `out` for the cross feed.
    reads : str
        `dial`, on the screw, or `readout`, of a scale on the slide, which backlash does not reach.
    turn_mm : float or None
        Feed of one whole turn; a dial needs it.
    units : str or None
        What the dial is graduated in, `mm` or `inch`; None takes the set-up's.
    backlash_mm : float or None
        Play of the screw; None is not known.
    travel_mm : float or None
        How far the feed goes; None takes the machine's daylight or cross travel.
    """

    graduation_mm: float = field(metadata=allowed(1e-4, 10.0))
    counts_up: str = field(metadata=allowed(words=FeedWay))
    reads: str = field(default=DialKind.DIAL, metadata=allowed(words=DialKind))
    turn_mm: float | None = field(default=None, metadata=allowed(0.001, 100.0))
    units: str | None = field(default=None, metadata=allowed(words=UNITS))
    backlash_mm: float | None = field(default=None, metadata=allowed(1e-4, 10.0, or_zero=True))
    travel_mm: float | None = field(default=None, metadata=allowed(0.1, 10000.0))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def lines_each_turn(self) -> int | None:
        """Lines of the dial; None for a read-out."""
        if self.reads == DialKind.READOUT or self.turn_mm is None:
            return None
        return round(self.turn_mm / self.graduation_mm)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Dials:
    """How the dials are zeroed, and how the cuts are fed.

    Parameters
    ----------
    touch_top : str or None
        `body.face` that the wheel's rim touches; None is the floor of the first part of each cut.
    touch_side : str or None
        `body.face` that the wheel's side touches, for the cuts with a wall, or for all where none has one;
        None is the wall of the first part.
    may_mark : tuple of str
        Faces without stock, as `body.face`, that a touch may mark.
    mark_mm : float
        How deep a touch marks until it is seen.
    burr_mm : float
        Height of the burrs left on the edges of a touched face; 0 where they are stoned.
    lift_mm : float
        How far over the highest place the wheel is lifted on its way.
    finish_downfeed_mm : float or None
        Depth of one finishing pass; None is that of the cut.
    finish_mm : float
        How much of the stock is left for finishing passes.
    spark_out : int
        Passes without feed at the end.
    wear_mm : float
        What the wheel's radius loses over one cut; so much more is fed.
    reversal_s : float
        Time lost at each end of a stroke.
    touch_min : float
        Time to touch off and set zero, once for each batch.
    change_min : float
        Time to take the parts off and set the next ones.
    """

    touch_top: str | None = None
    touch_side: str | None = None
    may_mark: tuple[str, ...] = ()
    mark_mm: float = field(
        default=0.002, metadata=allowed(1e-4, 1.0, or_zero=True, matters="how near the dial meets its target")
    )
    burr_mm: float = field(
        default=0.0, metadata=allowed(1e-4, 2.0, or_zero=True, matters="how near the dial meets its target")
    )
    lift_mm: float = field(
        default=5.0, metadata=allowed(0.1, 500.0, matters="daylight on the way from touch to touch")
    )
    finish_downfeed_mm: float | None = field(default=None, metadata=allowed(1e-4, 5.0))
    finish_mm: float = field(default=0.0, metadata=allowed(1e-4, 20.0, or_zero=True))
    spark_out: int = field(default=2, metadata=allowed(0, 100, matters="time of the batch"))
    wear_mm: float = field(
        default=0.0, metadata=allowed(1e-5, 5.0, or_zero=True, matters="how near the dial meets its target")
    )
    reversal_s: float = field(
        default=0.5, metadata=allowed(0.01, 60.0, or_zero=True, matters="time of the batch")
    )
    touch_min: float = field(
        default=5.0, metadata=allowed(0.01, 600.0, or_zero=True, matters="time of the batch")
    )
    change_min: float = field(
        default=5.0, metadata=allowed(0.01, 600.0, or_zero=True, matters="time of the batch")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """A datum taken from a stop by an edge finder, over a square block where the stop cannot be touched.

    Parameters
    ----------
    name : str
        What it is called; letters, digits, `_` and `-`.
    stop : str
        The body that the part stands against.
    toward : str
        The way from the stop to the part: `+x`, `-x`, `+y` or `-y`.
    target : str
        `body.face` that is to be met: a flat face across that way, or a round whose axis is meant.
    finder_mm : float
        Diameter of the edge finder's tip.
    finder_error_mm : float
        How closely it repeats, either way.
    block_mm : float or None
        Width of the square block that is held against the stop; None touches the stop itself.
    block_error_mm : float
        How far the block's width may be off, either way.
    block_square_mm : float
        How far the block may be out of square between where the stop and where the finder touches it.
    graduation_mm : float or None
        Feed of one line of the dial; None sets any place.
    backlash_mm : float or None
        Play of that feed, 0 for a read-out; None is not known.
    """

    name: str
    stop: str
    toward: str = field(metadata=allowed(words=Toward))
    target: str
    finder_mm: float = field(metadata=allowed(0.1, 50.0))
    finder_error_mm: float = field(
        default=0.005, metadata=allowed(1e-4, 1.0, or_zero=True, matters="how near a datum is taken over")
    )
    block_mm: float | None = field(default=None, metadata=allowed(0.5, 500.0))
    block_error_mm: float = field(
        default=0.005, metadata=allowed(1e-5, 1.0, or_zero=True, matters="how near a datum is taken over")
    )
    block_square_mm: float = field(
        default=0.005, metadata=allowed(1e-5, 1.0, or_zero=True, matters="how near a datum is taken over")
    )
    graduation_mm: float | None = field(default=None, metadata=allowed(1e-4, 10.0))
    backlash_mm: float | None = field(default=None, metadata=allowed(1e-4, 10.0, or_zero=True))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


class SquaredBy(StrEnum):
    """What a body was set parallel to the travel with."""

    INDICATOR = "indicator"
    BLOCK = "block"


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Squaring:
    """A V-block, vise or rail that was set parallel to the travel of the table.

    Parameters
    ----------
    body : str
        What was set parallel.
    runout_mm : float
        How far it runs out, as an indicator shows, or as a block against the side of the column leaves it.
    over_mm : float
        The length over which it does.
    by : str
        `indicator`, or `block`: a square block between it and the side of the column.
    """

    body: str
    runout_mm: float = field(metadata=allowed(1e-5, 10.0, or_zero=True))
    over_mm: float = field(metadata=allowed(1.0, 5000.0))
    by: str = field(default=SquaredBy.INDICATOR, metadata=allowed(words=SquaredBy))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


def refuse_bad_dials(setup: Setup) -> None:
    """Raise for what is stated of dials, transfers and squaring that cannot be.

    Parameters
    ----------
    setup : Setup
        With bodies that are sound and named once.

    Raises
    ------
    SetupError
        Every mistake, each with what to do.
    """
    wrong = Mistakes()
    machine = setup.machine
    for name, wheel, ways in (
        ("downfeed", machine.downfeed, (FeedWay.DOWN, FeedWay.UP)),
        ("cross_feed", machine.cross_feed, (FeedWay.IN, FeedWay.OUT)),
    ):
        if wheel is not None:
            with wrong.noted(), about("machine"):
                _refuse_bad_handwheel(wheel, f"machine, {name}", ways)
    with wrong.noted():
        _refuse_bad_dialling(setup)
    names = [b.name for b in setup.bodies]
    for transfer in setup.transfers:
        where, key = f"transfer {transfer.name!r}", ("transfer", transfer.name)
        with wrong.noted(), about(*key):
            allowed_name(transfer.name, where)
        with wrong.noted(), about(*key):
            _refuse_stranger(transfer.stop, names, f"{where}, stop")
        with wrong.noted(), about(*key):
            _refuse_unknown_face(setup, transfer.target, f"{where}, target")
    for square in setup.squared:
        with wrong.noted(), about():
            _refuse_stranger(
                square.body, [*names, *(b.group or b.name for b in setup.bodies)], "square, body"
            )
    wrong.raise_any()


def _refuse_stranger(name: str, names: list[str], where: str) -> None:
    if name not in names:
        raise SetupError(f"{where}: no body is named {name!r}; {nearest(name, names)}")


def _refuse_bad_handwheel(wheel: Handwheel, where: str, ways: tuple[FeedWay, FeedWay]) -> None:
    if wheel.counts_up not in ways:
        raise SetupError(f"{where}, counts_up: use {ways[0]} or {ways[1]}; got {wheel.counts_up!r}")
    if wheel.reads == DialKind.READOUT:
        return
    if wheel.turn_mm is None:
        raise SetupError(f"{where}: a dial needs turn_mm, the feed of one whole turn")
    lines = wheel.turn_mm / wheel.graduation_mm
    if round(lines) < 1 or not math.isclose(lines, round(lines), rel_tol=_WHOLE_SHARE):
        raise SetupError(
            f"{where}: one turn is {lines:.6g} graduations; a dial has a whole number of them, so look at "
            "turn_mm and graduation_mm again"
        )


def _refuse_bad_dialling(setup: Setup) -> None:
    dials = setup.dials
    if dials is None:
        return
    if setup.machine.downfeed is None:
        raise SetupError("dials: no handwheel is stated that they could be set on; state [machine.downfeed]")
    if dials.touch_side is not None and setup.machine.cross_feed is None:
        raise SetupError(
            "dials, touch_side: no dial is stated for the cross feed; state [machine.cross_feed]"
        )
    named: Mapping[str, str | None] = {"touch_top": dials.touch_top, "touch_side": dials.touch_side}
    wrong = Mistakes()
    for key, text in named.items():
        if text is not None:
            with wrong.noted():
                _refuse_unknown_face(setup, text, f"dials, {key}")
    for text in dials.may_mark:
        with wrong.noted():
            _refuse_unknown_face(setup, text, "dials, may_mark")
    wrong.raise_any()


def _refuse_unknown_face(setup: Setup, text: str, where: str) -> None:
    """Raise where `body.face` names nothing in a set-up, and say what was probably meant."""
    ref = FaceRef(text)
    if not ref.face:
        raise SetupError(f"{where}: {text!r} is no face; write BODY.FACE")
    names = [b.name for b in setup.bodies]
    if ref.body not in names:
        raise SetupError(f"{where}: no body is named {ref.body!r}; {nearest(ref.body, names)}")
    body = setup.body(ref.body)
    if not body.face_indices(ref.face):
        known = [*body.faces] or body.face_names()
        raise SetupError(f"{where}: {ref.body} has no face {ref.face!r}; {nearest(ref.face, known)}")
