"""How little of what stands there must change for the wheel to pass it: move it, lower it, raise the parts.

Every answer is found by solving for the clearance that is asked for and is tried on the changed solid before
it is returned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from fixturecheck.access.clearance import too_near
from fixturecheck.access.model import GroundCut
from fixturecheck.kernel.boolean import apart, clipped, split
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.measure import box_gap_mm, box_of, loose_box
from fixturecheck.kernel.place import shifted
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.result import Vector
from fixturecheck.setup.loose import is_loose, together
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
        Of the path: `travel`, `feed` or `shift`. Of what stands there: `move`, `lower` or `raise`.
    by_mm : float
        How much less overtravel or overrun, how far shifted or moved, how much lower or higher.
    to_mm : float
        What is then set: overtravel, cross feed, shift, height of the top; the move or rise itself.
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
        for solid in solids_of(shape):
            how = apart(sweep, solid, "a changed body and the sweep", within_mm=least_mm)
            if how is not None and (how.common is not None or too_near(how.distance_mm, least_mm)):
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
    """Return the shortest of the moves along Y and X that clear the wheel and run into no other body."""
    mine, boxes = box_of(shape), [loose_box(s) for s in sweeps]
    hits = [split(solid, s, f"{name} by a sweep").taken for solid in solids_of(shape) for s in sweeps]
    near = [box_of(h) for h in hits if h is not None]
    best: tuple[float, Vector, str] | None = None
    for k, sign in ((1, 1.0), (1, -1.0), (0, 1.0), (0, -1.0)):
        way: Vector = (sign, 0.0, 0.0) if k == 0 else (0.0, sign, 0.0)
        ends = [b[k + 3] - mine[k] if sign > 0 else mine[k + 3] - b[k] for b in near]
        reach_mm = max(b[k + 3] - mine[k] if sign > 0 else mine[k + 3] - b[k] for b in boxes) + least_mm
        if best is not None:
            # Only a shorter move is of interest.
            reach_mm = min(reach_mm, best[0] - 2 * STEP_MM)
        if reach_mm < STEP_MM:
            continue

        def at(by_mm: float, way: Vector = way) -> bool:
            return clears(shifted(shape, _along(way, by_mm)), sweeps, least_mm)

        by_mm = least_that(at, reach_mm, max(ends, default=0.0) + least_mm)
        if by_mm is not None and not _runs_into(shifted(shape, _along(way, by_mm)), shape, others):
            best = by_mm, way, f"{'+' if sign > 0 else '-'}{'XY'[k]}"
    if best is None:
        return None
    by_mm, direction, toward = best
    says = f"move {name} {write.length(by_mm, '.2f', 'up')} toward {toward}"
    return Dodge(way="move", by_mm=by_mm, to_mm=by_mm, direction=direction, says=says)


def _along(way: Vector, by_mm: float) -> Vector:
    return way[0] * by_mm, way[1] * by_mm, way[2] * by_mm


def _runs_into(new: Shape, old: Shape, others: Mapping[str, Shape]) -> bool:
    """Say whether a moved body overlaps another more than it did where it stood."""
    for now_solid, old_solid in zip(solids_of(new), solids_of(old), strict=True):
        box = loose_box(now_solid)
        for name, other in others.items():
            if box_gap_mm(box, loose_box(other)) > 0:
                continue
            now = split(other, now_solid, f"{name} by the moved body").taken_mm3
            before = split(other, old_solid, f"{name} by the body").taken_mm3
            if now > before + _TOUCH_MM3:
                return True
    return False


def raised(
    who: str, struck: str, shape: Shape, sweeps: Sequence[Shape], parts: Sequence[str], least_mm: float,
    write: Writing = METRIC, *, on_magnet: bool = False,
) -> Dodge | None:  # fmt: skip
    """Return how much higher the parts of a cut must stand for the wheel to pass over equipment.

    Chuck, V-block and vise stay as they are: the work goes up, and wheel and path with it. `struck` is the
    body of the equipment `who` that the wheel meets, as a rail: it is that which may be lower. Where a magnet
    holds the parts, it is said that packing weakens it.
    """
    box = box_of(shape)
    hits = [h.taken for s in sweeps if (h := split(shape, s, f"{who} by a sweep")).taken is not None]
    guess_mm = max((box_of(h)[5] - box_of(h)[2] for h in hits), default=0.0) + least_mm

    def higher(by_mm: float) -> bool:
        return clears(shifted(shape, (0.0, 0.0, -by_mm)), sweeps, least_mm)

    by_mm = least_that(higher, box[5] - box[2] + least_mm, guess_mm)
    if by_mm is None:
        return None
    up = write.length(by_mm, ".2f", "up")
    told = " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
    packing = "parallels or packing"
    if on_magnet:
        packing = "laminated parallels (packing of any kind weakens the magnet: check the hold again)"
    says = f"set {told} {up} higher over {who}, on {packing}, or use a lower {struck}"
    return Dodge(way="raise", by_mm=by_mm, to_mm=by_mm, direction=(0.0, 0.0, 1.0), says=says)


def blocking_dodges(
    setup: Setup, cut: GroundCut, placed: Mapping[str, Solid], name: str, swept: Mapping[str, Shape]
) -> list[Dodge]:
    """Return every change of what stands there that lets the cut pass a fixture body, the smallest first.

    A piece of equipment moves whole, and what a part of the cut seats on does not move: the part would go
    with it. Only a loose block is exchanged for a lower one; over equipment the parts are set higher.
    """
    shape, least_mm, write = placed[name], setup.machine.least_clearance_mm, setup.write
    sweeps, pieces = list(swept.values()), together(setup, name)
    who = setup.body(name).group or name
    found = []
    if is_loose(setup, name):
        found.append(lowered(name, shape, sweeps, least_mm, write))
    if not any(s.on in pieces and s.body in cut.cut.parts for s in setup.seats):
        others = {n: s for n, s in placed.items() if n not in pieces}
        whole = compound([placed[n] for n in pieces]) if len(pieces) > 1 else shape
        found.append(moved_aside(who, whole, sweeps, others, least_mm, write))
    if not any(found):
        found.append(
            raised(who, name, shape, sweeps, cut.cut.parts, least_mm, write, on_magnet=bool(setup.poles()))
        )
    return sorted((d for d in found if d is not None), key=lambda d: d.by_mm)
