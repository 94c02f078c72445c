"""What seats and nests ask of the contact map: shares, openings, and how bodies that overlap come apart."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TypedDict

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.checks.stage import Stage
from fixturecheck.contact.patch import Overlap, Patch
from fixturecheck.contact.patches.approach import Parting, shortest_parting
from fixturecheck.contact.patches.planar import FlatPair
from fixturecheck.contact.placed import PlaneFrame, Standing, place_bodies
from fixturecheck.effort import Budget, SpentError, spending
from fixturecheck.faceref import FaceRef, on
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import centre_of, distance, loose_box
from fixturecheck.kernel.shapes import Placed
from fixturecheck.nesting.seating import Seating, continues_seat, is_on, table_top_mm
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, meets
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Seat, Setup, is_loose, together
from fixturecheck.setup.records import BodyRole, Rank
from fixturecheck.units import Writing, angle_text, axis_text, percent
from fixturecheck.wording.motion import toward

SHARE = (
    "least share as stated in the set-up, half by default (common practice, no source): of the smaller face, "
    "or of the area of two flat faces that can meet"
)


GAP = "distance of the two faces along the normal"

_CARRIES_COSINE = 0.1
ASKEW_DEG = 45.0
"""Flat faces that stand at more than this to each other are not those that are meant."""
_NO_AXIS = 1e-9
"""How far down the normal of a face must look that counts as carrying the part on it."""
_ALONG = 1e-6
"""A direction with less than this of it in a plane is square to the plane."""


def by_share(stage: Stage, seat: Seat, found: Seating, verb: str) -> Finding:
    """Judge a seat or nest that touches somewhere by the share that does.

    The share is that of the smaller face. Where it falls short, two flat faces are held to what they can
    share at all: a low rail behind a tall part covers a small part of it and can cover no more.

    Parameters
    ----------
    stage : Stage
        The set-up as it stands.
    seat : Seat
        What is meant to touch, and on what share at least.
    found : Seating
        What touches there.
    verb : str
        How the one face meets the other in the sentence: `lies on` or `nests on`.

    Returns
    -------
    Finding
        A caution with a remedy where the share falls short.
    """
    write = stage.setup.write
    pair = seat_outlines(stage, seat, found.faces, found.on_faces) if found.share < seat.min_share else None
    most_mm2, best = found.least_area_mm2, np.zeros(2)
    if pair is not None:
        most_mm2, best = pair.most_shared()
        # Chords stand for round edges in the outlines, and what touches is known without them.
        most_mm2 *= found.least_area_mm2 / min(float(pair.moving.area), float(pair.still.area))
    most_mm2 = max(most_mm2, found.area_mm2)
    share = found.area_mm2 / most_mm2
    good = meets(share, at_least=seat.min_share)
    largest = largest_area(found)
    on = "+".join((f"{seat.on}.{found.on_faces[0]}", *found.on_faces[1:]))
    says = f"{seat.body}.{'+'.join(found.faces)} {verb} {on} over {write.area(found.area_mm2)}, "
    says += f"{percent(found.share, seat.min_share)} of the smaller face"
    if pair is not None and share > 1.0 - 1e-6:
        says += ", which is all of the two faces that can meet"
    elif pair is not None:
        says += f" and {percent(share, seat.min_share)} of the {write.area(most_mm2)} that can meet"
    return judge(
        share,
        unit="share",
        at_least=seat.min_share,
        short=Verdict.CAUTION,
        kind=Kind.CLOSED,
        **of_seat(seat),
        says=f"{says}.",
        remedy=None
        if good
        else _more_area(stage, seat, pair, seat.min_share * most_mm2 - found.area_mm2, best),
        source=SHARE,
        shapes=tuple(p.shape for p in found.patches),
        location_mm=largest.contact.centroid,
        direction=largest.outward(seat.body),
    )


def largest_area(found: Seating) -> Patch:
    """Return the largest of the areas over which a seat touches, of which there is at least one.

    Parameters
    ----------
    found : Seating
        The contact of the seat.

    Returns
    -------
    Patch
    """
    return max(found.of_kind(ContactKind.AREA), key=lambda p: p.contact.area_mm2)


def gap_closed(stage: Stage, seat: Seat, found: Seating, unit: str) -> Finding:
    """Say that the faces of a seat or nest that touches somewhere leave no gap between them.

    Parameters
    ----------
    stage : Stage
        The set-up worked out as far as geometry goes.
    seat : Seat
        A seat or nest of the set-up.
    found : Seating
        Its contact; at least one of its patches touches.
    unit : str
        `um` or `mm`: the unit of the gap where it stands open.

    Returns
    -------
    Finding
    """
    touch_mm = stage.setup.tolerances.touch_mm
    least = min((p for p in found.patches if p.contact.kind != ContactKind.NEAR), key=_gap_um)
    per_mm = 1e3 if unit == "um" else 1.0
    return judge(
        min(_gap_um(least) * 1e-3, touch_mm) * per_mm,
        unit=unit,
        at_most=touch_mm * per_mm,
        kind=Kind.MEETS,
        **of_seat(seat),
        says=f"{seat.own} meets {seat.other}.",
        source=GAP,
        location_mm=least.contact.centroid,
    )


def _gap_um(patch: Patch) -> float:
    return patch.contact.gap_min_um


def _more_area(stage: Stage, seat: Seat, pair: FlatPair | None, missing_mm2: float, best: Floats) -> str:
    """Say how to bring more of two faces together: the shortest slide, where they are flat."""
    more = f"they share {stage.setup.write.area(missing_mm2)} more"
    if pair is None:
        return f"Move or widen the faces so that {more}."
    by = pair.least_slide(pair.shared_mm2(np.zeros(2)) + missing_mm2, best)
    if by is None:
        return f"Widen the faces so that {more}."
    far, way = slide_of(stage, pair, by)
    loose, located = is_loose(stage.setup, seat.on), _located_along(stage, seat, way)
    if located and not loose:
        return f"Widen the faces so that {more}."
    if loose and (located or seat.rank == Rank.STOP):
        # The part keeps its other seats, and the loose block goes to it.
        return f"Slide {seat.on} {far} {toward(-way)} along {seat.body}, so that {more}."
    return f"Slide {seat.body} {far} {toward(way)} on {seat.on}, so that {more}."


def _located_along(stage: Stage, seat: Seat, way: Floats) -> bool:
    """Tell whether a body lies flat against what is not moved for it and a slide would leave or run into."""
    unit = way / np.linalg.norm(way)
    return any(
        seat.body in p.bodies
        and seat.on not in p.bodies
        and _is_area(p)
        and abs(float(unit @ np.asarray(p.outward(seat.body)))) > _ALONG
        and all(b == seat.body or _is_fixed(stage.setup, b) for b in p.bodies)
        for p in stage.contacts.patches
    )


def _is_fixed(setup: Setup, name: str) -> bool:
    return setup.body(name).role == BodyRole.FIXTURE and not is_loose(setup, name)


def slide_of(stage: Stage, pair: FlatPair, by: Floats) -> tuple[str, Floats]:
    """Return how far a shift in the plane of two outlines goes, in words, and which way.

    Parameters
    ----------
    stage : Stage
        Whose units are written.
    pair : FlatPair
        The outlines.
    by : ndarray, shape (2,)
        The shift, mm.

    Returns
    -------
    str
        Its length, rounded up.
    ndarray, shape (3,)
        The shift in space, mm.
    """
    way = pair.frame.space(by[None])[0] - pair.frame.space(np.zeros((1, 2)))[0]
    return stage.setup.write.length(float(np.linalg.norm(by)), ".2f", "up"), way


def seat_outlines(
    stage: Stage, seat: Seat, faces: tuple[str, ...], on_faces: tuple[str, ...]
) -> FlatPair | None:
    """Return the outlines of both sides of a seat in the plane of its face; None where a face is curved.

    Parameters
    ----------
    stage : Stage
        The set-up as it stands.
    seat : Seat
        Its `body` is the moving side, its `on` the still one.
    faces, on_faces : tuple of str
        Names of the faces on either side that lie in the plane of the seat.

    Returns
    -------
    FlatPair or None
    """
    one, other = place_bodies([stage.setup.body(n).placed() for n in (seat.body, seat.on)])
    ours, theirs = _flat_faces(one, faces), _flat_faces(other, on_faces)
    if ours is None or theirs is None:
        return None
    frame = PlaneFrame(one.normals[ours[0]] * one.offsets[ours[0]], one.normals[ours[0]])
    moving, still = (
        shapely.union_all([frame.polygon(body.rings(f)) for f in faces])
        for body, faces in ((one, ours), (other, theirs))
    )
    return FlatPair(frame=frame, moving=moving, still=still, barred=_barred(stage, seat.body, frame))


def _barred(stage: Stage, body: str, frame: PlaneFrame) -> Floats:
    """Return the directions (n, 2) in a plane toward which a body cannot slide: into what carries it.

    A round in a V is carried along two lines.
    """
    carrying = (p for p in stage.contacts.patches if body in p.bodies and (_is_area(p) or along_round(p)))
    mine = (p.outward(body) for p in carrying)
    down = [normal for normal in mine if normal[2] < -_CARRIES_COSINE]
    flat = frame.flat(frame.origin + np.array(down).reshape(-1, 3))
    return np.asarray(flat[np.linalg.norm(flat, axis=1) > _ALONG])


def _is_area(patch: Patch) -> bool:
    return patch.contact.kind is ContactKind.AREA


def _flat_faces(body: Standing, names: tuple[str, ...]) -> list[int] | None:
    faces = [f for f, name in enumerate(body.face_names) if name in names]
    return None if any(body.table.kinds[f] != SurfaceKind.PLANE for f in faces) else faces


def subject_of(seat: Seat) -> str:
    """Name a seat by its two faces.

    Parameters
    ----------
    seat : Seat
        A seat or nest of the set-up.

    Returns
    -------
    str
    """
    return on(seat.own, seat.other)


class OfSeat(TypedDict):
    """What a finding of a seat is of: see `Finding`."""

    subject: str
    about: tuple[str, ...]


def of_seat(seat: Seat) -> OfSeat:
    """Return what a finding of a seat is of.

    Parameters
    ----------
    seat : Seat
        The seat.

    Returns
    -------
    OfSeat
        Its two faces, the body's own first.
    """
    return {"subject": subject_of(seat), "about": (seat.own, seat.other)}


def unmeant(stage: Stage, body: str, other: str) -> Iterator[Patch]:
    """Yield what touches between two bodies where no seat is stated.

    Parameters
    ----------
    stage : Stage
        The set-up as it stands.
    body, other : str
        Names of the two bodies.

    Yields
    ------
    Patch
        Areas, lines and points; what is only near is left out.
    """
    for patch in stage.contacts.between(body, other):
        meant = (
            is_on(patch, s) or continues_seat(stage.setup, stage.placed, patch, s)
            for s in _between(stage, body, other)
        )
        if patch.contact.kind != ContactKind.NEAR and not any(meant):
            yield patch


def _between(stage: Stage, body: str, other: str) -> Iterator[Seat]:
    return (s for s in stage.setup.seats if {s.body, s.on} == {body, other})


def patch_words(patch: Patch, write: Writing) -> str:
    """Name what touches, with its size: `a on b (line, 12.0 mm)`.

    Parameters
    ----------
    patch : Patch
        An area, a line or a point; none that is only near.
    write : Writing
        The units in which areas and lengths are written.

    Returns
    -------
    str
    """
    contact = patch.contact
    size = {
        ContactKind.AREA: f"area, {write.area(contact.area_mm2)}",
        ContactKind.LINE: f"line, {write.length(contact.length_mm)}",
        ContactKind.POINT: ContactKind.POINT,
    }[contact.kind]
    return f"{contact.a} on {contact.b} ({size})"


def along_round(patch: Patch) -> bool:
    """Whether a round face bears along a line between its edges, as a bar does in a V.

    Parameters
    ----------
    patch : Patch
        Of any kind.

    Returns
    -------
    bool
    """
    sides = (patch.contact.a, patch.contact.b)
    return patch.contact.kind == ContactKind.LINE and all(len(side.faces) == 1 for side in sides)


_MUCH_LESS = 0.5
_FAR_LESS = 0.01
"""Share of another move, below which a move counts that leaves what the body lies on."""


def _way_apart(stage: Stage, overlap: Overlap, cures: Budget) -> tuple[Parting | None, str]:
    """Return the move that parts two bodies, tried on the solids, and what to do in words.

    The move is None where no straight one was found, or where no more may be spent on looking.

    A loose block moves before a part, a part before equipment of several pieces. What would have to go more
    than twice as far as the other stays: a parallel is not drawn out from under a part that is drawn too low.
    What moves stays on its stated seats and on what carries it, wherever such a move works.
    """
    order = sorted((overlap.a, overlap.b), key=lambda name: _staying(stage.setup, name))
    try:
        with spending(cures):
            table = _table(stage)
            first, second = (_parting(stage, overlap, name, table) for name in order)
    except SpentError as reason:
        return None, f"Move {order[0]} until the two only touch. How far was not looked for: {reason}."
    if first is None or (second is not None and _rather(stage.setup, second, first)):
        first = second
    return first, _move_words(stage, overlap, first)


def _rather(setup: Setup, second: Parting, first: Parting) -> bool:
    """Tell whether the move of the body that would rather stay is the better one."""
    if first.leaves and second.leaves:
        return setup.body(second.bodies[0]).role == BodyRole.PART
    return second.by_mm < (_FAR_LESS if second.leaves else _MUCH_LESS) * first.by_mm


def overlap_finding(stage: Stage, overlap: Overlap, cures: Budget, *, no_nest: bool = False) -> Finding:
    """Judge two bodies that cannot both be where they are drawn.

    Parameters
    ----------
    stage : Stage
        The set-up.
    overlap : Overlap
        The two bodies, and what both fill.
    cures : Budget
        What may be spent on looking for the way that parts them.
    no_nest : bool
        Whether they are neighbours that might nest, and no nest of theirs is stated.

    Returns
    -------
    Finding
        A no-go, with the move that parts them.
    """
    write = stage.setup.write
    way, how = _way_apart(stage, overlap, cures)
    says = f"{overlap.a} and {overlap.b} overlap as drawn, by {write.volume(overlap.volume_mm3)}"
    return judge(
        overlap.volume_mm3,
        unit="mm3",
        at_most=0.0,
        verdict=Verdict.NO_GO,
        subject=f"{overlap.a} and {overlap.b}",
        kind=Kind.OVERLAP,
        about=(overlap.a, overlap.b),
        says=f"{says}, and no nest is stated." if no_nest else f"{says}.",
        remedy=f"{how} If they are to nest, state the faces." if no_nest else how,
        source="two solids cannot share space",
        shapes=(overlap.shape,),
        location_mm=centre_of(overlap.common),
        direction=to_vector(way.direction) if way is not None else None,
    )


def _staying(setup: Setup, name: str) -> tuple[int, int, int]:
    """Return the order in which bodies move: blocks, parts, then equipment; of each the last stated first."""
    place = [b.name for b in setup.bodies].index(name)
    if is_loose(setup, name):
        return 0, 1, -place
    if setup.body(name).role == BodyRole.PART:
        return 1, 1, -place
    return 2, len(together(setup, name)), -place


def _parting(stage: Stage, overlap: Overlap, name: str, table: Placed) -> Parting | None:
    setup = stage.setup
    pieces, other = together(setup, name), overlap.b if name == overlap.a else overlap.a
    if other in pieces:
        return None
    placed = {b.name: b.placed() for b in setup.bodies}
    around = [placed[n] for n in placed if n not in pieces and n != other] + [table]
    moving = [placed[n] for n in pieces]
    kept = _kept(stage, pieces, other, name)
    return shortest_parting(moving, placed[other], around, overlap.common, setup.tolerances, kept)


def _table(stage: Stage) -> Placed:
    """Return the machine's table under everything that stands there."""
    top_mm = table_top_mm(stage.setup, stage.contacts)
    boxes = np.array([loose_box(solid) for solid in stage.placed.values()])
    (left, front), (right, back) = boxes[:, :2].min(axis=0), boxes[:, 3:5].max(axis=0)
    reach_mm = float(right - left + back - front)
    slab = box(
        to_vector((left - reach_mm, front - reach_mm, top_mm - reach_mm)),
        to_vector((right + reach_mm, back + reach_mm, top_mm)),
    )
    return Placed(name="", solid=slab, face_names=("",) * len(faces_of(slab)))


def _kept(stage: Stage, pieces: Sequence[str], other: str, name: str) -> Floats:
    """Return the outward normals (n, 3) of bodies where they should stay on what does not move with them.

    These are the flat faces of their stated seats, the areas that carry them, and those on which other bodies
    stand. What the one that is named touches of the other body, which it is to come out of, does not count.
    """
    still = {*pieces, other}
    normals = [
        body.normals[face]
        for seat in stage.setup.seats
        if seat.body in pieces and seat.on not in still
        for body in place_bodies([stage.setup.body(seat.body).placed()])
        for face in _numbers(body, seat.face)
        if not np.isnan(body.offsets[face])
    ]
    looks = (
        np.asarray(patch.outward(one))
        for patch in filter(_is_area, stage.contacts.patches)
        for one in pieces
        if one in patch.bodies and {*patch.bodies}.isdisjoint({*pieces} - {one})
        if {*patch.bodies} != {name, other}
    )
    return np.array([*normals, *(n for n in looks if abs(n[2]) > _CARRIES_COSINE)]).reshape(-1, 3)


def _move_words(stage: Stage, overlap: Overlap, way: Parting | None) -> str:
    """Say the move in words."""
    if way is None:
        return f"No straight move parts {overlap.a} and {overlap.b}: draw them elsewhere."
    far = stage.setup.write.length(way.by_mm, ".4g", "up")
    who = _called(stage.setup, way.bodies)
    if way.leaves:
        return (
            f"Moved alone, {who} would leave what it lies on. Bring it and that {far} "
            f"{toward(way.direction)}, or relieve {overlap.a} or {overlap.b} by as much where they meet."
        )
    return f"Move {who} {far} {toward(way.direction)}: tried, the two then only touch."


def _called(setup: Setup, bodies: Sequence[str]) -> str:
    """Return what bodies that move together are called."""
    return bodies[0] if len(bodies) == 1 else setup.body(bodies[0]).group or bodies[0]


_UPRIGHT = math.sin(math.radians(45.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opening:
    """How two faces that should meet stand to each other.

    Parameters
    ----------
    gap_mm : float
        Least distance of the two faces; of flat ones that are parallel, along the normal, and negative where
        the one has passed the other.
    at_mm : Vector
        Where on the part's face they are nearest.
    normal : ndarray, shape (3,), or None
        Outward normal of the part's face; None where it is curved.
    beside_mm : float
        How far the one lies beside the other, across the normal; zero where they look at each other.
    apart : FlatPair or None
        The outlines of flat faces of which no part lies over the other, though their edges may meet.
    turned_deg : float
        Angle of the flat faces to each other; 180 where they look the same way, zero for curved ones.
    turn_about : Vector or None
        Axis about which the part's face turns by that angle to lie flat, by the right hand; None where they
        are parallel, look the same way, or are curved.
    """

    gap_mm: float
    at_mm: Vector
    normal: Floats | None = field(repr=False)
    beside_mm: float = 0.0
    apart: FlatPair | None = field(default=None, repr=False)
    turned_deg: float = 0.0
    turn_about: Vector | None = None

    @property
    def askew(self) -> bool:
        """True where the faces are meant for each other and stand at an angle, not where they are others."""
        return self.turn_about is not None and self.turned_deg <= ASKEW_DEG


def opening_of(stage: Stage, seat: Seat) -> Opening:
    """Measure how a seat stands open.

    Parameters
    ----------
    stage : Stage
        The set-up as it stands.
    seat : Seat
        Two faces that should meet and do not.

    Returns
    -------
    Opening
        With the least distance of the faces where one is curved or they are not parallel, else with that of
        their planes.
    """
    one, other = place_bodies([stage.setup.body(n).placed() for n in (seat.body, seat.on)])
    mine, theirs = _numbers(one, seat.face), _numbers(other, seat.on_face)
    nearest = (distance(one.face(i), other.face(j)) for i in mine for j in theirs)
    gap_mm, on_mine, _ = min(nearest, key=lambda found: found[0])
    at_mm = to_vector(on_mine)
    i, j = mine[0], theirs[0]
    if np.isnan(one.offsets[i]) or np.isnan(other.offsets[j]):
        return Opening(gap_mm=gap_mm, at_mm=at_mm, normal=None)
    normal = one.normals[i]
    cosine = float(np.clip(-normal @ other.normals[j], -1.0, 1.0))
    turned_deg = math.degrees(math.acos(cosine))
    if turned_deg > stage.setup.tolerances.parallel_deg:
        about = np.cross(normal, -other.normals[j])
        size = float(np.linalg.norm(about))
        return Opening(
            gap_mm=gap_mm,
            at_mm=at_mm,
            normal=normal,
            turned_deg=turned_deg,
            turn_about=to_vector(about / size) if size > _NO_AXIS else None,
        )
    frame = PlaneFrame(normal * one.offsets[i], normal)
    outlines = [
        shapely.union_all([frame.polygon(body.rings(f)) for f in faces if not np.isnan(body.offsets[f])])
        for body, faces in ((one, mine), (other, theirs))
    ]
    along_mm = float(-other.offsets[j] - one.offsets[i])
    beside_mm = float(shapely.distance(*outlines))
    pair = FlatPair(
        frame=frame, moving=outlines[0], still=outlines[1], barred=_barred(stage, seat.body, frame)
    )
    apart = pair if pair.apart(np.zeros(2)) else None
    return Opening(gap_mm=along_mm, at_mm=at_mm, normal=normal, beside_mm=beside_mm, apart=apart)


def _numbers(body: Standing, face: str) -> list[int]:
    return [k for k, name in enumerate(body.face_names) if name == face]


def closing(stage: Stage, seat: Seat, opening: Opening) -> str:
    """Say what closes a seat that stands open: the loose block comes up to the part, else the part goes.

    A block under a part does not: it would leave what it stands on.

    Parameters
    ----------
    stage : Stage
        The set-up as it stands.
    seat : Seat
        The seat that stands open.
    opening : Opening
        How it stands open, as `opening_of` measured it.

    Returns
    -------
    str
        One remedy, as a sentence or two.
    """
    write, normal = stage.setup.write, opening.normal
    if normal is None and opening.gap_mm <= stage.setup.tolerances.touch_mm:
        return f"Turn {seat.body} until {seat.face} lies along {seat.other}: they touch there alone."
    if normal is None:
        return f"Bring {seat.body} {write.length(opening.gap_mm)} closer, or find what holds it off."
    if opening.turned_deg > stage.setup.tolerances.wedge_deg and not opening.askew:
        return "State the two faces that are meant to meet, or turn the part so that these do."
    if opening.turned_deg > stage.setup.tolerances.parallel_deg:
        if (out := _out_of_square(stage, seat)) is not None:
            other, mine_deg, theirs_deg = out
            return (
                f"No turn closes this seat and that of {other.face}: {seat.face} and {other.face} stand at "
                f"{angle_text(mine_deg, '.5g')} to each other, and what they are to lie on at "
                f"{angle_text(theirs_deg, '.5g')}. Put a round bar or a wedge between, or seat another face."
            )
        if opening.askew and opening.turned_deg > stage.setup.tolerances.wedge_deg:
            how = _turn_text(opening)
            return f"Turn {seat.body} by {how} so that the faces lie flat, and see what gap is left."
        return (
            f"Turn {seat.body} by {angle_text(opening.turned_deg)} so that the faces lie flat: "
            f"look for a burr or a chip under it."
        )
    if opening.apart is not None:
        if abs(opening.gap_mm) <= stage.setup.tolerances.touch_mm:
            most_mm2, best = opening.apart.most_shared()
            if most_mm2 <= stage.setup.tolerances.touch_mm**2:
                return (
                    f"Seat {seat.body} against something that reaches past this edge: on its other seats, "
                    f"{seat.face} and {seat.other} share no area."
                )
            return _more_area(stage, seat, opening.apart, seat.min_share * most_mm2, best)
        return "Place the part so that the two faces lie over each other, or state the faces that do."
    return _moved_together(stage, seat, opening.gap_mm, normal)


def _turn_text(opening: Opening) -> str:
    """Return by how much and about what a part turns, its axis with the sign that reads best."""
    axis = np.array(opening.turn_about)
    sign = 1.0 if axis[np.abs(axis).argmax()] > 0.0 else -1.0
    return f"{angle_text(sign * opening.turned_deg, '+.4g')} about {axis_text(to_vector(sign * axis))}"


def _moved_together(stage: Stage, seat: Seat, gap_mm: float, normal: Floats) -> str:
    """Say which body goes how far to close a seat of parallel faces, or what bars it from that."""
    block = is_loose(stage.setup, seat.on) and abs(float(normal[2])) < _UPRIGHT
    who, way = (seat.on, -normal) if block else (seat.body, normal)
    way = way if gap_mm > 0.0 else -way
    far = stage.setup.write.length(abs(gap_mm))
    if gap_mm < 0.0 and who == seat.body and (bars := _bars(stage, seat, who, normal)) is not None:
        return f"Bring {bars[1]} and {seat.other} to match: {seat.other} stands {far} proud."
    if (bars := _bars(stage, seat, who, way)) is None:
        if who == seat.body and (left := _leaves(stage, seat, way)) is not None:
            return (
                f"{who} is too small by {far} to reach from {left} to {seat.other}. Put {far} of packing "
                f"between {seat.face} and {seat.other}, or bring what is held there to one size."
            )
        return f"Move {who} {far} {toward(way)}, or find what holds it off."
    own, face = bars
    how = "lies on" if abs(float(normal[2])) > _UPRIGHT else "stands against"
    how = f"{who} {how} {face} and cannot come closer. Put {far} of packing "
    if who == seat.on:
        return f"{how}between {seat.own} and {seat.other}, or give {seat.body} a stop of its own."
    how += f"between {seat.face} and {seat.other}, or "
    if face.body != seat.on and is_loose(stage.setup, face.body):
        return f"{how}take {far} off {face}."
    # Chucks and V-blocks are not cut down for one job.
    if own.face == seat.face:
        return f"{how}bring {face} and {seat.other} to match: {face} stands {far} proud."
    return f"{how}bring {own.face} and {seat.face} of {who} to match: {own.face} stands {far} proud."


def _bars(stage: Stage, seat: Seat, body: str, way: Floats) -> tuple[FaceRef, FaceRef] | None:
    """Return the face of a body that lies flat on another face, and that one, which bars it from going a way.

    Of two supports of unequal height the part lies on the higher one. A part may be held by fixtures alone; a
    block that goes up to one part may already stand against another one that is longer.
    """
    return next(
        (
            patch.sides_from(body)
            for patch in stage.contacts.patches
            if body in patch.bodies
            and _is_area(patch)
            and float(way @ np.asarray(patch.outward(body))) > 1.0 - _ALONG
            and (body == seat.on or _is_fixture(stage, patch, body))
        ),
        None,
    )


def _leaves(stage: Stage, seat: Seat, way: Floats) -> FaceRef | None:
    """Return the face that another seat of the body is closed on, and that it leaves as it goes a way."""
    behind = _bars(stage, seat, seat.body, -way)
    stated = {pair for s in stage.setup.seats for pair in ((s.own, s.other), (s.other, s.own))}
    return behind[1] if behind is not None and behind in stated else None


def _is_fixture(stage: Stage, patch: Patch, body: str) -> bool:
    return all(stage.setup.body(b).role == BodyRole.FIXTURE for b in patch.bodies if b != body)


def _out_of_square(stage: Stage, seat: Seat) -> tuple[Seat, float, float] | None:
    """Return another flat seat of the body that cannot close together with this one.

    The two faces of the part stand at another angle to each other than the two that they are to lie on. With
    the seat come both angles, in degrees.
    """
    for other in stage.setup.seats:
        if other.body != seat.body or other.own == seat.own:
            continue
        mine_deg = _angle_deg(stage, seat.own, other.own)
        theirs_deg = _angle_deg(stage, seat.other, other.other)
        if abs(mine_deg - theirs_deg) > stage.setup.tolerances.parallel_deg:
            return other, mine_deg, theirs_deg
    return None


def _angle_deg(stage: Stage, one: FaceRef, other: FaceRef) -> float:
    """Return the angle that two faces of a body enclose, 90 for a square corner; nan where one is curved."""
    first, second = (
        body.normals[_numbers(body, ref.face)[0]]
        for ref in (one, other)
        for body in place_bodies([stage.setup.body(ref.body).placed()])
    )
    return 180.0 - math.degrees(math.acos(float(np.clip(first @ second, -1.0, 1.0))))
