"""Which faces a cut makes, where the wheel goes to make them, and what it sweeps with flanges and guard."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fixturecheck.arrays import Point2, Segment
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import face_within, united
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2, box_of, centroid_of, flat_of, joined_box, normal_in_middle
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.select import joining
from fixturecheck.kernel.shapes import Box, Face, Shape, Solid
from fixturecheck.kernel.sweep import Hood, Outline, Travel, swept_disc, swept_hood, swept_outline
from fixturecheck.result.contact import Mover, WheelPath
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Cut, Machine, Setup
from fixturecheck.setup.records import CutWay
from fixturecheck.shop.wheel_profile import Section, profile

OF_WHEEL = (Mover.WHEEL, Mover.FLANGE, Mover.GUARD)
_FACING = math.cos(math.radians(30.0))
"""A face within 30 degrees of where it should look is the face that was meant."""
_SAME_MM = 1e-6
_UNDERCUT_MM = 0.05
"""A face that reaches less past its neighbour is tilted, not undercut."""
_LEVEL_MM = 1e-9
_WHOLE_STEP = 1e-9
"""A feed that is a whole number of steps but for this share takes no further step."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TargetFace:
    """One target face of one part: flat, where it stands.

    Parameters
    ----------
    name : FaceRef
        The face.
    faces : tuple of Face
        The faces of that name, in the machine's frame.
    centre, normal : Vector
        Centre of area and mean outward normal.
    area_mm2 : float
        Their area.
    box : Box
        Their common box.
    """

    name: FaceRef
    faces: tuple[Face, ...]
    centre: Vector
    normal: Vector
    area_mm2: float
    box: Box


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartTargets:
    """One part of a cut where it stands.

    Parameters
    ----------
    floor, wall : TargetFace
        The faces to make; wall is None for a cut without one.
    corner : tuple of Face
        What joins floor and wall inside the corner: a fillet or a chamfer, not a relief.
    undercut_mm : tuple of float
        How far the floor ends short of the wall, and the wall short of the floor, where an undercut takes
        their corner; zero where they meet or are joined.
    """

    body: Body
    solid: Solid
    floor: TargetFace
    wall: TargetFace | None
    corner: tuple[Face, ...]
    undercut_mm: tuple[float, float] = (0.0, 0.0)


def targets_of(setup: Setup, cut: Cut) -> list[PartTargets]:
    """Return the target faces of every part of a cut.

    Parameters
    ----------
    setup : Setup
        The bodies where they stand.
    cut : Cut
        Names of its parts, of their floor and of their wall.

    Returns
    -------
    list of PartTargets
        In the order of the cut's parts, machine's frame.

    Raises
    ------
    SetupError
        A cut has no parts; a part or face does not exist; a floor does not look up or a wall does not
        look along Y within 30 degrees; a target is not flat; a floor lies behind its wall.
    """
    if not cut.parts:
        raise SetupError(f"cut {cut.name}: no parts are named; name at least one")
    found = []
    for name in cut.parts:
        body = setup.body(name)
        solid = placed_at(body.solid, body.at)
        faces = faces_of(solid)
        floor = _target(cut, body, faces, cut.floor)
        if floor.normal[2] < _FACING:
            raise SetupError(_wrong_way(cut, "floor", floor, "up (+Z)"))
        wall = _target(cut, body, faces, cut.wall) if cut.wall else None
        if wall is not None and abs(wall.normal[1]) < _FACING:
            raise SetupError(_wrong_way(cut, "wall", wall, "along Y, where the wheel's side grinds"))
        if wall is None:
            found.append(PartTargets(body=body, solid=solid, floor=floor, wall=None, corner=()))
        else:
            if _is_behind(floor, wall):
                raise SetupError(
                    f"cut {cut.name}: all of floor {floor.name} lies behind wall {wall.name}; "
                    "name the wall that stands over the floor, or none"
                )
            found.append(_cornered(body, solid, floor, wall))
    return found


def _is_behind(floor: TargetFace, wall: TargetFace) -> bool:
    """Tell whether no portion of a floor lies on the side that its wall looks to."""
    if wall.normal[1] > 0:
        return floor.box[4] < wall.box[1] + _SAME_MM
    return floor.box[1] > wall.box[4] - _SAME_MM


def _cornered(body: Body, solid: Solid, floor: TargetFace, wall: TargetFace) -> PartTargets:
    """Return a part whose floor and wall leave out the undercut of their corner.

    An undercut is cut before: its bottom lies under the floor and behind the wall, where nothing is ground.
    """
    corner = _corner_faces(solid, floor, wall)
    front = 1.0 if wall.normal[1] > 0 else -1.0
    wall_y = wall.box[4] if front > 0 else wall.box[1]
    above, before = _above(wall, floor), _before(floor, wall_y, front)
    off_mm = (before.box[1] - wall_y) if front > 0 else (wall_y - before.box[4])
    up_mm = above.box[2] - floor.box[5]
    undercut = (0.0, 0.0) if corner else (max(off_mm, 0.0), max(up_mm, 0.0))
    return PartTargets(
        body=body, solid=solid, floor=before, wall=above, corner=corner, undercut_mm=_not_noise(undercut)
    )


def _not_noise(sizes_mm: tuple[float, float]) -> tuple[float, float]:
    one, two = (size if size > _SAME_MM else 0.0 for size in sizes_mm)
    return one, two


def _above(wall: TargetFace, floor: TargetFace) -> TargetFace:
    """Return the wall less what lies below a floor that runs along all of it."""
    x0, y0, z0, x1, y1, z1 = wall.box
    top = floor.box[5]
    if z0 > top - _UNDERCUT_MM or floor.box[0] > x0 + _SAME_MM or floor.box[3] < x1 - _SAME_MM:
        return wall
    return _within(wall, (x0 - 1.0, y0 - 1.0, top, x1 + 1.0, y1 + 1.0, z1 + 1.0))


def _before(floor: TargetFace, wall_y: float, front: float) -> TargetFace:
    """Return the floor less what lies behind the wall."""
    x0, y0, z0, x1, y1, z1 = floor.box
    if (y0 if front > 0 else -y1) > front * wall_y - _UNDERCUT_MM:
        return floor
    low, high = (wall_y, y1 + 1.0) if front > 0 else (y0 - 1.0, wall_y)
    return _within(floor, (x0 - 1.0, low, z0 - 1.0, x1 + 1.0, high, z1 + 1.0))


def _within(target: TargetFace, box: Box) -> TargetFace:
    """Return the portion of a target that lies in a box; all of it where nothing does."""
    faces = tuple(piece for face in target.faces for piece in face_within(face, box))
    return _measured(target.name, faces, target.normal) if faces else target


def _corner_faces(solid: Solid, floor: TargetFace, wall: TargetFace) -> tuple[Face, ...]:
    """Return the faces that join floor and wall above the one and in front of the other."""
    z_mm, front = floor.box[2], 1.0 if wall.normal[1] > 0 else -1.0
    y_mm = wall.box[4] if front > 0 else wall.box[1]

    def inside(face: Face) -> bool:
        box, (_, across, up) = box_of(face), normal_in_middle(face)
        before = box[1] >= y_mm - _SAME_MM if front > 0 else box[4] <= y_mm + _SAME_MM
        looks_out = up > _SAME_MM and across * front > _SAME_MM
        return box[2] >= z_mm - _SAME_MM and before and looks_out

    return tuple(f for f in joining(solid, floor.faces, wall.faces) if inside(f))


def _wrong_way(cut: Cut, role: str, target: TargetFace, way: str) -> str:
    x, y, z = (round(v, 3) + 0.0 for v in target.normal)
    return (
        f"cut {cut.name}: {role} {target.name} looks toward ({x:g}, {y:g}, {z:g}); "
        f"a {role} must look {way}: turn the part or name another face"
    )


def _target(cut: Cut, body: Body, faces: list[Face], name: str) -> TargetFace:
    """Collect the faces of one name."""
    indices = body.face_indices(name)
    if not indices:
        known = ", ".join(sorted(body.face_names()))
        raise SetupError(f"cut {cut.name}: {body.name} has no face {name!r}; it has {known}")
    named = tuple(faces[i] for i in indices)
    areas = [area_mm2(f) for f in named]
    flats = [flat_of(f) for f in named]
    normal = [0.0, 0.0, 0.0]
    for area, flat in zip(areas, flats, strict=True):
        if flat is None:
            raise SetupError(f"cut {cut.name}: {body.name}.{name} is not flat; name a flat face")
        for k in range(3):
            normal[k] += flat[1][k] * area
    length = math.hypot(*normal)
    unit = (normal[0] / length, normal[1] / length, normal[2] / length)
    return _measured(FaceRef.of(body.name, name), named, unit)


def _measured(name: FaceRef, faces: tuple[Face, ...], normal: Vector) -> TargetFace:
    """Return flat faces as one target, with their size and place."""
    areas = [area_mm2(f) for f in faces]
    total = sum(areas)
    centres = [centroid_of(f) for f in faces]
    x, y, z = (sum(a * c[k] for a, c in zip(areas, centres, strict=True)) / total for k in range(3))
    return TargetFace(
        name=name,
        faces=faces,
        centre=(x, y, z),
        normal=normal,
        area_mm2=total,
        box=joined_box([box_of(f) for f in faces]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelRim:
    """The wheel as it meets the work, y from its front face, mm.

    Parameters
    ----------
    outline : sequence of segment
        Radius over y from front to rear face.
    radius_mm, thickness_mm : float
        The greatest radius, and the length of the outline along y.
    flat_from_mm, flat_to_mm : float
        Where the outline is at its greatest radius; equal when it only crests there.
    clamp_front_mm, clamp_rear_mm : float
        Where the two flanges bear.
    """

    outline: Outline
    radius_mm: float
    thickness_mm: float
    flat_from_mm: float
    flat_to_mm: float
    clamp_front_mm: float
    clamp_rear_mm: float

    @property
    def flat_mm(self) -> float:
        """Width of the flat that makes a floor."""
        return self.flat_to_mm - self.flat_from_mm


def rim_of(setup: Setup) -> WheelRim:
    """Read the rim off the wheel's section.

    The wheel counts as filled from its outline to the axis: arbor and flange fill most of a bore or
    recess, and below the axis nothing that the traverse crosses could stand inside a cup untouched.

    Parameters
    ----------
    setup : Setup
        States the wheel and the flange.

    Returns
    -------
    WheelRim
        Outline, flat, and where the flanges bear.

    Raises
    ------
    SetupError
        The dimensions do not make a wheel.
    NotComputedError
        The outline turns back in y, so no single radius passes each y.
    """
    section = profile(setup.wheel, filled=True)
    outline = tuple(_over_the_rim(section))
    radius_mm = section.largest_radius_mm
    y0_mm, y1_mm = section.y_range_mm
    crests = [y for y, r in section.extremes() if r > radius_mm - _LEVEL_MM]
    clamped = list(_clamped_y(section, setup.machine.flange.diameter_mm / 2))
    return WheelRim(
        outline=outline,
        radius_mm=radius_mm,
        thickness_mm=y1_mm - y0_mm,
        flat_from_mm=min(crests),
        flat_to_mm=max(crests),
        clamp_front_mm=min(clamped),
        clamp_rear_mm=max(clamped),
    )


def _over_the_rim(section: Section) -> Iterator[Segment]:
    """Yield the segments from the outermost point of the front face to that of the rear face."""
    y0, y1 = section.y_range_mm
    starts = [s[1] for s in section.segments]
    n = len(starts)
    first = max((i for i in range(n) if abs(starts[i][0] - y0) <= _LEVEL_MM), key=lambda i: starts[i][1])
    last = max((i for i in range(n) if abs(starts[i][0] - y1) <= _LEVEL_MM), key=lambda i: starts[i][1])
    for step in range((last - first) % n):
        segment = section.segments[(first + step) % n]
        if _turns_back(segment):
            raise NotComputedError(
                "the wheel's outline turns back along its axis; where it grinds was not computed"
            )
        yield segment


def _turns_back(segment: Segment) -> bool:
    """Say whether a segment ever runs toward the front."""
    ys = [p[0] for p in segment[1:] if isinstance(p, tuple)]
    return any(b < a - _LEVEL_MM for a, b in pairwise(ys))


def _clamped_y(section: Section, flange_radius_mm: float) -> Iterator[float]:
    """Yield the y of the section's points within the flange's radius."""
    for segment in section.segments:
        start: Point2 = segment[1]
        end: Point2 = segment[-1]
        inside = [p for p in (start, end) if p[1] <= flange_radius_mm + _LEVEL_MM]
        yield from (p[0] for p in inside)
        if len(inside) == 1 and not math.isclose(start[1], end[1]):
            share = (flange_radius_mm - start[1]) / (end[1] - start[1])
            yield start[0] + share * (end[0] - start[0])


def run_out_mm(diameter_mm: float, depth_mm: float) -> float:
    """Return how far past an edge the spindle stands when a wheel that deep has just left it.

    Half the chord that the depth cuts off the wheel: sqrt(a (D - a)).

    Parameters
    ----------
    diameter_mm : float
        Diameter of the wheel.
    depth_mm : float
        Depth of the wheel below the edge, from 0 to half of the diameter.

    Returns
    -------
    float
        From zero to half the diameter.

    Raises
    ------
    SetupError
        The depth is not between 0 and half of the diameter.

    References
    ----------
    Chord of a circle, closed form; a wheel of 200 mm at 5 mm depth needs 31.225 mm.
    """
    if not 0 <= depth_mm <= diameter_mm / 2:
        raise SetupError(
            f"a depth of {depth_mm:g} mm is not between 0 and half of a {diameter_mm:g} mm wheel"
        )
    return math.sqrt(depth_mm * (diameter_mm - depth_mm))


def wheel_path(cut: Cut, rim: WheelRim, parts: Sequence[PartTargets]) -> WheelPath:
    """Return the path of the last pass from the parts as they stand.

    Height and wall are those of the first part named, at the centres of its faces: that is where the dials
    are set. Other parts that stand differently, and faces that are tilted, keep their error; `align` reports
    it and the part as ground shows it. The traverse covers the floors of all parts and runs out at both
    ends until the wheel has left the stock on the floor, then the overtravel. With a wall the wheel's side
    stops at the wall; a traverse feeds away from it by whole steps until the flat of the wheel has passed
    the far edge. Without a wall the wheel is centred over the floor, or beside by the stated shift.

    Parameters
    ----------
    cut : Cut
        Way of cutting, stock, overtravel and cross feed.
    rim : WheelRim
        The wheel as it meets the work.
    parts : sequence of PartTargets
        One at least; the first sets height and wall.

    Returns
    -------
    WheelPath
        In the machine's frame.

    Raises
    ------
    SetupError
        The walls of a gang lie on opposite sides, or the way of cutting is not known.
    """
    first = parts[0]
    x0 = min(p.floor.box[0] for p in parts)
    x1 = max(p.floor.box[3] for p in parts)
    out_mm = run_out_mm(2 * rim.radius_mm, cut.stock_mm) + cut.overtravel_mm
    sign = _wall_sign(cut, parts)
    y_from, y_to = _cross_feed(cut, rim, parts, sign)
    return WheelPath(
        floor_z_mm=first.floor.centre[2],
        x_from_mm=x0 - out_mm,
        x_to_mm=x1 + out_mm,
        y_from_mm=y_from,
        y_to_mm=y_to,
        wall_sign=sign,
    )


def _wall_sign(cut: Cut, parts: Sequence[PartTargets]) -> int:
    """Return on which side of the wheel the walls lie."""
    signs = {(-1 if p.wall.normal[1] > 0 else 1) if p.wall else 0 for p in parts}
    if len(signs) > 1:
        raise SetupError(
            f"cut {cut.name}: the walls {cut.wall!r} of its parts look both ways along Y; "
            "grind them in two cuts, or turn parts round"
        )
    return signs.pop()


def _cross_feed(cut: Cut, rim: WheelRim, parts: Sequence[PartTargets], sign: int) -> tuple[float, float]:
    """Return both ends of the front face's travel along Y."""
    if cut.way not in {CutWay.PLUNGE, CutWay.TRAVERSE}:
        raise SetupError(f"cut {cut.name}: way {cut.way!r} is not known; use plunge or traverse")
    edge0 = min(p.floor.box[1] for p in parts)
    edge1 = max(p.floor.box[4] for p in parts)
    wall = parts[0].wall
    if wall is None:
        centred = (edge0 + edge1) / 2 - (rim.flat_from_mm + rim.flat_to_mm) / 2 + cut.feed_shift_mm
        feed = _whole_steps(cut, edge1 - edge0 - rim.flat_mm) if cut.way == CutWay.TRAVERSE else 0.0
        return centred - feed / 2, centred + feed / 2
    at_wall = wall.centre[1] - (rim.thickness_mm if sign > 0 else 0.0)
    if cut.way == CutWay.PLUNGE:
        return at_wall, at_wall
    if sign > 0:
        feed = _whole_steps(cut, at_wall + rim.flat_from_mm - edge0)
        return at_wall - feed, at_wall
    feed = _whole_steps(cut, edge1 - at_wall - rim.flat_to_mm)
    return at_wall, at_wall + feed


def _whole_steps(cut: Cut, needed_mm: float) -> float:
    """Return the least whole number of cross-feed steps that covers what is needed."""
    if needed_mm <= 0:
        return 0.0
    if cut.cross_feed_mm <= 0:
        raise SetupError(
            f"cut {cut.name}: a traverse needs a cross feed above zero, got {cut.cross_feed_mm:g} mm"
        )
    return math.ceil(needed_mm / cut.cross_feed_mm - _WHOLE_STEP) * cut.cross_feed_mm


def sweeps_of(
    machine: Machine, rim: WheelRim, path: WheelPath, movers: Sequence[Mover] = OF_WHEEL
) -> dict[Mover, Shape]:
    """Return what goes along a path sweeps in its last pass, in the machine's frame.

    Parameters
    ----------
    machine : Machine
        Its flanges and guard.
    rim : WheelRim
        The wheel as it meets the work.
    path : WheelPath
        Its last pass.
    movers : sequence of Mover
        Those asked for, of wheel, flange and guard.

    Returns
    -------
    dict of Mover to Shape
        Without the guard where there is none.
    """
    travel = Travel(
        x_from_mm=path.x_from_mm,
        x_to_mm=path.x_to_mm,
        y_from_mm=path.y_from_mm,
        y_to_mm=path.y_to_mm,
        axis_z_mm=path.floor_z_mm + rim.radius_mm,
    )
    swept: Mapping[Mover, Callable[[], Shape | None]] = {
        Mover.WHEEL: lambda: swept_outline(rim.outline, travel),
        Mover.FLANGE: lambda: _flanges(machine, rim, travel),
        Mover.GUARD: lambda: _hood(machine, rim, travel),
    }
    return {mover: shape for mover in movers if (shape := swept[mover]()) is not None}


def wheel_at(rim: WheelRim, path: WheelPath) -> Solid:
    """Return the wheel itself where the last pass ends.

    Parameters
    ----------
    rim : WheelRim
        The wheel as it meets the work.
    path : WheelPath
        Its last pass.

    Returns
    -------
    Solid
        Machine's frame; at the end of the traverse, against the wall where there is one.
    """
    z_mm = path.floor_z_mm + rim.radius_mm
    x_mm, y_mm = path.x_to_mm, path.y_from_mm if path.wall_sign < 0 else path.y_to_mm
    still = Travel(x_from_mm=x_mm, x_to_mm=x_mm, y_from_mm=y_mm, y_to_mm=y_mm, axis_z_mm=z_mm)
    return swept_outline(rim.outline, still)


def _flanges(machine: Machine, rim: WheelRim, travel: Travel) -> Shape:
    """Sweep both flanges; a cross feed longer than the wheel is thick makes them meet."""
    radius_mm, thick_mm = machine.flange.diameter_mm / 2, machine.flange.thickness_mm
    front = swept_disc(radius_mm, rim.clamp_front_mm - thick_mm, rim.clamp_front_mm, travel)
    rear = swept_disc(radius_mm, rim.clamp_rear_mm, rim.clamp_rear_mm + thick_mm, travel)
    return united([front, rear], "the flanges' sweeps")


def _hood(machine: Machine, rim: WheelRim, travel: Travel) -> Shape | None:
    guard = machine.guard
    if guard is None:
        return None
    inner_mm = rim.radius_mm + guard.radial_gap_mm
    hood = Hood(
        opening_deg=guard.opening_deg,
        inner_mm=inner_mm,
        outer_mm=inner_mm + guard.wall_mm,
        y0_mm=-guard.side_gap_mm,
        y1_mm=rim.thickness_mm + guard.side_gap_mm,
        wall_mm=guard.wall_mm,
    )
    return swept_hood(hood, travel)
