"""What hardening does to the sizes of a part that matter: their change, and what is left for it.

A uniform strain keeps planes plane and parallel planes parallel, so that sizes between faces are worked out
as numbers. The solid itself is not stretched: the kernel would turn every plane and cylinder into a free
form.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.hardening.steels import hardening_process, tabled_steel
from fixturecheck.hardening.temper import (
    Change,
    Growth,
    change_along,
    growth_of,
    stated_growth,
    stock_to_leave_mm,
    temper_for,
)
from fixturecheck.interval import Range
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import box_of, extent_along
from fixturecheck.numeric import square_to, to_vector
from fixturecheck.result.hardening import DIAMETER, FAR_SIDE, ITS_AXIS
from fixturecheck.setup.hardening import FunctionalSize, HardenedWhen, Hardening
from fixturecheck.setup.model import Body, Setup
from fixturecheck.sizes.faces import PARALLEL, FlatFace, RoundFace, flat_faces, furthest_opposite, round_faces


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSize:
    """A size of a part that has a tolerance, or stock that is ground off once it is hard.

    Parameters
    ----------
    face : FaceRef
        The face whose place it sets.
    to : str
        What it is measured to: a face of the part, `diameter`, or `the far side`.
    size_mm : float
    directions : tuple of Vector
        Directions that it may be measured in, in the part's own frame; all round for a diameter.
    limit_mm : float
        How far it may change either way; zero where its face has stock on it and no tolerance yet.
    stated : bool
        Whether it is stated as a size; else it is the tolerance of its face.
    ends : tuple of str
        Names of the faces that it lies between.
    flat : bool
        Whether its face is flat.
    """

    face: FaceRef
    to: str
    size_mm: float
    directions: tuple[tuple[float, float, float], ...]
    limit_mm: float
    stated: bool
    ends: tuple[str, ...]
    flat: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class GrownSize:
    """What hardening does to one size.

    Parameters
    ----------
    size : PartSize
    change_mm : Change
        How the size changes, mm.
    left_mm : float
        Stock that is left on its sides until it is hard, the least of them; zero where it is finished before.
    sides : int
        How many of its faces are ground after hardening.
    needed_mm : float
        What each of these sides needs; of a size that is finished before, what one side would need.
    bends_mm : Range
        How far a flat face that is finished before may bend or twist; zero of any other.
    """

    size: PartSize
    change_mm: Change
    left_mm: float
    sides: int
    needed_mm: float
    bends_mm: Range


def temper_of(hardening: Hardening, steel_name: str) -> float | None:
    """Return the temper that is stated, or that the wanted hardness asks for; None where neither is.

    Parameters
    ----------
    hardening : Hardening
        The temper, or the hardness that is wanted.
    steel_name : str
        Name of the steel in the table.

    Returns
    -------
    float or None
        Degrees Celsius.

    Raises
    ------
    NotComputedError
        No temper gives the wanted hardness.
    """
    if hardening.temper_c is not None or hardening.wanted is None:
        return hardening.temper_c
    return temper_for(tabled_steel(steel_name), hardening.wanted).temper_c


def growth_of_part(hardening: Hardening, body: Body) -> Growth:
    """Return the size change of a part, as stated or by its steel and temper.

    Parameters
    ----------
    hardening : Hardening
        How it is hardened; a stated growth comes first.
    body : Body
        The part, whose material is the steel where none is stated.

    Returns
    -------
    Growth
        Along the bar and across it.

    Raises
    ------
    NotComputedError
        There is no table of its steel, it does not reach the temper, or no temper gives the wanted hardness.
    """
    if hardening.growth_share:
        return stated_growth(*hardening.growth_share)
    name = hardening.steel_of(body)
    return growth_of(tabled_steel(name), temper_of(hardening, name))


def sizes_of(setup: Setup, body: Body) -> Iterator[PartSize | NotComputedError]:
    """Yield the sizes of a part that matter: those stated, then those of its faces with a tolerance or stock.

    A face is measured from the part's first seat that is parallel to it, else from the far side of the part.
    What is no size, as of a cone with a tolerance, comes as the error that says so.

    Parameters
    ----------
    setup : Setup
        Seats, cuts and hardening; without hardening nothing is told.
    body : Body
        The part.

    Yields
    ------
    PartSize or NotComputedError
        Stated ones first.
    """
    hardening = setup.hardening
    if hardening is None:
        return
    flats, rounds = flat_faces(body), round_faces(body)
    for stated in hardening.sizes:
        if stated.part == body.name:
            yield _stated(body, stated, flats, rounds)
    datums = _datums(setup, body, flats)
    for name in dict.fromkeys(body.face_names()):
        zone_mm = body.zone_mm(name) or 0.0
        # A face that is ground after is no size yet, and what is left on it has to be enough.
        if not zone_mm and not left_on_mm(setup, body, name):
            continue
        own = [f for f in flats if f.name == name]
        hollow = [f for f in rounds if f.name == name]
        if len(own) + len(hollow) < len(body.face_indices(name)):
            message = (
                f"{body.name}.{name} is neither flat nor a cylinder, so how far it moves is not worked out"
            )
            yield NotComputedError(message)
        elif own:
            yield max((_of_flat(body, f, flats, datums, zone_mm) for f in own), key=lambda s: s.size_mm)
        else:
            yield max((_of_round(body, f, datums, zone_mm) for f in hollow), key=lambda s: s.size_mm)


def resized(setup: Setup, body: Body, size: PartSize) -> GrownSize:
    """Return what hardening does to a size of a part.

    Parameters
    ----------
    setup : Setup
        Hardening and cuts.
    body : Body
        The part.
    size : PartSize
        One of its sizes, as `sizes_of` gave it.

    Returns
    -------
    GrownSize
        The change, the stock that is left and the stock that is needed.

    Raises
    ------
    NotComputedError
        The size change of the steel is not known.
    """
    hardening = setup.hardening
    if hardening is None:
        raise NotComputedError("no hardening is stated")
    growth = growth_of_part(hardening, body)
    shares = [change_along(growth, d, hardening.rolled) for d in size.directions]
    change = Change(
        low=min(s.low for s in shares),
        usual=sum(s.usual for s in shares) / len(shares),
        high=max(s.high for s in shares),
    ).times(size.size_mm)
    stocks = [left for face in size.ends if (left := left_on_mm(setup, body, face)) > 0.0]
    sides = len(stocks)
    return GrownSize(
        size=size,
        change_mm=change,
        left_mm=min(stocks, default=0.0),
        sides=sides,
        needed_mm=stock_to_leave_mm(
            change,
            sides=max(sides, 1),
            distortion_mm=distortion_mm(hardening, body),
            clean_up_mm=clean_up_mm(hardening).high,
        ),
        bends_mm=Range.exactly(0.0) if sides or not size.flat else _bends_mm(hardening, body, size.face.face),
    )


def _bends_mm(hardening: Hardening, body: Body, face: str) -> Range:
    """Return how far a face may bend or twist over its longest side: as stated, or by the process."""
    if hardening.distortion_mm is not None:
        return Range.exactly(hardening.distortion_mm)
    faces = [faces_of(body.solid)[i] for i in body.face_indices(face)]
    boxes = np.array([box_of(one) for one in faces])
    longest = float((boxes[:, 3:].max(axis=0) - boxes[:, :3].min(axis=0)).max())
    return hardening_process(hardening.process).distortion_share.scaled(longest)


def distortion_mm(hardening: Hardening, body: Body) -> float:
    """Return how far a part may bend or twist: as stated, or by the process and its longest side.

    Parameters
    ----------
    hardening : Hardening
        The process, or the distortion where it is stated.
    body : Body
        The part.

    Returns
    -------
    float
        As stated, or the high end of what the process does.
    """
    if hardening.distortion_mm is not None:
        return hardening.distortion_mm
    box = box_of(body.solid)
    longest = max(box[3] - box[0], box[4] - box[1], box[5] - box[2])
    return hardening_process(hardening.process).distortion_share.high * longest


def clean_up_mm(hardening: Hardening) -> Range:
    """Return how deep the spoilt surface is: as stated, or by the process.

    Parameters
    ----------
    hardening : Hardening
        The process, or the depth where it is stated.

    Returns
    -------
    Range
        mm; of no width where it is stated.
    """
    if hardening.clean_up_mm is not None:
        return Range.exactly(hardening.clean_up_mm)
    return hardening_process(hardening.process).removed_mm


def left_on_mm(setup: Setup, body: Body, face: str) -> float:
    """Return the stock on a face when the part is hardened: as stated, or that of the cuts that follow it.

    Parameters
    ----------
    setup : Setup
        Hardening and cuts.
    body : Body
        The part.
    face : str
        Name of one of its faces.

    Returns
    -------
    float
        Zero where nothing is hardened or no stock is left.
    """
    hardening = setup.hardening
    if hardening is None:
        return 0.0
    stated = hardening.leave_mm.get(face, hardening.leave_mm.get("*"))
    if stated is not None or hardening.when != HardenedWhen.BEFORE:
        return stated or 0.0
    stocks = [0.0]
    for cut in setup.cuts:
        if body.name in cut.parts:
            stocks += [cut.stock_mm] * (face == cut.floor) + [cut.wall_stock_mm] * (face == cut.wall)
    return max(stocks)


def _datums(setup: Setup, body: Body, flats: tuple[FlatFace, ...]) -> list[FlatFace]:
    """Return the flat faces that a part seats on, first seat first."""
    order = list(dict.fromkeys(s.face for s in setup.seats if s.body == body.name))
    return [f for name in order for f in flats if f.name == name]


def _of_flat(
    body: Body, face: FlatFace, flats: tuple[FlatFace, ...], datums: list[FlatFace], zone_mm: float
) -> PartSize:
    """Return the size that sets the place of a flat face."""
    seats = [d for d in datums if face.parallel(d) and d.name != face.name and face.apart_mm(d) > 0.0]
    to = seats[0] if seats else furthest_opposite(face, flats)
    if to is None:
        low, high = extent_along(body.solid, face.normal)
        return _size(body, face.name, FAR_SIDE, (high - low, face.normal), zone_mm / 2, ())
    return _size(body, face.name, to.name, (face.apart_mm(to), face.normal), zone_mm / 2, (to.name,))


def _of_round(body: Body, face: RoundFace, datums: list[FlatFace], zone_mm: float) -> PartSize:
    """Return the size that sets the place of a round face: from where it is measured to its far side.

    Its radius changes, and its axis moves away from the seats beside it.
    """
    beside = [d for d in datums if abs(float(d.normal @ face.axis)) < PARALLEL]
    far_mm, to, way = face.radius_mm, ITS_AXIS, square_to(face.axis)[0]
    for datum in beside:
        reach_mm = abs(float(datum.normal @ face.origin) - datum.at_mm) + face.radius_mm
        if reach_mm > far_mm:
            far_mm, to, way = reach_mm, datum.name, datum.normal
    ways = (way, np.cross(face.axis, way))
    return PartSize(
        face=FaceRef.of(body.name, face.name),
        to=to,
        size_mm=far_mm,
        directions=tuple(to_vector(w) for w in ways),
        limit_mm=zone_mm / 2,
        stated=False,
        ends=(face.name,),
        flat=False,
    )


def _stated(
    body: Body, stated: FunctionalSize, flats: tuple[FlatFace, ...], rounds: tuple[RoundFace, ...]
) -> PartSize | NotComputedError:
    """Return a size that is stated, or why it is none."""
    limit_mm = stated.tolerance_mm / 2
    if stated.to is None:
        for face in rounds:
            if face.name == stated.face:
                ways = square_to(face.axis)
                return PartSize(
                    face=FaceRef.of(body.name, face.name),
                    to=DIAMETER,
                    size_mm=2.0 * face.radius_mm,
                    directions=tuple(to_vector(w) for w in ways),
                    limit_mm=limit_mm,
                    stated=True,
                    ends=(face.name,),
                    flat=False,
                )
        return NotComputedError(
            f"{body.name}.{stated.face} is no cylinder; state the face that it is measured to"
        )
    pairs = [
        (a, b)
        for a in flats
        for b in flats
        if a.name == stated.face and b.name == stated.to and a.parallel(b)
    ]
    if not pairs:
        return NotComputedError(f"{body.name}.{stated.face} and {stated.to} are not two parallel flat faces")
    a, b = max(pairs, key=lambda pair: pair[0].apart_mm(pair[1]))
    return _size(body, a.name, b.name, (a.apart_mm(b), a.normal), limit_mm, (b.name,), stated=True)


def _size(
    body: Body,
    face: str,
    to: str,
    measured: tuple[float, Floats],
    limit_mm: float,
    others: tuple[str, ...],
    *,
    stated: bool = False,
) -> PartSize:
    return PartSize(
        face=FaceRef.of(body.name, face),
        to=to,
        size_mm=measured[0],
        directions=(to_vector(measured[1]),),
        limit_mm=limit_mm,
        stated=stated,
        ends=(face, *others),
        flat=True,
    )
