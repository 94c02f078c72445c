"""A gib ground on top on the flat chuck, against the back rail, with a block at either end."""

import cadquery as cq

from fixturecheck import Cut, Machine, Seat, Setup, Wheel, body, equipment

LENGTH, WIDTH, HEIGHT = 110.0, 22.0, 10.0
RAIL_Y = 75.0  # where the back rail's fence stands


def gib() -> cq.Workplane:
    """Return the gib: a strip with an oil groove below and two holes for its screws; lengths in mm."""
    strip = cq.Workplane("XY").box(LENGTH, WIDTH, HEIGHT, centered=(True, True, False))
    groove = cq.Workplane("XY").box(LENGTH - 20, 3.0, 1.0, centered=(True, True, False))
    strip = strip.cut(groove).edges("|Z").chamfer(1.0)
    return strip.faces(">Z").workplane().rarray(70.0, 1.0, 2, 1).hole(5.0)


FACES = {"floor": (5, 5, HEIGHT), "seat": (5, 5, 0), "back": (0, WIDTH / 2, 5), "left": (-LENGTH / 2, 0, 5)}
FACES["right"] = (LENGTH / 2, 0, 5)


def on_chuck(block_height_mm: float, name: str, **cut: float) -> Setup:
    """Return the set-up with blocks of some height; `cut` is what else is stated of the cut."""
    chuck = equipment("flat_magnetic_chuck", name="chuck")
    blocks = [
        equipment(
            "blocking_block",
            name=f"block_{side}",
            at=(sign * (LENGTH + 40) / 2, RAIL_Y - WIDTH / 2, 0),
            length_mm=40.0,
            width_mm=20.0,
            height_mm=block_height_mm,
        )[0]
        for side, sign in (("left", -1), ("right", 1))
    ]
    part = body(
        "gib", gib(), at=(0, RAIL_Y - WIDTH / 2, 0), material="gray_iron", faces=FACES, finish="ground"
    )
    return Setup(
        name=name,
        bodies=(*chuck, *blocks, part),
        seats=(
            Seat(body="gib", face="seat", on="chuck_plate", on_face="top", rank="primary"),
            Seat(body="gib", face="back", on="chuck_back_rail", on_face="fence", rank="secondary"),
            Seat(body="gib", face="left", on="block_left", on_face="plus_x", rank="stop"),
            Seat(body="gib", face="right", on="block_right", on_face="minus_x", rank="stop"),
        ),
        cuts=(
            Cut(
                name="top",
                parts=("gib",),
                floor="floor",
                stock_mm=0.2,
                way="traverse",
                cross_feed_mm=3.0,
                **cut,
            ),
        ),
        machine=Machine(table_z_mm=-20.0),
        wheel=Wheel(corner_radius_mm=0.2),
    )
