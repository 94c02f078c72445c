"""How a motion is written, how a part lets go, where parts rest, and how bodies of an assembly stand.

Words follow the surface grinder: X is the traverse of the table (right is +X), Y the cross feed (the column
is at +Y), Z is up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from fixturecheck.arrays import Floats
from fixturecheck.result.hold import BodyMotion, LetsGo, MotionKind
from fixturecheck.result.rest import (
    BodyFree,
    BodyPair,
    Ending,
    Freedom,
    FreedomKind,
    LoadedContact,
    NoPlace,
    OrderOutcome,
    PairState,
    Settled,
    Touching,
    UnderHand,
)
from fixturecheck.result.shapes import Vector
from fixturecheck.units import Writing, angle_text, axis_text, factor_text
from fixturecheck.wording.sentences import first_up, listed, plural

MOVES_OFF = "moves off before the cut begins, under weight, magnet and clamps alone"
_AXES = "XYZ"
_LEFT_OUT_SHARE = 0.33
_NIL_MM = 0.05
_SAME_WAY = 1.0 - 1e-9
_WAYS = (("to the left", "to the right"), ("toward the operator", "toward the column"), ("down", "up"))


def motion_words(motion: BodyMotion, write: Writing) -> str:
    """Return how one body moves: `part slides to the right`.

    Parameters
    ----------
    motion : BodyMotion
        One without an axis is a straight motion.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if motion.axis is None or motion.axis_mm is None:
        straight = motion.kind in {MotionKind.LIFTS, MotionKind.DROPS}
        return f"{motion.body} {motion.kind}{'' if straight else ' ' + direction_words(motion.velocity)}"
    way = _turning_words(motion.axis, upright=motion.kind.upright)
    return f"{motion.body} {motion.kind} {way}{_place(motion, motion.axis_mm, motion.axis, write)}"


def direction_words(direction: Vector) -> str:
    """Return a direction in words, such as `to the right and up`; parts under a third are left out.

    Parameters
    ----------
    direction : Vector
        In the machine's frame, of any length.

    Returns
    -------
    str
        Empty for no direction.
    """
    size = math.hypot(*direction)
    parts = [part / size if size > 0.0 else 0.0 for part in direction]
    said = [
        pair[int(part > 0.0)] for pair, part in zip(_WAYS, parts, strict=True) if abs(part) > _LEFT_OUT_SHARE
    ]
    return " and ".join(said)


def toward(direction: Sequence[float] | Floats) -> str:
    """Return a direction in words: `toward -X` along an axis, else with its three parts.

    Parameters
    ----------
    direction : sequence of float or ndarray, shape (3,)
        Of any length but zero.
    """
    size = math.hypot(*direction)
    way = [float(part) / size for part in direction]
    k = max(range(3), key=lambda i: abs(way[i]))
    if abs(way[k]) > _SAME_WAY:
        return f"toward {'+' if way[k] > 0 else '-'}{_AXES[k]}"
    return f"along ({', '.join(f'{round(v, 3) + 0.0:.3g}' for v in way)})"


def freedom_words(freedom: Freedom, write: Writing) -> str:
    """Return what a body is still free to do, without its name: `slides along Y as far as +1.5 mm`.

    Parameters
    ----------
    freedom : Freedom
        Ends that are infinite are not told.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    slides = freedom.kind is FreedomKind.SLIDES
    words = f"{freedom.kind} {'along' if slides else 'about'} {axis_text(freedom.axis)}"
    if not slides:
        words += f" through {_through_text(freedom.point_mm, write)}"
    ends = [v for v in (freedom.low, freedom.high) if math.isfinite(v)]
    if not ends:
        return words
    if not slides:
        return f"{words} as far as {' and '.join(angle_text(v, '+.3g') for v in ends)}"
    stops = " and ".join(write.number(v, "mm", "+.3g") for v in ends)
    return f"{words} as far as {stops} {write.name('mm')}"


def _through_text(point_mm: Vector, write: Writing) -> str:
    """Return a point in brackets, to a hundredth of a millimetre."""
    return f"({', '.join(write.number(v, 'mm', '.2f') for v in point_mm)})"


def lets_go_words(failure: LetsGo, write: Writing) -> str:
    """Return how a part lets go and at what factor.

    Parameters
    ----------
    failure : LetsGo
        What the part does under a growing load.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if not failure.rests or failure.at_least:
        return how_words(failure, write)
    return f"lets go at {factor_text(failure.factor)} times the cutting load: {how_words(failure, write)}"


def hold_words(part: str, failure: LetsGo, least_factor: float, write: Writing) -> str:
    """Return whether a part holds the factor that is required, and how it goes beyond that, as sentences.

    Parameters
    ----------
    part : str
        Name of the part.
    failure : LetsGo
        What the part does under a growing load.
    least_factor : float
        The factor that is required, times the cutting load.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if not failure.rests:
        return f"{goes_first(part, failure.motions)} {how_words(failure, write)}."
    required = f"({factor_text(least_factor)} required)"
    if failure.at_least:
        return f"{part} {how_words(failure, write)} {required}."
    if failure.factor < least_factor:
        at = factor_text(failure.factor, least_factor)
        return f"{part} lets go at {at} times the cutting load {required}: {how_words(failure, write)}."
    held = f"{part} holds {factor_text(failure.factor)} times the cutting load {required}."
    return f"{held} Beyond that {how_words(failure, write)}."


def goes_first(part: str, motions: Sequence[BodyMotion]) -> str:
    """Return which body moves off first where nothing rests: the part itself where that is not known.

    Parameters
    ----------
    part : str
        Name of the part.
    motions : sequence of BodyMotion
        How the bodies begin to move, the fastest first.
    """
    return motions[0].body if motions else part


def how_words(failure: LetsGo, write: Writing) -> str:
    """Return how a part lets go, without the factor at which it does.

    Parameters
    ----------
    failure : LetsGo
        What the part does under a growing load.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if not failure.rests:
        first = motion_words(failure.motions[0], write) if failure.motions else "nothing holds the parts"
        return f"{MOVES_OFF}: {first}"
    if failure.at_least:
        return f"holds at least {failure.factor:.0f} times the cutting load"
    more = len(failure.motions) - 1
    along = f", and {more} more with it" if more > 0 else ""
    what = f"{motion_words(failure.motions[0], write)}{along}" if failure.motions else "no motion was found"
    odd = "; beyond it no equilibrium was found, so the factor may be higher"
    return f"{what}{odd if failure.broke_off else ''}"


def _turning_words(axis: Vector, *, upright: bool) -> str:
    """Say which way a turning body goes; one that tips goes the way its top leans against its foot."""
    if upright:
        return "counter-clockwise seen from above" if axis[2] > 0.0 else "clockwise seen from above"
    # The axis crossed with +Z.
    return direction_words((axis[1], -axis[0], 0.0))


def _place(motion: BodyMotion, foot: Vector, axis: Vector, write: Writing) -> str:
    """Say where the axis lies: the two coordinates it does not run along."""
    along = max(range(3), key=lambda i: abs(axis[i]))
    # What rounds to nothing has no sign.
    near = [0.0 if abs(x) < _NIL_MM else x for x in foot]
    kept = [f"{_AXES[i]} {write.number(near[i], 'mm', '.1f')}" for i in range(3) if i != along]
    kind = "about an axis" if along == 2 or motion.kind.rolls else "over a line"
    return f", {kind} along {_AXES[along]} at {', '.join(kept)} {write.name('mm')}"


def settled_words(settled: Settled, write: Writing) -> str:
    """Return how a settling ended: what is open at rest, or why there is no rest.

    Parameters
    ----------
    settled : Settled
        Where everything rests, or why it does not.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    who = settled.body or "the parts"
    plain = {
        Ending.NO_PUSH: f"nothing pushes {who}: no weight, no pull and no push was stated",
        Ending.FALLS: f"{who} {_departure_words(settled, write)}",
        Ending.SLIDES: f"{who} {_departure_words(settled, write)}",
        Ending.JAMMED: f"there is no room: no move frees {who} of every overlap{_deepest_words(settled)}",
        Ending.OVERLAPS: _overlaps_words(settled),
        Ending.NOT_CONVERGED: f"no rest after {settled.steps} steps: {settled.balance:.1e} of the load still "
        f"moves the parts and they overlap by {write.gap(settled.residual_um)}",
    }
    return plain.get(settled.ending) or _at_rest_words(settled, write)


def _departure_words(settled: Settled, write: Writing) -> str:
    """Return how a body goes that never comes to rest, without its name."""
    gone = settled.departure
    way = direction_words(gone.way) if gone else ""
    if settled.ending is Ending.SLIDES:
        along = f" along {gone.off}" if gone and gone.off else ""
        far = f" by more than {write.length(gone.far_mm, '.0f')}" if gone else ""
        return f"slides {way or 'away'}{along}{far}: nothing stops it along its push"
    if gone is None:
        return "falls away: nothing is in its way"
    far = write.length(gone.far_mm, ".3g")
    if not gone.off:
        return f"falls away: it goes {far} {way} and meets nothing"
    if gone.far_mm < _NIL_MM:
        return f"tips off {gone.off} and falls: nothing else is under it"
    return (
        f"goes over the edge of {gone.off}, {far} {way} from where it is drawn, and falls: nothing stops it"
    )


def _deepest_words(settled: Settled) -> str:
    """Return which bodies stand deepest in each other; empty where that is not known."""
    return f"; {' and '.join(settled.overlapping)} overlap deepest" if settled.overlapping else ""


def _overlaps_words(settled: Settled) -> str:
    """Return which bodies overlap where the parts start."""
    pair = " and ".join(settled.overlapping) or "each other"
    where = f"{pair} overlap even well back from where they are drawn"
    if settled.body:
        return f"{settled.body} finds no room when its turn comes: {where}"
    return f"the parts have no room to start from: {where}"


def _at_rest_words(settled: Settled, write: Writing) -> str:
    """Return which seat stays open at rest and what lands first, or on what the parts rest."""
    wrong = settled.unintended()
    seat = next((s for s in settled.seats if not s.closed), None)
    if seat is not None:
        off = f"is {write.gap(seat.gap_min_um, '.1f')} off" if math.isfinite(seat.gap_min_um) else ""
        first = f"; {landing_words(wrong[0], _lander(wrong[0], settled))} first" if wrong else ""
        return f"{seat.own} {off or 'no longer faces'} {seat.other}{first}"
    if settled.seats and not wrong:
        return "every seat is closed and nothing else touches"
    pairs = ", ".join(f"{c.a} on {c.b}" for c in (wrong or settled.carried)[:3])
    return f"at rest on {pairs}"


def _lander(contact: LoadedContact, settled: Settled) -> str:
    """Return which of two bodies that touch is said to land on the other: one that moved to its rest."""
    return next((body for body in contact.bodies if body in settled.poses), contact.a.body)


def landing_words(contact: LoadedContact, body: str) -> str:
    """Return which face lands on which, that of `body` first.

    Parameters
    ----------
    contact : LoadedContact
        The two faces that touch.
    body : str
        Name of the body that lands.
    """
    a, b = (contact.a, contact.b) if contact.a.body == body else (contact.b, contact.a)
    return f"{a} lands on {b}"


_ROCKS_DEG = 1e-4
"""A turn of less is none."""


def order_words(order: OrderOutcome, write: Writing) -> str:
    """Return whether the order of staging matters, which orders cannot be, and how many were not tried.

    Parameters
    ----------
    order : OrderOutcome
        What the orders that were tried came to.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if order.unrested is not None:
        name, ending = order.unrested
        return f"parts pushed {name} do not come to rest ({ending}); the order of staging matters"
    said = "the parts rest in the same place however they are staged"
    if not order.fits:
        far = write.gap(order.spread_um, ".1f")
        pushed = f"pushed {order.furthest}, parts end up to {far} away"
        said = f"the rest depends on the order of pushing: {pushed}"
    if order.barred:
        name, why = order.barred[0]
        more = len(order.barred) - 1
        said += f"; they cannot be staged {name}, as {_no_place_words(why)}"
        said += f", nor in {more} other {'orders' if more > 1 else 'order'}" if more else ""
    left = order.untried
    return said + (f"; {left} more {'orders were' if left > 1 else 'order was'} not tried" if left else "")


def _no_place_words(why: NoPlace) -> str:
    if why.taken:
        return f"{why.part} takes the place of {why.taken}"
    if why.ending:
        when = "before the others" if why.early else "then"
        return f"{why.part} does not come to rest ({why.ending}) {when}"
    return f"{why.part or 'a part'} finds no room"


def hand_words(hand: UnderHand, write: Writing) -> str:
    """Return what a part does under a hand's push.

    Parameters
    ----------
    hand : UnderHand
        A turn too small to count is told as a slide.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if hand.stays:
        return f"{hand.body} stays put under the push"
    if not hand.rests:
        return f"{hand.body} does not come to rest again under the push ({hand.ending})"
    angle_deg = math.hypot(*hand.turn_deg)
    if angle_deg > _ROCKS_DEG:
        about = axis_text([v / angle_deg for v in hand.turn_deg])
        return f"{hand.body} rocks by {angle_text(angle_deg, '.3f')} under the push, about {about}"
    return f"{hand.body} slides by {write.length(math.hypot(*hand.shift_mm), '.3f')} under the push"


def settled_draws_words(unsettled: int) -> str:
    """Return which draws were settled exactly, `unsettled` of which did not come to rest.

    Parameters
    ----------
    unsettled : int
        How many of those settled exactly did not come to rest.
    """
    if unsettled == 0:
        return "those furthest out"
    return f"those furthest out, less {unsettled} that did not come to rest on their own"


def drawn_faces_words(varied: int, leaning: int) -> str:
    """Return how the faces that vary were drawn within their zones, some of which lean.

    Parameters
    ----------
    varied : int
        How many faces vary.
    leaning : int
        How many of them lean as well as shift.
    """
    if leaning == 0:
        return "faces shift within their zones and do not lean"
    rest = varied - leaning
    still = f"; {rest} of the {varied} faces (curved, or held in orientation) shift only" if rest else ""
    return (
        "flat faces shift and lean within their profile zones, the shift of the middle, and then the "
        f"lean in what it leaves, normal with three standard deviations to the edge{still}"
    )


_MUCH_FURTHER = 3.0
"""Times the depth of an overlap from which on a way out says that a body is too large, not misplaced."""


def contact_words(pair: BodyPair, write: Writing) -> str:
    """Return over what two bodies touch: `over 400 mm2 (2 areas), along 12 mm (1 line)`.

    Parameters
    ----------
    pair : BodyPair
        Its areas, lines and points are told; empty where it has none.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    phrases = []
    if pair.areas:
        phrases.append(f"over {write.area(pair.area_mm2)} ({_or_no(pair.areas, 'area')})")
    if pair.lines:
        phrases.append(f"along {write.length(pair.length_mm)} ({_or_no(pair.lines, 'line')})")
    if pair.points:
        phrases.append(f"at {_or_no(pair.points, 'point')}")
    return ", ".join(phrases)


def _overlap_words(pair: BodyPair, write: Writing) -> str:
    """Return how much two bodies share, and how deep that is."""
    deep = "" if pair.depth_mm is None else f", {write.length(pair.depth_mm)} deep"
    return f"{write.volume(pair.volume_mm3)} shared{deep}"


def pair_says(pair: BodyPair, write: Writing) -> str:
    """Return the sentence about two bodies.

    Parameters
    ----------
    pair : BodyPair
        Two bodies that overlap, touch or clear each other.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if pair.state is PairState.OVERLAP:
        why = f" The way out is not known: {pair.unknown}." if pair.unknown else ""
        return f"{pair.a} and {pair.b} overlap: {_overlap_words(pair, write)}.{why}"
    if pair.unknown:
        return f"How {pair.a} and {pair.b} stand to each other could not be computed: {pair.unknown}."
    if pair.state is PairState.TOUCH:
        return f"{pair.a} touches {pair.b} {contact_words(pair, write)}."
    return f"{pair.a} clears {pair.b} by {write.length(pair.gap_mm or 0.0)}."


def parting_says(pair: BodyPair, write: Writing) -> str | None:
    """Return the move that takes two bodies out of each other; None where none was found.

    Parameters
    ----------
    pair : BodyPair
        One without `parting_mm` or `parting_way` gives None.
    write : Writing
        Writes the quantities in the units of the set-up.

    Returns
    -------
    str or None
    """
    if pair.parting_mm is None or pair.parting_way is None:
        return None
    far = write.length(pair.parting_mm, ".4g", "up")
    move = f"move {pair.a} {far} {toward(pair.parting_way)}, or {pair.b} as far the other way"
    tried = "tried on these two alone, they then only touch"
    if pair.depth_mm is not None and pair.parting_mm > _MUCH_FURTHER * pair.depth_mm:
        less = write.length(pair.depth_mm, ".4g", "up")
        return f"Take {less} off one of them where they share space. To part them instead, {move}: {tried}."
    return f"{first_up(move)}: {tried}."


def freedoms_words(free: BodyFree, write: Writing) -> str:
    """Return the motions that keep a body's contacts: `slides along X and Y, turns about Z through (...)`.

    Parameters
    ----------
    free : BodyFree
        Motions that are endless and alike are told together.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    together: dict[tuple[FreedomKind, str], list[Freedom]] = {}
    for f in free.keeps:
        endless = f.low == -math.inf and f.high == math.inf
        same = "" if f.kind is FreedomKind.SLIDES else _through_text(f.point_mm, write)
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
    return f"{first.kind} about {axes} through {_through_text(first.point_mm, write)}"


def leaves_words(free: BodyFree) -> str:
    """Return how a body comes away from what it touches.

    Parameters
    ----------
    free : BodyFree
        What the body is free to do.
    """
    if free.leaves:
        return f"comes away {' or '.join(toward(way) for way in free.leaves)}"
    return "does not come away" if free.shut_in else "comes away by turning only"


def free_says(free: BodyFree, write: Writing) -> str:
    """Return the sentence about what a body is free to do.

    Parameters
    ----------
    free : BodyFree
        What one body is free to do.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if free.unknown:
        return f"What {free.body} is free to do was not worked out: {free.unknown}."
    if not free.touches:
        return f"{free.body} touches nothing: all six degrees of freedom are left."
    if not free.keeps and free.shut_in:
        return f"{free.body} is fixed: it neither slides nor turns, and does not come away."
    keeps = (
        f"{freedoms_words(free, write)} and keeps its contacts" if free.keeps else "neither slides nor turns"
    )
    return f"{free.body} {keeps}; it {leaves_words(free)}."


def touching_says(found: Touching, write: Writing) -> str:
    """Return what is so of an assembly, in one sentence or two.

    Parameters
    ----------
    found : Touching
        How the bodies of an assembly stand to each other.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    counts = {state: len(found.in_state(state)) for state in PairState}
    overlaps = _or_no(counts[PairState.OVERLAP], "pair")
    lead = (
        f"{overlaps} of bodies overlap{'s' if counts[PairState.OVERLAP] == 1 else ''}: they cannot stand so."
        if counts[PairState.OVERLAP]
        else "No two bodies overlap."
    )
    clears = _or_no(counts[PairState.CLEAR], "pair")
    touches = _or_no(counts[PairState.TOUCH], "pair")
    touch = "touches" if counts[PairState.TOUCH] == 1 else "touch"
    clear = "clears" if counts[PairState.CLEAR] == 1 else "clear"
    counted = f"Of {len(found.bodies)} bodies, {touches} {touch} and {clears} {clear} by"
    return f"{lead} {counted} {write.length(found.within_mm)} or less."


def _or_no(count: int, noun: str) -> str:
    """Return a count with its noun, and `no` for none."""
    return plural(count, noun) if count else f"no {noun}s"
