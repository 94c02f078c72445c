"""The magnetic V-block: two iron halves, which are its poles, on either side of a non-magnetic spacer."""

from __future__ import annotations

import math

from fixturecheck.errors import SetupError
from fixturecheck.shop.piece import Outline, Piece, named_box

_Side = tuple[float, float, str]
"""A corner (y, z) and the name of the side that leaves it."""


def magnetic_v_block(
    *,
    length_mm: float,
    width_mm: float,
    height_mm: float,
    angle_deg: float,
    land_mm: float,
    spacer_mm: float,
    groove_width_mm: float,
    groove_depth_mm: float,
    chamfer_mm: float,
    material: str,
    spacer_material: str,
) -> tuple[Piece, ...]:
    """Return the left half (at -Y, pole n), the right half (at +Y, pole s) and the spacer between.

    The trough runs along X; the origin is the middle of the line in which the two flanks would meet.

    Raises
    ------
    SetupError
        The sizes do not leave a V-block.
    """
    if angle_deg >= 180:
        message = f"magnetic_v_block: angle_deg must be less than 180, got {angle_deg:g}"
        raise SetupError(message)
    rise = 1 / math.tan(math.radians(angle_deg / 2))
    flank_to_mm = width_mm / 2 - land_mm
    top_mm = flank_to_mm * rise
    base_mm = top_mm - height_mm
    _refuse(
        spacer_mm > groove_width_mm, f"spacer_mm {spacer_mm:g} is wider than the groove, {groove_width_mm:g}"
    )
    _refuse(
        groove_width_mm / 2 >= flank_to_mm, f"width_mm {width_mm:g} leaves no flank between groove and land"
    )
    too_low = f"height_mm {height_mm:g} leaves no iron below the groove: the trough takes {top_mm:.4g}"
    _refuse(base_mm >= -groove_depth_mm, f"{too_low} and the groove {groove_depth_mm:g}")
    _refuse(2 * chamfer_mm >= land_mm, f"chamfer_mm {chamfer_mm:g} takes all of the land, {land_mm:g}")

    half_spacer_mm, half_groove_mm = spacer_mm / 2, groove_width_mm / 2
    right: list[_Side] = [
        (half_spacer_mm, base_mm, "base"),
        (width_mm / 2, base_mm, "plus_y"),
        (width_mm / 2, top_mm, "land"),
        (flank_to_mm, top_mm, "right_flank"),
        (half_groove_mm, half_groove_mm * rise, "groove_wall"),
        (half_groove_mm, -groove_depth_mm, "groove_floor"),
        (half_spacer_mm, -groove_depth_mm, "inner"),
    ]
    if spacer_mm == groove_width_mm:
        # The groove's wall and the side against the spacer are then one plane face.
        right[4:] = [(half_groove_mm, half_groove_mm * rise, "inner")]
    spacer, spacer_faces = named_box(
        (-length_mm / 2, -half_spacer_mm, base_mm), (length_mm / 2, half_spacer_mm, -groove_depth_mm)
    )
    return (
        _half("left", "n", _mirrored(right), top_mm, length_mm, chamfer_mm, material),
        _half("right", "s", right, top_mm, length_mm, chamfer_mm, material),
        Piece(suffix="spacer", solid=spacer, faces=spacer_faces, material=spacer_material),
    )


def _refuse(wrong: bool, why: str) -> None:
    """Raise when the sizes do not leave a V-block."""
    if wrong:
        message = f"magnetic_v_block: {why}; all in mm"
        raise SetupError(message)


def _mirrored(right: list[_Side]) -> list[_Side]:
    """Return the left half's corners: the right's the other way round, each side named from its other end."""
    names = {"plus_y": "minus_y", "right_flank": "left_flank"}
    left = []
    for i in reversed(range(len(right))):
        side = right[i - 1][2]
        left.append((-right[i][0], right[i][1], names.get(side, side)))
    return left


def _half(
    suffix: str,
    pole: str,
    sides: list[_Side],
    top_mm: float,
    length_mm: float,
    chamfer_mm: float,
    material: str,
) -> Piece:
    """Return one half, its two upper edges broken."""
    outline = Outline(
        corners=[(y, z) for y, z, _ in sides],
        sides=[name for *_, name in sides],
        bevel_mm=chamfer_mm,
        bevel_at=[i for i, (_, z, _) in enumerate(sides) if z == top_mm],
    )
    solid, faces = outline.prism(length_mm=length_mm)
    return Piece(suffix=suffix, solid=solid, faces=faces, material=material, pole=pole)
