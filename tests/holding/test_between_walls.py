"""A part between two walls: turned by the drag it would jam, so the wheel is also tried midway."""

from dataclasses import replace

import numpy as np
from scipy.optimize import linprog

from fixturecheck import Cut, Holding, Setup, Wheel, body, check
from fixturecheck.kernel.construct import box
from fixturecheck.result.finding import Verdict

MU, LONG, WIDE, TALL, LOW = 0.1, 40.0, 30.0, 20.0, 15.0
PLATE = body("plate", box((-100, -60, -20), (100, 60, 0)), role="fixture")
STOP = body("stop", box((20, -15, 0), (40, 15, LOW)), role="fixture", fastened=True)
WALLS = (
    body("rail", box((-20, 15, 0), (20, 25, LOW)), role="fixture", fastened=True),
    body("front", box((-20, -25, 0), (20, -15, LOW)), role="fixture", fastened=True),
)
SEATED = Setup(
    name="bench",
    bodies=(
        PLATE,
        STOP,
        *WALLS,
        body("part", box((-20, -15, 0), (20, 15, TALL)), faces={"floor": ">Z"}, finish="ground"),
    ),
    cuts=(Cut(name="top", parts=("part",), floor="floor", stock_mm=0.1, way="traverse"),),
    wheel=Wheel(diameter_mm=178.0, thickness_mm=13.0),
    holding=Holding(coolant=False, mu=(MU, MU), blocking=()),
)
SIDES = {
    "seat": ((0, 0, 1), [(x, y, 0) for x in (-20, 20) for y in (-15, 15)]),
    "stop": ((-1, 0, 0), [(20, y, z) for y in (-15, 15) for z in (0, LOW)]),
    "rail": ((0, -1, 0), [(x, 15, z) for x in (-20, 20) for z in (0, LOW)]),
    "front": ((0, 1, 0), [(x, -15, z) for x in (-20, 20) for z in (0, LOW)]),
}


def greatest_factor(load_n, at_mm, weight_n, *sides):
    """The greatest factor at which forces in the cones of friction balance weight and cut; inf without end.

    The static theorem of limit analysis as one linear program: no equilibrium exists beyond it.
    """
    columns = []
    for normal, corners in (SIDES[side] for side in sides):
        across = np.linalg.svd(np.array([normal], dtype=float))[2][1:]
        for corner in corners:
            for angle in np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False):
                rub = np.cos(angle) * across[0] + np.sin(angle) * across[1]
                force = np.array(normal) + MU / np.cos(np.pi / 32) * rub
                columns.append([*force, *np.cross(corner, force)])
    cut = [*load_n, *np.cross(at_mm, load_n)]
    weight = [0.0, 0.0, -weight_n, *np.cross((0, 0, TALL / 2), (0, 0, -weight_n))]
    aim = np.zeros(len(columns) + 1)
    aim[-1] = -1.0
    found = linprog(aim, A_eq=np.array([*columns, cut]).T, b_eq=-np.array(weight))
    return float("inf") if found.status == 3 else -found.fun


def test_a_block_between_walls_holds_no_more_than_what_the_wheel_does_not_wedge():
    """Drag at the edge of the floor wedges it between the walls, at any load; midway it tips."""
    (part,) = check(SEATED, only=("hold",)).holding.parts
    load, at = np.array(part.load_n), np.array(part.load_at_mm)
    assert at[1] == 0.0
    assert load[1] == 0.0
    weight_n = LONG * WIDE * TALL * 7.87e-6 * 9.80665
    bound = greatest_factor(load, at, weight_n, "seat", "stop")
    assert 0.7 * bound < part.factor_low < 1.01 * bound
    at_the_edge = (at[0], -8.5, at[2])
    assert greatest_factor(load, at_the_edge, weight_n, "seat", "stop", "rail", "front") == float("inf")


def test_midway_is_asked_between_walls_only():
    """With one wall the corners decide, as they did."""
    alone = replace(SEATED, bodies=tuple(b for b in SEATED.bodies if b.name != "front"))
    (found,) = [f for f in check(alone, only=("hold",)).findings if f.check == "hold"]
    assert found.verdict is Verdict.NO_GO
    assert ", middle" not in found.says
