"""The few lines on the hold that a toolmaker needs at the terminal."""

from __future__ import annotations

from fixturecheck.hold_result import HoldFound, PartHeld
from fixturecheck.report.hold_words import digits, factor_words, outcome_words, span, times

_MOST_BURRS = 4


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
    return lines + _burrs(hold)


def _burrs(hold: HoldFound) -> list[str]:
    """Return the burrs to stone, the first few by name."""
    if not hold.burrs:
        return []
    rest = len(hold.burrs) - _MOST_BURRS
    more = f"; and {rest} more, listed in the report" if rest > 0 else ""
    return [f"stone before the next seating: {'; '.join(hold.burrs[:_MOST_BURRS])}{more}"]


def _part(part: PartHeld, hold: HoldFound, units: str) -> list[str]:
    pull = span(part.pull_n, "N", units) if any(part.pull_n) else "none"
    lines = [
        f"{part.part} in {part.cut}: holds {factor_words(part, hold)} times its load; pull {pull}, "
        f"{_cutting(part, units)}"
    ]
    if part.goes:
        hits = f", then runs into {part.hits}" if part.hits else ""
        lines.append(f"least at: {part.case}; {part.goes} goes first, {outcome_words(part)}{hits}")
    if part.losses:
        left = (f"{loss.lost} {_left(loss.factor, hold)}" for loss in part.losses)
        lines.append(f"left: {', '.join(left)}")
    return lines + [f"change: {remedy}" for remedy in part.remedies]


def _cutting(part: PartHeld, units: str) -> str:
    if any(part.milling_n):
        return f"milling force {span(part.milling_n, 'N', units)}"
    wall = f", push on the wall {span(part.wall_n, 'N', units)}" if any(part.wall_n) else ""
    return f"drag {span(part.drag_n, 'N', units)}, push {span(part.press_n, 'N', units)}{wall}"


def _left(factor: float | None, hold: HoldFound) -> str:
    return "not known" if factor is None else times(factor, hold)
