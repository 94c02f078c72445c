"""The gib held by the magnet, as a CadQuery assembly: each node states its own facts in its metadata.

It says what held.py says, and besides how the gib is pushed into its corner before the magnet goes on.
"""

import cadquery as cq
from gib import FACES, RAIL_Y, WIDTH, gib

BLOCK = {"length_mm": 40.0, "width_mm": 20.0, "height_mm": 8.0}
Y = RAIL_Y - WIDTH / 2

facts = {
    "setup": {"name": "gib, held by the magnet"},
    "wheel": {"corner_radius_mm": 0.2},
    "machine": {
        "table_z_mm": -20.0,
        "downfeed": {"graduation_mm": 0.005, "turn_mm": 1.0, "counts_up": "down"},
        "cross_feed": {"graduation_mm": 0.02, "turn_mm": 4.0, "counts_up": "in", "backlash_mm": 0.1},
    },
    # Equipment of the shop is stated in the top node; its solids are made when the set-up is read.
    "equipment": [
        {"kind": "flat_magnetic_chuck", "name": "chuck"},
        {"kind": "blocking_block", "name": "block_left", "at": [-75.0, Y, 0.0], "params": BLOCK},
        {"kind": "blocking_block", "name": "block_right", "at": [75.0, Y, 0.0], "params": BLOCK},
    ],
    "seat": [
        {"body": "gib", "face": "seat", "on": "chuck_plate", "on_face": "top", "rank": "primary"},
        {"body": "gib", "face": "back", "on": "chuck_back_rail", "on_face": "fence", "rank": "secondary"},
        {"body": "gib", "face": "left", "on": "block_left", "on_face": "plus_x", "rank": "stop"},
        {"body": "gib", "face": "right", "on": "block_right", "on_face": "minus_x", "rank": "stop"},
    ],
    "cut": [
        {
            "name": "top",
            "parts": ["gib"],
            "floor": "floor",
            "stock_mm": 0.2,
            "way": "traverse",
            "cross_feed_mm": 3.0,
            "downfeed_mm": 0.01,
        }
    ],
    "staging": {"push": {"gib": {"direction": [-1.0, 1.0, 0.0]}}},
    "holding": {"magnet": "full", "rated_pull_n_cm2": 80.0},
}

setup = cq.Assembly(name="gib_on_chuck", metadata={"fixturecheck": facts})
setup.add(
    gib(),
    name="gib",
    loc=cq.Location((0.0, Y, 0.0)),
    metadata={
        "fixturecheck": {
            "material": "gray_iron",
            "finish": "ground",
            "faces": {name: {"near": list(point)} for name, point in FACES.items()},
        }
    },
)
