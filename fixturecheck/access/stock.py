"""What a part is before the cut: the drawn part with the stock still on its floor and wall."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fixturecheck.access.targets import PartTargets
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.boolean import joined, split
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.construct import pulled
from fixturecheck.kernel.measure import volume_mm3
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.result import Vector
from fixturecheck.setup.model import Cut
from fixturecheck.units import METRIC, Writing

_SUM_SHARE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stock:
    """The part before the cut, and the layer on it that the cut should take; None without stock."""

    solid: Solid
    layer: Shape | None
    solid_mm3: float


def stock_of(cut: Cut, part: PartTargets, write: Writing = METRIC) -> Stock:
    """Return a part before its cut.

    Floor and wall are thickened along their normals by their stock. Where a fillet or chamfer joins them
    it moves out with both, so the hollow corner is filled; a relief, which lies beneath floor or wall, was
    cut before and stays open.

    Raises
    ------
    NotComputedError
        Part and layer do not add up to the stock within 1e-6 of it.
    """
    name = part.body.name
    drawn_mm3 = volume_mm3(part.solid)
    layers = list(_layers(cut, part))
    if not layers:
        return Stock(solid=part.solid, layer=None, solid_mm3=drawn_mm3)
    layer = joined(layers, f"the stock on {name}")
    # A layer may run into the part itself, as in a slot narrower below; only what is outside is stock.
    outside = split(layer, part.solid, f"the stock on {name} by the part")
    if outside.kept is None:
        message = f"the stock of cut {cut.name} lies wholly inside {name}"
        raise NotComputedError(message)
    whole = joined([part.solid, outside.kept], f"{name} and its stock")
    solids = solids_of(whole)
    whole_mm3 = sum(volume_mm3(s) for s in solids)
    if len(solids) != 1 or abs(whole_mm3 - drawn_mm3 - outside.kept_mm3) > _SUM_SHARE * whole_mm3:
        message = (
            f"{name} with its stock came out as {len(solids)} solids of {write.volume(whole_mm3, '.6g')} "
            f"instead of one of {write.volume(drawn_mm3 + outside.kept_mm3, '.6g')}"
        )
        raise NotComputedError(message)
    return Stock(solid=solids[0], layer=outside.kept, solid_mm3=whole_mm3)


def _layers(cut: Cut, part: PartTargets) -> Iterator[Shape]:
    """Yield the prisms of stock on floor, wall and the corner between them."""
    up = _scaled(part.floor.normal, cut.stock_mm)
    if cut.stock_mm > 0:
        yield from (pulled(f, up) for f in part.floor.faces)
    if part.wall is None:
        return
    out = _scaled(part.wall.normal, cut.wall_stock_mm)
    if cut.wall_stock_mm > 0:
        yield from (pulled(f, out) for f in part.wall.faces)
    both: Vector = (up[0] + out[0], up[1] + out[1], up[2] + out[2])
    if any(both):
        yield from (pulled(f, both) for f in part.corner)


def _scaled(v: Vector, by: float) -> Vector:
    return v[0] * by, v[1] * by, v[2] * by
