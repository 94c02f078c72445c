"""An index pawl that nests end to end: the tail of each rests on the step of the one before it.

Drawn as it stands in a V-block of 90 degrees, trough along X, vertex line at the origin, pawl_1's back at
x = 0. The heel, the edge under the tail, has no function; `heel_mm` chamfers it.
"""

import cadquery as cq

PITCH = 16.0  # from one nest face to the next
STEP_Z = 6.0  # height of the step in the tail of the pawl before
CLEAR_Z = 0.2  # clearance of the tail over that step
STEP_R = 1.0  # fillet that the end mill leaves in the step
FLOOR_Z, WALL_Y = 11.0, -1.0
CORNER_R = 0.5  # fillet drawn in the ground corner


def pawl(heel_mm: float = 0.0) -> cq.Workplane:
    """Return one pawl; lengths in mm."""
    section = [(0, 0), (8, 8), (8, FLOOR_Z), (WALL_Y, FLOOR_Z), (WALL_Y, 15), (-5, 15), (-8, 12), (-8, 8)]
    bar = cq.Workplane("YZ").polyline(section).close().extrude(PITCH + 4)
    step = (
        cq.Workplane("XZ").moveTo(PITCH, STEP_Z).lineTo(40, STEP_Z).lineTo(40, 40).lineTo(PITCH, 40).close()
    )
    step = step.extrude(40, both=True).edges("<X and <Z").fillet(STEP_R)
    under = cq.Workplane("XY").box(4.3, 80, STEP_Z + CLEAR_Z, centered=(False, True, False))
    drawn = bar.cut(step).cut(under)
    drawn = drawn.edges(cq.selectors.NearestToPointSelector((8, WALL_Y, FLOOR_Z))).fillet(CORNER_R)
    if heel_mm > 0:
        drawn = drawn.edges(cq.selectors.NearestToPointSelector((0, 0, STEP_Z + CLEAR_Z))).chamfer(heel_mm)
    return drawn


FACES = {
    "left_seat": (8, -5, 5),
    "right_seat": (8, 5, 5),
    "back": (0, 0, 9),
    "nest": (PITCH, 0, 9),
    "step": (PITCH + 3, 0, STEP_Z),
    "step_fillet": (PITCH + 0.3, 0, STEP_Z + 0.3),
    "under": (2, 0, STEP_Z + CLEAR_Z),
    "floor": (8, 4, FLOOR_Z),
    "wall": (8, WALL_Y, 13),
}
