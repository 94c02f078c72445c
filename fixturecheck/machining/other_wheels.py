"""What wheel or way of cutting would make the cut: a change is tried by grinding again before it is named."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from fixturecheck.errors import FixturecheckError, NotComputedError
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.thickness import thinner_mm
from fixturecheck.machining.as_ground import grind, wheel_side_mm
from fixturecheck.machining.clearance import Approach, approaches, gouge_depth_mm, too_near
from fixturecheck.machining.cut import GroundCut, PartGround, targets_of
from fixturecheck.machining.wheel_path import rim_of
from fixturecheck.setup.model import Cut, Setup
from fixturecheck.shop.speed import least_flange_mm, rpm_for, speed_limit, speed_m_s
from fixturecheck.shop.wheels import Wheel

_SAME_MM = 1e-6
_UP_MM = 0.1
"""Wheel thicknesses are named in steps of this."""


def whole_floor(setup: Setup, ground: GroundCut) -> str | None:
    """Return the changes that would take the stock the wheel passed by; None when none was found."""
    cut = ground.cut
    rim, parts = rim_of(setup), targets_of(setup, cut)
    wide_mm = max(p.floor.box[4] for p in parts) - min(p.floor.box[1] for p in parts)
    lack_mm = wide_mm - rim.flat_mm
    ways = []
    if cut.way == "plunge" and cut.cross_feed_mm > 0:
        traverse = replace(cut, way="traverse")
        if _made(setup, traverse, ground):
            ways.append("traverse instead of plunging")
    if lack_mm > 0 and not setup.wheel.dressed_profile_mm:
        thick_mm = math.ceil((setup.wheel.thickness_mm + lack_mm) / _UP_MM - 1e-9) * _UP_MM
        wider = replace(setup, wheel=replace(setup.wheel, thickness_mm=thick_mm))
        if _made(wider, cut, ground):
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
    if not _made(thinner, cut.cut, cut, floor_too=False):
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


def _made(setup: Setup, cut: Cut, was: GroundCut, *, floor_too: bool = True) -> bool:
    """Say whether a changed cut leaves the wheel's corner only, gouges nothing and meets nothing new."""
    try:
        again = grind(setup, cut)
    except FixturecheckError:
        # As above: a change that cannot be worked out is not offered.
        return False
    limit_mm = setup.tolerances.touch_mm
    if floor_too and any(thinner_mm(p.missed) > limit_mm for p in again.parts):
        return False
    if any(gouge_depth_mm(p, limit_mm) > limit_mm for p in again.parts):
        return False
    placed = _placed(setup)
    return _nearer(_close(setup, again, placed), _close(setup, was, placed)) == set()


def larger_wheel(setup: Setup, cut: GroundCut, depth_mm: float, body: str) -> str | None:
    """Return the flange or the wheel that lets the wheel down beside a body; None when neither would do.

    Parameters
    ----------
    depth_mm : float
        How far the body stands above the floor under the flanges.
    body : str
        The body, which must then be clear.

    Notes
    -----
    A wheel of diameter D with flanges F reaches (D - F) / 2, from which the least clearance is kept. Either
    change is ground again and held against everything that stands there; flanges stay at least as large as
    they must be for the wheel, and a wheel that would turn too fast is named with its speed.
    """
    write, least_mm = setup.write, setup.machine.least_clearance_mm
    wheel, flange = setup.wheel, setup.machine.flange
    need_mm = 2 * (depth_mm + least_mm)
    small_mm = math.floor((wheel.diameter_mm - need_mm) / _UP_MM + _SAME_MM) * _UP_MM
    large_mm = math.ceil((flange.diameter_mm + need_mm) / _UP_MM - _SAME_MM) * _UP_MM
    ways = []
    if small_mm >= least_flange_mm(wheel):
        machine = replace(setup.machine, flange=replace(flange, diameter_mm=small_mm))
        if _lets_down(replace(setup, machine=machine), cut, setup, body):
            ways.append(f"flanges of at most {write.length(small_mm, '.1f', 'down')}")
    larger = replace(wheel, diameter_mm=large_mm)
    if flange.diameter_mm >= least_flange_mm(larger) and _lets_down(
        replace(setup, wheel=larger), cut, setup, body
    ):
        ways.append(
            f"a wheel of at least {write.length(large_mm, '.1f', 'up')}{_slower(setup, cut.cut, larger)}"
        )
    if not ways:
        return None
    return f"Use {', or '.join(ways)}: ground again, {write.length(least_mm, 'g')} clear."


def _slower(setup: Setup, cut: Cut, wheel: Wheel) -> str:
    """Return what must be said of a wheel's speed where it would turn faster than it may."""
    rpm = cut.rpm if cut.rpm is not None else setup.machine.rpm
    try:
        limit = speed_limit(wheel).speed_m_s
    except NotComputedError:
        return " at the speed that is marked on it"
    if speed_m_s(wheel.diameter_mm, rpm) <= limit:
        return ""
    return f" at no more than {int(rpm_for(limit, diameter_mm=wheel.diameter_mm))} rpm"


def _lets_down(changed: Setup, was: GroundCut, setup: Setup, body: str) -> bool:
    """Tell whether a changed wheel or flange clears a body, and meets nothing that was clear."""
    try:
        again = grind(changed, was.cut)
        placed = _placed(setup)
        close = _close(changed, again, placed)
        return ("flange", body) not in close and not _nearer(close, _close(setup, was, placed))
    except FixturecheckError:
        # What cannot be worked out is not offered.
        return False


def _placed(setup: Setup) -> dict[str, Solid]:
    return {b.name: placed_at(b.solid, b.at) for b in setup.bodies}


def _close(setup: Setup, cut: GroundCut, placed: Mapping[str, Solid]) -> dict[tuple[str, str], float]:
    """Return how far what moves with the wheel stays off each body that it comes too near."""
    least_mm = setup.machine.least_clearance_mm
    found = approaches(cut, placed, least_mm)
    return {(a.mover, a.body): _room_mm(a) for a in found if too_near(a.apart.distance_mm, least_mm)}


def _room_mm(a: Approach) -> float:
    """Return a clearance, or how much is shared as a negative number."""
    return a.apart.distance_mm if a.apart.common is None else -a.apart.common_mm3


def _nearer(
    now: Mapping[tuple[str, str], float], before: Mapping[tuple[str, str], float]
) -> set[tuple[str, str]]:
    """Return what comes nearer than it did."""
    return {pair for pair, room in now.items() if room < before.get(pair, math.inf) - _SAME_MM}


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
