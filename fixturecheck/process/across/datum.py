"""Is a face finished before the one that it is measured from.

What: each face that an operation brings to size, against the stock still to come off its datum: a face that
it is measured from, or that the wheel touches off on to zero the dials.
Why: grinding the datum afterwards moves it, and with it every size that was measured from it.
Formula: the stock on the datum after the operation, which must be none; of a face of the blank, that the
finished part still has it.
Limit: stock as stated; what hardening moves is asked by `growth`.
Go: a step ground from the finished base. No-go: a step finished from a base that still has 0.2 mm on it.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.faceref import FaceRef
from fixturecheck.process.across.stage import Across, JobStage
from fixturecheck.process.records import Operation, makers_of
from fixturecheck.result.finding import Finding, Kind, Verdict, judge
from fixturecheck.wording.sentences import listed

TITLE = "Faces are measured from finished ones"


def check(stage: JobStage) -> Iterator[Across]:
    """Yield a finding for each datum of each operation that finishes a face."""
    makers = makers_of(stage.job.operations)
    for operation in stage.job.operations:
        finishes = [f for f in operation.makes if makers.get(f, (None,))[-1] is operation]
        if not finishes:
            continue
        for datum in dict.fromkeys([*operation.measured_from, *_touched(stage, operation)]):
            if datum not in stage.before(operation).faces:
                # Not made yet, or cut away: `made` says so.
                continue
            finding = _datum(stage, operation, finishes, datum)
            if datum not in stage.job.part.faces and datum not in stage.states[-1].faces:
                finding = _of_blank(operation, finishes, datum)
            yield (operation, finding)


def _touched(stage: JobStage, operation: Operation) -> list[str]:
    """Return the faces of the part that the dials are zeroed on, but for those that the operation makes."""
    made = stage.setups[operation.number]
    dials = None if made.setup is None else made.setup.dials
    if dials is None:
        return []
    stated = [FaceRef(ref) for ref in (dials.touch_top, dials.touch_side) if ref is not None]
    return [ref.face for ref in stated if ref.body in made.parts and ref.face not in operation.makes]


def _of_blank(operation: Operation, finishes: list[str], datum: str) -> Finding:
    """Refuse a face of the blank that is cut away later."""
    faces, are = listed(finishes), "are" if len(finishes) > 1 else "is"
    return judge(
        None,
        verdict=Verdict.NO_GO,
        subject=f"{operation.title}: {datum}",
        kind=Kind.DATUM_UNFINISHED,
        about=(datum,),
        says=f"{faces} {are} brought to size from {datum}, a face of the blank that the finished "
        "part has not.",
        remedy=f"Measure {faces} from a finished face, or leave stock on {faces} until there is one.",
        source="faces as stated",
    )


def _datum(stage: JobStage, operation: Operation, finishes: list[str], datum: str) -> Finding:
    """Judge one datum."""
    stock_mm = stage.after(operation).stock_mm.get(datum, 0.0)
    later = [o for o in makers_of(stage.job.operations).get(datum, ()) if o.number > operation.number]
    sized = [f for f in finishes if f != datum]
    faces, are = listed(sized) if sized else datum, "are" if len(sized) > 1 else "is"
    takes = f" Operation {later[-1].title} takes it off." if later and stock_mm > 0.0 else ""
    says = (
        f"{faces} {are} brought to size from {datum}, which still has "
        f"{stage.job.write.length(stock_mm, 'g')} of stock.{takes}"
        if stock_mm > 0.0
        else f"{faces} {are} brought to size from {datum}, which is finished."
    )
    remedy = (
        f"Finish {datum} first (operation {later[-1].title}), or leave stock on {faces} until then."
        if later
        else f"State an operation that finishes {datum} before it."
    )
    return judge(
        stock_mm,
        unit="mm",
        at_most=0.0,
        subject=f"{operation.title}: {datum}",
        kind=Kind.DATUM_UNFINISHED,
        about=(datum,),
        says=says,
        remedy=remedy,
        source="stock as stated",
    )
