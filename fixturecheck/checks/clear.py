"""Does everything that moves with the wheel or cutter clear everything over the whole travel.

What: the space that wheel, flange and guard sweep, overtravel included, or flutes, shank, nut and spindle
nose of an end mill, in a cut against every body: fixtures, parts that are not cut in it, and its own parts
as cut (not for what cuts them: what it takes from them is stock or a gouge, which `reach` judges; a shank
may pass close in what was just cut). A strap or toe clamp is stated as a force and not drawn: the tip of
its bar is surely there, the bar may be anywhere round it.
Why: a block that the wheel catches at the end of a stroke breaks the wheel; a flange that rubs on a wall
ruins part and mount.
Formula: common volume of the swept solid and the body; where there is none, their least distance. Neither
is believed alone: solids whose boxes meet are always intersected.
Limit: the machine's `least_clearance_mm` (1 mm unless stated; common practice, no source). A common volume,
or a clearance within the touch tolerance, is no-go; less than the limit is a caution. So is a clamp whose
bar might be in the way.
Remedy: the path first (less overtravel, a cross feed that ends at the edge of the floor, one that lies to
the other side), then what stands there (the shortest move along Y or X, the tallest block that clears, the
parts set higher over equipment, which is never cut down), then the wheel; each solved to 0.01 mm and tried.
Go: a stop block whose top is 2 mm under the floor. No-go: a block beside the part 3 mm above the floor and
in the wheel's way.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from fixturecheck.checks.stage import Stage
from fixturecheck.effort import CLEAR, SPENT, Budget, spending
from fixturecheck.errors import FixturecheckError, NotComputedError
from fixturecheck.kernel.boolean import Apart, apart
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Solid
from fixturecheck.machining.as_milled import OF_HOLDER, MilledCut, other_cutters
from fixturecheck.machining.clearance import Approach, Undrawn, approaches, kept_clear_mm, too_near, undrawn
from fixturecheck.machining.cut import GroundCut
from fixturecheck.machining.detours import blocking_dodges, larger_wheel, passing, reroutes
from fixturecheck.result.contact import Mover
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.grouping import PASSAGES, Passage
from fixturecheck.result.remedy import Dodge
from fixturecheck.result.shapes import NamedShape, Role, Vector
from fixturecheck.setup.records import BodyRole
from fixturecheck.wording.remedies import dodge_words, let_down_words
from fixturecheck.wording.sentences import first_up

TITLE = "Wheel or cutter, and what goes with it, over the whole travel"

MOST_SOLVED = 12
"""Remedies are solved for this many bodies of a cut; the largest collisions first."""

_LIMIT_SOURCE = "machine.least_clearance_mm; common practice, no source"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield one finding for each body that comes too close, and one for whatever clears."""
    least_mm = stage.setup.machine.least_clearance_mm
    for cut in stage.worked:
        try:
            found = list(approaches(cut, stage.placed, least_mm, kept=True))
        except NotComputedError as reason:
            says = f"Clearances of {cut.name} could not be computed: {reason}"
            yield not_computed(cut.name, says, cut=cut.name)
            continue
        yield from _judge(stage, cut, found)
        yield from _clamps(stage, cut)


def _judge(stage: Stage, cut: GroundCut | MilledCut, found: list[Approach]) -> Iterator[Finding]:
    """Yield the findings of one cut."""
    least_mm = stage.setup.machine.least_clearance_mm
    close = [a for a in found if too_near(a.apart.distance_mm, kept_clear_mm(cut, a.mover, a.body, least_mm))]
    cures = Budget(CLEAR)
    with spending(cures):
        solved = _remedies(stage, cut, close)
    for a in close:
        finding = _too_close(stage, cut, a, solved.get(a.body, []))
        if finding.remedy is None and cures.spent:
            finding = replace(finding, says=f"{finding.says} No way past was looked for: {SPENT}.")
        yield finding
    for mover in cut.movers:
        if any(a.mover == mover for a in close):
            continue
        nearest = next((a for a in found if a.mover == mover), None)
        yield _passes(stage, cut, mover, nearest)


def _remedies(stage: Stage, cut: GroundCut | MilledCut, close: list[Approach]) -> dict[str, list[Dodge]]:
    """Solve for what would let the wheel pass each body, against all movers at once."""
    own = {p.body for p in cut.parts}
    order = sorted(close, key=lambda a: (-a.apart.common_mm3, a.apart.distance_mm, a.body))
    names = list(dict.fromkeys(a.body for a in order if a.mover in OF_HOLDER or a.body not in own))[
        :MOST_SOLVED
    ]
    movers: dict[str, set[Mover]] = {}
    for a in order:
        movers.setdefault(a.body, set()).add(a.mover)
    solved: dict[str, list[Dodge]] = {}
    for name in names:
        try:
            solved[name] = _ways_past(stage, cut, name, movers)
        except FixturecheckError:
            # The collision stands whether or not a way out of it could be solved.
            solved[name] = []
    return solved


def _ways_past(
    stage: Stage, cut: GroundCut | MilledCut, name: str, close: dict[str, set[Mover]]
) -> list[Dodge]:
    """Return the ways past one body: those of path or tool if there are any, else those of the blocking."""
    if isinstance(cut, MilledCut):
        every = frozenset(mover for movers in close.values() for mover in movers)
        found = [*other_cutters(stage.setup, cut, stage.placed, every)] if close[name] & OF_HOLDER else []
    else:
        found = [*reroutes(passing(stage.setup, cut, stage.placed, name, close))]
    if found or stage.setup.body(name).role != BodyRole.FIXTURE:
        return found
    return blocking_dodges(stage.setup, cut, stage.placed, name)


def _too_close(stage: Stage, cut: GroundCut | MilledCut, a: Approach, ways: list[Dodge]) -> Finding:
    """Judge a collision or a clearance below the limit."""
    least_mm, name, write = stage.setup.machine.least_clearance_mm, cut.name, stage.setup.write
    remedy = _remedy(stage, cut, a, ways)
    direction = ways[0].direction if ways else _away(a)
    travel = NamedShape(name=f"{a.mover} travel {name}", role=Role.TRAVEL, geometry=cut.movers[a.mover])
    hit = a.apart.common_mm3 > stage.setup.tolerances.overlap_mm3
    if hit:
        box = box_of(a.apart.common)
        deep_mm = box[5] - box[2]
        shape = NamedShape(
            name=f"collision {a.mover} {name} {a.body}",
            role=Role.COLLISION,
            geometry=a.apart.common,
            bodies=(a.body,),
        )
        return judge(
            -deep_mm,
            unit="mm",
            at_least=least_mm,
            verdict=Verdict.NO_GO,
            kind=PASSAGES[a.mover, Passage.HITS],
            about=(a.body,),
            cut=name,
            says=f"Cut {name}: the {a.mover} runs {write.length(deep_mm)} deep into {a.body}. "
            f"{write.volume(a.apart.common_mm3)} of it is in the way.",
            remedy=remedy,
            shapes=(shape, travel),
            location_mm=a.apart.on_b,
            direction=direction,
        )
    gap_mm = a.apart.distance_mm
    rubs = gap_mm <= stage.setup.tolerances.touch_mm
    return judge(
        gap_mm,
        unit="mm",
        at_least=least_mm,
        verdict=Verdict.NO_GO if rubs else Verdict.CAUTION,
        kind=PASSAGES[a.mover, Passage.RUBS if rubs else Passage.CLOSE],
        about=(a.body,),
        cut=name,
        says=f"Cut {name}: the {a.mover} rubs on {a.body}."
        if rubs
        else f"Cut {name}: the {a.mover} passes {a.body} with {write.length(gap_mm)} to spare, "
        f"less than the {write.length(least_mm, 'g')} to be kept clear.",
        remedy=remedy,
        source=_LIMIT_SOURCE,
        shapes=(travel,),
        location_mm=a.apart.on_b,
        direction=direction,
    )


def _clamps(stage: Stage, cut: GroundCut | MilledCut) -> Iterator[Finding]:
    """Hold the space of the clamps that are not drawn against the wheel and what goes with it."""
    for clamp in stage.setup.clamps:
        space = undrawn(clamp)
        if space is None:
            continue
        try:
            yield _clamp(stage, cut, space)
        except NotComputedError as reason:
            says = f"Whether the wheel clears {clamp.name} could not be computed: {reason}."
            yield not_computed(
                f"{cut.name}/{clamp.name}",
                says,
                cut=cut.name,
                named=clamp.name,
                asks=Kind.CLAMP_CLEARS,
                unit="mm",
            )


def _clamp(stage: Stage, cut: GroundCut | MilledCut, space: Undrawn) -> Finding:
    """Judge the clearance of one clamp that is not drawn."""
    least_mm, name, write = stage.setup.machine.least_clearance_mm, cut.name, stage.setup.write
    movers, clamp = cut.movers, space.clamp

    def from_movers(solid: Solid) -> dict[Mover, Apart]:
        found = {m: apart(swept, solid, f"the {m} of {name} and {clamp}") for m, swept in movers.items()}
        return {m: a for m, a in found.items() if a is not None}

    mover, tip = min(
        from_movers(space.least).items(), key=lambda item: (-item[1].common_mm3, item[1].distance_mm)
    )
    gap_mm = tip.distance_mm
    hits = gap_mm <= stage.setup.tolerances.touch_mm
    # Where the tip is hit, nobody needs to know how far the bar may reach.
    away_mm = gap_mm if hits else min(a.distance_mm for a in from_movers(space.most).values())
    if hits:
        verdict, kind = Verdict.NO_GO, PASSAGES[mover, Passage.HITS_CLAMP]
        says = f"Cut {name}: the {mover} runs over the place where {clamp} presses and hits the clamp."
        remedy = f"Press with {clamp} where the {mover} does not pass, or hold the part from its sides."
    elif away_mm < least_mm:
        verdict, kind = Verdict.CAUTION, Kind.CLAMP_NOT_DRAWN
        says = (
            f"Cut {name}: the {mover} passes the place where {clamp} presses at {write.length(gap_mm)}. "
            f"The clamp's bar and screw are not drawn, so whether they clear is not known."
        )
        remedy = (
            f"Lay the bar of {clamp} away from the travel, and try the whole travel by hand with the "
            f"{'wheel' if isinstance(cut, GroundCut) else 'spindle'} stopped and raised."
        )
    else:
        verdict, kind, remedy = Verdict.GO, Kind.CLAMP_CLEARS, None
        says = f"Cut {name}: {', '.join(movers)} clear {clamp}, whichever way its bar lies."
    return judge(
        gap_mm if verdict is not Verdict.GO else away_mm,
        unit="mm",
        at_least=least_mm,
        verdict=verdict,
        kind=kind,
        named=clamp,
        cut=name,
        says=says,
        remedy=remedy,
        source=_LIMIT_SOURCE,
        location_mm=tip.on_b,
    )


def _passes(stage: Stage, cut: GroundCut | MilledCut, mover: Mover, nearest: Approach | None) -> Finding:
    """Say how far away the closest body stays."""
    least_mm, name = stage.setup.machine.least_clearance_mm, cut.name
    if nearest is None:
        says = f"Cut {name}: nothing stands near the {mover}."
        return judge(
            None,
            verdict=Verdict.GO,
            subject=f"{name}/{mover}",
            kind=PASSAGES[mover, Passage.CLEARS],
            unit="mm",
            cut=name,
            says=says,
        )
    gap_mm = nearest.apart.distance_mm
    return judge(
        gap_mm,
        unit="mm",
        at_least=least_mm,
        verdict=Verdict.GO,
        kind=PASSAGES[mover, Passage.CLEARS],
        about=(nearest.body,),
        cut=name,
        says=f"Cut {name}: the {mover} clears everything. It passes {nearest.body} closest, at "
        f"{stage.setup.write.length(gap_mm)}.",
        source=_LIMIT_SOURCE,
        location_mm=nearest.apart.on_b,
        direction=_away(nearest),
    )


def _remedy(stage: Stage, cut: GroundCut | MilledCut, a: Approach, ways: list[Dodge]) -> str | None:
    """Put the solved changes in one sentence; where there is none, the wheel or flange that would pass."""
    write = stage.setup.write
    if ways:
        text = "; or ".join(dodge_words(w, write) for w in ways)
        least = write.length(stage.setup.machine.least_clearance_mm)
        return f"{first_up(text)}: checked again, {least} clear."
    if a.mover == Mover.FLANGE and isinstance(cut, GroundCut):
        top_mm = box_of(a.body_shape)[5]
        changes = larger_wheel(stage.setup, cut, top_mm - cut.path.floor_z_mm, a.body)
        return let_down_words(changes, stage.setup.machine.least_clearance_mm, write)
    return None


def _away(a: Approach) -> Vector | None:
    """Return the unit vector from the mover toward the body: the way to move the body."""
    across = [q - p for p, q in zip(a.apart.on_a, a.apart.on_b, strict=True)]
    length = math.hypot(*across)
    if length == 0:
        return None
    return across[0] / length, across[1] / length, across[2] / length
