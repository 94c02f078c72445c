"""What the wheel leaves in the corner between floor and wall, and what it left elsewhere."""

from __future__ import annotations

from fixturecheck.access.model import CornerMade, WheelPath
from fixturecheck.access.targets import PartTargets
from fixturecheck.access.wheel import Rim
from fixturecheck.kernel.boolean import clipped, split
from fixturecheck.kernel.measure import box_of, hollow_rounds
from fixturecheck.kernel.shapes import Box, Shape

_TANGENT_MM = 1e-4
"""A round that misses floor or wall by less is tangent to it."""
_ROOM_MM = 1e-6


def corner_of(
    part: PartTargets, rim: Rim, path: WheelPath, ground: Shape, leftover: Shape | None
) -> tuple[CornerMade | None, Shape | None]:
    """Return the corner as made, and what of the leftover lies outside the wheel's own corner.

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
        radius_mm=radius_mm, drawn_mm=drawn_corner_mm(part), left=left, undercut_mm=part.undercut_mm
    )
    return made, missed


def wheel_side_mm(rim: Rim, path: WheelPath) -> float:
    """Return the Y of the wheel's side that stops at the wall."""
    return path.y_from_mm if path.wall_sign < 0 else path.y_to_mm + rim.thickness_mm


def outside_fillet(part: PartTargets, rim: Rim, path: WheelPath, gouge: Shape | None) -> Shape | None:
    """Return what of a gouge lies outside the fillet drawn between floor and wall."""
    drawn_mm = drawn_corner_mm(part)
    if gouge is None or drawn_mm == 0:
        return gouge
    wall_y_mm = wheel_side_mm(rim, path)
    y0, y1 = sorted((wall_y_mm, wall_y_mm - path.wall_sign * drawn_mm))
    around = box_of(gouge)
    z0, e = path.floor_z_mm, _ROOM_MM
    box = (around[0] - 1.0, y0 - e, z0 - e, around[3] + 1.0, y1 + e, z0 + drawn_mm + e)
    return _parted(gouge, box, part.body.name)[1]


def _corner_box(rim: Rim, path: WheelPath, wall_y_mm: float, around: Box) -> Box:
    """Return the box that the wheel's corner on the wall's side cannot fill."""
    if path.wall_sign < 0:
        wide_mm, end_r_mm = rim.flat_from_mm, rim.outline[0][1][1]
    else:
        wide_mm, end_r_mm = rim.thickness_mm - rim.flat_to_mm, rim.outline[-1][-1][1]
    y0, y1 = sorted((wall_y_mm, wall_y_mm - path.wall_sign * wide_mm))
    z0, z1 = path.floor_z_mm, path.floor_z_mm + rim.radius_mm - end_r_mm
    return (
        around[0] - 1.0,
        y0 - _ROOM_MM,
        z0 - _ROOM_MM,
        around[3] + 1.0,
        y1 + _ROOM_MM,
        z1 + _ROOM_MM,
    )


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


def drawn_corner_mm(part: PartTargets) -> float:
    """Return the radius that the drawn corner has; the larger side of a chamfer."""
    sizes = [0.0]
    for face in part.corner:
        rounds = hollow_rounds(face)
        box = box_of(face)
        sizes.append(rounds[0].radius_mm if rounds else max(box[4] - box[1], box[5] - box[2]))
    return max(sizes)
