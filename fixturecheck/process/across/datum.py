"""Is a face finished before the one that it is measured from.

What: each face that an operation brings to size, against the stock still to come off its datum.
Why: grinding the datum afterwards moves it, and with it every size that was measured from it.
Formula: the stock on the datum after the operation, which must be none.
Limit: stock as stated; what hardening moves is asked by `growth`.
Go: a step ground from the finished base. No-go: a step finished from a base that still has 0.2 mm on it.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.process.across.stage import JobStage, RouteFinding
from fixturecheck.process.order import makers_of
from fixturecheck.process.records import Operation
from fixturecheck.result.finding import Finding, Kind, judge
from fixturecheck.wording.groups import listed

ID = "datum"
TITLE = "Faces are measured from finished ones"


def check(stage: JobStage) -> Iterator[RouteFinding]:
    """Yield a finding for each datum of each operation that finishes a face."""
    makers = makers_of(stage.job.operations)
    for operation in stage.job.operations:
        finishes = [f for f in operation.makes if makers.get(f, (None,))[-1] is operation]
        if not finishes:
            continue
        for datum in operation.measured_from:
            yield RouteFinding(number=operation.number, finding=_datum(stage, operation, finishes, datum))


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
        check=ID,
        subject=f"{operation.title}: {datum}",
        kind=Kind.DATUM_UNFINISHED,
        about=(datum,),
        says=says,
        remedy=remedy,
        source="stock as stated",
    )
