"""A link whose narrow edge is ground: a flat bar with a hole at either end and rounded corners."""

import cadquery as cq

LENGTH, THICK, TALL = 60.0, 6.0, 24.0


def link() -> cq.Workplane:
    """Return the link standing on its narrow edge, z from 0 to TALL; lengths in mm."""
    bar = cq.Workplane("XY").box(LENGTH, THICK, TALL, centered=(True, True, False))
    bar = bar.edges("|Y").fillet(4.0)
    return bar.faces("<Y").workplane(centerOption="CenterOfBoundBox").rarray(36.0, 1.0, 2, 1).hole(8.0)


FACES = {
    "floor": (0, 0, TALL),
    "foot": (0, 0, 0),
    "front": (0, -THICK / 2, 12),
    "back": (0, THICK / 2, 12),
}
