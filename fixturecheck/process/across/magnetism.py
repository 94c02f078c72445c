"""Does a part go into the furnace, or under a gauge, with the magnetism that a chuck left in it.

What: each hardening and each measuring that comes after an operation on a magnet, with nothing between that
takes the magnetism away: what the steel may still show at its surface.
Why: chips and grit that cling to a magnetised part burn onto it in the furnace and lift it off its datum
under a gauge; an indicator and gauge blocks cling too.
Formula: a stubby body keeps no more than shows 2 mu0 Hc; a round chip hangs on from the field at which its
pull over the pole distance balances its weight. Closed forms.
Limit: the field at which round chips hang on; slivers hang at less. Hardening takes all magnetism away.
Go: mild steel off a fine-poled chuck. No-go: none; hardened tool steel off a chuck and not demagnetised is a
caution.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.errors import NotComputedError
from fixturecheck.magnet.iron import pitch_mm
from fixturecheck.magnet.remanence import chip_field_t, kept_field_t
from fixturecheck.process.across.stage import Across, JobStage
from fixturecheck.process.records import Operation, OperationKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.hold import MagnetState
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import material

TITLE = "Magnetism is gone before it matters"

_SPOILS = {
    OperationKind.HARDEN: "what clings to it burns on in the furnace",
    OperationKind.MEASURE: "what clings to it lifts it off its datum, and the gauge clings too",
}
_SOURCE = "coercivity from the table of materials; closed forms of a ball and of a small sphere"


def check(stage: JobStage) -> Iterator[Across]:
    """Yield a finding for each operation that a part comes to from a magnet."""
    held: tuple[Operation, Setup] | None = None
    for operation in stage.job.operations:
        setup = stage.setups[operation.number].setup
        if held is not None and operation.kind in _SPOILS and not _takes_away(setup):
            finding = _kept(stage, operation, *held)
            if finding is not None:
                yield (operation, finding)
        if operation.kind == OperationKind.HARDEN:
            held = None
        if setup is not None and _on_magnet(setup):
            held = operation, setup
        if operation.demagnetises:
            held = None


def _on_magnet(setup: Setup) -> bool:
    """Whether a magnet holds the part, or may, where nothing is stated of what holds it."""
    holding = setup.holding
    return bool(setup.poles()) and (holding is None or holding.magnet != MagnetState.OFF)


def _takes_away(setup: Setup | None) -> bool:
    """Whether the set-up of a hardening states that the parts are demagnetised first."""
    return setup is not None and setup.hardening is not None and setup.hardening.demagnetised


def _kept(stage: JobStage, operation: Operation, last: Operation, setup: Setup) -> Finding | None:
    """Judge what the part may still show; None where it is no magnetic material."""
    part = stage.job.part
    found = material(part.material)
    if not found.magnetic:
        return None
    if found.coercivity_a_m is None:
        reason = NotComputedError(f"the table of materials has no coercivity of {found.name}")
        return not_computed(operation.title, reason, about=(part.name,), asks=Kind.MAGNETISED, unit="mT")
    field_mt = kept_field_t(found.coercivity_a_m[1]) * 1e3
    chips_mt = chip_field_t(pitch_mm(setup.poles())) * 1e3
    return judge(
        field_mt,
        unit="mT",
        at_most=chips_mt,
        short=Verdict.CAUTION,
        subject=operation.title,
        kind=Kind.MAGNETISED,
        about=(part.name,),
        named=str(operation.number),
        says=f"{part.name} comes to {operation.title} from the magnet of {last.title}: {part.material} may "
        f"still show {field_mt:.2g} mT, where round chips hang on from {chips_mt:.2g} mT; "
        f"{_SPOILS[OperationKind(operation.kind)]}.",
        remedy=f"Demagnetise the parts after {last.title}, wipe them, and state demagnetises = true there.",
        source=_SOURCE,
    )
