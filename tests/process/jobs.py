"""A block with a step, a pocket and a hole, and its job, for tests; lengths in mm."""

from __future__ import annotations

from dataclasses import replace

import cadquery as cq

from fixturecheck import Cut, Machine, Seat, Setup, body, equipment
from fixturecheck.process.load import job_of
from fixturecheck.process.model import Job
from fixturecheck.process.records import Operation

LONG, WIDE, HIGH = 40.0, 30.0, 20.0
HOLE_D, POCKET, POCKET_DEEP = 6.0, (12.0, 8.0), 5.0
FACES = {
    "top": (-18, 12, HIGH),
    "bottom": (-18, 12, 0),
    "left": (-LONG / 2, 0, 5),
    "right": (LONG / 2, 0, 5),
    "front": (0, -WIDE / 2, 5),
    "back": (0, WIDE / 2, 5),
    "hole": (12 + HOLE_D / 2, 0, 10),
    "pocket_floor": (-8, 0, HIGH - POCKET_DEEP),
    "pocket_left": (-8 - POCKET[0] / 2, 0, HIGH - 2),
    "pocket_right": (-8 + POCKET[0] / 2, 0, HIGH - 2),
    "pocket_front": (-8, -POCKET[1] / 2, HIGH - 2),
    "pocket_back": (-8, POCKET[1] / 2, HIGH - 2),
}
POCKET_FACES = tuple(name for name in FACES if name.startswith("pocket"))


def block() -> cq.Workplane:
    """Return the finished block."""
    whole = cq.Workplane("XY").box(LONG, WIDE, HIGH, centered=(True, True, False))
    hole = cq.Workplane("XY").center(12, 0).circle(HOLE_D / 2).extrude(HIGH)
    pocket = cq.Workplane("XY").box(*POCKET, POCKET_DEEP, centered=(True, True, False))
    return whole.cut(hole).cut(pocket.translate((-8, 0, HIGH - POCKET_DEEP)))


def part(**more):
    """Return the block as a part with its faces."""
    return body("block", block(), material="steel_1018", faces=FACES, finish="ground", **more)


def on_chuck(floor: str):
    """Return what makes a set-up in which one side is ground, the other on the chuck."""
    seat = {"top": "bottom", "bottom": "top"}[floor]

    def make(_before, after) -> Setup:
        from fixturecheck import place

        turned = place(at=(0, 40, HIGH), rotate=[("x", 180)]) if floor == "bottom" else place(at=(0, 40, 0))
        if floor == "top" and "bottom" in after.faces:
            low = min(f.BoundingBox().zmin for f in after.solid.Faces())
            turned = place(at=(0, 40, -low))
        return Setup(
            name=f"{floor} up",
            bodies=(*equipment("flat_magnetic_chuck", name="chuck"), replace(after, at=turned)),
            seats=(Seat(body="block", face=seat, on="chuck_plate", on_face="top"),),
            cuts=(Cut(name="flat", parts=("block",), floor=floor, stock_mm=0.2, way="traverse"),),
            machine=Machine(table_z_mm=-20.0),
        )

    return make


ROUTE = (
    Operation(number=10, name="first side", kind="grind", makes=("top",), stock_mm={"*": 0.3}),
    Operation(
        number=20,
        name="second side",
        kind="grind",
        makes=("bottom",),
        stock_mm={"*": 0.2},
        stones=(("top",),),
    ),
    Operation(number=30, name="pocket", kind="mill", makes=POCKET_FACES),
    Operation(number=40, name="hole", kind="drill", makes=("hole",)),
)


def route(*operations: Operation, **more) -> Job:
    """Return the job of the block by some operations."""
    return job_of("a block", part(), operations or ROUTE, **more)


def changed(number: int, **fields) -> tuple[Operation, ...]:
    """Return the route with one operation changed."""
    return tuple(replace(o, **fields) if o.number == number else o for o in ROUTE)
