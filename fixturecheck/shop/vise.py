"""The toolmaker's grinding vise: bed and fixed jaw in one, and the moving jaw on the bed."""

from __future__ import annotations

from fixturecheck.errors import SetupError
from fixturecheck.kernel.boolean import cut
from fixturecheck.kernel.construct import box
from fixturecheck.shop.piece import Outline, Piece, named_box


def grinding_vise(
    *,
    width_mm: float,
    length_mm: float,
    bed_mm: float,
    jaw_height_mm: float,
    fixed_jaw_mm: float,
    moving_jaw_mm: float,
    opening_mm: float,
    relief_mm: float,
    slot_mm: float,
    material: str,
) -> tuple[Piece, ...]:
    """Return the body and the moving jaw; the jaws open along Y, the fixed one is at the back.

    The origin is where the floor of the bed and the fixed jaw's face meet, in the middle of the width:
    a part in the vise lies at y < 0 and z > 0.

    Raises
    ------
    SetupError
        The opening is more than the bed is long, or the relief or the slot is too large.
    """
    bed_end_mm = fixed_jaw_mm - length_mm
    moving_to_mm = -opening_mm - moving_jaw_mm
    most_mm = length_mm - fixed_jaw_mm - moving_jaw_mm
    _refuse(moving_to_mm < bed_end_mm, f"opening_mm {opening_mm:g} is more than the bed allows, {most_mm:g}")
    _refuse(
        relief_mm >= min(fixed_jaw_mm, jaw_height_mm) / 2, f"relief_mm {relief_mm:g} is too large for the jaw"
    )
    _refuse(slot_mm >= width_mm / 2, f"slot_mm {slot_mm:g} leaves no floor in a width of {width_mm:g}")
    body = _body(
        width_mm=width_mm,
        bed_end_mm=bed_end_mm,
        back_mm=fixed_jaw_mm,
        bed_mm=bed_mm,
        jaw_height_mm=jaw_height_mm,
        relief_mm=relief_mm,
        slot_mm=slot_mm,
        material=material,
    )
    solid, faces = named_box(
        (-width_mm / 2, moving_to_mm, 0.0),
        (width_mm / 2, -opening_mm, jaw_height_mm),
        names={"plus_y": "moving_jaw"},
    )
    return body, Piece(suffix="jaw", solid=solid, faces=faces, material=material)


def _refuse(wrong: bool, why: str) -> None:
    """Raise when the sizes do not make a vise."""
    if wrong:
        message = f"grinding_vise: {why}; all in mm"
        raise SetupError(message)


def _body(
    *,
    width_mm: float,
    bed_end_mm: float,
    back_mm: float,
    bed_mm: float,
    jaw_height_mm: float,
    relief_mm: float,
    slot_mm: float,
    material: str,
) -> Piece:
    """Return bed and fixed jaw: an L with the inner corner relieved and the draw bolt's slot in the floor."""
    corners = [
        (bed_end_mm, -bed_mm),
        (back_mm, -bed_mm),
        (back_mm, jaw_height_mm),
        (0.0, jaw_height_mm),
        (0.0, relief_mm),
        (relief_mm, relief_mm),
        (relief_mm, 0.0),
        (bed_end_mm, 0.0),
    ]
    sides = ["base", "plus_y", "top", "fixed_jaw", "relief", "relief", "bed_floor", "minus_y"]
    if relief_mm == 0:
        corners[4:7] = [(0.0, 0.0)]
        sides[4:6] = []
    outline = Outline(corners=corners, sides=sides)
    solid = outline.solid(length_mm=width_mm)
    if slot_mm > 0:
        # The slot stops short of the fixed jaw by its own width, so that the floor stays one face.
        solid = cut(solid, box((-slot_mm / 2, bed_end_mm, -bed_mm / 2), (slot_mm / 2, -slot_mm, 0.0)))
    faces = outline.faces(solid, length_mm=width_mm, rest="slot")
    return Piece(suffix="body", solid=solid, faces=faces, material=material)
