"""The few lines on the hold that a toolmaker needs at the terminal."""

from __future__ import annotations

from fixturecheck.hold_result import HoldFound, MagnetState, PartHeld
from fixturecheck.units import Writing
from fixturecheck.wording.hold import (
    amount,
    digits,
    factor_words,
    friction_words,
    kept_lines,
    loss_words,
    magnet_words,
    outcome_words,
    span,
    times,
    tools_of,
)

_MOST_BURRS = 4
_MOST_STEPS = 6

_CAUTION = (
    "at the machine: worked out, not measured; {magnet}tug every part before the {tools} turns, guard shut, "
    "eye protection on{clear}; local rules and trained people decide"
)


def hold_lines(hold: HoldFound | None, units: str) -> list[str]:
    """Return the lines of a hold, one item each, to be folded by the caller; none where it was not asked."""
    if hold is None:
        return []
    asked = f"asked {digits(hold.least_factor)} times the load"
    magnet = magnet_words(hold.magnet, Writing(units=units))
    lines = [f"hold: magnet {magnet}; {asked}; {friction_words(hold.friction)}"]
    lines += [f"not known, {about}: {why}" for about, why in hold.missing]
    for part in hold.parts:
        lines += _part(part, hold, units)
    lines += kept_lines(hold)
    tools = tools_of(hold)
    clear = ", hands off a turning cutter" if hold.mills else ""
    warns = "" if hold.magnet.state is MagnetState.OFF else "never trust a magnet alone, "
    return lines + _leaving(hold) + _burrs(hold) + [_CAUTION.format(tools=tools, clear=clear, magnet=warns)]


def _leaving(hold: HoldFound) -> list[str]:
    """Return how it comes apart: each body's way where they are few, else the order alone."""
    if not hold.leaving:
        return []
    keeps = [b.body for b in hold.leaving if b.demagnetise]
    again = "demagnetise before lifting, and again before the next seating"
    lines = [f"to take it apart: {hold.before[:1].lower()}{hold.before[1:]}"] if hold.before else []
    if len(hold.leaving) > _MOST_STEPS:
        lines.append(f"comes off in this order: {', '.join(b.body for b in hold.leaving)}")
    else:
        lines += [
            f"{number}. {b.body}: {b.ways[0] if b.ways else 'no way off was found'}"
            for number, b in enumerate(hold.leaving, start=1)
        ]
    return lines + ([f"{again}: {', '.join(keeps)}"] if keeps else [])


def _burrs(hold: HoldFound) -> list[str]:
    """Return the burrs to stone, the first few by name."""
    if not hold.burrs:
        return []
    rest = len(hold.burrs) - _MOST_BURRS
    more = f"; and {rest} more, listed in the report" if rest > 0 else ""
    return [f"stone these edges before the next seating: {'; '.join(hold.burrs[:_MOST_BURRS])}{more}"]


def _part(part: PartHeld, hold: HoldFound, units: str) -> list[str]:
    pull = span(part.pull_n, "N", units) if any(part.pull_n) else "none"
    lines = [
        f"{part.part} in {part.cut}: holds {factor_words(part, hold)} times its load; pull onto its seats "
        f"{pull}, "
        f"{_cutting(part, units)}"
    ]
    if part.goes:
        hits = f", then runs into {part.hits}" if part.hits else ""
        lines.append(f"least at: {part.case}; {part.goes} goes first, {outcome_words(part)}{hits}")
    if part.losses:
        left = (f"{_left(loss.factor, hold)} {loss_words(loss.lost)}" for loss in part.losses)
        lines.append(f"what is left: {', '.join(left)}")
    return lines


def _cutting(part: PartHeld, units: str) -> str:
    if any(part.milling_n):
        return f"cutting force along the teeth {span(part.milling_n, 'N', units)}"
    wall = f", push on the wall {span(part.wall_n, 'N', units)}" if any(part.wall_n) else ""
    across = f", across up to {amount(part.cross_n[1], 'N', units)} either way" if any(part.cross_n) else ""
    return f"drag {span(part.drag_n, 'N', units)}, push {span(part.press_n, 'N', units)}{wall}{across}"


def _left(factor: float | None, hold: HoldFound) -> str:
    return "not known" if factor is None else times(factor, hold)
