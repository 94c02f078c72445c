"""Where do the parts really come to rest, and which seats does that leave open.

What: each loose part is let go a little way off, under its weight and a light hand, and settles until
contacts hold it; the pose, the faces that carry it, every intended seat that stays open and by how much,
and whether the way of staging matters.
Why: at the machine a part goes where contact lets it. A corner without function that lands before the seat
does tilts or lifts the part, and every face ground then is out by what the seat is open.
Formula: quasi-static settling, each step a convex programme in the parts' small moves whose gaps may not
close past zero; forces are its multipliers.
Limits: a seat is closed within the touch tolerance of the set-up; a rest within the same distance however
it is staged is one rest. A face that is cut may rest off where it is drawn by half of its own zone, or by the
touch tolerance: rounds may close on their seats and still lie askew.
Go: a block slid against a stop with both seats closed. No-go: the same block with a nib that lands first.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from fixturecheck.checks.stage import Stage
from fixturecheck.errors import NotComputedError
from fixturecheck.nesting.answer import (
    StagingAnswer,
    is_flat_seat,
    rest_shapes,
    targets_off,
)
from fixturecheck.numeric import to_vector
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.rest import Ending, LoadedContact, RestPose, SeatGap
from fixturecheck.result.shapes import Vector
from fixturecheck.result.tolerance import CriticalPlace
from fixturecheck.setup.records import BodyRole
from fixturecheck.units import LARGE_UM, Writing, angle_text
from fixturecheck.wording.motion import freedom_words, hand_words, landing_words, order_words, settled_words
from fixturecheck.wording.sentences import capitalised

TITLE = "Where the parts come to rest"

_UM_DECIMALS = 3
_STIRS_MM = 1e-3
_ROUNDING_UM = 1e-3
_SOURCE = "the solids settled under the pushes that the set-up states"
_TIPS = (
    "As drawn its seats do not carry it: its weight and the pushes tip it. Close the seats that stand open "
    "as drawn, set something under what hangs over, or state what pulls it down (pull_n in [staging])."
)
_STOP = "Set a stop against the push."
_HINTS = {
    Ending.NO_PUSH: "State what seats the part: its weight, a pull or a push.",
    Ending.FALLS: "Put something under the part, or name what it is meant to lie on.",
    Ending.SLIDES: _STOP,
    Ending.JAMMED: "First cure what lands in what, or leave out one of the seats that close the part in.",
    Ending.OVERLAPS: "Draw the parts apart, or stage them in an order in which each finds room.",
}


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each part's rest, for the order of staging and for each stated press."""
    found = stage.answered
    if found is None:
        return
    settled = found.settled
    if settled.ending is Ending.NOT_CONVERGED:
        yield _no_rest(stage, found, Verdict.UNKNOWN)
    elif not settled.rests:
        yield _no_rest(stage, found, Verdict.NO_GO)
    else:
        targets = [*targets_off(found)]
        for pose in settled.poses.values():
            yield _part(stage, found, pose, targets)
        yield from _order(stage, found)
        yield from _hands(stage, found)
    for check_name, reason in found.missing:
        if check_name == "rest":
            yield not_computed("staging", NotComputedError(reason), source=_SOURCE)


def _no_rest(stage: Stage, found: StagingAnswer, verdict: Verdict) -> Finding:
    """Report parts that do not come to rest."""
    settled = found.settled
    value = settled.residual_um if verdict is Verdict.UNKNOWN and math.isfinite(settled.residual_um) else None
    says = f"Let go: {settled_words(settled, stage.setup.write)}."
    return judge(
        value,
        verdict=verdict,
        subject="staging",
        kind=Kind.OVERLAPS if settled.ending is Ending.OVERLAPS else Kind.NO_REST,
        unit="um",
        says=says,
        remedy=_STOP if settled.slides_off else _HINTS.get(settled.ending),
        source=_SOURCE,
    )


def _part(
    stage: Stage, found: StagingAnswer, pose: RestPose, targets: Sequence[tuple[CriticalPlace, float]]
) -> Finding:
    """Judge one part's rest."""
    touch_um = stage.setup.tolerances.touch_um
    seats = [s for s in found.settled.seats if s.own.body == pose.body]
    openings = {id(s): opening_um(found, s) for s in seats}
    open_seats = [s for s in seats if openings[id(s)] > touch_um]
    wrong = [] if stage.setup.body(pose.body).role != BodyRole.PART else _wrong_of(found, pose.body)
    largest = round(max(openings.values(), default=0.0), _UM_DECIMALS) + 0.0
    fixture = stage.setup.body(pose.body).role != BodyRole.PART
    off = _furthest_off(stage, targets, pose.body)
    limit = touch_um if seats else None
    if open_seats:
        verdict = Verdict.NO_GO
    elif off is not None:
        verdict, largest, limit = Verdict.NO_GO, round(off[1], _UM_DECIMALS), off[2]
    elif fixture:
        # What it touches needs no seat; but where it moves the other checks take it where it is drawn.
        verdict = Verdict.CAUTION if _stirs(pose, touch_um) else Verdict.GO
    elif wrong or not seats:
        verdict = Verdict.CAUTION
    else:
        verdict = Verdict.GO
    spot = _spot(wrong, pose)
    return judge(
        largest if math.isfinite(largest) and seats else None,
        unit="um",
        at_most=limit,
        verdict=verdict,
        kind=Kind.PLACE,
        about=(pose.body,),
        says=_says(found, pose, open_seats, (wrong, openings), stage.setup.write) + _off_words(stage, off),
        remedy="Draw it where it rests."
        if fixture and verdict is Verdict.CAUTION
        else _remedy(found, pose, wrong, open_seats, off is not None),
        source=_SOURCE,
        shapes=rest_shapes(found) if open_seats or off is not None else (),
        location_mm=spot[0],
        direction=spot[1],
    )


def _furthest_off(
    stage: Stage, targets: Sequence[tuple[CriticalPlace, float]], part: str
) -> tuple[CriticalPlace, float, float] | None:
    """Return the cut face of a part that rests too far off where it is drawn, how far, and the most, um.

    It may be off by half of its own zone, or by the touch tolerance where it states none.
    """
    worst = None
    for target, off_mm in targets:
        zone_mm = stage.setup.body(part).zone_mm(target.face) if target.face else None
        most_um = stage.setup.tolerances.touch_um if zone_mm is None else 500.0 * zone_mm
        beyond = 1e3 * off_mm - most_um
        if target.body == part and beyond > _ROUNDING_UM and (worst is None or beyond > worst[1] - worst[2]):
            worst = target, 1e3 * off_mm, most_um
    return worst


def _off_words(stage: Stage, off: tuple[CriticalPlace, float, float] | None) -> str:
    if off is None:
        return ""
    return f" {off[0].name} then lies up to {stage.setup.write.gap(off[1], '.4g')} off where it is drawn."


def _stirs(pose: RestPose, touch_um: float) -> bool:
    """Tell whether a body rests elsewhere than it is drawn."""
    return (
        float(np.linalg.norm(pose.shift_mm)) * 1e3 > touch_um or float(np.linalg.norm(pose.turn_deg)) > 1e-3
    )


def _wrong_of(found: StagingAnswer, body: str) -> list[LoadedContact]:
    """Return what holds a part that no seat states.

    Between two parts it is reported of the one that is meant to lie on the other, which is the one held off.
    """
    named = {(s.own.body, s.other.body) for s in found.settled.seats}
    mine = []
    for one in found.settled.unintended():
        pair = one.bodies
        other = pair[1] if pair[0] == body else pair[0]
        if body in pair and not ((other, body) in named and (body, other) not in named):
            mine.append(one)
    return mine


def opening_um(found: StagingAnswer, seat: SeatGap) -> float:
    """Return how far a seat stands open: the widest gap between flat faces, the least where one is curved.

    Parameters
    ----------
    found : StagingAnswer
        Where the parts rest.
    seat : SeatGap
        A seat of that answer.

    Returns
    -------
    float
        Infinite where the faces no longer look at each other.
    """
    flat = is_flat_seat(found.model, seat)
    return seat.gap_max_um if flat and math.isfinite(seat.gap_max_um) else seat.gap_min_um


def _says(
    found: StagingAnswer,
    pose: RestPose,
    open_seats: list[SeatGap],
    why: tuple[list[LoadedContact], dict[int, float]],
    write: Writing,
) -> str:
    """Tell where the part rests, what is open, what holds it and what is free."""
    wrong, openings = why
    parts = [f"{pose.body} rests {_moved_words(pose, write)}."]
    open_words = [_open_words(s, openings[id(s)], write) for s in open_seats]
    if open_words:
        parts += [f"{one}." for one in open_words]
    elif any(s.own.body == pose.body for s in found.settled.seats):
        parts.append("All its seats are closed.")
    elif found.model.setup.body(pose.body).role == BodyRole.PART:
        parts.append("No seat is stated for it.")
    if wrong:
        parts += [f"{landing_words(c, pose.body)}, which is not a stated seat." for c in wrong[:3]]
    free = [freedom_words(f, write) for f in found.settled.freedoms if f.body == pose.body]
    if free:
        parts.append(f"It is still free: it {', it '.join(free)}.")
    return " ".join(parts)


def _moved_words(pose: RestPose, write: Writing) -> str:
    """Say how far a part's rest is from where it is drawn."""
    shift, turn = np.array(pose.shift_mm), np.array(pose.turn_deg)
    words = []
    if float(np.linalg.norm(shift)) > 1e-4:
        each = [(n, v) for n, v in zip("XYZ", shift, strict=True) if abs(v) > 5e-5]
        along = ", ".join(f"{n} {write.number(v, 'mm', '+.3f')}" for n, v in each)
        words.append(f"{write.length(float(np.linalg.norm(shift)), '.3f')} off ({along})")
    if float(np.linalg.norm(turn)) > 1e-4:
        about = ", ".join(f"{n} {v:+.3f}" for n, v in zip("XYZ", turn, strict=True) if abs(v) > 5e-5)
        words.append(f"turned by {angle_text(float(np.linalg.norm(turn)), '.3f')} ({about})")
    return " and ".join(words) or "where it is drawn"


def _open_words(seat: SeatGap, opening: float, write: Writing) -> str:
    if not math.isfinite(opening):
        return f"{seat.own.face} no longer faces {seat.other}"
    if opening - seat.gap_min_um > 1.0:
        least_um = max(seat.gap_min_um, 0.0)
        least = write.gap(least_um) if opening >= LARGE_UM else write.number(least_um, "um", ".0f")
        return f"{seat.name} is open by {least} to {write.gap(opening, '.0f')}"
    return f"{seat.name} is open by {write.gap(opening, '.0f')}"


def _remedy(
    found: StagingAnswer, pose: RestPose, wrong: list[LoadedContact], open_seats: list[SeatGap], off: bool
) -> str | None:
    if open_seats and pose.body in found.tipping:
        return _TIPS
    if off and not open_seats:
        return "Bring what it lies on to where it is drawn, or draw it as it rests, to see what is then cut."
    if wrong and not open_seats:
        return f"State {wrong[0].a} and {wrong[0].b} as a seat if they are meant to meet, or relieve either."
    if wrong:
        return f"Relieve {wrong[0].a} or {wrong[0].b}; `fixturecheck relieve` works it out."
    return "Find what holds it off, or push it another way." if open_seats else None


def _spot(wrong: list[LoadedContact], pose: RestPose) -> tuple[Vector | None, Vector | None]:
    """Return where an arrow points, and which way: from what lands wrongly to where the part should be."""
    if not wrong:
        return None, None
    one = max(wrong, key=lambda c: c.force_n)
    back = -np.array(pose.shift_mm)
    length = float(np.linalg.norm(back))
    # A part that only turned has no way back along a line: out of it, at what it lands on.
    sign = 1.0 if one.a.body != pose.body else -1.0
    way = back / length if length > _STIRS_MM else sign * np.array(one.normal)
    return to_vector(np.mean(one.points_mm, axis=0)), to_vector(way)


def _order(stage: Stage, found: StagingAnswer) -> Iterator[Finding]:
    """Report whether the rest depends on how the parts were staged."""
    if found.order is None:
        return
    found_order = found.order
    tried = ", ".join(found_order.tried)
    limit = stage.setup.tolerances.touch_um
    finite = math.isfinite(found_order.spread_um)
    names = {b.name for b in stage.setup.bodies}
    yield judge(
        found_order.spread_um if finite else None,
        unit="um",
        at_most=limit if finite else None,
        verdict=Verdict.GO if found_order.fits else Verdict.CAUTION,
        subject="staging order",
        kind=Kind.ORDER,
        says=f"{capitalised(order_words(found_order, stage.setup.write), names)} (tried: {tried}).",
        remedy="Stage them in the stated order every time, or relieve what lands.",
        source=_SOURCE,
    )


def _hands(stage: Stage, found: StagingAnswer) -> Iterator[Finding]:
    """Report what each stated press does."""
    times = Counter(hand.body for hand in found.hands)
    for hand in found.hands:
        bad = Verdict.CAUTION if hand.rests else Verdict.NO_GO
        yield judge(
            float(np.linalg.norm(hand.shift_mm)),
            verdict=Verdict.GO if hand.stays else bad,
            subject=f"{hand.body} under a hand",
            kind=Kind.PRESS,
            about=(hand.body,),
            named=",".join(f"{v:g}" for v in hand.at_mm) if times[hand.body] > 1 else "",
            unit="mm",
            says=f"{hand_words(hand, stage.setup.write)}.",
            remedy=None if hand.stays else "Widen what it stands on, or press inside its supports.",
            source="friction 0.1 at the contacts, steel on steel with oil (from memory)",
        )
