"""Do the seats still close, and what lands first, when every face is somewhere in its tolerance.

What: every face that states a tolerance is drawn at random within it, thousands of times with a fixed seed,
and the parts rest again each time: how often each seat closes, how often something that no seat states
carries, and how far each face that is cut is out, at its middle and its corners; besides, the worst over all
zones, and the draws furthest out settled again exactly. Asked only where the set-up states its staging and
faces state tolerances.
Why: a nest that closes as drawn may not in every batch; a clearance is only one beyond the tolerances; a seat
that leans a little puts what stands far from it out by more.
Formulas: near the rest, gaps are linear in moves and face errors; the rest of a draw is a linear programme.
A flat face is any plane that keeps its corners inside its profile zone: it shifts and leans, the lean by no
more than an orientation tolerance where one is stated. The shift of its middle spreads normally, a sixth of
the zone being the standard deviation; so does the lean within what the shift leaves, its direction even
(chosen here, no source). A curved face changes size. For a stack of faces the variances add. The worst is
exact, over every set of contacts that may carry anywhere in the zones; where there are too many, or somewhere
in the zones the seats contradict each other, it is the furthest that was found, from the draws furthest out
to the vertices of the zones that they point to, and said so.
Limits: a seat closes, and nothing else lands first, in 99.73 % of draws for go and in 95 % for caution (three
and two standard deviations; common practice, no source). A cut face is out by at most half of its own zone,
at its middle and at each of its corners; caution where no more than 0.27 % of the draws go beyond. Caution,
too, where that is not proven: the face has no zone, its worst is only the furthest that was found, the linear
answer is off an exact settling by more than the zone leaves, or draws settled exactly did not come to rest.
Go: a block on a table against a stop. No-go: a ledge 2 um behind its seat when both are good to 12 um.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.nesting.answer import targets_off
from fixturecheck.nesting.model import SURE
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.tolerance import Chances, SeatChance, TargetSpread, WrongChance
from fixturecheck.setup.records import BodyRole
from fixturecheck.units import Writing, percent
from fixturecheck.wording.motion import drawn_faces_words, settled_draws_words

TITLE = "Seats and work within tolerances"

LIKELY = 0.95
_TOLD_UM, _SHARE_TOLD = 0.05, 0.005
_ROUNDING_UM = 1e-6
"""A worst case beyond the limit by no more than this is at the limit."""

_EXACT = "draws furthest out, settled again exactly"
_SHARE = "three and two standard deviations of a normal spread (common practice, no source)"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each seat, each wrong contact that may land first, and each cut face."""
    found = stage.answered
    if found is None:
        return
    for name, reason in found.missing:
        if name == "tolerance":
            yield not_computed("staging", NotComputedError(reason), source=_SHARE)
    chances = found.chances
    if chances is None:
        return
    for seat in chances.seats:
        yield _seat(seat, chances, stage.setup.write)
    for name in chances.closed_in:
        yield judge(
            None,
            verdict=Verdict.GO,
            kind=Kind.CLOSED_IN,
            named=name,
            says=f"{name} is taken as set against the parts last, wherever they come to rest in a draw.",
            source=_SHARE,
        )
    yield from _barred(stage, chances)
    for wrong in chances.wrong:
        yield _wrong(wrong, chances)
    off_mm = {place.name: by_mm for place, by_mm in targets_off(found)}
    for target in chances.targets:
        yield _target(stage, target, chances, off_mm.get(target.place.name, 0.0))
    yield from _exactly(stage, chances)
    if chances.contradict:
        yield judge(
            None,
            verdict=Verdict.CAUTION,
            subject="zones",
            kind=Kind.ZONES,
            says="Somewhere in the zones the parts do not fit between their seats, though in none of "
            f"{chances.draws} draws.",
            remedy="Leave more room than the zones of the faces on either side add up to.",
            source=_SHARE,
        )


def _exactly(stage: Stage, chances: Chances) -> Iterator[Finding]:
    """Warn where draws settled exactly did not rest, or rest elsewhere than the linear answer says."""
    if chances.unsettled:
        yield judge(
            float(chances.unsettled),
            unit="draws",
            at_most=0.0,
            verdict=Verdict.CAUTION,
            subject="draws",
            kind=Kind.NOT_SETTLED,
            says=f"Of the draws furthest out {chances.unsettled} did not come to rest when settled exactly: "
            "what happens there is not known.",
            source=_EXACT,
        )
    touch_um, write = stage.setup.tolerances.touch_um, stage.setup.write
    if chances.checked_um > touch_um:
        yield judge(
            chances.checked_um,
            unit="um",
            at_most=touch_um,
            verdict=Verdict.CAUTION,
            subject="draws",
            kind=Kind.NOT_LINEAR,
            says=f"The linear answer is {write.gap(chances.checked_um, '.2g')} off an exact settling of "
            f"{settled_draws_words(chances.unsettled)}, "
            f"more than the {write.gap(touch_um, '.2g')} within which a seat counts as "
            "closed: shares of draws are not exact.",
            remedy="Narrow the zones that lean most, or judge the worst draws by hand.",
            source=_EXACT,
        )


def _barred(stage: Stage, chances: Chances) -> Iterator[Finding]:
    """Judge how often the parts do not go in between the fixtures on either side."""
    share = sum(one.share for one in chances.barred)
    if share == 0.0:
        return
    first = chances.barred[0]
    fixture = next((n for n in (first.a, first.b) if _is_fixture(stage, n)), first.b)
    yield judge(
        share,
        unit="share",
        at_most=1.0 - SURE,
        verdict=_judged(1.0 - share),
        subject=" and ".join((first.a, first.b)),
        kind=Kind.DOES_NOT_GO_IN,
        about=(first.a, first.b),
        says=f"The parts do not go in between the fixtures in {percent(share)} of "
        f"{chances.draws} draws: {first.a} meets {first.b} before the seats close. The other answers are "
        "of the draws in which they go in.",
        remedy=f"Leave more room at {fixture} than the zones of the faces in the row add up to, or set it up "
        "last, against the parts.",
        source=_SHARE,
    )


def _is_fixture(stage: Stage, face: str) -> bool:
    return stage.setup.body(FaceRef(face).body).role == BodyRole.FIXTURE


def _judged(share: float) -> Verdict:
    if share >= SURE:
        return Verdict.GO
    return Verdict.CAUTION if share >= LIKELY else Verdict.NO_GO


def _seat(seat: SeatChance, chances: Chances, write: Writing) -> Finding:
    """Judge how often one seat closes."""
    says = f"{seat.seat} closes in {percent(seat.share_closed)} of {chances.draws} draws"
    if not math.isfinite(seat.gap_worst_um):
        says += ". Where the parts rest its faces are nowhere near each other"
    elif seat.share_closed < 1.0:
        says += (
            f". It is open by {write.gap(seat.gap_p95_um, '.1f')} in one draw of twenty, and by "
            f"{write.gap(seat.gap_worst_um, '.1f')} {_furthest(seat.of_zones)}"
        )
    return judge(
        seat.share_closed,
        unit="share",
        at_least=SURE,
        verdict=_judged(seat.share_closed),
        subject=seat.seat,
        kind=Kind.SEAT,
        about=(seat.own, seat.other),
        says=says + ".",
        remedy=None
        if seat.share_closed >= SURE
        else "Relieve what lands first, or tighten the faces that decide.",
        source=_SHARE,
    )


def _wrong(wrong: WrongChance, chances: Chances) -> Finding:
    """Judge how often faces land that no seat states."""
    return judge(
        wrong.share_lands,
        unit="share",
        at_most=1.0 - SURE,
        verdict=_judged(1.0 - wrong.share_lands),
        subject=f"{wrong.a} and {wrong.b}",
        kind=Kind.LANDS_FIRST,
        about=(wrong.a, wrong.b),
        says=f"{wrong.a} lands on {wrong.b}, which is not a stated seat, in {percent(wrong.share_lands)} of "
        f"{chances.draws} draws.",
        remedy=None
        if wrong.share_lands <= 1.0 - SURE
        else f"Relieve {wrong.a} or {wrong.b} by the tolerances.",
        source=_SHARE,
    )


def _furthest(of_zones: bool) -> str:
    """Say of what the furthest values are: of all the zones, or only of what was found in them."""
    return "at the worst of all zones" if of_zones else "at the worst that was found"


def _signed(value_um: float, write: Writing) -> str:
    """Return a signed number without a negative zero."""
    text = write.number(value_um, "um", "+.1f")
    return "0" if not text.strip("+-0.") else text


def _target(stage: Stage, target: TargetSpread, chances: Chances, rests_off_mm: float) -> Finding:
    """Judge how far one cut face is out, before the wheel has touched it."""
    # From where it hardly rests off, nothing is added.
    off_um = 1e3 * rests_off_mm if 1e3 * rests_off_mm > stage.setup.tolerances.touch_um else 0.0
    verdict, doubt = _proven(target, chances, off_um)
    return judge(
        target.worst_um + off_um,
        unit="um",
        at_most=target.limit_um,
        verdict=verdict,
        subject=target.place.name,
        kind=Kind.WORK,
        about=(target.place.ref,),
        cut=target.place.cut,
        says=". ".join(_target_words(target, stage.setup.write)) + f".{doubt}{_off_words(stage, off_um)}",
        remedy=_FIRST_REST if off_um else _target_remedy(target, verdict),
        source=f"{chances.draws} draws with seed {chances.seed}, linear, within "
        f"{stage.setup.write.gap(chances.checked_um, '.2g')} of an exact settling of "
        f"{settled_draws_words(chances.unsettled)}; "
        f"{drawn_faces_words(len(chances.faces), chances.leaning)}",
    )


_FIRST_REST = "First mend what `rest` says of the part."


def _off_words(stage: Stage, off_um: float) -> str:
    if not off_um:
        return ""
    gap = stage.setup.write.gap(off_um, ".1f")
    return f" All this is from where the part rests, where the face is already {gap} off where it is drawn."


def _proven(target: TargetSpread, chances: Chances, off_um: float) -> tuple[Verdict, str]:
    """Return what a cut face counts as, and which share of that is not proven, in words."""
    limit, worst = target.limit_um, target.worst_um + off_um
    if limit is None:
        return Verdict.CAUTION, " It has no zone of its own, so nothing says how far it may be out."
    if off_um and worst > limit + _ROUNDING_UM:
        return Verdict.NO_GO if off_um > limit else Verdict.CAUTION, ""
    if worst > limit + _ROUNDING_UM:
        return Verdict.NO_GO if target.share_beyond > 1.0 - SURE else Verdict.CAUTION, ""
    if not target.of_zones:
        return Verdict.CAUTION, " The worst that was found proves nothing about what was not tried."
    if worst + chances.checked_um > limit + _TOLD_UM:
        return (
            Verdict.CAUTION,
            " An exact settling differs from the linear answer by more than the zone leaves.",
        )
    return Verdict.GO, ""


def _target_remedy(target: TargetSpread, verdict: Verdict) -> str | None:
    """Say what to do about a cut face."""
    if target.limit_um is None:
        face = target.place.ref.face
        return f"State the zone of the face, tolerance_mm = {{ {face} = ... }} on its body."
    if verdict is Verdict.GO or (most := _most(target)) is None:
        return None
    face, share, leans = most
    if leans > 0.5 * share:
        return f"Hold {face} closer first, in its orientation: it causes most of the spread, by leaning."
    return f"Tighten {face} first: it causes most of the spread."


def _most(target: TargetSpread) -> tuple[str, float, float] | None:
    """Return the face that causes most of the spread, its share, and how much of that comes from leaning."""
    face, share = max(target.share_by_face, key=lambda f: f[1], default=("", 0.0))
    return (face, share, dict(target.lean_by_face)[face]) if face else None


def _target_words(target: TargetSpread, write: Writing) -> Iterator[str]:
    """Yield what is said of a cut face."""
    low, high = (_signed(v, write) for v in (target.low_um, target.high_um))
    middle, um = "its middle" if target.corners else "it", write.name("um")
    yield (
        f"{target.place.name} is out by {low} to {high} {um} {_furthest(target.of_zones)}. On average "
        f"{middle} is out by {_signed(target.mean_um, write)} {um}, with a standard deviation of "
        f"{write.gap(target.sigma_um, '.1f')}"
    )
    if target.lean_worst_um >= _TOLD_UM:
        yield (
            f"One end is {write.gap(target.lean_p95_um, '.1f')} further out than the other in one draw of "
            f"twenty, and {write.gap(target.lean_worst_um, '.1f')} {_furthest(target.of_zones)}"
        )
    if target.limit_um is not None:
        where = ", there or at a corner" if target.corners else ""
        zone = write.gap(target.limit_um, ".1f")
        yield f"{target.share_beyond:.2%} of the draws are beyond the {zone} that its own zone leaves{where}"
    if (most := _most(target)) is not None and target.sigma_um > _TOLD_UM:
        face, share, leans = most
        by_leaning = f", {leans:.0%} by leaning" if leans >= _SHARE_TOLD else ""
        yield f"{face} causes {share:.0%} of the spread{by_leaning}"
