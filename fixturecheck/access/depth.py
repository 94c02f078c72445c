"""How deep the wheel can go beside something before its flange meets it, and how deep it gouges."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fixturecheck.access.model import GroundCut, PartGround
from fixturecheck.kernel.boolean import clipped
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.measure import box_of, loose_box
from fixturecheck.kernel.shapes import Shape
from fixturecheck.kernel.thickness import depth_mm, thinner_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Depth:
    """Depth of a floor below the highest place of a part that the flange passes over; `body` is that part."""

    body: str
    depth_mm: float


def flange_reach_mm(wheel_diameter_mm: float, flange_diameter_mm: float) -> float:
    """Return the greatest depth that the flange lets the wheel reach: half of what it stands out by."""
    return (wheel_diameter_mm - flange_diameter_mm) / 2


def depth_beside_flange(cut: GroundCut, reach_mm: float) -> Depth | None:
    """Return the deepest floor of a cut as the flange sees it; None when no part stands under the flange.

    Raises
    ------
    NotComputedError
        A part could not be clipped to the flange's travel.
    """
    deepest: Depth | None = None
    for part in cut.parts:
        top_mm = _top_under(part, cut.flange_sweep, cut.path.floor_z_mm + reach_mm)
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
    enough_mm : float
        A gouge no thicker than this across Y or Z is told by that thickness, which bounds its depth.
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
