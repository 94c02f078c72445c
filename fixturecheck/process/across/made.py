"""Are the faces that an operation seats on, measures or measures from there when it is done.

What: every seat, stop and nest by a face of the part, and every face measured or measured from, against the
state of the part before the operation.
Why: a seat that an earlier cut took away, or that a later one makes, is found out at the machine with the
part in hand.
Formula: a face is there where some of it lies on a face of the state that looks the same way, less its stock.
Limit: names of the finished part and of the blank; a face with stock on it is there. A hole, pocket or step
that no operation makes is a caution where no blank is stated; with a blank it is refused.
Go: a flank ground first, on which a later cut seats. No-go: a stop against a lug that is sawn off before.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import extent_along, normal_at
from fixturecheck.kernel.sample import inside_points
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.stock import found_again
from fixturecheck.process.across.stage import Across, JobStage
from fixturecheck.process.model import Job
from fixturecheck.process.records import Operation, makers_of
from fixturecheck.result.finding import Finding, Kind, Verdict, judge

TITLE = "Faces are there when they are needed"

_LOOKS = 3
_BEYOND_MM = 1e-4


def check(stage: JobStage) -> Iterator[Across]:
    """Yield a finding for each face that is not there, else for each operation, and one for the job."""
    for operation in stage.job.operations:
        seats = [(ref.face, f"seats {ref.body} by it") for ref in stage.setups[operation.number].missing]
        there = stage.before(operation).faces
        used = [(face, "is measured from it") for face in operation.measured_from if face not in there]
        used += [(face, "measures it") for face in operation.measures if face not in there]
        uses = dict(reversed([*seats, *used]))
        for face, use in uses.items():
            yield (operation, _missing(stage, operation, face, use))
        setup = stage.setups[operation.number].setup
        count = len(setup.seats) if setup is not None else 0
        asked = count + len(operation.measured_from) + len(operation.measures)
        if asked and not uses:
            says = f"All faces that it seats by, measures or measures from are there: {asked} were looked at."
            yield (
                operation,
                Finding(verdict=Verdict.GO, subject=operation.title, says=says),
            )
    yield from _never_made(stage)


def _never_made(stage: JobStage) -> Iterator[Across]:
    """Caution for hollows that no operation makes, where no blank is stated that could have them."""
    job, first = stage.job, stage.states[0]
    if job.blank is not None:
        return
    made = makers_of(job.operations)
    names = job.part.face_names()
    inner = [i for i, name in enumerate(names) if name not in made and not _outside(first.solid, job, i)]
    there = found_again(job.part.solid, first.solid, dict.fromkeys(inner, 0.0))
    lost = list(dict.fromkeys(names[i] for i in inner if there[i]))
    if lost:
        says = (
            f"No operation makes {', '.join(lost)}, and no blank is stated: taken to be there from the first."
        )
        yield (
            None,
            judge(
                None,
                verdict=Verdict.CAUTION,
                subject=job.name,
                kind=Kind.NEVER_MADE,
                about=tuple(FaceRef(name) for name in lost),
                says=says,
                remedy="Name them in `makes` of an operation, or state the blank that has them.",
            ),
        )


def _outside(first: Solid, job: Job, face: int) -> bool:
    """Tell whether the part before its first operation ends at a face of the finished part."""
    one = faces_of(job.part.solid)[face]
    for point in inside_points(one, _LOOKS):
        normal = normal_at(one, point)
        if extent_along(first, normal)[1] > float(point @ normal) + _BEYOND_MM:
            return False
    return True


def _missing(stage: JobStage, operation: Operation, face: str, use: str) -> Finding:
    """Say when a face that is needed is made, or was cut away."""
    later = [o for o in makers_of(stage.job.operations).get(face, ()) if o.number >= operation.number]
    if later:
        maker = later[0]
        kind = Kind.NOT_MADE_YET
        says = (
            f"Operation {operation.title} {use}, but {face} is made in operation {maker.title}: not made yet."
        )
        remedy = (
            f"Do operation {maker.title} first, or use another face{_raw(stage)}."
            if maker.number != operation.number
            else "Use another face; none can be used before it is made."
        )
        return _finding(operation, face, kind, says, remedy)
    gone = _cut_away_in(stage, operation, face)
    by = f" in operation {gone.title}" if gone is not None else ""
    says = f"Operation {operation.title} {use}, but {face} was cut away{by}."
    remedy = f"Do it before operation {gone.title}, or use another face." if gone else "Use another face."
    return _finding(operation, face, Kind.CUT_AWAY, says, remedy)


def _raw(stage: JobStage) -> str:
    """Say how to use the blank as it comes, where the job states one."""
    return ", as one of the blank's own, named under [blank.faces]" if stage.job.blank is not None else ""


def _cut_away_in(stage: JobStage, operation: Operation, face: str) -> Operation | None:
    """Return the operation before this one that took a face away."""
    before = stage.job.operations[: stage.job.operations.index(operation)]
    return next(
        (o for o in reversed(before) if face in stage.before(o).faces and face not in stage.after(o).faces),
        None,
    )


def _finding(operation: Operation, face: str, kind: Kind, says: str, remedy: str) -> Finding:
    return judge(
        None,
        verdict=Verdict.NO_GO,
        subject=f"{operation.title}: {face}",
        kind=kind,
        about=(FaceRef(face),),
        says=says,
        remedy=remedy,
    )
