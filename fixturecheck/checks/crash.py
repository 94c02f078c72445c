"""If a part lets go, does the wheel or cutter dig into it, what does it run into, and what stops it.

What: each part that could let go is moved on as it starts to move at collapse, with every body that goes
with it, for both strokes and every place of the wheel whose factor is below the least; the same with one
block missing and with a film of coolant. Under a milling cutter: for every place, climb and conventional,
over the turn of its teeth.
Why: a part that falls away from the wheel is scrap; one that is drawn into it breaks the wheel and flies.
A cutter that climbs draws the part in, and spiral flutes lift it.
Formula: common volume of the wheel and the moved solid, beyond what the pass takes. More of it, along the
way, than the springs of the contacts make is digging in. Of a cutter: how much nearer the stock in front of
its teeth comes to its axis and the part comes above its end, at worst all of it between two teeth.
Limits: digging in below the least factor that the set-up states, three by default (common practice, no
source), is a no-go; above it a caution. What is lost by one block or a film and then digs in is a caution.
Where something stops a milled part before its tooth has twice its load, that is no digging in, unless the
part, loaded again with that against it, goes over or past it into the cutter below the least factor.
Go: a block that tips away from the wheel. No-go: one that tips up under it, held 1.5 times.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.hold import TIMES, about_loss, kind_of_loss
from fixturecheck.checks.stage import Stage
from fixturecheck.holding.model import PartHold, Way
from fixturecheck.machining.bite import Bitten
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.hold import Loss, Outcome, Tool
from fixturecheck.statics.mechanism import Crash, crash_verdict
from fixturecheck.units import Writing, factor_text
from fixturecheck.wording.hold import case_words, loss_words, over_words
from fixturecheck.wording.motion import MOVES_OFF, goes_first, motion_words
from fixturecheck.wording.sentences import first_up

TITLE = "Where a freed part goes"

SOURCE = (
    "motion at collapse, followed with the solids of part and wheel; least factor as stated, three by "
    "default (common practice, no source)"
)
SOURCE_MILLED = (
    "motion at collapse, followed with the solids of part, stock and cutter; teeth over a turn by Kienzle's "
    "law; twice its load for a tooth, least factor as stated, three by default (common practice, no source)"
)
SOURCE_BORED = (
    "motion at collapse; least factor as stated, three by default; that a part goes round with a drill or "
    "climbs up it: common practice, no source"
)
_SOME_MM = 0.001


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each part of each cut, and one for each loss that makes it unsafe."""
    if stage.held is None:
        return
    for part in stage.held.parts:
        if part.down_its_axis:
            yield from _round_the_tool(stage, part)
            continue
        if part.ways is None:
            says = f"Where {part.part} goes if it lets go was not followed."
            if part.tool is Tool.CUTTER:
                says += (
                    " In a trough the teeth of a ball bite all round its arc, and what they take of a part "
                )
                says += "that comes nearer is not worked out. Set stops against it on all sides."
            yield _unknown(part, says)
            continue
        first = _judge(stage, part)
        yield first
        if first.verdict is not Verdict.NO_GO:
            yield from _losses(stage, part)


def _round_the_tool(stage: Stage, part: PartHold) -> Iterator[Finding]:
    """Judge a part under a tool that goes down its own axis: let go, it goes round with it or climbs up it.

    What is lost by one clamp or a film and then lets go below the least factor is a caution, as elsewhere.
    """
    least, low = _least(stage), part.factors.factor.low
    known = [(loss.lost, loss.collapse, loss.borne[0].case) for loss in part.losses if loss.collapse]
    weak = [one for one in known if one[1].factor.low < least] if low >= least else []
    for lost, found, case in [(None, part.factors.worst, part.case), *weak]:
        factor = found.factor.low
        whom = f"{first_up(loss_words(lost))}, {part.part}" if lost else part.part
        verb = "holds" if lost or factor >= least else "lets go at"
        says = f"{whom} {verb} {factor_text(factor, least)} times thrust and torque of the {part.tool} "
        says += f"({least:g} required; {case_words(case.of_cut, stage.setup.write)})."
        if found.motions:
            says += f" Beyond that {motion_words(found.motions[0], stage.setup.write)}."
        says += (
            f" It goes round with the {part.tool} or climbs up it: stop the spindle, hold nothing by hand."
        )
        unknown = found.at_least and factor < least
        yield judge(
            factor,
            unit=TIMES,
            at_least=least,
            verdict=Verdict.UNKNOWN if unknown else Verdict.CAUTION if lost else None,
            subject=_subject(part, lost),
            kind=_kind(lost),
            about=about_loss(part.part, lost),
            cut=part.cut,
            says=says,
            remedy="The same as for its hold." if factor < least and part.remedies else None,
            source=SOURCE_BORED,
            shapes=stage.shapes_under(part.part),
            location_mm=case.at_mm,
        )


def _subject(part: PartHold, lost: Loss | None = None) -> str:
    whole = f"{part.part} in {part.cut}"
    return f"{whole}, {loss_words(lost)}" if lost else whole


def _source(part: PartHold) -> str:
    return SOURCE if part.tool is Tool.WHEEL else SOURCE_MILLED


def _unknown(part: PartHold, says: str, lost: Loss | None = None) -> Finding:
    return not_computed(
        _subject(part, lost),
        says,
        about=about_loss(part.part, lost),
        cut=part.cut,
        asks=_kind(lost),
        unit=TIMES,
        source=_source(part),
    )


def _kind(lost: Loss | None) -> Kind:
    return kind_of_loss(lost) if lost else Kind.WAY


def _least(stage: Stage) -> float:
    return stage.setup.holding.least_factor if stage.setup.holding else 0.0


def _judge(stage: Stage, part: PartHold) -> Finding:
    """Judge the way that counts."""
    way = part.ways.worst if part.ways else None
    least, low = _least(stage), part.factors.factor.low
    if way is None:
        known = part.factors.worst.at_least
        says = f"{part.part} holds {low:.0f} times the cutting load, so nothing was followed."
        if not known:
            says = f"Where {part.part} goes if it lets go is not known: no motion was found at collapse."
        return judge(
            low,
            unit=TIMES,
            at_least=least,
            verdict=Verdict.GO if known else Verdict.UNKNOWN,
            subject=_subject(part),
            kind=Kind.WAY,
            about=(part.part,),
            cut=part.cut,
            says=says,
            source=_source(part),
        )
    if way.crash is None:
        says = f"Where {part.part} goes if it lets go is not known: {way.reason}."
        return _unknown(part, says)
    verdict = crash_verdict(way.crash.outcome, way.factor, safe_factor=least)
    says = _begins(part.part, way, least, stage.setup.write) + _tale(way, stage.setup.write)
    return _finding(stage, part, way, verdict, says)


def _losses(stage: Stage, part: PartHold) -> Iterator[Finding]:
    """Warn of each loss that makes it unsafe: with it, the part would dig in below the least factor."""
    ways = part.ways.lost if part.ways else ()
    for way, lost in ((way, way.lost) for way in ways if way.lost):
        if way.crash is None:
            says = f"Where {part.part} goes {loss_words(lost)} is not known: {way.reason}."
            yield _unknown(part, says, lost)
        elif way.digs_in:
            holds = f"{part.part} holds {factor_text(way.factor)} times the cutting load. Beyond that "
            begins = holds if way.factor > 0.0 else _moves_off(part.part, way)
            says = f"{first_up(loss_words(lost))}, {begins}{_tale(way, stage.setup.write)}"
            yield _finding(stage, part, way, Verdict.CAUTION, says)


def _finding(stage: Stage, part: PartHold, way: Way, verdict: Verdict, says: str) -> Finding:
    least = _least(stage)
    return judge(
        way.factor,
        unit=TIMES,
        at_least=least,
        verdict=verdict,
        subject=_subject(part, way.lost),
        kind=_kind(way.lost),
        about=about_loss(part.part, way.lost),
        cut=part.cut,
        says=says,
        remedy="The same as for its hold." if verdict is Verdict.NO_GO and part.remedies else None,
        source=_source(part),
        shapes=stage.shapes_under(part.part),
        location_mm=way.case.at_mm,
        direction=way.motion.velocity_at(way.case.at_mm) if way.motion else None,
    )


def _begins(part: str, way: Way, least: float, write: Writing) -> str:
    """Say at what factor a part lets go, and in which case, up to how it then goes."""
    if way.factor <= 0.0:
        return _moves_off(part, way)
    case = case_words(way.case.of_cut, write)
    verb = "holds" if way.factor >= least else "lets go at"
    at = f"{factor_text(way.factor, least)} times the cutting load"
    return f"{part} {verb} {at} ({least:g} required; {case}). Beyond that "


def _moves_off(part: str, way: Way) -> str:
    """Say which body moves off before the cut begins, up to how it then goes."""
    return f"{goes_first(part, [way.motion] if way.motion else [])} {MOVES_OFF}: "


def _tale(way: Way, write: Writing) -> str:
    """Tell what happens once a part has let go: the end of a sentence, and more."""
    before = f"it comes up against {' and '.join(way.over)}, then " if way.over else ""
    goes = motion_words(way.motion, write) if way.motion else "it goes a way that was not found"
    ends, more = _of_cutter(way, way.crash, write) if isinstance(way.crash, Bitten) else _of_wheel(way, write)
    sentences = [f"{before}{goes}, {ends}.", *more]
    stopped = way.crash is not None and way.crash.outcome is Outcome.STOPPED
    if way.hits is not None and way.hits_after_mm is not None and not stopped:
        sentences.append(f"It runs into {way.hits} after {write.length(way.hits_after_mm, '.1f')}.")
    return " ".join(sentences)


def _of_wheel(way: Way, write: Writing) -> tuple[str, list[str]]:
    """Tell where a part goes that the wheel grinds, and what the wheel takes of it."""
    crash = way.crash
    if isinstance(crash, Crash) and crash.outcome is Outcome.DIGS_IN and crash.first_mm is not None:
        grown = max(crash.overlap_mm3) - crash.overlap_mm3[0]
        whom = "it" if way.bites == way.goes else way.bites
        return "into the wheel", [
            f"The wheel bites into {whom} within {write.length(crash.first_mm, '.2g')} and takes "
            f"{write.volume(grown, '.2g')} beyond its pass over {write.length(crash.moved_mm[-1], '.3g')}."
        ]
    if crash is not None and crash.outcome is Outcome.FALLS_AWAY:
        return "away from the wheel", []
    drawn = ["It is drawn through faster than the table feeds it."] if way.drawn_in else []
    return "under the wheel", ["The wheel does not cut deeper.", *drawn]


def _of_cutter(way: Way, bitten: Bitten, write: Writing) -> tuple[str, list[str]]:
    """Tell where a part goes that a cutter mills, and what a tooth bites of it."""
    if bitten.outcome is Outcome.FALLS_AWAY:
        return "away from the cutter", []
    if bitten.outcome is Outcome.STAYS:
        return "past the cutter", ["The teeth do not bite deeper."]
    whom = "" if way.bites in {way.goes, None} else f", which bites into {way.bites}"
    how = f"drawn against the feed into the cutter{whom}" if way.drawn_in else f"into the cutter{whom}"
    if way.over:
        past = over_words(way.over, tips_over=bool(way.motion and way.motion.kind.tips_over))
        how = f"{past}{',' if way.drawn_in else ''} {how}"
    cuts, load = (
        _cut_words(bitten, write),
        f"up to {write.number(bitten.load_ratio, '', '.2g')} times its load",
    )
    if bitten.outcome is Outcome.STOPPED and way.hits_after_mm is not None:
        stops = f"but {way.hits} stops it after {write.length(way.hits_after_mm, '.2g')}"
        return f"{how}, {stops}", [f"A tooth then bites {cuts}, {load}."]
    return how, [f"Within {write.length(bitten.moved_mm[-1], '.2g')} a tooth bites {cuts}, {load}."]


def _cut_words(bitten: Bitten, write: Writing) -> str:
    """Say how thick and deep a tooth bites, of the two what has grown."""
    chip, deep = bitten.chip, bitten.deepest
    said = []
    if deep.closer_mm > _SOME_MM:
        thick = write.length(chip.thick_mm + deep.closer_mm, ".2g")
        said.append(f"a chip of {thick} instead of {write.number(chip.thick_mm, 'mm', '.2g')}")
    if deep.rise_mm > _SOME_MM:
        depth = write.length(chip.deep_mm + deep.rise_mm, ".2g")
        said.append(f"{depth} deep instead of {write.number(chip.deep_mm, 'mm', '.2g')}")
    return " and ".join(said)
