"""Is all stock taken off when the job is done, and does the first operation start from the blank.

What: what is left on each face after its last operation, what an operation takes that is not there any more,
and what of the blank no operation takes.
Why: a face that was left 0.25 mm for later and forgotten is still 0.25 mm high at the bench.
Formula: what the first operation leaves, less what each later one takes; the volume of the blank less that
of the part before its first operation.
Limit: stock as stated, to 1e-9 mm; volumes to 1e-6 of the part.
Go: 0.25 left, 0.25 taken. No-go: 0.25 left, nothing taken later.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.kernel.boolean import split
from fixturecheck.kernel.measure import volume_mm3
from fixturecheck.process.across.stage import Across, JobStage
from fixturecheck.process.records import left_on, makers_of
from fixturecheck.result.finding import Kind, judge
from fixturecheck.result.shapes import NamedShape, Role

TITLE = "All stock is taken off"

_ROUNDING_MM = 1e-9
_SHARE = 1e-6


def check(stage: JobStage) -> Iterator[Across]:
    """Yield a finding for each face that is made with stock, and for the blank."""
    write = stage.job.write
    for face, makers in makers_of(stage.job.operations).items():
        if all(o.stock_of(face) is None and not o.leave_of(face) for o in makers):
            continue
        left_mm = left_on(face, makers)[-1]
        last = makers[-1]
        if left_mm < -_ROUNDING_MM:
            over = write.length(-left_mm, "g")
            before = write.length(left_mm + (last.stock_of(face) or 0.0), "g")
            says = f"Operation {last.title} takes {over} more off {face} than is left on it ({before})."
            remedy = f"State what the operation before leaves, or take {over} less."
            yield (
                last,
                judge(
                    -left_mm,
                    unit="mm",
                    at_most=0.0,
                    subject=f"{last.title}: {face}",
                    kind=Kind.TAKES_AIR,
                    about=(face,),
                    says=says,
                    remedy=remedy,
                    source="stock as stated",
                ),
            )
            continue
        there = left_mm > _ROUNDING_MM
        amount = write.length(max(left_mm, 0.0), "g")
        yield (
            last,
            judge(
                max(left_mm, 0.0),
                unit="mm",
                at_most=0.0,
                rounding=_ROUNDING_MM,
                subject=f"{last.title}: {face}",
                kind=Kind.STILL_THERE,
                about=(face,),
                says=f"{amount} of stock is still on {face} at the end; operation {last.title} is its last."
                if there
                else f"No stock is left on {face} after operation {last.title}.",
                remedy=f"Take {amount} off {face} in a later operation, or leave none in {last.title}.",
                source="stock as stated",
            ),
        )
    yield from _blank(stage)


def _blank(stage: JobStage) -> Iterator[Across]:
    """Hold the blank against the part before its first operation."""
    blank = stage.job.blank
    if blank is None:
        return
    first = stage.states[0].solid
    parts = split(blank.solid, first, "the blank by the part before its first operation")
    whole_mm3 = volume_mm3(blank.solid)
    over_mm3 = parts.kept_mm3 if parts.kept_mm3 > _SHARE * whole_mm3 else 0.0
    if not over_mm3:
        says = "The part before its first operation fills the blank."
        yield (
            None,
            judge(0.0, unit="mm3", at_most=0.0, subject="blank", kind=Kind.BLANK_LEFT, says=says),
        )
        return
    amount = stage.job.write.volume(over_mm3)
    shape = NamedShape(name="blank that no operation takes", role=Role.LEFTOVER, geometry=parts.kept)
    yield (
        None,
        judge(
            over_mm3,
            unit="mm3",
            at_most=0.0,
            subject="blank",
            kind=Kind.BLANK_LEFT,
            says=f"No operation takes {amount} of the blank off.",
            remedy="State more stock where the blank stands out, or a smaller blank.",
            shapes=(shape,),
        ),
    )
