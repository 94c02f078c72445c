"""Angles of a sine bar or sine plate from the stack under it, and how far they may be off."""

from __future__ import annotations

import math

ARCSEC_PER_DEG = 3600.0
UM_PER_MM = 1000.0


def sine_height_mm(roll_distance_mm: float, angle_deg: float) -> float:
    """Return the stack that a sine bar needs for an angle, mm.

    Parameters
    ----------
    roll_distance_mm : float
        Between the middles of its rolls.
    angle_deg : float

    Returns
    -------
    float

    Notes
    -----
    Closed form: h = L sin(a), both rolls being of one size.
    """
    return roll_distance_mm * math.sin(math.radians(angle_deg))


def sine_angle_deg(roll_distance_mm: float, height_mm: float) -> float:
    """Return the angle that a stack gives, degrees.

    Parameters
    ----------
    roll_distance_mm, height_mm : float
        The stack is not higher than the rolls are apart.

    Returns
    -------
    float

    Notes
    -----
    Closed form: a = asin(h / L).
    """
    return math.degrees(math.asin(height_mm / roll_distance_mm))


def angle_error_arcsec(
    roll_distance_mm: float, angle_deg: float, *, height_um: float, distance_um: float, flatness_um: float
) -> tuple[float, float, float]:
    """Return how far the angle may be off by stack, roll distance and flatness, each in seconds of arc.

    Parameters
    ----------
    roll_distance_mm, angle_deg : float
    height_um : float
        How far the stack may be off.
    distance_um : float
        How far the distance of the rolls may be off.
    flatness_um : float
        How far the plate is out of parallel with its rolls, and what it stands on out of flat, over that
        distance.

    Returns
    -------
    tuple of float
        From the stack, from the distance of the rolls, from flatness.

    Notes
    -----
    Closed form, first order of a = asin(h / L): da = dh / (L cos a), dL tan a / L, and f / L.
    """
    angle = math.radians(angle_deg)
    shares = (height_um / math.cos(angle), distance_um * math.tan(angle), flatness_um)
    by_stack, by_distance, by_flatness = (
        math.degrees(abs(s) / (roll_distance_mm * UM_PER_MM)) * ARCSEC_PER_DEG for s in shares
    )
    return by_stack, by_distance, by_flatness


def tilt_um(angle_arcsec: float, length_mm: float) -> float:
    """Return what a small error of an angle makes over a length, um.

    Parameters
    ----------
    angle_arcsec, length_mm : float

    Returns
    -------
    float

    Notes
    -----
    Closed form: the length times the angle in radians.
    """
    return math.radians(angle_arcsec / ARCSEC_PER_DEG) * length_mm * UM_PER_MM


def resultant_deg(first_deg: float, second_deg: float) -> float:
    """Return how far a plane leans that is tilted twice, about two axes square to each other, degrees.

    Parameters
    ----------
    first_deg, second_deg : float

    Returns
    -------
    float

    Notes
    -----
    Closed form: the normal's height is cos(A) cos(B).
    """
    return math.degrees(math.acos(math.cos(math.radians(first_deg)) * math.cos(math.radians(second_deg))))


def compound_settings_deg(normal: tuple[float, float, float]) -> tuple[float, float]:
    """Return the two tilts of a compound sine plate that bring a slanted face level, degrees.

    Parameters
    ----------
    normal : tuple of float
        The way the face looks while the plate lies flat, upward at least a little.

    Returns
    -------
    tuple of float
        Of the lower plate about X, and of the upper plate, hinged on it, about its own Y.

    Notes ----- Closed form: Ry(B) first takes n into the plane x = 0 of the lower plate, tan B = -nx / nz;
    Rx(A) then takes it upright, tan A = ny / sqrt(nx^2 + nz^2).
    """
    x, y, z = normal
    return math.degrees(math.atan2(y, math.hypot(x, z))), math.degrees(math.atan2(-x, z))
