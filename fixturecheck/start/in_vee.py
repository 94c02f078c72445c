"""A part, or a row of them, in a magnetic V-block, the first against a stop on a land."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.errors import SetupError
from fixturecheck.kernel.shapes import Box
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.records import Rank, Seat
from fixturecheck.shop.catalogue import Value, equipment
from fixturecheck.start.layout import (
    CLEAR_MM,
    Because,
    Equipment,
    FirstSetup,
    Nest,
    first_setup,
    nest_seat,
    nesting_of,
    outline,
    part_face_names,
    places_in_row,
    size_said,
    turned_box,
)
from fixturecheck.start.part import FaceNames, Part, Plane, Round
from fixturecheck.start.standing import Posed
from fixturecheck.wording.proposals import (
    NO_STOP_ON_LAND,
    nest_words,
    nested_words,
    vee_stop_words,
    vee_words,
)

ANGLE_DEG = float(equipment()["magnetic_v_block"].params["angle_deg"].default)
"""The trough of the shop's V-block."""

LENGTHS_MM = (80.0, 120.0, 160.0, 200.0, 300.0)
WIDTHS_MM = (50.0, 70.0, 100.0, 150.0)
"""Lengths and widths of V-blocks: common practice, no source."""

_LEAST_LAND_MM = 5.0
_GROOVE_MM = float(equipment()["magnetic_v_block"].params["groove_width_mm"].default)
_STOP_LENGTH_MM = 20.0
_STOP_ON_MM, _STOP_OVER = 12.0, 0.6
"""How far a stop stands on the land, and how much of the half trough it may reach over."""

_LEAST_STOP_MM2 = 4.0
_DEPTHS = (1.0, 0.85, 0.7, 0.55, 0.4)
"""Shares of the deepest trough that are tried, until a stop on the land touches the part."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stop:
    """A block on a land at the end of the row: its side, from where to where it reaches, what it touches."""

    side: int
    y_mm: tuple[float, float]
    z_mm: tuple[float, float]
    touches_mm2: float


def in_vee(part: Part, posed: Posed, count: int) -> FirstSetup:
    """Return a set-up in the smallest V-block that takes the parts.

    Parameters
    ----------
    part : Part
        The part that is ground.
    posed : Posed
        How it lies in the trough.
    count : int
        Copies in a row along X, 1 or more.

    Returns
    -------
    FirstSetup
        Each part is pushed toward +X.

    Raises
    ------
    SetupError
        The parts do not fit in the largest V-block, or do not stand behind each other.
    """
    half_rad = math.radians(ANGLE_DEG) / 2
    box = turned_box(part, posed.turn)
    y_mm, z_mm = _shift(posed, half_rad)
    nest = _row(part, posed, box, count)
    pitch = nest.pitch_mm if nest else 0.0
    row = (count - 1) * pitch + box[3] - box[0]
    length = next(v for v in LENGTHS_MM if row + _STOP_LENGTH_MM <= v)
    flank, stop = _trough(part, posed, box, (y_mm, z_mm), half_rad)
    names, first_x = part_face_names(part), (row - _STOP_LENGTH_MM) / 2 - box[3]
    places = places_in_row(part, count, pitch, (first_x, y_mm, z_mm))
    pieces = (_vee(part, box, flank, length, half_rad), *_stop_block(stop, (row - _STOP_LENGTH_MM) / 2))
    wanted = tuple(_seats(posed, names, places, nest, stop is not None))
    first = first_setup(f"{part.name}, in the V-block", part, posed, names, places, pieces, wanted)
    return replace(first, push=(1.0, 0.0, 0.0), because=(*_because(nest, stop, count), *first.because))


def _row(part: Part, posed: Posed, box: Box, count: int) -> Nest | None:
    """Return how copies of a part stand behind each other in the longest V-block; None for one part.

    Raises
    ------
    SetupError
        They do not fit, or do not nest.
    """
    one, most = box[3] - box[0], LENGTHS_MM[-1] - _STOP_LENGTH_MM
    if count == 1 and one <= most:
        return None
    if one > most:
        raise SetupError(
            f"{part.name} is {one:.4g} mm long as it lies, and a stop stands behind it; the largest V-block "
            f"is {LENGTHS_MM[-1]:g} mm long"
        )
    search = nesting_of(part, posed.turn, (most - one) / (count - 1))
    if search.nest is not None:
        return search.nest
    if search.least_mm is None:
        raise SetupError(
            f"{part.name} does not nest end to end in a V-block: no flat end would lie on the one before"
        )
    row = (count - 1) * search.least_mm + one
    if row > most:
        raise SetupError(
            f"{count} x {part.name} take {row:.4g} mm in a row, and a stop besides; the largest V-block is "
            f"{LENGTHS_MM[-1]:g} mm long and takes {int((most - one) // search.least_mm) + 1}"
        )
    raise SetupError(
        f"{part.name} does not nest end to end in a V-block: the closest nests overlap"
        + (f", and {search.untried} wider ones were not tried" if search.untried else "")
    )


def _shift(posed: Posed, half_rad: float) -> tuple[float, float]:
    """Return the move in Y and Z that brings a turned part onto both flanks."""
    rows, offsets = [], []
    for side, on in _flanks(posed, half_rad):
        rows.append(side)
        if isinstance(on, Plane):
            offsets.append(-on.offset_mm)
        else:
            offsets.append(-(float((posed.turn @ on.origin)[1:] @ side) + on.radius_mm))
    y, z = np.linalg.solve(np.array(rows), np.array(offsets))
    return float(y), float(z)


def _flanks(posed: Posed, half_rad: float) -> Iterator[tuple[Floats, Plane | Round]]:
    """Yield left and right: the unit direction into the flank, in Y and Z, and what lies on it."""
    for sign in (-1.0, 1.0):
        way = np.array([sign * math.cos(half_rad), -math.sin(half_rad)])
        if isinstance(posed.stance.on[0], Round):
            yield way, posed.stance.on[0]
        else:
            planes = [p for p in posed.stance.on if isinstance(p, Plane)]
            yield way, max(planes, key=lambda p: float((posed.turn @ p.normal)[1:] @ way))


def _trough(
    part: Part, posed: Posed, box: Box, shift: tuple[float, float], half_rad: float
) -> tuple[float, _Stop | None]:
    """Return half the opening of the trough, and the stop that the land then carries.

    Raises
    ------
    SetupError
        The flanks would end above the floor that is ground, or the part is too wide.
    """
    rise = 1.0 / math.tan(half_rad)
    floor = posed.floor.offset_mm + shift[1]
    reach = 0.0
    for _, on in _flanks(posed, half_rad):
        if isinstance(on, Plane):
            reach = max(reach, float(np.abs((on.corners @ posed.turn.T)[:, 1] + shift[0]).max()))
        else:
            # A round bears at one height; flanks go on past it by a fifth of the radius.
            reach = max(reach, on.radius_mm * (math.cos(half_rad) + 0.2))
    deepest = min(reach, (floor - CLEAR_MM) / rise)
    widest = WIDTHS_MM[-1] / 2 - _LEAST_LAND_MM
    if deepest > widest:
        raise SetupError(
            f"{part.name} is {size_said(box)} as it lies; the widest V-block is {WIDTHS_MM[-1]:g} mm wide"
        )
    bears_from = _bears_from(posed, half_rad)
    found: list[tuple[float, _Stop | None]] = []
    for share in _DEPTHS:
        flank = math.floor(2 * share * deepest) / 2
        if flank > max(_GROOVE_MM / 2, bears_from) + 0.25:
            found.append((flank, _stop(part, posed, box, shift, (flank, flank * rise))))
    if not found:
        raise SetupError(
            f"{part.name} lies too deep in a V-block for its floor: the floor stands {floor:.4g} mm over the "
            "line in which the flanks meet"
        )
    return next(((f, s) for f, s in found if s is not None), found[0])


def _bears_from(posed: Posed, half_rad: float) -> float:
    """Return how far from the middle a round bears on a flank; zero for planes."""
    on = posed.stance.on[0]
    return on.radius_mm * math.cos(half_rad) if isinstance(on, Round) else 0.0


def _stop(
    part: Part, posed: Posed, box: Box, shift: tuple[float, float], land: tuple[float, float]
) -> _Stop | None:
    """Return the stop on either land that touches most of the end of the part toward +X."""
    flank, top = land
    end, floor = posed.ends[1], posed.floor.offset_mm + shift[1]
    if not isinstance(end, Plane):
        return None
    shape = shapely.affinity.translate(outline(end, posed.turn), *shift)
    found = []
    for side in (-1, 1):
        over = side * flank * (1.0 - _STOP_OVER)
        y = sorted((over, side * (flank + _STOP_ON_MM)))
        above = (
            box[5] + shift[1] if side == posed.wall_side and _clear_of_wall(posed, y, shift) else floor - 1.0
        )
        height = min(math.floor(2 * (above - top)) / 2, 12.0)
        if height < 1.0:
            continue
        touches = shape.intersection(shapely.box(y[0], top, y[1], top + height)).area
        if touches >= _LEAST_STOP_MM2:
            found.append(_Stop(side=side, y_mm=(y[0], y[1]), z_mm=(top, top + height), touches_mm2=touches))
    return max(found, key=lambda s: s.touches_mm2) if found else None


def _clear_of_wall(posed: Posed, y_mm: list[float], shift: tuple[float, float]) -> bool:
    """Say whether a stop stays on the far side of a wall, where the wheel does not come."""
    if posed.wall is None:
        return False
    wall_y = float((posed.wall.corners[0] @ posed.turn.T)[1]) + shift[0]
    return y_mm[0] > wall_y + 1.0 if posed.wall_side > 0 else y_mm[1] < wall_y - 1.0


def _vee(part: Part, box: Box, flank_mm: float, length_mm: float, half_rad: float) -> Equipment:
    width = next(w for w in WIDTHS_MM if w / 2 - _LEAST_LAND_MM >= flank_mm)
    height = max(40.0, 10.0 * math.ceil((flank_mm / math.tan(half_rad) + 20.0) / 10.0))
    params: dict[str, Value] = {
        "length_mm": length_mm, "width_mm": width, "height_mm": height, "land_mm": width / 2 - flank_mm,
    }  # fmt: skip
    why = vee_words(part.name)
    return Equipment(kind="magnetic_v_block", name="vee", at=(0.0, 0.0, 0.0), params=params, why=why)


def _stop_block(stop: _Stop | None, end_x_mm: float) -> tuple[Equipment, ...]:
    if stop is None:
        return ()
    params: dict[str, Value] = {
        "length_mm": _STOP_LENGTH_MM,
        "width_mm": stop.y_mm[1] - stop.y_mm[0],
        "height_mm": stop.z_mm[1] - stop.z_mm[0],
    }
    at = (end_x_mm + _STOP_LENGTH_MM / 2, sum(stop.y_mm) / 2, stop.z_mm[0])
    why = vee_stop_words()
    return (Equipment(kind="blocking_block", name="stop", at=at, params=params, why=why),)


def _seats(
    posed: Posed, names: FaceNames, places: tuple[tuple[str, Vector], ...], nest: Nest | None, stop: bool
) -> Iterator[Seat]:
    """Yield the seats that are meant, part by part from the stop."""
    sides = (("left", Rank.PRIMARY), ("right", Rank.SECONDARY))
    half_rad = math.radians(ANGLE_DEG) / 2
    on = [
        (names.name(item.faces, "round" if isinstance(item, Round) else f"{side}_seat"), side, rank)
        for (side, rank), (_, item) in zip(sides, _flanks(posed, half_rad), strict=True)
    ]
    end = names.name(posed.ends[1].faces, "end") if posed.ends[1] else None
    for n, (name, _) in enumerate(places):
        for face, side, rank in on:
            yield Seat(body=name, face=face, on=f"vee_{side}", on_face=f"{side}_flank", rank=rank)
        if n == 0 and stop and end:
            yield Seat(body=name, face=end, on="stop", on_face="minus_x", rank=Rank.STOP)
        elif n and nest:
            yield nest_seat(nest, names, name, places[n - 1][0])


def _because(nest: Nest | None, stop: _Stop | None, count: int) -> Iterator[Because]:
    if nest:
        yield Because(choice=nested_words(count, nest.pitch_mm), reason=nest_words(nest.early_mm))
    if stop is None:
        yield Because(choice="no stop", reason=NO_STOP_ON_LAND)
