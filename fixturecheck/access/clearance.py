"""How close does what moves with the wheel come to everything else, over the whole travel of a cut."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from fixturecheck.access.model import GroundCut
from fixturecheck.kernel.boolean import Apart, apart
from fixturecheck.kernel.measure import box_gap_mm, loose_box
from fixturecheck.kernel.shapes import Shape, Solid

ROUNDING_MM = 1e-6
"""The kernel's distances between curved solids are good to this; a clearance short by less is met."""


def too_near(distance_mm: float, least_mm: float) -> bool:
    """Return whether a distance falls short of the clearance by more than rounding."""
    return distance_mm < least_mm - ROUNDING_MM


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Approach:
    """One mover against one body over a whole cut; `body_shape` is the body as it stands after the cut."""

    mover: str
    body: str
    body_shape: Shape
    apart: Apart


def movers_of(cut: GroundCut) -> dict[str, Shape]:
    """Return the swept volume of whatever moves with the wheel, by name."""
    swept = {"wheel": cut.wheel_sweep, "flange": cut.flange_sweep, "guard": cut.guard_sweep}
    return {name: shape for name, shape in swept.items() if shape is not None}


def approaches(cut: GroundCut, placed: Mapping[str, Solid], least_mm: float) -> Iterator[Approach]:
    """Yield for each mover every body closer than `least_mm`, and the closest one whatever its distance.

    Bodies that are ground in the cut stand as ground and meet only flange and guard: what the wheel takes
    from them is stock or a gouge. Boxes bound the distance from below, so far bodies cost nothing.

    Raises
    ------
    NotComputedError
        The kernel gave no distance between two solids, or their common volume does not add up.
    """
    ground = {p.body: p.ground for p in cut.parts}
    bodies: dict[str, Shape] = {name: ground.get(name, solid) for name, solid in placed.items()}
    boxes = {name: loose_box(shape) for name, shape in bodies.items()}
    for mover, swept in movers_of(cut).items():
        swept_box = loose_box(swept)
        gaps = {n: box_gap_mm(swept_box, box) for n, box in boxes.items()}
        closest: Approach | None = None
        for name in sorted(gaps, key=lambda n: (gaps[n], n)):
            if mover == "wheel" and name in ground:
                continue
            best_mm = closest.apart.distance_mm if closest else math.inf
            if gaps[name] > max(best_mm, least_mm):
                break
            how = apart(swept, bodies[name], f"the {mover} of {cut.cut.name} and {name}")
            if how is None:
                continue
            found = Approach(mover=mover, body=name, body_shape=bodies[name], apart=how)
            if too_near(how.distance_mm, least_mm):
                yield found
            if how.distance_mm < best_mm:
                closest = found
        if closest is not None and not too_near(closest.apart.distance_mm, least_mm):
            yield closest
