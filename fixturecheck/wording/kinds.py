"""What each kind of finding means, for somebody who reads one and asks."""

from __future__ import annotations

from collections.abc import Mapping

from fixturecheck.result.finding import Kind

MEANS: Mapping[Kind, str] = {
    Kind.NOT_COMPUTED: "This could not be computed; the sentence says why. It is unknown, and never a pass.",
    Kind.NOTHING_TO_ANSWER: (
        "Nothing in the set-up lets the checks that were asked answer: state what they need."
    ),
    Kind.WAITS: "Not worked out, because something that comes before it is a no-go. Cure that first.",
    Kind.OVERLAP: "Two bodies share a volume as drawn, so they cannot both stand where they are drawn.",
    Kind.SIZE: "A size that is unusual for a part or for the machine: look whether a unit was mixed up.",
    Kind.NO_UNIT: "The part's file states no unit of length, so its numbers were taken for mm.",
    Kind.BELOW_TABLE: "A part reaches below the table at the height that is stated for it.",
    Kind.DEEP_CUT: "One pass is stated deeper than all the stock that there is.",
    Kind.NO_LEAST_SHARE: "The seat states that no area need touch, so that a point would do.",
    Kind.WIDE_ZONE: (
        "A tolerance zone that is wide beside the part's own thickness: is it the one that was meant?"
    ),
    Kind.SLIPPERY: "Friction is stated higher than a material that lies in the contact has on steel.",
    Kind.CLOSED: "The seat, or the nest, touches over as large a share of the face as is asked.",
    Kind.OPEN: (
        "The seat, or the nest, does not touch over the share that is asked; the number is the "
        "gap, or the share."
    ),
    Kind.DRAWN_OPEN: "The nest is drawn with a gap, and closes when the part is pushed.",
    Kind.ON_A_LINE: "The seat bears along a line or at a point: it locates, and has no area to hold by.",
    Kind.MEETS: "The faces of the seat, or of the nest, meet: no gap stands open between them.",
    Kind.ALONG_ITS_ROUND: (
        "The round of the part bears along a line: it locates, and another seat holds by an area."
    ),
    Kind.NOT_MEANT: "Two faces touch that no seat states, which may lift the part off its seats.",
    Kind.NO_FOOTING: (
        "The part touches what holds it at an edge, at a corner or nowhere: there is no area under it."
    ),
    Kind.BESIDE_THE_NEST: "Neighbouring parts touch beside the faces that are meant to nest.",
    Kind.STANDS_ON_NOTHING: "A fixture is drawn in the air, so it can neither stop nor carry anything.",
    Kind.ON_NOTHING: "A seat on a fixture that itself stands on nothing is no seat.",
    Kind.ATTACHED: "A fixture touches what stands from the side only; it is taken as screwed to it.",
    Kind.PLACE: "Where the part comes to rest, and whether its seats are closed there.",
    Kind.ORDER: (
        "Where the parts come to rest when they are put in place in another order, or from further off."
    ),
    Kind.PRESS: "What a hand that presses on the part at rest does to it.",
    Kind.NO_REST: (
        "The part does not come to rest: it slides away, tips or falls under its weight and the pushes."
    ),
    Kind.OVERLAPS: "Bodies overlap where the settling starts, so nothing could be settled.",
    Kind.RANK: "Which seat takes which freedom of the part, and whether that is the rank it is stated with.",
    Kind.SEAT: "One seat: what it locates, or how often it is open within the tolerances.",
    Kind.FOLLOWS: "How far the ground face moves when a seat stands higher by one unit.",
    Kind.FREE: "A freedom that no seat takes: the part may slide or turn so.",
    Kind.CLOSED_IN: "A stop that is set against the parts last, wherever they come to rest.",
    Kind.DOES_NOT_GO_IN: (
        "Within the tolerances the part is sometimes too long for the fixed gap that it goes into."
    ),
    Kind.LANDS_FIRST: "Within the tolerances another pair of faces lands before the one that is meant to.",
    Kind.WORK: "How far the ground face comes out of place within the tolerances of the seats.",
    Kind.ZONES: "Faces that state no tolerance were taken as drawn.",
    Kind.NOT_SETTLED: "Some draws from the tolerances did not come to rest when they were settled exactly.",
    Kind.NOT_LINEAR: (
        "The linear answer is further off an exact settling than the limit within which a seat "
        "counts as closed."
    ),
    Kind.NO_CUT: "No cut is stated that the parts could be held against.",
    Kind.FACTOR: (
        "How many times the cutting load the hold bears before the part lets go, in the worst case "
        "of the ranges."
    ),
    Kind.WAY: (
        "Which way the part goes when it lets go, and what it runs into: away from the wheel, or into it."
    ),
    Kind.LOSS: "What is left of the hold when one thing is lost: a clamp, a block, the magnet.",
    Kind.FILM: "What is left of the hold when a film of coolant lies between the faces.",
    Kind.COMES_OFF: "How a body comes off after the cut, with what force, and what it rubs on.",
    Kind.KEEPS_MAGNETISM: (
        "The part stays magnetic: demagnetise it before it is lifted, and before it is seated again."
    ),
    Kind.BURRS: "Edges on which the cut leaves a burr; stone them before the next seating.",
    Kind.TOUCH: "Two bodies of an assembly touch; the number is the area.",
    Kind.CLEAR: "Two bodies of an assembly clear each other; the number is the least gap.",
    Kind.FLANGE_DEPTH: "How far below the flange the wheel has to reach, against how far it does.",
    Kind.RIDGES: "The step across is wider than what the wheel makes flat, so ridges stay.",
    Kind.STOCK_LEFT: "The wheel does not come everywhere on the floor or wall; stock stays there.",
    Kind.GOUGE: "The wheel takes more than the stock: it cuts into the finished part.",
    Kind.CORNER: "The radius that is left in the corner between floor and wall, against the drawn one.",
    Kind.FACE_MADE: "The face comes out as drawn.",
    Kind.FLOOR_LEVEL: "Whether the floor lies level where the part stands.",
    Kind.WALL_ALONG: "Whether the wall runs along the traverse where the part stands.",
    Kind.WALL_UPRIGHT: "Whether the wall stands upright where the part stands.",
    Kind.GANG_HEIGHT: "Whether the floors of a gang lie at one height.",
    Kind.GANG_LINE: "Whether the walls of a gang lie in one line.",
    Kind.WHEEL_HITS: "The wheel runs into something on its way; the number is how deep.",
    Kind.FLANGE_HITS: "The flange runs into something on its way; the number is how deep.",
    Kind.GUARD_HITS: "The guard runs into something on its way; the number is how deep.",
    Kind.WHEEL_RUBS: "The wheel touches something on its way that it should not cut.",
    Kind.FLANGE_RUBS: "The flange touches something on its way.",
    Kind.GUARD_RUBS: "The guard touches something on its way.",
    Kind.WHEEL_CLOSE: "The wheel clears, by less than the least clearance of the machine.",
    Kind.FLANGE_CLOSE: "The flange clears, by less than the least clearance of the machine.",
    Kind.GUARD_CLOSE: "The guard clears, by less than the least clearance of the machine.",
    Kind.WHEEL_CLEARS: "The wheel clears everything over the whole travel.",
    Kind.FLANGE_CLEARS: "The flange clears everything over the whole travel.",
    Kind.GUARD_CLEARS: "The guard clears everything over the whole travel.",
    Kind.WHEEL_HITS_CLAMP: "The wheel runs over the tip of a clamp, which is surely there.",
    Kind.FLANGE_HITS_CLAMP: "The flange runs over the tip of a clamp, which is surely there.",
    Kind.GUARD_HITS_CLAMP: "The guard runs over the tip of a clamp, which is surely there.",
    Kind.CLAMP_NOT_DRAWN: "A clamp is stated as a force and not drawn: its bar may lie in the way.",
    Kind.CLAMP_CLEARS: "Everything stays further off the clamp than its bar can reach.",
    Kind.SPEED: "The surface speed of the wheel against what it is marked with, or what its kind may run at.",
    Kind.TABLE_TRAVEL: "The traverse that the cut needs against what the table has.",
    Kind.CROSS_FEED_TRAVEL: "The cross feed that the cut needs against what the machine has.",
    Kind.SIDE_PRESSURE: "Grinding with the side of a wheel that is not made for it.",
    Kind.DAYLIGHT: "Whether the work goes under the wheel, stock and wheel as they are.",
    Kind.FLANGE: "Whether the flanges are as large as the wheel asks for.",
    Kind.GUARD: "Whether the guard leaves no more of the wheel open than is allowed.",
}
"""One sentence or two for each; what a check asks, and by which rule, its own docstring says."""
