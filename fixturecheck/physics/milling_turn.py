"""Which way do the teeth of a milling cutter push the part, over one turn of the cutter.

Frame of the cutter: X along its feed, Y to the left of that, Z up its axis, from its lower end. It turns
clockwise seen from above, as a right-hand cutter does. An angle is measured from the feed to the left, so a
tooth comes round from the left, by the front, to the right. What it cuts lies in a strip in front.

Climb and conventional milling differ only by where that strip lies. To the right of the axis the teeth run
against the feed, take their thickest chip first and push the part toward the cutter (climb); to the left
they run with it and push the part ahead (conventional).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from fixturecheck.physics.milling import Mill, Shearing, Vector, chip_section_mm2, specific_force_n_mm2


class CutterWay(StrEnum):
    """How a cutter stands to what it cuts."""

    CLIMB = "climb"
    CONVENTIONAL = "conventional"
    CENTRED = "centred"


_SLICE_RAD = math.radians(3.0)
_LEAST_CHIP_SHARE = 1e-6
"""Of the feed for a tooth: a thinner chip is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """One choice of the constants that a range is known for.

    Parameters
    ----------
    force_n_mm2, exponent : float
        Kienzle's two.
    radial_ratio, axial_ratio : float
        Force away from the axis and up, over the cutting force.
    wear_factor : float
    """

    force_n_mm2: float
    exponent: float
    radial_ratio: float
    axial_ratio: float
    wear_factor: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tooth:
    """One tooth in the cut.

    Parameters
    ----------
    angle_rad : float
        Where its lower end stands.
    at_mm, force_n : Vector
        Where it pushes the part and how, in the frame of the cutter.
    cutting_n : float
        Force along its way, without what is square to that.
    """

    angle_rad: float
    at_mm: Vector
    force_n: Vector
    cutting_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """The cutter at one angle of its turn: the teeth in the cut."""

    way: str
    teeth: tuple[Tooth, ...]

    @property
    def force_n(self) -> Vector:
        """Force of all teeth on the part, in the frame of the cutter."""
        x, y, z = (math.fsum(t.force_n[i] for t in self.teeth) for i in range(3))
        return x, y, z

    @property
    def cutting_n(self) -> float:
        """Cutting forces of all teeth, added up whichever way they point."""
        return math.fsum(t.cutting_n for t in self.teeth)


def laws(shearing: Shearing) -> tuple[Law, ...]:
    """Return the greatest cutting force with every pair of ends of what is square to it.

    Chips are thinner than 1 mm, so the larger exponent gives the larger force.

    Parameters
    ----------
    shearing : Shearing
        The ranges of the table.

    Returns
    -------
    tuple of Law
        One for each pair of ends of the radial and the axial ratio.
    """
    return tuple(
        Law(
            force_n_mm2=shearing.force_n_mm2.high,
            exponent=shearing.exponent.high,
            radial_ratio=radial,
            axial_ratio=axial,
            wear_factor=shearing.wear_factor.high,
        )
        for radial in shearing.radial_ratio.ends
        for axial in shearing.axial_ratio.ends
    )


def strip_mm(cut: Mill, way: str) -> tuple[float, float]:
    """Return where what is cut in front of the cutter lies, to the left of its axis.

    Parameters
    ----------
    cut : Mill
        Its width and the cutter's diameter count.
    way : str
        `climb` (as far to the right as the cutter reaches), `conventional` (to the left) or `centred`.

    Returns
    -------
    tuple of float
        From where to where, mm; negative is to the right.

    References
    ----------
    Closed form, from the definition of the two ways in the module's docstring.
    """
    radius, wide = 0.5 * cut.cutter_mm, min(cut.wide_mm, cut.cutter_mm)
    middle = {"climb": -1.0, "conventional": 1.0, "centred": 0.0}[way] * (radius - 0.5 * wide)
    return middle - 0.5 * wide, middle + 0.5 * wide


def engaged_rad(cut: Mill, way: str) -> tuple[float, float]:
    """Return between which two angles a tooth is in the cut.

    Parameters
    ----------
    cut : Mill
        The cut.
    way : str
        As in `strip_mm`.

    Returns
    -------
    tuple of float
        Low and high, radians from the feed to the left.

    References
    ----------
    Closed form: sin = offset / radius at either side of the strip.
    """
    low, high = (math.asin(max(-1.0, min(1.0, 2.0 * y / cut.cutter_mm))) for y in strip_mm(cut, way))
    return low, high


def thickest_chip_mm(cut: Mill, way: str) -> float:
    """Return the thickest chip that a tooth takes on its way: the feed, where it comes by in front.

    Parameters
    ----------
    cut : Mill
        The cut.
    way : str
        As in `strip_mm`.

    Returns
    -------
    float
        mm.

    References
    ----------
    Martellotti [@martellotti1941], from memory: the chip is the feed times the cosine of the angle.
    """
    low, high = engaged_rad(cut, way)
    return cut.feed_mm_tooth * (1.0 if low <= 0.0 <= high else max(math.cos(low), math.cos(high)))


def one_turn(cut: Mill, law: Law, way: str, *, steps: int = 9) -> tuple[Turned, ...]:
    """Return the cutter at angles spread over all that a turn goes through.

    After one pitch of the teeth everything comes again: the last tooth that came in goes from where it does
    to where the next one comes in, or to where it leaves.

    Parameters
    ----------
    cut : Mill
        The cut.
    law : Law
        What cutting takes.
    way : str
        Where the strip lies, as in `strip_mm`.
    steps : int
        Angles looked at, ends included; besides, where a tooth has come in all along, and where it begins to
        leave.

    Returns
    -------
    tuple of Turned
        The teeth in the cut at each angle.
    """
    low, high = engaged_rad(cut, way)
    pitch, lag = 2.0 * math.pi / cut.teeth, _lag_rad(cut)
    # With spiral flutes the upper end of a tooth comes in after its lower end and leaves after it.
    last = max(low - lag, high - pitch)
    marks = np.concatenate([np.linspace(high, last, steps), [high - lag, low]])
    found = []
    for angle in sorted({float(a) for a in marks if last <= a <= high}, reverse=True):
        angles = np.arange(angle, low - lag - 1e-12, -pitch)
        teeth = [t for a in angles if (t := _tooth(cut, law, way, float(a))) is not None]
        if teeth:
            found.append(Turned(way=way, teeth=tuple(teeth)))
    return tuple(found)


def _lag_rad(cut: Mill) -> float:
    """How far the upper end of a tooth trails its lower end: the depth by the pitch of the spiral."""
    return cut.deep_mm * math.tan(math.radians(cut.helix_deg)) / (0.5 * cut.cutter_mm)


def _tooth(cut: Mill, law: Law, way: str, angle_rad: float) -> Tooth | None:
    """Return a tooth whose lower end stands at an angle; None where it takes no chip.

    It trails upward, against the turn: to the left, where the angle is larger.
    """
    low, high = engaged_rad(cut, way)
    count = 1 + math.ceil(_lag_rad(cut) / _SLICE_RAD)
    radius = 0.5 * cut.cutter_mm
    force, moment, cutting = np.zeros(3), np.zeros(3), 0.0
    for k in range(count):
        up_share = (k + 0.5) / count
        angle = angle_rad + up_share * _lag_rad(cut)
        if not low - 1e-12 <= angle <= high + 1e-12:
            continue
        part, along = _slice_n(law, cut.deep_mm / count, cut.feed_mm_tooth, angle)
        place = (radius * math.cos(angle), radius * math.sin(angle), up_share * cut.deep_mm)
        force, moment, cutting = force + part, moment + along * np.array(place), cutting + along
    if cutting <= 0.0:
        return None
    at, whole = (tuple(float(v) for v in w) for w in (moment / cutting, force))
    return Tooth(
        angle_rad=angle_rad, at_mm=(at[0], at[1], at[2]), force_n=(whole[0], whole[1], whole[2]),
        cutting_n=cutting,
    )  # fmt: skip


def _slice_n(law: Law, deep_mm: float, feed_mm: float, angle_rad: float) -> tuple[NDArray[np.float64], float]:
    """Return force on the part of a piece of a tooth, and its cutting force.

    The chip is the feed times the cosine of the angle (Martellotti [@martellotti1941], from memory).
    """
    along, left = math.cos(angle_rad), math.sin(angle_rad)
    chip = feed_mm * along
    if chip <= _LEAST_CHIP_SHARE * feed_mm:
        return np.zeros(3), 0.0
    cutting = (
        specific_force_n_mm2(law.force_n_mm2, chip, law.exponent)
        * chip_section_mm2(deep_mm, chip)
        * law.wear_factor
    )
    way = np.array([left, -along, 0.0])
    outward = np.array([along, left, 0.0])
    up = np.array([0.0, 0.0, 1.0])
    return cutting * (way + law.radial_ratio * outward + law.axial_ratio * up), cutting
