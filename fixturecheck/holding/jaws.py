"""What a jaw of a vise presses, how its push goes on to the other jaw, and pieces put beside or before it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from graphlib import TopologicalSorter

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap, Patch
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.holding.bearing import movers
from fixturecheck.holding.clamping import Pressed
from fixturecheck.kernel.boolean import shared_mm3
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.construct import oriented_box
from fixturecheck.kernel.measure import box_gap_mm, extent_along, face_frame, is_flat, loose_box
from fixturecheck.kernel.sample import edge_points, triangles_of
from fixturecheck.kernel.shapes import Face, Shape, Solid
from fixturecheck.numeric import UP
from fixturecheck.result.contact import ContactKind
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import BodyRole

LEVEL = 1e-3
BEARS = 0.5
"""How much of a push must go straight into what bears it: chosen here, no source."""
_ON_EDGE = 9
_WIDTHS_MM = tuple(float(w) for w in (5, 8, 10, 12, 16, 20, 25, 30, 40, 50, 60, 80, 100))
"""Widths of the pieces that are tried: common practice, no source."""
_ROUNDING_MM = 1e-6
_SQUARE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class JawSpread:
    """Area, or length of lines, over a way along the jaw, and its first and second moments about the screw.

    Parameters
    ----------
    area_mm2, first_mm3, second_mm4 : float
        Of lines their length stands for their area.
    low_mm, high_mm : float
        From where to where it reaches.
    """

    area_mm2: float
    first_mm3: float
    second_mm4: float
    low_mm: float
    high_mm: float

    @property
    def middle_mm(self) -> float:
        """Where its middle lies."""
        return self.first_mm3 / self.area_mm2

    def moved(self, by_mm: float) -> JawSpread:
        """Return the same moved along the jaw."""
        return JawSpread(
            area_mm2=self.area_mm2,
            first_mm3=self.first_mm3 + by_mm * self.area_mm2,
            second_mm4=self.second_mm4 + 2.0 * by_mm * self.first_mm3 + by_mm * by_mm * self.area_mm2,
            low_mm=self.low_mm + by_mm,
            high_mm=self.high_mm + by_mm,
        )


def joined_spread(several: Sequence[JawSpread]) -> JawSpread:
    """Return several as one.

    Parameters
    ----------
    several : sequence of JawSpread
        At least one.

    Returns
    -------
    JawSpread
        Of all of them.
    """
    return JawSpread(
        area_mm2=sum(s.area_mm2 for s in several),
        first_mm3=sum(s.first_mm3 for s in several),
        second_mm4=sum(s.second_mm4 for s in several),
        low_mm=min(s.low_mm for s in several),
        high_mm=max(s.high_mm for s in several),
    )


def rectangle(wide_mm: float, high_mm: float) -> JawSpread:
    """Return the spread of a rectangle in the middle of the jaw.

    Parameters
    ----------
    wide_mm, high_mm : float
        Along the jaw, and up it.

    Returns
    -------
    JawSpread
        About its middle.
    """
    half = 0.5 * wide_mm
    area = wide_mm * high_mm
    return JawSpread(
        area_mm2=area, first_mm3=0.0, second_mm4=area * wide_mm**2 / 12.0, low_mm=-half, high_mm=half
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Pushes:
    """How a push at the middle of a jaw spreads over what it presses, even but for a slope along the jaw.

    Parameters
    ----------
    off_mm : float
        How far the middle of what is pressed lies from the push.
    most_off_mm : float
        How far it may, until the far end is pressed no more.
    outside : bool
        Whether the push passes beside all of it.
    idle : tuple of str
        Bodies that the jaw holds by no pressure at all.

    Notes
    -----
    Closed form: p = F / A (1 - e (x - c) / k^2) with k^2 the second moment about the middle c over the area,
    which is the middle third of an even strip.
    """

    off_mm: float
    most_off_mm: float
    outside: bool
    idle: tuple[str, ...]

    @property
    def good(self) -> bool:
        """Whether all of it is pressed."""
        return abs(self.off_mm) <= self.most_off_mm + _ROUNDING_MM and not self.idle


def pushes(spreads: Mapping[str, JawSpread]) -> Pushes:
    """Return how the push of a jaw spreads over bodies.

    Parameters
    ----------
    spreads : mapping of str to JawSpread
        What is pressed of each body.

    Returns
    -------
    Pushes
        Along the jaw.
    """
    whole = joined_spread([*spreads.values()])
    off = whole.middle_mm
    square = max(whole.second_mm4 / whole.area_mm2 - off * off, 0.0)
    far = (whole.high_mm - off) if off > 0.0 else (off - whole.low_mm)
    most = square / far if far > _ROUNDING_MM else 0.0
    idle = tuple(
        name
        for name, s in spreads.items()
        if square > _ROUNDING_MM and 1.0 - off * (s.middle_mm - off) / square <= _ROUNDING_MM
    )
    return Pushes(
        off_mm=off,
        most_off_mm=most,
        outside=not whole.low_mm - _ROUNDING_MM <= 0.0 <= whole.high_mm + _ROUNDING_MM,
        idle=idle,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grip:
    """What one jaw presses.

    Parameters
    ----------
    clamp : Pressed
    patches : tuple of Patch
        On its face, of the bodies that bear its push.
    across, up : ndarray, shape (3,)
        Level along the jaw, and up it.
    spreads : mapping of str to JawSpread
        Of each body that it presses, along the jaw from the middle of its face.
    up_mm : tuple of float
        How far what it presses reaches down and up, from the middle of the jaw's face.
    behind : mapping of str to JawSpread
        Of each body that hands the push on to what stands firm, where it does, along the jaw from the middle
        of its face; empty where none does.
    behind_up_mm : tuple of float
        How far that reaches down and up; the same as `up_mm` where none does.
    """

    clamp: Pressed
    patches: tuple[Patch, ...]
    across: Floats
    up: Floats
    spreads: Mapping[str, JawSpread]
    up_mm: tuple[float, float]
    behind: Mapping[str, JawSpread]
    behind_up_mm: tuple[float, float]

    def stopped_by(self, setup: Setup, contacts: ContactMap) -> tuple[str, ...]:
        """Return what takes all of the push and stands still, so that none of it goes on; else nothing.

        Parameters
        ----------
        setup : Setup
        contacts : ContactMap
            What touches.
        """
        loose = {*movers(setup, contacts)}
        return () if loose & self.spreads.keys() else tuple(self.spreads)

    @property
    def area_mm2(self) -> float:
        """What it presses."""
        return sum(p.contact.area_mm2 for p in self.patches)

    @property
    def jaw(self) -> str:
        """The jaw."""
        return self.clamp.clamp.body

    @property
    def push(self) -> Floats:
        """The direction in which it pushes."""
        return np.array(self.clamp.force.direction)

    @property
    def middle_mm(self) -> Floats:
        """The middle of its face."""
        return np.array(self.clamp.force.at_mm)


def _frame_of(clamp: Pressed) -> tuple[Floats, Floats]:
    """Return the unit ways along a jaw and up it.

    Raises
    ------
    NotComputedError
        It presses up or down.
    """
    push = np.array(clamp.force.direction)
    across = np.cross(UP, push)
    if float(np.linalg.norm(across)) < LEVEL:
        raise NotComputedError(
            f"{clamp.clamp.body} presses up or down, so which way it could cock is not worked out"
        )
    across /= np.linalg.norm(across)
    return across, np.cross(push, across)


def grip_of(setup: Setup, contacts: ContactMap, clamp: Pressed) -> Grip | None:
    """Return what a jaw presses; None where that is nothing.

    A loose body with nothing behind it, as a parallel that lies against the jaw below the part, gives way and
    takes none of the push. Where all that the jaw touches does, all of it is returned.

    Parameters
    ----------
    setup : Setup
        The set-up.
    contacts : ContactMap
        What touches.
    clamp : Pressed
        The jaw.

    Returns
    -------
    Grip or None
        In the machine's frame.

    Raises
    ------
    NotComputedError
        It presses up or down.
    """
    jaw, face = clamp.clamp.body, clamp.clamp.face
    patches = tuple(
        p
        for p in contacts.patches
        if p.contact.kind != ContactKind.NEAR and jaw in p.bodies and p.sides_from(jaw)[0].face == face
    )
    if not patches:
        return None
    bearing = _bearing(setup, contacts, clamp)
    patches = tuple(p for p in patches if set(p.bodies) & bearing.bodies) or patches
    across, up = _frame_of(clamp)
    middle = np.array(clamp.force.at_mm)
    up_mm = _reach_mm(patches, up, middle)
    return Grip(
        clamp=clamp,
        patches=patches,
        across=across,
        up=up,
        spreads=_spreads([(n, p) for p in patches for n in p.bodies if n != jaw], across, middle),
        up_mm=up_mm,
        behind=_spreads(bearing.ends, across, middle),
        behind_up_mm=_reach_mm([p for _, p in bearing.ends], up, middle) if bearing.ends else up_mm,
    )


def _spreads(pressed: Sequence[tuple[str, Patch]], across: Floats, middle: Floats) -> dict[str, JawSpread]:
    """Return the spread of each body's contacts; lines and points count where there is no area."""
    areas = [one for one in pressed if one[1].contact.kind == ContactKind.AREA] or [*pressed]
    return {
        name: joined_spread([_spread(p, across, middle) for n, p in areas if n == name])
        for name in dict.fromkeys(n for n, _ in areas)
    }


def _reach_mm(patches: Sequence[Patch], up: Floats, middle: Floats) -> tuple[float, float]:
    """Return how far contacts reach down and up, from the middle of the jaw's face."""
    ends = [extent_along(p.shape.geometry, up) for p in patches]
    level = float(middle @ up)
    return min(e[0] for e in ends) - level, max(e[1] for e in ends) - level


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Bearing:
    """What bears the push of a jaw, and the contacts where each body hands it on to what stands firm."""

    bodies: frozenset[str]
    ends: tuple[tuple[str, Patch], ...]


def _bearing(setup: Setup, contacts: ContactMap, clamp: Pressed) -> _Bearing:
    """Return what bears the push of a jaw: what stands firm, and what it pushes against that."""
    push, jaw = np.array(clamp.force.direction), clamp.clamp.body
    onward = [
        (body, other, p)
        for p in contacts.patches
        if p.contact.kind != ContactKind.NEAR and jaw not in p.bodies
        for body, other in (p.bodies, p.bodies[::-1])
        if float(np.array(p.outward(body)) @ push) >= BEARS
    ]
    firm = {b.name for b in setup.bodies} - set(movers(setup, contacts)) - {jaw}
    bears, reached = set(firm), {n for p in contacts.patches if jaw in p.bodies for n in p.bodies} - {jaw}
    while more := {body for body, other, _ in onward if other in bears} - bears:
        bears |= more
    while more := {other for body, other, _ in onward if body in reached - firm} - reached:
        reached |= more
    ends = tuple((body, p) for body, other, p in onward if other in firm and body in reached - firm)
    return _Bearing(bodies=frozenset(bears), ends=ends)


def _spread(patch: Patch, across: Floats, middle: Floats) -> JawSpread:
    """Return the spread of one patch: of its area, its lines, or its point as a short line."""
    shape = patch.shape.geometry
    if patch.contact.kind == ContactKind.AREA:
        corners = (triangles_of(shape) - middle) @ across
        sides = triangles_of(shape)
        areas = 0.5 * np.linalg.norm(np.cross(sides[:, 1] - sides[:, 0], sides[:, 2] - sides[:, 0]), axis=1)
        squares = (corners**2).sum(axis=1) + corners.sum(axis=1) ** 2
        return JawSpread(
            area_mm2=float(areas.sum()),
            first_mm3=float(areas @ corners.mean(axis=1)),
            second_mm4=float(areas @ squares) / 12.0,
            low_mm=float(corners.min()),
            high_mm=float(corners.max()),
        )
    lines = [(edge_points(e, _ON_EDGE) - middle) @ across for e in edges_of(shape)]
    low, high = (v - float(middle @ across) for v in extent_along(shape, across))
    places = np.concatenate(lines) if lines else np.array([0.5 * (low + high)])
    return JawSpread(
        area_mm2=float(len(places)),
        first_mm3=float(places.sum()),
        second_mm4=float((places**2).sum()),
        low_mm=low,
        high_mm=high,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JawBlock:
    """A block put between the jaws, tried there.

    Parameters
    ----------
    thick_mm, wide_mm, high_mm : float
        In the way that the jaw pushes, along the jaw, and up it.
    at_mm : float
        Where its middle lies along the jaw, from the middle of the jaw's face.
    solid : Solid
        Where it stands.
    """

    thick_mm: float
    wide_mm: float
    high_mm: float
    at_mm: float
    solid: Solid


def balancing(setup: Setup, placed: Mapping[str, Solid], grip: Grip) -> JawBlock | None:
    """Return the narrowest piece beside the parts with which the jaw presses all of both; None for none.

    It is as thick as the parts and as high as what is gripped of them. It is put as far out on the other
    side as they are on theirs, or at the end of the jaw where that is nearer. Each was tried: it meets
    nothing that stands there, and the push spreads over parts and piece.

    Parameters
    ----------
    setup : Setup
        The set-up.
    placed : mapping of str to Solid
        Every body where it stands.
    grip : Grip
        What the jaw presses.

    Returns
    -------
    JawBlock or None
        Where it was tried.
    """
    thick = [np.ptp(extent_along(placed[name], grip.push)) for name in grip.spreads]
    if not thick or max(thick) - min(thick) > LEVEL:
        return None
    low, high = grip.up_mm
    off = pushes(grip.spreads).off_mm
    ends = _ends_of_jaw(setup, placed, grip)
    for wide in _WIDTHS_MM:
        reach = (ends[0] + 0.5 * wide, ends[1] - 0.5 * wide)
        at = float(np.clip(-off, *reach)) if reach[0] < reach[1] else 0.0
        piece = rectangle(wide, high - low).moved(at)
        if reach[0] >= reach[1] or not pushes({**grip.spreads, "": piece}).good:
            continue
        solid = _block(grip, float(max(thick)), wide, (low, high), at)
        if _free(solid, placed):
            return JawBlock(
                thick_mm=float(max(thick)), wide_mm=wide, high_mm=high - low, at_mm=at, solid=solid
            )
    return None


def packing(setup: Setup, placed: Mapping[str, Solid], clamp: Pressed) -> JawBlock | None:
    """Return the block that fills the gap between a jaw that presses nothing and the nearest flat before it.

    None where nothing flat stands square before the jaw, or where the block would meet what stands there.

    Parameters
    ----------
    setup : Setup
        The set-up.
    placed : mapping of str to Solid
        Every body where it stands.
    clamp : Pressed
        The jaw.

    Returns
    -------
    JawBlock or None
        Where it was tried.
    """
    across, up = _frame_of(clamp)
    push, middle = np.array(clamp.force.direction), np.array(clamp.force.at_mm)
    none = (0.0, 0.0)
    empty = Grip(
        clamp=clamp, patches=(), across=across, up=up, spreads={}, up_mm=none, behind={}, behind_up_mm=none
    )
    jaw = [_ends_of_jaw(setup, placed, empty), _ends_of_jaw(setup, placed, replace(empty, across=up))]
    found: list[tuple[float, tuple[float, float], tuple[float, float]]] = []
    for body in setup.bodies:
        if body.role != BodyRole.PART:
            continue
        for face in faces_of(placed[body.name]):
            centre, normal, flat = face_frame(face)
            gap = float((centre - middle) @ push)
            if not flat or float(normal @ push) > -1.0 + 1e-9 or gap <= setup.tolerances.touch_mm:
                continue
            spans = []
            for way, own in zip((across, up), jaw, strict=True):
                low, high = (v - float(middle @ way) for v in extent_along(face, way))
                spans.append((max(low, own[0]), min(high, own[1])))
            if all(high - low > 1.0 for low, high in spans):
                found.append((gap, spans[0], spans[1]))
    for gap, along, over in sorted(found):
        wide = along[1] - along[0]
        at = 0.5 * (along[0] + along[1])
        solid = _block(empty, gap, wide, over, at)
        if _free(solid, placed):
            return JawBlock(thick_mm=gap, wide_mm=wide, high_mm=over[1] - over[0], at_mm=at, solid=solid)
    return None


def _ends_of_jaw(setup: Setup, placed: Mapping[str, Solid], grip: Grip) -> tuple[float, float]:
    """Return how far the face of the jaw reaches along it, from its middle."""
    body, name = setup.body(grip.jaw), grip.clamp.clamp.face or ""
    faces = [faces_of(placed[grip.jaw])[i] for i in body.face_indices(name)]
    spans = [extent_along(face, grip.across) for face in faces]
    level = float(grip.middle_mm @ grip.across)
    return min(s[0] for s in spans) - level, max(s[1] for s in spans) - level


def _block(grip: Grip, thick_mm: float, wide_mm: float, up_mm: tuple[float, float], at_mm: float) -> Solid:
    """Return a block that lies on the face of a jaw."""
    corner = grip.middle_mm + (at_mm - 0.5 * wide_mm) * grip.across + up_mm[0] * grip.up
    axes = np.stack([grip.push, grip.across, grip.up])
    return oriented_box(corner, axes, (thick_mm, wide_mm, up_mm[1] - up_mm[0]))


def _free(solid: Solid, placed: Mapping[str, Solid]) -> bool:
    """Tell whether a block shares no room with anything that stands there."""
    near = loose_box(solid)
    return not any(
        box_gap_mm(near, loose_box(other)) < 0.0 and shared_mm3(solid, other, "a block between jaws") > LEVEL
        for other in placed.values()
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatPress:
    """One flat contact of a part that takes the push, or passes it on.

    Parameters
    ----------
    patch : Patch
        Where the two touch.
    share : float
        Of the push of the jaw, how much goes through it.
    front : bool
        Whether it takes the push, on the side of the jaw.
    """

    patch: Patch
    share: float
    front: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SqueezedPart:
    """A part that stands in the way of a jaw's push, pressed by the jaw or by what it presses.

    Parameters
    ----------
    body : Body
    solid : Solid
        Where it stands.
    share : float
        Of the push of the jaw, how much goes through it.
    presses : tuple of FlatPress
        Its flat contacts on either side; those of what stands inside it count none of the push.
    touching : tuple of Patch
        Every contact that it has.
    """

    body: Body
    solid: Solid
    share: float
    presses: tuple[FlatPress, ...]
    touching: tuple[Patch, ...]

    def flats(self) -> Iterator[tuple[FaceRef, Face, FlatPress]]:
        """Yield its flat faces that are pressed, where they stand."""
        for press in self.presses:
            own = press.patch.sides_from(self.body.name)[0]
            for face, name in zip(faces_of(self.solid), self.body.face_names(), strict=True):
                if name in own.faces and is_flat(face):
                    yield FaceRef.of(self.body.name, name), face, press


def bearing_from_behind(touching: Iterable[Patch], body: str, out: Sequence[float]) -> tuple[Shape, ...]:
    """Return where things bear on a body from the other side than a face of it, as the flanks of a V do too.

    Parameters
    ----------
    touching : iterable of Patch
        Its contacts.
    body : str
    out : sequence of float, shape (3,)
        The way that the face looks.

    Returns
    -------
    tuple of Shape
    """
    return tuple(
        p.shape.geometry
        for p in touching
        if p.contact.kind != ContactKind.NEAR and float(np.array(out) @ p.outward(body)) <= -BEARS
    )


def squeezed_parts(
    setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap, grip: Grip
) -> Iterator[SqueezedPart]:
    """Yield the parts that the push of a jaw goes through, the nearest first.

    The push is shared by area, first among what the jaw presses, then among what each of those presses on.
    What a part stands on both sides of, as of a block in its slot, passes nothing on.

    Parameters
    ----------
    setup : Setup
        The set-up.
    placed : mapping of str to Solid
        Every body where it stands.
    contacts : ContactMap
        What touches.
    grip : Grip
        What the jaw presses.

    Yields
    ------
    SqueezedPart
        In the machine's frame.
    """
    passes = [(*_giver_and_taker(p, grip), p) for p in contacts.patches if _takes_push(p, grip)]
    passes = [one for one in passes if one[0] != grip.jaw or one[2] in grip.patches]
    shares, through = _flow(passes, grip)
    for name, share in shares.items():
        body = setup.body(name)
        if body.role != BodyRole.PART:
            continue
        yield SqueezedPart(
            body=body,
            solid=placed[name],
            share=share,
            presses=tuple(
                FlatPress(patch=p, share=through.get(id(p), 0.0), front=taker == name)
                for giver, taker, p in passes
                if name in (giver, taker)
            ),
            touching=tuple(p for p in contacts.patches if name in p.bodies),
        )


def _takes_push(patch: Patch, grip: Grip) -> bool:
    return (
        patch.contact.kind == ContactKind.AREA
        and abs(float(np.array(patch.contact.normal) @ grip.push)) > 1.0 - _SQUARE
    )


def _giver_and_taker(patch: Patch, grip: Grip) -> tuple[str, str]:
    a, b = patch.bodies
    return (a, b) if float(np.array(patch.outward(a)) @ grip.push) > 0.0 else (b, a)


def _flow(passes: list[tuple[str, str, Patch]], grip: Grip) -> tuple[dict[str, float], dict[int, float]]:
    """Return which share of the push goes through each body in its way, and through each contact."""
    names = list(dict.fromkeys([grip.jaw, *grip.spreads, *(n for one in passes for n in one[:2])]))
    number = {name: i for i, name in enumerate(names)}
    ends = np.array([[number[giver], number[taker]] for giver, taker, _ in passes], dtype=int).reshape(-1, 2)
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(names), len(names)))
    _, knot = connected_components(links, directed=True, connection="strong")
    # Within a knot, a slotted part and what fills its slot, none passes the push on to another.
    onward = [one for one in passes if knot[number[one[0]]] != knot[number[one[1]]]]
    order = TopologicalSorter({name: [g for g, t, _ in onward if t == name] for name in names}).static_order()
    whole = sum(s.area_mm2 for s in grip.spreads.values())
    shares = {name: spread.area_mm2 / whole for name, spread in grip.spreads.items()}
    through: dict[int, float] = {}
    for name in order:
        own = [(taker, p) for giver, taker, p in onward if giver == name]
        given = 1.0 if name == grip.jaw else shares.get(name, 0.0)
        area = sum(p.contact.area_mm2 for _, p in own)
        for taker, patch in own:
            share = given * patch.contact.area_mm2 / area
            through[id(patch)] = share
            if name != grip.jaw and share > 0.0:
                shares[taker] = shares.get(taker, 0.0) + share
    return {n: s for n, s in shares.items() if s > 0.0}, through
