"""What a dial or read-out shows away from its zero, and what a datum taken over from a stop leaves."""

from __future__ import annotations

import math

import numpy as np
from shapely import LineString, box

from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.hull import convex_hull
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import axis_of, box_of, extent_along, flat_of
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.sample import tessellated
from fixturecheck.kernel.shapes import Face, Shape
from fixturecheck.result.dials import DatumOffset, DialReading, Feed, Toward, Unreachable
from fixturecheck.setup.dials import Handwheel, Transfer
from fixturecheck.setup.model import Setup

_SAME_SHARE = 1e-9
"""A distance that is a whole number of lines but for this share of one needs no rounding."""
_ALONG = 1.0 - 1e-9
_SQUARE = 1e-9
_SAME_MM = 1e-6
_FAR_MM = 1e5
_COARSE_MM, _COARSE_RAD = 0.05, 0.2
_TALL_MM = 2.0
"""How much of an upright face an edge finder needs in height: common practice, no source."""
_WAYS = {
    Toward.PLUS_X: (1.0, 0.0, 0.0),
    Toward.MINUS_X: (-1.0, 0.0, 0.0),
    Toward.PLUS_Y: (0.0, 1.0, 0.0),
    Toward.MINUS_Y: (0.0, -1.0, 0.0),
}


def lines_for(distance_mm: float, graduation_mm: float) -> int:
    """Return the whole number of lines nearest to a distance; half a line goes to the smaller.

    A feed that is a line short leaves stock, which another pass takes; one that is too far cannot be undone.

    Parameters
    ----------
    distance_mm : float
        Travel of the slide that is wanted.
    graduation_mm : float
        Travel of the slide from one line to the next.

    Returns
    -------
    int
        Lines of the dial.

    References
    ----------
    Closed form.
    """
    lines = distance_mm / graduation_mm
    return math.ceil(lines - 0.5 - _SAME_SHARE)


def reading_at(
    feed: Feed, wheel: Handwheel | None, distance_mm: float, toward: str, units: str
) -> DialReading:
    """Return what a feed reads once it has gone a distance from its zero.

    Parameters
    ----------
    feed : Feed
        Which feed is read.
    wheel : Handwheel or None
        Its dial; None where it has none.
    distance_mm : float
        How far from the zero, at least 0.
    toward : str
        Which way: `down`, `up`, `in` or `out`.
    units : str
        Of the set-up, for a dial that states none.

    Returns
    -------
    DialReading
        On a whole line; without a dial the distance itself.

    References
    ----------
    With lines of g and N of them in a turn, n = round(d / g) is n // N turns and n mod N lines; a dial that
    counts the other way shows N - n mod N. Closed form.
    """
    if wheel is None:
        return DialReading(feed=feed, toward=toward, distance_mm=distance_mm, set_mm=distance_mm)
    step_mm = wheel.graduation_mm
    count = lines_for(distance_mm, step_mm)
    each = wheel.lines_each_turn
    counts = 1 if wheel.counts_up == toward else -1
    shown = counts * count if each is None else (counts * count) % each
    return DialReading(
        feed=feed,
        toward=toward,
        distance_mm=distance_mm,
        set_mm=count * step_mm,
        turns=None if each is None else count // each,
        lines=count if each is None else count % each,
        shows_mm=shown * step_mm,
        inch=(wheel.units or units) == "inch",
        graduation_mm=step_mm,
    )


def with_backlash_mm(distance_mm: float, backlash_mm: float, *, turned_back: bool) -> float:
    """Return how far a screw's dial has to go for a distance of the slide.

    Where the zero was set with the screw driving the slide one way and the target is met driving it the
    other way, the play has to be taken up first: the dial goes so much further than the slide. Toward the
    target the dial always goes in the direction of feed.

    Parameters
    ----------
    distance_mm : float
        Travel of the slide, zero or more.
    backlash_mm : float
        Play of the screw.
    turned_back : bool
        Whether the screw drives the slide the other way at the target than where the zero was set.

    Returns
    -------
    float
        The distance, and the play on top where the screw turns back.

    References
    ----------
    Lost motion of a screw with play; closed form.
    """
    return distance_mm + (backlash_mm if turned_back else 0.0)


def offset_mm(block_mm: float, finder_mm: float) -> float:
    """Return how far the spindle's axis stands from the stop when the finder touches.

    Parameters
    ----------
    block_mm : float
        Width of the block between them, 0 without one.
    finder_mm : float
        Diameter of the tip.

    Returns
    -------
    float
        Zero or more.

    References
    ----------
    Block and half the tip; closed form. A tip of 0.200 in kicks over 0.100 in off the edge: common practice,
    no source.
    """
    return block_mm + finder_mm / 2


def _transfer_error_mm(transfer: Transfer, rounding_mm: float) -> float:
    """Return how far off a target may be met: the sum of what can go wrong, either way.

    References
    ----------
    Sum of the bounds: finder, rounding to a line, and with a block its width and its squareness. Closed form.
    The usual block is right within 0.0002 in (5 um) in size and square: common practice, no source.
    """
    block_mm = 0.0 if transfer.block_mm is None else transfer.block_error_mm + transfer.block_square_mm
    return block_mm + transfer.finder_error_mm + abs(rounding_mm)


def datum_offset(setup: Setup, transfer: Transfer) -> DatumOffset:
    """Return what is set by an edge finder.

    The finder comes up to the stop, or to the block against it, from the part's side.

    Parameters
    ----------
    setup : Setup
        Holds the stop, the target and what stands round them.
    transfer : Transfer
        What is set by the finder, from which stop and to which target.

    Returns
    -------
    DatumOffset
        Its error is None where backlash is to be taken up and is not stated.

    Raises
    ------
    NotComputedError
        The target is neither flat across the way nor round.
    """
    way = np.array(_WAYS[Toward(transfer.toward)])
    body = setup.body(transfer.stop)
    stop = placed_at(body.solid, body.at)
    high_mm = extent_along(stop, way)[1]
    off_mm = offset_mm(transfer.block_mm or 0.0, transfer.finder_mm)
    target = FaceRef(transfer.target)
    move_mm = _place_mm(setup, target, way) - high_mm - off_mm
    takes_up = move_mm > 0 and transfer.backlash_mm != 0.0
    dial_mm = with_backlash_mm(abs(move_mm), transfer.backlash_mm or 0.0, turned_back=takes_up)
    step_mm = transfer.graduation_mm
    set_mm = dial_mm if step_mm is None else lines_for(dial_mm, step_mm) * step_mm
    known = not takes_up or transfer.backlash_mm is not None
    zone_mm = setup.body(target.body).zone_mm(target.face)
    return DatumOffset(
        name=transfer.name,
        stop=transfer.stop,
        toward=Toward(transfer.toward),
        target=target,
        block_mm=transfer.block_mm or 0.0,
        radius_mm=transfer.finder_mm / 2,
        offset_mm=off_mm,
        move_mm=move_mm,
        set_mm=set_mm if move_mm >= 0 else -set_mm,
        takes_up=takes_up,
        error_mm=_transfer_error_mm(transfer, set_mm - dial_mm) if known else None,
        limit_mm=None if zone_mm is None else zone_mm / 2,
        unreachable=Unreachable.BARRED
        if _barred(setup, transfer, stop, high_mm)
        else _unreachable(faces_of(stop), way, high_mm, transfer.finder_mm),
    )


def _barred(setup: Setup, transfer: Transfer, stop: Shape, high_mm: float) -> bool:
    """Tell whether there is no room for block and finder in front of a stop, anywhere along it.

    Bodies that stand higher than the finder's tip bar their width, and half the tip on either side.
    """
    way = _WAYS[Toward(transfer.toward)]
    axis = 0 if way[0] else 1
    sign, across = way[axis], 1 - axis
    box_mm = box_of(stop)
    tip_mm = box_mm[5] - _TALL_MM
    need_mm = (transfer.block_mm or 0.0) + transfer.finder_mm
    front = box(high_mm + _SAME_MM, -_FAR_MM, high_mm + need_mm, _FAR_MM)
    free = LineString([(box_mm[across], 0.0), (box_mm[across + 3], 0.0)])
    for body in setup.bodies:
        shape = placed_at(body.solid, body.at)
        if body.name == transfer.stop or box_of(shape)[5] <= tip_mm:
            continue
        places, corners = tessellated(shape, _COARSE_MM, _COARSE_RAD)
        triangles = places[corners]
        triangles = triangles[triangles[:, :, 2].max(axis=1) > tip_mm]
        for one in triangles:
            seen = convex_hull(np.column_stack([sign * one[:, axis], one[:, across]]))
            met = seen.intersection(front)
            if not met.is_empty:
                half_mm = transfer.finder_mm / 2
                free = free.difference(box(met.bounds[1] - half_mm, -1.0, met.bounds[3] + half_mm, 1.0))
    return bool(free.is_empty)


def _place_mm(setup: Setup, target: FaceRef, way: np.ndarray) -> float:
    """Return where a target lies along a way: a flat face across it, or the axis of a round."""
    body = setup.body(target.body)
    faces = faces_of(placed_at(body.solid, body.at))
    face = faces[body.face_indices(target.face)[0]]
    flat = flat_of(face)
    if flat is not None and abs(float(np.array(flat[1]) @ way)) >= _ALONG:
        return float(np.array(flat[0]) @ way)
    axis = axis_of(face)
    if axis is not None and abs(float(np.array(axis[1]) @ way)) <= _SQUARE:
        return float(np.array(axis[0]) @ way)
    raise NotComputedError(
        f"{target} is neither a flat face nor a round that lies across the way from the stop"
    )


def _unreachable(faces: list[Face], way: np.ndarray, high_mm: float, finder_mm: float) -> Unreachable | None:
    """Return why a finder cannot touch the highest place of a stop; None where it can."""
    across = 1 if abs(way[0]) > 0.5 else 0
    why = Unreachable.ROUND
    for face in faces:
        flat = flat_of(face)
        if flat is None or float(np.array(flat[1]) @ way) < _ALONG:
            continue
        if abs(float(np.array(flat[0]) @ way) - high_mm) > _SAME_MM:
            continue
        own = box_of(face)
        if own[across + 3] - own[across] >= finder_mm - _SAME_MM and own[5] - own[2] >= _TALL_MM:
            return None
        why = Unreachable.NARROW
    return why
