"""What a body weighs: the one place where a volume and a material become a force."""

from __future__ import annotations

from fixturecheck.errors import NotComputedError
from fixturecheck.shop.tables import material

GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall, ISO 80000-3."""


def weight_n(material_name: str, volume_mm3: float) -> float:
    """Return the weight of a volume of a material, N.

    Parameters
    ----------
    material_name : str
        A name from the materials table.
    volume_mm3 : float
        Volume of the body.

    Raises
    ------
    SetupError
        No material has that name.
    NotComputedError
        The table has no density of the material.
    """
    found = material(material_name)
    if not found.density_kg_m3 or not found.density_kg_m3 > 0.0:
        message = f"the table of materials has no density of {found.name}, so its weight is not known"
        raise NotComputedError(message)
    return found.density_kg_m3 * 1e-9 * volume_mm3 * GRAVITY_M_S2
