"""The few lines on the hold that a toolmaker needs at the terminal."""

from __future__ import annotations

from fixturecheck.hold_result import HoldFound, PartHeld
from fixturecheck.report.hold_words import digits, factor_words, outcome_words, span, times


def hold_lines(hold: HoldFound | None, units: str) -> list[str]:
    """Return the lines of a hold, one item each, to be folded by the caller; none where it was not asked."""
    if hold is None:
        return []
    lines = [f"hold: magnet {hold.magnet}; asked {digits(hold.least_factor)} times the load"]
    lines += [f"not known, {about}: {why}" for about, why in hold.missing]
    for part in hold.parts:
        lines += _part(part, hold, units)
    if hold.leaving:
        lines.append(f"comes off in this order: {', '.join(b.body for b in hold.leaving)}")
        keeps = [b.body for b in hold.leaving if b.demagnetise]
        lines += [f"demagnetise after: {', '.join(keeps)}"] if keeps else []
    return lines + ([f"stone before the next seating: {'; '.join(hold.burrs)}"] if hold.burrs else [])


def _part(part: PartHeld, hold: HoldFound, units: str) -> list[str]:
    wall = f", push on the wall {span(part.wall_n, 'N', units)}" if any(part.wall_n) else ""
    lines = [
        f"{part.part} in {part.cut}: holds {factor_words(part, hold)} times its load; pull "
        f"{span(part.pull_n, 'N', units)}, drag {span(part.drag_n, 'N', units)}, push "
        f"{span(part.press_n, 'N', units)}{wall}"
    ]
    if part.goes:
        hits = f", then runs into {part.hits}" if part.hits else ""
        lines.append(f"least at: {part.case}; {part.goes} goes first, {outcome_words(part)}{hits}")
    if part.losses:
        left = (f"{loss.lost} {_left(loss.factor, hold)}" for loss in part.losses)
        lines.append(f"left without: {', '.join(left)}")
    return lines + [f"change: {remedy}" for remedy in part.remedies]


def _left(factor: float | None, hold: HoldFound) -> str:
    return "not known" if factor is None else times(factor, hold)
