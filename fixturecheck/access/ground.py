"""What is each part of a cut once it has been ground: what is left over, what is gouged, what is made."""

from __future__ import annotations

from fixturecheck.access.copies import ground_each
from fixturecheck.access.corner import corner_of, outside_fillet
from fixturecheck.access.model import GroundCut, PartGround, WheelPath
from fixturecheck.access.path import wheel_path
from fixturecheck.access.stock import stock_of
from fixturecheck.access.sweeps import sweeps_of, wheel_at
from fixturecheck.access.targets import PartTargets, Target, targets_of
from fixturecheck.access.wheel import Rim, rim_of
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.boolean import Split, shared_area_mm2, split
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.result import CutMade, FaceMade, NamedShape, Role, WheelTravel, wheel_name
from fixturecheck.setup.model import Cut, Setup

_SUM_SHARE = 1e-6
"""Share of the stock by which the ground part, worked out two ways, may differ."""
_NO_SPLIT = Split(kept=None, taken=None, kept_mm3=0.0, taken_mm3=0.0)


def grind(setup: Setup, cut: Cut, *, path: WheelPath | None = None) -> GroundCut:
    """Grind the parts of a cut and compare them with the drawing.

    Only the last pass is swept. Every earlier pass runs the same X and Y at a greater height; a point below
    the axis that an earlier, higher pass reaches is nearer to the axis of the last one, so the last pass
    has taken it too. Above the axis of the last pass nothing of a part can stand beside the wheel without
    meeting the flange, which `clear` looks for.

    Parameters
    ----------
    path : WheelPath, optional
        A path to use instead of the one that the cut asks for.

    Raises
    ------
    SetupError
        The cut's faces do not exist or do not look the right way, or the wheel cannot be made.
    NotComputedError
        A boolean did not add up; no number is given from it.
    """
    rim = rim_of(setup)
    parts = targets_of(setup, cut)
    where = path or wheel_path(cut, rim, parts)
    sweeps = sweeps_of(setup.machine, rim, where)
    ground = ground_each(cut, where, parts, lambda p: _grind_part(setup, cut, rim, where, sweeps.wheel, p))
    return GroundCut(
        cut=cut,
        path=where,
        wheel_sweep=sweeps.wheel,
        flange_sweep=sweeps.flange,
        guard_sweep=sweeps.guard,
        parts=ground,
        made=_made(cut, where, ground),
        shapes=tuple(_named(cut, ground, wheel_at(rim, where))),
    )


def _grind_part(
    setup: Setup, cut: Cut, rim: Rim, path: WheelPath, sweep: Solid, part: PartTargets
) -> PartGround:
    """Take the sweep from one part's stock; leftover and gouge are worked out apart from it, as a check."""
    name, write, near_mm = part.body.name, setup.write, setup.tolerances.touch_mm
    stock = stock_of(cut, part, write)
    whole = split(stock.solid, sweep, f"the stock of {name} by the wheel of {cut.name}")
    layer = _NO_SPLIT
    if stock.layer is not None:
        layer = split(stock.layer, sweep, f"the layer on {name} by the wheel of {cut.name}")
    drawn = split(part.solid, sweep, f"{name} by the wheel of {cut.name}")
    if whole.kept is None:
        message = f"the wheel of cut {cut.name} takes all of {name}; is the path where it should be?"
        raise NotComputedError(message)
    if abs(whole.kept_mm3 - drawn.kept_mm3 - layer.kept_mm3) > _SUM_SHARE * stock.solid_mm3:
        message = (
            f"{name} as ground by {cut.name} has {write.volume(whole.kept_mm3, '.6g')}, but drawn part less "
            f"gouge plus leftover is {write.volume(drawn.kept_mm3 + layer.kept_mm3, '.6g')}"
        )
        raise NotComputedError(message)
    corner, missed = corner_of(part, rim, path, whole.kept, layer.kept)
    touched = layer.kept is not None or drawn.taken is not None
    targets = [part.floor] + ([part.wall] if part.wall else [])
    return PartGround(
        body=name,
        target=part.solid,
        stock=stock.solid,
        ground=whole.kept,
        leftover=layer.kept,
        missed=missed,
        gouge=drawn.taken,
        dug=outside_fillet(part, rim, path, drawn.taken),
        removed_mm3=whole.taken_mm3,
        leftover_mm3=layer.kept_mm3,
        gouge_mm3=drawn.taken_mm3,
        corner=corner,
        faces=tuple(
            FaceMade(face=t.name, share_made=_share(t, whole.kept, near_mm) if touched else 1.0)
            for t in targets
        ),
        corner_shares=tuple(
            _share(t, corner.left, near_mm, facing=-1) if corner and corner.left else 0.0 for t in targets
        ),
    )


def _share(target: Target, shape: Shape, near_mm: float, *, facing: int = 1) -> float:
    """Return the share of a target face that lies on the surface of a solid."""
    on = sum(shared_area_mm2(f, shape, within_mm=near_mm, facing=facing) for f in target.faces)
    return min(on / target.area_mm2, 1.0)


def _made(cut: Cut, path: WheelPath, parts: tuple[PartGround, ...]) -> CutMade:
    """Sum the parts of a cut; the corner is the largest of theirs."""
    corners = [p.corner.radius_mm for p in parts if p.corner is not None]
    return CutMade(
        name=cut.name,
        removed_mm3=sum(p.removed_mm3 for p in parts),
        leftover_mm3=sum(p.leftover_mm3 for p in parts),
        gouge_mm3=sum(p.gouge_mm3 for p in parts),
        corner_radius_mm=max(corners) if corners else None,
        faces=tuple(f for p in parts for f in p.faces),
        travel=WheelTravel(
            floor_z_mm=path.floor_z_mm,
            x_from_mm=path.x_from_mm,
            x_to_mm=path.x_to_mm,
            y_from_mm=path.y_from_mm,
            y_to_mm=path.y_to_mm,
        ),
    )


def _named(cut: Cut, parts: tuple[PartGround, ...], wheel: Solid) -> list[NamedShape]:
    """Name what a report may show: the wheel, each part as ground, its leftover and gouge."""
    shapes = [NamedShape(name=wheel_name(cut.name), role=Role.WHEEL, geometry=wheel)]
    for p in parts:
        regions = ((Role.GROUND, p.ground), (Role.LEFTOVER, p.leftover), (Role.GOUGE, p.gouge))
        shapes += [
            NamedShape(name=f"{role} {cut.name} {p.body}", role=role, geometry=g, bodies=(p.body,))
            for role, g in regions
            if g is not None
        ]
    return shapes
