"""Pushes from a tenth of a newton to ten kilonewtons: a part must be carried, and tips where moments say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fixturecheck.nesting.settle import settle_setup
from fixturecheck.setup.staging import Push, Staging

DENSITY_N_MM3 = 7.87e-6 * 9.80665
FORCES_N = [0.1, 1.0, 10.0, 30.0, 100.0, 200.0, 1e3, 1e4]


def against_a_stop(shapes, off=(0.0, 0.0, 0.0), stop_mm=20.0):
    table = shapes.body("table", shapes.box(400, 400, 20, (0, 0, -20)))
    stop = shapes.body("stop", shapes.box(10, 100, stop_mm, (-5, 0, 0)))
    block = shapes.body("block", shapes.box(30, 20, 20, (15, 0, 0)), "part", at=off)
    return shapes.setup(table, stop, block)


@pytest.mark.parametrize("force_n", FORCES_N)
@pytest.mark.parametrize("off", [(0.0, 0.0, 0.0), (0.8, 0.0, 1.3)])
def test_a_block_pushed_at_a_stop_lies_on_the_table_however_hard(shapes, force_n, off):
    setup = against_a_stop(shapes, off)
    found = settle_setup(setup, Staging(push={"block": Push(direction=(-1, 0, 0), force_n=force_n)}))
    assert found.rests
    assert found.poses["block"].shift_mm == pytest.approx(tuple(-v for v in off), abs=1e-5)
    assert np.abs(found.poses["block"].turn_deg).max() < 1e-4
    # The table carries the weight, the stop the push.
    carried = {c.a.split(".")[0]: 0.0 for c in found.carried}
    for one in found.carried:
        carried[one.a.split(".")[0]] += one.force_n
    assert carried["table"] == pytest.approx(30 * 20 * 20 * DENSITY_N_MM3, rel=1e-3)
    assert carried["stop"] == pytest.approx(force_n, rel=1e-6)


@pytest.mark.parametrize(("share", "stays"), [(0.9, True), (1.1, False), (1000.0, False)])
def test_a_block_pushed_above_a_low_stop_lifts_where_moments_say(shapes, share, stays):
    # Pushed at 15 mm over a stop 5 mm high the block would turn about the place 5 mm above its near edge:
    # W 15 = F (15 - 5).
    setup = against_a_stop(shapes, stop_mm=5.0)
    force_n = share * 30 * 20 * 20 * DENSITY_N_MM3 * 15 / 10
    push = Push(direction=(-1, 0, 0), force_n=force_n, at_mm=(15, 0, 15))
    found = settle_setup(setup, Staging(push={"block": push}))
    there = found.rests and np.abs(found.poses["block"].turn_deg).max() < 1e-4
    assert bool(there) is stays


def test_a_light_part_beside_a_heavy_one_lies_on_the_table(shapes):
    # 29 N beside 0.6 mN: what the light one weighs counts as much for it.
    table = shapes.body("table", shapes.box(400, 400, 20, (0, 0, -20)))
    heavy = shapes.body("heavy", shapes.box(80, 80, 60, (50, 0, 0.5)), "part")
    light = shapes.body("light", shapes.box(2, 2, 2, (-50, 0, 1.5)), "part")
    found = settle_setup(shapes.setup(table, heavy, light), Staging())
    assert found.rests
    assert found.poses["heavy"].shift_mm == pytest.approx((0, 0, -0.5), abs=1e-6)
    assert found.poses["light"].shift_mm == pytest.approx((0, 0, -1.5), abs=1e-6)


def test_a_part_pressed_between_two_walls_falls_to_the_table(shapes):
    # Walls alone hold nothing up, however hard it is pushed against one of them.
    setup = against_a_stop(shapes)
    wall = shapes.body("wall", shapes.box(10, 100, 20, (35.01, 0, 0)))
    high = tuple(replace(b, at=b.at) for b in setup.bodies)
    found = settle_setup(
        shapes.setup(*high, wall), Staging(push={"block": Push(direction=(-1, 0, 0), force_n=2e3)})
    )
    assert found.rests
    assert np.abs(found.poses["block"].shift_mm).max() < 1e-5
