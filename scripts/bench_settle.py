"""Bench rows of settling: against a dynamics engine, growth with the gang, and tolerance draws."""

from __future__ import annotations

import math
from collections.abc import Callable

import cadquery as cq
import numpy as np
from bench_timing import MissingError, interleaved_s

from fixturecheck.physics.settle import Bounds
from fixturecheck.settling.bench import Bench, bench_of
from fixturecheck.settling.model import Push, Staging
from fixturecheck.settling.run import loose_of, walk
from fixturecheck.settling.tolerance import Target, odds_of
from fixturecheck.setup.model import Body, Seat, Setup

PUSHED = Staging(push={"*": Push(direction=(-1, 0, 0))})
WIDE_MM, HALF_MM = 8.0, 10.0
SHARE = 0.25
ROUNDS = 5


def row_of(count: int, **zones: float) -> Bench:
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
    return bench_of(Setup(name="row", bodies=tuple(bodies)))


def settler(bench: Bench) -> Callable[[], float]:
    """Return what settles a row from 2 mm away and gives how far from closed it ends, mm."""
    loose = loose_of(bench, PUSHED)

    def work() -> float:
        raw, _ = walk(bench, PUSHED, loose, Bounds())
        return float(np.abs(raw.poses.origin_mm - bench.drawn.origin_mm)[:, [0, 2]].max())

    return work


def stepper(bench: Bench, timestep_s: float) -> Callable[[], float]:
    """Return what steps the same row in MuJoCo until nothing moves faster than 10 um/s; mm from closed."""
    try:
        import mujoco
    except ImportError as missing:
        message = "MuJoCo is not installed (extra `test`)"
        raise MissingError(message) from missing
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


def vs_mujoco_16() -> dict[str, object]:
    """Settle a gang of 16 against stepping it to rest."""
    bench = row_of(16)
    mine, theirs = settler(bench), stepper(bench, 5e-4)
    closed_mm, left_mm = mine(), theirs()
    own, other = (min(t) for t in interleaved_s(ROUNDS, lambda: mine, lambda: theirs))
    return {
        "figure": other / own,
        "goal": 20.0,
        "says": (
            f"16 blocks from 2 mm away: settled in {own * 1e3:.0f} ms to {closed_mm:.1e} mm; MuJoCo"
            f" (boxes, stiff as 0.5 ms steps allow) after {other * 1e3:.0f} ms to {left_mm:.1e} mm "
            f"({left_mm / max(closed_mm, 1e-12):.0e} times as far from closed)"
        ),
    }


def growth() -> dict[str, object]:
    """Fit the exponent of the cost of settling rows of 4 to 32."""
    sizes = (4, 8, 16, 32)
    works = [settler(row_of(n)) for n in sizes]
    taken = [min(t) for t in interleaved_s(ROUNDS, *[lambda w=w: w for w in works])]
    slope = float(np.polyfit(np.log(sizes), np.log(taken), 1)[0])
    each = ", ".join(f"{n}: {t * 1e3:.0f} ms" for n, t in zip(sizes, taken, strict=True))
    return {"figure": slope, "goal": 1.3, "says": f"exponent over gangs of {each}"}


def tolerance() -> dict[str, object]:
    """10 000 draws of a block with eight toleranced faces, in settlings of the same block."""
    bench = row_of(1, **{"*": 0.02})
    target = Target(name="floor", body="part_1", at_mm=(4, 0, 20), direction=(0, 0, 1))
    names = bench.bodies[2].face_names(), bench.bodies[0].face_names()
    seat = Seat(body="part_1", face=names[0][0], on="table", on_face=names[1][0])
    setup = Setup(name="row", bodies=bench.bodies, seats=(seat,))
    bench = bench_of(setup)
    mine = settler(bench)

    def draws() -> object:
        return odds_of(setup, PUSHED, targets=(target,), bench=bench, draws=10_000)

    one, many = (min(t) for t in interleaved_s(ROUNDS, lambda: mine, lambda: draws))
    return {
        "figure": many / one if one > 0 else math.inf,
        "goal": 20.0,
        "says": (
            f"10 000 draws, their worst settled again exactly, in {many * 1e3:.0f} ms; one exact settling "
            f"{one * 1e3:.0f} ms"
        ),
    }
