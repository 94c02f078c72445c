"""The smallest relief that lets parts nest: found by solving, made on the solid, and settled again."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.topology import canonical_order, faces_of, solids_of
from fixturecheck.kernel.measure import (
    area_mm2,
    box_of,
    centre_of,
    centroid_of,
    distance,
    face_frame,
    is_flat,
    volume_mm3,
)
from fixturecheck.kernel.place import matrix_of, placed_at, world_faces
from fixturecheck.kernel.select import same_faces
from fixturecheck.kernel.shapes import Face, Shape, Solid
from fixturecheck.names import BY_PLACE
from fixturecheck.nesting.model import SURE
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.numeric import to_vector
from fixturecheck.relief.clashes import (
    Clash,
    Reliefs,
    band_mm,
    clashes_of,
    clashing_contacts,
    has_tolerances,
    intended,
    refuse_crossing,
    shares_of,
)
from fixturecheck.relief.grooves import STEP_MM
from fixturecheck.relief.proposals import (
    CutEffect,
    Proposal,
    TrialCut,
    TrialCuts,
    allowed_kinds,
    by_hand,
    effect_of,
    is_seat,
    proposals,
    reduced_seats,
)
from fixturecheck.result.relief import (
    ClashFaces,
    IfMarked,
    NoCut,
    NoRest,
    NotClear,
    NotMade,
    Objection,
    Refused,
    Rejected,
    Relief,
    StillClashes,
    StillLands,
    StillOpen,
)
from fixturecheck.result.rest import Settled
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Setup, among_its_own

_TRIES = 3
_MOST_RELIEFS = 12
_CLEAR_MM = 1e-5
_ENOUGH = 3
_MOST_MARKED = 6

RELIEF = "relief"
_SAME_MM = 1e-6
_SAME_WAY = 1e-9
_MOST_BACK_MM = 1.0


@among_its_own
def relieve(setup: Setup) -> Reliefs:
    """Return reliefs that take everything out of the way that keeps the seats of a set-up from closing.

    Clashes are the overlaps of bodies at the pose where all seats are closed, and then the faces that land
    first too often within tolerances. Each is relieved by what a hand can make and takes least, of the kinds
    that the set-up allows and that hold; a relief changes every copy of its drawing. The changed set-up
    stands as drawn.

    Parameters
    ----------
    setup : Setup
        With faces that are marked as having no function; its `relief` says what kinds are allowed.

    Returns
    -------
    Reliefs
        What was relieved, what could not be, and the changed set-up.

    Raises
    ------
    NotComputedError
        The pose in which all seats are closed could not be found.
    SetupError
        Tolerances reach through a wall.
    """
    refuse_crossing(setup)
    nested = intended(setup)
    before = settle_setup(setup, setup.staging) if setup.staging is not None else None
    made: list[Relief] = []
    refused: dict[ClashFaces, Refused] = {}
    unknown = ""
    for _ in range(_MOST_RELIEFS):
        try:
            clash = _next(nested, refused)
        except NotComputedError as reason:
            unknown = str(reason)
            break
        if clash is None:
            break
        held, why = _reliefs_for(setup, nested, clash)
        if not held:
            refused[clash.between] = _refused(setup, nested, clash, why)
            continue
        best = held[0]
        instead = tuple(h.relief.cut for h in held[1:])
        rejected = tuple(w for w in why if isinstance(w, Rejected))
        if_marked = _lesser_if_marked(setup, nested, clash, best)
        made.append(replace(best.relief, instead=instead, rejected=rejected, if_marked=if_marked))
        nested = best.setup
    changed = _back_to(setup, nested)
    after = settle_setup(changed, setup.staging) if setup.staging is not None and made else before
    return Reliefs(
        setup=changed,
        reliefs=tuple(made),
        refused=tuple(refused.values()),
        rest_before=before,
        rest_after=after,
        landings_unknown=unknown,
    )


def _next(setup: Setup, refused: Collection[ClashFaces]) -> Clash | None:
    """Return the next clash that was not given up: what overlaps first, then what lands within tolerances."""
    overlaps = clashes_of(setup)
    found = next((c for c in overlaps if c.between not in refused), None)
    if found is not None or overlaps or not has_tolerances(setup):
        return found
    return next((c for c in clashing_contacts(setup) if c.between not in refused), None)


def _back_to(drawn: Setup, nested: Setup) -> Setup:
    """Return the changed bodies where they were drawn."""
    places = {b.name: b.at for b in drawn.bodies}
    return replace(nested, bodies=tuple(replace(b, at=places[b.name]) for b in nested.bodies))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Held:
    """A relief that holds, with what ranks it, and the set-up with it made."""

    relief: Relief
    solid: Solid
    cost: tuple[bool, bool, float]
    setup: Setup


def _reliefs_for(
    drawn: Setup, setup: Setup, clash: Clash
) -> tuple[list[_Held], tuple[NoCut | Rejected, ...]]:
    """Return the reliefs of a clash that hold, the cheapest first, and why others do not.

    All kinds that the set-up allows are made on the solid and ranked together: what a hand makes before what
    is milled, then by the material that it takes. No more is tried once enough hold to choose from.
    """
    trials = _trials(drawn, setup, clash)
    held: list[_Held] = []
    # The same drawing on both sides of a clash gives the same relief twice.
    seen: set[tuple[object, ...]] = set()
    for one in trials.ranked():
        key = _copies_of(setup, one.body.name), one.proposal.kind, one.proposal.faces
        if key in seen:
            continue
        found = _made(setup, clash, one, trials)
        if found is not None:
            seen.add(key)
            held.append(found)
        if len(held) == _ENOUGH:
            break
    return held, trials.rejected({h.relief.cut.kind for h in held}) if held else trials.why()


def _trials(drawn: Setup, setup: Setup, clash: Clash) -> TrialCuts:
    """Return the cuts that might cure a clash, made on the solids, and the bodies on which there is none."""
    trials = TrialCuts(drawn=drawn)
    for name in (clash.a, clash.b):
        body = setup.body(name)
        if not body.no_function:
            trials.bare(body)
            continue
        found = list(_proposed(setup, clash, body))
        for proposal in found:
            trials.add(body, proposal)
        if not found:
            trials.bare(body, allowed_kinds(setup))
    return trials


def _proposed(setup: Setup, clash: Clash, body: Body) -> Iterator[Proposal]:
    """Yield the cuts that might cure a clash on one of its bodies."""
    other, faces = (clash.b, clash.faces_b) if body.name == clash.a else (clash.a, clash.faces_a)
    beside = _faces(setup.body(other), faces)
    clear_mm = setup.relief.clearance_mm + band_mm(setup, clash)
    if solids_of(clash.zone_of(body.name)):
        yield from proposals(setup, clash, body, beside, clear_mm)


def _made(setup: Setup, clash: Clash, trial: TrialCut, trials: TrialCuts) -> _Held | None:
    """Make and check one relief; note why not where it does not hold."""
    against: list[Objection] = []
    body = trial.body
    bodies = _copies_of(setup, body.name)
    for proposal in (trial.proposal.grown(k * STEP_MM) for k in range(_TRIES)):
        try:
            solid = proposal.made(body.solid, setup.write)
        except KernelError as reason:
            against = [NotMade(reason=str(reason))]
            break
        if not _clears(setup, clash, body, proposal, solid):
            against = [NotClear()]
            continue
        effect = effect_of(setup, body, solid, proposal.ends(body.solid))
        against = list(effect.against)
        if against:
            break
        changed = with_body(setup, {n: redrawn(setup.body(n), solid) for n in bodies})
        against = list(reduced_seats(setup, changed))
        if against:
            break
        against = list(_remaining(trials.drawn, changed, clash))
        if not against:
            relief = _relief(clash, body, proposal, solid, (bodies, effect))
            cost = TrialCut(body=body, proposal=proposal, removed_mm3=relief.removed_mm3).cost
            return _Held(relief=relief, solid=solid, cost=cost, setup=changed)
    trials.reject(body, proposal, tuple(against))
    return None


def _relief(
    clash: Clash, body: Body, proposal: Proposal, solid: Solid, found: tuple[tuple[str, ...], CutEffect]
) -> Relief:
    """Return a relief that holds."""
    bodies, effect = found
    at_mm, size_mm = _circle(clash, body, proposal)
    return Relief(
        on=body.name, cut=proposal.on(*bodies), removed_mm3=volume_mm3(body.solid) - volume_mm3(solid),
        by_hand=by_hand(proposal), clash_at_mm=at_mm, clash_size_mm=size_mm, clears=clash.between,
        clear_mm=proposal.clear_mm, wall_mm=effect.wall_mm, touches=effect.faces,
        at_mm=to_vector(proposal.at_mm), along=to_vector(proposal.along), line=proposal.line(body.solid),
        before=body.solid, solid=solid, groove=proposal.groove(), share_lands=clash.share_lands,
    )  # fmt: skip


def _circle(clash: Clash, body: Body, proposal: Proposal) -> tuple[Vector, float]:
    """Return the middle of a clash in a part's own frame, and its size seen along the relief, mm."""
    zone = clash.zone_of(body.name)
    matrix = matrix_of(body.at)
    middle = (np.array(centre_of(zone)) - matrix[:3, 3]) @ matrix[:3, :3]
    along = matrix[:3, :3] @ proposal.along
    low, high = (np.array(box_of(zone)[k : k + 3]) for k in (0, 3))
    corners = np.array(list(product(*zip(low, high, strict=True)))) - 0.5 * (low + high)
    across = corners - np.outer(corners @ along, along)
    return to_vector(middle), 2.0 * float(np.linalg.norm(across, axis=1).max())


def _clears(setup: Setup, clash: Clash, body: Body, proposal: Proposal, solid: Solid) -> bool:
    """Tell whether a relieved body is out of the clash, and clear of what must stay clear of it."""
    standing = placed_at(solid, body.at)
    if volume_mm3(common(standing, clash.zone_of(body.name))) > setup.tolerances.overlap_mm3:
        return False
    guard, clear_mm = proposal.guard, proposal.clear_mm
    return guard is None or clear_mm <= 0.0 or distance(standing, guard)[0] >= clear_mm - _CLEAR_MM


def _faces(body: Body, names: tuple[str, ...]) -> list[Shape]:
    """Return named faces of a body where it stands."""
    placed = body.placed()
    return [f for f, n in zip(world_faces(placed), placed.face_names, strict=True) if n in names]


def _remaining(drawn: Setup, changed: Setup, clash: Clash) -> Iterator[Objection]:
    """Yield what still keeps two bodies apart after a relief."""
    pair = {clash.a, clash.b}
    left = clashes_of(changed)
    for other in left:
        if {other.a, other.b} == pair and set(other.faces_a) & set(clash.faces_a):
            yield StillClashes(clash=other.between)
    if left or changed.staging is None:
        return
    # Nothing overlaps any more: let the parts go again, and see that every seat closes.
    settled = settle_setup(changed, changed.staging)
    yield from _not_seated(settled, drawn, changed)
    if clash.lands and settled.rests:
        for (one, two), share in shares_of(changed).items():
            if {one.body, two.body} == pair and share > 1.0 - SURE:
                yield StillLands(a=one, b=two, share=share)


def _not_seated(settled: Settled, drawn: Setup, setup: Setup) -> Iterator[NoRest | StillOpen | StillLands]:
    """Yield what keeps settled parts from their seats: no rest, an open seat, or a landing by mistake."""
    if not settled.rests:
        yield NoRest(settled=settled)
        return
    touch_um = setup.tolerances.touch_um
    for seat in settled.seats:
        if not seat.closed or seat.gap_min_um > touch_um:
            yield StillOpen(face=seat.own, on=seat.other.body, gap_um=seat.gap_min_um)
    for one in settled.unintended():
        # Where every seat is closed, a round relief may run out onto a seat and touch there too.
        if not any(_runs_out(drawn, setup, *pair) for pair in ((one.a, one.b), (one.b, one.a))):
            yield StillLands(a=one.a, b=one.b)


def _runs_out(drawn: Setup, setup: Setup, relief: FaceRef, seat: FaceRef) -> bool:
    """Tell whether one face was made by a relief, and the other is a seat."""
    body = relief.body
    made = relief.face in setup.body(body).faces and relief.face not in drawn.body(body).faces
    return made and is_seat(setup, seat.body, seat.face)


def _lesser_if_marked(drawn: Setup, setup: Setup, clash: Clash, best: _Held | None) -> IfMarked | None:
    """Return a lesser relief that would do if faces were marked without function; None where there is none.

    Faces that are seats or ground are not asked to give anything.
    """
    for name in (clash.a, clash.b):
        body = setup.body(name)
        changed = {n: _freed(setup, n) for n in _copies_of(setup, name)}
        if changed[name].no_function == body.no_function:
            continue
        wider = with_body(setup, changed)
        trials = TrialCuts(drawn=drawn)
        for proposal in _proposed(wider, clash, changed[name]):
            trials.add(changed[name], proposal)
        for one in trials.ranked()[:_MOST_MARKED]:
            if best is not None and one.cost >= best.cost:
                break
            found = _made(wider, clash, one, trials)
            if found is None:
                continue
            asked = effect_of(setup, body, found.solid, one.proposal.ends(body.solid)).unmarked
            if asked:
                return IfMarked(faces=tuple(FaceRef.of(name, face) for face in asked), cut=found.relief.cut)
    return None


def _freed(setup: Setup, name: str) -> Body:
    """Return a body all of whose faces are marked without function but those of seats and cuts."""
    body = setup.body(name)
    ground = {face for cut in setup.cuts if name in cut.parts for face in (cut.floor, cut.wall)}
    free = {n for n in body.face_names() if n not in ground and not is_seat(setup, name, n)}
    return replace(body, no_function=body.no_function | free)


def _refused(drawn: Setup, setup: Setup, clash: Clash, why: tuple[NoCut | Rejected, ...]) -> Refused:
    """Return a clash that no relief cures, with the faces of which one would have to give.

    Those are faces that are neither a seat nor ground, where there are any.
    """
    ground = {(p, f) for c in setup.cuts for p in c.parts for f in (c.floor, c.wall)}
    named = [(clash.a, f) for f in clash.faces_a] + [(clash.b, f) for f in clash.faces_b]
    free = [n for n in named if n not in ground and not is_seat(setup, *n)]
    return Refused(
        clash=clash.between,
        why=why,
        must_give=tuple(FaceRef.of(*face) for face in free or named),
        all_used=not free,
        if_marked=_lesser_if_marked(drawn, setup, clash, None),
    )


def _copies_of(setup: Setup, name: str) -> tuple[str, ...]:
    """Return the bodies that are made to the same drawing as one of them, itself included, in their order."""
    mine = setup.body(name)
    drawing = _drawing(mine.solid)
    same = (b for b in setup.bodies if b.role == mine.role and _same_drawing(drawing, _drawing(b.solid)))
    return tuple(b.name for b in same)


def _drawing(solid: Solid) -> Floats:
    """Return area and centre of every face, in order: what tells one drawing from another."""
    faces = faces_of(solid)
    order = canonical_order(solid)
    return np.array([(area_mm2(faces[i]), *centroid_of(faces[i])) for i in order])


def _same_drawing(one: Floats, two: Floats) -> bool:
    return one.shape == two.shape and bool(np.abs(one - two).max() < _SAME_MM)


def redrawn(body: Body, solid: Solid) -> Body:
    """Return a body with a changed solid whose faces keep their names; new ones are called `relief`.

    What was stated of a face that is gone is dropped.

    Parameters
    ----------
    body : Body
        The body before the cut.
    solid : Solid
        The solid after it, in its own frame.

    Returns
    -------
    Body
        The body with the new solid.
    """
    faces = _face_names_after(body, solid)
    kept = {*faces, "*", *(n for n in body.face_names() if BY_PLACE.fullmatch(n))}
    return replace(
        body,
        solid=solid,
        faces=faces,
        **body.stated_of_faces(kept),
        no_function=(body.no_function & set(faces)) | {n for n in faces if n not in body.faces},
        source=None,
    )


def _face_names_after(body: Body, solid: Solid) -> Mapping[str, tuple[int, ...]]:
    """Return the named faces of a changed solid: the old names, and a new one for what a cut made.

    A flat face that is gone while a new one looks the same way a little behind it was set back: it keeps
    its name, and with it its tolerance and what else was stated of it.
    """
    was = {i: name for name, indices in body.faces.items() for i in indices}
    old, now = faces_of(body.solid), faces_of(solid)
    origin = same_faces(old, now)
    gone = [(i, f) for i, f in enumerate(old) if i not in origin and is_flat(f)]
    new = next(n for n in (RELIEF, *(f"{RELIEF}_{k}" for k in range(2, 100))) if n not in body.faces)
    faces: dict[str, tuple[int, ...]] = {}
    for i, (face, known) in enumerate(zip(now, origin, strict=True)):
        back = _moved_back(face, gone) if known is None else known
        name = new if back is None else was.get(back)
        if name is not None:
            faces[name] = (*faces.get(name, ()), i)
    return faces


def _moved_back(face: Face, gone: Sequence[tuple[int, Face]]) -> int | None:
    """Return which of the faces that are gone lies a little before a new one and looks the same way."""
    if not is_flat(face):
        return None
    centre, normal, _ = face_frame(face)
    for i, old in gone:
        place, out, _ = face_frame(old)
        step = float((place - centre) @ out)
        size = float(np.linalg.norm(place - centre))
        if float(normal @ out) > 1 - _SAME_WAY and 0.0 < step < _MOST_BACK_MM and size < area_mm2(old) ** 0.5:
            return i
    return None


def with_body(setup: Setup, changed: Mapping[str, Body]) -> Setup:
    """Return the set-up with some bodies changed.

    Parameters
    ----------
    setup : Setup
        The set-up.
    changed : mapping of str to Body
        The bodies that are changed, by name.

    Returns
    -------
    Setup
        The set-up with them.
    """
    return replace(setup, bodies=tuple(changed.get(b.name, b) for b in setup.bodies))
