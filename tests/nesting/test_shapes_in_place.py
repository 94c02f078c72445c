"""Parts of several shapes, drawn at rest: forces and orders worked out by hand."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.nesting.disturbances import order_of_placing
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.units import METRIC
from fixturecheck.wording.motion import settled_words

STEEL_N_MM3 = 7.87e-6 * 9.80665


def toward(*direction):
    return Push(direction=direction)


def table(shapes):
    return shapes.body("table", shapes.box(300, 300, 20, (0, 0, -20)))


def rests(setup, staging):
    """See that all rest as drawn in whatever order they can come, and return what each pair carries."""
    found = settle_setup(setup, staging)
    assert found.rests, settled_words(found, METRIC)
    for pose in found.poses.values():
        assert np.abs(pose.shift_mm).max() < 1e-6
        assert np.abs(pose.turn_deg).max() < 1e-6
    told = order_of_placing(setup, staging)
    assert told.fits, told.furthest
    carried = {}
    for one in found.carried:
        pair = frozenset((one.a.split(".")[0], one.b.split(".")[0]))
        carried.setdefault(pair, []).append(one.force_n)
    return carried


def test_a_key_in_a_v_block_between_two_ends(shapes):
    bar = cq.Workplane().box(12, 50, 12).val()
    key = shapes.body("key", bar, "part", at=(0, 0, 12 / math.sqrt(2)), turn=(cq.Vector(0, 1, 0), 45))
    ends = [shapes.body(f"end{y}", shapes.box(60, 10, 40, (0, y, 0))) for y in (-30, 30)]
    vee = shapes.body("vee", shapes.vee(90))
    carried = rests(shapes.setup(vee, *ends, key), Staging(push={"*": toward(0, -1, 0)}))
    weight_n = 12 * 12 * 50 * STEEL_N_MM3
    assert carried[frozenset(("key", "vee"))] == pytest.approx([weight_n / math.sqrt(2)] * 2, rel=1e-5)
    assert carried[frozenset(("key", "end-30"))] == pytest.approx([weight_n / 4], rel=1e-5)
    assert carried[frozenset(("key", "end30"))] == [0.0]


def test_a_pin_on_its_flat_between_two_blocks_against_a_rail(shapes):
    rod = cq.Workplane("YZ").circle(8).extrude(40)
    pin = rod.cut(cq.Workplane().box(200, 200, 10).translate((0, 0, -10))).val()
    bodies = (
        shapes.body("rail", shapes.box(200, 20, 12, (20, 18, 0))),
        shapes.body("left", shapes.box(20, 14, 10, (-10, 0, 0))),
        shapes.body("right", shapes.box(20, 14, 10, (50, 0, 0))),
        shapes.body("pin", pin, "part", at=(0, 0, 5)),
    )
    carried = rests(shapes.setup(table(shapes), *bodies), Staging(push={"*": toward(-1, 1, 0)}))
    # Section: a circle of 8 mm less the segment below its chord 5 mm under the middle.
    angle = 2 * math.acos(5 / 8)
    weight_n = 40 * (math.pi * 64 - 32 * (angle - math.sin(angle))) * STEEL_N_MM3
    side_n = weight_n / 4 / math.sqrt(2)
    assert sum(carried[frozenset(("pin", "table"))]) == pytest.approx(weight_n, rel=1e-4)
    assert sum(carried[frozenset(("pin", "rail"))]) == pytest.approx(side_n, rel=1e-4)
    assert sum(carried[frozenset(("pin", "left"))]) == pytest.approx(side_n, rel=1e-4)
    assert sum(carried[frozenset(("pin", "right"))]) == 0.0


@pytest.mark.parametrize("order", [(), ("part", "b1", "b3")])
@pytest.mark.parametrize("push", [{}, {"*": toward(-1, -1, 0)}])
def test_a_part_blocked_in_on_four_sides(shapes, order, push):
    sides = [((10, 30), (-20, 0)), ((10, 30), (20, 0)), ((30, 10), (0, -20)), ((30, 10), (0, 20))]
    blocks = [shapes.body(f"b{i}", shapes.box(*wide, 10, (*at, 0))) for i, (wide, at) in enumerate(sides)]
    part = shapes.body("part", shapes.box(30, 30, 8), "part")
    carried = rests(shapes.setup(table(shapes), *blocks, part), Staging(push=push, order=order))
    side_n = 30 * 30 * 8 * STEEL_N_MM3 / 4 / math.sqrt(2) if push else 0.0
    sums = [sum(carried[frozenset(("part", f"b{i}"))]) for i in range(4)]
    assert sums == pytest.approx([side_n, 0.0, side_n, 0.0], rel=1e-4, abs=1e-6)


@pytest.mark.parametrize("backwards", [False, True])
def test_two_parts_pushed_into_a_corner_however_they_are_listed(shapes, backwards):
    walls = [
        shapes.body("wx", shapes.box(10, 100, 20, (-5, 0, 0))),
        shapes.body("wy", shapes.box(100, 10, 20, (50, -55, 0))),
    ]
    gang = [
        shapes.body(f"g{i}", shapes.box(20, 20, 15, (10, 0, 0)), "part", at=(20 * i, -40, 0))
        for i in range(2)
    ]
    setup = shapes.setup(table(shapes), *walls, *(gang[::-1] if backwards else gang))
    carried = rests(setup, Staging(push={"*": toward(-1, -1, 0)}))
    each_n = 20 * 20 * 15 * STEEL_N_MM3 / 4 / math.sqrt(2)
    assert carried[frozenset(("g0", "wx"))] == pytest.approx([2 * each_n], rel=1e-4)
    assert carried[frozenset(("g0", "g1"))] == pytest.approx([each_n], rel=1e-4)
    assert carried[frozenset(("g1", "wy"))] == pytest.approx([each_n], rel=1e-4)


def test_a_wedge_under_a_block_between_a_wall_and_a_low_end(shapes):
    # A part that is lifted above the low end would slide over it, so nothing is let go from there.
    slope = math.tan(math.radians(10))
    low = cq.Workplane("XZ").polyline([(0, 0), (40, 0), (40, 4 + 40 * slope), (0, 4)]).close()
    high = cq.Workplane("XZ").polyline([(0, 4), (40, 4 + 40 * slope), (40, 30), (0, 30)]).close()
    wedge, top = (one.extrude(10, both=True).val() for one in (low, high))
    bodies = (
        shapes.body("wall", shapes.box(10, 60, 40, (-5, 0, 0))),
        shapes.body("end", shapes.box(10, 60, 5, (45, 0, 0))),
        shapes.body("wedge", wedge, "part"),
        shapes.body("top", top, "part"),
    )
    staging = Staging(push={"wedge": toward(1, 0, 0), "top": toward(-1, 0, 0)})
    carried = rests(shapes.setup(table(shapes), *bodies), staging)
    wedge_n, top_n = wedge.Volume() * STEEL_N_MM3, top.Volume() * STEEL_N_MM3
    assert carried[frozenset(("wedge", "top"))] == pytest.approx(
        [top_n / math.cos(math.radians(10))], rel=1e-4
    )
    assert carried[frozenset(("wall", "top"))] == pytest.approx([top_n / 4 + top_n * slope], rel=1e-4)
    assert carried[frozenset(("end", "wedge"))] == pytest.approx([wedge_n / 4 + top_n * slope], rel=1e-4)
    assert carried[frozenset(("table", "wedge"))] == pytest.approx([wedge_n + top_n], rel=1e-4)


@pytest.mark.parametrize("off_mm", [0.0, 0.8])
def test_a_part_under_a_ledge_is_drawn_back_level(shapes, off_mm):
    # 0.05 mm under a ledge over its front: it comes in level, neither from above nor slanting down.
    solid = cq.Workplane(shapes.box(20, 60, 30, (-10, 0, 0))).union(
        cq.Workplane(shapes.box(10, 60, 10, (5, 0, 20.05)))
    )
    part = shapes.body("part", shapes.box(40, 40, 20, (20 + off_mm, 0, 0)), "part")
    setup = shapes.setup(table(shapes), shapes.body("ledge", solid.val()), part)
    for order in ((), ("part",)):
        found = settle_setup(setup, Staging(push={"*": toward(-1, 0, 0)}, order=order))
        assert found.rests
        assert found.poses["part"].shift_mm == pytest.approx((-off_mm, 0, 0), abs=1e-6)
