"""A slope that equipment makes: by which stack or gauges, the angle reached, and how far that may be off."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fixturecheck.angles.gauge_blocks import (
    Stack,
    angle_set,
    angle_stack,
    gauge_set,
    stack_error_um,
    stack_of,
)
from fixturecheck.errors import NotComputedError

ARCSEC_PER_DEG = 3600.0
UM_PER_MM = 1000.0


def sine_height_mm(roll_distance_mm: float, angle_deg: float) -> float:
    """Return the stack that a sine bar needs for an angle, mm.

    Parameters
    ----------
    roll_distance_mm : float
        Between the middles of its rolls.
    angle_deg : float

    Returns
    -------
    float

    Notes
    -----
    Closed form: h = L sin(a), both rolls being of one size.
    """
    return roll_distance_mm * math.sin(math.radians(angle_deg))


def sine_angle_deg(roll_distance_mm: float, height_mm: float) -> float:
    """Return the angle that a stack gives, degrees.

    Parameters
    ----------
    roll_distance_mm, height_mm : float
        The stack is not higher than the rolls are apart.

    Returns
    -------
    float

    Notes
    -----
    Closed form: a = asin(h / L).
    """
    return math.degrees(math.asin(height_mm / roll_distance_mm))


def angle_error_arcsec(
    roll_distance_mm: float, angle_deg: float, *, height_um: float, distance_um: float, flatness_um: float
) -> tuple[float, float, float]:
    """Return how far the angle may be off by stack, roll distance and flatness, each in seconds of arc.

    Parameters
    ----------
    roll_distance_mm, angle_deg : float
    height_um : float
        How far the stack may be off.
    distance_um : float
        How far the distance of the rolls may be off.
    flatness_um : float
        How far the plate is out of parallel with its rolls, and what it stands on out of flat, over that
        distance.

    Returns
    -------
    tuple of float
        From the stack, from the distance of the rolls, from flatness.

    Notes
    -----
    Closed form, first order of a = asin(h / L): da = dh / (L cos a), dL tan a / L, and f / L.
    """
    angle = math.radians(angle_deg)
    shares = (height_um / math.cos(angle), distance_um * math.tan(angle), flatness_um)
    by_stack, by_distance, by_flatness = (
        math.degrees(abs(s) / (roll_distance_mm * UM_PER_MM)) * ARCSEC_PER_DEG for s in shares
    )
    return by_stack, by_distance, by_flatness


def tilt_um(angle_arcsec: float, length_mm: float) -> float:
    """Return what a small error of an angle makes over a length, um.

    Parameters
    ----------
    angle_arcsec, length_mm : float

    Returns
    -------
    float

    Notes
    -----
    Closed form: the length times the angle in radians.
    """
    return math.radians(angle_arcsec / ARCSEC_PER_DEG) * length_mm * UM_PER_MM


def resultant_deg(first_deg: float, second_deg: float) -> float:
    """Return how far a plane leans that is tilted twice, about two axes square to each other, degrees.

    Parameters
    ----------
    first_deg, second_deg : float

    Returns
    -------
    float

    Notes
    -----
    Closed form: the normal's height is cos(A) cos(B).
    """
    return math.degrees(math.acos(math.cos(math.radians(first_deg)) * math.cos(math.radians(second_deg))))


def compound_settings_deg(normal: tuple[float, float, float]) -> tuple[float, float]:
    """Return the two tilts of a compound sine plate that bring a slanted face level, degrees.

    Parameters
    ----------
    normal : tuple of float
        The way the face looks while the plate lies flat, upward at least a little.

    Returns
    -------
    tuple of float
        Of the lower plate about X, and of the upper plate, hinged on it, about its own Y.

    Notes ----- Closed form: Ry(B) first takes n into the plane x = 0 of the lower plate, tan B = -nx / nz;
    Rx(A) then takes it upright, tan A = ny / sqrt(nx^2 + nz^2).
    """
    x, y, z = normal
    return math.degrees(math.atan2(y, math.hypot(x, z))), math.degrees(math.atan2(-x, z))


FAR_ARCSEC = 60.0
"""A stack that misses an angle by more than this was not meant: chosen here, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Incline:
    """A slope about the hinge of the equipment that makes it.

    Parameters
    ----------
    wanted_deg, reached_deg : float
        The angle asked, and that of the solids.
    stack : Stack or None
        The gauge blocks that make it, where gauge blocks do.
    blocks : str
        The set that they are from; empty where there is none.
    by_stack_arcsec, by_distance_arcsec, by_flatness_arcsec : float
        How far the angle may be off either way by the stack, the distance of the rolls, and flatness; of an
        angle block all of it counts as flatness.
    gauges_arcsec : tuple of int
        The angle gauges that make it, where they do, from below; negative is turned round.
    hinge : tuple of float
        Unit direction of the hinge where it stands, in the equipment's frame; the slope turns right-handed
        about it.
    """

    wanted_deg: float
    reached_deg: float
    stack: Stack | None = None
    blocks: str = ""
    by_stack_arcsec: float = 0.0
    by_distance_arcsec: float = 0.0
    by_flatness_arcsec: float = 0.0
    gauges_arcsec: tuple[int, ...] = ()
    hinge: tuple[float, float, float] = (1.0, 0.0, 0.0)

    @property
    def missed_arcsec(self) -> float:
        """By how much the angle reached is greater than the one asked."""
        return (self.reached_deg - self.wanted_deg) * ARCSEC_PER_DEG

    @property
    def unsure_arcsec(self) -> float:
        """How far the angle may be off besides, all at the same end."""
        return self.by_stack_arcsec + self.by_distance_arcsec + self.by_flatness_arcsec

    @property
    def most_arcsec(self) -> float:
        """How far it may be from the angle asked, all told."""
        return abs(self.missed_arcsec) + self.unsure_arcsec


@dataclass(frozen=True, slots=True, kw_only=True)
class SineBar:
    """What a sine bar or sine plate is made and set with.

    Parameters
    ----------
    roll_distance_mm : float
        Between the middles of its rolls.
    distance_um : float
        How far that distance may be off.
    flatness_um : float
        How far its face is out of parallel with the rolls, and its base out of flat, over that distance.
    blocks : str
        The set of gauge blocks.
    grade : str
        Their grade.
    wear : bool
        Whether a wear block goes on either end of the stack.
    """

    roll_distance_mm: float
    distance_um: float
    flatness_um: float
    blocks: str
    grade: str
    wear: bool


def sine_incline(bar: SineBar, angle_deg: float) -> Incline:
    """Return the slope that a sine bar makes with the stack nearest to an angle.

    Parameters
    ----------
    bar : SineBar
    angle_deg : float

    Returns
    -------
    Incline

    Raises
    ------
    NotComputedError
        No stack of the set comes within a minute of arc; the nearest is named, with its error.
    """
    length_mm = bar.roll_distance_mm
    wanted_mm = sine_height_mm(length_mm, angle_deg)
    stack = stack_of(gauge_set(bar.blocks), wanted_mm, wear=bar.wear)
    height_mm = stack.height_mm
    if height_mm >= length_mm:
        raise NotComputedError(
            f"a stack of {height_mm:.4f} mm is as high as the rolls are apart, {length_mm:g} mm"
        )
    reached_deg = sine_angle_deg(length_mm, height_mm)
    missed = (reached_deg - angle_deg) * ARCSEC_PER_DEG
    if abs(missed) > FAR_ARCSEC:
        raise NotComputedError(
            f"no stack of {bar.blocks}{' with wear blocks' if bar.wear else ''} makes {angle_deg:g} degrees "
            f"over {length_mm:g} mm, which is {wanted_mm:.4f} mm; the nearest, {height_mm:.4f} mm, makes "
            f"{reached_deg:.5f} degrees, off by {missed:+.0f} seconds of arc"
        )
    by_stack, by_distance, by_flatness = angle_error_arcsec(
        length_mm,
        reached_deg,
        height_um=stack_error_um(stack, bar.grade),
        distance_um=bar.distance_um,
        flatness_um=bar.flatness_um,
    )
    return Incline(
        wanted_deg=angle_deg,
        reached_deg=reached_deg,
        stack=stack,
        blocks=bar.blocks,
        by_stack_arcsec=by_stack,
        by_distance_arcsec=by_distance,
        by_flatness_arcsec=by_flatness,
    )


def angle_gauge_incline(blocks: str, angle_deg: float, error_arcsec: float) -> Incline:
    """Return the slope that the angle gauges of a set make, the fewest that come nearest.

    Parameters
    ----------
    blocks : str
        The set of angle gauges.
    angle_deg : float
    error_arcsec : float
        How far each of them may be off.

    Returns
    -------
    Incline

    Raises
    ------
    NotComputedError
        The angle is beyond the set, or none of it comes within a minute of arc.
    """
    stack = angle_stack(angle_set(blocks), angle_deg * ARCSEC_PER_DEG)
    reached_deg = stack.angle_arcsec / ARCSEC_PER_DEG
    missed = stack.angle_arcsec - angle_deg * ARCSEC_PER_DEG
    if abs(missed) > FAR_ARCSEC or not stack.blocks_arcsec:
        raise NotComputedError(
            f"no gauges of {blocks} make {angle_deg:g} degrees; the nearest make {reached_deg:.5f} degrees"
        )
    return Incline(
        wanted_deg=angle_deg,
        reached_deg=reached_deg,
        blocks=blocks,
        gauges_arcsec=stack.blocks_arcsec,
        by_stack_arcsec=error_arcsec * len(stack.blocks_arcsec),
    )
