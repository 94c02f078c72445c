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
    Kind.NOT_MAGNETIC: "No magnet pulls the material of the part, and no clamp is stated.",
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
    Kind.NOT_MADE_YET: "A set-up seats by a face that no operation has made by then.",
    Kind.NEVER_MADE: "A hole, pocket or step of the part that no operation makes, and no blank is stated.",
    Kind.CUT_AWAY: "A set-up seats by a face that an earlier operation has cut away.",
    Kind.DATUM_UNFINISHED: "A face is finished before the one that it is measured from.",
    Kind.STILL_THERE: "Stock that is left on a face for a later operation, and is still there at the end.",
    Kind.TAKES_AIR: "An operation takes more than the stock that is there.",
    Kind.BLANK_LEFT: (
        "The blank against the part: where it has stock that no operation takes, or is too small."
    ),
    Kind.BURR_LEFT: "A burr on an edge beside a face that seats or is measured; the number is its height.",
    Kind.THIN_WALL: "A wall that bends under the clamp of an operation; the number is how far.",
    Kind.GROWS: "A face that is finished before hardening, and how far hardening moves it.",
    Kind.GROWN_FIT: "The room that is left beside a hardened part between what it fits in, or round a pin.",
    Kind.GROWN_PITCH: "How far the last part of a gang moves as hardening changes the pitch.",
    Kind.JAW_PRESSURE: "The pressure of a jaw on the part, against what the material bears.",
    Kind.JAW_COCKS: "A part that is gripped off the middle of the jaw, so that the jaw tilts.",
    Kind.JAW_LIFTS: "How far the moving jaw, and the part with it, rises as the vise is closed.",
    Kind.OVERHANG: "How much of the part stands out of the jaws.",
    Kind.RING_SQUEEZED: "A ring that the jaws squeeze out of round; the number is by how much.",
    Kind.HOLE_UPRIGHT: "How far the hole leans from the spindle that drills it.",
    Kind.DRILL_START: "The slope that a drill starts on, or the flat seat that is made for it first.",
    Kind.SPOT: "How deep to spot, and whether the tip of the drill meets the spot before its corners do.",
    Kind.DRILL_SIZE: "The diameter of the drill against that of the hole as drawn.",
    Kind.THREAD_SHARE: "How much of the full height of its thread a hole of this drill has.",
    Kind.THREAD_DEPTH: "The depth of the hole against what thread, lead of the tap and chips need.",
    Kind.FLUTES: "The length of the flutes against the depth that the drill goes.",
    Kind.DRILL_CLEAR: "What the drill meets on its stroke besides the hole.",
    Kind.NUT_CLEAR: "What the chuck or collet nut meets on its stroke.",
    Kind.NOSE_CLEAR: "What the spindle nose meets on its stroke.",
    Kind.TOOL_DAYLIGHT: "Whether the tool goes in over the work, with the spindle raised.",
    Kind.STACK: "The gauge blocks under the sine bar or plate, and the angle that they make.",
    Kind.STEEP: "A slope so steep that errors of the stack turn it more, and a part on it slides.",
    Kind.SLOPE: "The slope that is reached, and how unsure it is, at a face that is ground.",
    Kind.SIZE_CHANGE: "How far a size moves in hardening, against its tolerance.",
    Kind.SKIN: (
        "The surface that hardening leaves on a face that is finished before it; the number is how deep."
    ),
    Kind.QUENCH: "Whether the quench that is stated hardens the steel without cracking it.",
    Kind.HARDNESS: "The hardness that the temper gives, against the one that is wanted.",
    Kind.TOUGHNESS: "The toughness that the temper gives, against other tempers near it.",
    Kind.HARDNESS_TEST: "Where a hardness test may mark the part, and whether it is thick enough there.",
    Kind.HOLES: "Holes that blasting rounds and opens, unless they are plugged.",
    Kind.DEMAGNETISE: (
        "Whether the part is demagnetised and washed before the furnace, so that no chips burn onto it."
    ),
    Kind.TOUCH_FACE: (
        "Where the wheel or an edge finder touches off: a flat face that it reaches, or why not."
    ),
    Kind.TOUCH_MARK: "How deep a touch marks a face, against the stock that it has.",
    Kind.DIAL_WAY: "What wheel, flange and guard meet between touching off and the start of the cut.",
    Kind.DIAL_TRAVEL: "How far a feed goes from touching off to the end of the cut, against its travel.",
    Kind.DIAL_DAYLIGHT: "Whether the wheel can be lifted over everything between two touches.",
    Kind.READING: "What the dial reads at the target, and how far off that leaves it.",
    Kind.LEAST_STEP: "The feed of one pass against one line of the dial.",
    Kind.BATCH_TIME: "The time that a batch and a part take.",
    Kind.FINDER: "What edge finder, block and dial leave at a datum, against half its tolerance.",
    Kind.SQUARED: "How parallel a body was set, against what the walls ground on it need.",
}
"""One sentence or two for each; what a check asks, and by which rule, its own docstring says."""
