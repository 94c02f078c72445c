"""Another path of the wheel that passes a body: less overtravel, a cross feed without overrun, or one beside.

A path is changed before anything that stands on the machine: it costs the turn of a dial. Every path that is
named was swept and held against the body again.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from fixturecheck.access.dodge import STEP_MM, Dodge, clears, least_that
from fixturecheck.access.model import GroundCut, WheelPath
from fixturecheck.access.path import run_out_mm, wheel_path
from fixturecheck.access.sweeps import sweep_of
from fixturecheck.access.targets import PartTargets, targets_of
from fixturecheck.access.wheel import Rim, rim_of
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Shape
from fixturecheck.setup.model import Setup

_SAME_MM = 1e-6
_STEPS_MM = (0.1, 0.01, 0.001)
"""Cross feeds are named in the coarsest of these that still leaves no overrun to speak of."""
_OVERRUN_MM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passing:
    """A body that the wheel, flange or guard of a cut comes too near, and what tries paths against it.

    Parameters
    ----------
    name : str
        The body.
    movers : tuple of str
        What comes near it: `wheel`, `flange`, `guard`.
    clear_now : tuple of Shape
        What everything clears on the path as it is, and must clear on another one.
    """

    setup: Setup
    cut: GroundCut
    name: str
    shape: Shape
    movers: tuple[str, ...]
    rim: Rim
    parts: tuple[PartTargets, ...]
    clear_now: tuple[Shape, ...]

    def passed_on(self, path: WheelPath) -> bool:
        """Tell whether everything that comes near the body clears it on a path."""
        return self._clears((self.shape,), path, self.movers)

    def hits_no_other(self, path: WheelPath) -> bool:
        """Tell whether everything still clears what it clears now."""
        return self._clears(self.clear_now, path, ("wheel", "flange", "guard"))

    def _clears(self, shapes: Sequence[Shape], path: WheelPath, movers: Sequence[str]) -> bool:
        swept = (sweep_of(m, self.setup.machine, self.rim, path) for m in movers)
        found = [s for s in swept if s is not None]
        return all(clears(shape, found, self.setup.machine.least_clearance_mm) for shape in shapes)

    @property
    def floor_x_mm(self) -> tuple[float, float]:
        """Ends of the floors along X."""
        return min(p.floor.box[0] for p in self.parts), max(p.floor.box[3] for p in self.parts)

    @property
    def floor_y_mm(self) -> tuple[float, float]:
        """Edges of the floors along Y."""
        return min(p.floor.box[1] for p in self.parts), max(p.floor.box[4] for p in self.parts)


def passing(
    setup: Setup, cut: GroundCut, placed: Mapping[str, Shape], name: str, close: Mapping[str, set[str]]
) -> Passing:
    """Return what tries paths against one body.

    Parameters
    ----------
    close : mapping of str to set of str
        By body, what comes too near it: `wheel`, `flange`, `guard`.
    """
    clear_now = [shape for n, shape in placed.items() if n not in close and n not in cut.cut.parts]
    return Passing(
        setup=setup, cut=cut, name=name, shape=placed[name], movers=tuple(sorted(close[name])),
        rim=rim_of(setup), parts=tuple(targets_of(setup, cut.cut)), clear_now=tuple(clear_now),
    )  # fmt: skip


def reroutes(by: Passing) -> Iterator[Dodge]:
    """Yield every change of the path found that passes a body, the least of a bother first."""
    for found in (shorter_travel(by), tight_feed(by), shifted(by)):
        if found is not None:
            yield found


def shorter_travel(by: Passing) -> Dodge | None:
    """Return by how much the overtravel at the body's end must shrink, down to where the wheel just clears.

    The end nearer to the body is shortened, or both where it reaches past both, and never so far that the
    wheel stays over the floor.
    """
    cut, write, (floor0, floor1) = by.cut.cut, by.setup.write, by.floor_x_mm
    out_mm = run_out_mm(2 * by.rim.radius_mm, cut.stock_mm)
    over_mm = (floor0 - out_mm - by.cut.path.x_from_mm, by.cut.path.x_to_mm - floor1 - out_mm)
    box = box_of(by.shape)
    start = (box[0] + box[3]) / 2 < (floor0 + floor1) / 2
    for ends in ((True, False) if start else (False, True), (True, True)):
        room = min(over for over, there in zip(over_mm, ends, strict=True) if there)
        if room < STEP_MM:
            continue

        def works(by_mm: float, ends: tuple[bool, bool] = ends) -> bool:
            return by.passed_on(_shortened(by.cut.path, by_mm, ends))

        by_mm = least_that(works, room - STEP_MM)
        if by_mm is None:
            continue
        less, left = (write.length(v, ".2f", w) for v, w in ((by_mm, "up"), (room - by_mm, "down")))
        where = "both ends" if all(ends) else f"the {'-X' if ends[0] else '+X'} end"
        return Dodge(
            way="travel", by_mm=by_mm, to_mm=room - by_mm, direction=(1.0 if ends[0] else -1.0, 0.0, 0.0),
            says=f"stop the table {less} earlier at {where} (overtravel {left} there)",
        )  # fmt: skip
    return None


def _shortened(path: WheelPath, by_mm: float, ends: tuple[bool, bool]) -> WheelPath:
    start, end = (by_mm if there else 0.0 for there in ends)
    return replace(path, x_from_mm=path.x_from_mm + start, x_to_mm=path.x_to_mm - end)


def tight_feed(by: Passing) -> Dodge | None:
    """Return the cross feed that ends at the edge of the floor in as many steps, where that clears.

    A cross feed goes on by whole steps, and its last one may run far past the edge.
    """
    cut, write = by.cut.cut, by.setup.write
    overrun_mm = overrun_of(by.cut, by.rim, by.parts)
    step_mm = tight_step_mm(by.cut, overrun_mm)
    if step_mm is None:
        return None
    path = wheel_path(replace(cut, cross_feed_mm=step_mm), by.rim, list(by.parts))
    if not by.passed_on(path):
        return None
    step, was = (write.length(v, "g") for v in (step_mm, cut.cross_feed_mm))
    side = 1.0 if box_of(by.shape)[1] > sum(by.floor_y_mm) / 2 else -1.0
    return Dodge(
        way="feed", by_mm=overrun_mm, to_mm=step_mm, direction=(0.0, -side, 0.0),
        says=f"feed across by {step} a step instead of {was}: as many passes, and no overrun of "
        f"{write.length(overrun_mm, '.3g')} past the floor",
    )  # fmt: skip


def overrun_of(cut: GroundCut, rim: Rim, parts: Sequence[PartTargets]) -> float:
    """Return how much further a cross feed goes than until the flat of the wheel covers the floor."""
    feed_mm = cut.path.y_to_mm - cut.path.y_from_mm
    edge0, edge1 = min(p.floor.box[1] for p in parts), max(p.floor.box[4] for p in parts)
    path = cut.path
    if path.wall_sign == 0:
        needed_mm = edge1 - edge0 - rim.flat_mm
    elif path.wall_sign > 0:
        needed_mm = path.y_to_mm + rim.flat_from_mm - edge0
    else:
        needed_mm = edge1 - path.y_from_mm - rim.flat_to_mm
    return max(feed_mm - max(needed_mm, 0.0), 0.0)


def tight_step_mm(cut: GroundCut, overrun_mm: float) -> float | None:
    """Return the step that takes as many passes and leaves no overrun; None where there is none to leave."""
    feed_mm, was_mm = cut.path.y_to_mm - cut.path.y_from_mm, cut.cut.cross_feed_mm
    if feed_mm <= 0.0 or overrun_mm <= _SAME_MM:
        return None
    count = round(feed_mm / was_mm)
    exact_mm = (feed_mm - overrun_mm) / count
    rounded = (math.ceil(exact_mm / unit - _SAME_MM) * unit for unit in _STEPS_MM)
    found = next((r for r in rounded if (r - exact_mm) * count <= _OVERRUN_MM), math.nan)
    step_mm = round(found if math.isfinite(found) else exact_mm, 6)
    return step_mm if 0.0 < step_mm < was_mm else None


def shifted(by: Passing) -> Dodge | None:
    """Return how far the wheel must go on the other side of a floor to clear a body on this one.

    Without a wall the wheel is centred over the floor; it may stand to one side as long as its flat still
    covers all of it.
    """
    cut, path, write = by.cut.cut, by.cut.path, by.setup.write
    if path.wall_sign != 0:
        return None
    (edge0, edge1), box = by.floor_y_mm, box_of(by.shape)
    side = 1.0 if (box[1] + box[4]) / 2 > (edge0 + edge1) / 2 else -1.0
    room = (
        path.y_to_mm + by.rim.flat_to_mm - edge1 if side > 0 else edge0 - path.y_from_mm - by.rim.flat_from_mm
    )
    if room < STEP_MM:
        return None

    def works(by_mm: float) -> bool:
        step = -side * by_mm
        return by.passed_on(replace(path, y_from_mm=path.y_from_mm + step, y_to_mm=path.y_to_mm + step))

    by_mm = least_that(works, room - STEP_MM)
    step = 0.0 if by_mm is None else -side * by_mm
    if by_mm is None or not by.hits_no_other(
        replace(path, y_from_mm=path.y_from_mm + step, y_to_mm=path.y_to_mm + step)
    ):
        return None
    far = write.length(by_mm, ".2f", "up")
    to_mm = cut.feed_shift_mm - side * by_mm
    key = f"{write.key('feed_shift_mm')} = {write.number(to_mm, 'mm', '.4g')}"
    return Dodge(
        way="shift", by_mm=by_mm, to_mm=to_mm, direction=(0.0, -side, 0.0),
        says=f"run over the floor {far} further toward {'-' if side > 0 else '+'}Y and less toward "
        f"{'+' if side > 0 else '-'}Y ({key})",
    )  # fmt: skip
