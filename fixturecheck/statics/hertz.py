"""How stiff and how stressed is a contact: line and point contacts after Hertz, flat faces as punches.

Johnson, Contact Mechanics [@johnson1985], ch. 4 and 5, from memory. Valid while the contact is small against
the radii and stresses stay elastic; a pressure above about three times the yield strength is not elastic.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fixturecheck.errors import SetupError, refuse_unless_positive

# Along the axis below a line contact the shear stress is greatest here (share of half width), and this large.
LINE_SHEAR_DEPTH, LINE_SHEAR = 0.786, 0.300


@dataclass(frozen=True, slots=True, kw_only=True)
class Elastic:
    """Young's modulus and Poisson's ratio of one side."""

    modulus_mpa: float = 207_000.0
    poisson: float = 0.292


STEEL = Elastic()


@dataclass(frozen=True, slots=True, kw_only=True)
class LineContact:
    """A loaded line: half width, peak pressure, greatest shear stress and its depth."""

    half_width_mm: float
    pressure_mpa: float
    shear_mpa: float
    shear_depth_mm: float


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
            message = f"elastic constants {side.modulus_mpa} MPa and {side.poisson} are impossible"
            raise SetupError(message)
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
        shear_mpa=LINE_SHEAR * pressure,
        shear_depth_mm=LINE_SHEAR_DEPTH * half,
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
