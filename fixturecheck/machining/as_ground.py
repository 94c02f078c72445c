"""Each part of a cut once it has been ground: stock left, ridges, gouges, corners, and copies ground once."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.boolean import Split, clipped, shared_area_mm2, split, united
from fixturecheck.kernel.brep.topology import one_of_each, solids_of
from fixturecheck.kernel.construct import pulled
from fixturecheck.kernel.depth import thinner_mm
from fixturecheck.kernel.measure import area_mm2, box_of, hollow_rounds, loose_box, volume_mm3
from fixturecheck.kernel.place import drawing_matrix, shifted
from fixturecheck.kernel.recall import asked_of, recalled
from fixturecheck.kernel.shapes import Box, Face, Shape, Solid
from fixturecheck.machining.cut import CornerMade, GroundCut, PartGround
from fixturecheck.machining.wheel_path import (
    PartTargets,
    WheelRim,
    rim_of,
    sweeps_of,
    targets_of,
    wheel_at,
    wheel_path,
)
from fixturecheck.numeric import scaled
from fixturecheck.result.contact import CutMade, FaceMade, Mover, WheelPath
from fixturecheck.result.shapes import NamedShape, Role, Vector, cutter_name, wheel_name
from fixturecheck.setup.model import Cut, Setup
from fixturecheck.units import Writing

_SUM_SHARE = 1e-6
_SAME_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stock:
    """The part before the cut, and the layer on it that the cut should take; None without stock."""

    solid: Solid
    layer: Shape | None
    solid_mm3: float


def stock_of(cut: Cut, part: PartTargets, write: Writing) -> Stock:
    """Return a part before its cut.

    Floor and wall are thickened along their normals by their stock. Where a fillet or chamfer joins them
    it moves out with both, so the hollow corner is filled; a relief, which lies beneath floor or wall, was
    cut before and stays open.

    Parameters
    ----------
    cut : Cut
        The cut as stated.
    part : PartTargets
        The part where it stands, as drawn.
    write : Writing
        How quantities are written.

    Returns
    -------
    Stock
        The part and the layer on it; without a layer where the cut has no stock.

    Raises
    ------
    NotComputedError
        Part and layer do not add up to the stock within 1e-6 of it.
    """
    return with_layers(part.body.name, part.solid, list(_layers(cut, part)), cut.name, write)


def with_layers(name: str, solid: Solid, layers: Sequence[Shape], cut_name: str, write: Writing) -> Stock:
    """Return a part with layers of stock put on it.

    Parameters
    ----------
    name : str
        Name of the part.
    solid : Solid
        The part where it stands, as drawn.
    layers : sequence of Shape
        Stock put on it.
    cut_name : str
        Name of the cut, for errors.
    write : Writing
        How quantities are written.

    Returns
    -------
    Stock
        The part and the portion of the layers outside it.

    Raises
    ------
    NotComputedError
        Part and layers do not add up to the stock within 1e-6 of it.
    """
    drawn_mm3 = volume_mm3(solid)
    if not layers:
        return Stock(solid=solid, layer=None, solid_mm3=drawn_mm3)
    layer = united(layers, f"the stock on {name}")
    # A layer may run into the part itself, as in a slot narrower below; only what is outside is stock.
    outside = split(layer, solid, f"the stock on {name} by the part")
    if outside.kept is None:
        raise NotComputedError(f"the stock of cut {cut_name} lies wholly inside {name}")
    whole = united([solid, outside.kept], f"{name} and its stock")
    solids = solids_of(whole)
    whole_mm3 = sum(volume_mm3(s) for s in solids)
    if len(solids) != 1 or abs(whole_mm3 - drawn_mm3 - outside.kept_mm3) > _SUM_SHARE * whole_mm3:
        raise NotComputedError(
            f"{name} with its stock came out as {len(solids)} solids of {write.volume(whole_mm3, '.6g')} "
            f"instead of one of {write.volume(drawn_mm3 + outside.kept_mm3, '.6g')}"
        )
    return Stock(solid=solids[0], layer=outside.kept, solid_mm3=whole_mm3)


def _layers(cut: Cut, part: PartTargets) -> Iterator[Shape]:
    """Yield the prisms of stock on floor, wall and the corner between them."""
    up = scaled(part.floor.normal, cut.stock_mm)
    if cut.stock_mm > 0:
        yield from (pulled(f, up) for f in part.floor.faces)
    if part.wall is None:
        return
    out = scaled(part.wall.normal, cut.wall_stock_mm)
    if cut.wall_stock_mm > 0:
        yield from (pulled(f, out) for f in part.wall.faces)
    both: Vector = (up[0] + out[0], up[1] + out[1], up[2] + out[2])
    if any(both):
        yield from (pulled(f, both) for f in part.corner)


_DECIMALS = 9
"""Two places are one when no entry differs in this many decimals: a nanometre in a metre."""

Key = tuple[object, ...]


def _ground_each(
    cut: Cut, path: WheelPath, parts: Sequence[PartTargets], grind: Callable[[PartTargets], PartGround]
) -> tuple[PartGround, ...]:
    """Grind every part of a cut, those that come out alike once.

    Between the ends of its traverse the wheel sweeps the same section at every X. A copy that stands there,
    turned alike and at the same Y and Z, comes out as the first did, moved along X.
    """
    found: dict[Key, tuple[PartGround, float]] = {}
    ground = []
    for part, key in zip(parts, _keys(cut, path, parts), strict=True):
        x_mm = float(drawing_matrix(part.solid)[0, 3])
        if key in found:
            first, from_mm = found[key]
            ground.append(_carried(first, part, x_mm - from_mm))
        else:
            ground.append(grind(part))
            found[key] = ground[-1], x_mm
    return tuple(ground)


def _keys(cut: Cut, path: WheelPath, parts: Sequence[PartTargets]) -> list[Key]:
    """Return what parts that come out alike have in common; a part that reaches past an end is alone."""
    keys: list[Key] = []
    for part, first in zip(parts, one_of_each([p.solid for p in parts]), strict=True):
        box = loose_box(part.solid)
        if box[0] < path.x_from_mm or box[3] > path.x_to_mm:
            keys.append((part.body.name,))
            continue
        place = drawing_matrix(part.solid)
        place[0, 3] = 0.0
        faces = tuple(part.body.face_indices(name) for name in (cut.floor, cut.wall) if name)
        keys.append((first, faces, (np.round(place, _DECIMALS) + 0.0).tobytes()))
    return keys


def _carried(first: PartGround, part: PartTargets, by_mm: float) -> PartGround:
    """Return a part as ground from the result of a copy of it further along X."""

    def there(shape: Shape | None) -> Shape | None:
        return None if shape is None else shifted(shape, by)

    by: Vector = (by_mm, 0.0, 0.0)
    corner = None if first.corner is None else replace(first.corner, left=there(first.corner.left))
    names = [part.floor.name, *([part.wall.name] if part.wall else [])]
    return replace(
        first,
        body=part.body.name,
        target=part.solid,
        stock=shifted(first.stock, by),
        ground=shifted(first.ground, by),
        leftover=there(first.leftover),
        missed=there(first.missed),
        gouge=there(first.gouge),
        dug=there(first.dug),
        corner=corner,
        faces=tuple(replace(face, face=name) for face, name in zip(first.faces, names, strict=True)),
        like=(first.body, by_mm),
    )


_TANGENT_MM = 1e-4
"""A round that misses floor or wall by less is tangent to it."""
_ROOM_MM = 1e-6


def _corner_of(
    part: PartTargets, rim: WheelRim, path: WheelPath, ground: Shape, leftover: Shape | None
) -> tuple[CornerMade | None, Shape | None]:
    """Return the corner as made, and the leftover outside the wheel's own corner.

    The radius is read off the hollow round faces of the ground part that touch the plane of the floor and
    the plane of the wheel's side. When there is none, the corner is as large as what was left in it.
    """
    if part.wall is None:
        return None, leftover
    wall_y_mm = wheel_side_mm(rim, path)
    left, missed = None, None
    if leftover is not None:
        box = _corner_box(rim, path, wall_y_mm, box_of(leftover))
        left, missed = _parted(leftover, box, part.body.name)
    rounds = [
        f.radius_mm
        for f in hollow_rounds(ground)
        if abs(f.z_mm - path.floor_z_mm - f.radius_mm) <= _TANGENT_MM
        and abs((wall_y_mm - f.y_mm) * path.wall_sign - f.radius_mm) <= _TANGENT_MM
    ]
    size_mm = _size_mm(left)
    radius_mm = max(rounds) if rounds else size_mm
    made = CornerMade(
        radius_mm=radius_mm, drawn_mm=_drawn_corner_mm(part), left=left, undercut_mm=part.undercut_mm
    )
    return made, missed


def wheel_side_mm(rim: WheelRim, path: WheelPath) -> float:
    """Return the Y of the wheel's side that stops at the wall.

    Parameters
    ----------
    rim : WheelRim
        The wheel as it meets the work.
    path : WheelPath
        Its path with a wall.

    Returns
    -------
    float
        In the machine's frame.
    """
    return path.y_from_mm if path.wall_sign < 0 else path.y_to_mm + rim.thickness_mm


def _outside_fillet(part: PartTargets, rim: WheelRim, path: WheelPath, gouge: Shape | None) -> Shape | None:
    """Return the portion of a gouge outside the fillet drawn between floor and wall."""
    drawn_mm = _drawn_corner_mm(part)
    if gouge is None or drawn_mm == 0:
        return gouge
    wall_y_mm = wheel_side_mm(rim, path)
    y0, y1 = sorted((wall_y_mm, wall_y_mm - path.wall_sign * drawn_mm))
    around = box_of(gouge)
    z0, e = path.floor_z_mm, _ROOM_MM
    box = (around[0] - 1.0, y0 - e, z0 - e, around[3] + 1.0, y1 + e, z0 + drawn_mm + e)
    return _parted(gouge, box, part.body.name)[1]


def _corner_box(rim: WheelRim, path: WheelPath, wall_y_mm: float, around: Box) -> Box:
    """Return the box that the wheel's corner on the wall's side cannot fill."""
    if path.wall_sign < 0:
        wide_mm, end_r_mm = rim.flat_from_mm, rim.outline[0][1][1]
    else:
        wide_mm, end_r_mm = rim.thickness_mm - rim.flat_to_mm, rim.outline[-1][-1][1]
    y0, y1 = sorted((wall_y_mm, wall_y_mm - path.wall_sign * wide_mm))
    z0, z1 = path.floor_z_mm, path.floor_z_mm + rim.radius_mm - end_r_mm
    return (around[0] - 1.0, y0 - _ROOM_MM, z0 - _ROOM_MM, around[3] + 1.0, y1 + _ROOM_MM, z1 + _ROOM_MM)


def _parted(leftover: Shape, corner: Box, name: str) -> tuple[Shape | None, Shape | None]:
    """Part the leftover into what lies in the corner's box and what does not."""
    box = box_of(leftover)
    if all(box[k] >= corner[k] and box[k + 3] <= corner[k + 3] for k in range(3)):
        return leftover, None
    what = f"leftover of {name} by the corner"
    left = clipped(leftover, corner, what)
    if left is None:
        return None, leftover
    return left, split(leftover, left, what).kept


def _size_mm(left: Shape | None) -> float:
    """Return the larger side of what was left in the corner, across Y and Z."""
    if left is None:
        return 0.0
    box = box_of(left)
    return max(box[4] - box[1], box[5] - box[2])


def _drawn_corner_mm(part: PartTargets) -> float:
    """Return the radius that the drawn corner has; the larger side of a chamfer."""
    sizes = [0.0]
    for face in part.corner:
        rounds = hollow_rounds(face)
        box = box_of(face)
        sizes.append(rounds[0].radius_mm if rounds else max(box[4] - box[1], box[5] - box[2]))
    return max(sizes)


_NO_SPLIT = Split(kept=None, taken=None, kept_mm3=0.0, taken_mm3=0.0)


def grind(setup: Setup, cut: Cut, *, path: WheelPath | None = None) -> GroundCut:
    """Grind the parts of a cut and compare them with the drawing.

    Only the last pass is swept. Every earlier pass runs the same X and Y at a greater height; a point below
    the axis that an earlier, higher pass reaches is nearer to the axis of the last one, so the last pass
    has taken it too. Above the axis of the last pass nothing of a part can stand beside the wheel without
    meeting the flange, which `clear` looks for.

    Parameters
    ----------
    setup : Setup
        States the parts, the machine and the wheel.
    cut : Cut
        What is ground, and how.
    path : WheelPath, optional
        A path to use instead of the one that the cut asks for.

    Returns
    -------
    GroundCut
        The parts as ground, the sweeps and the path.

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
    asked = asked_of("sweeps", (setup.machine, rim, where))
    movers = recalled(asked, lambda: sweeps_of(setup.machine, rim, where))
    wheel = movers[Mover.WHEEL]
    ground = _ground_each(cut, where, parts, lambda p: _grind_part(setup, cut, rim, where, wheel, p))
    corners = [p.corner.radius_mm for p in ground if p.corner is not None]
    return GroundCut(
        cut=cut,
        targets=tuple(parts),
        path=where,
        movers=movers,
        parts=ground,
        made=made_of(cut.name, ground, where, max(corners) if corners else None),
        shapes=tuple(shapes_of(cut.name, ground, wheel_at(rim, where))),
    )


def _grind_part(
    setup: Setup, cut: Cut, rim: WheelRim, path: WheelPath, sweep: Solid, part: PartTargets
) -> PartGround:
    """Take the sweep from one part's stock; leftover and gouge are worked out apart from it, as a check."""
    name, near_mm = part.body.name, setup.tolerances.touch_mm
    stock = stock_of(cut, part, setup.write)
    taken = taken_of(name, part.solid, stock, sweep, f"the wheel of {cut.name}", setup.write)
    ground, layer, drawn = taken.ground, taken.layer, taken.drawn
    corner, missed = _corner_of(part, rim, path, ground, layer.kept)
    touched = layer.kept is not None or drawn.taken is not None
    targets = [part.floor] + ([part.wall] if part.wall else [])
    return PartGround(
        body=name,
        target=part.solid,
        stock=stock.solid,
        ground=ground,
        leftover=layer.kept,
        missed=missed,
        gouge=drawn.taken,
        dug=_outside_fillet(part, rim, path, drawn.taken),
        removed_mm3=taken.removed_mm3,
        leftover_mm3=layer.kept_mm3,
        gouge_mm3=drawn.taken_mm3,
        corner=corner,
        faces=tuple(
            FaceMade(face=t.name, share_made=share_of(t.faces, ground, near_mm) if touched else 1.0)
            for t in targets
        ),
        corner_shares=tuple(
            share_of(t.faces, corner.left, near_mm, facing=-1) if corner and corner.left else 0.0
            for t in targets
        ),
        like=(name, 0.0),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Taken:
    """What a sweep takes of a part.

    Parameters
    ----------
    ground : Shape
        The stock less the sweep.
    removed_mm3 : float
        What it takes of the stock.
    layer, drawn : Split
        What it leaves and takes of the layer, and of the part as drawn.
    """

    ground: Shape
    removed_mm3: float
    layer: Split
    drawn: Split


def taken_of(name: str, solid: Solid, stock: Stock, sweep: Shape, by: str, write: Writing) -> Taken:
    """Take a sweep from a part's stock; leftover and gouge are worked out apart from it, as a check.

    Parameters
    ----------
    name : str
        Name of the part, for the errors.
    solid : Solid
        The part as drawn, where it stands.
    stock : Stock
        The part before the cut.
    sweep : Shape
        All that the wheel or cutter passes through.
    by : str
        What sweeps, named in the errors: `the wheel of top`.
    write : Writing
        Writes the volumes of the errors.

    Returns
    -------
    Taken
        What is left, what was taken, and both apart for the layer and for the part as drawn.

    Raises
    ------
    NotComputedError
        Nothing is left, or what is left is not drawn part less gouge plus leftover within 1e-6.
    """
    whole = split(stock.solid, sweep, f"the stock of {name} by {by}")
    layer = _NO_SPLIT if stock.layer is None else split(stock.layer, sweep, f"the layer on {name} by {by}")
    drawn = split(solid, sweep, f"{name} by {by}")
    if whole.kept is None:
        raise NotComputedError(f"{by} takes all of {name}; is the path where it should be?")
    if abs(whole.kept_mm3 - drawn.kept_mm3 - layer.kept_mm3) > _SUM_SHARE * stock.solid_mm3:
        raise NotComputedError(
            f"{name} as cut by {by} has {write.volume(whole.kept_mm3, '.6g')}, but drawn part less "
            f"gouge plus leftover is {write.volume(drawn.kept_mm3 + layer.kept_mm3, '.6g')}"
        )
    return Taken(ground=whole.kept, removed_mm3=whole.taken_mm3, layer=layer, drawn=drawn)


def share_of(faces: Sequence[Face], shape: Shape, near_mm: float, *, facing: int = 1) -> float:
    """Return the share of flat faces that lies on the surface of a solid.

    Parameters
    ----------
    faces : sequence of Face
        Flat.
    shape : Shape
        The solid.
    near_mm : float
        How far off its surface still counts.
    facing : int
        1 where its surface must look the same way, -1 where it must look the other way.

    Returns
    -------
    float
        From 0 to 1.
    """
    on = sum(shared_area_mm2(f, shape, within_mm=near_mm, facing=facing) for f in faces)
    return min(on / sum(area_mm2(f) for f in faces), 1.0)


def made_of(
    name: str, parts: Sequence[PartGround], path: WheelPath | None, corner_mm: float | None
) -> CutMade:
    """Sum the parts of a cut.

    Parameters
    ----------
    name : str
        What the cut is called.
    parts : sequence of PartGround
        Every part after the cut.
    path : WheelPath or None
        Where the wheel goes; None for an end mill.
    corner_mm : float or None
        Greatest radius that is left in a corner; None where no corner is made.

    Returns
    -------
    CutMade
        Volumes and faces of all parts together.
    """
    return CutMade(
        name=name,
        removed_mm3=sum(p.removed_mm3 for p in parts),
        leftover_mm3=sum(p.leftover_mm3 for p in parts),
        gouge_mm3=sum(p.gouge_mm3 for p in parts),
        corner_radius_mm=corner_mm,
        faces=tuple(f for p in parts for f in p.faces),
        path=path,
    )


_SEEN_MM = 1e-3
"""What is thinner than the touch tolerance is drawn neither as left over nor as gouge: a face that leans by
less than a second of arc would be painted all over."""


def shapes_of(
    cut: str, parts: Sequence[PartGround], tool: Shape, role: Role = Role.WHEEL
) -> list[NamedShape]:
    """Name what a report may show: the tool, each part as cut, what it left, and gouged beside a fillet.

    Parameters
    ----------
    cut : str
        Name of the cut.
    parts : sequence of PartGround
        The parts as cut.
    tool : Shape
        What cuts, where it stands at the end.
    role : Role
        Whether that is a wheel or a cutter.

    Returns
    -------
    list[NamedShape]
        The tool first.
    """
    name = cutter_name(cut) if role is Role.CUTTER else wheel_name(cut)
    shapes = [NamedShape(name=name, role=role, geometry=tool)]
    for p in parts:
        regions = ((Role.GROUND, p.ground), (Role.LEFTOVER, p.leftover), (Role.GOUGE, p.dug))
        shapes += [
            NamedShape(name=f"{role} {cut} {p.body}", role=role, geometry=g, bodies=(p.body,))
            for role, g in regions
            if g is not None and (role is Role.GROUND or thinner_mm(g) > _SEEN_MM)
        ]
    return shapes


def ridges_mm(setup: Setup, cut: GroundCut) -> Iterator[float]:
    """Yield the height of the ridges between passes of a traverse whose step is wider than the wheel's flat.

    Two passes a step s apart leave between their round corners of radius r, with a flat f, a ridge of
    r - sqrt(r^2 - ((s - f) / 2)^2), or the whole stock where the corners do not meet.

    Parameters
    ----------
    setup : Setup
        The set-up with its wheel.
    cut : GroundCut
        The cut, with its cross feed and stock.

    Yields
    ------
    float
        One height, or none where there is no cross feed or its step is no wider than the flat.

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
