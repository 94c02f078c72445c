"""How a thin ring is squeezed out of round between two jaws, and springs back when they open."""

from __future__ import annotations

import math

ACROSS = math.pi / 4.0 - 2.0 / math.pi
ALONG = 2.0 / math.pi - 0.5


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
