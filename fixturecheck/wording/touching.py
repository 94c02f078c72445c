"""How two bodies stand to each other, and what a body is free to do, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fixturecheck.result.rest import Freedom, FreedomKind
from fixturecheck.result.touching import BodyFree, BodyPair, PairState, Touching
from fixturecheck.units import Writing, axis_text
from fixturecheck.wording.groups import listed
from fixturecheck.wording.motion import freedom_words, through_text, toward

_MUCH_FURTHER = 3.0
"""Where the way out is so many times as long as the overlap is deep, a body is too large, not misplaced."""


def contact_words(pair: BodyPair, write: Writing) -> str:
    """Return over what two bodies touch: `over 400 mm2 (2 areas), along 12 mm (1 line)`."""
    told = []
    if pair.areas:
        told.append(f"over {write.area(pair.area_mm2)} ({_several(pair.areas, 'area')})")
    if pair.lines:
        told.append(f"along {write.length(pair.length_mm)} ({_several(pair.lines, 'line')})")
    if pair.points:
        told.append(f"at {_several(pair.points, 'point')}")
    return ", ".join(told)


def overlap_words(pair: BodyPair, write: Writing) -> str:
    """Return how much two bodies share, and how deep that is."""
    deep = "" if pair.depth_mm is None else f", {write.length(pair.depth_mm)} deep"
    return f"{write.volume(pair.volume_mm3)} shared{deep}"


def pair_says(pair: BodyPair, write: Writing) -> str:
    """Return the sentence about two bodies."""
    if pair.state is PairState.OVERLAP:
        why = f" The way out is not known: {pair.unknown}." if pair.unknown else ""
        return f"{pair.a} and {pair.b} overlap: {overlap_words(pair, write)}.{why}"
    if pair.unknown:
        return f"How {pair.a} and {pair.b} stand to each other could not be computed: {pair.unknown}."
    if pair.state is PairState.TOUCH:
        return f"{pair.a} touches {pair.b} {contact_words(pair, write)}."
    return f"{pair.a} clears {pair.b} by {write.length(pair.gap_mm or 0.0)}."


def parting_says(pair: BodyPair, write: Writing) -> str | None:
    """Return the move that takes two bodies out of each other; None where none was found."""
    if pair.parting_mm is None or pair.parting_way is None:
        return None
    far = write.length(pair.parting_mm, ".4g", "up")
    move = f"move {pair.a} {far} {toward(pair.parting_way)}, or {pair.b} as far the other way"
    tried = "tried on these two alone, they then only touch"
    if pair.depth_mm is not None and pair.parting_mm > _MUCH_FURTHER * pair.depth_mm:
        less = write.length(pair.depth_mm, ".4g", "up")
        return f"Take {less} off one of them where they share space. To part them instead, {move}: {tried}."
    return f"{move[:1].upper()}{move[1:]}: {tried}."


def keeps_words(free: BodyFree, write: Writing) -> str:
    """Return the motions that keep a body's contacts: `slides along X and Y, turns about Z through (...)`."""
    together: dict[tuple[FreedomKind, str], list[Freedom]] = {}
    for f in free.keeps:
        endless = f.low == -math.inf and f.high == math.inf
        same = "" if f.kind is FreedomKind.SLIDES else through_text(f.point_mm, write)
        together.setdefault((f.kind, same if endless else f"alone {len(together)}"), []).append(f)
    return ", ".join(_motion_words(several, write) for several in together.values())


def _motion_words(several: Sequence[Freedom], write: Writing) -> str:
    """Return motions of one kind, through one point where they turn, as one."""
    first, *others = several
    if not others:
        return freedom_words(first, write)
    axes = listed([axis_text(f.axis) for f in several])
    if first.kind is FreedomKind.SLIDES:
        return f"{first.kind} along {axes}"
    return f"{first.kind} about {axes} through {through_text(first.point_mm, write)}"


def leaves_words(free: BodyFree) -> str:
    """Return how a body comes away from what it touches."""
    if free.leaves:
        return f"comes away {' or '.join(toward(way) for way in free.leaves)}"
    return "does not come away" if free.shut_in else "comes away by turning only"


def free_says(free: BodyFree, write: Writing) -> str:
    """Return the sentence about what a body is free to do."""
    if free.unknown:
        return f"What {free.body} is free to do was not worked out: {free.unknown}."
    if not free.touches:
        return f"{free.body} touches nothing: all six degrees of freedom are left."
    if not free.keeps and free.shut_in:
        return f"{free.body} is fixed: it neither slides nor turns, and does not come away."
    keeps = f"{keeps_words(free, write)} and keeps its contacts" if free.keeps else "neither slides nor turns"
    return f"{free.body} {keeps}; it {leaves_words(free)}."


def touching_says(found: Touching, write: Writing) -> str:
    """Return what is so of an assembly, in one sentence or two."""
    counts = {state: len(found.in_state(state)) for state in PairState}
    overlaps = _several(counts[PairState.OVERLAP], "pair")
    lead = (
        f"{overlaps} of bodies overlap{'s' if counts[PairState.OVERLAP] == 1 else ''}: they cannot stand so."
        if counts[PairState.OVERLAP]
        else "No two bodies overlap."
    )
    clears = _several(counts[PairState.CLEAR], "pair")
    touches = _several(counts[PairState.TOUCH], "pair")
    touch = "touches" if counts[PairState.TOUCH] == 1 else "touch"
    clear = "clears" if counts[PairState.CLEAR] == 1 else "clear"
    told = f"Of {len(found.bodies)} bodies, {touches} {touch} and {clears} {clear} by"
    return f"{lead} {told} {write.length(found.within_mm)} or less."


def _several(count: int, noun: str) -> str:
    return f"{count or 'no'} {noun}{'' if count == 1 else 's'}"
