"""What a tooth bites off a part that has come loose, and how many times its load that is.

Where the part comes closer to the axis a tooth takes a thicker chip, where it rises a deeper one. How fast it
goes is not known: at worst all of its way lies between two teeth, and the next takes it in one bite. That
bite is what is told, up to what stands in the way.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.result.hold import Outcome

MOST_LOAD_RATIO = 2.0
"""Times its load that a tooth is trusted with when a part is stopped: common practice, no source."""
NOTICED_RATIO = 1.1
"""Times its load that a tooth takes without notice, far less than its force is known to: common practice, no
source."""
GIVE_MM = 0.005
"""What the springs of the contacts make of a level motion, or of one that relieves them, and no bite."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chip:
    """What a tooth takes as stated.

    Parameters
    ----------
    thick_mm, deep_mm : float
        At its thickest, and the depth of the cut.
    exponent : float
        Of Kienzle's law; the smaller end of its range gives the larger load.
    """

    thick_mm: float
    deep_mm: float
    exponent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bite:
    """How a part stands to the cutter at one place of its way.

    Parameters
    ----------
    closer_mm : float
        How much nearer to the axis the nearest of it stands that was in front of the teeth; below zero where
        all of it has gone away.
    rise_mm : float
        How far it has come above the end of the cutter, anywhere under it; below zero where it has sunk.
    """

    closer_mm: float
    rise_mm: float

    @property
    def deeper_mm(self) -> float:
        """The larger of the two."""
        return max(self.closer_mm, self.rise_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bitten:
    """What becomes of the bite along the way of a part.

    Parameters
    ----------
    outcome : Outcome
        `digs in`, `stopped`, `stays` or `falls away`.
    moved_mm : tuple of float
        How far the fastest point has moved.
    bites : tuple of Bite
        The bite there.
    first_mm : float or None
        Travel after which the bite first is deeper than at the start; None where it never is.
    chip : Chip
        What a tooth takes as stated.
    deepest : Bite
        The deepest of each on the way.
    load_ratio : float
        Most that its load may become, times the stated.
    """

    outcome: Outcome
    moved_mm: tuple[float, ...]
    bites: tuple[Bite, ...]
    first_mm: float | None
    chip: Chip
    deepest: Bite
    load_ratio: float


def load_ratio(chip: Chip, bite: Bite) -> float:
    """Return the load of a tooth that bites deeper, over the load stated.

    Parameters
    ----------
    chip : Chip
        The chip as stated.
    bite : Bite
        How much nearer and higher the part has come.

    Returns
    -------
    float
        Ratio of two cutting forces, one where the bite adds nothing.

    References
    ----------
    Kienzle [@kienzle1952], from memory: the force grows as depth times chip to the power 1 - mc.
    """
    thicker = (chip.thick_mm + max(0.0, bite.closer_mm)) / chip.thick_mm
    deeper = (chip.deep_mm + max(0.0, bite.rise_mm)) / chip.deep_mm
    return deeper * math.pow(thicker, 1.0 - chip.exponent)


def follow_bite(
    bite: Callable[[float], Bite],
    chip: Chip,
    *,
    travel_mm: float,
    stopped: bool,
    give_mm: float = GIVE_MM,
    samples: int = 9,
) -> Bitten:
    """Move the part along its way and read what the cutter takes of it.

    Parameters
    ----------
    bite : callable
        How the part stands to the cutter after the fastest point has moved this far, mm.
    chip : Chip
        What it takes as stated.
    travel_mm : float
        How far to look: up to what stops it where something does.
    stopped : bool
        Something stands in its way there.
    give_mm : float
        What is no bite.
    samples : int
        Number of places besides the start.

    Returns
    -------
    Bitten
        `digs in` where the load of a tooth grows by more than `NOTICED_RATIO` and nothing stops that before
        it is `MOST_LOAD_RATIO` times the stated; `stopped` where something does.

    Raises
    ------
    SetupError
        Travel or samples make no sense.
    NotComputedError
        A bite is not finite.
    """
    if not travel_mm > 0.0 or samples < 2:
        raise SetupError(
            f"bite: travel {travel_mm} mm, {samples} samples; state a travel above zero, two samples"
        )
    moved = (0.0, *(float(t) for t in travel_mm * np.geomspace(1e-3, 1.0, samples)))
    bites = tuple(bite(t) for t in moved)
    if not all(math.isfinite(b.closer_mm) and math.isfinite(b.rise_mm) for b in bites):
        raise NotComputedError("bite: how the part stands to the cutter came out as no number")
    grown = [
        t
        for t, b in zip(moved, bites, strict=True)
        if b.deeper_mm > give_mm and load_ratio(chip, b) > NOTICED_RATIO
    ]
    deepest = Bite(closer_mm=max(b.closer_mm for b in bites), rise_mm=max(b.rise_mm for b in bites))
    ratio = load_ratio(chip, deepest)
    if grown:
        outcome = Outcome.STOPPED if stopped and ratio <= MOST_LOAD_RATIO else Outcome.DIGS_IN
    else:
        away = min(bites[-1].closer_mm, bites[-1].rise_mm) < -give_mm
        outcome = Outcome.FALLS_AWAY if away else Outcome.STAYS
    return Bitten(
        outcome=outcome,
        moved_mm=moved,
        bites=bites,
        first_mm=grown[0] if grown else None,
        chip=chip,
        deepest=deepest,
        load_ratio=ratio,
    )
