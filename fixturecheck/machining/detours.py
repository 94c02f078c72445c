"""Which change lets a cut be made: of the path, of what stands there, or of the wheel.

The path is changed before anything that stands on the machine, since it costs the turn of a dial: less
overtravel, a cross feed without overrun, or a pass beside the body. What stands there is moved or lowered, or
the parts are raised, by as little as the wheel needs to pass. Last come other flanges and wheels. Every
change is swept or ground again, and held against the bodies, before it is named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from fixturecheck.errors import FixturecheckError, NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import apart, clipped, split
from fixturecheck.kernel.brep.topology import faces_of, solids_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.depth import thinner_mm
from fixturecheck.kernel.measure import box_gap_mm, box_of, centre_of, flat_of, loose_box
from fixturecheck.kernel.place import composed, placed_at, rotation, shifted, translation
from fixturecheck.kernel.shapes import Box, Shape, Solid
from fixturecheck.machining.as_ground import grind, wheel_side_mm
from fixturecheck.machining.clearance import Approach, approaches, gouge_depth_mm, too_near
from fixturecheck.machining.cut import CutDone, GroundCut, PartGround
from fixturecheck.machining.wheel_path import (
    OF_WHEEL,
    PartTargets,
    WheelRim,
    rim_of,
    run_out_mm,
    sweeps_of,
    wheel_path,
)
from fixturecheck.numeric import scaled
from fixturecheck.result.contact import Mover, WheelPath
from fixturecheck.result.remedy import Dodge, DodgeKind, WheelChange, WheelChangeKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Cut, Setup, is_loose, together
from fixturecheck.setup.records import CutWay
from fixturecheck.shop.wheels import Wheel, least_flange_mm, rpm_for, speed_limit, speed_m_s

STEP_MM = 0.01
"""Answers are rounded to this, to the safe side."""
_TOUCH_MM3 = 1e-6
_not_offered = suppress(FixturecheckError)
"""A change that cannot be worked out is simply no remedy."""


def clears(shape: Shape, sweeps: Sequence[Shape], least_mm: float) -> bool:
    """Say whether a shape keeps the clearance from every swept volume; its solids are asked one by one.

    Parameters
    ----------
    shape : Shape
        A body as it would stand.
    sweeps : sequence of Shape
        Swept volumes, in the same frame.
    least_mm : float
        Clearance to keep.

    Returns
    -------
    bool
        False also where the two overlap.
    """
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

    Parameters
    ----------
    works : callable
        Takes a change in mm and says whether it works.
    upper_mm : float
        The greatest change that is tried, rounded up to a step.
    guess_mm : float
        A change that is likely to be the least; zero is no guess.

    Returns
    -------
    float or None
        mm.
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


def _hits(name: str, shape: Shape, sweeps: Sequence[Shape]) -> list[Box]:
    """Return the boxes of what sweeps take of each solid of a shape."""
    taken = (split(solid, s, f"{name} by a sweep").taken for solid in solids_of(shape) for s in sweeps)
    return [box_of(hit) for hit in taken if hit is not None]


def lowered(name: str, shape: Shape, sweeps: Sequence[Shape], least_mm: float) -> Dodge | None:
    """Return by how much a body must lose height at the top; the rest of it is the tallest that clears.

    Parameters
    ----------
    name : str
        What the body is called.
    shape : Shape
        The body where it stands.
    sweeps : sequence of Shape
        Swept volumes that it has to clear.
    least_mm : float
        Clearance to keep.

    Returns
    -------
    Dodge or None
        None where no height clears.
    """
    x0, y0, z0, x1, y1, z1 = box_of(shape)

    def below(by_mm: float) -> bool:
        rest = clipped(shape, (x0 - 1, y0 - 1, z0 - 1, x1 + 1, y1 + 1, z1 - by_mm), f"{name} made lower")
        return rest is not None and clears(rest, sweeps, least_mm)

    guess_mm = z1 - min((hit[2] for hit in _hits(name, shape, sweeps)), default=z1) + least_mm
    by_mm = least_that(below, z1 - z0 - 2 * STEP_MM, guess_mm)
    if by_mm is None:
        return None
    return Dodge(
        kind=DodgeKind.LOWER, by_mm=by_mm, to_mm=z1 - by_mm, direction=(0.0, 0.0, -1.0),
        body=name, tall_mm=z1 - z0 - by_mm,
    )  # fmt: skip


def moved_aside(
    name: str, shape: Shape, sweeps: Sequence[Shape], others: Mapping[str, Shape], least_mm: float
) -> Dodge | None:
    """Return the shortest of the moves along Y and X that clear the wheel and run into no other body.

    Parameters
    ----------
    name : str
        What moves is called.
    shape : Shape
        What moves, where it stands; of several solids for a piece of equipment.
    sweeps : sequence of Shape
        Swept volumes that it has to clear.
    others : mapping of str to Shape
        The bodies that stay, by name.
    least_mm : float
        Clearance to keep from the sweeps; the other bodies may be touched.

    Returns
    -------
    Dodge or None
        None where every move that clears the wheel overlaps another body, or none clears it.
    """
    mine, boxes = box_of(shape), [loose_box(s) for s in sweeps]
    near = _hits(name, shape, sweeps)
    best: tuple[float, Vector] | None = None
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
            return clears(shifted(shape, scaled(way, by_mm)), sweeps, least_mm)

        by_mm = least_that(at, reach_mm, max(ends, default=0.0) + least_mm)
        if by_mm is not None and not _runs_into(shifted(shape, scaled(way, by_mm)), shape, others):
            best = by_mm, way
    if best is None:
        return None
    by_mm, direction = best
    return Dodge(kind=DodgeKind.MOVE, by_mm=by_mm, to_mm=by_mm, direction=direction, body=name)


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
    *, on_magnet: bool = False,
) -> Dodge | None:  # fmt: skip
    """Return how much higher the parts of a cut must stand for the wheel to pass over equipment.

    Chuck, V-block and vise stay as they are: the work goes up, and wheel and path with it. `struck` is the
    body of the equipment `who` that the wheel meets, as a rail: it is that which may be lower. Where a magnet
    holds the parts, it is said that packing weakens it.

    Parameters
    ----------
    who : str
        The piece of equipment.
    struck : str
        The body of it that the wheel meets.
    shape : Shape
        That body where it stands.
    sweeps : sequence of Shape
        Swept volumes that it has to clear.
    parts : sequence of str
        Names of the parts of the cut.
    least_mm : float
        Clearance to keep.
    on_magnet : bool
        Whether the set-up has magnet poles.

    Returns
    -------
    Dodge or None
        None where no height that is tried clears.
    """
    box = box_of(shape)
    guess_mm = max((hit[5] - hit[2] for hit in _hits(who, shape, sweeps)), default=0.0) + least_mm

    def higher(by_mm: float) -> bool:
        return clears(shifted(shape, (0.0, 0.0, -by_mm)), sweeps, least_mm)

    by_mm = least_that(higher, box[5] - box[2] + least_mm, guess_mm)
    if by_mm is None:
        return None
    return Dodge(
        kind=DodgeKind.RAISE, by_mm=by_mm, to_mm=by_mm, direction=(0.0, 0.0, 1.0),
        body=struck, parts=tuple(parts), over=who, on_magnet=on_magnet,
    )  # fmt: skip


def blocking_dodges(setup: Setup, cut: CutDone, placed: Mapping[str, Solid], name: str) -> list[Dodge]:
    """Return every change of what stands there that lets the cut pass a fixture body, the smallest first.

    A piece of equipment moves whole, and what a part of the cut seats on does not move: the part would go
    with it. Only a loose block is exchanged for a lower one; over equipment the parts are set higher.

    Parameters
    ----------
    setup : Setup
        Bodies, seats and the clearance of the machine.
    cut : CutDone
        The cut that has to pass.
    placed : mapping of str to Solid
        Every body by name, machine's frame.
    name : str
        The fixture body in the way.

    Returns
    -------
    list of Dodge
        Empty where nothing that is tried clears.
    """
    shape, least_mm = placed[name], setup.machine.least_clearance_mm
    sweeps, pieces = list(cut.movers.values()), together(setup, name)
    who, parts = setup.body(name).group or name, tuple(p.body for p in cut.parts)
    found = []
    if is_loose(setup, name):
        found.append(lowered(name, shape, sweeps, least_mm))
    if not any(s.on in pieces and s.body in parts for s in setup.seats):
        others = {n: s for n, s in placed.items() if n not in pieces}
        whole = compound([placed[n] for n in pieces]) if len(pieces) > 1 else shape
        found.append(moved_aside(who, whole, sweeps, others, least_mm))
    if not any(found):
        found.append(raised(who, name, shape, sweeps, parts, least_mm, on_magnet=bool(setup.poles())))
    return sorted((d for d in found if d is not None), key=lambda d: d.by_mm)


_SAME_MM = 1e-6
_STEPS_MM = (0.1, 0.01, 0.001)
"""Cross feeds are named in the coarsest of these that still leaves no overrun to speak of."""
_OVERRUN_MM = 0.05
"""How far a rounded step may run past where the cross feed must end."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passing:
    """A body that the wheel, flange or guard of a cut comes too near, and what tries paths against it.

    Parameters
    ----------
    name : str
        The body.
    movers : tuple of Mover
        What comes near it.
    clear_now : tuple of Shape
        What everything clears on the path as it is, and must clear on another one.
    """

    setup: Setup
    cut: GroundCut
    name: str
    shape: Shape
    movers: tuple[Mover, ...]
    rim: WheelRim
    parts: tuple[PartTargets, ...]
    clear_now: tuple[Shape, ...]

    def passed_on(self, path: WheelPath) -> bool:
        """Tell whether everything that comes near the body clears it on a path."""
        return self._clears((self.shape,), path, self.movers)

    def hits_no_other(self, path: WheelPath) -> bool:
        """Tell whether everything still clears what it clears now."""
        return self._clears(self.clear_now, path, OF_WHEEL)

    def _clears(self, shapes: Sequence[Shape], path: WheelPath, movers: Sequence[Mover]) -> bool:
        found = list(sweeps_of(self.setup.machine, self.rim, path, movers).values())
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
    setup: Setup, cut: GroundCut, placed: Mapping[str, Shape], name: str, close: Mapping[str, set[Mover]]
) -> Passing:
    """Return what tries paths against one body.

    Parameters
    ----------
    setup : Setup
        States the machine and the wheel.
    cut : GroundCut
        The cut as made now.
    placed : mapping of str to Shape
        Every body where it stands.
    name : str
        Name of the body, one of those in `close`.
    close : mapping of str to set of Mover
        By body, what comes too near it.

    Returns
    -------
    Passing
        With every body that is neither cut nor too near, for another path to clear.
    """
    clear_now = [shape for n, shape in placed.items() if n not in close and n not in cut.cut.parts]
    return Passing(
        setup=setup, cut=cut, name=name, shape=placed[name], movers=tuple(sorted(close[name])),
        rim=rim_of(setup), parts=cut.targets, clear_now=tuple(clear_now),
    )  # fmt: skip


def reroutes(by: Passing) -> Iterator[Dodge]:
    """Yield every change of the path found that passes a body, the cheapest first.

    Parameters
    ----------
    by : Passing
        The body, and what comes too near it.

    Yields
    ------
    Dodge
        At most one of each kind.
    """
    for found in (shorter_travel(by), _tight_feed(by), beside(by)):
        if found is not None:
            yield found


def shorter_travel(by: Passing) -> Dodge | None:
    """Return by how much the overtravel at the body's end must shrink, down to where the wheel just clears.

    The end nearer to the body is shortened, or both where it reaches past both, and never so far that the
    wheel stays over the floor.

    Parameters
    ----------
    by : Passing
        The body, and what comes too near it.

    Returns
    -------
    Dodge or None
        None where no such travel passes it.
    """
    cut, (floor0, floor1) = by.cut.cut, by.floor_x_mm
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
        return Dodge(
            kind=DodgeKind.TRAVEL, by_mm=by_mm, to_mm=room - by_mm,
            direction=(1.0 if ends[0] else -1.0, 0.0, 0.0), both_ends=all(ends),
        )  # fmt: skip
    return None


def _shortened(path: WheelPath, by_mm: float, ends: tuple[bool, bool]) -> WheelPath:
    start, end = (by_mm if there else 0.0 for there in ends)
    return replace(path, x_from_mm=path.x_from_mm + start, x_to_mm=path.x_to_mm - end)


def _tight_feed(by: Passing) -> Dodge | None:
    """Return the cross feed that ends at the edge of the floor in as many steps, where that clears.

    A cross feed goes on by whole steps, and its last one may run far past the edge.
    """
    cut = by.cut.cut
    overrun_mm = overrun_of(by.cut, by.rim, by.parts)
    step_mm = tight_step_mm(by.cut, overrun_mm)
    if step_mm is None:
        return None
    path = wheel_path(replace(cut, cross_feed_mm=step_mm), by.rim, list(by.parts))
    if not by.passed_on(path):
        return None
    side = 1.0 if box_of(by.shape)[1] > sum(by.floor_y_mm) / 2 else -1.0
    return Dodge(
        kind=DodgeKind.FEED, by_mm=overrun_mm, to_mm=step_mm, direction=(0.0, -side, 0.0),
        was_mm=cut.cross_feed_mm,
    )  # fmt: skip


def overrun_of(cut: GroundCut, rim: WheelRim, parts: Sequence[PartTargets]) -> float:
    """Return how much further a cross feed goes than until the flat of the wheel covers the floor.

    Parameters
    ----------
    cut : GroundCut
        The cut, with its path.
    rim : WheelRim
        The wheel as it meets the work.
    parts : sequence of PartTargets
        The parts whose floors are to be covered, one at least.

    Returns
    -------
    float
        Millimetres along Y; zero where the feed goes no further than it must.
    """
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
    """Return the step that takes as many passes and leaves no overrun; None where there is no overrun.

    Parameters
    ----------
    cut : GroundCut
        The cut, with its cross feed.
    overrun_mm : float
        How far the feed goes too far, as `overrun_of` gives it.

    Returns
    -------
    float or None
        Smaller than the stated step; None also where no such step is found.
    """
    feed_mm, was_mm = cut.path.y_to_mm - cut.path.y_from_mm, cut.cut.cross_feed_mm
    if feed_mm <= 0.0 or overrun_mm <= _SAME_MM:
        return None
    count = round(feed_mm / was_mm)
    exact_mm = (feed_mm - overrun_mm) / count
    step_mm = _step_near_mm(exact_mm, count, math.ceil)
    return step_mm if 0.0 < step_mm < was_mm else None


def _step_near_mm(exact_mm: float, count: int, rounds: Callable[[float], int]) -> float:
    """Return the coarsest step that ends little off where `count` exact ones end, rounded up or down."""
    same = _SAME_MM if rounds is math.floor else -_SAME_MM
    rounded = (rounds(exact_mm / unit + same) * unit for unit in _STEPS_MM)
    return round(next((r for r in rounded if abs(r - exact_mm) * count <= _OVERRUN_MM), exact_mm), 6)


def beside(by: Passing) -> Dodge | None:
    """Return how far the wheel must go on the other side of a floor to clear a body on this one.

    Without a wall the wheel is centred over the floor; it may stand to one side as long as its flat still
    covers all of it.

    Parameters
    ----------
    by : Passing
        The body, and what comes too near it.

    Returns
    -------
    Dodge or None
        None with a wall, where no shift passes the body, or where it brings another one too near.
    """
    cut, path = by.cut.cut, by.cut.path
    if path.wall_sign != 0:
        return None
    (edge0, edge1), box = by.floor_y_mm, box_of(by.shape)
    side = 1.0 if (box[1] + box[4]) / 2 > (edge0 + edge1) / 2 else -1.0
    room = (
        path.y_to_mm + by.rim.flat_to_mm - edge1 if side > 0 else edge0 - path.y_from_mm - by.rim.flat_from_mm
    )
    if room < STEP_MM:
        return None

    def aside(by_mm: float) -> WheelPath:
        step = -side * by_mm
        return replace(path, y_from_mm=path.y_from_mm + step, y_to_mm=path.y_to_mm + step)

    by_mm = least_that(lambda far_mm: by.passed_on(aside(far_mm)), room - STEP_MM)
    if by_mm is None or not by.hits_no_other(aside(by_mm)):
        return None
    to_mm = cut.feed_shift_mm - side * by_mm
    return Dodge(kind=DodgeKind.SHIFT, by_mm=by_mm, to_mm=to_mm, direction=(0.0, -side, 0.0))


_UP_MM = 0.1
"""Wheel thicknesses are named in steps of this."""


def whole_floor(setup: Setup, ground: GroundCut) -> tuple[WheelChange, ...]:
    """Return the changes of which each would take the stock that the wheel passed by.

    Parameters
    ----------
    setup : Setup
        The set-up with its wheel.
    ground : GroundCut
        The cut as made now, which leaves stock on the floor.

    Returns
    -------
    tuple of WheelChange
        A traverse in place of a plunge, a thicker wheel, both or none; each was tried by grinding again.
    """
    cut = ground.cut
    rim, parts = rim_of(setup), ground.targets
    wide_mm = max(p.floor.box[4] for p in parts) - min(p.floor.box[1] for p in parts)
    lack_mm = wide_mm - rim.flat_mm
    changes = []
    if cut.way == CutWay.PLUNGE and cut.cross_feed_mm > 0:
        traverse = replace(cut, way="traverse")
        if _made(setup, traverse, ground):
            changes.append(WheelChange(kind=WheelChangeKind.TRAVERSE))
    if lack_mm > 0 and not setup.wheel.dressed_profile_mm:
        thick_mm = math.ceil((setup.wheel.thickness_mm + lack_mm) / _UP_MM - 1e-9) * _UP_MM
        wider = replace(setup, wheel=replace(setup.wheel, thickness_mm=thick_mm))
        if _made(wider, cut, ground):
            changes.append(WheelChange(kind=WheelChangeKind.THICKER, to_mm=thick_mm))
    return tuple(changes)


def no_gouge(setup: Setup, cut: GroundCut, part: PartGround) -> tuple[WheelChange, ...]:
    """Return the changes that, made together, keep the wheel from gouging; none where none was found.

    Parameters
    ----------
    setup : Setup
        The set-up with its wheel.
    cut : GroundCut
        The cut as made now.
    part : PartGround
        A part of it; where nothing was dug out of it, there is nothing to change.

    Returns
    -------
    tuple of WheelChange
        Of the cross feed, the wheel or the way the part stands.
    """
    if part.dug is None:
        return ()
    if cut.cut.way == CutWay.TRAVERSE and (found := _ends_at_the_floor(setup, cut)):
        return found
    return _thinner_wheel(setup, cut, part.dug) or _turned_along(setup, cut, part, part.dug)


def _turned_along(setup: Setup, cut: GroundCut, part: PartGround, dug: Shape) -> tuple[WheelChange, ...]:
    """Return the quarter turn that lays a wall across the travel along it, with the cross feed it then needs.

    Its stops do not turn with the part, so it is ground again with nothing beside it.
    """
    body, (x, y, _) = setup.body(part.body), centre_of(dug)
    for wall in _across_travel(body, dug):
        for angle_deg in (90.0, -90.0):
            turn = composed(rotation((0.0, 0.0, 1.0), angle_deg), translation((-x, -y, 0.0)))
            about = translation((x, y, 0.0))
            at = composed(composed(about, turn), body.at)
            alone = replace(setup, bodies=(replace(body, at=at),), seats=(), cuts=())
            changed = replace(cut.cut, parts=(body.name,), wall=wall.face)
            change = WheelChange(kind=WheelChangeKind.TURN, wall=wall)
            with _not_offered:
                again = grind(alone, changed)
                if all(gouge_depth_mm(p, setup.tolerances.touch_mm) == 0.0 for p in again.parts):
                    return (change,)
                if changed.way == CutWay.TRAVERSE and (fed := _ends_at_the_floor(alone, again)):
                    return (change, *fed)
    return ()


def _across_travel(body: Body, dug: Shape) -> Iterator[FaceRef]:
    """Yield each flat face that looks along X from within what the wheel dug out."""
    box = loose_box(dug)
    faces, names = faces_of(placed_at(body.solid, body.at)), body.face_names()
    for face, name in zip(faces, names, strict=True):
        flat = flat_of(face)
        if flat is not None and abs(flat[1][0]) > 1.0 - _SAME_MM and box_gap_mm(box, loose_box(face)) <= 0.0:
            yield FaceRef.of(body.name, name)


def _ends_at_the_floor(setup: Setup, cut: GroundCut) -> tuple[WheelChange, ...]:
    """Return the cross feed that ends at the edge of the floor, or before the wall that stands there."""
    step_mm = tight_step_mm(cut, overrun_of(cut, rim_of(setup), cut.targets))
    if step_mm is None:
        return _ends_at_a_wall(setup, cut, cut)
    tight = replace(cut.cut, cross_feed_mm=step_mm)
    if _made(setup, tight, cut):
        return (_fed(cut, step_mm),)
    with _not_offered:
        return _ends_at_a_wall(setup, cut, grind(setup, tight))
    return ()


def _fed(cut: GroundCut, step_mm: float) -> WheelChange:
    return WheelChange(kind=WheelChangeKind.FEED, to_mm=step_mm, was_mm=cut.cut.cross_feed_mm)


def _ends_at_a_wall(setup: Setup, cut: GroundCut, tight: GroundCut) -> tuple[WheelChange, ...]:
    """Return the cross feed that ends where the side of the wheel meets another wall, and the fillet there.

    A floor that ends at another wall is covered once the flat of the wheel is at its edge. The wheel's corner
    then stands in the corner of that wall, which needs as much room, and what the last step stops short.
    `tight` is the cut with a cross feed that ends at the edge of the floor.
    """
    path, rim, was_mm = tight.path, rim_of(setup), cut.cut.cross_feed_mm
    corner_mm = max(rim.flat_from_mm, rim.thickness_mm - rim.flat_to_mm)
    walls = 2 if path.wall_sign == 0 else 1
    beyond_mm = max(gouge_depth_mm(p, setup.tolerances.touch_mm) for p in tight.parts)
    room_mm = path.y_to_mm - path.y_from_mm - walls * beyond_mm
    if corner_mm <= 0.0 or room_mm < -_SAME_MM or beyond_mm > corner_mm + _OVERRUN_MM:
        return ()
    count = math.ceil(room_mm / was_mm - _SAME_MM)
    step_mm = _step_near_mm(room_mm / count, count, math.floor) if count else was_mm
    fillet_mm = corner_mm + (room_mm - count * step_mm) / walls
    feed = (_fed(cut, step_mm),) if abs(step_mm - was_mm) > _SAME_MM else ()
    return (*feed, WheelChange(kind=WheelChangeKind.FILLET, to_mm=fillet_mm))


def _thinner_wheel(setup: Setup, cut: GroundCut, dug: Shape) -> tuple[WheelChange, ...]:
    """Return the thinner wheel that would not gouge, with what else it needs; none when that is no way out.

    One that is fed across keeps room for a step.
    """
    if setup.wheel.dressed_profile_mm:
        return ()
    room_mm = _room_beside_mm(rim_of(setup), cut.path, dug)
    crossed = cut.cut.way == CutWay.TRAVERSE
    if crossed:
        room_mm -= cut.cut.cross_feed_mm
    thick_mm = math.floor(room_mm / _UP_MM + 1e-6) * _UP_MM
    if thick_mm <= 2 * setup.wheel.corner_radius_mm or thick_mm >= setup.wheel.thickness_mm:
        return ()
    thinner = replace(setup, wheel=replace(setup.wheel, thickness_mm=thick_mm))
    change = WheelChange(kind=WheelChangeKind.THINNER, to_mm=thick_mm)
    if _made(thinner, cut.cut, cut, floor_too=False):
        return (change,)
    with _not_offered:
        if crossed and (besides := _ends_at_the_floor(thinner, grind(thinner, cut.cut))):
            return (change, *besides)
    return ()


def _room_beside_mm(rim: WheelRim, path: WheelPath, dug: Shape) -> float:
    """Return how thick a wheel is that just misses what one dug into: at its wall, or about its middle."""
    if path.wall_sign != 0:
        box, side_mm = box_of(dug), wheel_side_mm(rim, path)
        return side_mm - box[4] if path.wall_sign > 0 else box[1] - side_mm
    middle_mm = (path.y_from_mm + path.y_to_mm + rim.thickness_mm) / 2
    boxes = [box_of(solid) for solid in solids_of(dug)]
    return 2 * max(0.0, min(max(b[1] - middle_mm, middle_mm - b[4]) for b in boxes))


def made_when_dressed(setup: Setup, cut: Cut, radius_mm: float) -> bool:
    """Tell whether a wheel whose corner is dressed to a radius would make the corner with that radius.

    Parameters
    ----------
    setup : Setup
        The set-up with its wheel; one with a dressed profile is not dressed otherwise.
    cut : Cut
        The cut that is ground again.
    radius_mm : float
        Corner radius that the wheel would be dressed to.

    Returns
    -------
    bool
        False also where a wheel cannot be dressed or ground so.
    """
    if setup.wheel.dressed_profile_mm:
        return False
    with _not_offered:
        again = grind(replace(setup, wheel=replace(setup.wheel, corner_radius_mm=radius_mm)), cut)
        corners = [p.corner.radius_mm for p in again.parts if p.corner is not None]
        return bool(corners) and max(corners) <= radius_mm + 1e-6
    return False


def _made(setup: Setup, cut: Cut, was: GroundCut, *, floor_too: bool = True) -> bool:
    """Say whether a changed cut leaves the wheel's corner only, gouges nothing and meets nothing new."""
    try:
        again = grind(setup, cut)
    except FixturecheckError:
        return False
    limit_mm = setup.tolerances.touch_mm
    if floor_too and any(thinner_mm(p.missed) > limit_mm for p in again.parts):
        return False
    if any(gouge_depth_mm(p, limit_mm) > limit_mm for p in again.parts):
        return False
    placed = _placed(setup)
    return _nearer(_close(setup, again, placed), _close(setup, was, placed)) == set()


def larger_wheel(setup: Setup, cut: GroundCut, depth_mm: float, body: str) -> tuple[WheelChange, ...]:
    """Return the flange and the wheel of which each lets the wheel down beside a body.

    Parameters
    ----------
    setup : Setup
        States the machine and the wheel.
    cut : GroundCut
        The cut as made now.
    depth_mm : float
        How far the body stands above the floor under the flanges.
    body : str
        The body, which must then be clear.

    Returns
    -------
    tuple of WheelChange
        The flange first; empty where neither is enough.

    Notes
    -----
    A wheel of diameter D with flanges F reaches (D - F) / 2, from which the least clearance is kept. Either
    change is ground again and held against everything that stands there; flanges stay at least as large as
    they must be for the wheel, and a wheel that would turn too fast is named with its speed.
    """
    least_mm = setup.machine.least_clearance_mm
    wheel, flange = setup.wheel, setup.machine.flange
    need_mm = 2 * (depth_mm + least_mm)
    small_mm = math.floor((wheel.diameter_mm - need_mm) / _UP_MM + _SAME_MM) * _UP_MM
    large_mm = math.ceil((flange.diameter_mm + need_mm) / _UP_MM - _SAME_MM) * _UP_MM
    changes = []
    if small_mm >= least_flange_mm(wheel):
        machine = replace(setup.machine, flange=replace(flange, diameter_mm=small_mm))
        if _lets_down(replace(setup, machine=machine), cut, setup, body):
            changes.append(WheelChange(kind=WheelChangeKind.FLANGES, to_mm=small_mm))
    larger = replace(wheel, diameter_mm=large_mm)
    if flange.diameter_mm >= least_flange_mm(larger) and _lets_down(
        replace(setup, wheel=larger), cut, setup, body
    ):
        changes.append(_larger(setup, cut.cut, larger))
    return tuple(changes)


def _larger(setup: Setup, cut: Cut, wheel: Wheel) -> WheelChange:
    """Return a larger wheel as a change, with the speed that it may turn at."""
    change = WheelChange(kind=WheelChangeKind.LARGER, to_mm=wheel.diameter_mm)
    rpm = cut.rpm if cut.rpm is not None else setup.machine.rpm
    try:
        limit = speed_limit(wheel).speed_m_s
    except NotComputedError:
        return replace(change, marked_speed=True)
    if speed_m_s(wheel.diameter_mm, rpm) <= limit:
        return change
    return replace(change, most_rpm=int(rpm_for(limit, diameter_mm=wheel.diameter_mm)))


def _lets_down(changed: Setup, was: GroundCut, setup: Setup, body: str) -> bool:
    """Tell whether a changed wheel or flange clears a body, and meets nothing that was clear."""
    with _not_offered:
        again = grind(changed, was.cut)
        placed = _placed(setup)
        close = _close(changed, again, placed)
        return (Mover.FLANGE, body) not in close and not _nearer(close, _close(setup, was, placed))
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
