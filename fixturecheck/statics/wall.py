"""How walls and rings give under a push: closed forms of plates and rings."""

from __future__ import annotations

import math

_SHEAR = 1.2
"""Over the even shear stress of a rectangle: its deflection by shear."""
_ROOT = 16.67 / math.pi
"""Turn of an elastic foot under a moment, times E t^2 over the moment for each length."""


def bent_mm(
    *,
    force_n: float,
    thick_mm: float,
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
    thick_mm, high_mm, long_mm : float
        Its thickness, its height from foot to edge or from foot to foot, its length along the foot.
    youngs_modulus_mpa : float
    poisson : float
    pressed_mm : tuple of float or None
        From where to where above its foot it is pressed; None is all of its height.
    both_ends : bool
        Whether it has a foot at both ends; the push is then taken as even over all of it.

    Returns
    -------
    float
        mm.

    References
    ----------
    Beams: closed form, w x^3 (4 h - x) / (24 E I) at the edge for a push from the foot to x, and
    w h^4 / (384 E I) between two feet; shear by 1.2 V / (G A). Turn of an elastic foot, 5.31 M / (E t^2) and
    (1 - nu) V / (E t) for each length: O'Donnell [@odonnell1960], from memory.
    """
    stiff = youngs_modulus_mpa * long_mm * thick_mm**3 / 12.0
    sheared = _SHEAR * 2.0 * (1.0 + poisson) / (youngs_modulus_mpa * long_mm * thick_mm)
    foot = _ROOT / (youngs_modulus_mpa * thick_mm**2 * long_mm)
    if both_ends:
        turned = foot * force_n * high_mm / 12.0
        bent = force_n * high_mm**3 / (384.0 * stiff) + sheared * force_n * high_mm / 8.0
        return bent + 0.25 * turned * high_mm
    low, high = pressed_mm or (0.0, high_mm)
    middle = 0.5 * (low + high)

    def to(x: float) -> float:
        return x**3 * (4.0 * high_mm - x) / (24.0 * stiff)

    bent = force_n / (high - low) * (to(high) - to(low))
    by_moment = foot * force_n * middle
    by_shear = (1.0 - poisson) * force_n / (youngs_modulus_mpa * long_mm * thick_mm)
    return bent + sheared * force_n * middle + (by_moment + by_shear) * high_mm


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
