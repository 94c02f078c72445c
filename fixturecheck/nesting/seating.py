"""What stands and touches as drawn: which fixtures stand, and on what; what the two faces of a seat share.

Fixtures stand by a graph over the contact map. It starts from what is on the table or belongs to the machine
and goes up: a body stands if something that stands carries its weight from below, a magnet or a vise holds
it, or it is stated as fastened. A side face carries no weight, and neither does a part that only leans
against it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely

from fixturecheck.contact.patch import ContactMap, Patch
from fixturecheck.errors import NotComputedError
from fixturecheck.hull import convex_hull
from fixturecheck.kernel.boolean import apart
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import (
    area_mm2,
    box_gap_mm,
    box_of,
    centre_of,
    face_frame,
    joined_box,
    loose_box,
)
from fixturecheck.kernel.place import placed_at, shifted
from fixturecheck.kernel.shapes import Box, Shape, Solid
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.hold import MagnetState
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Seat, Setup
from fixturecheck.setup.records import BodyRole
from fixturecheck.shop import tables

_ONE_WAY = 1.0 - 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seating:
    """The contact between the two faces of a seat.

    Faces of the same body that go on in the plane of a seat's face beyond a slot belong to the seat, unless
    another seat states them.

    Parameters
    ----------
    patches : tuple of Patch
        Every patch between the two faces, near ones included.
    faces, on_faces : tuple of str
        The face of the seat on either side, and after it the pieces beyond a slot that touch.
    area_mm2, least_area_mm2 : float
        What touches, and the area of the smaller side.
    """

    patches: tuple[Patch, ...]
    faces: tuple[str, ...]
    on_faces: tuple[str, ...]
    area_mm2: float
    least_area_mm2: float

    @property
    def share(self) -> float:
        """Share of the smaller face that touches, 0 to 1."""
        return self.area_mm2 / self.least_area_mm2

    def of_kind(self, *kinds: ContactKind) -> list[Patch]:
        """Return the patches of some kinds."""
        return [p for p in self.patches if p.contact.kind in kinds]


def seating(setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap, seat: Seat) -> Seating:
    """Return the contact between the two faces of a seat.

    Parameters
    ----------
    setup : Setup
        The bodies and all their seats.
    placed : mapping of str to Solid
        Every body's solid in the machine's frame.
    contacts : ContactMap
        What touches at the drawn pose.
    seat : Seat
        The seat that is asked about.

    Returns
    -------
    Seating
    """
    between = list(contacts.between(seat.body, seat.on))
    patches = tuple(p for p in between if is_on(p, seat) or continues_seat(setup, placed, p, seat))
    touching = [p.sides_from(seat.body) for p in patches if p.contact.kind == ContactKind.AREA]
    faces = _first(seat.face, (mine.face for mine, _ in touching))
    on_faces = _first(seat.on_face, (theirs.face for _, theirs in touching))
    area = sum(p.contact.area_mm2 for p in patches if p.contact.kind == ContactKind.AREA)
    least = min(_areas_mm2(setup, seat.body, faces), _areas_mm2(setup, seat.on, on_faces))
    return Seating(patches=patches, faces=faces, on_faces=on_faces, area_mm2=area, least_area_mm2=least)


def _first(face: str, others: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((face, *sorted(set(others)))))


def continues_seat(setup: Setup, placed: Mapping[str, Solid], patch: Patch, seat: Seat) -> bool:
    """Tell whether an area lies in the plane of a seat's face though no seat names its two faces.

    Parameters
    ----------
    setup : Setup
        Seats and the touch tolerance.
    placed : mapping of str to Solid
        Every body by name, machine's frame.
    patch : Patch
        What touches.
    seat : Seat
        A seat between the same two bodies.

    Returns
    -------
    bool
        False also where a face of the seat is not flat.
    """
    if patch.contact.kind != ContactKind.AREA or any(is_on(patch, s) for s in setup.seats):
        return False
    try:
        centre, normal = face_place(setup, placed, seat.body, seat.face)
        on_centre, on_normal = face_place(setup, placed, seat.on, seat.on_face)
    except NotComputedError:
        # Only a flat face goes on in its plane.
        return False
    out, spot, touch = patch.outward(seat.body), patch.contact.centroid, setup.tolerances.touch_mm
    mine = float(np.dot(out, normal)) > _ONE_WAY and abs(float(np.subtract(spot, centre) @ normal)) <= touch
    return (
        mine
        and float(np.dot(out, on_normal)) < -_ONE_WAY
        and abs(float(np.subtract(spot, on_centre) @ on_normal)) <= touch
    )


def _areas_mm2(setup: Setup, body: str, names: tuple[str, ...]) -> float:
    """Return the area of named faces of a body, all their pieces together."""
    found = setup.body(body)
    faces = faces_of(found.solid)
    return float(sum(area_mm2(faces[i]) for name in names for i in found.face_indices(name)))


def is_on(patch: Patch, seat: Seat) -> bool:
    """Whether a patch lies between the two faces of a seat, or on an edge or corner of either.

    Parameters
    ----------
    patch : Patch
        What touches.
    seat : Seat
        A seat between any two bodies.

    Returns
    -------
    bool
    """
    if set(patch.bodies) != {seat.body, seat.on}:
        return False
    mine, theirs = patch.sides_from(seat.body)
    return seat.face in mine.faces and seat.on_face in theirs.faces


def face_place(setup: Setup, placed: Mapping[str, Solid], body: str, face: str) -> tuple[Vector, Vector]:
    """Return the centre and the outward normal of a named flat face where it stands.

    Parameters
    ----------
    setup : Setup
        Names of the faces, and the touch tolerance.
    placed : mapping of str to Solid
        Every body by name, machine's frame.
    body : str
        Name of the body.
    face : str
        One of its named faces; the centres of its pieces are averaged by area.

    Returns
    -------
    (centre, normal) : tuple of Vector
        Machine's frame; the centre in mm, the normal of unit length.

    Raises
    ------
    NotComputedError
        The face is not flat, or its pieces do not lie in one plane.
    """
    faces = faces_of(placed[body])
    pieces = [faces[i] for i in setup.body(body).face_indices(face)]
    frames = [face_frame(p) for p in pieces]
    first = frames[0][1]
    if not all(flat and float(normal @ first) > 1 - 1e-9 for _, normal, flat in frames):
        raise NotComputedError(f"{body}.{face} is not one flat face")
    if float(np.ptp([c @ first for c, _, _ in frames])) > setup.tolerances.touch_mm:
        raise NotComputedError(f"{body}.{face} names faces in several planes; name the one that is meant")
    areas = [area_mm2(p) for p in pieces]
    centre = np.average([c for c, _, _ in frames], axis=0, weights=areas)
    return to_vector(centre), to_vector(first)


VISE_FACES = frozenset({"fixed_jaw", "moving_jaw"})
"""Faces of the shop's vise that squeeze what lies between them."""

TABLE_MM = 0.01
"""How far over the lowest plane a body may be drawn and still stand on the table."""
_LEVEL = 0.05
"""Upward share of a normal below which a face is a side: about 3 degrees."""
_BALANCED_MM = 0.01
"""How far off a single line or point the weight of a round body may be drawn: it rolls, but is carried."""
_DROPS = 60
_LANDED_MM = 1e-6


class Base(StrEnum):
    """What a fixture stands by."""

    TABLE = "table"
    LOOSE = "loose"
    EQUIPMENT = "equipment"
    FASTENED = "fastened"
    CLAMPED = "clamped"
    CARRIED = "carried"
    ATTACHED = "attached"
    TIPS = "tips"
    LEANS = "leans"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Footing:
    """What one fixture stands by.

    Parameters
    ----------
    body : str
        The fixture.
    base : Base
        `table`: on the lowest plane of the set-up, and taken as bolted to it. `loose`: a block there that is
        not: one of the shop's, or one that only stops parts from the side. `equipment`: a magnet or a piece
        of equipment in several bodies, with nothing under it. `fastened`: stated so. `clamped`: a clamp or
        vise holds it. `carried`: its weight stands on what stands, or a magnet holds it. `attached`: drawn
        for this set-up, and a face of it lies on the side of what stands; it is taken as screwed to it.
        `tips`: something that stands is under it, but not under its weight. `leans`: it touches what stands
        by its side, and would fall. `nothing`: it touches nothing that stands.
    on : tuple of str
        The bodies that it stands on, is attached to or leans against.
    """

    body: str
    base: Base
    on: tuple[str, ...] = ()

    @property
    def stands(self) -> bool:
        """Whether other bodies can rest against it."""
        return self.base not in {Base.TIPS, Base.LEANS, Base.NOTHING}


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The nearest thing to a body that stands on nothing.

    Parameters
    ----------
    body : str or None
        What it is; None is the table.
    gap_mm : float
        The least distance to it.
    below : str or None
        What the body comes down on when it is lowered straight; None is the table.
    drop_mm : float
        How far it is lowered until then.
    """

    body: str | None
    gap_mm: float
    below: str | None
    drop_mm: float


def footings(setup: Setup, contacts: ContactMap) -> dict[str, Footing]:
    """Return what each fixture of a set-up stands by, by name, in the set-up's order.

    Parameters
    ----------
    setup : Setup
        The bodies, and what is stated to hold fixtures.
    contacts : ContactMap
        Of all bodies, where they are drawn.

    Returns
    -------
    dict of str to Footing
    """
    graph = _Graph(setup, contacts)
    graph.spread()
    while graph.attach():
        graph.spread()
    return {b.name: graph.footing(b) for b in setup.bodies if b.role == BodyRole.FIXTURE}


def holding_nothing(found: Mapping[str, Footing]) -> frozenset[str]:
    """Return the fixtures that do not stand, so that nothing can rest against them.

    Parameters
    ----------
    found : mapping of str to Footing
        As `footings` returns it.

    Returns
    -------
    frozenset of str
    """
    return frozenset(name for name, footing in found.items() if not footing.stands)


class _Graph:
    """What stands so far, and what touches what.

    Attributes
    ----------
    known : dict of str to Footing
        Bodies found to stand, parts among them.
    """

    def __init__(self, setup: Setup, contacts: ContactMap) -> None:
        self.setup, self.contacts = setup, contacts
        self.bodies = {b.name: b for b in setup.bodies}
        self.fixtures = [b for b in setup.bodies if b.role == BodyRole.FIXTURE]
        self.placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
        self.boxes = {b.name: box_of(self.placed[b.name]) for b in self.fixtures}
        self.touching: dict[str, list[Patch]] = {name: [] for name in self.bodies}
        for patch in contacts.patches:
            if patch.contact.kind != ContactKind.NEAR:
                for name in patch.bodies:
                    self.touching[name].append(patch)
        self.sharing = [{o.a, o.b} for o in contacts.overlaps if {o.a, o.b} <= set(self.boxes)]
        self.known: dict[str, Footing] = {}
        self.holding = setup.holding
        self.pressed = {c.body for c in setup.clamps}
        self._start()

    def _start(self) -> None:
        """Find the fixtures that stand by themselves."""
        lowest_mm = table_top_mm(self.setup, self.contacts)
        jaws = self.holding.jaws if self.holding else frozenset()
        for body in self.fixtures:
            base = None
            if body.fastened:
                base = Base.FASTENED
            elif body.name in jaws:
                base = Base.CLAMPED
            elif self.boxes[body.name][2] <= lowest_mm + TABLE_MM:
                base = Base.LOOSE if self._is_loose(body) else Base.TABLE
            elif self._is_equipment(body) and not self._has_something_under(body):
                base = Base.EQUIPMENT
            if base is not None:
                self.known[body.name] = Footing(body=body.name, base=base)

    def _is_fixture(self, name: str) -> bool:
        return self.bodies[name].role == BodyRole.FIXTURE

    def _same_piece(self, body: Body) -> list[Body]:
        """Return all bodies of the piece of equipment that a fixture belongs to."""
        return [b for b in self.fixtures if b is body or (body.group and b.group == body.group)]

    def _is_equipment(self, body: Body) -> bool:
        return bool(body.pole or body.poles) or len(self._same_piece(body)) > 1

    def _is_loose(self, body: Body) -> bool:
        """Whether a body on the table is a block that only its weight keeps there.

        What parts stand on, drawn for this set-up, is the table itself or a fixture bolted to it.
        """
        if self._is_equipment(body):
            return False
        if body.group:
            return True
        name = body.name
        patches = self.touching[name]
        bears = any(_upward(p, _other(p, name)) > _LEVEL or _facing(p, name) in VISE_FACES for p in patches)
        return not bears and any(not self._is_fixture(_other(p, name)) for p in patches)

    def _has_something_under(self, body: Body) -> bool:
        """Whether other fixtures reach lower within the piece's outline from above."""
        fellows = self._same_piece(body)
        whole = joined_box([self.boxes[b.name] for b in fellows])
        others = [self.boxes[b.name] for b in self.fixtures if b not in fellows]
        return any(_over(whole, other) and other[2] < whole[2] - TABLE_MM for other in others)

    def spread(self) -> None:
        """Find all bodies that stand on those known to stand."""
        while True:
            found = [f for b in self.bodies.values() if b.name not in self.known and (f := self._next(b))]
            if not found:
                return
            self.known.update({f.body: f for f in found})

    def _next(self, body: Body) -> Footing | None:
        """Return what a body stands by, given those that are known to stand."""
        name = body.name
        fellows = (
            [b.name for b in self._same_piece(body) if b is not body] if body.role == BodyRole.FIXTURE else []
        )
        if any(f in self.known for f in fellows):
            return Footing(body=name, base=Base.EQUIPMENT)
        on = [o for pair in self.sharing if name in pair for o in pair - {name} if o in self.known]
        if on:
            return Footing(body=name, base=Base.CARRIED, on=tuple(on))
        patches = [p for p in self.touching[name] if _other(p, name) in self.known]
        strapped = name in self.pressed and any(self._is_fixture(_other(p, name)) for p in patches)
        if strapped or any(self._squeezes(p, name) for p in patches):
            return Footing(body=name, base=Base.CLAMPED, on=_others(patches, name))
        under = [p for p in patches if _upward(p, name) > _LEVEL]
        if body.role == BodyRole.PART:
            holds = under or [p for p in patches if p.contact.kind == ContactKind.AREA]
            return Footing(body=name, base=Base.CARRIED, on=_others(holds, name)) if holds else None
        drawn = [p for p in patches if self._draws(p, body)]
        if drawn or self._carries(under, name):
            return Footing(body=name, base=Base.CARRIED, on=_others([*under, *drawn], name))
        return None

    def _squeezes(self, patch: Patch, name: str) -> bool:
        """Whether a vise holds a body by this patch: a face on a jaw, or on what a jaw holds."""
        if patch.contact.kind != ContactKind.AREA:
            return False
        other = _other(patch, name)
        jaw = bool(self.holding and other in self.holding.jaws)
        packing = self.known[other].base is Base.CLAMPED and self._is_fixture(other)
        return jaw or packing or _facing(patch, name) in VISE_FACES

    def _draws(self, patch: Patch, body: Body) -> bool:
        """Whether a magnet that is on holds a body by this patch."""
        off = self.holding is not None and self.holding.magnet == MagnetState.OFF
        other = self.bodies[_other(patch, body.name)]
        facing = bool(other.pole) or (bool(other.poles) and _upward(patch, body.name) > _LEVEL)
        return (
            not off
            and facing
            and patch.contact.kind == ContactKind.AREA
            and tables.material(body.material).magnetic
        )

    def _carries(self, under: list[Patch], name: str) -> bool:
        """Whether the weight of a body lies over what carries it."""
        if not under:
            return False
        points = np.vstack([p.outline_mm() for p in under])[:, :2]
        hull = convex_hull(points)
        away_mm = float(shapely.distance(hull, shapely.points(centre_of(self.placed[name])[:2])))
        if hull.area > _BALANCED_MM**2:
            return away_mm <= self.setup.tolerances.touch_mm
        # On one line or point only what is round balances; an edge tips over.
        return away_mm <= _BALANCED_MM and not any("+" in p.contact.a + p.contact.b for p in under)

    def attach(self) -> bool:
        """Treat a fixture that lies on the side of a standing one as screwed to it, unless it is loose."""
        found = []
        for body in self.fixtures:
            if body.name in self.known or (body.group and not self._is_equipment(body)):
                continue
            sides = [
                p
                for p in self.touching[body.name]
                if p.contact.kind == ContactKind.AREA
                and (other := _other(p, body.name)) in self.known
                and self._is_fixture(other)
                and _upward(p, body.name) <= _LEVEL
            ]
            if sides:
                found.append(Footing(body=body.name, base=Base.ATTACHED, on=_others(sides, body.name)))
        self.known.update({f.body: f for f in found})
        return bool(found)

    def footing(self, body: Body) -> Footing:
        """Return the answer for one fixture."""
        if body.name in self.known:
            return self.known[body.name]
        leans = [
            p
            for p in self.touching[body.name]
            if (other := _other(p, body.name)) in self.known and self._is_fixture(other)
        ]
        tips = any(_upward(p, body.name) > _LEVEL for p in leans)
        base = Base.TIPS if tips else Base.LEANS if leans else Base.NOTHING
        return Footing(body=body.name, base=base, on=_others(leans, body.name))


def nearest_to(name: str, placed: Mapping[str, Shape], standing: Iterable[str], table_mm: float) -> Nearest:
    """Return what a body that does not stand is nearest to, and what it comes down on when it is lowered.

    Parameters
    ----------
    name : str
        The body that does not stand.
    placed : mapping of str to Shape
        Every body in the machine's frame.
    standing : iterable of str
        The fixtures that stand.
    table_mm : float
        Height of the table.

    Returns
    -------
    Nearest

    Raises
    ------
    NotComputedError
        The kernel gave no distance.
    """
    shape = placed[name]
    box = box_of(shape)
    over_table_mm = box[2] - table_mm
    nearest: tuple[str | None, float] = (None, over_table_mm)
    lands: tuple[str | None, float] = (None, over_table_mm)
    for other in standing:
        what = f"{name} and {other}"
        if box_gap_mm(loose_box(shape), loose_box(placed[other])) < nearest[1]:
            found = apart(placed[other], shape, what)
            if found is not None and found.distance_mm < nearest[1]:
                nearest = other, found.distance_mm
        if _over(box, box_of(placed[other])):
            drop_mm = _drop_mm(shape, placed[other], what, most_mm=lands[1])
            lands = (other, drop_mm) if drop_mm is not None else lands
    return Nearest(body=nearest[0], gap_mm=nearest[1], below=lands[0], drop_mm=lands[1])


def _drop_mm(shape: Shape, other: Shape, what: str, *, most_mm: float) -> float | None:
    """Return how far a body is lowered until it meets another; None where it passes by or meets it later.

    It is lowered by its distance from the other time and again, which surely keeps it clear.
    """
    down_mm = 0.0
    for _ in range(_DROPS):
        found = apart(other, shifted(shape, (0.0, 0.0, -down_mm)), what)
        gap_mm = found.distance_mm if found is not None else 0.0
        if down_mm + gap_mm >= most_mm:
            return None
        if gap_mm <= _LANDED_MM:
            # What it touches from the start does not stop it: it slides down along it.
            return down_mm if down_mm > 0.0 else None
        down_mm += gap_mm
    return down_mm


def table_top_mm(setup: Setup, contacts: ContactMap) -> float:
    """Return the height of the table, mm: the lowest plane of the fixtures and of the parts set on it.

    A part that something carries from below, or that a fixture holds by a clamp or jaw, is not set on the
    table; it may hang down over the edge of what carries it.

    Parameters
    ----------
    setup : Setup
        The bodies, and the clamps and jaws that hold parts.
    contacts : ContactMap
        Of all bodies, where they are drawn.

    Returns
    -------
    float
        In the machine's frame.
    """
    pressing = {c.body for c in setup.clamps} | (setup.holding.jaws if setup.holding else frozenset())
    carried = {name for overlap in contacts.overlaps for name in (overlap.a, overlap.b)}
    for patch in contacts.patches:
        labels = (patch.contact.a, patch.contact.b)
        for name, other, label in zip(patch.bodies, patch.bodies[::-1], labels[::-1], strict=True):
            squeezed = other in pressing or label.face in VISE_FACES
            if patch.contact.kind != ContactKind.NEAR and (squeezed or _upward(patch, name) > _LEVEL):
                carried.add(name)
    set_on = [b for b in setup.bodies if b.role == BodyRole.FIXTURE or b.name not in carried]
    return min(box_of(placed_at(b.solid, b.at))[2] for b in set_on or setup.bodies)


def _other(patch: Patch, name: str) -> str:
    return patch.bodies[1] if patch.bodies[0] == name else patch.bodies[0]


def _others(patches: Iterable[Patch], name: str) -> tuple[str, ...]:
    return tuple(sorted({_other(p, name) for p in patches}))


def _facing(patch: Patch, name: str) -> str:
    """Return the face of the other body that a body touches by a patch."""
    other = patch.contact.b if patch.bodies[0] == name else patch.contact.a
    return other.face


def _upward(patch: Patch, name: str) -> float:
    """Return how far up the other body pushes this one: the height of the unit normal into it."""
    up = patch.contact.normal[2]
    return -up if patch.bodies[0] == name else up


def _over(a: Box, b: Box) -> bool:
    """Whether two boxes overlap seen from above, by more than the rounding of the kernel's boxes."""
    return all(min(a[i + 3], b[i + 3]) > max(a[i], b[i]) + TABLE_MM for i in range(2))
