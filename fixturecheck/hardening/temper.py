"""What hardening makes of a steel: how hard, how tough and how much larger it is, and what its test needs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.hardening.steels import HardeningSteel, Points
from fixturecheck.interval import Range

STEP_MM = 0.002
"""Depth of one point of Rockwell C."""
FULL_HRC = 100.0
THICKNESS_DEPTHS = 10.0
"""A part is at least so many depths thick under a diamond cone."""
EDGE_WIDTHS = 2.5
"""The middle of a mark is at least so many widths of it from an edge."""
LOAD_N = 1471.0
"""Total test force of the C scale."""
_HV = ((20.0, 238.0), (30.0, 302.0), (40.0, 392.0), (50.0, 513.0), (60.0, 697.0), (65.0, 832.0))
_PYRAMID = 0.9272
_KGF_N = 9.80665
AS_QUENCHED_C = 20.0
"""Stands for a part that is not tempered."""


class Turn(StrEnum):
    """Where toughness turns as the temper rises."""

    PEAK = "peak"
    TROUGH = "trough"


@dataclass(frozen=True, slots=True, kw_only=True)
class ToughnessTurn:
    """A temper at which toughness is greater, or less, than on both sides of it.

    Parameters
    ----------
    turn : Turn
    temper_c : float
    energy_j : float
        Impact energy there.
    """

    turn: Turn
    temper_c: float
    energy_j: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperChoice:
    """The temper that gives a wanted hardness.

    Parameters
    ----------
    temper_c : float
        The one that is toughest of those that give it; the middle where toughness is not known.
    allowed_c : tuple of Range
        All tempers at which the middle of the curve is as hard as wanted.
    """

    temper_c: float
    allowed_c: tuple[Range, ...]


def hardness_hrc(steel: HardeningSteel, temper_c: float | None) -> Range:
    """Return how hard a steel is after a temper, HRC.

    Straight between the points of its table.

    Parameters
    ----------
    steel : HardeningSteel
    temper_c : float or None
        None for a part as quenched.

    Returns
    -------
    Range

    Raises
    ------
    NotComputedError
        The table of its hardness does not reach that temper.

    Notes
    -----
    Closed form: linear interpolation of the table's rows, whose sources stand in them.
    """
    middle = steel.as_quenched_hrc if temper_c is None else _hardness_at(steel, temper_c)
    return Range(low=middle - steel.spread_hrc, high=middle + steel.spread_hrc)


def toughness_j(steel: HardeningSteel, temper_c: float) -> float | None:
    """Return the impact energy of a steel after a temper, J; None where its table does not reach.

    Parameters
    ----------
    steel : HardeningSteel
    temper_c : float

    Returns
    -------
    float or None

    Notes
    -----
    Closed form: linear interpolation of the table's rows, whose sources stand in them.
    """
    known = steel.toughness
    if not known or not known[0][0] <= temper_c <= known[-1][0]:
        return None
    return float(np.interp(temper_c, [p[0] for p in known], [p[1] for p in known]))


def toughness_turns(steel: HardeningSteel) -> tuple[ToughnessTurn, ...]:
    """Return where toughness has a peak or a trough between the ends of its table, rising in temper.

    Parameters
    ----------
    steel : HardeningSteel

    Returns
    -------
    tuple of ToughnessTurn
        A stretch of equal values counts as none.
    """
    found = []
    for before, here, after in zip(steel.toughness, steel.toughness[1:], steel.toughness[2:], strict=False):
        if here[1] > max(before[1], after[1]):
            found.append(ToughnessTurn(turn=Turn.PEAK, temper_c=here[0], energy_j=here[1]))
        elif here[1] < min(before[1], after[1]):
            found.append(ToughnessTurn(turn=Turn.TROUGH, temper_c=here[0], energy_j=here[1]))
    return tuple(found)


def temper_for(steel: HardeningSteel, wanted_hrc: Range) -> TemperChoice:
    """Return the temper that gives a wanted hardness, the toughest where there are several.

    Parameters
    ----------
    steel : HardeningSteel
    wanted_hrc : Range

    Returns
    -------
    TemperChoice

    Raises
    ------
    NotComputedError
        No temper of its table gives that hardness; the nearest is named.
    """
    allowed = tuple(_merged(_pieces(steel, wanted_hrc)))
    if not allowed:
        nearest = min(steel.hardness, key=lambda p: abs(p[1] - wanted_hrc.middle))
        raise NotComputedError(
            f"no temper of {steel.name} in its table gives {_span(wanted_hrc)} HRC; the nearest is "
            f"{nearest[1]:g} HRC at {nearest[0]:.0f} C"
        )
    ends = {c for piece in allowed for c in (piece.low, piece.high)}
    tried = ends | {p[0] for p in steel.toughness if any(a.holds(p[0]) for a in allowed)}
    energies = {c: energy for c in sorted(tried) if (energy := toughness_j(steel, c)) is not None}
    best = max(energies, key=energies.__getitem__) if energies else allowed[0].middle
    return TemperChoice(temper_c=best, allowed_c=allowed)


def _pieces(steel: HardeningSteel, wanted: Range) -> Iterator[Range]:
    """Yield, between each two points of the curve, the tempers at which it is as hard as wanted."""
    for (c0, h0), (c1, h1) in pairwise(steel.hardness):
        if h0 == h1:
            if wanted.holds(h0):
                yield Range(low=c0, high=c1)
            continue
        shares = sorted((h - h0) / (h1 - h0) for h in (wanted.low, wanted.high))
        low, high = max(shares[0], 0.0), min(shares[1], 1.0)
        if low <= high:
            yield Range(low=c0 + low * (c1 - c0), high=c0 + high * (c1 - c0))


def _merged(pieces: Iterator[Range]) -> Iterator[Range]:
    """Yield ranges that follow each other without a gap as one."""
    held: Range | None = None
    for piece in pieces:
        if held is not None and piece.low <= held.high + 1e-9:
            held = Range(low=held.low, high=piece.high)
            continue
        if held is not None:
            yield held
        held = piece
    if held is not None:
        yield held


def _hardness_at(steel: HardeningSteel, temper_c: float) -> float:
    points = steel.hardness
    first, last = points[0][0], points[-1][0]
    if not first <= temper_c <= last:
        raise NotComputedError(
            f"the hardness of {steel.name} is known for tempers from {first:g} to {last:g} C only"
        )
    return float(np.interp(temper_c, [p[0] for p in points], [p[1] for p in points]))


def _span(wanted: Range) -> str:
    return " to ".join(f"{v:g}" for v in wanted.ends)


def mark_depth_mm(hardness_hrc: float) -> float:
    """Return the depth that a Rockwell C number counts, mm.

    Parameters
    ----------
    hardness_hrc : float

    Returns
    -------
    float

    References
    ----------
    ISO 6508-1 [@iso6508], definition of the number, from memory: HRC = 100 - h / 0.002 mm.
    """
    return (FULL_HRC - hardness_hrc) * STEP_MM


def least_thickness_mm(hardness_hrc: float) -> float:
    """Return how thick a part must be at least where it is tested, mm.

    Parameters
    ----------
    hardness_hrc : float

    Returns
    -------
    float

    References
    ----------
    ISO 6508-1 [@iso6508], from memory: ten times the permanent depth for the diamond cone.
    """
    return THICKNESS_DEPTHS * mark_depth_mm(hardness_hrc)


def mark_width_mm(hardness_hrc: float) -> float:
    """Return about how wide the mark of a Rockwell C test is, mm.

    Parameters
    ----------
    hardness_hrc : float
        From 20 to 65.

    Returns
    -------
    float

    Notes
    -----
    Closed form: the circle on which the test force makes the mean pressure of a Vickers test on the same
    steel, d = sqrt(4 F / (pi p)), p = 9.80665 HV / 0.9272; HV of each HRC by ASTM E140, from memory.
    """
    vickers = float(np.interp(hardness_hrc, [p[0] for p in _HV], [p[1] for p in _HV]))
    return math.sqrt(4.0 * LOAD_N / (math.pi * vickers * _KGF_N / _PYRAMID))


def least_edge_mm(hardness_hrc: float) -> float:
    """Return how far the middle of a mark must be from the edge of a face at least, mm.

    Parameters
    ----------
    hardness_hrc : float

    Returns
    -------
    float

    References
    ----------
    ISO 6508-1 [@iso6508], from memory: two and a half times the width of the mark.
    """
    return EDGE_WIDTHS * mark_width_mm(hardness_hrc)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of size, known between two ends, with the usual one between them.

    Parameters
    ----------
    low, usual, high : float
        Positive where it grows; a share of the size or mm, as its owner says.
    """

    low: float
    usual: float
    high: float

    @property
    def most(self) -> float:
        """The greatest change either way, without its sign."""
        return max(abs(self.low), abs(self.high))

    @property
    def spread(self) -> float:
        """How far it may lie from the middle of its range, either way."""
        return 0.5 * (self.high - self.low)

    @property
    def middle(self) -> float:
        """The middle of its range."""
        return 0.5 * (self.high + self.low)

    def times(self, size_mm: float) -> Change:
        """Return the change of a size, mm, of which this is the share; the size is not negative."""
        return Change(low=self.low * size_mm, usual=self.usual * size_mm, high=self.high * size_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """Size change of a steel as shares of the size: along the direction of rolling, and across it."""

    along: Change
    across: Change


def growth_of(steel: HardeningSteel, temper_c: float | None) -> Growth:
    """Return the size change of a steel from annealed to tempered.

    Straight between the points of its table.

    Parameters
    ----------
    steel : HardeningSteel
    temper_c : float or None
        Tempering temperature; None for a part as quenched.

    Returns
    -------
    Growth

    Raises
    ------
    NotComputedError
        There is no table, or it ends below that temperature.

    Notes
    -----
    Closed form: linear interpolation of the table's rows, whose sources stand in them.
    """
    at_c = AS_QUENCHED_C if temper_c is None else temper_c
    return Growth(along=_change(steel, steel.along, at_c), across=_change(steel, steel.across, at_c))


def stated_growth(low_share: float, high_share: float) -> Growth:
    """Return a size change that somebody states, the same in every direction.

    Parameters
    ----------
    low_share, high_share : float
        Ends of the change as a share of the size, positive where it grows.

    Returns
    -------
    Growth
    """
    change = Change(low=low_share, usual=0.5 * (low_share + high_share), high=high_share)
    return Growth(along=change, across=change)


def change_along(growth: Growth, direction: Sequence[float], rolled: Sequence[float] | None) -> Change:
    """Return the share by which sizes in one direction change.

    Parameters
    ----------
    growth : Growth
    direction : sequence of float, shape (3,)
        Direction of the size, unit length, in the part's own frame.
    rolled : sequence of float, shape (3,), or None
        Direction in which the bar was rolled, any length; None where it is not known, which takes the wider
        range of both.

    Returns
    -------
    Change
        As a share of the size.

    Notes
    -----
    Closed form: the strain in direction n of a uniform strain with principal values a along the unit vector r
    and c across it is n.E.n = a (n.r)^2 + c (1 - (n.r)^2). The distance of two parallel planes with normal n
    changes by that share to first order; the second order is below 1e-5 of the change.
    """
    a, c = growth.along, growth.across
    if rolled is None:
        return Change(low=min(a.low, c.low), usual=0.5 * (a.usual + c.usual), high=max(a.high, c.high))
    way = np.asarray(rolled, float) / np.linalg.norm(rolled)
    part = min(float(np.asarray(direction, float) @ way) ** 2, 1.0)
    return Change(
        low=a.low * part + c.low * (1.0 - part),
        usual=a.usual * part + c.usual * (1.0 - part),
        high=a.high * part + c.high * (1.0 - part),
    )


def stock_to_leave_mm(change: Change, *, sides: int, distortion_mm: float, clean_up_mm: float) -> float:
    """Return the stock that each ground side of a size needs before hardening, mm.

    Parameters
    ----------
    change : Change
        Change of the size, mm.
    sides : int
        How many of its two faces are ground after hardening, 1 or 2.
    distortion_mm : float
        How far the part may bend or twist.
    clean_up_mm : float
        How deep the spoilt surface is that has to come off.

    Returns
    -------
    float

    Notes
    -----
    Closed form: the change is shared by the sides that are ground, and distortion and spoilt surface come on
    each. Growth is counted like shrinkage, since a face that moves out is ground back to where another
    finished face asks for it.
    """
    return change.most / sides + distortion_mm + clean_up_mm


def _change(steel: HardeningSteel, points: Points, at_c: float) -> Change:
    if not points:
        raise NotComputedError(
            f"no table of the size change of {steel.name} was found; measure it on your own bars and state "
            "growth_share"
        )
    temperatures = [p[0] for p in points]
    if at_c > temperatures[-1]:
        raise NotComputedError(
            f"the size changes of {steel.name} are known up to a temper of {temperatures[-1]:g} C only"
        )
    low, usual, high = (float(np.interp(at_c, temperatures, [p[k] for p in points])) for k in (1, 2, 3))
    return Change(low=low, usual=usual, high=high)
