"""A set-up out of an assembly as drawn: what is ground, what holds it, and which faces seat on which."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fixturecheck.contact.patch import ContactMap
from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import box_of, mass_of
from fixturecheck.kernel.place import matrix_of, placed_at, taken_apart
from fixturecheck.kernel.step import Imported, PartFile, read
from fixturecheck.names import distinct, unknown
from fixturecheck.result.contact import Contact, ContactKind
from fixturecheck.result.shapes import Role
from fixturecheck.setup.make import body
from fixturecheck.setup.model import Body
from fixturecheck.setup.records import BodyRole, Rank, Seat
from fixturecheck.start.layout import Because, TomlLine, kept_seats, touching
from fixturecheck.start.part import FaceNames, Part, Plane, found_part
from fixturecheck.start.standing import open_floors
from fixturecheck.wording.proposals import LEFT_OUT, part_found_words

_LEVEL = 0.05
"""Upward share of a normal below which a face is a side: about 3 degrees."""

_ALONG_X = 0.7
"""Share of a normal along X from which a side stops the part along the traverse."""

_SAME_SHAPE = 1e-6
"""Copies differ in volume by no more than this share of it."""

_OWN_SHAPES = re.compile(f"(?:{'|'.join(r for r in Role if r not in {Role.PART, Role.FIXTURE})}) ")
"""What stands beside the bodies in a `setup.step` that a check wrote; no body has a blank in its name."""

_HEADER_BYTES = 2000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Given:
    """One body of an assembly, as it becomes one of a set-up.

    Parameters
    ----------
    body : Body
        With its role and its group, standing where the file puts it.
    which : str or int
        What names its solid in the file.
    faces : mapping of str to tuple of int
        Names that the set-up gives to its faces.
    why : str
        Why it has its role.
    """

    body: Body
    which: str | int
    faces: Mapping[str, tuple[int, ...]]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FromAssembly:
    """A set-up made of an assembly.

    Parameters
    ----------
    file : Path
    bodies : tuple of Given
        In the order of the file.
    seats : tuple of Seat
        Part by part, primary first.
    shares : tuple of (float or None)
        For each seat the share that touches, where a stop touches on less than is asked by default.
    floor, wall : str, str or None
        Names of what is ground, on each part.
    wide_mm : float
        Width of the floor across the traverse.
    because : tuple of Because
    """

    file: Path
    bodies: tuple[Given, ...]
    seats: tuple[Seat, ...]
    shares: tuple[float | None, ...]
    floor: str
    wall: str | None
    wide_mm: float
    because: tuple[Because, ...]


def set_up_of(file: Path, *, part: str | None = None, floor: str | None = None) -> FromAssembly:
    """Return the set-up that an assembly shows.

    Parameters
    ----------
    file : Path
        A STEP or BREP file of several solids.
    part : str, optional
        Name of the body that is ground, or of one of its copies; what most others touch where it is left out.
    floor : str, optional
        Name of the face to grind, on the parts; the best one where it is left out.

    Returns
    -------
    FromAssembly
        With the reasons of what was chosen.

    Raises
    ------
    SetupError
        There are fewer than two solids, none stands on another, or nothing level can be ground.
    """
    found = read(file)
    drawn, left_out = _bodies_in(found)
    whichs = _whichs(drawn)
    names = list(distinct([one.name for one in drawn]))
    bodies = {name: _fixture(name, one) for name, one in zip(names, drawn, strict=True)}
    contacts = touching(tuple(bodies.values()))
    parts, why = _parts(bodies, contacts, part)
    groups = _groups(bodies, contacts, parts)
    naming = {name: FaceNames(b.faces, b.unclear) for name, b in bodies.items()}
    target = _Target(bodies[parts[0]], file, naming[parts[0]], floor)
    for name in parts[1:]:
        _Target(bodies[name], file, naming[name], target.floor if floor else None)
    wanted = tuple(_seats(parts, bodies, contacts, naming))
    given = [
        Given(
            body=replace(
                b, role=BodyRole.PART if name in parts else BodyRole.FIXTURE, group=groups.get(name)
            ),
            which=which,
            faces=naming[name].given,
            why=why if name in parts else "",
        )
        for (name, b), which in zip(bodies.items(), whichs, strict=True)
    ]
    seats, shares, _ = kept_seats(wanted, [_named(g) for g in given], _contacts_of(given))
    reasons = [Because(choice=f"{' and '.join(parts)} ground", reason=why)]
    if left_out:
        reasons.append(Because(choice=f"left out: {', '.join(left_out)}", reason=LEFT_OUT))
    return FromAssembly(
        file=file,
        bodies=tuple(given),
        seats=seats,
        shares=shares,
        floor=target.floor,
        wall=target.wall,
        wide_mm=target.wide_mm,
        because=tuple(reasons),
    )


def _contacts_of(given: Sequence[Given]) -> ContactMap:
    """Return where the bodies touch, under the names that the set-up gives to their faces."""
    return touching([_named(g) for g in given])


def _named(given: Given) -> Body:
    taken = {i for faces in given.faces.values() for i in faces}
    kept = {n: tuple(i for i in faces if i not in taken) for n, faces in given.body.faces.items()}
    return replace(given.body, faces={**{n: f for n, f in kept.items() if f}, **given.faces})


def _bodies_in(found: PartFile) -> tuple[list[Imported], list[str]]:
    """Return the solids that are bodies, and the names of those that a check drew beside them.

    Raises
    ------
    SetupError
        Fewer than two are left.
    """
    with found.path.open("rb") as file:
        ours = b"'fixturecheck'" in file.read(_HEADER_BYTES)
    beside = [s.name for s in found.solids if ours and _OWN_SHAPES.match(s.name)]
    drawn = [s for s in found.solids if s.name not in beside]
    if len(drawn) < 2:
        raise SetupError(
            f"{found.path.name} holds one solid; give an assembly, or the part alone without --from"
        )
    return drawn, beside


def _whichs(drawn: Sequence[Imported]) -> list[str | int]:
    """Return what names each solid in its file: its name, or its number where several share that."""
    names = [one.name for one in drawn]
    clear = [names.count(n) == 1 and not any(n in o.aliases for o in drawn if o.name != n) for n in names]
    return [n if ok else number for number, (n, ok) in enumerate(zip(names, clear, strict=True), start=1)]


def _fixture(name: str, one: Imported) -> Body:
    return body(name, one.solid, role=BodyRole.FIXTURE, named=one.faces)


def _parts(bodies: Mapping[str, Body], contacts: ContactMap, wish: str | None) -> tuple[list[str], str]:
    """Return what is ground, with copies: what touches most others of what stands and carries nothing.

    Raises
    ------
    SetupError
        Nothing stands on another, or no body has the name that is asked for.
    """
    if wish is not None:
        if wish not in bodies:
            raise unknown(wish, bodies, what="--part: body")
        return [n for n in bodies if _alike(bodies[n], bodies[wish])], "as asked for"
    carried, carries = set[str](), set[str]()
    beside: dict[str, set[str]] = {name: set() for name in bodies}
    for contact in (p.contact for p in contacts.patches):
        if contact.kind is ContactKind.NEAR:
            continue
        beside[contact.a.body].add(contact.b.body)
        beside[contact.b.body].add(contact.a.body)
        if abs(contact.normal[2]) > _LEVEL:
            below, above = (contact.a, contact.b) if contact.normal[2] > 0 else (contact.b, contact.a)
            carried.add(above.body)
            carries.add(below.body)
    free = carried - carries
    if not free:
        raise SetupError(
            "no body of the assembly stands on another with nothing on it: there is no part to grind"
        )
    tops = {n: box_of(placed_at(bodies[n].solid, bodies[n].at))[5] for n in free}
    first = max(sorted(free), key=lambda n: (len(beside[n]), round(tops[n], 6)))
    like = [n for n in bodies if n in free and _alike(bodies[n], bodies[first])]
    return like, part_found_words(len(beside[first]), copies=len(like) > 1)


def _alike(one: Body, other: Body) -> bool:
    volumes = [mass_of(b.solid)[0] for b in (one, other)]
    faces = [len(faces_of(b.solid)) for b in (one, other)]
    return faces[0] == faces[1] and abs(volumes[0] - volumes[1]) <= _SAME_SHAPE * volumes[0]


def _groups(bodies: Mapping[str, Body], contacts: ContactMap, parts: Sequence[str]) -> dict[str, str]:
    """Return the piece of equipment that each body is one of: they touch side by side and stand on none."""
    carried = {
        (c.b if c.normal[2] > 0 else c.a).body
        for c in (p.contact for p in contacts.patches)
        if c.kind is not ContactKind.NEAR and abs(c.normal[2]) > _LEVEL
    }
    piece = {n: n for n in bodies if n not in parts and n not in carried}
    for patch in contacts.patches:
        c = patch.contact
        if c.kind is ContactKind.AREA and c.a.body in piece and c.b.body in piece:
            old, new = piece[c.b.body], piece[c.a.body]
            piece = {n: new if p == old else p for n, p in piece.items()}
    found: dict[str, str] = {}
    for root in set(piece.values()):
        members = [n for n, p in piece.items() if p == root]
        if len(members) > 1:
            name = _shared(members) or "base"
            found |= dict.fromkeys(members, name)
    return found


def _shared(names: Sequence[str]) -> str:
    """Return how all names begin, without what joins it to the rest."""
    first, last = min(names), max(names)
    same = next((i for i, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), len(first))
    return first[:same].strip("_-")


class _Target:
    """What is ground on a part, by the names that the set-up uses."""

    def __init__(self, part: Body, file: Path, names: FaceNames, wish: str | None) -> None:
        own, at = taken_apart(placed_at(part.solid, part.at))
        looked = found_part(replace(part, solid=own), file)
        turn = matrix_of(at)[:3, :3]
        plane, wall = _ground(looked, turn, wish)
        across = (plane.corners @ turn.T)[:, 1]
        self.wide_mm = float(across.max() - across.min())
        self.floor = names.name(plane.faces, "floor")
        self.wall = names.name(wall.faces, "wall") if wall else None


def _ground(part: Part, turn: np.ndarray, wish: str | None) -> tuple[Plane, Plane | None]:
    """Return the level face of a part that is ground, and the wall beside it.

    Raises
    ------
    SetupError
        There is none, or not of the name that is asked for.
    """
    found = list(open_floors(part, turn))
    wanted = wish or ("floor" if "floor" in part.body.faces else None)
    named = [f for f in found if wanted and set(part.body.face_indices(wanted)) & set(f[0].faces)]
    if wish and not named:
        raise SetupError(
            f"--floor {wish}: {part.name} has no level face of that name that the wheel can run over"
        )
    if not found:
        raise SetupError(f"{part.name} has no level face that the wheel can run over along X, as it stands")
    plane, wall, _ = max(named or found, key=lambda f: f[2])
    return plane, wall


@dataclass(frozen=True, slots=True, kw_only=True)
class _Touch:
    """Two faces that touch: of a part, and of what it touches; the normal points into the part."""

    own: FaceRef
    other: FaceRef
    normal: np.ndarray
    size: float


def _seats(
    parts: Sequence[str], bodies: Mapping[str, Body], contacts: ContactMap, naming: Mapping[str, FaceNames]
) -> Iterator[Seat]:
    """Yield the seats that the contacts show, part by part from the one that is stopped."""
    touches = {name: _touches(name, contacts) for name in parts}
    ranked = {n: list(_ranked([t for t in touches[n] if t.other.body not in parts])) for n in parts}
    first = next((n for n in parts if any(rank is Rank.STOP for _, rank in ranked[n])), parts[0])
    order, before = [first], dict[str, str]()
    for name in order:
        for touch in touches[name]:
            if touch.other.body in parts and touch.other.body not in order:
                order.append(touch.other.body)
                before[touch.other.body] = name
    order += [n for n in parts if n not in order]
    for name in order:
        nests = [(t, Rank.NEST) for t in touches[name] if t.other.body == before.get(name)]
        for touch, rank in (*ranked[name], *nests):
            yield Seat(
                body=name,
                face=_name(touch.own, bodies, naming, str(rank)),
                on=touch.other.body,
                on_face=_name(touch.other, bodies, naming, "on"),
                rank=rank,
            )


def _name(ref: FaceRef, bodies: Mapping[str, Body], naming: Mapping[str, FaceNames], role: str) -> str:
    return naming[ref.body].name(bodies[ref.body].face_indices(ref.face), role)


def _touches(name: str, contacts: ContactMap) -> list[_Touch]:
    """Return the faces of a part that touch another body, the most first; edges are no seats."""
    found: dict[tuple[FaceRef, FaceRef], _Touch] = {}
    for c in (p.contact for p in contacts.patches):
        if name not in {c.a.body, c.b.body} or not _seats_there(c):
            continue
        own, other = (c.a, c.b) if c.a.body == name else (c.b, c.a)
        sign = -1.0 if own == c.a else 1.0
        size = c.area_mm2 or 1e-3 * c.length_mm
        known = found.get((own, other))
        found[own, other] = _Touch(
            own=own, other=other, normal=sign * np.array(c.normal), size=size + (known.size if known else 0.0)
        )
    return sorted(found.values(), key=lambda t: (-round(t.size, 6), t.own, t.other))


def _seats_there(contact: Contact) -> bool:
    if contact.kind is ContactKind.AREA:
        return True
    edges = any("+" in ref.face for ref in (contact.a, contact.b))
    return contact.kind is ContactKind.LINE and not edges


def _ranked(touches: Sequence[_Touch]) -> Iterator[tuple[_Touch, Rank]]:
    """Yield the seats of one part with what each is for: what carries it, then its sides, then its stops.

    In a vise the fixed jaw comes first, which everything is square to.
    """
    free = [Rank.PRIMARY, Rank.SECONDARY, Rank.TERTIARY]
    taken: list[tuple[np.ndarray, Rank]] = []
    jaws = [t for t in touches if t.other.face == "fixed_jaw"]
    carries = [t for t in touches if t.normal[2] > _LEVEL]
    sides = [t for t in touches if t not in jaws and t not in carries]
    for touch in (*jaws, *carries, *sides):
        level = abs(touch.normal[2]) <= _LEVEL
        same = next((rank for way, rank in taken if way @ touch.normal > 1 - 1e-6), None)
        across = any(way @ touch.normal < -_ALONG_X for way, _ in taken)
        stops = level and touch not in jaws and (across or abs(touch.normal[0]) > _ALONG_X)
        rank = same or (free.pop(0) if free and not stops and touch.normal[2] > -_LEVEL else Rank.STOP)
        taken.append((touch.normal, rank))
        yield touch, rank


def body_lines(given: Given, home_file: str) -> Iterator[TomlLine]:
    """Yield the keys of a body.

    Parameters
    ----------
    given : Given
        The body as it was found in the assembly.
    home_file : str
        Path of the assembly's file as the set-up states it.

    Yields
    ------
    TomlLine
        Name, file, solid, place and role; the group where it has one.
    """
    yield TomlLine(key="name", value=given.body.name)
    yield TomlLine(key="file", value=home_file)
    yield TomlLine(key="solid", value=given.which)
    yield TomlLine(key="at", value=[0.0, 0.0, 0.0], remark="where the assembly has it")
    yield TomlLine(key="role", value=str(given.body.role), remark=given.why, guessed=True)
    if given.body.group:
        yield TomlLine(key="group", value=given.body.group, remark="one piece of equipment", guessed=True)
