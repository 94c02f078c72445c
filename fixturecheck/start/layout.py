"""What a proposed set-up consists of, which of its seats touch, and how copies of a part stand in a row."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.depth import chords
from fixturecheck.kernel.measure import area_mm2, box_of
from fixturecheck.kernel.place import location_of, placed_at
from fixturecheck.kernel.shapes import Box
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.make import equipment
from fixturecheck.setup.model import Body
from fixturecheck.setup.records import Rank, Seat
from fixturecheck.shop.catalogue import Value
from fixturecheck.start.part import SAME, FaceNames, Part, Plane
from fixturecheck.start.standing import Posed
from fixturecheck.tolerances import Tolerances
from fixturecheck.wording.proposals import NOT_TOUCHING

CLEAR_MM = 1.5
"""How far below the finished floor blocks and rails are kept; 1 mm is the least that is no caution."""

BLOCK_MM = 12.0
"""Height of a blocking block where the part leaves room for it (common practice, no source)."""

LEAST_SHARE = 0.5
"""What a seat asks for where nothing is stated."""
_LEAST_SHARE = 0.25
"""Share of the smaller face that has to lie on the other for the two to be called a nest (chosen here)."""
_LINES = 200
_PIERCED_MM = 1e-3
"""Lines along X on which neighbours are held against each other, and how far two may overlap on one before
they are taken to overlap (chosen here)."""
_EARLY_SHARE = 0.05
"""Share of the pitch by which something may land before the faces of a nest meet, for the nest still to be
taken as the one that is meant (chosen here)."""
_MOST_TRIED = 6
"""Nests that are looked at with the solids, the closest first, which takes up to seconds each."""
_COMMENT_AT = 46


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """A piece of equipment as it is proposed.

    Parameters
    ----------
    kind, name : str
        As in a set-up.
    at : Vector
        mm.
    params : mapping
        What differs from the shop's defaults.
    why : str
        Why it is there and of this size.
    """

    kind: str
    name: str
    at: Vector
    params: Mapping[str, Value]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Because:
    """A choice and its reason."""

    choice: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FirstSetup:
    """A set-up proposed for a part.

    Parameters
    ----------
    name : str
        Of the set-up.
    part : Part
    posed : Posed
        How the part is turned, what is ground.
    places : tuple of (str, Vector)
        The name of each copy of the part, and where its origin goes, mm.
    equipment : tuple of Equipment
    seats : tuple of Seat
        In order, primary first.
    shares : tuple of (float or None)
        For each seat the share that touches, where it is less than is asked by default and it locates only.
    faces : mapping of str to tuple of int
        Names that the file does not give.
    floor, wall : str, str or None
        Names of what is ground.
    push : Vector
        Which way each is pushed.
    push_at : Vector or None
        Where, in the part's own frame, mm; None is its centre.
    because : tuple of Because
    """

    name: str
    part: Part
    posed: Posed
    places: tuple[tuple[str, Vector], ...]
    equipment: tuple[Equipment, ...]
    seats: tuple[Seat, ...]
    shares: tuple[float | None, ...]
    faces: Mapping[str, tuple[int, ...]]
    floor: str
    wall: str | None
    push: Vector
    because: tuple[Because, ...]
    push_at: Vector | None = None


def first_setup(
    name: str,
    part: Part,
    posed: Posed,
    names: FaceNames,
    places: tuple[tuple[str, Vector], ...],
    pieces: tuple[Equipment, ...],
    wanted: Sequence[Seat],
) -> FirstSetup:
    """Return the set-up of equipment and copies of a part, with the seats that touch and why others do not.

    Parameters
    ----------
    name : str
        Of the set-up.
    part : Part
        What is ground.
    posed : Posed
        How it is turned, and which faces.
    names : FaceNames
        Names of the part's faces, to which floor and wall are added.
    places : tuple of (str, Vector)
        The name of each copy of the part, and where its origin goes, mm.
    pieces : tuple of Equipment
        What holds them.
    wanted : sequence of Seat
        Those that are meant, primary first.

    Returns
    -------
    FirstSetup
        Without a push.
    """
    floor = names.name(posed.floor.faces, "floor")
    wall = names.name(posed.wall.faces, "wall") if posed.wall else None
    bodies = (*made(pieces), *_copies(part, names.given, posed.turn, places))
    seats, shares, left_out = kept_seats(wanted, bodies, touching(bodies))
    return FirstSetup(
        name=name,
        part=part,
        posed=posed,
        places=places,
        equipment=pieces,
        seats=seats,
        shares=shares,
        faces=names.given,
        floor=floor,
        wall=wall,
        push=(0.0, 0.0, 0.0),
        because=left_out,
    )


def places_in_row(part: Part, count: int, pitch_mm: float, first: Vector) -> tuple[tuple[str, Vector], ...]:
    """Return the name of each copy of a part and where its origin goes, one behind the other toward -X.

    Parameters
    ----------
    part : Part
        The part; its name begins that of each copy.
    count : int
        Copies, 1 or more.
    pitch_mm : float
        From one copy to the next.
    first : Vector
        Where the origin of the first copy goes, mm.

    Returns
    -------
    tuple of (str, Vector)
        Names and places, mm; one alone keeps the name of the part, several are numbered from 1.
    """
    x, y, z = first
    return tuple(
        (part.name if count == 1 else f"{part.name}_{n + 1}", (x - n * pitch_mm, y, z)) for n in range(count)
    )


def turned_box(part: Part, turn: Floats) -> Box:
    """Return the box of a part that is turned and not moved, mm.

    The kernel's box of a round face reaches 1e-7 mm too far, which nobody wants to read in a set-up.

    Parameters
    ----------
    part : Part
        The part as drawn.
    turn : ndarray, shape (3, 3)
        From the part's frame to the machine's.

    Returns
    -------
    Box
        Least x, y and z, then greatest, rounded to 1e-6 mm.
    """
    x0, y0, z0, x1, y1, z1 = box_of(
        placed_at(part.body.solid, location_of(np.column_stack([turn, np.zeros(3)])))
    )
    return round(x0, 6), round(y0, 6), round(z0, 6), round(x1, 6), round(y1, 6), round(z1, 6)


def _copies(
    part: Part, names: Mapping[str, tuple[int, ...]], turn: Floats, places: Sequence[tuple[str, Vector]]
) -> tuple[Body, ...]:
    """Return a body for each copy of a part where it stands."""
    return tuple(
        replace(
            part.body,
            name=name,
            faces=_renamed(part.body.faces, names),
            at=location_of(np.column_stack([turn, at])),
        )
        for name, at in places
    )


def _renamed(
    known: Mapping[str, tuple[int, ...]], given: Mapping[str, tuple[int, ...]]
) -> dict[str, tuple[int, ...]]:
    """Return the names of the file and those given now, which take their faces away from the others."""
    taken = {i for faces in given.values() for i in faces}
    left = {name: tuple(i for i in faces if i not in taken) for name, faces in known.items()}
    return {**{name: faces for name, faces in left.items() if faces}, **given}


def made(pieces: Sequence[Equipment]) -> tuple[Body, ...]:
    """Return the bodies of pieces of equipment.

    Parameters
    ----------
    pieces : sequence of Equipment
        What a set-up is proposed with.

    Returns
    -------
    tuple of Body
        Piece by piece, in their order.
    """
    found: list[Body] = []
    for piece in pieces:
        params: dict[str, Any] = dict(piece.params)
        found += equipment(piece.kind, name=piece.name, at=piece.at, **params)
    return tuple(found)


def touching(bodies: Sequence[Body]) -> ContactMap:
    """Return where bodies touch.

    Parameters
    ----------
    bodies : sequence of Body
        Each where it stands.

    Returns
    -------
    ContactMap
        With the tolerances that hold where none are stated.
    """
    return find_contacts([b.placed() for b in bodies], Tolerances())


def kept_seats(
    wanted: Sequence[Seat], bodies: Sequence[Body], contacts: ContactMap
) -> tuple[tuple[Seat, ...], tuple[float | None, ...], tuple[Because, ...]]:
    """Return the seats that touch, with the share of those stops that touch on less than is asked.

    Parameters
    ----------
    wanted : sequence of Seat
        Those that are meant.
    bodies : sequence of Body
        The bodies that they name.
    contacts : ContactMap
        What touches between them.

    Returns
    -------
    tuple
        Seats, shares, and why others were left out.
    """
    by_name = {b.name: b for b in bodies}
    seats, shares, left_out = [], [], []
    for seat in wanted:
        patches = [
            p.contact for p in contacts.patches if {p.contact.a, p.contact.b} == {seat.own, seat.other}
        ]
        touch = [c for c in patches if c.kind is not ContactKind.NEAR]
        if not touch:
            left_out.append(Because(choice=f"no seat of {seat.own} on {seat.other}", reason=NOT_TOUCHING))
            continue
        area = sum(c.area_mm2 for c in touch)
        least = min(_area(by_name, seat.own), _area(by_name, seat.other))
        low = area and seat.rank == Rank.STOP and area < LEAST_SHARE * least
        seats.append(seat)
        shares.append(max(math.floor(80.0 * area / least) / 100.0, 0.01) if low else None)
    return tuple(seats), tuple(shares), tuple(left_out)


def _area(bodies: Mapping[str, Body], ref: FaceRef) -> float:
    faces = faces_of(bodies[ref.body].solid)
    return sum(area_mm2(faces[i]) for i in bodies[ref.body].face_indices(ref.face))


def part_face_names(part: Part) -> FaceNames:
    """Return what names the faces of a part.

    Parameters
    ----------
    part : Part
        With the face names of its file.

    Returns
    -------
    FaceNames
        Nothing is given yet.
    """
    return FaceNames(part.body.faces, part.body.unclear)


def low_height(floor_mm: float, most_mm: float) -> float:
    """Return how high a block or rail may stand below a finished floor, in halves of a millimetre or tenths.

    Where there is no room for the clearance, it is a little over half as high as the floor, so that at least
    half of a face against it touches.

    Parameters
    ----------
    floor_mm : float
        Height of the finished floor over what the block or rail stands on.
    most_mm : float
        Height that is wanted; it is taken, rounded down, where the floor leaves room for it.

    Returns
    -------
    float
        mm.
    """
    height = min(most_mm, floor_mm - CLEAR_MM)
    if height < 0.55 * floor_mm < most_mm:
        return max(math.ceil(5.5 * floor_mm) / 10.0, 0.1)
    return math.floor(2.0 * height + 1e-9) / 2.0


def size_said(box: Box) -> str:
    """Return the size of a box in words, mm.

    Parameters
    ----------
    box : Box
        Least x, y and z, then greatest, mm.

    Returns
    -------
    str
        As `30 x 20 x 8 mm`.
    """
    return " x ".join(f"{box[k + 3] - box[k]:.4g}" for k in range(3)) + " mm"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nest:
    """How the next part stands: so far along X, with these faces on each other.

    Parameters
    ----------
    pitch_mm : float
        From one part to the next, along +X.
    low, high : Plane
        The face of each part that looks toward -X, and the one toward +X; the high face of a part lies on
        the low face of the next.
    shared_mm2 : float
        Area on which they lie on each other.
    early_mm : float
        How far something else lands before they meet; zero where nothing does.
    """

    pitch_mm: float
    low: Plane
    high: Plane
    shared_mm2: float
    early_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nesting:
    """What a search for a nest came to.

    Parameters
    ----------
    nest : Nest or None
        The closest one found that fits; where none fits, the one in which least lands early.
    least_mm : float or None
        No nest is closer than this, as lines through the part show; None where it has none at all.
    untried : int
        Nests that were not looked at, since others had used up the tries or they are too wide apart.
    """

    nest: Nest | None
    least_mm: float | None
    untried: int


def nesting_of(part: Part, turn: Floats, most_mm: float = np.inf) -> Nesting:
    """Return the closest nest of a part with its copy.

    Lines along X through the part rule out most candidates; only what they leave is tried with the solids.
    Where none fits without an overlap, the one that is all but closed is taken as meant: a check of it then
    tells what lands first, and what would cure that.

    Parameters
    ----------
    part : Part
        The part as drawn.
    turn : ndarray, shape (3, 3)
        From the part's frame to the machine's.
    most_mm : float
        Nests of a greater pitch are of no use.

    Returns
    -------
    Nesting
        Without a nest where none fits and none is all but closed.
    """
    spans = _spans(part, turn)
    every = [replace(n, early_mm=_pierced_mm(spans, n.pitch_mm)) for n in _candidates(part, turn)]
    left = sorted(
        (replace(n, early_mm=0.0) for n in every if n.early_mm <= _PIERCED_MM),
        key=lambda n: (round(n.pitch_mm, 6), -n.shared_mm2),
    )
    useful = [n for n in left if n.pitch_mm <= most_mm]
    least_mm = left[0].pitch_mm if left else None
    for nest in useful[:_MOST_TRIED]:
        pair = _copies(part, {}, turn, (("a", (0.0, 0.0, 0.0)), ("b", (nest.pitch_mm, 0.0, 0.0))))
        if not touching(pair).overlaps:
            return Nesting(nest=nest, least_mm=least_mm, untried=0)
    meant = [
        n for n in every if n.pitch_mm <= most_mm and _PIERCED_MM < n.early_mm < _EARLY_SHARE * n.pitch_mm
    ]
    if meant and not useful:
        return Nesting(nest=min(meant, key=lambda n: n.early_mm), least_mm=least_mm, untried=0)
    return Nesting(nest=None, least_mm=least_mm, untried=len(left) - len(useful[:_MOST_TRIED]))


def _spans(part: Part, turn: Floats) -> list[Floats]:
    """Return where lines along X run inside a turned part, spread evenly over its width and height."""
    across = part.points @ turn.T[:, 1:]
    low, high = across.min(axis=0), across.max(axis=0)
    # Steps by the plastic number fill a square evenly, and put no line into a plane of the part.
    steps = np.arange(1, _LINES + 1)[:, None] * (0.7548776662466927, 0.5698402909980532)
    places = low + (high - low) * (steps % 1.0)
    starts = np.column_stack([np.zeros(_LINES), places]) @ turn
    return [rows for rows in chords(part.body.solid, starts, turn[0]) if rows.size]


def _pierced_mm(spans: Sequence[Floats], pitch_mm: float) -> float:
    """Return the longest piece of a line that a part shares with its copy, so far along; at least zero."""
    deepest = 0.0
    for rows in spans:
        low = np.maximum(rows[:, None, 0], rows[None, :, 0] + pitch_mm)
        high = np.minimum(rows[:, None, 1], rows[None, :, 1] + pitch_mm)
        deepest = max(deepest, float((high - low).max()))
    return deepest


def _candidates(part: Part, turn: Floats) -> Iterator[Nest]:
    lows = [p for p in part.planes if np.linalg.norm(turn @ p.normal + (1.0, 0.0, 0.0)) < SAME]
    highs = [p for p in part.planes if np.linalg.norm(turn @ p.normal - (1.0, 0.0, 0.0)) < SAME]
    for low in lows:
        for high in highs:
            pitch = high.offset_mm + low.offset_mm
            shared = outline(low, turn).intersection(outline(high, turn)).area
            if pitch > 0 and shared > _LEAST_SHARE * min(low.area_mm2, high.area_mm2):
                yield Nest(pitch_mm=pitch, low=low, high=high, shared_mm2=shared)


def outline(plane: Plane, turn: Floats) -> shapely.Geometry:
    """Return the outline of a plane that looks along X, in Y and Z.

    Parameters
    ----------
    plane : Plane
        Flat faces of a part.
    turn : ndarray, shape (3, 3)
        From the part's frame to the machine's.

    Returns
    -------
    shapely.Geometry
        In (y, z), mm.
    """
    faces = []
    for rings in plane.rings:
        flat = [(ring @ turn.T)[:, 1:] for ring in rings]
        faces.append(shapely.Polygon(flat[0], flat[1:]).buffer(0))
    return shapely.union_all(faces)


def nest_seat(nest: Nest, names: FaceNames, copy: str, before: str) -> Seat:
    """Return the seat of a copy of a part on the one before it in the row.

    Parameters
    ----------
    nest : Nest
        The faces that lie on each other.
    names : FaceNames
        Names of the part's faces; `right` and `left` are added where these have none.
    copy, before : str
        Names of the copy and of the one before it.

    Returns
    -------
    Seat
        Of rank `NEST`.
    """
    high, low = names.name(nest.high.faces, "right"), names.name(nest.low.faces, "left")
    return Seat(body=copy, face=high, on=before, on_face=low, rank=Rank.NEST)


@dataclass(frozen=True, slots=True, kw_only=True)
class TomlLine:
    """One key: its value, a remark, and whether it is a guess.

    Parameters
    ----------
    beside : tuple of str
        For a list whose entries stand each in a row of its own: what stands beside each.
    guessed_inside : tuple of str
        What inside the value is a guess, as the rest of a dotted key: `3.min_share`.
    """

    key: str
    value: object
    remark: str = ""
    guessed: bool = False
    beside: tuple[str, ...] = ()
    guessed_inside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TomlTable:
    """A table of the file.

    Parameters
    ----------
    header : str
        `[wheel]` or `[[cut]]`.
    path : str
        What its keys are called from outside, `cut.top`.
    remark : str
        What stands over it; empty for nothing.
    """

    header: str
    path: str
    lines: tuple[TomlLine, ...]
    remark: str = ""


def guesses_in(table: TomlTable) -> Iterator[str]:
    """Yield the dotted keys of a table that are guesses.

    Parameters
    ----------
    table : TomlTable
        A table as it will be written.

    Yields
    ------
    str
        As `cut.top.stock_mm`.
    """
    for line in table.lines:
        if line.guessed:
            yield f"{table.path}.{line.key}"
        yield from (f"{table.path}.{line.key}.{inner}" for inner in line.guessed_inside)


def toml_rows(table: TomlTable) -> Iterator[str]:
    """Yield the rows of a table as they stand in the file.

    Parameters
    ----------
    table : TomlTable
        Each of its lines with its remark.

    Yields
    ------
    str
        One row, without its line break.
    """
    if table.remark:
        yield f"# {table.remark}"
    yield table.header
    for line in table.lines:
        if line.beside and isinstance(line.value, Sequence):
            yield f"{line.key} = ["
            for value, words in zip(line.value, line.beside, strict=True):
                yield f"    {value_text(value)},{f'  # {words}' if words else ''}"
            yield "]"
            continue
        row = f"{line.key} = {value_text(line.value)}"
        words = ("guessed" + (f": {line.remark}" if line.remark else "")) if line.guessed else line.remark
        yield f"{row:<{_COMMENT_AT}}  # {words}" if words else row


def value_text(value: object) -> str:
    """Write a value as TOML.

    Parameters
    ----------
    value : object
        A flag, text or number, or a mapping or sequence of such.

    Returns
    -------
    str
        On one line; a mapping is an inline table.

    Raises
    ------
    TypeError
        It is of another type.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # A basic string of TOML is one of JSON in which DEL is escaped too.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _digits(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(k)} = {value_text(v)}" for k, v in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, Sequence):
        return f"[{', '.join(map(value_text, value))}]"
    raise TypeError(f"a {type(value).__name__} has no place in a set-up")


def _key(key: object) -> str:
    text = str(key)
    return text if text.isascii() and text.replace("_", "").replace("-", "").isalnum() else value_text(text)


def _digits(number: float) -> str:
    """Write a number in as few digits as hold it to a picometre."""
    return repr(round(float(number), 9) + 0.0)
