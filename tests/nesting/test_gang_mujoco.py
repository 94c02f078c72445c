"""A general-purpose dynamics engine (MuJoCo) lets the same bodies fall and slide to rest."""

from __future__ import annotations

import math

import cadquery as cq
import mujoco
import numpy as np
import pytest

from fixturecheck.nesting.model import settling_model_of
from fixturecheck.nesting.settle import loads_of, loose_of, moved_back, ranks_of, retreats_of, settle_setup
from fixturecheck.setup.model import Setup
from fixturecheck.setup.staging import Push, Staging
from tests.nesting.convex_pieces import OPTIONS, gang_model
from tests.nesting.pawl_gang import gang

GRAVITY = 9.80665
SHARE = 0.25


def at_rest(boxes, fixed, timestep=5e-4, share=SHARE, drag=0.0):
    """Settle boxes [(half size, start)] on fixed ones under weight and a share of it along -X, in mm."""
    gravity = f"{-share * GRAVITY} 0 {-GRAVITY}"
    model = [f'<mujoco><option timestep="{timestep}" gravity="{gravity}" integrator="implicitfast"']
    model += [f' iterations="200"/><default><geom condim="1" friction="0 0 0" solref="{2 * timestep} 1"']
    model += [' solimp="0.999 0.9999 0.00001" density="7850"/></default><worldbody>']

    def numbers(values):
        return " ".join(f"{v * 1e-3:.9g}" for v in values)

    for half, place in fixed:
        model.append(f'<geom type="box" size="{numbers(half)}" pos="{numbers(place)}"/>')
    for half, place in boxes:
        model.append(f'<body pos="{numbers(place)}"><joint type="free" damping="{drag}"/>')
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
    # Without friction a dropped box would slide for ever: a little drag lets it come to rest.
    places, deepest, touching = at_rest(
        [((30, 10, 10), (12, 0, 22))], [((5, 50, 5), (0, 0, 5)), ((300, 200, 5), (0, 0, -35))],
        share=0.0, drag=0.05,
    )  # fmt: skip
    assert touching == {(1, 2)}
    assert {c.a.split(".")[0] for c in found.carried if c.force_n > 0} == {"floor"}
    # It lies on a long side: half its thickness over the floor, less what the springs give.
    assert found.poses["part"].matrix[2, 3] == pytest.approx(-30 + 10, abs=1e-6)
    assert deepest < 1e-3
    assert places[0, 2] == pytest.approx(-30 + 10, abs=2 * deepest + 1e-5)


def stepped(bodies, start, gravity, timestep=5e-4, longest_s=1.0, held=range(6)):
    """Step a set-up's bodies as convex pieces until nothing moves in the directions held.

    Returns places, turns as quaternions, the deepest contact, mm, and who touches whom.
    """
    model = gang_model(bodies, start, gravity, timestep)
    data = mujoco.MjData(model)
    while data.time < longest_s:
        mujoco.mj_step(model, data, 20)
        if data.time > 0.05 and np.abs(data.qvel.reshape(-1, 6)[:, held]).max() < 1e-5:
            break
    assert data.time < longest_s
    contacts = data.contact[: data.ncon]
    deepest = -min((c.dist for c in contacts), default=0.0) * 1e3
    owner = model.geom_bodyid
    # Bodies come after the world, in the order given; what does not press is only near.
    touching = {
        tuple(sorted((int(owner[c.geom1]) - 1, int(owner[c.geom2]) - 1))) for c in contacts if c.dist < 0
    }
    states = data.qpos.reshape(-1, 7)
    return states[:, :3] * 1e3, states[:, 3:], deepest, touching


def started(bench, staging):
    loads = loads_of(bench, staging, loose_of(bench, staging))
    return moved_back(bench.drawn, retreats_of(loads, ranks_of(bench, staging, loads), staging.approach_mm))


def carrying(found, names):
    pairs = [(c.a.split(".")[0], c.b.split(".")[0]) for c in found.carried if c.force_n > 0]
    return {tuple(sorted((names.index(a), names.index(b)))) for a, b in pairs}


def test_sixteen_pawls_with_chamfers_and_fillets_nest_in_the_same_place():
    bodies = tuple(gang(16))
    setup, staging = Setup(name="gang", bodies=bodies), Staging(push={"*": Push(direction=(-1, 0, 0))})
    found = settle_setup(setup, staging)
    assert found.rests
    start = started(settling_model_of(setup), staging)
    places, _, deepest, touching = stepped(bodies, start, (-SHARE * GRAVITY, 0, -GRAVITY))
    parts = [b.name for b in bodies if b.role == "part"]
    mine = np.array([found.poses[name].matrix[:3, 3] for name in parts])
    # Contacts are springs: along the row their depths add up, part by part; on the flanks of a V of 90 deg a
    # depth lets a part down by root two of it. A tenth more, and 10 nm, for the last creep.
    assert deepest < 1e-3
    along, down = 1.1 * len(parts) * deepest + 1e-5, 1.1 * math.sqrt(2) * deepest + 1e-5
    assert places[:, 0] == pytest.approx(mine[:, 0], abs=along)
    assert places[:, 1:] == pytest.approx(mine[:, 1:], abs=down)
    assert carrying(found, [b.name for b in bodies]) == touching
    # Each nests on the one before it and the first on the stop; both flanks carry every one.
    assert len(touching) == 3 * len(parts)


def test_a_shaft_in_a_v_block_stands_in_the_same_place(shapes):
    shaft = cq.Workplane("XZ", origin=(0, 30, 0)).circle(25).extrude(60).val()
    part = shapes.body("shaft", shaft, "part", at=(1.2, 0, 36))
    found = settle_setup(shapes.setup(shapes.body("vee", shapes.vee(90)), part), Staging())
    turned = 'type="box" size=".06 .04 .02"'
    side = (0.06 - 0.02) / math.sqrt(2), (0.06 + 0.02) / math.sqrt(2)
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option timestep="5e-4" integrator="implicitfast" {OPTIONS}/><default><geom condim="1"'
        ' solref="1e-3 1" solimp="0.999 0.9999 0.00001" density="7850"/></default><worldbody>'
        f'<geom {turned} pos="{side[1]} 0 {side[0]}" euler="0 -45 0"/>'
        f'<geom {turned} pos="{-side[1]} 0 {side[0]}" euler="0 45 0"/>'
        '<body pos=".0012 0 .038"><freejoint/><geom type="cylinder" size=".025 .03" euler="90 0 0"/></body>'
        "</worldbody></mujoco>"
    )
    data = mujoco.MjData(model)
    while data.time < 1.0 and (data.time < 0.1 or np.abs(data.qvel).max() > 1e-5):
        mujoco.mj_step(model, data)
    deepest = -min(c.dist for c in data.contact[: data.ncon]) * 1e3
    assert deepest < 1e-3
    mine = found.poses["shaft"].matrix[:3, 3]
    # Both flanks give by a depth, so the axis is lower by root two of it and no further aside than that.
    bound = 1.1 * math.sqrt(2) * deepest + 1e-5
    assert data.qpos[[0, 2]] * 1e3 == pytest.approx(mine[[0, 2]], abs=bound)
    touching = {tuple(sorted((int(c.geom1), int(c.geom2)))) for c in data.contact[: data.ncon]}
    assert touching == {(0, 2), (1, 2)}
    assert len([c for c in found.carried if c.force_n > 0]) == 2


def test_a_nib_that_lands_before_the_seat_turns_the_block_as_far_in_both(shapes):
    nib, span = 0.3, 38.0
    block = shapes.box(30, 40, 20, (15, 0, 0))
    solid = cq.Workplane(block).union(cq.Workplane(shapes.box(nib, 1.0, 20, (-nib / 2, 18.5, 0)))).val()
    bodies = (
        shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20))),
        shapes.body("stop", shapes.box(10, 100, 20, (-5, 0, 0))),
        shapes.body("part", solid, "part"),
    )
    staging = Staging(push={"part": Push(direction=(-1, 0, 0))})
    setup = shapes.setup(*bodies)
    found = settle_setup(setup, staging)
    # Without friction it slides along the stop for ever, which contacts leave free; all else comes to rest.
    (slide,) = found.freedoms
    assert slide.kind == "slides"
    assert slide.axis == pytest.approx((0, 1, 0), abs=1e-9)
    _, turns, deepest, touching = stepped(
        bodies,
        started(settling_model_of(setup), staging),
        (-SHARE * GRAVITY, 0, -GRAVITY),
        held=(0, 2, 3, 4, 5),
    )
    assert found.poses["part"].turn_deg[2] == pytest.approx(-math.degrees(math.atan(nib / span)), abs=1e-6)
    # Springs that give by a depth at either end of the span turn it by no more than the depth over the span.
    theirs = 2 * math.degrees(math.asin(turns[0, 3]))
    assert deepest < 1e-3
    bound = math.degrees(1.1 * deepest / span) + 1e-6
    assert theirs == pytest.approx(found.poses["part"].turn_deg[2], abs=bound)
    assert carrying(found, ["table", "stop", "part"]) == touching
