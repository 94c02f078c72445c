"""How hard does the wheel push: force on the part from a grinding pass, low to high, for both table strokes.

The tangential force is the power of the removal over the wheel's speed; the normal force follows from the
force ratio; a wall that the wheel's side grinds is pushed away along its normal; a pass that is fed across
pushes the part along the spindle, too. Frame: X is the table's traverse, Y points to the column, Z up; the
spindle lies along Y.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.files import shipped_table
from fixturecheck.interval import Range, over_ends
from fixturecheck.result.contact import Sparks
from fixturecheck.result.hold import Stroke
from fixturecheck.result.shapes import Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class Abrasion:
    """What grinding a material with a wheel takes, with where each number comes from.

    Parameters
    ----------
    energy_j_mm3 : Range
        Specific energy at the equivalent chip thickness `chip_um`.
    exponent : Range
        By which the energy rises as the chip thins.
    least_j_mm3 : float
        Floor of the energy.
    force_ratio : Range
        Tangential over normal force.
    wall_energy_factor : Range
        Energy of the wheel's flat side over that of its rim.
    wall_share : Range
        Push on a wall that the wheel runs along without feed, as a share of the normal force.
    cross_share : Range
        Push along the spindle in a cross-fed pass, as a share of the normal force.
    source : str
        Where the numbers come from.
    """

    energy_j_mm3: Range
    chip_um: float
    exponent: Range
    least_j_mm3: float
    force_ratio: Range
    wall_energy_factor: Range
    wall_share: Range
    cross_share: Range
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """One grinding pass.

    Parameters
    ----------
    depth_mm, width_mm : float
        Downfeed of the pass, and the width of the strip that the rim cuts.
    table_speed_m_min, wheel_speed_m_s : float
        Speeds of table and rim.
    wheel_diameter_mm : float
        Diameter of the wheel.
    wall_depth_mm, wall_height_mm : float
        Feed into a wall in this pass, and how much of its height the wheel's side covers.
    wall_normal : Vector or None
        Level direction out of the wall toward the wheel; None where there is no wall.
    sparks : str
        `left` or `right`: the way the wheel's lowest point moves.
    cross_fed : bool
        The wheel is fed along its spindle from stroke to stroke.
    """

    depth_mm: float
    width_mm: float
    table_speed_m_min: float
    wheel_speed_m_s: float
    wheel_diameter_mm: float
    wall_depth_mm: float = 0.0
    wall_height_mm: float = 0.0
    wall_normal: Vector | None = None
    sparks: str = "right"
    cross_fed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Forces:
    """Size of the force on the part.

    Parameters
    ----------
    tangential_n, normal_n : Range
        Along the rim, and square to it.
    wall_n : Range
        Square to the wall.
    side_n : Range
        Of `tangential_n`, the drag of the wheel's side along the wall.
    cross_n : Range
        Along the spindle, as much either way, since a cross feed goes both ways.
    energy_j_mm3 : Range
        Specific energy that they follow from.
    """

    tangential_n: Range
    normal_n: Range
    wall_n: Range
    side_n: Range
    cross_n: Range
    energy_j_mm3: Range

    @property
    def side_share(self) -> float:
        """Share of the drag that acts on a wall, where both are greatest."""
        return self.side_n.high / self.tangential_n.high if self.tangential_n.high > 0.0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CutLoad:
    """One load to hold against: a stroke with one combination of ends.

    Parameters
    ----------
    stroke : Stroke
        Which way the table goes.
    drag_n, press_n, wall_n, cross_n : float
        Size of the forces along the rim, square to it, on the wall and along the spindle.
    force_n : Vector
        Force of the rim on the part.
    offset_mm : Vector
        Where it acts, from the wheel's lowest point: the middle of the arc of contact.
    side_force_n : Vector
        Force of the wheel's side on a wall.
    side_offset_mm : Vector
        Where that acts: midway up the wall, all of which is ground alike.
    """

    stroke: Stroke
    drag_n: float
    press_n: float
    wall_n: float
    cross_n: float
    force_n: Vector
    offset_mm: Vector
    side_force_n: Vector
    side_offset_mm: Vector


def equivalent_chip_um(depth_mm: float, table_speed_m_min: float, wheel_speed_m_s: float) -> float:
    """Return the equivalent chip thickness, depth x table speed / wheel speed.

    Parameters
    ----------
    depth_mm : float
        Downfeed of the pass.
    table_speed_m_min, wheel_speed_m_s : float
        Speeds of table and rim.

    Returns
    -------
    float
        um.

    References
    ----------
    Rowe [@rowe2009]; Malkin [@malkin2008]; from memory.
    """
    return depth_mm * 1e3 * (table_speed_m_min / 60.0) / wheel_speed_m_s


def removal_rate_mm3_s(depth_mm: float, width_mm: float, table_speed_m_min: float) -> float:
    """Return the volume that is removed in a second.

    Parameters
    ----------
    depth_mm, width_mm : float
        Section of the cut across the traverse.
    table_speed_m_min : float
        Speed of the table.

    Returns
    -------
    float
        mm3/s.

    References
    ----------
    Closed form: section times speed.
    """
    return depth_mm * width_mm * table_speed_m_min * 1e3 / 60.0


def tangential_n(energy_j_mm3: float, rate_mm3_s: float, wheel_speed_m_s: float) -> float:
    """Return the tangential force: the power of the removal over the speed of the wheel.

    Parameters
    ----------
    energy_j_mm3 : float
        Specific energy.
    rate_mm3_s : float
        Volume removed in a second.
    wheel_speed_m_s : float
        Speed of the rim.

    Returns
    -------
    float
        N.

    References
    ----------
    Malkin [@malkin2008]; Rowe [@rowe2009]; from memory.
    """
    return energy_j_mm3 * rate_mm3_s / wheel_speed_m_s


def specific_energy_j_mm3(abrasion: Abrasion, chip_um: float) -> Range:
    """Return the specific energy at a chip thickness: a power law through the table value, with a floor.

    Parameters
    ----------
    abrasion : Abrasion
        The table's energy, exponent and floor.
    chip_um : float
        Equivalent chip thickness.

    Returns
    -------
    Range
        J/mm3, over all ends of energy and exponent.

    References
    ----------
    Malkin [@malkin2008], size effect and least energy, from memory; the power law is common practice, no
    source.
    """

    def energy(at_table: float, exponent: float) -> float:
        return max(at_table * math.pow(abrasion.chip_um / chip_um, exponent), abrasion.least_j_mm3)

    return over_ends(energy, abrasion.energy_j_mm3, abrasion.exponent)


def pass_forces(cut: Pass, abrasion: Abrasion) -> Forces:
    """Return the forces of one pass.

    Parameters
    ----------
    cut : Pass
        Depth, width, speeds, wall.
    abrasion : Abrasion
        Energy and force ratio of material and wheel.

    Returns
    -------
    Forces
        Low to high of each.

    Raises
    ------
    SetupError
        A depth, width or speed is not a positive number, or a wall has no level normal.

    References
    ----------
    Malkin, Guo, Grinding Technology 2e, ch. 5; Rowe, Principles of Modern Grinding Technology; from memory.
    """
    _check(cut)
    energy = specific_energy_j_mm3(
        abrasion, equivalent_chip_um(cut.depth_mm, cut.table_speed_m_min, cut.wheel_speed_m_s)
    )
    speed = cut.wheel_speed_m_s
    rim_rate = removal_rate_mm3_s(cut.depth_mm, cut.width_mm, cut.table_speed_m_min)
    rim = over_ends(lambda u: tangential_n(u, rim_rate, speed), energy)
    normal = over_ends(lambda force, ratio: force / ratio, rim, abrasion.force_ratio)
    most_across = abrasion.cross_share.high * normal.high if cut.cross_fed else 0.0
    side, wall = Range.exactly(0.0), Range.exactly(0.0)
    if cut.wall_normal is not None:
        side, wall = _wall(cut, abrasion, energy, normal)
    return Forces(
        tangential_n=Range(low=rim.low + side.low, high=rim.high + side.high),
        normal_n=normal,
        wall_n=wall,
        side_n=side,
        cross_n=Range(low=-most_across, high=most_across),
        energy_j_mm3=energy,
    )


def _wall(cut: Pass, abrasion: Abrasion, energy: Range, normal: Range) -> tuple[Range, Range]:
    """Drag along the wall and push on it: of a wheel fed into it, or of one that runs along it."""
    rubbing = over_ends(lambda share, force: share * force, abrasion.wall_share, normal)
    drag_of_rubbing = over_ends(lambda push, ratio: push * ratio, rubbing, abrasion.force_ratio)
    if cut.wall_depth_mm <= 0.0:
        return drag_of_rubbing, rubbing
    rate = removal_rate_mm3_s(cut.wall_depth_mm, cut.wall_height_mm, cut.table_speed_m_min)
    drag = over_ends(
        lambda u, blunt: tangential_n(u * blunt, rate, cut.wheel_speed_m_s),
        energy,
        abrasion.wall_energy_factor,
    )
    push = over_ends(lambda force, ratio: force / ratio, drag, abrasion.force_ratio)
    return drag, Range(low=push.low, high=max(push.high, rubbing.high))


def cut_loads(cut: Pass, forces: Forces) -> tuple[CutLoad, ...]:
    """Return every load that a pass can put on the part: both strokes, all combinations of ends.

    A low normal force holds a part down less while the drag pushes it, so no single combination is worst
    for every set-up; the caller takes the one with the least factor.

    Parameters
    ----------
    cut : Pass
        The pass.
    forces : Forces
        Size of its forces, low to high.

    Returns
    -------
    tuple of CutLoad
        Each with its force on the part, and where it acts from the wheel's lowest point.

    References
    ----------
    Closed form: directions from the pass, middle of the arc of contact.
    """
    spin = 1.0 if cut.sparks == Sparks.RIGHT else -1.0
    radius = 0.5 * cut.wheel_diameter_mm
    half_arc = 0.5 * math.acos(max(1.0 - 2.0 * cut.depth_mm / cut.wheel_diameter_mm, -1.0))
    sine, cosine = math.sin(half_arc), math.cos(half_arc)
    wall_y = cut.wall_normal[1] if cut.wall_normal else 0.0
    wall_x = cut.wall_normal[0] if cut.wall_normal else 0.0
    loads = []
    for stroke in Stroke:
        travel = stroke.travel
        # Stock comes from the side that the table comes from, and that is where the arc of contact lies.
        for drag, press, push, across in itertools.product(
            forces.tangential_n.ends, forces.normal_n.ends, forces.wall_n.ends, forces.cross_n.ends
        ):
            side = forces.side_share * drag
            rim = drag - side
            force = (
                spin * rim * cosine - travel * press * sine,
                across,
                -spin * travel * rim * sine - press * cosine,
            )
            loads.append(
                CutLoad(
                    stroke=stroke,
                    drag_n=drag,
                    press_n=press,
                    wall_n=push,
                    cross_n=across,
                    force_n=force,
                    offset_mm=(-travel * radius * sine, 0.0, radius * (1.0 - cosine)),
                    side_force_n=(spin * side - wall_x * push, -wall_y * push, 0.0),
                    side_offset_mm=(0.0, 0.0, 0.5 * cut.wall_height_mm),
                )
            )
    return tuple(loads)


def abrasion(material: str, wheel: str = "alumina") -> Abrasion:
    """Return the table's numbers for a class of material and a kind of wheel.

    Parameters
    ----------
    material, wheel : str
        Names of rows of `grinding.toml`.

    Returns
    -------
    Abrasion
        What grinding takes, with its source.

    Raises
    ------
    SetupError
        The table has no such row.
    """
    table = shipped_table("machining", "grinding")
    energy, ratio = _row(table, "energy", material), _row(table, "wheel", wheel)
    fed, touching = _row(table, "wall", "fed"), _row(table, "wall", "touching")
    across = _row(table, "cross_feed", "stepped")
    return Abrasion(
        energy_j_mm3=Range.of(energy["energy_j_mm3"]),
        chip_um=energy["chip_um"],
        exponent=Range.of(energy["exponent"]),
        least_j_mm3=energy["least_j_mm3"],
        force_ratio=Range.of(ratio["tangential_over_normal"]),
        wall_energy_factor=Range.of(fed["energy_factor"]),
        wall_share=Range.of(touching["share_of_normal"]),
        cross_share=Range.of(across["share_of_normal"]),
        source=f"energy: {energy['source']}; force ratio: {ratio['source']}; wall: {fed['source']}; "
        f"cross feed: {across['source']}",
    )


def _row(table: Mapping[str, Any], kind: str, name: str) -> Mapping[str, Any]:
    """Return one row or say which there are."""
    rows: Mapping[str, Mapping[str, Any]] = table[kind]
    if name not in rows:
        raise SetupError(f"grinding {kind}: no row {name!r}; the table has {', '.join(sorted(rows))}")
    return rows[name]


def _check(cut: Pass) -> None:
    """Refuse a pass that cannot be one."""
    positive = {
        "depth_mm": cut.depth_mm,
        "width_mm": cut.width_mm,
        "table_speed_m_min": cut.table_speed_m_min,
        "wheel_speed_m_s": cut.wheel_speed_m_s,
        "wheel_diameter_mm": cut.wheel_diameter_mm,
    }
    for name, value in positive.items():
        if not (math.isfinite(value) and value > 0.0):
            raise SetupError(f"grinding pass: {name} is {value}; it must be a number above zero")
    if cut.depth_mm > 0.5 * cut.wheel_diameter_mm:
        raise SetupError(f"grinding pass: depth {cut.depth_mm} mm is more than the wheel's radius")
    if not (cut.wall_depth_mm >= 0.0 and cut.wall_height_mm >= 0.0):
        raise SetupError(
            f"grinding pass: wall depth {cut.wall_depth_mm}, height {cut.wall_height_mm} mm: not below zero"
        )
    if cut.sparks not in {Sparks.LEFT, Sparks.RIGHT}:
        raise SetupError(f"grinding pass: sparks {cut.sparks!r} must be left or right")
    if cut.wall_normal is not None and abs(math.hypot(*cut.wall_normal[:2]) - 1.0) > 1e-6:
        raise SetupError(f"grinding pass: wall normal {cut.wall_normal} must be level and of length one")
