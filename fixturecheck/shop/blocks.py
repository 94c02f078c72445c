"""The shop's plain blocks: blocking, parallels, gauge blocks, angle and step blocks, and the stop rod."""

from __future__ import annotations

import math

from fixturecheck.errors import SetupError
from fixturecheck.kernel.construct import chamfer, cylinder
from fixturecheck.kernel.select import by_selector
from fixturecheck.shop.piece import AXIS_NORMALS, Outline, Piece, named, named_box, rest_named


def blocking_block(
    *, length_mm: float, width_mm: float, height_mm: float, chamfer_mm: float, material: str
) -> tuple[Piece, ...]:
    """Return a plain block of iron; origin at the middle of its base."""
    return (_block(length_mm, width_mm, height_mm, chamfer_mm, material, {"*": "ground"}),)


def parallel(
    *, length_mm: float, width_mm: float, height_mm: float, chamfer_mm: float, material: str
) -> tuple[Piece, ...]:
    """Return one parallel, lying along X; origin at the middle of its base."""
    return (_block(length_mm, width_mm, height_mm, chamfer_mm, material, {"*": "ground"}),)


def gauge_block(
    *, size_mm: float, length_mm: float, width_mm: float, chamfer_mm: float, material: str
) -> tuple[Piece, ...]:
    """Return one gauge block standing on a gauging face; origin at the middle of that face."""
    finish = {"base": "lapped", "top": "lapped", "*": "ground"}
    return (_block(length_mm, width_mm, size_mm, chamfer_mm, material, finish),)


def angle_block(
    *,
    angle_deg: float,
    length_mm: float,
    width_mm: float,
    toe_mm: float,
    chamfer_mm: float,
    material: str,
) -> tuple[Piece, ...]:
    """Return a block whose incline rises toward +Y; origin at the middle of the toe's lower edge."""
    if angle_deg >= 90:
        message = f"angle_block: angle_deg must be less than 90, got {angle_deg:g}"
        raise SetupError(message)
    heel_mm = toe_mm + length_mm * math.tan(math.radians(angle_deg))
    outline = Outline(
        corners=[(0.0, 0.0), (length_mm, 0.0), (length_mm, heel_mm), (0.0, toe_mm)],
        sides=["base", "heel", "incline", "toe"],
        bevel_mm=chamfer_mm,
        bevel_at=(0, 1, 2, 3),
    )
    _check_chamfer("angle_block", chamfer_mm, toe_mm, width_mm, length_mm)
    solid, faces = outline.prism(length_mm=width_mm)
    return (Piece(suffix="", solid=solid, faces=faces, material=material),)


def step_block(
    *,
    steps: int,
    rise_mm: float,
    going_mm: float,
    width_mm: float,
    chamfer_mm: float,
    material: str,
) -> tuple[Piece, ...]:
    """Return a staircase that climbs toward +Y; origin at the middle of the front's lower edge."""
    _check_chamfer("step_block", chamfer_mm, rise_mm, going_mm, width_mm)
    corners = [(0.0, 0.0), (steps * going_mm, 0.0)]
    sides = ["base", "back"]
    for step in range(steps, 0, -1):
        corners += [(step * going_mm, step * rise_mm), ((step - 1) * going_mm, step * rise_mm)]
        sides += [f"step_{step}", f"riser_{step}"]
    # Only what sticks out is broken: the base's two corners, the top of the back, and every nose.
    noses = range(3, len(corners), 2)
    outline = Outline(corners=corners, sides=sides, bevel_mm=chamfer_mm, bevel_at=(0, 1, 2, *noses))
    solid, faces = outline.prism(length_mm=width_mm)
    return (Piece(suffix="", solid=solid, faces=faces, material=material),)


def stop_rod(*, diameter_mm: float, length_mm: float, chamfer_mm: float, material: str) -> tuple[Piece, ...]:
    """Return a rod along X; origin in the middle of its axis."""
    _check_chamfer("stop_rod", chamfer_mm, diameter_mm, length_mm)
    half_mm = length_mm / 2
    solid = chamfer(cylinder(diameter_mm / 2, (-half_mm, 0.0, 0.0), (half_mm, 0.0, 0.0)), chamfer_mm)
    ends = {
        n: (AXIS_NORMALS[n], (x_mm, 0.0, 0.0)) for n, x_mm in (("minus_x", -half_mm), ("plus_x", half_mm))
    }
    faces = {**named(solid, ends), "round": by_selector(solid, "%CYLINDER")}
    faces = rest_named(solid, faces, "chamfer")
    return (Piece(suffix="", solid=solid, faces=faces, material=material),)


def _block(
    length_mm: float,
    width_mm: float,
    height_mm: float,
    chamfer_mm: float,
    material: str,
    finish: dict[str, str],
) -> Piece:
    """Return a box with chamfered edges, standing on z = 0 about the Z axis."""
    _check_chamfer("block", chamfer_mm, length_mm, width_mm, height_mm)
    x_mm, y_mm = length_mm / 2, width_mm / 2
    solid, faces = named_box((-x_mm, -y_mm, 0.0), (x_mm, y_mm, height_mm), chamfer_mm=chamfer_mm)
    return Piece(suffix="", solid=solid, faces=faces, material=material, finish=finish)


def _check_chamfer(what: str, chamfer_mm: float, *sides_mm: float) -> None:
    """Refuse a chamfer that would eat a side."""
    if 2 * chamfer_mm >= min(sides_mm):
        message = f"{what}: chamfer_mm {chamfer_mm:g} leaves nothing of a side of {min(sides_mm):g} mm"
        raise SetupError(message)
