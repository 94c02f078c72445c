"""A keeper on a table, pushed against a stop: its lip meets the fillet of the stop before its back does."""

import cadquery as cq

from fixturecheck import Push, Seat, Setup, Staging, body

lip_mm = 0.0  # chamfer under the lip
clear_mm = 0.2  # height of the lip over the shelf of the stop
fillet_mm = 1.0  # fillet that the end mill leaves in the shelf

SHELF_Z = 6.0

stop = (
    cq.Workplane("XZ")
    .polyline([(-30, 0), (0, 0), (0, SHELF_Z), (-10, SHELF_Z), (-10, 20), (-30, 20)])
    .close()
    .extrude(20, both=True)
    .edges(cq.selectors.NearestToPointSelector((-10, 0, SHELF_Z)))
    .fillet(fillet_mm)
)
LIP_Z = SHELF_Z + clear_mm
keeper = (
    cq.Workplane("XZ")
    .polyline([(-10, LIP_Z), (1, LIP_Z), (1, 0), (30, 0), (30, 16), (-10, 16)])
    .close()
    .extrude(15, both=True)
)
if lip_mm > 0:
    keeper = keeper.edges(cq.selectors.NearestToPointSelector((-10, 0, LIP_Z))).chamfer(lip_mm)

setup = Setup(
    name="keeper against a stop",
    bodies=(
        body(
            "table",
            cq.Workplane().box(120, 80, 20).translate((0, 0, -10)),
            role="fixture",
            faces={"top": ">Z"},
        ),
        body("stop", stop, role="fixture", faces={"wall": (-10, 0, 15), "fillet": (-9.7, 0, 6.3)}),
        body(
            "keeper",
            keeper,
            faces={"base": "<Z", "back": "<X", "under": (-4, 0, LIP_Z)},
            no_function={"under"},
        ),
    ),
    seats=(
        Seat(body="keeper", face="base", on="table", on_face="top"),
        Seat(body="keeper", face="back", on="stop", on_face="wall", rank="secondary"),
    ),
    staging=Staging(push={"keeper": Push(direction=(-1, 0, 0))}),
)
