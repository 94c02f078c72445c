"""Where are the dials zeroed, what do they read at the targets, and does that meet the tolerance.

What: for each cut the face that the wheel's side touches and the one that its rim touches; the moves from one
to the other and down to the start; the reading, in turns and lines, at which floor and wall are met; how far
off rounding to a line, the mark of the touch, a burr and backlash leave them; passes and time.
Why: a touch-off on a radius, on a burr or on a finished face is found out when the part is measured; so is a
dial that was zeroed going one way and read going the other.
Formulas: the reading is the distance from the touched face, stock included, to the target, in lines of the
dial: n = round(d / g). A screw with play b that is turned back goes b further. Passes are the least whole
number of feeds that takes the stock; time is path over speed. Closed forms. As a second route the distance
from the touched place to the face of the part as ground is measured on the solids.
Limits: half the profile tolerance of the target (the zone lies evenly about the drawn face, ISO 1101
[@iso1101]), where one is stated. At least 1 mm of a face under the wheel (common practice, no source). Stock
of at least the depth of a mark, or a face that may be marked. The machine's least clearance, daylight and
travels. A downfeed of no less than one line.
Go: 0.2 mm of stock with lines of 0.01 mm, touched on the stock: 20 lines, at most 2 um too deep by the
mark, within a zone of 0.02 mm. No-go: the same touched on the crown of a round.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.dials.plan import Dialled, Span, dials_stated
from fixturecheck.dials.touch import LEAST_MM, Meeting, NoTouch, WhyNot
from fixturecheck.faceref import FaceRef
from fixturecheck.machining.clearance import ROUNDING_MM
from fixturecheck.result.dials import CutDials, DatumOffset, Feed, Side, TargetReading, TouchOff, Unreachable
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, meets, not_computed
from fixturecheck.setup.dials import DialKind, Handwheel
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing
from fixturecheck.wording.settings import reading_words, time_words

TITLE = "Touch-offs, readings and passes"

_TOLERANCE = "half the profile tolerance of the face (ISO 1101)"
_AGREES_MM = 1e-6
"""How far the part as ground may be from the dial: rounding of the kernel's own booleans."""


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of each cut: its touch-offs, the way, the readings, the feeds, the time."""
    for offset in stage.offsets:
        yield _reached(stage.setup, offset)
        yield _met(stage.setup, offset)
    for one in stage.dialled:
        for touch in one.tries:
            if isinstance(touch, NoTouch):
                yield _no_touch(stage.setup, one, touch)
            else:
                yield _touch(stage.setup, one, touch)
                yield _mark(stage.setup, one, touch)
        yield from _way(stage, one)
        for span in one.spans:
            yield _span(stage.setup, one, span)
        if one.found is not None:
            yield _daylight(stage.setup, one)
            for target in one.found.targets:
                yield _target(stage.setup, one, target)
            yield from _step(stage.setup, one, one.found)
            yield _time(stage.setup, one, one.found)


_STOPS = {
    Unreachable.ROUND: "has no flat face there: where it stands highest is not known to the finder",
    Unreachable.NARROW: "has a face there that is smaller than the finder's tip",
    Unreachable.BARRED: "has other bodies before it, so that there is no room",
}


def _reached(setup: Setup, offset: DatumOffset) -> Finding:
    """Tell whether the finder may touch the stop itself, or needs the block."""
    write = setup.write
    off = write.length(offset.offset_mm, "g")
    over = f"a square block of {write.length(offset.block_mm, 'g')} and " if offset.block_mm else ""
    says = f"Transfer {offset.name}: over {over}half the finder's tip of "
    says += f"{write.length(offset.radius_mm, 'g')} the axis stands {off} from {offset.stop}."
    barred = offset.unreachable is Unreachable.BARRED
    bad = offset.unreachable is not None and (barred or not offset.block_mm)
    if bad and offset.unreachable is not None:
        says = f"Transfer {offset.name}: the edge finder cannot touch {offset.stop}, which "
        says += f"{_STOPS[offset.unreachable]}."
    return judge(
        offset.offset_mm,
        unit="mm",
        verdict=Verdict.NO_GO if bad else Verdict.GO,
        subject=f"{offset.name}/{offset.stop}",
        kind=Kind.TOUCH_FACE,
        about=(offset.stop,),
        says=says,
        remedy="Clear the room before it, take a narrower block, or touch another stop."
        if barred
        else f"Hold a square block against it and touch the block ({write.key('block_mm')}): the axis then "
        f"stands the block's width and {write.length(offset.radius_mm, 'g')} from the stop.",
        source="block and half the tip, closed form",
    )


def _met(setup: Setup, offset: DatumOffset) -> Finding:
    """Hold what a transfer leaves at its target against half the tolerance."""
    write, subject = setup.write, f"{offset.name}/{offset.target}"
    far = write.length(abs(offset.set_mm), "g")
    says = f"Transfer {offset.name}: from where the finder touches it is {far} toward {offset.way} to "
    says += f"{offset.target}"
    if offset.error_mm is None:
        says += ", going the other way than the finder touched. The backlash is not stated, so where it is "
        says += f"met is not known. State {write.key('backlash_mm')} of the transfer, 0 for a read-out."
        return not_computed(subject, says, about=(offset.target,))
    says += ", backlash taken up" if offset.takes_up else ""
    says += f"; finder, block and dial leave it within ±{write.gap(offset.error_mm * 1e3)}"
    says += "." if offset.limit_mm is not None else "; no tolerance is stated for it."
    return judge(
        offset.error_mm * 1e3,
        unit="um",
        at_most=None if offset.limit_mm is None else offset.limit_mm * 1e3,
        rounding=_AGREES_MM * 1e3,
        verdict=Verdict.GO if offset.limit_mm is None else None,
        subject=subject,
        kind=Kind.FINDER,
        about=(offset.target,),
        says=says,
        remedy=_finer(setup, offset),
        source=_TOLERANCE,
    )


def _finer(setup: Setup, offset: DatumOffset) -> str | None:
    """Say what brings a transfer within its tolerance: a better block, or none where that will do."""
    one = next(t for t in setup.transfers if t.name == offset.name)
    if offset.limit_mm is None or offset.error_mm is None:
        return None
    over_mm = offset.error_mm - offset.limit_mm
    block_mm = one.block_error_mm + one.block_square_mm if offset.block_mm else 0.0
    if offset.block_mm and offset.unreachable is None and block_mm >= over_mm:
        return f"Touch {offset.stop} itself, without the block."
    if block_mm > over_mm:
        left = setup.write.gap((block_mm - over_mm) * 1e3)
        return f"Use a block that is within {left} in width and squareness together."
    return f"Set {offset.target} by an indicator on the part itself; no block is good enough for this finder."


_WHY = {
    WhyNot.NOT_FLAT: "is not flat: the wheel would touch a line of it that moves with every touch",
    WhyNot.LOOKS_AWAY: "looks another way than the wheel comes from",
}
_NEEDS = {Side.TOP: "level and looks up", Side.SIDE: "upright and looks along Y"}


def _no_touch(setup: Setup, one: Dialled, touch: NoTouch) -> Finding:
    """Tell why a face cannot be touched."""
    write, low, limit = setup.write, 0.0, None
    if touch.why is WhyNot.LEANS:
        reason, low, limit = f"leans by {write.length(touch.size_mm)} over its size", touch.size_mm, 0.0
    elif touch.why is WhyNot.NARROW:
        low, limit = touch.size_mm, LEAST_MM
        reason = f"lies under no more than {write.length(low)} of the wheel's flat"
    elif touch.why is WhyNot.BLOCKED and touch.meeting is not None:
        box_mm = touch.meeting.apart.common_mm3
        reason = (
            f"is not reached: the {touch.meeting.mover} runs into {touch.meeting.body} first "
            f"({write.volume(box_mm)} of it is in the way)"
        )
    else:
        reason = _WHY[touch.why]
    what = "rim" if touch.side is Side.TOP else "side"
    return judge(
        low if limit is not None else None,
        unit="mm",
        at_least=limit if touch.why is WhyNot.NARROW else None,
        at_most=limit if touch.why is WhyNot.LEANS else None,
        verdict=Verdict.NO_GO,
        kind=Kind.TOUCH_FACE,
        about=(touch.face,),
        cut=one.cut,
        says=f"Cut {one.cut}: the wheel's {what} cannot touch off on {touch.face}, which {reason}.",
        remedy=_instead(one, touch.face, touch.side),
        location_mm=touch.at_mm,
        direction=(0.0, 0.0, 1.0) if touch.side is Side.TOP else None,
    )


def _instead(one: Dialled, face: FaceRef, side: Side) -> str:
    key = "touch_top" if side is Side.TOP else "touch_side"
    if face in one.instead:
        return f"Touch off on {one.instead[face]}: tried, it is reached and may be marked ({key})."
    return f"Name in {key} a face that is flat, {_NEEDS[side]}, and has stock or is among may_mark."


def _touch(setup: Setup, one: Dialled, touch: TouchOff) -> Finding:
    """Tell where a face is touched, and whether a burr may lie between."""
    write, least = setup.write, min(LEAST_MM, touch.wheel_mm)
    what = "rim" if touch.side is Side.TOP else "side"
    on = f"{write.length(touch.contact_mm)} of {'its flat' if touch.side is Side.TOP else 'the flank'}"
    edge = ", over an edge of it" if touch.over_edge else ", clear of its edges"
    says = f"Cut {one.cut}: the wheel's {what} touches {touch.face} on {on}{edge}."
    remedy, verdict = None, Verdict.GO
    if touch.face in one.unstoned:
        verdict = Verdict.CAUTION
        says += f" Cut {one.unstoned[touch.face]} has left burrs on this part, and nothing is stated of them."
        remedy = (
            "Stone its edges before touching, and state burr_mm = 0 in [dials], or the height that stays."
        )
    return judge(
        touch.contact_mm,
        unit="mm",
        at_least=least,
        verdict=verdict,
        kind=Kind.TOUCH_FACE,
        about=(touch.face,),
        cut=one.cut,
        says=says,
        remedy=remedy,
        source="common practice, no source",
        location_mm=touch.at_mm,
    )


def _mark(setup: Setup, one: Dialled, touch: TouchOff) -> Finding:
    """Hold the mark of a touch against the stock that it may go into."""
    write, mark_mm = setup.write, dials_stated(setup).mark_mm
    may_mm, mark = one.marks[touch.face], write.gap(mark_mm * 1e3)
    free = math.isinf(may_mm)
    good = may_mm >= mark_mm
    if free:
        says = f"{touch.face} may be marked by the touch of cut {one.cut}."
    elif good:
        says = f"The stock of {write.length(may_mm, 'g')} on {touch.face} takes the touch's mark of {mark}."
    else:
        says = (
            f"Touching {touch.face} for cut {one.cut} leaves a mark {mark} deep in a face that has "
            f"{write.length(may_mm, 'g')} of stock."
        )
    return judge(
        mark_mm * 1e3,
        unit="um",
        at_most=None if free else may_mm * 1e3,
        verdict=Verdict.GO if good else Verdict.NO_GO,
        kind=Kind.TOUCH_MARK,
        about=(touch.face,),
        cut=one.cut,
        says=says,
        remedy=f"{_instead(one, touch.face, touch.side)} Or list {touch.face} in may_mark, where a mark does "
        "not matter.",
        location_mm=touch.at_mm,
    )


def _way(stage: Stage, one: Dialled) -> Iterator[Finding]:
    """Judge the moves between the touches, and to where the cut starts."""
    setup = stage.setup
    least_mm, write = setup.machine.least_clearance_mm, setup.write
    worst: dict[tuple[str, str], Meeting] = {}
    for m in sorted(one.meetings, key=lambda m: (-m.apart.common_mm3, m.apart.distance_mm)):
        worst.setdefault((str(m.mover), m.body), m)
    for (mover, body), m in sorted(worst.items()):
        hits = m.apart.common_mm3 > setup.tolerances.overlap_mm3
        hits = hits or m.apart.distance_mm <= setup.tolerances.touch_mm
        how = "runs into" if hits else f"passes within {write.length(m.apart.distance_mm)} of"
        yield judge(
            m.apart.distance_mm,
            unit="mm",
            at_least=least_mm,
            verdict=Verdict.NO_GO if hits else Verdict.CAUTION,
            kind=Kind.DIAL_WAY,
            about=(body,),
            cut=one.cut,
            says=f"On the way from touch to touch for cut {one.cut}, going straight up and down, the {mover} "
            f"{how} {body}.",
            remedy=f"Touch off where {body} is not beside the wheel, or take {body} away until the dials are "
            "set.",
            source="machine.least_clearance_mm; common practice, no source",
            location_mm=m.apart.on_b,
        )
    if one.found is not None and not worst:
        yield judge(
            least_mm,
            unit="mm",
            at_least=least_mm,
            verdict=Verdict.GO,
            kind=Kind.DIAL_WAY,
            cut=one.cut,
            says=f"From touch to touch and to the start of cut {one.cut} nothing comes nearer than "
            f"{write.length(least_mm, 'g')} to wheel, flange or guard.",
            source="machine.least_clearance_mm; common practice, no source",
        )


def _span(setup: Setup, one: Dialled, span: Span) -> Finding:
    """Hold what a feed needs against its travel."""
    write = setup.write
    over_mm = span.needed_mm - span.has_mm
    lower = _lift_less(setup, over_mm) if span.feed is Feed.DOWN else None
    needed, has = write.length(span.needed_mm), write.length(span.has_mm, "g")
    says = f"Setting the dials of cut {one.cut} takes {needed} of {span.feed}; the machine has {has}."
    if over_mm > 0.0:
        says = f"The {span.feed} runs past its travel: the dials of cut {one.cut} take {needed}, and it has "
        says += f"{has}."
    return judge(
        span.needed_mm,
        unit="mm",
        at_most=span.has_mm,
        subject=f"{one.cut}/{span.feed}",
        kind=Kind.DIAL_TRAVEL,
        cut=one.cut,
        says=says,
        remedy=lower or f"Touch off nearer to the target, by {write.length(over_mm, '.2f', 'up')}.",
        source="travels stated for the machine",
    )


def _lift_less(setup: Setup, over_mm: float) -> str | None:
    """Return how far the wheel may be lifted on its way where that cures it; None where it does not."""
    left_mm = dials_stated(setup).lift_mm - over_mm
    if left_mm < setup.machine.least_clearance_mm:
        return None
    return f"Lift no more than {setup.write.length(left_mm, '.2f', 'down')} (lift_mm)."


def _daylight(setup: Setup, one: Dialled) -> Finding:
    """Hold the height that the wheel is lifted to against the daylight."""
    write, has_mm = setup.write, setup.machine.daylight_mm
    needed_mm = one.lifted_z_mm - setup.table_z_mm
    lift_mm = dials_stated(setup).lift_mm
    return judge(
        needed_mm,
        unit="mm",
        at_most=has_mm,
        rounding=ROUNDING_MM,
        kind=Kind.DIAL_DAYLIGHT,
        cut=one.cut,
        says=f"Lifted {write.length(lift_mm, 'g')} over everything for cut {one.cut}, the wheel stands "
        f"{write.length(needed_mm)} above the table; the machine has {write.length(has_mm, 'g')}.",
        remedy=_lift_less(setup, needed_mm - has_mm)
        or "Take what stands highest away until the dials are set, or mount a smaller wheel.",
        source="daylight stated for the machine",
    )


def _target(setup: Setup, one: Dialled, target: TargetReading) -> Finding:
    """Hold how far a target may come out against half its tolerance."""
    write, read = setup.write, reading_words(target.reading, setup.write)
    subject = f"{one.cut}/{target.face}"
    if target.measured_mm is None:
        says = f"{target.face} is met at {read}, but the part as ground has no face there to measure it on."
        return not_computed(subject, says, about=(target.face,), cut=one.cut)
    if abs(target.measured_mm - target.dialled_mm) > setup.tolerances.touch_mm:
        says = (
            f"The dial says that {target.face} lies {write.length(target.dialled_mm)} from the touch; on the "
            f"part as ground it is {write.length(target.measured_mm)}. One of them is wrong."
        )
        return not_computed(subject, says, about=(target.face,), cut=one.cut)
    if target.low_mm is None or target.high_mm is None:
        says = (
            f"{target.face} is met going the other way than when the {target.reading.feed} was zeroed, and "
            "its backlash is not stated, so where it is met is not known. State backlash_mm in "
            "[machine.cross_feed], or touch a face from the side of the wall."
        )
        return not_computed(subject, says, about=(target.face,), cut=one.cut)
    worst_mm = max(target.low_mm, target.high_mm, key=abs)
    says = f"{target.face} is met at {read}. By dial and touch it comes out {_out(target, write)}"
    says += "." if target.limit_mm is not None else "; no tolerance is stated for it."
    if target.takes_up:
        says += " The zero was set going the other way: the reading takes up the backlash."
    return judge(
        abs(worst_mm) * 1e3,
        unit="um",
        at_most=None if target.limit_mm is None else target.limit_mm * 1e3,
        rounding=_AGREES_MM * 1e3,
        verdict=Verdict.GO if target.limit_mm is None else None,
        subject=subject,
        kind=Kind.READING,
        about=(target.face,),
        cut=one.cut,
        says=says,
        remedy=_nearer_target(setup, target, worst_mm),
        source=_TOLERANCE,
    )


def _out(target: TargetReading, write: Writing) -> str:
    low, high = target.low_mm or 0.0, target.high_mm or 0.0
    deep, proud = (write.gap(v * 1e3) for v in (max(-low, 0.0), max(high, 0.0)))
    if low >= 0:
        return f"up to {proud} proud"
    return f"up to {deep} too deep" if high <= 0 else f"between {deep} too deep and {proud} proud"


def _nearer_target(setup: Setup, target: TargetReading, worst_mm: float) -> str | None:
    """Say what would bring a target within its tolerance, the least change first."""
    limit_mm, dials, write = target.limit_mm, dials_stated(setup), setup.write
    if limit_mm is None or target.low_mm is None or target.high_mm is None:
        return None
    too_deep = worst_mm < 0
    share_mm = dials.mark_mm if too_deep else dials.burr_mm
    left_mm = share_mm - (abs(worst_mm) - limit_mm)
    if left_mm > 0 and share_mm > 0:
        how = (
            "Touch so lightly that the mark is no deeper than" if too_deep else "Stone the burrs to less than"
        )
        return f"{how} {write.gap(left_mm * 1e3)}."
    short_mm = (target.reading.graduation_mm or 0.0) + share_mm
    return (
        f"Stop {write.length(max(short_mm, abs(worst_mm)), '.3g', 'up')} before the reading, measure "
        f"{target.face}, and grind off what is left by the measure."
    )


def _step(setup: Setup, one: Dialled, found: CutDials) -> Iterator[Finding]:
    """Hold the feed of one pass against the least step that its dial can be set by."""
    dials, machine = dials_stated(setup), setup.machine
    cut = next(c for c in setup.cuts if c.name == one.cut)
    down, across = machine.downfeed, machine.cross_feed
    if down is not None and cut.stock_mm > 0:
        yield _one_step(setup, one, (Feed.DOWN, down), "downfeed_mm", cut.downfeed_mm)
        if found.passes.finish and dials.finish_downfeed_mm is not None:
            key, feed_mm = "finish_downfeed_mm", dials.finish_downfeed_mm
            yield _one_step(setup, one, (Feed.DOWN, down), key, feed_mm)
    if across is not None and found.passes.wall:
        feed_mm = cut.wall_stock_mm / found.passes.wall if cut.wall_feed_mm is None else cut.wall_feed_mm
        yield _one_step(setup, one, (Feed.CROSS, across), "wall_feed_mm", feed_mm)


def _one_step(setup: Setup, one: Dialled, fed: tuple[Feed, Handwheel], key: str, feed_mm: float) -> Finding:
    """Judge the feed of one pass of one sort."""
    feed, wheel = fed
    write, line_mm = setup.write, wheel.graduation_mm
    what = "digit" if wheel.reads == DialKind.READOUT else "line"
    good = meets(feed_mm, at_least=line_mm, rounding=ROUNDING_MM)
    says = f"One pass of cut {one.cut} feeds {write.length(feed_mm, 'g')} by the {feed}; one {what} is "
    says += f"{write.length(line_mm, 'g')}."
    if not good:
        says += " Such a pass cannot be set, and the hold was worked out for a finer one than is fed."
    return judge(
        feed_mm,
        unit="mm",
        at_least=line_mm,
        rounding=ROUNDING_MM,
        subject=f"{one.cut}/{feed}",
        kind=Kind.LEAST_STEP,
        cut=one.cut,
        says=says,
        remedy=f"State {write.key(key)} as {write.length(line_mm, 'g')} and look at the hold again, or use a "
        "finer dial.",
        source="dial stated for the machine",
    )


def _time(setup: Setup, one: Dialled, found: CutDials) -> Finding:
    """Tell passes and time."""
    p, write = found.passes, setup.write
    kinds = (
        (p.rough, "rough"),
        (p.finish, "finishing"),
        (p.wall, "into the wall"),
        (p.spark_out, "to spark out"),
    )
    counted = ", ".join(f"{count} {what}" for count, what in kinds if count) or "no passes"
    parts = len(next(c for c in setup.cuts if c.name == one.cut).parts)
    each = f", {time_words(p.part_min)} a part" if parts > 1 else ""
    strokes = "1 stroke" if p.strokes == 1 else f"{p.strokes} strokes"
    return judge(
        p.batch_min,
        verdict=Verdict.GO,
        kind=Kind.BATCH_TIME,
        unit="min",
        cut=one.cut,
        says=f"Cut {one.cut}: passes {counted}; each pass down is {strokes} of "
        f"{write.length(p.stroke_mm)}. With touching off and changing a batch takes "
        f"{time_words(p.batch_min)}{each}.",
        source="path over speed, closed form",
    )
