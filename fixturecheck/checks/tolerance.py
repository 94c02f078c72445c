"""Do the seats still close, and what lands first, when every face is somewhere in its tolerance.

What: every face that states a tolerance is drawn at random within it, thousands of times with a fixed seed,
and the parts rest again each time: how often each seat closes, how often something that no seat states
carries, and how far each face that is cut is out; besides, the worst over all zones where that is known,
and the draws furthest out settled again exactly. Asked only where the set-up states its staging and faces
state tolerances.
Why: a nest that closes as drawn may not in every batch; a clearance is only one beyond the tolerances.
Formulas: near the rest, gaps are linear in moves and face errors; the rest of a draw is a linear programme.
A face's error spreads normally over its zone, a sixth of the zone being the standard deviation. For a
stack of faces the variances add.
Limits: a seat closes, and nothing else lands first, in 99.73 % of draws for go and in 95 % for caution (three
and two standard deviations; common practice, no source). A cut face is out by at most half of its own zone.
Faces shift parallel to themselves: that a face leans within its zone is not drawn. The
worst is that of all zones where no more than twelve faces vary (every corner), or the same contacts carry
throughout (the sum of every face's share); otherwise it is the furthest of the draws, and said so.
Go: a block on a table against a stop. No-go: a ledge 2 um behind its seat when both are good to 12 um.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fixturecheck.checks.stage import Stage
from fixturecheck.physics.tolerance import MOST_CORNERED
from fixturecheck.result import Finding, Verdict
from fixturecheck.settling.tolerance import Odds, SeatOdds, TargetOdds, WrongOdds

ID = "tolerance"
TITLE = "Seats and work within tolerances"

SURE, LIKELY = 0.9973, 0.95
_SHARE = "three and two standard deviations of a normal spread (common practice, no source)"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each seat, each wrong contact that may land first, and each cut face."""
    found = stage.answered
    if found is None:
        return
    for name, reason in found.missing:
        if name == ID:
            says = f"Could not be computed: {reason}"
            yield Finding(check=ID, verdict=Verdict.UNKNOWN, subject="staging", says=says, source=_SHARE)
    odds = found.odds
    if odds is None:
        return
    for seat in odds.seats:
        yield _seat(seat, odds)
    for wrong in odds.wrong:
        yield _wrong(wrong, odds)
    for target in odds.targets:
        yield _target(stage, target, odds)


def _judged(share: float) -> Verdict:
    if share >= SURE:
        return Verdict.GO
    return Verdict.CAUTION if share >= LIKELY else Verdict.NO_GO


def _seat(seat: SeatOdds, odds: Odds) -> Finding:
    """Judge how often one seat closes."""
    where = f"{seat.body}.{seat.face} on {seat.on}.{seat.on_face}"
    says = f"{where} closes in {seat.share_closed:.2%} of {odds.draws} draws"
    if seat.share_closed < 1.0:
        says += (
            f"; it is open by {seat.gap_p95_um:.1f} um in one of twenty, {seat.gap_worst_um:.1f} um "
            f"{_furthest(len(odds.faces) <= MOST_CORNERED)}"
        )
    return Finding(
        check=ID,
        verdict=_judged(seat.share_closed),
        subject=where,
        value=seat.share_closed,
        unit="share",
        limit=SURE,
        margin=seat.share_closed - SURE,
        says=says + ".",
        remedy=None
        if seat.share_closed >= SURE
        else "Relieve what lands first, or tighten the faces that decide.",
        source=_SHARE,
    )


def _wrong(wrong: WrongOdds, odds: Odds) -> Finding:
    """Judge how often faces land that no seat states."""
    return Finding(
        check=ID,
        verdict=_judged(1.0 - wrong.share_lands),
        subject=f"{wrong.a} and {wrong.b}",
        value=wrong.share_lands,
        unit="share",
        limit=1.0 - SURE,
        margin=1.0 - SURE - wrong.share_lands,
        says=f"{wrong.a} lands on {wrong.b}, which no seat states, in {wrong.share_lands:.2%} of "
        f"{odds.draws} draws.",
        remedy=None
        if wrong.share_lands <= 1.0 - SURE
        else f"Relieve {wrong.a} or {wrong.b} by the tolerances.",
        source=_SHARE,
    )


def _furthest(of_zones: bool) -> str:
    """Say of what the furthest values are: of all the zones, or of the draws alone."""
    return "at the worst corners of the zones" if of_zones else "furthest of the draws"


def _signed(value_um: float) -> str:
    """Return a signed number without a negative zero."""
    text = f"{value_um:+.1f}"
    return "0.0" if text in {"+0.0", "-0.0"} else text


def limit_um(stage: Stage, target: str) -> float | None:
    """Return half of the zone of a target face, `cut/body.face`; None where it states none."""
    body, _, face = target.split("/", 1)[1].partition(".")
    zones = stage.setup.body(body).tolerance_mm
    width = zones.get(face, zones.get("*"))
    return None if width is None else 0.5e3 * width


def _target(stage: Stage, target: TargetOdds, odds: Odds) -> Finding:
    """Judge how far one cut face is out, before the wheel has touched it."""
    worst = max(abs(v) for v in target.worst_um)
    limit = limit_um(stage, target.name)
    three = abs(target.mean_um) + 3.0 * target.sigma_um
    verdict = Verdict.GO
    if limit is not None and worst > limit:
        verdict = Verdict.NO_GO if three > limit else Verdict.CAUTION
    most = max(target.share_by_face.items(), key=lambda f: f[1], default=None)
    low, high = target.worst_um
    says = (
        f"{target.name} is out by {_signed(target.mean_um)} um on average, {target.sigma_um:.1f} um standard "
        f"deviation, {_signed(low)} to {_signed(high)} um {_furthest(target.of_zones)}"
    )
    if limit is not None:
        beyond = float(np.mean(np.abs(target.draws_um) > limit))
        says += f"; {beyond:.2%} of the draws are beyond the {limit:.1f} um that its own zone leaves"
    if most is not None and target.sigma_um > 0:
        says += f"; {most[0]} has {most[1]:.0%} of it"
    return Finding(
        check=ID,
        verdict=verdict,
        subject=target.name,
        value=worst,
        unit="um",
        limit=limit,
        margin=None if limit is None else limit - worst,
        says=says + ".",
        remedy=None
        if verdict is Verdict.GO or most is None
        else f"Tighten {most[0]} first: it has the most of it.",
        source=f"{odds.draws} draws with seed {odds.seed}, linear, within {odds.checked_um:.2g} um of "
        "an exact settling of those furthest out; faces shift parallel to themselves",
    )
