"""How walls and rings give under a push: strips by slices, rings in closed form."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fixturecheck.arrays import Floats

_SHEAR = 1.2
"""Over the even shear stress of a rectangle: its deflection by shear."""
_ROOT = 16.67 / math.pi
"""Turn of an elastic foot under a moment, times E t^2 over the moment for each length."""
_SLICES = 400
"""Slices of the strip; a uniform one comes out within 1e-5."""


def bent_mm(
    *,
    force_n: float,
    thick_mm: float | Sequence[float],
    high_mm: float,
    long_mm: float,
    youngs_modulus_mpa: float,
    poisson: float,
    pressed_mm: tuple[float, float] | None = None,
    both_ends: bool = False,
) -> float:
    """Return how far a wall bends where it bends most, an upper end.

    It is taken as a strip from its foot to its free edge, or between two feet. What holds it at its other
    edges is left out, which bends it less.

    Parameters
    ----------
    force_n : float
        The whole push on it.
    thick_mm : float or sequence of float
        Its thickness; several are those of as many equal rows, the first at the foot.
    high_mm, long_mm : float
        Its height from foot to edge or from foot to foot, and its length along the foot.
    youngs_modulus_mpa : float
    poisson : float
    pressed_mm : tuple of float or None
        From where to where above its foot it is pressed; None is all of its height.
    both_ends : bool
        Whether it has a foot at both ends.

    Returns
    -------
    float
        mm.

    Notes
    -----
    Closed form: u'' = M / (E I) with the moment of the push above each slice, shear by 1.2 V / (G A), summed
    over slices. Between two feet the force and moment at the far one are those that leave it in place but
    for its own give.

    References
    ----------
    Turn of an elastic foot, 5.31 M / (E t^2) and (1 - nu) V / (E t) for each length: O'Donnell
    [@odonnell1960], from memory; by reciprocity it moves (1 - nu) M / (E t).
    """
    step = high_mm / _SLICES
    at: Floats = np.asarray((np.arange(_SLICES) + 0.5) * step, float)
    rows = np.atleast_1d(np.asarray(thick_mm, float))
    thick = _between(rows, at * len(rows) / high_mm)
    stiff = youngs_modulus_mpa * long_mm * thick**3 / 12.0
    sheared = _SHEAR * 2.0 * (1.0 + poisson) / (youngs_modulus_mpa * long_mm * thick)
    ends = rows[[0, -1]]
    turns = _ROOT / (youngs_modulus_mpa * ends**2 * long_mm)
    gives = (1.0 - poisson) / (youngs_modulus_mpa * long_mm * ends)

    def moved(load: tuple[Floats, Floats], at_foot: tuple[float, float]) -> tuple[Floats, float]:
        """Return how far each slice moves, and the turn at the far end, under shears and moments."""
        shears, moments = load
        bend = moments / stiff * step
        force, moment = at_foot
        turn = turns[0] * moment + gives[0] * force + np.cumsum(bend)
        ways = (turn - 0.5 * bend + sheared * shears) * step
        return gives[0] * moment + np.cumsum(ways), float(turn[-1])

    low, high = pressed_mm or (0.0, high_mm)
    each = force_n / (high - low)
    shear: Floats = each * (high - np.clip(at, low, high))
    moment: Floats = 0.5 * each * (np.clip(high - at, 0.0, None) ** 2 - np.clip(low - at, 0.0, None) ** 2)
    pushed, turned = moved((shear, np.asarray(moment)), (force_n, force_n * 0.5 * (low + high)))
    if not both_ends:
        return float(pushed[-1])
    by_force, force_turns = moved((np.ones(_SLICES), high_mm - at), (1.0, high_mm))
    by_moment, moment_turns = moved((np.zeros(_SLICES), np.ones(_SLICES)), (0.0, 1.0))
    force, held = np.linalg.solve(
        [[by_force[-1], by_moment[-1] - gives[1]], [force_turns - gives[1], moment_turns + turns[1]]],
        [-pushed[-1], -turned],
    )
    return float(np.abs(pushed + force * by_force + held * by_moment).max())


def _between(rows: Floats, at: Floats) -> Floats:
    """Return thicknesses between the middles of rows, and on to the ends at the same slope; `at` in rows."""
    if len(rows) == 1:
        return np.full(len(at), rows[0])
    first = np.clip(np.floor(at - 0.5), 0, len(rows) - 2).astype(int)
    found = rows[first] + (at - 0.5 - first) * (rows[first + 1] - rows[first])
    return np.asarray(np.maximum(found, 0.5 * rows[np.clip(at.astype(int), 0, len(rows) - 1)]))


ACROSS = math.pi / 4.0 - 2.0 / math.pi
ALONG = 2.0 / math.pi - 0.5
THIN_SHARE = 0.25
"""Wall over mean radius up to which a ring counts as thin: common practice, no source."""


def section_mm4(wall_mm: float, long_mm: float) -> float:
    """Return the second moment of area of the wall of a ring, mm4.

    Parameters
    ----------
    wall_mm : float
        Thickness of the wall.
    long_mm : float
        Length of the ring along its axis.

    Returns
    -------
    float

    Notes
    -----
    Closed form of a rectangle: L t^3 / 12.
    """
    return long_mm * wall_mm**3 / 12.0


def squeezed_mm(
    force_n: float, radius_mm: float, youngs_modulus_mpa: float, section_mm4: float
) -> tuple[float, float]:
    """Return the change of a ring's diameter in line with two opposite forces, and square to them, mm.

    Parameters
    ----------
    force_n : float
        Of each jaw.
    radius_mm : float
        To the middle of the wall.
    youngs_modulus_mpa : float
    section_mm4 : float
        Second moment of area of the wall.

    Returns
    -------
    tuple of float
        Negative in line with the forces, positive square to them.

    References ---------- Roark's Formulas for Stress and Strain [@roark], circular rings, case 1, from
    memory: -(pi/4 - 2/pi) W R^3 / (E I) and (2/pi - 1/2) W R^3 / (E I), for a wall thin against the radius.
    """
    unit = force_n * radius_mm**3 / (youngs_modulus_mpa * section_mm4)
    return -ACROSS * unit, ALONG * unit
