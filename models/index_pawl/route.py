"""The pawl as a job: its bar, its operations in order, and the set-up of each; lengths in mm.

The pawls come as bars with the section of the pawl and stock on what is ground.
"""

from dataclasses import replace

import cadquery as cq
from gang import gang
from pawl import FACES, FLOOR_Z, WALL_Y, pawl

from fixturecheck import (
    Blank,
    Clamp,
    Cut,
    Holding,
    Machine,
    Milling,
    Operation,
    Seat,
    Setup,
    Wheel,
    body,
    equipment,
    job_of,
    place,
    place_by_seats,
)
from fixturecheck.setup.dials import Dials, Handwheel
from fixturecheck.setup.hardening import Hardening
from fixturecheck.setup.tools import Drilling, EndMilling, MillMove

HOLE_X, HOLE_Y, HOLE_D = 10.0, -6.5, 2.0  # drilled straight down, through the slope
TOP, FLANK, FLOOR, WALL = 0.3, 0.2, 0.3, 0.15  # stock on the bar
FLOOR_LEFT, WALL_LEFT = 0.1, 0.05  # left on the corner until the pawl is hard

JOB_FACES = FACES | {
    "top": (8, -3, 15),
    "slope": (3, -6.5, 13.5),
    "left_side": (8, -8, 10),
    "corner_fillet": (8, WALL_Y + 0.15, FLOOR_Z + 0.15),
    "under_end": (4.3, 0, 4),
    "heel": (0.5, 0, 6.7),
    "hole": (HOLE_X, HOLE_Y + HOLE_D / 2, 10),
    "front": (20, 0, 4),
}
POCKET = ("step", "nest", "step_fillet", "under", "under_end", "heel")


def drilled() -> cq.Workplane:
    """Return the finished pawl: relieved, with its cross hole."""
    return pawl(1.0).cut(cq.Workplane("XY").center(HOLE_X, HOLE_Y).circle(HOLE_D / 2).extrude(40))


def bar(extra: float = 0.0) -> cq.Workplane:
    """Return the bar that a pawl is made from, longer at its front by `extra`."""
    tip, side = FLANK / 2**0.5, FLANK * 2**0.5
    floor, wall, top = FLOOR_Z + FLOOR, WALL_Y + WALL, 15 + TOP
    section = [(tip, -tip), (8, 8 - side), (8, floor), (wall, floor), (wall, top)]
    section += [(top - 20, top), (-8, 12), (-8, 8)]
    return cq.Workplane("YZ").polyline(section).close().extrude(20 + extra)


def part():
    """Return the finished pawl as the part of the job."""
    return body(
        "pawl",
        drilled(),
        material="tool_steel_a2",
        faces=JOB_FACES,
        finish="ground",
        no_function={"under"},
    )


OPERATIONS = (
    Operation(number=10, name="square up", kind="grind", makes=("top",), stock_mm={"*": TOP}, burr_mm=0.03),
    Operation(
        number=20,
        name="angle",
        kind="grind",
        makes=("right_seat",),
        stock_mm={"*": FLANK},
        burr_mm=0.03,
        stones=(("top",),),
    ),
    Operation(
        number=30,
        name="corner",
        kind="grind",
        makes=("floor", "wall"),
        stock_mm={"floor": FLOOR - FLOOR_LEFT, "wall": WALL - WALL_LEFT},
        leave_mm={"floor": FLOOR_LEFT, "wall": WALL_LEFT},
        measured_from=("right_seat",),
        burr_mm=0.03,
        stones=(("right_seat",),),
    ),
    Operation(
        number=40,
        name="pocket",
        kind="mill",
        makes=POCKET,
        burr_mm=0.05,
        stones=(("right_seat",), ("slope",), ("back",), ("front",)),
    ),
    Operation(
        number=50,
        name="cross hole",
        kind="drill",
        makes=("hole",),
        burr_mm=0.05,
        stones=(("left_seat",), ("right_seat",), ("back",)),
    ),
    Operation(number=60, name="harden", kind="harden", temper_c=200.0),
    Operation(
        number=70,
        name="final pass",
        kind="grind",
        makes=("floor", "wall"),
        stock_mm={"floor": FLOOR_LEFT, "wall": WALL_LEFT},
        measured_from=("right_seat",),
        burr_mm=0.03,
        stones=(("left_seat",), ("right_seat",), ("left_side",), ("back",), ("nest",)),
    ),
)


MAGNET = Holding(  # of the V-block, on a bar nested in it; ground dry
    magnet="full",
    rated_pull_n_cm2=120.0,
    coolant=False,
    # The steel has no measured curve: it lies between gray iron and mild steel.
    curves_between={"tool_steel_a2": ("gray_iron", "steel_1018")},
)
DOWNFEED_MM, WALL_FEED_MM = 0.005, 0.001


def _held(setup: Setup) -> Setup:
    """Return a set-up in the V-block with the magnet on: the stop is screwed to it, the wheel drags to it."""
    bodies = tuple(replace(b, fastened=b.name == "stop") for b in setup.bodies)
    machine = replace(setup.machine, sparks="left")  # the stop is at the left end
    return replace(setup, bodies=bodies, machine=machine, holding=MAGNET)


def _railed(setup: Setup) -> Setup:
    """Return a set-up with a rail screwed on beside the pawls: it takes the push of the wheel on the wall."""
    pawls = list(setup.parts())
    long = 16.0 * len(pawls)
    (rail,) = equipment(
        "blocking_block", name="rail", at=(2 + long / 2, -14, 9), length_mm=long, width_mm=12.0, height_mm=3.0
    )
    seats = [Seat(body=b.name, face="left_side", on="rail", on_face="plus_y", rank="tertiary") for b in pawls]
    bodies = (*setup.bodies, replace(rail, fastened=True))
    return replace(setup, bodies=bodies, seats=(*setup.seats, *seats))


def _in_vee(pawl, name: str, cut: Cut) -> Setup:
    """Return the set-up of one pawl in the V-block, its flanks on the flanks and its back on the stop."""
    one = gang(drilled(), name, 1)
    low = pawl_down(pawl)
    seated = replace(pawl, name="pawl_1", at=place(at=(0, -low, low)))
    bodies = (*(b for b in one.bodies if b.role == "fixture"), seated)
    return _held(replace(one, bodies=bodies, cuts=(cut,)))


def pawl_down(pawl) -> float:
    """Return how far to the left and up a pawl sits, for the stock on its right flank."""
    reach = min(face.BoundingBox().zmin for face in pawl.solid.Faces())
    return -reach if reach < -1e-6 else 0.0


def top_up(_before, after) -> Setup:
    """The top, in the V-block."""
    cut = Cut(name="top", parts=("pawl_1",), floor="top", stock_mm=TOP, downfeed_mm=DOWNFEED_MM)
    return _in_vee(after, "square up", cut)


TOES = tuple(  # low on the near end: whichever way they lie, the wheel clears them; one is enough
    Clamp(
        name=f"toe_{name}",
        kind="toe",
        body="pawl",
        at_mm=(-10.0, y, 45.5),
        inward=(10.0, 0.0, 0.0),
        down_deg=20.0,
        force_n=600.0,
        screw_mm=4.0,
    )
    for name, y in (("low", -17.0), ("high", -14.0))
)


def angle(_before, after) -> Setup:
    """The right flank, level: the pawl stands on its top on a sine plate, its left side against the stop.

    Two toes press it down and against a block at its far end: its top is too narrow for a magnet.
    """
    plate = equipment("sine_plate", name="sine", angle_deg=45.0, stop_mm=8.0)
    (block,) = equipment("blocking_block", name="end_stop", length_mm=12.0, width_mm=8.0, height_mm=8.0)
    lies = replace(after, at=place(at=(0, 20, 60), rotate=[("x", 135), ("z", 180)]))
    stands = (
        Seat(body="end_stop", face="base", on="sine_plate", on_face="top", rank="primary"),
        Seat(body="end_stop", face="minus_y", on="sine_plate", on_face="stop", rank="secondary"),
    )
    seats = (
        Seat(body="pawl", face="top", on="sine_plate", on_face="top", rank="primary"),
        Seat(body="pawl", face="left_side", on="sine_plate", on_face="stop", rank="secondary"),
        Seat(body="pawl", face="back", on="end_stop", on_face="minus_x", rank="stop", min_share=0.3),
    )
    bodies = (*plate, replace(block, fastened=True), lies)
    placed = place_by_seats(
        bodies, (*stands, *seats), names=["end_stop", "pawl"], along_mm={"end_stop": 16.0}
    )
    return Setup(
        name="angle",
        bodies=placed,
        seats=seats,
        cuts=(
            Cut(
                name="flank",
                parts=("pawl",),
                floor="right_seat",
                stock_mm=FLANK,
                downfeed_mm=DOWNFEED_MM,
                way="traverse",
            ),
        ),
        machine=Machine(table_z_mm=0.0),
        wheel=Wheel(corner_radius_mm=0.2),
        holding=Holding(friction="ground_steel", coolant=False, clamps=TOES),
    )


def _corner(name: str, parts, floor: float, wall: float) -> Cut:
    return Cut(
        name=name,
        parts=parts,
        floor="floor",
        wall="wall",
        stock_mm=floor,
        wall_stock_mm=wall,
        downfeed_mm=DOWNFEED_MM,
        wall_feed_mm=WALL_FEED_MM,
        way="traverse",
        cross_feed_mm=2.0,
    )


def corner(_before, after) -> Setup:
    """The corner, one pawl in the V-block, its side along the rail."""
    cut = _corner("corner", ("pawl_1",), FLOOR - FLOOR_LEFT, WALL - WALL_LEFT)
    return _railed(_in_vee(after, "corner", cut))


WIDTH = 20 / 2**0.5  # of the pawl from its slope to its right flank, between the jaws


HOLDER = {"stick_out_mm": 30.0, "nut_mm": 28.0, "nut_long_mm": 30.0, "nose_mm": 60.0}
END_MILLS = (
    # Along the step; the corners of the cutter leave its fillet.
    EndMilling(
        name="step",
        parts=("pawl_1",),
        makes=("nest", "step", "step_fillet"),
        shape="bull",
        diameter_mm=12.0,
        corner_mm=1.0,
        flute_mm=16.0,
        moves=(MillMove(kind="line", at_mm=((-30.5, 1.52943725), (-10.5, -18.47056275)), z_mm=16.0),),
        **HOLDER,
    ),
    # Under the tail.
    EndMilling(
        name="tail",
        parts=("pawl_2",),
        makes=("under", "under_end"),
        diameter_mm=12.0,
        flute_mm=16.0,
        moves=(MillMove(kind="line", at_mm=((2.0, -10.28284271), (26.0, 13.71715729)), z_mm=15.7),),
        **HOLDER,
    ),
    # The chamfer of the heel, with the side of a cutter of 45 degrees.
    EndMilling(
        name="heel",
        parts=("pawl_2",),
        makes=("heel",),
        shape="tapered",
        diameter_mm=2.0,
        taper_deg=45.0,
        flute_mm=4.0,
        shank_mm=10.0,
        moves=(MillMove(kind="line", at_mm=((4.0, -12.5254834), (28.0, 11.4745166)), z_mm=17.0),),
        **HOLDER,
    ),
)


MILLS = (  # light passes over the two square shoulders, for jaws that do not mark
    Milling(
        name="step_passes",
        parts=("pawl_1",),
        face="nest",
        cutter_mm=12.0,
        teeth=4,
        deep_mm=0.1,
        wide_mm=6.0,
        feed_mm_tooth=0.015,
        feed=(1.0, -1.0, 0.0),
        corner_mm=1.0,
    ),
    Milling(
        name="tail_passes",
        parts=("pawl_2",),
        face="under_end",
        cutter_mm=12.0,
        teeth=4,
        deep_mm=0.1,
        wide_mm=6.2,
        feed_mm_tooth=0.015,
        feed=(1.0, 1.0, 0.0),
    ),
)
VISE_NM = 11.0  # on the handle of the vise


def pocket(_before, after) -> Setup:
    """Step and heel from above: in the vise one pawl stands on its back, the next on its front."""
    vise = equipment("grinding_vise", name="vise", opening_mm=WIDTH, jaw_height_mm=14.0)
    pawls = (
        replace(after, name="pawl_1", at=place(at=(-12, 0, 0), rotate=[("x", 45), ("y", -90)])),
        replace(after, name="pawl_2", at=place(at=(12, 0, 20), rotate=[("x", 45), ("y", 90)])),
    )
    seats = [
        Seat(body=name, face=face, on=on, on_face=on_face, rank=rank)
        for name, foot in (("pawl_1", "back"), ("pawl_2", "front"))
        for face, on, on_face, rank in (
            ("right_seat", "vise_body", "fixed_jaw", "primary"),
            (foot, "vise_body", "bed_floor", "secondary"),
            ("slope", "vise_jaw", "moving_jaw", "tertiary"),
        )
    ]
    return Setup(
        name="pocket",
        bodies=(*vise, *pawls),
        seats=tuple(seats),
        end_mills=END_MILLS,
        machine=Machine(table_z_mm=-32.0),
        holding=Holding(
            friction="ground_steel",
            clamps=(Clamp(name="screw", kind="vise", body="vise_jaw", face="moving_jaw", torque_nm=VISE_NM),),
            milling=MILLS,
        ),
    )


GAP = 6.0  # between the two V-blocks under the drill
SEAT_D = 2.5  # flat that an end mill makes on the slope first


STRAPS = tuple(  # one over each V-block, on what is left of the top beside the hole; one is enough
    Clamp(
        name=f"strap_{name}",
        kind="strap",
        body="pawl",
        at_mm=(x, -3.0, 15.0),
        force_n=3500.0,
        screw_mm=6.0,
        screw_to_heel_mm=20.0,
        screw_to_part_mm=20.0,
    )
    for name, x in (("back", 3.5), ("front", 14.0))
)


def hole(_before, after) -> Setup:
    """The cross hole, straight down: the pawl lies over the gap between two V-blocks, strapped to both.

    Their magnets are off: a drill that breaks through draws up harder than they pull.
    """
    size = {"length_mm": 40.0, "width_mm": 50.0, "height_mm": 40.0, "land_mm": 16.0}
    off = GAP / 2 + 20
    first = equipment("magnetic_v_block", name="first", at=(HOLE_X - off, 0, 0), **size)
    second = equipment("magnetic_v_block", name="second", at=(HOLE_X + off, 0, 0), **size)
    (stop,) = equipment(
        "blocking_block", name="stop", at=(-10, -12, 9), length_mm=20.0, width_mm=18.0, height_mm=5.0
    )
    seats = [
        Seat(
            body="pawl",
            face=f"{side}_seat",
            on=f"{vee}_{side}",
            on_face=f"{side}_flank",
            rank=rank,
            min_share=0.15,
        )
        for vee in ("first", "second")
        for side, rank in (("left", "primary"), ("right", "secondary"))
    ]
    seats.append(Seat(body="pawl", face="back", on="stop", on_face="plus_x", rank="stop", min_share=0.1))
    drill = Drilling(
        name="cross_hole",
        parts=("pawl",),
        hole="hole",
        seat_mm=SEAT_D,
        feed_mm=0.04,
        flute_mm=24.0,
        stick_out_mm=30.0,
        nut_mm=28.0,
        nut_long_mm=30.0,
        nose_mm=60.0,
    )
    return Setup(
        name="cross hole",
        bodies=(*first, *second, replace(stop, fastened=True), replace(after, at=place())),
        seats=tuple(seats),
        drills=(drill,),
        machine=Machine(table_z_mm=-31.0),
        holding=replace(MAGNET, magnet="off", coolant=True, clamps=STRAPS),
    )


def harden(before, _after) -> Setup:
    """The pawl on its back on a tray, as it goes into the furnace; it is tested where it is relieved."""
    tray = equipment("blocking_block", name="tray", length_mm=60.0, width_mm=40.0, height_mm=6.0)
    stands = replace(before, at=place(at=(0, 0, 6), rotate=[("y", -90)]))
    return Setup(
        name="harden",
        bodies=(*tray, stands),
        seats=(Seat(body="pawl", face="back", on="tray", on_face="top"),),
        hardening=Hardening(process="vacuum_gas", wanted_hrc=(60.0, 62.0), demagnetised=True),
    )


DOWNFEED = Handwheel(graduation_mm=0.005, turn_mm=1.0, counts_up="down")


def final(_before, after) -> Setup:
    """The last pass in the corner, four hard pawls nested; the dial of the downfeed is set on the floor."""
    four = gang(drilled(), "final pass", 4)
    pawls = [replace(after, name=b.name, at=b.at) for b in four.bodies if b.role == "part"]
    cut = _corner("final", tuple(b.name for b in pawls), FLOOR_LEFT, WALL_LEFT)
    bodies = (*(b for b in four.bodies if b.role == "fixture"), *pawls)
    machine = replace(four.machine, downfeed=DOWNFEED)
    setup = replace(four, bodies=bodies, cuts=(cut,), machine=machine, dials=Dials(touch_top="pawl_1.floor"))
    return _railed(_held(setup))


SETUPS = {10: top_up, 20: angle, 30: corner, 40: pocket, 50: hole, 60: harden, 70: final}


def pawl_job():
    """Return the job, from bar to hardened pawl."""
    return job_of("index pawl", part(), OPERATIONS, setups=SETUPS, blank=bar().val(), count=4)


LUG = 0.5  # what the faulty bars are longer


def against_the_saw_cut(_before, after) -> Setup:
    """The corner as in the sound job, but stopped by the saw cut at the front of the bar."""
    setup = corner(_before, after)
    seats = tuple(replace(s, face="saw_cut") if s.face == "back" else s for s in setup.seats)
    return replace(setup, seats=seats)


def hole_without_a_seat(before, after) -> Setup:
    """The cross hole as in the sound job, but the drill starts on the slope itself."""
    setup = hole(before, after)
    return replace(setup, drills=tuple(replace(d, seat_mm=None) for d in setup.drills))


def touched_in_the_corner(before, after) -> Setup:
    """The last pass as in the sound job, but the wheel touches off on the round of the corner."""
    return replace(final(before, after), dials=Dials(touch_top="pawl_1.corner_fillet"))


FAULTY_SETUPS = {30: against_the_saw_cut, 50: hole_without_a_seat, 70: touched_in_the_corner}


def faulty_job():
    """Return the job with four faults.

    The stop of the corner is milled off before, the nest is not stoned, the drill starts on a slope without a
    seat, and the last pass is touched off on a round.
    """
    front = Operation(number=15, name="face the end", kind="mill", makes=("front",), stock_mm={"*": LUG})
    unstoned = [
        replace(o, stones=tuple(s for s in o.stones if s != ("nest",))) if o.number == 70 else o
        for o in OPERATIONS
    ]
    unstoned = [replace(o, stones=(("top",), ("front",))) if o.number == 20 else o for o in unstoned]
    longer = Blank(solid=bar(LUG).val(), faces={"saw_cut": _front_of(bar(LUG).val())})
    return job_of(
        "index pawl, with faults",
        part(),
        (*unstoned, front),
        setups=SETUPS | FAULTY_SETUPS,
        blank=longer,
        count=4,
    )


def _front_of(solid) -> tuple[int, ...]:
    faces = solid.Faces()
    return tuple(i for i, face in enumerate(faces) if face.Center().x > 20 + LUG - 1e-6)
