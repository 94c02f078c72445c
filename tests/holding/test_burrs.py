"""Which edges a cut leaves a burr on, by where its stroke runs out."""

import math

import pytest

from fixturecheck import Cut, Machine, Seat, Setup
from fixturecheck.kernel.boolean import cut
from fixturecheck.kernel.construct import box
from fixturecheck.machining.as_ground import grind
from fixturecheck.release.sequence import burrs_of
from tests.holding.blocks import W, part, table, walls


def test_burrs_lie_where_the_stroke_runs_out_and_say_which_faces_are_seats():
    block = part(faces={"floor": ">Z", "left": "<X", "right": ">X", "front": "<Y", "back": ">Y"})
    setup = Setup(
        name="bench",
        bodies=(table(), block, *walls(0.0, 10.0, sides="L")),
        seats=(Seat(body="block", face="left", on="wall_L", on_face="face_1"),),
        cuts=(Cut(name="top", parts=("block",), floor="floor"),),
    )
    found = burrs_of(setup, [grind(setup, setup.cuts[0])])
    assert [(b.edge, b.ends, b.sparks, b.seats) for b in found] == [
        ("block.floor+left", ("-X",), False, ("left",)),
        ("block.floor+right", ("+X",), True, ()),
    ]
    assert [b.length_mm for b in found] == pytest.approx([W, W])
    other = burrs_of(
        Setup(name="bench", bodies=setup.bodies, cuts=setup.cuts, machine=Machine(sparks="left")),
        [grind(setup, setup.cuts[0])],
    )
    assert [b.edge for b in other if b.sparks] == ["block.floor+left"]


def test_the_corner_between_floor_and_wall_carries_no_burr_and_a_hole_does():
    from fixturecheck.kernel.construct import cylinder

    step = cut(box((-30, -20, 0), (30, 20, 20)), box((-31, -21, 12), (31, 5, 21)))
    solid = cut(step, cylinder(3.0, (0, -8, -1), (0, -8, 13)))
    block = part(
        solid=solid,
        faces={"floor": (-20, -10, 12), "wall": (0, 5, 16), "left": (-30, 0, 5), "right": (30, 0, 5),
               "hole": (3, -8, 5)},
    )  # fmt: skip
    setup = Setup(
        name="bench",
        bodies=(table(), block),
        cuts=(Cut(name="step", parts=("block",), floor="floor", wall="wall", wall_stock_mm=0.05),),
    )
    found = {b.edge: b for b in burrs_of(setup, [grind(setup, setup.cuts[0])])}
    assert set(found) == {
        "block.floor+left", "block.floor+right", "block.floor+hole", "block.left+wall", "block.right+wall",
    }  # fmt: skip
    assert found["block.floor+hole"].ends == ("+X", "-X")
    # The rim but for what looks less than 20 degrees along the traverse, in chords.
    assert found["block.floor+hole"].length_mm == pytest.approx(2 * math.pi * 3 * (1 - 40 / 180), rel=0.08)


def test_a_step_that_rises_at_the_end_of_the_stroke_carries_no_burr():
    solid = cut(box((-30, -20, 0), (30, 20, 20)), box((-31, -21, 12), (10, 21, 21)))
    block = part(solid=solid, faces={"floor": (-20, 0, 12), "riser": (10, 0, 16), "left": (-30, 0, 5)})
    setup = Setup(
        name="bench", bodies=(table(), block), cuts=(Cut(name="t", parts=("block",), floor="floor"),)
    )
    assert [b.edge for b in burrs_of(setup, [grind(setup, setup.cuts[0])])] == ["block.floor+left"]
