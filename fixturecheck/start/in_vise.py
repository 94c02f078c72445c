"""A part between the jaws of a vise, on a parallel so that its top stands out, against a stop."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.errors import SetupError
from fixturecheck.kernel.shapes import Box
from fixturecheck.setup.records import Rank, Seat
from fixturecheck.shop.catalogue import Value
from fixturecheck.start.layout import (
    BLOCK_MM,
    CLEAR_MM,
    Because,
    Equipment,
    FirstSetup,
    first_setup,
    outline,
    part_face_names,
    size_said,
    turned_box,
)
from fixturecheck.start.part import SAME, FaceNames, Part, Plane
from fixturecheck.start.standing import Posed
from fixturecheck.wording.proposals import (
    NO_STOP_IN_VISE,
    jaws_words,
    parallel_words,
    vise_stop_words,
    vise_words,
)

PROUD_MM = 3.0
"""How far the floor stands out of the jaws, so that the wheel clears them (common practice, no source)."""

LEAST_GRIP_MM = 2.0
"""Least height that the jaws must hold (chosen here, no source)."""

_BESIDE_JAW_MM = 0.5
_PARALLELS_MM = (60.0, 50.0, 40.0, 30.0, 25.0, 20.0, 16.0, 12.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0)
"""Air between a parallel and a jaw, and widths of parallels (common practice, no source)."""

_STOP_LENGTH_MM = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Size:
    """A size of vise."""

    width_mm: float
    length_mm: float
    jaw_height_mm: float
    opens_mm: float


SIZES = (
    _Size(width_mm=50.0, length_mm=150.0, jaw_height_mm=25.0, opens_mm=60.0),
    _Size(width_mm=73.0, length_mm=190.0, jaw_height_mm=35.0, opens_mm=90.0),
    _Size(width_mm=100.0, length_mm=245.0, jaw_height_mm=45.0, opens_mm=125.0),
    _Size(width_mm=150.0, length_mm=300.0, jaw_height_mm=50.0, opens_mm=200.0),
)
"""Sizes of toolmaker's vises, the smallest first: common practice, no source."""

_OVERHANG = 1.5
"""How much longer than the jaws a part may be (chosen here, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Laid:
    """Where a part lies between the jaws, mm.

    Parameters
    ----------
    vise : _Size
    opening_mm : float
        Between the jaws.
    under_mm : float
        Height of the parallel; 0 where the part stands on the floor of the bed.
    shift_x_mm, shift_y_mm : float
        How far the turned part is moved along X and Y.
    """

    vise: _Size
    opening_mm: float
    under_mm: float
    shift_x_mm: float
    shift_y_mm: float


def in_vise(part: Part, posed: Posed, count: int) -> FirstSetup:
    """Return a set-up in the smallest vise that takes the part.

    Parameters
    ----------
    part : Part
        The part that is ground.
    posed : Posed
        How it stands between the jaws.
    count : int
        Copies of the part; only 1 can be gripped.

    Returns
    -------
    FirstSetup
        Of parallel and stop, with those only that carry a seat.

    Raises
    ------
    SetupError
        More than one part is asked for, no two flat sides face the jaws, or the part does not fit.
    """
    if count > 1:
        raise SetupError(
            "a vise is set up for one part: a second one is held only as well as the two are alike"
        )
    front = _front(part, posed)
    box = turned_box(part, posed.turn)
    laid = _laid(part, posed, box)
    names = part_face_names(part)
    place = (part.name, (laid.shift_x_mm, laid.shift_y_mm, laid.under_mm - box[2]))
    parallel, stop = _parallel(laid), _stop(part, posed, box, laid)
    pieces = tuple(p for p in (_vise(part, laid), parallel, stop) if p is not None)
    wanted = tuple(_seats(part, posed, front, names, parallel, stop))
    first = first_setup(f"{part.name}, in the vise", part, posed, names, (place,), pieces, wanted)
    on = {s.on for s in first.seats}
    if not {"vise_body", "vise_jaw"} <= on:
        raise SetupError(f"{part.name} cannot be gripped: its sides do not lie on both jaws of a vise")
    return replace(
        first,
        equipment=tuple(p for p in pieces if p.kind == "grinding_vise" or p.name in on),
        push=(1.0 if "stop" in on else 0.0, 1.0, 0.0),
        because=(*_because(posed, laid, box, stop), *first.because),
    )


def _front(part: Part, posed: Posed) -> Plane:
    """Return the flat side that looks toward the moving jaw.

    Raises
    ------
    SetupError
        That side, or the one on the fixed jaw, is not flat.
    """
    way = -posed.turn[1]
    front = next((p for p in part.planes if p.outer and np.linalg.norm(p.normal - way) < SAME), None)
    if front is None or not isinstance(posed.back, Plane):
        raise SetupError(
            f"{part.name} has no two flat sides across from each other for the jaws of a vise, as it stands"
        )
    return front


def _laid(part: Part, posed: Posed, box: Box) -> _Laid:
    """Return where the part lies in the smallest vise that takes it.

    Raises
    ------
    SetupError
        No vise takes it, or too little of it would be held.
    """
    length, opening = box[3] - box[0], box[4] - box[1]
    vise = next((v for v in SIZES if opening <= v.opens_mm and length <= _OVERHANG * v.width_mm), None)
    if vise is None:
        most = SIZES[-1]
        raise SetupError(
            f"{part.name} is {size_said(box)} as it stands; the largest vise opens {most.opens_mm:g} mm and "
            f"is {most.width_mm:g} mm wide"
        )
    floor = posed.floor.offset_mm - box[2]
    proud = min(PROUD_MM, floor / 2)
    under = max(0.0, math.ceil(2 * (vise.jaw_height_mm + proud - floor) - 1e-9) / 2)
    held = vise.jaw_height_mm - under
    if held < LEAST_GRIP_MM:
        raise SetupError(
            f"{part.name} is too thin for a vise: {held:.3g} mm would be held below a floor of {floor:.3g} mm"
        )
    return _Laid(
        vise=vise, opening_mm=opening, under_mm=under, shift_x_mm=-(box[0] + box[3]) / 2, shift_y_mm=-box[4]
    )


def _vise(part: Part, laid: _Laid) -> Equipment:
    size = laid.vise
    params: dict[str, Value] = {
        "width_mm": size.width_mm,
        "length_mm": size.length_mm,
        "jaw_height_mm": size.jaw_height_mm,
        "opening_mm": round(laid.opening_mm, 9),
    }
    why = vise_words(part.name)
    return Equipment(kind="grinding_vise", name="vise", at=(0.0, 0.0, 0.0), params=params, why=why)


def _parallel(laid: _Laid) -> Equipment | None:
    """Return the parallel under the part; None where it stands on the bed.

    One that is nearly as wide as the part, since of a pair one is always a little lower.
    """
    if not laid.under_mm:
        return None
    room = laid.opening_mm - 2 * _BESIDE_JAW_MM
    width = next((w for w in _PARALLELS_MM if w <= room), max(round(0.7 * laid.opening_mm, 2), 0.05))
    params: dict[str, Value] = {
        "length_mm": laid.vise.width_mm,
        "width_mm": width,
        "height_mm": laid.under_mm,
        "chamfer_mm": round(min(0.25, width / 8, laid.under_mm / 8), 3),
    }
    why = parallel_words(laid.vise.jaw_height_mm)
    at = (0.0, -laid.opening_mm / 2, 0.0)
    return Equipment(kind="parallel", name="parallel", at=at, params=params, why=why)


def _stop(part: Part, posed: Posed, box: Box, laid: _Laid) -> Equipment | None:
    """Return a stop at the end that the wheel pushes to, on the bed between the jaws; None without room."""
    end = posed.ends[1]
    if not isinstance(end, Plane):
        return None
    _, low, _, top = outline(end, posed.turn).bounds
    x, base = box[3] + laid.shift_x_mm, laid.under_mm - box[2]
    width = laid.opening_mm - 2 * _BESIDE_JAW_MM
    over = min(float(top) + base, posed.floor.offset_mm + base - CLEAR_MM, float(low) + base + BLOCK_MM)
    # It stands on the parallel, which is as long as the jaws are wide, or on the bed.
    height = math.floor(2 * (over - laid.under_mm)) / 2
    fits = x + _STOP_LENGTH_MM <= laid.vise.width_mm / 2 and width >= 1.0
    if not fits or height < 1.0 or laid.under_mm + height <= float(low) + base + 0.5:
        return None
    params: dict[str, Value] = {"length_mm": _STOP_LENGTH_MM, "width_mm": width, "height_mm": height}
    at = (x + _STOP_LENGTH_MM / 2, -laid.opening_mm / 2, laid.under_mm)
    why = vise_stop_words(part.name)
    return Equipment(kind="blocking_block", name="stop", at=at, params=params, why=why)


def _seats(
    part: Part,
    posed: Posed,
    front: Plane,
    names: FaceNames,
    parallel: Equipment | None,
    stop: Equipment | None,
) -> Iterator[Seat]:
    """Yield the seats that are meant: the fixed jaw first; the moving jaw only presses."""
    on = posed.stance.on[0]
    if not isinstance(posed.back, Plane) or not isinstance(on, Plane):
        return
    back, foot = names.name(posed.back.faces, "back"), names.name(on.faces, "foot")
    yield Seat(body=part.name, face=back, on="vise_body", on_face="fixed_jaw", rank=Rank.PRIMARY)
    under = (parallel.name, "top") if parallel else ("vise_body", "bed_floor")
    yield Seat(body=part.name, face=foot, on=under[0], on_face=under[1], rank=Rank.SECONDARY)
    moving = names.name(front.faces, "front")
    yield Seat(body=part.name, face=moving, on="vise_jaw", on_face="moving_jaw", rank=Rank.STOP)
    end = posed.ends[1]
    if stop and end:
        face = names.name(end.faces, "end")
        yield Seat(body=part.name, face=face, on=stop.name, on_face="minus_x", rank=Rank.STOP)


def _because(posed: Posed, laid: _Laid, box: Box, stop: Equipment | None) -> Iterator[Because]:
    out = posed.floor.offset_mm - box[2] + laid.under_mm - laid.vise.jaw_height_mm
    yield Because(
        choice=f"a parallel {laid.under_mm:g} mm tall" if laid.under_mm else "no parallel",
        reason=jaws_words(out, laid.vise.jaw_height_mm - laid.under_mm),
    )
    if stop is None:
        yield Because(choice="no stop", reason=NO_STOP_IN_VISE)
