"""What a dial or read-out shows at a distance from its zero: whole turns, lines, and what rounding leaves."""

from __future__ import annotations

import math

from fixturecheck.result.dials import DialReading, Feed
from fixturecheck.setup.dials import Handwheel

_SAME_SHARE = 1e-9
"""A distance that is a whole number of lines but for this share of one needs no rounding."""


def lines_for(distance_mm: float, graduation_mm: float) -> int:
    """Return the whole number of lines nearest to a distance; half a line goes to the smaller.

    A feed that is a line short leaves stock, which another pass takes; one that is too far cannot be undone.

    References
    ----------
    Closed form.
    """
    lines = distance_mm / graduation_mm
    return math.ceil(lines - 0.5 - _SAME_SHARE)


def reading_at(
    feed: Feed, wheel: Handwheel | None, distance_mm: float, toward: str, units: str
) -> DialReading:
    """Return what a feed reads once it has gone a distance from its zero.

    Parameters
    ----------
    wheel : Handwheel or None
        Its dial; None where it has none.
    distance_mm : float
        How far from the zero, at least 0.
    toward : str
        Which way: `down`, `up`, `in` or `out`.
    units : str
        Of the set-up, for a dial that states none.

    References
    ----------
    With lines of g and N of them in a turn, n = round(d / g) is n // N turns and n mod N lines; a dial that
    counts the other way shows N - n mod N. Closed form.
    """
    if wheel is None:
        return DialReading(feed=feed, toward=toward, distance_mm=distance_mm, set_mm=distance_mm)
    step_mm = wheel.graduation_mm
    count = lines_for(distance_mm, step_mm)
    each = wheel.lines_each_turn
    counts = 1 if wheel.counts_up == toward else -1
    shown = counts * count if each is None else (counts * count) % each
    return DialReading(
        feed=feed,
        toward=toward,
        distance_mm=distance_mm,
        set_mm=count * step_mm,
        turns=None if each is None else count // each,
        lines=count if each is None else count % each,
        shows_mm=shown * step_mm,
        inch=(wheel.units or units) == "inch",
        graduation_mm=step_mm,
    )


def with_backlash_mm(distance_mm: float, backlash_mm: float, *, turned_back: bool) -> float:
    """Return how far a screw's dial has to go for a distance of the slide.

    Where the zero was set with the screw driving the slide one way and the target is met driving it the
    other way, the play has to be taken up first: the dial goes so much further than the slide. Toward the
    target the dial always goes in the direction of feed.

    References
    ----------
    Lost motion of a screw with play; closed form.
    """
    return distance_mm + (backlash_mm if turned_back else 0.0)
