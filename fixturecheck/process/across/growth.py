"""Does a face finished before hardening stay within tolerance, and does the part still fit, as it grows.

What: each face with a tolerance whose last cut comes before a hardening, against the growth of its size: the
distance to what it is measured from, else to the far side; a radius. What is left on a face to be ground
after, against the same. In the set-ups that come after: a part between two fixed faces, in a bore or on a
pin, and the pitch of a gang that nests.
Why: a bore reamed to size and then hardened is out by the growth, and nothing cuts hard steel but the wheel.
A part that slid between its blocks while soft does not go in any more.
Formula: growth = share x size; closed form. Its greater end must stay within half the zone, or within what is
left on the sides that are ground.
The room as drawn less the growth must stay above zero. The last of n parts moves by (n - 1) x pitch x share.
Limit: shares as stated for the operation, else from the table of hardening steels, the wider range of along
and across the rolling; only flat faces and cylinders are asked. Bending and spoilt surface are asked by
`hardening`, where the operation's set-up states a process. A vise, and what a clamp closes, follow the part.
Go: 10 mm and 0.05 % within 0.02 mm. No-go: 60 mm and 0.1 % within 0.02 mm, finished before.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.hardening.steels import tabled_steel
from fixturecheck.hardening.temper import Change, change_along, growth_of, stated_growth, stock_to_leave_mm
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import flat_of
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.process.across.stage import Across, JobStage
from fixturecheck.process.records import Operation, OperationKind, makers_of
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.setup.hardening import Hardening
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import BodyRole, Rank
from fixturecheck.sizes.faces import PARALLEL, WHOLE_DEG, FlatFace, flat_faces, furthest_opposite, round_faces
from fixturecheck.sizes.grown import clean_up_mm, distortion_mm, growth_of_part

TITLE = "Faces and fits bear hardening"

_LEAST_ROOM_MM = 1e-4
_NO_ZONE_UM, _NIL_UM = 5.0, 1e-3
_STEP_MM = 0.01
"""Stock to leave is rounded up to whole steps of this."""


def check(stage: JobStage) -> Iterator[Across]:
    """Yield a finding for each face that is finished before a hardening and has a tolerance."""
    makers = makers_of(stage.job.operations)
    for operation in stage.job.operations:
        if operation.kind != OperationKind.HARDEN:
            continue
        finished = [
            (face, own)
            for face, own in makers.items()
            if own[-1].number < operation.number and stage.job.part.zone_mm(face) is not None
        ]
        later = [o for o in stage.job.operations if o.number > operation.number]
        seated = [o for o in later if stage.setups[o.number].setup is not None]
        left = {} if _process(stage, operation) is not None else stage.after(operation).stock_mm
        if not (finished or left or any(_fits(stage, operation, o) or _gang(stage, o) for o in seated)):
            continue
        try:
            share = _share(stage, operation)
        except (NotComputedError, SetupError) as reason:
            says = f"By how much it grows is not known: {reason}."
            yield (operation, not_computed(operation.title, says))
            continue
        yield from ((operation, _grows(stage, operation, face, own[-1], share)) for face, own in finished)
        yield from (
            (operation, bears) for face in left if (bears := _left(stage, operation, face, share)) is not None
        )
        for then in seated:
            yield from _when_hard(stage, operation, then, share)


def _when_hard(stage: JobStage, operation: Operation, then: Operation, share: Change) -> Iterator[Across]:
    """Yield what the growth does to the fits and to the gang of a later set-up."""
    for fit in _fits(stage, operation, then):
        yield (then, _fit(stage, then, fit, share))
    gang = _gang(stage, then)
    if gang is not None:
        yield from ((then, f) for f in _pitch(stage, then, gang, share))


def _share(stage: JobStage, operation: Operation) -> Change:
    """Return the share of its size by which the part grows."""
    process = _process(stage, operation)
    if process is not None:
        # It carries what the operation states, and the temper follows from the hardness that is wanted.
        growth = growth_of_part(process, stage.job.part)
    elif operation.growth_share:
        growth = stated_growth(operation.growth_share[0], operation.growth_share[1])
    else:
        growth = growth_of(tabled_steel(stage.job.part.material), operation.temper_c)
    return change_along(growth, (0.0, 0.0, 1.0), None)


def _grows(stage: JobStage, operation: Operation, face: str, maker: Operation, share: Change) -> Finding:
    """Judge one face."""
    job, write = stage.job, stage.job.write
    subject = f"{operation.title}: {face}"
    zone_mm = job.part.zone_mm(face)
    sized = _size(job.part, face, maker)
    if sized is None or zone_mm is None:
        says = f"The size that places {face} is not known: state measured_from in operation {maker.title}."
        return not_computed(subject, says, about=(face,))
    to, size_mm, _ = sized
    change = share.times(size_mm)
    process = _process(stage, operation)
    need_mm = change.most + 0.5 * zone_mm
    if process is not None:
        need_mm = stock_to_leave_mm(
            change,
            sides=1,
            distortion_mm=distortion_mm(process, job.part),
            clean_up_mm=clean_up_mm(process).high,
        )
    need_mm = math.ceil(need_mm / _STEP_MM) * _STEP_MM
    low, high = (write.number(v, "mm", ".3g") for v in (change.low, change.high))
    says = (
        f"{face} is finished in operation {maker.title}, before hardening. {to} of "
        f"{write.length(size_mm, 'g')} changes by {low} to {high} {write.name('mm')}; its zone of "
        f"{write.length(zone_mm, 'g')} allows half of that either way."
    )
    remedy = (
        f"Leave {write.length(need_mm, 'g')} on {face} in operation {maker.title}, and grind it after "
        f"operation {operation.title}."
    )
    return judge(
        change.most,
        unit="mm",
        at_most=0.5 * zone_mm,
        subject=subject,
        kind=Kind.GROWS,
        about=(face,),
        says=says,
        remedy=remedy,
        source=_source(stage, operation),
    )


def _process(stage: JobStage, operation: Operation) -> Hardening | None:
    """Return how an operation hardens, as its set-up states it for the job's part; None where none does."""
    made = stage.setups[operation.number]
    return None if made.setup is None or not made.parts else made.setup.hardening


def _left(stage: JobStage, operation: Operation, face: str, share: Change) -> Finding | None:
    """Hold what is left on a face until it is hard against its growth; None where its size is not known."""
    job, write = stage.job, stage.job.write
    stock_mm = stage.after(operation).stock_mm
    earlier = [o for o in makers_of(job.operations)[face] if o.number < operation.number]
    sized = _size(job.part, face, earlier[-1] if earlier else operation)
    if sized is None:
        return None
    to, size_mm, other = sized
    sides = 2 if other in stock_mm else 1
    change = share.times(size_mm)
    need_mm = math.ceil(change.most / sides / _STEP_MM) * _STEP_MM
    low, high = (write.number(v, "mm", ".3g") for v in (change.low, change.high))
    says = (
        f"{write.length(stock_mm[face], 'g')} are left on {face} to grind off after hardening. {to} of "
        f"{write.length(size_mm, 'g')} changes by {low} to {high} {write.name('mm')}"
    )
    says += ", shared by its two sides" if sides == 2 else ""
    return judge(
        change.most / sides,
        unit="mm",
        at_most=stock_mm[face],
        subject=f"{operation.title}: {face}",
        kind=Kind.GROWS,
        about=(face,),
        says=f"{says}. How far it bends is asked where the operation's set-up states [hardening].",
        remedy=f"Leave at least {write.length(need_mm, 'g')} on {face}, and what it bends besides: state "
        f"the furnace in a set-up of operation {operation.title}.",
        source=_source(stage, operation),
    )


def _source(stage: JobStage, operation: Operation) -> str:
    process = _process(stage, operation)
    stated = operation.growth_share or (process is not None and process.growth_share is not None)
    return "growth as stated" if stated else "table of hardening steels"


def _size(part: Body, face: str, maker: Operation) -> tuple[str, float, str] | None:
    """Return what the size that places a face is called, how large it is, and where it ends.

    None where there is none.
    """
    mine = set(part.face_indices(face))
    for round_ in round_faces(part):
        if round_.index in mine:
            return "A radius", round_.radius_mm, ""
    flats = flat_faces(part)
    own = next((f for f in flats if f.index in mine), None)
    if own is None:
        return None
    for datum in maker.measured_from:
        other = _parallel(part, flats, own, datum)
        if other is not None:
            return f"The distance to {datum}", own.apart_mm(other), datum
    far = furthest_opposite(own, flats)
    return None if far is None else ("The distance to the far side", own.apart_mm(far), far.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """A part in what it fits: its own faces, what these lie on, its size there and the room beside it, mm.

    Parameters
    ----------
    hollow : bool
        Whether the part goes round what it fits on, so that it is tight where it shrinks.
    """

    own: tuple[FaceRef, ...]
    others: tuple[FaceRef, ...]
    size_mm: float
    room_mm: float
    hollow: bool


def _fits(stage: JobStage, hardening: Operation, then: Operation) -> list[_Fit]:
    """Return the fits of parts in a set-up after a hardening, by faces that were finished before it."""
    made = stage.setups[then.number]
    setup = made.setup
    if setup is None:
        return []
    makers = makers_of(stage.job.operations)

    def finished_before(face: str) -> bool:
        own = [o.number for o in makers.get(face, ()) if o.number < then.number]
        return not own or max(own) < hardening.number

    found: list[_Fit] = []
    for name in made.parts:
        seats = [
            (own, other)
            for seat in setup.seats
            for own, other in ((seat.own, seat.other), (seat.other, seat.own))
            if own.body == name and finished_before(own.face) and _stands_fixed(setup, other.body)
        ]
        found += [fit for pair in combinations(seats, 2) if (fit := _between(setup, pair)) is not None]
        found += [fit for own, other in seats if (fit := _round_fit(setup, own, other)) is not None]
    return found


def _stands_fixed(setup: Setup, name: str) -> bool:
    """Tell whether a body keeps its place whatever the size of the part, as no part and no jaw does."""
    body = setup.body(name)
    if body.role == BodyRole.PART:
        return False
    return "moving_jaw" not in body.faces and all(c.body != name for c in setup.clamps)


def _between(setup: Setup, pair: tuple[tuple[FaceRef, FaceRef], ...]) -> _Fit | None:
    """Return the fit of a part between two flat faces that look at each other; None where they do not."""
    (own, on), (opposite, across) = pair
    planes = [_plane(setup, ref) for ref in (own, on, opposite, across)]
    if any(p is None for p in planes):
        return None
    (a, normal), (b, _), (c, turned), (d, _) = (p for p in planes if p is not None)
    if float(normal @ turned) > PARALLEL - 1.0:
        return None
    size_mm = float((a - c) @ normal)
    room_mm = float((b - d) @ normal) - size_mm
    return _Fit(own=(own, opposite), others=(on, across), size_mm=size_mm, room_mm=room_mm, hollow=False)


def _plane(setup: Setup, ref: FaceRef) -> tuple[Floats, Floats] | None:
    """Return a point and the outward normal of a flat face as it stands; None where it is not flat."""
    body = setup.body(ref.body)
    indices = body.face_indices(ref.face)
    flat = flat_of(faces_of(placed_at(body.solid, body.at))[indices[0]]) if indices else None
    return None if flat is None else (np.array(flat[0]), np.array(flat[1]))


def _round_fit(setup: Setup, own: FaceRef, other: FaceRef) -> _Fit | None:
    """Return the fit of a bore on a pin, or of a shaft in a bore; None where neither is one."""
    mine, its = (
        next(
            (f for f in round_faces(setup.body(r.body)) if f.name == r.face and f.around_deg >= WHOLE_DEG),
            None,
        )
        for r in (own, other)
    )
    if mine is None or its is None or mine.hollow == its.hollow:
        return None
    room_mm = 2.0 * (mine.radius_mm - its.radius_mm) * (1.0 if mine.hollow else -1.0)
    return _Fit(
        own=(own,), others=(other,), size_mm=2.0 * mine.radius_mm, room_mm=room_mm, hollow=mine.hollow
    )


def _fit(stage: JobStage, then: Operation, fit: _Fit, share: Change) -> Finding:
    """Judge one fit: what is left of its room as the part is hardened."""
    write = stage.job.write
    change = share.times(fit.size_mm)
    tight_mm = -change.low if fit.hollow else change.high
    left_mm = fit.room_mm - max(tight_mm, 0.0)
    faces, on = (" and ".join(refs) for refs in (fit.own, fit.others))
    low, high = (write.number(v, "mm", ".3g") for v in (change.low, change.high))
    says = (
        f"{faces} fits {'on' if fit.hollow else 'in'} {on} with {write.length(fit.room_mm, '.3g')} of room "
        f"while soft. Its {write.length(fit.size_mm, 'g')} changes by {low} to {high} {write.name('mm')} in "
        f"hardening"
    )
    ends = ", which leaves room." if left_mm > 0.0 else ", and the hard part does not go in."
    remedy = (
        f"Give it {write.length(max(tight_mm, 0.0), '.3g', 'up')} of room at least, let one side follow the "
        f"part, or grind {faces} after hardening and before operation {then.title}."
    )
    return judge(
        left_mm,
        unit="mm",
        at_least=_LEAST_ROOM_MM,
        subject=f"{then.title}: {faces}",
        kind=Kind.GROWN_FIT,
        about=fit.own,
        says=f"{says}{ends}",
        remedy=remedy,
        source="growth by the hardening; room as drawn",
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Gang:
    """Parts that nest in a row: how many, and from each to the next, mm."""

    first: str
    last: str
    pitch_mm: Floats
    count: int


def _gang(stage: JobStage, then: Operation) -> _Gang | None:
    """Return the row of the job's parts that nest in a set-up; None where fewer than two do."""
    made = stage.setups[then.number]
    setup = made.setup
    if setup is None:
        return None
    nested = {name for s in setup.seats if s.rank == Rank.NEST for name in (s.body, s.on)}
    row = [name for name in made.parts if name in nested]
    if len(row) < 2:
        return None
    places = [matrix_of(setup.body(name).at)[:3, 3] for name in row]
    pitch = (places[-1] - places[0]) / (len(row) - 1)
    return _Gang(first=row[0], last=row[-1], pitch_mm=pitch, count=len(row))


def _pitch(stage: JobStage, then: Operation, gang: _Gang, share: Change) -> Iterator[Finding]:
    """Judge how far the last part of a gang moves, against each face that is cut on it."""
    setup, write = stage.setups[then.number].setup, stage.job.write
    if setup is None:
        return
    change = share.times(float(np.linalg.norm(gang.pitch_mm)))
    off_mm = (gang.count - 1) * change.most
    along = gang.pitch_mm / np.linalg.norm(gang.pitch_mm)
    beginning = (
        f"The pitch of {write.length(float(np.linalg.norm(gang.pitch_mm)), 'g')} changes by up to "
        f"{write.gap(change.most * 1e3, '.3g')} in hardening, so that {gang.last} stands up to "
        f"{write.gap(off_mm * 1e3, '.3g')} off"
    )
    cut = [f for c in setup.cuts if gang.last in c.parts for f in (c.floor, c.wall) if f]
    cut += [d.hole for d in setup.drills if gang.last in d.parts]
    rows: list[tuple[float, float | None, str]] = []
    for face in dict.fromkeys(cut):
        plane = _plane(setup, FaceRef.of(gang.last, face))
        moved_um = off_mm * 1e3 * (1.0 if plane is None else abs(float(plane[1] @ along)))
        zone_mm = setup.body(gang.last).zone_mm(face)
        rows.append((moved_um, None if zone_mm is None else 500.0 * zone_mm, face))
    if not rows:
        return
    worst_um, limit_um, which = max(rows, key=lambda row: row[0] / (row[1] or _NO_ZONE_UM))
    ends = (
        ". It moves along what is cut, which does not matter."
        if worst_um <= _NIL_UM
        else f"; {which} moves by {write.gap(worst_um, '.3g')}."
    )
    yield judge(
        worst_um,
        unit="um",
        at_most=limit_um or _NO_ZONE_UM,
        rounding=_NIL_UM,
        short=Verdict.NO_GO if limit_um else Verdict.CAUTION,
        subject=f"{then.title}: {gang.last}",
        kind=Kind.GROWN_PITCH,
        about=(FaceRef.of(gang.last, which),),
        says=f"{beginning}{ends}",
        remedy=f"Set zero anew for {gang.last}, or cut fewer parts at once.",
        source="pitch as drawn; where no zone is stated, 5 um chosen here, no source",
    )


def _parallel(part: Body, flats: tuple[FlatFace, ...], own: FlatFace, datum: str) -> FlatFace | None:
    """Return the face of a datum where it is parallel to another face."""
    indices = set(part.face_indices(datum))
    return next((f for f in flats if f.index in indices and own.parallel(f)), None)
