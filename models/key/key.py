"""A square key whose upper edge gets a chamfer: it lies on two sides in the V-block, against an end stop."""

import math

import cadquery as cq

from fixturecheck import Cut, Push, Seat, Setup, Staging, Wheel, body, equipment

SIDE, LENGTH = 10.0, 50.0
chamfer_mm = 1.5  # legs of the chamfer
stop_height_mm = 4.5  # of the end stop over the land that it stands on

DIAGONAL = SIDE * math.sqrt(2.0)
FLOOR_Z = DIAGONAL - chamfer_mm / math.sqrt(2.0)
LAND_Z = 7.0  # where the flanks of this V-block end

# The lower edge lies in the bottom of the V; a small chamfer there keeps clear of it.
outline = [(0.0, 0.0), (DIAGONAL / 2, DIAGONAL / 2), (0.0, DIAGONAL), (-DIAGONAL / 2, DIAGONAL / 2)]
key = cq.Workplane("YZ").polyline(outline).close().extrude(LENGTH)
key = key.edges(cq.selectors.NearestToPointSelector((LENGTH / 2, 0, DIAGONAL))).chamfer(chamfer_mm)

vee = equipment(
    "magnetic_v_block",
    name="vee",
    at=(20, 0, 0),
    length_mm=100.0,
    width_mm=50.0,
    height_mm=40.0,
    land_mm=18.0,
)
stop = equipment(
    "blocking_block",
    name="stop",
    at=(-10, -12, LAND_Z),
    length_mm=20.0,
    width_mm=20.0,
    height_mm=stop_height_mm,
)

setup = Setup(
    name="key, chamfer, in the V-block",
    bodies=(
        *vee,
        *stop,
        body(
            "key",
            key,
            material="steel_1018",
            finish="ground",
            faces={
                "left_side": (LENGTH / 2, -DIAGONAL / 4, DIAGONAL / 4),
                "right_side": (LENGTH / 2, DIAGONAL / 4, DIAGONAL / 4),
                "end": (0, 0, DIAGONAL / 2),
                "floor": (LENGTH / 2, 0, FLOOR_Z),
            },
        ),
    ),
    seats=(
        Seat(body="key", face="left_side", on="vee_left", on_face="left_flank", rank="primary"),
        Seat(body="key", face="right_side", on="vee_right", on_face="right_flank", rank="secondary"),
        Seat(body="key", face="end", on="stop", on_face="plus_x", rank="stop", min_share=0.1),
    ),
    cuts=(Cut(name="chamfer", parts=("key",), floor="floor", stock_mm=0.3),),
    wheel=Wheel(corner_radius_mm=0.2),
    staging=Staging(push={"key": Push(direction=(-1, 0, 0))}),
)
