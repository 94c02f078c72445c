"""By how much a steel grows or shrinks as it is hardened, in which direction, and what to leave for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.hardening.steels import HardeningSteel, Points

AS_QUENCHED_C = 20.0
"""Stands for a part that is not tempered."""


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
        message = (
            f"no table of the size change of {steel.name} was found; measure it on your own bars and state "
            "growth_share"
        )
        raise NotComputedError(message)
    temperatures = [p[0] for p in points]
    if at_c > temperatures[-1]:
        message = f"the size changes of {steel.name} are known up to a temper of {temperatures[-1]:g} C only"
        raise NotComputedError(message)
    low, usual, high = (float(np.interp(at_c, temperatures, [p[k] for p in points])) for k in (1, 2, 3))
    return Change(low=low, usual=usual, high=high)
