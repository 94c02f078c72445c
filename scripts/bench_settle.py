"""Bench rows of settling: against a dynamics engine, growth with the gang, and tolerance draws."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import cadquery as cq
import numpy as np
from bench_timing import MissingError, interleaved_s

from fixturecheck.nesting.model import SettlingModel, settling_model_of
from fixturecheck.nesting.settle import loads_of, loose_of, moved_back, ranks_of, retreats_of, settle_together
from fixturecheck.nesting.tolerance import sampled_rest
from fixturecheck.result.tolerance import CriticalPlace
from fixturecheck.rigid import Poses
from fixturecheck.setup.model import Body, Seat, Setup
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.statics.contact_step import SteadyLoad
from fixturecheck.statics.rest import Bounds
from tests.nesting.pawl_gang import gang

PUSHED = Staging(push={"*": Push(direction=(-1, 0, 0))})
CORNERED = Staging(push={"*": Push(direction=(-1, 0.5, 0))})
DETAILED_FACES = 100
WIDE_MM, HALF_MM = 8.0, 10.0
SHARE = 0.25
ROUNDS = 5
TIMESTEPS_S = (1e-3, 5e-4, 2e-4, 1e-4)


def row_of(count: int, **zones: float) -> SettlingModel:
    """Blocks in a row against a stop on a table, drawn where they rest."""
    table = cq.Workplane().box(1200, 200, 20).translate((500, 0, -10)).val()
    stop = cq.Workplane().box(10, 100, 20).translate((-5, 0, 10)).val()
    block = cq.Workplane().box(WIDE_MM, 2 * HALF_MM, 2 * HALF_MM).val()
    bodies = [Body(name="table", solid=table, role="fixture"), Body(name="stop", solid=stop, role="fixture")]
    bodies += [
        Body(
            name=f"part_{i + 1}",
            solid=block,
            at=cq.Location(cq.Vector(WIDE_MM * (i + 0.5), 0, HALF_MM)),
            tolerance_mm=zones,
        )
        for i in range(count)
    ]
    return settling_model_of(Setup(name="row", bodies=tuple(bodies)))


def settler(bench: SettlingModel, staging: Staging = PUSHED) -> Callable[[], float]:
    """Return what settles a gang from 2 mm away and gives how far from closed it ends, mm."""
    bounds = Bounds(approach_mm=staging.approach_mm)

    def work() -> float:
        loads = loads_of(bench, staging, loose_of(bench, staging))
        raw = settle_together(bench, loads, _away(bench, loads), bounds)
        return float(np.abs(raw.poses.origin_mm - bench.drawn.origin_mm)[:, [0, 2]].max())

    return work


def _away(bench: SettlingModel, loads: list[SteadyLoad]) -> Poses:
    """Return the gang drawn back against its loads, where both sides start."""
    ranks = ranks_of(bench, PUSHED, loads)
    return moved_back(bench.drawn, retreats_of(loads, ranks, PUSHED.approach_mm))


def stepper(bench: SettlingModel, timestep_s: float) -> Callable[[], float]:
    """Return what steps the same row in MuJoCo until nothing moves faster than 10 um/s; mm from closed."""
    try:
        import mujoco
    except ImportError as missing:
        raise MissingError("MuJoCo is not installed (extra `test`)") from missing
    parts = [i for i, b in enumerate(bench.bodies) if b.role == "part"]
    text = [
        f'<mujoco><option timestep="{timestep_s}" gravity="{-SHARE * 9.80665} 0 -9.80665"',
        f' integrator="implicitfast"/><default><geom type="box" condim="1" solref="{2 * timestep_s} 1"',
        ' solimp="0.999 0.9999 0.00001" density="7850"/></default><worldbody>',
        '<geom size=".6 .1 .01" pos=".5 0 -.01"/><geom size=".005 .05 .01" pos="-.005 0 .01"/>',
    ]
    for rank, i in enumerate(parts):
        x = bench.drawn.origin_mm[i, 0] + 2.0 * (1 + rank / len(parts))
        text.append(f'<body pos="{x * 1e-3} 0 {(HALF_MM + 2.0) * 1e-3}"><freejoint/>')
        text.append(f'<geom size="{WIDE_MM / 2 * 1e-3} {HALF_MM * 1e-3} {HALF_MM * 1e-3}"/></body>')
    model = mujoco.MjModel.from_xml_string("".join([*text, "</worldbody></mujoco>"]))
    drawn = bench.drawn.origin_mm[parts]

    def work() -> float:
        data = mujoco.MjData(model)
        while data.time < 3.0:
            mujoco.mj_step(model, data, 20)
            if data.time > 0.05 and np.abs(data.qvel).max() < 1e-5:
                break
        return float(np.abs(data.qpos.reshape(-1, 7)[:, :3] * 1e3 - drawn)[:, [0, 2]].max())

    return work


def pawl_gang(count: int) -> SettlingModel:
    """Return index pawls in their V-block, relieved so that they nest where they are drawn."""
    return settling_model_of(Setup(name="pawls", bodies=tuple(gang(count))))


def mesh_stepper(bench: SettlingModel, timestep_s: float) -> Callable[[], float]:
    """Return what steps a gang of meshes in MuJoCo from where ours starts until nothing moves; mm off."""
    try:
        import mujoco

        from tests.nesting.convex_pieces import gang_model
    except ImportError as missing:
        raise MissingError(f"{missing.name} is not installed (extra `test`)") from missing
    loads = loads_of(bench, PUSHED, loose_of(bench, PUSHED))
    start = _away(bench, loads)
    gravity = (-SHARE * 9.80665, 0.0, -9.80665)
    model = gang_model(bench.bodies, start, gravity, timestep_s)
    drawn = bench.drawn.origin_mm[[i for i, b in enumerate(bench.bodies) if b.role == "part"]]

    def work() -> float:
        data = mujoco.MjData(model)
        while data.time < 1.0:
            mujoco.mj_step(model, data, 20)
            if data.time > 0.05 and np.abs(data.qvel).max() < 1e-5:
                return float(np.abs(data.qpos.reshape(-1, 7)[:, :3] * 1e3 - drawn).max())
        return math.inf

    return work


def vs_mujoco_16() -> dict[str, object]:
    """Settle a gang of 16 real parts, and of 16 blocks, against stepping them to rest.

    MuJoCo gets the parts cut into convex pieces, and of the time steps tried the one that ends nearest to
    closed; its bodies never rest at all with much shorter ones, nor with its default tolerances.
    """
    pawls, row = pawl_gang(16), row_of(16)
    steppers = {step: mesh_stepper(pawls, step) for step in TIMESTEPS_S}
    ends = {step: work() for step, work in steppers.items()}
    step = min(ends, key=lambda s: ends[s])
    works = settler(pawls), steppers[step], settler(row), stepper(row, 5e-4)
    off = [work() for work in works]
    own, other, own_row, other_row = (min(worked_s(w) for _ in range(3)) for w in works)
    tried = ", ".join(f"{1e3 * s:g} ms: {_off(e)}" for s, e in ends.items())
    return {
        "figure": other / own,
        "goal": 20.0,
        "says": (
            f"16 index pawls in a V-block from 2 mm away: settled in {own * 1e3:.0f} ms to {off[0]:.1e} mm; "
            f"MuJoCo (convex pieces, steps tried {tried}) at its closest after {other * 1e3:.0f} ms to "
            f"{off[1]:.1e} mm ({off[1] / max(off[0], 1e-12):.0e} times as far from closed). 16 plain blocks: "
            f"{own_row * 1e3:.1f} ms to {off[2]:.1e} mm; MuJoCo (its own boxes, steps of 0.5 ms) "
            f"{other_row * 1e3:.1f} ms to {off[3]:.1e} mm, {other_row / own_row:.2g} times as long"
        ),
    }


def worked_s(work: Callable[[], object]) -> float:
    """Return the seconds that the processor works on something; both sides run on one thread."""
    start = time.process_time()
    work()
    return time.process_time() - start


def _off(end_mm: float) -> str:
    return f"{end_mm:.1e} mm" if math.isfinite(end_mm) else "no rest within 1 s"


def growth() -> dict[str, object]:
    """Fit the exponent of the cost of settling rows of 4 to 32."""
    sizes = (4, 8, 16, 32)
    works = [settler(row_of(n)) for n in sizes]
    taken = [min(t) for t in interleaved_s(ROUNDS, *[lambda w=w: w for w in works])]
    slope = float(np.polyfit(np.log(sizes), np.log(taken), 1)[0])
    each = ", ".join(f"{n}: {t * 1e3:.0f} ms" for n, t in zip(sizes, taken, strict=True))
    return {"figure": slope, "goal": 1.3, "says": f"exponent over gangs of {each}"}


def plates(count: int) -> SettlingModel:
    """Return plates of 100 faces with bored and filleted pockets in a row against a stop and a rail."""
    table = cq.Workplane().box(600, 200, 20).translate((200, 0, -10)).val()
    stop = cq.Workplane().box(10, 100, 20).translate((-5, 0, 10)).val()
    rail = cq.Workplane().box(600, 10, 20).translate((200, 25, 10)).val()
    plate = cq.Workplane().box(60, 40, 16).edges("|Z").fillet(3).faces(">Z").edges().chamfer(0.5)
    holes = [(-24 + 48 * i / 7, y) for i in range(8) for y in (-15.5, 15.5)]
    plate = plate.faces(">Z").workplane(centerOption="CenterOfBoundBox").pushPoints(holes)
    plate = plate.cboreHole(2.5, 4.0, 2.0)
    pocket = cq.Workplane().box(20, 18, 8).edges("|Z").fillet(3).faces("<Z").edges().fillet(1.5)
    for x in (-14, 14):
        plate = plate.cut(pocket.translate((x, 0, 8)))
    solid = plate.val().Solids()[0]
    if len(solid.Faces()) != DETAILED_FACES:
        raise ValueError(f"a plate of {len(solid.Faces())} faces, not {DETAILED_FACES}")
    bodies = [
        Body(name=name, solid=one, role="fixture")
        for name, one in (("table", table), ("stop", stop), ("rail", rail))
    ]
    bodies += [
        Body(name=f"plate_{i}", solid=solid, at=cq.Location(cq.Vector(30 + 60 * i, 0, 8)))
        for i in range(count)
    ]
    return settling_model_of(Setup(name="plates", bodies=tuple(bodies)))


def detailed_4() -> dict[str, object]:
    """Settle four plates of 100 faces in a row, pushed toward a stop and a rail, against one alone."""
    one, four = plates(1), plates(4)
    works = [settler(bench, CORNERED) for bench in (one, four)]
    off = [work() for work in works]
    alone, row = (min(worked_s(work) for _ in range(ROUNDS)) for work in works)
    return {
        "figure": row / alone,
        "goal": 6.0,
        "says": (
            f"times as long to settle four plates of {DETAILED_FACES} faces with holes and fillets as one: "
            f"{row * 1e3:.0f} ms to {off[1]:.1e} mm against {alone * 1e3:.0f} ms to {off[0]:.1e} mm, "
            "features read before"
        ),
    }


def tolerance() -> dict[str, object]:
    """10 000 draws of a block with eight toleranced faces, in settlings of the same block."""
    bench = row_of(1, **{"*": 0.02})
    target = CriticalPlace(name="floor", body="part_1", at_mm=(4, 0, 20), direction=(0, 0, 1))
    names = bench.bodies[2].face_names(), bench.bodies[0].face_names()
    seat = Seat(body="part_1", face=names[0][0], on="table", on_face=names[1][0])
    setup = Setup(name="row", bodies=bench.bodies, seats=(seat,))
    bench = settling_model_of(setup)
    mine = settler(bench)

    def draws() -> object:
        return sampled_rest(setup, PUSHED, targets=(target,), model=bench, draws=10_000)

    one, many = (min(t) for t in interleaved_s(ROUNDS, lambda: mine, lambda: draws))
    return {
        "figure": many / one if one > 0 else math.inf,
        "goal": 20.0,
        "says": (
            f"10 000 draws, their worst settled again exactly, in {many * 1e3:.0f} ms; one exact settling "
            f"{one * 1e3:.0f} ms"
        ),
    }
