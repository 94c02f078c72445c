"""Does an operation drill, tap or mill steel that is hard by then.

What: each drilling, tapping and milling that comes after a hardening, against the hardness that the part then
has.
Why: a high-speed steel drill or tap does not cut hardened steel; it burns, or breaks off in the hole, and the
part is scrap.
Formula: hardness of the steel after its temper, from the table of hardening steels.
Limits: 40 HRC for high-speed steel, 65 HRC for carbide made for hard steel: common practice, no source. It
stays a caution where the set-up does not state that the hold is to count hard steel (`cuts_as`).
Go: a hole tapped before hardening. No-go: an M5 tapped in O1 of 62 HRC.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.hardening.steels import tabled_steel
from fixturecheck.hardening.temper import hardness_hrc
from fixturecheck.interval import Range
from fixturecheck.process.across.stage import Across, JobStage
from fixturecheck.process.records import Operation, OperationKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.setup.holding import Milling
from fixturecheck.setup.tools import Drilling, EndMilling
from fixturecheck.sizes.grown import temper_of
from fixturecheck.wording.settings import hrc_words

TITLE = "Nothing but the wheel meets hard steel"

HIGH_SPEED_STEEL_HRC, CARBIDE_HRC = 40.0, 65.0
HARD_STEEL = "hard_steel"
"""Row of the table of milling whose force carbide meets in steel that is hard."""
_DOES = {
    OperationKind.DRILL: ("drills", "drill"),
    OperationKind.TAP: ("taps", "tap"),
    OperationKind.MILL: ("mills", "cutter"),
}
_SOURCE = "hardness from the table of hardening steels; limit: common practice, no source"


def check(stage: JobStage) -> Iterator[Across]:
    """Yield a finding for each operation that cuts with an edge after a hardening."""
    hardened: Operation | None = None
    for operation in stage.job.operations:
        if operation.kind == OperationKind.HARDEN:
            hardened = operation
        elif hardened is not None and operation.kind in _DOES:
            yield (operation, _cuts(stage, operation, hardened))


def _cuts(stage: JobStage, operation: Operation, hardened: Operation) -> Finding:
    """Judge one operation by the hardness that the part comes to it with."""
    does, tool = _DOES[OperationKind(operation.kind)]
    part = stage.job.part
    try:
        hard = _hardness(stage, hardened)
    except (NotComputedError, SetupError) as reason:
        says = f"How hard the steel is that operation {operation.title} {does} is not known: {reason}."
        return not_computed(operation.title, says, about=(part.name,), asks=Kind.CUTS_HARD, unit="HRC")
    limit = CARBIDE_HRC if operation.carbide else HIGH_SPEED_STEEL_HRC
    what = ", ".join(operation.makes) or part.name
    says = f"Operation {operation.title} {does} {what} after {hardened.title}, in {part.material} of "
    says += f"{hrc_words((hard.low, hard.high))}. A {tool} of "
    says += f"{'carbide' if operation.carbide else 'high-speed steel'} cuts up to {limit:g} HRC."
    remedy = f"Do operation {operation.title} before {hardened.title}"
    verdict = Verdict.GO
    if hard.high > limit:
        verdict = Verdict.NO_GO if hard.low > limit else Verdict.CAUTION
        remedy += (
            "." if operation.carbide else ", or take carbide made for hard steel and state carbide = true."
        )
    elif operation.carbide and hard.high > HIGH_SPEED_STEEL_HRC:
        soft = _cut_as_softer(stage, operation)
        if soft:
            verdict = Verdict.CAUTION
            says += f" It pushes harder than in what {soft} counts for the hold."
            remedy += f", or state cuts_as = '{HARD_STEEL}' for {soft} in its set-up, so the hold counts it."
        else:
            says += " The hold counts the force that hard steel takes."
    return judge(
        hard.high,
        unit="HRC",
        at_most=limit,
        verdict=verdict,
        subject=operation.title,
        kind=Kind.CUTS_HARD,
        about=(part.name,),
        named=str(operation.number),
        says=says,
        remedy=remedy,
        source=_SOURCE,
    )


def _cut_as_softer(stage: JobStage, operation: Operation) -> str:
    """Return what cuts in the set-up of an operation as if its steel were softer; empty for nothing."""
    setup = stage.setups[operation.number].setup
    if setup is None:
        return "its set-up"
    stated = setup.holding.milling if setup.holding else ()
    cutters: tuple[EndMilling | Drilling | Milling, ...] = (*setup.end_mills, *setup.drills, *stated)
    softer = [c.name for c in cutters if c.cuts_as != HARD_STEEL]
    return " and ".join(softer) if cutters else "its set-up"


def _hardness(stage: JobStage, hardened: Operation) -> Range:
    """Return the hardness after an operation, by its temper or that of its set-up."""
    setup = stage.setups[hardened.number].setup
    stated = None if setup is None else setup.hardening
    name = stage.job.part.material if stated is None else stated.steel_of(stage.job.part)
    temper_c = hardened.temper_c if stated is None else temper_of(stated, name)
    return hardness_hrc(tabled_steel(name), temper_c)
