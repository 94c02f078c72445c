"""Do the parts of a gang nest on the faces meant for it, or does something else land first.

What: for each stated nest the area that touches at the drawn pose; where it is open or the parts overlap,
the part is pushed until it lands, and what lands is named with the opening that is left at the nest face.
Why: a corner without function that lands first holds the nest open; every part of the gang then stands
off by that much more, and all are ground to different sizes.
Formulas: the push is the nest face's normal less what the part's other flat seats do not let it do, so that a
part slides on its seats to a nest that leans; the normal itself where they leave it no way. The opening is
the nest gap at the drawn pose less the travel to the first landing, both across the nest face. Of a nest that
touches it is asked where the two bodies also touch beside it or share any space. A corner at
height h beside an inside fillet of radius r lands r - sqrt(r^2 - (r - h)^2) before the wall.
Limits: an opening above the touch tolerance is open. Faces that come into one plane with nothing of the one
over the other do not nest.
Go: two blocks face to face. No-go: a sharp corner against a milled fillet; two hexagons corner to corner.
"""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable, Hashable, Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.checks.stage import Stage
from fixturecheck.checks.touching import (
    by_share,
    gap_closed,
    largest_area,
    of_seat,
    overlap_finding,
    patch_words,
    seat_outlines,
    slide_of,
    subject_of,
    unmeant,
)
from fixturecheck.contact.patch import Overlap
from fixturecheck.contact.patches.approach import FirstContact, early_mm, find_first_contact
from fixturecheck.contact.patches.contact_map import motion_between, relative_place
from fixturecheck.contact.patches.planar import FlatPair
from fixturecheck.contact.placed import Standing, place_bodies
from fixturecheck.effort import NEST, Budget, SpentError, spending
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.measure import box_of, centre_of
from fixturecheck.kernel.shapes import Placed
from fixturecheck.nesting.seating import Seating, seating
from fixturecheck.numeric import to_vector
from fixturecheck.relief.edge_cuts import NestChamfer, faces_at, relieve_edge
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.shapes import NamedShape, Vector
from fixturecheck.setup.model import Body, Seat, Setup
from fixturecheck.setup.records import Rank
from fixturecheck.units import Writing, angle_text
from fixturecheck.wording.motion import toward

TITLE = "Neighbours nested in a gang"

_Faces = Callable[[Setup, Body], frozenset[str]]
"""Which faces of a body a relief may lie beside."""

_SOURCE = "the solids pushed together, sliding on the part's other seats, until they land"
_REACH_MM = 2.0
_LEAST_WAY = 0.1
_DECIMALS = 6
"""Directions that differ by less are one."""


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each stated nest and for neighbours that touch or overlap without one."""
    nests = [s for s in stage.setup.seats if s.rank == Rank.NEST]
    stated: set[frozenset[str]] = set()
    held_open: set[frozenset[str]] = set()
    search = _Search(stage)
    for seat in nests:
        findings = list(_nest(stage, seat, search))
        yield from findings
        stated.add(frozenset((seat.body, seat.on)))
        if any(f.kind is Kind.OPEN for f in findings):
            held_open.add(frozenset((seat.body, seat.on)))
    for a, b in itertools.combinations([p.name for p in stage.setup.parts()], 2):
        pair = frozenset((a, b))
        overlap = _overlap_of(stage, pair)
        if overlap is not None and pair not in stated:
            yield overlap_finding(stage, overlap, search.cures, no_nest=True)
        elif overlap is None and pair in stated - held_open:
            yield from _beside(stage, a, b)


class _Search:
    """First contacts and reliefs of nests, each looked for once for all neighbours in the same relative pose.

    Attributes
    ----------
    cures : Budget
        What may be spent on looking for reliefs.
    """

    def __init__(self, stage: Stage) -> None:
        self.stage, self.cures = stage, Budget(NEST)
        self._found: dict[Hashable, tuple[Standing, tuple[str, str], FirstContact | NestChamfer | None]] = {}

    def landing(self, seat: Seat, push: Floats, reach_mm: float, overlap: Overlap | None) -> FirstContact:
        """Return where a part lands when it is pushed to its nest; see `find_first_contact`."""
        part, on = self._placed(seat)
        setup, here = self.stage.setup, place_bodies([part])[0]
        # The reach is that of what the two share, which differs between copies by how it is boxed only.
        asked = tuple(np.round(here.turn.T @ push, _DECIMALS) + 0.0)
        drawn = None if overlap is None else overlap.common
        find = partial(
            find_first_contact, part, on, push, reach_mm, setup.tolerances, setup.write, drawn=drawn
        )
        found = self._once(part, on, asked, find)
        if not isinstance(found, FirstContact):
            raise TypeError(f"the landing of {part.name} was kept as something else")
        return found

    def relief(
        self, seat: Seat, overlap: Overlap, faces: Callable[[Setup, Body], frozenset[str]]
    ) -> NestChamfer | None:
        """Return the smallest chamfer on either part, beside one of these faces of it."""
        tried = []
        for part, on in (self._placed(seat), self._placed(seat)[::-1]):
            body, touch_mm = self.stage.setup.body(part.name), self.stage.setup.tolerances.touch_mm
            allowed = faces(self.stage.setup, body)
            # Copies differ in what is asked of faces elsewhere, as the last of a gang does.
            allowed &= faces_at(place_bodies([part])[0], overlap.common, touch_mm)
            find = partial(relieve_edge, part, on, overlap.common, allowed, self.stage.setup.tolerances)
            found = self._once(part, on, allowed, find)
            if isinstance(found, NestChamfer):
                tried.append(found)
        return min(tried, key=lambda r: r.leg_mm, default=None)

    def _placed(self, seat: Seat) -> tuple[Placed, Placed]:
        setup = self.stage.setup
        return setup.body(seat.body).placed(), setup.body(seat.on).placed()

    def _once(
        self, part: Placed, on: Placed, asked: Hashable, find: Callable[[], FirstContact | NestChamfer | None]
    ) -> FirstContact | NestChamfer | None:
        """Return what is found of two bodies, or what was found of two that stand to each other alike."""
        here, there = place_bodies([part, on])
        names = part.name, on.name
        key = relative_place(here, there), part.face_names, on.face_names, asked
        if key not in self._found:
            self._found[key] = here, names, find()
            return self._found[key][2]
        first, old, found = self._found[key]
        copies = dict(zip(old, names, strict=True))
        if isinstance(found, FirstContact):
            return found.carried_to(copies, *motion_between(first, here))
        return None if found is None else found.carried_to(copies)


def _overlap_of(stage: Stage, pair: frozenset[str]) -> Overlap | None:
    return next((o for o in stage.contacts.overlaps if frozenset((o.a, o.b)) == pair), None)


def _nest(stage: Stage, seat: Seat, search: _Search) -> Iterator[Finding]:
    """Judge one stated nest: whether it closes, and where it does, by how much of its face."""
    found = seating(stage.setup, stage.placed, stage.contacts, seat)
    overlap = _overlap_of(stage, frozenset((seat.body, seat.on)))
    if overlap is None and found.area_mm2 and not _lands_early(stage, seat, found):
        yield by_share(stage, seat, found, "nests on")
        yield gap_closed(stage, seat, found, "mm")
        return
    yield _pushed(stage, seat, overlap, search)


def _lands_early(stage: Stage, seat: Seat, found: Seating) -> bool:
    """Tell whether something lands before a nest that touches as drawn, by more than it may stand open.

    Bodies that touch may overlap by the touch tolerance, measured square to the faces. Measured along the
    push, that is more where a face leans. A round nest is pushed along the mean normal of its largest patch.
    """
    between = frozenset((seat.body, seat.on))
    if between not in stage.contacts.grazing and next(unmeant(stage, seat.body, seat.on), None) is None:
        return False
    try:
        push, across, drawn_gap_mm = _toward(stage, seat)
    except NotComputedError:
        push, across, drawn_gap_mm = np.array(largest_area(found).outward(seat.body)), 1.0, 0.0
    part, on = (stage.setup.body(n).placed() for n in (seat.body, seat.on))
    touch_mm = stage.setup.tolerances.touch_mm
    return drawn_gap_mm + early_mm(part, on, push, touch_mm) * across > touch_mm


def _toward(stage: Stage, seat: Seat) -> tuple[Floats, float, float]:
    """Return the push that closes a nest, how much of it is across the faces, and their gap as drawn, mm."""
    centre, normal = stage.face_place(seat.body, seat.face)
    on_centre, _ = stage.face_place(seat.on, seat.on_face)
    push = _way(stage, seat, np.array(normal))
    return push, float(push @ normal), float(np.dot(np.subtract(on_centre, centre), normal))


def _pushed(stage: Stage, seat: Seat, overlap: Overlap | None, search: _Search) -> Finding:
    """Judge a nest that is not closed as drawn, by what lands first when its part is pushed."""
    subject = subject_of(seat)
    try:
        centre, normal = stage.face_place(seat.body, seat.face)
        push, across, drawn_gap_mm = _toward(stage, seat)
        reach_mm = max(_REACH_MM, 2 * abs(drawn_gap_mm) / across, 2 * _depth_mm(overlap))
        landing = search.landing(seat, push, reach_mm, overlap)
    except NotComputedError as reason:
        says = f"Whether {subject} closes could not be computed: {reason}."
        return not_computed(
            subject, says, about=(seat.own, seat.other), asks=Kind.OPEN, unit="mm", source=_SOURCE
        )
    opening_mm = drawn_gap_mm - landing.travel_mm * across
    if opening_mm <= stage.setup.tolerances.touch_mm:
        if overlap is not None:
            return _too_deep(stage, seat, overlap, -drawn_gap_mm, normal)
        pair = seat_outlines(stage, seat, (seat.face,), (seat.on_face,))
        if pair is not None and _misses(pair, landing.travel_mm * push):
            return _beside_its_face(stage, seat, pair, landing, normal)
        return _short(stage, seat, drawn_gap_mm, (centre, normal))
    cure = _relief(search, seat, overlap) if overlap else (None, None, "")
    return _held_open(stage, seat, (opening_mm, to_vector(push), landing, overlap, cure), across)


def _way(stage: Stage, seat: Seat, normal: Floats) -> Floats:
    """Return the unit direction nearest a nest face's normal that the part's other flat seats let it go."""
    held = _held_normals(stage, seat)
    if not held:
        return normal
    _, size, ways = np.linalg.svd(np.array(held), full_matrices=False)
    ways = ways[size > 1e-6]
    free: Floats = normal - (ways @ normal) @ ways
    length = float(np.linalg.norm(free))
    return free / length if length > _LEAST_WAY else normal


def _held_normals(stage: Stage, seat: Seat) -> list[Vector]:
    """Return the outward normals of the part's other flat seats, without nests."""
    held = []
    for other in stage.setup.seats:
        if other.body != seat.body or other.rank == Rank.NEST:
            continue
        with contextlib.suppress(NotComputedError):  # a seat that is not flat has no one direction
            held.append(stage.face_place(other.body, other.face)[1])
    return held


def _depth_mm(overlap: Overlap | None) -> float:
    if overlap is None:
        return 0.0
    box = box_of(overlap.common)
    return max(box[k + 3] - box[k] for k in range(3))


def _short(stage: Stage, seat: Seat, gap_mm: float, place: tuple[Vector, Vector]) -> Finding:
    """Report a nest that would close but is drawn open."""
    gap = stage.setup.write.length(gap_mm)
    return judge(
        gap_mm,
        unit="mm",
        at_most=stage.setup.tolerances.touch_mm,
        verdict=Verdict.CAUTION,
        kind=Kind.DRAWN_OPEN,
        **of_seat(seat),
        says=f"{seat.body}.{seat.face} is drawn {gap} off {seat.on}.{seat.on_face}; "
        "when it is pushed home, the nest faces meet first.",
        remedy=f"Move {seat.body} {gap} {toward(place[1])}, so that the rest is checked where it will be.",
        source=_SOURCE,
        location_mm=place[0],
        direction=place[1],
    )


def _misses(pair: FlatPair, shift_mm: Floats) -> bool:
    """Tell whether no part of a nest face lies over the other once its part is shifted (3,) home."""
    in_plane = pair.frame.flat((pair.frame.origin + shift_mm)[None])[0]
    return pair.apart(in_plane)


def _beside_its_face(
    stage: Stage, seat: Seat, pair: FlatPair, landing: FirstContact, normal: Vector
) -> Finding:
    """Report a nest whose faces come into one plane beside each other: what meets is an edge or a corner."""
    first = landing.patches[0] if landing.patches else None
    what = f": {patch_words(first, stage.setup.write)}" if first else ""
    return judge(
        0.0,
        unit="share",
        at_least=seat.min_share,
        verdict=Verdict.NO_GO,
        kind=Kind.ON_A_LINE,
        **of_seat(seat),
        says=f"{seat.body}.{seat.face} and {seat.on}.{seat.on_face} come into one plane when {seat.body} is "
        f"pushed home, but no part of the one lies over the other. The parts meet beside them{what}.",
        remedy=_slide_over(stage, seat, pair),
        source=_SOURCE,
        shapes=() if first is None else (first.shape,),
        location_mm=None if first is None else first.contact.centroid,
        direction=normal,
    )


def _slide_over(stage: Stage, seat: Seat, pair: FlatPair) -> str:
    """Say how a part slides along its other seats until its nest face lies over the other."""
    held = pair.frame.flat(pair.frame.origin + np.array(_held_normals(stage, seat)).reshape(-1, 3))
    kept = replace(pair, barred=np.vstack((held, -held)))
    most_mm2, best = kept.most_shared()
    by = None if kept.apart(best) else kept.least_slide(seat.min_share * most_mm2, best)
    if by is None:
        return (
            f"No slide of {seat.body} along its other seats brings the two faces over each other: "
            "nest other faces, or turn the part."
        )
    far, way = slide_of(stage, pair, by)
    return f"Slide {seat.body} {far} {toward(way)}, over {seat.on}."


def _too_deep(stage: Stage, seat: Seat, overlap: Overlap, depth_mm: float, push: Vector) -> Finding:
    """Report a nest whose faces are drawn into each other."""
    write, back = stage.setup.write, (-push[0], -push[1], -push[2])
    return judge(
        overlap.volume_mm3,
        unit="mm3",
        at_most=0.0,
        verdict=Verdict.NO_GO,
        kind=Kind.OVERLAP,
        **of_seat(seat),
        says=f"{seat.body}.{seat.face} is drawn {write.length(depth_mm)} into {seat.on}.{seat.on_face}: "
        f"the two overlap by {write.volume(overlap.volume_mm3)}.",
        remedy=f"Move {seat.body} {write.length(depth_mm)} {toward(back)}, so that the faces only touch.",
        source="two solids cannot share space",
        shapes=(overlap.shape,),
        location_mm=centre_of(overlap.common),
        direction=back,
    )


def _held_open(
    stage: Stage,
    seat: Seat,
    found: tuple[float, Vector, FirstContact, Overlap | None, tuple[NestChamfer | None, FaceRef | None, str]],
    across: float,
) -> Finding:
    """Report what lands first and by how much the nest stays open; `across` is the push over the normal."""
    opening_mm, push, landing, overlap, (relief, mark, not_sought) = found
    opening = stage.setup.write.length(opening_mm)
    along = stage.setup.write.length(opening_mm / across, ".3f")
    first = landing.patches[0] if landing.patches else None
    what = patch_words(first, stage.setup.write) if first else "something"
    sides = f"{first.contact.a} on {first.contact.b}" if first else "something"
    says = (
        f"{what} lands {opening} before {seat.body}.{seat.face} meets {seat.on}.{seat.on_face}: "
        f"the nest stays open by {opening}.{not_sought}"
    )
    shapes: list[NamedShape] = [overlap.shape] if overlap else []
    if first is not None:
        name = f"lands first: {first.shape.name}"
        role = first.contact.role
        bodies = (seat.body, seat.on)
        shapes.append(NamedShape(name=name, role=role, geometry=first.shape.geometry, bodies=bodies))
    spot = centre_of(overlap.common) if overlap else (first.contact.centroid if first else None)
    return judge(
        opening_mm,
        unit="mm",
        at_most=stage.setup.tolerances.touch_mm,
        verdict=Verdict.NO_GO,
        kind=Kind.OPEN,
        **of_seat(seat),
        says=says,
        remedy=f"Stone the burr off: it is {along} high along the push."
        if first is not None and first.contact.on_burr
        else _remedy(relief, mark, along, sides, stage.setup.write),
        source=_SOURCE,
        shapes=tuple(shapes),
        location_mm=spot,
        direction=push,
    )


def _relief(search: _Search, seat: Seat, overlap: Overlap) -> tuple[NestChamfer | None, FaceRef | None, str]:
    """Return the smallest chamfer on either part, and the face to mark without function where none is.

    Faces that are marked come first, then those that are neither seats nor ground, then seats: an edge
    between two seats may be broken as far as they keep enough area. With it comes what is said where the
    search was cut short.
    """
    try:
        with spending(search.cures):
            for faces in (_marked, _idle, _not_ground):
                if (relief := search.relief(seat, overlap, faces)) is not None:
                    body = search.stage.setup.body(relief.edge.body)
                    may = [f for f in relief.edge.faces if f in faces(search.stage.setup, body)]
                    return relief, None if faces is _marked else FaceRef.of(body.name, may[0]), ""
    except SpentError as reason:
        return None, None, f" No chamfer was looked for: {reason}."
    return None, None, ""


def _marked(_setup: Setup, body: Body) -> frozenset[str]:
    """Return the faces of a body that are marked as without function."""
    return body.no_function


def _idle(setup: Setup, body: Body) -> frozenset[str]:
    """Return the faces of a body that are neither a seat nor ground."""
    seats = {(s.body, s.face) for s in setup.seats} | {(s.on, s.on_face) for s in setup.seats}
    return frozenset(n for n in _not_ground(setup, body) if (body.name, n) not in seats)


def _not_ground(setup: Setup, body: Body) -> frozenset[str]:
    """Return the faces of a body that no cut grinds."""
    ground = {f for c in setup.cuts if body.name in c.parts for f in (c.floor, c.wall)}
    return frozenset(n for n in body.face_names() if n not in ground)


def _remedy(relief: NestChamfer | None, mark: FaceRef | None, along: str, sides: str, write: Writing) -> str:
    """Return the sentence for the smallest change that was found and tried."""
    take = f"Take {along} off {sides}, along the push."
    if relief is None:
        return take
    chamfer = _chamfer(relief, write)
    if mark is None:
        return chamfer
    return f"{take} Or, with {mark} marked no_function: {chamfer[0].lower()}{chamfer[1:]}"


def _chamfer(relief: NestChamfer, write: Writing) -> str:
    """Return the sentence for a chamfer that was tried."""
    leg = f"{write.length(relief.leg_mm, '.2f', 'up')} x {angle_text(relief.slope_deg)}"
    closes = f"tried on the solid, the nest then closes with {write.area(relief.area_mm2)}."
    if relief.was_mm:
        was = write.length(relief.was_mm, ".2f")
        return f"Make the chamfer {relief.edge} at least {leg} instead of {was}: {closes}"
    return f"Chamfer {relief.edge} by at least {leg}: {closes}"


def _beside(stage: Stage, a: str, b: str) -> Iterator[Finding]:
    """Report what neighbours touch with besides their nest; the burrs of a pair together."""
    patches = list(unmeant(stage, a, b))
    burrs = [p for p in patches if p.contact.on_burr]
    for patch in (*burrs[:1], *(p for p in patches if not p.contact.on_burr)):
        burr = patch.contact.on_burr
        more = f" and {len(burrs) - 1} more places on burrs" if burr and len(burrs) > 1 else ""
        yield judge(
            None,
            verdict=Verdict.CAUTION,
            subject=f"{a} and {b}: {patch.shape.name}",
            kind=Kind.BESIDE_THE_NEST,
            about=patch.sides_from(a),
            says=f"The neighbours also meet beside the nest: {patch_words(patch, stage.setup.write)}{more}. "
            f"Chance decides which of the {'' if more else 'two '}places carries.",
            remedy="Stone the burr off." if burr else "Relieve it, or state it as a nest.",
            source="contacts that no seat of the set-up states",
            shapes=tuple(p.shape for p in burrs) if burr else (patch.shape,),
            location_mm=patch.contact.centroid,
            direction=patch.outward(a),
        )
