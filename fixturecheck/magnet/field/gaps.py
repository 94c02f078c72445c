"""Gaps that carry flux, the magnet behind a pole, and the gap that finish and flatness leave."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.magnet.field.bh import BHLaw
from fixturecheck.magnet.field.iron_loops import MU0_H_M, through_film
from fixturecheck.units import Writing

FILM_MM = 0.1
"""Depth of iron at an interface whose saturation is counted with the gap."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapPatch:
    """Two faces that look at each other across a gap, as quadrature points.

    Parameters
    ----------
    name : str
        Unique in a model.
    a, b : str
        Bodies on either side; `a` is the one whose surface triangles average a flat patch.
    points_a_mm, points_b_mm : ndarray, shape (n, 3)
        Where each tube of flux leaves one body and enters the other.
    gap_mm : ndarray, shape (n,)
        Length of each tube, geometric gap and finish gap together; above zero.
    weight_mm2 : ndarray, shape (n,)
        Area of each tube.
    normal : ndarray, shape (n, 3)
        Unit normal out of `a` into `b`.
    face_a, face_b : int or None
        Faces of the solids that the points lie on.
    averaged : bool
        Average the jump of potential over each triangle of `a`: for flat patches.
    film : BHLaw or None
        The weaker of the two irons, whose thin film at the interface saturates; None leaves it out.
    counts : bool
        Whether its pull is reported as hold; leakage between poles is not.
    """

    name: str
    a: str
    b: str
    points_a_mm: Floats
    points_b_mm: Floats
    gap_mm: Floats
    weight_mm2: Floats
    normal: Floats
    face_a: int | None = None
    face_b: int | None = None
    averaged: bool = True
    film: BHLaw | None = None
    film_mm: float = FILM_MM
    counts: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PoleSource:
    """The magnet behind a pole: a magnetomotive force on the pole's back face behind a conductance.

    Parameters
    ----------
    body : str
        The pole.
    points_mm, weight_mm2 : ndarray, shapes (n, 3) and (n,)
        Quadrature points of the back face.
    mmf_a : float
        Magnetomotive force; positive on a north pole, negative on a south pole.
    gap_mm : float
        Air gap of the same conductance as the magnet behind the face.
    face : int or None
        Face of the pole's solid.
    """

    body: str
    points_mm: Floats
    weight_mm2: Floats
    mmf_a: float
    gap_mm: float
    face: int | None = None


def film_state(
    jump_a: Floats, gap_m: Floats, film: BHLaw | None, film_m: float
) -> tuple[Floats, Floats, Floats]:
    """Solve the gap and its film in series for the flux.

    Parameters
    ----------
    jump_a : ndarray, shape (n,)
        Jump of potential, either sign.
    gap_m : ndarray, shape (n,)
        Gap, m.
    film, film_m
        Law and depth of the film, m.

    Returns
    -------
    flux_density_t, slope_t_a, energy_j_m2 : ndarray, shape (n,)
        B with the sign of the jump, dB/d(jump), and the integral of B over the jump.
    """
    if film is None or film_m <= 0:
        b = MU0_H_M * jump_a / gap_m
        return b, MU0_H_M / gap_m, 0.5 * b * jump_a
    out = np.empty((3, len(jump_a)))
    knees, feet = (np.array(terms, dtype=float).reshape(-1, 2) for terms in (film.knees, film.feet))
    through_film(jump_a, gap_m, knees, feet, film_m, out)
    return out[0], out[1], out[2]


_STRENGTH_SHARE = 3e-3
_STRONGEST = 30.0
"""Strongest magnet tried, relative to the model's."""


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
        message = f"Rz and flatness must not be negative, nor all zero; got {heights} µm"
        raise SetupError(message)
    return sum(heights) / 2


def strength_for_pull(pull_n: Callable[[float], float], *, wanted_n: float, write: Writing) -> float:
    """Find the strength of a magnet that gives a rated pull.

    Parameters
    ----------
    pull_n : callable
        Pull at a strength relative to the model's magnetomotive force; rises with it.
    wanted_n : float
        Pull of the rating piece.
    write : Writing
        What writes the pulls of the message.

    Returns
    -------
    float
        Strength, relative to the model's.

    Raises
    ------
    NotComputedError
        No magnet that is tried pulls so hard: the rating piece saturates first.
    """
    low, high = 0.0, 1.0
    while (reached_n := pull_n(high)) < wanted_n:
        low, high = high, 2 * high
        if high > _STRONGEST:
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
