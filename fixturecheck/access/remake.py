"""What wheel or way of cutting would make the cut: a change is tried by grinding again before it is named."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from fixturecheck.access.corner import wheel_side_mm
from fixturecheck.access.ground import grind
from fixturecheck.access.model import GroundCut, PartGround
from fixturecheck.access.targets import targets_of
from fixturecheck.access.wheel import rim_of
from fixturecheck.errors import FixturecheckError
from fixturecheck.kernel.regions import thinner_mm
from fixturecheck.kernel.shapes import box_of
from fixturecheck.setup.model import Cut, Setup

_SAME_MM = 1e-9
_UP_MM = 0.1
"""Wheel thicknesses are named in steps of this."""


def whole_floor(setup: Setup, cut: Cut) -> str | None:
    """Return the changes that would take the stock the wheel passed by; None when none was found."""
    rim, parts = rim_of(setup), targets_of(setup, cut)
    wide_mm = max(p.floor.box[4] for p in parts) - min(p.floor.box[1] for p in parts)
    lack_mm = wide_mm - rim.flat_mm
    ways = []
    if cut.way == "plunge" and cut.cross_feed_mm > 0:
        traverse = replace(cut, way="traverse")
        if _made(setup, traverse):
            ways.append("traverse instead of plunging")
    if lack_mm > 0 and not setup.wheel.dressed_profile_mm:
        thick_mm = math.ceil((setup.wheel.thickness_mm + lack_mm) / _UP_MM - 1e-9) * _UP_MM
        wider = replace(setup, wheel=replace(setup.wheel, thickness_mm=thick_mm))
        if _made(wider, cut):
            ways.append(f"use a wheel at least {setup.write.length(thick_mm, '.1f', 'up')} thick")
    return _sentence(ways)


def no_gouge(setup: Setup, cut: GroundCut, part: PartGround) -> str | None:
    """Return the thinner wheel that would not gouge; None when that is not the way out."""
    path = cut.path
    if part.dug is None or path.wall_sign == 0 or setup.wheel.dressed_profile_mm or cut.cut.way == "traverse":
        return None
    box, side_mm = box_of(part.dug), wheel_side_mm(rim_of(setup), path)
    room_mm = side_mm - box[4] if path.wall_sign > 0 else box[1] - side_mm
    thick_mm = math.floor(room_mm / _UP_MM + 1e-6) * _UP_MM
    if thick_mm <= 2 * setup.wheel.corner_radius_mm:
        return None
    thinner = replace(setup, wheel=replace(setup.wheel, thickness_mm=thick_mm))
    if not _made(thinner, cut.cut, floor_too=False):
        return None
    thick = setup.write.length(thick_mm, ".1f", "down")
    return f"Use a wheel at most {thick} thick: ground again, it takes nothing it should not."


def dressed_to(setup: Setup, cut: Cut, radius_mm: float) -> str | None:
    """Return the corner radius to dress when it would make the drawn corner; None when it would not."""
    if setup.wheel.dressed_profile_mm:
        return None
    try:
        again = grind(replace(setup, wheel=replace(setup.wheel, corner_radius_mm=radius_mm)), cut)
    except FixturecheckError:
        # A wheel that cannot be dressed or ground so is simply no remedy.
        return None
    corners = [p.corner.radius_mm for p in again.parts if p.corner is not None]
    if not corners or max(corners) > radius_mm + 1e-6:
        return None
    return f"Dress the wheel's corner to {setup.write.length(radius_mm, '.3g', 'down')} or less."


def _made(setup: Setup, cut: Cut, *, floor_too: bool = True) -> bool:
    """Say whether a changed cut leaves nothing but the wheel's corner and gouges nothing."""
    try:
        again = grind(setup, cut)
    except FixturecheckError:
        # As above: a change that cannot be worked out is not offered.
        return False
    limit_mm = setup.tolerances.touch_mm
    bad = [p.dug for p in again.parts] + ([p.missed for p in again.parts] if floor_too else [])
    return all(thinner_mm(shape) <= limit_mm for shape in bad)


def _sentence(ways: list[str]) -> str | None:
    if not ways:
        return None
    text = ", or ".join(ways)
    return f"{text[0].upper()}{text[1:]}: ground again, that makes the whole of it."


def ridges_mm(setup: Setup, cut: GroundCut) -> Iterator[float]:
    """Yield the height of the ridges between passes of a traverse whose step is wider than the wheel's flat.

    Two passes a step s apart leave between their round corners of radius r, with a flat f, a ridge of
    r - sqrt(r^2 - ((s - f) / 2)^2), or the whole stock where the corners do not meet.

    References
    ----------
    Height of a segment of a circle, closed form.
    """
    if cut.path.y_to_mm - cut.path.y_from_mm <= 0:
        return
    rim, radius_mm = rim_of(setup), setup.wheel.corner_radius_mm
    half_mm = (cut.cut.cross_feed_mm - rim.flat_mm) / 2
    if half_mm <= _SAME_MM:
        return
    if half_mm >= radius_mm:
        yield cut.cut.stock_mm
        return
    yield min(radius_mm - math.sqrt(radius_mm**2 - half_mm**2), cut.cut.stock_mm)
