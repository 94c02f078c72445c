"""Thrust and torque of a tool that goes down its own axis: a drill, a tap, an end mill that plunges.

Kienzle's law on the chip of each lip. A drill pushes the part down and turns it the way it turns itself,
clockwise seen from above. As its point comes through, the thrust falls away, the drill springs forward, its
lips grab a thicker chip and its flutes draw the part up like a screw.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from fixturecheck.files import shipped_table
from fixturecheck.interval import Range, over_ends
from fixturecheck.machining.milling import Mill, Shearing, laws, one_turn, specific_force_n_mm2
from fixturecheck.result.hold import AxialStroke, CutterWay

_THREAD_DEEP_PITCHES = 0.613
"""Depth of an external thread of 60 degrees, in pitches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AxialForces:
    """What a tool does to the part on one stroke.

    Parameters
    ----------
    stroke : AxialStroke
    torque_nmm : Range
        About its axis, of either sense: low and high of how hard it cuts.
    thrust_n : Range
        Down its axis at the greatest torque, with which it grows; below zero it lifts the part.
    backward : bool
        It turns back, counter-clockwise seen from above.
    side_n : float
        Across its axis besides, any way.
    """

    stroke: AxialStroke
    torque_nmm: Range
    thrust_n: Range
    backward: bool = False
    side_n: float = 0.0


def drill_feed_mm(drill_mm: float) -> Range:
    """Return the feed in one turn that drills of a diameter are usually driven with.

    Parameters
    ----------
    drill_mm : float
        Diameter.

    Returns
    -------
    Range
        mm.

    References
    ----------
    Machinery's Handbook [@machineryshb], from memory.
    """
    rows = shipped_table("machining", "boring")["feed"]
    row = next((r for r in rows if drill_mm <= r["to_mm"]), rows[-1])
    return Range.of(row["feed_mm"])


def lip_torque_nmm(
    across_mm: float, feed_mm: float, lips: int, lean_deg: float, main_n_mm2: float, exponent: float
) -> float:
    """Return the torque of a tool that cuts all over its end.

    Parameters
    ----------
    across_mm, feed_mm : float
        Diameter, and feed in one turn.
    lips : int
        Cutting edges from the middle to the rim.
    lean_deg : float
        From its axis to a lip: half of the point's included angle, 90 for a flat end.
    main_n_mm2, exponent : float
        Kienzle's two.

    Returns
    -------
    float
        N mm: kc d^2 f / 8, the chip f sin(lean) / lips thick.

    References
    ----------
    Kienzle [@kienzle1952], from memory: each lip takes a chip of d f / (2 lips) mm2, midway out.
    """
    chip_mm = feed_mm / lips * math.sin(math.radians(lean_deg))
    return specific_force_n_mm2(main_n_mm2, chip_mm, exponent) * across_mm**2 * feed_mm / 8.0


def _torque(
    takes: Shearing, across_mm: float, feed_mm: Range, lips: int, lean_deg: float, times: float = 1.0
) -> Range:
    """Return the torque over the ranges of feed, of what cutting takes and of wear."""

    def torque(main: float, exponent: float, wear: float, feed: float) -> float:
        return wear * lip_torque_nmm(across_mm, times * feed, lips, lean_deg, main, exponent)

    return over_ends(torque, takes.force_n_mm2, takes.exponent, takes.wear_factor, feed_mm)


def drill_forces(
    takes: Shearing, drill_mm: float, feed_mm: Range, point_deg: float, *, through: bool
) -> tuple[AxialForces, ...]:
    """Return what a twist drill with two lips does to the part, full in the hole and as it breaks through.

    The thrust is a share of the cutting force of both lips, 4 M / d, times the sine of half the point.
    Breaking through, the lips take a chip twice as thick and the part is drawn up by what the flutes lean:
    2 M / d tan(helix).

    Parameters
    ----------
    takes : Shearing
        What cutting the material takes.
    drill_mm : float
        Diameter.
    feed_mm : Range
        In one turn.
    point_deg : float
        Included angle of the point.
    through : bool
        Whether the hole is open below.

    Returns
    -------
    tuple of AxialForces

    References
    ----------
    Kienzle [@kienzle1952], from memory; ratios as in `boring.toml`.
    """
    row, lean_deg = shipped_table("machining", "boring")["drill"], 0.5 * point_deg
    torque = _torque(takes, drill_mm, feed_mm, 2, lean_deg)
    most_n = 4.0 / drill_mm * torque.high * math.sin(math.radians(lean_deg))
    thrust = Range(low=most_n * row["thrust_ratio"][0], high=most_n * row["thrust_ratio"][1])
    drills = AxialForces(stroke=AxialStroke.DRILLS, torque_nmm=torque, thrust_n=thrust)
    if not through:
        return (drills,)
    grabs = _torque(takes, drill_mm, feed_mm, 2, lean_deg, times=row["grab_ratio"])
    lift_n = 2.0 / drill_mm * grabs.high * math.tan(math.radians(row["helix_deg"]))
    lift = Range(low=-lift_n, high=0.0)
    return drills, AxialForces(stroke=AxialStroke.BREAKS_THROUGH, torque_nmm=grabs, thrust_n=lift)


def plunge_forces(
    takes: Shearing,
    cutter_mm: float,
    feed_mm: Range,
    teeth: int,
    stroke: AxialStroke = AxialStroke.PLUNGES,
    *,
    rounded: bool = False,
    lean_deg: float = 90.0,
) -> AxialForces:
    """Return what an end mill that cuts all over its end does to the part.

    Its edges lie level, so what is square to the cutting force along an edge of its side points down here.
    Those of a tapered one lean: the chip is thinner by the sine of that, and so is the least of the push.
    Along the edges of a ball the chip is thinner the further out, which makes 2 / (2 - mc) of the torque, and
    less of the thrust; a bull nose lies between ball and flat, and is taken for a ball.

    Parameters
    ----------
    takes : Shearing
        What cutting the material takes.
    cutter_mm : float
        Diameter.
    feed_mm : Range
        In one turn.
    teeth : int
        That cut.
    stroke : AxialStroke
        What it is called.
    rounded : bool
        Its end is a ball or has round corners.
    lean_deg : float
        From its axis to its edges: 90 of a flat end, the taper of a tapered one.

    Returns
    -------
    AxialForces

    References
    ----------
    Kienzle [@kienzle1952], from memory; ratio of the forces as in `milling.toml`.
    """
    torque = _torque(takes, cutter_mm, feed_mm, teeth, lean_deg)
    if rounded:
        torque = torque.scaled(2.0 / (2.0 - takes.exponent.high))
    thrust = takes.radial_ratio.scaled(4.0 / cutter_mm * torque.high)
    thrust = replace(thrust, low=thrust.low * math.sin(math.radians(lean_deg)))
    return AxialForces(stroke=stroke, torque_nmm=torque, thrust_n=thrust)


def slope_forces(takes: Shearing, cut: Mill, lead_deg: float, *, rounded: bool) -> AxialForces:
    """Return what an end mill that goes down a slope does to the part.

    Its end goes down by the sine of the slope and cuts as one that plunges so fast, from none of that thrust
    to all of it; its side cuts a slot as deep as it goes down, and pushes with all teeth in the cut.

    Parameters
    ----------
    takes : Shearing
        What cutting the material takes.
    cut : Mill
        The slot.
    lead_deg : float
        How steeply it goes down.
    rounded : bool
        Its end is a ball or has round corners.

    Returns
    -------
    AxialForces

    References
    ----------
    Kienzle [@kienzle1952], from memory, on end and side.
    """
    down_mm = cut.teeth * cut.feed_mm_tooth * math.sin(math.radians(lead_deg))
    end = plunge_forces(takes, cut.cutter_mm, Range.exactly(down_mm), cut.teeth, rounded=rounded)
    turns = [one for law in laws(takes) for one in one_turn(cut, law, CutterWay.CENTRED)]
    return replace(
        end,
        stroke=AxialStroke.RAMPS,
        thrust_n=Range(low=0.0, high=end.thrust_n.high),
        side_n=max(math.hypot(*one.force_n[:2]) for one in turns),
    )


def tap_forces(
    takes: Shearing, major_mm: float, pitch_mm: float, lead_pitches: float
) -> tuple[AxialForces, ...]:
    """Return what a tap does to the part on its way in and out.

    The section of the thread, about p^2 / 4, is cut on half of its diameter: M = kc p^2 d / 8. A chip is the
    depth of the thread over all teeth of the lead.

    Parameters
    ----------
    takes : Shearing
        What cutting the material takes.
    major_mm, pitch_mm : float
        Of the thread.
    lead_pitches : float
        Threads that the chamfer of the tap takes.

    Returns
    -------
    tuple of AxialForces

    References
    ----------
    Kienzle [@kienzle1952] on the chips of the lead, from memory; ratios as in `boring.toml`.
    """
    row = shipped_table("machining", "boring")["tap"]
    chip_mm = _THREAD_DEEP_PITCHES * pitch_mm / (lead_pitches * row["teeth"])

    def torque(main: float, exponent: float, wear: float) -> float:
        return wear * specific_force_n_mm2(main, chip_mm, exponent) * pitch_mm**2 * major_mm / 8.0

    wear = Range.of(row["wear_factor"])
    into = over_ends(torque, takes.force_n_mm2, takes.exponent, wear)
    along_n = 2.0 / major_mm * into.high * row["axial_ratio"]
    either = Range(low=-along_n, high=along_n)
    back = row["back_ratio"]
    return (
        AxialForces(stroke=AxialStroke.TAPS, torque_nmm=into, thrust_n=either),
        AxialForces(
            stroke=AxialStroke.BACKS_OUT,
            torque_nmm=into.scaled(back),
            thrust_n=either.scaled(back),
            backward=True,
        ),
    )
