"""Refuses points, axes and turns that are none; needs no kernel."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from fixturecheck.allowed import Allowed, shortened
from fixturecheck.errors import SetupError
from fixturecheck.result import Vector
from fixturecheck.setup.entries import MOST_TURNS, PLACE_MM, TURN_DEG

Turn = tuple[str | Sequence[float], float]
"""An axis, `x`, `y`, `z` or a vector, and an angle in degrees, right-handed."""

AXES: Mapping[str, Vector] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}


def point(values: object, what: str, rule: Allowed = PLACE_MM) -> Vector:
    """Return three finite numbers in their range, or say what is wrong with them.

    Parameters
    ----------
    values : object
        What was stated.
    what : str
        What it is called in the message.

    Raises
    ------
    SetupError
        There are not three, one is not finite, or one is out of range.
    """
    numbers = list(values) if isinstance(values, Sequence) and not isinstance(values, str) else []
    if len(numbers) != 3 or not all(map(_is_number, numbers)):
        message = f"{what} must be three finite numbers; got {shortened(values)}"
        raise SetupError(message)
    for number in numbers:
        flaw = rule.flaw_of(number)
        if flaw:
            message = f"{what}: {flaw}"
            raise SetupError(message)
    return float(numbers[0]), float(numbers[1]), float(numbers[2])


def turns(values: object) -> tuple[tuple[Vector, float], ...]:
    """Return turns as axis and angle in degrees, in their order.

    Raises
    ------
    SetupError
        There are too many, an axis is unknown or has no length, or an angle is none.
    """
    if not isinstance(values, list | tuple):
        message = "rotate must be a list of turns, like [['z', 90]]"
        raise SetupError(message)
    if len(values) > MOST_TURNS:
        message = f"rotate holds {len(values)} turns; state at most {MOST_TURNS}"
        raise SetupError(message)
    return tuple(_turn(turn) for turn in values)


def _turn(turn: object) -> tuple[Vector, float]:
    """Return the axis and the angle of one stated turn."""
    if not isinstance(turn, list | tuple) or len(turn) != 2:
        message = f"a turn is an axis and an angle in degrees, like ('z', 90); got {shortened(turn)}"
        raise SetupError(message)
    axis, angle_deg = turn
    if isinstance(axis, str):
        if axis.lower() not in AXES:
            message = f"axis {shortened(axis)} is unknown; use x, y, z or a vector"
            raise SetupError(message)
        direction = AXES[axis.lower()]
    else:
        direction = point(axis, "an axis")
    if math.hypot(*direction) == 0.0:
        message = "an axis of rotation must have a length; got (0, 0, 0)"
        raise SetupError(message)
    if not _is_number(angle_deg):
        message = f"an angle must be a finite number of degrees; got {shortened(angle_deg)}"
        raise SetupError(message)
    flaw = TURN_DEG.flaw_of(angle_deg)
    if flaw:
        message = f"an angle: {flaw}"
        raise SetupError(message)
    return direction, float(angle_deg)


def _is_number(value: object) -> bool:
    """Say whether a value is a finite number, however large; True and False are none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return isinstance(value, int) or math.isfinite(value)
