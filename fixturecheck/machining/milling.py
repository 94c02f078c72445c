"""Milling forces by Kienzle's law over a turn of the cutter.

Frame of the cutter: X along its feed, Y to the left of that, Z up its axis, from its lower end. It turns
clockwise seen from above, as a right-hand cutter does. An angle is measured from the feed to the left, so a
tooth comes round from the left, by the front, to the right. What it cuts lies in a strip in front.

Climb and conventional milling differ only by where that strip lies. To the right of the axis the teeth run
against the feed, take their thickest chip first and push the part toward the cutter (climb); to the left they
run with it and push the part ahead (conventional).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import beta, betainc

from fixturecheck.errors import SetupError
from fixturecheck.files import shipped_table
from fixturecheck.interval import Range, over_ends
from fixturecheck.numeric import UP
from fixturecheck.result.hold import CutterWay
from fixturecheck.result.shapes import Vector


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
    corner_mm, taper_deg : float
        Radius of its corners, and the angle from its axis to its side.
    """

    cutter_mm: float
    teeth: int
    deep_mm: float
    wide_mm: float
    feed_mm_tooth: float
    helix_deg: float = 0.0
    corner_mm: float = 0.0
    taper_deg: float = 0.0


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


def slant_factor(cut: Mill, exponent: float) -> float:
    """Return how much more force an edge takes that is round or slanted than an upright one just as deep.

    Where the edge makes an angle k with the end of the cutter the chip is sin k as thick and 1 / sin k as
    wide, so that each piece of the depth takes sin(k)^-mc times the force. Over a round corner that is the
    mean over its height, an incomplete beta function.

    Parameters
    ----------
    cut : Mill
        Its depth, corner and taper count.
    exponent : float
        mc of Kienzle's law.

    Returns
    -------
    float
        1 for a square cutter.

    References
    ----------
    Kienzle [@kienzle1952] with chip thickness f sin k and width a / sin k, from memory; closed form.
    """
    tilt = math.radians(cut.taper_deg)
    side = math.cos(tilt) ** -exponent
    if cut.corner_mm <= 0.0:
        return float(side)
    round_mm = min(cut.deep_mm, cut.corner_mm * (1.0 - math.sin(tilt)))
    sine = 1.0 - (1.0 - round_mm / cut.corner_mm) ** 2
    power = 0.5 * (2.0 - exponent)
    edge_mm = 0.5 * cut.corner_mm * float(beta(power, 0.5) * betainc(power, 0.5, sine))
    return float((edge_mm + (cut.deep_mm - round_mm) * side) / cut.deep_mm)


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
        section_mm2 = chip_section_mm2(cut.deep_mm, chip) * slant_factor(cut, exponent)
        return specific_force_n_mm2(main, chip, exponent) * section_mm2 * wear

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
    table = shipped_table("machining", "milling")
    rows, tool = table["material"], table["tool"]
    if material not in rows:
        raise SetupError(f"milling: no material {material!r}; the table has {', '.join(sorted(rows))}")
    row = rows[material]
    return Shearing(
        force_n_mm2=Range.of(row["force_n_mm2"]),
        exponent=Range.of(row["exponent"]),
        radial_ratio=Range.of(tool["radial_over_tangential"]),
        axial_ratio=Range.of(tool["axial_over_tangential"]),
        wear_factor=Range.of(tool["wear_factor"]),
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
            raise SetupError(f"milling cut: {name} is {value}; it must be a number above zero")


_SLICE_RAD = math.radians(3.0)
_ROUND_SLICES, _TAPER_SLICES = 24, 4
_LEAST_CHIP_SHARE = 1e-6
"""Of the feed for a tooth: no thinner chip forms."""


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

    way: CutterWay
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


def strip_mm(cut: Mill, way: CutterWay) -> tuple[float, float]:
    """Return where what is cut in front of the cutter lies, to the left of its axis.

    Parameters
    ----------
    cut : Mill
        Its width and the cutter's diameter count.
    way : CutterWay
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
    middle = {CutterWay.CLIMB: -1.0, CutterWay.CONVENTIONAL: 1.0, CutterWay.CENTRED: 0.0}[way] * (
        radius - 0.5 * wide
    )
    return middle - 0.5 * wide, middle + 0.5 * wide


def engaged_rad(cut: Mill, way: CutterWay) -> tuple[float, float]:
    """Return between which two angles a tooth is in the cut.

    Parameters
    ----------
    cut : Mill
        The cut.
    way : CutterWay
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


def thickest_chip_mm(cut: Mill, way: CutterWay) -> float:
    """Return the thickest chip that a tooth takes on its way: the feed, where it comes by in front.

    Parameters
    ----------
    cut : Mill
        The cut.
    way : CutterWay
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


def one_turn(cut: Mill, law: Law, way: CutterWay, *, steps: int = 9) -> tuple[Turned, ...]:
    """Return the cutter at angles spread over all that a turn goes through.

    After one pitch of the teeth everything comes again: the last tooth that came in goes from where it does
    to where the next one comes in, or to where it leaves.

    Parameters
    ----------
    cut : Mill
        The cut.
    law : Law
        What cutting takes.
    way : CutterWay
        Where the strip lies, as in `strip_mm`.
    steps : int
        Angles looked at, ends included; besides, where a tooth has come in all along, and where it begins to
        leave.

    Returns
    -------
    tuple of Turned
        The teeth in the cut at each angle.
    """
    met = [span for edge in _edges(cut) if (span := _span_rad(cut, way, edge.radius_mm)) is not None]
    low, high = min(span[0] for span in met), max(span[1] for span in met)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edge:
    """A piece of a tooth's edge.

    Parameters
    ----------
    up_share : float
        How high it lies, of the depth of the cut.
    radius_mm : float
        How far from the axis.
    sine : float
        Of the angle from the end of the cutter to the edge: 1 where it is upright.
    """

    up_share: float
    radius_mm: float
    sine: float


@cache
def _edges(cut: Mill) -> tuple[_Edge, ...]:
    """Return the edge of a tooth in pieces of one height, the lowest first."""
    tilt, corner_mm = math.radians(cut.taper_deg), cut.corner_mm
    round_mm = corner_mm * (1.0 - math.sin(tilt))
    count = 1 + math.ceil(_lag_rad(cut) / _SLICE_RAD)
    count = max(count, _ROUND_SLICES if corner_mm > 0.0 else _TAPER_SLICES if tilt > 0.0 else 1)
    found = []
    for k in range(count):
        share = (k + 0.5) / count
        up_mm, radius_mm, sine = share * cut.deep_mm, 0.5 * cut.cutter_mm, math.cos(tilt)
        if up_mm < round_mm:
            sine = math.sqrt(1.0 - (1.0 - up_mm / corner_mm) ** 2)
            radius_mm += corner_mm * (sine - 1.0)
        else:
            radius_mm += corner_mm * (math.cos(tilt) - 1.0) + (up_mm - round_mm) * math.tan(tilt)
        found.append(_Edge(up_share=share, radius_mm=radius_mm, sine=sine))
    return tuple(found)


def _span_rad(cut: Mill, way: CutterWay, radius_mm: float) -> tuple[float, float] | None:
    """Return between which angles an edge that far from the axis is in the cut; None where it never is."""
    low, high = (y / radius_mm for y in strip_mm(cut, way))
    if low >= 1.0 or high <= -1.0:
        return None
    return math.asin(max(-1.0, low)), math.asin(min(1.0, high))


def _tooth(cut: Mill, law: Law, way: CutterWay, angle_rad: float) -> Tooth | None:
    """Return a tooth whose lower end stands at an angle; None where it takes no chip.

    It trails upward, against the turn: to the left, where the angle is larger. A slanted edge takes a thinner
    and wider chip, and what is square to it points down as much as it slants.
    """
    edges = _edges(cut)
    force, moment, cutting = np.zeros(3), np.zeros(3), 0.0
    thinner = [edge.sine**-law.exponent for edge in edges]
    # The pieces add up to the closed form however few they are.
    deep_mm = cut.deep_mm * slant_factor(cut, law.exponent) / math.fsum(thinner)
    for edge, weight in zip(edges, thinner, strict=True):
        angle, span = angle_rad + edge.up_share * _lag_rad(cut), _span_rad(cut, way, edge.radius_mm)
        if span is None or not span[0] - 1e-12 <= angle <= span[1] + 1e-12:
            continue
        part, along = _slice_n(law, weight * deep_mm, cut.feed_mm_tooth, angle, edge.sine)
        radius = edge.radius_mm
        place = (radius * math.cos(angle), radius * math.sin(angle), edge.up_share * cut.deep_mm)
        force, moment, cutting = force + part, moment + along * np.array(place), cutting + along
    if cutting <= 0.0:
        return None
    at, whole = (tuple(float(v) for v in w) for w in (moment / cutting, force))
    return Tooth(
        angle_rad=angle_rad, at_mm=(at[0], at[1], at[2]), force_n=(whole[0], whole[1], whole[2]),
        cutting_n=cutting,
    )  # fmt: skip


def _slice_n(
    law: Law, deep_mm: float, feed_mm: float, angle_rad: float, sine: float
) -> tuple[NDArray[np.float64], float]:
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
    outward = sine * np.array([along, left, 0.0]) - math.sqrt(1.0 - sine**2) * UP
    return cutting * (way + law.radial_ratio * outward + law.axial_ratio * UP), cutting
