"""Three wear pads in a row on the chuck, against the back rail and between two blocks, ground on top."""

import cadquery as cq

from fixturecheck import Cut, Push, Seat, Setup, Staging, Wheel, body, equipment

LENGTH, WIDTH, HEIGHT = 20.0, 16.0, 6.0
RAIL_Y = 75.0  # where the back rail's fence stands
rail_height_mm = 4.0  # over the top of the chuck
block_height_mm = 5.0
count = 3  # pads in the row

pad = cq.Workplane("XY").box(LENGTH, WIDTH, HEIGHT, centered=(True, True, False)).edges("|Z").chamfer(0.5)
pad = pad.faces(">Z").workplane().hole(4.0)

names = [f"pad_{n + 1}" for n in range(count)]
at_y = RAIL_Y - WIDTH / 2
chuck = equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=rail_height_mm)
ends = {"block_left": -(count * LENGTH + 40.0) / 2, "block_right": (count * LENGTH + 40.0) / 2}
blocks = [
    equipment(
        "blocking_block",
        name=name,
        at=(x, at_y, 0),
        length_mm=40.0,
        width_mm=WIDTH,
        height_mm=block_height_mm,
    )[0]
    for name, x in ends.items()
]
pads = [
    body(
        name,
        pad,
        at=((n - (count - 1) / 2) * LENGTH, at_y, 0),
        material="tool_steel_o1",
        finish="ground",
        faces={
            "seat": (5, 5, 0),
            "back": (0, WIDTH / 2, HEIGHT / 2),
            "left": (-LENGTH / 2, 0, HEIGHT / 2),
            "right": (LENGTH / 2, 0, HEIGHT / 2),
            "floor": (5, 5, HEIGHT),
        },
    )
    for n, name in enumerate(names)
]
seats = []
for before, name in zip([None, *names[:-1]], names, strict=True):
    seats.append(Seat(body=name, face="seat", on="chuck_plate", on_face="top", rank="primary"))
    seats.append(Seat(body=name, face="back", on="chuck_back_rail", on_face="fence", rank="secondary"))
    if before:
        seats.append(Seat(body=name, face="left", on=before, on_face="right", rank="nest"))
    else:
        seats.append(Seat(body=name, face="left", on="block_left", on_face="plus_x", rank="stop"))
seats.append(Seat(body=names[-1], face="right", on="block_right", on_face="minus_x", rank="stop"))

setup = Setup(
    name="wear pads between two blocks",
    bodies=(*chuck, *blocks, *pads),
    seats=tuple(seats),
    cuts=(
        Cut(name="top", parts=tuple(names), floor="floor", stock_mm=0.2, way="traverse", cross_feed_mm=2.0),
    ),
    wheel=Wheel(corner_radius_mm=0.2),
    staging=Staging(push={"*": Push(direction=(-1, 0.5, 0))}, order=tuple(names)),
)
