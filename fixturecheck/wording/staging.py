"""How it is said whether a rest depends on the staging and stands a hand, and how tolerances were drawn."""

from __future__ import annotations

import math

from fixturecheck.result.rest import NoPlace, OrderOutcome, UnderHand
from fixturecheck.units import Writing, angle_text, axis_text

_ROCKS_DEG = 1e-4
"""A turn of less is none."""


def order_words(order: OrderOutcome, write: Writing) -> str:
    """Return whether the order of staging matters, which orders cannot be, and how many were not tried."""
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
    """Return what a part does under a hand's push."""
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
    """Return which draws were settled exactly, `unsettled` of which did not come to rest."""
    if unsettled == 0:
        return "those furthest out"
    return f"those furthest out, less {unsettled} that did not come to rest on their own"


def drawn_faces_words(varied: int, leaning: int) -> str:
    """Return how the faces that vary were drawn within their zones, some of which lean."""
    if leaning == 0:
        return "faces shift within their zones and do not lean"
    rest = varied - leaning
    still = f"; {rest} of the {varied} faces (curved, or held in orientation) shift only" if rest else ""
    return (
        "flat faces shift and lean within their profile zones, the shift of the middle, and then the "
        f"lean in what it leaves, normal with three standard deviations to the edge{still}"
    )
