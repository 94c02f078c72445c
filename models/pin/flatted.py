"""A pin with a flat, lying on it on the chuck: the second flat is ground parallel to the first."""

import math

import cadquery as cq

from fixturecheck import Cut, Push, Seat, Setup, Staging, Wheel, body, equipment

RADIUS, LENGTH = 6.0, 40.0
RAIL_Y = 75.0  # where the back rail's fence stands
across_mm = 9.0  # over the two flats

HALF = across_mm / 2
CHORD = 2.0 * math.sqrt(RADIUS**2 - HALF**2)  # width of a flat

pin = cq.Workplane("YZ").circle(RADIUS).extrude(LENGTH / 2, both=True)
pin = pin.intersect(cq.Workplane("XY").box(2 * LENGTH, 4 * RADIUS, across_mm)).translate((0, 0, HALF))
at_y = RAIL_Y - RADIUS

chuck = equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=6.0)
blocks = [
    equipment(
        "blocking_block",
        name=f"block_{side}",
        at=(sign * (LENGTH + 40.0) / 2, at_y, 0),
        length_mm=40.0,
        width_mm=12.0,
        height_mm=7.0,
    )[0]
    for side, sign in (("left", -1), ("right", 1))
]
setup = Setup(
    name="pin, second flat",
    bodies=(
        *chuck,
        *blocks,
        body(
            "pin",
            pin,
            at=(0, at_y, 0),
            material="steel_1018",
            finish="ground",
            faces={
                "first_flat": (0, 0, 0),
                "floor": (0, 0, across_mm),
                "round": (0, RADIUS, HALF),
                "left": (-LENGTH / 2, 0, HALF),
                "right": (LENGTH / 2, 0, HALF),
            },
        ),
    ),
    seats=(
        Seat(body="pin", face="first_flat", on="chuck_plate", on_face="top", rank="primary"),
        Seat(body="pin", face="round", on="chuck_back_rail", on_face="fence", rank="secondary"),
        Seat(body="pin", face="left", on="block_left", on_face="plus_x", rank="stop"),
        Seat(body="pin", face="right", on="block_right", on_face="minus_x", rank="stop"),
    ),
    cuts=(Cut(name="flat", parts=("pin",), floor="floor", stock_mm=0.2),),
    wheel=Wheel(corner_radius_mm=0.2),
    staging=Staging(push={"pin": Push(direction=(-1, 1, 0))}),
)
