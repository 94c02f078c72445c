"""How hard does a milling cutter pull at a part in the vise: cutting force by Kienzle's law, low to high."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.physics.ranges import Range, over_ends

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shearing:
    """What cutting a material takes: Kienzle's two constants and the ratios of the other forces."""

    force_n_mm2: Range
    exponent: Range
    radial_ratio: Range
    axial_ratio: Range
    wear_factor: Range
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Mill:
    """A milling cut with the side of a cutter.

    Parameters
    ----------
    cutter_mm, teeth : float, int
        Diameter and number of teeth.
    deep_mm, wide_mm : float
        Axial depth and width of the cut (radial engagement).
    feed_mm_tooth : float
        Feed for each tooth.
    helix_deg : float
        Angle of the flutes to the axis of the cutter: along them the teeth come into the cut one bit after
        the other.
    """

    cutter_mm: float
    teeth: int
    deep_mm: float
    wide_mm: float
    feed_mm_tooth: float
    helix_deg: float = 0.0


def specific_force_n_mm2(main_n_mm2: float, chip_mm: float, exponent: float) -> float:
    """Return Kienzle's specific cutting force, kc = kc1.1 h^-mc.

    Parameters
    ----------
    main_n_mm2 : float
        kc1.1, the specific force at a chip 1 mm thick.
    chip_mm : float
        Thickness of the chip.
    exponent : float
        mc, by which the force rises as the chip thins.

    Returns
    -------
    float
        N/mm2.

    References
    ----------
    Kienzle [@kienzle1952], from memory.
    """
    return main_n_mm2 * math.pow(chip_mm, -exponent)


def chip_section_mm2(deep_mm: float, feed_mm: float) -> float:
    """Return the section of the chip: depth times feed, whatever the entering angle.

    Parameters
    ----------
    deep_mm, feed_mm : float
        Depth of the cut, and feed in it.

    Returns
    -------
    float
        mm2.

    References
    ----------
    Closed form: the area of a parallelogram does not depend on its slant.
    """
    return deep_mm * feed_mm


def engagement_rad(cut: Mill) -> float:
    """Return the angle over which a tooth is in the cut.

    Parameters
    ----------
    cut : Mill
        Its width and the cutter's diameter count.

    Returns
    -------
    float
        Radians, pi for a slot.

    References
    ----------
    Closed form: cos = 1 - 2 width / diameter.
    """
    return math.acos(1.0 - 2.0 * min(cut.wide_mm, cut.cutter_mm) / cut.cutter_mm)


def greatest_chip_mm(cut: Mill) -> float:
    """Return the thickest chip on the way through the cut.

    It is the feed times the sine of the angle of engagement, and at most the feed.

    Parameters
    ----------
    cut : Mill
        The cut, taken with one side of the cutter.

    Returns
    -------
    float
        mm.

    References
    ----------
    Martellotti [@martellotti1941], from memory.
    """
    angle = engagement_rad(cut)
    return cut.feed_mm_tooth * (1.0 if angle >= 0.5 * math.pi else math.sin(angle))


def tooth_force_n(cut: Mill, shearing: Shearing, chip_mm: float | None = None) -> Range:
    """Return the cutting force of one tooth.

    Parameters
    ----------
    cut : Mill
        The cut.
    shearing : Shearing
        What cutting the material takes.
    chip_mm : float, optional
        Thickness of the chip; without it the thickest that one side of the cutter takes.

    Returns
    -------
    Range
        N, over all ends of force, exponent and wear.

    Raises
    ------
    SetupError
        The cut's numbers make no sense.

    References
    ----------
    Kienzle [@kienzle1952], from memory.
    """
    _check(cut)
    chip = greatest_chip_mm(cut) if chip_mm is None else chip_mm

    def force(main: float, exponent: float, wear: float) -> float:
        return specific_force_n_mm2(main, chip, exponent) * chip_section_mm2(cut.deep_mm, chip) * wear

    return over_ends(force, shearing.force_n_mm2, shearing.exponent, shearing.wear_factor)


def shearing(material: str) -> Shearing:
    """Return the table's numbers for a class of material.

    Parameters
    ----------
    material : str
        Name of a row of `milling.toml`.

    Returns
    -------
    Shearing
        What cutting it takes, with its source.

    Raises
    ------
    SetupError
        The table has no such row.
    """
    text = files("fixturecheck.physics").joinpath("milling.toml").read_text("utf-8")
    table: dict[str, Any] = tomllib.loads(text)
    rows, tool = table["material"], table["tool"]
    if material not in rows:
        message = f"milling: no material {material!r}; the table has {', '.join(sorted(rows))}"
        raise SetupError(message)
    row = rows[material]
    return Shearing(
        force_n_mm2=Range(low=row["force_n_mm2"][0], high=row["force_n_mm2"][1]),
        exponent=Range(low=row["exponent"][0], high=row["exponent"][1]),
        radial_ratio=Range(low=tool["radial_over_tangential"][0], high=tool["radial_over_tangential"][1]),
        axial_ratio=Range(low=tool["axial_over_tangential"][0], high=tool["axial_over_tangential"][1]),
        wear_factor=Range(low=tool["wear_factor"][0], high=tool["wear_factor"][1]),
        source=f"{row['source']}; tool: {tool['source']}",
    )


def _check(cut: Mill) -> None:
    """Refuse a cut that cannot be one."""
    values = {
        "cutter_mm": cut.cutter_mm,
        "teeth": cut.teeth,
        "deep_mm": cut.deep_mm,
        "wide_mm": cut.wide_mm,
        "feed_mm_tooth": cut.feed_mm_tooth,
    }
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            message = f"milling cut: {name} is {value}; it must be a number above zero"
            raise SetupError(message)
