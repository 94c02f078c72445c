"""How little must change for the wheel to pass a body: lower it, move it, or travel less far.

Every answer is found by solving for the clearance that is asked for and is tried on the changed solid before
it is returned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from fixturecheck.access.model import GroundCut, WheelPath
from fixturecheck.access.path import run_out_mm
from fixturecheck.access.sweeps import sweep_of
from fixturecheck.access.targets import targets_of
from fixturecheck.access.wheel import rim_of
from fixturecheck.kernel.regions import apart, box_gap_mm, clipped, loose_box, moved, split
from fixturecheck.kernel.shapes import Shape, Solid, box_of, compound
from fixturecheck.result import Vector
from fixturecheck.setup.model import Setup
from fixturecheck.units import METRIC, Writing

STEP_MM = 0.01
"""Answers are rounded to this, to the safe side."""
_TOUCH_MM3 = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Dodge:
    """One change that lets the wheel pass.

    Parameters
    ----------
    way : str
        `lower`, `move` or `travel`.
    by_mm : float
        How much lower, how far moved, or how much less overtravel.
    to_mm : float
        Height of the top that is left, or the overtravel that is left.
    direction : Vector
        Which way.
    says : str
        The change in words.
    """

    way: str
    by_mm: float
    to_mm: float
    direction: Vector
    says: str


def clears(shape: Shape, sweeps: Sequence[Shape], least_mm: float) -> bool:
    """Say whether a shape keeps the clearance from every swept volume; its solids are asked one by one."""
    for sweep in sweeps:
        for solid in shape.Solids():
            how = apart(sweep, solid, "a changed body and the sweep", within_mm=least_mm)
            if how is not None and (how.common is not None or how.distance_mm < least_mm - 1e-9):
                return False
    return True


def least_that(works: Callable[[float], bool], upper_mm: float, guess_mm: float = 0.0) -> float | None:
    """Return the least change, in steps of 0.01 mm, that works; None when not even the upper one does.

    Halves the range, so it takes for granted that more of the change never makes it worse; the answer is
    one that was tried, and one step less was tried and did not work. A good guess saves the halving.
    """
    low, high = 0, int(upper_mm / STEP_MM) + 1
    guess = math.ceil(guess_mm / STEP_MM - 1e-6)
    if low < guess < high and works(guess * STEP_MM):
        high = guess
        if guess > 1 and not works((guess - 1) * STEP_MM):
            return guess * STEP_MM
    elif not works(high * STEP_MM):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if works(middle * STEP_MM):
            high = middle
        else:
            low = middle
    return high * STEP_MM


def lowered(
    name: str, shape: Shape, sweeps: Sequence[Shape], least_mm: float, write: Writing = METRIC
) -> Dodge | None:
    """Return by how much a body must lose height at the top; the rest of it is the tallest that clears."""
    x0, y0, z0, x1, y1, z1 = box_of(shape)

    def below(by_mm: float) -> bool:
        rest = clipped(shape, (x0 - 1, y0 - 1, z0 - 1, x1 + 1, y1 + 1, z1 - by_mm), f"{name} made lower")
        return rest is not None and clears(rest, sweeps, least_mm)

    hits = [h.taken for s in sweeps if (h := split(shape, s, f"{name} by a sweep")).taken is not None]
    guess_mm = z1 - min((box_of(h)[2] for h in hits), default=z1) + least_mm
    by_mm = least_that(below, z1 - z0 - 2 * STEP_MM, guess_mm)
    if by_mm is None:
        return None
    height_mm = z1 - z0 - by_mm
    says = (
        f"make {name} {write.length(by_mm, '.2f', 'up')} lower (at most "
        f"{write.length(height_mm, '.2f', 'down')} tall here, "
        f"top at Z {write.number(z1 - by_mm, 'mm', '.2f', 'down')})"
    )
    return Dodge(way="lower", by_mm=by_mm, to_mm=z1 - by_mm, direction=(0.0, 0.0, -1.0), says=says)


def moved_aside(
    name: str, shape: Shape, sweeps: Sequence[Shape], others: Mapping[str, Shape], least_mm: float,
    write: Writing = METRIC,
) -> Dodge | None:  # fmt: skip
    """Return the shorter of the moves along Y that clear the wheel and run into no other body."""
    mine = box_of(shape)
    hits = [split(solid, s, f"{name} by a sweep").taken for solid in shape.Solids() for s in sweeps]
    found = []
    for sign in (1.0, -1.0):
        reach_mm = max(
            (s[4] - mine[1] if sign > 0 else mine[4] - s[1]) + least_mm for s in map(loose_box, sweeps)
        )

        def at(by_mm: float, sign: float = sign) -> bool:
            return clears(moved(shape, (0.0, sign * by_mm, 0.0)), sweeps, least_mm)

        near = [h for h in hits if h is not None]
        ends = [box_of(h)[4] - mine[1] if sign > 0 else mine[4] - box_of(h)[1] for h in near]
        by_mm = least_that(at, max(reach_mm, STEP_MM), max(ends, default=0.0) + least_mm)
        if by_mm is not None and not _runs_into(moved(shape, (0.0, sign * by_mm, 0.0)), shape, others):
            found.append((by_mm, sign))
    if not found:
        return None
    by_mm, sign = min(found)
    says = f"move {name} {write.length(by_mm, '.2f', 'up')} toward {'+' if sign > 0 else '-'}Y"
    return Dodge(way="move", by_mm=by_mm, to_mm=by_mm, direction=(0.0, sign, 0.0), says=says)


def _runs_into(new: Shape, old: Shape, others: Mapping[str, Shape]) -> bool:
    """Say whether a moved body overlaps another more than it did where it stood."""
    for now_solid, old_solid in zip(new.Solids(), old.Solids(), strict=True):
        box = loose_box(now_solid)
        for name, other in others.items():
            if box_gap_mm(box, loose_box(other)) > 0:
                continue
            now = split(other, now_solid, f"{name} by the moved body").taken_mm3
            before = split(other, old_solid, f"{name} by the body").taken_mm3
            if now > before + _TOUCH_MM3:
                return True
    return False


def shorter_travel(
    setup: Setup, cut: GroundCut, name: str, shape: Shape, movers: Sequence[str], least_mm: float
) -> Dodge | None:
    """Return by how much the overtravel at the body's end must shrink, down to where the wheel just clears.

    Only the end nearer to the body is shortened, and never so far that the wheel stays over the floor.
    """
    rim, parts = rim_of(setup), targets_of(setup, cut.cut)
    floor0, floor1 = min(p.floor.box[0] for p in parts), max(p.floor.box[3] for p in parts)
    out_mm = run_out_mm(2 * rim.radius_mm, cut.cut.stock_mm)
    box = box_of(shape)
    at_start = (box[0] + box[3]) / 2 < (floor0 + floor1) / 2
    over_mm = (
        floor0 - out_mm - cut.path.x_from_mm if at_start else cut.path.x_to_mm - floor1 - out_mm
    )  # what there is to give up

    def stops_earlier(by_mm: float) -> bool:
        path = _shortened(cut.path, by_mm, at_start=at_start)
        swept = (sweep_of(m, setup.machine, rim, path) for m in movers)
        return clears(shape, [s for s in swept if s is not None], least_mm)

    if over_mm < STEP_MM:
        return None
    by_mm = least_that(stops_earlier, over_mm - STEP_MM)
    if by_mm is None:
        return None
    end = "-X" if at_start else "+X"
    left_mm = over_mm - by_mm
    by, left = setup.write.length(by_mm, ".2f", "up"), setup.write.length(left_mm, ".2f", "down")
    says = f"stop the table {by} earlier at the {end} end (overtravel {left} there)"
    direction = (1.0 if at_start else -1.0, 0.0, 0.0)
    return Dodge(way="travel", by_mm=by_mm, to_mm=left_mm, direction=direction, says=says)


def _shortened(path: WheelPath, by_mm: float, *, at_start: bool) -> WheelPath:
    if at_start:
        return replace(path, x_from_mm=path.x_from_mm + by_mm)
    return replace(path, x_to_mm=path.x_to_mm - by_mm)


def dodges(
    setup: Setup, cut: GroundCut, placed: Mapping[str, Solid], name: str, swept: Mapping[str, Shape]
) -> list[Dodge]:
    """Return every change found that lets the cut pass a fixture body, the smallest first.

    A piece of equipment moves whole, and what a part of the cut seats on does not move: the part would go
    with it.
    """
    shape, least_mm = placed[name], setup.machine.least_clearance_mm
    sweeps, box = list(swept.values()), loose_box(shape)
    # What never comes near the body on the whole travel does not on part of it.
    near = [m for m, s in swept.items() if box_gap_mm(loose_box(s), box) <= least_mm]
    found = [
        lowered(name, shape, sweeps, least_mm, setup.write),
        shorter_travel(setup, cut, name, shape, near, least_mm),
    ]
    pieces = _moves_together(setup, name)
    if not any(s.on in pieces and s.body in cut.cut.parts for s in setup.seats):
        others = {n: s for n, s in placed.items() if n not in pieces}
        whole = compound([placed[n] for n in pieces]) if len(pieces) > 1 else shape
        who = setup.body(name).group or name
        found.append(moved_aside(who, whole, sweeps, others, least_mm, setup.write))
    return sorted((d for d in found if d is not None), key=lambda d: d.by_mm)


def _moves_together(setup: Setup, name: str) -> list[str]:
    """Return the bodies of the same piece of equipment."""
    group = setup.body(name).group
    return [b.name for b in setup.bodies if b.name == name or (group is not None and b.group == group)]
