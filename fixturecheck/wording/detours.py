"""How a change that lets the wheel pass is put into words."""

from __future__ import annotations

from fixturecheck.result.detour import Dodge, DodgeKind
from fixturecheck.result.shapes import Vector
from fixturecheck.units import Writing


def dodge_words(dodge: Dodge, write: Writing) -> str:
    """Return a change in words, without a capital and a full stop."""
    far = write.length(dodge.by_mm, ".2f", "up")
    along, back = _toward(dodge.direction, 1.0), _toward(dodge.direction, -1.0)
    match dodge.kind:
        case DodgeKind.LOWER:
            tall = write.length(dodge.tall_mm, ".2f", "down")
            top = write.number(dodge.to_mm, "mm", ".2f", "down")
            return f"make {dodge.body} {far} lower (at most {tall} tall here, top at Z {top})"
        case DodgeKind.MOVE:
            return f"move {dodge.body} {far} toward {along}"
        case DodgeKind.RAISE:
            return _raise_words(dodge, far)
        case DodgeKind.TRAVEL:
            where = "both ends" if dodge.both_ends else f"the {back} end"
            left = write.length(dodge.to_mm, ".2f", "down")
            return f"stop the table {far} earlier at {where} (overtravel {left} there)"
        case DodgeKind.FEED:
            step, was = (write.length(v, "g") for v in (dodge.to_mm, dodge.was_mm))
            overrun = write.length(dodge.by_mm, ".3g")
            passes = f"as many passes, and no overrun of {overrun} past the floor"
            return f"feed across by {step} a step instead of {was}: {passes}"
        case DodgeKind.SHIFT:
            key = f"{write.key('feed_shift_mm')} = {write.number(dodge.to_mm, 'mm', '.4g')}"
            return f"run over the floor {far} further toward {along} and less toward {back} ({key})"


def _raise_words(dodge: Dodge, far: str) -> str:
    *first, last = dodge.parts
    who = f"{', '.join(first)} and {last}" if first else last
    packing = "parallels or packing"
    if dodge.on_magnet:
        packing = "laminated parallels (packing of any kind weakens the magnet: check the hold again)"
    return f"set {who} {far} higher over {dodge.over}, on {packing}, or use a lower {dodge.body}"


def _toward(way: Vector, sign: float) -> str:
    """Name the axis of the machine that a direction, or the opposite one, lies along."""
    axis = max(range(3), key=lambda k: abs(way[k]))
    return f"{'+' if sign * way[axis] > 0 else '-'}{'XYZ'[axis]}"
