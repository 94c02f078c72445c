"""What is set, in words: stacks of gauge blocks, dials, hardening."""

from __future__ import annotations

from collections.abc import Sequence

from fixturecheck.angles.gauge_blocks import Stack, dms, gauge_set
from fixturecheck.angles.incline import ARCSEC_PER_DEG, Incline
from fixturecheck.result.dials import DialMove, DialReading, MoveKind
from fixturecheck.result.hardening import (
    DIAMETER,
    FAR_SIDE,
    ITS_AXIS,
    HardnessSpot,
    SizeChange,
    SteelTempered,
)
from fixturecheck.units import Writing
from fixturecheck.wording.sentences import first_up, plural

_INCH_MM = 25.4


def stack_words(stack: Stack, blocks: str) -> str:
    """Return the blocks of a stack in order from below, in the unit that they are marked in.

    Parameters
    ----------
    stack : Stack
        Its blocks stand in their order from below.
    blocks : str
        Name of the set of gauge blocks, which says whether they are marked in mm or inches.
    """
    inch = gauge_set(blocks).unit_mm not in {0.0005, 0.001}
    sizes = [f"{b / _INCH_MM:.4f}" if inch else f"{b:.4f}".rstrip("0").rstrip(".") for b in stack.blocks_mm]
    if stack.wear:
        sizes = [f"{sizes[0]} (wear)", *sizes[1:-1], f"{sizes[-1]} (wear)"]
    height = f"{stack.height_mm / _INCH_MM:.4f} in" if inch else f"{stack.height_mm:.4f} mm"
    return f"{' + '.join(sizes)} = {height}"


def gauges_words(gauges_arcsec: Sequence[int]) -> str:
    """Return angle gauges in order from below, those that are turned round with their sign.

    Parameters
    ----------
    gauges_arcsec : sequence of int

    Returns
    -------
    str
    """
    first, *others = gauges_arcsec
    signed = [f"{'+' if g > 0 else '-'} {dms(abs(g))}" for g in others]
    return " ".join([dms(first), *signed])


def angle_dms(angle_deg: float) -> str:
    """Return an angle in degrees, minutes and seconds.

    Parameters
    ----------
    angle_deg : float
        In decimal degrees.
    """
    return dms(angle_deg * ARCSEC_PER_DEG)


def missed_words(incline: Incline) -> str:
    """Return how far the angle reached is from the one asked.

    Parameters
    ----------
    incline : Incline
        One slope of a body.
    """
    missed = incline.missed_arcsec
    if abs(missed) < 0.05:
        return "as asked"
    return f'{abs(missed):.1f}" {"more" if missed > 0 else "less"} than asked'


def unsure_words(incline: Incline) -> str:
    """Return how far the angle may be off besides, and by what.

    Parameters
    ----------
    incline : Incline
        One slope of a body.
    """
    if incline.gauges_arcsec:
        return f'±{incline.unsure_arcsec:.1f}" as the gauges are made'
    if incline.stack is None:
        return f'±{incline.unsure_arcsec:.1f}" as the block is made'
    return (
        f'±{incline.unsure_arcsec:.1f}" (blocks {incline.by_stack_arcsec:.1f}", distance of the rolls '
        f'{incline.by_distance_arcsec:.1f}", flatness {incline.by_flatness_arcsec:.1f}")'
    )


def rolls_words(count: int, roll_mm: float, to: str | None, write: Writing, *, between: bool) -> str:
    """Return over or between which rolls a size is measured.

    Parameters
    ----------
    count : int
        How many rolls, 1 or 2.
    roll_mm : float
        Diameter.
    to : str or None
        The face that one roll is measured from.
    write : Writing
    between : bool
        Whether it is read between the rolls.

    Returns
    -------
    str
    """
    roll = write.length(roll_mm, "g")
    if count == 1:
        return f"from {to} over a roll of {roll}"
    return f"{'between' if between else 'over'} two rolls of {roll}"


LEVEL_DEG = 1e-4
"""An angle that is no larger need not be set: a third of a second of arc."""


def levelled_words(who: str, inclines: Sequence[Incline], needed_deg: tuple[float, float]) -> str:
    """Return how a slope is set for a face on it to come level.

    Parameters
    ----------
    who : str
        The equipment.
    inclines : sequence of Incline
        Its slopes, the lowest first.
    needed_deg : tuple of float
        Angle of the lower hinge and of the upper one.

    Returns
    -------
    str
    """
    lower, upper = (0.0 if abs(a) < LEVEL_DEG else a for a in needed_deg)
    turned = ""
    if lower < 0.0:
        # Half a turn on the plate takes both angles to the other side.
        lower, upper, turned = -lower, -upper, " and turn the part end for end on it"
    if len(inclines) == 1 and upper:
        way = "+" if upper > 0 else "-"
        return (
            f"No angle of {who} alone brings it level: take a compound sine plate, the lower plate at "
            f"{lower:.4f}° and the upper one at {abs(upper):.4f}° toward {way}X{turned}."
        )
    if inclines[-1].stack is None and not inclines[-1].gauges_arcsec:
        return f"Take a block of {lower:.4f}° in place of {who}{turned}."
    if len(inclines) == 1:
        return f"Set {who} at {lower:.4f}°{turned}."
    other = ", which rises the other way" if upper < 0 else ""
    return f"Set {who} at {lower:.4f}°, its upper plate at {abs(upper):.4f}°{other}{turned}."


_TOWARD = {"down": "down", "up": "up", "in": "in (toward the column)", "out": "out (away from the column)"}


def reading_words(reading: DialReading, write: Writing) -> str:
    """Return a reading: which feed, which way, turns and lines, and what the dial then shows.

    Parameters
    ----------
    reading : DialReading
        Without lines of a dial, the distance from the zero is told.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    way = f"{reading.feed} {_TOWARD.get(reading.toward, reading.toward)}"
    if reading.lines is None or reading.shows_mm is None:
        return f"{way} {write.length(reading.distance_mm)} from its zero"
    shows = f"{_ON[reading.turns is None]} {shown_on(reading)}"
    if reading.lines == 0 and not reading.turns:
        return f"{reading.feed} at its zero"
    return f"{way} {_count(reading)} ({shows})"


_ON = {False: "the dial stands at", True: "the read-out shows"}


def shown_on(reading: DialReading) -> str:
    """Return what the dial or read-out shows, in what it is graduated in; a dash where there is none.

    Parameters
    ----------
    reading : DialReading
        What is read, and in what it is graduated.
    """
    if reading.shows_mm is None or reading.graduation_mm is None:
        return "\u2013"
    unit_mm, unit = (25.4, "in") if reading.inch else (1.0, "mm")
    decimals = max(_decimals(reading.graduation_mm / unit_mm), 0)
    return f"{reading.shows_mm / unit_mm + 0.0:.{decimals}f} {unit}"


def _decimals(step: float) -> int:
    """Return how many decimals a step needs; at most 6."""
    return next((n for n in range(7) if abs(round(step, n) - step) < 1e-9), 6)


def _count(reading: DialReading) -> str:
    if reading.turns is None:
        return plural(reading.lines or 0, "digit")
    lines = plural(reading.lines or 0, "line")
    if not reading.turns:
        return lines
    turns = plural(reading.turns, "turn")
    return f"{turns} {lines}" if reading.lines else turns


def turns_words(reading: DialReading, write: Writing) -> str:
    """Return turns and lines from the zero, or the distance where there is no dial.

    Parameters
    ----------
    reading : DialReading
        Without lines of a dial, the distance from the zero is told.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    return write.length(reading.distance_mm) if reading.lines is None else _count(reading)


_MOVES = {
    MoveKind.RAISE: "raise the wheel {far} over everything",
    MoveKind.LOWER_BESIDE: "beside {face}, lower the wheel until its side reaches {far} down the flank",
    MoveKind.TOUCH_SIDE: "feed across until the wheel's side just touches {face}",
    MoveKind.ZERO_CROSS: "set the cross feed to zero",
    MoveKind.LIFT: "lift straight up, {far} over everything",
    MoveKind.OVER: "go over {face}",
    MoveKind.TOUCH_TOP: "come down until the wheel just touches {face}",
    MoveKind.ZERO_DOWN: "set the downfeed to zero",
    MoveKind.TO_START: "lift, and run the table to the end of its stroke",
    MoveKind.FEED_DOWN: "feed down to the reading in {passes}",
    MoveKind.FEED_WALL: "at full depth, feed to the wall in {passes}",
    MoveKind.SPARK_OUT: "spark out in {passes} without feed",
}


def move_words(move: DialMove, write: Writing) -> str:
    """Return one step as it is done, without its reading.

    Parameters
    ----------
    move : DialMove
        One step, in its order.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    far = "" if move.distance_mm is None else write.length(move.distance_mm, ".3g")
    passes = "1 pass" if move.passes == 1 else f"{move.passes} passes"
    text = _MOVES[move.kind].format(far=far, face=move.face, passes=passes)
    if move.kind is MoveKind.TO_START and move.reading is not None:
        text += "; cross feed to its reading"
    return first_up(text)


def time_words(time_min: float) -> str:
    """Return a time in minutes, or in hours and minutes from two hours on.

    Parameters
    ----------
    time_min : float
    """
    if time_min < 120.0:
        return f"{time_min:.1f} min"
    return f"{int(time_min // 60)} h {round(time_min % 60)} min"


def temperature_words(temperature_c: float) -> str:
    """Return a temperature in both scales, as furnaces are set in either.

    Parameters
    ----------
    temperature_c : float
        Told in whole degrees.
    """
    return f"{temperature_c:.0f} °C ({temperature_c * 1.8 + 32.0:.0f} °F)"


def hrc_words(ends: Sequence[float]) -> str:
    """Return a hardness or a range of it.

    Parameters
    ----------
    ends : sequence of float
        One number, or both ends of a range, HRC, in any order.
    """
    low, high = min(ends), max(ends)
    return f"{low:.3g} HRC" if low == high else f"{low:.3g} to {high:.3g} HRC"


def change_words(change: SizeChange, write: Writing) -> str:
    """Return by how much a size changes: `changes by +10 (from +5 to +15) µm`.

    Parameters
    ----------
    change : SizeChange
        Its usual change and the ends of it are told.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    usual, low, high = (
        write.number(v * 1e3, "um", "+.3g") for v in (change.usual_mm, change.low_mm, change.high_mm)
    )
    return f"changes by {usual} (from {low} to {high}) {write.name('um')}"


def size_words(change: SizeChange, write: Writing) -> str:
    """Return a size with what it is measured between.

    Parameters
    ----------
    change : SizeChange
        Its size, and the two faces, or the axis, that it lies between.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    length = write.length(change.size_mm)
    named = {DIAMETER: "The diameter of", ITS_AXIS: "The radius of", FAR_SIDE: "The part across"}
    if change.to in named:
        return f"{named[change.to]} {change.face}, {length},"
    return f"The size from {change.to} to {change.face}, {length},"


def tempered_words(steel: SteelTempered) -> str:
    """Return how a steel comes out of its temper.

    Parameters
    ----------
    steel : SteelTempered
        The steel, its temper and what that gives.
    """
    at = "as quenched" if steel.temper_c is None else f"tempered at {temperature_words(steel.temper_c)}"
    hard = (
        f" comes out at {hrc_words(steel.hardness_hrc)}" if steel.hardness_hrc else " has no known hardness"
    )
    tough = "" if steel.energy_j is None else f", with an impact energy of {steel.energy_j:.0f} J"
    return f"{steel.steel} {at}{hard}{tough}"


def spot_words(spot: HardnessSpot, write: Writing) -> str:
    """Return where a part may be tested, or what the best place lacks.

    Parameters
    ----------
    spot : HardnessSpot
        The best place on a part; without a face where there is none.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
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
