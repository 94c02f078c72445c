"""How near the wheel, its flange and its guard come to everything else, drawn or not."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial

from fixturecheck.kernel.boolean import Apart, apart, clipped
from fixturecheck.kernel.brep.topology import faces_of, solids_of
from fixturecheck.kernel.construct import compound, cylinder
from fixturecheck.kernel.depth import depth_mm, thinner_mm
from fixturecheck.kernel.measure import box_gap_mm, box_of, distance, loose_box
from fixturecheck.kernel.recall import asked_of, recalled
from fixturecheck.kernel.shapes import Box, Face, Shape, Solid
from fixturecheck.machining.cut import CUTS, CutDone, GroundCut, PartGround
from fixturecheck.result.contact import Mover
from fixturecheck.result.hold import ClampKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.holding import Clamp

ROUNDING_MM = 1e-6
"""The kernel's distances between curved solids are good to this; a clearance short by less is met."""


def too_near(distance_mm: float, least_mm: float) -> bool:
    """Return whether a distance falls short of the clearance by more than rounding.

    Parameters
    ----------
    distance_mm, least_mm : float
        The distance found, and the clearance to be kept.

    Returns
    -------
    bool
        False where it is short by less than the kernel's rounding.
    """
    return distance_mm < least_mm - ROUNDING_MM


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Approach:
    """One mover against one body over a whole cut; `body_shape` is the body as it stands after the cut."""

    mover: Mover
    body: str
    body_shape: Shape
    apart: Apart


_TURNING = frozenset({Mover.WHEEL, Mover.FLANGE})
"""What is round about the spindle: between the ends of its traverse it sweeps one section, beyond them less.
So copies that stand there alike, but for where along X, are as near to it, at like places."""


def kept_clear_mm(cut: CutDone, mover: Mover, body: str, least_mm: float) -> float:
    """Return how far a mover must keep away from a body: a shank may pass close in what was just cut.

    Parameters
    ----------
    cut : CutDone
        The cut, with its parts.
    mover : Mover
        What comes close.
    body : str
        Name of the body that it comes close to.
    least_mm : float
        Clearance that the machine is to keep.

    Returns
    -------
    float
        Twice the rounding of the solids for a shank beside a part of the cut, else `least_mm`.
    """
    own = mover is Mover.SHANK and any(p.body == body for p in cut.parts)
    return 2 * ROUNDING_MM if own else least_mm


def approaches(
    cut: CutDone, placed: Mapping[str, Solid], least_mm: float, *, kept: bool = False
) -> Iterator[Approach]:
    """Yield for each mover every body closer than `least_mm`, and the closest one whatever its distance.

    Bodies that are cut stand as cut and do not meet what cuts them: what it takes from them is stock or a
    gouge. Boxes bound the distance from below, so far bodies cost nothing; of a part that is cut, first those
    faces of the mover are looked at whose boxes come nearer than the closest body so far.

    Parameters
    ----------
    cut : CutDone
        What moves, and the parts as cut.
    placed : mapping of str to Solid
        Every body where it stands.
    least_mm : float
        Clearance to keep.
    kept : bool
        Whether a process that stays warm recalls how a mover stands to a body that is not cut, and whether
        what holds of one copy holds of the next. A search must do neither: all that it tries counts.

    Yields
    ------
    Approach
        Movers in their order; of each the bodies that are too close, then the closest one if it is not.

    Raises
    ------
    NotComputedError
        The kernel gave no distance between two solids, or their common volume does not add up.
    """
    ground = {p.body: p.ground for p in cut.parts}
    bodies: dict[str, Shape] = {name: ground.get(name, solid) for name, solid in placed.items()}
    boxes = {name: loose_box(shape) for name, shape in bodies.items()}
    copies = {p.body: p.like for p in cut.parts}
    for mover, swept in cut.movers.items():
        swept_box = loose_box(swept)
        gaps = {n: box_gap_mm(swept_box, box) for n, box in boxes.items()}
        closest: Approach | None = None
        reported = False
        known: dict[str, tuple[Apart | None, float]] = {}
        sides = _Sides(swept)
        for name in sorted(gaps, key=lambda n: (gaps[n], n)):
            best_mm = closest.apart.distance_mm if closest else math.inf
            most_mm = max(best_mm, least_mm)
            if gaps[name] > most_mm:
                break
            alone = not kept or mover not in _TURNING or name not in copies
            # How the mover stands to a body that is not cut may be kept, whole.
            if name in ground and (mover in CUTS or (alone and sides.stay_off(bodies[name], most_mm))):
                continue
            like, at_mm = (name, 0.0) if alone else copies[name]
            if like in known:
                first, from_mm = known[like]
                how = None if first is None else first.shifted((at_mm - from_mm, 0.0, 0.0))
            else:
                asked = asked_of("apart", (swept, bodies[name])) if kept and name not in ground else ""
                how = recalled(
                    asked, partial(apart, swept, bodies[name], f"the {mover} of {cut.name} and {name}")
                )
                known[like] = how, at_mm
            if how is None:
                continue
            found = Approach(mover=mover, body=name, body_shape=bodies[name], apart=how)
            near = too_near(how.distance_mm, kept_clear_mm(cut, mover, name, least_mm))
            if near:
                yield found
            if how.distance_mm < best_mm:
                closest, reported = found, near
        if closest is not None and not reported:
            yield closest


class _Sides:
    """The faces of a mover, each with its box."""

    def __init__(self, mover: Shape) -> None:
        self._mover = mover

    @cached_property
    def _boxed(self) -> list[tuple[Face, Box]]:
        return [(face, loose_box(face)) for face in faces_of(self._mover)]

    def stay_off(self, body: Shape, least_mm: float) -> bool:
        """Tell whether a body is beside the mover, and none of the faces nearer to it than a distance."""
        box = loose_box(body)
        if math.isinf(least_mm) or box_gap_mm(loose_box(self._mover), box) <= 0.0:
            return False
        near = [face for face, side in self._boxed if box_gap_mm(side, box) <= least_mm]
        return not near or distance(compound(near), body)[0] >= least_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Depth:
    """Depth of a floor below the highest place of a part that the flange passes over; `body` is that part."""

    body: str
    depth_mm: float


def flange_reach_mm(wheel_diameter_mm: float, flange_diameter_mm: float) -> float:
    """Return the greatest depth that the flange lets the wheel reach: half of what it stands out by.

    Parameters
    ----------
    wheel_diameter_mm, flange_diameter_mm : float
        Outer diameters of the wheel and of its flange.

    Returns
    -------
    float
        Negative where the flange is larger than the wheel.
    """
    return (wheel_diameter_mm - flange_diameter_mm) / 2


def depth_beside_flange(cut: GroundCut, reach_mm: float) -> Depth | None:
    """Return the deepest floor of a cut as the flange sees it; None when no part stands under the flange.

    Parameters
    ----------
    cut : GroundCut
        The cut with its parts, path and the sweep of its flanges.
    reach_mm : float
        Height of the flange's lowest point over the floor, as `flange_reach_mm` gives it.

    Returns
    -------
    Depth or None
        The part, and how far it stands above the floor.

    Raises
    ------
    NotComputedError
        A part could not be clipped to the flange's travel.
    """
    deepest: Depth | None = None
    for part in cut.parts:
        top_mm = _top_under(part, cut.movers[Mover.FLANGE], cut.path.floor_z_mm + reach_mm)
        if top_mm is None:
            continue
        depth_mm = top_mm - cut.path.floor_z_mm
        if deepest is None or depth_mm > deepest.depth_mm:
            deepest = Depth(body=part.body, depth_mm=depth_mm)
    return deepest


def gouge_depth_mm(part: PartGround, enough_mm: float) -> float:
    """Return how deep the wheel cuts below a part's drawn surface, the drawn fillet of the corner apart.

    Parameters
    ----------
    part : PartGround
        After the cut.
    enough_mm : float
        The thickness of a gouge that is no thicker than this across Y or Z stands for its depth, which it
        bounds.

    Returns
    -------
    float
        Zero where nothing was dug out.
    """
    thick_mm = thinner_mm(part.dug)
    if part.dug is None or thick_mm <= enough_mm:
        return thick_mm
    return depth_mm(part.dug, part.target, part.ground)


def _top_under(part: PartGround, flange: Shape, low_enough_mm: float) -> float | None:
    """Return the height of a part under the flange's travel along Y; None when it stands clear of it.

    The part's own top is taken as it is when it is low enough anyway; else it is clipped to the travel.
    """
    box = box_of(part.ground)
    tops = []
    for solid in solids_of(flange):
        _, y0, _, _, y1, _ = loose_box(solid)
        if y1 <= box[1] or y0 >= box[4]:
            continue
        if box[5] <= low_enough_mm:
            tops.append(box[5])
            continue
        band = (box[0] - 1, y0, box[2] - 1, box[3] + 1, y1, box[5] + 1)
        under = clipped(part.ground, band, f"{part.body} under the flange")
        tops.append(box_of(under)[5] if under is not None else -math.inf)
    return max((t for t in tops if math.isfinite(t)), default=None)


TIP_MM = 0.5
"""Radius of what is surely solid where a clamp presses; a real tip is wider."""
TOE_REACH_MM = 60.0
"""How far a toe clamp reaches behind its tip: common practice, no source."""
NUT_SCREWS = 3.0
"""Height of bar, nut and screw over the tip, in diameters of the screw: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Undrawn:
    """Space of one strap or toe clamp, in the machine's frame.

    Parameters
    ----------
    clamp : str
        Its name.
    least : Solid
        What it fills whichever way its bar lies: a pin at the tip, as long as the screw is thick.
    most : Solid
        What it can fill at most: an upright disc round the tip as wide as the bar can reach.
    """

    clamp: str
    least: Solid
    most: Solid


def undrawn(clamp: Clamp) -> Undrawn | None:
    """Return the space of a clamp; None for a vise, whose jaws are drawn, and for one without a place.

    A strap lies on the part and its bar is about as thick as its screw; it points any way, since the set-up
    does not state one. A toe stands behind its tip, against its push.

    Parameters
    ----------
    clamp : Clamp
        As stated.

    Returns
    -------
    Undrawn or None
        What it fills at least and at most.
    """
    if clamp.kind == ClampKind.VISE or clamp.at_mm is None:
        return None
    x, y, z = clamp.at_mm
    reach_mm = clamp.screw_to_part_mm + clamp.screw_to_heel_mm + clamp.screw_mm
    back: Vector = (0.0, 0.0, 1.0)
    if clamp.kind == ClampKind.TOE and clamp.inward is not None:
        size = math.hypot(*clamp.inward)
        u, v, w = (-a / size for a in clamp.inward)
        back = (u, v, w)
        reach_mm = TOE_REACH_MM
    end = (x + back[0] * clamp.screw_mm, y + back[1] * clamp.screw_mm, z + back[2] * clamp.screw_mm)
    return Undrawn(
        clamp=clamp.name,
        least=cylinder(TIP_MM, clamp.at_mm, end),
        most=cylinder(reach_mm, clamp.at_mm, (x, y, z + NUT_SCREWS * clamp.screw_mm)),
    )
