"""A sine plate as solids: base, hinged plate with its rolls, and the stack of gauge blocks under it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fixturecheck.angles.incline import Incline, SineBar, sine_incline
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.boolean import joined
from fixturecheck.kernel.construct import box, cylinder, only_solid
from fixturecheck.kernel.place import placed_at, rotation, shifted
from fixturecheck.shop.piece import AXIS_NORMALS, Piece, named, named_box, rest_named

_LAPPED = {"base": "lapped", "top": "lapped", "*": "ground"}
_BLOCK_LONG_MM, _BLOCK_WIDE_MM = 35.0, 9.0
"""Section of a gauge block above 10 mm: ISO 3650 [@iso3650], from memory."""


def sine_plate(
    *,
    angle_deg: float,
    roll_distance_mm: float,
    width_mm: float,
    plate_mm: float,
    base_mm: float,
    roll_mm: float,
    stop_mm: float,
    gauge_set: str,
    grade: str,
    wear: str,
    distance_um: float,
    flatness_um: float,
    material: str,
) -> tuple[Piece, ...]:
    """Return base, plate and stack; hinged along X, the plate rises toward +Y.

    The origin is in the middle of the base's underside below the hinge roll.

    Raises
    ------
    SetupError
        No stack of the set makes the angle, or the rolls are too large.
    """
    if 2 * roll_mm > roll_distance_mm or roll_mm > 2 * plate_mm or stop_mm >= roll_distance_mm / 2:
        message = f"sine_plate: rolls of {roll_mm:g} mm or a stop of {stop_mm:g} mm leave no plate"
        raise SetupError(message)
    bar = SineBar(
        roll_distance_mm=roll_distance_mm,
        distance_um=distance_um,
        flatness_um=flatness_um,
        blocks=gauge_set,
        grade=grade,
        wear=wear == "yes",
    )
    try:
        incline = sine_incline(bar, angle_deg)
    except NotComputedError as reason:
        message = f"sine_plate: {reason}"
        raise SetupError(message) from reason
    half_mm, over_mm = width_mm / 2, roll_mm
    solid, faces = named_box((-half_mm, -over_mm, 0.0), (half_mm, roll_distance_mm + over_mm, base_mm))
    base = Piece(suffix="base", solid=solid, faces=faces, material=material, finish=_LAPPED)
    plate = _plate(incline, (roll_distance_mm, width_mm, plate_mm), roll_mm, stop_mm, material, base_mm)
    return (base, plate, *_blocks(incline, roll_distance_mm, base_mm))


def _plate(
    incline: Incline,
    size_mm: tuple[float, float, float],
    roll_mm: float,
    stop_mm: float,
    material: str,
    base_mm: float,
) -> Piece:
    """Return the plate with both rolls and its end stop, turned to the angle reached.

    The rolls reach half their size out of its underside. It ends flush with the hinge roll, so that its end
    stays above the base at every angle.
    """
    length_mm, width_mm, thick_mm = size_mm
    half_mm, end_mm, far_mm = width_mm / 2, roll_mm / 2, length_mm + roll_mm
    shapes = [box((-half_mm, -end_mm, 0.0), (half_mm, far_mm, thick_mm))]
    if stop_mm:
        shapes.append(box((-half_mm, -end_mm, 0.0), (half_mm, -end_mm + stop_mm, thick_mm + stop_mm)))
    rolls = [((-half_mm, y_mm, 0.0), (half_mm, y_mm, 0.0)) for y_mm in (0.0, length_mm)]
    shapes += [cylinder(roll_mm / 2, start, end) for start, end in rolls]
    solid = only_solid(joined(shapes, "a sine plate").clean())
    planes = {
        "top": (AXIS_NORMALS["top"], (0.0, 0.0, thick_mm)),
        "minus_x": (AXIS_NORMALS["minus_x"], (-half_mm, 0.0, 0.0)),
        "plus_x": (AXIS_NORMALS["plus_x"], (half_mm, 0.0, 0.0)),
        "minus_y": (AXIS_NORMALS["minus_y"], (0.0, -end_mm, 0.0)),
        "plus_y": (AXIS_NORMALS["plus_y"], (0.0, far_mm, 0.0)),
    }
    if stop_mm:
        planes["stop"] = (AXIS_NORMALS["plus_y"], (0.0, -end_mm + stop_mm, 0.0))
    faces = rest_named(solid, named(solid, planes), "underside")
    turned = placed_at(solid, rotation((1.0, 0.0, 0.0), incline.reached_deg))
    lifted = only_solid(shifted(turned, (0.0, 0.0, base_mm + roll_mm / 2)))
    return Piece(
        suffix="plate",
        solid=lifted,
        faces=faces,
        material=material,
        finish={"top": "lapped", "*": "ground"},
        incline=incline,
    )


def _blocks(incline: Incline, length_mm: float, base_mm: float) -> Iterator[Piece]:
    """Yield the blocks of the stack from below, upright under the far roll."""
    at_y_mm = length_mm * math.cos(math.radians(incline.reached_deg))
    low_mm = base_mm
    for number, size_mm in enumerate(incline.stack.blocks_mm if incline.stack else (), start=1):
        x_mm, y_mm = _BLOCK_LONG_MM / 2, _BLOCK_WIDE_MM / 2
        solid, faces = named_box((-x_mm, at_y_mm - y_mm, low_mm), (x_mm, at_y_mm + y_mm, low_mm + size_mm))
        yield Piece(
            suffix=f"block_{number}", solid=solid, faces=faces, material="steel_52100", finish=_LAPPED
        )
        low_mm += size_mm
