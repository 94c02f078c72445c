"""Lengths over or between measuring rolls in a vee or a dovetail."""

from __future__ import annotations

import math


def middle_over_vertex_mm(radius_mm: float, angle_deg: float) -> float:
    """Return how high the middle of a roll lies over the vertex of a vee, mm.

    Parameters
    ----------
    radius_mm : float
    angle_deg : float
        Included angle of the vee.

    Returns
    -------
    float

    Notes
    -----
    Closed form: r / sin(a / 2).
    """
    return radius_mm / math.sin(math.radians(angle_deg) / 2)


def top_over_vertex_mm(radius_mm: float, angle_deg: float) -> float:
    """Return how high the top of a roll lies over the vertex of a vee, mm.

    Parameters
    ----------
    radius_mm : float
    angle_deg : float
        Included angle of the vee.

    Returns
    -------
    float

    Notes
    -----
    Closed form: r / sin(a / 2) + r.
    """
    return middle_over_vertex_mm(radius_mm, angle_deg) + radius_mm


def over_dovetail_mm(narrow_mm: float, roll_mm: float, angle_deg: float) -> float:
    """Return the length over two rolls that lie in the corners of a dovetail slide, mm.

    Parameters
    ----------
    narrow_mm : float
        Width of the slide where its flanks meet the flat beside them, as if the corners were sharp.
    roll_mm : float
        Diameter of the rolls.
    angle_deg : float
        Of each flank to the flat, as 60.

    Returns
    -------
    float

    Notes
    -----
    Closed form: the middle of a roll lies r cot(a / 2) from the corner, so that M = w + d + d cot(a / 2).
    """
    return narrow_mm + roll_mm * (1.0 + 1.0 / math.tan(math.radians(angle_deg) / 2))


def between_dovetail_mm(wide_mm: float, roll_mm: float, angle_deg: float) -> float:
    """Return the length between two rolls that lie in the corners of a dovetail slot, mm.

    Parameters
    ----------
    wide_mm : float
        Width of the slot at its floor, as if the corners were sharp.
    roll_mm : float
        Diameter of the rolls.
    angle_deg : float
        Of each flank to the floor.

    Returns
    -------
    float

    Notes
    -----
    Closed form: M = w - d - d cot(a / 2).
    """
    return wide_mm - roll_mm * (1.0 + 1.0 / math.tan(math.radians(angle_deg) / 2))


def slide_width_mm(over_mm: float, roll_mm: float, angle_deg: float) -> float:
    """Return the width of a dovetail slide from what is measured over its rolls, mm.

    Parameters
    ----------
    over_mm, roll_mm, angle_deg : float
        As for `over_dovetail_mm`.

    Returns
    -------
    float

    Notes
    -----
    Closed form: the inverse of `over_dovetail_mm`.
    """
    return over_mm - roll_mm * (1.0 + 1.0 / math.tan(math.radians(angle_deg) / 2))
