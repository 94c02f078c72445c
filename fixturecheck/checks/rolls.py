"""What is read over rolls that lie on a part's slanted faces, and do they lie on the faces.

What: for each size that is measured over rolls, the reading as drawn, how far it may go within the zones of
the faces that the rolls lie on, how far it may be off by the rolls, and whether each roll touches its faces
beside their edges and nothing else.
Why: the width of a dovetail or the depth of a V ends at corners that are broken or undercut, so no gauge
reaches it. A roll that is too large lies on an edge, one that is too small in the relief, and the reading
then says nothing of the flank.
Formulas: the middle of a roll lies r from both faces; a face that moves by w along its normal moves the
reading by w times the share that the two normals give; the line of touch lies r / tan(a / 2) from the corner.
Limits: 0.2 mm inside the edges of each face (chosen here, no source); a tenth of the reading's tolerance for
the rolls (common practice, no source).
Go: rolls of 10 mm in the corners of a dovetail slide of 60 degrees, 12 mm high: 40 + 10 (1 + cot 30) =
67.3205. No-go: rolls of 30 mm there, which lie on the upper edges.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.setup.records import OverRolls
from fixturecheck.sizes.faces import RolledSize, RollTouch, rolled_sizes
from fixturecheck.units import Writing
from fixturecheck.wording.sentences import listed
from fixturecheck.wording.settings import rolls_words

TITLE = "Sizes measured over rolls"

INSIDE_MM = 0.2
"""How far inside the edges of a face a roll touches it at least: chosen here, no source."""
_TENTH = 0.1
_CLOSED = "closed form: a cylinder that touches two planes"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the reading of each size, and whether its rolls lie where they should."""
    write = stage.setup.write
    for size in rolled_sizes(stage.setup):
        if isinstance(size, tuple):
            one, reason = size
            yield not_computed(one.name, reason, about=(one.part,), named=one.name)
            continue
        yield _reading(size, write)
        for touch in size.touches:
            yield _touch(size, touch, write)
        for number, overlap_mm3 in enumerate(size.overlap_mm3):
            yield _free(size, number, overlap_mm3, write)
        if size.off_mm is not None:
            yield _unsure(size, size.off_mm, write)


def _reading(size: RolledSize, write: Writing) -> Finding:
    one = size.stated
    how = rolls_words(len(one.lies_on), one.roll_mm, one.to, write, between=size.between)
    how += " in the corners of " + " and ".join(listed(list(faces)) for faces in one.lies_on)
    off = "no zone of its faces says how far it may go"
    if size.off_mm is not None:
        off = f"within ±{write.gap(size.off_mm * 1e3)} by the zones of its faces"
        off += f", with {listed(size.exact)} taken as drawn" if size.exact else ""
    return judge(
        size.reading_mm,
        unit="mm",
        verdict=Verdict.GO,
        subject=one.name,
        kind=Kind.OVER_ROLLS,
        about=(one.part,),
        named=one.name,
        says=f"{one.name} of {one.part}: {how} reads "
        f"{write.length(size.reading_mm, '.4f')}; {off}, and known to "
        f"±{write.gap(size.unsure_um)} by the rolls.",
        source=_CLOSED,
        location_mm=size.touches[0].at_mm,
        direction=size.touches[0].normal,
    )


def _touch(size: RolledSize, touch: RollTouch, write: Writing) -> Finding:
    roll = write.length(size.stated.roll_mm, "g")
    lies = f"touches {touch.face} {write.length(touch.inside_mm, '.2f')} inside its edges"
    if touch.inside_mm < 0.0:
        beside = write.length(-touch.inside_mm, ".2f")
        lies = f"would touch {touch.face} {beside} beside it, and so lies on an edge"
    return judge(
        touch.inside_mm,
        unit="mm",
        at_least=INSIDE_MM,
        kind=Kind.ROLL_TOUCH,
        about=(touch.face,),
        named=size.stated.name,
        says=f"The roll of {roll} {lies}.",
        remedy=_other_roll(size, write),
        source="chosen here, no source",
        location_mm=touch.at_mm,
        direction=touch.normal,
    )


def _free(size: RolledSize, number: int, overlap_mm3: float, write: Writing) -> Finding:
    faces = listed(list(size.stated.lies_on[number]))
    roll = f"The roll of {write.length(size.stated.roll_mm, 'g')} on {faces} of {size.stated.part}"
    return judge(
        overlap_mm3,
        unit="mm3",
        at_most=0.0,
        subject=size.stated.name,
        kind=Kind.ROLL_FREE,
        about=(size.stated.part,),
        named=f"{size.stated.name} {number + 1}",
        says=f"{roll} touches nothing else."
        if overlap_mm3 == 0.0
        else f"{roll} runs into the part elsewhere, and cannot lie on both.",
        remedy=_other_roll(size, write),
        source=_CLOSED,
        location_mm=size.touches[2 * number].at_mm,
        direction=size.touches[2 * number].normal,
    )


def _unsure(size: RolledSize, off_mm: float, write: Writing) -> Finding:
    one: OverRolls = size.stated
    return judge(
        size.unsure_um,
        unit="um",
        at_most=_TENTH * 2.0 * off_mm * 1e3,
        short=Verdict.CAUTION,
        subject=one.name,
        kind=Kind.ROLL_ERROR,
        about=(one.part,),
        named=one.name,
        says=f"Rolls that are known to ±{write.gap(one.roll_error_um)} make the reading of {one.name} "
        f"uncertain by ±{write.gap(size.unsure_um)}. Its whole tolerance is {write.gap(2.0 * off_mm * 1e3)}.",
        remedy="Measure the rolls themselves and state roll_error_um, or take finer ones.",
        source="a tenth of the tolerance: common practice, no source",
    )


def _other_roll(size: RolledSize, write: Writing) -> str:
    """Return which rolls touch all the faces."""
    low = max(t.rolls_mm.low + INSIDE_MM / t.moves_mm for t in size.touches)
    high = min(t.rolls_mm.high - INSIDE_MM / t.moves_mm for t in size.touches)
    if low > high:
        return "No roll lies on all its faces: measure it another way."
    ends = f"{write.length(low, '.2f', 'up')} to {write.length(high, '.2f', 'down')}"
    return f"Take rolls from {ends}, and ask again whether they touch nothing else."
