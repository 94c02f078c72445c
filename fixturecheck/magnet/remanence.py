"""What stays when the magnet is off: the pull that is left, and what the steel keeps."""

from __future__ import annotations

import math
from dataclasses import replace
from enum import StrEnum

import numpy as np

from fixturecheck.constants import GRAVITY_M_S2, MU0_H_M
from fixturecheck.errors import NotComputedError
from fixturecheck.magnet.field.bh import BHLaw, linear_law
from fixturecheck.magnet.pull import Magnet, Pulls
from fixturecheck.shop.tables import Material

_FIELDS_A_M = np.geomspace(1.0, 1e5, 400)


def residual_pulls(magnet: Magnet, residual_share: float) -> Pulls:
    """Solve the field with the magnet off, from its weak end to its strong end.

    B-H tables begin at fields far above what is left in the iron now. So the weak end takes the curve as it
    is fitted, down to the permeability that steel starts with, and the strong end a permeability as high
    there as anywhere on the curve, which no steel exceeds at its start. What the iron has kept of the full
    magnet is not in it.

    Parameters
    ----------
    magnet : Magnet
        The magnet at full strength.
    residual_share : float
        What is left of the magnetomotive force.

    Returns
    -------
    Pulls
        Of each face, with the magnet off.

    Raises
    ------
    NotComputedError
        The field did not converge.
    """
    easy = replace(
        magnet.strong,
        bodies=tuple(b.of(steepest(b.law)) for b in magnet.strong.bodies),
        gaps=tuple(replace(g, film=None) for g in magnet.strong.gaps),
    )
    return replace(magnet, strong=easy).pulls(residual_share)


def steepest(law: BHLaw) -> BHLaw:
    """Return iron that is everywhere as permeable as another at its best.

    Parameters
    ----------
    law : BHLaw
        Any law.

    Returns
    -------
    BHLaw
        Linear, with the greatest B/H of that law.
    """
    chord = float(np.max(law.chord_h_m(_FIELDS_A_M)))
    return linear_law(f"{law.name} at its most permeable", mu_r=chord / MU0_H_M)


SOFT_BELOW_A_M = 1e3
HARD_ABOVE_A_M = 100e3

_CHIP_DENSITY_KG_M3 = 7870.0


class CoercivityClass(StrEnum):
    """The class of a magnetic material by its coercivity."""

    SOFT = "soft"
    SEMI_HARD = "semi-hard"
    HARD = "hard"


def coercivity_class(coercivity_a_m: float) -> CoercivityClass:
    """Return the class of a coercivity.

    Parameters
    ----------
    coercivity_a_m : float
        Coercivity, A/m.

    Returns
    -------
    CoercivityClass
        Soft, semi-hard or hard.

    References
    ----------
    .. [1] S. Zurek, Coercivity, E-Magnetica.pl (CC BY): soft below 1 kA/m, hard above 100 kA/m.
    """
    if coercivity_a_m < SOFT_BELOW_A_M:
        return CoercivityClass.SOFT
    return CoercivityClass.HARD if coercivity_a_m > HARD_ABOVE_A_M else CoercivityClass.SEMI_HARD


def worst_class(found: Material) -> CoercivityClass | None:
    """Return the class of a material at the high end of its coercivity; None where it is not magnetic.

    Parameters
    ----------
    found : Material
        A row of the table of materials.

    Returns
    -------
    CoercivityClass or None
        By the greatest coercivity that the material may have.

    Raises
    ------
    NotComputedError
        The material is magnetic and no coercivity is known.
    """
    if not found.magnetic:
        return None
    if found.coercivity_a_m is None:
        raise NotComputedError(f"the table of materials has no coercivity of {found.name}")
    return coercivity_class(found.coercivity_a_m[1])


def kept_field_t(coercivity_a_m: float) -> float:
    """Return the flux density at the pole of a stubby body that a magnet has left magnetised, at most.

    A ball keeps no more magnetisation M than drives it to its coercivity by its own shape, M / 3 = Hc, and
    shows 2/3 mu0 M = 2 mu0 Hc at its pole. Bodies longer than wide keep more.

    Parameters
    ----------
    coercivity_a_m : float
        Coercivity, A/m.

    Returns
    -------
    float
        T.

    References
    ----------
    Closed form: a uniformly magnetised ball, any text on magnetostatics.
    """
    return 2.0 * MU0_H_M * coercivity_a_m


def chip_field_t(pole_distance_mm: float) -> float:
    """Return the flux density at a face above which a round steel chip hangs on it against its weight.

    A small ball of high permeability is drawn by (3 V / mu0) B dB/dx; over a face with poles at this distance
    the field dies away as exp(-pi x / distance), so that B dB/dx = pi B^2 / distance. Slivers, which
    magnetise more easily than a ball, hang at less.

    Parameters
    ----------
    pole_distance_mm : float
        From the middle of one pole to the next.

    Returns
    -------
    float
        T.

    References
    ----------
    Closed form: the force on a small sphere in a field gradient, any text on magnetostatics.
    """
    slope_m = pole_distance_mm * 1e-3 / math.pi
    return math.sqrt(MU0_H_M * _CHIP_DENSITY_KG_M3 * GRAVITY_M_S2 * slope_m / 3.0)


def mmf_kept_a(coercivity_a_m: float, path_mm: float) -> float:
    """Return the magnetomotive force that a steel can drive by itself along a path, at most.

    Parameters
    ----------
    coercivity_a_m : float
        Coercivity, A/m.
    path_mm : float
        Length of the path in the steel.

    Returns
    -------
    float
        A.

    References
    ----------
    Closed form: Ampere's law.
    """
    return coercivity_a_m * path_mm * 1e-3
