"""How hard a magnet that is switched off still pulls: the field at the share that is left of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fixturecheck.holding.pull import Magnet, Pulls
from fixturecheck.physics.bh import MU0_H_M, BHLaw, linear_law

_FIELDS_A_M = np.geomspace(1.0, 1e5, 400)


def residual_pulls(magnet: Magnet, residual_share: float) -> Pulls:
    """Solve the field with the magnet off, from its weak end to its strong end.

    B-H tables begin at fields far above what is left in the iron now. So the weak end takes the curve as it
    is fitted, down to the permeability that steel starts with, and the strong end a permeability as high
    there as anywhere on the curve, which no steel exceeds at its start. What the iron has kept of the full
    magnet is not in it.

    Parameters
    ----------
    residual_share : float
        What is left of the magnetomotive force.

    Raises
    ------
    NotComputedError
        The field did not converge.
    """
    easy = replace(
        magnet.strong,
        bodies=tuple(replace(b, law=steepest(b.law)) for b in magnet.strong.bodies),
        gaps=tuple(replace(g, film=None) for g in magnet.strong.gaps),
    )
    return replace(magnet, strong=easy).pulls(residual_share)


def steepest(law: BHLaw) -> BHLaw:
    """Return iron that is everywhere as permeable as another at its best."""
    chord = float(np.max(law.chord_h_m(_FIELDS_A_M)))
    return linear_law(f"{law.name} at its most permeable", mu_r=chord / MU0_H_M)
