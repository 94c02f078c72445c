"""Sine plates as solids: base, one hinged plate or two with their rolls, and the gauge blocks under each."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from fixturecheck.angles.incline import Incline, SineBar, sine_incline
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.boolean import united
from fixturecheck.kernel.construct import box, cylinder, only_solid
from fixturecheck.kernel.place import composed, matrix_of, placed_at, rotation, translation
from fixturecheck.kernel.shapes import Location
from fixturecheck.numeric import to_vector
from fixturecheck.result.shapes import Vector
from fixturecheck.shop.piece import AXIS_NORMALS, Piece, Plane, PoleLayout, named, named_box, rest_named

_LAPPED = {"base": "lapped", "top": "lapped", "*": "ground"}
_PLATE = {"top": "lapped", "*": "ground"}
_BLOCK_LONG_MM, _BLOCK_WIDE_MM = 35.0, 9.0
"""Section of a gauge block above 10 mm: ISO 3650 [@iso3650], from memory."""
_POLES_DEEP = 0.8
"""Poles reach so many of their pitches into the plate: the magnet is taken to lie against them there."""
_MOST_POLE_SHARE = 0.75
"""And at most this share of its thickness."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Leaf:
    """A hinged plate in its own frame: the hinge along X below the origin, rolls half in its underside.

    Parameters
    ----------
    suffix : str
        What its body is called.
    roll_distance_mm, width_mm, plate_mm, roll_mm : float
        Between its rolls, its size along the hinge, its thickness, and the diameter of the rolls.
    material : str
    stop_mm : float
        Height and thickness of the stop at the hinge; zero is none.
    side : int
        At which end along the hinge a stop stands too: 1, -1, or 0 for none.
    poles : PoleLayout, optional
        The poles set in it.
    """

    suffix: str
    roll_distance_mm: float
    width_mm: float
    plate_mm: float
    roll_mm: float
    material: str
    stop_mm: float = 0.0
    side: int = 0
    poles: PoleLayout | None = None

    @property
    def low(self) -> Vector:
        """The corner of the plate at the hinge: flush with its roll, so that its end clears what is below."""
        return (-self.width_mm / 2, -self.roll_mm / 2, 0.0)

    @property
    def high(self) -> Vector:
        """The corner opposite."""
        return (self.width_mm / 2, self.roll_distance_mm + self.roll_mm, self.plate_mm)


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

    Parameters
    ----------
    angle_deg : float
        The angle that is asked; the solids stand at the one that the stack gives.
    roll_distance_mm : float
        Between the middles of the rolls.
    width_mm : float
        Along X.
    plate_mm, base_mm : float
        Thickness of the plate and of the base.
    roll_mm : float
        Diameter of the rolls.
    stop_mm : float
        Height and thickness of the stop at the hinge; zero is none.
    gauge_set, grade : str
        The set of gauge blocks, and their grade: `0`, `1` or `2`.
    wear : str
        Whether a wear block goes on either end of the stack, `yes` or `no`.
    distance_um : float
        How far the distance of the rolls may be off.
    flatness_um : float
        How far the plate may be out of parallel with the rolls, and the base out of flat, over that distance.
    material : str
        Name of the material of base and plate.

    Returns
    -------
    tuple of Piece
        In that order; each block of the stack is a piece.

    Raises
    ------
    SetupError
        No stack of the set makes the angle, or the rolls are too large.
    """
    leaf = _Leaf(
        suffix="plate",
        roll_distance_mm=roll_distance_mm,
        width_mm=width_mm,
        plate_mm=plate_mm,
        roll_mm=roll_mm,
        material=material,
        stop_mm=stop_mm,
    )
    bar = _bar(roll_distance_mm, distance_um, flatness_um, gauge_set, grade, wear)
    return _single("sine_plate", leaf, _incline("sine_plate", bar, angle_deg), base_mm, material)


def magnetic_sine_plate(
    *,
    angle_deg: float,
    roll_distance_mm: float,
    width_mm: float,
    plate_mm: float,
    base_mm: float,
    roll_mm: float,
    stop_mm: float,
    pole_pitch_mm: float,
    spacer_mm: float,
    frame_mm: float,
    pole_direction: str,
    gauge_set: str,
    grade: str,
    wear: str,
    distance_um: float,
    flatness_um: float,
    material: str,
    pole_material: str,
    spacer_material: str,
) -> tuple[Piece, ...]:
    """Return base, magnetic plate and stack; hinged along X, the plate rises toward +Y.

    The origin is in the middle of the base's underside below the hinge roll.

    Parameters
    ----------
    angle_deg, roll_distance_mm, width_mm, plate_mm, base_mm, roll_mm, stop_mm : float
    pole_pitch_mm, spacer_mm, frame_mm, distance_um, flatness_um : float
    pole_direction, gauge_set, grade, wear, material, pole_material, spacer_material : str
        As the shop's table says.

    Returns
    -------
    tuple of Piece
        The base, the plate, and the blocks from below.

    Raises
    ------
    SetupError
        No stack of the set makes the angle, the rolls are too large, or the poles do not fit.
    """
    kind = "magnetic_sine_plate"
    leaf = _Leaf(
        suffix="plate",
        roll_distance_mm=roll_distance_mm,
        width_mm=width_mm,
        plate_mm=plate_mm,
        roll_mm=roll_mm,
        material=spacer_material,
        stop_mm=stop_mm,
        poles=_layout(pole_pitch_mm, spacer_mm, frame_mm, pole_direction, pole_material),
    )
    bar = _bar(roll_distance_mm, distance_um, flatness_um, gauge_set, grade, wear)
    return _single(kind, leaf, _incline(kind, bar, angle_deg), base_mm, material)


def compound_sine_plate(
    *,
    angle_deg: float,
    upper_angle_deg: float,
    upper_rises: str,
    roll_distance_mm: float,
    plate_mm: float,
    base_mm: float,
    roll_mm: float,
    stop_mm: float,
    pole_pitch_mm: float,
    spacer_mm: float,
    frame_mm: float,
    pole_direction: str,
    gauge_set: str,
    grade: str,
    wear: str,
    distance_um: float,
    flatness_um: float,
    material: str,
    pole_material: str,
    spacer_material: str,
) -> tuple[Piece, ...]:
    """Return base, lower plate, magnetic upper plate and both stacks.

    The lower plate is hinged along X and rises toward +Y. The upper one is hinged on it across, and rises
    toward `upper_rises`. Both are squares of one size. The origin is in the middle of the base's underside
    below the lower hinge roll.

    Parameters
    ----------
    angle_deg, upper_angle_deg, roll_distance_mm, plate_mm, base_mm, roll_mm, stop_mm : float
    pole_pitch_mm, spacer_mm, frame_mm, distance_um, flatness_um : float
    upper_rises, pole_direction, gauge_set, grade, wear, material, pole_material, spacer_material : str
        As the shop's table says.

    Returns
    -------
    tuple of Piece
        The base, both plates, and the blocks of either stack from below.

    Raises
    ------
    SetupError
        No stack of the set makes an angle, the rolls are too large, or the poles do not fit.
    """
    kind = "compound_sine_plate"
    side_mm = roll_distance_mm + 1.5 * roll_mm
    lower = _Leaf(
        suffix="lower",
        roll_distance_mm=roll_distance_mm,
        width_mm=side_mm,
        plate_mm=plate_mm,
        roll_mm=roll_mm,
        material=material,
    )
    upper = replace(
        lower,
        suffix="plate",
        material=spacer_material,
        stop_mm=stop_mm,
        # The side that the lower plate leaves low, where a part would slide to.
        side=1 if upper_rises == "plus_x" else -1,
        poles=_layout(pole_pitch_mm, spacer_mm, frame_mm, pole_direction, pole_material),
    )
    bar = _bar(roll_distance_mm, distance_um, flatness_um, gauge_set, grade, wear)
    first, second = (_incline(kind, bar, a) for a in (angle_deg, upper_angle_deg))
    return _compound(kind, (lower, first), (upper, second), base_mm)


_Tilt = tuple[_Leaf, Incline]


def _compound(kind: str, low: _Tilt, high: _Tilt, base_mm: float) -> tuple[Piece, ...]:
    """Return a plate hinged across on a hinged plate, the base below, and the stack under each."""
    (lower, first), (upper, second) = low, high
    _refuse_no_plate(kind, upper)
    ground = translation((0.0, 0.0, base_mm))
    on_base = _hinged(ground, lower, first)
    hinge_mm = -upper.side * (lower.high[0] - lower.roll_mm / 2)
    middle_mm = (lower.low[1] + lower.high[1]) / 2
    turned = rotation((0.0, 0.0, 1.0), -90.0 * upper.side)
    on_lower = composed(on_base, composed(translation((hinge_mm, middle_mm, lower.plate_mm)), turned))
    at = _hinged(on_lower, upper, second)
    second = replace(second, hinge=to_vector(matrix_of(at)[:3, 0]))
    return (
        _base(lower, base_mm, lower.material),
        _plate(kind, lower, on_base, (first,)),
        _plate(kind, upper, at, (first, second)),
        *_blocks(first, lower, ground, "block"),
        *_blocks(second, upper, on_lower, "upper_block"),
    )


def _single(kind: str, leaf: _Leaf, incline: Incline, base_mm: float, material: str) -> tuple[Piece, ...]:
    """Return a plate with one hinge, its base and its stack."""
    _refuse_no_plate(kind, leaf)
    ground = translation((0.0, 0.0, base_mm))
    plate = _plate(kind, leaf, _hinged(ground, leaf, incline), (incline,))
    return (_base(leaf, base_mm, material), plate, *_blocks(incline, leaf, ground, "block"))


def _layout(
    pole_pitch_mm: float, spacer_mm: float, frame_mm: float, pole_direction: str, material: str
) -> PoleLayout:
    return PoleLayout(
        pole_pitch_mm=pole_pitch_mm,
        spacer_mm=spacer_mm,
        frame_mm=frame_mm,
        pole_direction=pole_direction,
        material=material,
    )


def _bar(
    roll_distance_mm: float, distance_um: float, flatness_um: float, blocks: str, grade: str, wear: str
) -> SineBar:
    return SineBar(
        roll_distance_mm=roll_distance_mm,
        distance_um=distance_um,
        flatness_um=flatness_um,
        blocks=blocks,
        grade=grade,
        wear=wear == "yes",
    )


def _incline(kind: str, bar: SineBar, angle_deg: float) -> Incline:
    """Return the slope of a stack, about X."""
    try:
        return sine_incline(bar, angle_deg)
    except NotComputedError as reason:
        raise SetupError(f"{kind}: {reason}") from reason


def _refuse_no_plate(kind: str, leaf: _Leaf) -> None:
    """Refuse rolls and stops that leave nothing of a plate."""
    roll_mm, stop_mm, length_mm = leaf.roll_mm, leaf.stop_mm, leaf.roll_distance_mm
    if 2 * roll_mm > length_mm or roll_mm > 2 * leaf.plate_mm or stop_mm >= length_mm / 2:
        raise SetupError(f"{kind}: rolls of {roll_mm:g} mm or a stop of {stop_mm:g} mm leave no plate")


def _hinged(surface: Location, leaf: _Leaf, incline: Incline) -> Location:
    """Return where a plate stands whose hinge roll lies on a surface, turned to the angle reached."""
    up = translation((0.0, 0.0, leaf.roll_mm / 2))
    return composed(surface, composed(up, rotation((1.0, 0.0, 0.0), incline.reached_deg)))


def _base(leaf: _Leaf, base_mm: float, material: str) -> Piece:
    half_mm, over_mm = leaf.width_mm / 2, leaf.roll_mm
    solid, faces = named_box((-half_mm, -over_mm, 0.0), (half_mm, leaf.roll_distance_mm + over_mm, base_mm))
    return Piece(suffix="base", solid=solid, faces=faces, material=material, finish=_LAPPED)


def _plate(kind: str, leaf: _Leaf, at: Location, inclines: tuple[Incline, ...]) -> Piece:
    """Return a plate with both rolls, its stops and its poles, where it stands."""
    low, high, stop_mm = leaf.low, leaf.high, leaf.stop_mm
    thick_mm, raised_mm = leaf.plate_mm, leaf.plate_mm + stop_mm
    planes: dict[str, Plane] = {
        name: (normal, high if sum(normal) > 0 else low)
        for name, normal in AXIS_NORMALS.items()
        if name != "base"
    }
    shapes = [box(low, high)]
    if stop_mm:
        end_mm = low[1] + stop_mm
        shapes.append(box(low, (high[0], end_mm, raised_mm)))
        planes["stop"] = (AXIS_NORMALS["plus_y"], (0.0, end_mm, 0.0))
    if stop_mm and leaf.side:
        from_mm, to_mm = sorted((leaf.side * high[0], leaf.side * (high[0] - stop_mm)))
        shapes.append(box((from_mm, low[1], 0.0), (to_mm, high[1], raised_mm)))
        looks = (float(-leaf.side), 0.0, 0.0)
        planes["side_stop"] = (looks, (leaf.side * (high[0] - stop_mm), 0.0, 0.0))
    shapes += [
        cylinder(leaf.roll_mm / 2, (low[0], y_mm, 0.0), (high[0], y_mm, 0.0))
        for y_mm in (0.0, leaf.roll_distance_mm)
    ]
    solid = only_solid(united(shapes, "a sine plate").clean())
    faces = rest_named(solid, named(solid, planes), "underside")
    poles: tuple[Piece, ...] = ()
    if leaf.poles is not None:
        deep_mm = min(_POLES_DEEP * leaf.poles.pole_pitch_mm, _MOST_POLE_SHARE * thick_mm)
        beside_mm = stop_mm if leaf.side else 0.0
        from_mm = low[0] + (beside_mm if leaf.side < 0 else 0.0)
        to_mm = high[0] - (beside_mm if leaf.side > 0 else 0.0)
        corners = (from_mm, low[1] + stop_mm, thick_mm - deep_mm), (to_mm, high[1], thick_mm)
        poles = tuple(
            replace(p, solid=only_solid(placed_at(p.solid, at))) for p in leaf.poles.poles(kind, *corners)
        )
    return Piece(
        suffix=leaf.suffix,
        solid=only_solid(placed_at(solid, at)),
        faces=faces,
        material=leaf.material,
        finish=_PLATE,
        poles=poles,
        inclines=inclines,
    )


def _blocks(incline: Incline, leaf: _Leaf, surface: Location, called: str) -> Iterator[Piece]:
    """Yield the blocks of a stack from below, square to what they stand on, under the far roll."""
    at_y_mm = leaf.roll_distance_mm * math.cos(math.radians(incline.reached_deg))
    low_mm = 0.0
    for number, size_mm in enumerate(incline.stack.blocks_mm if incline.stack else (), start=1):
        x_mm, y_mm = _BLOCK_LONG_MM / 2, _BLOCK_WIDE_MM / 2
        solid, faces = named_box((-x_mm, at_y_mm - y_mm, low_mm), (x_mm, at_y_mm + y_mm, low_mm + size_mm))
        yield Piece(
            suffix=f"{called}_{number}",
            solid=only_solid(placed_at(solid, surface)),
            faces=faces,
            material="steel_52100",
            finish=_LAPPED,
        )
        low_mm += size_mm
