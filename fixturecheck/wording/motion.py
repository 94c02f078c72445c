"""How the motion of a body is written, and how a part lets go.

Words follow the surface grinder: X is the traverse of the table (right is +X), Y the cross feed (the column
is at +Y), Z is up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from fixturecheck.arrays import Floats
from fixturecheck.result.hold import BodyMotion, LetsGo, MotionKind
from fixturecheck.result.rest import Freedom, FreedomKind
from fixturecheck.result.shapes import Vector
from fixturecheck.units import METRIC, Writing, angle_text, axis_text, factor_text

_AXES = "XYZ"
_LEFT_OUT_SHARE = 0.33
_NIL_MM = 0.05
_SAME_WAY = 1.0 - 1e-9
_WAYS = (("to the left", "to the right"), ("toward the operator", "toward the column"), ("down", "up"))


def motion_words(motion: BodyMotion, write: Writing = METRIC) -> str:
    """Return how one body moves: `part slides to the right`."""
    if motion.axis is None or motion.axis_mm is None:
        straight = motion.kind in {MotionKind.LIFTS, MotionKind.DROPS}
        return f"{motion.body} {motion.kind}{'' if straight else ' ' + direction_words(motion.velocity)}"
    way = _turning_words(motion.axis, upright=motion.kind.upright)
    return f"{motion.body} {motion.kind} {way}{_place(motion.axis_mm, motion.axis, write)}"


def direction_words(direction: Vector) -> str:
    """Return a direction in words, such as `to the right and up`; parts under a third are left out.

    Parameters
    ----------
    direction : Vector
        In the machine's frame, of any length.

    Returns
    -------
    str
        Empty for no direction.
    """
    size = math.hypot(*direction)
    parts = [part / size if size > 0.0 else 0.0 for part in direction]
    said = [
        pair[int(part > 0.0)] for pair, part in zip(_WAYS, parts, strict=True) if abs(part) > _LEFT_OUT_SHARE
    ]
    return " and ".join(said)


def toward(direction: Sequence[float] | Floats) -> str:
    """Return a direction in words: `toward -X` along an axis, else with its three parts."""
    size = math.hypot(*direction)
    way = [float(part) / size for part in direction]
    k = max(range(3), key=lambda i: abs(way[i]))
    if abs(way[k]) > _SAME_WAY:
        return f"toward {'+' if way[k] > 0 else '-'}{_AXES[k]}"
    return f"along ({', '.join(f'{round(v, 3) + 0.0:.3g}' for v in way)})"


def freedom_words(freedom: Freedom, write: Writing = METRIC) -> str:
    """Return what a body is still free to do, without its name: `slides along Y as far as +1.5 mm`."""
    slides = freedom.kind is FreedomKind.SLIDES
    words = f"{freedom.kind} {'along' if slides else 'about'} {axis_text(freedom.axis)}"
    if not slides:
        words += f" through {through_text(freedom.point_mm, write)}"
    ends = [v for v in (freedom.low, freedom.high) if math.isfinite(v)]
    if not ends:
        return words
    if not slides:
        return f"{words} as far as {' and '.join(angle_text(v, '+.3g') for v in ends)}"
    stops = " and ".join(write.number(v, "mm", "+.3g") for v in ends)
    return f"{words} as far as {stops} {write.name('mm')}"


def through_text(point_mm: Vector, write: Writing = METRIC) -> str:
    """Return a point in brackets, to a hundredth of a millimetre."""
    return f"({', '.join(write.number(v, 'mm', '.2f') for v in point_mm)})"


def lets_go_words(failure: LetsGo, write: Writing = METRIC) -> str:
    """Return how a part lets go and at what factor."""
    if not failure.rests or failure.at_least:
        return how_words(failure, write)
    return f"lets go at {factor_text(failure.factor)} times the cutting load: {how_words(failure, write)}"


def hold_words(part: str, failure: LetsGo, least_factor: float, write: Writing = METRIC) -> str:
    """Return whether a part holds the factor that is required, and how it goes beyond that, as sentences."""
    if not failure.rests:
        return f"{part} {how_words(failure, write)}."
    required = f"({factor_text(least_factor)} required)"
    if failure.at_least:
        return f"{part} {how_words(failure, write)} {required}."
    if failure.factor < least_factor:
        at = factor_text(failure.factor)
        return f"{part} lets go at {at} times the cutting load {required}: {how_words(failure, write)}."
    held = f"{part} holds {factor_text(failure.factor)} times the cutting load {required}."
    return f"{held} Beyond that {how_words(failure, write)}."


def how_words(failure: LetsGo, write: Writing = METRIC) -> str:
    """Return how a part lets go, without the factor at which it does."""
    if not failure.rests:
        first = motion_words(failure.motions[0], write) if failure.motions else "nothing holds the parts"
        return f"does not stay put before the cut begins: {first}"
    if failure.at_least:
        return f"holds at least {failure.factor:.0f} times the cutting load"
    more = len(failure.motions) - 1
    along = f", and {more} more with it" if more > 0 else ""
    what = f"{motion_words(failure.motions[0], write)}{along}" if failure.motions else "no motion was found"
    odd = "; beyond it no equilibrium was found, so the factor may be higher"
    return f"{what}{odd if failure.broke_off else ''}"


def _turning_words(axis: Vector, *, upright: bool) -> str:
    """Say which way a turning body goes; one that tips goes the way its top leans against its foot."""
    if upright:
        return "counter-clockwise seen from above" if axis[2] > 0.0 else "clockwise seen from above"
    # The axis crossed with +Z.
    return direction_words((axis[1], -axis[0], 0.0))


def _place(foot: Vector, axis: Vector, write: Writing) -> str:
    """Say where the axis lies: the two coordinates it does not run along."""
    along = max(range(3), key=lambda i: abs(axis[i]))
    # What rounds to nothing has no sign.
    near = [0.0 if abs(x) < _NIL_MM else x for x in foot]
    kept = [f"{_AXES[i]} {write.number(near[i], 'mm', '.1f')}" for i in range(3) if i != along]
    kind = "about an axis" if along == 2 else "over a line"
    return f", {kind} along {_AXES[along]} at {', '.join(kept)} {write.name('mm')}"
