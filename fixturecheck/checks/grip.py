"""How much of a vise's grip each cut takes: what it pushes a part away from the jaw that stands.

The screw pushes as hard as before, so a cut that pushes the part against the moving jaw leaves the fixed jaw
so much less. Along the jaws and upward the grip is asked by the factor of the hold.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.holding.model import PartHold
from fixturecheck.result.finding import Finding, Kind, Verdict, judge
from fixturecheck.units import percent

MOST_LOST = 0.5
"""Of the grip: common practice, no source."""
_SOURCE = "closed form: what the cut pushes along the screw over the least force of the screw; half of it is \
common practice, no source"


def grip_lost(stage: Stage, part: PartHold, check: str) -> Iterator[Finding]:
    """Yield a finding for each vise that grips a part, over every place of one cut.

    Parameters
    ----------
    stage : Stage
        The set-up.
    part : PartHold
        The part in the cut.
    check : str
        The check that asks.

    Yields
    ------
    Finding
        How much of the grip is lost.
    """
    write = stage.setup.write
    for opened in part.opened:
        share = opened.push_n / opened.grip_n
        says = f"{part.cut} pushes {part.part} with up to {write.force(opened.push_n)} against {opened.jaw}, "
        says += f"which presses with {write.force(opened.grip_n)} at least: {percent(share)} of the grip on "
        says += "the other side is lost."
        needed = write.force(opened.push_n / MOST_LOST, toward="up")
        yield judge(
            share,
            unit="share",
            at_most=MOST_LOST,
            short=Verdict.NO_GO if share >= 1.0 else Verdict.CAUTION,
            check=check,
            subject=f"{part.part} in {part.cut}, {opened.jaw}",
            kind=Kind.GRIP_LOST,
            about=(part.part, opened.jaw),
            cut=part.cut,
            says=says,
            remedy=f"Press with at least {needed}, turn the part so that the cut pushes it against the fixed "
            "jaw, or take less at a time.",
            source=_SOURCE,
        )
