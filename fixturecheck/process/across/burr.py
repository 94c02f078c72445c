"""Is a burr left on an edge where a later operation seats or measures.

What: the sharp outside edges that a cut leaves, beside each face that a later operation seats on, measures or
measures from, unless they are stoned, broken or cut away before.
Why: a part that seats on a burr stands off by its height, rocks, and is held by less of its face.
Formula: a burr stands on each sharp outside edge of a face that was cut; the gap is its height.
Limit: height as stated for the operation, else 0.02 mm, chosen here, no source: a caution then. Where burrs
stand is common practice, no source.
Go: the edges stoned between. No-go: a block turned over onto the face beside the cut, unstoned.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fixturecheck.kernel.construct import compound
from fixturecheck.process.across.stage import Across, JobStage
from fixturecheck.process.burrs import MetBurr
from fixturecheck.process.records import Operation
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.wording.sentences import listed

TITLE = "No burr where the part seats"

_SOURCE = "edges of the solids; burrs stand on sharp outside edges of a cut: common practice, no source"


def check(stage: JobStage) -> Iterator[Across]:
    """Yield a finding for each face of each operation that has a burr beside it."""
    for operation in stage.job.operations:
        met = stage.burrs[operation.number].meets
        why = stage.setups[operation.number].not_burred
        if why:
            says = f"How it rests and holds on its burrs is not known: {why}."
            yield (operation, not_computed(operation.title, says))
        for face in dict.fromkeys(m.burr.face for m in met):
            mine = [m for m in met if m.burr.face == face]
            yield (operation, _burr(stage, operation, face, mine))


def _burr(stage: JobStage, operation: Operation, face: str, met: Sequence[MetBurr]) -> Finding:
    """Say which edges beside a face have to be stoned."""
    write = stage.job.write
    highest = max(met, key=lambda m: m.burr.height_mm).burr
    assumed = all(m.burr.assumed for m in met)
    edges = ", ".join(dict.fromkeys(_edge(m.burr.other) for m in met))
    makers = {m.burr.made_in for m in met}
    cuts = [o.title for o in stage.job.operations if o.number in makers]
    leave = f"Operations {listed(cuts)} leave" if len(cuts) > 1 else f"Operation {' '.join(cuts)} leaves"
    height = write.length(highest.height_mm, "g")
    stated = f"taken as {height}, since none is stated" if assumed else f"{height} high"
    says = (
        f"Stone these before operation {operation.title}: the edges of {face} to {edges}. {leave} "
        f"a burr there, {stated}, and {face} would stand off by it."
    )
    shape = NamedShape(
        name=f"burrs on {face} before {operation.number}",
        role=Role.BURR,
        geometry=compound([m.edge for m in met]),
    )
    return judge(
        highest.height_mm * 1e3,
        unit="um",
        at_most=0.0,
        short=Verdict.CAUTION if assumed else Verdict.NO_GO,
        subject=f"{operation.title}: {face}",
        kind=Kind.BURR_LEFT,
        about=(face,),
        says=says,
        remedy=f'Stone {face}: stones = ["{face}"] in operation {operation.title} or before it.',
        source=_SOURCE,
        shapes=(shape,),
        location_mm=highest.middle_mm,
    )


def _edge(other: str) -> str:
    return other or "a face without a name"
