"""How far apart two seated faces keep their mean planes: the gap that finish and flatness leave for flux."""

from __future__ import annotations

from collections.abc import Callable

from scipy.optimize import brentq

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.units import METRIC, Writing

_STRENGTH_SHARE = 3e-3


def seat_gap_um(
    *, rz_a_um: float, rz_b_um: float, flatness_a_um: float = 0.0, flatness_b_um: float = 0.0
) -> float:
    """Return the gap between the mean planes of two faces that rest on each other.

    Parameters
    ----------
    rz_a_um, rz_b_um : float
        Greatest height of the roughness profile of either face.
    flatness_a_um, flatness_b_um : float
        Flatness zone of either face over the contact.

    Returns
    -------
    float
        Half of the sum of all four, um.

    Raises
    ------
    SetupError
        A height is negative, or all are zero.

    Notes
    -----
    The faces touch at their peaks. The mean line of a roughness profile lies about half of Rz below
    its peaks, the mean plane of a form error about half of its zone below its highest point, and
    peaks seldom meet valleys, so the four halves add. Common practice, no source; the pull that
    follows is therefore relative to a rated pull and not absolute.
    """
    heights = (rz_a_um, rz_b_um, flatness_a_um, flatness_b_um)
    if min(heights) < 0 or max(heights) == 0:
        message = f"Rz and flatness must not be negative, nor all zero; got {heights} um"
        raise SetupError(message)
    return sum(heights) / 2


def strength_for_pull(
    pull_n: Callable[[float], float], *, wanted_n: float, most: float = 30.0, write: Writing = METRIC
) -> float:
    """Find the strength of a magnet that gives a rated pull.

    Parameters
    ----------
    pull_n : callable
        Pull at a strength relative to the model's magnetomotive force; rises with it.
    wanted_n : float
        Pull of the rating piece.
    most : float
        Strongest magnet tried.
    write : Writing
        What writes the pulls of the message.

    Returns
    -------
    float
        Strength, relative to the model's.

    Raises
    ------
    NotComputedError
        No magnet up to `most` pulls so hard: the rating piece saturates first.
    """
    low, high = 0.0, 1.0
    while (reached_n := pull_n(high)) < wanted_n:
        low, high = high, 2 * high
        if high > most:
            message = (
                f"no magnetomotive force gives {write.force(wanted_n, '.0f')}: the iron saturates first, "
                f"at about {write.force(reached_n, '.0f')}, {int(100 * reached_n / wanted_n)}% of it; check "
                "the rated pull, the area it refers to, and the size of the poles as drawn"
            )
            raise NotComputedError(message)
    return float(
        brentq(
            lambda s: pull_n(s) - wanted_n if s > 0 else -wanted_n,
            low,
            high,
            xtol=_STRENGTH_SHARE,
            rtol=_STRENGTH_SHARE,
        )
    )
