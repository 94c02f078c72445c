"""The shop's equipment as solids with named faces: blocks, grinding vise, magnetic chuck and V-block."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fixturecheck.angles.incline import Incline, angle_gauge_incline
from fixturecheck.arrays import Point2
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.boolean import cut
from fixturecheck.kernel.construct import box, chamfer, cylinder
from fixturecheck.kernel.select import by_selector
from fixturecheck.result.shapes import Vector
from fixturecheck.shop.piece import AXIS_NORMALS, Outline, Piece, PoleLayout, named, named_box, rest_named
from fixturecheck.shop.sine_plate import compound_sine_plate, magnetic_sine_plate, sine_plate

__all__ = [
    "angle_block",
    "angle_gauges",
    "blocking_block",
    "compound_sine_plate",
    "flat_magnetic_chuck",
    "gauge_block",
    "grinding_vise",
    "magnetic_sine_plate",
    "magnetic_v_block",
    "parallel",
    "sine_plate",
    "step_block",
    "stop_rod",
]


def blocking_block(
    *, length_mm: float, width_mm: float, height_mm: float, chamfer_mm: float, material: str
) -> tuple[Piece, ...]:
    """Return a plain block of iron; origin at the middle of its base.

    Parameters
    ----------
    length_mm, width_mm, height_mm : float
        Sizes along X, Y and Z.
    chamfer_mm : float
        On every edge; zero is none.
    material : str
        Name of the block's material.

    Returns
    -------
    tuple of Piece
        One piece.

    Raises
    ------
    SetupError
        The chamfer is too large.
    """
    return (_block(length_mm, width_mm, height_mm, chamfer_mm, material, {"*": "ground"}),)


def parallel(
    *, length_mm: float, width_mm: float, height_mm: float, chamfer_mm: float, material: str
) -> tuple[Piece, ...]:
    """Return one parallel, lying along X; origin at the middle of its base.

    Parameters
    ----------
    length_mm, width_mm, height_mm : float
        Sizes along X, Y and Z.
    chamfer_mm : float
        On every edge; zero is none.
    material : str
        Name of the parallel's material.

    Returns
    -------
    tuple of Piece
        One piece.

    Raises
    ------
    SetupError
        The chamfer is too large.
    """
    return (_block(length_mm, width_mm, height_mm, chamfer_mm, material, {"*": "ground"}),)


def gauge_block(
    *, size_mm: float, length_mm: float, width_mm: float, chamfer_mm: float, material: str
) -> tuple[Piece, ...]:
    """Return one gauge block standing on a gauging face; origin at the middle of that face.

    Parameters
    ----------
    size_mm : float
        Between the gauging faces, along Z.
    length_mm, width_mm : float
        Sizes along X and Y.
    chamfer_mm : float
        On every edge; zero is none.
    material : str
        Name of the block's material.

    Returns
    -------
    tuple of Piece
        One piece.

    Raises
    ------
    SetupError
        The chamfer is too large.
    """
    finish = {"base": "lapped", "top": "lapped", "*": "ground"}
    return (_block(length_mm, width_mm, size_mm, chamfer_mm, material, finish),)


def angle_block(
    *,
    angle_deg: float,
    length_mm: float,
    width_mm: float,
    toe_mm: float,
    error_arcsec: float,
    chamfer_mm: float,
    material: str,
) -> tuple[Piece, ...]:
    """Return a block whose incline rises toward +Y; origin at the middle of the toe's lower edge.

    Parameters
    ----------
    angle_deg : float
        From the base to the incline, less than 90.
    length_mm : float
        Length of the base, along Y.
    width_mm : float
        Along X.
    toe_mm : float
        Height at the low end.
    error_arcsec : float
        How far the angle may be off.
    chamfer_mm : float
        On the edges along X; zero is none.
    material : str
        Name of the block's material.

    Returns
    -------
    tuple of Piece
        One, with its incline.

    Raises
    ------
    SetupError
        The angle is 90 degrees or more, or the chamfer is too large.
    """
    if angle_deg >= 90:
        raise SetupError(f"angle_block: angle_deg must be less than 90, got {angle_deg:g}")
    heel_mm = toe_mm + length_mm * math.tan(math.radians(angle_deg))
    outline = Outline(
        corners=[(0.0, 0.0), (length_mm, 0.0), (length_mm, heel_mm), (0.0, toe_mm)],
        sides=["base", "heel", "incline", "toe"],
        bevel_mm=chamfer_mm,
        bevel_at=(0, 1, 2, 3),
    )
    _check_chamfer("angle_block", chamfer_mm, toe_mm, width_mm, length_mm)
    solid, faces = outline.prism(length_mm=width_mm)
    incline = Incline(wanted_deg=angle_deg, reached_deg=angle_deg, by_flatness_arcsec=error_arcsec)
    return (Piece(suffix="", solid=solid, faces=faces, material=material, inclines=(incline,)),)


def step_block(
    *, steps: int, rise_mm: float, going_mm: float, width_mm: float, chamfer_mm: float, material: str
) -> tuple[Piece, ...]:
    """Return a staircase that climbs toward +Y; origin at the middle of the front's lower edge.

    Parameters
    ----------
    steps : int
        How many steps.
    rise_mm : float
        Height of each.
    going_mm : float
        Depth of each, along Y.
    width_mm : float
        Along X.
    chamfer_mm : float
        On the edges along X that stick out; zero is none.
    material : str
        Name of the block's material.

    Returns
    -------
    tuple of Piece
        One piece.

    Raises
    ------
    SetupError
        The chamfer is too large.
    """
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
    """Return a rod along X; origin in the middle of its axis.

    Parameters
    ----------
    diameter_mm : float
        Diameter of the rod.
    length_mm : float
        Along X.
    chamfer_mm : float
        On both ends; zero is none.
    material : str
        Name of the rod's material.

    Returns
    -------
    tuple of Piece
        One piece.

    Raises
    ------
    SetupError
        The chamfer is too large.
    """
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
        raise SetupError(
            f"{what}: chamfer_mm {chamfer_mm:g} leaves nothing of a side of {min(sides_mm):g} mm"
        )


def _refuse_flaws(kind: str, *flaws: tuple[bool, str]) -> None:
    """Refuse sizes with the first flaw that they have."""
    for wrong, why in flaws:
        if wrong:
            raise SetupError(f"{kind}: {why}; all in mm")


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

    Parameters
    ----------
    width_mm : float
        Width of the jaws, along X.
    length_mm : float
        Length of the body, along Y.
    bed_mm : float
        From the base to the floor of the bed.
    jaw_height_mm : float
        From the floor to the top of the jaws.
    fixed_jaw_mm, moving_jaw_mm : float
        Thickness of each jaw, along Y.
    opening_mm : float
        Between the jaws.
    relief_mm : float
        Side of the square relief in the corner of floor and fixed jaw; zero is none.
    slot_mm : float
        Width of the slot in the floor; zero is none.
    material : str
        Name of the material of body and jaw.

    Returns
    -------
    tuple of Piece
        Body, then moving jaw.

    Raises
    ------
    SetupError
        The opening is more than the bed is long, or the relief or the slot is too large.
    """
    bed_end_mm = fixed_jaw_mm - length_mm
    moving_to_mm = -opening_mm - moving_jaw_mm
    most_mm = length_mm - fixed_jaw_mm - moving_jaw_mm
    _refuse_flaws(
        "grinding_vise",
        (moving_to_mm < bed_end_mm, f"opening_mm {opening_mm:g} is more than the bed allows, {most_mm:g}"),
        (
            relief_mm >= min(fixed_jaw_mm, jaw_height_mm) / 2,
            f"relief_mm {relief_mm:g} is too large for the jaw",
        ),
        (slot_mm >= width_mm / 2, f"slot_mm {slot_mm:g} leaves no floor in a width of {width_mm:g}"),
    )
    body = _bed_and_jaw(
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


def _bed_and_jaw(
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


def flat_magnetic_chuck(
    *,
    length_mm: float,
    width_mm: float,
    plate_mm: float,
    pole_pitch_mm: float,
    spacer_mm: float,
    frame_mm: float,
    pole_direction: str,
    back_rail_height_mm: float,
    side_rail_height_mm: float,
    rail_mm: float,
    material: str,
    spacer_material: str,
    rail_material: str,
) -> tuple[Piece, ...]:
    """Return the plate set with its poles, and the rails; the origin is the middle of the top.

    Parameters
    ----------
    length_mm, width_mm : float
        Sizes of the top, along X and Y.
    plate_mm : float
        Thickness of the top plate.
    pole_pitch_mm : float
        From one pole to the next.
    spacer_mm : float
        Between two poles.
    frame_mm : float
        Least width of the border without poles.
    pole_direction : str
        The axis along which each pole runs, `x` or `y`.
    back_rail_height_mm, side_rail_height_mm : float
        Height of each rail over the top; zero is none.
    rail_mm : float
        Thickness of the rails.
    material, spacer_material, rail_material : str
        Names of the materials of the poles, of the plate round them and of the rails.

    Returns
    -------
    tuple of Piece
        The plate with its poles, then the rails that there are.

    Raises
    ------
    SetupError
        The plate has no room for two poles, or the poles are too many to handle one by one.
    """
    low, high = (-length_mm / 2, -width_mm / 2, -plate_mm), (length_mm / 2, width_mm / 2, 0.0)
    layout = PoleLayout(
        pole_pitch_mm=pole_pitch_mm,
        spacer_mm=spacer_mm,
        frame_mm=frame_mm,
        pole_direction=pole_direction,
        material=material,
    )
    solid, faces = named_box(low, high)
    # Parts lie on one plane, whatever is iron in it: only the magnet tells the poles apart.
    poles = layout.poles("flat_magnetic_chuck", low, high)
    plate = Piece(suffix="plate", solid=solid, faces=faces, material=spacer_material, poles=poles)
    rails = _rails(low, high, back_rail_height_mm, side_rail_height_mm, rail_mm, rail_material)
    return plate, *rails


def _rails(
    low: Vector, high: Vector, back_height_mm: float, side_height_mm: float, rail_mm: float, material: str
) -> Iterator[Piece]:
    """Yield the back rail at +Y and the side rail at -X, each standing higher than the top; 0 is none."""
    if back_height_mm > 0:
        corners = (low[0], high[1], low[2]), (high[0], high[1] + rail_mm, back_height_mm)
        solid, faces = named_box(*corners, names={"minus_y": "fence"})
        yield Piece(suffix="back_rail", solid=solid, faces=faces, material=material)
    if side_height_mm > 0:
        corners = (low[0] - rail_mm, low[1], low[2]), (low[0], high[1], side_height_mm)
        solid, faces = named_box(*corners, names={"plus_x": "fence"})
        yield Piece(suffix="side_rail", solid=solid, faces=faces, material=material)


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

    Parameters
    ----------
    length_mm : float
        Along the trough.
    width_mm : float
        Over both halves, along Y.
    height_mm : float
        From the base to the land.
    angle_deg : float
        Included angle of the trough, less than 180.
    land_mm : float
        Width of the flat top on each side.
    spacer_mm : float
        Thickness of the spacer, no more than the width of the groove.
    groove_width_mm, groove_depth_mm : float
        Width of the relief at the vertex, and its depth below it.
    chamfer_mm : float
        On the edges of the land; zero is none.
    material, spacer_material : str
        Names of the materials of the halves and of the spacer.

    Returns
    -------
    tuple of Piece
        In that order.

    Raises
    ------
    SetupError
        The sizes do not leave a V-block.
    """
    if angle_deg >= 180:
        raise SetupError(f"magnetic_v_block: angle_deg must be less than 180, got {angle_deg:g}")
    rise = 1 / math.tan(math.radians(angle_deg / 2))
    flank_to_mm = width_mm / 2 - land_mm
    top_mm = flank_to_mm * rise
    base_mm = top_mm - height_mm
    wide = f"spacer_mm {spacer_mm:g} is wider than the groove, {groove_width_mm:g}"
    narrow = f"width_mm {width_mm:g} leaves no flank between groove and land"
    low = f"height_mm {height_mm:g} leaves no iron below the groove: the trough takes {top_mm:.4g}"
    _refuse_flaws(
        "magnetic_v_block",
        (spacer_mm > groove_width_mm, wide),
        (groove_width_mm / 2 >= flank_to_mm, narrow),
        (base_mm >= -groove_depth_mm, f"{low} and the groove {groove_depth_mm:g}"),
        (2 * chamfer_mm >= land_mm, f"chamfer_mm {chamfer_mm:g} takes all of the land, {land_mm:g}"),
    )

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
        _v_half("left", "n", _mirrored(right), top_mm, length_mm, chamfer_mm, material),
        _v_half("right", "s", right, top_mm, length_mm, chamfer_mm, material),
        Piece(suffix="spacer", solid=spacer, faces=spacer_faces, material=spacer_material),
    )


def _mirrored(right: list[_Side]) -> list[_Side]:
    """Return the left half's corners: the right's the other way round, each side named from its other end."""
    names = {"plus_y": "minus_y", "right_flank": "left_flank"}
    left = []
    for i in reversed(range(len(right))):
        side = right[i - 1][2]
        left.append((-right[i][0], right[i][1], names.get(side, side)))
    return left


def _v_half(
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


_FINISH = {"base": "lapped", "incline": "lapped", "*": "ground"}


def angle_gauges(
    *,
    angle_deg: float,
    angle_set: str,
    length_mm: float,
    width_mm: float,
    toe_mm: float,
    error_arcsec: float,
    material: str,
) -> tuple[Piece, ...]:
    """Return the gauges from below; the top of the last one makes the slope, which rises toward +Y.

    The origin is in the middle of the lower edge at -Y.

    Parameters
    ----------
    angle_deg, length_mm, width_mm, toe_mm, error_arcsec : float
    angle_set, material : str
        As the shop's table says.

    Returns
    -------
    tuple of Piece

    Raises
    ------
    SetupError
        The angle is beyond the set.
    """
    try:
        incline = angle_gauge_incline(angle_set, angle_deg, error_arcsec)
    except NotComputedError as reason:
        raise SetupError(f"angle_gauges: {reason}") from reason
    pieces: list[Piece] = []
    start, lean_rad = (0.0, 0.0), 0.0
    for number, size_arcsec in enumerate(incline.gauges_arcsec, start=1):
        turn_rad = math.radians(size_arcsec / 3600.0)
        corners = _wedge(start, lean_rad, turn_rad, length_mm, toe_mm)
        outline = Outline(corners=corners, sides=["base", "heel", "incline", "toe"])
        solid, faces = outline.prism(length_mm=width_mm)
        last = number == len(incline.gauges_arcsec)
        pieces.append(
            Piece(
                suffix=f"gauge_{number}",
                solid=solid,
                faces=faces,
                material=material,
                finish=_FINISH,
                inclines=(incline,) if last else (),
            )
        )
        start, lean_rad = corners[3], lean_rad + turn_rad
    return tuple(pieces)


def _wedge(start: Point2, lean_rad: float, turn_rad: float, length_mm: float, toe_mm: float) -> list[Point2]:
    """Return the corners (y, z) of a wedge on a slope, counter-clockwise from +X, from its foot at -Y."""
    along = math.cos(lean_rad), math.sin(lean_rad)
    up = -along[1], along[0]
    rise_mm = length_mm * math.tan(abs(turn_rad))
    near_mm, far_mm = (toe_mm, toe_mm + rise_mm) if turn_rad >= 0.0 else (toe_mm + rise_mm, toe_mm)

    def at(along_mm: float, up_mm: float) -> Point2:
        return (
            start[0] + along_mm * along[0] + up_mm * up[0],
            start[1] + along_mm * along[1] + up_mm * up[1],
        )

    return [at(0.0, 0.0), at(length_mm, 0.0), at(length_mm, far_mm), at(0.0, near_mm)]
