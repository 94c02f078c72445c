"""What do we know of a number: a range from low to high, carried through every formula to the verdict."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fixturecheck.errors import SetupError


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A quantity known to lie between `low` and `high`, in the unit that its owner's name states.

    Raises
    ------
    SetupError
        An end is not a finite number, or low is above high.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high)):
            raise SetupError(f"range {self.low!r} to {self.high!r}: both ends must be finite numbers")
        if self.low > self.high:
            raise SetupError(f"range {self.low!r} to {self.high!r}: low must not be above high; swap them")

    @classmethod
    def exactly(cls, value: float) -> Range:
        """Return the range that holds one value only."""
        return cls(low=value, high=value)

    @classmethod
    def of(cls, ends: Sequence[float]) -> Range:
        """Return the range of a pair, as a table states it."""
        low, high = ends
        return cls(low=low, high=high)

    @property
    def middle(self) -> float:
        """Halfway between low and high."""
        return 0.5 * (self.low + self.high)

    def at(self, share: float) -> float:
        """Return what lies at a share of the way from low to high."""
        return self.low + share * (self.high - self.low)

    @property
    def ends(self) -> tuple[float, ...]:
        """Low and high, or the one value where they are the same."""
        return (self.low,) if self.low == self.high else (self.low, self.high)

    def scaled(self, factor: float) -> Range:
        """Return the range times a number of either sign."""
        a, b = self.low * factor, self.high * factor
        return Range(low=min(a, b), high=max(a, b))

    def holds(self, value: float) -> bool:
        """Say whether the value lies in the range, ends included."""
        return self.low <= value <= self.high


def over_ends(formula: Callable[..., float], *ranges: Range) -> Range:
    """Return the range of a formula over ranges of its arguments.

    Parameters
    ----------
    formula : callable
        Takes one number for each range. It must be monotone in each argument, whatever the others are:
        then its extremes lie at ends, and all combinations of ends are tried.
    *ranges : Range
        One for each argument.

    Returns
    -------
    Range
        Least and greatest value found.
    """
    values = [formula(*ends) for ends in itertools.product(*(r.ends for r in ranges))]
    return Range(low=min(values), high=max(values))
