"""Grinding wheels by their ISO 525 shape, with flange and guard: dimensions only."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """A grinding wheel; dimension letters as in ISO 525.

    Parameters
    ----------
    shape : str
        ISO 525 shape: 1 straight, 5 recessed one side, 6 straight cup, 11 flaring cup, 12 dish.
    diameter_mm, thickness_mm, bore_mm : float
        D, T and H.
    corner_radius_mm : float
        Radius dressed, or worn, on both rim corners.
    recess_diameter_mm, recess_depth_mm : float
        P and F of shape 5.
    rim_mm, bore_wall_mm : float
        W and E of the cups and the dish.
    small_diameter_mm : float
        J of shapes 11 and 12.
    dressed_profile_mm : tuple of (float, float)
        Points (y, r): y along the axis from the front face, r the radius there, joined by straight
        lines. Empty for the shape's own rim.
    max_speed_m_s : float or None
        What the wheel is marked with; None takes the table value for shape and bond.
    """

    shape: str = "1"
    diameter_mm: float = 178.0
    thickness_mm: float = 13.0
    bore_mm: float = 31.75
    corner_radius_mm: float = 0.2
    recess_diameter_mm: float = 0.0
    recess_depth_mm: float = 0.0
    rim_mm: float = 0.0
    bore_wall_mm: float = 0.0
    small_diameter_mm: float = 0.0
    dressed_profile_mm: tuple[tuple[float, float], ...] = ()
    max_speed_m_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Flange:
    """The pair of flanges that clamps the wheel; thickness is that of one flange outside the wheel."""

    diameter_mm: float = 75.0
    thickness_mm: float = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """The wheel guard: a hood around the rim with side plates, open at the bottom.

    Parameters
    ----------
    opening_deg : float
        Angle of wheel left open, centred on straight down.
    radial_gap_mm, side_gap_mm : float
        Clearance from the wheel to the inside of the hood.
    wall_mm : float
        Thickness of the sheet.
    """

    opening_deg: float = 150.0
    radial_gap_mm: float = 8.0
    side_gap_mm: float = 10.0
    wall_mm: float = 3.0
