"""A part, or a row of them, on a flat magnetic chuck: against the back rail, between two blocks."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely

from fixturecheck.errors import SetupError
from fixturecheck.kernel.shapes import Box
from fixturecheck.numeric import to_vector
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.records import Rank, Seat
from fixturecheck.shop.catalogue import Value
from fixturecheck.start.layout import (
    BLOCK_MM,
    Because,
    Equipment,
    FirstSetup,
    Nest,
    Nesting,
    first_setup,
    low_height,
    nest_seat,
    nesting_of,
    outline,
    part_face_names,
    places_in_row,
    size_said,
    turned_box,
)
from fixturecheck.start.part import SAME, FaceNames, Part, Plane
from fixturecheck.start.standing import Posed
from fixturecheck.wording.proposals import (
    block_words,
    nest_words,
    nested_words,
    no_nest_words,
    row_holder_words,
    spaced_words,
)

SIZES_MM = ((300.0, 150.0), (400.0, 200.0), (600.0, 300.0), (1000.0, 500.0))
"""Lengths and widths of flat chucks, the smallest first: common practice, no source."""

RAIL_MM = 8.0
_RAIL = "chuck_back_rail"
_BLOCK_LENGTH_MM = 40.0
_BLOCK_WIDTHS_MM = (25.0, 20.0, 16.0, 12.0, 8.0)
_HALF = 0.5


def on_chuck(part: Part, posed: Posed, count: int) -> FirstSetup:
    """Return a set-up on the smallest chuck that takes the parts.

    The wheel's sparks fly toward +X unless a set-up says otherwise, and so does the cutting force: the
    first part stands against the block at that end.

    Parameters
    ----------
    part : Part
        The part that is ground.
    posed : Posed
        How it stands on the chuck.
    count : int
        Copies in a row along X, 1 or more.

    Returns
    -------
    FirstSetup
        Of several parts, with why they are so far apart.

    Raises
    ------
    SetupError
        The parts do not fit on the largest chuck, or do not stand behind each other.
    """
    box = turned_box(part, posed.turn)
    one = box[3] - box[0]
    _chuck_for(part, box, one, 1)
    longest = SIZES_MM[-1][0] - 2 * _HALF * _BLOCK_LENGTH_MM
    most = (longest - one) / (count - 1) if count > 1 else 0.0
    search = nesting_of(part, posed.turn, most) if count > 1 else None
    nest = search.nest if search else None
    if search and nest is None and search.least_mm is not None and search.least_mm > most:
        _chuck_for(part, box, (count - 1) * search.least_mm + one, count)
    spaced = count > 1 and nest is None
    pitch = nest.pitch_mm if nest else one + (_BLOCK_LENGTH_MM if spaced else 0.0)
    row = (count - 1) * pitch + one
    length, width = _chuck_for(part, box, row, count)
    because = tuple(_because(search, count, row))
    for stood, rail_mm in _against(posed):
        shift_y = width / 2 - box[4] if stood.back is not None else -(box[1] + box[4]) / 2
        places = places_in_row(part, count, pitch, (row / 2 - box[3], shift_y, -box[2]))
        first = _arranged(part, stood, box, places, nest, spaced, _chuck(length, width, rail_mm, box, stood))
        if stood.back is None or any(s.on == _RAIL for s in first.seats):
            break
    return replace(first, because=(*because, *first.because))


def _against(posed: Posed) -> Iterator[tuple[Posed, float]]:
    """Yield how a part may stand to the rail, and how high the rail is, the usual first.

    A back that begins higher up than the usual rail may meet one as high as the blocks. Where it does not,
    the part stands clear of the rail: a fence that only its edges touch would turn it.
    """
    if posed.back is not None:
        yield posed, RAIL_MM
        yield posed, BLOCK_MM
    yield replace(posed, back=None), 0.0


def _arranged(
    part: Part,
    posed: Posed,
    box: Box,
    places: tuple[tuple[str, Vector], ...],
    nest: Nest | None,
    spaced: bool,
    chuck: Equipment,
) -> FirstSetup:
    """Return a set-up of parts at their places, with the blocks that they touch."""
    height = low_height(posed.floor.offset_mm - box[2], BLOCK_MM)
    names = part_face_names(part)
    blocks = _blocks(part, posed, box, places, spaced, height)
    wanted = tuple(_seats(posed, names, places, nest, blocks))
    pieces = (chuck, *blocks)
    first = first_setup(f"{part.name}, on the flat chuck", part, posed, names, places, pieces, wanted)
    used = {s.on for s in first.seats}
    idle = {b.name for b in blocks} - used
    stopped = blocks[0].name in used
    return replace(
        first,
        equipment=tuple(p for p in pieces if p.name not in idle),
        push=(float(stopped), 0.5 if _RAIL in used else 0.0, 0.0),
        push_at=_push_at(part, posed, places[0], blocks[0] if stopped else None, height),
    )


def _chuck_for(part: Part, box: Box, row_mm: float, count: int) -> tuple[float, float]:
    """Return the smallest size of chuck that takes a row of parts with a block at each end."""
    for length, width in SIZES_MM:
        if row_mm + 2 * _HALF * _BLOCK_LENGTH_MM <= length and box[4] - box[1] <= width:
            return length, width
    length, width = SIZES_MM[-1]
    if count > 1 and box[3] - box[0] + _BLOCK_LENGTH_MM <= length and box[4] - box[1] <= width:
        one = box[3] - box[0]
        pitch = (row_mm - one) / (count - 1)
        most = int((length - _BLOCK_LENGTH_MM - one) // pitch) + 1
        raise SetupError(
            f"{count} copies of {part.name} take {row_mm:.4g} mm in a row, and blocks at both ends besides: "
            f"the largest chuck is {length:g} mm long and takes {most}"
        )
    raise SetupError(
        f"{part.name} is {size_said(box)} as it stands; the largest chuck is {length:g} x {width:g} mm"
    )


def _chuck(length_mm: float, width_mm: float, most_mm: float, box: Box, posed: Posed) -> Equipment:
    """Return a chuck with a back rail up to a height that its finished floor allows, or none."""
    params: dict[str, Value] = {}
    if (length_mm, width_mm) != SIZES_MM[0]:
        params |= {"length_mm": length_mm, "width_mm": width_mm}
    if posed.back is None:
        params["back_rail_height_mm"] = 0.0
    elif (rail_mm := low_height(posed.floor.offset_mm - box[2], most_mm)) != RAIL_MM:
        params["back_rail_height_mm"] = rail_mm
    return Equipment(
        kind="flat_magnetic_chuck",
        name="chuck",
        at=(0.0, 0.0, 0.0),
        params=params,
        why=row_holder_words(length_mm, width_mm),
    )


def _blocks(
    part: Part, posed: Posed, box: Box, places: tuple[tuple[str, Vector], ...], spaced: bool, height_mm: float
) -> tuple[Equipment, ...]:
    """Return the block at either end, and those between parts that do not nest."""
    half = _BLOCK_LENGTH_MM / 2
    (_, first), (_, last) = places[0], places[-1]
    found = [
        _block(part, posed, box, "block_right", first, box[3] + first[0] + half, 1, height_mm),
        _block(part, posed, box, "block_left", last, box[0] + last[0] - half, 0, height_mm),
    ]
    if spaced:
        found += [
            _block(part, posed, box, f"block_{n}", at, box[0] + at[0] - half, 0, height_mm)
            for n, (_, at) in enumerate(places[:-1], start=1)
        ]
    return tuple(found)


def _block(
    part: Part, posed: Posed, box: Box, name: str, at: Vector, x_mm: float, end: int, height_mm: float
) -> Equipment:
    """Return a block that stands against an end of a part, in the middle of what it can touch there."""
    y_from, y_to = _facing(part, posed, box, end, box[2] + height_mm)
    wide = y_to - y_from
    width = next((w for w in _BLOCK_WIDTHS_MM if w <= wide), _BLOCK_WIDTHS_MM[-1])
    params: dict[str, Value] = {"length_mm": _BLOCK_LENGTH_MM, "width_mm": width, "height_mm": height_mm}
    if height_mm < 1.0:
        params["chamfer_mm"] = 0.0
    return Equipment(
        kind="blocking_block",
        name=name,
        at=(x_mm, (y_from + y_to) / 2 + at[1], 0.0),
        params=params,
        why=block_words(height_mm, at_the_end=bool(end)),
    )


def _facing(part: Part, posed: Posed, box: Box, end: int, top_mm: float) -> tuple[float, float]:
    """Return from where to where along Y a part reaches an end of its box, below the top of a block there."""
    side = posed.ends[end]
    if isinstance(side, Plane):
        low = shapely.box(box[1] - 1.0, box[2], box[4] + 1.0, top_mm)
        pieces = shapely.get_parts(outline(side, posed.turn).intersection(low))
        y_from, _, y_to, _ = max(pieces, key=lambda p: p.area, default=outline(side, posed.turn)).bounds
        return float(y_from), float(y_to)
    points = part.points @ posed.turn.T
    if side is not None:
        axis, middle = posed.turn @ side.axis, posed.turn @ side.origin
        if abs(axis[1]) < SAME:
            return float(middle[1]) - side.radius_mm, float(middle[1]) + side.radius_mm
        ends = sorted(float(axis[1]) * v for v in side.span_mm)
        return ends[0], ends[1]
    x = box[3] if end else box[0]
    at_end = points[np.abs(points[:, 0] - x) < 1e-3, 1]
    middle_y = float(at_end.mean()) if at_end.size else (box[1] + box[4]) / 2
    return middle_y - _BLOCK_WIDTHS_MM[0] / 2, middle_y + _BLOCK_WIDTHS_MM[0] / 2


def _seats(
    posed: Posed,
    names: FaceNames,
    places: tuple[tuple[str, Vector], ...],
    nest: Nest | None,
    blocks: tuple[Equipment, ...],
) -> Iterator[Seat]:
    """Yield the seats that are meant, part by part from the block that takes the push."""
    on = posed.stance.on[0]
    bottom = names.name(on.faces, "seat")
    back = names.name(posed.back.faces, "back") if posed.back else None
    left, right = (
        names.name(end.faces, role) if end else None
        for end, role in zip(posed.ends, ("left", "right"), strict=True)
    )
    right_block, left_block, *between = blocks
    for n, (name, _) in enumerate(places):
        yield Seat(body=name, face=bottom, on="chuck_plate", on_face="top", rank=Rank.PRIMARY)
        if back:
            yield Seat(body=name, face=back, on=_RAIL, on_face="fence", rank=Rank.SECONDARY)
        if n == 0 and right:
            yield Seat(body=name, face=right, on=right_block.name, on_face="minus_x", rank=Rank.STOP)
        elif n and nest:
            yield nest_seat(nest, names, name, places[n - 1][0])
        elif n and right:
            yield Seat(body=name, face=right, on=between[n - 1].name, on_face="minus_x", rank=Rank.STOP)
    for (name, _), block in zip(itertools.islice(places, len(between)), between, strict=True):
        if left:
            yield Seat(body=name, face=left, on=block.name, on_face="plus_x", rank=Rank.STOP)
    if left:
        yield Seat(body=places[-1][0], face=left, on=left_block.name, on_face="plus_x", rank=Rank.STOP)


def _push_at(
    part: Part, posed: Posed, place: tuple[str, Vector], stop: Equipment | None, height_mm: float
) -> Vector | None:
    """Return where a hand pushes a part so that it does not turn it, in its own frame.

    There the line across the middle of the stop meets that across the middle of what lies on the rail, low
    enough not to tip the part: then what both push back passes through the same point.
    """
    if stop is None:
        return None
    _, at = place
    x = float((posed.turn @ part.centre)[0]) + at[0]
    if isinstance(posed.back, Plane):
        along = (posed.back.corners @ posed.turn.T)[:, 0] + at[0]
        x = float(along.min() + along.max()) / 2
    elif posed.back is not None:
        x = float((posed.turn @ posed.back.origin)[0]) + at[0]
    there = np.array([x, stop.at[1], height_mm / 2])
    return to_vector(np.round(posed.turn.T @ (there - np.array(at)), 3) + 0.0)


def _because(search: Nesting | None, count: int, row_mm: float) -> Iterator[Because]:
    if search is None:
        return
    if search.nest:
        nest = search.nest
        yield Because(choice=nested_words(count, nest.pitch_mm), reason=nest_words(nest.early_mm, row_mm))
        return
    yield Because(choice=spaced_words(count), reason=no_nest_words(search.untried))
