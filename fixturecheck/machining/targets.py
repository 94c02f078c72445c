"""Which faces of each part a cut makes, less what of them lies in an undercut."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import face_within
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2, box_of, centroid_of, flat_of, joined_box, normal_in_middle
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.select import joining
from fixturecheck.kernel.shapes import Box, Face, Solid
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Cut, Setup

_FACING = math.cos(math.radians(30.0))
"""A face within 30 degrees of where it should look is the face that was meant."""
_SAME_MM = 1e-6
_UNDERCUT_MM = 0.05
"""A face that reaches less past its neighbour is tilted, not undercut."""


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

    Raises
    ------
    SetupError
        A cut has no parts; a part or face does not exist; a floor does not look up or a wall does not
        look along Y within 30 degrees; a target is not flat.
    """
    if not cut.parts:
        message = f"cut {cut.name}: no parts are named; name at least one"
        raise SetupError(message)
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
            found.append(_cornered(body, solid, floor, wall))
    return found


def _cornered(body: Body, solid: Solid, floor: TargetFace, wall: TargetFace) -> PartTargets:
    """Return a part with floor and wall less what of either lies in an undercut of their corner.

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
    """Return what of a target lies in a box; all of it where nothing does."""
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
        message = f"cut {cut.name}: {body.name} has no face {name!r}; it has {known}"
        raise SetupError(message)
    named = tuple(faces[i] for i in indices)
    areas = [area_mm2(f) for f in named]
    flats = [flat_of(f) for f in named]
    normal = [0.0, 0.0, 0.0]
    for area, flat in zip(areas, flats, strict=True):
        if flat is None:
            message = f"cut {cut.name}: {body.name}.{name} is not flat; name a flat face"
            raise SetupError(message)
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
