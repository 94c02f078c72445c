"""A milled block that lets go against MuJoCo: it stays just below our factor, goes just above, bites alike.

MuJoCo finds its own contacts of the box with the plane and marches in time. Its contacts are soft and creep,
so bites are compared once the block has gone a millimetre, to a twentieth; staying means less than a fifth.
"""

import math

import mujoco
import numpy as np
import pytest

from fixturecheck import Holding, Milling, Setup, body
from fixturecheck.holding.failure_path import follow
from fixturecheck.kernel.construct import box
from fixturecheck.result.hold import Outcome
from tests.holding.rigs import milled, strap

pytestmark = pytest.mark.slow

PRESS_N, BAND, FAR_MM, STEP_S, SECONDS = 400.0, 0.03, 1.0, 2e-4, 0.4


def bench(size, mu, **more):
    long, deep, tall = size
    facts = {
        "cutter_mm": 8.0,
        "teeth": 1,
        "deep_mm": 1.0,
        "wide_mm": 2.0,
        "feed_mm_tooth": 0.03,
        "helix_deg": 0.0,
    }
    mill = Milling(name="mill", parts=("part",), face="floor", **{**facts, **more})
    setup = Setup(
        name="bench",
        bodies=(
            body("plate", box((-100, -100, -10), (100, 100, 0)), role="fixture"),
            body("part", box((-long / 2, -deep / 2, 0), (long / 2, deep / 2, tall)), faces={"floor": ">Z"}),
        ),
        holding=Holding(
            coolant=False,
            mu=(mu, mu),
            clamps=(strap("part", (0, 0, tall), 2 * PRESS_N),),
            milling=(mill,),
            blocking=(),
        ),
    )
    return milled(setup)


def march(size, mu, load, times):
    """Turn and shift (mm) of the block when its fastest corner has gone FAR_MM, or at the end of time."""
    xml = f"""<mujoco><option timestep="{STEP_S}" gravity="0 0 0" cone="elliptic" impratio="50"
      noslip_iterations="20"/><default><geom friction="{mu} 0 0" condim="3" solref="0.002 1"
      solimp="0.99 0.999 0.0001"/></default><worldbody><geom type="plane" size="1 1 .1"/>
      <body name="part" pos="0 0 {size[2] / 2000}"><freejoint/>
      <geom type="box" size="{" ".join(str(s / 2000) for s in size)}" density="78700"/></body>
      </worldbody></mujoco>"""
    model = mujoco.MjModel.from_xml_string(xml)
    data = mujoco.MjData(model)
    middle = np.array([0.0, 0.0, size[2] / 2])
    weight_n = 7870e-9 * math.prod(size) * 9.80665
    corners = np.array(
        [
            [a * size[0] / 2, b * size[1] / 2, c * size[2] / 2]
            for a in (-1, 1)
            for b in (-1, 1)
            for c in (-1, 1)
        ]
    )
    steps = round(SECONDS / STEP_S)
    start = None
    for step in range(2 * steps):
        data.qfrc_applied[:] = -np.array([30.0] * 3 + [0.012] * 3) * data.qvel
        share = times * min(1.0, max(0.0, (step - steps // 4) / steps))
        # The weight is a load, the mass ten times as much: contacts are as stiff as their bodies are heavy.
        pushes = [((0.0, 0.0, -PRESS_N), (0.0, 0.0, size[2])), ((0.0, 0.0, -weight_n), tuple(middle))]
        pushes.append((tuple(share * f for f in load.force_n), load.at_mm))
        turn = data.body("part").xmat.reshape(3, 3)
        for force, at in pushes:
            place = data.body("part").xpos + turn @ (np.array(at) - middle) / 1000
            mujoco.mj_applyFT(
                model, data, np.array(force, dtype=float), np.zeros(3), place, data.body("part").id,
                data.qfrc_applied,
            )  # fmt: skip
        mujoco.mj_step(model, data)
        turn, at = data.body("part").xmat.reshape(3, 3).copy(), data.body("part").xpos * 1000
        if step == steps // 4:
            start = turn, at.copy()
        if start is not None:
            spun = turn @ start[0].T
            gone = at - start[1] + corners @ (spun - np.eye(3)).T
            if np.linalg.norm(gone, axis=1).max() > FAR_MM:
                break
    return spun, at - spun @ start[1], float(np.linalg.norm(gone, axis=1).max())


TOWER, LOW = (24.0, 24.0, 40.0), (80.0, 60.0, 12.0)
CASES = {
    "a tower tips, and its face rises under the cutter": (TOWER, 0.6, {"way": "climb"}, Outcome.DIGS_IN),
    "a low block slides aside into the cutter": (
        LOW,
        0.15,
        {"way": "centred", "wide_mm": 6.0},
        Outcome.DIGS_IN,
    ),
    "a low block slides off a thin cut": (LOW, 0.15, {"way": "climb", "wide_mm": 0.5}, Outcome.FALLS_AWAY),
}


@pytest.mark.parametrize("name", CASES)
def test_it_goes_as_mujoco_says_and_bites_alike(name):
    size, mu, more, outcome = CASES[name]
    here = bench(size, mu, **more)
    # Over the middle of the block, so that it does not turn about the vertical.
    loads = here.loaded()
    trial = min(
        (t for t in loads.trials if math.hypot(*t.case.at_mm[:2]) < 3.0),
        key=lambda t: (abs(t.case.at_mm[1]), t.rank_factor),
    )
    (load,) = trial.case.teeth
    borne = trial.borne()
    way = follow(here.scene(), borne, 3.0)
    assert way.crash.outcome is outcome
    _, _, stays = march(size, mu, load, (1.0 - BAND) * borne.collapse.factor.low)
    turn, shift, goes = march(size, mu, load, (1.0 + BAND) * borne.collapse.factor.high)
    assert stays < 0.2 * FAR_MM < FAR_MM <= goes
    scene = here.scene()
    cutter = scene.cutter_at(trial.case)
    stock, under = scene.stock_points(trial.case, cutter)
    # Where the block of MuJoCo stands, by points on it, and ours after as long a way.
    fastest = max(
        float(np.linalg.norm(way.motion.velocity_at((a * size[0] / 2, b * size[1] / 2, c))))
        for a in (-1, 1) for b in (-1, 1) for c in (0.0, size[2])
    )  # fmt: skip
    ours_turn, ours_shift = way.motion.pose_after(goes / fastest)
    for points, read in ((stock, cutter.behind_mm), (under, cutter.above_mm)):
        theirs = float(read(points @ turn.T + shift).max())
        ours = float(read(points @ ours_turn.T + ours_shift).max())
        assert theirs == pytest.approx(ours, abs=0.05 * FAR_MM)
    deepest = max(
        float(cutter.behind_mm(stock @ turn.T + shift).max()),
        float(cutter.above_mm(under @ turn.T + shift).max()),
    )
    assert (deepest > 0.02 * FAR_MM) is (outcome is Outcome.DIGS_IN)
