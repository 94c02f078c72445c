"""Does a face that is finished before hardening stay within tolerance as the steel grows.

What: each face with a tolerance whose last cut comes before a hardening, against the growth of its size: the
distance to what it is measured from, else to the far side; a diameter.
Why: a bore reamed to size and then hardened is out by the growth, and nothing cuts hard steel but the wheel.
Formula: growth = share x size; closed form. Its greater end must stay within half the zone.
Limit: shares as stated for the operation, else from the table of hardening steels, the wider range of along
and across the rolling; curved faces but cylinders are not asked.
Go: 10 mm and 0.05 % within 0.02 mm. No-go: 60 mm and 0.1 % within 0.02 mm, finished before.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.hardening.growth import Change, change_along, growth_of, stated_growth
from fixturecheck.hardening.steels import hardening_steel
from fixturecheck.process.across.stage import JobStage, RouteFinding
from fixturecheck.process.order import makers_of
from fixturecheck.process.records import Operation, OperationKind
from fixturecheck.result.finding import Finding, Kind, judge, not_computed
from fixturecheck.setup.model import Body
from fixturecheck.sizes.faces import FlatFace, flat_faces, furthest_opposite, round_faces

ID = "growth"
TITLE = "Faces stay within tolerance in hardening"

_STEP_MM = 0.01
"""Stock to leave is told in whole steps of this."""


def check(stage: JobStage) -> Iterator[RouteFinding]:
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
        if not finished:
            continue
        try:
            share = _share(stage, operation)
        except (NotComputedError, SetupError) as reason:
            says = f"By how much it grows is not known: {reason}."
            yield RouteFinding(number=operation.number, finding=not_computed(ID, operation.title, says))
            continue
        for face, own in finished:
            finding = _grows(stage, operation, face, own[-1], share)
            yield RouteFinding(number=operation.number, finding=finding)


def _share(stage: JobStage, operation: Operation) -> Change:
    """Return by which share of a size the part grows."""
    if operation.growth_share:
        growth = stated_growth(operation.growth_share[0], operation.growth_share[1])
    else:
        growth = growth_of(hardening_steel(stage.job.part.material), operation.temper_c)
    return change_along(growth, (0.0, 0.0, 1.0), None)


def _grows(stage: JobStage, operation: Operation, face: str, maker: Operation, share: Change) -> Finding:
    """Judge one face."""
    job, write = stage.job, stage.job.write
    subject = f"{operation.title}: {face}"
    zone_mm = job.part.zone_mm(face)
    sized = _size(job.part, face, maker)
    if sized is None or zone_mm is None:
        says = f"The size that places {face} is not known: state measured_from in operation {maker.title}."
        return not_computed(ID, subject, says, about=(face,))
    to, size_mm = sized
    change = share.times(size_mm)
    need_mm = math.ceil((change.most + 0.5 * zone_mm) / _STEP_MM) * _STEP_MM
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
    source = "growth as stated" if operation.growth_share else "table of hardening steels"
    return judge(
        change.most,
        unit="mm",
        at_most=0.5 * zone_mm,
        check=ID,
        subject=subject,
        kind=Kind.GROWS,
        about=(face,),
        says=says,
        remedy=remedy,
        source=source,
    )


def _size(part: Body, face: str, maker: Operation) -> tuple[str, float] | None:
    """Return the size that places a face, and what it is called; None where there is none."""
    mine = set(part.face_indices(face))
    for round_ in round_faces(part):
        if round_.index in mine:
            return "A diameter", 2.0 * round_.radius_mm
    flats = flat_faces(part)
    own = next((f for f in flats if f.index in mine), None)
    if own is None:
        return None
    for datum in maker.measured_from:
        other = _parallel(part, flats, own, datum)
        if other is not None:
            return f"The distance to {datum}", own.apart_mm(other)
    far = furthest_opposite(own, flats)
    return None if far is None else ("The distance to the far side", own.apart_mm(far))


def _parallel(part: Body, flats: tuple[FlatFace, ...], own: FlatFace, datum: str) -> FlatFace | None:
    """Return the face of a datum where it is parallel to another face."""
    indices = set(part.face_indices(datum))
    return next((f for f in flats if f.index in indices and own.parallel(f)), None)
