"""If a part lets go, does the wheel dig into it, and what does it run into.

What: each part that could let go is moved on as it starts to move at collapse, with every body that goes
with it, for both strokes and every place of the wheel whose factor is below the least; the same with one
block missing and with a film of coolant.
Why: a part that falls away from the wheel is scrap; one that is drawn into it breaks the wheel and flies.
Formula: common volume of the wheel and the moved solid, beyond what the pass takes. More of it, along the
way, than the springs of the contacts make is digging in.
Limits: digging in below the least factor that the set-up states, three by default (common practice, no
source), is a no-go; above it a caution. What is lost by one block or a film and then digs in is a caution.
A milling cutter is not followed: unknown, unless the part bears all that is looked for.
Go: a block that tips away from the wheel. No-go: one that tips up under it, held 1.5 times.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.holding.model import MilledHold, PartHold, Way
from fixturecheck.physics.collapse_crash import Outcome, crash_verdict
from fixturecheck.physics.collapse_range import loss_words
from fixturecheck.physics.ranges import said_factor
from fixturecheck.result import Finding, Verdict

ID = "crash"
TITLE = "Where a freed part goes"

SOURCE = (
    "motion at collapse, followed with the solids of part and wheel; least factor as stated, three by "
    "default (common practice, no source)"
)
TIMES = "x load"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each part of each cut, and one for each loss that makes it unsafe."""
    if stage.held is None:
        return
    for part in stage.held.parts:
        if part.ways is None:
            says = f"Where {part.part} goes if it lets go was not followed."
            yield _unknown(_subject(part), says)
            continue
        first = _judge(stage, part)
        yield first
        if first.verdict is not Verdict.NO_GO:
            yield from _losses(stage, part)
    for milled in stage.held.milled:
        yield _not_followed(milled)


def _not_followed(part: MilledHold) -> Finding:
    """Say that a cutter is not followed; a part that never lets go needs no following."""
    low, known = part.factors.factor.low, part.factors.worst.at_least
    says = f"Where {part.part} goes if it lets go, and what the cutter bites into, is not followed."
    if known:
        says = f"{part.part} does not let go at {low:.0f} times the milling force, so nothing was followed."
    return Finding(
        check=ID,
        verdict=Verdict.GO if known else Verdict.UNKNOWN,
        subject=_subject(part),
        value=low,
        unit=TIMES,
        says=says,
        source=SOURCE,
    )


def _subject(part: PartHold | MilledHold) -> str:
    return f"{part.part} in {part.cut}"


def _unknown(subject: str, says: str) -> Finding:
    return Finding(check=ID, verdict=Verdict.UNKNOWN, subject=subject, says=says, source=SOURCE)


def _least(stage: Stage) -> float:
    return stage.setup.holding.least_factor if stage.setup.holding else 0.0


def _judge(stage: Stage, part: PartHold) -> Finding:
    """Judge the way that counts."""
    way = part.ways.worst if part.ways else None
    least, low = _least(stage), part.factors.factor.low
    if way is None:
        known = part.factors.worst.at_least
        says = f"{part.part} does not let go at {low:.0f} times the cutting load, so nothing was followed."
        if not known:
            says = f"Where {part.part} goes if it lets go is not known: no motion was found at collapse."
        return Finding(
            check=ID,
            verdict=Verdict.GO if known else Verdict.UNKNOWN,
            subject=_subject(part),
            value=low,
            unit=TIMES,
            limit=least,
            margin=low - least,
            says=says,
            source=SOURCE,
        )
    if way.crash is None:
        says = f"Where {part.part} goes if it lets go is not known: {way.reason}."
        return _unknown(_subject(part), says)
    verdict = crash_verdict(way.crash.outcome, way.factor, hold_factor=1.0, safe_factor=least)
    begins = f"If {part.part} lets go"
    if way.factor >= least:
        begins = f"{part.part} holds the {least:g} times asked; if it lets go all the same"
    says = f"{begins}, at {said_factor(way.factor)} times the cutting load ({way.case.label}), {_tale(way)}"
    return _finding(stage, part, way, verdict, says, "")


def _losses(stage: Stage, part: PartHold) -> Iterator[Finding]:
    """Warn of each loss that makes it unsafe: with it, the part would dig in below the least factor."""
    for way in part.ways.lost if part.ways else ():
        subject = loss_words(way.lost)
        if way.crash is None:
            says = f"Where {part.part} goes {subject} is not known: {way.reason}."
            yield _unknown(f"{_subject(part)}, {subject}", says)
        elif way.digs_in:
            begins = subject[0].upper() + subject[1:]
            says = f"{begins}, {part.part} holds {said_factor(way.factor)} times the cutting load; "
            yield _finding(stage, part, way, Verdict.CAUTION, f"{says}if it lets go, {_tale(way)}", subject)


def _finding(stage: Stage, part: PartHold, way: Way, verdict: Verdict, says: str, extra: str) -> Finding:
    least = _least(stage)
    return Finding(
        check=ID,
        verdict=verdict,
        subject=f"{_subject(part)}, {extra}" if extra else _subject(part),
        value=way.factor,
        unit=TIMES,
        limit=least,
        margin=way.factor - least,
        says=says,
        remedy=" Or: ".join(part.remedies) or None if verdict is Verdict.NO_GO else None,
        source=SOURCE,
        shapes=stage.shapes_under(part.part),
        location_mm=way.case.at_mm,
        direction=way.motion.velocity_at(way.case.at_mm),
    )


def _tale(way: Way) -> str:
    """Tell what happens, in one clause and a full stop."""
    crash = way.crash
    tells = [way.motion.says]
    if crash is not None and crash.outcome is Outcome.DIGS_IN:
        grown = max(crash.overlap_mm3) - crash.overlap_mm3[0]
        whom = "it" if way.bites == way.motion.body else way.bites
        tells.append(
            f"into the wheel, which bites into {whom} within {crash.first_mm:.2g} mm and takes "
            f"{grown:.2g} mm3 beyond its pass over {crash.moved_mm[-1]:.3g} mm"
        )
    elif crash is not None and crash.outcome is Outcome.FALLS_AWAY:
        tells.append("away from the wheel")
    else:
        tells.append("under the wheel, with no deeper bite")
        if way.drawn_in:
            tells.append("drawn through faster than the table feeds it")
    if way.hits is not None and way.hits_after_mm is not None:
        tells.append(f"and runs into {way.hits} after {way.hits_after_mm:.1f} mm")
    return ", ".join(tells) + "."
