"""Where the wheel goes in a cut: the height of its last pass, its traverse and its cross feed."""

from __future__ import annotations

import math

from fixturecheck.access.model import WheelPath
from fixturecheck.access.targets import PartTargets
from fixturecheck.access.wheel import Rim
from fixturecheck.errors import SetupError
from fixturecheck.setup.model import Cut

_WHOLE_STEP = 1e-9
"""A feed that is a whole number of steps but for this share takes no further step."""


def run_out_mm(diameter_mm: float, depth_mm: float) -> float:
    """Return how far past an edge the spindle stands when a wheel that deep has just left it.

    Half the chord that the depth cuts off the wheel: sqrt(a (D - a)).

    References
    ----------
    Chord of a circle, closed form; a wheel of 200 mm at 5 mm depth needs 31.225 mm.
    """
    if not 0 <= depth_mm <= diameter_mm / 2:
        message = f"a depth of {depth_mm:g} mm is not between 0 and half of a {diameter_mm:g} mm wheel"
        raise SetupError(message)
    return math.sqrt(depth_mm * (diameter_mm - depth_mm))


def wheel_path(cut: Cut, rim: Rim, parts: list[PartTargets]) -> WheelPath:
    """Return the path of the last pass from the parts as they stand.

    Height and wall are those of the first part named, at the centres of its faces: that is where the dials
    are set. Other parts that stand differently, and faces that are tilted, keep their error; `align` reports
    it and the part as ground shows it. The traverse covers the floors of all parts and runs out at both
    ends until the wheel has left the stock on the floor, then the overtravel. With a wall the wheel's side
    stops at the wall; a traverse feeds away from it by whole steps until the flat of the wheel has passed
    the far edge. Without a wall the wheel is centred over the floor, or beside by the stated shift.

    Raises
    ------
    SetupError
        The walls of a gang lie on opposite sides, or the way of cutting is not known.
    """
    first = parts[0]
    x0 = min(p.floor.box[0] for p in parts)
    x1 = max(p.floor.box[3] for p in parts)
    out_mm = run_out_mm(2 * rim.radius_mm, cut.stock_mm) + cut.overtravel_mm
    sign = _wall_sign(cut, parts)
    y_from, y_to = _cross_feed(cut, rim, parts, sign)
    return WheelPath(
        floor_z_mm=first.floor.centre[2],
        x_from_mm=x0 - out_mm,
        x_to_mm=x1 + out_mm,
        y_from_mm=y_from,
        y_to_mm=y_to,
        wall_sign=sign,
    )


def _wall_sign(cut: Cut, parts: list[PartTargets]) -> int:
    """Return on which side of the wheel the walls lie."""
    signs = {(-1 if p.wall.normal[1] > 0 else 1) if p.wall else 0 for p in parts}
    if len(signs) > 1:
        message = (
            f"cut {cut.name}: the walls {cut.wall!r} of its parts look both ways along Y; "
            "grind them in two cuts, or turn parts round"
        )
        raise SetupError(message)
    return signs.pop()


def _cross_feed(cut: Cut, rim: Rim, parts: list[PartTargets], sign: int) -> tuple[float, float]:
    """Return both ends of the front face's travel along Y."""
    if cut.way not in {"plunge", "traverse"}:
        message = f"cut {cut.name}: way {cut.way!r} is not known; use plunge or traverse"
        raise SetupError(message)
    edge0 = min(p.floor.box[1] for p in parts)
    edge1 = max(p.floor.box[4] for p in parts)
    wall = parts[0].wall
    if wall is None:
        centred = (edge0 + edge1) / 2 - (rim.flat_from_mm + rim.flat_to_mm) / 2 + cut.feed_shift_mm
        feed = _whole_steps(cut, edge1 - edge0 - rim.flat_mm) if cut.way == "traverse" else 0.0
        return centred - feed / 2, centred + feed / 2
    at_wall = wall.centre[1] - (rim.thickness_mm if sign > 0 else 0.0)
    if cut.way == "plunge":
        return at_wall, at_wall
    if sign > 0:
        feed = _whole_steps(cut, at_wall + rim.flat_from_mm - edge0)
        return at_wall - feed, at_wall
    feed = _whole_steps(cut, edge1 - at_wall - rim.flat_to_mm)
    return at_wall, at_wall + feed


def _whole_steps(cut: Cut, needed_mm: float) -> float:
    """Return the least whole number of cross-feed steps that covers what is needed."""
    if needed_mm <= 0:
        return 0.0
    if cut.cross_feed_mm <= 0:
        message = f"cut {cut.name}: a traverse needs a cross feed above zero, got {cut.cross_feed_mm:g} mm"
        raise SetupError(message)
    return math.ceil(needed_mm / cut.cross_feed_mm - _WHOLE_STEP) * cut.cross_feed_mm
