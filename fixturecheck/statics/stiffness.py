"""How bodies give under a push: line and point contacts after Hertz, flat faces as punches, walls and rings.

Contacts follow Johnson, Contact Mechanics [@johnson1985], ch. 4 and 5, from memory. That is valid while the
contact is small against the radii and stresses stay elastic: a pressure above about three times the yield
strength is not elastic.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import SetupError, refuse_unless_positive

_SHEAR = 1.2
"""Over the even shear stress of a rectangle: its deflection by shear."""
_ROOT = 16.67 / math.pi
"""Turn of an elastic foot under a moment, times E t^2 over the moment for each length."""
_SLICES = 400
"""Slices of the strip; a uniform one comes out within 1e-5."""
ACROSS = math.pi / 4.0 - 2.0 / math.pi
ALONG = 2.0 / math.pi - 0.5
THIN_SHARE = 0.25
"""Wall over mean radius up to which a ring counts as thin: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Elastic:
    """Young's modulus and Poisson's ratio of one side."""

    modulus_mpa: float = 207_000.0
    poisson: float = 0.292


STEEL = Elastic()


@dataclass(frozen=True, slots=True, kw_only=True)
class LineContact:
    """A loaded line: half width and peak pressure."""

    half_width_mm: float
    pressure_mpa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PointContact:
    """A loaded point: radius, peak pressure, approach of the two bodies, stiffness at this load."""

    radius_mm: float
    pressure_mpa: float
    approach_mm: float
    stiffness_n_mm: float


def contact_modulus_mpa(a: Elastic = STEEL, b: Elastic = STEEL) -> float:
    """Return the contact modulus E* of two sides.

    1/E* is the sum of (1 - nu^2)/E of both sides.

    Parameters
    ----------
    a, b : Elastic
        Constants of either side; steel unless stated.

    Returns
    -------
    float
        MPa.

    Raises
    ------
    SetupError
        A modulus or ratio is impossible.

    References
    ----------
    Johnson [@johnson1985], ch. 4, from memory.
    """
    for side in (a, b):
        if not (side.modulus_mpa > 0.0 and math.isfinite(side.modulus_mpa) and -1.0 < side.poisson <= 0.5):
            raise SetupError(f"elastic constants {side.modulus_mpa} MPa and {side.poisson} are impossible")
    return 1.0 / sum((1.0 - side.poisson**2) / side.modulus_mpa for side in (a, b))


def line_contact(force_n: float, length_mm: float, radius_mm: float, modulus_mpa: float) -> LineContact:
    """Return the contact of parallel cylinders, or of one on a plane.

    Parameters
    ----------
    force_n, length_mm : float
        Load and the length it is spread over evenly.
    radius_mm : float
        Relative radius.
    modulus_mpa : float
        Contact modulus.

    Returns
    -------
    LineContact
        Half width, peak pressure, greatest shear stress and its depth.

    Raises
    ------
    SetupError
        A number is not positive.

    References
    ----------
    Johnson [@johnson1985], section 4.2, from memory.
    """
    refuse_unless_positive("line contact", force_n, length_mm, radius_mm, modulus_mpa)
    along = force_n / length_mm
    half = math.sqrt(4.0 * along * radius_mm / (math.pi * modulus_mpa))
    pressure = math.sqrt(along * modulus_mpa / (math.pi * radius_mm))
    return LineContact(
        half_width_mm=half,
        pressure_mpa=pressure,
    )


def line_stiffness_n_mm(force_n: float, length_mm: float, radius_mm: float, depth_mm: float) -> float:
    """Return the stiffness of a line contact between two bodies of steel at this load.

    It is the derivative of the load by the approach of both sides.

    Parameters
    ----------
    force_n, length_mm, radius_mm : float
        As for the contact; the relative radius.
    depth_mm : float
        Depth of either body, much larger than the half width.

    Returns
    -------
    float
        N/mm.

    Raises
    ------
    SetupError
        A number is not positive.

    References
    ----------
    Johnson [@johnson1985], eq. 5.57, from memory, differentiated here.
    """
    half = line_contact(force_n, length_mm, radius_mm, contact_modulus_mpa()).half_width_mm
    # The half width grows with the root of the load, which takes one off the logarithm's slope.
    nu = STEEL.poisson
    spread = 2.0 * math.log(2.0 * depth_mm / half) - nu / (1.0 - nu) - 1.0
    one_side = (1.0 - nu**2) / (math.pi * STEEL.modulus_mpa * length_mm) * spread
    return 1.0 / (2.0 * one_side)


def point_contact(force_n: float, radius_mm: float, modulus_mpa: float) -> PointContact:
    """Return the contact of balls, or of one on a plane.

    Parameters
    ----------
    force_n : float
        Load.
    radius_mm : float
        Relative radius.
    modulus_mpa : float
        Contact modulus.

    Returns
    -------
    PointContact
        Radius, peak pressure, approach of the two bodies, and stiffness at this load.

    Raises
    ------
    SetupError
        A number is not positive.

    References
    ----------
    Johnson [@johnson1985], section 4.2, from memory.
    """
    refuse_unless_positive("point contact", force_n, radius_mm, modulus_mpa)
    radius = (3.0 * force_n * radius_mm / (4.0 * modulus_mpa)) ** (1.0 / 3.0)
    return PointContact(
        radius_mm=radius,
        pressure_mpa=1.5 * force_n / (math.pi * radius**2),
        approach_mm=radius**2 / radius_mm,
        stiffness_n_mm=2.0 * modulus_mpa * radius,
    )


def face_stiffness_n_mm(area_mm2: float, modulus_mpa: float) -> float:
    """Return the stiffness of a flat face pressed evenly.

    It is that of a rigid round punch of the same area, 2 E* a. Outlines that are not round come out within a
    few per cent. Roughness makes a real face softer.

    Parameters
    ----------
    area_mm2 : float
        Area of the face.
    modulus_mpa : float
        Contact modulus.

    Returns
    -------
    float
        N/mm.

    Raises
    ------
    SetupError
        A number is not positive.

    References
    ----------
    Sneddon [@sneddon1965], from memory.
    """
    refuse_unless_positive("face contact", area_mm2, modulus_mpa)
    return 2.0 * modulus_mpa * math.sqrt(area_mm2 / math.pi)


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
