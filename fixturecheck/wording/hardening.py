"""What hardening does to parts, in words: temperatures, changes of size, and what to leave."""

from __future__ import annotations

from collections.abc import Sequence

from fixturecheck.result.hardening import (
    DIAMETER,
    FAR_SIDE,
    ITS_AXIS,
    HardnessSpot,
    SizeChange,
    SteelTempered,
)
from fixturecheck.units import Writing


def temperature_words(temperature_c: float) -> str:
    """Return a temperature in both scales, as furnaces are set in either."""
    return f"{temperature_c:.0f} °C ({temperature_c * 1.8 + 32.0:.0f} °F)"


def hrc_words(ends: Sequence[float]) -> str:
    """Return a hardness or a range of it."""
    low, high = min(ends), max(ends)
    return f"{low:.3g} HRC" if low == high else f"{low:.3g} to {high:.3g} HRC"


def change_words(change: SizeChange, write: Writing) -> str:
    """Return by how much a size changes: `grows by 10 µm (5 to 15 µm)`."""
    usual, low, high = (
        write.number(v * 1e3, "um", "+.3g") for v in (change.usual_mm, change.low_mm, change.high_mm)
    )
    return f"changes by {usual} (from {low} to {high}) {write.name('um')}"


def size_words(change: SizeChange, write: Writing) -> str:
    """Return a size with what it is measured between."""
    length = write.length(change.size_mm)
    named = {DIAMETER: "The diameter of", ITS_AXIS: "The radius of", FAR_SIDE: "The part across"}
    if change.to in named:
        return f"{named[change.to]} {change.face}, {length},"
    return f"The size from {change.to} to {change.face}, {length},"


def tempered_words(steel: SteelTempered) -> str:
    """Return how a steel comes out of its temper."""
    at = "as quenched" if steel.temper_c is None else f"tempered at {temperature_words(steel.temper_c)}"
    hard = (
        f" comes out at {hrc_words(steel.hardness_hrc)}" if steel.hardness_hrc else " has no known hardness"
    )
    tough = "" if steel.energy_j is None else f", with an impact energy of {steel.energy_j:.0f} J"
    return f"{steel.steel} {at}{hard}{tough}"


def spot_words(spot: HardnessSpot, write: Writing) -> str:
    """Return where a part may be tested, or what the best place lacks."""
    if not spot.face:
        return f"{spot.part} has no flat face without function that a hardness test may mark"
    thick, least = write.length(spot.thickness_mm), write.length(spot.least_thickness_mm, ".2f", "up")
    if spot.good:
        return (
            f"The hardness of {spot.part} may be tested on {spot.part}.{spot.face}: {thick} "
            f"thick there, where {least} are asked, and {write.length(spot.edge_mm)} from an edge"
        )
    lacks = []
    if spot.thickness_mm < spot.least_thickness_mm:
        lacks.append(f"is {thick} thick where {least} are asked")
    if spot.edge_mm < spot.least_edge_mm:
        asked = write.length(spot.least_edge_mm, ".2f", "up")
        lacks.append(f"leaves {write.length(spot.edge_mm)} to the edge where {asked} are asked")
    if not spot.rests:
        lacks.append("has no flat face right behind it to lie on the anvil")
    return f"The best face of {spot.part} for a hardness test, {spot.face}, {' and '.join(lacks)}"
