"""If a body lets go, does it run into the wheel or away from it.

The overlap of the freed body with the wheel, as a function of how far it has moved, comes from the solids;
here it is only read: growing is digging in, and then no factor makes the set-up safe enough to ignore.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.hold_result import Outcome
from fixturecheck.result import Verdict

SAFE_FACTOR = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Crash:
    """The overlap along the motion.

    Parameters
    ----------
    outcome : Outcome
        What happens over the whole travel looked at; digging in anywhere counts as digging in.
    moved_mm : tuple of float
        How far the fastest point has moved.
    overlap_mm3 : tuple of float
        Common volume with the wheel there.
    first_mm : float or None
        Travel after which the overlap first exceeds that at the start; None where it never does.
    """

    outcome: Outcome
    moved_mm: tuple[float, ...]
    overlap_mm3: tuple[float, ...]
    first_mm: float | None


def follow_overlap(
    overlap_mm3: Callable[[float], float],
    *,
    travel_mm: float = 2.0,
    noise_mm3: float = 1e-6,
    samples: int = 9,
) -> Crash:
    """Move the body along its failure and read whether the wheel takes more of it.

    Parameters
    ----------
    overlap_mm3 : callable
        Common volume of body and wheel after the fastest point has moved this far, mm.
    travel_mm : float
        How far to look. Samples are spaced geometrically, since the first hundredth matters most.
    noise_mm3 : float
        Change of volume that counts as none.
    samples : int
        Number of samples besides the start.

    Returns
    -------
    Crash
        Outcome and samples.

    Raises
    ------
    SetupError
        Travel or samples make no sense.
    NotComputedError
        An overlap is negative or not finite.
    """
    if not travel_mm > 0.0 or samples < 2:
        message = f"crash: travel {travel_mm} mm, {samples} samples; state a travel above zero, two samples"
        raise SetupError(message)
    moved = (0.0, *(float(t) for t in travel_mm * np.geomspace(1e-3, 1.0, samples)))
    overlaps = tuple(float(overlap_mm3(t)) for t in moved)
    for t, volume in zip(moved, overlaps, strict=True):
        if not (np.isfinite(volume) and volume >= -noise_mm3):
            message = f"crash: the overlap after {t:.4f} mm came out as {volume} mm3"
            raise NotComputedError(message)
    start = overlaps[0]
    grown = [t for t, volume in zip(moved, overlaps, strict=True) if volume > start + noise_mm3]
    shrinks = overlaps[-1] < start - noise_mm3
    outcome = Outcome.FALLS_AWAY if shrinks else Outcome.STAYS
    return Crash(
        outcome=Outcome.DIGS_IN if grown else outcome,
        moved_mm=moved,
        overlap_mm3=overlaps,
        first_mm=grown[0] if grown else None,
    )


def crash_verdict(
    outcome: Outcome, factor: float, *, hold_factor: float, safe_factor: float = SAFE_FACTOR
) -> Verdict:
    """Judge a factor together with where the body goes.

    Parameters
    ----------
    outcome : Outcome
        What the freed body does.
    factor : float
        Low end of the factor at collapse.
    hold_factor : float
        Factor that every set-up must reach.
    safe_factor : float
        Factor below which digging in is a no-go; above it, it stays a caution.

    Returns
    -------
    Verdict
        Digging in: no-go below `safe_factor`, else caution. Otherwise no-go below one (it lets go under the
        cut itself), caution below `hold_factor`, else go.
    """
    if not np.isfinite(factor):
        return Verdict.UNKNOWN
    if outcome is Outcome.DIGS_IN:
        return Verdict.NO_GO if factor < max(safe_factor, hold_factor) else Verdict.CAUTION
    if factor < 1.0:
        return Verdict.NO_GO
    return Verdict.CAUTION if factor < hold_factor else Verdict.GO
