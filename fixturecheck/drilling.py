"""A drilled or tapped hole in pure numbers: spot, seat, depth below the point, share of the thread."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from fixturecheck.files import shipped_table
from fixturecheck.names import row_of

FULL_THREAD_PITCHES = 3.0 * math.sqrt(3.0) / 4.0
"""Twice the depth of a full external thread in pitches: 3/4 of the height of the sharp triangle on either
side."""


@cache
def threads() -> Mapping[str, tuple[float, float]]:
    """Return diameter and pitch of every thread by its name, mm.

    Returns
    -------
    mapping of str to (float, float)
    """
    tables = shipped_table("shop/tables", "threads")
    return MappingProxyType(
        {
            name: (row[0], row[1])
            for table in tables.values()
            for name, row in table.items()
            if name != "source"
        }
    )


def thread_of(name: str) -> tuple[float, float]:
    """Return diameter and pitch of a thread, mm.

    Parameters
    ----------
    name : str

    Returns
    -------
    tuple of float

    Raises
    ------
    SetupError
        Nothing has this name; the message lists the nearest names.
    """
    return row_of(name, threads(), what="thread")


def point_length_mm(drill_mm: float, point_deg: float) -> float:
    """Return how long the point of a drill is, mm.

    Parameters
    ----------
    drill_mm : float
    point_deg : float
        Included angle of the point.

    Returns
    -------
    float

    Notes
    -----
    Closed form: (d / 2) / tan(a / 2); 0.300 d at 118 degrees.
    """
    return drill_mm / 2 / math.tan(math.radians(point_deg) / 2)


def spot_depth_mm(across_mm: float, spot_deg: float) -> float:
    """Return how deep a spot drill goes for a spot of a width, mm.

    Parameters
    ----------
    across_mm : float
        Width of the spot: that of the hole, or of the chamfer that it leaves.
    spot_deg : float
        Included angle of the spot drill.

    Returns
    -------
    float

    Notes
    -----
    Closed form: half the width over the tangent of half the angle.
    """
    return point_length_mm(across_mm, spot_deg)


def seat_depth_mm(seat_mm: float, slope_deg: float) -> float:
    """Return how deep an end mill goes below the high side of a slope to make a whole flat seat, mm.

    Parameters
    ----------
    seat_mm : float
        Diameter of the seat.
    slope_deg : float
        Of the face to the plane square to the drill.

    Returns
    -------
    float

    Notes
    -----
    Closed form: the slope falls d tan(s) over the seat.
    """
    return seat_mm * math.tan(math.radians(slope_deg))


def thread_share(major_mm: float, pitch_mm: float, drill_mm: float) -> float:
    """Return the share of a full thread that a tap drill leaves.

    Parameters
    ----------
    major_mm, pitch_mm, drill_mm : float

    Returns
    -------
    float

    References
    ----------
    Machinery's Handbook [@machineryshb], tap drill sizes, from memory: (D - d) / (1.299 P).
    """
    return (major_mm - drill_mm) / (FULL_THREAD_PITCHES * pitch_mm)


def tap_drill_mm(major_mm: float, pitch_mm: float, share: float) -> float:
    """Return the drill that leaves a share of the full thread, mm.

    Parameters
    ----------
    major_mm, pitch_mm, share : float

    Returns
    -------
    float

    Notes
    -----
    Closed form: the inverse of `thread_share`.
    """
    return major_mm - share * FULL_THREAD_PITCHES * pitch_mm


def depth_for_thread_mm(thread_mm: float, pitch_mm: float, lead_pitches: float) -> float:
    """Return how deep the hole must be at its full diameter for a depth of full thread, mm.

    Parameters
    ----------
    thread_mm, pitch_mm : float
    lead_pitches : float
        How many threads the tap's chamfer takes: 8 taper, 4 plug, 2 bottoming.

    Returns
    -------
    float

    Notes ----- Closed form: the chamfer of the tap goes below the last full thread, and one pitch is kept
    for chips and the tap's own end, which is common practice, no source.
    """
    return thread_mm + (lead_pitches + 1.0) * pitch_mm
