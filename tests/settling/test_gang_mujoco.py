"""A general-purpose dynamics engine (MuJoCo) lets the same bodies fall and slide to rest."""

from __future__ import annotations

import mujoco
import numpy as np
import pytest

from fixturecheck.settling.model import Push, Staging
from fixturecheck.settling.run import settle_setup

GRAVITY = 9.80665
SHARE = 0.25


def at_rest(boxes, fixed, timestep=5e-4):
    """Settle boxes [(half size, start)] on fixed ones under weight and a quarter of it along -X, in mm."""
    gravity = f"{-SHARE * GRAVITY} 0 {-GRAVITY}"
    model = [f'<mujoco><option timestep="{timestep}" gravity="{gravity}" integrator="implicitfast"']
    model += [f' iterations="200"/><default><geom condim="1" friction="0 0 0" solref="{2 * timestep} 1"']
    model += [' solimp="0.999 0.9999 0.00001" density="7850"/></default><worldbody>']

    def numbers(values):
        return " ".join(f"{v * 1e-3:.9g}" for v in values)

    for half, place in fixed:
        model.append(f'<geom type="box" size="{numbers(half)}" pos="{numbers(place)}"/>')
    for half, place in boxes:
        model.append(f'<body pos="{numbers(place)}"><freejoint/>')
        model.append(f'<geom type="box" size="{numbers(half)}"/></body>')
    world = mujoco.MjModel.from_xml_string("".join([*model, "</worldbody></mujoco>"]))
    data = mujoco.MjData(world)
    while data.time < 1.5:
        mujoco.mj_step(world, data)
        if data.time > 0.1 and np.abs(data.qvel).max() < 1e-5:
            break
    deepest = -min((c.dist for c in data.contact[: data.ncon]), default=0.0) * 1e3
    touching = {tuple(sorted((int(c.geom1), int(c.geom2)))) for c in data.contact[: data.ncon]}
    return data.qpos.reshape(-1, 7)[:, :3] * 1e3, deepest, touching


@pytest.mark.parametrize("count", [1, 3])
def test_the_same_boxes_rest_in_the_same_place_on_the_same_faces(shapes, count):
    table = shapes.body("table", shapes.box(400, 200, 20, (100, 0, -20)))
    stop = shapes.body("stop", shapes.box(10, 100, 20, (-5, 0, 0)))
    solid = shapes.box(8, 20, 20, (0, 0, -10))
    gang = [shapes.body(f"p{i}", solid, "part", at=(4 + 8 * i, 0, 10)) for i in range(count)]
    push = Push(direction=(-1, 0, 0))
    found = settle_setup(shapes.setup(table, stop, *gang), Staging(push={"*": push}))
    places, deepest, touching = at_rest(
        [((4, 10, 10), (6 + 9 * i, 0, 12)) for i in range(count)],
        [((200, 100, 10), (100, 0, -10)), ((5, 50, 10), (-5, 0, 10))],
    )
    mine = np.array([found.poses[f"p{i}"].matrix[:3, 3] for i in range(count)])
    # Their contacts are springs: each body sinks by the depth they report, and a row of n adds n of them;
    # a tenth more covers the last creep, stopped at 10 um/s.
    bound = 1.1 * count * deepest + 1e-5
    assert bound < 2e-3
    assert places[:, [0, 2]] == pytest.approx(mine[:, [0, 2]], abs=bound)
    names = ["table", "stop", *(b.name for b in gang)]
    carried = {tuple(sorted((c.a.split(".")[0], c.b.split(".")[0]))) for c in found.carried if c.force_n > 0}
    assert carried == {tuple(sorted((names[i], names[j]))) for i, j in touching}


def test_a_box_that_tips_over_a_ledge_ends_on_the_floor_in_both(shapes):
    ledge = shapes.body("ledge", shapes.box(10, 100, 10))
    floor = shapes.body("floor", shapes.box(600, 400, 10, (0, 0, -40)))
    part = shapes.body("part", shapes.box(60, 20, 20, (0, 0, -10)), "part", at=(12, 0, 20))
    found = settle_setup(shapes.setup(ledge, floor, part), Staging())
    assert found.rests
    assert found.poses["part"].matrix[2, 3] == pytest.approx(-30 + 10, abs=1e-5)
